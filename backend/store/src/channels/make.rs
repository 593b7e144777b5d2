//! New channels, and what becomes of them: confirmed, changed, remade, ended.

use chrono::{DateTime, NaiveDateTime, TimeDelta, Utc};
use diesel::{ExpressionMethods, JoinOnDsl, OptionalExtension, QueryDsl, RunQueryDsl};
use spareloop_domain::telling::{ChannelAct, ChannelKind, ChannelState, MailAddress, Takes};
use spareloop_domain::words::{ChannelId, FarmId};
use uuid::Uuid;

use super::outbox::{ask_for_confirmation, drop_waiting};
use super::row::{Channel, ChannelRow, EndedWhy, Fetched};
use super::{next_digest, row};
use crate::schema::{channels, farms, networks};
use crate::text::{moment, read};
use crate::{Conflict, Missing, Named, Refused, SecretHash, StoreError, Taken, Tx};

/// Most channels of a farm that have not ended.
pub const MOST_CHANNELS: i64 = 20;
/// Most letters a day that ask one address to confirm itself, whoever asks: nobody is to be pestered
/// through us (ours, no source).
const MOST_ASKED_A_DAY: i64 = 3;

/// A channel about to be made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Addition {
    /// Letters to an address, once its owner confirms it.
    Mail(MailAddress, Takes),
    /// Signed calls of an address, with the number from which their secret comes.
    Webhook(String, Uuid),
    /// A feed under an address with this secret.
    Feed(SecretHash),
    /// A calendar under an address with this secret.
    Calendar(SecretHash),
}

impl Addition {
    /// Its kind.
    pub const fn kind(&self) -> ChannelKind {
        match self {
            Self::Mail(..) => ChannelKind::Mail,
            Self::Webhook(..) => ChannelKind::Webhook,
            Self::Feed(_) => ChannelKind::Feed,
            Self::Calendar(_) => ChannelKind::Calendar,
        }
    }

    fn target(&self) -> Option<&str> {
        match self {
            Self::Mail(address, _) => Some(address.as_str()),
            Self::Webhook(url, _) => Some(url),
            Self::Feed(_) | Self::Calendar(_) => None,
        }
    }

    const fn takes(&self) -> Option<Takes> {
        match self {
            Self::Mail(_, takes) => Some(*takes),
            _ => None,
        }
    }

    const fn token(&self) -> Option<SecretHash> {
        match self {
            Self::Feed(token) | Self::Calendar(token) => Some(*token),
            _ => None,
        }
    }

    const fn secret_number(&self) -> Option<Uuid> {
        match self {
            Self::Webhook(_, number) => Some(*number),
            _ => None,
        }
    }
}

/// Makes a channel. One of e-mail waits for its owner, who is asked by a letter.
pub fn make(
    tx: &mut Tx<'_>,
    farm: FarmId,
    id: ChannelId,
    addition: &Addition,
    now: DateTime<Utc>,
) -> Result<Channel, StoreError> {
    refuse_too_many(tx, farm, addition, now)?;
    let kind = addition.kind();
    let takes = addition.takes();
    diesel::insert_into(channels::table)
        .values((
            channels::id.eq(id.to_string()),
            channels::farm.eq(farm.to_string()),
            channels::kind.eq(kind.code()),
            channels::target.eq(addition.target()),
            channels::takes.eq(takes.map(Takes::code)),
            channels::token_hash.eq(addition.token().map(|token| token.to_string())),
            channels::secret_number.eq(addition.secret_number().map(|number| number.to_string())),
            channels::state.eq(kind.begins().code()),
            channels::made_at.eq(moment(now)),
            channels::next_digest_at.eq(digest_after(takes, now)),
        ))
        .execute(tx.connection)?;
    if kind.begins() == ChannelState::Unconfirmed {
        ask_for_confirmation(tx, id, now)?;
    }
    one(tx, farm, id)
}

fn digest_after(takes: Option<Takes>, now: DateTime<Utc>) -> Option<NaiveDateTime> {
    takes.filter(|takes| takes.digest()).map(|_| moment(next_digest(now)))
}

