//! What a farm believes of its lots: its own looks, and what a network saw, taken together once.
//!
//! The reference of the blend is the joint fit of all farms, as a member of it has it: the same model
//! by another road, with all looks at once.

use proptest::prelude::*;
use spareloop_domain::belief::{
    Beliefs, FIRST_SEASON_SPLIT, Ground, LotRecord, NetworkFit, NetworkSummary, Records,
};
use spareloop_domain::dice::Dice;
use spareloop_domain::fit::{LossData, LossLook, fit};
use spareloop_domain::forecast::{FIRST_SEASON, LossRow, posterior};
use spareloop_domain::ledger::Book;
use spareloop_domain::shrink::{ShareRecord, YieldRecord};

const VARIETIES: [&str; 8] = [
    "zindleember",
    "mottletam",
    "quillharrow",
    "brindlemoss",
    "tansyvane",
    "ospreylatch",
    "cobblewren",
    "fennelspire",
];
const PACKINGS: [&str; 3] = ["film-wrap", "vermiculite", "sand"];

/// Farms whose losses are drawn from the model: μ −6.6, sds of 0.6 between varieties, 0.4 packings,
/// 0.4 farms, 0.4 lots.
fn farms(count: usize, lots: usize, seed: u64) -> Vec<Records> {
    let mut dice = Dice::new(seed);
    let varieties: Vec<f64> = VARIETIES.iter().map(|_| 0.6 * dice.normal()).collect();
    let packings: Vec<f64> = PACKINGS.iter().map(|_| 0.4 * dice.normal()).collect();
    (0..count)
        .map(|_| {
            let farm = 0.4 * dice.normal();
            let lots = (0..lots).map(|_| {
                let (variety, packing) = (dice.below(8) as usize, dice.below(3) as usize);
                let log_rate =
                    -6.6 + farm + varieties[variety] + packings[packing] + 0.4 * dice.normal();
                let mut alive = 20 + dice.below(40);
                let rows: Vec<LossRow> = (0..5)
                    .map(|_| {
                        let left = dice.of(alive, (-14.0 * log_rate.exp()).exp());
                        let row = LossRow { days: 14, inspected: alive, lost: alive - left };
                        alive = left;
                        row
                    })
                    .collect();
                LotRecord {
                    variety: VARIETIES[variety].to_owned(),
                    packing: PACKINGS[packing].to_owned(),
                    looks: 5,
                    rows,
                }
            });
            let lots = lots.collect();
            Records { lots, ..Records::default() }
        })
        .collect()
}

fn summary(farms: &[Records], without: usize) -> NetworkSummary {
    let fitted = NetworkFit::of(farms.to_vec()).unwrap();
    let told = fitted.told_to(without, "2026-03-01".parse().unwrap()).unwrap();
    NetworkSummary::read(&told.text().unwrap()).unwrap()
}

/// All farms' looks fitted at once, and where the farm's lots stand in it.
fn joint(farms: &[Records]) -> (LossData, Vec<(usize, usize, usize)>) {
    let groups = ["variety", "packing", "farm"].map(str::to_owned).to_vec();
    let (mut data, mut places) = (LossData::new(groups), Vec::new());
    for (farm, records) in farms.iter().enumerate() {
        for (at, lot) in records.lots.iter().enumerate() {
            let labels = [lot.variety.as_str(), lot.packing.as_str(), &farm.to_string()];
            for row in &lot.rows {
                let look = LossLook { days: row.days, inspected: row.inspected, lost: row.lost };
                data.add(&format!("{farm}/{at}"), &labels, look).unwrap();
            }
            places.push((farm, at, data.lots().len() - 1));
        }
    }
    (data, places)
}

