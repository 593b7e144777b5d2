//! The gate before the library that reads workbooks: every part is unpacked once, counted while it
//! streams and thrown away, and a workbook beyond the limits never reaches the library.
//!
//! A workbook is a zip archive of XML. What an archive says of itself (sizes, counts, ranges) is
//! not believed; what comes out of it is counted. Behind the gate the library may keep what it
//! reads, since no more than the limits can come.
//!
//! What may not enter: what cells mean.

use std::io::{BufRead, BufReader, Cursor, Read};

use memchr::memmem;
use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};
use zip::ZipArchive;
use zip::read::ZipFile;

/// Parts of an archive at most. Spreadsheet programs write a dozen and two a sheet.
const MOST_PARTS: usize = 2_000;
/// Bytes at most that all parts unpack to: 200,000 rows of 20 cells fit.
const MOST_UNPACKED: u64 = 256 * 1024 * 1024;
/// Bytes that a part may unpack to whatever its ratio.
const SMALL_PART: u64 = 4 * 1024 * 1024;
/// Times at most that a larger part unpacks to its packed size. Sheets reach 10 to 40.
const MOST_RATIO: u64 = 200;
/// Bytes of one tag or of one run of text at most. A cell holds at most 32,767 characters
/// (ECMA-376 part 1, 18.18.37 and the limits that spreadsheet programs publish).
const LONGEST_RUN: u64 = 1024 * 1024;
/// Characters at most of an attribute that the library copies for each style.
const LONGEST_STYLE_WORD: usize = 1_024;
/// Elements at most inside each other. Spreadsheet programs reach some twenty.
const MOST_DEPTH: u32 = 64;
/// Cells and merged ranges at most.
const MOST_CELLS: u64 = 5_000_000;
/// Shared texts, names and relations at most.
const MOST_TEXTS: u64 = 1_000_000;
/// Styles, and what they are made of, at most.
const MOST_STYLES: u64 = 10_000;
/// Sheets at most.
const MOST_SHEETS: u64 = 200;

/// Why a workbook does not pass.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub(super) enum Refused {
    #[error("it is damaged or cut off")]
    Damaged,
    #[error("it is locked with a password")]
    Locked,
    #[error("it has no sheets of an XLSX workbook in it")]
    NoWorkbook,
    #[error("it has more than {MOST_PARTS} parts")]
    Parts,
    #[error("it unpacks to more than 256 MB")]
    Unpacked,
    #[error("its part {0} unpacks to more than {MOST_RATIO} times its size, as only a trap does")]
    Ratio(String),
    #[error("its part {0} unpacks to another size than it says")]
    Size(String),
    #[error("its part {0} declares entities, which no spreadsheet program does")]
    Entities(String),
    #[error("its part {0} has elements nested more than {MOST_DEPTH} deep")]
    Depth(String),
    #[error("its part {0} has a piece of text of more than 1 MB")]
    Run(String),
    #[error("it has more than 5,000,000 cells")]
    Cells,
    #[error("it has more than 1,000,000 texts")]
    Texts,
    #[error("it has more than {MOST_STYLES} styles, or one with an overlong name")]
    Styles,
    #[error("it has more than {MOST_SHEETS} sheets")]
    Sheets,
    #[error("its part {0} has a place that no sheet has: {1}")]
    Reference(String, String),
}

/// What was counted in a workbook that passed.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Passed {
    /// Formulas.
    pub(super) formulas: u64,
    cells: u64,
    texts: u64,
    styles: u64,
    sheets: u64,
    unpacked: u64,
}

/// Lets a workbook pass, or says why not.
pub(super) fn pass(bytes: &[u8]) -> Result<Passed, Refused> {
    // Before the archive's directory is read, since reading it keeps every entry.
    if memmem::find_iter(bytes, b"PK\x01\x02").take(MOST_PARTS + 1).count() > MOST_PARTS {
        return Err(Refused::Parts);
    }
    let mut archive = ZipArchive::new(Cursor::new(bytes)).map_err(|_| Refused::Damaged)?;
    let is_workbook = |name: &str| name.eq_ignore_ascii_case("xl/workbook.xml");
    if !archive.file_names().any(|name| name.is_ok_and(|name| is_workbook(&name))) {
        return Err(Refused::NoWorkbook);
    }
    let mut passed = Passed::default();
    for index in 0..archive.len() {
        let part = archive.by_index_raw(index).map_err(|_| Refused::Damaged)?;
        if part.encrypted() {
            return Err(Refused::Locked);
        }
        drop(part);
        let part = archive.by_index(index).map_err(|_| Refused::Damaged)?;
        passed.part(part)?;
    }
    Ok(passed)
}

