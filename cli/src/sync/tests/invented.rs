//! Invented devices with real books, and an invented server that keeps a feed by the domain's rules.

use std::collections::BTreeSet;
use std::time::Duration;

use spareloop_api::problem::ProblemCode;
use spareloop_api::sync::{
    BATCH, Head as WireHead, Page, Positioned, Pushed, RefusedEntry, Summary,
};
use spareloop_domain::ledger::sync::{Acceptance, Head, Heads, accept};
use spareloop_domain::ledger::{Body, Draft, Entry};
use spareloop_domain::words::{DeviceId, EntryId, FarmId, uuid_v7};
use uuid::Uuid;

use crate::book::farm::Farm;
use crate::book::link::Link;
use crate::book::{Keep, StockBook, entries, farm, link};
use crate::fault::Fault;
use crate::fresh::Fresh;
use crate::sync::Done;
use crate::sync::courier::{Ask, Courier, Heard, Next};

pub(super) const WINTER: u64 = 1_767_600_000_000;
pub(super) const DAY: u64 = 86_400_000;

/// Time and ids that come out the same each time.
pub(super) struct Clockwork {
    pub(super) wall: u64,
    ids: u32,
}

impl Fresh for Clockwork {
    fn wall_millis(&mut self) -> u64 {
        self.wall
    }

    fn uuid(&mut self) -> Result<Uuid, Fault> {
        self.ids += 1;
        let mut random = [0; 10];
        random[6..].copy_from_slice(&self.ids.to_be_bytes());
        Ok(uuid_v7(self.wall, random))
    }
}

fn farm_id() -> FarmId {
    FarmId::new(Uuid::from_u128(7))
}

pub(super) struct Device {
    pub(super) book: StockBook,
    pub(super) fresh: Clockwork,
    _folder: tempfile::TempDir,
}

impl Device {
    pub(super) fn new(number: u32) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("book.sqlite");
        let mut book = StockBook::open_or_create(&path, Duration::from_secs(5)).unwrap();
        let mut fresh = Clockwork { wall: WINTER, ids: number * 1_000_000 };
        let it =
            Farm { id: farm_id(), name: "Invented".to_owned(), service_level: 0.9, planting: None };
        let id = DeviceId::new(fresh.uuid().unwrap());
        let link = Link {
            server: "http://invented".to_owned(),
            login: "invented".to_owned(),
            network: None,
            epoch: None,
            cursor: 0,
            synced_at: None,
            promised_mark: None,
        };
        book.write(Keep::Kept, |connection| {
            farm::put(connection, &it)?;
            farm::become_device(connection, id, "bench", WINTER)?;
            link::put(connection, &link)
        })
        .unwrap();
        Self { book, fresh, _folder: folder }
    }

    pub(super) fn again(&self) -> StockBook {
        StockBook::open(self.book.path(), Duration::from_secs(5)).unwrap()
    }

    pub(super) fn note(&mut self, text: &str) -> Entry {
        self.note_all(&[text.to_owned()]).remove(0)
    }

    pub(super) fn note_many(&mut self, count: usize) {
        let texts: Vec<String> = (0..count).map(|number| number.to_string()).collect();
        self.note_all(&texts);
    }

    pub(super) fn note_all(&mut self, texts: &[String]) -> Vec<Entry> {
        let drafts = texts.iter().map(|text| self.draft(text)).collect();
        let wall = self.fresh.wall;
        let work = |connection: &mut _| entries::append(connection, drafts, wall);
        self.book.write(Keep::Kept, work).unwrap()
    }

    fn draft(&mut self, text: &str) -> Draft {
        let body = Body::Newer {
            kind: "letter".to_owned(),
            body: serde_json::json!({"v": 1, "text": text}),
        };
        let on = "2026-01-05".parse().unwrap();
        Draft { id: EntryId::new(self.fresh.uuid().unwrap()), on, body }
    }

    pub(super) fn entries(&mut self) -> Vec<Entry> {
        self.book.read(entries::all).unwrap()
    }

    pub(super) fn ids(&mut self) -> BTreeSet<EntryId> {
        self.entries().iter().map(|entry| entry.id).collect()
    }

    pub(super) fn cursor(&mut self) -> u64 {
        self.book.read(link::find).unwrap().unwrap().cursor
    }

    pub(super) fn id(&mut self) -> DeviceId {
        self.book.read(farm::device).unwrap().id
    }

    pub(super) fn sync(&mut self, server: &mut Server) -> (Done, Vec<Ask>) {
        let mut courier = Courier::new();
        let (mut heard, mut asked) = (None, Vec::new());
        loop {
            match courier.next(&mut self.book, heard, &mut self.fresh).unwrap() {
                Next::Finished(done) => return (done, asked),
                Next::Ask(ask) => {
                    heard = Some(server.answer(&ask));
                    asked.push(ask);
                }
            }
        }
    }
}

