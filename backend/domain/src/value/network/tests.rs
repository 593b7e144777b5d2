#![allow(clippy::unwrap_used)]
use super::*;
use crate::chance::{Distribution, Tail};
use crate::shrink::{ShareRecord, YieldRecord};
use crate::words::VarietyName;

fn name(text: &str) -> VarietyName {
    text.parse().unwrap()
}

fn key(text: &str) -> String {
    name(text).key()
}

fn record(up: (u32, u32), divisions: (u32, u32), losses: (u32, u32)) -> VarietyRecord {
    VarietyRecord {
        emergence: ShareRecord { many: up.0, of: up.1 },
        divisions: YieldRecord { came: divisions.0, from: divisions.1 },
        losses: YieldRecord { came: losses.0, from: losses.1 },
    }
}

fn farm(on_board: &[&str], records: &[(&str, VarietyRecord)]) -> OnBoard {
    OnBoard {
        records: VarietyRecords(records.iter().map(|(of, one)| (key(of), *one)).collect()),
        varieties: on_board.iter().map(|of| key(of)).collect(),
    }
}

fn offer(variety: &str, count: u16, lasting: f64) -> OfferedStock {
    let left = Distribution::binomial(count.into(), lasting, 1.0 - lasting, Tail::Cut);
    OfferedStock { variety: name(variety), unit: UnitKind::Division, count: count.into(), left }
}

fn want(count: u32, varieties: &[&str]) -> WantedUnits {
    let varieties = varieties.iter().map(|of| name(of)).collect();
    WantedUnits { unit: UnitKind::Division, count, varieties }
}

/// Invented: one variety that gives little and is wanted, one that gives much and is not.
fn region() -> (Vec<OnBoard>, Vec<OfferedStock>, Vec<WantedUnits>) {
    let little = record((40, 50), (66, 30), (4, 9_000));
    let usual = record((45, 50), (120, 30), (3, 9_000));
    let farms = vec![
        farm(&["Zindle Ember"], &[("Zindle Ember", little), ("Hidden Lantern", little)]),
        farm(&["Plover Dusk"], &[("Plover Dusk", usual), ("zindle ember", little)]),
        farm(&["Plover Dusk", "Tansy Gate"], &[("Tansy Gate", usual), ("Plover Dusk", usual)]),
    ];
    let offered = vec![
        offer("Zindle Ember", 9, 0.9),
        offer("Plover Dusk", 20, 0.95),
        offer("Plover Dusk", 6, 0.8),
    ];
    let wanted = vec![
        want(8, &["Zindle Ember"]),
        want(6, &["Zindle Ember"]),
        want(4, &["Tansy Gate", "Plover Dusk"]),
    ];
    (farms, offered, wanted)
}

fn published() -> Published {
    let (farms, offered, wanted) = region();
    publish("2026-11-25".parse().unwrap(), 7, &farms, offered, wanted)
}

#[test]
fn a_variety_that_gives_little_and_is_wanted_is_dear_and_says_why() {
    let values = values_of(&published()).unwrap();
    let names: Vec<&str> = values.iter().map(|one| one.variety.as_str()).collect();
    assert_eq!(names, ["Plover Dusk", "Tansy Gate", "Zindle Ember"]);
    let [dusk, gate, ember] = values.try_into().unwrap();
    assert!(ember.value.value > 2.0 * dusk.value.value, "{ember:?} {dusk:?}");
    assert!(ember.value.chance_short > 0.9 && dusk.value.chance_short < 0.1);
    // None of it anywhere: what it is worth to those who hope for it bounds it from above.
    assert_eq!(gate.offered, 0);
    assert!(gate.value.high <= gate.to_a_want && gate.value.low < gate.value.high);
    let lines = |told: &ToldValue| {
        let steps = explain(&published(), told);
        let steps = steps.iter().map(|step| format!("{}: {}", step.about, step.says));
        format!("{}\n{}", told.sentence, steps.collect::<Vec<_>>().join("\n"))
    };
    insta::assert_snapshot!([&ember, &dusk, &gate].map(lines).join("\n\n"));
}

#[test]
fn a_lot_that_keeps_better_than_what_is_offered_is_worth_more_a_unit() {
    let values = values_of(&published()).unwrap();
    let ember = values.iter().find(|one| one.variety == "Zindle Ember").unwrap();
    // 9 are offered, of which 9 in 10 are expected to be left.
    assert!((ember.left_share - 0.9).abs() < 0.05, "{}", ember.left_share);
    assert_eq!(ember.of_lot(ember.left_share), ember.tenths);
    assert!(ember.of_lot(1.0) > ember.tenths && ember.of_lot(0.5) < ember.tenths);
    // Nothing is known of what others have: the lot counts as the variety.
    let gate = values.iter().find(|one| one.variety == "Tansy Gate").unwrap();
    assert_eq!(gate.of_lot(0.3), gate.tenths);
}