#[test]
fn a_farm_that_is_told_of_the_others_believes_what_it_would_as_one_of_them_in_a_joint_fit() {
    let farms = farms(9, 30, 3);
    let (data, places) = joint(&farms);
    let all = fit(&data).unwrap();
    let (mut worst_mean, mut worst_sd) = (0.0_f64, 0.0_f64);
    for farm in 0..farms.len() {
        let told = summary(&farms, farm);
        let mine = Beliefs::of_records(farms[farm].clone(), Some(&told));
        for (_, at, place) in places.iter().filter(|(one, _, _)| *one == farm) {
            let (apart, together) = (mine.record(*at), all.lots[*place]);
            worst_mean = worst_mean.max((apart.mean() - together.mean).abs());
            worst_sd = worst_sd.max((apart.sd() / together.sd - 1.0).abs());
        }
    }
    println!(
        "blend: 270 lots of 9 farms: log hazards within {worst_mean:.4}, sds within {:.2} %",
        100.0 * worst_sd
    );
    assert!(worst_mean < 0.06, "{worst_mean}");
    assert!(worst_sd < 0.05, "{worst_sd}");
}

#[test]
fn a_farm_beside_an_overwhelming_network_believes_of_an_unseen_lot_what_the_network_saw() {
    let mut farms = farms(40, 60, 5);
    farms[0] = Records {
        lots: vec![LotRecord {
            variety: VARIETIES[2].to_owned(),
            packing: PACKINGS[1].to_owned(),
            ..LotRecord::default()
        }],
        ..Records::default()
    };
    let told = summary(&farms, 0);
    let losses = told.losses.as_ref().unwrap();
    let effect = |of: &str| losses.varieties.iter().find(|one| one.variety == of).unwrap().effect;
    let packing = losses.packings.iter().find(|one| one.packing == PACKINGS[1]).unwrap().effect;
    let mine = Beliefs::of_records(farms[0].clone(), Some(&told));
    let lot = mine.record(0);
    assert!((lot.mean() - (losses.typical + packing + effect(VARIETIES[2]))).abs() < 1e-6);
    // What is left unknown is its farm and itself, and little else.
    let spread = losses.spread;
    let least = spread.farm.hypot(spread.lot);
    assert!(lot.sd() > least && lot.sd() < 1.1 * least, "{} {least}", lot.sd());
    assert_eq!(mine.ground(), Ground::Network { farms: 39, lots: 39 * 60 });
}

#[test]
fn a_farm_alone_with_enough_records_believes_its_own_fit() {
    let farm = farms(1, 60, 7).remove(0);
    let mut data = LossData::new(["variety", "packing"].map(str::to_owned).to_vec());
    for (at, lot) in farm.lots.iter().enumerate() {
        for row in &lot.rows {
            let look = LossLook { days: row.days, inspected: row.inspected, lost: row.lost };
            data.add(&at.to_string(), &[&lot.variety, &lot.packing], look).unwrap();
        }
    }
    let fitted = fit(&data).unwrap();
    let beliefs = Beliefs::of_records(farm, None);
    assert_eq!(beliefs.ground(), Ground::OwnRecords);
    for (at, lot) in fitted.lots.iter().enumerate() {
        let own = beliefs.record(at);
        assert!((own.mean() - lot.mean).abs() < 0.03, "{at}: {} {}", own.mean(), lot.mean);
        assert!((own.sd() / lot.sd - 1.0).abs() < 0.03, "{at}: {} {}", own.sd(), lot.sd);
    }
}

#[test]
fn a_lot_without_looks_on_a_farm_without_looks_keeps_the_first_season_guess() {
    let lot = LotRecord { variety: "zindleember".to_owned(), ..LotRecord::default() };
    let beliefs = Beliefs::of_records(Records { lots: vec![lot], ..Records::default() }, None);
    assert_eq!(beliefs.ground(), Ground::FirstSeason);
    let own = beliefs.record(0);
    assert!((own.mean() - FIRST_SEASON.mean()).abs() < 1e-9);
    assert!((own.sd() - FIRST_SEASON.sd()).abs() < 1e-9);
    assert!(FIRST_SEASON_SPLIT.lot() > 0.0);
}

