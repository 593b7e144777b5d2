//! The two databases that a server may stand on.
//!
//! PostgreSQL is a throw-away cluster that `tests/postgres.sh start` makes; its address comes in
//! `SPARELOOP_TEST_POSTGRES`. Without it the tests fail: they never pass it over.

use std::path::PathBuf;
use std::process::Command;
use std::sync::atomic::{AtomicU32, Ordering};

use diesel::{Connection, PgConnection, RunQueryDsl, sql_query};

/// Which of the two.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// The embedded default.
    Sqlite,
    /// A database of its own in the test cluster.
    Postgresql,
}

/// A database in the test cluster, gone when dropped.
pub struct Postgresql {
    cluster: String,
    name: String,
}

impl Postgresql {
    /// Makes an empty one.
    pub fn fresh() -> Self {
        let cluster = std::env::var("SPARELOOP_TEST_POSTGRES").unwrap_or_else(|_| {
            panic!(
                "these tests need PostgreSQL and never skip it; from the top of the repository:\n  \
                 export SPARELOOP_TEST_POSTGRES=$(tests/postgres.sh start)"
            )
        });
        Self::fresh_in(&cluster)
    }

    /// Makes an empty one in a cluster.
    pub fn fresh_in(cluster: &str) -> Self {
        static NEXT: AtomicU32 = AtomicU32::new(0);
        let cluster = cluster.to_owned();
        let number = NEXT.fetch_add(1, Ordering::Relaxed);
        let name = format!("whole_job_{}_{number}", std::process::id());
        let mut connection = PgConnection::establish(&cluster).expect("the test cluster answers");
        // A run that was killed may have left one of this name behind.
        for words in ["DROP DATABASE IF EXISTS", "CREATE DATABASE"] {
            sql_query(format!("{words} {name}"))
                .execute(&mut connection)
                .expect("an empty database");
        }
        Self { cluster, name }
    }

    /// Its URL, as the server takes it.
    pub fn url(&self) -> String {
        let (cluster, _) = self.cluster.rsplit_once('/').expect("an address with a database");
        format!("{cluster}/{}", self.name)
    }
}

impl Drop for Postgresql {
    fn drop(&mut self) {
        if let Ok(mut connection) = PgConnection::establish(&self.cluster) {
            let drop = format!("DROP DATABASE {} WITH (FORCE)", self.name);
            let _ = sql_query(drop).execute(&mut connection);
        }
    }
}

/// A PostgreSQL cluster of one test's own, which keeps what it says it keeps and may be struck.
pub struct Cluster {
    folder: PathBuf,
    url: String,
}

impl Cluster {
    /// Makes and starts one.
    pub fn start() -> Self {
        static NEXT: AtomicU32 = AtomicU32::new(0);
        let number = NEXT.fetch_add(1, Ordering::Relaxed);
        let name = format!("spareloop-cluster-{}-{number}", std::process::id());
        let folder = std::env::temp_dir().join(name);
        let url = script(&folder, "start");
        Self { folder, url }
    }

    /// Its URL, with the database that every cluster has.
    pub fn url(&self) -> &str {
        &self.url
    }

    /// Strikes it down without a farewell, and starts it again at the same place.
    pub fn strike(&self) {
        script(&self.folder, "strike");
    }
}

impl Drop for Cluster {
    fn drop(&mut self) {
        script(&self.folder, "stop");
    }
}

/// Runs the script that makes throw-away clusters.
fn script(folder: &std::path::Path, word: &str) -> String {
    let output = Command::new(concat!(env!("CARGO_MANIFEST_DIR"), "/postgres.sh"))
        .arg(word)
        .env("SPARELOOP_TEST_CLUSTER", folder)
        .env("SPARELOOP_TEST_DURABLE", "yes")
        .output()
        .expect("postgres.sh runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8_lossy(&output.stdout).trim().to_owned()
}

/// Runs each body on both databases, as `name::on_sqlite` and `name::on_postgresql`.
#[macro_export]
macro_rules! on_both {
    ($(fn $name:ident($kind:ident: Kind) $body:block)+) => {
        $(mod $name {
            #[allow(unused_imports)]
            use super::*;

            fn body($kind: $crate::database::Kind) $body

            #[test]
            fn on_sqlite() {
                body($crate::database::Kind::Sqlite);
            }

            #[test]
            fn on_postgresql() {
                body($crate::database::Kind::Postgresql);
            }
        })+
    };
}
