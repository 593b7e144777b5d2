#![allow(clippy::unwrap_used)]

use super::*;
use crate::import::dates::DateOrder;
use crate::import::table::Serials;

fn habit(order: Option<DateOrder>) -> Habit {
    Habit { order, serials: Serials::None }
}

fn said(day: Option<&str>, when: &str) -> Result<String, String> {
    read(day, when, habit(Some(DateOrder::MonthFirst))).map(|stamp| {
        let offset = stamp.offset.map_or_else(String::new, |offset| format!(" {offset}"));
        format!("{}{offset}", stamp.local)
    })
}

#[test]
fn moments_are_read_as_loggers_write_them() {
    for (text, moment) in [
        ("2026-01-12 05:30", "2026-01-12 05:30:00"),
        ("2026-01-12T05:30:15Z", "2026-01-12 05:30:15 +00:00"),
        ("2026-01-12T05:30:15.250-05:00", "2026-01-12 05:30:15.250 -05:00"),
        ("2026-01-12 05:30 UTC+1", "2026-01-12 05:30:00 +01:00"),
        ("01/12/2026 5:30:00 AM", "2026-01-12 05:30:00"),
        ("01/12/26 12:05 PM", "2026-01-12 12:05:00"),
        ("1/12/2026 12:05 AM", "2026-01-12 00:05:00"),
        ("12.1.2026 05:30", "2026-01-12 05:30:00"),
        ("Jan 12, 2026 05:30", "2026-01-12 05:30:00"),
        ("1768195800", "2026-01-12 05:30:00 +00:00"),
        ("1768195800000", "2026-01-12 05:30:00 +00:00"),
    ] {
        assert_eq!(said(None, text), Ok(moment.to_owned()), "{text}");
    }
    assert_eq!(said(Some("2026-01-12"), "05:30"), Ok("2026-01-12 05:30:00".to_owned()));
    assert_eq!(said(Some("2026-01-12"), "0.25"), Ok("2026-01-12 06:00:00".to_owned()));
}

#[test]
fn what_is_no_moment_is_told() {
    for text in
        ["2026-01-12", "05:30", "soon", "2026-01-12 25:00", "2026-02-30 05:00", "13:00 AM", ":"]
    {
        assert!(said(None, text).is_err(), "{text}");
    }
    assert!(said(None, "2026-01-12 05:30 EST").unwrap_err().contains("--utc-offset"));
    assert!(said(None, "1/12/2026 13:00 PM").is_err());
}

#[test]
fn offsets_are_read_and_said_again() {
    for (text, said) in [
        ("Z", "+00:00"),
        ("utc", "+00:00"),
        ("+01:00", "+01:00"),
        ("-0530", "-05:30"),
        ("+1", "+01:00"),
    ] {
        assert_eq!(text.parse::<Offset>().map(|offset| offset.to_string()), Ok(said.to_owned()));
    }
    for text in ["", "5", "+25:00", "+01:75", "EST", "+é1"] {
        assert!(text.parse::<Offset>().is_err(), "{text}");
    }
}

/// Readings every half hour from an hour on, with the hours that a clock showed.
fn stamps(texts: &[&str]) -> (Vec<Stamp>, Vec<u64>) {
    let stamps: Vec<Stamp> =
        texts.iter().map(|text| read(None, text, habit(None)).unwrap()).collect();
    let rows = (2..).take(stamps.len()).collect();
    (stamps, rows)
}

const AUTUMN: [&str; 6] = [
    "2026-11-01 00:30",
    "2026-11-01 01:00",
    "2026-11-01 01:30",
    "2026-11-01 01:00",
    "2026-11-01 01:30",
    "2026-11-01 02:00",
];

#[test]
fn an_hour_that_stands_twice_is_asked_about_and_told() {
    let (stamps, rows) = stamps(&AUTUMN);
    let first = Some(Offset(-240));
    let asked = offsets(&stamps, &rows, first, None).map(|_| ()).unwrap_err();
    assert!(asked.what.contains("Before row 5") && asked.hint.contains("--clock followed"));
    let clock = offsets(&stamps, &rows, first, Some(ClockHabit::Followed)).unwrap();
    let minutes: Vec<i16> = clock.offsets.iter().map(|offset| offset.0).collect();
    assert_eq!(minutes, [-240, -240, -240, -300, -300, -300]);
    assert_eq!(clock.notes.len(), 1);
    let fixed = offsets(&stamps, &rows, first, Some(ClockHabit::Fixed)).unwrap();
    assert!(fixed.offsets.iter().all(|offset| *offset == Offset(-240)));
}

#[test]
fn an_hourly_logger_shows_the_change_by_one_stamp_twice() {
    let texts = [
        "2026-10-25 00:00",
        "2026-10-25 01:00",
        "2026-10-25 02:00",
        "2026-10-25 02:00",
        "2026-10-25 03:00",
    ];
    let (stamps, rows) = stamps(&texts);
    let clock = offsets(&stamps, &rows, Some(Offset(120)), Some(ClockHabit::Followed)).unwrap();
    let minutes: Vec<i16> = clock.offsets.iter().map(|offset| offset.0).collect();
    assert_eq!(minutes, [120, 120, 120, 60, 60]);
}

#[test]
fn an_hour_left_out_in_a_night_of_spring_is_asked_about_and_any_other_is_a_gap() {
    let spring = ["2026-03-08 01:00", "2026-03-08 01:30", "2026-03-08 03:00", "2026-03-08 03:30"];
    let (found, rows) = stamps(&spring);
    assert!(offsets(&found, &rows, Some(Offset(-300)), None).is_err());
    let clock = offsets(&found, &rows, Some(Offset(-300)), Some(ClockHabit::Followed)).unwrap();
    assert_eq!(clock.offsets[3], Offset(-240));
    let winter = ["2026-01-12 01:00", "2026-01-12 01:30", "2026-01-12 03:00", "2026-01-12 03:30"];
    let (found, rows) = stamps(&winter);
    assert!(offsets(&found, &rows, Some(Offset(-300)), None).is_ok());
}

#[test]
fn the_offset_of_a_bare_clock_is_asked_for_and_that_in_a_stamp_is_taken() {
    let (bare, rows) = stamps(&["2026-01-12 01:00", "2026-01-12 02:00"]);
    let asked = offsets(&bare, &rows, None, None).map(|_| ()).unwrap_err();
    assert!(asked.hint.contains("--utc-offset"));
    let (told, rows) = stamps(&["2026-01-12T01:00Z", "2026-01-12T02:00+01:00"]);
    let clock = offsets(&told, &rows, None, None).unwrap();
    assert_eq!(clock.offsets, [Offset(0), Offset(60)]);
}

proptest::proptest! {
    #[test]
    fn any_text_is_a_moment_or_is_told_and_nothing_falls_over(
        text in "\\PC{0,30}", day in proptest::option::of("\\PC{0,12}"), stamp in "[0-9/:. -]{0,24}(AM|pm|Z|[+-][0-9:]{1,5}|é)?",
    ) {
        for when in [&text, &stamp] {
            if let Ok(stamp) = read(day.as_deref(), when, habit(Some(DateOrder::DayFirst))) {
                use chrono::Datelike;
                proptest::prop_assert!((1900..2300).contains(&stamp.local.year()), "{when}");
            }
            if let Ok(offset) = when.parse::<Offset>() {
                proptest::prop_assert!(offset.0.abs() <= 18 * 60, "{when}");
            }
        }
    }
}
