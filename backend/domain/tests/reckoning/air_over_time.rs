//! Readings of a logger over time: hours, spells, deficits, flags, and what weighings bear.

use proptest::prelude::*;
use spareloop_domain::climate::{
    Calibration, Celsius, Interval, Moisture, Point, RelativeHumidity, Series, Sums, Temperatures,
    calibrate, deficit_between,
};
use spareloop_domain::ledger::body::Sensor;
use spareloop_domain::settings::Settings;
use spareloop_domain::words::{Day, LotId, Packing};

const MINUTE: u64 = 60_000;

fn celsius(degrees: f64) -> Celsius {
    Celsius::new(degrees).unwrap()
}

fn point(minutes: u64, degrees: f64, humidity: f64) -> Point {
    let humidity = Some(RelativeHumidity::new(humidity).unwrap());
    Point { millis: minutes * MINUTE, temperature: celsius(degrees), humidity }
}

fn series(points: &[(u64, f64, f64)]) -> Series {
    Series::new(points.iter().map(|(at, t, rh)| point(*at, *t, *rh)).collect(), 0)
}

fn sums(points: &[(u64, f64, f64)]) -> Sums {
    series(points).sums(&Settings::default().thresholds())
}

#[test]
fn a_deficit_is_summed_as_fao_56_and_a_ruler_say() {
    // FAO-56, example 3: saturation at 15 °C is 1.705 kPa, at 24.5 °C it is 3.075 kPa. At half the
    // humidity the air lacks 0.8525 and 1.5375 kPa; over one hour, then one hour at the latter:
    // (0.8525 + 1.5375)/2 + 1.5375 = 2.7325 kPa·h.
    let got = sums(&[(0, 15.0, 0.5), (60, 24.5, 0.5), (120, 24.5, 0.5)]);
    assert!((got.deficit_kpa_hours - 2.7325).abs() < 6e-4, "{got:?}");
    assert!((got.hours_with_humidity - 2.0).abs() < 1e-12, "{got:?}");
}

#[test]
fn a_deficit_over_ice_is_near_what_ashrae_prints() {
    // ASHRAE Fundamentals 2017, chapter 1, table 3: 0.10324 kPa over ice at -20 °C. An hour of bone
    // dry air there lacks 0.10324 kPa·h, by our other formula within 0.5 %.
    let got = sums(&[(0, -20.0, 0.0), (60, -20.0, 0.0)]);
    assert!((got.deficit_kpa_hours - 0.10324).abs() < 5e-3 * 0.10324, "{got:?}");
}

#[test]
fn hours_are_cut_where_the_line_crosses_the_band() {
    // From 12 °C to 2 °C in 10 hours: 2 hours over 10 °C, 2.444 under 4.444 °C (40 °F), by a ruler.
    let got = sums(&[(0, 12.0, 0.8), (600, 2.0, 0.8)]);
    assert!((got.above - 2.0).abs() < 1e-9, "{got:?}");
    assert!((got.below - (40.0_f64 - 32.0) / 1.8 + 2.0).abs() < 1e-9, "{got:?}");
    assert!((got.in_band - (10.0 - got.above - got.below)).abs() < 1e-9, "{got:?}");
}

#[test]
fn no_hour_of_a_gap_is_counted_and_a_gap_ends_a_spell() {
    let cold =
        series(&[(0, 1.0, 0.8), (10, 1.0, 0.8), (20, 1.0, 0.8), (600, 1.0, 0.8), (610, 1.0, 0.8)]);
    let got = cold.sums(&Settings::default().thresholds());
    assert!((got.hours - 0.5).abs() < 1e-12, "{got:?}");
    assert_eq!(cold.gaps().len(), 1);
    assert_eq!(cold.spells_at_or_under(celsius(1.0)).len(), 2);
}

