//! What stands in a cell of a workbook, as the text that a person sees there.
//!
//! What may not enter: what columns mean.

use calamine::{DataRef, NumberFormat};
use chrono::NaiveTime;
use spareloop_domain::words::Day;

use crate::import::table::{Odd, Serials};

/// How a number is shown, as far as it changes what it says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Style {
    /// As it is.
    Plain,
    /// Times a hundred, with a percent sign.
    Percent,
}

/// Whether a number format shows numbers as percent.
pub(super) fn is_percent(format: &NumberFormat) -> bool {
    format.format_code.contains('%')
}

/// A cell's text; empty where nothing stands in it.
pub(super) fn text(value: &DataRef<'_>, style: Style, serials: Serials) -> Result<String, Odd> {
    Ok(match value {
        DataRef::Empty => String::new(),
        DataRef::String(text) | DataRef::DateTimeIso(text) | DataRef::DurationIso(text) => {
            text.trim().to_owned()
        }
        DataRef::SharedString(text) => text.trim().to_owned(),
        DataRef::Int(number) => number.to_string(),
        DataRef::Float(share) if style == Style::Percent => {
            format!("{}%", number((share * 1e12).round() / 1e10))
        }
        DataRef::Float(value) => number(*value),
        DataRef::Bool(true) => "yes".to_owned(),
        DataRef::Bool(false) => "no".to_owned(),
        DataRef::DateTime(moment) => serials
            .day(moment.as_f64())
            .map_or_else(|| number(moment.as_f64()), |day| with_time(day, moment.as_f64())),
        DataRef::Error(error) => return Err(Odd::Error(error.to_string())),
    })
}

/// A day, with its time where it has one: midnight is no time, but a plain day.
fn with_time(day: Day, serial: f64) -> String {
    // A share of a day, to the second.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let seconds = (serial.fract() * 86_400.0).round() as u32;
    match NaiveTime::from_num_seconds_from_midnight_opt(seconds, 0) {
        Some(time) if seconds > 0 => format!("{day} {time}"),
        _ => day.to_string(),
    }
}

/// A number; sums of fractions that miss a whole number by a hair are that number.
fn number(value: f64) -> String {
    let whole = value.round();
    // Adding 0 makes minus nothing plain nothing.
    if (value - whole).abs() < 1e-9 { format!("{:.0}", whole + 0.0) } else { value.to_string() }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plain(value: f64) -> String {
        number(value)
    }

    #[test]
    fn counts_kept_as_fractions_of_a_computer_are_whole_again() {
        assert_eq!(plain(40.0), "40");
        assert_eq!(plain(39.999_999_999_999_99), "40");
        assert_eq!(plain(-0.0), "0");
        assert_eq!(plain(3.5), "3.5");
    }

    #[test]
    fn half_a_percent_is_not_read_as_a_half() {
        let said = |style| text(&DataRef::Float(0.005), style, Serials::From1900);
        assert_eq!(said(Style::Percent), Ok("0.5%".to_owned()));
        assert_eq!(said(Style::Plain), Ok("0.005".to_owned()));
    }
}
