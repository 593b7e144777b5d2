//! The outbox: what is to be brought over channels.
//!
//! A row is written in the transaction of the act that it tells of, so nothing is told that did not
//! happen and nothing that happened goes untold. A server *takes* a row on by a guarded write that
//! counts its tries up and gives it a lease; of two servers one takes it. Whoever took it notes how
//! the try ended, naming the number of the try: one whose lease ran out has lost the row to the next.
//! A server that goes down between bringing and noting leaves a row whose lease ends, and it is
//! brought again: at least once.

use chrono::{DateTime, NaiveDateTime, TimeDelta, Utc};
use diesel::dsl::{count_star, max};
use diesel::{
    BoolExpressionMethods, ExpressionMethods, JoinOnDsl, OptionalExtension, QueryDsl, RunQueryDsl,
    sql_query,
};
use spareloop_domain::telling::{
    Chance, ChannelKind, ChannelState, GIVE_UP_AFTER, Next, Takes, next,
};
use spareloop_domain::words::{ChannelId, DeliveryId, FarmId, MessageId};

use super::make::end;
use super::row::{Channel, ChannelRow, EndedWhy, Standing};
use crate::messages::{self, Message};
use crate::schema::{channels, deliveries, farms, networks};
use crate::text::{moment, read};
use crate::{Named, StoreError, Tx, fresh};

/// How long a server has for one try. Ten times what the slowest is given.
const LEASE: TimeDelta = TimeDelta::minutes(5);
/// How long what has ended is kept.
const KEPT: TimeDelta = TimeDelta::days(30);

const WAITING: &str = "waiting";
const UNDER_WAY: &str = "under-way";
const DELIVERED: &str = "delivered";
const GIVEN_UP: &str = "given-up";
const DROPPED: &str = "dropped";

/// Asks that a message is brought over every channel of the farm that brings messages.
pub(crate) fn ask_for_message(
    tx: &mut Tx<'_>,
    farm: FarmId,
    message: MessageId,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let brought: Vec<String> = channels::table
        .filter(channels::farm.eq(farm.to_string()))
        .filter(channels::state.eq(ChannelState::Open.code()))
        .filter(
            channels::kind
                .eq(ChannelKind::Webhook.code())
                .or(channels::takes.eq(Some(Takes::Messages.code())))
                .or(channels::takes.eq(Some(Takes::Both.code()))),
        )
        .order(channels::id)
        .select(channels::id)
        .load(tx.connection)?;
    for channel in brought {
        ask(tx, read(&channel)?, "message", Some(message), now)?;
    }
    Ok(())
}

pub(super) fn ask_for_confirmation(
    tx: &mut Tx<'_>,
    channel: ChannelId,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    ask(tx, channel, "confirmation", None, now)
}

pub(super) fn ask_for_digest(
    tx: &mut Tx<'_>,
    channel: ChannelId,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    ask(tx, channel, "digest", None, now)
}

fn ask(
    tx: &mut Tx<'_>,
    channel: ChannelId,
    what: &str,
    message: Option<MessageId>,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    diesel::insert_into(deliveries::table)
        .values((
            deliveries::id.eq(fresh::uuid(now)?.to_string()),
            deliveries::channel.eq(channel.to_string()),
            deliveries::what.eq(what),
            deliveries::message.eq(message.map(|message| message.to_string())),
            deliveries::state.eq(WAITING),
            deliveries::made_at.eq(moment(now)),
            deliveries::due_at.eq(moment(now)),
            deliveries::said.eq(""),
        ))
        .execute(tx.connection)?;
    Ok(())
}

/// What is brought.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Bringing {
    /// Something that the farm was told.
    Message(Message),
    /// The question whether the owner of an address wants letters there.
    Confirmation,
    /// The weekly letter.
    Digest,
}

/// A delivery that the caller took on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Taken {
    /// Which.
    pub id: DeliveryId,
    /// The number of this try, from 1.
    pub number: u32,
    /// When it was asked for.
    pub made_at: DateTime<Utc>,
    /// Over which channel.
    pub channel: Channel,
    /// For which farm.
    pub farm: Named<FarmId>,
    /// The farm's network.
    pub network: String,
    /// What.
    pub bringing: Bringing,
}

// One a channel, and none whose channel is being served, so that a slow target takes one place and
// no more however much waits for it. What waited longest goes first.
const DUE: &str = "SELECT min(d.id) AS id FROM deliveries AS d \
    JOIN channels AS c ON c.id = d.channel \
    WHERE ((d.state = 'waiting' AND d.due_at <= $1) \
        OR (d.state = 'under-way' AND d.lease_ends_at <= $1)) \
    AND c.kind IN ($2, $3) AND c.state <> 'ended' \
    AND NOT EXISTS (SELECT 1 FROM deliveries AS other WHERE other.channel = d.channel \
        AND other.state = 'under-way' AND other.lease_ends_at > $1) \
    GROUP BY d.channel ORDER BY min(d.due_at), min(d.id) LIMIT $4";

#[derive(diesel::QueryableByName)]
struct Due {
    #[diesel(sql_type = diesel::sql_types::Text)]
    id: String,
}

