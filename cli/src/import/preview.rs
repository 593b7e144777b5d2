//! What an import would do, row by row, before anything is written.
//!
//! What may not enter: how rows are judged.

use std::path::Path;

use serde::Serialize;

/// What becomes of a row, or of one look of a row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Fate {
    /// Adds something.
    New,
    /// Changes what an earlier import of it said.
    Changed(String),
    /// Is in the book already.
    Skipped,
    /// Can't be written, and why.
    Wrong(String),
}

/// All fates, counted and noted.
#[derive(Debug, Default, Serialize)]
pub(super) struct Preview {
    /// What adds something.
    pub(super) new: u64,
    /// What changes something.
    pub(super) changed: u64,
    /// What is in the book already.
    pub(super) skipped: u64,
    /// What can't be written.
    pub(super) wrong: u64,
    rows: Vec<RowNote>,
    not_read: Vec<String>,
    /// Varieties named for the first time.
    pub(super) named: Vec<String>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    notes: Vec<String>,
}

#[derive(Debug, Serialize)]
struct RowNote {
    row: u64,
    what: &'static str,
    why: String,
}

/// Notes on rows that a preview carries at most; the counts always cover all.
const MOST_NOTES: usize = 1_000;
/// Notes on rows that are shown to people.
const MOST_SHOWN: usize = 20;

impl Preview {
    /// Begins with the columns that no field was found for, and how the file was read where that
    /// isn't plain.
    pub(super) fn of(not_read: Vec<String>, notes: Vec<String>) -> Self {
        Self { not_read, notes, ..Self::default() }
    }

    /// Counts a fate, and notes it if it says more than new or skipped.
    pub(super) fn count(&mut self, row: u64, fate: Fate) {
        let (counter, what, why) = match fate {
            Fate::New => (&mut self.new, "new", None),
            Fate::Skipped => (&mut self.skipped, "skipped", None),
            Fate::Changed(why) => (&mut self.changed, "changed", Some(why)),
            Fate::Wrong(why) => (&mut self.wrong, "wrong", Some(why)),
        };
        *counter += 1;
        if let Some(why) = why.filter(|_| self.rows.len() < MOST_NOTES) {
            self.rows.push(RowNote { row, what, why });
        }
    }

    /// In words.
    pub(super) fn text(&self, file: &Path) -> String {
        let mut lines = vec![format!(
            "{}: {} new, {} changed, {} skipped (in the book already), {} wrong.",
            file.display(),
            self.new,
            self.changed,
            self.skipped,
            self.wrong
        )];
        lines.extend(self.notes.iter().cloned());
        if !self.named.is_empty() {
            lines.push(format!("Varieties named by it: {}.", self.named.join(", ")));
        }
        if !self.not_read.is_empty() {
            lines.push(format!("Columns not read: {}.", self.not_read.join(", ")));
        }
        lines.extend(
            self.rows
                .iter()
                .take(MOST_SHOWN)
                .map(|note| format!("  row {}: {}: {}", note.row, note.what, shortened(&note.why))),
        );
        let hidden = self.rows.len().saturating_sub(MOST_SHOWN);
        if hidden > 0 {
            lines.push(format!("  and {hidden} more (all with --json)"));
        }
        lines.join("\n")
    }
}

/// Most letters of a note that are shown to people: a cell may hold pages.
const MOST_LETTERS: usize = 300;

fn shortened(why: &str) -> String {
    match why.char_indices().nth(MOST_LETTERS) {
        None => why.to_owned(),
        Some((end, _)) => format!("{} ...", &why[..end]),
    }
}
