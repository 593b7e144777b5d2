//! A paused fold that can be kept, thrown away and rebuilt, and whether it still fits its ledger.
//!
//! A snapshot is the fold after all entries up to the end of a day. It fits a ledger if exactly the
//! same entries of those days stand there now: every chain that it covers still holds, at the place
//! up to which it covers it, the entry of that hash (and by the chain of hashes everything before
//! it), and nothing of those days came since. Then only what is later is read and taken in. A late
//! entry, or a strike-out of something covered, makes it useless, and an older one is asked, or the
//! book is folded from nothing. What it says is never trusted further: it carries its format and a
//! SHA-256 sum, and whatever doesn't fit is thrown away without a word.
//!
//! What may not enter: where snapshots lie.

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::form::{FORMAT, Form};
use super::running::{Fold, Order, Placed, Run};
use crate::ledger::book::Book;
use crate::ledger::entry::{Entry, Hash, Seq};
use crate::ledger::sync::{Head, Heads};
use crate::words::{Day, DeviceId, EntryId};

/// Entries that stand behind the newest snapshot at least: those of the last days come in any
/// order, and what is struck out is mostly new.
const NEWEST: usize = 128;
/// Each older snapshot has so many times as many entries behind it, which bounds what a late entry
/// costs by that many times the entries that are later than it.
const STEP: usize = 4;

/// The kind of an entry that strikes out.
const VOID: &str = "void";
/// The kind of an entry that keeps another from being struck out.
const CONFIRM: &str = "confirm-season";

/// What a snapshot covers.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Cover {
    /// Everything up to the end of this day.
    pub until: Day,
    /// The last such entry of each chain.
    pub heads: Heads,
    /// How many entries that are.
    pub entries: u64,
}

/// A ledger as it is kept now: what a snapshot is held against.
pub trait Kept {
    /// What can go wrong with reading it.
    type Error;

    /// The hash of the entry at a place of a chain.
    fn hash_at(&mut self, device: DeviceId, seq: Seq) -> Result<Option<Hash>, Self::Error>;

    /// Whether an entry of that day or an earlier one stands behind `heads` in its chain, or in a
    /// chain that `heads` doesn't name.
    fn has_late(&mut self, heads: &Heads, until: Day) -> Result<bool, Self::Error>;

    /// Whether an entry of a later day bears the id of one of that day or an earlier one.
    fn has_twins(&mut self, until: Day) -> Result<bool, Self::Error>;

    /// Whether an entry of that id stands on that day or an earlier one.
    fn stands_until(&mut self, id: EntryId, until: Day) -> Result<bool, Self::Error>;

    /// Every entry of a later day, in any order.
    fn after(&mut self, day: Day) -> Result<Vec<Entry>, Self::Error>;
}

/// Why bytes are no snapshot that can be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SnapshotError {
    /// Written by another version.
    #[error("written in another form")]
    OtherForm,
    /// Not what was written.
    #[error("damaged")]
    Damaged,
    /// It can't be written or read.
    #[error("can't be written or read: {0}")]
    Odd(String),
}

/// A fold paused after a day.
#[derive(Debug, Clone)]
pub struct Snapshot {
    cover: Cover,
    fold: Fold,
}

/// A snapshot as bytes: what it covers apart, so that it can be looked at alone.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sealed {
    /// The number of the form that it is written in.
    pub format: u32,
    /// What it covers.
    pub cover: Vec<u8>,
    /// The fold.
    pub state: Vec<u8>,
    /// SHA-256 over all of it.
    pub sum: Vec<u8>,
}

fn odd(error: postcard::Error) -> SnapshotError {
    SnapshotError::Odd(error.to_string())
}

fn sum(format: u32, cover: &[u8], state: &[u8]) -> Vec<u8> {
    let mut sum = Sha256::new();
    sum.update(format.to_be_bytes());
    sum.update((cover.len() as u64).to_be_bytes());
    sum.update(cover);
    sum.update(state);
    sum.finalize().to_vec()
}

