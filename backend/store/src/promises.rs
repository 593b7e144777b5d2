//! Physics wins: what a ledger's new entries mean for what was promised of the farm's lots.
//!
//! The rule (what is cut, in which order) is `domain`'s; here it is read from rows, written to rows
//! and told to both sides, in the transaction that takes the entries.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use diesel::{ExpressionMethods, QueryDsl, RunQueryDsl};
use spareloop_domain::exchange::cut::{Cut, cut_for_loss};
use spareloop_domain::exchange::{HoldAct, OfferAct};
use spareloop_domain::ledger::book::LotCondition;
use spareloop_domain::words::{Count, FarmId, HoldId, LotId, OfferId};

use crate::holds::{Actor, Counters, add_step, cover_want, hold, keep_rest, lapse_overdue_of};
use crate::offers::{Offer, close_if_gone, lock_offers_of, offered_lots, set_state};
use crate::schema::offers;
use crate::{Missing, StoreError, Tx, cut_rules, farm_book, messages, turns};

/// Why promises are cut.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Because {
    /// Too few are in store.
    Loss,
    /// The giver was asked, and put its own need first.
    OwnNeed,
}

impl Because {
    const fn words(self) -> &'static str {
        match self {
            Self::Loss => "a loss left too few in store",
            Self::OwnNeed => {
                "a loss left too few for the giver's own need, and the offer was provisional"
            }
        }
    }

    /// Why a new hold stands in the place of one that was cut.
    const fn of_the_rest(self) -> &'static str {
        match self {
            Self::Loss => "what a loss left of the hold before",
            Self::OwnNeed => "what the giver's own need left of the hold before",
        }
    }
}

/// Cuts the promises that the farm's stock no longer bears and tells both sides. The farm's row
/// must be locked.
pub(crate) fn settle(tx: &mut Tx<'_>, farm: FarmId, now: DateTime<Utc>) -> Result<(), StoreError> {
    let standing = lock_offers_of(tx, farm)?;
    if standing.is_empty() {
        return Ok(());
    }
    for offer in &standing {
        lapse_overdue_of(tx, offer, now)?;
    }
    let rule = cut_rules::rule(tx, standing[0].network)?;
    let book = farm_book(tx, farm)?;
    let offered = offered_lots(tx, farm, now)?;
    let lots: BTreeSet<LotId> = standing.iter().map(|offer| offer.lot).collect();
    for lot in lots {
        let in_book = book.lots.get(&lot);
        if in_book.is_some_and(|lot| matches!(lot.condition, LotCondition::Stopped(_))) {
            set_aside(tx, &standing, lot, now)?;
        }
        let in_store = in_book.map_or(Count::ZERO, |lot| lot.in_store);
        let cuts = cut_for_loss(in_store, offered.get(&lot).map_or(&[], Vec::as_slice), rule);
        carry_out(tx, &standing, &cuts, Because::Loss, now)?;
    }
    // Only now is it known what is free: what lapsed before may be what was lost.
    for offer in &standing {
        turns::call_next(tx, offer.network, offer.id, now)?;
    }
    Ok(())
}

/// Makes the cuts in a farm's locked offers, and tells both sides.
pub(crate) fn carry_out(
    tx: &mut Tx<'_>,
    standing: &[Offer],
    cuts: &[Cut],
    because: Because,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    // Holds first: what they no longer bind lets the offers' counts go down.
    for cut in cuts {
        if let Cut::Hold { hold, offer, keeps } = cut {
            let giver = standing.iter().find(|one| one.id == *offer).map(|one| one.farm);
            cut_hold(tx, giver.ok_or(Missing::Offer)?, (*hold, *keeps), because, now)?;
        }
    }
    for cut in cuts {
        if let Cut::Offer { offer, from, to } = cut {
            shrink(tx, standing, (*offer, *from, *to), because, now)?;
        }
    }
    Ok(())
}

/// Suspicious growth: open offers of the lot take no more holds.
fn set_aside(
    tx: &mut Tx<'_>,
    standing: &[Offer],
    lot: LotId,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    for offer in standing.iter().filter(|offer| offer.lot == lot) {
        // Only an open one; one that is set aside already was told of before.
        let Ok(state) = offer.state.after(OfferAct::SetAsideByHouse) else { continue };
        set_state(tx, offer.id, state)?;
        let told = format!(
            "Your offer of '{}' (lot {}) is set aside: the lot is stopped for suspicious growth.",
            offer.variety,
            lot.code()
        );
        messages::tell(tx, offer.farm, None, &told, now)?;
    }
    Ok(())
}

fn shrink(
    tx: &mut Tx<'_>,
    standing: &[Offer],
    (id, from, to): (OfferId, Count, Count),
    because: Because,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    diesel::update(offers::table.find(id.to_string()))
        .set(offers::count.eq(i64::from(to)))
        .execute(tx.connection)?;
    close_if_gone(tx, id, now)?;
    let Some(offer) = standing.iter().find(|offer| offer.id == id) else {
        return Ok(());
    };
    let told = format!(
        "Your offer of '{}' (lot {}) went from {from} to {to}: {}.",
        offer.variety,
        offer.lot.code(),
        because.words()
    );
    messages::tell(tx, offer.farm, None, &told, now)
}

/// Ends a hold as cut. If a rest is kept, a new hold stands in its place, in the same state and
/// with the same place in the line.
fn cut_hold(
    tx: &mut Tx<'_>,
    giver: FarmId,
    (id, keeps): (HoldId, Option<Count>),
    because: Because,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let why = because.words();
    let mut cut = hold(tx, giver, id, now)?;
    let before = cut.state;
    let state = before.after(HoldAct::CutByHouse).map_err(StoreError::refuse)?;
    add_step(tx, &mut cut, state, Actor::House, why, now)?;
    let freed = cut.count.less(keeps.unwrap_or_default());
    let (to_taker, to_giver, about) = match keeps {
        Some(rest) => {
            let kept = keep_rest(tx, &cut, before, (rest, because.of_the_rest()), now)?;
            let rest = format!("{rest} remain {before} in its place");
            (rest.clone(), rest, kept)
        }
        None => (
            "look at the spare and short sheet for others".to_owned(),
            "none remain".to_owned(),
            id,
        ),
    };
    Counters::Freed(freed).write(tx, cut.offer, now)?;
    let (count, variety) = (cut.count, &cut.variety);
    let told = format!(
        "Your hold of {count} of '{variety}' from {} was cut, because {why}: {to_taker}.",
        cut.giver.name
    );
    messages::tell(tx, cut.taker.id, Some(about), &told, now)?;
    let told = format!(
        "The hold of {count} of '{variety}' for {} was cut, because {why}: {to_giver}.",
        cut.taker.name
    );
    messages::tell(tx, giver, Some(about), &told, now)?;
    cover_want(tx, &cut, now)
}
