//! The tables' history, embedded: the same names in both folders, each with a way back.

use diesel::backend::Backend;
use diesel::migration::MigrationSource;
use diesel::sql_types::Text;
use diesel::{PgConnection, QueryableByName, RunQueryDsl, SqliteConnection, sql_query};
use diesel_migrations::{EmbeddedMigrations, MigrationHarness, embed_migrations};

use crate::StoreError;
use crate::connection::AnyConnection;

const SQLITE: EmbeddedMigrations = embed_migrations!("../../migrations/server/sqlite");
const POSTGRES: EmbeddedMigrations = embed_migrations!("../../migrations/server/postgres");

/// Number of an advisory lock: replicas that start together migrate one after the other.
const MIGRATING: &str = "7206174";

/// Brings the tables up to date; a database that isn't ours or is newer is left alone.
pub(crate) fn up(connection: &mut AnyConnection) -> Result<(), StoreError> {
    match connection {
        AnyConnection::Sqlite(c) => refuse_strange(sqlites_tables(c)?, c, SQLITE)?,
        AnyConnection::Postgres(c) => refuse_strange(postgres_tables(c)?, c, POSTGRES)?,
    }
    match connection {
        AnyConnection::Sqlite(c) => harness(c.run_pending_migrations(SQLITE).map(drop)),
        AnyConnection::Postgres(c) => {
            locked(c, |c| harness(c.run_pending_migrations(POSTGRES).map(drop)))
        }
    }
}

#[derive(QueryableByName)]
struct Name {
    #[diesel(sql_type = Text)]
    name: String,
}

type Tables = Vec<Name>;

fn sqlites_tables(connection: &mut SqliteConnection) -> Result<Tables, StoreError> {
    Ok(sql_query("SELECT name FROM sqlite_schema WHERE type = 'table'").load(connection)?)
}

fn postgres_tables(connection: &mut PgConnection) -> Result<Tables, StoreError> {
    Ok(sql_query("SELECT tablename::text AS name FROM pg_tables WHERE schemaname = 'public'")
        .load(connection)?)
}

/// Refuses a database of another program, and one with tables of a later version than this knows.
fn refuse_strange<C, DB>(
    tables: Tables,
    connection: &mut C,
    known: EmbeddedMigrations,
) -> Result<(), StoreError>
where
    DB: Backend,
    C: MigrationHarness<DB>,
    EmbeddedMigrations: MigrationSource<DB>,
{
    if tables.is_empty() {
        return Ok(());
    }
    let has = |wanted: &str| tables.iter().any(|table| table.name == wanted);
    if !has("__diesel_schema_migrations") {
        return Err(StoreError::NotOurs);
    }
    let wrong = |error| StoreError::corrupt(format!("its versions can't be read: {error}"));
    let applied = connection.applied_migrations().map_err(wrong)?;
    let known = known.migrations().map_err(wrong)?;
    let known: Vec<_> = known.iter().map(|migration| migration.name().version()).collect();
    let newer = applied.iter().filter(|version| !known.contains(version)).max();
    match newer {
        None => Ok(()),
        Some(newer) if known.iter().all(|version| applied.contains(version)) => {
            Err(StoreError::Newer { tables: newer.to_string() })
        }
        // A newer one has all that this program knows, and more.
        Some(_) => Err(StoreError::corrupt("its versions are not what was written")),
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
