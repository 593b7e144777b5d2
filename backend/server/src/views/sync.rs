//! The ledger's sync.

use chrono::{DateTime, Utc};
use spareloop_api::problem::ProblemCode;
use spareloop_api::sync::{Head, Page, Positioned, Pushed, RefusedEntry, Summary};
use spareloop_domain::ledger::sync::Heads;
use spareloop_domain::words::FarmId;
use spareloop_store::fresh::millis;
use spareloop_store::ledger::{self, Appended, EntryRefusal, More};

/// What the server holds of a farm's ledger.
pub fn summary(epoch: String, farm: FarmId, found: ledger::Summary, statements: u64) -> Summary {
    Summary {
        epoch,
        farm,
        position: found.position.0,
        heads: heads(found.heads),
        promised: format!("{:016x}", found.promised),
        market: Some(found.market),
        network: found.network,
        statements,
    }
}

fn heads(heads: Heads) -> Vec<Head> {
    heads
        .into_iter()
        .map(|(device, head)| Head { device, seq: head.seq, hash: head.hash })
        .collect()
}

/// How far a push got.
pub fn pushed(epoch: String, taken_at: DateTime<Utc>, done: Appended) -> Pushed {
    Pushed {
        epoch,
        position: done.position.0,
        taken_at: millis(taken_at),
        stored: done.stored,
        already_here: done.already_here,
        heads: heads(done.heads),
        refused: done
            .refused
            .into_iter()
            .map(|refused| RefusedEntry {
                id: refused.id,
                device: refused.device,
                seq: refused.seq,
                code: code(refused.why),
                detail: refused.why.to_string(),
            })
            .collect(),
    }
}

const fn code(why: EntryRefusal) -> ProblemCode {
    match why {
        EntryRefusal::Fork => ProblemCode::Fork,
        EntryRefusal::Gap { .. } => ProblemCode::Gap,
        EntryRefusal::BrokenChain | EntryRefusal::Tampered => ProblemCode::BrokenChain,
        EntryRefusal::WrongFarm => ProblemCode::WrongFarm,
        EntryRefusal::DeviceUnknown => ProblemCode::DeviceUnknown,
        EntryRefusal::HouseDevice | EntryRefusal::Unkeepable => ProblemCode::Refused,
    }
}

/// A page of a farm's feed.
pub fn page(epoch: String, found: ledger::Page) -> Page {
    Page {
        epoch,
        entries: found
            .entries
            .into_iter()
            .map(|one| Positioned {
                position: one.position.0,
                taken_at: one.taken_at,
                entry: one.entry,
            })
            .collect(),
        more: matches!(found.more, More::Behind),
    }
}
