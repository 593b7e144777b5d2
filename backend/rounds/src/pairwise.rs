//! Pairs of farms of which one has what the other lacks.
//!
//! Lines are possibilities, not an allocation: one offer may stand in several lines. Varieties are
//! matched on their folded key and unit kinds are never mixed. Where all that is missing are signed
//! statements that the want asks for, or a rule between the farms' regions, the line stands apart with
//! what is missing; where a rule lets nothing pass, there is none. What may not enter: values, holds, distances, what a statement says; what is given as spare must already be free of
//! holds.

use std::collections::{BTreeMap, BTreeSet};

use spareloop_domain::attest::FactKind;
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
/// smallest parcel makes no line; one whose lot lacks statements that the want, or a rule between the
/// farms' regions, asks for stands apart.
pub fn pairwise(offers: &[Spare], wants: &[Lack], movements: &Movements) -> Vec<Match> {
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
                    let movement = movements.between(offer.farm, want.farm);
                    if movement.is_stopped() {
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
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use proptest::prelude::*;
    use spareloop_domain::words::uuid_v7;

    fn farm(number: u8) -> FarmId {
        FarmId::new(uuid_v7(u64::from(number), [number; 10]))
    }

    fn key(name: &str) -> VarietyKey {
        VarietyKey::from(&name.parse::<VarietyName>().unwrap())
    }

    fn spare(number: u8, of: u8, variety: &str, count: u16) -> Spare {
        Spare {
            offer: OfferId::new(uuid_v7(u64::from(number), [number; 10])),
            farm: farm(of),
            variety: key(variety),
            unit: UnitKind::Division,
            count: count.into(),
            smallest_parcel: 1_u16.into(),
            stated: BTreeSet::new(),
        }
    }

    fn lack(number: u8, of: u8, varieties: &[&str], count: u16) -> Lack {
        Lack {
            want: WantId::new(uuid_v7(u64::from(number), [number; 10])),
            farm: farm(of),
            varieties: varieties.iter().map(|name| key(name)).collect(),
            unit: UnitKind::Division,
            count: count.into(),
            required: BTreeSet::new(),
        }
    }

    #[test]
    fn two_farms_that_can_help_each_other_stand_first() {
        let offers = [
            spare(1, 1, "Ember Lantern", 8),
            spare(2, 2, "Tin Orchard", 5),
            spare(3, 3, "Ember Lantern", 20),
        ];
        let wants = [lack(1, 2, &["ember  lantern"], 6), lack(2, 1, &["Tin Orchard"], 9)];
        let matches = pairwise(&offers, &wants, &Movements::default());
        assert_eq!(matches.len(), 2);
        assert!(matches[0].is_mutual());
        assert_eq!((matches[0].one, matches[0].other), (farm(1), farm(2)));
        let (other, they_have, they_lack) = matches[0].seen_by(farm(1)).unwrap();
        assert_eq!(other, farm(2));
        assert_eq!(they_have.lines[0].count, 5_u16.into());
        assert_eq!(they_lack.lines[0].count, 6_u16.into());
        assert!(!matches[1].is_mutual());
        assert_eq!(matches[1].seen_by(farm(1)), None);
    }

    #[test]
    fn nobody_is_matched_with_themselves() {
        let offers = [spare(1, 1, "Ember Lantern", 8)];
        assert!(
            pairwise(&offers, &[lack(1, 1, &["Ember Lantern"], 6)], &Movements::default())
                .is_empty()
        );
    }

    #[test]
    fn clumps_are_no_answer_to_a_want_of_divisions() {
        let mut clumps = spare(1, 1, "Ember Lantern", 8);
        clumps.unit = UnitKind::Clump;
        assert!(
            pairwise(&[clumps], &[lack(1, 2, &["Ember Lantern"], 6)], &Movements::default())
                .is_empty()
        );
    }

    #[test]
    fn what_is_taken_instead_says_so_and_stands_behind() {
        let offers = [spare(1, 1, "Tin Orchard", 8), spare(2, 1, "Ember Lantern", 2)];
        let wants = [lack(1, 2, &["Ember Lantern", "Tin Orchard"], 6)];
        let lines = &pairwise(&offers, &wants, &Movements::default())[0].one_gives.lines;
        assert_eq!(lines[0].meets, Meets::Wanted);
        assert_eq!(lines[1].meets, Meets::Instead);
    }

    #[test]
    fn less_than_the_smallest_parcel_is_no_line() {
        let mut offer = spare(1, 1, "Ember Lantern", 8);
        offer.smallest_parcel = 5_u16.into();
        assert!(
            pairwise(&[offer], &[lack(1, 2, &["Ember Lantern"], 4)], &Movements::default())
                .is_empty()
        );
    }

    #[test]
    fn a_statement_missing_is_a_reason_and_no_line() {
        let mut offer = spare(1, 1, "Ember Lantern", 8);
        offer.stated = [FactKind::LookedOver].into();
        let mut want = lack(1, 2, &["Ember Lantern"], 6);
        want.required = [FactKind::LookedOver, FactKind::LaboratoryTest].into();
        let found = pairwise(&[offer.clone()], &[want.clone()], &Movements::default());
        assert!(found[0].one_gives.lines.is_empty() && !found[0].is_mutual());
        let apart = &found[0].one_gives.unstated[0];
        assert_eq!(apart.missing, [FactKind::LaboratoryTest].into());
        assert_eq!(apart.line.count, 6_u16.into());
        offer.stated.insert(FactKind::LaboratoryTest);
        let found = pairwise(&[offer], &[want], &Movements::default());
        assert_eq!((found[0].one_gives.lines.len(), found[0].one_gives.unstated.len()), (1, 0));
    }

    #[test]
    fn between_regions_a_rule_asks_for_statements_or_lets_nothing_pass() {
        use spareloop_domain::exchange::movement::{Region, Rule};
        let (north, islands): (Region, Region) =
            ("North shore".parse().unwrap(), "Islands".parse().unwrap());
        let way = (north.key(), islands.key());
        let mut movements = Movements {
            regions: [(farm(1), north), (farm(2), islands)].into(),
            ..Movements::default()
        };
        let there = || ([spare(1, 1, "Ember Lantern", 8)], [lack(1, 2, &["Ember Lantern"], 6)]);
        let (offers, wants) = there();
        assert_eq!(pairwise(&offers, &wants, &movements)[0].one_gives.lines.len(), 1);
        let required = [FactKind::MovementPapers].into();
        let note = String::new();
        movements.rules.insert(way.clone(), Rule::Asks { required, note: note.clone() });
        let found = pairwise(&offers, &wants, &movements);
        assert_eq!(found[0].one_gives.unstated[0].missing, [FactKind::MovementPapers].into());
        movements.rules.insert(way, Rule::NotHere { note });
        assert!(pairwise(&offers, &wants, &movements).is_empty());
        let back = ([spare(2, 2, "Ember Lantern", 8)], [lack(2, 1, &["Ember Lantern"], 6)]);
        assert_eq!(pairwise(&back.0, &back.1, &movements).len(), 1, "a rule holds one way");
    }

    const NAMES: [&str; 3] = ["Ember Lantern", "Tin Orchard", "Moth Harbour"];

    fn any_offers() -> impl Strategy<Value = Vec<Spare>> {
        let one = (0_u8..4, 0_usize..3, 0_u16..5, 1_u16..4, any::<bool>());
        prop::collection::vec(one, 0..12).prop_map(|rows| {
            let made = rows.into_iter().zip(0..).map(|((of, name, count, least, clump), id)| {
                let mut offer = spare(id, of, NAMES[name], count);
                offer.smallest_parcel = least.into();
                offer.unit = if clump { UnitKind::Clump } else { UnitKind::Division };
                offer
            });
            made.collect()
        })
    }

    fn any_wants() -> impl Strategy<Value = Vec<Lack>> {
        let varieties = prop::collection::vec(0_usize..3, 1..4);
        let one = (0_u8..4, varieties, 0_u16..5, any::<bool>());
        prop::collection::vec(one, 0..12).prop_map(|rows| {
            let made = rows.into_iter().zip(0..).map(|((of, names, count, clump), id)| {
                let names: Vec<&str> = names.into_iter().map(|name| NAMES[name]).collect();
                let mut want = lack(id, of, &names, count);
                want.unit = if clump { UnitKind::Clump } else { UnitKind::Division };
                want
            });
            made.collect()
        })
    }

    proptest! {
        #[test]
        fn every_possible_line_is_there_once_and_no_other(
            offers in any_offers(), wants in any_wants(),
        ) {
            let mut expected = Vec::new();
            for offer in &offers {
                for want in &wants {
                    let count = offer.count.min(want.count);
                    let fits = offer.farm != want.farm
                        && offer.unit == want.unit
                        && want.varieties.contains(&offer.variety)
                        && count >= offer.smallest_parcel;
                    if fits {
                        expected.push((offer.farm, want.farm, offer.offer, want.want, count));
                    }
                }
            }
            let matches = pairwise(&offers, &wants, &Movements::default());
            let mut found = Vec::new();
            for pair in &matches {
                prop_assert!(pair.one < pair.other);
                for line in &pair.one_gives.lines {
                    found.push((pair.one, pair.other, line.offer, line.want, line.count));
                }
                for line in &pair.other_gives.lines {
                    found.push((pair.other, pair.one, line.offer, line.want, line.count));
                }
            }
            expected.sort();
            found.sort();
            prop_assert_eq!(found, expected);
            let mutual: Vec<bool> = matches.iter().map(Match::is_mutual).collect();
            prop_assert!(mutual.is_sorted_by(|first, second| first >= second));
        }

        #[test]
        fn the_order_of_offers_and_wants_changes_nothing(
            offers in any_offers(), wants in any_wants(),
        ) {
            let (mut back, mut forth) = (offers.clone(), wants.clone());
            back.reverse();
            forth.reverse();
            prop_assert_eq!(pairwise(&offers, &wants, &Movements::default()), pairwise(&back, &forth, &Movements::default()));
        }
    }
}
