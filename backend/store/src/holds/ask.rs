//! Asking for a hold: first come, first held.

use chrono::{DateTime, Utc};
use diesel::{ExpressionMethods, QueryDsl, RunQueryDsl};
use spareloop_domain::exchange::distance::Reach;
use spareloop_domain::exchange::owed::Tenths;
use spareloop_domain::exchange::starter::is_beginner;
use spareloop_domain::exchange::{
    GreatestDistance, HoldState, Money, OfferAct, OfferState, OpenTo, WantState,
};
use spareloop_domain::ledger::draft::check_passing_on;
use spareloop_domain::words::{Count, FarmId, HoldId, NetworkId, OfferId, Purpose, WantId};

use super::step::cover_want;
use super::{Actor, Hold, add_step, insert, lapse_overdue_of};
use crate::kept::Kept;
use crate::offers::{self, Offer};
use crate::people::Farm;
use crate::schema::offers as offers_table;
use crate::text::{free, moment, today};
use crate::{
    Conflict, Missing, Named, Refused, StoreError, Tx, attest, farm_book, hand_overs, limits,
    messages, movement, people, planted, turns, wants, whereabouts,
};

/// The most that a unit can be worth, as the owed book has it.
const LARGEST_VALUE: Tenths = Tenths(1_000_000);

/// A hold about to be asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AskHold {
    /// Its id, made by the client.
    pub id: HoldId,
    /// Of which offer.
    pub offer: OfferId,
    /// How many.
    pub count: Count,
    /// The want it is for, if any.
    pub want: Option<WantId>,
    /// Swap, gift or sale.
    pub purpose: Purpose,
    /// What the two farms take one unit to be worth; 0 but for a swap.
    pub unit_value: Tenths,
    /// What one unit is sold for, where it is a sale.
    pub unit_price: Option<Money>,
    /// When it lapses if nobody acts.
    pub lapses_at: DateTime<Utc>,
    /// A line to the giver.
    pub note: String,
}

impl AskHold {
    fn check(&self, now: DateTime<Utc>) -> Result<(), Refused> {
        match self.purpose {
            Purpose::Swap if !(Tenths(0)..=LARGEST_VALUE).contains(&self.unit_value) => {
                return Err(Refused::UnitValue(self.unit_value));
            }
            Purpose::Gift if self.unit_value != Tenths(0) => return Err(Refused::GiftWithValue),
            Purpose::Sale if self.unit_price.is_none() || self.unit_value != Tenths(0) => {
                return Err(Refused::SaleWithoutPrice);
            }
            Purpose::Swap | Purpose::Gift if self.unit_price.is_some() => {
                return Err(Refused::PriceWithoutSale);
            }
            Purpose::Swap | Purpose::Gift | Purpose::Sale => {}
            Purpose::Club | Purpose::Return => {
                return Err(Refused::NotForHolds(self.purpose));
            }
        }
        if self.count.is_zero() {
            return Err(Refused::Nothing { what: "the count asked for" });
        }
        if self.lapses_at <= now {
            return Err(Refused::LapsesAtOnce);
        }
        Ok(())
    }
}

/// Holds a count of an offer of the network for the taker, if as many are free.
pub fn ask(
    tx: &mut Tx<'_>,
    network: NetworkId,
    taker: FarmId,
    asked: &AskHold,
    now: DateTime<Utc>,
) -> Result<Hold, StoreError> {
    let note = free(&asked.note, "the note")?;
    let giver = offers::offer(tx, network, asked.offer, now)?.farm;
    let limits = limits::lock_bounded(tx, &[giver, taker])?;
    let offer = if planted::reads_then_writes() {
        offers::offer(tx, network, asked.offer, now)?
    } else {
        offers::lock(tx, network, asked.offer)?
    };
    let caution = may_ask(tx, (network, taker), asked, &offer, now)?;
    settle_overdue(tx, &offer, now)?;
    let value = value(asked.count, asked.unit_value);
    limits.check(tx, network, (offer.farm, value), now)?;
    limits.check(tx, network, (taker, Tenths(-value.0)), now)?;
    let why = ("asked for", caution.as_deref());
    let asked = AskHold { note: note.to_owned(), ..asked.clone() };
    hold_for(tx, (network, taker), &asked, offer, why, now)
}

