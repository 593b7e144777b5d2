//! A whole stock book in: the lines that `export book` wrote, into a new book or into the same
//! farm's.
//!
//! An entry is taken by the rule by which the server takes one. Where another entry stands at its
//! place in a chain, the one here stays (the server may hold it), and the file's is noted again
//! under this device with its id, so that each fact counts once. All is written in one transaction;
//! what may not enter: how a line reads ([`crate::export::lines`]), asking ([`super::brought`]).

use std::collections::BTreeSet;
use std::io::{BufRead, Read};

use diesel::SqliteConnection;
use serde::Serialize;
use sha2::{Digest, Sha256};
use spareloop_domain::ledger::sync::{Acceptance, Head, Heads, accept};
use spareloop_domain::ledger::{Body, Clock, Draft, Entry};
use spareloop_domain::words::{DeviceId, FarmId};

use crate::book::carry::{self, Beside, DeviceRow, DeviceState};
use crate::book::link::{self, Link};
use crate::book::parked::State;
use crate::book::{entries, farm};
use crate::export::lines::{End, FORMAT, First, Line, Title, VERSION, canonical};
use crate::export::whole::hex;
use crate::fault::Fault;
use crate::fresh;

/// Most bytes of one line: far above any entry, and soon held.
const MOST_LINE: u64 = 16 * 1024 * 1024;

/// Which device a new book is kept on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum OnDevice {
    /// One of its own name and a new id.
    New(String),
    /// The one that wrote the file, which notes nothing any more.
    Same,
}

/// Where the lines go.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Into {
    /// A book without a farm.
    NewBook(OnDevice),
    /// The book of the same farm.
    SameFarm,
}

/// What a file brought.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Taken {
    /// The farm's name.
    pub farm: String,
    /// Entries in the file.
    pub entries: u64,
    /// Entries that are new here.
    pub new: u64,
    /// Entries that were here already.
    pub known: u64,
    /// Entries noted again under this device, since another stands at their place.
    pub again: u64,
    /// Other rows that are new here.
    pub others: u64,
    /// Acts on the network that still wait to be sent from this book.
    pub waiting: u64,
    /// Acts that wait on the device that wrote the file, and stay there.
    pub waiting_there: u64,
    /// Whether this device took a new id, since the file continues its own chain.
    pub new_device_id: bool,
}

impl Taken {
    /// Whether the book gains anything.
    pub const fn is_nothing_new(&self) -> bool {
        self.new + self.again + self.others == 0
    }
}

/// Takes every line into the book, inside the caller's write transaction.
pub fn take_in(
    connection: &mut SqliteConnection,
    reader: &mut dyn BufRead,
    into: &Into,
) -> Result<Taken, Fault> {
    let mut lines = Lines { reader, seen: Sha256::new(), number: 0 };
    let first = lines.first()?;
    begin(connection, &first, into)?;
    let mut taking = Taking::of(connection, &first, into)?;
    loop {
        match lines.next_line()? {
            (Line::Entry(entry), _) => {
                taking.entry(connection, *entry, lines.number)?;
            }
            (Line::Beside(row), _) => taking.row(connection, &row)?,
            (Line::End(end), before) => {
                lines.refuse_unless_whole(&end, &before, taking.taken.entries)?;
                return taking.finish(connection);
            }
        }
    }
}

struct Lines<'a> {
    reader: &'a mut dyn BufRead,
    seen: Sha256,
    number: u64,
}

fn no_such_file(why: &str) -> Fault {
    Fault::refused(
        format!("That is no whole stock book: {why}."),
        "Give a file that spareloop export book wrote, as it wrote it.",
    )
    .keeping("Nothing was written.")
}

