//! An entry as a row, and back, to the last bit: its hash must still hold.

use chrono::{DateTime, NaiveDateTime, Utc};
use diesel::{ExpressionMethods, QueryDsl, Queryable, RunQueryDsl};
use spareloop_domain::ledger::sync::Position;
use spareloop_domain::ledger::{Entry, Stamp};
use spareloop_domain::planted::{self, Bug};

use super::{LockedFarm, Positioned, place};
use crate::schema::{entries, farms};
use crate::text::{moment, read, unsigned};
use crate::{StoreError, Tx, fresh};

#[derive(Queryable)]
pub(super) struct EntryRow {
    farm: String,
    position: i64,
    id: String,
    device: String,
    seq: i64,
    at_millis: i64,
    at_counter: i64,
    on_day: String,
    kind: String,
    body: String,
    prev: String,
    hash: String,
    stored_at: NaiveDateTime,
}

type Columns = (
    entries::farm,
    entries::position,
    entries::id,
    entries::device,
    entries::seq,
    entries::at_millis,
    entries::at_counter,
    entries::on_day,
    entries::kind,
    entries::body,
    entries::prev,
    entries::hash,
    entries::stored_at,
);

pub(super) const COLUMNS: Columns = (
    entries::farm,
    entries::position,
    entries::id,
    entries::device,
    entries::seq,
    entries::at_millis,
    entries::at_counter,
    entries::on_day,
    entries::kind,
    entries::body,
    entries::prev,
    entries::hash,
    entries::stored_at,
);

impl EntryRow {
    pub(super) fn positioned(self) -> Result<Positioned, StoreError> {
        let entry = Entry {
            id: read(&self.id)?,
            farm: read(&self.farm)?,
            device: read(&self.device)?,
            seq: place(self.seq)?,
            at: Stamp {
                millis: unsigned(self.at_millis)?,
                counter: u32::try_from(self.at_counter).map_err(StoreError::corrupt)?,
            },
            on: read(&self.on_day)?,
            kind: self.kind,
            body: serde_json::from_str(&self.body).map_err(StoreError::corrupt)?,
            prev: read(&self.prev)?,
            hash: read(&self.hash)?,
        };
        Ok(Positioned {
            position: Position(unsigned(self.position)?),
            taken_at: fresh::millis(self.stored_at.and_utc()),
            entry,
        })
    }
}

impl LockedFarm {
    /// Gives the entry the farm's next position. Whoever calls has asked `accept`.
    pub(super) fn add(
        &mut self,
        tx: &mut Tx<'_>,
        entry: &Entry,
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        let position = self.newest_position + 1;
        diesel::insert_into(entries::table)
            .values((
                entries::farm.eq(self.farm.to_string()),
                entries::position.eq(position),
                entries::id.eq(entry.id.to_string()),
                entries::device.eq(entry.device.to_string()),
                entries::seq.eq(i64::try_from(entry.seq.get()).map_err(StoreError::broken)?),
                entries::at_millis.eq(i64::try_from(entry.at.millis).map_err(StoreError::broken)?),
                entries::at_counter.eq(i64::from(entry.at.counter)),
                entries::on_day.eq(entry.on.to_string()),
                entries::kind.eq(&entry.kind),
                entries::body.eq(serde_json::to_string(&entry.body).map_err(StoreError::broken)?),
                entries::prev.eq(entry.prev.to_string()),
                entries::hash.eq(entry.hash.to_string()),
                entries::stored_at.eq(moment(now)),
            ))
            .execute(tx.connection)?;
        self.newest_position = position;
        tx.ledger.added_to(self.farm);
        Ok(())
    }

    /// Writes down how far the positions have gone.
    pub(super) fn keep_position(&self, tx: &mut Tx<'_>) -> Result<(), StoreError> {
        if planted::is(Bug::PositionNotKept) {
            return Ok(());
        }
        diesel::update(farms::table.find(self.farm.to_string()))
            .set(farms::newest_position.eq(self.newest_position))
            .execute(tx.connection)?;
        Ok(())
    }
}
