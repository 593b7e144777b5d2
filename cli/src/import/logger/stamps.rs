//! Moments as loggers write them, and what their clock did meanwhile.
//!
//! A stamp with its offset from UTC is a moment. One without is only what a clock showed: the offset
//! is asked for, and where the stamps go back or ahead by an hour it is asked whether the clock
//! followed summer time. Nothing of it is guessed.

use std::fmt;
use std::str::FromStr;

use chrono::{DateTime, Duration, NaiveDateTime, NaiveTime, Timelike};
use spareloop_domain::words::Day;

use crate::fault::Fault;
use crate::import::dates::{self, Habit};

/// Minutes by which a clock stands ahead of UTC.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Offset(pub i16);

/// Whether a clock followed summer time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ClockHabit {
    /// It went back in autumn and ahead in spring.
    Followed,
    /// It stood by one offset all the while.
    Fixed,
}

/// What a row's stamp says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Stamp {
    /// What the clock showed.
    pub(super) local: NaiveDateTime,
    /// How it stood against UTC, if the stamp says.
    pub(super) offset: Option<Offset>,
}

impl FromStr for Offset {
    type Err = String;
    /// Reads `Z`, `UTC`, `+01:00`, `-0500` or `+1`.
    fn from_str(text: &str) -> Result<Self, String> {
        let plain = text.trim().to_uppercase();
        let signed = plain.strip_prefix("UTC").or_else(|| plain.strip_prefix("GMT"));
        let signed = signed.unwrap_or(&plain).trim();
        if matches!(signed, "" | "Z") && !plain.is_empty() {
            return Ok(Self(0));
        }
        let wrong = || {
            format!("{text:?} is no offset from UTC; write it as +01:00 or -05:00, or Z for UTC")
        };
        let sign = match signed.as_bytes().first() {
            Some(b'+') => 1,
            Some(b'-') => -1,
            _ => return Err(wrong()),
        };
        let digits: String = signed[1..].chars().filter(|letter| *letter != ':').collect();
        if digits.is_empty() || digits.len() > 4 || !digits.bytes().all(|b| b.is_ascii_digit()) {
            return Err(wrong());
        }
        let number: i16 = digits.parse().map_err(|_| wrong())?;
        let (hours, minutes) =
            if digits.len() <= 2 { (number, 0) } else { (number / 100, number % 100) };
        if minutes > 59 || hours * 60 + minutes > 18 * 60 {
            return Err(wrong());
        }
        Ok(Self(sign * (hours * 60 + minutes)))
    }
}

impl fmt::Display for Offset {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = if self.0 < 0 { '-' } else { '+' };
        write!(f, "{sign}{:02}:{:02}", self.0.abs() / 60, self.0.abs() % 60)
    }
}

/// The day of a moment by a clock.
pub(super) fn day(millis: u64, offset_minutes: i16) -> Option<Day> {
    let local = i64::try_from(millis).ok()? + i64::from(offset_minutes) * 60_000;
    Day::new(DateTime::from_timestamp_millis(local)?.date_naive()).ok()
}

/// The part of a stamp that is a date, for telling day from month.
pub(super) fn date_part(text: &str) -> &str {
    split(text).map_or(text, |(date, _)| date)
}

/// Date and time, told apart by the colon of the time.
fn split(text: &str) -> Option<(&str, &str)> {
    let colon = text.find(':')?;
    let start = text[..colon]
        .char_indices()
        .rev()
        .find(|(_, letter)| !letter.is_ascii_digit())
        .map_or(0, |(at, letter)| at + letter.len_utf8());
    let date = text[..start].trim_end_matches([' ', 'T', 't', ',', '-', '_', '\u{a0}']);
    Some((date, &text[start..]))
}

