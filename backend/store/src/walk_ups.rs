//! What is brought to a swap day without having been planned, and what passes there on the spot.
//!
//! Such stock enters its farm's stock book like any other (on the chain that the server keeps for it) and
//! is an offer until the day is over. What passes on the spot is a hold that begins and is handed over in
//! one transaction; it counts once its taker confirms it. What may not enter: other rules than those for
//! holds that are asked for.

use chrono::{DateTime, Utc};
use diesel::{ExpressionMethods, QueryDsl, RunQueryDsl};
use spareloop_domain::exchange::owed::Tenths;
use spareloop_domain::exchange::{Money, OfferAct, OpenTo, ProposalKind, ProposalState};
use spareloop_domain::ledger::body::Opening;
use spareloop_domain::ledger::draft::check_draft;
use spareloop_domain::ledger::{Book, Draft};
use spareloop_domain::words::{
    Count, EntryId, FarmId, HoldId, Identity, LotId, NetworkId, OfferId, ProposalId, Purpose,
    UnitKind, VarietyName,
};

use crate::hand_overs::{NewHandOver, hand_over, variety_in};
use crate::holds::{AskHold, Hold, Promise, may_ask, promise, settle_overdue, value};
use crate::ledger::{lock_farm, write_house};
use crate::offers::{self, NewOffer, Offer, set_state};
use crate::proposals::{Viewer, proposal};
use crate::schema::walk_ups;
use crate::text::{read, today};
use crate::{Missing, Refused, StoreError, Tx, farm_book, fresh, limits, turns};

/// What is brought.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Brought {
    /// The offer's id, made by the client.
    pub offer: OfferId,
    /// The lot's id, made by the client.
    pub lot: LotId,
    /// The variety; a new one is named in the farm's book.
    pub variety: VarietyName,
    /// What a unit is.
    pub unit: UnitKind,
    /// How many.
    pub count: Count,
}

/// What passes on the spot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OnTheSpot {
    /// The hold's id, made by the client.
    pub hold: HoldId,
    /// The hand-over: its id, how many, the day, the condition.
    pub hand_over: NewHandOver,
    /// Of which offer.
    pub offer: OfferId,
    /// Who takes it.
    pub taker: FarmId,
    /// Swap, gift or sale.
    pub purpose: Purpose,
    /// What the two farms take one unit to be worth; 0 but for a swap.
    pub unit_value: Tenths,
    /// What one unit is sold for, where it is a sale.
    pub unit_price: Option<Money>,
}

/// A farm of the network brings something to a swap day that takes place: it enters its stock book and is
/// offered there.
pub fn bring(
    tx: &mut Tx<'_>,
    (network, farm): (NetworkId, FarmId),
    swap_day: ProposalId,
    new: &Brought,
    now: DateTime<Utc>,
) -> Result<Offer, StoreError> {
    let found = proposal(tx, network, Viewer::Coordinator, swap_day, now)?;
    if found.kind != ProposalKind::SwapDay {
        return Err(Missing::Proposal.into());
    }
    if found.state != ProposalState::Agreed {
        return Err(StoreError::refuse(Refused::NoSwapDayNow));
    }
    lock_farm(tx, farm)?;
    let on = today(now)?;
    let mut book = Book::clone(&*farm_book(tx, farm)?);
    let mut drafts = Vec::new();
    let named = (new.variety.as_str(), Identity::Sure);
    let variety = variety_in(&mut book, &mut drafts, named, on, now)?;
    let body = Opening {
        lot: new.lot,
        variety,
        unit: new.unit,
        count: new.count,
        origin: Some("brought to a swap day".to_owned()),
        label: None,
    };
    let draft = Draft { id: EntryId::new(fresh::uuid(now)?), on, body: body.into() };
    check_draft(&book, &draft, on).map_err(StoreError::refuse)?;
    drafts.push(draft);
    write_house(tx, farm, drafts, now)?;
    let offer = NewOffer {
        id: new.offer,
        lot: new.lot,
        count: new.count,
        smallest_parcel: Count::from(1),
        conditions: "brought to the swap day".to_owned(),
        open_to: OpenTo::Everybody,
    };
    let made = offers::make(tx, network, farm, &offer, now)?;
    diesel::insert_into(walk_ups::table)
        .values((
            walk_ups::offer.eq(made.id.to_string()),
            walk_ups::proposal.eq(swap_day.to_string()),
        ))
        .execute(tx.connection)?;
    Ok(made)
}

/// The offers that were brought to a swap day, by id.
pub fn of(tx: &mut Tx<'_>, swap_day: ProposalId) -> Result<Vec<OfferId>, StoreError> {
    let ids: Vec<String> = walk_ups::table
        .filter(walk_ups::proposal.eq(swap_day.to_string()))
        .order(walk_ups::offer)
        .select(walk_ups::offer)
        .load(tx.connection)?;
    ids.iter().map(|id| read(id)).collect()
}

/// The day is over: what is left of a locked offer goes home again.
pub(crate) fn take_home(
    tx: &mut Tx<'_>,
    network: NetworkId,
    id: OfferId,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let offer = offers::offer(tx, network, id, now)?;
    // One that is withdrawn or closed already stays as it is.
    let Ok(state) = offer.state.after(OfferAct::WithdrawByGiver) else { return Ok(()) };
    set_state(tx, id, state)?;
    turns::close_line(tx, id, state, now)
}

/// The giver hands some of an offer over on the spot, by the rules for holds that are asked for. The taker
/// confirms what it got; nothing is owed before.
pub fn pass(
    tx: &mut Tx<'_>,
    (network, giver): (NetworkId, FarmId),
    new: &OnTheSpot,
    now: DateTime<Utc>,
) -> Result<Hold, StoreError> {
    let before = offers::offer(tx, network, new.offer, now)?;
    if before.farm != giver {
        return Err(StoreError::refuse(Refused::OnlyBy(OfferAct::WithdrawByGiver.by())));
    }
    crate::people::farm(tx, network, new.taker)?;
    let limits = limits::lock_for_giving(tx, giver, new.taker)?;
    let offer = offers::lock(tx, network, new.offer)?;
    let count = new.hand_over.given;
    let asked = AskHold {
        id: new.hold,
        offer: new.offer,
        count,
        want: None,
        purpose: new.purpose,
        unit_value: new.unit_value,
        unit_price: new.unit_price,
        // It is handed over in this transaction.
        lapses_at: now + chrono::TimeDelta::hours(1),
        note: String::new(),
    };
    may_ask(tx, (network, new.taker), &asked, &offer, now)?;
    settle_overdue(tx, &offer, now)?;
    let worth = value(count, new.unit_value);
    limits.check(tx, network, (giver, worth), now)?;
    limits.check(tx, network, (new.taker, Tenths(-worth.0)), now)?;
    let promised = Promise {
        offer: &offer,
        want: None,
        taker: new.taker,
        count,
        id: new.hold,
        purpose: new.purpose,
        unit_value: new.unit_value,
        unit_price: new.unit_price,
        why: "handed over on the spot",
    };
    let hold = promise(tx, &promised, now)?;
    hand_over(tx, giver, hold, &new.hand_over, now)
}
