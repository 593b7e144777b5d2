//! What devices bring of others' chains: of a house device that a restored server lost, of devices
//! that it never knew, of none at all.

use crate::common::{Device, Farm, House, day, farm, id, later, network, now};
use spareloop_domain::ledger::body::VarietyNote;
use spareloop_domain::ledger::sync::{BatchLimits, Position};
use spareloop_domain::ledger::{Body, Draft, Entry, Hash};
use spareloop_domain::words::{EntryId, FarmId, VarietyId};
use spareloop_store::ledger::{
    Appended, EntryRefusal, MOST_DEVICES, More, all_entries, append, append_house, page,
};
use spareloop_store::{SecretHash, StoreError, Tx, devices};

fn named(text: &str) -> Body {
    VarietyNote::naming(VarietyId::new(id()), text.parse().unwrap()).into()
}

fn push(house: &House, farm: FarmId, entries: &[Entry]) -> Appended {
    house.write(|tx| append(tx, farm, entries, now()))
}

fn refusals(appended: &Appended) -> Vec<EntryRefusal> {
    appended.refused.iter().map(|refused| refused.why).collect()
}

fn one_farm(house: &House) -> Farm {
    let network = network(house, "Invented Loop");
    farm(house, &network, "Larkhusk")
}

fn drafts(count: usize) -> Vec<Draft> {
    (0..count)
        .map(|n| Draft {
            id: EntryId::new(id()),
            on: day("2026-01-05"),
            body: named(&format!("Invented {n}")),
        })
        .collect()
}