/// Whether anything is due over channels of these kinds: a look that writes nothing.
pub fn is_due(
    tx: &mut Tx<'_>,
    kinds: [ChannelKind; 2],
    now: DateTime<Utc>,
) -> Result<bool, StoreError> {
    Ok(!due(tx, kinds, 1, now)?.is_empty())
}

/// Takes on at most `most` deliveries that are due over channels of these kinds, one a channel.
pub fn take(
    tx: &mut Tx<'_>,
    kinds: [ChannelKind; 2],
    most: u32,
    now: DateTime<Utc>,
) -> Result<Vec<Taken>, StoreError> {
    let mut taken = Vec::new();
    for Due { id } in due(tx, kinds, most, now)? {
        taken.extend(take_one(tx, &id, now)?);
    }
    Ok(taken)
}

fn due(
    tx: &mut Tx<'_>,
    kinds: [ChannelKind; 2],
    most: u32,
    now: DateTime<Utc>,
) -> Result<Vec<Due>, StoreError> {
    use diesel::sql_types::{BigInt, Text, Timestamp};
    Ok(sql_query(DUE)
        .bind::<Timestamp, _>(moment(now))
        .bind::<Text, _>(kinds[0].code())
        .bind::<Text, _>(kinds[1].code())
        .bind::<BigInt, _>(i64::from(most))
        .load(tx.connection)?)
}

fn take_one(tx: &mut Tx<'_>, id: &str, now: DateTime<Utc>) -> Result<Option<Taken>, StoreError> {
    let is_due = (deliveries::state.eq(WAITING).and(deliveries::due_at.le(moment(now))))
        .or(deliveries::state.eq(UNDER_WAY).and(deliveries::lease_ends_at.le(moment(now))));
    // Another server may have it by now: then nothing is due any more, and nothing is written.
    let row: Option<(String, String, Option<String>, NaiveDateTime, i64)> =
        diesel::update(deliveries::table.filter(deliveries::id.eq(id)).filter(is_due))
            .set((
                deliveries::state.eq(UNDER_WAY),
                deliveries::tries.eq(deliveries::tries + 1),
                deliveries::lease_ends_at.eq(Some(moment(now + LEASE))),
            ))
            .returning((
                deliveries::channel,
                deliveries::what,
                deliveries::message,
                deliveries::made_at,
                deliveries::tries,
            ))
            .get_result(tx.connection)
            .optional()?;
    let Some((channel, what, message, made_at, tries)) = row else { return Ok(None) };
    let (row, farm, network): (ChannelRow, String, String) = channels::table
        .inner_join(farms::table)
        .inner_join(networks::table.on(networks::id.eq(farms::network)))
        .filter(channels::id.eq(&channel))
        .select((channels::all_columns, farms::name, networks::name))
        .first(tx.connection)?;
    let channel: Channel = row.try_into()?;
    let bringing = match (what.as_str(), message) {
        ("confirmation", _) => Bringing::Confirmation,
        ("digest", _) => Bringing::Digest,
        (_, Some(message)) => {
            let lost = || StoreError::corrupt("a delivery is of a message that is not there");
            let found = messages::one(tx, channel.farm, read(&message)?)?;
            Bringing::Message(found.ok_or_else(lost)?)
        }
        (_, None) => return Err(StoreError::corrupt("a delivery brings nothing")),
    };
    Ok(Some(Taken {
        id: read(id)?,
        number: u32::try_from(tries).map_err(StoreError::corrupt)?,
        made_at: made_at.and_utc(),
        farm: Named { id: channel.farm, name: farm },
        network,
        channel,
        bringing,
    }))
}

/// Whether a try was still the caller's when it ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dealt {
    /// It was, and its end is noted.
    Noted,
    /// Its lease had run out, or its channel has ended: the row is another's.
    NotOurs,
}

impl Dealt {
    const fn of(written: usize) -> Self {
        if written == 1 { Self::Noted } else { Self::NotOurs }
    }
}

/// Notes that a delivery was brought.
pub fn delivered(tx: &mut Tx<'_>, taken: &Taken, now: DateTime<Utc>) -> Result<Dealt, StoreError> {
    close(tx, taken, DELIVERED, "", now)
}

/// Why a try failed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Failure {
    /// It may go better later.
    ForNow,
    /// It never will: nobody is there by that name.
    ForGood,
    /// The target said that it is gone and wants nothing more: its channel ends.
    Gone,
}

/// Notes that a try failed, with words for the farm: it is tried again later, or given up.
pub fn failed(
    tx: &mut Tx<'_>,
    taken: &Taken,
    failure: Failure,
    said: &str,
    chance: Chance,
    now: DateTime<Utc>,
) -> Result<Dealt, StoreError> {
    let next = match failure {
        Failure::ForNow => next(taken.number, taken.made_at, now, chance),
        Failure::ForGood | Failure::Gone => Next::GiveUp,
    };
    let Next::Again(at) = next else {
        let dealt = close(tx, taken, GIVEN_UP, said, now)?;
        if failure == Failure::Gone && dealt == Dealt::Noted {
            end(tx, taken.channel.id, EndedWhy::Gone, now)?;
        }
        return Ok(dealt);
    };
    let written = diesel::update(deliveries::table.find(taken.id.to_string()))
        .filter(deliveries::state.eq(UNDER_WAY))
        .filter(deliveries::tries.eq(i64::from(taken.number)))
        .set((
            deliveries::state.eq(WAITING),
            deliveries::due_at.eq(moment(at)),
            deliveries::lease_ends_at.eq(None::<NaiveDateTime>),
            deliveries::said.eq(said),
        ))
        .execute(tx.connection)?;
    Ok(Dealt::of(written))
}

