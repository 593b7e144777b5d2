//! Text files in: bytes to rows of text by encoding, delimiter and quotes.
//!
//! What may not enter: what columns mean.

use csv::ReaderBuilder;
use encoding_rs::{Encoding, WINDOWS_1252};

use super::table::{MOST_COLUMNS, MOST_ROWS, Odd, Record, Serials, Table, too_many_rows, too_wide};
use crate::export::neutral;
use crate::fault::Fault;

/// Reads a text as a table.
pub(super) fn table(bytes: &[u8]) -> Result<Table, Fault> {
    let mut text = decode(bytes)?;
    let ends_with_a_line = text.ends_with(['\n', '\r']);
    // One kind of line's end, also after the last line, so that the reader's lines can be counted.
    if text.contains("\r\n") {
        text = text.replace("\r\n", "\n");
    }
    if !text.ends_with('\n') {
        text.push('\n');
    }
    let delimiter = delimiter(&text);
    // A quote that is never closed swallows all that follows, this last row too.
    text.push_str(LAST_ROW);
    text.push('\n');
    let mut whole = Whole::Unclosed { row: 1 };
    let mut reader = ReaderBuilder::new()
        .delimiter(delimiter)
        .flexible(true)
        .has_headers(false)
        .from_reader(text.as_bytes());
    let mut rows = Vec::new();
    let mut width = 0;
    let mut cells = csv::StringRecord::new();
    while reader.read_record(&mut cells).map_err(odd)? {
        if cells.iter().all(|cell| cell.trim().is_empty()) {
            continue;
        }
        if cells.len() == 1 && &cells[0] == LAST_ROW {
            whole = Whole::Closed;
            break;
        }
        if cells.len() > MOST_COLUMNS {
            return Err(too_wide());
        }
        // The headings are one more.
        if rows.len() > MOST_ROWS {
            return Err(too_many_rows());
        }
        // The reader says where it stands now; the row began as many lines before as it has.
        let breaks = cells.as_slice().matches('\n').count() as u64;
        let row = reader.position().line().saturating_sub(breaks + 1);
        whole = Whole::Unclosed { row: row + 1 };
        let odd = several_rows(&cells, delimiter, width);
        width = width.max(cells.len());
        rows.push(Record { row, cells: plain(&cells), odd, ..Record::default() });
    }
    if let Whole::Unclosed { row } = whole {
        return Err(unclosed(row));
    }
    if !ends_with_a_line {
        refuse_if_cut(&rows)?;
    }
    Ok(Table { name: None, rows, merged: Vec::new(), serials: Serials::None })
}

/// A row of ours behind the last one of the file.
const LAST_ROW: &str = "\u{1}";

/// Whether every quote of the file was closed.
enum Whole {
    Closed,
    Unclosed { row: u64 },
}

fn unclosed(row: u64) -> Fault {
    Fault::refused(
        format!("A quotation mark in row {row} is never closed, so what follows it is one cell."),
        "Take it away or close it in the file, then import it again.",
    )
    .keeping("Nothing was written.")
}

/// Cells that hold what looks like the rest of their row and the beginning of another, or a whole
/// row between: rows that a stray quote made one. A note over two lines is none.
fn several_rows(cells: &csv::StringRecord, delimiter: u8, width: usize) -> Vec<(usize, Odd)> {
    let delimiters = |line: &str| line.bytes().filter(|byte| *byte == delimiter).count();
    let swallowed = |column: usize, cell: &str| {
        let lines: Vec<usize> = cell.trim_matches('\n').split('\n').map(delimiters).collect();
        let [first, between @ .., last] = &lines[..] else { return false };
        let whole = width.saturating_sub(1).max(1);
        between.iter().any(|count| *count >= whole)
            || (first + column >= whole && *last >= column && first + last > 0)
    };
    let found = cells.iter().enumerate().filter(|(column, cell)| swallowed(*column, cell));
    found.map(|(column, _)| (column, Odd::SeveralRows)).collect()
}

