//! What the store's tests share: a store on either database, and farms with devices.
//!
//! PostgreSQL is a throw-away cluster that `tests/postgres.sh start` makes; its address comes in
//! `SPARELOOP_TEST_POSTGRES`. Without it the tests fail: they never pass it over.
#![allow(dead_code, unreachable_pub, clippy::unwrap_used, clippy::expect_used)]

pub mod fair;
pub mod ring;

use std::collections::BTreeSet;
use std::sync::OnceLock;
use std::sync::atomic::{AtomicU32, Ordering};

use chrono::{DateTime, TimeDelta, Utc};
use diesel::{Connection, PgConnection, RunQueryDsl, sql_query};
use spareloop_domain::exchange::OpenTo;
use spareloop_domain::exchange::owed::Tenths;
use spareloop_domain::ledger::body::{Loss, Opening, VarietyNote};
use spareloop_domain::ledger::{Body, Clock, Draft, Entry, Hash, Seq};
use spareloop_domain::words::{
    Count, Day, DeviceId, EntryId, FarmId, HoldId, InvitationId, LossCause, LotId, NetworkId,
    OfferId, PersonId, Purpose, UnitKind, VarietyId, WantId, uuid_v7,
};
use spareloop_store::holds::{self, AskHold, Hold};
use spareloop_store::offers::{self, NewOffer};
use spareloop_store::people::{self, NewFarm, NewInvitation, NewPerson};
use spareloop_store::wants::NewWant;
use spareloop_store::{DatabaseUrl, SecretHash, Store, StoreError, Tx, fresh, ledger};

/// Runs one body on both databases, as `name::on_sqlite` and `name::on_postgresql`.
#[macro_export]
macro_rules! on_both {
    ($(fn $name:ident($house:ident: &House) $body:block)+) => {
        $(mod $name {
            #[allow(unused_imports)]
            use super::*;

            fn body($house: &House) $body

            #[test]
            fn on_sqlite() {
                body(&House::on_sqlite());
            }

            #[test]
            fn on_postgresql() {
                body(&House::on_postgresql());
            }
        })+
    };
}

/// A store of its own, gone when dropped.
pub struct House {
    store: Option<Store>,
    pub url: DatabaseUrl,
    _folder: Option<tempfile::TempDir>,
    database: Option<(String, String)>,
    network: OnceLock<Network>,
}

