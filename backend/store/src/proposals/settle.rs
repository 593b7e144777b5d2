//! A swap day: settled for those who accepted, and once more for those who came.
//!
//! What is kept of each line is reckoned outside of a transaction, since it takes a solver; what it was
//! reckoned from is guarded by the proposal's version. What may not enter: the reckoning.

use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Utc};
use diesel::{BoolExpressionMethods, ExpressionMethods, QueryDsl, RunQueryDsl};
use spareloop_domain::exchange::owed::Tenths;
use spareloop_domain::exchange::round::Rules;
use spareloop_domain::exchange::{Answer, ProposalAct, ProposalKind, ProposalState};
use spareloop_domain::words::{Count, FarmId, NetworkId, OfferId, ProposalId, WantId};

use super::agree::{Outcome, agree};
use super::answer::{end, written_state};
use super::{Line, Proposal, Viewer, id_of, lock, proposal, set_state, told};
use crate::holds::{self, Hold, leave};
use crate::ledger::lock_farm;
use crate::offers;
use crate::schema::{proposal_farms, proposals};
use crate::text::{moment, read};
use crate::{Conflict, Refused, StoreError, Tx, limits, rounds, walk_ups, wants};

/// What a settlement is reckoned from.
#[derive(Debug, Clone, PartialEq)]
pub struct Settling {
    /// The proposal.
    pub proposal: Proposal,
    /// The rules of its round.
    pub rules: Rules,
    /// Where each of its farms would end without the lines below, and its limit.
    pub farms: BTreeMap<FarmId, (Tenths, Tenths)>,
    /// The lines of which something can be kept, between farms that are there.
    pub planned: Vec<Planned>,
}

/// A line of which something can be kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Planned {
    /// Its number.
    pub line: i64,
    /// Who gives.
    pub giver: FarmId,
    /// Who takes.
    pub taker: FarmId,
    /// The most that can be kept.
    pub most: Count,
    /// The least the giver sends.
    pub smallest_parcel: Count,
    /// What one is worth in the swap.
    pub unit_value: Tenths,
    /// What one is worth to the want.
    pub worth: i64,
}

/// Swap days whose farms have all answered, or whose date has passed.
pub fn swap_days_due(
    tx: &mut Tx<'_>,
    now: DateTime<Utc>,
) -> Result<Vec<(NetworkId, ProposalId)>, StoreError> {
    let waiting = proposal_farms::table
        .filter(proposal_farms::answer.eq(Answer::Waiting.code()))
        .select(proposal_farms::proposal);
    let rows: Vec<(String, String)> = proposals::table
        .filter(proposals::kind.eq(ProposalKind::SwapDay.code()))
        .filter(proposals::state.eq(ProposalState::Open.code()))
        .filter(proposals::answer_by_at.le(moment(now)).or(proposals::id.ne_all(waiting)))
        .order(proposals::id)
        .select((proposals::network, proposals::id))
        .load(tx.connection)?;
    rows.iter().map(|(network, id)| Ok((read(network)?, id_of(id)?))).collect()
}

/// Reads what a settlement is reckoned from: while a swap day is open, for the farms that accepted;
/// once its holds are made, for all but those who did not come.
pub fn settling(
    tx: &mut Tx<'_>,
    network: NetworkId,
    id: ProposalId,
    absent: &BTreeSet<FarmId>,
    now: DateTime<Utc>,
) -> Result<Settling, StoreError> {
    let found = proposal(tx, network, Viewer::Coordinator, id, now)?;
    if found.kind != ProposalKind::SwapDay {
        return Err(StoreError::refuse(Refused::NotASwapDay));
    }
    let rules = rounds::round(tx, network, found.round)?.rules;
    let limits = limits::all(tx, network)?;
    let mut farms: BTreeMap<FarmId, (Tenths, Tenths)> = BTreeMap::new();
    for part in &found.farms {
        let ends = limits::standing(tx, network, part.farm.id, now)?.ends();
        let limit = limits.get(&part.farm.id).map_or(rules.usual_limit, |limit| limit.tenths());
        farms.insert(part.farm.id, (ends, limit));
    }
    let planned = match written_state(tx, id)? {
        ProposalState::Open => still_there(tx, &found, now)?,
        _ => still_to_pass(tx, &found, absent, &mut farms, now)?,
    };
    Ok(Settling { proposal: found, rules, farms, planned })
}

/// The lines between farms that accepted, as far as offers and wants still bear them: where one
/// falls short, later lines are cut first.
fn still_there(
    tx: &mut Tx<'_>,
    found: &Proposal,
    now: DateTime<Utc>,
) -> Result<Vec<Planned>, StoreError> {
    let comes = |farm| found.part(farm).is_some_and(|part| part.answer == Answer::Accepted);
    let mut free: BTreeMap<OfferId, Count> = BTreeMap::new();
    let mut open: BTreeMap<WantId, Count> = BTreeMap::new();
    let mut planned = Vec::new();
    for line in found.lines.iter().filter(|line| comes(line.giver) && comes(line.taker)) {
        let free = match free.entry(line.offer) {
            Entry::Occupied(known) => known.into_mut(),
            Entry::Vacant(new) => {
                new.insert(offers::offer(tx, found.network, line.offer, now)?.free())
            }
        };
        let open = match open.entry(line.want) {
            Entry::Occupied(known) => known.into_mut(),
            Entry::Vacant(new) => {
                new.insert(wants::want(tx, found.network, line.want, now)?.open())
            }
        };
        let most = line.count.min(*free).min(*open);
        if most.is_zero() || most < line.smallest_parcel {
            continue;
        }
        (*free, *open) = (free.less(most), open.less(most));
        planned.push(plan(line, most));
    }
    Ok(planned)
}

