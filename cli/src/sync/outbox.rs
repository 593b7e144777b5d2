//! What is sent: the next batch, what the answer to it means, and entries that are refused.

use diesel::SqliteConnection;
use spareloop_api::problem::ProblemCode;
use spareloop_api::sync::{Pushed, RefusedEntry};
use spareloop_domain::ledger::sync::{BatchLimits, MOST_ENTRY_BYTES, Range};
use spareloop_domain::ledger::{Entry, Hash, Seq};
use spareloop_domain::planted::{self, Bug};
use spareloop_domain::words::DeviceId;

use super::chains::displace;
use crate::book::entries::{self, Seen};
use crate::book::{BookError, Keep, StockBook, error_sentence, farm, link, parked};
use crate::fault::Fault;
use crate::fresh::Fresh;
use crate::printer;

/// An entry that was sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Sent {
    device: DeviceId,
    seq: Seq,
    hash: Hash,
}

impl Sent {
    pub(super) const fn of(entry: &Entry) -> Self {
        Self { device: entry.device, seq: entry.seq, hash: entry.hash }
    }
}

/// The next entries of what the server lacks, as many as a push may carry. In the same transaction
/// they are marked as sent: from now on they are struck out, not withdrawn.
pub(super) fn next_batch(
    book: &mut StockBook,
    to_send: &[Range],
    limits: BatchLimits,
) -> Result<Vec<Entry>, Fault> {
    if to_send.is_empty() {
        return Ok(Vec::new());
    }
    Ok(book.write(Keep::Kept, |connection| {
        let mut found: Vec<Entry> = Vec::new();
        for range in to_send {
            let room = (limits.entries - found.len()) as u64;
            if room == 0 {
                break;
            }
            let first = range.first.get();
            let mut last = range.last.get().min(first + room - 1);
            if planted::is(Bug::BatchDropsLast) {
                last -= 1;
            }
            found.extend(entries::of_device(connection, range.device, first, last)?);
        }
        found.truncate(limits.fit(found.iter().map(Entry::size)));
        // One that no server takes comes first in its batch, where it is seen.
        let large = found.iter().skip(1).position(|entry| entry.size() > MOST_ENTRY_BYTES);
        found.truncate(large.map_or(found.len(), |index| index + 1));
        for entry in found.iter().filter(|_| !planted::is(Bug::SentMarkedLate)) {
            farm::mark_sent(connection, entry.device, entry.seq)?;
        }
        Ok::<_, BookError>(found)
    })?)
}

/// Whether an answer is one to what was sent.
pub(super) fn answers(pushed: &Pushed, sent: &[Sent]) -> bool {
    let refused_were_sent = pushed
        .refused
        .iter()
        .all(|no| sent.iter().any(|one| (one.device, one.seq) == (no.device, no.seq)));
    let reached = |one: &Sent| {
        pushed.refused.iter().any(|no| no.device == one.device)
            || pushed.heads.iter().any(|head| head.device == one.device && head.seq >= one.seq)
    };
    refused_were_sent && sent.iter().all(reached)
}

/// Where the server stored all of a batch right behind what this device has read, the cursor moves
/// over it: what it covers is here already and needn't be fetched.
pub(super) fn note_stored(
    book: &mut StockBook,
    sent: &[Sent],
    pushed: &Pushed,
) -> Result<(), Fault> {
    if planted::is(Bug::SentMarkedLate) {
        mark_late(book, sent)?;
    }
    let all_stored = pushed.stored == sent.len() as u64;
    let Some(before) = pushed.position.checked_sub(pushed.stored).filter(|_| all_stored) else {
        return Ok(());
    };
    book.write(Keep::Kept, |connection| {
        let Some(link) = link::find(connection)? else { return Ok(()) };
        let same_life = link.epoch.as_ref().is_none_or(|epoch| *epoch == pushed.epoch);
        if (link.cursor != before && !planted::is(Bug::CursorOverOthers)) || !same_life {
            return Ok(());
        }
        for one in sent {
            if entries::hash_at(connection, one.device, one.seq)? != Some(one.hash) {
                return Ok(());
            }
        }
        for (one, position) in sent.iter().zip(before + 1..) {
            let seen = Seen { position, taken_at: pushed.taken_at };
            entries::set_seen(connection, one.device, one.seq, seen)?;
        }
        let epoch = Some(pushed.epoch.clone());
        link::put(connection, &link::Link { cursor: pushed.position, epoch, ..link })
    })?;
    Ok(())
}

/// The refusal of an entry that no push can carry, made here.
pub(super) fn too_large(entry: &Entry) -> RefusedEntry {
    RefusedEntry {
        id: entry.id,
        device: entry.device,
        seq: entry.seq,
        code: ProblemCode::TooLarge,
        detail: format!("it is larger than {MOST_ENTRY_BYTES} bytes"),
    }
}

/// What [`next_batch`] does before anything is sent, done too late: only where the simulation
/// plants that mistake.
fn mark_late(book: &mut StockBook, sent: &[Sent]) -> Result<(), Fault> {
    Ok(book.write(Keep::Kept, |connection| {
        sent.iter().try_for_each(|one| farm::mark_sent(connection, one.device, one.seq))
    })?)
}

/// What a refusal comes to. Answers what has to be said.
pub(super) fn settle(
    book: &mut StockBook,
    refused: &RefusedEntry,
    fresh: &mut dyn Fresh,
) -> Result<Option<String>, Fault> {
    // The next summary shows where the chains part or end.
    if matches!(refused.code, ProblemCode::Fork | ProblemCode::Gap) {
        return Ok(None);
    }
    if planted::is(Bug::ParkedStopsChain) {
        return Ok(None);
    }
    book.write(Keep::Kept, |connection| {
        let Some(entry) = entries::at_place(connection, refused.device, refused.seq)? else {
            return Ok(None);
        };
        let is_sound = entry.farm == farm::get(connection)?.id && entry.verify().is_ok();
        let of_the_chain =
            matches!(refused.code, ProblemCode::WrongFarm | ProblemCode::BrokenChain);
        if of_the_chain && is_sound {
            leave_chain(connection, refused, fresh).map(Some)
        } else {
            park(connection, &entry, refused, fresh).map(Some)
        }
    })
}

/// Nothing is wrong with the entry, only with the chain that it stands in: it goes on in another.
fn leave_chain(
    connection: &mut SqliteConnection,
    refused: &RefusedEntry,
    fresh: &mut dyn Fresh,
) -> Result<String, Fault> {
    let moved = displace(connection, refused.device, refused.seq, &refused.detail, fresh)?;
    Ok(format!(
        "The server doesn't take up the chain of device {} here: {} {} go on under another device id. Nothing is lost.",
        refused.device,
        error_sentence(&refused.detail),
        printer::entries(moved),
    ))
}

/// Sets a refused entry aside; what stands behind it in its chain is appended again.
fn park(
    connection: &mut SqliteConnection,
    entry: &Entry,
    refused: &RefusedEntry,
    fresh: &mut dyn Fresh,
) -> Result<String, Fault> {
    let why = (refused.code.code(), &*refused.detail);
    parked::park(connection, entry, why, parked::State::Waiting, fresh.wall_millis())?;
    let behind = "stood behind a refused entry";
    let behind = displace(connection, refused.device, refused.seq.next(), behind, fresh)?;
    let flows_on = match behind {
        0 => String::new(),
        behind => format!(" {} behind it go on under another device id.", printer::entries(behind)),
    };
    Ok(format!(
        "An entry of {} ({}) was refused: {} It is set aside.{flows_on}",
        entry.on,
        entry.kind,
        error_sentence(&refused.detail),
    ))
}
