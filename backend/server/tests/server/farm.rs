//! A farm with a device that writes a ledger, as a client would.

use serde_json::json;
use spareloop_api::people::DeviceRegistered;
use spareloop_api::sync::{Page, Pushed};
use spareloop_domain::ledger::body::{Check, LostUnits, Opening, Plan, Scope, VarietyNote};
use spareloop_domain::ledger::{Body, Clock, Draft, Entry, Hash, Seq};
use spareloop_domain::words::{
    Count, Day, DeviceId, EntryId, FarmId, Look, LossCause, LotId, UnitKind, VarietyId,
};

use crate::yard::{Call, Person, Yard, new_id};

/// A farm's person with a device.
pub(crate) struct Farm {
    pub(crate) person: Person,
    pub(crate) device_token: String,
    pub(crate) chain: Chain,
}

/// A device's chain of entries.
#[derive(Clone)]
pub(crate) struct Chain {
    pub(crate) farm: FarmId,
    pub(crate) device: DeviceId,
    seq: Seq,
    prev: Hash,
    clock: Clock,
}

impl Chain {
    pub(crate) fn new(farm: FarmId, device: DeviceId) -> Self {
        Self { farm, device, seq: Seq::FIRST, prev: Hash::START, clock: Clock::default() }
    }

    pub(crate) fn note(&mut self, on: &str, body: impl Into<Body>) -> Entry {
        let draft = Draft { id: EntryId::new(new_id()), on: day(on), body: body.into() };
        let at = self.clock.tick(1_800_000_000_000);
        let entry = Entry::seal(draft, self.farm, self.device, self.seq, at, self.prev).unwrap();
        self.seq = self.seq.next();
        self.prev = entry.hash;
        entry
    }
}

pub(crate) fn day(text: &str) -> Day {
    text.parse().unwrap()
}

pub(crate) fn count(units: u16) -> Count {
    Count::from(units)
}

impl Farm {
    pub(crate) async fn new(yard: &Yard, coordinator: &Person, login: &str) -> Self {
        let person = yard.join(coordinator, login).await;
        let (farm, device) = (person.me.farm.clone().unwrap().id, DeviceId::new(new_id()));
        let body = json!({"device": device, "farm": farm, "name": "laptop in the house"});
        let call = Call::post("/devices", &body).once().by(person.token());
        let made: DeviceRegistered = yard.send(call).await.ok();
        Self { person, device_token: made.device_token.0, chain: Chain::new(farm, device) }
    }

    pub(crate) fn token(&self) -> &str {
        self.person.token()
    }

    pub(crate) fn id(&self) -> FarmId {
        self.chain.farm
    }

    pub(crate) async fn push(&self, yard: &Yard, entries: &[Entry]) -> Pushed {
        let call = Call::post("/ledger/entries", &json!({"entries": entries}));
        yard.send(call.by(&self.device_token)).await.ok()
    }

    pub(crate) async fn pull(&self, yard: &Yard, after: u64) -> Page {
        let call = Call::get(&format!("/ledger/entries?after={after}"));
        yard.send(call.by(&self.device_token)).await.ok()
    }

    /// Puts a lot of divisions on the book and on the server.
    pub(crate) async fn stores(&mut self, yard: &Yard, name: &str, units: u16) -> LotId {
        let (variety, lot) = (VarietyId::new(new_id()), LotId::new(new_id()));
        let entries = [
            self.chain.note("2026-11-01", VarietyNote::naming(variety, name.parse().unwrap())),
            self.chain.note(
                "2026-11-01",
                Opening {
                    lot,
                    variety,
                    unit: UnitKind::Division,
                    count: count(units),
                    origin: None,
                    label: None,
                },
            ),
            self.chain.note(
                "2026-11-02",
                Plan {
                    variety,
                    unit: UnitKind::Division,
                    plants_wanted: count(2),
                    planting: day("2027-05-10"),
                    keep_back: None,
                    service_level: None,
                },
            ),
        ];
        let pushed = self.push(yard, &entries).await;
        assert_eq!((pushed.stored, pushed.refused.len()), (3, 0), "{pushed:?}");
        lot
    }

    /// Loses some of a lot to rot, found at a look over all of it.
    pub(crate) async fn loses(&mut self, yard: &Yard, lot: LotId, of: u16, lost: u16) -> Pushed {
        let check = Check {
            lot,
            look: Look::Unpacked,
            scope: Scope::Whole,
            inspected: count(of),
            sound: count(of - lost),
            doubtful: count(0),
            lost: vec![LostUnits { cause: LossCause::Rot, count: count(lost) }],
            sprouted: None,
        };
        let entry = self.chain.note("2027-02-01", check);
        self.push(yard, &[entry]).await
    }
}
