//! A farm's answer to a proposal, and what silence comes to.

use chrono::{DateTime, Utc};
use diesel::{ExpressionMethods, QueryDsl, RunQueryDsl};
use spareloop_domain::exchange::{Answer, AnswerAct, ProposalAct, ProposalKind, ProposalState};
use spareloop_domain::words::{FarmId, NetworkId, ProposalId};

use super::agree::{Outcome, agree};
use super::{Proposal, Viewer, id_of, lock, proposal, set_state, told};
use crate::schema::{proposal_farms, proposals};
use crate::text::{moment, read};
use crate::{Missing, StoreError, Tx};

/// Most proposals that one run of the job takes.
const A_RUN: i64 = 100;

/// A farm accepts or declines. The last farm of a loop to accept makes all its holds; the first to
/// decline dissolves it. A swap day waits for all answers or for its date.
pub fn answer(
    tx: &mut Tx<'_>,
    network: NetworkId,
    farm: FarmId,
    id: ProposalId,
    act: AnswerAct,
    now: DateTime<Utc>,
) -> Result<Proposal, StoreError> {
    let viewer = Viewer::Farm(farm);
    // Whoever has no part in it must not even lock it.
    proposal(tx, network, viewer, id, now)?;
    lock(tx, network, id)?;
    let found = proposal(tx, network, viewer, id, now)?;
    let next = found.state.after(found.kind.act_of(act)).map_err(StoreError::refuse)?;
    let part = found.part(farm).ok_or(Missing::Proposal)?;
    let answered = part.answer.after(act).map_err(StoreError::refuse)?;
    diesel::update(proposal_farms::table.find((id.to_string(), farm.to_string())))
        .set((
            proposal_farms::answer.eq(answered.code()),
            proposal_farms::answered_at.eq(Some(moment(now))),
        ))
        .execute(tx.connection)?;
    let found = proposal(tx, network, viewer, id, now)?;
    if next == ProposalState::Declined {
        end(tx, &found, next, "one of its farms declined", now)?;
    } else if found.kind == ProposalKind::Loop && all_accepted(&found) {
        let all: Vec<_> = found.lines.iter().map(|line| (line, line.count)).collect();
        if let Outcome::Fell(why) = agree(tx, &found, &all, now)? {
            let fell = found.state.after(ProposalAct::FallByHouse).map_err(StoreError::refuse)?;
            end(tx, &found, fell, &why, now)?;
        }
    }
    proposal(tx, network, viewer, id, now)
}

fn all_accepted(found: &Proposal) -> bool {
    found.farms.iter().all(|part| part.answer == Answer::Accepted)
}

/// Ends a proposal of which nothing comes about, and tells its farms.
pub(super) fn end(
    tx: &mut Tx<'_>,
    found: &Proposal,
    state: ProposalState,
    why: &str,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    set_state(tx, found.id, state, why, now)?;
    told::of_the_end(tx, found, why, now)
}

/// Writes down that loops lapsed whose date has passed; answers how many. Any server may run it: each
/// is locked and looked at again first. Ask again while it answers above 0.
pub fn lapse_due(tx: &mut Tx<'_>, now: DateTime<Utc>) -> Result<usize, StoreError> {
    let due: Vec<(String, String)> = proposals::table
        .filter(proposals::kind.eq(ProposalKind::Loop.code()))
        .filter(proposals::state.eq(ProposalState::Open.code()))
        .filter(proposals::answer_by_at.le(moment(now)))
        .order(proposals::id)
        .limit(A_RUN)
        .select((proposals::network, proposals::id))
        .load(tx.connection)?;
    let mut lapsed = 0;
    for (network, id) in due {
        let (network, id) = (read(&network)?, id_of(&id)?);
        lock(tx, network, id)?;
        if written_state(tx, id)? != ProposalState::Open {
            continue;
        }
        let found = proposal(tx, network, Viewer::Coordinator, id, now)?;
        let state =
            ProposalState::Open.after(ProposalAct::LapseByHouse).map_err(StoreError::refuse)?;
        end(tx, &found, state, "not every farm answered in time", now)?;
        lapsed += 1;
    }
    Ok(lapsed)
}

/// The state as it is written down, its date not looked at.
pub(super) fn written_state(tx: &mut Tx<'_>, id: ProposalId) -> Result<ProposalState, StoreError> {
    let state: String =
        proposals::table.find(id.to_string()).select(proposals::state).first(tx.connection)?;
    read(&state)
}