#[test]
fn a_spell_begins_and_ends_where_the_line_crosses_and_nights_are_told_from_noon_to_noon() {
    // 6 °C at 22:00, 0 °C at 23:00 and midnight, 6 °C at 1:00: under 2 °C from 22:40 to 0:20.
    let frost = series(&[(1320, 6.0, 0.8), (1380, 0.0, 0.8), (1440, 0.0, 0.8), (1500, 6.0, 0.8)]);
    let spells = frost.spells_at_or_under(celsius(2.0));
    assert_eq!(spells.len(), 1);
    assert!((spells[0].hours() - 100.0 / 60.0).abs() < 1e-6, "{spells:?}");
    let nights: Vec<String> =
        frost.nights_at_or_under(celsius(2.0)).iter().map(Day::to_string).collect();
    assert_eq!(nights, ["1970-01-02"], "one night, told by its morning");
}

#[test]
fn thirty_five_degrees_fahrenheit_sets_the_alarm_off() {
    let reading =
        Point { millis: 0, temperature: Celsius::from_fahrenheit(35.0).unwrap(), humidity: None };
    let found = Temperatures::of(&Series::new(vec![reading], 0), &Settings::default());
    assert_eq!((found.alarm.len(), found.alarm_nights.len()), (1, 1));
}

#[test]
fn the_alarm_stands_whatever_lesser_warnings_are_set_to() {
    let muted = Settings {
        warn_at_or_under: celsius(-50.0),
        warn_at_or_over: celsius(90.0),
        ..Settings::default()
    };
    let found = Temperatures::of(&series(&[(0, 1.0, 0.8)]), &muted);
    assert_eq!((found.alarm.len(), found.cold.len()), (1, 0));
}

#[test]
fn dry_air_is_judged_by_packing_and_by_where_the_sensor_sits() {
    let settings = Settings::default();
    let dry = sums(&[(0, 7.0, 0.5), (60 * 30, 7.0, 0.5)]);
    let wet = sums(&[(0, 7.0, 0.99), (60 * 30, 7.0, 0.99)]);
    let unread = Sums::default();
    let short = sums(&[(0, 7.0, 0.5), (60, 7.0, 0.5)]);
    let said = |packing, sensor, sums| Moisture::of(packing, sensor, sums, &settings);
    let film = Some(Packing::FilmWrap);
    assert_eq!(said(film, Sensor::Room, &dry), Moisture::DryOutsideFilm);
    assert_eq!(
        said(film, Sensor::Room, &wet),
        Moisture::Fine,
        "the room says nothing of the inside"
    );
    assert_eq!(said(film, Sensor::InsideTote, &wet), Moisture::WaterUnderFilm);
    assert_eq!(said(Some(Packing::Peat), Sensor::Room, &dry), Moisture::FeelThePacking);
    assert_eq!(said(Some(Packing::Peat), Sensor::InsideTote, &dry), Moisture::Drying);
    assert_eq!(said(Some(Packing::Bare), Sensor::Room, &dry), Moisture::Drying);
    assert_eq!(said(None, Sensor::Room, &unread), Moisture::NotRead);
    assert_eq!(said(Some(Packing::Bare), Sensor::Room, &short), Moisture::Fine);
}

fn interval(sample: &str, kpa_days: f64, share_lost: f64) -> Interval {
    let lot = LotId::new(spareloop_domain::words::uuid_v7(0, [1; 10]));
    Interval { sample: (lot, sample.to_owned()), kpa_days, share_lost }
}

#[test]
fn few_weighings_claim_nothing_and_neither_do_those_that_show_no_loss() {
    let one = |x, y| interval("a", x, y);
    let few = [one(1.0, 0.01), one(2.0, 0.02), one(3.0, 0.03), one(4.0, 0.04)];
    assert!(matches!(calibrate(&few), Calibration::TooFew { intervals: 4, samples: 1 }));
    assert!(calibrate(&few).sentence().contains("nothing is claimed"));
    let none =
        [one(1.0, 0.01), one(1.0, -0.01), interval("b", 1.0, 0.01), interval("b", 1.0, -0.01)];
    assert!(matches!(calibrate(&none), Calibration::NotShown(_)));
}

