//! A whole stock book goes out as lines and comes in again equal, or not at all.

use std::collections::BTreeMap;
use std::path::Path;
use std::time::Duration;

use diesel::connection::SimpleConnection;
use diesel::{Connection, RunQueryDsl, SqliteConnection};
use proptest::prelude::*;
use spareloop_cli::book::carry::{self, Beside};
use spareloop_cli::book::farm::{self, Farm};
use spareloop_cli::book::parked::State;
use spareloop_cli::book::{BookError, Keep, StockBook, entries, link};
use spareloop_cli::export::whole;
use spareloop_cli::fault::Fault;
use spareloop_cli::import::ledger::{Into, OnDevice, Taken, take_in};
use spareloop_domain::belief::Beliefs;
use spareloop_domain::forecast::outlook::{Asked, outlook};
use spareloop_domain::ledger::generate::{Dice, plausible, wild};
use spareloop_domain::ledger::{Body, Draft, Entry, Hash, Seq, Stamp, fold};
use spareloop_domain::settings::Settings;
use spareloop_domain::words::{Count, DeviceId, EntryId, LotId};
use tempfile::TempDir;

/// A book in a folder of its own.
struct Shelf {
    _folder: TempDir,
    book: StockBook,
}

impl Shelf {
    fn empty() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("book.sqlite");
        let book = StockBook::open_or_create(&path, Duration::from_secs(5)).unwrap();
        Self { _folder: folder, book }
    }

    /// A farm's book with those entries, and a little of everything that is no entry.
    fn of(entries: &[Entry]) -> Self {
        let mut shelf = Self::empty();
        let farm = Farm {
            id: entries[0].farm,
            name: "Heron Hill".to_owned(),
            service_level: 0.85,
            planting: Some("2026-05-10".parse().unwrap()),
        };
        shelf
            .book
            .write(Keep::Kept, |connection| {
                farm::put(connection, &farm)?;
                farm::become_device(connection, entries[0].device, "house laptop", 1_000)?;
                for entry in entries {
                    entries::keep_brought(connection, entry)?;
                }
                let last = entries.iter().map(|entry| entry.at).max().unwrap();
                carry::pass_stamp(connection, last)?;
                link::put(connection, &network())?;
                beside(entries).iter().try_for_each(|row| carry::put_beside(connection, row))
            })
            .unwrap();
        shelf
    }

    fn out(&mut self) -> Vec<u8> {
        let mut bytes = Vec::new();
        whole::write(&mut self.book, &mut bytes).unwrap();
        bytes
    }

    fn take(&mut self, bytes: &[u8], into: &Into) -> Result<Taken, Fault> {
        self.book.write(Keep::Kept, |connection| take_in(connection, &mut &bytes[..], into))
    }

    fn entries(&mut self) -> Vec<Entry> {
        self.book.read(entries::all).unwrap()
    }

    fn others(&mut self) -> Vec<Beside> {
        let mut rows = Vec::new();
        self.book
            .read(|connection| {
                carry::each_beside::<BookError>(connection, &mut |row| {
                    rows.push(row);
                    Ok(())
                })
            })
            .unwrap();
        rows
    }
}

fn network() -> link::Link {
    link::Link {
        server: "https://loop.example".to_owned(),
        login: "ada".to_owned(),
        network: Some("Invented Loop".to_owned()),
        epoch: Some("an epoch".to_owned()),
        cursor: 7,
        synced_at: Some(1_760_000_000_000),
        promised_mark: None,
    }
}

fn beside(entries: &[Entry]) -> Vec<Beside> {
    let lot = LotId::new(Dice::new(9).id());
    vec![
        Beside::Parked {
            entry: entries[0].clone(),
            code: "unkeepable".to_owned(),
            detail: "too large \u{2028} \"by far\"".to_owned(),
            parked_at: 12,
            state: State::Waiting,
        },
        Beside::Act {
            id: Dice::new(10).id(),
            operation: "ask-hold".to_owned(),
            path: "holds".to_owned(),
            body: r#"{"count":6}"#.to_owned(),
            said: "ask for 6".to_owned(),
            made_at: 13,
            state: "waiting".to_owned(),
            answer: None,
        },
        Beside::Promised { lot, count: Count::new(4).unwrap() },
        Beside::Imported {
            file_kind: "stock".to_owned(),
            key: "label:a1".to_owned(),
            text: "40|cellar|film-wrap".to_owned(),
            lot,
        },
        Beside::Column {
            file_kind: "stock".to_owned(),
            heading: "bestand".to_owned(),
            field: "count".to_owned(),
        },
    ]
}

/// The lines of the entries, canonical: what an entry is to the last byte, however a database spells
/// its numbers.
fn entry_lines(bytes: Vec<u8>) -> Vec<String> {
    let text = String::from_utf8(bytes).unwrap();
    text.lines().filter(|line| line.starts_with("{\"at\"")).map(ToOwned::to_owned).collect()
}

/// Chains must come in order of their sequence, as an export has them.
fn by_chain(mut entries: Vec<Entry>) -> Vec<Entry> {
    entries.sort_by_key(|entry| (entry.device, entry.seq));
    entries
}

