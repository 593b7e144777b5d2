//! What the network's server said of its market, and how values moved.

use diesel::prelude::*;
use diesel::sqlite::SqliteConnection;
use serde::{Deserialize, Serialize};
use spareloop_domain::value::network::{Published, PublishedError, ToldValue};
use spareloop_domain::words::{Day, UnitKind};

use super::BookError;
use super::farm::odd;
use super::schema::{network_values, value_history};

/// Days that are kept; a season has fewer on which anything moves.
const MOST_DAYS: i64 = 400;

/// The market as it was told last.
#[derive(Debug, Clone, PartialEq)]
pub struct Kept {
    /// The server's mark of it.
    pub mark: String,
    /// The market.
    pub market: Published,
}

/// What one variety was worth on one day.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Moved {
    /// The variety's name.
    pub variety: String,
    /// What a unit is.
    pub unit: UnitKind,
    /// The swap value.
    pub value: f64,
    /// The lower end of its likely range.
    pub p10: f64,
    /// The upper end.
    pub p90: f64,
    /// The chance that the network runs short of it.
    pub chance_short: f64,
}

impl From<&ToldValue> for Moved {
    fn from(told: &ToldValue) -> Self {
        Self {
            variety: told.variety.clone(),
            unit: told.unit,
            value: told.value.value,
            p10: told.value.p10,
            p90: told.value.p90,
            chance_short: told.value.chance_short,
        }
    }
}

/// The server's mark, if a market is kept.
pub fn mark(connection: &mut SqliteConnection) -> Result<Option<String>, BookError> {
    Ok(network_values::table.select(network_values::mark).first(connection).optional()?)
}

/// The market, if one is kept.
///
/// One that a later version of this program kept is as good as none: the next sync tells it again.
pub fn find(connection: &mut SqliteConnection) -> Result<Option<Kept>, BookError> {
    let row: Option<(String, String)> = network_values::table
        .select((network_values::mark, network_values::market))
        .first(connection)
        .optional()?;
    match row.map(|(mark, text)| (mark, Published::read(&text))) {
        None | Some((_, Err(PublishedError::Newer(_)))) => Ok(None),
        Some((_, Err(error))) => Err(odd(error)),
        Some((mark, Ok(market))) => Ok(Some(Kept { mark, market })),
    }
}

/// Keeps the market and what its values are, in one transaction.
pub fn put(
    connection: &mut SqliteConnection,
    mark: &str,
    market: &Published,
    values: &[ToldValue],
) -> Result<(), BookError> {
    let text = market.text().map_err(odd)?;
    diesel::replace_into(network_values::table)
        .values((
            network_values::one.eq(1),
            network_values::mark.eq(mark),
            network_values::market.eq(text),
        ))
        .execute(connection)?;
    let moved: Vec<Moved> = values.iter().map(Moved::from).collect();
    diesel::replace_into(value_history::table)
        .values((
            value_history::made.eq(market.made.to_string()),
            value_history::told.eq(serde_json::to_string(&moved).map_err(odd)?),
        ))
        .execute(connection)?;
    let oldest: Option<String> = value_history::table
        .select(value_history::made)
        .order(value_history::made.desc())
        .offset(MOST_DAYS)
        .first(connection)
        .optional()?;
    if let Some(oldest) = oldest {
        diesel::delete(value_history::table.filter(value_history::made.le(oldest)))
            .execute(connection)?;
    }
    Ok(())
}

/// How values moved, oldest first.
pub fn history(connection: &mut SqliteConnection) -> Result<Vec<(Day, Vec<Moved>)>, BookError> {
    let rows: Vec<(String, String)> = value_history::table
        .select((value_history::made, value_history::told))
        .order(value_history::made)
        .load(connection)?;
    rows.into_iter()
        .map(|(made, told)| {
            Ok((made.parse().map_err(odd)?, serde_json::from_str(&told).map_err(odd)?))
        })
        .collect()
}
