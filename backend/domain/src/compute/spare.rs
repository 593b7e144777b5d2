//! `spare`: what can go and what is lacking.

use serde_json::{Value, json};

use super::loss_forecast::{groups, log_hazard, too_many, total};
use super::{ComputeError, Fields};
use crate::forecast::{
    EmergenceError, EmergenceRate, LogHazard, LotInStore, PlanTerms, ServiceLevel, Short,
    SpareQuestion, spare,
};

/// Whole numbers up to here are exact in every JSON reader.
const MOST: u64 = 1 << 53;

pub(super) fn answer(input: &Fields<'_>) -> Result<Value, ComputeError> {
    input.only(&[
        "lots",
        "emergence",
        "plants_wanted",
        "service_level",
        "keep_back",
        "shared_sd",
    ])?;
    let lots = lots(input)?;
    let emergence = emergence(&input.object("emergence")?)?;
    let service_level = ServiceLevel::new(input.number("service_level")?)
        .map_err(|error| ComputeError::at(input.name("service_level"), error))?;
    let terms = PlanTerms {
        plants_wanted: input.whole("plants_wanted", MOST)?,
        service_level,
        keep_back: input.whole("keep_back", MOST)?,
    };
    // What holds for a lot's own sd holds for the shared one.
    let shared = LogHazard::new(0.0, input.number_or("shared_sd", 0.0)?)
        .map_err(|error| ComputeError::at(input.name("shared_sd"), error))?;
    let question = SpareQuestion { lots, shared_sd: shared.sd(), emergence, terms };
    let answer = spare(&question).map_err(|error| ComputeError::at(input.name("lots"), error))?;
    let mut document = json!({
        "expected_plants": answer.expected_plants,
        "chance_met": answer.chance_met,
        "spare": answer.spare,
    });
    match answer.short {
        Short::Units(units) => document["short"] = json!(units),
        Short::TooMany => {
            document["short"] = Value::Null;
            document["reason"] = json!("short by more than 1,000,000 units");
        }
    }
    Ok(document)
}

fn lots(input: &Fields<'_>) -> Result<Vec<LotInStore>, ComputeError> {
    let mut lots = Vec::new();
    let mut sum = 0;
    for lot in input.objects("lots")? {
        lot.only(&["units", "log_hazard_mean", "log_hazard_sd"])?;
        let groups = groups(&lot)?;
        sum = total(&groups, sum).ok_or_else(|| too_many(input.name("lots")))?;
        lots.push(LotInStore { groups, hazard: log_hazard(&lot)? });
    }
    Ok(lots)
}

fn emergence(input: &Fields<'_>) -> Result<EmergenceRate, ComputeError> {
    input.only(&["alpha", "beta"])?;
    EmergenceRate::new(input.number("alpha")?, input.number("beta")?).map_err(|error| {
        let field = match error {
            EmergenceError::Alpha => "alpha",
            EmergenceError::Beta => "beta",
        };
        ComputeError::at(input.name(field), error)
    })
}