/// A part as it streams: counts what comes out and stops at the limits.
struct Metered<R> {
    inner: R,
    name: String,
    packed: u64,
    before: u64,
    out: u64,
    since_event: u64,
    refused: Option<Refused>,
}

impl<R> Metered<R> {
    fn beyond(&self) -> Option<Refused> {
        if self.before + self.out > MOST_UNPACKED {
            Some(Refused::Unpacked)
        } else if self.out > SMALL_PART && self.out > self.packed.saturating_mul(MOST_RATIO) {
            Some(Refused::Ratio(self.name.clone()))
        } else if self.since_event > LONGEST_RUN {
            Some(Refused::Run(self.name.clone()))
        } else {
            None
        }
    }
}

impl<R: Read> Read for Metered<R> {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        let read = self.inner.read(buffer)?;
        self.out += read as u64;
        self.since_event += read as u64;
        self.refused = self.beyond();
        if self.refused.is_some() {
            return Err(std::io::Error::other("beyond the limits"));
        }
        Ok(read)
    }
}

impl Passed {
    fn part(&mut self, part: ZipFile<'_, Cursor<&[u8]>>) -> Result<(), Refused> {
        let name = part.name().map_err(|_| Refused::Damaged)?.into_owned();
        let stated = part.size();
        let metered = Metered {
            name: name.clone(),
            packed: part.compressed_size(),
            before: self.unpacked,
            inner: part,
            out: 0,
            since_event: 0,
            refused: None,
        };
        let mut reader = Reader::from_reader(BufReader::new(metered));
        // As the library reads it, so that both see the same elements.
        let config = reader.config_mut();
        config.check_end_names = false;
        config.expand_empty_elements = true;
        let scanned = if is_markup(&name) { self.scan(&mut reader, &name) } else { Ok(()) };
        let mut rest = reader.into_inner();
        if let Some(refused) = rest.get_mut().refused.take() {
            return Err(refused);
        }
        match scanned {
            Err(Scan::Refused(refused)) => return Err(refused),
            Err(Scan::NoMarkup) => return Err(Refused::Damaged),
            Ok(()) => {}
        }
        drain(&mut rest)?;
        let metered = rest.into_inner();
        self.unpacked += metered.out;
        if metered.out == stated { Ok(()) } else { Err(Refused::Size(name)) }
    }

    fn scan<R: Read>(
        &mut self,
        reader: &mut Reader<BufReader<Metered<R>>>,
        name: &str,
    ) -> Result<(), Scan> {
        let mut buffer = Vec::new();
        let mut depth = 0_u32;
        loop {
            buffer.clear();
            match reader.read_event_into(&mut buffer).map_err(|_| Scan::NoMarkup)? {
                Event::Start(element) => {
                    depth += 1;
                    if depth > MOST_DEPTH {
                        return Err(Scan::Refused(Refused::Depth(name.to_owned())));
                    }
                    self.element(&element, name).map_err(Scan::Refused)?;
                }
                Event::End(_) => depth = depth.saturating_sub(1),
                Event::DocType(_) => {
                    return Err(Scan::Refused(Refused::Entities(name.to_owned())));
                }
                // A part that ends inside its elements was cut off.
                Event::Eof if depth > 0 => return Err(Scan::NoMarkup),
                Event::Eof => return Ok(()),
                _ => {}
            }
            reader.get_mut().get_mut().since_event = 0;
        }
    }

    fn element(&mut self, element: &BytesStart<'_>, part: &str) -> Result<(), Refused> {
        let name = element.local_name();
        let (counter, most, refused) = match name.as_ref() {
            "c" | "mergeCell" => (&mut self.cells, MOST_CELLS, Refused::Cells),
            "si" | "definedName" | "Relationship" => (&mut self.texts, MOST_TEXTS, Refused::Texts),
            "xf" | "font" | "fill" | "border" | "numFmt" => {
                (&mut self.styles, MOST_STYLES, Refused::Styles)
            }
            "sheet" => (&mut self.sheets, MOST_SHEETS, Refused::Sheets),
            "f" => (&mut self.formulas, MOST_CELLS, Refused::Cells),
            "sst" => return stated_texts(element),
            "row" | "dimension" => return places(element, part),
            "name" => return words(element),
            _ => return Ok(()),
        };
        *counter += 1;
        if *counter > most {
            return Err(refused);
        }
        match name.as_ref() {
            "c" | "f" | "mergeCell" => places(element, part),
            "numFmt" => words(element),
            "Relationship" => is_read_as_markup(element, part),
            _ => Ok(()),
        }
    }
}

/// Why a scan ended early.
enum Scan {
    Refused(Refused),
    NoMarkup,
}

