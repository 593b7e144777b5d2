//! Bytes to rows of text: encoding, delimiter, quotes, limits.

use std::io::Read;
use std::path::Path;

use csv::{ReaderBuilder, StringRecord};
use encoding_rs::{Encoding, WINDOWS_1252};

use crate::fault::Fault;

/// Most rows of one file: far above any small farm, and soon read.
pub(super) const MOST_ROWS: usize = 200_000;
/// Most bytes of one file.
const MOST_BYTES: u64 = 64 * 1024 * 1024;

/// A row with its place in the file.
#[derive(Debug, Clone)]
pub(super) struct Record {
    /// The line in the file; the headings are on 1.
    pub(super) row: u64,
    /// The cells.
    pub(super) cells: StringRecord,
}

/// A file as rows of text.
#[derive(Debug, Clone)]
pub(super) struct Sheet {
    /// The first row.
    pub(super) headings: Vec<String>,
    /// The others.
    pub(super) records: Vec<Record>,
}

impl Sheet {
    /// Reads a file, or standard input for `-`.
    pub(super) fn read(path: &Path) -> Result<Self, Fault> {
        let bytes = read_bytes(path)?;
        Self::parse(&decode(&bytes)?)
    }

    fn parse(text: &str) -> Result<Self, Fault> {
        let mut reader = ReaderBuilder::new()
            .delimiter(delimiter(text))
            .flexible(true)
            .trim(csv::Trim::All)
            .from_reader(text.as_bytes());
        let headings: Vec<String> =
            reader.headers().map_err(odd)?.iter().map(ToOwned::to_owned).collect();
        if headings.iter().all(String::is_empty) {
            return Err(Fault::refused(
                "The file has no headings.",
                "The first row must say what each column holds.",
            ));
        }
        let mut records = Vec::new();
        for record in reader.into_records() {
            let cells = record.map_err(odd)?;
            if cells.iter().all(str::is_empty) {
                continue;
            }
            if records.len() == MOST_ROWS {
                return Err(Fault::refused(
                    "The file has more than 200,000 rows, the most that one import takes.",
                    "Nothing was written. Split the file and import its parts.",
                ));
            }
            let row = cells.position().map_or(0, csv::Position::line);
            records.push(Record { row, cells });
        }
        Ok(Self { headings, records })
    }
}

fn odd(error: csv::Error) -> Fault {
    Fault::refused(
        format!("The file can't be read as a table: {error}."),
        "Save it as CSV from the spreadsheet and try again.",
    )
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

/// A byte-order mark decides; else UTF-8 if it is that, else Windows-1252.
fn decode(bytes: &[u8]) -> Result<String, Fault> {
    if bytes.starts_with(b"PK\x03\x04") || bytes.starts_with(&[0xD0, 0xCF, 0x11, 0xE0]) {
        return Err(Fault::refused(
            "That is a workbook, not a CSV file.",
            "Open it in the spreadsheet program, save it as CSV, and import that.",
        ));
    }
    let text = if let Some((encoding, _)) = Encoding::for_bom(bytes) {
        encoding.decode(bytes).0.into_owned()
    } else {
        match std::str::from_utf8(bytes) {
            Ok(text) => text.to_owned(),
            Err(_) => WINDOWS_1252.decode(bytes).0.into_owned(),
        }
    };
    if text.contains('\0') {
        return Err(Fault::refused(
            "That is not a text file.",
            "Save it as CSV from the spreadsheet and try again.",
        ));
    }
    Ok(text)
}

/// The one of `,` `;` and tab that the headings hold most of, outside quotes.
fn delimiter(text: &str) -> u8 {
    let mut counts = [(b',', 0_u32), (b';', 0), (b'\t', 0)];
    let mut quoted = false;
    for byte in text.lines().next().unwrap_or_default().bytes() {
        if byte == b'"' {
            quoted = !quoted;
        } else if !quoted
            && let Some((_, count)) = counts.iter_mut().find(|(candidate, _)| *candidate == byte)
        {
            *count += 1;
        }
    }
    // On a tie the earlier one wins, so a single column reads as comma-separated.
    counts.iter().rev().max_by_key(|(_, count)| *count).map_or(b',', |(byte, _)| *byte)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use super::*;

    fn first_cells(bytes: &[u8]) -> Vec<String> {
        let sheet = Sheet::parse(&decode(bytes).unwrap()).unwrap();
        sheet.records[0].cells.iter().map(ToOwned::to_owned).collect()
    }

    #[test]
    fn a_byte_order_mark_is_no_part_of_the_first_heading() {
        let sheet = Sheet::parse(&decode(b"\xEF\xBB\xBFvariety;count\nA;1\n").unwrap()).unwrap();
        assert_eq!(sheet.headings, ["variety", "count"]);
    }

    #[test]
    fn windows_1252_is_told_from_utf_8() {
        assert_eq!(first_cells(b"variety,count\nCaf\xE9 au soir,3\n"), ["Café au soir", "3"]);
        assert_eq!(first_cells("variety,count\nCafé,3\n".as_bytes()), ["Café", "3"]);
    }

    #[test]
    fn commas_semicolons_and_tabs_are_told_apart_outside_quotes() {
        assert_eq!(first_cells(b"a;b\n1,5;2\n"), ["1,5", "2"]);
        assert_eq!(first_cells(b"a\tb\n1,5\t2\n"), ["1,5", "2"]);
        assert_eq!(first_cells(b"\"a;b;c\",d\nx,y\n"), ["x", "y"]);
    }

    #[test]
    fn a_cell_in_quotes_may_hold_the_delimiter_and_quotes() {
        assert_eq!(first_cells(b"a,b\n\"say \"\"hi\"\", twice\",2\n"), ["say \"hi\", twice", "2"]);
    }

    #[test]
    fn a_workbook_is_refused_with_what_to_do() {
        let fault = decode(b"PK\x03\x04rest").unwrap_err();
        assert!(fault.hint.contains("CSV"));
    }

    #[test]
    fn a_million_rows_are_refused_before_they_are_kept() {
        let text = format!("variety,count\n{}", "A,1\n".repeat(1_000_000));
        let fault = Sheet::parse(&text).unwrap_err();
        assert!(fault.what.contains("200,000 rows"), "{}", fault.what);
    }
}
