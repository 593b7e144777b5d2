//! How what was agreed travels: terms, packing, frost dates, pauses, and how it came.
//!
//! Sending is the hand-over and arrival the receipt ([`crate::hand_overs`]), in the same transaction. Every
//! act locks the hold's offer first. What may not enter: whether a parcel may leave, which `domain` says.

use chrono::{DateTime, Utc};
use diesel::{ExpressionMethods, OptionalExtension, QueryDsl, Queryable, RunQueryDsl};
use spareloop_domain::exchange::parcel::{Arrival, FrostBorneBy, Terms, may_leave};
use spareloop_domain::exchange::{HoldState, ParcelAct, ParcelState};
use spareloop_domain::words::{Count, Day, FarmId, HoldId};

use crate::holds::{Hold, lock_hold};
use crate::schema::parcels;
use crate::text::{free, read, read_some};
use crate::{Missing, Refused, StoreError, Tx, messages};

/// A parcel as its two farms see it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Parcel {
    /// How it stands.
    pub state: ParcelState,
    /// What was proposed, or agreed.
    pub terms: Terms,
    /// Which farm proposed the terms.
    pub terms_by: FarmId,
    /// A pause, while there is one.
    pub pause: Option<Pause>,
}

/// A pause of a parcel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pause {
    /// Its last day.
    pub until: Day,
    /// Which farm set it, and may lift it.
    pub by: FarmId,
    /// Why, in words.
    pub why: String,
}

#[derive(Queryable)]
struct ParcelRow {
    _hold: String,
    state: String,
    post: String,
    frost: String,
    not_before: Option<String>,
    terms_by: String,
    paused_until: Option<String>,
    paused_by: Option<String>,
    pause_why: String,
    _version: i64,
}

impl TryFrom<ParcelRow> for Parcel {
    type Error = StoreError;
    fn try_from(row: ParcelRow) -> Result<Self, StoreError> {
        let until: Option<Day> = read_some(row.paused_until.as_deref())?;
        let by: Option<FarmId> = read_some(row.paused_by.as_deref())?;
        Ok(Self {
            state: read(&row.state)?,
            terms: Terms {
                post: read(&row.post)?,
                frost: read(&row.frost)?,
                not_before: read_some(row.not_before.as_deref())?,
            },
            terms_by: read(&row.terms_by)?,
            pause: until.zip(by).map(|(until, by)| Pause { until, by, why: row.pause_why }),
        })
    }
}

/// The parcel of a hold, if it travels as one.
pub fn of(tx: &mut Tx<'_>, hold: HoldId) -> Result<Option<Parcel>, StoreError> {
    let row: Option<ParcelRow> =
        parcels::table.find(hold.to_string()).first(tx.connection).optional()?;
    row.map(Parcel::try_from).transpose()
}

/// A farm of an agreed hold proposes how it travels, or proposes otherwise; the other farm agrees.
pub fn propose(
    tx: &mut Tx<'_>,
    farm: FarmId,
    id: HoldId,
    terms: &Terms,
    now: DateTime<Utc>,
) -> Result<Hold, StoreError> {
    let found = lock_hold(tx, farm, id, now)?;
    if found.state != HoldState::Agreed {
        return Err(StoreError::refuse(Refused::ParcelOf(found.state)));
    }
    let before = of(tx, id)?;
    let state = match &before {
        Some(parcel) => parcel.state.after(ParcelAct::ProposeByPart).map_err(StoreError::refuse)?,
        None => ParcelState::Proposed,
    };
    let values = (
        parcels::state.eq(state.code()),
        parcels::post.eq(terms.post.code()),
        parcels::frost.eq(terms.frost.code()),
        parcels::not_before.eq(terms.not_before.map(|day| day.to_string())),
        parcels::terms_by.eq(farm.to_string()),
    );
    if before.is_some() {
        diesel::update(parcels::table.find(id.to_string())).set(values).execute(tx.connection)?;
    } else {
        diesel::insert_into(parcels::table)
            .values((parcels::hold.eq(id.to_string()), values))
            .execute(tx.connection)?;
    }
    let first = terms.not_before.map_or_else(String::new, |day| format!(", not before {day}"));
    let what = format!(
        "proposes how {} of '{}' travel: the post is paid by {}, freezing is borne by {}{first}. Agree, or \
         propose otherwise.",
        found.count, found.variety, terms.post, terms.frost
    );
    tell_other(tx, &found, farm, &what, now)?;
    Ok(found)
}

/// The farm that was asked agrees to the terms.
pub fn agree(
    tx: &mut Tx<'_>,
    farm: FarmId,
    id: HoldId,
    now: DateTime<Utc>,
) -> Result<Hold, StoreError> {
    let (found, parcel) = locked(tx, farm, id, now)?;
    let state = parcel.state.after(ParcelAct::AgreeByPart).map_err(StoreError::refuse)?;
    if parcel.terms_by == farm {
        return Err(StoreError::refuse(Refused::OwnTerms));
    }
    set(tx, id, state)?;
    tell_other(tx, &found, farm, "agrees to how the parcel travels.", now)?;
    Ok(found)
}

