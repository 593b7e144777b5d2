//! Chains under a sync: an entry of the feed is kept by the rule by which the server accepts one; a
//! fork or a refused entry moves what stands behind it to a new device id. Nothing is dropped.

use std::collections::BTreeMap;

use diesel::SqliteConnection;
use spareloop_api::sync::Positioned;
use spareloop_domain::ledger::sync::{Acceptance, Head, accept};
use spareloop_domain::ledger::{Body, Clock, Draft, Entry, Seq};
use spareloop_domain::planted::{self, Bug};
use spareloop_domain::words::{DeviceId, FarmId};

use crate::book::entries::{self, Seen};
use crate::book::{farm, parked};
use crate::fault::Fault;
use crate::fresh::Fresh;
use crate::printer;

/// What keeping a page brought.
#[derive(Debug, Default)]
pub(super) struct Kept {
    /// Entries that this device newly holds.
    pub(super) new: u64,
    /// What has to be said.
    pub(super) said: Vec<String>,
}

/// An entry of the feed that doesn't fit what is held here of its chain.
#[derive(Debug, Clone, Copy)]
pub(super) struct Misfit {
    device: DeviceId,
    seq: Seq,
}

impl Misfit {
    pub(super) fn fault(self) -> Fault {
        Fault::failed(
            format!(
                "The server sent an entry (device {}, place {}) that doesn't fit its chain.",
                self.device, self.seq
            ),
            "Run: spareloop doctor, and show it to the one who runs the server.",
        )
        .keeping("It was not taken; everything noted here is kept.")
    }
}

/// Keeps the entries of one page, inside the transaction that moves the cursor.
pub(super) struct Keeper<'a> {
    connection: &'a mut SqliteConnection,
    fresh: &'a mut dyn Fresh,
    farm: FarmId,
    own: DeviceId,
    heads: BTreeMap<DeviceId, Head>,
    clock: Clock,
}

impl<'a> Keeper<'a> {
    pub(super) fn begin(
        connection: &'a mut SqliteConnection,
        fresh: &'a mut dyn Fresh,
    ) -> Result<Self, Fault> {
        let farm = farm::get(connection)?.id;
        let own = farm::device(connection)?.id;
        let heads = entries::heads(connection)?;
        let clock = entries::read_clock(connection)?;
        Ok(Self { connection, fresh, farm, own, heads, clock })
    }

    /// Keeps the clock, which has seen the page's entries.
    pub(super) fn end(self) -> Result<(), Fault> {
        Ok(entries::write_clock(self.connection, self.clock)?)
    }

    /// Keeps one entry of the feed, by the same rule by which the server accepts one.
    pub(super) fn keep(
        &mut self,
        positioned: &Positioned,
        kept: &mut Kept,
    ) -> Result<Result<(), Misfit>, Fault> {
        let entry = &positioned.entry;
        let head = self.heads.get(&entry.device).copied();
        let there = match head {
            Some(head) if entry.seq <= head.seq => {
                entries::hash_at(self.connection, entry.device, entry.seq)?
            }
            _ => None,
        };
        let seen = Seen { position: positioned.position, taken_at: positioned.taken_at };
        match accept(self.farm, head, |_, _| there, entry) {
            Acceptance::AlreadyHere => {
                entries::set_seen(self.connection, entry.device, entry.seq, seen)?;
                if entry.device == self.own {
                    // Sent by a copy of this book, or before it was put back: no longer to be
                    // withdrawn.
                    farm::mark_sent(self.connection, entry.device, entry.seq)?;
                }
            }
            Acceptance::Append => {
                self.append(entry, seen, kept)?;
                self.leave_shared_device(entry, kept)?;
            }
            Acceptance::Fork => {
                self.displace(entry, kept)?;
                self.append(entry, seen, kept)?;
            }
            Acceptance::Gap { .. }
            | Acceptance::BrokenChain
            | Acceptance::Tampered
            | Acceptance::WrongFarm => {
                return Ok(Err(Misfit { device: entry.device, seq: entry.seq }));
            }
        }
        Ok(Ok(()))
    }

