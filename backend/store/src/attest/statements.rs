//! Statements, as texts that their farms signed.

use chrono::{DateTime, Utc};
use diesel::{ExpressionMethods, QueryDsl, Queryable, RunQueryDsl};
use spareloop_domain::attest::{
    Checked, Compact, Kept, KeyRecord, Second, Shown, Statement, VerifyError, verify, verify_all,
};
use spareloop_domain::words::{FarmId, LotId, NetworkId, StatementId};

use super::keys::{keys_of_farm, second};
use super::next_position;
use crate::schema::statements;
use crate::text::{read, unsigned};
use crate::{Missing, Refused, StoreError, Tx, farm_book, people};

/// The most statements about one lot.
const MOST_OF_LOT: i64 = 200;

/// A statement as kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredStatement {
    /// Whose.
    pub farm: FarmId,
    /// Its id, single in the farm.
    pub id: StatementId,
    /// About which lot.
    pub lot: LotId,
    /// The signed text.
    pub kept: Kept,
    /// When it was taken, by the server's clock.
    pub taken_at: Second,
    /// Its place in the network's feed.
    pub position: u64,
}

#[derive(Queryable)]
struct StatementRow {
    farm: String,
    id: String,
    _network: String,
    lot: String,
    compact: String,
    taken_at: i64,
    position: i64,
}

impl TryFrom<StatementRow> for StoredStatement {
    type Error = StoreError;
    fn try_from(row: StatementRow) -> Result<Self, StoreError> {
        let taken_at = second(row.taken_at)?;
        Ok(Self {
            farm: read(&row.farm)?,
            id: read(&row.id)?,
            lot: read(&row.lot)?,
            kept: Kept { compact: row.compact, taken_at: Some(taken_at) },
            taken_at,
            position: unsigned(row.position)?,
        })
    }
}

/// Keeps a statement of the farm about a lot in its synced stock book, if it holds. The same text
/// again changes nothing.
pub fn keep(
    tx: &mut Tx<'_>,
    network: NetworkId,
    farm: FarmId,
    lot: LotId,
    compact: &str,
    now: DateTime<Utc>,
) -> Result<StoredStatement, StoreError> {
    people::farm(tx, network, farm)?;
    if !farm_book(tx, farm)?.lots.contains_key(&lot) {
        return Err(Missing::Lot.into());
    }
    let before = of_farm_and_lot(tx, network, farm, lot)?;
    if let Some(kept) = before.into_iter().find(|kept| kept.kept.compact == compact) {
        return Ok(kept);
    }
    // What it is held against is read under the lock: it is what stands when it is kept.
    let position = next_position(tx, network)?;
    let of_lot = of_farm_and_lot(tx, network, farm, lot)?;
    if i64::try_from(of_lot.len()).is_ok_and(|many| many >= MOST_OF_LOT) {
        let (what, most) = ("statements about a lot", MOST_OF_LOT);
        return Err(StoreError::refuse(Refused::TooMany { what, most }));
    }
    let taken_at = Second::of(now);
    let new = Kept { compact: compact.to_owned(), taken_at: Some(taken_at) };
    let said = check_new(tx, network, farm, lot, &new, &of_lot, now)?;
    diesel::insert_into(statements::table)
        .values((
            statements::farm.eq(farm.to_string()),
            statements::id.eq(said.statement.to_string()),
            statements::network.eq(network.to_string()),
            statements::lot.eq(lot.to_string()),
            statements::compact.eq(compact),
            statements::taken_second.eq(taken_at.get()),
            statements::position.eq(position),
        ))
        .execute(tx.connection)
        .map_err(id_taken)?;
    let position = unsigned(position)?;
    Ok(StoredStatement { farm, id: said.statement, lot, kept: new, taken_at, position })
}

/// Reads a broken UNIQUE as what it means here: the id is on a statement about another lot.
fn id_taken(error: diesel::result::Error) -> StoreError {
    use diesel::result::{DatabaseErrorKind, Error};
    match error {
        Error::DatabaseError(DatabaseErrorKind::UniqueViolation, _) => {
            StoreError::refuse(VerifyError::IdTaken)
        }
        other => other.into(),
    }
}

