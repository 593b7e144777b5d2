//! Holds that nobody asked for by hand: those of a proposal that its farms accepted, and what a
//! settlement leaves of them.

use chrono::{DateTime, Utc};
use spareloop_domain::exchange::owed::Tenths;
use spareloop_domain::exchange::{HoldAct, HoldState, Money};
use spareloop_domain::words::{Count, FarmId, HoldId, Purpose, WantId};

use super::ask::{Terms, begun, bind};
use super::{Actor, Counters, Hold, add_step, cover_want, insert};
use crate::offers::Offer;
use crate::{StoreError, Tx, fresh, movement, people, proposals, turns};

/// What two farms agreed to by accepting a proposal.
pub(crate) struct Promise<'a> {
    /// Of which offer, locked.
    pub(crate) offer: &'a Offer,
    /// To which want, if any.
    pub(crate) want: Option<WantId>,
    /// Of which farm.
    pub(crate) taker: FarmId,
    /// How many.
    pub(crate) count: Count,
    /// Under which id.
    pub(crate) id: HoldId,
    /// What for.
    pub(crate) purpose: Purpose,
    /// What one is worth.
    pub(crate) unit_value: Tenths,
    /// What one is sold for, where it is a sale.
    pub(crate) unit_price: Option<Money>,
    /// Why, in words.
    pub(crate) why: &'static str,
}

/// Makes a hold and agrees it at once, since both farms have said yes. The want's cover is the
/// caller's.
pub(crate) fn promise(
    tx: &mut Tx<'_>,
    promised: &Promise<'_>,
    now: DateTime<Utc>,
) -> Result<HoldId, StoreError> {
    let offer = promised.offer;
    let giver = people::farm(tx, offer.network, offer.farm)?;
    let taker = people::farm(tx, offer.network, promised.taker)?;
    bind(tx, offer.network, offer.id, promised.count)?;
    let terms = Terms {
        id: promised.id,
        want: promised.want,
        count: promised.count,
        purpose: promised.purpose,
        unit_value: promised.unit_value,
        unit_price: promised.unit_price,
        // It is agreed in this transaction, and what is agreed does not lapse.
        lapses_at: now,
        note: promised.why,
    };
    let mut hold = begun(offer, (giver, taker), &terms, now);
    insert(tx, &hold)?;
    add_step(tx, &mut hold, HoldState::Held, Actor::House, promised.why, now)?;
    let agreed = HoldState::Held.after(HoldAct::AgreeByGiver).map_err(StoreError::refuse)?;
    add_step(tx, &mut hold, agreed, Actor::House, promised.why, now)?;
    let way = (offer.farm, promised.taker);
    let caution = movement::caution(tx, offer.network, way)?;
    movement::tell(tx, way, hold.id, caution.as_deref(), now)?;
    Ok(hold.id)
}

/// Leaves `keeps` of an agreed hold, as a settlement has it: the hold ends as released, and a new one
/// stands in its place, agreed, with its place in the line. Its offer must be locked.
pub(crate) fn leave(
    tx: &mut Tx<'_>,
    mut hold: Hold,
    keeps: Count,
    why: &str,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    if keeps == hold.count {
        return Ok(());
    }
    let before = hold.state;
    let released = before.after(HoldAct::ReleaseByHouse).map_err(StoreError::refuse)?;
    add_step(tx, &mut hold, released, Actor::House, why, now)?;
    if !keeps.is_zero() {
        keep_rest(tx, &hold, before, (keeps, why), now)?;
    }
    Counters::Freed(hold.count.less(keeps)).write(tx, hold.offer, now)?;
    cover_want(tx, &hold, now)?;
    turns::call_next(tx, hold.network, hold.offer, now)
}

/// Puts a new hold of fewer in the place of one that has ended: in the state that it had, with its place in
/// the line, and in its line of a proposal.
pub(crate) fn keep_rest(
    tx: &mut Tx<'_>,
    ended: &Hold,
    before: HoldState,
    (rest, why): (Count, &str),
    now: DateTime<Utc>,
) -> Result<HoldId, StoreError> {
    let mut kept = Hold {
        id: HoldId::new(fresh::uuid(now)?),
        count: rest,
        cut_from: Some(ended.id),
        hand_over: None,
        steps: Vec::new(),
        step: 0,
        ..ended.clone()
    };
    insert(tx, &kept)?;
    proposals::follow(tx, ended.id, kept.id)?;
    add_step(tx, &mut kept, HoldState::Held, Actor::House, why, now)?;
    if before == HoldState::Agreed {
        add_step(tx, &mut kept, HoldState::Agreed, Actor::House, "agreed before", now)?;
    }
    Ok(kept.id)
}
