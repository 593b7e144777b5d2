//! One device: its book's file, the programs that work on it, its wall clock and its link.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::time::Duration;

use spareloop_cli::book::backup::{Incoming, put_in_place};
use spareloop_cli::book::{BookError, Keep, StockBook, farm};
use spareloop_cli::fault::Fault;
use spareloop_cli::fresh::Fresh;
use spareloop_cli::sync::courier::Courier;
use spareloop_domain::ledger::generate::Dice;
use spareloop_domain::words::{DeviceId, uuid_v7};
use uuid::Uuid;

use crate::template::template;
use crate::witness::Reader;

/// Whether messages pass.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LinkState {
    Up,
    Down,
}

/// A sync under way.
pub struct Syncing {
    /// The machine under test.
    pub courier: Courier,
    /// At which step it began.
    pub since: u32,
}

/// A program that works on a book.
pub struct Program {
    /// Its hold of the file.
    pub file: StockBook,
    /// Its sync, if one is under way.
    pub sync: Option<Syncing>,
}

/// A copy of a book, and what was true of its clock then.
#[derive(Debug, Clone)]
pub struct Copy {
    /// Where it lies.
    pub path: PathBuf,
    own_newest: (i64, i64),
    /// At which step it was made.
    pub step: u32,
}

/// A device.
pub struct Device {
    /// The book's file.
    pub path: PathBuf,
    /// How far its wall clock is off, in milliseconds.
    pub skew: i64,
    /// Whether its messages pass.
    pub link: LinkState,
    /// One, or two on the same file.
    pub programs: Vec<Program>,
    reader: Option<Reader>,
    /// The newest stamp that it gave itself.
    pub own_newest: (i64, i64),
    /// Copies of its book, oldest first.
    pub copies: Vec<Copy>,
    /// The id under which it wrote when last looked at.
    pub id: String,
    copied: u32,
}

fn open(path: &Path) -> StockBook {
    StockBook::open(path, Duration::ZERO).expect("a book opens")
}

impl Device {
    /// A new device of the farm.
    pub fn new(path: PathBuf, id: DeviceId, wall: u64) -> Self {
        std::fs::write(&path, &template().book).expect("a new file");
        let mut file = open(&path);
        file.write(Keep::Kept, |connection| {
            farm::become_device(connection, id, "bench phone", wall)
        })
        .map_err(|error: BookError| error)
        .expect("a new device");
        drop(file);
        Self::at(path, 0, (0, 0))
    }

    fn at(path: PathBuf, skew: i64, own_newest: (i64, i64)) -> Self {
        let programs = vec![Program { file: open(&path), sync: None }];
        let mut reader = Reader::open(&path);
        let id = reader.device();
        Self {
            path,
            skew,
            link: LinkState::Up,
            programs,
            reader: Some(reader),
            own_newest,
            copies: Vec::new(),
            id,
            copied: 0,
        }
    }

    /// What its wall clock shows.
    pub fn wall(&self, now: u64) -> u64 {
        now.saturating_add_signed(self.skew)
    }

    /// Reads the file beside the programs.
    pub fn reader(&mut self) -> &mut Reader {
        self.reader.as_mut().expect("the file is open")
    }

    /// Whether messages pass.
    pub fn passes(&self) -> bool {
        self.link == LinkState::Up
    }

    /// The ids of all that the book holds, what it has set aside among them.
    pub fn ids(&mut self) -> BTreeSet<String> {
        let reader = self.reader();
        let parked = reader.waiting_ids();
        reader.ids().into_iter().chain(parked).collect()
    }

    /// What a sync noted again is stamped anew.
    pub fn take_note_of_own_stamps(&mut self) {
        let id = self.id.clone();
        if let Some(newest) = self.reader().newest_of(&id) {
            self.own_newest = self.own_newest.max(newest);
        }
    }

    /// Starts a program anew, after it was stopped; what it was about is gone.
    pub fn begin_again(&mut self, program: usize) {
        self.programs[program] = Program { file: open(&self.path), sync: None };
    }

    /// Opens a second program on the book.
    pub fn open_second(&mut self) {
        self.programs.push(Program { file: open(&self.path), sync: None });
    }

    /// Makes a copy of the book while it is in use.
    pub fn copy(&mut self, step: u32) -> Result<(), BookError> {
        self.copied += 1;
        let path = self.path.with_extension(format!("copy-{}", self.copied));
        self.programs[0].file.copy_to(&path, Duration::ZERO)?;
        self.copies.push(Copy { path, own_newest: self.own_newest, step });
        Ok(())
    }

    /// The book is put back from a copy, by the real path; one program goes on with it.
    pub fn put_back(&mut self, copy: &Copy, now: u64) -> Result<(), BookError> {
        self.programs.clear();
        // Whoever closes a file last removes its log by name: it must not be the new file's.
        self.reader = None;
        let (incoming, _) = Incoming::beside(&self.path, &copy.path, Duration::ZERO)?;
        put_in_place(incoming, &self.path, self.wall(now), Duration::ZERO)?;
        let copies = std::mem::take(&mut self.copies);
        let (path, skew, link, copied) = (self.path.clone(), self.skew, self.link, self.copied);
        *self = Self { link, copies, copied, ..Self::at(path, skew, copy.own_newest) };
        Ok(())
    }

    /// A second device with a copy of this one's book.
    pub fn clone_to(&mut self, path: PathBuf, step: u32) -> Result<Self, BookError> {
        self.copy(step)?;
        let copy = self.copies.pop().expect("it was just made");
        std::fs::rename(&copy.path, &path).expect("the clone's file");
        Ok(Self::at(path, self.skew, self.own_newest))
    }
}

/// The time and ids of one program, from the world's dice.
pub struct Seeded<'a> {
    /// The dice.
    pub dice: &'a mut Dice,
    /// What the wall clock shows.
    pub wall: u64,
}

impl Fresh for Seeded<'_> {
    fn wall_millis(&mut self) -> u64 {
        self.wall
    }

    fn uuid(&mut self) -> Result<Uuid, Fault> {
        let random = std::array::from_fn(|_| self.dice.roll().to_be_bytes()[0]);
        Ok(uuid_v7(self.wall, random))
    }
}
