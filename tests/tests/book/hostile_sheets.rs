//! Files made to harm their reader: each is refused by the real program with a sentence, in
//! 400 MB of address space and a bounded time, and nothing comes into the book.

use std::fmt::Write as _;
use std::time::{Duration, Instant};

use spareloop_tests::binaries::with_little_memory;
use spareloop_tests::farm::{Device, Said};
use spareloop_tests::sheets::{Parts, row};

/// Kilobytes of address space: the program, its libraries and all that it reads.
const MEMORY: u64 = 400_000;
/// What a hang is told from a slow machine by; no measure of speed.
const PATIENCE: Duration = Duration::from_mins(5);

fn import(name: &str, content: &[u8]) -> Said {
    let folder = tempfile::tempdir().unwrap();
    let device = Device::of_a_farm(folder.path(), "Ashlode");
    let file = device.file(name, content);
    let begun = Instant::now();
    let command = device.command(&[]);
    let words = ["import", "stock", file.as_str(), "--yes", "--no-input"];
    let said = Said::of(&mut with_little_memory(&command, &words, MEMORY));
    assert!(begun.elapsed() < PATIENCE, "{:?}", begun.elapsed());
    let lots = device.run(&["lot", "list", "--json"]).json();
    assert_eq!(lots["lots"].as_array().map(Vec::len), Some(0), "something was noted");
    said
}

#[track_caller]
fn is_refused(name: &str, content: &[u8], why: &str) {
    let said = import(name, content);
    let err = said.ends_with(3);
    assert!(err.contains(why), "{err}");
    assert_eq!(err.lines().last().map(|hint| hint.ends_with('.')), Some(true), "{err}");
}

fn heading() -> String {
    row(1, &["variety", "count"])
}

fn plain() -> Parts {
    Parts::of_rows(&(heading() + &row(2, &["Ember Lantern", "3"])))
}

fn rows_of(content: &str) -> Vec<u8> {
    Parts::of_rows(content).file()
}

#[test]
fn the_workbook_that_the_others_are_made_of_is_read() {
    let folder = tempfile::tempdir().unwrap();
    let device = Device::of_a_farm(folder.path(), "Ashlode");
    let file = device.file("stock.xlsx", plain().file());
    assert!(device.run(&["import", "stock", &file, "--yes"]).done().contains("1 new"));
}

#[test]
fn a_part_that_unpacks_to_a_thousand_times_its_size_is_refused() {
    let bomb = plain().with("xl/media/picture.bin", vec![0; 200 * 1024 * 1024]).file();
    assert!(bomb.len() < 1_000_000);
    is_refused("bomb.xlsx", &bomb, "unpacks to more than 200 times its size");
    let rows = heading() + &" ".repeat(200 * 1024 * 1024);
    is_refused("bomb.xlsx", &rows_of(&rows), "more than");
}

/// Parts that each stay under the ratio, but not together: pseudo-random text of a fixed seed.
#[test]
fn many_parts_that_unpack_to_too_much_together_are_refused() {
    let mut state = 1_u32;
    let chunk: Vec<u8> = (0..60_000)
        .flat_map(|_| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let letter = b'a' + u8::try_from(state >> 28).unwrap();
            [letter; 64]
        })
        .collect();
    let parts = (0..70).fold(plain(), |parts, number| {
        parts.with(&format!("xl/media/{number}.bin"), chunk.clone())
    });
    is_refused("much.xlsx", &parts.file(), "unpacks to more than 256 MB");
}

#[test]
fn a_part_that_lies_about_its_size_is_refused() {
    let mut file = plain().file();
    // The uncompressed size in the directory: 24 bytes behind the signature of its entry (the
    // archive format's own specification, APPNOTE 4.3.12).
    let entries: Vec<usize> = memmem(&file, b"PK\x01\x02");
    for at in entries {
        file[at + 24] = file[at + 24].wrapping_add(1);
    }
    is_refused("lying.xlsx", &file, "The workbook can't be read");
}

fn memmem(haystack: &[u8], needle: &[u8]) -> Vec<usize> {
    (0..haystack.len() - needle.len()).filter(|at| haystack[*at..].starts_with(needle)).collect()
}