/// Whether a farm may ask for that much of a locked offer, but for how many are free; answers what both
/// farms are told of the way between their regions, if anything.
pub(crate) fn may_ask(
    tx: &mut Tx<'_>,
    (network, taker): (NetworkId, FarmId),
    asked: &AskHold,
    offer: &Offer,
    now: DateTime<Utc>,
) -> Result<Option<String>, StoreError> {
    asked.check(now).map_err(StoreError::refuse)?;
    if offer.farm == taker {
        return Err(StoreError::refuse(Refused::OwnOffer));
    }
    offer.state.after(OfferAct::AskHoldByTaker).map_err(StoreError::refuse)?;
    if offer.open_to == OpenTo::Beginners {
        check_starter(tx, (network, taker), asked.purpose, now)?;
    }
    if asked.purpose == Purpose::Sale {
        // What may be swapped need not be free to be sold.
        let book = farm_book(tx, offer.farm)?;
        check_passing_on(&book, offer.lot, Purpose::Sale, today(now)?)
            .map_err(StoreError::refuse)?;
    }
    if asked.count < offer.smallest_parcel {
        let (asked, smallest) = (asked.count, offer.smallest_parcel);
        return Err(StoreError::refuse(Refused::BelowSmallestParcel { asked, smallest }));
    }
    check_want(tx, network, taker, asked, offer, now)?;
    movement::check(tx, network, (offer.farm, taker), offer.lot, now)
}

fn check_starter(
    tx: &mut Tx<'_>,
    (network, taker): (NetworkId, FarmId),
    purpose: Purpose,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    if purpose != Purpose::Gift {
        return Err(StoreError::refuse(Refused::OnlyAsAGift));
    }
    let joined = today(people::joined_at(tx, network, taker)?)?;
    let handed_over = hand_overs::handed_over_by(tx, taker)?;
    if is_beginner(joined, today(now)?, handed_over) {
        Ok(())
    } else {
        Err(StoreError::refuse(Refused::NotABeginner))
    }
}

/// Writes down which holds of a locked offer have lapsed, and holds what that frees for those in line.
pub(crate) fn settle_overdue(
    tx: &mut Tx<'_>,
    offer: &Offer,
    now: DateTime<Utc>,
) -> Result<usize, StoreError> {
    let lapsed = lapse_overdue_of(tx, offer, now)?;
    if lapsed > 0 {
        turns::call_next(tx, offer.network, offer.id, now)?;
    }
    Ok(lapsed)
}

/// Holds so many of a locked offer for a farm that may ask for them.
pub(crate) fn hold_for(
    tx: &mut Tx<'_>,
    (network, taker): (NetworkId, FarmId),
    asked: &AskHold,
    offer: Offer,
    (why, caution): (&str, Option<&str>),
    now: DateTime<Utc>,
) -> Result<Hold, StoreError> {
    let note = asked.note.as_str();
    let giver = people::farm(tx, network, offer.farm)?;
    let taker = people::farm(tx, network, taker)?;
    if planted::reads_then_writes() {
        bind_unguarded(tx, &offer, asked.count)?;
    } else {
        bind(tx, network, asked.offer, asked.count)?;
    }
    let terms = Terms {
        id: asked.id,
        want: asked.want,
        count: asked.count,
        purpose: asked.purpose,
        unit_value: asked.unit_value,
        unit_price: asked.unit_price,
        lapses_at: asked.lapses_at,
        note,
    };
    let mut hold = begun(&offer, (giver, taker), &terms, now);
    insert(tx, &hold)?;
    let actor = Actor::Farm(hold.taker.id);
    add_step(tx, &mut hold, HoldState::Held, actor, why, now)?;
    let line = if note.is_empty() { String::new() } else { format!(" They write: {note}") };
    let told = format!(
        "{} asks you to hold {} of '{}' until {}.{line}",
        hold.taker.name,
        hold.count,
        hold.variety,
        hold.lapses_at.format("%Y-%m-%d %H:%M UTC"),
    );
    messages::tell(tx, hold.giver.id, Some(hold.id), &told, now)?;
    movement::tell(tx, (hold.giver.id, hold.taker.id), hold.id, caution, now)?;
    cover_want(tx, &hold, now)?;
    Ok(hold)
}

/// What so many units are worth: at most 10^6 of at most 10^6 tenths each.
pub(crate) fn value(count: Count, unit_value: Tenths) -> Tenths {
    Tenths(i64::from(count) * unit_value.0)
}

/// The terms on which a hold begins.
pub(super) struct Terms<'a> {
    pub(super) id: HoldId,
    pub(super) want: Option<WantId>,
    pub(super) count: Count,
    pub(super) purpose: Purpose,
    pub(super) unit_value: Tenths,
    pub(super) unit_price: Option<Money>,
    pub(super) lapses_at: DateTime<Utc>,
    pub(super) note: &'a str,
}