/// The giver notes that it is packed.
pub fn pack(
    tx: &mut Tx<'_>,
    farm: FarmId,
    id: HoldId,
    now: DateTime<Utc>,
) -> Result<Hold, StoreError> {
    let (found, parcel) = locked(tx, farm, id, now)?;
    if found.giver.id != farm {
        return Err(StoreError::refuse(Refused::OnlyBy(ParcelAct::PackByGiver.by())));
    }
    let state = parcel.state.after(ParcelAct::PackByGiver).map_err(StoreError::refuse)?;
    set(tx, id, state)?;
    tell_other(tx, &found, farm, "has packed the parcel.", now)?;
    Ok(found)
}

/// Either farm pauses the parcel until a day, or lifts its own pause. What is agreed does not lapse meanwhile.
pub fn pause(
    tx: &mut Tx<'_>,
    farm: FarmId,
    id: HoldId,
    (until, why): (Option<Day>, &str),
    now: DateTime<Utc>,
) -> Result<Hold, StoreError> {
    let why = free(why, "the reason")?;
    let (found, parcel) = locked(tx, farm, id, now)?;
    // Only what has not left can wait.
    if found.state != HoldState::Agreed {
        return Err(StoreError::refuse(Refused::ParcelOf(found.state)));
    }
    if parcel.pause.is_some_and(|pause| pause.by != farm) {
        return Err(StoreError::refuse(Refused::OthersPause));
    }
    diesel::update(parcels::table.find(id.to_string()))
        .set((
            parcels::paused_until.eq(until.map(|day| day.to_string())),
            parcels::paused_by.eq(until.map(|_| farm.to_string())),
            parcels::pause_why.eq(why),
        ))
        .execute(tx.connection)?;
    let said = if why.is_empty() { String::new() } else { format!(" They write: {why}") };
    let what = match until {
        Some(until) => format!("pauses the parcel until {until}.{said}"),
        None => format!("lifts the pause of the parcel.{said}"),
    };
    tell_other(tx, &found, farm, &what, now)?;
    Ok(found)
}

/// A hold is handed over on a day: its parcel leaves, if it travels as one.
pub(crate) fn leave(tx: &mut Tx<'_>, id: HoldId, on: Day) -> Result<(), StoreError> {
    let Some(parcel) = of(tx, id)? else { return Ok(()) };
    let state = parcel.state.after(ParcelAct::SendByGiver).map_err(StoreError::refuse)?;
    may_leave(on, parcel.terms.not_before, parcel.pause.map(|pause| pause.until))
        .map_err(StoreError::refuse)?;
    set(tx, id, state)
}

/// The taker says how it came; answers who bears what froze, where it did.
pub(crate) fn come(
    tx: &mut Tx<'_>,
    id: HoldId,
    arrival: Arrival,
    received: Count,
) -> Result<Option<FrostBorneBy>, StoreError> {
    let parcel = match (of(tx, id)?, arrival) {
        (Some(parcel), _) => parcel,
        (None, Arrival::Arrived) => return Ok(None),
        (None, Arrival::Lost | Arrival::Frozen) => {
            return Err(StoreError::refuse(Refused::NoParcel));
        }
    };
    if arrival == Arrival::Lost && !received.is_zero() {
        return Err(StoreError::refuse(Refused::LostAndReceived));
    }
    let state = parcel.state.after(arrival.act()).map_err(StoreError::refuse)?;
    set(tx, id, state)?;
    Ok((arrival == Arrival::Frozen).then_some(parcel.terms.frost))
}

fn locked(
    tx: &mut Tx<'_>,
    farm: FarmId,
    id: HoldId,
    now: DateTime<Utc>,
) -> Result<(Hold, Parcel), StoreError> {
    let found = lock_hold(tx, farm, id, now)?;
    let parcel = of(tx, id)?.ok_or(Missing::Parcel)?;
    Ok((found, parcel))
}

fn set(tx: &mut Tx<'_>, id: HoldId, state: ParcelState) -> Result<(), StoreError> {
    diesel::update(parcels::table.find(id.to_string()))
        .set((parcels::state.eq(state.code()), parcels::version.eq(parcels::version + 1)))
        .execute(tx.connection)?;
    Ok(())
}

fn tell_other(
    tx: &mut Tx<'_>,
    hold: &Hold,
    farm: FarmId,
    what: &str,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let (who, whom) = hold.who_and_whom(farm);
    messages::tell(tx, whom.id, Some(hold.id), &format!("{} {what}", who.name), now)
}