/// The lines whose holds have not been handed over; what they promise is taken out of how the farms
/// stand, also where one of the two did not come.
fn still_to_pass(
    tx: &mut Tx<'_>,
    found: &Proposal,
    absent: &BTreeSet<FarmId>,
    farms: &mut BTreeMap<FarmId, (Tenths, Tenths)>,
    now: DateTime<Utc>,
) -> Result<Vec<Planned>, StoreError> {
    let mut planned = Vec::new();
    for (line, hold) in live_holds(tx, found, now)? {
        let value = line.passing(hold.count).value().0;
        for (farm, value) in [(line.giver, value), (line.taker, -value)] {
            if let Some((owed, _)) = farms.get_mut(&farm) {
                owed.0 -= value;
            }
        }
        if !absent.contains(&line.giver) && !absent.contains(&line.taker) {
            planned.push(plan(line, hold.count));
        }
    }
    Ok(planned)
}

const fn plan(line: &Line, most: Count) -> Planned {
    Planned {
        line: line.number,
        giver: line.giver,
        taker: line.taker,
        most,
        smallest_parcel: line.smallest_parcel,
        unit_value: line.unit_value,
        worth: line.worth,
    }
}

fn live_holds<'a>(
    tx: &mut Tx<'_>,
    found: &'a Proposal,
    now: DateTime<Utc>,
) -> Result<Vec<(&'a Line, Hold)>, StoreError> {
    let mut live = Vec::new();
    for line in &found.lines {
        let Some(id) = line.hold else { continue };
        let hold = holds::hold(tx, line.giver, id, now)?;
        if hold.state.is_live() {
            live.push((line, hold));
        }
    }
    Ok(live)
}

/// Makes the holds of a swap day for those who accepted, as far as they are kept.
pub fn settle(
    tx: &mut Tx<'_>,
    of: &Settling,
    kept: &BTreeMap<i64, Count>,
    now: DateTime<Utc>,
) -> Result<Proposal, StoreError> {
    let found = unchanged(tx, of, now)?;
    if written_state(tx, found.id)? != ProposalState::Open {
        return Err(Conflict::ActedMeanwhile.into());
    }
    let lines: Vec<(&Line, Count)> = found
        .lines
        .iter()
        .filter_map(|line| Some((line, *kept.get(&line.number)?)))
        .filter(|(_, count)| !count.is_zero())
        .collect();
    let ended = |act| ProposalState::Open.after(act).map_err(StoreError::refuse);
    if lines.is_empty() {
        let state = ended(ProposalAct::LapseByHouse)?;
        end(tx, &found, state, "too few of its farms come", now)?;
    } else if let Outcome::Fell(why) = agree(tx, &found, &lines, now)? {
        let state = ended(ProposalAct::FallByHouse)?;
        end(tx, &found, state, &why, now)?;
    }
    proposal(tx, found.network, Viewer::Coordinator, found.id, now)
}

/// Ends a swap day: what is not kept of its holds is released, what was handed over stays.
pub fn close(
    tx: &mut Tx<'_>,
    of: &Settling,
    absent: &BTreeSet<FarmId>,
    kept: &BTreeMap<i64, Count>,
    now: DateTime<Utc>,
) -> Result<Proposal, StoreError> {
    let found = unchanged(tx, of, now)?;
    let state = written_state(tx, found.id)?
        .after(ProposalAct::SettleByCoordinator)
        .map_err(StoreError::refuse)?;
    for farm in found.farms.iter().map(|part| part.farm.id).collect::<BTreeSet<_>>() {
        lock_farm(tx, farm)?;
    }
    let brought = walk_ups::of(tx, found.id)?;
    let planned = found.lines.iter().map(|line| line.offer);
    for offer in planned.chain(brought.iter().copied()).collect::<BTreeSet<_>>() {
        offers::lock(tx, found.network, offer)?;
    }
    let names: Vec<&str> = absent.iter().map(|farm| found.name(*farm)).collect();
    let why = if names.is_empty() {
        "the swap day was settled: every farm came".to_owned()
    } else {
        format!("the swap day was settled without {}", names.join(", "))
    };
    let mut left = Vec::new();
    for (line, hold) in live_holds(tx, &found, now)? {
        let keeps = kept.get(&line.number).copied().unwrap_or(Count::ZERO);
        if keeps > hold.count {
            return Err(Conflict::ActedMeanwhile.into());
        }
        leave(tx, hold, keeps, &why, now)?;
        if !keeps.is_zero() {
            left.push((line, keeps));
        }
    }
    for offer in brought {
        walk_ups::take_home(tx, found.network, offer, now)?;
    }
    set_state(tx, found.id, state, &why, now)?;
    told::of_the_settlement(tx, &found, &left, now)?;
    proposal(tx, found.network, Viewer::Coordinator, found.id, now)
}

/// The proposal, locked, if nobody has acted on it since the settlement was read.
fn unchanged(tx: &mut Tx<'_>, of: &Settling, now: DateTime<Utc>) -> Result<Proposal, StoreError> {
    let version = lock(tx, of.proposal.network, of.proposal.id)?;
    if version != of.proposal.version + 1 {
        return Err(Conflict::ActedMeanwhile.into());
    }
    proposal(tx, of.proposal.network, Viewer::Coordinator, of.proposal.id, now)
}
