//! Holds on SQLite, where writers share commits, against SQLite with a commit for each hold.

use std::thread;
use std::time::{Duration, Instant};

use diesel::connection::SimpleConnection as _;
use diesel::sql_types::Text;
use diesel::{Connection as _, RunQueryDsl, SqliteConnection, sql_query};
use spareloop_store::fresh;

use crate::Size;
use crate::common::{House, now};
use crate::load::{CLIENTS, Market, Pace, ask, check};

pub(crate) fn run(size: Size) {
    let house = House::on_sqlite();
    let market = Market::new(&house);
    let ours = ask(&house, &market, &market.offers, size.time);
    check(&house, &market);
    let alone = raw(1, size.time);
    let crowd = raw(CLIENTS, size.time);
    println!(
        "reserve sqlite clients {CLIENTS} per_second {:.0} p99/median {:.1} (median {:.1} ms) \
         raw_one_connection {:.0} ratio {:.1} raw_{CLIENTS}_connections {:.0} ratio {:.1}",
        ours.per_second,
        ours.p99 / ours.median,
        ours.median,
        alone.per_second,
        ours.per_second / alone.per_second,
        crowd.per_second,
        ours.per_second / crowd.per_second,
    );
}

/// The five writes of a hold in one transaction, without anything else that a hold asks for: no
/// reading, no rules, no words made.
fn raw(clients: usize, time: Duration) -> Pace {
    let house = House::on_sqlite();
    let market = Market::new(&house);
    let file = house.url.file().unwrap().to_str().unwrap().to_owned();
    let begun = Instant::now();
    let took: Vec<Duration> = thread::scope(|scope| {
        let threads: Vec<_> = (0..clients)
            .map(|number| {
                let (file, market) = (&file, &market);
                scope.spawn(move || {
                    let mut connection = open(file);
                    let mut took = Vec::new();
                    for offer in market.offers.iter().cycle().skip(number) {
                        if begun.elapsed() > time {
                            break;
                        }
                        let start = Instant::now();
                        let words = [
                            market.network.id.to_string(),
                            offer.to_string(),
                            market.giver.id.to_string(),
                            market.takers[number].id.to_string(),
                        ];
                        if hold(&mut connection, &words).is_ok() {
                            took.push(start.elapsed());
                        }
                    }
                    took
                })
            })
            .collect();
        threads.into_iter().flat_map(|thread| thread.join().unwrap()).collect()
    });
    Pace::of(took, begun.elapsed())
}

fn open(file: &str) -> SqliteConnection {
    let mut connection = SqliteConnection::establish(file).unwrap();
    // As the store sets them: committed means on disk.
    connection
        .batch_execute(
            "PRAGMA busy_timeout = 60000; PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; \
             PRAGMA foreign_keys = ON;",
        )
        .unwrap();
    connection
}

/// Writes with `?1` the hold, `?2` the network, `?3` the offer, `?4` the giver, `?5` the taker.
const WRITES: [&str; 5] = [
    "INSERT INTO idempotency (caller, act_key, fingerprint, result, made_at) \
     VALUES (?5, ?1, 'seven', ?2 || ?3 || ?4, '2026-01-10 08:00:00')",
    "UPDATE offers SET held = held + 1, version = version + 1 WHERE id = ?3 AND network = ?2 \
     AND state = 'open' AND count - held - passed >= 1 AND ?1 <> ?4 AND ?4 <> ?5",
    "INSERT INTO holds (id, network, offer, giver, taker, count, purpose, unit_value_tenths, \
     asked_at, lapses_at, note) VALUES (?1, ?2, ?3, ?4, ?5, 1, 'swap', 15, \
     '2026-01-10 08:00:00', '2026-01-10 09:00:00', '')",
    "INSERT INTO hold_steps (hold, number, state, at, by_farm, why) \
     VALUES (?1, 1, 'held', '2026-01-10 08:00:00', ?5, substr(?2 || ?3 || ?4, 1, 9))",
    "INSERT INTO messages (id, farm, at, body, hold) \
     VALUES (?1, ?4, '2026-01-10 08:00:00', 'Somebody asks you to hold 1: ' || ?2 || ?3 || ?5, ?1)",
];

fn hold(connection: &mut SqliteConnection, words: &[String; 4]) -> diesel::QueryResult<()> {
    let hold = fresh::uuid(now()).unwrap().to_string();
    connection.batch_execute("BEGIN IMMEDIATE")?;
    for write in WRITES {
        let mut query = sql_query(write).into_boxed().bind::<Text, _>(hold.clone());
        for word in words {
            query = query.bind::<Text, _>(word.clone());
        }
        query.execute(connection)?;
    }
    connection.batch_execute("COMMIT")
}
