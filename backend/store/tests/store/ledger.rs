//! Ledgers: pushed, paged, forked, written by the house.

use std::thread;

use crate::common::{Device, Farm, House, day, farm, id, later, network, now};
use spareloop_domain::ledger::body::{Loss, Opening, Plan, VarietyNote};
use spareloop_domain::ledger::sync::{BatchLimits, Position};
use spareloop_domain::ledger::{Body, Draft, Entry};
use spareloop_domain::words::{Count, EntryId, FarmId, LossCause, LotId, UnitKind, VarietyId};
use spareloop_store::ledger::{
    Appended, EntryRefusal, More, all_entries, append, append_house, page, summary,
};
use spareloop_store::{StoreError, devices, farm_book};

fn named(text: &str) -> Body {
    VarietyNote::naming(VarietyId::new(id()), text.parse().unwrap()).into()
}

fn push(house: &House, farm: FarmId, entries: &[Entry]) -> Appended {
    house.write(|tx| append(tx, farm, entries, now()))
}

/// Pages of so many entries, however large.
const fn most(entries: usize) -> BatchLimits {
    BatchLimits { entries, bytes: usize::MAX }
}

fn refusals(appended: &Appended) -> Vec<EntryRefusal> {
    appended.refused.iter().map(|refused| refused.why).collect()
}

fn notes(device: &mut Device, count: usize) -> Vec<Entry> {
    (0..count).map(|n| device.note("2026-01-05", named(&format!("Invented {n}")))).collect()
}

fn one_farm(house: &House) -> Farm {
    let network = network(house, "Invented Loop");
    farm(house, &network, "Larkhusk")
}

