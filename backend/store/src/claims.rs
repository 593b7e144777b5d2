//! Claims on what arrived: made, answered, decided, booked.
//!
//! What is granted or decided goes back into the owed book at the value that the two farms had agreed,
//! as a row of its own. What may not enter: who is right, and until when something can be claimed,
//! which `domain` says.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDateTime, TimeDelta, Utc};
use diesel::{
    BoolExpressionMethods, ExpressionMethods, OptionalExtension, QueryDsl, Queryable, RunQueryDsl,
};
use spareloop_domain::exchange::claim::ANSWER_DAYS;
use spareloop_domain::exchange::owed::{Posting, Tenths};
use spareloop_domain::exchange::{ClaimAct, ClaimKind, ClaimState};
use spareloop_domain::words::{
    ClaimId, Count, FarmId, HandOverId, HoldId, NetworkId, PersonId, Purpose,
};

use crate::error::taken;
use crate::holds::{hold, value};
use crate::ledger::lock_farm;
use crate::proposals::Viewer;
use crate::schema::{claims, farms, hand_overs};
use crate::text::{count, free, micros, moment, read, read_some, today};
use crate::{Missing, Named, Refused, StoreError, Taken, Tx, messages, owed};

/// A claim about to be made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewClaim {
    /// Its id, made by the client.
    pub id: ClaimId,
    /// On which hand-over.
    pub hand_over: HandOverId,
    /// What is claimed.
    pub kind: ClaimKind,
    /// Of how many.
    pub count: Count,
    /// In words.
    pub words: String,
}

/// A claim as its two farms and the coordinator see it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Claim {
    /// Its id.
    pub id: ClaimId,
    /// Its network.
    pub network: NetworkId,
    /// On which hand-over.
    pub hand_over: HandOverId,
    /// The hold that was handed over.
    pub hold: HoldId,
    /// Who gave.
    pub giver: Named<FarmId>,
    /// Who took and claims.
    pub taker: Named<FarmId>,
    /// The variety as the giver spells it.
    pub variety: String,
    /// What is claimed.
    pub kind: ClaimKind,
    /// Of how many.
    pub count: Count,
    /// In the taker's words.
    pub words: String,
    /// How it stands; one that was not answered in time is disputed, whether or not that is written down.
    pub state: ClaimState,
    /// When it was made.
    pub made_at: DateTime<Utc>,
    /// By when the giver answers.
    pub answer_by: DateTime<Utc>,
    /// What the giver wrote.
    pub answer: String,
    /// How many count, once that is settled.
    pub settled: Option<Count>,
    /// What the coordinator wrote.
    pub decision: String,
    /// Who decided.
    pub decided_by: Option<PersonId>,
}

#[derive(Queryable)]
struct ClaimRow {
    id: String,
    network: String,
    hand_over: String,
    giver: String,
    taker: String,
    kind: String,
    count: i64,
    words: String,
    state: String,
    made_at: NaiveDateTime,
    answer_by_at: NaiveDateTime,
    answer: String,
    settled: Option<i64>,
    decision: String,
    decided_by: Option<String>,
    _ended_at: Option<NaiveDateTime>,
    _version: i64,
}

impl ClaimRow {
    fn claim(self, tx: &mut Tx<'_>, now: DateTime<Utc>) -> Result<Claim, StoreError> {
        let held: String = hand_overs::table
            .find(&self.hand_over)
            .select(hand_overs::hold)
            .first(tx.connection)?;
        let (hold_id, giver) = (read(&held)?, read(&self.giver)?);
        let variety = hold(tx, giver, hold_id, now)?.variety;
        let names: Vec<(String, String)> = farms::table
            .filter(farms::id.eq_any([&self.giver, &self.taker]))
            .select((farms::id, farms::name))
            .load(tx.connection)?;
        let names: BTreeMap<String, String> = names.into_iter().collect();
        let named = |farm: &String| -> Result<Named<FarmId>, StoreError> {
            Ok(Named { id: read(farm)?, name: names.get(farm).cloned().unwrap_or_default() })
        };
        let state: ClaimState = read(&self.state)?;
        Ok(Claim {
            id: read(&self.id)?,
            network: read(&self.network)?,
            hand_over: read(&self.hand_over)?,
            hold: hold_id,
            giver: named(&self.giver)?,
            taker: named(&self.taker)?,
            variety,
            kind: read(&self.kind)?,
            count: count(self.count)?,
            words: self.words,
            state: state.at(micros(self.answer_by_at), micros(moment(now))),
            made_at: self.made_at.and_utc(),
            answer_by: self.answer_by_at.and_utc(),
            answer: self.answer,
            settled: self.settled.map(count).transpose()?,
            decision: self.decision,
            decided_by: read_some(self.decided_by.as_deref())?,
        })
    }
}

