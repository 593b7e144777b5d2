//! What keeping copies needs of a PostgreSQL cluster: who serves from a database, what is in it,
//! and a scratch database to try a copy in.
//!
//! What may not enter: the programs that make and read copies (the server's `keep` runs them).

use std::sync::{Mutex, PoisonError};

use diesel::connection::SimpleConnection;
use diesel::sql_types::{BigInt, Bool, Integer, Text};
use diesel::{Connection as _, PgConnection, QueryableByName, RunQueryDsl, sql_query};

use crate::connection::AnyConnection;
use crate::{DatabaseUrl, OutageKind, StoreError, Tx};

/// Number of the advisory lock that running servers share and a restore wants for itself.
const SERVING: &str = "7206175";

#[derive(QueryableByName)]
struct Got {
    #[diesel(sql_type = Bool)]
    got: bool,
}

#[derive(QueryableByName)]
struct Number {
    #[diesel(sql_type = BigInt)]
    number: i64,
}

#[derive(QueryableByName)]
struct Version {
    #[diesel(sql_type = Integer)]
    version: i32,
}

#[derive(QueryableByName)]
struct Name {
    #[diesel(sql_type = Text)]
    name: String,
}

/// Whether a lock was had.
#[derive(Debug)]
pub enum Taken<T> {
    /// It is the caller's until dropped.
    Ours(T),
    /// Somebody has it.
    Others,
}

fn connect(url: &str) -> Result<PgConnection, StoreError> {
    PgConnection::establish(url).map_err(|error| StoreError::outage(OutageKind::Unreachable, error))
}

fn try_lock(connection: &mut PgConnection, call: &str) -> Result<bool, StoreError> {
    Ok(sql_query(format!("SELECT {call}({SERVING}) AS got")).get_result::<Got>(connection)?.got)
}

/// That a server runs on a database, told by a lock on a connection of its own. It goes with the
/// process. A pooler that shares connections between transactions does not keep it.
pub struct Presence {
    url: String,
    connection: Mutex<Option<PgConnection>>,
}

impl std::fmt::Debug for Presence {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Presence")
    }
}

impl Presence {
    /// Says that a server runs on the database; another's restore that is under way comes first.
    pub fn take(url: &DatabaseUrl) -> Result<Taken<Option<Self>>, StoreError> {
        let DatabaseUrl::Postgres(url) = url else { return Ok(Taken::Ours(None)) };
        let mut connection = connect(url)?;
        Ok(if try_lock(&mut connection, "pg_try_advisory_lock_shared")? {
            let connection = Mutex::new(Some(connection));
            Taken::Ours(Some(Self { url: url.clone(), connection }))
        } else {
            Taken::Others
        })
    }

    /// Says it again, if the connection was lost meanwhile.
    pub fn renew(&self) -> Result<(), StoreError> {
        let mut held = self.connection.lock().unwrap_or_else(PoisonError::into_inner);
        if held.as_mut().is_some_and(|connection| connection.batch_execute("SELECT 1").is_ok()) {
            return Ok(());
        }
        *held = None;
        let mut connection = connect(&self.url)?;
        if !try_lock(&mut connection, "pg_try_advisory_lock_shared")? {
            return Err(StoreError::broken("a copy is being put back under a running server"));
        }
        *held = Some(connection);
        Ok(())
    }
}

/// A PostgreSQL database that nobody serves from while this is held.
pub struct Alone(PgConnection);

impl Alone {
    /// Takes the database for oneself, unless a server runs on it. Nothing for SQLite.
    pub fn take(url: &DatabaseUrl) -> Result<Taken<Option<Self>>, StoreError> {
        let DatabaseUrl::Postgres(url) = url else { return Ok(Taken::Ours(None)) };
        let mut connection = connect(url)?;
        Ok(if try_lock(&mut connection, "pg_try_advisory_lock")? {
            Taken::Ours(Some(Self(connection)))
        } else {
            Taken::Others
        })
    }

    /// How many tables are in it.
    pub fn tables(&mut self) -> Result<u64, StoreError> {
        let found =
            sql_query("SELECT count(*) AS number FROM pg_tables WHERE schemaname = 'public'")
                .get_result::<Number>(&mut self.0)?;
        Ok(found.number.unsigned_abs())
    }
}

/// The main version of the PostgreSQL that answers, as 15.
pub fn main_version(url: &DatabaseUrl) -> Result<Option<u32>, StoreError> {
    let DatabaseUrl::Postgres(url) = url else { return Ok(None) };
    let version = sql_query("SELECT current_setting('server_version_num')::integer AS version")
        .get_result::<Version>(&mut connect(url)?)?
        .version;
    Ok(Some(version.unsigned_abs() / 10_000))
}

/// The name under which others see what this transaction sees, for as long as it lasts; `None` for
/// SQLite, where nothing else needs it.
pub fn shared_snapshot(tx: &mut Tx<'_>) -> Result<Option<String>, StoreError> {
    let AnyConnection::Postgres(connection) = tx.connection else { return Ok(None) };
    // A copy of a large database takes its time.
    connection.batch_execute("SET LOCAL idle_in_transaction_session_timeout = 0")?;
    let found = sql_query("SELECT pg_export_snapshot() AS name").get_result::<Name>(connection)?;
    Ok(Some(found.name))
}

/// An empty database in the same cluster, gone when dropped.
pub struct Scratch {
    cluster: String,
    name: String,
    /// Its address.
    pub url: DatabaseUrl,
}

impl Scratch {
    /// Makes one of that name; the role needs the right to.
    pub fn make(beside: &DatabaseUrl, name: &str) -> Result<Self, StoreError> {
        let (DatabaseUrl::Postgres(cluster), Some(url)) = (beside, beside.with_database(name))
        else {
            return Err(StoreError::broken("a scratch database is PostgreSQL's"));
        };
        connect(cluster)?.batch_execute(&format!("CREATE DATABASE {name}"))?;
        Ok(Self { cluster: cluster.clone(), name: name.to_owned(), url })
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        let dropped = connect(&self.cluster).and_then(|mut connection| {
            Ok(connection.batch_execute(&format!("DROP DATABASE {} WITH (FORCE)", self.name))?)
        });
        if let Err(error) = dropped {
            tracing::warn!(name = %self.name, log = error.log_text(), "a scratch database is left");
        }
    }
}
