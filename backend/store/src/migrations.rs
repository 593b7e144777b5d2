//! The tables' history, embedded: the same names in both folders, each with a way back.

use diesel::{PgConnection, RunQueryDsl, sql_query};
use diesel_migrations::{EmbeddedMigrations, MigrationHarness, embed_migrations};

use crate::StoreError;
use crate::connection::AnyConnection;

const SQLITE: EmbeddedMigrations = embed_migrations!("../../migrations/server/sqlite");
const POSTGRES: EmbeddedMigrations = embed_migrations!("../../migrations/server/postgres");

/// Number of an advisory lock: replicas that start together migrate one after the other.
const MIGRATING: &str = "7206174";

/// Brings the tables up to date.
pub(crate) fn up(connection: &mut AnyConnection) -> Result<(), StoreError> {
    match connection {
        AnyConnection::Sqlite(c) => harness(c.run_pending_migrations(SQLITE).map(drop)),
        AnyConnection::Postgres(c) => {
            locked(c, |c| harness(c.run_pending_migrations(POSTGRES).map(drop)))
        }
    }
}

fn locked(
    connection: &mut PgConnection,
    work: impl FnOnce(&mut PgConnection) -> Result<(), StoreError>,
) -> Result<(), StoreError> {
    sql_query(format!("SELECT pg_advisory_lock({MIGRATING})")).execute(connection)?;
    let done = work(connection);
    sql_query(format!("SELECT pg_advisory_unlock({MIGRATING})")).execute(connection)?;
    done
}

fn harness(done: diesel::migration::Result<()>) -> Result<(), StoreError> {
    done.map_err(|error| StoreError::broken(format!("a migration failed: {error}")))
}
