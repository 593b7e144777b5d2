//! By which rule a network's holds are cut, as its coordinator sets it, on record.
//!
//! What may not enter: what a rule does, which `domain` says.

use chrono::{DateTime, Utc};
use diesel::sql_types::{Text, Timestamp};
use diesel::{OptionalExtension, QueryDsl, RunQueryDsl, sql_query};
use spareloop_domain::exchange::cut::CutRule;
use spareloop_domain::words::{NetworkId, PersonId};

use crate::schema::cut_rules;
use crate::text::{moment, read};
use crate::{StoreError, Tx, messages, people};

/// The network's rule.
pub fn rule(tx: &mut Tx<'_>, network: NetworkId) -> Result<CutRule, StoreError> {
    let code: Option<String> = cut_rules::table
        .find(network.to_string())
        .select(cut_rules::rule)
        .first(tx.connection)
        .optional()?;
    code.map_or(Ok(CutRule::default()), |code| read(&code))
}

/// Sets it, and tells every farm of the network.
pub fn set(
    tx: &mut Tx<'_>,
    (network, by): (NetworkId, PersonId),
    rule: CutRule,
    now: DateTime<Utc>,
) -> Result<CutRule, StoreError> {
    sql_query(
        "INSERT INTO cut_rules (network, rule, set_by, set_at) VALUES ($1, $2, $3, $4) \
         ON CONFLICT (network) DO UPDATE SET \
         rule = excluded.rule, set_by = excluded.set_by, set_at = excluded.set_at",
    )
    .bind::<Text, _>(network.to_string())
    .bind::<Text, _>(rule.code())
    .bind::<Text, _>(by.to_string())
    .bind::<Timestamp, _>(moment(now))
    .execute(tx.connection)?;
    let told = format!(
        "The coordinator set which holds are cut when a loss leaves too few in store: {rule}. It counts \
         from now on; what was cut before stays as it is."
    );
    for farm in people::farms(tx, network)? {
        messages::tell(tx, farm.id, None, &told, now)?;
    }
    Ok(rule)
}
