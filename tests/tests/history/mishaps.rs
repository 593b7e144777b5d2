//! What befalls the server and its database while everybody calls.

use std::path::Path;
use std::process::Command;
use std::thread;
use std::time::{Duration, Instant};

use diesel::connection::SimpleConnection;
use diesel::{Connection, PgConnection, SqliteConnection};
use spareloop_domain::ledger::generate::Dice;
use spareloop_tests::database::Cluster;
use spareloop_tests::network::Network;

/// How often each happened.
#[derive(Debug, Clone, Copy, Default)]
pub struct Mishaps {
    /// The server was killed (`kill -9`) and started again.
    pub kills: u32,
    /// PostgreSQL crashed and came back.
    pub restarts: u32,
    /// The server stood still (`SIGSTOP`), or its database was locked by another program.
    pub stalls: u32,
}

#[derive(Debug, Clone, Copy)]
enum Mishap {
    Kill,
    Restart,
    Stop,
    Lock,
}

impl Mishaps {
    /// Lets things happen, one after another, each of them at least once, until the time is over.
    pub fn happen(
        &mut self,
        network: &mut Network,
        cluster: Option<&Cluster>,
        seed: u64,
        time: Duration,
    ) {
        let mut dice = Dice::new(seed);
        let kinds: &[Mishap] = match cluster {
            None => &[Mishap::Kill, Mishap::Lock, Mishap::Kill, Mishap::Stop],
            Some(_) => &[Mishap::Kill, Mishap::Restart, Mishap::Stop, Mishap::Lock],
        };
        let begun = Instant::now();
        let mut turn = 0;
        while turn < kinds.len() || begun.elapsed() < time {
            thread::sleep(Duration::from_millis(u64::from(400 + dice.below(800))));
            let pause = Duration::from_millis(u64::from(200 + dice.below(1_200)));
            match kinds[turn % kinds.len()] {
                Mishap::Kill => {
                    network.start_again();
                    self.kills += 1;
                }
                Mishap::Restart => {
                    cluster.expect("only on PostgreSQL").strike();
                    self.restarts += 1;
                }
                Mishap::Stop => {
                    signal("STOP", network.server.process());
                    thread::sleep(pause);
                    signal("CONT", network.server.process());
                    self.stalls += 1;
                }
                Mishap::Lock => {
                    lock(network, pause);
                    self.stalls += 1;
                }
            }
            turn += 1;
        }
    }
}

fn signal(name: &str, process: u32) {
    let done = Command::new("bash").args(["-c", &format!("kill -{name} {process}")]).status();
    assert!(done.is_ok_and(|status| status.success()), "kill -{name}");
}

/// Another program keeps everybody from writing offers for a while.
fn lock(network: &Network, for_how_long: Duration) {
    if let Some(url) = network.database_url() {
        let mut other = PgConnection::establish(&url).expect("the database answers");
        other.batch_execute("BEGIN; LOCK TABLE offers IN EXCLUSIVE MODE").expect("a lock");
        thread::sleep(for_how_long);
        other.batch_execute("ROLLBACK").expect("the lock goes");
    } else {
        let mut other = sqlite(&network.data());
        other.batch_execute("BEGIN IMMEDIATE").expect("a lock");
        thread::sleep(for_how_long);
        other.batch_execute("ROLLBACK").expect("the lock goes");
    }
}

fn sqlite(data: &Path) -> SqliteConnection {
    let path = data.join("spareloop.sqlite");
    let mut connection =
        SqliteConnection::establish(path.to_str().expect("a plain path")).expect("the book");
    connection.batch_execute("PRAGMA busy_timeout = 5000").expect("patience");
    connection
}
