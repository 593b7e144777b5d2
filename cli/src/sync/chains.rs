//! Chains under a sync: an entry of the feed is kept by the rule by which the server accepts one; a
//! fork or a refused entry moves what stands behind it to a new device id. Nothing is dropped.

use diesel::SqliteConnection;
use spareloop_api::sync::Positioned;
use spareloop_domain::ledger::sync::{Acceptance, Head, accept};
use spareloop_domain::ledger::{Body, Draft, Entry, Seq};
use spareloop_domain::words::DeviceId;

use crate::book::{entries, farm};
use crate::fault::Fault;
use crate::fresh;
use crate::printer;

/// What keeping a page brought.
#[derive(Default)]
pub(super) struct Kept {
    /// Entries that this device newly holds.
    pub(super) new: u64,
    /// What has to be said.
    pub(super) said: Vec<String>,
}

/// Keeps one entry of the feed, by the same rule by which the server accepts one.
pub(super) fn keep_one(
    connection: &mut SqliteConnection,
    positioned: &Positioned,
    kept: &mut Kept,
) -> Result<(), Fault> {
    let entry = &positioned.entry;
    let farm = farm::get(connection)?.id;
    let head = entries::head(connection, entry.device)?.map(|(seq, hash)| Head { seq, hash });
    let there = entries::at_place(connection, entry.device, entry.seq)?.map(|entry| entry.hash);
    match accept(farm, head, |_, _| there, entry) {
        Acceptance::AlreadyHere => {
            Ok(entries::set_position(connection, entry, positioned.position)?)
        }
        Acceptance::Append => {
            kept.new += 1;
            let wall = fresh::wall_millis();
            entries::keep_fetched(connection, entry, positioned.position, wall)?;
            leave_shared_device(connection, entry, kept)
        }
        Acceptance::Fork => {
            let moved = displace(
                connection,
                entry.device,
                entry.seq,
                "another entry stands at its place on the server",
            )?;
            kept.said.push(format!(
                "This device was put back from an older copy, or copied to another one. It took a new device id and sends what the server lacks under it ({moved}). Nothing is lost."
            ));
            kept.new += 1;
            Ok(entries::keep_fetched(connection, entry, positioned.position, fresh::wall_millis())?)
        }
        Acceptance::Gap { .. }
        | Acceptance::BrokenChain
        | Acceptance::Tampered
        | Acceptance::WrongFarm => Err(Fault::failed(
            format!(
                "The server sent an entry (device {}, place {}) that doesn't fit its chain.",
                entry.device, entry.seq
            ),
            "Run: spareloop doctor, and show it to the one who runs the server.",
        )
        .keeping("It was not taken; everything noted here is kept.")),
    }
}

/// The server holds an entry under this device's own id that this device never made: it was put
/// back from an older copy, or copied. It leaves the shared id, so that no place is taken twice.
fn leave_shared_device(
    connection: &mut SqliteConnection,
    entry: &Entry,
    kept: &mut Kept,
) -> Result<(), Fault> {
    let device = farm::device(connection)?;
    if device.id != entry.device {
        return Ok(());
    }
    let id = DeviceId::new(fresh::uuid()?);
    farm::become_device(connection, id, &device.name, fresh::wall_millis())?;
    kept.said.push(
        "This device was put back from an older copy, or copied to another one. It took a new device id and fetched what it lacked. Nothing is lost."
            .to_owned(),
    );
    Ok(())
}

/// Takes the rest of a chain from `first` on out of it and appends it again under this device,
/// which takes a new id if the chain was its own. Answers how many, in words.
pub(super) fn displace(
    connection: &mut SqliteConnection,
    device: DeviceId,
    first: Seq,
    why: &str,
) -> Result<String, Fault> {
    let wall = fresh::wall_millis();
    let rest = entries::of_device(connection, device, first.get(), u64::MAX)?;
    let mut drafts = Vec::with_capacity(rest.len());
    for entry in rest.iter().rev() {
        entries::park(
            connection,
            entry,
            "fork",
            &format!("{why}; noted again under a new device id"),
            wall,
        )?;
    }
    for entry in rest {
        // As it was written, whatever this version can read of it.
        let body = Body::Newer { kind: entry.kind, body: entry.body };
        drafts.push(Draft { id: entry.id, on: entry.on, body });
    }
    let own = farm::device(connection)?;
    if own.id == device {
        let id = DeviceId::new(fresh::uuid()?);
        farm::become_device(connection, id, &own.name, wall)?;
    }
    let moved = entries::append(connection, drafts, wall)?;
    Ok(printer::entries(moved.len() as u64))
}
