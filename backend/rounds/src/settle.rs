//! A swap day of which some farms don't come, settled among those who are there.
//!
//! The rule: what an absent farm would bring or take falls away; of the rest as much stands as keeps
//! every farm within its limit and is worth most. No line grows, none falls below the smallest
//! parcel. That nothing at all stands is always within the limits. What may not enter: who is there.

use std::collections::BTreeMap;

use spareloop_domain::compute::fields::Said;
use spareloop_domain::words::FarmId;

use crate::answer::Swaps;
use crate::error::RoundError;
use crate::freeze::Stands;
use crate::input::{Farm, Mode, Offer, Pair, RoundInput, Want};
use crate::solve::{Outside, solve};
use crate::verify::within_reach;

/// Rounds of search: the same answer on every machine, and no coordinator in a hall waits for a proof
/// beyond them.
const WORK: u64 = 20;

/// A line of which something can stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Planned {
    /// Who gives.
    pub giver: FarmId,
    /// Who takes.
    pub taker: FarmId,
    /// As many as can stand.
    pub most: i64,
    /// The least that is sent.
    pub smallest_parcel: i64,
    /// What one is worth in the swap, in tenths.
    pub unit_value: i64,
    /// What one is worth to the want.
    pub worth: i64,
}

/// How many of each line stand, in their order.
///
/// # Errors
/// Counts and values for which no solver should take memory.
pub fn settle(
    farms: &BTreeMap<FarmId, Stands>,
    planned: &[Planned],
    parcel_cost: i64,
    outside: &Outside<'_>,
) -> Result<Vec<i64>, RoundError> {
    if all_can_stand(farms, planned, parcel_cost) {
        return Ok(planned.iter().map(|it| it.most).collect());
    }
    let place: BTreeMap<FarmId, usize> =
        farms.keys().enumerate().map(|(at, farm)| (*farm, at)).collect();
    // Each line has an offer and a want of its own, so that none can grow at the cost of another.
    let (mut offers, mut wants, mut pairs) = (Vec::new(), Vec::new(), Vec::new());
    let mut lines = Vec::new();
    for (line, it) in planned.iter().enumerate() {
        let (Some(&giver), Some(&taker)) = (place.get(&it.giver), place.get(&it.taker)) else {
            continue;
        };
        let at = lines.len();
        lines.push(line);
        offers.push(Offer {
            id: at.to_string(),
            farm: giver,
            variety: at.to_string(),
            count: it.most,
            smallest_parcel: it.smallest_parcel.max(1),
            unit_value: it.unit_value,
        });
        let accepts = vec![(at.to_string(), it.worth)];
        wants.push(Want { id: at.to_string(), farm: taker, count: it.most, accepts });
        pairs.push(Pair { offer: at, want: at, worth: it.worth });
    }
    let input = RoundInput {
        mode: Mode::Pooled,
        parcel_cost,
        farms: farms
            .iter()
            .map(|(id, it)| Farm { id: id.to_string(), owed: it.owed.0, limit: it.limit.0 })
            .collect(),
        offers,
        wants,
        pairs,
        seconds: f64::INFINITY,
        gap: 0.0,
        work: Some(WORK),
        seed: 1,
        certificate: Said::Nothing,
    };
    within_reach(&input)?;
    let mut stands = vec![0; planned.len()];
    if let Swaps::Pooled(moves) = solve(&input, None, outside).swaps {
        for it in moves {
            stands[lines[it.offer]] = it.count;
        }
    }
    Ok(stands)
}

/// Whether nothing has to be cut, nor is worth more cut: every farm is within its limit with all of it,
/// and no parcel costs more than it is worth. So it is on most days when everybody comes.
fn all_can_stand(farms: &BTreeMap<FarmId, Stands>, planned: &[Planned], parcel_cost: i64) -> bool {
    let mut parcels: BTreeMap<(FarmId, FarmId), i128> = BTreeMap::new();
    let mut passed: BTreeMap<FarmId, i128> = BTreeMap::new();
    for it in planned {
        let value = i128::from(it.most) * i128::from(it.unit_value);
        let worth = i128::from(it.most) * i128::from(it.worth);
        *parcels.entry((it.giver, it.taker)).or_default() += worth;
        *passed.entry(it.giver).or_default() += value;
        *passed.entry(it.taker).or_default() -= value;
    }
    let sendable = planned.iter().all(|it| it.worth >= 0 && it.most >= it.smallest_parcel);
    let even = passed.iter().all(|(farm, passed)| {
        farms.get(farm).is_some_and(|it| {
            let (owed, limit) = (i128::from(it.owed.0), i128::from(it.limit.0));
            (owed.min(-limit)..=owed.max(limit)).contains(&(owed + passed))
        })
    });
    sendable && even && parcels.values().all(|worth| *worth >= i128::from(parcel_cost))
}
