//! What every command works at: the settings, the questions, the book, today.
//!
//! [`Desk::note`] is the one way into the ledger: it opens a write transaction, folds the book,
//! lets the command make its drafts, holds each against the rules at the door, and appends.

use std::borrow::Cow;

use spareloop_domain::ledger::draft::check_draft;
use spareloop_domain::ledger::{Body, Book, Draft, Entry, fold, fold_until};
use spareloop_domain::words::{Day, EntryId};

use crate::ask::Ask;
use crate::book::error_sentence;
use crate::book::farm::Farm;
use crate::book::{Keep, StockBook, copies, entries, farm};
use crate::fault::Fault;
use crate::fresh;
use crate::printer::Format;
use crate::settings::Settings;

/// What every command works at.
#[derive(Debug, Clone)]
pub struct Desk {
    /// As resolved before the command ran.
    pub settings: Settings,
    /// How to ask.
    pub ask: Ask,
    /// Whether what is noted is kept.
    pub keep: Keep,
    /// Whether the answer is for people or for programs.
    pub format: Format,
}

/// The book as a command reads it.
pub struct Opened {
    /// The file.
    pub file: StockBook,
    /// The farm.
    pub farm: Farm,
    /// Every entry, chain by chain.
    pub entries: Vec<Entry>,
    /// Their fold.
    pub book: Book,
}

/// What stood in the book before a command noted something.
pub struct Before {
    /// The farm.
    pub farm: Farm,
    /// Every entry, chain by chain.
    pub entries: Vec<Entry>,
}

/// What was noted.
pub struct Noted {
    /// The new entries.
    pub entries: Vec<Entry>,
    /// The book with them.
    pub book: Book,
}

impl Desk {
    /// Today, or the day that a flag gave.
    pub fn day(&self, on: Option<Day>) -> Day {
        on.unwrap_or(self.settings.today.value)
    }

    /// Opens the file, nothing more: a whole one that lost nothing.
    pub fn file(&self) -> Result<StockBook, Fault> {
        let settings = &self.settings;
        let mut file = StockBook::open(&settings.book.value, settings.wait_for_book.value)?;
        file.hold_against_mark()?;
        Ok(file)
    }

    /// Puts a copy with the others before something that changes much.
    pub fn copy_before(&self, file: &mut StockBook, what: copies::Before) -> Result<(), Fault> {
        if self.keep == Keep::Kept && !file.read(entries::is_empty)? {
            copies::make(file, what, fresh::wall_millis(), self.settings.wait_for_book.value)?;
        }
        Ok(())
    }

    /// Opens the book and folds it.
    pub fn open(&self) -> Result<Opened, Fault> {
        let mut file = self.file()?;
        let (farm, entries) = file.read(|connection| {
            Ok::<_, crate::book::BookError>((farm::get(connection)?, entries::all(connection)?))
        })?;
        let book = fold(&entries);
        Ok(Opened { file, farm, entries, book })
    }

    /// Notes what `make` drafts of the book: all of it, or nothing.
    pub fn note(
        &self,
        make: impl FnOnce(&Book, &Before) -> Result<Vec<Draft>, Fault>,
    ) -> Result<Noted, Fault> {
        let today = self.settings.today.value;
        self.file()?.write(self.keep, |connection| {
            let before =
                Before { farm: farm::get(connection)?, entries: entries::all(connection)? };
            let mut book = fold(&before.entries);
            let drafts = make(&book, &before)?;
            let mut all = before.entries;
            let mut noted = Vec::with_capacity(drafts.len());
            for draft in drafts {
                check_draft(&standing(&book, &all, draft.on), &draft, today).map_err(
                    |refusal| Fault::refused(error_sentence(&refusal.to_string()), refusal.hint()),
                )?;
                let sealed = entries::append(connection, vec![draft], fresh::wall_millis())?;
                all.extend(sealed.iter().cloned());
                noted.extend(sealed);
                book = fold(&all);
            }
            Ok(Noted { entries: noted, book })
        })
    }

    /// Said before what was noted: whether it was kept.
    pub const fn noted_word(&self) -> &'static str {
        match self.keep {
            Keep::Kept => "Noted",
            Keep::Rehearsed => "Would be noted (--dry-run, nothing was written)",
        }
    }
}

/// The book that a draft of a day is held against: lots as they stood at its end, all else as now.
///
/// A lot that began later stays in it, so that the door can say when it began.
pub fn standing<'a>(now: &'a Book, entries: &[Entry], on: Day) -> Cow<'a, Book> {
    if entries.iter().all(|entry| entry.on <= on) {
        return Cow::Borrowed(now);
    }
    let mut lots = fold_until(entries, on).lots;
    for (id, lot) in &now.lots {
        lots.entry(*id).or_insert_with(|| lot.clone());
    }
    Cow::Owned(Book { lots, ..now.clone() })
}

/// A draft under a new id.
pub fn draft(on: Day, body: impl Into<Body>) -> Result<Draft, Fault> {
    Ok(Draft { id: EntryId::new(fresh::uuid()?), on, body: body.into() })
}
