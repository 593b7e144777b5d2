//! `loss-fit`: what many lots together say about losses in store.

use serde_json::{Map, Value, json};

use super::{ComputeError, Fields, Problem};
use crate::fit::{LossData, LossDataError, LossFit, LossLook, fit, remarks};
use crate::forecast::MAX_DAYS;
use crate::words::Count;

/// The groups that looks may be put in.
const GROUPS: [&str; 3] = ["variety", "packing", "farm"];

pub(super) fn answer(input: &Fields<'_>) -> Result<Value, ComputeError> {
    input.only(&["groups", "rows"])?;
    let groups = groups(input)?;
    let data = looks(input, &groups)?;
    let fitted = fit(&data).map_err(|error| ComputeError::at(input.name("rows"), error))?;
    Ok(written(&data, &fitted))
}

fn groups(input: &Fields<'_>) -> Result<Vec<String>, ComputeError> {
    let groups = input.texts("groups")?;
    for (at, group) in groups.iter().enumerate() {
        let name = input.name(&format!("groups[{at}]"));
        if !GROUPS.contains(&group.as_str()) {
            return Err(ComputeError::at(name, Problem::one_of(&GROUPS, group)));
        }
        if groups[..at].contains(group) {
            return Err(ComputeError::at(name, Problem::Twice { said: group.clone() }));
        }
    }
    Ok(groups)
}

fn looks(input: &Fields<'_>, groups: &[String]) -> Result<LossData, ComputeError> {
    let mut data = LossData::new(groups.to_vec());
    for row in &input.objects("rows")? {
        row.only(&["lot", "variety", "packing", "farm", "days", "inspected", "lost"])?;
        let labels: Vec<String> =
            groups.iter().map(|group| row.text(group)).collect::<Result<_, _>>()?;
        let labels: Vec<&str> = labels.iter().map(String::as_str).collect();
        let look = LossLook {
            days: row.whole_u32("days", MAX_DAYS)?,
            inspected: row.whole_u32("inspected", Count::MAX)?,
            lost: row.whole_u32("lost", Count::MAX)?,
        };
        data.add(&row.text("lot")?, &labels, look).map_err(|error| {
            let field = match &error {
                LossDataError::MoreLostThanInspected { .. } => "lost",
                LossDataError::LostWithinNoTime { .. } => "days",
                LossDataError::TwoLabels { group, .. } => group,
            };
            ComputeError::at(row.name(field), error.clone())
        })?;
    }
    Ok(data)
}

fn written(data: &LossData, fitted: &LossFit) -> Value {
    let (mut sd, mut effects) = (Map::new(), Map::new());
    for (at, group) in data.groups().enumerate() {
        sd.insert(group.to_owned(), json!(fitted.group_sd[at]));
        let of_group: Map<String, Value> = data
            .labels(at)
            .iter()
            .zip(&fitted.effects[at])
            .map(|(label, effect)| (label.clone(), json!(effect)))
            .collect();
        effects.insert(group.to_owned(), of_group.into());
    }
    sd.insert("lot".to_owned(), json!(fitted.lot_sd));
    let lots: Vec<Value> = data
        .lots()
        .zip(&fitted.lots)
        .map(|(lot, hazard)| {
            json!({"lot": lot, "log_hazard_mean": hazard.mean, "log_hazard_sd": hazard.sd})
        })
        .collect();
    let mut document = json!({
        "log_hazard": fitted.optimum.map(|optimum| optimum.log_hazard),
        "sd": sd,
        "log_likelihood": fitted.optimum.map(|optimum| optimum.log_likelihood),
        "lots": lots,
        "effects": effects,
    });
    let said = remarks(data, fitted);
    if !said.is_empty() {
        document["remarks"] = said.iter().map(ToString::to_string).collect();
    }
    if let Some(why) = fitted.degenerate {
        document["degenerate"] = json!(why.words());
    }
    document
}