/// What `work` writes, and the server then loses, as a device still holds it.
fn lost(house: &House, work: impl Fn(&mut Tx<'_>) -> Result<Vec<Entry>, StoreError>) -> Vec<Entry> {
    let lost = house.try_write(|tx| {
        let log = serde_json::to_string(&work(tx)?).unwrap();
        Err::<(), _>(StoreError::Corrupt { log })
    });
    serde_json::from_str(lost.unwrap_err().log_text().unwrap()).unwrap()
}

/// An entry that continues a chain, made by somebody who holds all of it.
fn forged_behind(last: &Entry) -> Entry {
    let draft = Draft { id: EntryId::new(id()), on: last.on, body: named("Forged") };
    Entry::seal(draft, last.farm, last.device, last.seq.next(), last.at, last.hash).unwrap()
}

on_both! {
    fn nobody_goes_on_with_a_house_chain_old_or_new(house: &House) {
        let farm = one_farm(house);
        let written = lost(house, |tx| append_house(tx, farm.id, drafts(3), now()));
        house.write(|tx| devices::new_house_devices(tx, later(5)));
        let current = house.write(|tx| append_house(tx, farm.id, drafts(1), later(6)));
        // A forged entry in the middle of what is brought home stops its chain there.
        let brought = [written[0].clone(), forged_behind(&written[0])];
        let done = push(house, farm.id, &brought);
        assert_eq!((done.stored, refusals(&done)), (1, vec![EntryRefusal::HouseDevice]));
        let done = push(house, farm.id, &written);
        assert_eq!((done.stored, done.already_here), (2, 1));
        for last in [&written[2], &current[0]] {
            let done = push(house, farm.id, &[forged_behind(last)]);
            assert_eq!(refusals(&done), [EntryRefusal::HouseDevice]);
        }
        let kept = house.read(|tx| all_entries(tx, farm.id));
        assert_eq!(kept, [&current[..], &written[..]].concat());
    }

    fn a_house_chain_of_a_life_that_the_copy_knows_nothing_of_is_known_by_its_seal(house: &House) {
        let farm = one_farm(house);
        let written = lost(house, |tx| {
            devices::new_house_devices(tx, now())?;
            append_house(tx, farm.id, drafts(2), now())
        });
        assert_ne!(written[0].device, farm.house_device);
        let done = push(house, farm.id, &written);
        assert_eq!((done.stored, done.refused.len()), (2, 0));
        let done = push(house, farm.id, &[forged_behind(&written[1])]);
        assert_eq!(refusals(&done), [EntryRefusal::HouseDevice]);
        assert!(house.read(|tx| devices::list(tx, farm.id)).is_empty(), "it is no device of theirs");
    }

    fn another_servers_house_chain_is_no_house_chain_here(house: &House) {
        let farm = one_farm(house);
        let elsewhere = House::on_sqlite();
        let there = one_farm(&elsewhere);
        let theirs = elsewhere.write(|tx| append_house(tx, there.id, drafts(1), now()));
        assert_eq!(refusals(&push(house, farm.id, &theirs)), [EntryRefusal::WrongFarm]);
        let entry = &theirs[0];
        let draft = Draft { id: entry.id, on: entry.on, body: entry.read_body().unwrap() };
        let moved =
            Entry::seal(draft, farm.id, entry.device, entry.seq, entry.at, Hash::START).unwrap();
        push(house, farm.id, &[moved]);
        assert_eq!(house.read(|tx| devices::list(tx, farm.id)).len(), 1, "known as a farm's own");
    }

    fn a_device_known_to_none_is_spoken_for_by_the_one_that_brings_its_entries(house: &House) {
        let network = network(house, "Invented Loop");
        let here = farm(house, &network, "Larkhusk");
        let there = farm(house, &network, "Marrowby");
        let mut phone = Device::new(here.id);
        let brought = [phone.note("2026-01-05", named("One")), phone.note("2026-01-05", named("Two"))];
        assert_eq!(push(house, here.id, &brought).stored, 2);
        let list = || house.read(|tx| devices::list(tx, here.id));
        assert_eq!(list()[0].name, "brought by another device");
        // Nobody else can speak for it now; it can still come in itself.
        let mut thief = Device::new(there.id);
        thief.id = phone.id;
        let stolen = push(house, there.id, &[thief.note("2026-01-05", named("Stolen"))]);
        assert_eq!(refusals(&stolen), [EntryRefusal::WrongFarm]);
        let token = SecretHash::of("phone");
        house.write(|tx| {
            devices::register(tx, here.id, phone.id, &"phone".parse().unwrap(), token, now())
        });
        assert_eq!((list().len(), list()[0].name.as_str()), (1, "phone"));
        assert!(house.read(|tx| devices::by_token_hash(tx, token)).is_some());
    }

    fn a_farm_with_as_many_devices_as_it_may_have_takes_no_unknown_one(house: &House) {
        let mut farm = one_farm(house);
        let mut brought: Vec<Entry> = Vec::new();
        // The house device is one of them.
        for _ in 1..MOST_DEVICES {
            brought.push(Device::new(farm.id).note("2026-01-05", named("One")));
        }
        assert_eq!(push(house, farm.id, &brought).stored, brought.len() as u64);
        let one_more = farm.device.note("2026-01-05", named("One more"));
        assert_eq!(refusals(&push(house, farm.id, &[one_more])), [EntryRefusal::DeviceUnknown]);
        let mut again = Device::new(farm.id);
        again.id = brought[0].device;
        again.note("2026-01-05", named("Skipped"));
        assert_eq!(push(house, farm.id, &brought[..1]).already_here, 1);
    }

    fn a_page_is_bounded_in_bytes_and_an_entry_too_large_is_refused_by_itself(house: &House) {
        let mut farm = one_farm(house);
        let mut note = |bytes: usize| {
            let body = serde_json::json!({"v": 7, "text": "x".repeat(bytes)});
            farm.device.note("2026-01-05", Body::Newer { kind: "letter".to_owned(), body })
        };
        let brought: Vec<Entry> = (0..4).map(|_| note(1_000)).collect();
        let too_large = note(300_000);
        push(house, farm.id, &brought);
        assert_eq!(refusals(&push(house, farm.id, &[too_large])), [EntryRefusal::Unkeepable]);
        let limits = BatchLimits { entries: 500, bytes: 3_500 };
        let first = house.read(|tx| page(tx, farm.id, Position(0), limits));
        assert_eq!((first.entries.len(), first.more), (2, More::Behind));
        let rest = house.read(|tx| page(tx, farm.id, Position(2), limits));
        assert_eq!((rest.entries.len(), rest.more), (2, More::NoMore));
        let one = house.read(|tx| page(tx, farm.id, Position(0), BatchLimits { bytes: 1, ..limits }));
        assert_eq!((one.entries.len(), one.more), (1, More::Behind));
    }
}