/// Reads to the end, so that the true size is known and the checksum is compared.
fn drain<R: Read>(rest: &mut BufReader<Metered<R>>) -> Result<(), Refused> {
    loop {
        rest.get_mut().since_event = 0;
        let read = rest.fill_buf().map(<[u8]>::len);
        match read {
            Ok(0) => return Ok(()),
            Ok(read) => rest.consume(read),
            Err(_) => return Err(rest.get_mut().refused.take().unwrap_or(Refused::Damaged)),
        }
    }
}

/// Whether a part's name promises markup.
fn is_markup(name: &str) -> bool {
    let lower = name.to_ascii_lowercase();
    [".xml", ".rels"].iter().any(|ending| lower.ends_with(ending))
}

/// The library makes room for as many texts as the table says it has.
fn stated_texts(element: &BytesStart<'_>) -> Result<(), Refused> {
    let most = |text: &str| text.parse::<u64>().is_ok_and(|count| count <= MOST_TEXTS);
    match attribute(element, "uniqueCount")? {
        Some(stated) if !most(&stated) => Err(Refused::Texts),
        _ => Ok(()),
    }
}

/// The library computes with places as they stand, so they must be places.
fn places(element: &BytesStart<'_>, part: &str) -> Result<(), Refused> {
    for key in ["r", "ref"] {
        if let Some(text) = attribute(element, key)?
            && !is_place(&text)
        {
            let shown = text.chars().take(20).collect();
            return Err(Refused::Reference(part.to_owned(), shown));
        }
    }
    Ok(())
}

/// The library copies a style's words for each style that uses them.
fn words(element: &BytesStart<'_>) -> Result<(), Refused> {
    if element.attributes_raw().len() > LONGEST_STYLE_WORD { Err(Refused::Styles) } else { Ok(()) }
}

/// A sheet in a part that isn't called markup would pass unscanned.
fn is_read_as_markup(element: &BytesStart<'_>, part: &str) -> Result<(), Refused> {
    let kind = attribute(element, "Type")?.unwrap_or_default();
    let target = attribute(element, "Target")?.unwrap_or_default();
    let is_read = ["/worksheet", "/officeDocument"].iter().any(|known| kind.ends_with(known));
    if is_read && !is_markup(&target) {
        return Err(Refused::Reference(part.to_owned(), target.chars().take(20).collect()));
    }
    Ok(())
}

fn attribute(element: &BytesStart<'_>, key: &str) -> Result<Option<String>, Refused> {
    let found = element.try_get_attribute(key).map_err(|_| Refused::Damaged)?;
    Ok(found.map(|attribute| attribute.value.into_owned()))
}

/// `12`, `B12` or `B12:C14` inside the largest sheet there is (1,048,576 rows, 16,384 columns),
/// the first corner before the second.
fn is_place(text: &str) -> bool {
    let mut corners = text.split(':').map(corner);
    match (corners.next(), corners.next(), corners.next()) {
        (Some(Some(_)), None, None) => true,
        (Some(Some((column, row))), Some(Some((to_column, to_row))), None) => {
            column <= to_column && row <= to_row
        }
        _ => false,
    }
}

fn corner(text: &str) -> Option<(u32, u32)> {
    let letters = text.bytes().take_while(u8::is_ascii_uppercase).count();
    let (column, row) = text.split_at(letters);
    let plain = (1..=7).contains(&row.len()) && row.bytes().all(|byte| byte.is_ascii_digit());
    if letters > 3 || !plain {
        return None;
    }
    let column = column.bytes().fold(0, |sum, letter| sum * 26 + u32::from(letter - b'A') + 1);
    let row = row.parse::<u32>().ok()?;
    (column <= 16_384 && (1..=1_048_576).contains(&row)).then_some((column, row))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use super::*;

    #[test]
    fn places_are_those_that_a_sheet_has() {
        for text in ["1", "A1", "XFD1048576", "A1:XFD1048576", "B2:B2"] {
            assert!(is_place(text), "{text}");
        }
        for text in
            ["", "A", "A0", "XFE1", "A1048577", "AAAA1", "A99999999999", "B2:A1", "A1:B2:C3", "Ä1"]
        {
            assert!(!is_place(text), "{text}");
        }
    }

    /// What the library builds on: its markup reader hands an entity over by name and puts nothing
    /// in its place, so that a thousand million laughs stay nine short lines.
    #[test]
    fn the_markup_reader_does_not_put_entities_in() {
        let laughs = r#"<!DOCTYPE a [<!ENTITY l "ha"><!ENTITY m "&l;&l;&l;">]><a>&m;&m;</a>"#;
        let mut reader = Reader::from_str(laughs);
        let mut said = Vec::new();
        loop {
            match reader.read_event().unwrap() {
                Event::Eof => break,
                Event::GeneralRef(entity) => said.push(entity.to_string()),
                Event::Text(text) => said.push(text.to_string()),
                _ => {}
            }
        }
        assert_eq!(said, ["m", "m"]);
    }
}
