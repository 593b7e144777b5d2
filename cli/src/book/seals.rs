//! Seals: a SHA-256 over each small table, renewed in the transaction that changes it and held
//! against the table whenever the book is opened, so that a flipped byte in a setting, a link or a
//! remembered row is noticed instead of believed.
//!
//! Entries carry hashes of their own and have their chains ([`super::chains`]). What was imported
//! grows with the farm's files, so its seal is held against it when it is read, and renewed only
//! when it changed. Every other table is sealed without being named here, so that a new one is too.
//! A seal tells of damage, not of malice: whoever can write the file can renew a seal.

use std::collections::BTreeMap;

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

/// A column of a table.
#[derive(QueryableByName)]
struct Column {
    #[diesel(sql_type = Text)]
    of: String,
    #[diesel(sql_type = Text)]
    name: String,
}

/// A row of a table, as SQL writes it.
#[derive(QueryableByName)]
struct Line {
    #[diesel(sql_type = BigInt)]
    of: i64,
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

/// The tables that are sealed, and in each its columns in their order.
fn sealed(connection: &mut SqliteConnection) -> QueryResult<Vec<(String, Vec<String>)>> {
    let columns: Vec<Column> = diesel::sql_query(
        "SELECT tables.name AS of, columns.name AS name \
         FROM sqlite_schema AS tables, pragma_table_info(tables.name) AS columns \
         WHERE tables.type = 'table' AND tables.name NOT LIKE 'sqlite\\_%' ESCAPE '\\' \
         ORDER BY tables.name, columns.cid",
    )
    .load(connection)?;
    let mut sealed: Vec<(String, Vec<String>)> = Vec::new();
    for column in columns.into_iter().filter(|it| !APART.contains(&it.of.as_str())) {
        match sealed.last_mut() {
            Some((table, columns)) if *table == column.of => columns.push(column.name),
            _ => sealed.push((column.of, vec![column.name])),
        }
    }
    // Where a table begins in the file is not what it says.
    let said = ["type", "name", "tbl_name", "sql"].map(ToOwned::to_owned).to_vec();
    sealed.push((DESCRIPTION.to_owned(), said));
    Ok(sealed)
}

/// Counts the write and renews the seals of what it changed. Answers how often the book was written.
pub(super) fn renew(connection: &mut SqliteConnection) -> QueryResult<i64> {
    let written =
        diesel::sql_query("UPDATE writes SET count = count + 1 RETURNING count AS number")
            .get_result::<Number>(connection)?
            .number;
    let known = known(connection)?;
    let sealed_once = |name: &str| known.get(name).is_some_and(|digest| !digest.is_empty());
    let mut tables = sealed(connection)?;
    tables.retain(|(name, _)| name != IMPORTED || !sealed_once(name));
    for (name, digest) in digests(connection, &tables)? {
        if known.get(&name) != Some(&digest) {
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
    let mut tables = sealed(connection)?;
    let known = known(connection)?;
    if let Some(lost) = known.keys().find(|of| !tables.iter().any(|(name, _)| name == *of)) {
        return Err(broken(lost));
    }
    tables.retain(|(name, _)| name != IMPORTED);
    hold(connection, &known, &tables)
}

/// Holds one table against its seal.
pub(super) fn verify(connection: &mut SqliteConnection, table: &str) -> Result<(), BookError> {
    let mut tables = sealed(connection)?;
    tables.retain(|(name, _)| name == table);
    if tables.is_empty() {
        return Err(broken(table));
    }
    let known = known(connection)?;
    hold(connection, &known, &tables)
}

fn hold(
    connection: &mut SqliteConnection,
    known: &BTreeMap<String, String>,
    tables: &[(String, Vec<String>)],
) -> Result<(), BookError> {
    for (name, digest) in digests(connection, tables)? {
        if known.get(&name) != Some(&digest) {
            return Err(broken(&name));
        }
    }
    Ok(())
}

fn broken(name: &str) -> BookError {
    BookError::Damaged(format!("its part {name:?} is not what was written into it"))
}

fn known(connection: &mut SqliteConnection) -> QueryResult<BTreeMap<String, String>> {
    let seals =
        seals::table
            .select((seals::name, seals::digest))
            .load_iter::<(String, String), diesel::connection::DefaultLoadingMode>(connection)?;
    seals.collect()
}

/// The digest of each table: its name and every row with every column, each as SQL writes it,
/// sorted.
fn digests(
    connection: &mut SqliteConnection,
    tables: &[(String, Vec<String>)],
) -> QueryResult<Vec<(String, String)>> {
    if tables.is_empty() {
        return Ok(Vec::new());
    }
    let queries: Vec<String> = tables
        .iter()
        .enumerate()
        .map(|(of, (table, columns))| {
            let values: Vec<String> =
                columns.iter().map(|column| format!("quote({})", quoted(column))).collect();
            // As bytes, since damaged text need not be text any more.
            format!(
                "SELECT {of} AS of, CAST({} AS BLOB) AS line FROM {}",
                values.join(" || ',' || "),
                quoted(table)
            )
        })
        .collect();
    // One statement for all: each takes longer to prepare than to read its few rows.
    let rows: Vec<Line> = diesel::sql_query(queries.join(" UNION ALL ")).load(connection)?;
    let mut lines = vec![Vec::new(); tables.len()];
    for row in rows {
        // `of` is one of the places given above.
        if let Some(lines) = usize::try_from(row.of).ok().and_then(|of| lines.get_mut(of)) {
            lines.push(row.line);
        }
    }
    Ok(tables
        .iter()
        .zip(lines)
        .map(|((table, _), lines)| (table.clone(), digest(table, lines)))
        .collect())
}

fn digest(table: &str, mut lines: Vec<Vec<u8>>) -> String {
    lines.sort_unstable();
    let mut hash = Sha256::new();
    hash.update(table);
    for line in lines {
        hash.update(line.len().to_be_bytes());
        hash.update(line);
    }
    hex(&hash.finalize())
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