#[test]
fn who_reads_the_document_reckons_the_same_to_the_last_digit() {
    let here = published();
    let there = Published::read(&here.text().unwrap()).unwrap();
    assert_eq!(here, there);
    assert_eq!(values_of(&here).unwrap(), values_of(&there).unwrap());
}

#[test]
fn neither_the_order_of_farms_nor_a_spelling_changes_the_document() {
    let (mut farms, mut offered, mut wanted) = region();
    farms.reverse();
    offered.reverse();
    wanted.reverse();
    wanted[0] = want(4, &["TANSY gate", "plover DUSK"]);
    let other = publish("2026-11-25".parse().unwrap(), 7, &farms, offered, wanted);
    let (mut here, mut there) = (published(), other);
    for variety in here.varieties.iter_mut().chain(&mut there.varieties) {
        variety.name = key(&variety.name);
    }
    assert_eq!(here, there);
}

#[test]
fn a_variety_that_a_farm_keeps_to_itself_is_nowhere_in_the_document() {
    let text = published().text().unwrap();
    assert!(text.contains("Zindle Ember") && !text.contains("Lantern"), "{text}");
}

#[test]
fn records_of_a_variety_that_its_farm_has_not_put_up_count_from_five_farms_on() {
    let ember = |farms: &[OnBoard]| {
        let (_, offered, wanted) = region();
        let made = publish("2026-11-25".parse().unwrap(), 7, farms, offered, wanted);
        let of = made.varieties.iter().find(|one| one.name == "Zindle Ember").unwrap();
        of.multiplying.divisions
    };
    let (mut farms, ..) = region();
    // The second farm has it in its book and not on the board.
    assert_eq!((ember(&farms).many, ember(&farms).of), (66, 30));
    let one_more = || farm(&[], &[("Zindle Ember", record((0, 0), (10, 5), (0, 0)))]);
    farms.extend([one_more(), one_more()]);
    assert_eq!((ember(&farms).many, ember(&farms).of), (66, 30));
    farms.push(one_more());
    assert_eq!((ember(&farms).many, ember(&farms).of), (162, 75));
}

/// A binomial number of survivors, thinned by drawing units blindly, is binomial again.
#[test]
fn an_offer_of_part_of_a_lot_survives_as_the_lot_does() {
    for (lot, count) in [(20_u32, 8_u32), (20, 20), (7, 1), (5, 0)] {
        let of = |units: u32| Distribution::binomial(units as usize, 0.85, 0.15, Tail::Full);
        let left = thinned(lot, &of(lot), count);
        for units in 0..=count as usize {
            assert!((left.chance(units) - of(count).chance(units)).abs() < 1e-12);
        }
    }
}

/// By the rectangle rule over the gamma density, in another way than the closed form.
#[test]
fn the_share_that_lasts_is_the_mean_over_what_the_loss_rate_may_be() {
    let priors = Priors::default();
    let drawn = priors.drawn(&record((0, 0), (0, 0), (6, 12_000)));
    let (shape, rate) = (priors.losses.first + 6.0, priors.losses.second + 12_000.0);
    let (mut sum, mut weight) = (0.0, 0.0);
    for at in 1..200_000 {
        let hazard = f64::from(at) * 2e-8;
        let density = ((shape - 1.0) * hazard.ln() - rate * hazard).exp();
        sum += density * (-180.0 * hazard).exp();
        weight += density;
    }
    assert!((drawn.lasting.rate - sum / weight).abs() < 1e-6, "{drawn:?} {}", sum / weight);
}

#[test]
fn the_first_guess_of_losses_is_that_of_the_forecast() {
    let losses = Priors::default().losses;
    let first = crate::forecast::FIRST_SEASON;
    let mean = (first.mean() + first.sd().powi(2) / 2.0).exp();
    assert!((losses.first / losses.second / mean - 1.0).abs() < 1e-12);
    let spread = 1.0 / losses.first.sqrt();
    assert!((spread - (first.sd().powi(2)).exp_m1().sqrt()).abs() < 1e-12);
}

#[test]
fn a_variety_that_nobody_asks_for_is_worth_what_it_is_to_its_owner() {
    let published = published();
    let own = unlisted(&published, &record((9, 10), (12, 10), (1, 1_000))).unwrap();
    assert!(own.multiplication < own.median && own.rebuild > 1.0);
    assert!((own.reserve - 0.5 * own.rebuild).abs() < 1e-12);
    insta::assert_snapshot!(own.sentence);
}

#[test]
fn a_document_that_does_not_hold_together_is_refused() {
    let text = published().text().unwrap();
    let newer = text.replace("\"form\":1", "\"form\":2");
    assert_eq!(Published::read(&newer), Err(PublishedError::Newer(2)));
    for (from, to) in [("\"accepts\":[2]", "\"accepts\":[3]"), ("\"lapse\":0.05", "\"lapse\":5")] {
        assert!(text.contains(from), "{text}");
        assert_eq!(Published::read(&text.replace(from, to)), Err(PublishedError::Inconsistent));
    }
    assert!(matches!(Published::read("[]"), Err(PublishedError::Unreadable(_))));
}