fn refuse_too_many(
    tx: &mut Tx<'_>,
    farm: FarmId,
    addition: &Addition,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let live = || {
        channels::table
            .filter(channels::farm.eq(farm.to_string()))
            .filter(channels::state.ne(ChannelState::Ended.code()))
    };
    let number: i64 = live().count().get_result(tx.connection)?;
    if number >= MOST_CHANNELS {
        let what = "channels of a farm";
        return Err(StoreError::refuse(Refused::TooMany { what, most: MOST_CHANNELS }));
    }
    let Some(target) = addition.target() else { return Ok(()) };
    let same: i64 =
        live().filter(channels::target.eq(Some(target))).count().get_result(tx.connection)?;
    if same > 0 {
        return Err(Conflict::AlreadyTaken(Taken::Target).into());
    }
    let asked: i64 = channels::table
        .filter(channels::kind.eq(ChannelKind::Mail.code()))
        .filter(channels::target.eq(Some(target)))
        .filter(channels::made_at.gt(moment(now - TimeDelta::days(1))))
        .count()
        .get_result(tx.connection)?;
    if asked >= MOST_ASKED_A_DAY {
        let what = "letters a day that ask an address to confirm itself";
        return Err(StoreError::refuse(Refused::TooMany { what, most: MOST_ASKED_A_DAY }));
    }
    Ok(())
}

/// One channel of the farm.
pub fn one(tx: &mut Tx<'_>, farm: FarmId, id: ChannelId) -> Result<Channel, StoreError> {
    let row: Option<ChannelRow> = channels::table
        .filter(channels::farm.eq(farm.to_string()))
        .filter(channels::id.eq(id.to_string()))
        .first(tx.connection)
        .optional()?;
    row.ok_or(Missing::Channel)?.try_into()
}

/// The farm's channels, oldest first; those that ended stay for a while.
pub fn list(tx: &mut Tx<'_>, farm: FarmId) -> Result<Vec<Channel>, StoreError> {
    let rows: Vec<ChannelRow> = channels::table
        .filter(channels::farm.eq(farm.to_string()))
        .order(channels::id)
        .load(tx.connection)?;
    rows.into_iter().map(Channel::try_from).collect()
}

/// Locks a channel by writing it.
fn lock(tx: &mut Tx<'_>, id: ChannelId) -> Result<Channel, StoreError> {
    let row: Option<ChannelRow> = diesel::update(channels::table.find(id.to_string()))
        .set(channels::state.eq(channels::state))
        .returning(channels::all_columns)
        .get_result(tx.connection)
        .optional()?;
    row.ok_or(Missing::Channel)?.try_into()
}

fn lock_of(tx: &mut Tx<'_>, farm: FarmId, id: ChannelId) -> Result<Channel, StoreError> {
    one(tx, farm, id)?;
    lock(tx, id)
}

/// The owner of the address confirms it: the caller has seen the secret of the letter. A link that
/// was followed before, or whose channel has ended, no longer works.
pub fn confirm(tx: &mut Tx<'_>, id: ChannelId, now: DateTime<Utc>) -> Result<Channel, StoreError> {
    let used_up = || StoreError::from(Conflict::CodeUsedUp(crate::CodeFor::Letter));
    let found = lock(tx, id).map_err(|error| match error {
        StoreError::Missing(_) => used_up(),
        other => other,
    })?;
    let state = found.state.after(ChannelAct::Confirm).map_err(|_| used_up())?;
    diesel::update(channels::table.find(id.to_string()))
        .set((channels::state.eq(state.code()), channels::confirmed_at.eq(Some(moment(now)))))
        .execute(tx.connection)?;
    one(tx, found.farm, id)
}

/// Changes what a channel of e-mail brings.
pub fn change(
    tx: &mut Tx<'_>,
    farm: FarmId,
    id: ChannelId,
    takes: Takes,
    now: DateTime<Utc>,
) -> Result<Channel, StoreError> {
    let found = lock_of(tx, farm, id)?;
    found.state.after(ChannelAct::Change).map_err(StoreError::refuse)?;
    let row::Target::Mail { takes: before, .. } = found.target else {
        return Err(Missing::Channel.into());
    };
    if before == takes {
        return Ok(found);
    }
    diesel::update(channels::table.find(id.to_string()))
        .set((
            channels::takes.eq(Some(takes.code())),
            channels::next_digest_at.eq(digest_after(Some(takes), now)),
        ))
        .execute(tx.connection)?;
    one(tx, farm, id)
}

