//! The view of a network over which a round runs, frozen as the solver's document, and what an answer
//! to it proposes.
//!
//! Units of worth are hundredths of a median division: what the variety wanted first is worth, in
//! tenths, times ten for that variety itself, nine for the next one taken instead, down to five. What
//! may not enter: how a round is solved, names of farms.

use std::collections::BTreeMap;

use serde_json::{Value, json};
use spareloop_domain::exchange::ProposalKind;
use spareloop_domain::exchange::owed::Tenths;
use spareloop_domain::exchange::round::{Kind, Rules};
use spareloop_domain::words::{Count, CountError, FarmId, IdError, OfferId, UnitKind, WantId};

use crate::answer::{Move, Swaps};
use crate::input::{MOST_TENTHS, RoundInput};
use crate::pairwise::{Lack, Spare, VarietyKey, Ways, pairwise};

/// Where a search stops before its time: a thousandth from what is proved.
const GAP: f64 = 0.001;
/// One and the same, so that everybody can try it again.
const SEED: u64 = 1;
/// Hundredths of a median division in a tenth.
const WORTH_OF_A_TENTH: i64 = 10;
/// Worth of the last of many varieties taken instead, in tenths of the first.
const LEAST_FIT: i64 = 5;

/// How a farm stands before a round.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stands {
    /// Where it ends once all that is promised has passed.
    pub owed: Tenths,
    /// How far from even it may end.
    pub limit: Tenths,
}

/// What a parcel costs, in the round's units of worth.
pub const fn parcel_cost(rules: &Rules) -> i64 {
    rules.parcel_cost.0 * WORTH_OF_A_TENTH
}

/// The document: what is free, what is open, who may give what to whom, at fixed values. `value` says
/// what a unit of a variety is worth in the network; one that it doesn't know is worth 1.
pub fn freeze(
    rules: &Rules,
    farms: &BTreeMap<FarmId, Stands>,
    (offers, wants): (&[Spare], &[Lack]),
    ways: &Ways,
    value: impl Fn(&VarietyKey, UnitKind) -> Option<Tenths>,
) -> Value {
    let value = |variety: &VarietyKey, unit| {
        value(variety, unit).unwrap_or(Tenths(10)).0.clamp(1, MOST_TENTHS)
    };
    let named =
        |variety: &VarietyKey, unit: UnitKind| format!("{} {}", variety.as_str(), unit.code());
    let farms: Vec<Value> = farms
        .iter()
        .map(|(farm, stands)| {
            let owed = stands.owed.0.clamp(-MOST_TENTHS, MOST_TENTHS);
            json!({"id": farm, "owed": owed, "limit": stands.limit.0.clamp(0, MOST_TENTHS)})
        })
        .collect();
    let listed: Vec<Value> = offers
        .iter()
        .map(|offer| {
            json!({"id": offer.offer, "farm": offer.farm, "variety": named(&offer.variety, offer.unit),
                "count": offer.count, "smallest_parcel": offer.smallest_parcel.max(Count::from(1)),
                "unit_value": value(&offer.variety, offer.unit)})
        })
        .collect();
    let wanted: Vec<Value> = wants
        .iter()
        .map(|want| {
            let first = want.varieties.first().map_or(10, |variety| value(variety, want.unit));
            let mut accepts: Vec<Value> = Vec::new();
            for (place, variety) in (0_i64..).zip(&want.varieties) {
                let name = named(variety, want.unit);
                if accepts.iter().all(|known| known["variety"] != name.as_str()) {
                    let fit = (10 - place).max(LEAST_FIT);
                    accepts.push(json!({"variety": name, "worth": first * fit}));
                }
            }
            json!({"id": want.want, "farm": want.farm, "count": want.count, "accepts": accepts})
        })
        .collect();
    let pairs: Vec<Value> = pairwise(offers, wants, ways)
        .iter()
        .flat_map(|found| found.one_gives.lines.iter().chain(&found.other_gives.lines))
        .map(|line| json!([line.offer, line.want]))
        .collect();
    let mut document = json!({
        "mode": match rules.kind { Kind::Loops { .. } => "loops", Kind::SwapDay { .. } => "pooled" },
        "parcel_cost": parcel_cost(rules),
        "farms": farms, "offers": listed, "wants": wanted, "pairs": pairs,
        "seconds": rules.seconds, "gap": GAP, "seed": SEED, "certificate": true,
    });
    if let Kind::Loops { most_farms, tolerance } = rules.kind {
        document["max_loop"] = most_farms.into();
        document["loop_tolerance"] = tolerance.0.into();
    }
    document
}