impl Lines<'_> {
    /// The next line's text and the hash of everything before it.
    fn text(&mut self) -> Result<(String, String), Fault> {
        let before = hex(&self.seen.clone().finalize());
        let mut bytes = Vec::new();
        let read = (&mut *self.reader).take(MOST_LINE + 1).read_until(b'\n', &mut bytes);
        read.map_err(|error| {
            Fault::failed(
                format!("The file can't be read further: {error}."),
                "Check the disk it lies on, or use another copy of it.",
            )
            .keeping("Nothing was written.")
        })?;
        self.number += 1;
        if bytes.len() as u64 > MOST_LINE {
            return Err(no_such_file(&format!("line {} is longer than 16 MB", self.number)));
        }
        if bytes.pop() != Some(b'\n') {
            return Err(no_such_file(&format!("it was cut short at line {}", self.number)));
        }
        self.seen.update(&bytes);
        self.seen.update(b"\n");
        let text = String::from_utf8(bytes)
            .map_err(|_| no_such_file(&format!("line {} is not UTF-8", self.number)))?;
        Ok((text, before))
    }

    fn first(&mut self) -> Result<First, Fault> {
        let (text, _) = self.text().map_err(|fault| match self.number {
            1 => no_such_file("its first line doesn't say what it is"),
            _ => fault,
        })?;
        let title: Option<Title> = serde_json::from_str(&text).ok();
        match title {
            Some(title) if title.format == FORMAT && title.version > VERSION => {
                Err(newer(&format!("version {} of its form", title.version)))
            }
            Some(title) if title.format == FORMAT => serde_json::from_str(&text)
                .map_err(|error| no_such_file(&format!("its first line can't be read: {error}"))),
            _ => Err(no_such_file("its first line doesn't say what it is")),
        }
    }

    fn next_line(&mut self) -> Result<(Line, String), Fault> {
        let (text, before) = self.text()?;
        let line = Line::read(&text).map_err(|error| {
            no_such_file(&format!("line {} can't be read: {error}", self.number))
        })?;
        Ok((line, before))
    }

    /// Checks the last line against what was read, and that nothing stands behind it.
    fn refuse_unless_whole(&mut self, end: &End, before: &str, entries: u64) -> Result<(), Fault> {
        if end.sha256 != before || end.entries != entries {
            return Err(no_such_file("it was changed after it was written"));
        }
        let mut behind = [0];
        match self.reader.read(&mut behind) {
            Ok(0) => Ok(()),
            _ => Err(no_such_file("something stands behind its last line")),
        }
    }
}

fn newer(what: &str) -> Fault {
    Fault::refused(
        format!("The file was written by a newer version of this program ({what})."),
        "Bring this program up to date, then give the command again.",
    )
    .keeping("Nothing was written.")
}

/// Writes the farm and this device into a book that has none; refuses another farm's by name.
fn begin(connection: &mut SqliteConnection, first: &First, into: &Into) -> Result<(), Fault> {
    let brought = &first.farm;
    if let Some(here) = farm::find(connection)? {
        if here.id != brought.id {
            return Err(Fault::refused(
                format!(
                    "That is the book of {}, and the one here is the book of {}.",
                    brought.name, here.name
                ),
                "To keep it beside this one: spareloop --book OTHER-FILE import book FILE",
            )
            .keeping("Nothing was written."));
        }
        return Ok(());
    }
    let Into::NewBook(on) = into else {
        return Err(crate::book::BookError::NoFarm.into());
    };
    farm::put(
        connection,
        &farm::Farm {
            id: brought.id,
            name: brought.name.clone(),
            service_level: brought.service_level,
            planting: brought.planting,
        },
    )?;
    put_devices(connection, first, on)?;
    if let Some(brought) = &first.link {
        let link = Link {
            server: brought.server.clone(),
            login: brought.login.clone(),
            network: brought.network.clone(),
            epoch: None,
            cursor: 0,
            synced_at: None,
            promised_mark: None,
        };
        link::put(connection, &link)?;
    }
    Ok(())
}

fn put_devices(
    connection: &mut SqliteConnection,
    first: &First,
    on: &OnDevice,
) -> Result<(), Fault> {
    for device in &first.devices {
        let state = match on {
            OnDevice::Same => device.state,
            OnDevice::New(_) => DeviceState::Retired,
        };
        carry::put_device(connection, &DeviceRow { state, ..device.clone() })?;
    }
    match on {
        OnDevice::Same => {
            // Whatever the file says of it, from here on two machines may have its entries.
            carry::pass_stamp(connection, first.clock)?;
            farm::device(connection)
                .map(|_| ())
                .map_err(|_| no_such_file("it doesn't say which device wrote it"))
        }
        OnDevice::New(name) => {
            let id = DeviceId::new(fresh::uuid()?);
            Ok(farm::become_device(connection, id, name, fresh::wall_millis())?)
        }
    }
}

/// What is known while the lines come in.
struct Taking<'a> {
    into: &'a Into,
    farm: FarmId,
    heads: Heads,
    own: DeviceId,
    clock: Clock,
    wall: u64,
    forked: BTreeSet<DeviceId>,
    again: Vec<Draft>,
    own_continued: bool,
    taken: Taken,
}

