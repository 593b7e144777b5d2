//! Temperatures and humidities as loggers write them.

use spareloop_domain::climate::Celsius;

/// What a temperature is told in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Degrees {
    /// °C.
    Celsius,
    /// °F.
    Fahrenheit,
}

/// What humidity is told in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Humidity {
    /// 85 is 85 %.
    Percent,
    /// 0.85 is 85 %.
    Fraction,
}

/// °C or °F by a column's heading, if it says.
pub(super) fn of_heading(heading: &str) -> Option<Degrees> {
    let lower = heading.to_lowercase();
    let words: Vec<&str> = lower
        .split(|letter: char| !letter.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .collect();
    let says = |letter: &str, long: &str| {
        let joined = [format!("deg{letter}"), format!("degrees{letter}")];
        lower.contains(long)
            || lower.contains(if letter == "c" { '\u{2103}' } else { '\u{2109}' })
            || words.contains(&letter)
            || joined.iter().any(|joined| words.contains(&joined.as_str()))
    };
    match (says("c", "celsius"), says("f", "fahrenheit")) {
        (true, false) => Some(Degrees::Celsius),
        (false, true) => Some(Degrees::Fahrenheit),
        _ => None,
    }
}

/// A number with a decimal point or comma and the unit behind it, if any.
fn number(cell: &str) -> Option<(f64, &str)> {
    let cell = cell.trim();
    let end = cell
        .find(|letter: char| !(letter.is_ascii_digit() || matches!(letter, '.' | ',' | '-' | '+')))
        .unwrap_or(cell.len());
    let (digits, unit) = cell.split_at(end);
    let number: f64 = digits.replace(',', ".").parse().ok()?;
    number.is_finite().then_some((number, unit.trim()))
}

/// °C or °F by the unit behind a number.
pub(super) fn of_cell(cell: &str) -> Option<Degrees> {
    number(cell).and_then(|(_, unit)| of_heading(unit))
}

/// Whether a cell holds humidity as a fraction: only where it can be nothing else.
pub(super) fn is_percent(cell: &str) -> bool {
    number(cell).is_some_and(|(value, unit)| unit == "%" || value > 1.5)
}

/// A temperature in °C, not rounded: 35 °F must stay at or under an alarm of 35 °F.
pub(super) fn temperature(cell: &str, degrees: Degrees) -> Result<f64, String> {
    let (value, unit) = number(cell).ok_or_else(|| format!("{cell:?} is no temperature"))?;
    let own = of_heading(unit);
    if !unit.is_empty() && own.is_none() {
        return Err(format!("{cell:?} has a unit that is neither °C nor °F"));
    }
    let read = match own.unwrap_or(degrees) {
        Degrees::Celsius => Celsius::new(value),
        Degrees::Fahrenheit => Celsius::from_fahrenheit(value),
    };
    let celsius = read.map(Celsius::degrees).ok().filter(|degrees| degrees.abs() <= 60.0);
    celsius.ok_or_else(|| format!("{cell:?} is beyond -60 to 60 °C: a fault of the logger?"))
}

/// A relative humidity as a fraction. Loggers show a little over 100 % in wet air; that is 100 %.
pub(super) fn humidity(cell: &str, told: Humidity) -> Result<f64, String> {
    let (value, unit) = number(cell).ok_or_else(|| format!("{cell:?} is no humidity"))?;
    let is_percent = match unit {
        "%" => true,
        "" => told == Humidity::Percent,
        _ => return Err(format!("{cell:?} has a unit that is not %")),
    };
    let share = if is_percent { value / 100.0 } else { value };
    if !(0.0..=1.05).contains(&share) {
        return Err(format!("{cell:?} is beyond 0 to 100 %: a fault of the logger?"));
    }
    Ok((share.min(1.0) * 10_000.0).round() / 10_000.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headings_say_their_degrees_or_nothing() {
        for heading in ["Temperature (°C)", "temp_c", "Temp, °C (SN 12)", "T [degC]", "Celsius(℃)"]
        {
            assert_eq!(of_heading(heading), Some(Degrees::Celsius), "{heading}");
        }
        for heading in ["Temperature (°F)", "temp_f", "Temp in Fahrenheit", "deg F"] {
            assert_eq!(of_heading(heading), Some(Degrees::Fahrenheit), "{heading}");
        }
        for heading in ["Temperature", "Cellar", "Front", "C or F"] {
            assert_eq!(of_heading(heading), None, "{heading}");
        }
    }

    #[test]
    fn numbers_are_read_with_comma_point_and_unit() {
        assert_eq!(temperature("50 °F", Degrees::Celsius), Ok(10.0));
        assert_eq!(temperature("-1,25", Degrees::Celsius), Ok(-1.25));
        assert_eq!(temperature("32", Degrees::Fahrenheit), Ok(0.0));
        assert_eq!(humidity("85,5", Humidity::Percent), Ok(0.855));
        assert_eq!(humidity("0.855", Humidity::Fraction), Ok(0.855));
        assert_eq!(humidity("0.5%", Humidity::Fraction), Ok(0.005));
        assert_eq!(humidity("101.3", Humidity::Percent), Ok(1.0));
    }

    #[test]
    fn faults_of_a_logger_are_no_readings() {
        for cell in ["-999", "327.67", "Err", "--", "1e9", "nan", "5 K", "1.2.3"] {
            assert!(temperature(cell, Degrees::Celsius).is_err(), "{cell}");
        }
        for cell in ["-1", "655.35", "wet", "5 kPa"] {
            assert!(humidity(cell, Humidity::Percent).is_err(), "{cell}");
        }
    }
}