#[test]
fn a_lot_alone_in_its_first_season_believes_its_own_looks_as_before() {
    let rows = vec![
        LossRow { days: 30, inspected: 60, lost: 4 },
        LossRow { days: 21, inspected: 56, lost: 0 },
    ];
    let lot = LotRecord {
        variety: "zindleember".to_owned(),
        packing: "sand".to_owned(),
        looks: 2,
        rows: rows.clone(),
    };
    let beliefs = Beliefs::of_records(Records { lots: vec![lot], ..Records::default() }, None);
    // One lot: its shared and its own spread are one normal, so both roads meet.
    let (own, alone) = (beliefs.record(0), posterior(&rows).hazard);
    assert!((own.mean() - alone.mean()).abs() < 1e-6, "{} {}", own.mean(), alone.mean());
    assert!((own.sd() - alone.sd()).abs() < 1e-6, "{} {}", own.sd(), alone.sd());
}

#[test]
fn a_network_of_few_farms_tells_nobody_anything() {
    let farms = farms(5, 40, 11);
    let fitted = NetworkFit::of(farms).unwrap();
    assert!(fitted.told_to(0, "2026-03-01".parse().unwrap()).is_err());
}

#[test]
fn a_variety_that_few_other_farms_hold_is_not_named_and_nothing_of_it_is_told() {
    let mut farms = farms(7, 30, 13);
    for (farm, name) in [(0, "secretglow"), (1, "twofold"), (2, "twofold")] {
        for lot in &mut farms[farm].lots[..6] {
            name.clone_into(&mut lot.variety);
            if farm < 2 {
                "other".clone_into(&mut lot.packing);
            }
        }
        let record = ShareRecord { many: 90, of: 100 };
        farms[farm].emergence.insert(name.to_owned(), record);
        farms[farm].yields.insert(name.to_owned(), YieldRecord { came: 40, from: 10 });
    }
    for (at, farm) in farms.iter_mut().enumerate() {
        for (variety, name) in VARIETIES.iter().enumerate() {
            let many = 60 + 5 * u32::try_from(variety % 4 + at % 2).unwrap();
            farm.emergence.insert((*name).to_owned(), ShareRecord { many, of: 100 });
            farm.yields.insert((*name).to_owned(), YieldRecord { came: many, from: 20 });
        }
    }
    let fitted = NetworkFit::of(farms).unwrap();
    for farm in 0..7 {
        let told = fitted.told_to(farm, "2026-03-01".parse().unwrap()).unwrap();
        let losses = told.losses.as_ref().unwrap();
        assert_eq!(losses.varieties.len(), VARIETIES.len());
        assert_eq!(told.emergence.as_ref().unwrap().varieties.len(), VARIETIES.len());
        assert_eq!(told.yields.as_ref().unwrap().varieties.len(), VARIETIES.len());
        let text = told.text().unwrap();
        for hidden in ["secretglow", "twofold", "\"other\""] {
            assert!(!text.contains(hidden), "{hidden} in what farm {farm} is told");
        }
    }
}

#[test]
fn a_damaged_summary_is_refused_or_believed_within_reason_and_never_a_panic() {
    let farms = farms(7, 30, 17);
    let text = summary(&farms, 0).text().unwrap();
    let newer = text.replacen("\"version\":1", "\"version\":2", 1);
    assert!(NetworkSummary::read(&newer).unwrap_err().to_string().contains("newer"));
    let mut dice = Dice::new(1);
    for _ in 0..300 {
        let mut bytes = text.clone().into_bytes();
        let place = dice.below(u32::try_from(bytes.len()).unwrap()) as usize;
        bytes[place] = b"0123456789-.e"[dice.below(13) as usize];
        let Ok(told) = NetworkSummary::read(&String::from_utf8_lossy(&bytes)) else { continue };
        let beliefs = Beliefs::of_records(farms[0].clone(), Some(&told));
        assert!(beliefs.record(0).mean().is_finite());
    }
}

