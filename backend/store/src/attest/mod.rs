//! Keys for signing and signed statements: what a network's farms state about their lots.
//!
//! Both stand in one feed of the network, by position, so that a client fetches what is new in one
//! go; positions are taken under the network's row lock, the last lock of a transaction. The server
//! keeps texts and can't make one: it has no secret half of any key. What may not enter: what a
//! statement is worth, and the rules by which it holds (`domain::attest` has them).

mod keys;
mod statements;

pub use keys::{NewKey, StoredKey, key_of_farm, keys_of_farm, make_key_known, withdraw_key};
pub use statements::{StoredStatement, checked, keep, of_lot, standing};

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use diesel::{ExpressionMethods, OptionalExtension, QueryDsl, RunQueryDsl};
use spareloop_domain::attest::{FactKind, missing};
use spareloop_domain::words::{FarmId, LotId, NetworkId};

use crate::schema::networks;
use crate::text::{today, unsigned};
use crate::{Missing, StoreError, Tx};

/// A page of the network's keys and statements.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Feed {
    /// Keys, as they stand now.
    pub keys: Vec<StoredKey>,
    /// Statements.
    pub statements: Vec<StoredStatement>,
    /// Everything up to this position was given.
    pub position: u64,
    /// The network's newest position.
    pub newest: u64,
}

/// Which of the kinds asked for a lot bears no statement of today; none where none is asked for.
pub(crate) fn missing_of(
    tx: &mut Tx<'_>,
    network: NetworkId,
    (farm, lot): (FarmId, LotId),
    required: &BTreeSet<FactKind>,
    now: DateTime<Utc>,
) -> Result<BTreeSet<FactKind>, StoreError> {
    if required.is_empty() {
        return Ok(BTreeSet::new());
    }
    let stated = standing(tx, network, farm, lot, now)?;
    Ok(missing(required, &stated, today(now)?))
}

/// The network's newest position: 0 while there is nothing.
pub fn newest(tx: &mut Tx<'_>, network: NetworkId) -> Result<u64, StoreError> {
    let newest: Option<i64> = networks::table
        .find(network.to_string())
        .select(networks::newest_statement)
        .first(tx.connection)
        .optional()?;
    unsigned(newest.ok_or(Missing::Network)?)
}

/// What the network's farms made known behind a position, at most `limit` of it.
///
/// A key that is withdrawn moves to a new position, so that everybody hears of it.
pub fn feed(
    tx: &mut Tx<'_>,
    network: NetworkId,
    after: u64,
    limit: u32,
) -> Result<Feed, StoreError> {
    let newest = newest(tx, network)?;
    let mut keys = keys::behind(tx, network, after, limit)?;
    let mut statements = statements::behind(tx, network, after, limit)?;
    let limit = usize::try_from(limit).map_err(StoreError::broken)?;
    let mut positions: Vec<u64> = keys
        .iter()
        .map(|key| key.position)
        .chain(statements.iter().map(|statement| statement.position))
        .collect();
    positions.sort_unstable();
    // What stands behind the page's last position comes with the next page.
    let position = match positions.get(limit) {
        Some(_) => positions[limit - 1],
        None => newest,
    };
    keys.retain(|key| key.position <= position);
    statements.retain(|statement| statement.position <= position);
    Ok(Feed { keys, statements, position, newest })
}

/// Takes the network's next position and holds its row until the transaction ends.
fn next_position(tx: &mut Tx<'_>, network: NetworkId) -> Result<i64, StoreError> {
    let taken: Option<i64> =
        diesel::update(networks::table.filter(networks::id.eq(network.to_string())))
            .set(networks::newest_statement.eq(networks::newest_statement + 1))
            .returning(networks::newest_statement)
            .get_result(tx.connection)
            .optional()?;
    Ok(taken.ok_or(Missing::Network)?)
}