/// Refuses a file without an end of line whose last row is shorter than any other.
fn refuse_if_cut(rows: &[Record]) -> Result<(), Fault> {
    let Some((last, others)) = rows.split_last() else { return Ok(()) };
    let widths = others.iter().map(|row| row.cells.len()).filter(|width| *width > 1);
    if widths.min().is_none_or(|shortest| last.cells.len() >= shortest) {
        return Ok(());
    }
    Err(Fault::refused(
        format!(
            "The file seems cut short: row {}, its last, has fewer cells than the others and no end of line.",
            last.row
        ),
        "Copy or save the file again. If it is whole, end its last row with a new line.",
    )
    .keeping("Nothing was written."))
}

/// Trimmed, and without the apostrophes by which programs keep a text from being taken for a formula.
fn plain(cells: &csv::StringRecord) -> csv::StringRecord {
    cells.iter().map(|cell| neutral::plain(cell.trim())).collect()
}

fn odd(error: csv::Error) -> Fault {
    Fault::refused(
        format!("The file can't be read as a table: {error}."),
        "Save it as CSV from the spreadsheet and try again.",
    )
}

/// A byte-order mark decides; else UTF-8 if it is that, else Windows-1252.
fn decode(bytes: &[u8]) -> Result<String, Fault> {
    let text = if let Some((encoding, _)) = Encoding::for_bom(bytes) {
        encoding.decode(bytes).0.into_owned()
    } else {
        match std::str::from_utf8(bytes) {
            Ok(text) => text.to_owned(),
            Err(_) => WINDOWS_1252.decode(bytes).0.into_owned(),
        }
    };
    let start = text.trim_start();
    if text.contains('\0') || ["%PDF-", "{\\rtf"].iter().any(|mark| start.starts_with(mark)) {
        return Err(Fault::refused(
            "That is not a text file.",
            "Save it as CSV from the spreadsheet and try again.",
        ));
    }
    if start.starts_with(['{', '[']) && start.contains("\":") {
        return Err(Fault::refused(
            "That is JSON, not a table.",
            "A whole stock book comes in with spareloop import book FILE; a table as .csv or .xlsx.",
        ));
    }
    let markup = ["<!doctype", "<html", "<?xml", "<table"];
    let start = start.get(..9).unwrap_or(start).to_lowercase();
    if markup.iter().any(|mark| start.starts_with(mark)) {
        return Err(Fault::refused(
            "That is a web page or another kind of markup, not a table.",
            "Open it in the spreadsheet program, save it as .xlsx or as CSV, and import that.",
        ));
    }
    Ok(text)
}