impl Snapshot {
    /// What it covers.
    pub const fn cover(&self) -> &Cover {
        &self.cover
    }

    /// Its bytes.
    pub fn seal(self) -> Result<Sealed, SnapshotError> {
        let cover = postcard::to_extend(&self.cover, Vec::new()).map_err(odd)?;
        let form = Form::of(self.fold).map_err(SnapshotError::Odd)?;
        let state = postcard::to_extend(&form, Vec::new()).map_err(odd)?;
        Ok(Sealed { format: FORMAT, sum: sum(FORMAT, &cover, &state), cover, state })
    }

    /// Reads what [`Self::seal`] wrote.
    pub fn open(sealed: &Sealed) -> Result<Self, SnapshotError> {
        let Sealed { format, cover, state, sum: stated } = sealed;
        let cover = Cover::read(*format, cover)?;
        if sum(*format, &sealed.cover, state) != *stated {
            return Err(SnapshotError::Damaged);
        }
        let form: Form = postcard::from_bytes(state).map_err(odd)?;
        Ok(Self { cover, fold: form.into_fold().map_err(SnapshotError::Odd)? })
    }
}

impl Cover {
    /// Reads what a snapshot covers. Only its sum, over all of it, says that it is undamaged.
    pub fn read(format: u32, bytes: &[u8]) -> Result<Self, SnapshotError> {
        if format != FORMAT {
            return Err(SnapshotError::OtherForm);
        }
        postcard::from_bytes(bytes).map_err(odd)
    }

    /// Whether the ledger holds exactly the entries of those days that were covered.
    pub fn fits<K: Kept>(&self, kept: &mut K) -> Result<bool, K::Error> {
        for (device, head) in &self.heads {
            if kept.hash_at(*device, head.seq)? != Some(head.hash) {
                return Ok(false);
            }
        }
        Ok(!kept.has_late(&self.heads, self.until)? && !kept.has_twins(self.until)?)
    }

    fn with(&mut self, placed: &Placed) {
        self.entries += 1;
        let head = Head { seq: placed.seq, hash: placed.hash };
        let end = self.heads.entry(placed.device).or_insert(head);
        if end.seq < placed.seq {
            *end = head;
        }
    }
}

/// A fold under way, from nothing or from a snapshot.
#[derive(Debug, Clone)]
pub struct Folding {
    run: Run,
    /// What was covered at the start.
    from: Option<Cover>,
}

