//! What a unit is worth in the caller's network.
//!
//! Reckoning reads every farm's book, so it is done once for a market: the answer is kept until the
//! mark of offers and wants changes, at the latest until the next day.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex, PoisonError};

use chrono::{DateTime, Utc};
use spareloop_api::values::{ValueLine, ValuesView};
use spareloop_domain::chance::Distribution;
use spareloop_domain::ledger::Book;
use spareloop_domain::value::network::{
    OfferedStock, OnBoard, Published, VarietyRecords, WantedUnits, publish, thinned, values_of,
};
use spareloop_domain::words::{Day, FarmId, NetworkId, VarietyName};
use spareloop_store::offers::Offer;
use spareloop_store::wants::Want;
use spareloop_store::{StoreError, Tx, farm_beliefs, farm_book, market, offers, people, wants};

use crate::auth::caller::Member;
use crate::error::ServerError;
use crate::house::House;
use crate::views::stock::{Rules, left_at_planting};

/// Most of each kind that values are reckoned from.
const MOST: u32 = 100_000;
/// The seed of the winters that are drawn. Any would do; one and the same lets everybody check.
const SEED: u64 = 1;
/// Networks whose values are kept.
const MOST_KEPT: usize = 64;

/// The values reckoned last, by network.
#[derive(Debug, Default)]
pub struct KeptValues(Mutex<BTreeMap<NetworkId, Arc<ValuesView>>>);

impl KeptValues {
    fn find(&self, network: NetworkId, mark: &str) -> Option<Arc<ValuesView>> {
        let kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        kept.get(&network).filter(|view| view.mark == mark).cloned()
    }

    fn keep(&self, network: NetworkId, view: Arc<ValuesView>) {
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if kept.len() >= MOST_KEPT {
            kept.pop_first();
        }
        kept.insert(network, view);
    }
}

/// The values of all that is offered or wanted in the caller's network.
pub async fn values(house: &House, member: Member) -> Result<Arc<ValuesView>, ServerError> {
    of_network(house, member.network).await
}

/// The values of all that is offered or wanted in a network.
pub(crate) async fn of_network(
    house: &House,
    network: NetworkId,
) -> Result<Arc<ValuesView>, ServerError> {
    let (now, today) = (house.now(), house.today()?);
    let mark = house.read(move |tx| market::mark(tx, network, today)).await?;
    if let Some(kept) = house.values.find(network, &mark) {
        return Ok(kept);
    }
    let (mark, market) = house
        .read(move |tx| Ok((market::mark(tx, network, today)?, open(tx, network, now, today)?)))
        .await?;
    // Hundreds of winters take a while, and hold no transaction.
    let view = house.off_thread(move |_| Ok(reckon(mark, market.made(today)))).await??;
    let view = Arc::new(view);
    house.values.keep(network, Arc::clone(&view));
    Ok(view)
}

fn reckon(mark: String, market: Published) -> Result<ValuesView, ServerError> {
    let values = values_of(&market).map_err(|error| ServerError::broken(error.to_string()))?;
    let values = values.iter().map(ValueLine::from).collect();
    Ok(ValuesView { mark, market, values })
}

/// What a network's market is made from.
struct Open {
    farms: Vec<OnBoard>,
    offered: Vec<OfferedStock>,
    wanted: Vec<WantedUnits>,
}

impl Open {
    fn made(self, today: Day) -> Published {
        publish(today, SEED, &self.farms, self.offered, self.wanted)
    }
}

fn open(
    tx: &mut Tx<'_>,
    network: NetworkId,
    now: DateTime<Utc>,
    today: Day,
) -> Result<Open, StoreError> {
    let offers = offers::for_swaps(tx, network, MOST, now)?;
    let wants = wants::board(tx, network, None, MOST, now)?;
    let mut on_board: BTreeMap<FarmId, BTreeSet<String>> = BTreeMap::new();
    for offer in &offers {
        on_board.entry(offer.farm).or_default().insert(offer.variety_key.clone());
    }
    for want in &wants {
        let keys = on_board.entry(want.farm).or_default();
        keys.insert(want.variety_key.clone());
        keys.extend(want.instead.iter().map(VarietyName::key));
    }
    let mut open = Open { farms: Vec::new(), offered: Vec::new(), wanted: Vec::new() };
    for farm in people::farms(tx, network)? {
        let book = farm_book(tx, farm.id)?;
        let varieties = on_board.remove(&farm.id).unwrap_or_default();
        open.farms.push(OnBoard { records: VarietyRecords::of(&book), varieties });
        let of_farm: Vec<&Offer> = offers.iter().filter(|offer| offer.farm == farm.id).collect();
        if of_farm.is_empty() {
            continue;
        }
        let rules = Rules::believing(farm_beliefs(tx, farm.id, &book)?);
        let offered = of_farm.into_iter().filter_map(|offer| offered(offer, &book, today, &rules));
        open.offered.extend(offered);
    }
    open.wanted = wants.iter().filter_map(wanted).collect();
    Ok(open)
}

/// What an offer still holds free, and what of it may be left at planting.
fn offered(offer: &Offer, book: &Book, today: Day, rules: &Rules) -> Option<OfferedStock> {
    let lot = book.lots.get(&offer.lot)?;
    let count = offer.free().min(lot.in_store).get();
    if count == 0 {
        return None;
    }
    let left = match left_at_planting(book, lot, today, rules) {
        Some(left) => thinned(lot.in_store.get(), &left, count),
        // Too many to reckon exactly: taken as they are.
        None => Distribution::certain(count as usize),
    };
    Some(OfferedStock { variety: offer.variety.parse().ok()?, unit: offer.unit, count, left })
}

fn wanted(want: &Want) -> Option<WantedUnits> {
    let first: VarietyName = want.variety.parse().ok()?;
    let varieties = std::iter::once(first).chain(want.instead.iter().cloned()).collect();
    Some(WantedUnits { unit: want.unit, count: want.open().get(), varieties })
}