/// The one of `,` `;` and tab that the headings hold most of, outside quotes.
fn delimiter(text: &str) -> u8 {
    let mut counts = [(b',', 0_u32), (b';', 0), (b'\t', 0)];
    let mut quoted = false;
    // A title may stand above the headings.
    let line = text.lines().take(20).find(|line| line.contains([',', ';', '\t']));
    for byte in line.unwrap_or_default().bytes() {
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

    fn rows(bytes: &[u8]) -> Vec<Vec<String>> {
        let rows = table(bytes).unwrap().rows;
        rows.iter().map(|row| row.cells.iter().map(ToOwned::to_owned).collect()).collect()
    }

    #[test]
    fn a_byte_order_mark_is_no_part_of_the_first_heading() {
        assert_eq!(rows(b"\xEF\xBB\xBFvariety;count\nA;1\n")[0], ["variety", "count"]);
        assert_eq!(rows(b"\xFF\xFEa\0,\0b\0\n\x001\0,\x002\0")[1], ["1", "2"]);
    }

    #[test]
    fn a_file_that_is_not_utf_8_is_read_as_windows_1252() {
        assert_eq!(rows(b"variety,count\nCaf\xE9 au soir,3\n")[1], ["Café au soir", "3"]);
        assert_eq!(rows("variety,count\nCafé,3\n".as_bytes())[1], ["Café", "3"]);
    }

    #[test]
    fn commas_semicolons_and_tabs_are_told_apart_outside_quotes() {
        assert_eq!(rows(b"a;b\n1,5;2\n")[1], ["1,5", "2"]);
        assert_eq!(rows(b"a\tb\n1,5\t2\n")[1], ["1,5", "2"]);
        assert_eq!(rows(b"\"a;b;c\",d\nx,y\n")[1], ["x", "y"]);
    }

    #[test]
    fn a_cell_in_quotes_may_hold_the_delimiter_and_quotes() {
        assert_eq!(rows(b"a,b\n\"say \"\"hi\"\", twice\",2\n")[1], ["say \"hi\", twice", "2"]);
    }

    #[test]
    fn an_apostrophe_that_only_guards_is_taken_off() {
        assert_eq!(rows(b"a,b\n'-2 rot,'Ember Lantern'\n")[1], ["-2 rot", "'Ember Lantern'"]);
    }

    #[test]
    fn rows_keep_their_numbers_whatever_ends_a_line() {
        for text in ["a,b\n1,\"2\n\"\n\n3,4\n", "a,b\r\n1,\"2\r\n\"\r\n\r\n3,4"] {
            let rows = table(text.as_bytes()).unwrap().rows;
            assert_eq!(rows.iter().map(|row| row.row).collect::<Vec<_>>(), [1, 2, 5], "{text:?}");
        }
    }

    #[test]
    fn a_title_above_the_headings_does_not_hide_what_separates_them() {
        assert_eq!(rows(b"Stock\n\na;b\n1,5;2\n")[2], ["1,5", "2"]);
    }

    #[test]
    fn a_quote_that_is_never_closed_is_refused_by_its_row_and_swallows_nothing() {
        let text = b"variety,count,place\nA,4,barn\nB,5,\"cellar\nC,6,loft\n";
        let fault = table(text).unwrap_err();
        assert!(fault.what.contains("row 3"), "{}", fault.what);
        assert!(table(b"variety,count\n\"A").is_err());
        // Inches are no quotation.
        assert_eq!(rows(b"pot,count\n6\" pot,4\n")[1], ["6\" pot", "4"]);
    }

    #[test]
    fn rows_that_a_stray_quote_made_one_cell_are_noticed() {
        for text in [
            "a,b,c\nA,\"4,z\nB,5,x\nC,\"6,y\n",
            "a,b,c\nA,4,\"z\nB,5,x\nC,6,\"y\n",
            "a,b,c\nA,4,\"z\nB,5,\"y\n",
        ] {
            assert_eq!(table(text.as_bytes()).unwrap().rows[1].odd.len(), 1, "{text:?}");
        }
        for text in ["a,b,c\nA,4,\"bed 3\nrow 4, north\"\n", "a,b\nA,\"two\nlines\"\n"] {
            assert_eq!(table(text.as_bytes()).unwrap().rows[1].odd, [], "{text:?}");
        }
    }

    #[test]
    fn a_file_that_was_cut_short_in_its_last_row_is_refused() {
        let whole = "variety,lot,count,place\nA,L1,40,barn\nB,L2,40,barn\n";
        let fault = table(&whole.as_bytes()[..whole.len() - 7]).unwrap_err();
        assert!(fault.what.contains("row 3") && fault.what.contains("cut short"), "{}", fault.what);
        assert!(table(whole.trim_end().as_bytes()).is_ok(), "no end of line is no cut");
        assert!(table(b"Stock of autumn\na,b\n1,2\n3").is_err());
        assert!(table(b"a,b\n1,2\n3\n").is_ok(), "a short row that was ended is one");
    }

    #[test]
    fn json_is_no_table_and_leads_to_where_a_book_comes_in() {
        for text in ["{\"format\":\"spareloop stock book\"}\n", "[{\"variety\":\"A\"}]"] {
            let fault = table(text.as_bytes()).unwrap_err();
            assert!(fault.hint.contains("import book"), "{}", fault.hint);
        }
        assert!(table(b"[lot],count\n1,2\n").is_ok());
    }

    #[test]
    fn a_million_rows_are_refused_before_they_are_kept() {
        let text = format!("variety,count\n{}", "A,1\n".repeat(1_000_000));
        let fault = table(text.as_bytes()).unwrap_err();
        assert!(fault.what.contains("200,000 rows"), "{}", fault.what);
    }

    #[test]
    fn a_million_columns_are_refused() {
        let fault = table("a,".repeat(1_000_000).as_bytes()).unwrap_err();
        assert!(fault.what.contains("1,000 columns"), "{}", fault.what);
    }

    #[test]
    fn a_web_page_called_a_sheet_is_refused_by_name() {
        for text in ["<html><table>", "<?xml version='1.0'?><Workbook>", "%PDF-1.7"] {
            assert!(table(text.as_bytes()).is_err(), "{text}");
        }
    }
}
