//! A courier between a real book and an invented server.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod invented;

use std::collections::BTreeSet;

use spareloop_api::problem::ProblemCode;
use spareloop_api::sync::BATCH;
use spareloop_domain::ledger::{Body, Draft, Entry, Hash, Stamp};
use spareloop_domain::words::EntryId;
use uuid::Uuid;

use super::as_written;
use super::courier::{Ask, Courier, Next};
use crate::book::{BookError, Keep, entries, parked};
use invented::{DAY, Device, Server, WINTER};

#[test]
fn a_sync_of_nothing_asks_one_question() {
    let (mut device, mut server) = (Device::new(1), Server::new());
    device.note_many(3);
    device.sync(&mut server);
    let (done, asked) = device.sync(&mut server);
    assert_eq!(asked, [Ask::Summary]);
    assert_eq!((done.sent, done.fetched), (0, 0));
}

#[test]
fn what_was_sent_is_neither_sent_again_nor_fetched_back() {
    let (mut device, mut server) = (Device::new(1), Server::new());
    device.note_many(BATCH.entries * 2 + 1);
    let (done, asked) = device.sync(&mut server);
    assert_eq!(done.sent, 1001);
    assert!(matches!(&asked[..], [Ask::Summary, Ask::Push(a), Ask::Push(b), Ask::Push(c)]
        if (a.len(), b.len(), c.len()) == (500, 500, 1)));
    assert_eq!(device.cursor(), 1001);
    let unsent = device.book.read(entries::count_unsent).unwrap();
    assert_eq!(unsent, 0);
}

#[test]
fn an_entry_that_no_push_can_carry_is_set_aside_and_the_others_go() {
    let (mut device, mut server) = (Device::new(1), Server::new());
    device.note_many(2);
    let large = device.note(&"x".repeat(300_000));
    let behind = device.note("behind");
    let (done, _) = device.sync(&mut server);
    assert_eq!((done.refused.len(), done.sent), (1, 3));
    let aside = device.book.read(parked::waiting).unwrap();
    assert_eq!(aside[0].entry, large);
    assert!(server.ids().contains(&behind.id));
}

#[test]
fn a_refused_entry_is_set_aside_what_stands_behind_flows_on_and_it_can_be_tried_again() {
    let (mut device, mut server) = (Device::new(1), Server::new());
    device.note("first");
    let refused = device.note("refuse me");
    let behind = device.note("behind");
    server.refuses = Box::new(|entry| {
        let is_it = entry.body["text"] == "refuse me";
        is_it.then_some(ProblemCode::Refused)
    });
    let before = device.id();
    let (done, _) = device.sync(&mut server);
    assert!(done.refused[0].contains("refused on purpose"), "{done:?}");
    assert_ne!(device.id(), before);
    assert_eq!(server.feed.len(), 2);
    assert!(server.ids().contains(&behind.id), "the same fact under the same id");
    let aside = device.book.read(parked::waiting).unwrap();
    assert_eq!(aside[0].entry, refused);
    assert_eq!(device.sync(&mut server).0.refused.len(), 0, "it is said once");

    server.refuses = Box::new(|_| None);
    let work = |connection: &mut _| {
        parked::noted_again(connection, &aside[0])?;
        entries::append(connection, vec![as_written(aside[0].entry.clone())], WINTER)
    };
    device.book.write(Keep::Kept, work).unwrap();
    device.sync(&mut server);
    assert!(server.ids().contains(&refused.id));
    assert_eq!(device.book.read(parked::waiting).unwrap(), []);
}

#[test]
fn a_chain_that_the_server_has_under_another_farm_goes_on_under_another_id() {
    let (mut device, mut server) = (Device::new(1), Server::new());
    let first = device.note("first");
    device.note("second");
    let taken = first.device;
    server.refuses =
        Box::new(move |entry| (entry.device == taken).then_some(ProblemCode::WrongFarm));
    let noted = device.ids();
    let (done, _) = device.sync(&mut server);
    assert!(done.refused[0].contains("Nothing is lost"), "{done:?}");
    assert_eq!((server.ids(), device.ids()), (noted.clone(), noted));
    assert!(server.feed.iter().all(|one| one.entry.device != taken));
}

#[test]
fn a_clock_set_back_by_decades_still_sorts_after_what_it_has_seen() {
    let (mut device, mut other, mut server) = (Device::new(1), Device::new(2), Server::new());
    let seen = device.note("seen");
    device.sync(&mut server);
    other.fresh.wall = 1_000;
    other.sync(&mut server);
    assert!(other.note("after").at > seen.at);
}

#[test]
fn a_stamp_more_than_a_day_ahead_of_the_server_is_kept_flagged_and_moves_no_other_clock() {
    let (mut device, mut other, mut server) = (Device::new(1), Device::new(2), Server::new());
    device.fresh.wall = WINTER + 2 * DAY;
    let ahead = device.note("ahead");
    device.sync(&mut server);
    // Wherever the reader's own clock stands.
    other.fresh.wall = WINTER + DAY;
    other.sync(&mut server);
    assert_eq!(other.note("now").at, Stamp { millis: WINTER + DAY, counter: 0 });
    for device in [&mut device, &mut other] {
        let flagged = device.book.read(entries::far_ahead).unwrap();
        assert_eq!(flagged, BTreeSet::from([ahead.id]));
    }
}

