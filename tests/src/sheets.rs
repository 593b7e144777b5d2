//! Workbooks put together by hand, part by part, so that a test can make what no program writes.

use std::io::{Cursor, Write};

use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

/// Parts of a workbook: names and what stands in them.
#[derive(Clone)]
pub struct Parts(pub Vec<(String, Vec<u8>)>);

const RELATIONS: &str = r#"<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>"#;
const SHEETS: &str = r#"<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" Target="worksheets/sheet1.xml"/></Relationships>"#;
const WORKBOOK: &str = r#"<?xml version="1.0"?><workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"><workbookPr/><sheets><sheet name="Stock" sheetId="1" r:id="rId1"/></sheets></workbook>"#;

impl Parts {
    /// A workbook of one sheet with these rows of `sheetData`.
    pub fn of_rows(rows: &str) -> Self {
        Self::of_sheet(&format!(
            r#"<?xml version="1.0"?><worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>{rows}</sheetData></worksheet>"#
        ))
    }

    /// A workbook of one sheet with this markup.
    pub fn of_sheet(sheet: &str) -> Self {
        let parts = [
            ("_rels/.rels", RELATIONS),
            ("xl/workbook.xml", WORKBOOK),
            ("xl/_rels/workbook.xml.rels", SHEETS),
            ("xl/worksheets/sheet1.xml", sheet),
        ];
        Self(
            parts
                .iter()
                .map(|(name, text)| ((*name).to_owned(), text.as_bytes().to_vec()))
                .collect(),
        )
    }

    /// With another part, in place of one of that name.
    #[must_use]
    pub fn with(mut self, name: &str, content: impl Into<Vec<u8>>) -> Self {
        self.0.retain(|(known, _)| known != name);
        self.0.push((name.to_owned(), content.into()));
        self
    }

    /// The file.
    pub fn file(&self) -> Vec<u8> {
        let options = SimpleFileOptions::default().compression_method(CompressionMethod::Deflated);
        let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
        for (name, content) in &self.0 {
            writer.start_file(name.as_str(), options).expect("a part");
            writer.write_all(content).expect("a part");
        }
        writer.finish().expect("an archive").into_inner()
    }
}

/// A row of cells with texts in them; numbers are numbers.
pub fn row(number: u32, cells: &[&str]) -> String {
    let mut row = format!(r#"<row r="{number}">"#);
    for (column, text) in (b'A'..=b'Z').zip(cells) {
        let place = format!("{}{number}", char::from(column));
        let cell = if text.parse::<f64>().is_ok() {
            format!(r#"<c r="{place}"><v>{text}</v></c>"#)
        } else {
            format!(r#"<c r="{place}" t="inlineStr"><is><t>{text}</t></is></c>"#)
        };
        row.push_str(&cell);
    }
    row + "</row>"
}