fn new_device() -> Into {
    Into::NewBook(OnDevice::New("new laptop".to_owned()))
}

fn forecast(entries: &[Entry]) -> String {
    let (settings, today) = (Settings::default(), "2026-03-20".parse().unwrap());
    let promised = BTreeMap::new();
    let book = fold(entries);
    let (promised, beliefs) = (&promised, &Beliefs::of(&book, None));
    let settings = &settings;
    let asked = Asked { today, day_without_plan: today, settings, promised, beliefs };
    format!("{:?}", outlook(&book, &asked))
}

/// How often each property is tried: a few times in every run, more with `PROPTEST_CASES=500`.
fn tried() -> ProptestConfig {
    let more = std::env::var("PROPTEST_CASES").ok().and_then(|text| text.parse().ok());
    ProptestConfig {
        cases: more.unwrap_or(6),
        failure_persistence: None,
        ..ProptestConfig::default()
    }
}

proptest! {
    #![proptest_config(tried())]

    #[test]
    fn a_book_that_went_out_and_came_in_is_equal(seed: u64, steps in 1_usize..120, contradicts: bool) {
        let made = if contradicts { wild(seed, steps) } else { plausible(seed, steps) };
        prop_assume!(!made.is_empty());
        let made = by_chain(made);
        let mut first = Shelf::of(&made);
        let written = first.out();

        // As the same device: the very same file comes out again.
        let mut same = Shelf::empty();
        let taken = same.take(&written, &Into::NewBook(OnDevice::Same)).unwrap();
        prop_assert_eq!(taken.entries, made.len() as u64);
        prop_assert_eq!(String::from_utf8(same.out()).unwrap(), String::from_utf8(written.clone()).unwrap());

        // As a new device: all but the device.
        let mut other = Shelf::empty();
        other.take(&written, &new_device()).unwrap();
        prop_assert_eq!(entry_lines(other.out()), entry_lines(written.clone()));
        let (before, after) = (first.entries(), other.entries());
        prop_assert_eq!(fold(&after), fold(&before));
        prop_assert_eq!(forecast(&after), forecast(&before));
        prop_assert_eq!(other.others(), first.others());

        // And nothing of it is new a second time.
        let again = other.take(&written, &Into::SameFarm).unwrap();
        prop_assert!(again.is_nothing_new(), "{again:?}");
        prop_assert_eq!(again.known, made.len() as u64);
        prop_assert_eq!(other.entries(), after);
    }

    #[test]
    fn two_books_that_went_apart_are_equal_again_once_each_took_the_others(
        seed: u64,
        steps in 2_usize..80,
    ) {
        let made = by_chain(plausible(seed, steps));
        prop_assume!(made.len() > 1);
        // Each side lacks the ends of some chains: a prefix of every chain, cut by the dice.
        let mut dice = Dice::new(seed);
        let part = |dice: &mut Dice| -> Vec<Entry> {
            let mut cuts: BTreeMap<DeviceId, u64> = BTreeMap::new();
            let kept = made.iter().filter(|entry| {
                let most = u32::try_from(steps).unwrap_or(u32::MAX);
                let cut = cuts.entry(entry.device).or_insert_with(|| u64::from(dice.below(most)));
                entry.seq.get() <= *cut || entry.device == made[0].device
            });
            kept.cloned().collect()
        };
        let (mut left, mut right) = (Shelf::of(&part(&mut dice)), Shelf::empty());
        right.take(&Shelf::of(&part(&mut dice)).out(), &new_device()).unwrap();
        let (from_left, from_right) = (left.out(), right.out());
        left.take(&from_right, &Into::SameFarm).unwrap();
        right.take(&from_left, &Into::SameFarm).unwrap();
        prop_assert_eq!(entry_lines(left.out()), entry_lines(right.out()));
    }

    #[test]
    fn a_file_that_was_cut_short_or_changed_is_refused_and_nothing_of_it_is_kept(
        seed in 0_u64..20,
        place: prop::sample::Index,
        flip in 1_u8..=255,
        cut: bool,
    ) {
        let written = Shelf::of(&by_chain(plausible(seed, 25))).out();
        let mut bytes = written.clone();
        let place = place.index(bytes.len());
        if cut { bytes.truncate(place) } else { bytes[place] ^= flip }
        let mut other = Shelf::empty();
        let refused = other.take(&bytes, &new_device()).unwrap_err();
        prop_assert!(refused.kept.as_deref() == Some("Nothing was written."), "{refused}");
        prop_assert!(other.book.read(farm::find).unwrap().is_none());
        other.take(&written, &new_device()).unwrap();
    }
}

/// The farm's next entry on a device, as if noted there.
fn next_on(entries: &[Entry], device: DeviceId, dice: &mut Dice) -> Entry {
    let last = entries.iter().filter(|entry| entry.device == device).max_by_key(|entry| entry.seq);
    let (seq, prev) = last.map_or((Seq::FIRST, Hash::START), |last| (last.seq.next(), last.hash));
    let body = Body::Newer {
        kind: "smelled".to_owned(),
        body: serde_json::json!({ "v": 9, "how": "sweet", "nose": u64::MAX - dice.roll() % 9 }),
    };
    let draft = Draft { id: EntryId::new(dice.id()), on: "2026-01-10".parse().unwrap(), body };
    let at = Stamp { millis: 1_770_000_000_000 + dice.roll() % 1_000_000, counter: 0 };
    Entry::seal(draft, entries[0].farm, device, seq, at, prev).unwrap()
}

