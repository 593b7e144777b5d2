//! Rounds: asked for over a frozen view, solved by one server at a time, kept with their certificate.
//!
//! A server that takes a round up has it for a while. If it goes, another takes it up, and whoever was
//! first to write the answer down has written it: the number of takes tells them apart. What may not
//! enter: how a round is solved.

mod timetable;

use chrono::{DateTime, NaiveDateTime, TimeDelta, Utc};
use diesel::result::{DatabaseErrorKind, Error as DieselError};
use diesel::{
    BoolExpressionMethods, ExpressionMethods, OptionalExtension, QueryDsl, Queryable, RunQueryDsl,
};
use spareloop_domain::exchange::round::Rules;
use spareloop_domain::exchange::{RoundAct, RoundState};
use spareloop_domain::words::{NetworkId, PersonId, RoundId};

pub use timetable::{
    Moved, Timetable, due, move_on, remove as remove_timetable, set as set_timetable, timetable,
};

use crate::proposals::{self, NewProposal};
use crate::schema::rounds;
use crate::text::{moment, read, read_some};
use crate::{Conflict, Missing, StoreError, Tx};

/// How much longer than its search a server has a round.
const GRACE: TimeDelta = TimeDelta::minutes(2);
/// After so many servers that took it up and went, a round is given up.
const MOST_TAKES: i64 = 3;

/// A round about to begin.
#[derive(Debug, Clone, PartialEq)]
pub struct NewRound {
    /// Its id.
    pub id: RoundId,
    /// Who asked for it; the timetable where it is nobody.
    pub by: Option<PersonId>,
    /// By which rules.
    pub rules: Rules,
    /// The view over which it runs, as the solver's JSON document.
    pub frozen: String,
}

/// A round.
#[derive(Debug, Clone, PartialEq)]
pub struct Round {
    /// Its id.
    pub id: RoundId,
    /// Who asked for it; the timetable where it is nobody.
    pub by: Option<PersonId>,
    /// How it stands.
    pub state: RoundState,
    /// When it was asked for.
    pub asked_at: DateTime<Utc>,
    /// By which rules.
    pub rules: Rules,
    /// The view over which it runs, as the solver's JSON document.
    pub frozen: String,
    /// The solver's answer with its certificate, as JSON.
    pub answer: Option<String>,
    /// What it comes to, or why it failed.
    pub said: String,
    /// When it was done with.
    pub ended_at: Option<DateTime<Utc>>,
}

/// A round that this server has for a while.
#[derive(Debug, Clone, PartialEq)]
pub struct Taken {
    /// Its id.
    pub id: RoundId,
    /// Its network.
    pub network: NetworkId,
    /// By which rules.
    pub rules: Rules,
    /// The view.
    pub frozen: String,
    takes: i64,
}

/// What a round came to.
#[derive(Debug, Clone, PartialEq)]
pub enum Came {
    /// To an answer, with proposals or without any.
    Answer {
        /// The answer with its certificate, as JSON.
        answer: String,
        /// In words.
        said: String,
        /// What is proposed.
        proposals: Vec<NewProposal>,
    },
    /// To nothing: it can't be solved.
    Failure {
        /// Why, in words.
        why: String,
    },
}

/// Whether something was written down here, or by another server before.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Written {
    /// Here.
    Here,
    /// By another server, or it was given up meanwhile.
    Elsewhere,
}

#[derive(Queryable)]
struct RoundRow {
    id: String,
    _network: String,
    by_person: Option<String>,
    state: String,
    asked_at: NaiveDateTime,
    rules: String,
    frozen: String,
    answer: Option<String>,
    said: String,
    _leased_until_at: Option<NaiveDateTime>,
    _takes: i64,
    ended_at: Option<NaiveDateTime>,
}

impl TryFrom<RoundRow> for Round {
    type Error = StoreError;
    fn try_from(row: RoundRow) -> Result<Self, StoreError> {
        Ok(Self {
            id: read(&row.id)?,
            by: read_some(row.by_person.as_deref())?,
            state: read(&row.state)?,
            asked_at: row.asked_at.and_utc(),
            rules: read_rules(&row.rules)?,
            frozen: row.frozen,
            answer: row.answer,
            said: row.said,
            ended_at: row.ended_at.map(|at| at.and_utc()),
        })
    }
}

pub(crate) fn read_rules(text: &str) -> Result<Rules, StoreError> {
    serde_json::from_str(text).map_err(StoreError::corrupt)
}

/// Begins a round, unless one is under way in the network.
pub fn begin(
    tx: &mut Tx<'_>,
    network: NetworkId,
    new: &NewRound,
    now: DateTime<Utc>,
) -> Result<Round, StoreError> {
    new.rules.check().map_err(StoreError::refuse)?;
    diesel::insert_into(rounds::table)
        .values((
            rounds::id.eq(new.id.to_string()),
            rounds::network.eq(network.to_string()),
            rounds::by_person.eq(new.by.map(|person| person.to_string())),
            rounds::state.eq(RoundState::Asked.code()),
            rounds::asked_at.eq(moment(now)),
            rounds::rules.eq(serde_json::to_string(&new.rules).map_err(StoreError::broken)?),
            rounds::frozen.eq(&new.frozen),
        ))
        .execute(tx.connection)
        .map_err(under_way)?;
    round(tx, network, new.id)
}

