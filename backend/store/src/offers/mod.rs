//! Offers: published spare of one lot.
//!
//! `count` is what is offered in all, `held` what living holds bind, `passed` what was handed over;
//! the rest is free. A hold whose time has passed binds nothing, whether or not its lapse is
//! written down, so every read takes the time.

mod row;

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use diesel::dsl::{count_star, sql};
use diesel::sql_types::BigInt;
use diesel::{ExpressionMethods, OptionalExtension, QueryDsl, RunQueryDsl};
use spareloop_domain::exchange::cut::promised;
use spareloop_domain::exchange::{OfferAct, OfferState, OpenTo};
use spareloop_domain::ledger::draft::check_passing_on;
use spareloop_domain::words::{
    Count, FarmId, Identity, LotId, NetworkId, OfferId, Purpose, UnitKind, VarietyName,
};

pub(crate) use row::{close_if_gone, lock, lock_offers_of, offered_lots, set_state};

use crate::error::taken;
use crate::ledger::lock_farm;
use crate::schema::offers;
use crate::text::{free, moment, today};
use crate::{Conflict, Missing, Refused, StoreError, Taken, Tx, farm_book, people, turns};
use row::{COLUMNS, OfferRow, overdue};

/// An offer about to be made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewOffer {
    /// Its id, made by the client.
    pub id: OfferId,
    /// The lot, in the farm's synced ledger.
    pub lot: LotId,
    /// How many.
    pub count: Count,
    /// The least to send.
    pub smallest_parcel: Count,
    /// In words; may be empty.
    pub conditions: String,
    /// For whom.
    pub open_to: OpenTo,
}

/// An offer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Offer {
    /// Its id.
    pub id: OfferId,
    /// Its network.
    pub network: NetworkId,
    /// Whose.
    pub farm: FarmId,
    /// The lot.
    pub lot: LotId,
    /// The variety's name as its grower spells it.
    pub variety: String,
    /// The key on which the name is matched.
    pub variety_key: String,
    /// Whether the name is sure.
    pub identity: Identity,
    /// What a unit is.
    pub unit: UnitKind,
    /// What is offered in all.
    pub count: Count,
    /// What living holds bind.
    pub held: Count,
    /// What was handed over.
    pub passed: Count,
    /// The least to send.
    pub smallest_parcel: Count,
    /// In words.
    pub conditions: String,
    /// How it stands.
    pub state: OfferState,
    /// When it was published.
    pub made_at: DateTime<Utc>,
    /// Rises with every act.
    pub version: i64,
    /// For whom.
    pub open_to: OpenTo,
}

impl Offer {
    /// Neither held nor handed over.
    pub const fn free(&self) -> Count {
        self.count.less(self.held).less(self.passed)
    }
}

/// Publishes spare, if the stock book bears it: the lot is there and may be passed on, and what is
/// promised of it already leaves as many in store.
pub fn make(
    tx: &mut Tx<'_>,
    network: NetworkId,
    farm: FarmId,
    new: &NewOffer,
    now: DateTime<Utc>,
) -> Result<Offer, StoreError> {
    if new.count.is_zero() {
        return Err(StoreError::refuse(Refused::Nothing { what: "the count offered" }));
    }
    let smallest = new.smallest_parcel.max(Count::from(1));
    if smallest > new.count {
        return Err(StoreError::refuse(Refused::SmallestAboveCount { smallest, count: new.count }));
    }
    let conditions = free(&new.conditions, "the conditions")?;
    people::farm(tx, network, farm)?;
    lock_farm(tx, farm)?;
    let book = farm_book(tx, farm)?;
    let lot = book.lots.get(&new.lot).ok_or(Missing::Lot)?;
    let card = book.varieties.get(&lot.variety).ok_or(Missing::Lot)?;
    check_passing_on(&book, new.lot, Purpose::Swap, today(now)?).map_err(StoreError::refuse)?;
    let of_lot = offered_lots(tx, farm, now)?.remove(&new.lot).unwrap_or_default();
    let left = lot.in_store.less(promised(&of_lot));
    if left < new.count {
        return Err(Conflict::NotEnoughFree { asked: new.count, free: left }.into());
    }
    diesel::insert_into(offers::table)
        .values((
            offers::id.eq(new.id.to_string()),
            offers::network.eq(network.to_string()),
            offers::farm.eq(farm.to_string()),
            offers::lot.eq(new.lot.to_string()),
            offers::variety.eq(card.name.as_str()),
            offers::variety_key.eq(card.name.key()),
            offers::identity.eq(card.identity.code()),
            offers::unit.eq(lot.unit.code()),
            offers::count.eq(i64::from(new.count)),
            offers::smallest_parcel.eq(i64::from(smallest)),
            offers::conditions.eq(conditions),
            offers::state.eq(OfferState::Open.code()),
            offers::made_at.eq(moment(now)),
            offers::open_to.eq(new.open_to.code()),
        ))
        .execute(tx.connection)
        .map_err(taken(Taken::Offer))?;
    offer(tx, network, new.id, now)
}

/// Takes an offer of the farm back; holds that stand are kept.
pub fn withdraw(
    tx: &mut Tx<'_>,
    network: NetworkId,
    farm: FarmId,
    id: OfferId,
    now: DateTime<Utc>,
) -> Result<Offer, StoreError> {
    let locked = lock(tx, network, id)?;
    if locked.farm != farm {
        return Err(StoreError::refuse(Refused::OnlyBy(OfferAct::WithdrawByGiver.by())));
    }
    let state = locked.state.after(OfferAct::WithdrawByGiver).map_err(StoreError::refuse)?;
    set_state(tx, id, state)?;
    turns::close_line(tx, id, state, now)?;
    offer(tx, network, id, now)
}