impl Folding {
    /// Begins with nothing taken in.
    pub fn from_nothing<'a>(entries: impl IntoIterator<Item = &'a Entry>) -> Self {
        Self { run: super::from_nothing(entries), from: None }
    }

    /// Goes on from a snapshot, if it fits the ledger.
    pub fn from_snapshot<K: Kept>(
        snapshot: Snapshot,
        kept: &mut K,
    ) -> Result<Option<Self>, K::Error> {
        if !snapshot.cover.fits(kept)? {
            return Ok(None);
        }
        let until = snapshot.cover.until;
        let tail = kept.after(until)?;
        let mut wrong = None;
        let run = snapshot.fold.go_on(&tail, |id| {
            kept.stands_until(id, until).unwrap_or_else(|error| {
                wrong = Some(error);
                true
            })
        });
        match (run, wrong) {
            (_, Some(error)) => Err(error),
            (Ok(run), None) => Ok(Some(Self { run, from: Some(snapshot.cover) })),
            (Err(_), None) => Ok(None),
        }
    }

    /// How many entries are taken in or to be taken in, those covered at the start among them.
    pub fn entries(&self) -> u64 {
        self.from.as_ref().map_or(0, |from| from.entries) + self.run.placed.len() as u64
    }

    /// How many entries are read beyond what was covered at the start.
    pub const fn tail(&self) -> usize {
        self.run.placed.len()
    }

    /// The days after which to pause, oldest first: few, each with several times as many entries
    /// behind it as the next.
    pub fn pauses(&self) -> Vec<Day> {
        let mut days: Vec<Day> = self.run.placed.iter().map(|placed| placed.on).collect();
        days.sort_unstable_by(|a, b| b.cmp(a));
        let mut pauses = Vec::new();
        let mut behind = NEWEST;
        while let Some(day) = days.get(behind - 1) {
            pauses.extend(days[behind - 1..].iter().find(|other| *other < day));
            behind *= STEP;
        }
        pauses.dedup();
        pauses.reverse();
        pauses
    }

    /// Takes in everything up to the end of a day, and takes a snapshot there. None where the day
    /// is covered already, or where an id stands on both sides of it.
    pub fn pause_after(&mut self, until: Day) -> Option<Snapshot> {
        if self.from.as_ref().is_some_and(|from| until <= from.until) {
            return None;
        }
        self.run.until(until);
        let (inside, outside): (Vec<&Placed>, Vec<&Placed>) =
            self.run.placed.iter().partition(|placed| placed.on <= until);
        let ids: std::collections::HashSet<EntryId> =
            inside.iter().map(|placed| placed.id).collect();
        if outside.iter().any(|placed| ids.contains(&placed.id)) {
            return None;
        }
        let mut cover = self.from.clone().map_or_else(
            || Cover { until, heads: Heads::new(), entries: 0 },
            |from| Cover { until, ..from },
        );
        for placed in inside {
            cover.with(placed);
        }
        Some(Snapshot { cover, fold: self.run.paused_after(until) })
    }

    /// Takes in all that is left.
    pub fn finish(self) -> Folded {
        let covered = self.from.map(|from| from.until);
        let last = self.run.last;
        Folded { fold: self.run.finish(), covered, last }
    }

    /// The book as it stood at the end of a day, with today's strike-outs. The day must not lie
    /// before what was covered at the start.
    pub fn into_book_until(mut self, day: Day) -> Book {
        self.run.until(day);
        self.run.into_book_so_far()
    }
}

/// A fold with everything taken in, good for adding what is noted next.
#[derive(Debug, Clone)]
pub struct Folded {
    fold: Fold,
    covered: Option<Day>,
    last: Option<Order>,
}

/// An entry that must be folded together with those before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the entry doesn't simply follow the others: fold the ledger again")]
pub struct OutOfOrder;

impl Folded {
    /// The book.
    pub const fn book(&self) -> &Book {
        &self.fold.keeper.book
    }

    /// The book, alone.
    pub fn into_book(self) -> Book {
        self.fold.keeper.book
    }

    /// Takes in an entry under a new id that follows all others in the fold's order. One that is
    /// late, or strikes something out, is refused.
    pub fn push(&mut self, entry: &Entry) -> Result<(), OutOfOrder> {
        let order = entry.order();
        let follows = self.last.is_none_or(|last| last < order)
            && self.covered.is_none_or(|covered| covered < entry.on);
        let weighs = matches!(entry.kind.as_str(), VOID | CONFIRM);
        if !follows || weighs || self.fold.standing.names(entry.id) {
            return Err(OutOfOrder);
        }
        self.fold.push(entry);
        self.fold.settle();
        self.last = Some(order);
        Ok(())
    }
}

/// Which of several snapshots of a ledger of `entries` entries may go, by the day they were paused
/// after: of those with a like number of entries behind them, the oldest stays, and the newest of
/// all does.
pub fn superseded(covers: &[(Day, u64)], entries: u64) -> Vec<Day> {
    let mut by_age: Vec<(Day, u64)> = covers.to_vec();
    by_age.sort_unstable();
    let band = |covered: u64| {
        let behind = entries.saturating_sub(covered) / NEWEST as u64;
        behind.max(1).ilog(STEP as u64)
    };
    let newest = by_age.last().map(|(day, _)| *day);
    let mut last = None;
    by_age.retain(|(day, covered)| {
        let first_of_band = last.replace(band(*covered)) != Some(band(*covered));
        !first_of_band && Some(*day) != newest
    });
    by_age.into_iter().map(|(day, _)| day).collect()
}

#[cfg(test)]
#[path = "snapshot_tests.rs"]
mod tests;
