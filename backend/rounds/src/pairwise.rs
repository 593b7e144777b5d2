//! Pairs of farms of which one has what the other lacks.
//!
//! Lines are possibilities, not an allocation: one offer may stand in several lines. Varieties are
//! matched on their folded key and unit kinds are never mixed. Where all that is missing are signed
//! statements that the want asks for, or a rule between the farms' regions, the line stands apart with
//! what is missing; where a rule lets nothing pass, or the giver is not known to be within the want's
//! greatest distance, there is none. What may not enter: values, holds, what a statement says; what is
//! given as spare must already be free of holds.

use std::collections::{BTreeMap, BTreeSet};

use spareloop_domain::attest::FactKind;
use spareloop_domain::exchange::GreatestDistance;
use spareloop_domain::exchange::distance::{Places, Reach};
use spareloop_domain::exchange::movement::Movements;
use spareloop_domain::words::{Count, FarmId, OfferId, UnitKind, VarietyName, WantId};

/// The folded key on which names of varieties are matched.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct VarietyKey(String);

impl VarietyKey {
    /// The key as text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl From<&VarietyName> for VarietyKey {
    fn from(name: &VarietyName) -> Self {
        Self(name.key())
    }
}

/// What a farm offers and nobody holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Spare {
    /// The offer.
    pub offer: OfferId,
    /// Whose.
    pub farm: FarmId,
    /// Which variety.
    pub variety: VarietyKey,
    /// What a unit is.
    pub unit: UnitKind,
    /// How many are free.
    pub count: Count,
    /// The least the farm will send.
    pub smallest_parcel: Count,
    /// Kinds of statement that the farm signed about the lot and stands by.
    pub stated: BTreeSet<FactKind>,
}

/// What a farm wants and nothing covers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Lack {
    /// The want.
    pub want: WantId,
    /// Whose.
    pub farm: FarmId,
    /// The variety wanted, then those taken instead, best first.
    pub varieties: Vec<VarietyKey>,
    /// What a unit is.
    pub unit: UnitKind,
    /// How many are still wanted.
    pub count: Count,
    /// Kinds of statement that the lot must bear.
    pub required: BTreeSet<FactKind>,
    /// From how far away it may come.
    pub within: Option<GreatestDistance>,
}

/// What lies between the farms of a network.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Ways {
    /// Regions, and the rules between them.
    pub movements: Movements,
    /// Where each farm roughly is.
    pub places: Places,
}

/// How an offer meets a want.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Meets {
    /// It is the variety wanted first.
    Wanted,
    /// It is one that is taken instead; never chosen silently.
    Instead,
}

/// One offer that meets one want.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// How it meets it.
    pub meets: Meets,
    /// The offer.
    pub offer: OfferId,
    /// The want.
    pub want: WantId,
    /// The variety offered.
    pub variety: VarietyKey,
    /// What a unit is.
    pub unit: UnitKind,
    /// As many as could pass: the smaller of what is free and what is wanted.
    pub count: Count,
}

/// One offer that would meet one want, were it not for statements.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unstated {
    /// The line that there would be.
    pub line: Line,
    /// The kinds that the want asks for and the lot doesn't bear.
    pub missing: BTreeSet<FactKind>,
}

/// What passes from one farm to the other.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Gives {
    /// What could pass.
    pub lines: Vec<Line>,
    /// What could pass once statements are there.
    pub unstated: Vec<Unstated>,
}

/// Two farms between which something could pass.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Match {
    /// The farm with the smaller id.
    pub one: FarmId,
    /// The other.
    pub other: FarmId,
    /// What the one has that the other lacks.
    pub one_gives: Gives,
    /// What the other has that the one lacks.
    pub other_gives: Gives,
}

impl Match {
    /// Whether each has something that the other lacks.
    pub const fn is_mutual(&self) -> bool {
        !self.one_gives.lines.is_empty() && !self.other_gives.lines.is_empty()
    }