#[test]
fn a_sync_dropped_at_any_question_is_finished_by_a_later_one() {
    for dropped_at in 0..6 {
        for answered in [true, false] {
            let (mut device, mut other, mut server) =
                (Device::new(1), Device::new(2), Server::new());
            other.note_many(700);
            other.sync(&mut server);
            device.note_many(700);
            let mut courier = Courier::new();
            let mut heard = None;
            for question in 0..=dropped_at {
                let next = courier.next(&mut device.book, heard.take(), &mut device.fresh);
                let Next::Ask(ask) = next.unwrap() else { break };
                if question < dropped_at || answered {
                    heard = Some(server.answer(&ask));
                }
            }
            drop(courier);
            let (_, asked) = device.sync(&mut server);
            let (done, quiet) = device.sync(&mut server);
            assert_eq!(quiet, [Ask::Summary], "{dropped_at} {answered} {done:?} {asked:?}");
            assert_eq!(device.ids(), server.ids());
            assert_eq!(server.feed.len(), 1400, "nothing twice");
        }
    }
}

#[test]
fn an_answer_to_another_question_changes_nothing() {
    let (mut device, mut other, mut server) = (Device::new(1), Device::new(2), Server::new());
    other.note_many(600);
    other.sync(&mut server);
    let old_summary = Server::new().answer(&Ask::Summary);
    let first = Ask::Pull { after: spareloop_domain::ledger::sync::Position(0), limit: 500 };
    let old_page = server.answer(&first);
    device.note_many(2);
    let old_push = server.answer(&Ask::Push(Vec::new()));
    for stale in [&old_summary, &old_page, &old_push] {
        // Each question in turn is answered by what was said to another.
        for at in 0..5 {
            let mut courier = Courier::new();
            let (mut heard, mut question) = (None, 0);
            let done = loop {
                match courier.next(&mut device.book, heard, &mut device.fresh).unwrap() {
                    Next::Finished(done) => break done,
                    Next::Ask(ask) => {
                        let right = server.answer(&ask);
                        heard = Some(if question == at { stale.clone() } else { right });
                        question += 1;
                    }
                }
            };
            assert!(device.cursor() <= server.feed.len() as u64, "{done:?}");
        }
    }
    device.sync(&mut server);
    assert_eq!(device.ids(), server.ids());
    assert_eq!(server.feed.len(), 602);
    assert_eq!(device.cursor(), 602);
}

#[test]
fn two_couriers_on_one_book_take_turns_and_note_everything_once() {
    for turns in 0_u32..64 {
        let (mut device, mut other, mut server) = (Device::new(1), Device::new(2), Server::new());
        other.note_many(3);
        other.sync(&mut server);
        device.note_many(3);
        let mut books = [device.again(), device.again()];
        let mut couriers = [Courier::new(), Courier::new()];
        let mut heard = [None, None];
        let mut finished = [false, false];
        for turn in 0.. {
            let mut who = (turns >> (turn % 6) & 1) as usize;
            if finished[who] {
                who = 1 - who;
            }
            if finished[who] {
                break;
            }
            let next = couriers[who].next(&mut books[who], heard[who].take(), &mut device.fresh);
            match next.unwrap() {
                Next::Ask(ask) => heard[who] = Some(server.answer(&ask)),
                Next::Finished(done) => {
                    assert!(done.said.is_empty(), "{done:?}");
                    finished[who] = true;
                }
            }
        }
        device.sync(&mut server);
        assert_eq!((device.entries().len(), server.feed.len()), (6, 6));
        assert_eq!(device.sync(&mut server).1, [Ask::Summary]);
    }
}

#[test]
fn a_server_put_back_from_an_old_copy_is_filled_up_by_its_devices_and_says_it_once() {
    let (mut device, mut other, mut server) = (Device::new(1), Device::new(2), Server::new());
    device.note_many(4);
    device.sync(&mut server);
    other.note_many(3);
    other.sync(&mut server);
    device.sync(&mut server);
    let whole = server.ids();
    for epoch in ["a", "b"] {
        server.epoch = epoch;
        server.feed.truncate(2);
        // One of the two is enough: it holds the other's entries as well.
        let (done, _) = device.sync(&mut server);
        assert_eq!(done.said.len(), 1, "{done:?}");
        assert!(done.said[0].contains("older copy"), "{done:?}");
        assert_eq!(server.ids(), whole);
        assert_eq!(device.sync(&mut server).0.said, Vec::<String>::new());
    }
    other.sync(&mut server);
    assert_eq!(other.ids(), whole);
}

#[test]
fn a_fork_keeps_every_entry_under_its_id_and_is_said_once() {
    let (mut device, mut server) = (Device::new(1), Server::new());
    device.note_many(2);
    device.sync(&mut server);
    // What the clone noted meanwhile came to the server first.
    let last = device.entries().pop().unwrap();
    let theirs = Draft {
        id: EntryId::new(Uuid::from_u128(99)),
        on: last.on,
        body: Body::Newer { kind: "letter".to_owned(), body: serde_json::json!({"v": 1}) },
    };
    let theirs =
        Entry::seal(theirs, last.farm, last.device, last.seq.next(), last.at, last.hash).unwrap();
    assert_eq!(server.push(std::slice::from_ref(&theirs)).stored, 1);
    device.note_many(3);
    let mut all = device.ids();
    all.insert(theirs.id);
    let (done, _) = device.sync(&mut server);
    assert!(done.said[0].contains("Nothing is lost"), "{done:?}");
    assert_eq!((device.ids(), server.ids()), (all.clone(), all));
    assert_eq!(server.feed.len(), 6);
    assert_ne!(device.id(), last.device);
    assert_eq!(device.sync(&mut server).0.said, Vec::<String>::new());
    let chains = device.entries();
    crate::book::backup::verify_chains(&chains).unwrap();
    let none: Result<Vec<_>, BookError> = device.book.read(parked::waiting);
    assert_eq!(none.unwrap(), [], "what a fork displaced stands in the book again");
    assert_ne!(theirs.prev, Hash::START);
}
