//! Two farms of one network between which things are offered, held and handed over.

use spareloop_domain::exchange::Arrival;
use spareloop_domain::words::{FarmId, HandOverId, HoldId, LotId, OfferId, WantId};
use spareloop_store::hand_overs::{NewHandOver, NewReceipt};
use spareloop_store::holds::{self, Hold};
use spareloop_store::offers::{self, Offer};
use spareloop_store::wants::{self, NewWant, Want};
use spareloop_store::{Refused, StoreError, messages};

use super::{Farm, House, Network, day, farm, id, later, lot, n, new_want, now};

pub struct Fair {
    pub network: Network,
    pub giver: Farm,
    pub taker: Farm,
    pub lot: LotId,
}

/// Two farms; the giver has 40 divisions of one variety in store.
pub fn fair(house: &House) -> Fair {
    fair_of(house, "")
}

/// The same, as one of several of a house's network: names end in `mark`.
pub fn fair_of(house: &House, mark: &str) -> Fair {
    let network = house.network();
    let mut giver = farm(house, &network, &format!("Larkhusk{mark}"));
    let taker = farm(house, &network, &format!("Marrowby{mark}"));
    let lot = lot(house, &mut giver, "Ember Lantern", 40);
    Fair { network, giver, taker, lot }
}

pub fn seen(house: &House, farm: &Farm, id: OfferId, at: i64) -> Offer {
    house.read(|tx| offers::offer(tx, farm.network, id, later(at)))
}

pub fn hold_of(house: &House, farm: &Farm, id: HoldId) -> Hold {
    house.read(|tx| holds::hold(tx, farm.id, id, later(1)))
}

pub fn agree(house: &House, giver: &Farm, id: HoldId) -> Hold {
    house.write(|tx| holds::agree(tx, giver.id, id, "", later(1)))
}

pub fn giving(given: u16) -> NewHandOver {
    NewHandOver {
        id: HandOverId::new(id()),
        given: n(given),
        on: day("2026-01-10"),
        condition: "firm".to_owned(),
    }
}

pub fn receiving(received: u16) -> NewReceipt {
    NewReceipt {
        received: n(received),
        on: day("2026-01-10"),
        condition: String::new(),
        arrival: Arrival::Arrived,
    }
}

pub fn told(house: &House, farm: FarmId) -> Vec<String> {
    let all = house.read(|tx| messages::list(tx, farm, None, 100));
    all.into_iter().map(|message| message.text).collect()
}

pub fn refused<T>(why: impl Into<Refused>) -> Result<T, StoreError> {
    Err(StoreError::Refused(why.into()))
}

pub fn want(house: &House, farm: &Farm, count: u16) -> WantId {
    let new = NewWant {
        instead: vec!["Dusk Ferry".parse().unwrap()],
        needed_by: Some(day("2026-05-01")),
        ..new_want("Ember Lantern", count)
    };
    house.write(|tx| wants::make(tx, farm.network, farm.id, &new, now()));
    new.id
}

pub fn seen_want(house: &House, farm: &Farm, id: WantId) -> Want {
    house.read(|tx| wants::want(tx, farm.network, id, later(1)))
}
