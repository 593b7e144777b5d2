//! What was imported before, and which column held what.

use std::collections::BTreeMap;

use diesel::prelude::*;
use diesel::sqlite::SqliteConnection;
use spareloop_domain::words::LotId;

use super::farm::odd;
use super::schema::{column_names, imported};
use super::{BookError, seals};

/// A row as it was imported.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ImportedRow {
    /// What the row said, in one form whatever the file's.
    pub text: String,
    /// The lot that it is about.
    pub lot: LotId,
}

/// The rows of one kind of file, by their key.
pub fn rows(
    connection: &mut SqliteConnection,
    file_kind: &str,
) -> Result<BTreeMap<String, ImportedRow>, BookError> {
    seals::verify(connection, seals::IMPORTED)?;
    let rows: Vec<(String, String, String)> = imported::table
        .filter(imported::file_kind.eq(file_kind))
        .select((imported::row_key, imported::row_text, imported::lot))
        .load(connection)?;
    rows.into_iter()
        .map(|(key, text, lot)| Ok((key, ImportedRow { text, lot: lot.parse().map_err(odd)? })))
        .collect()
}

/// Remembers a row, in place of what was remembered under its key.
pub fn remember(
    connection: &mut SqliteConnection,
    file_kind: &str,
    key: &str,
    row: &ImportedRow,
) -> Result<(), BookError> {
    diesel::replace_into(imported::table)
        .values((
            imported::file_kind.eq(file_kind),
            imported::row_key.eq(key),
            imported::row_text.eq(&row.text),
            imported::lot.eq(row.lot.to_string()),
        ))
        .execute(connection)?;
    Ok(())
}

/// The columns as last confirmed: header to field.
pub fn columns(
    connection: &mut SqliteConnection,
    file_kind: &str,
) -> Result<BTreeMap<String, String>, BookError> {
    let rows: Vec<(String, String)> = column_names::table
        .filter(column_names::file_kind.eq(file_kind))
        .select((column_names::header, column_names::field))
        .load(connection)?;
    Ok(rows.into_iter().collect())
}

/// Remembers that a column of that header holds that field.
pub fn remember_column(
    connection: &mut SqliteConnection,
    file_kind: &str,
    header: &str,
    field: &str,
) -> Result<(), BookError> {
    diesel::replace_into(column_names::table)
        .values((
            column_names::file_kind.eq(file_kind),
            column_names::header.eq(header),
            column_names::field.eq(field),
        ))
        .execute(connection)?;
    Ok(())
}
