//! Bytes to a sheet with its headings, whatever kind of file it is.
//!
//! What may not enter: what columns mean; the inside of any one kind of file.

use std::io::Read;
use std::path::Path;

use spareloop_domain::words::near_misses;

use super::headings::{Sheet, fitting};
use super::text;
use super::workbook::{self, Workbook};
use crate::fault::Fault;
use crate::find::did_you_mean;

/// Most bytes of one file.
const MOST_BYTES: u64 = 64 * 1024 * 1024;

/// What is wanted of a file.
pub(super) struct Wanted<'a> {
    /// The sheet, if it was named.
    pub(super) sheet: Option<&'a str>,
    /// Whether headings name all that is needed.
    pub(super) fits: &'a dyn Fn(&[String]) -> bool,
    /// What is needed, in words.
    pub(super) needed: String,
}

/// Reads a file, or standard input for `-`.
pub(super) fn sheet(path: &Path, wanted: &Wanted<'_>) -> Result<Sheet, Fault> {
    let bytes = read_bytes(path)?;
    held_to_its_ending(path, &bytes)?;
    if workbook::is_workbook(&bytes) {
        return of_workbook(Workbook::open(&bytes)?, wanted);
    }
    if let Some(sheet) = wanted.sheet {
        return Err(Fault::refused(
            format!("The file is no workbook, so it has no sheet '{sheet}'."),
            "Leave --sheet out, or give the workbook itself.",
        ));
    }
    Sheet::of(text::table(&bytes)?, wanted.fits)
}

/// The named sheet, else the first one whose headings fit.
fn of_workbook(mut workbook: Workbook<'_>, wanted: &Wanted<'_>) -> Result<Sheet, Fault> {
    if let Some(name) = wanted.sheet {
        let all = workbook.all();
        let Some(known) = all.iter().find(|known| known.to_lowercase() == name.to_lowercase())
        else {
            let near = near_misses(name, all.iter().map(String::as_str));
            return Err(Fault::refused(
                format!("The workbook has no sheet '{name}'."),
                format!("{}The sheets are: {}.", did_you_mean(&near), all.join(", ")),
            ));
        };
        return Sheet::of(workbook.table(known)?, wanted.fits);
    }
    let mut filled = Vec::new();
    let mut first = None;
    for name in workbook.shown() {
        let table = workbook.table(&name)?;
        if fitting(&table, wanted.fits).is_some() {
            return Sheet::of(table, wanted.fits);
        }
        if !table.rows.is_empty() {
            filled.push(name);
            first.get_or_insert(table);
        }
    }
    match (first, filled.as_slice()) {
        (Some(table), [_]) => Sheet::of(table, wanted.fits),
        (Some(_), names) => Err(Fault::decision(
            format!(
                "No sheet has headings for {}. The sheets are: {}.",
                wanted.needed,
                names.join(", ")
            ),
            "Say which one it is with --sheet NAME, and its columns with --map 'HEADING=FIELD'.",
        )
        .keeping("Nothing was written.")),
        (None, _) => Err(Fault::refused(
            "The workbook's sheets are empty.",
            "Check that it was saved, or name a hidden sheet with --sheet NAME.",
        )),
    }
}

/// A file that isn't what its ending says was saved or renamed by mistake.
fn held_to_its_ending(path: &Path, bytes: &[u8]) -> Result<(), Fault> {
    let ending = path.extension().and_then(|ending| ending.to_str()).unwrap_or_default();
    let of = |endings: &[&str]| endings.iter().any(|known| known.eq_ignore_ascii_case(ending));
    let is_workbook = workbook::is_workbook(bytes);
    if is_workbook && of(&["csv", "tsv", "txt"]) {
        return Err(Fault::refused(
            format!("{} is called a text file but is a workbook.", path.display()),
            "Give it the ending .xlsx, or save it as CSV from the spreadsheet program.",
        ));
    }
    if !is_workbook && of(&["xlsx", "xlsm", "xls", "ods"]) {
        return Err(Fault::refused(
            format!("{} is called a workbook but isn't one.", path.display()),
            "If it is a CSV file, give it the ending .csv; else save it as .xlsx again.",
        ));
    }
    Ok(())
}

fn read_bytes(path: &Path) -> Result<Vec<u8>, Fault> {
    let unreadable = |error: std::io::Error| {
        Fault::refused(
            format!("{} can't be read: {error}.", path.display()),
            "Check the file's name, or give - for standard input.",
        )
    };
    let mut bytes = Vec::new();
    if path == Path::new("-") {
        std::io::stdin().lock().take(MOST_BYTES + 1).read_to_end(&mut bytes)
    } else {
        let file = std::fs::File::open(path).map_err(unreadable)?;
        file.take(MOST_BYTES + 1).read_to_end(&mut bytes)
    }
    .map_err(unreadable)?;
    if bytes.len() as u64 > MOST_BYTES {
        return Err(Fault::refused(
            "The file has more than 64 MB, the most that one import takes.",
            "Nothing was written. Split the file and import its parts.",
        ));
    }
    Ok(bytes)
}
