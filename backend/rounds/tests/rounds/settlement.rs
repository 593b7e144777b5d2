//! A swap day settled among those who come: held against every way to settle it, tried one by one.

use std::collections::BTreeMap;
use std::sync::atomic::AtomicBool;

use crate::common::{Size, Still, invented, read, solved};
use spareloop_domain::dice::Dice;
use spareloop_domain::exchange::owed::Tenths;
use spareloop_domain::words::FarmId;
use spareloop_rounds::answer::Swaps;
use spareloop_rounds::freeze::Stands;
use spareloop_rounds::settle::{Planned, settle};
use spareloop_rounds::solve::Outside;

struct Day {
    farms: BTreeMap<FarmId, Stands>,
    planned: Vec<Planned>,
    cost: i64,
}

/// An invented swap day as a round proposed it, and who of its farms comes.
fn day(seed: u64, size: Size) -> (Day, Vec<FarmId>) {
    let mut input = read(&invented(seed, "pooled", size));
    // Any swap day will do, the best or not.
    input.work = Some(2);
    let mut dice = Dice::new(seed ^ 0xabcd);
    let ids: Vec<FarmId> = input.farms.iter().map(|_| FarmId::new(dice.id())).collect();
    let Swaps::Pooled(moves) = solved(&input).swaps else { panic!("a swap day was asked for") };
    let worth = |offer, want| {
        let pair = input.pairs.iter().find(|pair| (pair.offer, pair.want) == (offer, want));
        pair.expect("moves are between pairs").worth
    };
    let planned = moves
        .iter()
        .map(|it| Planned {
            giver: ids[input.offers[it.offer].farm],
            taker: ids[input.wants[it.want].farm],
            most: it.count,
            smallest_parcel: input.offers[it.offer].smallest_parcel,
            unit_value: input.offers[it.offer].unit_value,
            worth: worth(it.offer, it.want),
        })
        .collect();
    let stands = |farm: &spareloop_rounds::input::Farm| Stands {
        owed: Tenths(farm.owed),
        limit: Tenths(farm.limit),
    };
    let farms = ids.iter().zip(&input.farms).map(|(id, farm)| (*id, stands(farm))).collect();
    let come = ids.into_iter().filter(|_| !dice.happens(30)).collect();
    (Day { farms, planned, cost: input.parcel_cost }, come)
}

fn among(day: &Day, come: &[FarmId]) -> Vec<i64> {
    let there: Vec<Planned> = day
        .planned
        .iter()
        .filter(|it| come.contains(&it.giver) && come.contains(&it.taker))
        .copied()
        .collect();
    let stop = AtomicBool::new(false);
    let outside = Outside { clock: &Still, stop: &stop, hears: &|_| {} };
    let stands = settle(&day.farms, &there, day.cost, &outside).unwrap();
    let mut stands = stands.into_iter();
    day.planned
        .iter()
        .map(|it| {
            let there = come.contains(&it.giver) && come.contains(&it.taker);
            if there { stands.next().unwrap() } else { 0 }
        })
        .collect()
}

/// What it is worth, if every farm ends within its limit.
fn worth(day: &Day, stands: &[i64]) -> Option<i64> {
    let mut ends: BTreeMap<FarmId, i64> =
        day.farms.iter().map(|(farm, it)| (*farm, it.owed.0)).collect();
    let (mut worth, mut parcels) = (0, std::collections::BTreeSet::new());
    for (it, &count) in day.planned.iter().zip(stands) {
        *ends.get_mut(&it.giver).unwrap() += count * it.unit_value;
        *ends.get_mut(&it.taker).unwrap() -= count * it.unit_value;
        worth += count * it.worth;
        if count > 0 {
            parcels.insert((it.giver, it.taker));
        }
    }
    let within = day.farms.iter().all(|(farm, it)| {
        let (owed, limit) = (it.owed.0, it.limit.0);
        (owed.min(-limit)..=owed.max(limit)).contains(&ends[farm])
    });
    within.then(|| worth - day.cost * i64::try_from(parcels.len()).unwrap())
}

#[test]
fn whoever_stays_away_those_who_come_end_within_their_limits_and_no_line_grows() {
    let size = Size { farms: 9, varieties: 6, offers: 14, wants: 16, most_count: 9 };
    let mut without_some = 0;
    for seed in 0..40 {
        let (day, come) = day(seed, size);
        let stands = among(&day, &come);
        assert!(worth(&day, &stands).is_some(), "seed {seed}: beyond a limit");
        for (it, &count) in day.planned.iter().zip(&stands) {
            assert!(count == 0 || (it.smallest_parcel..=it.most).contains(&count), "seed {seed}");
            let there = come.contains(&it.giver) && come.contains(&it.taker);
            assert!(there || count == 0, "seed {seed}: an absent farm passes something");
            without_some += usize::from(!there);
        }
        assert_eq!(stands, among(&day, &come), "seed {seed}: the same again");
    }
    assert!(without_some > 50, "farms stayed away");
}

#[test]
fn when_every_farm_comes_all_of_it_stands() {
    let size = Size { farms: 6, varieties: 4, offers: 9, wants: 9, most_count: 6 };
    for seed in 100..120 {
        let (day, _) = day(seed, size);
        let everybody: Vec<FarmId> = day.farms.keys().copied().collect();
        let all: Vec<i64> = day.planned.iter().map(|it| it.most).collect();
        assert_eq!(worth(&day, &among(&day, &everybody)), worth(&day, &all), "seed {seed}");
    }
}

/// The check from outside: every way to settle a small day is tried.
#[test]
fn no_other_way_to_settle_a_small_day_is_worth_more() {
    let size = Size { farms: 5, varieties: 3, offers: 6, wants: 6, most_count: 4 };
    let (mut tried, mut cut) = (0, 0);
    for seed in 200..300 {
        let (day, come) = day(seed, size);
        let choices: Vec<Vec<i64>> = day
            .planned
            .iter()
            .map(|it| {
                let there = come.contains(&it.giver) && come.contains(&it.taker);
                let counts = it.smallest_parcel..=it.most;
                std::iter::once(0).chain(counts.filter(|_| there)).collect()
            })
            .collect();
        let ways: usize = choices.iter().map(Vec::len).product();
        if ways > 4_000 {
            continue;
        }
        let best = (0..ways)
            .filter_map(|mut way| {
                let stands: Vec<i64> = choices
                    .iter()
                    .map(|of| {
                        let one = of[way % of.len()];
                        way /= of.len();
                        one
                    })
                    .collect();
                worth(&day, &stands)
            })
            .max()
            .unwrap();
        let stands = among(&day, &come);
        assert_eq!(worth(&day, &stands), Some(best), "seed {seed}");
        tried += 1;
        let kept = day.planned.iter().zip(&stands).filter(|(it, count)| {
            come.contains(&it.giver) && come.contains(&it.taker) && **count < it.most
        });
        cut += usize::from(kept.count() > 0);
    }
    assert!(tried > 50 && cut > 5, "{tried} days, {cut} where something had to be cut");
}
