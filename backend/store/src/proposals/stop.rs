//! An agreed loop of which a parcel does not come: what was not sent yet stops, what was handed over
//! stands and is booked like any other hand-over.
//!
//! A job does it, not the act that broke the loop: that act has locked one farm's offers already, and
//! the loop's others must be locked in the order of ids. What may not enter: swap days, which are
//! settled among those who come.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use diesel::{
    BoolExpressionMethods, ExpressionMethods, JoinOnDsl, NullableExpressionMethods, QueryDsl,
    RunQueryDsl,
};
use spareloop_domain::exchange::{HoldState, ProposalAct, ProposalKind, ProposalState};
use spareloop_domain::words::{Count, HoldId};

use super::answer::written_state;
use super::{Line, Proposal, Viewer, id_of, lock, proposal, set_state, told};
use crate::holds::{self, Hold, leave};
use crate::ledger::lock_farm;
use crate::schema::{hand_overs, hold_now, proposal_lines, proposals, receipts};
use crate::text::read;
use crate::{StoreError, Tx, offers};

/// Most loops that one run of the job takes.
const A_RUN: i64 = 50;

/// Lets the line of a proposal follow its hold, where a new one keeps the place of one that was cut.
pub(crate) fn follow(tx: &mut Tx<'_>, cut: HoldId, kept: HoldId) -> Result<(), StoreError> {
    diesel::update(proposal_lines::table.filter(proposal_lines::hold.eq(cut.to_string())))
        .set(proposal_lines::hold.eq(Some(kept.to_string())))
        .execute(tx.connection)?;
    Ok(())
}

/// Stops agreed loops of which a hold ended without a hand-over, or nothing of a parcel arrived; answers
/// how many. Any server may run it: each is locked and looked at again first. Ask again while it
/// answers above 0.
pub fn stop_broken(tx: &mut Tx<'_>, now: DateTime<Utc>) -> Result<usize, StoreError> {
    let ended = [HoldState::Released, HoldState::Lapsed, HoldState::Cut].map(HoldState::code);
    let broken: Vec<(String, String)> = proposals::table
        .inner_join(proposal_lines::table.on(proposal_lines::proposal.eq(proposals::id)))
        .inner_join(hold_now::table.on(proposal_lines::hold.eq(hold_now::id.nullable())))
        .left_join(hand_overs::table.on(hand_overs::hold.eq(hold_now::id)))
        .left_join(receipts::table.on(receipts::hand_over.nullable().eq(hand_overs::id.nullable())))
        .filter(proposals::kind.eq(ProposalKind::Loop.code()))
        .filter(proposals::state.eq(ProposalState::Agreed.code()))
        .filter(hold_now::state.eq_any(ended).or(receipts::received.assume_not_null().eq(0)))
        .order(proposals::id)
        .select((proposals::network, proposals::id))
        .distinct()
        .limit(A_RUN)
        .load(tx.connection)?;
    let mut stopped = 0;
    for (network, id) in broken {
        let (network, id) = (read(&network)?, id_of(&id)?);
        lock(tx, network, id)?;
        if written_state(tx, id)? != ProposalState::Agreed {
            continue;
        }
        let found = proposal(tx, network, Viewer::Coordinator, id, now)?;
        stop(tx, &found, now)?;
        stopped += 1;
    }
    Ok(stopped)
}

fn stop(tx: &mut Tx<'_>, found: &Proposal, now: DateTime<Utc>) -> Result<(), StoreError> {
    let state =
        ProposalState::Agreed.after(ProposalAct::StopByHouse).map_err(StoreError::refuse)?;
    for farm in found.farms.iter().map(|part| part.farm.id).collect::<BTreeSet<_>>() {
        lock_farm(tx, farm)?;
    }
    for offer in found.lines.iter().map(|line| line.offer).collect::<BTreeSet<_>>() {
        offers::lock(tx, found.network, offer)?;
    }
    let mut passed: Vec<(&Line, Count)> = Vec::new();
    let mut live: Vec<Hold> = Vec::new();
    let mut missing: Vec<String> = Vec::new();
    for line in &found.lines {
        let Some(id) = line.hold else { continue };
        let hold = holds::hold(tx, line.giver, id, now)?;
        passed.extend(hold.hand_over.as_ref().map(|handed| (line, handed.given)));
        if comes_no_more(&hold) {
            missing.push(format!("'{}' from {}", line.variety, hold.giver.name));
        } else if hold.state.is_live() {
            live.push(hold);
        }
    }
    let why = format!("{} does not come", missing.join(", "));
    for hold in live {
        leave(tx, hold, Count::ZERO, &format!("its loop stopped: {why}"), now)?;
    }
    set_state(tx, found.id, state, &why, now)?;
    told::of_the_stop(tx, found, &why, &passed, now)
}

/// Ended without a hand-over, or nothing of it arrived.
fn comes_no_more(hold: &Hold) -> bool {
    let receipt = hold.hand_over.as_ref().map(|handed| handed.receipt.as_ref());
    match receipt {
        Some(receipt) => receipt.is_some_and(|receipt| receipt.received.is_zero()),
        None => !hold.state.is_live(),
    }
}