#[test]
fn numbers_that_a_double_can_not_hold_come_back_as_they_were() {
    let mut made = by_chain(plausible(3, 10));
    let next = next_on(&made, made[0].device, &mut Dice::new(4));
    made.push(next.clone());
    let mut other = Shelf::empty();
    other.take(&Shelf::of(&by_chain(made)).out(), &new_device()).unwrap();
    assert!(other.entries().contains(&next));
}

#[test]
fn what_two_copies_of_one_device_noted_is_kept_and_counts_once() {
    let made = by_chain(plausible(5, 30));
    let device = made[0].device;
    let mut dice = Dice::new(6);
    let with = |mut entries: Vec<Entry>, dice: &mut Dice, times: usize| {
        for _ in 0..times {
            entries.push(next_on(&entries, device, dice));
        }
        by_chain(entries)
    };
    let (mut left, mut right) = (
        Shelf::of(&with(made.clone(), &mut dice, 1)),
        Shelf::of(&with(made.clone(), &mut dice, 3)),
    );
    let ids = |shelf: &mut Shelf| -> Vec<EntryId> {
        let mut ids: Vec<EntryId> = shelf.entries().iter().map(|entry| entry.id).collect();
        ids.sort_unstable();
        ids
    };
    let from_right = right.out();
    let taken = left.take(&from_right, &Into::SameFarm).unwrap();
    assert_eq!((taken.new, taken.again), (0, 3));
    assert!(taken.new_device_id, "two machines wrote under one id");
    let again = left.take(&from_right, &Into::SameFarm).unwrap();
    assert!(again.is_nothing_new(), "{again:?}");

    let back = right.take(&left.out(), &Into::SameFarm).unwrap();
    assert_eq!(back.again, 1);
    let mut left_ids = ids(&mut left);
    let mut right_ids = ids(&mut right);
    left_ids.dedup();
    right_ids.dedup();
    assert_eq!(left_ids, right_ids);
    assert_eq!(left_ids.len(), made.len() + 4);
    let set_aside = |row: &Beside| matches!(row, Beside::Parked { code, .. } if code == "fork");
    assert_eq!(left.others().iter().filter(|row| set_aside(row)).count(), 3);
}

#[test]
fn a_file_of_a_newer_version_says_so() {
    let written = String::from_utf8(Shelf::of(&by_chain(plausible(7, 10))).out()).unwrap();
    let newer = written.replacen("\"version\":1", "\"version\":2", 1);
    let refused = Shelf::empty().take(newer.as_bytes(), &new_device()).unwrap_err();
    assert!(refused.what.contains("newer version"), "{refused}");
    assert!(refused.hint.contains("up to date"), "{refused}");
}

/// What a table of the book is to an export: carried, or left out and why.
const TABLES: &[(&str, &str)] = &[
    ("farm", "carried"),
    ("devices", "carried"),
    ("entries", "carried; their places in the server's feed are learned again from it"),
    ("clock", "carried"),
    ("link", "carried but for how far the feed was read"),
    ("promised", "carried"),
    ("network_values", "left out: the next sync tells it again"),
    ("value_history", "left out: what one device saw of how values moved"),
    ("network_summary", "left out: the next sync tells it again"),
    ("parked", "carried"),
    ("acts", "carried"),
    ("imported", "carried"),
    ("column_names", "carried"),
    ("withdrawn", "left out: undone on one device, nobody else's matter"),
    ("batches", "left out: what one device noted together"),
    ("seals", "left out: every book makes its own"),
    ("writes", "left out: every book counts its own"),
    ("chains", "left out: follows from the entries"),
    ("snapshots", "left out: made of the entries, thrown away at any time"),
    ("__diesel_schema_migrations", "left out: every book makes its own"),
];

#[derive(diesel::QueryableByName)]
struct Named {
    #[diesel(sql_type = diesel::sql_types::Text)]
    name: String,
}

/// A table that is new in the book is carried by `book/carry.rs`, or named here with why not.
#[test]
fn no_table_of_the_book_is_forgotten_by_an_export() {
    let shelf = Shelf::empty();
    let mut connection = open(shelf.book.path());
    let tables: Vec<Named> = diesel::sql_query(
        "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'",
    )
    .load(&mut connection)
    .unwrap();
    for table in tables {
        let known = TABLES.iter().any(|(name, _)| *name == table.name);
        assert!(known, "table {} is neither carried out nor named as left out", table.name);
    }
}

fn open(path: &Path) -> SqliteConnection {
    let mut connection = SqliteConnection::establish(path.to_str().unwrap()).unwrap();
    connection.batch_execute("PRAGMA query_only = ON").unwrap();
    connection
}
