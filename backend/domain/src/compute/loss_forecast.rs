//! `loss-forecast`: survivors of units that share one unknown rate.

use serde_json::{Value, json};

use super::{ComputeError, Fields, Problem};
use crate::forecast::{LogHazard, LogHazardError, MAX_DAYS, SeenGroup, survivors_under};
use crate::words::Count;

pub(super) fn answer(input: &Fields<'_>) -> Result<Value, ComputeError> {
    input.only(&["units", "log_hazard_mean", "log_hazard_sd"])?;
    let groups = groups(input)?;
    let hazard = log_hazard(input)?;
    let total = total(&groups, 0).ok_or_else(|| too_many(input.name("units")))?;
    let left = survivors_under(&groups, hazard)
        .map_err(|error| ComputeError::at(input.name("units"), error))?;
    let chance_at_least: Vec<Value> = left
        .distribution
        .at_least_each(total as usize)
        .into_iter()
        .enumerate()
        .map(|(count, chance)| json!({"count": count, "chance": chance}))
        .collect();
    Ok(json!({
        "mean": left.mean,
        "p10": left.p10,
        "p50": left.p50,
        "p90": left.p90,
        "chance_at_least": chance_at_least,
    }))
}

/// The groups in `units`.
pub(super) fn groups(input: &Fields<'_>) -> Result<Vec<SeenGroup>, ComputeError> {
    let group = |unit: &Fields<'_>| {
        unit.only(&["count", "days"])?;
        let count = unit.whole_u32("count", Count::MAX)?;
        let days = unit.whole_u32("days", MAX_DAYS)?;
        Ok(SeenGroup { count, days })
    };
    input.objects("units")?.iter().map(group).collect()
}

/// `log_hazard_mean` and `log_hazard_sd`.
pub(super) fn log_hazard(input: &Fields<'_>) -> Result<LogHazard, ComputeError> {
    let named = |error| {
        let field = match error {
            LogHazardError::Mean => "log_hazard_mean",
            LogHazardError::Sd => "log_hazard_sd",
        };
        ComputeError::at(input.name(field), error)
    };
    LogHazard::new(input.number("log_hazard_mean")?, input.number("log_hazard_sd")?).map_err(named)
}

/// `before` and the groups' units together, unless they are more than a count may be.
pub(super) fn total(groups: &[SeenGroup], before: u32) -> Option<u32> {
    groups
        .iter()
        .try_fold(before, |sum, group| sum.checked_add(group.count))
        .filter(|sum| *sum <= Count::MAX)
}

pub(super) fn too_many(field: String) -> ComputeError {
    ComputeError::at(field, Problem::TooMany { most: Count::MAX })
}
