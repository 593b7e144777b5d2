//! `dilution`: how to make a solution up.

use serde_json::{Value, json};

use super::{ComputeError, Fields};
use crate::disinfection::{Agent, DilutionError, Litres, Strength, cautions, dilute};

pub(super) fn answer(input: &Fields<'_>) -> Result<Value, ComputeError> {
    input.only(&["stock_percent", "target_percent", "total_litres"])?;
    let named = |error| ComputeError::at(input.name(field_of(error)), error);
    let strength = |field, error| Strength::new(input.number(field)?).ok_or_else(|| named(error));
    let stock = strength("stock_percent", DilutionError::Stock)?;
    let target = strength("target_percent", DilutionError::Target)?;
    let total = Litres::new(input.number("total_litres")?).map_err(named)?;
    let dilution = dilute(stock, target, total, None).map_err(named)?;
    Ok(json!({
        "stock_litres": dilution.stock_litres,
        "water_litres": dilution.water_litres,
        "parts_water_per_part_stock": dilution.parts_water_per_part_stock,
        // The document doesn't say what the stock is, so bleach's cautions come too.
        "cautions": cautions(&Agent::Bleach, None),
    }))
}

const fn field_of(error: DilutionError) -> &'static str {
    match error {
        DilutionError::Label => "label_percent",
        DilutionError::Stock => "stock_percent",
        DilutionError::Target | DilutionError::TargetNotBelowStock | DilutionError::AboveLabel => {
            "target_percent"
        }
        DilutionError::Total => "total_litres",
        DilutionError::Contact => "contact_minutes",
    }
}