#[test]
fn enough_weighings_state_a_slope_through_the_origin_and_its_range() {
    // NIST StRD NoInt2 (x 4, 5, 6; y 3, 4, 4; certified slope 0.727272727272727, from memory), each
    // point twice: the slope stays, the error is √(2·s²·…) by hand: residuals double, n − 1 = 5.
    let twice: Vec<Interval> = ["a", "b"]
        .iter()
        .flat_map(|one| [(4.0, 3.0), (5.0, 4.0), (6.0, 4.0)].map(|(x, y)| interval(one, x, y)))
        .collect();
    let Calibration::Own(rate) = calibrate(&twice) else { panic!("enough to say something") };
    assert!((rate.per_kpa_day - 8.0 / 11.0).abs() < 1e-12);
    // Residual sum of squares of one set: 2 × 0.369274472937998² (certified), so of both 0.545454…
    let error = (2.0 * 2.0 * 0.369_274_472_937_998_f64.powi(2) / 5.0 / 154.0).sqrt();
    assert!((rate.standard_error - error).abs() < 1e-12);
    // Student's t, 5 degrees of freedom, 90 %: 1.476 (printed tables, from memory).
    assert!((rate.high - rate.per_kpa_day - 1.476 * error).abs() < 1e-3 * error);
}

#[test]
fn an_interval_with_too_few_readings_is_not_used() {
    let thresholds = Settings::default().thresholds();
    let day = |text: &str| text.parse::<Day>().unwrap();
    let hours = |last: u64| {
        let points: Vec<_> = (0..=last).map(|hour| (hour * 60, 15.0, 0.5)).collect();
        deficit_between(&series(&points), day("1970-01-01"), day("1970-01-03"), &thresholds)
    };
    // 1.705/2 kPa for two days from noon to noon.
    assert!((hours(60).unwrap() - 1.705).abs() < 1.2e-3);
    assert_eq!(hours(40), None, "28 of 48 hours are read");
}

proptest! {
    #[test]
    fn hours_in_and_out_of_band_are_all_hours(
        readings in prop::collection::vec((1_u64..30, -10.0..25.0_f64, 0.0..1.0_f64), 2..60),
    ) {
        let mut at = 0;
        let points: Vec<_> = readings
            .into_iter()
            .map(|(step, t, rh)| { at += step; (at, t, rh) })
            .collect();
        let got = sums(&points);
        prop_assert!((got.below + got.in_band + got.above - got.hours).abs() < 1e-9);
        prop_assert!(got.dry <= got.hours_with_humidity + 1e-9 && got.deficit_kpa_hours >= 0.0);
        prop_assert!(got.hours_with_humidity <= got.hours + 1e-9);
    }

    #[test]
    fn two_halves_of_a_time_add_up_to_the_whole(
        readings in prop::collection::vec((-10.0..25.0_f64, 0.0..1.0_f64), 3..60), permille in 0_u64..=1000,
    ) {
        let points: Vec<_> =
            readings.iter().enumerate().map(|(at, (t, rh))| (at as u64 * 10, *t, *rh)).collect();
        let whole = series(&points);
        let end = points.len() as u64 * 10 * MINUTE;
        let middle = end / 1000 * permille;
        let between = |from, to| whole.sums_between(from, to, &Settings::default().thresholds());
        let (all, one, two) = (between(0, end), between(0, middle), between(middle, end));
        prop_assert!((one.hours + two.hours - all.hours).abs() < 1e-9);
        prop_assert!((one.below + two.below - all.below).abs() < 1e-3);
        // The deficit bends between two readings, so that a cut moves it a little.
        prop_assert!((one.deficit_kpa_hours + two.deficit_kpa_hours - all.deficit_kpa_hours).abs() < 0.3);
    }

    #[test]
    fn the_order_of_rows_and_their_doubles_change_nothing(
        readings in prop::collection::vec((0_u64..500, -10.0..25.0_f64), 1..60),
    ) {
        let mut once: Vec<Point> = readings.iter().map(|(at, t)| point(*at, *t, 0.8)).collect();
        once.sort_by_key(|point| point.millis);
        once.dedup_by_key(|point| point.millis);
        let turned: Vec<Point> = once.iter().rev().chain(&once).copied().collect();
        prop_assert_eq!(Series::new(once, 0), Series::new(turned, 0));
    }
}
