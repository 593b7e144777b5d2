//! `loop-values`: what one unit of each variety is fairly worth.

use std::collections::{BTreeSet, HashMap};

use serde_json::{Value, json};

use super::{ComputeError, Fields, Problem};
use crate::value::{
    Accepted, Draw, Market, MarketError, Multiplication, Shares, SharesError, Want, Worth,
    over_draws, swap_values,
};
use crate::words::Count;

/// Varieties by their ids, to their places.
struct Varieties {
    ids: Vec<String>,
    places: HashMap<String, usize>,
}

pub(super) fn answer(input: &Fields<'_>) -> Result<Value, ComputeError> {
    input.only(&["varieties", "supply", "supply_draws", "wants", "reserve_share", "want_share"])?;
    let (varieties, multiplications) = varieties(input)?;
    let market = market(input, &varieties, &multiplications)?;
    if !input.has("supply_draws") {
        return Ok(stands(&varieties, &market, &supply(&input.objects("supply")?, &varieties)?));
    }
    if input.has("supply") {
        // Replaced, and read all the same: a slip in it is a slip.
        supply(&input.objects("supply")?, &varieties)?;
    }
    let draws: Vec<Draw> = input
        .lists("supply_draws")?
        .iter()
        .map(|draw| supply(draw, &varieties))
        .collect::<Result<_, _>>()?;
    drawn(input, &varieties, &market, draws)
}

fn varieties(input: &Fields<'_>) -> Result<(Varieties, Vec<Multiplication>), ComputeError> {
    let mut known = Varieties { ids: Vec::new(), places: HashMap::new() };
    let mut multiplications = Vec::new();
    for (place, variety) in input.objects("varieties")?.iter().enumerate() {
        variety.only(&["id", "multiplication"])?;
        let id = variety.text("id")?;
        if known.places.insert(id.clone(), place).is_some() {
            return Err(ComputeError::at(variety.name("id"), Problem::Twice { said: id }));
        }
        known.ids.push(id);
        let multiplication = Multiplication::new(variety.number("multiplication")?)
            .map_err(|error| ComputeError::at(variety.name("multiplication"), error))?;
        multiplications.push(multiplication);
    }
    Ok((known, multiplications))
}

impl Varieties {
    fn place(&self, of: &Fields<'_>) -> Result<usize, ComputeError> {
        let id = of.text("variety")?;
        match self.places.get(&id) {
            Some(place) => Ok(*place),
            None => Err(ComputeError::at(of.name("variety"), Problem::UnknownId { id })),
        }
    }
}

fn supply(of: &[Fields<'_>], varieties: &Varieties) -> Result<Draw, ComputeError> {
    let mut units = vec![0_u64; varieties.ids.len()];
    for one in of {
        one.only(&["variety", "count"])?;
        let count = one.whole("count", u64::from(Count::MAX))?;
        // Far fewer rows than would make a sum of counts overflow.
        units[varieties.place(one)?] += count;
    }
    Ok(Draw::new(units))
}

fn market(
    input: &Fields<'_>,
    varieties: &Varieties,
    multiplications: &[Multiplication],
) -> Result<Market, ComputeError> {
    let shares = shares(input)?;
    let rows = input.objects("wants")?;
    let (mut wants, mut ids) = (Vec::new(), BTreeSet::new());
    for row in &rows {
        row.only(&["id", "count", "accepts"])?;
        let id = row.text("id")?;
        if !ids.insert(id.clone()) {
            return Err(ComputeError::at(row.name("id"), Problem::Twice { said: id }));
        }
        let accepts = row.objects("accepts")?;
        wants.push(Want {
            count: row.whole_u32("count", Count::MAX)?,
            accepts: accepts
                .iter()
                .map(|one| accepted(one, varieties))
                .collect::<Result<_, _>>()?,
        });
    }
    Market::new(multiplications, wants, shares).map_err(|error| {
        let (want, field) = match error {
            MarketError::AcceptsNothing { want } => (want, "accepts".to_owned()),
            MarketError::UnknownVariety { want, place }
            | MarketError::AcceptedTwice { want, place } => {
                (want, format!("accepts[{place}].variety"))
            }
            MarketError::WorthTooLarge { want, place } => (want, format!("accepts[{place}].worth")),
        };
        ComputeError::at(rows[want].name(&field), error)
    })
}

fn accepted(one: &Fields<'_>, varieties: &Varieties) -> Result<Accepted, ComputeError> {
    one.only(&["variety", "worth"])?;
    let worth = Worth::new(one.number("worth")?)
        .map_err(|error| ComputeError::at(one.name("worth"), error))?;
    Ok(Accepted { variety: varieties.place(one)?, worth })
}

fn shares(input: &Fields<'_>) -> Result<Shares, ComputeError> {
    let (reserve, want) =
        (input.number_or("reserve_share", 0.5)?, input.number_or("want_share", 1.5)?);
    Shares::new(reserve, want).map_err(|error| {
        let field = match error {
            SharesError::Reserve(_) => "reserve_share",
            SharesError::Want(_) => "want_share",
        };
        ComputeError::at(input.name(field), error)
    })
}

fn stands(varieties: &Varieties, market: &Market, supply: &Draw) -> Value {
    let valuation = swap_values(market, supply);
    let values: Vec<Value> = varieties
        .ids
        .iter()
        .zip(&valuation.values)
        .map(|(id, value)| {
            json!({
                "variety": id,
                "rebuild": value.rebuild,
                "low": value.low,
                "high": value.high,
                "value": value.value,
            })
        })
        .collect();
    json!({ "values": values, "welfare": valuation.welfare })
}

fn drawn(
    input: &Fields<'_>,
    varieties: &Varieties,
    market: &Market,
    draws: Vec<Draw>,
) -> Result<Value, ComputeError> {
    let valuation = over_draws(market, draws)
        .map_err(|error| ComputeError::at(input.name("supply_draws"), error))?;
    let values: Vec<Value> = varieties
        .ids
        .iter()
        .zip(&valuation.values)
        .map(|(id, value)| {
            json!({
                "variety": id,
                "rebuild": value.rebuild,
                "low": value.low,
                "high": value.high,
                "value": value.value,
                "p10": value.p10,
                "p90": value.p90,
                "chance_short": value.chance_short,
            })
        })
        .collect();
    Ok(json!({ "values": values, "welfare": valuation.welfare }))
}