fn check_new(
    tx: &mut Tx<'_>,
    network: NetworkId,
    farm: FarmId,
    lot: LotId,
    new: &Kept,
    of_lot: &[StoredStatement],
    now: DateTime<Utc>,
) -> Result<Statement, StoreError> {
    let keys = records(tx, network, farm)?;
    // What comes now is late, in the second of the withdrawal too.
    if let Some(at) = withdrawn(&keys, &new.compact) {
        return Err(StoreError::refuse(VerifyError::KeyWithdrawn(at)));
    }
    let shown = Shown { farm: Some(farm), lot: Some(lot), now: Second::of(now) };
    let others: Vec<Kept> = of_lot.iter().map(|other| other.kept.clone()).collect();
    let refused = match verify(new, &shown, &keys, &others) {
        Ok(said) => return Ok(said),
        Err(VerifyError::WrongLot { about }) => {
            let others = of_farm_and_lot(tx, network, farm, about)?;
            let shown_again = others.iter().any(|other| other.kept.compact == new.compact);
            if shown_again {
                VerifyError::ShownAgain { about }
            } else {
                VerifyError::WrongLot { about }
            }
        }
        Err(other) => other,
    };
    Err(StoreError::refuse(refused))
}

fn withdrawn(keys: &[KeyRecord], compact: &str) -> Option<Second> {
    let read = Compact::read(compact).ok()?;
    let named = read.key()?;
    keys.iter().find(|record| record.id() == *named)?.withdrawn_at
}

fn records(
    tx: &mut Tx<'_>,
    network: NetworkId,
    farm: FarmId,
) -> Result<Vec<KeyRecord>, StoreError> {
    Ok(keys_of_farm(tx, network, farm)?.into_iter().map(|key| key.record).collect())
}

fn of_farm_and_lot(
    tx: &mut Tx<'_>,
    network: NetworkId,
    farm: FarmId,
    lot: LotId,
) -> Result<Vec<StoredStatement>, StoreError> {
    let mut all = of_lot(tx, network, lot)?;
    all.retain(|statement| statement.farm == farm);
    Ok(all)
}

/// Every statement of the network about a lot, oldest first.
pub fn of_lot(
    tx: &mut Tx<'_>,
    network: NetworkId,
    lot: LotId,
) -> Result<Vec<StoredStatement>, StoreError> {
    let rows: Vec<StatementRow> = statements::table
        .filter(statements::network.eq(network.to_string()))
        .filter(statements::lot.eq(lot.to_string()))
        .order(statements::position)
        .load(tx.connection)?;
    rows.into_iter().map(TryInto::try_into).collect()
}

/// What a farm states about a lot, each held against its key and the others, oldest first.
pub fn checked(
    tx: &mut Tx<'_>,
    network: NetworkId,
    farm: FarmId,
    lot: LotId,
    now: DateTime<Utc>,
) -> Result<Vec<Checked>, StoreError> {
    let list: Vec<Kept> =
        of_farm_and_lot(tx, network, farm, lot)?.into_iter().map(|one| one.kept).collect();
    if list.is_empty() {
        return Ok(Vec::new());
    }
    let keys = records(tx, network, farm)?;
    let shown = Shown { farm: Some(farm), lot: Some(lot), now: Second::of(now) };
    Ok(verify_all(&list, &shown, &keys))
}

/// The statements of a farm about a lot that hold and stand.
pub fn standing(
    tx: &mut Tx<'_>,
    network: NetworkId,
    farm: FarmId,
    lot: LotId,
    now: DateTime<Utc>,
) -> Result<Vec<Statement>, StoreError> {
    let checked = checked(tx, network, farm, lot, now)?;
    Ok(checked.into_iter().filter_map(|one| one.outcome.ok()).collect())
}

/// Statements of the network behind a position; one more than `limit`, so that a page knows its end.
pub(super) fn behind(
    tx: &mut Tx<'_>,
    network: NetworkId,
    after: u64,
    limit: u32,
) -> Result<Vec<StoredStatement>, StoreError> {
    let after = i64::try_from(after).unwrap_or(i64::MAX);
    let rows: Vec<StatementRow> = statements::table
        .filter(statements::network.eq(network.to_string()))
        .filter(statements::position.gt(after))
        .order(statements::position)
        .limit(i64::from(limit) + 1)
        .load(tx.connection)?;
    rows.into_iter().map(TryInto::try_into).collect()
}
