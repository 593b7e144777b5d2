//! Writers who meet at one SQLite book.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

use diesel::connection::SimpleConnection as _;
use diesel::{ExpressionMethods, QueryDsl, RunQueryDsl};

use crate::schema::server_state;
use crate::{Conflict, DatabaseUrl, Store, StoreError, Tx};

const WRITERS: usize = 12;

struct Shelf {
    store: Store,
    folder: tempfile::TempDir,
}

impl Shelf {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(&DatabaseUrl::Sqlite(folder.path().join("server.db"))).unwrap();
        Self { store, folder }
    }

    fn commits(&self) -> usize {
        commits_in(&self.folder.path().join("server.db-wal"))
    }

    fn names(&self) -> Vec<String> {
        self.store
            .read(|tx| {
                Ok(server_state::table
                    .filter(server_state::name.ne("epoch"))
                    .order(server_state::name)
                    .select(server_state::name)
                    .load(tx.connection)?)
            })
            .unwrap()
    }

    /// Waits until so many stand in line.
    fn wait_for_line(&self, length: usize) {
        while self.store.standing().unwrap_or(0) < length {
            thread::yield_now();
        }
    }

    /// Writes, and keeps its turn until so many stand behind it; once, should it have to go again.
    fn first(&self, others: usize) -> Result<(), StoreError> {
        let mut waited = false;
        self.store.write(|tx| {
            put(tx, "writer first")?;
            if !std::mem::replace(&mut waited, true) {
                self.wait_for_line(others);
            }
            Ok(())
        })
    }

    /// The first writer writes and waits for the others to line up, who then do `each`.
    fn meet<T: Send>(
        &self,
        others: usize,
        each: impl Fn(usize) -> T + Sync,
    ) -> (Result<(), StoreError>, Vec<T>) {
        thread::scope(|scope| {
            let first = scope.spawn(|| self.first(others));
            while self.store.standing().is_none() {
                thread::yield_now();
            }
            let each = &each;
            let threads: Vec<_> =
                (0..others).map(|number| scope.spawn(move || each(number))).collect();
            let done = threads.into_iter().map(|thread| thread.join().unwrap()).collect();
            (first.join().unwrap(), done)
        })
    }
}

fn put(tx: &mut Tx<'_>, name: &str) -> Result<(), StoreError> {
    diesel::insert_into(server_state::table)
        .values((server_state::name.eq(name), server_state::value.eq("there")))
        .execute(tx.connection)?;
    Ok(())
}

/// How many transactions a write-ahead log holds: in a frame's header the second number is 0 but
/// in the last frame of a transaction. <https://www.sqlite.org/fileformat2.html#the_write_ahead_log>
fn commits_in(wal: &Path) -> usize {
    let bytes = std::fs::read(wal).unwrap();
    let number = |at: usize| u32::from_be_bytes(bytes[at..at + 4].try_into().unwrap());
    let page = usize::try_from(number(8)).unwrap();
    let salt = &bytes[16..24];
    (32..bytes.len())
        .step_by(24 + page)
        .filter(|at| bytes.len() >= at + 24 && &bytes[at + 8..at + 16] == salt)
        .filter(|at| number(at + 4) != 0)
        .count()
}

#[test]
fn writers_who_wait_for_one_another_share_one_commit() {
    let shelf = Shelf::new();
    let before = shelf.commits();
    let (first, others) =
        shelf.meet(WRITERS, |number| shelf.store.write(|tx| put(tx, &format!("writer {number}"))));
    assert_eq!((first, others), (Ok(()), vec![Ok(()); WRITERS]));
    assert_eq!(shelf.commits() - before, 1, "thirteen acts, one wait for the disk");
    assert_eq!(shelf.names().len(), WRITERS + 1);
}

#[test]
fn one_writer_alone_commits_each_act() {
    let shelf = Shelf::new();
    let before = shelf.commits();
    for number in 0..5 {
        shelf.store.write(|tx| put(tx, &format!("writer {number}"))).unwrap();
        assert_eq!(shelf.commits() - before, number + 1);
    }
}

#[test]
fn an_act_that_is_refused_or_panics_among_others_takes_nothing_but_itself_back() {
    let shelf = Shelf::new();
    let (first, others) = shelf.meet(WRITERS, |number| {
        catch_unwind(AssertUnwindSafe(|| {
            shelf.store.write(|tx| {
                put(tx, &format!("writer {number:02}"))?;
                match number % 3 {
                    0 => Err(Conflict::StillWorking.into()),
                    1 => panic!("on purpose, by a test"),
                    _ => Ok(()),
                }
            })
        }))
    });
    assert_eq!(first, Ok(()));
    for (number, done) in others.into_iter().enumerate() {
        match number % 3 {
            0 => assert_eq!(done.unwrap(), Err(Conflict::StillWorking.into())),
            1 => assert!(done.is_err()),
            _ => assert_eq!(done.unwrap(), Ok(())),
        }
    }
    let kept = ["writer 02", "writer 05", "writer 08", "writer 11", "writer first"];
    assert_eq!(shelf.names(), kept);
}

#[test]
fn a_transaction_that_is_lost_as_a_whole_is_done_again_by_all_but_the_one_that_lost_it() {
    let shelf = Shelf::new();
    let runs = AtomicUsize::new(0);
    let (first, others) = shelf.meet(WRITERS, |number| {
        shelf.store.write(|tx| {
            runs.fetch_add(1, Ordering::Relaxed);
            put(tx, &format!("writer {number:02}"))?;
            if number == 7 {
                // As SQLite does by itself when the disk is full.
                tx.connection.batch_execute("ROLLBACK")?;
            }
            Ok(())
        })
    });
    assert_eq!(first, Ok(()), "the first had done its act, and did it again");
    for (number, done) in others.iter().enumerate() {
        assert_eq!(done.is_ok(), number != 7, "{done:?}");
    }
    assert!(runs.into_inner() >= WRITERS);
    let names = shelf.names();
    assert_eq!(names.len(), WRITERS, "{names:?}");
    assert!(!names.contains(&"writer 07".to_owned()));
}

#[test]
fn nobody_is_refused_for_what_was_never_kept() {
    let shelf = Shelf::new();
    let refused_within = AtomicUsize::new(0);
    thread::scope(|scope| {
        let first = scope.spawn(|| shelf.first(1));
        while shelf.store.standing().is_none() {
            thread::yield_now();
        }
        // Finds the first's row and is refused for it, if it looks before that is lost.
        let second = scope.spawn(|| {
            shelf.store.write(|tx| {
                let found: i64 = server_state::table
                    .filter(server_state::name.eq("writer first"))
                    .count()
                    .get_result(tx.connection)?;
                if found > 0 && refused_within.fetch_add(1, Ordering::Relaxed) == 0 {
                    // Until the third stands behind it.
                    shelf.wait_for_line(1);
                    return Err(Conflict::StillWorking.into());
                }
                Ok(found)
            })
        });
        while refused_within.load(Ordering::Relaxed) == 0 {
            thread::yield_now();
        }
        let third = scope.spawn(|| {
            shelf.store.write(|tx| {
                put(tx, "writer third")?;
                Ok(tx.connection.batch_execute("ROLLBACK")?)
            })
        });
        assert!(third.join().unwrap().is_err(), "it lost the transaction of all three");
        assert!(second.join().unwrap().is_ok(), "it looked again, and was told what is so");
        first.join().unwrap().unwrap();
    });
    assert_eq!(shelf.names(), ["writer first"]);
}