#[test]
fn a_hundred_thousand_parts_are_refused_before_they_are_listed() {
    let many = (0..100_000).map(|number| (format!("xl/worksheets/s{number}.xml"), Vec::new()));
    let parts = Parts(plain().0.into_iter().chain(many).collect());
    is_refused("many.xlsx", &parts.file(), "more than 2000 parts");
}

#[test]
fn a_hundred_thousand_sheets_of_one_part_are_refused() {
    let sheet = |number| format!(r#"<sheet name="s{number}" sheetId="{number}" r:id="rId1"/>"#);
    let sheets: String = (1..=100_000).map(sheet).collect();
    let workbook = format!(r#"<workbook xmlns:r="r"><sheets>{sheets}</sheets></workbook>"#);
    is_refused("sheets.xlsx", &plain().with("xl/workbook.xml", workbook).file(), "200 sheets");
}

#[test]
fn entities_are_refused_and_never_expanded() {
    let mut laughs = r#"<!DOCTYPE w [<!ENTITY l0 "ha">"#.to_owned();
    for number in 1..30 {
        let before = format!("&l{};", number - 1).repeat(10);
        write!(laughs, r#"<!ENTITY l{number} "{before}">"#).unwrap();
    }
    let sheet = format!(
        "{laughs}]><worksheet><sheetData><row><c><v>&l29;</v></c></row></sheetData></worksheet>"
    );
    is_refused("laughs.xlsx", &Parts::of_sheet(&sheet).file(), "declares entities");
    let strings = format!("{laughs}]><sst><si><t>&l29;</t></si></sst>");
    is_refused(
        "laughs.xlsx",
        &plain().with("xl/sharedStrings.xml", strings).file(),
        "declares entities",
    );
    let outside =
        r#"<!DOCTYPE w [<!ENTITY x SYSTEM "file:///etc/hostname">]><worksheet>&x;</worksheet>"#;
    is_refused("outside.xlsx", &Parts::of_sheet(outside).file(), "declares entities");
}

#[test]
fn a_sheet_that_says_it_is_as_large_as_can_be_is_read_by_what_is_in_it() {
    let rows = heading()
        + &row(2, &["Ember Lantern", "3"])
        + r#"<row r="1048576"><c r="A1048576" t="str"><v>Moss Anthem</v></c><c r="B1048576"><v>2</v></c></row>"#;
    let sheet = format!(
        r#"<worksheet><dimension ref="A1:XFD1048576"/><sheetData>{rows}</sheetData></worksheet>"#
    );
    let folder = tempfile::tempdir().unwrap();
    let device = Device::of_a_farm(folder.path(), "Ashlode");
    let file = device.file("large.xlsx", Parts::of_sheet(&sheet).file());
    let words = ["import", "stock", file.as_str(), "--yes"];
    let said = Said::of(&mut with_little_memory(&device.command(&[]), &words, MEMORY)).done();
    assert!(said.contains("2 new"), "{said}");
}

#[test]
fn places_that_no_sheet_has_are_refused() {
    for place in ["A99999999999999999999", "ZZZZZZZZZZZZZZ1", "XFE1", "A0", "", "1:1:1"] {
        let rows = heading() + &format!(r#"<row r="2"><c r="{place}"><v>1</v></c></row>"#);
        is_refused("place.xlsx", &rows_of(&rows), "a place that no sheet has");
    }
    let merged =
        r#"<worksheet><sheetData/><mergeCells><mergeCell ref="B9:A1"/></mergeCells></worksheet>"#;
    is_refused("place.xlsx", &Parts::of_sheet(merged).file(), "a place that no sheet has");
}

#[test]
fn a_row_of_a_million_columns_is_refused() {
    for (columns, why) in [(1_000_000, "more than"), (5_000, "1,000 columns")] {
        let cells = "<c><v>1</v></c>".repeat(columns);
        let rows = heading() + &format!(r#"<row r="2">{cells}</row>"#);
        is_refused("wide.xlsx", &rows_of(&rows), why);
    }
    let text = format!("variety,count\n{}\n", "1,".repeat(1_000_000));
    is_refused("wide.csv", text.as_bytes(), "1,000 columns");
}

#[test]
fn deep_nesting_is_refused() {
    let deep = "<a>".repeat(1_000_000);
    is_refused("deep.xlsx", &rows_of(&deep), "nested more than");
}

#[test]
fn a_table_of_ten_million_texts_is_refused_said_or_there() {
    let said = r#"<sst uniqueCount="10000000"><si><t>a</t></si></sst>"#;
    is_refused("texts.xlsx", &plain().with("xl/sharedStrings.xml", said).file(), "1,000,000 texts");
    let said = r#"<sst uniqueCount="99999999999999999999"><si><t>a</t></si></sst>"#;
    is_refused("texts.xlsx", &plain().with("xl/sharedStrings.xml", said).file(), "1,000,000 texts");
    let there = format!("<sst>{}</sst>", "<si/>".repeat(10_000_000));
    is_refused("texts.xlsx", &plain().with("xl/sharedStrings.xml", there).file(), "more than");
    let mut there = "<sst>".to_owned();
    for number in 0..1_000_100 {
        write!(there, "<si><t>{number:x}</t></si>").unwrap();
    }
    let there = plain().with("xl/sharedStrings.xml", there + "</sst>").file();
    is_refused("texts.xlsx", &there, "1,000,000 texts");
}

#[test]
fn a_text_without_end_is_refused() {
    let mut text = String::new();
    for number in 0..400_000 {
        write!(text, "{number:x}").unwrap();
    }
    let rows = heading()
        + &format!(r#"<row r="2"><c r="A2" t="inlineStr"><is><t>{text}</t></is></c></row>"#);
    is_refused("text.xlsx", &rows_of(&rows), "a piece of text of more than 1 MB");
}

#[test]
fn formulas_are_never_computed_whatever_they_go_round_in() {
    let formula = |place: &str, text: &str, value: &str| {
        format!(r#"<c r="{place}"><f>{text}</f>{value}</c>"#)
    };
    let name = r#"<c r="A2" t="str"><v>Ember Lantern</v></c>"#;
    let round = heading() + r#"<row r="2">"# + name + &formula("B2", "B2+1", "<v>3</v>") + "</row>";
    let folder = tempfile::tempdir().unwrap();
    let device = Device::of_a_farm(folder.path(), "Ashlode");
    let file = device.file("round.xlsx", rows_of(&round));
    let said = device.run(&["import", "stock", &file, "--yes"]).done();
    assert!(said.contains("1 cell is a formula; its last value was taken."), "{said}");
    let never = heading() + r#"<row r="2">"# + name + &formula("B2", "B2+1", "") + "</row>";
    let said = import("round.xlsx", &rows_of(&never));
    assert_eq!(said.exit, 3, "{}", said.err);
    assert!(
        said.out.contains("row 2: wrong: count: the cell is a formula without a value"),
        "{}",
        said.out
    );
}

#[test]
fn a_file_that_was_cut_off_is_refused() {
    let whole = plain().file();
    for length in [whole.len() - 10, whole.len() / 2, 30, 4] {
        is_refused("cut.xlsx", &whole[..length], "damaged or cut off");
    }
    let sheet = "<worksheet><sheetData><row><c><v>1</v>";
    is_refused("cut.xlsx", &Parts::of_sheet(sheet).file(), "damaged or cut off");
}

#[test]
fn locked_and_old_workbooks_are_named() {
    let container = [0xD0, 0xCF, 0x11, 0xE0, 0xA1, 0xB1, 0x1A, 0xE1];
    let mut locked = container.to_vec();
    locked.extend("EncryptedPackage".encode_utf16().flat_map(u16::to_le_bytes));
    is_refused("locked.xlsx", &locked, "locked with a password");
    is_refused("old.xls", &container, "of the old kind (.xls)");
    let mimetype = "application/vnd.oasis.opendocument.spreadsheet";
    let open = Parts(vec![("mimetype".to_owned(), mimetype.into())]).file();
    is_refused("open.ods", &open, "no sheets of an XLSX workbook");
}

#[test]
fn a_file_that_is_not_what_its_ending_says_is_named() {
    is_refused("stock.csv", &plain().file(), "is called a text file but is a workbook");
    is_refused(
        "stock.xlsx",
        b"variety,count\nEmber Lantern,3\n",
        "is called a workbook but isn't one",
    );
    is_refused("stock.xls", b"<html><table>", "is called a workbook but isn't one");
    is_refused("stock.csv", b"%PDF-1.7", "not a text file");
}
