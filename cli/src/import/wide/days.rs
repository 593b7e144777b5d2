//! Headings that are days: 2025-11-12, 12.11., Nov 12.
//!
//! A heading without a year belongs to a season, which begins with the lift in autumn; which one
//! is asked for, never guessed.

use chrono::{Datelike, NaiveDate};
use spareloop_domain::words::Day;

use crate::fault::Fault;
use crate::import::dates::{self, Habit, Parts, parts};

/// The season that headings without a year belong to: the year of its autumn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Season(pub i32);

/// The first month of a season: nothing is lifted yet, and what was stored is planted (common
/// practice, no source).
const FIRST_MONTH: u32 = 7;

impl Season {
    /// The season that a day belongs to.
    pub(in crate::import) fn of(day: Day) -> Self {
        let date = day.date();
        Self(if date.month() < FIRST_MONTH { date.year() - 1 } else { date.year() })
    }

    fn year(self, month: u32) -> i32 {
        if month < FIRST_MONTH { self.0 + 1 } else { self.0 }
    }
}

/// What a heading says of a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Said {
    Whole(Day),
    NoYear { month: u32, day: u32 },
}

/// Words that people write before the day of a look.
const BEFORE: &[&str] =
    &["check", "checked", "look", "looked", "count", "counted", "alive", "on", "sound", "left"];

/// Whether a heading is a day in any form.
pub(in crate::import) fn is_day(heading: &str, habit: Habit) -> bool {
    said(heading, habit).is_some()
}

/// The numbers of a heading that may be a day, for the file's habit.
pub(in crate::import) fn numbers(heading: &str) -> Option<(&str, Parts)> {
    let text = stripped(heading);
    parts(text).map(|parts| (text, parts))
}

/// The day of a heading; none if it is no day.
pub(super) fn day(
    heading: &str,
    habit: Habit,
    season: Option<Season>,
    today: Day,
) -> Result<Option<Day>, Fault> {
    let (month, day) = match said(heading, habit) {
        None => return Ok(None),
        Some(Said::Whole(day)) => return Ok(Some(day)),
        Some(Said::NoYear { month, day }) => (month, day),
    };
    let Some(season) = season else {
        return Err(Fault::decision(
            format!("The heading '{heading}' doesn't say of which year."),
            format!(
                "Say in which autumn the season began, for instance: --season {}",
                Season::of(today).0
            ),
        )
        .keeping("Nothing was written."));
    };
    let date = NaiveDate::from_ymd_opt(season.year(month), month, day);
    let day = date.and_then(|date| Day::new(date).ok());
    day.map(Some).ok_or_else(|| {
        Fault::refused(
            format!("The heading '{heading}' is no day of the season {}.", season.0),
            "Correct the heading, or leave the column out with --map 'HEADING=-'.",
        )
    })
}

/// A heading without the words that people write before the day.
fn stripped(heading: &str) -> &str {
    let text = heading.trim();
    match text.split_once([' ', '\n']) {
        Some((word, rest)) if BEFORE.contains(&word.to_lowercase().as_str()) => stripped(rest),
        _ => text,
    }
}

fn said(heading: &str, habit: Habit) -> Option<Said> {
    let text = stripped(heading);
    if let Ok(day) = dates::read(text, habit) {
        return Some(Said::Whole(day));
    }
    let (month, day) = without_year(text, habit)?;
    // A leap year, so that a 29 February is seen to be a day.
    NaiveDate::from_ymd_opt(2024, month, day)?;
    Some(Said::NoYear { month, day })
}

fn without_year(text: &str, habit: Habit) -> Option<(u32, u32)> {
    if let Some(parts) = parts(text) {
        // 12.1 is more likely a number; 12.1. and 12.01 are days.
        let number = text.parse::<f64>().is_ok() && text.len() < 5;
        return (parts.numbers.len() == 2 && !number).then(|| parts.month_and_day(habit.order));
    }
    let mut words = text.split([' ', '-', '.']).filter(|word| !word.is_empty());
    let (first, second) = (words.next()?, words.next()?);
    if words.next().is_some() {
        return None;
    }
    let month_of =
        |word: &str| word.parse::<chrono::Month>().ok().map(|month| month.number_from_month());
    match (month_of(first), month_of(second)) {
        (Some(month), None) => Some((month, ordinal(second)?)),
        (None, Some(month)) => Some((month, ordinal(first)?)),
        _ => None,
    }
}

/// 12, 12th.
fn ordinal(word: &str) -> Option<u32> {
    let digits = word.trim_end_matches(|letter: char| letter.is_ascii_alphabetic());
    let ending = &word[digits.len()..];
    ["", "st", "nd", "rd", "th"].contains(&ending).then(|| digits.parse().ok()).flatten()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use super::*;
    use crate::import::dates::DateOrder;
    use crate::import::table::Serials;

    fn of(heading: &str, order: Option<DateOrder>) -> String {
        let habit = Habit { order, serials: Serials::From1900 };
        let today = "2026-03-20".parse().unwrap();
        match day(heading, habit, Some(Season(2025)), today) {
            Ok(Some(day)) => day.to_string(),
            Ok(None) => "no day".to_owned(),
            Err(fault) => fault.what,
        }
    }

    #[test]
    fn a_heading_is_a_day_in_whatever_form_people_write_it() {
        for heading in [
            "2025-11-12",
            "12.11.2025",
            "12.11.",
            "12.11",
            "Nov 12",
            "12 Nov",
            "12-Nov",
            "November 12th",
            "12. November",
            "checked 12 Nov",
            "Look on Nov 12",
            "45973",
        ] {
            assert_eq!(of(heading, None), "2025-11-12", "{heading}");
        }
        assert_eq!(of("11/12", Some(DateOrder::MonthFirst)), "2025-11-12");
        assert_eq!(of("12/11", Some(DateOrder::DayFirst)), "2025-11-12");
    }

    #[test]
    fn a_winter_belongs_to_the_season_of_its_autumn() {
        assert_eq!(of("Jan 14", None), "2026-01-14");
        assert_eq!(of("3 May", None), "2026-05-03");
        assert_eq!(of("20 Oct", None), "2025-10-20");
    }

    #[test]
    fn words_numbers_and_other_columns_are_no_days() {
        for heading in [
            "variety", "count", "12", "2025", "week 3", "3.5", "tote 12", "May", "40/60", "12 Foo",
            "31 Feb",
        ] {
            assert_eq!(of(heading, None), "no day", "{heading}");
        }
        assert!(of("29 Feb", None).contains("no day of the season"));
    }

    #[test]
    fn without_a_season_the_year_is_asked_for() {
        let today = "2026-03-20".parse().unwrap();
        let fault = day("Nov 12", Habit::default(), None, today).unwrap_err();
        assert!(fault.hint.contains("--season 2025"), "{}", fault.hint);
    }
}
