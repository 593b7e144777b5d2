//! All holds of a proposal, made and agreed in one transaction, or none.
//!
//! Everything is looked at first and written afterwards: where something is gone, nothing was done yet,
//! and the proposal falls through with the reason.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Utc};
use diesel::{ExpressionMethods, QueryDsl, RunQueryDsl};
use spareloop_domain::exchange::proposal::{Passing, shares};
use spareloop_domain::exchange::{OfferAct, ProposalAct, ProposalKind, ProposalState, WantState};
use spareloop_domain::words::{Count, HoldId, OfferId, Purpose, WantId};

use super::{Line, Proposal, set_state, told};
use crate::holds::{Promise, promise, settle_overdue};
use crate::ledger::lock_farm;
use crate::offers::{self, Offer};
use crate::schema::proposal_lines;
use crate::wants::{self, Want};
use crate::{Refused, StoreError, Tx, attest, fresh, limits, movement};

/// What became of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Outcome {
    /// The holds are made.
    Agreed,
    /// Something was gone; nothing was done.
    Fell(String),
}

/// Makes the holds of the lines given, in so many units each. The proposal must be locked.
pub(super) fn agree(
    tx: &mut Tx<'_>,
    found: &Proposal,
    lines: &[(&Line, Count)],
    now: DateTime<Utc>,
) -> Result<Outcome, StoreError> {
    let farms: BTreeSet<_> = lines.iter().flat_map(|(line, _)| [line.giver, line.taker]).collect();
    for farm in farms {
        lock_farm(tx, farm)?;
    }
    let mut free: BTreeMap<OfferId, Offer> = BTreeMap::new();
    for id in lines.iter().map(|(line, _)| line.offer).collect::<BTreeSet<_>>() {
        let before = offers::lock(tx, found.network, id)?;
        settle_overdue(tx, &before, now)?;
        free.insert(id, offers::offer(tx, found.network, id, now)?);
    }
    let mut open: BTreeMap<WantId, Want> = BTreeMap::new();
    for id in lines.iter().map(|(line, _)| line.want).collect::<BTreeSet<_>>() {
        open.insert(id, wants::lock(tx, found.network, id, now)?);
    }
    if let Some(gone) = gone(tx, (found, lines), &free, &open, now)? {
        return Ok(Outcome::Fell(gone));
    }
    let state = ProposalState::Open.after(ProposalAct::AgreeByHouse).map_err(StoreError::refuse)?;
    let why = match found.kind {
        ProposalKind::Loop => "every farm of a loop accepted",
        ProposalKind::SwapDay => "both farms come to a swap day",
    };
    for (line, count) in lines {
        let hold = promise(
            tx,
            &Promise {
                // All offers of the lines were read just now.
                offer: free.get(&line.offer).ok_or(crate::Missing::Offer)?,
                want: Some(line.want),
                taker: line.taker,
                count: *count,
                id: HoldId::new(fresh::uuid(now)?),
                purpose: Purpose::Swap,
                unit_price: None,
                unit_value: line.unit_value,
                why,
            },
            now,
        )?;
        diesel::update(proposal_lines::table.find((found.id.to_string(), line.number)))
            .set(proposal_lines::hold.eq(Some(hold.to_string())))
            .execute(tx.connection)?;
    }
    for want in open.keys() {
        wants::cover(tx, found.network, *want, now)?;
    }
    set_state(tx, found.id, state, why, now)?;
    told::of_the_holds(tx, found, lines, now)?;
    Ok(Outcome::Agreed)
}

type Lines<'a> = (&'a Proposal, &'a [(&'a Line, Count)]);

/// What is no longer as it was when the round was solved, if anything.
fn gone(
    tx: &mut Tx<'_>,
    (found, lines): Lines<'_>,
    free: &BTreeMap<OfferId, Offer>,
    open: &BTreeMap<WantId, Want>,
    now: DateTime<Utc>,
) -> Result<Option<String>, StoreError> {
    for (id, offer) in free {
        let asked = lines.iter().filter(|(line, _)| line.offer == *id).map(|(_, count)| *count);
        let asked: Count = asked.sum();
        let name = &offer.variety;
        if let Err(refused) = offer.state.after(OfferAct::AskHoldByTaker) {
            return Ok(Some(format!("the offer of '{name}' is {}", refused.state)));
        }
        if offer.free() < asked {
            let free = offer.free();
            return Ok(Some(format!("{asked} of '{name}' are in it and {free} are free by now")));
        }
    }
    for (id, want) in open {
        let filled = lines.iter().filter(|(line, _)| line.want == *id).map(|(_, count)| *count);
        let filled: Count = filled.sum();
        if want.state != WantState::Open || want.open() < filled {
            return Ok(Some(format!("the want of '{}' is met or withdrawn by now", want.variety)));
        }
    }
    for (line, _) in lines {
        let (Some(offer), Some(want)) = (free.get(&line.offer), open.get(&line.want)) else {
            continue;
        };
        let way = (offer.farm, want.farm);
        match movement::check(tx, found.network, way, offer.lot, now) {
            Ok(_) => {}
            Err(StoreError::Refused(why)) => return Ok(Some(why.to_string())),
            Err(other) => return Err(other),
        }
        let of = (offer.farm, offer.lot);
        if !attest::missing_of(tx, found.network, of, &want.required, now)?.is_empty() {
            let name = &offer.variety;
            return Ok(Some(format!(
                "a signed statement about the lot of '{name}' no longer stands"
            )));
        }
    }
    let passing: Vec<Passing> = lines.iter().map(|(line, count)| line.passing(*count)).collect();
    let shares = shares(&passing);
    let limits = limits::of_these(tx, &shares.keys().copied().collect::<Vec<_>>())?;
    for (farm, share) in shares {
        match limits.check(tx, found.network, (farm, share.net()), now) {
            Ok(()) => {}
            Err(StoreError::Refused(Refused::Limit(_))) => {
                let name = found.name(farm);
                return Ok(Some(format!("{name} would get too far from even by now")));
            }
            Err(other) => return Err(other),
        }
    }
    Ok(None)
}
