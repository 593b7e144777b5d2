//! Workbooks as their programs write them, and as nobody should.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::io::{Cursor, Read, Write};

use proptest::prelude::*;
use rust_xlsxwriter::{ExcelDateTime, Format, Formula, Workbook as Writer};
use zip::write::SimpleFileOptions;
use zip::{ZipArchive, ZipWriter};

use super::*;

fn written(fill: impl FnOnce(&mut rust_xlsxwriter::Worksheet)) -> Vec<u8> {
    let mut writer = Writer::new();
    fill(writer.add_worksheet().set_name("Stock").unwrap());
    writer.save_to_buffer().unwrap()
}

fn read(bytes: &[u8]) -> Result<Table, Fault> {
    let mut workbook = Workbook::open(bytes)?;
    let name = workbook.shown().first().cloned().unwrap_or_default();
    workbook.table(&name)
}

fn texts(table: &Table) -> Vec<Vec<String>> {
    table.rows.iter().map(|row| row.cells.iter().map(ToOwned::to_owned).collect()).collect()
}

/// A workbook like a grower's: texts, counts, a date, a percentage, a formula, a truth.
fn growers() -> Vec<u8> {
    written(|sheet| {
        let (date, share) =
            (Format::new().set_num_format("d.m.yyyy"), Format::new().set_num_format("0.0%"));
        for (column, heading) in (0..).zip(["variety", "count", "date", "dip", "sum", "eyes"]) {
            sheet.write(0, column, heading).unwrap();
        }
        sheet.write(2, 0, " Ember Lantern ").unwrap();
        sheet.write(2, 1, 40).unwrap();
        let day = ExcelDateTime::from_ymd(2025, 11, 12).unwrap();
        sheet.write_with_format(2, 2, &day, &date).unwrap();
        sheet.write_with_format(2, 3, 0.005, &share).unwrap();
        sheet.write(2, 4, Formula::new("=B3*2").set_result("80")).unwrap();
        sheet.write(2, 5, true).unwrap();
        sheet.write(3, 1, 3.5).unwrap();
    })
}

#[test]
fn cells_are_read_as_a_person_sees_them() {
    let table = read(&growers()).unwrap();
    assert_eq!(
        texts(&table)[1],
        ["Ember Lantern", "40", "2025-11-12", "0.5%", "80", "yes"].map(ToOwned::to_owned)
    );
    assert_eq!(texts(&table)[2], ["", "3.5"]);
    let rows: Vec<u64> = table.rows.iter().map(|row| row.row).collect();
    assert_eq!(rows, [1, 3, 4], "rows keep their numbers over an empty one");
    assert_eq!(table.rows[1].formulas, [4]);
}

#[test]
fn cells_joined_over_rows_are_told() {
    let bytes = written(|sheet| {
        sheet.merge_range(0, 0, 1, 0, "variety", &Format::new()).unwrap();
        sheet.merge_range(0, 1, 0, 2, "lost", &Format::new()).unwrap();
        sheet.write(1, 1, "rot").unwrap();
    });
    assert_eq!(read(&bytes).unwrap().merged, [Merged { first: 1, last: 2 }]);
}

