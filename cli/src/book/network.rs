//! What the network told this farm of what all the others saw, kept so that forecasts have it without
//! a network. What may not enter: what is believed because of it (`domain` says that).

use diesel::prelude::*;
use diesel::sqlite::SqliteConnection;
use spareloop_domain::belief::NetworkSummary;

use super::BookError;
use super::schema::network_summary::dsl::{mark as mark_column, network_summary, one, summary};

/// The server's mark of what is kept, if anything is.
pub fn mark(connection: &mut SqliteConnection) -> Result<Option<String>, BookError> {
    Ok(network_summary.select(mark_column).first(connection).optional()?)
}

/// What is kept, if this program can read it: a summary is news, and what can't be read is as good
/// as none (the table is sealed, so that damage was noticed before).
pub fn find(connection: &mut SqliteConnection) -> Result<Option<NetworkSummary>, BookError> {
    let text: Option<String> = network_summary.select(summary).first(connection).optional()?;
    Ok(text.and_then(|text| NetworkSummary::read(&text).ok()))
}

/// Keeps what the server told in the place of what was told before; nothing, if it tells nothing.
pub fn put(connection: &mut SqliteConnection, told: Option<(&str, &str)>) -> Result<(), BookError> {
    diesel::delete(network_summary).execute(connection)?;
    if let Some((mark, text)) = told {
        diesel::insert_into(network_summary)
            .values((one.eq(1), mark_column.eq(mark), summary.eq(text)))
            .execute(connection)?;
    }
    Ok(())
}