fn close(
    tx: &mut Tx<'_>,
    taken: &Taken,
    state: &str,
    said: &str,
    now: DateTime<Utc>,
) -> Result<Dealt, StoreError> {
    let written = diesel::update(deliveries::table.find(taken.id.to_string()))
        .filter(deliveries::state.eq(UNDER_WAY))
        .filter(deliveries::tries.eq(i64::from(taken.number)))
        .set((
            deliveries::state.eq(state),
            deliveries::lease_ends_at.eq(None::<NaiveDateTime>),
            deliveries::ended_at.eq(Some(moment(now))),
            deliveries::said.eq(said),
        ))
        .execute(tx.connection)?;
    Ok(Dealt::of(written))
}

/// Drops what still waits for a channel that has ended.
pub(super) fn drop_waiting(
    tx: &mut Tx<'_>,
    channel: ChannelId,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    diesel::update(deliveries::table)
        .filter(deliveries::channel.eq(channel.to_string()))
        .filter(deliveries::state.eq_any([WAITING, UNDER_WAY]))
        .set((
            deliveries::state.eq(DROPPED),
            deliveries::lease_ends_at.eq(None::<NaiveDateTime>),
            deliveries::ended_at.eq(Some(moment(now))),
        ))
        .execute(tx.connection)?;
    Ok(())
}

/// Gives up what nobody could even try in time, and ends channels of e-mail that nobody confirmed;
/// answers how many rows were written.
pub fn give_up_overdue(tx: &mut Tx<'_>, now: DateTime<Utc>) -> Result<usize, StoreError> {
    let oldest = moment(now - GIVE_UP_AFTER);
    let given_up = diesel::update(deliveries::table)
        .filter(deliveries::state.eq(WAITING))
        .filter(deliveries::made_at.lt(oldest))
        .set((deliveries::state.eq(GIVEN_UP), deliveries::ended_at.eq(Some(moment(now)))))
        .execute(tx.connection)?;
    let unconfirmed: Vec<String> = channels::table
        .filter(channels::state.eq(ChannelState::Unconfirmed.code()))
        .filter(channels::made_at.lt(oldest))
        .select(channels::id)
        .load(tx.connection)?;
    for id in &unconfirmed {
        end(tx, read(id)?, EndedWhy::NotConfirmed, now)?;
    }
    Ok(given_up + unconfirmed.len())
}

/// Forgets deliveries and channels that ended long ago, with their addresses; answers how many.
pub fn prune(tx: &mut Tx<'_>, now: DateTime<Utc>) -> Result<usize, StoreError> {
    let oldest = moment(now - KEPT);
    let forgotten = diesel::delete(deliveries::table.filter(deliveries::ended_at.lt(oldest)))
        .execute(tx.connection)?;
    let gone: Vec<String> = channels::table
        .filter(channels::ended_at.lt(oldest))
        .select(channels::id)
        .load(tx.connection)?;
    diesel::delete(deliveries::table.filter(deliveries::channel.eq_any(gone.clone())))
        .execute(tx.connection)?;
    let number = gone.len();
    diesel::delete(channels::table.filter(channels::id.eq_any(gone))).execute(tx.connection)?;
    Ok(forgotten + number)
}

/// How what is brought over a channel stands.
pub fn standing(tx: &mut Tx<'_>, channel: ChannelId) -> Result<Standing, StoreError> {
    let of = || deliveries::table.filter(deliveries::channel.eq(channel.to_string()));
    let number = |state: [&'static str; 2], tx: &mut Tx<'_>| -> Result<u32, StoreError> {
        let number: i64 = of()
            .filter(deliveries::state.eq_any(state))
            .select(count_star())
            .first(tx.connection)?;
        u32::try_from(number).map_err(StoreError::corrupt)
    };
    let waiting = number([WAITING, UNDER_WAY], tx)?;
    let given_up = number([GIVEN_UP, GIVEN_UP], tx)?;
    let delivered_at: Option<NaiveDateTime> = of()
        .filter(deliveries::state.eq(DELIVERED))
        .select(max(deliveries::ended_at))
        .first(tx.connection)?;
    let trouble: Option<String> = of()
        .filter(deliveries::state.eq_any([WAITING, UNDER_WAY, GIVEN_UP]))
        .filter(deliveries::said.ne(""))
        .order(deliveries::id.desc())
        .select(deliveries::said)
        .first(tx.connection)
        .optional()?;
    Ok(Standing { waiting, given_up, delivered_at: delivered_at.map(|at| at.and_utc()), trouble })
}