/// Reads a stamp, or a date and a time that stand in two columns.
pub(super) fn read(day: Option<&str>, when: &str, habit: Habit) -> Result<Stamp, String> {
    let wrong = || format!("{when:?} is no moment; it needs a date and a time");
    if let (None, Some(stamp)) = (day, since_1970(when)) {
        return Ok(stamp);
    }
    let (date, time) = match (day, split(when)) {
        (None, Some((date, time))) => (date, time),
        // A sheet may keep a date of nowhere before a time that stands alone.
        (Some(day), Some((_, time))) => (date_part(day), time),
        (Some(day), None) => (date_part(day), when),
        (None, None) => return Err(wrong()),
    };
    let (time, offset) = time_and_offset(time).map_err(|why| why.unwrap_or_else(wrong))?;
    let date = dates::read(date, habit)?.date();
    Ok(Stamp { local: date.and_time(time), offset })
}

/// Seconds or milliseconds since 1970 UTC, as some loggers count.
fn since_1970(text: &str) -> Option<Stamp> {
    let text = text.trim();
    if !text.bytes().all(|byte| byte.is_ascii_digit()) {
        return None;
    }
    let number: i64 = text.parse().ok()?;
    let millis = match text.len() {
        10 => number * 1000,
        13 => number,
        _ => return None,
    };
    let local = DateTime::from_timestamp_millis(millis)?.naive_utc();
    Some(Stamp { local, offset: Some(Offset(0)) })
}

/// A time and the offset behind it. The error says why where that is known.
fn time_and_offset(text: &str) -> Result<(NaiveTime, Option<Offset>), Option<String>> {
    let text = text.trim();
    // A sheet keeps a time alone as a share of a day.
    if let Some(share) = text.parse::<f64>().ok().filter(|share| (0.0..1.0).contains(share)) {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // below 86,400
        let seconds = (share * 86_400.0).round() as u32 % 86_400;
        return NaiveTime::from_num_seconds_from_midnight_opt(seconds, 0)
            .map(|time| (time, None))
            .ok_or(None);
    }
    let end = text
        .find(|letter: char| !(letter.is_ascii_digit() || matches!(letter, ':' | '.')))
        .unwrap_or(text.len());
    let (clock, behind) = text.split_at(end);
    let formats = ["%H:%M:%S%.f", "%H:%M:%S", "%H:%M"];
    let time = formats.iter().find_map(|format| NaiveTime::parse_from_str(clock, format).ok());
    let time = time.ok_or(None)?;
    let behind = behind.trim();
    // Letters of other alphabets keep their bytes, so that the rest is cut at its right place.
    let upper = behind.to_ascii_uppercase();
    let half = ["AM", "A.M.", "PM", "P.M."].iter().find(|half| upper.starts_with(**half));
    let (time, behind) = match half {
        Some(half) => (half_day(time, half).ok_or(None)?, behind[half.len()..].trim()),
        None => (time, behind),
    };
    if behind.is_empty() {
        return Ok((time, None));
    }
    match behind.parse() {
        Ok(offset) => Ok((time, Some(offset))),
        Err(_) => Err(Some(format!(
            "{behind:?} behind a time isn't one offset everywhere; take it out of the file and give --utc-offset"
        ))),
    }
}

fn half_day(time: NaiveTime, half: &str) -> Option<NaiveTime> {
    let hour = time.hour();
    if !(1..=12).contains(&hour) {
        return None;
    }
    let after_noon = if half.starts_with('P') { 12 } else { 0 };
    time.with_hour(hour % 12 + after_noon)
}

/// A change of the clock that the stamps show.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Change {
    /// The place of the first stamp behind it.
    at: usize,
    /// Minutes by which the clock went ahead; below 0 where it went back.
    by: i16,
}

/// Offsets of stamps that don't say theirs, and what was found out about the clock.
pub(super) struct Clock {
    /// One for each stamp.
    pub(super) offsets: Vec<Offset>,
    /// In words, where there is something to say.
    pub(super) notes: Vec<String>,
}

