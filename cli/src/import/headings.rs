//! Which sheet and which row says what the columns hold.
//!
//! People write a title above their headings, join cells, and keep other sheets in front: the
//! first row that names all that is needed is the heading row.
//!
//! What may not enter: what a column's cells mean.

use super::table::{Record, Serials, Table};
use crate::fault::Fault;

/// A table whose headings are found.
#[derive(Debug, Clone)]
pub(super) struct Sheet {
    /// The sheet's name, if it has one.
    pub(super) name: Option<String>,
    /// What the columns are called.
    pub(super) headings: Vec<String>,
    /// The rows below.
    pub(super) records: Vec<Record>,
    /// What days are counted from.
    pub(super) serials: Serials,
    /// Rows of totals, which are no rows of the table.
    pub(super) totals: Vec<u64>,
}

/// Rows that are looked at for headings.
const MOST_ABOVE: usize = 20;
/// Rows that one heading may be joined over.
const MOST_JOINED: u64 = 4;
/// What people write before sums.
const TOTALS: &[&str] = &["total", "totals", "sum", "subtotal", "grand total", "summe", "gesamt"];

impl Sheet {
    /// Finds the headings: the first row that `fits`, else the first row that there is.
    pub(super) fn of(table: Table, fits: &dyn Fn(&[String]) -> bool) -> Result<Self, Fault> {
        let at = fitting(&table, fits).unwrap_or(0);
        Self::below(table, at)
    }

    fn below(table: Table, at: usize) -> Result<Self, Fault> {
        let (headings, height) = block(&table, at);
        if headings.iter().all(String::is_empty) {
            return Err(Fault::refused(
                "The file has no headings.",
                "The first row must say what each column holds.",
            ));
        }
        let Table { name, rows, serials, .. } = table;
        let (totals, records): (Vec<Record>, Vec<Record>) =
            rows.into_iter().skip(at + height).partition(is_total);
        let totals = totals.into_iter().map(|record| record.row).collect();
        Ok(Self { name, headings, records, serials, totals })
    }
}

/// The place of the row that fits among a table's rows.
pub(super) fn fitting(table: &Table, fits: &dyn Fn(&[String]) -> bool) -> Option<usize> {
    (0..table.rows.len().min(MOST_ABOVE)).find(|at| fits(&block(table, *at).0))
}

/// The headings that begin in a row, and how many rows they take: where cells are joined with
/// those below, the lowest word of a column is its heading.
fn block(table: &Table, at: usize) -> (Vec<String>, usize) {
    let Some(first) = table.rows.get(at) else { return (Vec::new(), 0) };
    let joined = table.merged.iter().filter(|merged| merged.first == first.row);
    let last = joined.map(|merged| merged.last).max().unwrap_or(first.row);
    let last = last.min(first.row + MOST_JOINED);
    let mut headings = Vec::new();
    let mut height = 0;
    let below = table.rows[at + 1..].iter().take_while(|record| record.row <= last);
    for record in std::iter::once(first).chain(below.filter(|record| record.row > first.row)) {
        height += 1;
        if headings.len() < record.cells.len() {
            headings.resize(record.cells.len(), String::new());
        }
        for (heading, cell) in headings.iter_mut().zip(&record.cells) {
            if !cell.is_empty() {
                cell.clone_into(heading);
            }
        }
    }
    (headings, height)
}

/// Whether a row is a sum of those above: its first word says so, and it names nothing else.
fn is_total(record: &Record) -> bool {
    let first = record.cells.iter().find(|cell| !cell.is_empty()).unwrap_or_default();
    let first = first.trim_end_matches(':').trim().to_lowercase();
    let names = |cell: &&str| cell.chars().any(char::is_alphabetic);
    TOTALS.contains(&first.as_str()) && record.cells.iter().filter(names).count() == 1
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use super::super::table::Merged;
    use super::*;

    fn table(rows: &[(u64, &[&str])], merged: &[Merged]) -> Table {
        let rows = rows.iter().map(|(row, cells)| Record {
            row: *row,
            cells: cells.to_vec().into(),
            ..Record::default()
        });
        Table {
            name: None,
            rows: rows.collect(),
            merged: merged.to_vec(),
            serials: Serials::default(),
        }
    }

    fn fits(headings: &[String]) -> bool {
        ["variety", "count"].iter().all(|needed| headings.iter().any(|heading| heading == needed))
    }

    #[test]
    fn a_title_above_the_headings_is_passed_over() {
        let rows: &[(u64, &[&str])] =
            &[(1, &["Stock of autumn"]), (3, &["variety", "count"]), (4, &["A", "2"])];
        let sheet = Sheet::of(table(rows, &[]), &fits).unwrap();
        assert_eq!(sheet.headings, ["variety", "count"]);
        assert_eq!(sheet.records.len(), 1);
    }

    #[test]
    fn where_cells_are_joined_the_lowest_word_is_the_heading() {
        let rows: &[(u64, &[&str])] = &[
            (1, &["variety", "lost", ""]),
            (2, &["", "rot", "count"]),
            (3, &["Ember Lantern", "1", "2"]),
        ];
        let joined = [Merged { first: 1, last: 2 }];
        let sheet = Sheet::of(table(rows, &joined), &fits).unwrap();
        assert_eq!(sheet.headings, ["variety", "rot", "count"]);
        assert_eq!(sheet.records[0].row, 3);
    }

    #[test]
    fn a_row_of_totals_is_no_lot_but_a_variety_called_total_is_one() {
        let rows: &[(u64, &[&str])] = &[
            (1, &["variety", "count", "place"]),
            (2, &["Total", "2", "cellar"]),
            (3, &["Total:", "2", ""]),
        ];
        let sheet = Sheet::of(table(rows, &[]), &fits).unwrap();
        assert_eq!((sheet.records.len(), sheet.totals), (1, vec![3]));
    }
}
