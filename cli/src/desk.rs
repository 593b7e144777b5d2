//! What every command works at: the settings, the questions, the book, today.
//!
//! [`Desk::note`] is the one way into the ledger: it opens a write transaction, folds the book,
//! lets the command make its drafts, holds each against the rules at the door, and appends. Daily
//! commands read the book alone ([`Desk::book`]), which costs little however long the ledger is;
//! those that show the ledger itself read all of it ([`Desk::open`]).

use std::borrow::Cow;
use std::cell::RefCell;

use diesel::SqliteConnection;
use spareloop_domain::belief::Beliefs;
use spareloop_domain::ledger::draft::check_draft;
use spareloop_domain::ledger::{Body, Book, Draft, Entry, fold, fold_until};
use spareloop_domain::words::{Day, EntryId};

use crate::ask::Ask;
use crate::book::error_sentence;
use crate::book::farm::Farm;
use crate::book::{BookError, Keep, StockBook, copies, entries, farm, folded, network};
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

/// The book as a daily command reads it.
pub struct OpenedBook {
    /// The file.
    pub file: StockBook,
    /// The farm.
    pub farm: Farm,
    /// The folded ledger.
    pub book: Book,
}

/// The book and the whole ledger that it is made of.
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

impl OpenedBook {
    /// What is believed of the book's lots: their own looks, and what the network saw as the last
    /// sync knew it.
    pub fn beliefs(&mut self) -> Result<Beliefs, Fault> {
        let told = self.file.read(network::find)?;
        Ok(Beliefs::of(&self.book, told.as_ref()))
    }
}

/// What stood in the book before a command noted something.
pub struct Before<'a> {
    /// The farm.
    pub farm: Farm,
    connection: RefCell<&'a mut SqliteConnection>,
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
        let path = &settings.book.value;
        let opened = StockBook::open(path, settings.wait_for_book.value);
        let mut file = match opened {
            Err(BookError::NotThere(_)) if copies::are_beside(path) => {
                return Err(Fault::failed(
                    format!(
                        "The stock book at {} is gone; copies of it lie beside it.",
                        path.display()
                    ),
                    "See them: spareloop backup list   Put one back: spareloop backup restore FILE",
                ));
            }
            other => other?,
        };
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

    /// Opens the book.
    pub fn book(&self) -> Result<OpenedBook, Fault> {
        let mut file = self.file()?;
        let (folded, farm) = file.folded(farm::get)?;
        Ok(OpenedBook { file, farm, book: folded.into_book() })
    }

    /// Opens the book together with its whole ledger.
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
        make: impl FnOnce(&Book, &Before<'_>) -> Result<Vec<Draft>, Fault>,
    ) -> Result<Noted, Fault> {
        let today = self.settings.today.value;
        self.file()?.write(self.keep, |connection| {
            let mut now = folded::now_keeping(connection)?;
            let before = Before::of(connection)?;
            let drafts = make(now.book(), &before)?;
            let mut noted = Vec::with_capacity(drafts.len());
            for draft in drafts {
                let standing = Before::of(connection)?.standing(now.book(), draft.on)?;
                check_draft(&standing, &draft, today).map_err(|refusal| {
                    Fault::refused(error_sentence(&refusal.to_string()), refusal.hint())
                })?;
                drop(standing);
                let sealed = entries::append(connection, vec![draft], fresh::wall_millis())?;
                if sealed.iter().try_for_each(|entry| now.push(entry)).is_err() {
                    now = folded::now(connection)?;
                }
                noted.extend(sealed);
            }
            Ok(Noted { entries: noted, book: now.into_book() })
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

impl<'a> Before<'a> {
    fn of(connection: &'a mut SqliteConnection) -> Result<Self, Fault> {
        Ok(Self { farm: farm::get(connection)?, connection: RefCell::new(connection) })
    }

    /// Every entry, chain by chain: for what is done once in a season.
    pub fn entries(&self) -> Result<Vec<Entry>, Fault> {
        Ok(entries::all(&mut self.connection.borrow_mut())?)
    }

    /// The book that a draft of a day is held against: lots as they stood at its end, all else as
    /// `now`.
    ///
    /// A lot that began later stays in it, so that the door can say when it began.
    pub fn standing<'b>(&self, now: &'b Book, on: Day) -> Result<Cow<'b, Book>, Fault> {
        let mut connection = self.connection.borrow_mut();
        if !entries::is_any_after(&mut connection, on)? {
            return Ok(Cow::Borrowed(now));
        }
        Ok(Cow::Owned(as_then(now, folded::until(&mut connection, on)?)))
    }
}

/// The same for those who hold the whole ledger.
pub fn standing<'a>(now: &'a Book, entries: &[Entry], on: Day) -> Cow<'a, Book> {
    if entries.iter().all(|entry| entry.on <= on) {
        return Cow::Borrowed(now);
    }
    Cow::Owned(as_then(now, fold_until(entries, on)))
}

/// Lots as they were, those that began later as they are, all else as now.
fn as_then(now: &Book, then: Book) -> Book {
    let mut lots = then.lots;
    for (id, lot) in &now.lots {
        lots.entry(*id).or_insert_with(|| lot.clone());
    }
    Book { lots, ..now.clone() }
}

/// A draft under a new id.
pub fn draft(on: Day, body: impl Into<Body>) -> Result<Draft, Fault> {
    Ok(Draft { id: EntryId::new(fresh::uuid()?), on, body: body.into() })
}