/// Gives every stamp its offset; `rows` are the places in the file, for what is said.
pub(super) fn offsets(
    stamps: &[Stamp],
    rows: &[u64],
    first: Option<Offset>,
    habit: Option<ClockHabit>,
) -> Result<Clock, Fault> {
    let without = stamps.iter().filter(|stamp| stamp.offset.is_none()).count();
    let mut notes = Vec::new();
    if without == 0 {
        if first.is_some() && !stamps.is_empty() {
            notes.push(
                "The stamps say their offset from UTC; --utc-offset wasn't needed.".to_owned(),
            );
        }
        let offsets = stamps.iter().filter_map(|stamp| stamp.offset).collect();
        return Ok(Clock { offsets, notes });
    }
    let Some(first) = first else {
        return Err(Fault::decision(
            "The stamps say what a clock showed, not how it stood against UTC.",
            "Say how it stood at the first row: --utc-offset -05:00, say; Z for UTC.",
        )
        .keeping("Nothing was written."));
    };
    let locals: Vec<NaiveDateTime> = stamps.iter().map(|stamp| stamp.local).collect();
    let changes = changes(&locals);
    let mut now = first;
    let mut ahead = changes.iter().peekable();
    if let (Some(change), None) = (changes.first(), habit) {
        return Err(asked_about(change, &locals, rows));
    }
    let mut offsets = Vec::with_capacity(stamps.len());
    for (at, stamp) in stamps.iter().enumerate() {
        if let Some(change) = ahead.next_if(|change| change.at == at)
            && habit == Some(ClockHabit::Followed)
        {
            now = Offset(now.0 + change.by);
            notes.push(format!(
                "The clock went {} an hour before row {}: from there its offset is {now}.",
                if change.by < 0 { "back" } else { "ahead" },
                rows[at]
            ));
        }
        offsets.push(stamp.offset.unwrap_or(now));
    }
    Ok(Clock { offsets, notes })
}

fn asked_about(change: &Change, locals: &[NaiveDateTime], rows: &[u64]) -> Fault {
    let what = if change.by < 0 {
        "go back by an hour, or an hour stands twice"
    } else {
        "leave out an hour of a night in which clocks may go ahead"
    };
    Fault::decision(
        format!(
            "Before row {} the stamps {what}: {} is followed by {}.",
            rows[change.at],
            locals[change.at - 1],
            locals[change.at]
        ),
        "If the logger's clock followed summer time, give --clock followed; if it stood by one offset and the rows are as they are, --clock fixed.",
    )
    .keeping("Nothing was written.")
}

/// Steps that are an hour shorter or longer than the usual one. A longer one may be a gap, so it
/// counts only in a night from Saturday to Sunday of a month in which clocks go ahead; a shorter one
/// that doesn't go back likewise.
fn changes(locals: &[NaiveDateTime]) -> Vec<Change> {
    let mut steps: Vec<i64> = locals
        .windows(2)
        .map(|pair| (pair[1] - pair[0]).num_seconds())
        .filter(|step| *step > 0)
        .collect();
    steps.sort_unstable();
    let Some(usual) = steps.get(steps.len() / 2).copied() else { return Vec::new() };
    let slack = (usual / 4).clamp(1, 90);
    let near = |step: i64, wanted: i64| (step - wanted).abs() <= slack;
    let hour = Duration::hours(1).num_seconds();
    (1..locals.len())
        .filter_map(|at| {
            let step = (locals[at] - locals[at - 1]).num_seconds();
            let likely = may_change(locals[at - 1]) || may_change(locals[at]);
            if near(step, usual - hour) && !near(step, usual) && (step <= 0 || likely) {
                Some(Change { at, by: -60 })
            } else if near(step, usual + hour) && likely {
                Some(Change { at, by: 60 })
            } else {
                None
            }
        })
        .collect()
}

/// Small hours of a Sunday in March, April, September, October or November.
fn may_change(local: NaiveDateTime) -> bool {
    use chrono::{Datelike, Weekday};
    local.weekday() == Weekday::Sun
        && local.hour() <= 4
        && matches!(local.month(), 3 | 4 | 9 | 10 | 11)
}

#[cfg(test)]
#[path = "stamps_tests.rs"]
mod tests;