pub(super) type Refuses = Box<dyn Fn(&Entry) -> Option<ProblemCode>>;

pub(super) struct Server {
    pub(super) epoch: &'static str,
    pub(super) now: u64,
    pub(super) feed: Vec<Positioned>,
    pub(super) refuses: Refuses,
}

impl Server {
    pub(super) fn new() -> Self {
        Self { epoch: "a", now: WINTER, feed: Vec::new(), refuses: Box::new(|_| None) }
    }

    pub(super) fn ids(&self) -> BTreeSet<EntryId> {
        self.feed.iter().map(|one| one.entry.id).collect()
    }

    fn heads(&self) -> Heads {
        let mut heads = Heads::new();
        for Positioned { entry, .. } in &self.feed {
            heads.insert(entry.device, Head { seq: entry.seq, hash: entry.hash });
        }
        heads
    }

    fn wire_heads(&self) -> Vec<WireHead> {
        let heads = self.heads().into_iter();
        heads.map(|(device, head)| WireHead { device, seq: head.seq, hash: head.hash }).collect()
    }

    fn take(&mut self, entry: &Entry) -> Result<Acceptance, ProblemCode> {
        if let Some(code) = (self.refuses)(entry) {
            return Err(code);
        }
        let head = self.heads().get(&entry.device).copied();
        let there = |device, seq| {
            let at = |one: &&Positioned| (one.entry.device, one.entry.seq) == (device, seq);
            self.feed.iter().find(at).map(|one| one.entry.hash)
        };
        match accept(farm_id(), head, there, entry) {
            it @ (Acceptance::Append | Acceptance::AlreadyHere) => Ok(it),
            Acceptance::Fork => Err(ProblemCode::Fork),
            Acceptance::Gap { .. } => Err(ProblemCode::Gap),
            _ => Err(ProblemCode::BrokenChain),
        }
    }

    pub(super) fn push(&mut self, brought: &[Entry]) -> Pushed {
        let (mut stored, mut already_here) = (0, 0);
        let mut refused: Vec<RefusedEntry> = Vec::new();
        for entry in brought {
            if refused.iter().any(|no| no.device == entry.device) {
                continue;
            }
            match self.take(entry) {
                Ok(Acceptance::Append) => {
                    let position = self.feed.len() as u64 + 1;
                    let entry = entry.clone();
                    self.feed.push(Positioned { position, taken_at: self.now, entry });
                    stored += 1;
                }
                Ok(_) => already_here += 1,
                Err(code) => refused.push(RefusedEntry {
                    id: entry.id,
                    device: entry.device,
                    seq: entry.seq,
                    code,
                    detail: "it is refused on purpose".to_owned(),
                }),
            }
        }
        Pushed {
            epoch: self.epoch.to_owned(),
            position: self.feed.len() as u64,
            taken_at: self.now,
            stored,
            already_here,
            heads: self.wire_heads(),
            refused,
        }
    }

    pub(super) fn answer(&mut self, ask: &Ask) -> Heard {
        match ask {
            Ask::Summary => Heard::Summary(Summary {
                epoch: self.epoch.to_owned(),
                farm: farm_id(),
                position: self.feed.len() as u64,
                heads: self.wire_heads(),
                promised: String::new(),
                market: None,
                network: None,
                statements: 0,
            }),
            Ask::Pull { after, limit } => {
                let after = usize::try_from(after.0).unwrap();
                let entries: Vec<Positioned> =
                    self.feed.iter().skip(after).take(*limit).cloned().collect();
                let more = after + entries.len() < self.feed.len();
                Heard::Page(Page { epoch: self.epoch.to_owned(), entries, more })
            }
            Ask::Push(entries) => {
                assert!(entries.len() <= BATCH.entries);
                assert!(entries.iter().map(Entry::size).sum::<usize>() <= BATCH.bytes);
                Heard::Pushed(self.push(entries))
            }
        }
    }
}
