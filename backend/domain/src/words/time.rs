//! Times of a day.

use std::fmt;
use std::str::FromStr;

/// A time of day to the minute, in the farm's own zone, written `HH:MM`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct TimeOfDay {
    /// From 0 to 1,439.
    minutes: u16,
}

/// A text that is no time of day.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0:?} is not a time of day; write it as HH:MM, from 00:00 to 23:59")]
pub struct TimeOfDayError(pub String);

impl TimeOfDay {
    /// Hours from this time to the next moment when it is `later`: from 0 to less than 24.
    ///
    /// ```
    /// use spareloop_domain::words::TimeOfDay;
    /// let (made_up, until): (TimeOfDay, TimeOfDay) = ("23:30".parse()?, "01:00".parse()?);
    /// assert_eq!(made_up.hours_until(until), 1.5);
    /// # Ok::<(), spareloop_domain::words::TimeOfDayError>(())
    /// ```
    pub fn hours_until(self, later: Self) -> f64 {
        const DAY: u16 = 24 * 60;
        f64::from((later.minutes + DAY - self.minutes) % DAY) / 60.0
    }
}

impl FromStr for TimeOfDay {
    type Err = TimeOfDayError;
    fn from_str(text: &str) -> Result<Self, TimeOfDayError> {
        let wrong = || TimeOfDayError(text.to_owned());
        let (hours, minutes) = text.trim().split_once(':').ok_or_else(wrong)?;
        let number = |text: &str, most: u16| {
            let plain = (1..=2).contains(&text.len()) && text.bytes().all(|b| b.is_ascii_digit());
            text.parse::<u16>().ok().filter(|number| plain && *number <= most).ok_or_else(wrong)
        };
        if minutes.len() != 2 {
            return Err(wrong());
        }
        Ok(Self { minutes: number(hours, 23)? * 60 + number(minutes, 59)? })
    }
}

impl fmt::Display for TimeOfDay {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:02}:{:02}", self.minutes / 60, self.minutes % 60)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_read_as_people_write_them_and_nothing_else_is() {
        for (text, said) in [("13:05", "13:05"), (" 7:30", "07:30"), ("00:00", "00:00")] {
            assert_eq!(text.parse::<TimeOfDay>().map(|time| time.to_string()), Ok(said.to_owned()));
        }
        for text in ["24:00", "12:60", "12", "1230", "12:5", "+1:30", "noon", "", "-1:00", "1:2:3"]
        {
            assert!(text.parse::<TimeOfDay>().is_err(), "{text}");
        }
    }
}