    fn append(&mut self, entry: &Entry, seen: Seen, kept: &mut Kept) -> Result<(), Fault> {
        entries::keep_fetched(self.connection, entry, seen)?;
        // By the server's clock: this machine's may be set wrong by years.
        self.clock.observe(entry.at, seen.taken_at);
        self.heads.insert(entry.device, Head { seq: entry.seq, hash: entry.hash });
        kept.new += 1;
        Ok(())
    }

    /// The server holds an entry under this device's own id that this device never made: it was put
    /// back from an older copy, or copied. It leaves the shared id, so that no place is taken twice.
    fn leave_shared_device(&mut self, entry: &Entry, kept: &mut Kept) -> Result<(), Fault> {
        if self.own != entry.device {
            return Ok(());
        }
        self.own = take_new_id(self.connection, self.fresh)?;
        kept.said.push(
            "This device was put back from an older copy, or copied to another one. It took a new device id and fetched what it lacked. Nothing is lost."
                .to_owned(),
        );
        Ok(())
    }

    /// Another entry stands at this one's place here, and what is behind it: noted again elsewhere.
    fn displace(&mut self, entry: &Entry, kept: &mut Kept) -> Result<(), Fault> {
        entries::write_clock(self.connection, self.clock)?;
        let why = "another entry stands at its place on the server";
        let moved = displace(self.connection, entry.device, entry.seq, why, self.fresh)?;
        let who = if self.own == entry.device {
            "This device was put back from an older copy, or copied to another one. It took a new device id and"
        } else {
            "Two devices wrote under one device id. This one"
        };
        let moved = printer::entries(moved);
        kept.said.push(format!(
            "{who} sends what the server lacks under its own ({moved}). Nothing is lost."
        ));
        self.own = farm::device(self.connection)?.id;
        self.heads = entries::heads(self.connection)?;
        self.clock = entries::read_clock(self.connection)?;
        Ok(())
    }
}

fn take_new_id(
    connection: &mut SqliteConnection,
    fresh: &mut dyn Fresh,
) -> Result<DeviceId, Fault> {
    let name = farm::device(connection)?.name;
    let id = DeviceId::new(fresh.uuid()?);
    farm::become_device(connection, id, &name, fresh.wall_millis())?;
    Ok(id)
}

/// Takes the rest of a chain from `first` on out of it and appends it again under this device,
/// which takes a new id if the chain was its own. Answers how many.
pub(super) fn displace(
    connection: &mut SqliteConnection,
    device: DeviceId,
    first: Seq,
    why: &str,
    fresh: &mut dyn Fresh,
) -> Result<u64, Fault> {
    let wall = fresh.wall_millis();
    let rest = entries::of_device(connection, device, first.get(), u64::MAX)?;
    for entry in rest.iter().rev() {
        let why = ("fork", &*format!("{why}; noted again under another device id"));
        parked::park(connection, entry, why, parked::State::NotedAgain, wall)?;
    }
    if farm::device(connection)?.id == device && !planted::is(Bug::IdKeptAfterFork) {
        take_new_id(connection, fresh)?;
    }
    let drafts = if planted::is(Bug::DisplacedDropped) {
        Vec::new()
    } else {
        rest.into_iter().map(as_written).collect()
    };
    let again = entries::append(connection, drafts, wall)?;
    if let Some(last) = again.last() {
        // Where they stood before they may have left the device: struck out, not withdrawn.
        farm::mark_sent(connection, last.device, last.seq)?;
    }
    Ok(again.len() as u64)
}

/// An entry to be noted again: as it was written, whatever this version can read of it. It keeps
/// its id, so that one fact counts once.
pub(crate) fn as_written(entry: Entry) -> Draft {
    let body = Body::Newer { kind: entry.kind, body: entry.body };
    Draft { id: entry.id, on: entry.on, body }
}