/// What an answer to a frozen round comes to, beside what its certificate proves.
///
/// ```
/// let said = spareloop_rounds::freeze::comes_to(8_506, Some(9_549.0));
/// assert_eq!(said, "What it passes on is worth 85.0 median divisions to those who want it; no round over \
///     the same offers and wants could exceed 95.4 (89 %).");
/// ```
pub fn comes_to(objective: i64, certified: Option<f64>) -> String {
    let worth = objective as f64 / 100.0;
    let tenths = |number: f64| (number * 10.0).floor() / 10.0;
    let said = format!(
        "What it passes on is worth {:.1} median divisions to those who want it",
        tenths(worth)
    );
    match certified.map(|bound| bound / 100.0) {
        Some(bound) if bound.is_finite() && bound > 0.0 => {
            let share = (100.0 * worth / bound).floor();
            let bound = tenths(bound);
            format!(
                "{said}; no round over the same offers and wants could exceed {bound:.1} ({share} %)."
            )
        }
        _ => format!("{said}."),
    }
}

/// What is proposed to some farms.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Proposed {
    /// Loop or swap day.
    pub kind: ProposalKind,
    /// Its farms; in a loop each gives to the next, the last to the first.
    pub farms: Vec<FarmId>,
    /// Its parcel lines.
    pub lines: Vec<ProposedLine>,
}

/// One parcel line of a proposal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ProposedLine {
    /// Of which offer.
    pub offer: OfferId,
    /// To which want.
    pub want: WantId,
    /// Who gives.
    pub giver: FarmId,
    /// Who takes.
    pub taker: FarmId,
    /// How many.
    pub count: Count,
    /// What one is worth in the swap.
    pub unit_value: Tenths,
    /// What one is worth to the want.
    pub worth: i64,
}