/// The taker claims on what it received.
pub fn make(
    tx: &mut Tx<'_>,
    network: NetworkId,
    taker: FarmId,
    new: &NewClaim,
    now: DateTime<Utc>,
) -> Result<Claim, StoreError> {
    let words = free(&new.words, "the words")?;
    if new.count.is_zero() {
        return Err(StoreError::refuse(Refused::Nothing { what: "the count claimed" }));
    }
    let held: Option<String> = hand_overs::table
        .filter(hand_overs::id.eq(new.hand_over.to_string()))
        .filter(hand_overs::taker.eq(taker.to_string()))
        .select(hand_overs::hold)
        .first(tx.connection)
        .optional()?;
    let hold_id: HoldId = read(&held.ok_or(Missing::HandOver)?)?;
    // So that two claims at once can't both stay within what arrived and together not.
    lock_farm(tx, taker)?;
    let passed = hold(tx, taker, hold_id, now)?;
    let receipt = passed.hand_over.as_ref().and_then(|it| it.receipt.as_ref());
    let receipt = receipt.ok_or_else(|| StoreError::refuse(Refused::NotReceivedYet))?;
    let until = new.kind.until(receipt.on);
    if today(now)? > until {
        return Err(StoreError::refuse(Refused::TooLateToClaim { kind: new.kind, until }));
    }
    let claimed = claimed(tx, new.hand_over)?;
    if claimed.plus(new.count) > receipt.received {
        let (received, asked) = (receipt.received, new.count);
        return Err(StoreError::refuse(Refused::MoreThanArrived { received, claimed, asked }));
    }
    diesel::insert_into(claims::table)
        .values((
            claims::id.eq(new.id.to_string()),
            claims::network.eq(network.to_string()),
            claims::hand_over.eq(new.hand_over.to_string()),
            claims::giver.eq(passed.giver.id.to_string()),
            claims::taker.eq(taker.to_string()),
            claims::kind.eq(new.kind.code()),
            claims::count.eq(i64::from(new.count)),
            claims::words.eq(words),
            claims::state.eq(ClaimState::Open.code()),
            claims::made_at.eq(moment(now)),
            claims::answer_by_at.eq(moment(now + TimeDelta::days(i64::from(ANSWER_DAYS)))),
        ))
        .execute(tx.connection)
        .map_err(taken(Taken::Claim))?;
    let made = claim(tx, network, Viewer::Farm(taker), new.id, now)?;
    let said = if words.is_empty() { String::new() } else { format!(" They write: {words}") };
    let told = format!(
        "{} claims on {} of '{}': {}. Grant it or say how you see it by {}; after that the coordinator \
         may decide.{said}",
        made.taker.name,
        made.count,
        made.variety,
        made.kind,
        made.answer_by.format("%Y-%m-%d"),
    );
    messages::tell(tx, made.giver.id, Some(made.hold), &told, now)?;
    Ok(made)
}

/// What claims on a hand-over stand for: as claimed while they are open, as settled afterwards.
fn claimed(tx: &mut Tx<'_>, hand_over: HandOverId) -> Result<Count, StoreError> {
    let rows: Vec<(i64, Option<i64>)> = claims::table
        .filter(claims::hand_over.eq(hand_over.to_string()))
        .filter(claims::state.ne(ClaimState::Withdrawn.code()))
        .select((claims::count, claims::settled))
        .load(tx.connection)?;
    rows.into_iter().map(|(claimed, settled)| count(settled.unwrap_or(claimed))).sum()
}

/// One claim that the viewer may see.
pub fn claim(
    tx: &mut Tx<'_>,
    network: NetworkId,
    viewer: Viewer,
    id: ClaimId,
    now: DateTime<Utc>,
) -> Result<Claim, StoreError> {
    let mut query = claims::table
        .filter(claims::network.eq(network.to_string()))
        .filter(claims::id.eq(id.to_string()))
        .into_boxed();
    if let Viewer::Farm(farm) = viewer {
        let farm = farm.to_string();
        query = query.filter(claims::giver.eq(farm.clone()).or(claims::taker.eq(farm)));
    }
    let row: Option<ClaimRow> = query.first(tx.connection).optional()?;
    row.ok_or(Missing::Claim)?.claim(tx, now)
}

/// The claims that the viewer may see, newest first, at most `limit`.
pub fn claims(
    tx: &mut Tx<'_>,
    network: NetworkId,
    viewer: Viewer,
    limit: u32,
    now: DateTime<Utc>,
) -> Result<Vec<Claim>, StoreError> {
    let mut query = claims::table
        .filter(claims::network.eq(network.to_string()))
        .order((claims::made_at.desc(), claims::id.desc()))
        .limit(i64::from(limit))
        .into_boxed();
    if let Viewer::Farm(farm) = viewer {
        let farm = farm.to_string();
        query = query.filter(claims::giver.eq(farm.clone()).or(claims::taker.eq(farm)));
    }
    let rows: Vec<ClaimRow> = query.load(tx.connection)?;
    rows.into_iter().map(|row| row.claim(tx, now)).collect()
}

