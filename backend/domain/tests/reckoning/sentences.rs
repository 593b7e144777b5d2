//! The sentences that people read first.

use spareloop_domain::belief::{Ground, Grounds};
use spareloop_domain::forecast::{
    Balance, PlanOutlook, PlanTerms, ServiceLevel, Short, StockOutlook, VarietyOutlook,
    lot_sentence, variety_sentence,
};
use spareloop_domain::words::Count;

fn stock(in_store: u16, expected: f64, low: u32, high: u32, looks: u32) -> StockOutlook {
    let on = "2027-05-10".parse().unwrap();
    let grounds = Grounds { looks, other_lots: 0, other_looks: 0, ground: Ground::FirstSeason };
    StockOutlook { in_store: Count::from(in_store), on, expected, low, high, grounds }
}

fn planned(wanted: u64, level: f64, keep_back: u64, balance: Balance) -> PlanOutlook {
    let service_level = ServiceLevel::new(level).unwrap();
    PlanOutlook::Planned(PlanTerms { plants_wanted: wanted, service_level, keep_back }, balance)
}

#[test]
fn a_lot_is_told_in_one_sentence() {
    let told = [
        stock(40, 31.2, 24, 36, 0),
        stock(40, 31.2, 24, 36, 1),
        stock(40, 31.2, 24, 36, 3),
        stock(1, 0.96, 1, 1, 3),
        stock(0, 0.0, 0, 0, 3),
    ];
    insta::assert_snapshot!(told.map(|outlook| lot_sentence(&outlook)).join("\n"));
}

#[test]
fn a_variety_is_told_with_what_is_spare_or_short_and_why() {
    let some = stock(40, 31.2, 24, 36, 3);
    let short = |units| Balance::Short(Short::Units(units));
    let plans = [
        (some, 1, planned(20, 0.9, 4, Balance::Spare(8))),
        (some, 2, planned(20, 0.95, 0, Balance::Spare(12))),
        (some, 1, planned(1, 0.925, 1, Balance::Spare(29))),
        (some, 1, planned(0, 0.9, 3, Balance::Spare(37))),
        (some, 1, planned(26, 0.99, 3, Balance::Even)),
        (stock(40, 31.2, 24, 36, 0), 3, planned(40, 0.8, 4, short(11))),
        (some, 1, planned(2_000_000, 0.9, 4, Balance::Short(Short::TooMany))),
        (some, 1, PlanOutlook::NoPlan),
        (stock(0, 0.0, 0, 0, 0), 0, planned(20, 0.9, 3, short(25))),
        (stock(0, 0.0, 0, 0, 0), 0, PlanOutlook::NoPlan),
    ];
    let told =
        plans.map(|(stock, lots, plan)| variety_sentence(&VarietyOutlook { stock, lots, plan }));
    insta::assert_snapshot!(told.join("\n"));
}

#[test]
fn what_it_is_reckoned_from_is_said_from_the_nearest_to_the_farthest() {
    let network = Ground::Network { farms: 12, lots: 214 };
    let told = [
        (0, 0, 0, Ground::FirstSeason),
        (5, 0, 0, Ground::FirstSeason),
        (5, 7, 31, Ground::FirstSeason),
        (0, 1, 1, Ground::FirstSeason),
        (5, 44, 260, Ground::OwnRecords),
        (0, 0, 0, network),
        (1, 0, 0, network),
        (5, 7, 31, network),
    ];
    let told = told.map(|(looks, other_lots, other_looks, ground)| {
        let grounds = Grounds { looks, other_lots, other_looks, ground };
        let stock = StockOutlook { grounds, ..stock(40, 31.2, 24, 36, 0) };
        let plan = planned(20, 0.9, 4, Balance::Spare(8));
        variety_sentence(&VarietyOutlook { stock, lots: 3, plan })
    });
    insta::assert_snapshot!(told.join("\n"));
}
