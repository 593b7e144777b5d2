//! A copy of the book, verified before it is called one.

use std::path::Path;
use std::time::Duration;

use diesel::prelude::*;
use diesel::sql_types::Text;

use super::{BookError, StockBook, entries, farm};

#[derive(QueryableByName)]
struct Verdict {
    #[diesel(sql_type = Text)]
    integrity_check: String,
}

/// What a copy holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Copied {
    /// The farm's name.
    pub farm: String,
    /// How many entries.
    pub entries: u64,
}

impl StockBook {
    /// Writes a copy to `target`, which must not exist, and verifies it.
    pub fn copy_to(&mut self, target: &Path, wait: Duration) -> Result<Copied, BookError> {
        let text = target.to_str().ok_or_else(|| BookError::OddPath(target.to_owned()))?;
        diesel::sql_query("VACUUM INTO ?").bind::<Text, _>(text).execute(&mut self.connection)?;
        verify(target, wait)
    }
}

/// Opens a copy and checks the file, every entry's hash and every chain.
pub fn verify(path: &Path, wait: Duration) -> Result<Copied, BookError> {
    if !path.exists() {
        return Err(BookError::NotThere(path.to_owned()));
    }
    let mut book = StockBook::connect(path, wait)?;
    let verdicts: Vec<Verdict> =
        diesel::sql_query("PRAGMA integrity_check").load(&mut book.connection)?;
    if let Some(bad) = verdicts.iter().find(|verdict| verdict.integrity_check != "ok") {
        return Err(BookError::Damaged(bad.integrity_check.clone()));
    }
    book.read(|connection| {
        let farm = farm::get(connection)?;
        let all = entries::all(connection)?;
        verify_chains(&all)?;
        Ok(Copied { farm: farm.name, entries: all.len() as u64 })
    })
}

/// Checks every hash and that every chain is 1, 2, 3 ... with each entry naming the one before.
/// The entries must come chain by chain, in order.
pub fn verify_chains(all: &[spareloop_domain::ledger::Entry]) -> Result<(), BookError> {
    use spareloop_domain::ledger::{Hash, Seq};
    let mut before: Option<(spareloop_domain::words::DeviceId, Seq, Hash)> = None;
    for entry in all {
        entry.verify()?;
        let (seq, prev) = match before {
            Some((device, seq, hash)) if device == entry.device => (seq.next(), hash),
            _ => (Seq::FIRST, Hash::START),
        };
        if (entry.seq, entry.prev) != (seq, prev) {
            return Err(BookError::Damaged(format!(
                "the chain of device {} is broken at {}",
                entry.device, entry.seq
            )));
        }
        before = Some((entry.device, entry.seq, entry.hash));
    }
    Ok(())
}
