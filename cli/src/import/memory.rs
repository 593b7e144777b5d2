//! What rows said before: in an earlier import, or higher up in the same file.
//!
//! What may not enter: the book; a row that is remembered may have been struck out since.

use std::collections::{BTreeMap, HashMap};

use spareloop_domain::words::LotId;

use super::lasting::label_key;
use crate::book::imports::ImportedRow;

/// The rows of one kind of file, by their key.
#[derive(Debug, Default)]
pub(super) struct Memory {
    before: BTreeMap<String, ImportedRow>,
    now: BTreeMap<String, ImportedRow>,
    times_seen: HashMap<String, u32>,
}

impl Memory {
    /// Begins with what earlier imports remembered.
    pub(super) fn of(before: BTreeMap<String, ImportedRow>) -> Self {
        Self { before, ..Self::default() }
    }

    fn seen(&mut self, key: &str) -> u32 {
        let times = self.times_seen.entry(key.to_owned()).or_insert(0);
        *times += 1;
        *times
    }

    /// A key that tells equal rows of one file apart: the first, the second, the third.
    pub(super) fn numbered(&mut self, key: &str) -> String {
        let times = self.seen(key);
        format!("{key}#{times}")
    }

    /// The key of a lot's label. A file says each lot once, else a second lot under the same label
    /// would pass for the first one and its units would be lost.
    pub(super) fn label(&mut self, label: &str) -> Result<String, String> {
        let key = label_key(label);
        self.once(&key, &format!("the label {label}"))?;
        Ok(key)
    }

    /// Refuses a key that an earlier row of the file has.
    pub(super) fn once(&mut self, key: &str, what: &str) -> Result<(), String> {
        if self.seen(key) == 1 {
            return Ok(());
        }
        Err(format!("{what} stands in an earlier row too; keep one, or tell them apart"))
    }

    /// What an earlier import of the row said.
    pub(super) fn before(&self, key: &str) -> Option<&ImportedRow> {
        self.before.get(key)
    }

    /// Whether an import said something of the row, this one or an earlier one.
    pub(super) fn knows(&self, key: &str) -> bool {
        self.before.contains_key(key) || self.now.contains_key(key)
    }

    /// Remembers a row once the import is written.
    pub(super) fn remember(&mut self, key: &str, text: String, lot: LotId) {
        self.now.insert(key.to_owned(), ImportedRow { text, lot });
    }

    /// Rows to be remembered.
    pub(super) const fn now(&self) -> &BTreeMap<String, ImportedRow> {
        &self.now
    }
}