/// Locks a claim by writing it; the caller may see it.
fn lock(
    tx: &mut Tx<'_>,
    network: NetworkId,
    viewer: Viewer,
    id: ClaimId,
    now: DateTime<Utc>,
) -> Result<Claim, StoreError> {
    // Whoever has no part in it must not even lock it.
    claim(tx, network, viewer, id, now)?;
    diesel::update(claims::table.find(id.to_string()))
        .set(claims::version.eq(claims::version + 1))
        .execute(tx.connection)?;
    claim(tx, network, viewer, id, now)
}

/// One of the two farms acts on a claim.
pub fn act(
    tx: &mut Tx<'_>,
    (network, farm): (NetworkId, FarmId),
    id: ClaimId,
    act: ClaimAct,
    words: &str,
    now: DateTime<Utc>,
) -> Result<Claim, StoreError> {
    let words = free(words, "the words")?;
    let found = lock(tx, network, Viewer::Farm(farm), id, now)?;
    let may = match act {
        ClaimAct::GrantByGiver | ClaimAct::DisputeByGiver => found.giver.id == farm,
        ClaimAct::WithdrawByTaker => found.taker.id == farm,
        ClaimAct::DecideByCoordinator => false,
    };
    if !may {
        return Err(StoreError::refuse(Refused::OnlyBy(act.by())));
    }
    let state = found.state.after(act).map_err(StoreError::refuse)?;
    let settled = (state == ClaimState::Granted).then_some(found.count);
    let ended = (state != ClaimState::Disputed).then(|| moment(now));
    let answer = if act == ClaimAct::WithdrawByTaker { &found.answer } else { words };
    diesel::update(claims::table.find(id.to_string()))
        .set((
            claims::state.eq(state.code()),
            claims::answer.eq(answer),
            claims::settled.eq(settled.map(i64::from)),
            claims::ended_at.eq(ended),
        ))
        .execute(tx.connection)?;
    if let Some(settled) = settled {
        book(tx, &found, settled, now)?;
    }
    let (who, whom) = if found.giver.id == farm {
        (&found.giver.name, found.taker.id)
    } else {
        (&found.taker.name, found.giver.id)
    };
    let said = if words.is_empty() { String::new() } else { format!(" They write: {words}") };
    let about = format!("the claim on {} of '{}' ({})", found.count, found.variety, found.kind);
    let told = match state {
        ClaimState::Granted => format!("{who} granted {about}; the owed book has it.{said}"),
        ClaimState::Disputed => {
            format!("{who} sees {about} otherwise; the coordinator decides, on record.{said}")
        }
        _ => format!("{who} took {about} back.{said}"),
    };
    messages::tell(tx, whom, Some(found.hold), &told, now)?;
    claim(tx, network, Viewer::Farm(farm), id, now)
}

/// The coordinator decides a disputed claim, on record: so many of what was claimed count.
pub fn decide(
    tx: &mut Tx<'_>,
    (network, by): (NetworkId, PersonId),
    id: ClaimId,
    (settled, words): (Count, &str),
    now: DateTime<Utc>,
) -> Result<Claim, StoreError> {
    let words = free(words, "the words")?;
    let found = lock(tx, network, Viewer::Coordinator, id, now)?;
    let state = found.state.after(ClaimAct::DecideByCoordinator).map_err(StoreError::refuse)?;
    if settled > found.count {
        let (claimed, decided) = (found.count, settled);
        return Err(StoreError::refuse(Refused::DecidedBeyond { claimed, decided }));
    }
    diesel::update(claims::table.find(id.to_string()))
        .set((
            claims::state.eq(state.code()),
            claims::settled.eq(Some(i64::from(settled))),
            claims::decision.eq(words),
            claims::decided_by.eq(Some(by.to_string())),
            claims::ended_at.eq(Some(moment(now))),
        ))
        .execute(tx.connection)?;
    book(tx, &found, settled, now)?;
    let told = format!(
        "The coordinator decided the claim on {} of '{}' ({}): {settled} of {} count. {words}",
        found.count, found.variety, found.kind, found.count
    );
    for farm in [found.giver.id, found.taker.id] {
        messages::tell(tx, farm, Some(found.hold), told.trim_end(), now)?;
    }
    claim(tx, network, Viewer::Coordinator, id, now)
}

/// Brings back what so many units were worth; nothing for a gift, or where none counts.
fn book(
    tx: &mut Tx<'_>,
    found: &Claim,
    settled: Count,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let passed = hold(tx, found.giver.id, found.hold, now)?;
    let back = value(settled, passed.unit_value);
    if passed.purpose != Purpose::Swap || back <= Tenths(0) {
        return Ok(());
    }
    // What came back is as if the taker had given it.
    let posting = Posting::new(found.taker.id, found.giver.id, back, found.hand_over)
        .map_err(StoreError::refuse)?;
    owed::post_claim(tx, found.network, found.id, &posting, now)
}