#[test]
fn emergence_of_a_variety_is_drawn_towards_the_network_s_by_how_little_is_known() {
    let mut farms = farms(7, 2, 19);
    for farm in &mut farms {
        for (at, name) in VARIETIES.iter().enumerate() {
            let many = 60 + 5 * u32::try_from(at).unwrap();
            farm.emergence.insert((*name).to_owned(), ShareRecord { many, of: 100 });
        }
    }
    let told = summary(&farms, 0);
    let emergence = told.emergence.as_ref().unwrap();
    // 60 to 95 in 100, all alike over farms: the mean of the varieties.
    let mean = emergence.alpha / (emergence.alpha + emergence.beta);
    assert!((0.74..0.81).contains(&mean), "{mean}");
    let one = |records: ShareRecord| {
        let emergence = [("newcomer".to_owned(), records)].into_iter().collect();
        let records = Records { emergence, ..Records::default() };
        Beliefs::of_records(records, Some(&told)).emergence_of("newcomer").rate.mean()
    };
    let (few, many) =
        (one(ShareRecord { many: 2, of: 10 }), one(ShareRecord { many: 200, of: 1000 }));
    assert!(few > many && few < mean && many < 0.25, "{few} {many} {mean}");
    let known = Beliefs::of_records(Records::default(), Some(&told));
    assert!(
        known.emergence_of("fennelspire").rate.mean()
            > known.emergence_of("zindleember").rate.mean()
    );
}

#[test]
fn steps_lead_from_where_it_begins_to_the_lot() {
    let farms = farms(6, 30, 23);
    let told = summary(&farms, 2);
    for network in [None, Some(&told)] {
        let beliefs = Beliefs::of_records(farms[2].clone(), network);
        let steps = beliefs.steps_of(4);
        assert_eq!(steps.len(), 5);
        let sum: f64 = steps.iter().map(|step| step.adds).sum();
        assert!((sum - beliefs.record(4).mean()).abs() < 1e-9);
    }
}

/// Prints how long it takes; what is asserted is that it answers.
#[test]
fn a_farm_of_three_thousand_lots_believes_on_its_own_and_beside_a_network() {
    let farm = farms(1, 3000, 29).remove(0);
    let told = summary(&farms(12, 40, 31), 0);
    for (what, network) in [("on its own", None), ("beside a network", Some(&told))] {
        let records = farm.clone();
        let begun = std::time::Instant::now();
        let beliefs = Beliefs::of_records(records, network);
        println!("belief: 3000 lots, 15000 looks, {what}: {} ms", begun.elapsed().as_millis());
        assert!(beliefs.record(2999).sd() > 0.0);
    }
}

#[test]
fn an_empty_book_believes_without_a_lot() {
    let beliefs = Beliefs::of(&Book::default(), None);
    assert_eq!(beliefs.ground(), Ground::FirstSeason);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn more_looks_never_leave_a_lot_less_sure(seed: u64, lots in 1_usize..12) {
        let farm = farms(1, lots, seed).remove(0);
        let mut fewer = farm.clone();
        fewer.lots[0].rows.truncate(2);
        let sure = |records: &Records| Beliefs::of_records(records.clone(), None).record(0).sd();
        // Losses move the mode, and with it what a look tells; over a few looks a little is allowed.
        prop_assert!(sure(&farm) <= sure(&fewer) * 1.1 + 1e-9);
    }

    #[test]
    fn what_order_lots_come_in_changes_nothing(seed: u64) {
        let farm = farms(1, 9, seed).remove(0);
        let mut turned = farm.clone();
        turned.lots.reverse();
        let (one, other) =
            (Beliefs::of_records(farm, None), Beliefs::of_records(turned, None));
        for at in 0..9 {
            prop_assert!((one.record(at).mean() - other.record(8 - at).mean()).abs() < 1e-6);
        }
    }
}
