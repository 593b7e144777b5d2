//! `value history`: how one value moved, as a table with a small chart beside it.

use serde_json::json;
use spareloop_domain::words::{Day, UnitKind, fold_key};

use super::show::likely;
use super::{Named, Told};
use crate::book::values::{self, Moved};
use crate::desk::Desk;
use crate::fault::Fault;
use crate::printer::{Answer, table};

/// Characters that the chart is wide.
const WIDTH: usize = 40;

pub(super) fn run(it: &Named, desk: &Desk) -> Result<Answer, Fault> {
    let mut told = Told::at(desk)?;
    let days = told.opened.file.read(values::history)?;
    let known = |key: &str| {
        days.iter().any(|(_, values)| values.iter().any(|one| fold_key(&one.variety) == key))
    };
    // One that was on the board once and isn't any more has a history too.
    let folded = fold_key(&it.variety);
    let key = if known(&folded) { folded } else { told.key(&it.variety)? };
    let unit = it.unit.unwrap_or(UnitKind::Division);
    let moved: Vec<(Day, &Moved)> = days
        .iter()
        .flat_map(|(day, values)| values.iter().map(|one| (*day, one)))
        .filter(|(_, one)| fold_key(&one.variety) == key && one.unit == unit)
        .collect();
    let text = match (moved.first(), moved.last()) {
        (Some(first), Some(last)) => format!("{}\n{}", sentence(*first, *last), chart(&moved)),
        _ => format!(
            "No value of '{}' by the {unit} is known of any day yet. It is noted at each sync that brings news.",
            it.variety
        ),
    };
    let data: Vec<_> =
        moved.iter().map(|(day, one)| json!({ "made": day, "value": one })).collect();
    Ok(Answer::new("value-history", text, json!({ "unit": unit, "days": data })))
}

fn sentence((first, was): (Day, &Moved), (last, is): (Day, &Moved)) -> String {
    let name = &is.variety;
    if first == last {
        return format!("'{name}': worth {:.1} on {last}, the only day known.", is.value);
    }
    let (before, now) = (format!("{:.1}", was.value), format!("{:.1}", is.value));
    let how = if before == now {
        format!("stayed at {now}")
    } else if is.value > was.value {
        format!("rose from {before} to {now}")
    } else {
        format!("fell from {before} to {now}")
    };
    format!("'{name}': {how} between {first} and {last}.")
}

fn chart(moved: &[(Day, &Moved)]) -> String {
    let most = moved.iter().map(|(_, one)| one.p90.max(one.value)).fold(0.0, f64::max);
    let rows: Vec<Vec<String>> = moved
        .iter()
        .map(|(day, one)| {
            vec![
                day.to_string(),
                format!("{:.1}", one.value),
                likely(one.p10, one.p90),
                format!("{:.0} in 100", 100.0 * one.chance_short),
                bar(one, most),
            ]
        })
        .collect();
    let scale = format!("0{:>1$}", format!("{most:.1}"), WIDTH);
    table(&["day", "value", "likely", "short", &scale], &rows)
}

/// The likely range as -, the value as o, on a scale from 0 to `most`.
fn bar(one: &Moved, most: f64) -> String {
    let place = |value: f64| {
        let share = if most > 0.0 { value / most } else { 0.0 };
        // From 0 to the width: values lie from 0 to `most`.
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        let place = (share.clamp(0.0, 1.0) * WIDTH as f64).round() as usize;
        place
    };
    let (low, value, high) = (place(one.p10), place(one.value), place(one.p90));
    let mark = |at: usize| match at {
        at if at == value => 'o',
        at if (low..=high).contains(&at) => '-',
        _ => ' ',
    };
    let line: String = (0..=WIDTH).map(mark).collect();
    line.trim_end().to_owned()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn day(on: &str, value: f64, p10: f64, p90: f64) -> (Day, Moved) {
        let variety = "Zindle Ember".to_owned();
        let unit = UnitKind::Division;
        (on.parse().unwrap(), Moved { variety, unit, value, p10, p90, chance_short: value / 5.0 })
    }

    #[test]
    fn a_value_that_rose_is_shown_beside_its_range() {
        let days = [
            day("2026-11-25", 1.2, 0.9, 2.0),
            day("2026-12-10", 2.0, 1.4, 2.9),
            day("2027-01-14", 3.6, 3.6, 4.0),
        ];
        let moved: Vec<(Day, &Moved)> = days.iter().map(|(day, one)| (*day, one)).collect();
        insta::assert_snapshot!(format!("{}\n{}", sentence(moved[0], moved[2]), chart(&moved)));
    }
}