    /// The match as a farm sees it: the other farm, what they have that I lack, and what they lack
    /// that I have; `None` if the farm is neither of the two.
    pub fn seen_by(&self, farm: FarmId) -> Option<(FarmId, &Gives, &Gives)> {
        if farm == self.one {
            Some((self.other, &self.other_gives, &self.one_gives))
        } else if farm == self.other {
            Some((self.one, &self.one_gives, &self.other_gives))
        } else {
            None
        }
    }
}

/// Every pair of farms between which something could pass.
///
/// A pair where each has what the other lacks stands first, then the one with more lines, then by
/// farm id; lines stand with wanted varieties first, then larger counts, then by id. The same
/// offers and wants in any order give the same answer. An offer of which less could pass than its
/// smallest parcel makes no line, nor does one that isn't known to lie within the want's greatest distance;
/// one whose lot lacks statements that the want, or a rule between the
/// farms' regions, asks for stands apart.
pub fn pairwise(offers: &[Spare], wants: &[Lack], ways: &Ways) -> Vec<Match> {
    let mut by_kind: BTreeMap<(&VarietyKey, UnitKind), Vec<&Spare>> = BTreeMap::new();
    for offer in offers {
        by_kind.entry((&offer.variety, offer.unit)).or_default().push(offer);
    }
    let mut pairs: BTreeMap<(FarmId, FarmId), Match> = BTreeMap::new();
    for want in wants {
        for (rank, variety) in want.varieties.iter().enumerate() {
            if want.varieties[..rank].contains(variety) {
                continue;
            }
            let meets = if rank == 0 { Meets::Wanted } else { Meets::Instead };
            for offer in by_kind.get(&(variety, want.unit)).into_iter().flatten() {
                if let Some(line) = line(offer, want, meets) {
                    let movement = ways.movements.between(offer.farm, want.farm);
                    let reach = ways.places.reach(offer.farm, want.farm, want.within);
                    if movement.is_stopped() || reach != Reach::Within {
                        continue;
                    }
                    let required: BTreeSet<FactKind> = &want.required | &movement.required();
                    let missing = required.difference(&offer.stated).copied().collect();
                    put(&mut pairs, offer.farm, want.farm, Unstated { line, missing });
                }
            }
        }
    }
    let mut matches: Vec<Match> = pairs.into_values().collect();
    for pair in &mut matches {
        pair.one_gives.sort();
        pair.other_gives.sort();
    }
    matches.sort_by_key(|pair| {
        let lines = pair.one_gives.lines.len() + pair.other_gives.lines.len();
        (!pair.is_mutual(), std::cmp::Reverse(lines), pair.one, pair.other)
    });
    matches
}

fn line(offer: &Spare, want: &Lack, meets: Meets) -> Option<Line> {
    let count = offer.count.min(want.count);
    if offer.farm == want.farm || count.is_zero() || count < offer.smallest_parcel {
        return None;
    }
    Some(Line {
        meets,
        offer: offer.offer,
        want: want.want,
        variety: offer.variety.clone(),
        unit: offer.unit,
        count,
    })
}

fn put(
    pairs: &mut BTreeMap<(FarmId, FarmId), Match>,
    giver: FarmId,
    taker: FarmId,
    found: Unstated,
) {
    let (one, other) = (giver.min(taker), giver.max(taker));
    let empty = || Match { one, other, one_gives: Gives::default(), other_gives: Gives::default() };
    let pair = pairs.entry((one, other)).or_insert_with(empty);
    let gives = if giver == one { &mut pair.one_gives } else { &mut pair.other_gives };
    if found.missing.is_empty() {
        gives.lines.push(found.line);
    } else {
        gives.unstated.push(found);
    }
}

impl Gives {
    fn sort(&mut self) {
        let place =
            |line: &Line| (line.meets, std::cmp::Reverse(line.count), line.offer, line.want);
        self.lines.sort_by_key(place);
        self.unstated.sort_by_key(|unstated| place(&unstated.line));
    }
}

#[cfg(test)]
#[path = "pairwise_tests.rs"]
mod tests;