/// A document that was not frozen by [`freeze`].
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Strange {
    /// An id is none of ours.
    #[error(transparent)]
    Id(#[from] IdError),
    /// A count is beyond what counts can be.
    #[error(transparent)]
    Count(#[from] CountError),
    /// A move between an offer and a want that are no pair.
    #[error("a move between an offer and a want that are no pair")]
    NoPair,
}

/// The proposals of an answer: one a loop, or one for all of a swap day.
///
/// # Errors
/// A document that was not frozen here.
pub fn proposed(input: &RoundInput, swaps: &Swaps) -> Result<Vec<Proposed>, Strange> {
    match swaps {
        Swaps::Loops(loops) => loops
            .iter()
            .map(|it| {
                let farms = it
                    .farms
                    .iter()
                    .map(|&farm| input.farms[farm].id.parse())
                    .collect::<Result<_, _>>()?;
                Ok(Proposed { kind: ProposalKind::Loop, farms, lines: lines(input, &it.moves)? })
            })
            .collect(),
        Swaps::Pooled(moves) if moves.is_empty() => Ok(Vec::new()),
        Swaps::Pooled(moves) => {
            let lines = lines(input, moves)?;
            let takes_part =
                |farm: &FarmId| lines.iter().any(|line| line.giver == *farm || line.taker == *farm);
            let farms: Vec<FarmId> =
                input.farms.iter().map(|farm| farm.id.parse()).collect::<Result<_, _>>()?;
            let farms = farms.into_iter().filter(takes_part).collect();
            Ok(vec![Proposed { kind: ProposalKind::SwapDay, farms, lines }])
        }
    }
}

fn lines(input: &RoundInput, moves: &[Move]) -> Result<Vec<ProposedLine>, Strange> {
    moves
        .iter()
        .map(|it| {
            let (offer, want) = (&input.offers[it.offer], &input.wants[it.want]);
            let pair =
                input.pairs.iter().find(|pair| (pair.offer, pair.want) == (it.offer, it.want));
            Ok(ProposedLine {
                offer: offer.id.parse()?,
                want: want.id.parse()?,
                giver: input.farms[offer.farm].id.parse()?,
                taker: input.farms[want.farm].id.parse()?,
                count: Count::new(it.count)?,
                unit_value: Tenths(offer.unit_value),
                worth: pair.ok_or(Strange::NoPair)?.worth,
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use std::collections::BTreeSet;
    use std::sync::atomic::AtomicBool;

    use spareloop_domain::compute::fields::{Fields, parse};
    use spareloop_domain::dice::Dice;
    use spareloop_domain::words::VarietyName;

    use super::*;
    use crate::check::check;
    use crate::compute::read;
    use crate::solve::{Outside, solve};
    use crate::watch::Clock;

    struct Still;

    impl Clock for Still {
        fn seconds(&self) -> f64 {
            0.0
        }
    }

    fn key(name: &str) -> VarietyKey {
        VarietyKey::from(&name.parse::<VarietyName>().unwrap())
    }

    /// Three farms, each with what the next one lacks.
    fn ring(dice: &mut Dice) -> (BTreeMap<FarmId, Stands>, Vec<Spare>, Vec<Lack>) {
        let names = ["Ember Lantern", "Tin Orchard", "Moth Harbour"];
        let farms: Vec<FarmId> = (0..3).map(|_| FarmId::new(dice.id())).collect();
        let stands = Stands { owed: Tenths(0), limit: Tenths(100) };
        let offers = (0..3)
            .map(|at| Spare {
                offer: OfferId::new(dice.id()),
                farm: farms[at],
                variety: key(names[at]),
                unit: UnitKind::Division,
                count: 6_u16.into(),
                smallest_parcel: 2_u16.into(),
                stated: BTreeSet::new(),
            })
            .collect();
        let wants = (0..3)
            .map(|at| Lack {
                want: WantId::new(dice.id()),
                farm: farms[(at + 1) % 3],
                varieties: vec![key(names[at]), key(names[(at + 1) % 3])],
                unit: UnitKind::Division,
                count: 6_u16.into(),
                required: BTreeSet::new(),
                within: None,
            })
            .collect();
        (farms.into_iter().map(|farm| (farm, stands)).collect(), offers, wants)
    }

    fn proposals(rules: &Rules) -> (RoundInput, Vec<Proposed>) {
        let (farms, offers, wants) = ring(&mut Dice::new(11));
        let document =
            freeze(rules, &farms, (&offers, &wants), &Ways::default(), |_, _| Some(Tenths(12)));
        let document = parse(&document.to_string()).unwrap();
        let (input, _) = read(&Fields::top(&document).unwrap()).unwrap();
        let stop = AtomicBool::new(false);
        let found = solve(&input, None, &Outside { clock: &Still, stop: &stop, hears: &|_| {} });
        check(&input, &found.swaps).unwrap();
        let proposed = proposed(&input, &found.swaps).unwrap();
        (input, proposed)
    }

    #[test]
    fn three_farms_that_help_one_another_only_in_a_ring_get_one_loop() {
        let (input, proposed) = proposals(&Rules::usual_loops());
        assert_eq!(proposed.len(), 1);
        assert_eq!((proposed[0].kind, proposed[0].farms.len()), (ProposalKind::Loop, 3));
        assert!(proposed[0].lines.iter().all(|line| line.count == 6_u16.into()));
        // 1.2 wanted first is worth 12 tenths times 10 hundredths each.
        assert!(input.pairs.iter().all(|pair| [120, 108].contains(&pair.worth)));
    }

    #[test]
    fn a_swap_day_is_one_proposal_for_all_farms_that_bring_or_take() {
        let day = "2027-03-14".parse().unwrap();
        let (_, proposed) = proposals(&Rules::usual_swap_day(day, "the old barn".into()));
        assert_eq!(proposed.len(), 1);
        assert_eq!((proposed[0].kind, proposed[0].farms.len()), (ProposalKind::SwapDay, 3));
    }
}