/// The same day in the system of 1904 is 1,462 days less (ECMA-376 part 1, 18.17.4.1), and the
/// workbook says which system it has (18.2.28, `date1904`).
#[test]
fn a_workbook_that_counts_days_from_1904_has_its_own_days() {
    let from_1904 = changed(&growers(), &mut |name, text| {
        if name == "xl/workbook.xml" {
            text.replace("<workbookPr ", r#"<workbookPr date1904="1" "#)
        } else {
            text.replace("<v>45973</v>", "<v>44511</v>")
        }
    });
    let table = read(&from_1904).unwrap();
    assert_eq!(table.serials, Serials::From1904);
    assert_eq!(texts(&table)[1][2], "2025-11-12");
}

#[test]
fn a_hidden_sheet_is_read_only_by_its_name() {
    let mut writer = Writer::new();
    writer.add_worksheet().set_name("Shown").unwrap();
    writer.add_worksheet().set_name("Away").unwrap().set_hidden(true).write(0, 0, "x").unwrap();
    let bytes = writer.save_to_buffer().unwrap();
    let mut workbook = Workbook::open(&bytes).unwrap();
    assert_eq!(workbook.shown(), ["Shown"]);
    assert_eq!(workbook.all(), ["Shown", "Away"]);
    assert_eq!(workbook.table("Away").unwrap().rows.len(), 1);
}

/// The workbook with the text of each part changed, put together again.
fn changed(bytes: &[u8], change: &mut dyn FnMut(&str, String) -> String) -> Vec<u8> {
    let mut archive = ZipArchive::new(Cursor::new(bytes)).unwrap();
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    for index in 0..archive.len() {
        let mut part = archive.by_index(index).unwrap();
        let name = part.name().unwrap().into_owned();
        let mut text = String::new();
        part.read_to_string(&mut text).unwrap();
        writer.start_file(name.as_str(), SimpleFileOptions::default()).unwrap();
        writer.write_all(change(&name, text).as_bytes()).unwrap();
    }
    writer.finish().unwrap().into_inner()
}

/// What a mutation puts into the markup: what readers trip over.
const TRIPS: &[&str] = &[
    "",
    "<",
    ">",
    "\"",
    "&",
    "&#0;",
    "&x;",
    "<c>",
    "</c>",
    "<row r=\"0\">",
    "<c r=\"XFD1048576\"><v>1</v></c>",
    "<c r=\"A99999999999\"/>",
    " r=\"ZZZZ1\"",
    " t=\"s\"",
    " s=\"99999\"",
    "<v>1e309</v>",
    "<v>-1</v>",
    "<f t=\"shared\" si=\"99999999\" ref=\"A1:B2\"/>",
    "<!DOCTYPE a>",
    "<![CDATA[",
    "<!--",
    "\u{0}",
    "\u{feff}",
];

fn mutated(seeds: &[(u32, usize)]) -> Vec<u8> {
    changed(&growers(), &mut |_, mut text| {
        for (seed, trip) in seeds {
            // A part is hit by some of the seeds only.
            let at = *seed as usize % (text.len() * 6);
            if at < text.len() {
                let at = text.floor_char_boundary(at);
                let cut = text.floor_char_boundary((at + trip % 7).min(text.len()));
                text.replace_range(at..cut.max(at), TRIPS[trip % TRIPS.len()]);
            }
        }
        text
    })
}

/// Cases in a run of CI; `PROPTEST_CASES` asks for more.
const CASES: u32 = 256;

proptest! {
    #![proptest_config(ProptestConfig { cases: std::env::var("PROPTEST_CASES").ok().and_then(|text| text.parse().ok()).unwrap_or(CASES), ..ProptestConfig::default() })]

    /// Whatever stands in the markup: a table within the limits, or a sentence; never a panic.
    #[test]
    fn changed_markup_is_read_or_refused(
        seeds in prop::collection::vec((any::<u32>(), any::<usize>()), 1..8)
    ) {
        if let Ok(table) = read(&mutated(&seeds)) {
            prop_assert!(table.rows.len() <= MOST_ROWS + 1);
            prop_assert!(table.rows.iter().all(|row| row.cells.len() <= MOST_COLUMNS));
        }
    }

    /// Whatever bytes of the file are changed or cut off.
    #[test]
    fn changed_bytes_are_read_or_refused(
        changes in prop::collection::vec((any::<u32>(), any::<u8>()), 1..12),
        kept in 1_usize..=1_000,
    ) {
        let mut bytes = growers();
        for (at, byte) in changes {
            let at = at as usize % bytes.len();
            bytes[at] = byte;
        }
        bytes.truncate(bytes.len() * kept / 1_000);
        let _ = read(&bytes);
    }

    /// Bytes that were never a file of ours.
    #[test]
    fn any_text_is_read_or_refused(bytes in prop::collection::vec(any::<u8>(), 0..2_000)) {
        if let Ok(table) = crate::import::text::table(&bytes) {
            prop_assert!(table.rows.iter().all(|row| row.cells.len() <= MOST_COLUMNS));
        }
    }
}