/// A hold as it begins, before anything of it is written.
pub(super) fn begun(
    offer: &Offer,
    (giver, taker): (Farm, Farm),
    terms: &Terms<'_>,
    now: DateTime<Utc>,
) -> Hold {
    Hold {
        id: terms.id,
        network: offer.network,
        offer: offer.id,
        want: terms.want,
        giver: Named { id: giver.id, name: giver.name },
        taker: Named { id: taker.id, name: taker.name },
        lot: offer.lot,
        variety: offer.variety.clone(),
        identity: offer.identity,
        unit: offer.unit,
        count: terms.count,
        purpose: terms.purpose,
        unit_value: terms.unit_value,
        unit_price: terms.unit_price,
        state: HoldState::Held,
        asked_at: moment(now).and_utc(),
        lapses_at: moment(terms.lapses_at).and_utc(),
        note: terms.note.to_owned(),
        cut_from: None,
        hand_over: None,
        steps: Vec::new(),
        step: 0,
    }
}

fn check_want(
    tx: &mut Tx<'_>,
    network: NetworkId,
    taker: FarmId,
    asked: &AskHold,
    offer: &Offer,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let Some(id) = asked.want else {
        return Ok(());
    };
    let want = wants::want(tx, network, id, now)?;
    if want.farm != taker {
        return Err(Missing::Want.into());
    }
    if want.state == WantState::Withdrawn {
        return Err(StoreError::refuse(Refused::WantWithdrawn));
    }
    if !want.takes(&offer.variety) {
        let (wanted, offered) = (want.variety, offer.variety.clone());
        return Err(StoreError::refuse(Refused::NotWanted { wanted, offered }));
    }
    if want.unit != offer.unit {
        let (wanted, offered) = (want.unit, offer.unit);
        return Err(StoreError::refuse(Refused::OtherUnit { wanted, offered }));
    }
    check_distance(tx, (offer.farm, taker), want.within)?;
    let missing = attest::missing_of(tx, network, (offer.farm, offer.lot), &want.required, now)?;
    if missing.is_empty() {
        Ok(())
    } else {
        Err(StoreError::refuse(Refused::StatementsMissing { missing }))
    }
}

/// Where a distance is not known, people who talk to each other may go on.
fn check_distance(
    tx: &mut Tx<'_>,
    (giver, taker): (FarmId, FarmId),
    within: Option<GreatestDistance>,
) -> Result<(), StoreError> {
    let Some(within) = within else { return Ok(()) };
    match whereabouts::of_two(tx, (giver, taker))?.reach(giver, taker, Some(within)) {
        Reach::Within | Reach::NotKnown => Ok(()),
        Reach::Beyond(far) => Err(StoreError::refuse(Refused::TooFar { far, within })),
    }
}

/// Takes the count out of what is free. One guarded statement and a CHECK, so that nothing is ever
/// promised twice, whatever the order in which others write.
pub(super) fn bind(
    tx: &mut Tx<'_>,
    network: NetworkId,
    offer: OfferId,
    asked: Count,
) -> Result<(), StoreError> {
    let wanted = i64::from(asked);
    let binding = diesel::update(
        offers_table::table
            .filter(offers_table::id.eq(offer.to_string()))
            .filter(offers_table::network.eq(network.to_string()))
            .filter(offers_table::state.eq(OfferState::Open.code()))
            .filter((offers_table::count - offers_table::held - offers_table::passed).ge(wanted)),
    )
    .set(offers_table::held.eq(offers_table::held + wanted));
    if Kept(binding).execute(tx.connection)? == 1 {
        return Ok(());
    }
    let free: i64 = offers_table::table
        .find(offer.to_string())
        .select(offers_table::count - offers_table::held - offers_table::passed)
        .first(tx.connection)?;
    let free = crate::text::count(free)?;
    Err(Conflict::NotEnoughFree { asked, free }.into())
}

/// The mistake that the history checker must find: what was read is written back, less the count,
/// whatever others wrote meanwhile. Never in a shipped build.
fn bind_unguarded(tx: &mut Tx<'_>, offer: &Offer, asked: Count) -> Result<(), StoreError> {
    let free = offer.free();
    if asked > free {
        return Err(Conflict::NotEnoughFree { asked, free }.into());
    }
    diesel::update(offers_table::table.find(offer.id.to_string()))
        .set(offers_table::held.eq(i64::from(offer.held) + i64::from(asked)))
        .execute(tx.connection)?;
    Ok(())
}