/// Gives a channel a new secret; the old one stops working at once.
pub fn remake(
    tx: &mut Tx<'_>,
    farm: FarmId,
    id: ChannelId,
    token: SecretHash,
    secret_number: Uuid,
) -> Result<Channel, StoreError> {
    let found = lock_of(tx, farm, id)?;
    found.state.after(ChannelAct::Remake).map_err(StoreError::refuse)?;
    let this = channels::table.find(id.to_string());
    match found.target.kind() {
        ChannelKind::Feed | ChannelKind::Calendar => diesel::update(this)
            .set(channels::token_hash.eq(Some(token.to_string())))
            .execute(tx.connection)?,
        ChannelKind::Webhook => diesel::update(this)
            .set(channels::secret_number.eq(Some(secret_number.to_string())))
            .execute(tx.connection)?,
        // It has no secret that anybody keeps.
        ChannelKind::Mail => return Err(Missing::Channel.into()),
    };
    one(tx, farm, id)
}

/// The farm ends a channel. What still waited is dropped.
pub fn end_by_farm(
    tx: &mut Tx<'_>,
    farm: FarmId,
    id: ChannelId,
    now: DateTime<Utc>,
) -> Result<Channel, StoreError> {
    let found = lock_of(tx, farm, id)?;
    found.state.after(ChannelAct::End).map_err(StoreError::refuse)?;
    end(tx, id, EndedWhy::ByFarm, now)?;
    one(tx, farm, id)
}

/// Whoever reads the letters ends them: the caller has seen the secret of one. Ending again changes
/// nothing, since a mail program may ask twice.
pub fn end_by_reader(tx: &mut Tx<'_>, id: ChannelId, now: DateTime<Utc>) -> Result<(), StoreError> {
    match lock(tx, id) {
        Ok(found) if found.state.after(ChannelAct::End).is_ok() => {
            end(tx, id, EndedWhy::ByReader, now)
        }
        // It has ended, or is long gone: nothing more is sent there.
        Ok(_) | Err(StoreError::Missing(_)) => Ok(()),
        Err(error) => Err(error),
    }
}

pub(super) fn end(
    tx: &mut Tx<'_>,
    id: ChannelId,
    why: EndedWhy,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    diesel::update(
        channels::table
            .filter(channels::id.eq(id.to_string()))
            .filter(channels::state.ne(ChannelState::Ended.code())),
    )
    .set((
        channels::state.eq(ChannelState::Ended.code()),
        channels::ended_at.eq(Some(moment(now))),
        channels::ended_why.eq(Some(why.code())),
        channels::next_digest_at.eq(None::<NaiveDateTime>),
    ))
    .execute(tx.connection)?;
    drop_waiting(tx, id, now)
}

/// Whose feed or calendar the secret of an address opens, if it still does.
pub fn fetched(
    tx: &mut Tx<'_>,
    kind: ChannelKind,
    token: SecretHash,
) -> Result<Option<Fetched>, StoreError> {
    let row: Option<(String, NaiveDateTime, String, String, String)> = channels::table
        .inner_join(farms::table)
        .inner_join(networks::table.on(networks::id.eq(farms::network)))
        .filter(channels::token_hash.eq(Some(token.to_string())))
        .filter(channels::kind.eq(kind.code()))
        .filter(channels::state.eq(ChannelState::Open.code()))
        .select((channels::id, channels::made_at, farms::id, farms::name, networks::name))
        .first(tx.connection)
        .optional()?;
    row.map(|(channel, made_at, farm, name, network)| {
        Ok(Fetched {
            channel: read(&channel)?,
            made_at: made_at.and_utc(),
            farm: Named { id: read(&farm)?, name },
            network,
        })
    })
    .transpose()
}