/// A broken UNIQUE here means that another round of the network is under way.
fn under_way(error: DieselError) -> StoreError {
    match error {
        DieselError::DatabaseError(DatabaseErrorKind::UniqueViolation, _) => {
            Conflict::RoundUnderWay.into()
        }
        other => other.into(),
    }
}

/// One round of the network.
pub fn round(tx: &mut Tx<'_>, network: NetworkId, id: RoundId) -> Result<Round, StoreError> {
    let row: Option<RoundRow> = rounds::table
        .filter(rounds::network.eq(network.to_string()))
        .filter(rounds::id.eq(id.to_string()))
        .first(tx.connection)
        .optional()?;
    row.ok_or(Missing::Round)?.try_into()
}

/// The network's rounds, newest first, at most `limit`.
pub fn rounds(tx: &mut Tx<'_>, network: NetworkId, limit: u32) -> Result<Vec<Round>, StoreError> {
    let rows: Vec<RoundRow> = rounds::table
        .filter(rounds::network.eq(network.to_string()))
        .order((rounds::asked_at.desc(), rounds::id.desc()))
        .limit(i64::from(limit))
        .load(tx.connection)?;
    rows.into_iter().map(Round::try_from).collect()
}

/// Takes up the oldest round that waits for a server, or whose server has gone. Of several servers
/// that ask at once, one gets it.
pub fn take(tx: &mut Tx<'_>, now: DateTime<Utc>) -> Result<Option<Taken>, StoreError> {
    // Written twice below, since a boxed condition can't be used twice.
    macro_rules! waits {
        () => {
            rounds::state.eq(RoundState::Asked.code()).or(rounds::state
                .eq(RoundState::Solving.code())
                .and(rounds::leased_until_at.le(moment(now))))
        };
    }
    let found: Option<(String, String, String)> = rounds::table
        .filter(waits!())
        .order((rounds::asked_at, rounds::id))
        .select((rounds::id, rounds::rules, rounds::state))
        .first(tx.connection)
        .optional()?;
    let Some((id, rules, state)) = found else { return Ok(None) };
    let (rules, state) = (read_rules(&rules)?, read::<RoundState>(&state)?);
    let solving = state.after(RoundAct::TakeByHouse).map_err(StoreError::refuse)?;
    let until = moment(now + TimeDelta::seconds(i64::from(rules.seconds)) + GRACE);
    let taken: Option<(String, String, i64)> =
        diesel::update(rounds::table.filter(rounds::id.eq(&id)).filter(waits!()))
            .set((
                rounds::state.eq(solving.code()),
                rounds::leased_until_at.eq(Some(until)),
                rounds::takes.eq(rounds::takes + 1),
            ))
            .returning((rounds::network, rounds::frozen, rounds::takes))
            .get_result(tx.connection)
            .optional()?;
    let Some((network, frozen, takes)) = taken else { return Ok(None) };
    let taken = Taken { id: read(&id)?, network: read(&network)?, rules, frozen, takes };
    if takes > MOST_TAKES {
        let why = "The servers that took it up went before they had solved it.".to_owned();
        put(tx, &taken, &Came::Failure { why }, now)?;
        return Ok(None);
    }
    Ok(Some(taken))
}

/// Writes down what a round came to and asks its farms, unless another server has done so.
pub fn put(
    tx: &mut Tx<'_>,
    taken: &Taken,
    came: &Came,
    now: DateTime<Utc>,
) -> Result<Written, StoreError> {
    let act = match came {
        Came::Answer { proposals, .. } if proposals.is_empty() => RoundAct::FindNothingByHouse,
        Came::Answer { .. } => RoundAct::ProposeByHouse,
        Came::Failure { .. } => RoundAct::FailByHouse,
    };
    let state = RoundState::Solving.after(act).map_err(StoreError::refuse)?;
    let (answer, said) = match came {
        Came::Answer { answer, said, .. } => (Some(answer), said),
        Came::Failure { why } => (None, why),
    };
    let written = diesel::update(
        rounds::table
            .filter(rounds::id.eq(taken.id.to_string()))
            .filter(rounds::state.eq(RoundState::Solving.code()))
            .filter(rounds::takes.eq(taken.takes)),
    )
    .set((
        rounds::state.eq(state.code()),
        rounds::answer.eq(answer),
        rounds::said.eq(said),
        rounds::ended_at.eq(Some(moment(now))),
    ))
    .execute(tx.connection)?;
    if written == 0 {
        return Ok(Written::Elsewhere);
    }
    if let Came::Answer { proposals, .. } = came {
        let answer_by = now + TimeDelta::hours(i64::from(taken.rules.answer_hours));
        for (number, new) in (1..).zip(proposals) {
            proposals::make(tx, taken, (number, new), answer_by, now)?;
        }
    }
    Ok(Written::Here)
}
