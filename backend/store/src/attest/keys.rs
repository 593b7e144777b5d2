//! The public halves of farms' keys.

use chrono::{DateTime, Utc};
use diesel::{ExpressionMethods, OptionalExtension, QueryDsl, Queryable, RunQueryDsl};
use spareloop_domain::attest::{KeyId, KeyRecord, PublicKey, Second};
use spareloop_domain::words::{FarmId, NetworkId};

use super::next_position;
use crate::error::taken;
use crate::schema::signing_keys;
use crate::text::{read, unsigned};
use crate::{Missing, Refused, StoreError, Taken, Tx, people};

/// The most keys that a farm makes known over the years.
const MOST_KEYS: i64 = 100;

/// A key about to be made known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewKey {
    /// The key.
    pub key: PublicKey,
    /// When it was made, by the farm's clock.
    pub made_at: Second,
    /// Signed by the key itself.
    pub introduction: String,
    /// Signed by an earlier key of the farm.
    pub vouched: Option<String>,
}

/// A key as kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredKey {
    /// The key and the texts that make it known.
    pub record: KeyRecord,
    /// Its place in the network's feed.
    pub position: u64,
}

#[derive(Queryable)]
pub(super) struct KeyRow {
    _id: String,
    _network: String,
    farm: String,
    public_key: String,
    made_second: i64,
    known_second: i64,
    withdrawn_second: Option<i64>,
    introduction: String,
    vouched: Option<String>,
    position: i64,
}

impl TryFrom<KeyRow> for StoredKey {
    type Error = StoreError;
    fn try_from(row: KeyRow) -> Result<Self, StoreError> {
        Ok(Self {
            record: KeyRecord {
                key: read(&row.public_key)?,
                farm: read(&row.farm)?,
                made_at: second(row.made_second)?,
                known_at: Some(second(row.known_second)?),
                introduction: row.introduction,
                vouched: row.vouched,
                withdrawn_at: row.withdrawn_second.map(second).transpose()?,
            },
            position: unsigned(row.position)?,
        })
    }
}

pub(super) fn second(seconds: i64) -> Result<Second, StoreError> {
    Second::try_from(seconds).map_err(StoreError::corrupt)
}

/// Makes a key of the farm known to its network. One that is known already stays as it is.
pub fn make_key_known(
    tx: &mut Tx<'_>,
    network: NetworkId,
    farm: FarmId,
    new: &NewKey,
    now: DateTime<Utc>,
) -> Result<StoredKey, StoreError> {
    people::farm(tx, network, farm)?;
    let before = keys_of_farm(tx, network, farm)?;
    if let Some(known) = before.into_iter().find(|known| known.record.key == new.key) {
        return Ok(known);
    }
    // What it is held against is read under the lock, so that two of one farm see each other.
    let position = next_position(tx, network)?;
    let known: Vec<KeyRecord> =
        keys_of_farm(tx, network, farm)?.into_iter().map(|key| key.record).collect();
    let record = KeyRecord {
        key: new.key,
        farm,
        made_at: new.made_at,
        introduction: new.introduction.clone(),
        vouched: new.vouched.clone(),
        known_at: Some(Second::of(now)),
        withdrawn_at: None,
    };
    record.check(&known).map_err(StoreError::refuse)?;
    if i64::try_from(known.len()).is_ok_and(|many| many >= MOST_KEYS) {
        let (what, most) = ("keys of a farm", MOST_KEYS);
        return Err(StoreError::refuse(Refused::TooMany { what, most }));
    }
    diesel::insert_into(signing_keys::table)
        .values((
            signing_keys::id.eq(record.id().as_str()),
            signing_keys::network.eq(network.to_string()),
            signing_keys::farm.eq(farm.to_string()),
            signing_keys::public_key.eq(record.key.to_string()),
            signing_keys::made_second.eq(record.made_at.get()),
            signing_keys::known_second.eq(Second::of(now).get()),
            signing_keys::introduction.eq(&record.introduction),
            signing_keys::vouched.eq(&record.vouched),
            signing_keys::position.eq(position),
        ))
        .execute(tx.connection)
        .map_err(taken(Taken::Key))?;
    Ok(StoredKey { record, position: unsigned(position)? })
}

/// Withdraws a key of the farm: what it signed before still holds. Withdrawing it again changes
/// nothing.
pub fn withdraw_key(
    tx: &mut Tx<'_>,
    network: NetworkId,
    farm: FarmId,
    key: &KeyId,
    now: DateTime<Utc>,
) -> Result<StoredKey, StoreError> {
    let stored = key_of_farm(tx, network, farm, key)?;
    if stored.record.withdrawn_at.is_some() {
        return Ok(stored);
    }
    let position = next_position(tx, network)?;
    diesel::update(
        signing_keys::table
            .filter(signing_keys::network.eq(network.to_string()))
            .filter(signing_keys::farm.eq(farm.to_string()))
            .filter(signing_keys::id.eq(key.as_str()))
            .filter(signing_keys::withdrawn_second.is_null()),
    )
    .set((
        signing_keys::withdrawn_second.eq(Some(Second::of(now).get())),
        signing_keys::position.eq(position),
    ))
    .execute(tx.connection)?;
    key_of_farm(tx, network, farm, key)
}

/// One key of a farm of the network.
pub fn key_of_farm(
    tx: &mut Tx<'_>,
    network: NetworkId,
    farm: FarmId,
    key: &KeyId,
) -> Result<StoredKey, StoreError> {
    let row: Option<KeyRow> = signing_keys::table
        .filter(signing_keys::network.eq(network.to_string()))
        .filter(signing_keys::farm.eq(farm.to_string()))
        .filter(signing_keys::id.eq(key.as_str()))
        .first(tx.connection)
        .optional()?;
    row.ok_or(Missing::Key)?.try_into()
}

/// Every key that a farm of the network made known, withdrawn ones too, oldest first.
pub fn keys_of_farm(
    tx: &mut Tx<'_>,
    network: NetworkId,
    farm: FarmId,
) -> Result<Vec<StoredKey>, StoreError> {
    let rows: Vec<KeyRow> = signing_keys::table
        .filter(signing_keys::network.eq(network.to_string()))
        .filter(signing_keys::farm.eq(farm.to_string()))
        .order((signing_keys::made_second, signing_keys::id))
        .load(tx.connection)?;
    rows.into_iter().map(TryInto::try_into).collect()
}

/// Keys of the network behind a position; one more than `limit`, so that a page knows its end.
pub(super) fn behind(
    tx: &mut Tx<'_>,
    network: NetworkId,
    after: u64,
    limit: u32,
) -> Result<Vec<StoredKey>, StoreError> {
    let after = i64::try_from(after).unwrap_or(i64::MAX);
    let rows: Vec<KeyRow> = signing_keys::table
        .filter(signing_keys::network.eq(network.to_string()))
        .filter(signing_keys::position.gt(after))
        .order(signing_keys::position)
        .limit(i64::from(limit) + 1)
        .load(tx.connection)?;
    rows.into_iter().map(TryInto::try_into).collect()
}
