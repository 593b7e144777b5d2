//! Whether the defaults and the forecasts are plausible to the trade.

use spareloop_domain::climate::Celsius;
use spareloop_domain::forecast::{LossRow, SeenGroup, posterior, survivors};
use spareloop_domain::settings::Settings;

use crate::rows;

/// A published temperature; some sources write °F, some °C.
fn celsius(value: &str, unit: &str) -> Option<Celsius> {
    let value: f64 = value.parse().ok()?;
    let celsius = if unit.starts_with('F') { (value - 32.0) / 1.8 } else { value };
    Celsius::new(celsius).ok()
}

#[test]
fn nobody_is_warned_at_a_temperature_that_is_published_for_storing() {
    let settings = Settings::default();
    let mut checked = 0;
    for row in rows("storage_climate.csv") {
        if &row[1] != "storage temperature" {
            continue;
        }
        for bound in [celsius(&row[2], &row[4]), celsius(&row[3], &row[4])].into_iter().flatten() {
            assert!(bound > settings.warn_at_or_under, "{row:?}");
            assert!(bound < settings.warn_at_or_over, "{row:?}");
            checked += 1;
        }
    }
    assert!(checked >= 5, "{checked} published bounds were checked");
}

#[test]
fn the_alarm_comes_before_freezing_and_the_warning_before_the_alarm() {
    let settings = Settings::default();
    let freezing = Celsius::new(0.0).unwrap();
    assert!(settings.alarm_at_or_under > freezing);
    assert!(settings.warn_at_or_under > settings.alarm_at_or_under);
    assert!(settings.store_from > settings.warn_at_or_under);
}

/// "90 to 95 %": American Dahlia Society, Digging, Dividing, and Storing Tubers
/// (`storage_climate.csv`, seen), which is also common practice among good growers.
#[test]
fn a_winter_as_good_growers_have_it_is_forecast_as_one() {
    let stated = rows("storage_climate.csv")
        .into_iter()
        .find(|row| row[1].starts_with("storage success"))
        .unwrap();
    let (low, high): (f64, f64) = (stated[2].parse().unwrap(), stated[3].parse().unwrap());
    // 200 units, looked at every 14 days for 180 days, of which 7 in 100 are lost in all.
    let mut alive = 200_u32;
    let mut looks = Vec::new();
    for look in 1..=12_u32 {
        let still = 200 - look * 14 / 12;
        looks.push(LossRow { days: 15, inspected: alive, lost: alive - still });
        alive = still;
    }
    let belief = posterior(&looks);
    let group = SeenGroup { count: 100, days: 180 };
    let expected = survivors(&[group], &belief).unwrap().mean;
    assert!(expected > low && expected < high, "{expected} of 100, stated {low} to {high}");
}

/// Over 95 % with one method, as one farm reached it: common practice, no source.
#[test]
fn a_farm_that_lost_hardly_any_is_not_dragged_down_to_the_first_season_guess() {
    let looks: Vec<LossRow> = (0..12_u32)
        .map(|look| LossRow { days: 15, inspected: 300 - look / 2, lost: u32::from(look % 3 == 0) })
        .collect();
    let group = SeenGroup { count: 100, days: 180 };
    let expected = survivors(&[group], &posterior(&looks)).unwrap().mean;
    assert!(expected > 95.0, "{expected}");
}