impl House {
    pub fn on_sqlite() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let url = DatabaseUrl::Sqlite(folder.path().join("server.db"));
        let store = Store::open(&url).unwrap();
        Self {
            store: Some(store),
            url,
            _folder: Some(folder),
            database: None,
            network: OnceLock::new(),
        }
    }

    pub fn on_postgresql() -> Self {
        let (base, name) = make_database();
        let url = DatabaseUrl::parse(&address(&base, &name)).unwrap();
        let store = Store::open(&url).unwrap();
        Self {
            store: Some(store),
            url,
            _folder: None,
            database: Some((base, name)),
            network: OnceLock::new(),
        }
    }

    /// Over a store that somebody else looks after.
    pub fn over(store: Store) -> Self {
        let url = store.url().clone();
        Self { store: Some(store), url, _folder: None, database: None, network: OnceLock::new() }
    }

    /// The cluster's address and the database's name, on PostgreSQL.
    pub fn database(&self) -> Option<(&str, &str)> {
        self.database.as_ref().map(|(base, name)| (base.as_str(), name.as_str()))
    }

    /// The one network of this house, made when it is asked for first.
    pub fn network(&self) -> Network {
        *self.network.get_or_init(|| network(self, "Invented Loop"))
    }

    pub fn store(&self) -> &Store {
        self.store.as_ref().unwrap()
    }

    pub fn write<T>(&self, work: impl FnMut(&mut Tx<'_>) -> Result<T, StoreError>) -> T {
        self.store().write(work).unwrap()
    }

    pub fn try_write<T>(
        &self,
        work: impl FnMut(&mut Tx<'_>) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        self.store().write(work)
    }

    pub fn read<T>(&self, work: impl FnMut(&mut Tx<'_>) -> Result<T, StoreError>) -> T {
        self.store().read(work).unwrap()
    }
}

impl Drop for House {
    fn drop(&mut self) {
        self.store = None;
        if let Some((base, name)) = self.database.take()
            && let Ok(mut connection) = PgConnection::establish(&base)
        {
            let _ =
                sql_query(format!("DROP DATABASE {name} WITH (FORCE)")).execute(&mut connection);
        }
    }
}

pub fn make_database() -> (String, String) {
    let base = std::env::var("SPARELOOP_TEST_POSTGRES").unwrap_or_else(|_| {
        panic!(
            "these tests need PostgreSQL and never skip it; from the top of the repository:\n  \
             export SPARELOOP_TEST_POSTGRES=$(tests/postgres.sh start)"
        )
    });
    let name = format!("store_{:016x}", u64::from_be_bytes(fresh::bytes().unwrap()));
    let mut connection = PgConnection::establish(&base).expect("the test cluster answers");
    sql_query(format!("CREATE DATABASE {name}")).execute(&mut connection).unwrap();
    (base, name)
}

pub fn address(base: &str, name: &str) -> String {
    format!("{}/{name}", base.rsplit_once('/').expect("an address with a database").0)
}

/// The morning on which the tests happen.
pub fn now() -> DateTime<Utc> {
    "2026-01-10T08:00:00Z".parse().unwrap()
}

pub fn later(seconds: i64) -> DateTime<Utc> {
    now() + TimeDelta::seconds(seconds)
}

pub fn day(text: &str) -> Day {
    text.parse().unwrap()
}

pub fn person(login: &str) -> NewPerson {
    NewPerson {
        id: PersonId::new(id()),
        login: login.parse().unwrap(),
        display_name: login.parse().unwrap(),
        password_hash: "$argon2id$invented".to_owned(),
    }
}

/// A fresh id; ids of one test rise in the order they are made.
pub fn id() -> uuid::Uuid {
    static NEXT: AtomicU32 = AtomicU32::new(0);
    let millis = u64::from(NEXT.fetch_add(1, Ordering::Relaxed));
    uuid_v7(1_760_000_000_000 + millis, fresh::bytes().unwrap())
}

/// The network's coordinator and id.
#[derive(Clone, Copy)]
pub struct Network {
    pub id: NetworkId,
    pub coordinator: PersonId,
}

/// Sets the server up, if nobody did, and makes a network.
pub fn network(house: &House, name: &str) -> Network {
    let token = SecretHash::of("set-up");
    let coordinator = person(&format!("coordinator of {name}"));
    let id = house.write(|tx| {
        people::put_set_up_token(tx, token, now())?;
        people::use_set_up_token(tx, token, &coordinator, now())?;
        Ok(people::make_network(tx, coordinator.id, &name.parse().unwrap(), now())?.id)
    });
    Network { id, coordinator: coordinator.id }
}

/// A farm of the network, with one device.
pub struct Farm {
    pub id: FarmId,
    pub network: NetworkId,
    pub grower: PersonId,
    pub house_device: DeviceId,
    pub device: Device,
}

pub fn farm(house: &House, network: &Network, name: &str) -> Farm {
    let code = SecretHash::of(name);
    let grower = person(name);
    let id = FarmId::new(id());
    let joined = house.write(|tx| {
        people::invite(
            tx,
            network.id,
            network.coordinator,
            &NewInvitation {
                id: InvitationId::new(crate::common::id()),
                for_whom: name.parse().unwrap(),
                code,
                expires_at: later(3600),
            },
            now(),
        )?;
        people::join(tx, code, &grower, &NewFarm { id, name: name.parse().unwrap() }, now())
    });
    Farm {
        id,
        network: joined.network,
        grower: grower.id,
        house_device: joined.house_device,
        device: Device::new(id),
    }
}

/// One device's chain, as the client would keep it.
#[derive(Clone)]
pub struct Device {
    pub farm: FarmId,
    pub id: DeviceId,
    next: Seq,
    prev: Hash,
    clock: Clock,
    /// What its wall clock shows.
    pub wall_millis: u64,
}

impl Device {
    pub fn new(farm: FarmId) -> Self {
        Self {
            farm,
            id: DeviceId::new(id()),
            next: Seq::FIRST,
            prev: Hash::START,
            clock: Clock::default(),
            wall_millis: 1_760_000_000_000,
        }
    }

    pub fn note(&mut self, on: &str, body: impl Into<Body>) -> Entry {
        let draft = Draft { id: EntryId::new(id()), on: day(on), body: body.into() };
        let at = self.clock.tick(self.wall_millis);
        let entry = Entry::seal(draft, self.farm, self.id, self.next, at, self.prev).unwrap();
        self.next = entry.seq.next();
        self.prev = entry.hash;
        entry
    }
}

pub fn n(count: u16) -> Count {
    Count::from(count)
}

/// Opens a lot of divisions in the farm's synced ledger.
pub fn lot(house: &House, farm: &mut Farm, variety: &str, count: u16) -> LotId {
    let (variety_id, lot) = (VarietyId::new(id()), LotId::new(id()));
    let name = VarietyNote::naming(variety_id, variety.parse().unwrap());
    let opening = Opening {
        lot,
        variety: variety_id,
        unit: UnitKind::Division,
        count: n(count),
        origin: None,
        label: None,
    };
    let entries = [farm.device.note("2025-11-01", name), farm.device.note("2025-11-01", opening)];
    push(house, farm.id, &entries);
    lot
}

pub fn push(house: &House, farm: FarmId, entries: &[Entry]) {
    let done = house.write(|tx| ledger::append(tx, farm, entries, now()));
    assert_eq!(done.refused, []);
}

/// Notes a loss to rot on the farm's device and syncs it.
pub fn lose(house: &House, farm: &mut Farm, lot: LotId, count: u16) {
    let loss = Loss { lot, count: n(count), cause: LossCause::Rot };
    let entry = farm.device.note("2026-01-09", loss);
    push(house, farm.id, &[entry]);
}

pub fn new_offer(lot: LotId, count: u16, smallest: u16) -> NewOffer {
    NewOffer {
        id: OfferId::new(id()),
        lot,
        count: n(count),
        smallest_parcel: n(smallest),
        conditions: "pick-up only".to_owned(),
        open_to: OpenTo::Everybody,
    }
}

/// Divisions of one variety and no other, of whoever has them.
pub fn new_want(variety: &str, count: u16) -> NewWant {
    NewWant {
        id: WantId::new(id()),
        variety: variety.parse().unwrap(),
        instead: Vec::new(),
        unit: UnitKind::Division,
        count: n(count),
        needed_by: None,
        conditions: String::new(),
        required: BTreeSet::new(),
        within: None,
    }
}

pub fn offer(house: &House, farm: &Farm, lot: LotId, count: u16, smallest: u16) -> OfferId {
    let new = new_offer(lot, count, smallest);
    house.write(|tx| offers::make(tx, farm.network, farm.id, &new, now()));
    new.id
}

/// A swap at 1.5 median divisions a unit, held for an hour.
pub fn asking(offer: OfferId, count: u16) -> AskHold {
    AskHold {
        id: HoldId::new(id()),
        offer,
        count: n(count),
        want: None,
        purpose: Purpose::Swap,
        unit_value: Tenths(15),
        unit_price: None,
        lapses_at: later(3600),
        note: String::new(),
    }
}

pub fn ask(house: &House, taker: &Farm, offer: OfferId, count: u16) -> Hold {
    let asked = asking(offer, count);
    house.write(|tx| holds::ask(tx, taker.network, taker.id, &asked, now()))
}
