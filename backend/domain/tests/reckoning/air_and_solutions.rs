//! The air in store and the solutions at the bench.

use proptest::prelude::*;
use spareloop_domain::climate::{Celsius, RelativeHumidity, vapour};
use spareloop_domain::disinfection::{
    Agent, ContactMinutes, DilutionError, Litres, SolutionUse, Strength, cautions, dilute,
};
use spareloop_domain::settings::Settings;

use crate::{number, rows};

#[test]
fn the_deficit_is_that_of_fao_56() {
    for row in rows("vpd.csv") {
        let humidity = RelativeHumidity::new(number(&row, 2) / 100.0).unwrap();
        let air = vapour(Celsius::new(number(&row, 0)).unwrap(), humidity);
        assert!((air.saturation_kpa - number(&row, 3)).abs() < 6e-5, "{row:?}: {air:?}");
        assert!((air.deficit_kpa - number(&row, 5)).abs() < 6e-5, "{row:?}: {air:?}");
        assert!((air.vapour_kpa + air.deficit_kpa - air.saturation_kpa).abs() < 1e-12);
    }
}

#[test]
fn saturation_is_near_what_is_published() {
    for row in rows("satvap_published.csv") {
        let (celsius, published) = (number(&row, 0), number(&row, 1));
        let got = Celsius::new(celsius).unwrap().saturation_kpa();
        // FAO's own figures to their last place. ASHRAE's are of another formula, from which FAO's
        // differs by less than 0.5 % from -20 to 50 °C.
        let most = row[2].parse().unwrap_or(5e-3 * published);
        assert!((got - published).abs() <= most, "{row:?}: {got}");
    }
}

#[test]
fn saturation_over_ice_meets_that_over_water_at_freezing() {
    let ice = Celsius::new(-1e-9).unwrap().saturation_kpa();
    let water = Celsius::new(0.0).unwrap().saturation_kpa();
    assert!((ice - water).abs() < 1e-9);
    assert!((water - 0.6108).abs() < 1e-15);
}

#[test]
fn readings_that_cannot_be_are_refused() {
    assert!(Celsius::new(f64::NAN).is_err() && Celsius::new(-237.3).is_err());
    assert!(RelativeHumidity::new(85.0).is_err() && RelativeHumidity::new(-0.1).is_err());
}

#[test]
fn rules_of_thumb_in_fahrenheit_are_the_trade_s() {
    // Common practice, no source.
    let rules = Settings::default();
    assert!((rules.store_from.degrees() - 4.444).abs() < 1e-3);
    assert!((rules.alarm_at_or_under.fahrenheit() - 35.0).abs() < 1e-12);
    let written = serde_json::to_string(&rules).unwrap();
    assert_eq!(serde_json::from_str::<Settings>(&written).unwrap(), rules);
    assert_eq!(serde_json::from_str::<Settings>("{}").unwrap(), rules);
}

fn strength(percent: f64) -> Strength {
    Strength::new(percent).unwrap()
}

#[test]
fn bleach_is_diluted_as_c1v1_says() {
    for row in rows("bleach_c1v1.csv") {
        let total = Litres::new(number(&row, 3) / 1000.0).unwrap();
        let made =
            dilute(strength(number(&row, 0)), strength(number(&row, 1)), total, None).unwrap();
        assert!((made.stock_litres * 1000.0 - number(&row, 4)).abs() < 0.0051, "{row:?}");
        assert!((made.water_litres * 1000.0 - number(&row, 5)).abs() < 0.0051, "{row:?}");
        assert!((made.parts_water_per_part_stock - number(&row, 6)).abs() < 0.0051, "{row:?}");
    }
}

#[test]
fn published_parts_of_bleach_come_out() {
    let published = rows("bleach_published.csv");
    let mut checked = 0;
    for row in published.iter().filter(|row| !row[3].is_empty()) {
        let (stock, target) = (strength(number(row, 0)), strength(number(row, 3)));
        let made = dilute(stock, target, Litres::new(1.0).unwrap(), None).unwrap();
        let parts = number(row, 2) / number(row, 1);
        assert!((made.parts_water_per_part_stock - parts).abs() < 1e-9, "{row:?}");
        checked += 1;
    }
    assert_eq!(checked, 2);
}

#[test]
fn nothing_is_made_stronger_than_its_stock_or_its_label() {
    let bucket = Litres::new(10.0).unwrap();
    let made = |target, limit| dilute(strength(5.25), strength(target), bucket, limit);
    assert_eq!(made(5.25, None), Err(DilutionError::TargetNotBelowStock));
    assert_eq!(made(1.0, Some(strength(0.5))), Err(DilutionError::AboveLabel));
    assert!(made(0.5, Some(strength(0.5))).is_ok());
    assert!(Strength::new(0.0).is_none() && Strength::new(f64::NAN).is_none());
    assert!(Litres::new(f64::INFINITY).is_err() && ContactMinutes::new(0.0).is_err());
}

#[test]
fn what_to_mind_is_said_whole() {
    insta::assert_snapshot!(cautions(&Agent::Bleach, Some(SolutionUse::ToolDip)).join("\n"));
    let other =
        cautions(&Agent::Other("label".to_owned()), Some(SolutionUse::TuberSoak)).join("\n");
    assert!(other.contains("label is the law") && !other.contains("bleach"));
}

proptest! {
    #[test]
    fn what_is_poured_together_has_the_target_s_strength(
        stock in 0.01..100.0_f64, part in 0.001..0.999_f64, total in 0.01..1000.0_f64,
    ) {
        let bucket = Litres::new(total).unwrap();
        let made = dilute(strength(stock), strength(stock * part), bucket, None).unwrap();
        prop_assert!((made.stock_litres + made.water_litres - total).abs() < 1e-9 * total);
        let strength: f64 = made.stock_litres * stock / total;
        prop_assert!((strength - stock * part).abs() < 1e-9 * stock);
    }
}
