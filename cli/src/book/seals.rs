//! Seals: a SHA-256 over each small table, renewed in the transaction that changes it and held
//! against the table whenever the book is opened, so that a flipped byte in a setting, a link or a
//! remembered row is noticed instead of believed.
//!
//! Entries carry hashes of their own and have their chains ([`super::chains`]). What was imported
//! grows with the farm's files, so its seal is held against it when it is read, and renewed only
//! when it changed. Every other table is sealed without being named here, so that a new one is too.
//! A seal tells of damage, not of malice: whoever can write the file can renew a seal.

use diesel::prelude::*;
use diesel::sql_types::{BigInt, Binary, Text};
use diesel::sqlite::SqliteConnection;
use sha2::{Digest, Sha256};

use super::BookError;
use super::schema::seals;

/// Tables that are not sealed: they carry hashes of their own, or are these seals.
const APART: [&str; 3] = ["entries", "seals", "snapshots"];
/// Sealed, but held against its seal only when it is read.
pub(super) const IMPORTED: &str = "imported";
/// The name under which the tables' own description is sealed.
const DESCRIPTION: &str = "sqlite_schema";

#[derive(QueryableByName)]
struct Name {
    #[diesel(sql_type = Text)]
    name: String,
}

#[derive(QueryableByName)]
struct Line {
    #[diesel(sql_type = Binary)]
    line: Vec<u8>,
}

#[derive(QueryableByName)]
struct Number {
    #[diesel(sql_type = BigInt)]
    number: i64,
}

/// How many rows this connection has changed so far.
pub(super) fn changes(connection: &mut SqliteConnection) -> QueryResult<i64> {
    Ok(diesel::sql_query("SELECT total_changes() AS number")
        .get_result::<Number>(connection)?
        .number)
}

/// Whether the book is one that has seals: those made before there were any get them when they are
/// brought up to date.
pub(super) fn are_there(connection: &mut SqliteConnection) -> QueryResult<bool> {
    Ok(tables(connection)?.iter().any(|name| name == "seals"))
}

/// The tables of the file, as its own description has them.
pub(super) fn tables(connection: &mut SqliteConnection) -> QueryResult<Vec<String>> {
    let names: Vec<Name> = diesel::sql_query(
        "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite\\_%' \
         ESCAPE '\\' ORDER BY name",
    )
    .load(connection)?;
    Ok(names.into_iter().map(|it| it.name).collect())
}

fn sealed(connection: &mut SqliteConnection) -> QueryResult<Vec<String>> {
    let mut names = tables(connection)?;
    names.retain(|name| !APART.contains(&name.as_str()));
    names.push(DESCRIPTION.to_owned());
    Ok(names)
}

/// Counts the write and renews the seals of what it changed. Answers how often the book was written.
pub(super) fn renew(connection: &mut SqliteConnection) -> QueryResult<i64> {
    let written =
        diesel::sql_query("UPDATE writes SET count = count + 1 RETURNING count AS number")
            .get_result::<Number>(connection)?
            .number;
    let known = known(connection)?;
    for name in sealed(connection)? {
        let before = known.iter().find(|(of, _)| *of == name).map(|(_, digest)| digest.as_str());
        if name == IMPORTED && before.is_some_and(|digest| !digest.is_empty()) {
            continue;
        }
        let digest = digest(connection, &name)?;
        if before != Some(digest.as_str()) {
            diesel::replace_into(seals::table)
                .values((seals::name.eq(&name), seals::digest.eq(&digest)))
                .execute(connection)?;
        }
    }
    Ok(written)
}

/// Seals everything anew, after the tables themselves were changed.
pub(super) fn renew_all(connection: &mut SqliteConnection) -> QueryResult<()> {
    diesel::delete(seals::table).execute(connection)?;
    renew(connection).map(drop)
}

/// Holds every small table against its seal.
pub(super) fn verify_small(connection: &mut SqliteConnection) -> Result<(), BookError> {
    let known = known(connection)?;
    let names = sealed(connection)?;
    for name in names.iter().filter(|name| *name != IMPORTED) {
        hold(connection, &known, name)?;
    }
    match known.iter().find(|(of, _)| !names.contains(of)) {
        Some((lost, _)) => Err(broken(lost)),
        None => Ok(()),
    }
}

/// Holds one table against its seal.
pub(super) fn verify(connection: &mut SqliteConnection, name: &str) -> Result<(), BookError> {
    let known = known(connection)?;
    hold(connection, &known, name)
}

fn hold(
    connection: &mut SqliteConnection,
    known: &[(String, String)],
    name: &str,
) -> Result<(), BookError> {
    let digest = digest(connection, name)?;
    if known.iter().any(|(of, sealed)| of == name && *sealed == digest) {
        Ok(())
    } else {
        Err(broken(name))
    }
}

fn broken(name: &str) -> BookError {
    BookError::Damaged(format!("its part {name:?} is not what was written into it"))
}

fn known(connection: &mut SqliteConnection) -> QueryResult<Vec<(String, String)>> {
    seals::table.select((seals::name, seals::digest)).load(connection)
}

/// The digest of a table: its name and every row with every column, each as SQL writes it, sorted.
fn digest(connection: &mut SqliteConnection, table: &str) -> QueryResult<String> {
    let columns = if table == DESCRIPTION {
        // Where a table begins in the file is not what it says.
        ["type", "name", "tbl_name", "sql"].map(ToOwned::to_owned).to_vec()
    } else {
        let columns: Vec<Name> =
            diesel::sql_query("SELECT name FROM pragma_table_info($1) ORDER BY cid")
                .bind::<Text, _>(table)
                .load(connection)?;
        columns.into_iter().map(|it| it.name).collect()
    };
    let values: Vec<String> =
        columns.iter().map(|column| format!("quote({})", quoted(column))).collect();
    let query = format!(
        "SELECT CAST({} AS BLOB) AS line FROM {} ORDER BY 1",
        values.join(" || ',' || "),
        quoted(table)
    );
    let mut hash = Sha256::new();
    hash.update(table);
    // As bytes, since damaged text need not be text any more.
    for row in diesel::sql_query(query)
        .load_iter::<Line, diesel::connection::DefaultLoadingMode>(connection)?
    {
        let line = row?.line;
        hash.update(line.len().to_be_bytes());
        hash.update(line);
    }
    Ok(hex(&hash.finalize()))
}

/// Bytes as hexadecimal digits.
pub(super) fn hex(bytes: &[u8]) -> String {
    bytes
        .iter()
        .fold(String::with_capacity(2 * bytes.len()), |text, byte| text + &format!("{byte:02x}"))
}

fn quoted(name: &str) -> String {
    format!("\"{}\"", name.replace('"', "\"\""))
}