impl<'a> Taking<'a> {
    fn of(connection: &mut SqliteConnection, first: &First, into: &'a Into) -> Result<Self, Fault> {
        let heads = entries::heads(connection)?;
        let taken = Taken { farm: farm::get(connection)?.name, ..Taken::default() };
        let wall = fresh::wall_millis();
        let mut clock = Clock::resume(carry::last_stamp(connection)?);
        clock.observe(first.clock, wall);
        Ok(Self {
            into,
            farm: first.farm.id,
            heads,
            own: farm::device(connection)?.id,
            clock,
            wall,
            forked: BTreeSet::new(),
            again: Vec::new(),
            own_continued: false,
            taken,
        })
    }

    fn entry(
        &mut self,
        connection: &mut SqliteConnection,
        entry: Entry,
        line: u64,
    ) -> Result<(), Fault> {
        self.taken.entries += 1;
        let device = entry.device;
        let head = self.heads.get(&device).copied();
        let there = match head {
            Some(head) if entry.seq <= head.seq => {
                entries::at_place(connection, device, entry.seq)?.map(|there| there.hash)
            }
            _ => None,
        };
        match accept(self.farm, head, |_, _| there, &entry) {
            Acceptance::AlreadyHere => self.taken.known += 1,
            Acceptance::Append => {
                entries::keep_brought(connection, &entry)?;
                self.clock.observe(entry.at, self.wall);
                self.heads.insert(device, Head { seq: entry.seq, hash: entry.hash });
                self.own_continued |= device == self.own && *self.into == Into::SameFarm;
                self.taken.new += 1;
            }
            Acceptance::Fork => {
                self.forked.insert(device);
                self.note_again(connection, entry)?;
            }
            // What stands behind a fork names an entry that isn't here.
            Acceptance::BrokenChain | Acceptance::Gap { .. } if self.forked.contains(&device) => {
                self.note_again(connection, entry)?;
            }
            Acceptance::WrongFarm => {
                return Err(no_such_file(&format!("the entry in line {line} is of another farm")));
            }
            Acceptance::Tampered => {
                return Err(no_such_file(&format!("the entry in line {line} was changed")));
            }
            Acceptance::BrokenChain | Acceptance::Gap { .. } => {
                return Err(no_such_file(&format!("an entry is missing before line {line}")));
            }
        }
        Ok(())
    }

    /// Sets an entry aside as it came and notes it again, unless its fact is in the book.
    fn note_again(&mut self, connection: &mut SqliteConnection, entry: Entry) -> Result<(), Fault> {
        if entries::find(connection, entry.id)?.is_some_and(|there| is_same_fact(&there, &entry)) {
            self.taken.known += 1;
            return Ok(());
        }
        let aside = Beside::Parked {
            entry: entry.clone(),
            code: "fork".to_owned(),
            detail: "another entry stands at its place; noted again under this device".to_owned(),
            parked_at: i64::try_from(self.wall).unwrap_or(i64::MAX),
            state: State::NotedAgain,
        };
        carry::put_beside(connection, &aside)?;
        // As it was written, whatever this version can read of it.
        let body = Body::Newer { kind: entry.kind, body: entry.body };
        self.again.push(Draft { id: entry.id, on: entry.on, body });
        self.taken.again += 1;
        Ok(())
    }

    fn row(&mut self, connection: &mut SqliteConnection, row: &Beside) -> Result<(), Fault> {
        let waits = matches!(row, Beside::Act { state, .. } if state == "waiting");
        // Another device's acts are its own to send, and what is promised was told to each.
        let is_the_devices_own = matches!(row, Beside::Act { .. } | Beside::Promised { .. });
        if is_the_devices_own && *self.into == Into::SameFarm {
            self.taken.waiting_there += u64::from(waits);
            return Ok(());
        }
        if !carry::is_there(connection, row)? {
            carry::put_beside(connection, row)?;
            self.taken.others += 1;
            self.taken.waiting += u64::from(waits);
        }
        Ok(())
    }

    fn finish(mut self, connection: &mut SqliteConnection) -> Result<Taken, Fault> {
        carry::pass_stamp(connection, self.clock.last())?;
        if self.own_continued || self.forked.contains(&self.own) {
            // Two machines wrote under one id: this one leaves it, so that no place is taken twice.
            let name = farm::device(connection)?.name;
            let id = DeviceId::new(fresh::uuid()?);
            farm::become_device(connection, id, &name, self.wall)?;
            self.taken.new_device_id = true;
        }
        entries::append(connection, self.again, self.wall)?;
        Ok(self.taken)
    }
}

/// Whether two entries say the same of the same day, however their numbers are spelled.
fn is_same_fact(one: &Entry, other: &Entry) -> bool {
    let fact = |entry: &Entry| canonical(&(entry.on, &entry.kind, &entry.body)).ok();
    fact(one) == fact(other)
}