/// One offer of the network.
pub fn offer(
    tx: &mut Tx<'_>,
    network: NetworkId,
    id: OfferId,
    now: DateTime<Utc>,
) -> Result<Offer, StoreError> {
    let row: Option<OfferRow> = offers::table
        .filter(offers::network.eq(network.to_string()))
        .filter(offers::id.eq(id.to_string()))
        .select(COLUMNS)
        .first(tx.connection)
        .optional()?;
    let found = Offer::try_from(row.ok_or(Missing::Offer)?)?;
    Ok(as_of(tx, vec![found], now)?.remove(0))
}

/// The network's open offers, by id, after `after` if it is given; at most `limit`.
pub fn board(
    tx: &mut Tx<'_>,
    network: NetworkId,
    after: Option<OfferId>,
    limit: u32,
    now: DateTime<Utc>,
) -> Result<Vec<Offer>, StoreError> {
    board_of(tx, network, &Sought::default(), after, limit, now)
}

/// What is sought on the sheet; everything unless told.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Sought {
    /// Of this variety, by its folded name.
    pub variety: Option<VarietyName>,
    /// Of this unit kind.
    pub unit: Option<UnitKind>,
}

/// The same, of what is sought. An index leads to each, however long the sheet is.
pub fn board_of(
    tx: &mut Tx<'_>,
    network: NetworkId,
    sought: &Sought,
    after: Option<OfferId>,
    limit: u32,
    now: DateTime<Utc>,
) -> Result<Vec<Offer>, StoreError> {
    let mut query = offers::table
        .filter(offers::network.eq(network.to_string()))
        .filter(offers::state.eq(OfferState::Open.code()))
        .order(offers::id)
        .limit(i64::from(limit))
        .select(COLUMNS)
        .into_boxed();
    if let Some(after) = after {
        query = query.filter(offers::id.gt(after.to_string()));
    }
    if let Some(variety) = &sought.variety {
        query = query.filter(offers::variety_key.eq(variety.key()));
    }
    if let Some(unit) = sought.unit {
        query = query.filter(offers::unit.eq(unit.code()));
    }
    let rows: Vec<OfferRow> = query.load(tx.connection)?;
    let found = rows.into_iter().map(Offer::try_from).collect::<Result<_, _>>()?;
    as_of(tx, found, now)
}

/// Sums over the network's open offers, one of which differs whenever an offer does.
pub(crate) fn sums(tx: &mut Tx<'_>, network: NetworkId) -> Result<[i64; 5], StoreError> {
    let of = |column: &str| sql::<BigInt>(&format!("coalesce(cast(sum({column}) AS bigint), 0)"));
    let (number, version, count, held, passed): (i64, i64, i64, i64, i64) = offers::table
        .filter(offers::network.eq(network.to_string()))
        .filter(offers::state.eq(OfferState::Open.code()))
        .select((count_star(), of("version"), of("count"), of("held"), of("passed")))
        .first(tx.connection)?;
    Ok([number, version, count, held, passed])
}

/// The farm's own offers in every state, by id, after `after` if it is given; at most `limit`.
pub fn of_farm(
    tx: &mut Tx<'_>,
    farm: FarmId,
    after: Option<OfferId>,
    limit: u32,
    now: DateTime<Utc>,
) -> Result<Vec<Offer>, StoreError> {
    let mut query = offers::table
        .filter(offers::farm.eq(farm.to_string()))
        .order(offers::id)
        .limit(i64::from(limit))
        .select(COLUMNS)
        .into_boxed();
    if let Some(after) = after {
        query = query.filter(offers::id.gt(after.to_string()));
    }
    let rows: Vec<OfferRow> = query.load(tx.connection)?;
    let found = rows.into_iter().map(Offer::try_from).collect::<Result<_, _>>()?;
    as_of(tx, found, now)
}

/// The same without what is for beginners alone: what rounds, matches and values go by.
pub fn for_swaps(
    tx: &mut Tx<'_>,
    network: NetworkId,
    limit: u32,
    now: DateTime<Utc>,
) -> Result<Vec<Offer>, StoreError> {
    let mut found = board(tx, network, None, limit, now)?;
    found.retain(|offer| offer.open_to == OpenTo::Everybody);
    Ok(found)
}

/// Takes what overdue holds bound out of `held`.
fn as_of(
    tx: &mut Tx<'_>,
    mut found: Vec<Offer>,
    now: DateTime<Utc>,
) -> Result<Vec<Offer>, StoreError> {
    for offer in &mut found {
        if !offer.held.is_zero() {
            offer.held = offer.held.less(overdue(tx, offer.id, now)?);
        }
    }
    Ok(found)
}

/// What is promised of each of the farm's lots: what open offers leave free, and living holds.
pub fn promised_by_lot(
    tx: &mut Tx<'_>,
    farm: FarmId,
    now: DateTime<Utc>,
) -> Result<BTreeMap<LotId, Count>, StoreError> {
    let lots = offered_lots(tx, farm, now)?;
    Ok(lots.into_iter().map(|(lot, offers)| (lot, promised(&offers))).collect())
}
