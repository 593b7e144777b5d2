//! `value show`: sentences, then the table.

use serde_json::json;
use spareloop_api::values::ValueLine;
use spareloop_domain::value::network::ToldValue;

use super::{One, Told, title};
use crate::desk::Desk;
use crate::fault::Fault;
use crate::printer::{Answer, table};

pub(super) fn run(it: &One, desk: &Desk) -> Result<Answer, Fault> {
    let told = Told::at(desk)?;
    let key = it.variety.as_deref().map(|text| told.key(text)).transpose()?;
    let values: Vec<&ToldValue> = match &key {
        Some(key) => told.of(key, it.unit).collect(),
        None => {
            told.values.iter().filter(|one| it.unit.is_none_or(|unit| unit == one.unit)).collect()
        }
    };
    if values.is_empty() {
        let text = match &it.variety {
            Some(variety) => format!(
                "Nobody offers or wants '{variety}' at the moment.\nWhat it is worth to you: spareloop value explain '{variety}'"
            ),
            None => "Nothing is offered or wanted in the network at the moment.".to_owned(),
        };
        return Ok(Answer::new(
            "values",
            text,
            json!({ "made": told.kept.market.made, "values": [] }),
        ));
    }
    let mut lines: Vec<String> = Vec::new();
    if key.is_some() {
        lines.extend(values.iter().map(|one| format!("{}: {}.", title(one), one.sentence)));
    }
    let rows: Vec<Vec<String>> = values.iter().map(|one| row(one)).collect();
    lines.push(table(&["variety", "unit", "value", "likely", "short", "spare", "wanted"], &rows));
    lines.push(format!("{} 1.0 is the median variety's.", told.as_of()));
    let data: Vec<ValueLine> = values.into_iter().map(ValueLine::from).collect();
    Ok(Answer::new(
        "values",
        lines.join("\n"),
        json!({ "made": told.kept.market.made, "mark": told.kept.mark, "values": data }),
    ))
}

fn row(told: &ToldValue) -> Vec<String> {
    let wanted = match told.wanted.in_place_of_another {
        0 => told.wanted.first_choice.to_string(),
        instead => format!("{} (+{instead})", told.wanted.first_choice),
    };
    vec![
        told.variety.clone(),
        told.unit.to_string(),
        told.tenths.to_string(),
        likely(told.value.p10, told.value.p90),
        format!("{:.0} in 100", 100.0 * told.value.chance_short),
        told.offered.to_string(),
        wanted,
    ]
}

/// "3.9 to 4.4", or one number where both ends read the same.
pub(super) fn likely(low: f64, high: f64) -> String {
    let (low, high) = (format!("{low:.1}"), format!("{high:.1}"));
    if low == high { low } else { format!("{low} to {high}") }
}
