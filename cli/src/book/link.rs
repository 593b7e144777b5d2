//! Which server the farm is connected to, how far it was read, and what it said is promised.

use std::collections::BTreeMap;

use diesel::prelude::*;
use diesel::sqlite::SqliteConnection;

use spareloop_domain::words::{Count, LotId};

use super::BookError;
use super::farm::odd;
use super::schema::{link, promised};

/// The connection to a network's server.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Link {
    /// Its address, as `https://loop.example`.
    pub server: String,
    /// The name to sign in with.
    pub login: String,
    /// The network's name.
    pub network: Option<String>,
    /// The server's epoch at the last sync.
    pub epoch: Option<String>,
    /// Everything up to this position is durable here.
    pub cursor: u64,
    /// When the last sync ended well, in milliseconds since 1970 UTC.
    pub synced_at: Option<u64>,
    /// The server's mark of what is promised, when it was last asked for.
    pub promised_mark: Option<String>,
}

/// The link, if the farm is connected.
pub fn find(connection: &mut SqliteConnection) -> Result<Option<Link>, BookError> {
    type Row = (String, String, Option<String>, Option<String>, i64, Option<i64>, Option<String>);
    let row: Option<Row> = link::table
        .select((
            link::server,
            link::login,
            link::network,
            link::epoch,
            link::cursor,
            link::synced_at,
            link::promised_mark,
        ))
        .first(connection)
        .optional()?;
    row.map(|(server, login, network, epoch, cursor, synced_at, promised_mark)| {
        Ok(Link {
            server,
            login,
            network,
            epoch,
            cursor: u64::try_from(cursor).map_err(odd)?,
            synced_at: synced_at.map(u64::try_from).transpose().map_err(odd)?,
            promised_mark,
        })
    })
    .transpose()
}

/// Writes the link, inside the transaction that makes what it covers durable.
pub fn put(connection: &mut SqliteConnection, it: &Link) -> Result<(), BookError> {
    diesel::replace_into(link::table)
        .values((
            link::one.eq(1),
            link::server.eq(&it.server),
            link::login.eq(&it.login),
            link::network.eq(&it.network),
            link::epoch.eq(&it.epoch),
            link::cursor.eq(i64::try_from(it.cursor).map_err(odd)?),
            link::synced_at.eq(it.synced_at.map(i64::try_from).transpose().map_err(odd)?),
            link::promised_mark.eq(&it.promised_mark),
        ))
        .execute(connection)?;
    Ok(())
}

/// Changes the link, if the farm is connected.
pub fn change(
    connection: &mut SqliteConnection,
    change: impl FnOnce(&mut Link),
) -> Result<(), BookError> {
    if let Some(mut link) = find(connection)? {
        change(&mut link);
        put(connection, &link)?;
    }
    Ok(())
}

/// Units promised of each lot, as the server said last.
pub fn promised(connection: &mut SqliteConnection) -> Result<BTreeMap<LotId, Count>, BookError> {
    let rows: Vec<(String, i64)> =
        promised::table.select((promised::lot, promised::count)).load(connection)?;
    rows.into_iter()
        .map(|(lot, count)| Ok((lot.parse().map_err(odd)?, Count::new(count).map_err(odd)?)))
        .collect()
}

/// Takes note of what the server says is promised.
pub fn put_promised(
    connection: &mut SqliteConnection,
    by_lot: &BTreeMap<LotId, Count>,
) -> Result<(), BookError> {
    diesel::delete(promised::table).execute(connection)?;
    for (lot, count) in by_lot.iter().filter(|(_, count)| !count.is_zero()) {
        diesel::insert_into(promised::table)
            .values((promised::lot.eq(lot.to_string()), promised::count.eq(i64::from(*count))))
            .execute(connection)?;
    }
    Ok(())
}