on_both! {
    fn what_a_device_brings_is_kept_byte_for_byte_and_in_order(house: &House) {
        let mut farm = one_farm(house);
        let brought = notes(&mut farm.device, 5);
        let done = push(house, farm.id, &brought);
        assert_eq!((done.stored, done.already_here, done.refused.len()), (5, 0, 0));
        assert_eq!(house.read(|tx| all_entries(tx, farm.id)), brought);
        let summary = house.read(|tx| summary(tx, farm.id, now()));
        assert_eq!(summary.position, Position(5));
        assert_eq!(summary.heads[&farm.device.id].hash, brought[4].hash);
        assert_eq!(summary.heads, done.heads);
        let first = house.read(|tx| page(tx, farm.id, Position(0), most(2)));
        assert_eq!(first.more, More::Behind);
        let rest = house.read(|tx| page(tx, farm.id, Position(2), most(3)));
        assert_eq!(rest.more, More::NoMore);
        let positions: Vec<u64> =
            first.entries.iter().chain(&rest.entries).map(|entry| entry.position.0).collect();
        assert_eq!(positions, [1, 2, 3, 4, 5]);
        let beyond = house.read(|tx| page(tx, farm.id, Position(u64::MAX), most(3)));
        assert_eq!((beyond.entries.len(), beyond.more), (0, More::NoMore));
    }

    fn numbers_survive_the_book_to_the_last_bit(house: &House) {
        let mut farm = one_farm(house);
        let levels = [0.1 + 0.2, 1.0 / 3.0, f64::MIN_POSITIVE, 0.123_456_789_012_345_68];
        let brought: Vec<Entry> = levels
            .iter()
            .map(|level| {
                farm.device.note(
                    "2026-01-05",
                    Plan {
                        variety: VarietyId::new(id()),
                        unit: UnitKind::Division,
                        plants_wanted: Count::from(3),
                        planting: day("2026-05-10"),
                        keep_back: None,
                        service_level: Some(*level),
                    },
                )
            })
            .collect();
        push(house, farm.id, &brought);
        let kept = house.read(|tx| all_entries(tx, farm.id));
        assert_eq!(kept, brought);
        assert!(kept.iter().all(|entry| entry.verify().is_ok()));
    }

    fn a_push_sent_twice_stores_nothing_twice(house: &House) {
        let mut farm = one_farm(house);
        let brought = notes(&mut farm.device, 4);
        push(house, farm.id, &brought[..3]);
        let again = push(house, farm.id, &brought);
        assert_eq!((again.stored, again.already_here), (1, 3));
        let doubled: Vec<Entry> = brought.iter().chain(&brought).cloned().collect();
        let third = push(house, farm.id, &doubled);
        assert_eq!((third.stored, third.already_here, third.refused.len()), (0, 8, 0));
        assert_eq!(house.read(|tx| all_entries(tx, farm.id)), brought);
    }

    fn a_cloned_device_is_told_of_the_fork_and_nothing_is_lost(house: &House) {
        let mut farm = one_farm(house);
        let shared = notes(&mut farm.device, 2);
        let mut clone = farm.device.clone();
        let mine = notes(&mut farm.device, 2);
        let theirs = notes(&mut clone, 2);
        push(house, farm.id, &shared);
        push(house, farm.id, &mine);
        let done = push(house, farm.id, &theirs);
        assert_eq!((done.stored, refusals(&done)), (0, vec![EntryRefusal::Fork]));
        assert_eq!(done.refused[0].id, theirs[0].id);
        assert_eq!(house.read(|tx| all_entries(tx, farm.id)), [shared, mine].concat());
    }

    fn a_gap_a_broken_chain_and_a_changed_entry_stop_their_own_chain_alone(house: &House) {
        let mut farm = one_farm(house);
        let mut other = Device::new(farm.id);
        let mine = notes(&mut farm.device, 3);
        let theirs = notes(&mut other, 2);
        let gap = push(house, farm.id, &[mine[1].clone(), theirs[0].clone(), mine[2].clone()]);
        assert_eq!(gap.stored, 1, "the other device's chain flows on");
        assert_eq!(refusals(&gap), [EntryRefusal::Gap { expected: mine[0].seq }]);
        let mut changed = mine[0].clone();
        changed.body["name"] = "Changed".into();
        assert_eq!(refusals(&push(house, farm.id, &[changed])), [EntryRefusal::Tampered]);
        let unnamed = Draft {
            id: EntryId::new(id()),
            on: day("2026-01-05"),
            body: named("Unchained"),
        };
        let loose = Entry::seal(
            unnamed, farm.id, other.id, theirs[1].seq, theirs[1].at, mine[2].hash,
        )
        .unwrap();
        assert_eq!(refusals(&push(house, farm.id, &[loose])), [EntryRefusal::BrokenChain]);
        let rest = push(house, farm.id, &[mine, vec![theirs[1].clone()]].concat());
        assert_eq!((rest.stored, rest.refused.len()), (4, 0));
    }

    fn another_farms_entry_or_device_is_refused_and_stays_unseen(house: &House) {
        let network = network(house, "Invented Loop");
        let mut here = farm(house, &network, "Larkhusk");
        let there = farm(house, &network, "Marrowby");
        let brought = notes(&mut here.device, 2);
        let done = push(house, there.id, &brought);
        assert_eq!(refusals(&done), [EntryRefusal::WrongFarm]);
        let token = spareloop_store::SecretHash::of("t");
        house.write(|tx| {
            let name = "laptop".parse().unwrap();
            devices::register(tx, here.id, here.device.id, &name, token, now())
        });
        let mut thief = Device::new(there.id);
        thief.id = here.device.id;
        let stolen = notes(&mut thief, 1);
        assert_eq!(refusals(&push(house, there.id, &stolen)), [EntryRefusal::WrongFarm]);
        push(house, here.id, &brought);
        assert_eq!(house.read(|tx| all_entries(tx, there.id)), vec![]);
        assert_eq!(house.read(|tx| summary(tx, there.id, now())).position, Position(0));
    }

    fn an_entry_of_a_newer_version_is_kept_as_it_came(house: &House) {
        let mut farm = one_farm(house);
        let body = Body::Newer {
            kind: "graft".to_owned(),
            body: serde_json::json!({"v": 7, "ratio": 0.1, "text": "naïve \u{0} \u{1f33c}"}),
        };
        let brought = vec![farm.device.note("2026-01-05", body)];
        push(house, farm.id, &brought);
        assert_eq!(house.read(|tx| all_entries(tx, farm.id)), brought);
        assert_eq!(house.read(|tx| farm_book(tx, farm.id)).newer, [brought[0].id]);
    }

    fn an_entry_that_no_book_can_keep_is_refused_by_itself(house: &House) {
        let mut farm = one_farm(house);
        let kind = "k".repeat(65);
        let body = Body::Newer { kind, body: serde_json::json!({"v": 7}) };
        let long = farm.device.note("2026-01-05", body);
        assert_eq!(refusals(&push(house, farm.id, &[long])), [EntryRefusal::Unkeepable]);
    }

    fn eight_devices_that_push_together_leave_positions_without_a_gap(house: &House) {
        let farm = one_farm(house);
        let mut all: Vec<Device> = (0..8).map(|_| Device::new(farm.id)).collect();
        thread::scope(|scope| {
            for device in &mut all {
                scope.spawn(|| {
                    for _ in 0..4 {
                        let done = push(house, farm.id, &notes(device, 3));
                        assert_eq!((done.stored, done.refused.len()), (3, 0));
                    }
                });
            }
        });
        let kept = house.read(|tx| page(tx, farm.id, Position(0), most(500)));
        let positions: Vec<u64> = kept.entries.iter().map(|one| one.position.0).collect();
        assert_eq!(positions, (1..=96).collect::<Vec<_>>());
        assert_eq!(house.read(|tx| summary(tx, farm.id, now())).heads.len(), 8);
    }

    fn a_reader_never_skips_an_entry_while_others_write(house: &House) {
        let farm = one_farm(house);
        thread::scope(|scope| {
            let writer = scope.spawn(|| {
                let mut device = Device::new(farm.id);
                for _ in 0..20 {
                    push(house, farm.id, &notes(&mut device, 2));
                }
            });
            let mut seen = 0;
            while seen < 40 {
                let page = house.read(|tx| page(tx, farm.id, Position(seen), most(7)));
                for one in page.entries {
                    seen += 1;
                    assert_eq!(one.position, Position(seen));
                }
            }
            writer.join().unwrap();
        });
    }

    fn the_house_writes_on_its_own_chain_after_all_it_has_seen(house: &House) {
        let mut farm = one_farm(house);
        push(house, farm.id, &notes(&mut farm.device, 2));
        let draft = |name| Draft {
            id: EntryId::new(id()),
            on: day("2026-01-05"),
            body: named(name),
        };
        // The server's clock is set back by years: its stamps still pass what it has seen.
        let set_back = "2020-01-01T00:00:00Z".parse().unwrap();
        let written = house.write(|tx| {
            append_house(tx, farm.id, vec![draft("One"), draft("Two")], set_back)
        });
        let third = house.write(|tx| append_house(tx, farm.id, vec![draft("Three")], now()));
        let kept = house.read(|tx| all_entries(tx, farm.id));
        assert_eq!(kept[2..], [written, third].concat());
        assert!(kept[2..].iter().all(|entry| entry.device == farm.house_device));
        assert!(kept[2..].windows(2).all(|two| two[0].at < two[1].at));
        assert!(kept[2..].windows(2).all(|two| two[1].prev == two[0].hash));
        let mut forged = Device::new(farm.id);
        forged.id = farm.house_device;
        let known = push(house, farm.id, &kept[2..]);
        assert_eq!((known.already_here, known.refused.len()), (3, 0));
        assert_eq!(refusals(&push(house, farm.id, &notes(&mut forged, 1))), [EntryRefusal::Fork]);
    }

    fn nobody_but_the_server_begins_the_house_chain(house: &House) {
        let farm = one_farm(house);
        let mut forged = Device::new(farm.id);
        forged.id = farm.house_device;
        let done = push(house, farm.id, &notes(&mut forged, 1));
        assert_eq!(refusals(&done), [EntryRefusal::HouseDevice]);
    }

    fn after_a_restore_devices_bring_back_what_the_house_wrote(house: &House) {
        let farm = one_farm(house);
        let draft = Draft { id: EntryId::new(id()), on: day("2026-01-05"), body: named("Lost") };
        // What the server wrote and then lost, as a device still holds it.
        let lost = house
            .try_write(|tx| {
                let written = append_house(tx, farm.id, vec![draft.clone()], now())?;
                Err::<(), _>(StoreError::Corrupt { log: serde_json::to_string(&written).unwrap() })
            })
            .unwrap_err();
        let lost: Vec<Entry> = serde_json::from_str(lost.log_text().unwrap()).unwrap();
        assert_eq!(house.write(|tx| devices::new_house_devices(tx, later(5))), 1);
        let back = push(house, farm.id, &lost);
        assert_eq!((back.stored, back.refused.len()), (1, 0));
        let next = house.write(|tx| append_house(tx, farm.id, vec![draft.clone()], later(6)));
        assert_ne!(next[0].device, farm.house_device);
        assert_eq!(next[0].seq.get(), 1);
    }

    fn a_stamp_far_ahead_is_kept_and_moves_no_other_clock(house: &House) {
        let farm = one_farm(house);
        let mut wrong = Device::new(farm.id);
        wrong.wall_millis = 4_000_000_000_000;
        push(house, farm.id, &notes(&mut wrong, 1));
        let draft = Draft { id: EntryId::new(id()), on: day("2026-01-05"), body: named("Now") };
        let written = house.write(|tx| append_house(tx, farm.id, vec![draft.clone()], now()));
        assert_eq!(written[0].at.millis, u64::try_from(now().timestamp_millis()).unwrap());
    }

    fn the_stock_book_follows_the_ledger(house: &House) {
        let mut farm = one_farm(house);
        assert!(house.read(|tx| farm_book(tx, farm.id)).lots.is_empty());
        let (variety, lot) = (VarietyId::new(id()), LotId::new(id()));
        let opening = Opening {
            lot,
            variety,
            unit: UnitKind::Division,
            count: Count::from(40),
            origin: None,
        label: None,
        };
        let name = VarietyNote::naming(variety, "Ember Lantern".parse().unwrap());
        let begun = [farm.device.note("2025-11-01", name), farm.device.note("2025-11-01", opening)];
        push(house, farm.id, &begun);
        let in_store = || house.read(|tx| farm_book(tx, farm.id)).lots[&lot].in_store;
        assert_eq!(in_store(), Count::from(40));
        let loss = Loss { lot, count: Count::from(3), cause: LossCause::Rot };
        let lost = [farm.device.note("2026-01-05", loss)];
        let rolled_back = house.try_write(|tx| {
            append(tx, farm.id, &lost, now())?;
            assert_eq!(farm_book(tx, farm.id)?.lots[&lot].in_store, Count::from(37));
            Err::<(), _>(StoreError::Corrupt { log: "on purpose".to_owned() })
        });
        assert!(rolled_back.is_err());
        assert_eq!(in_store(), Count::from(40), "what was rolled back is nobody's stock");
        push(house, farm.id, &lost);
        assert_eq!(in_store(), Count::from(37));
    }
}
