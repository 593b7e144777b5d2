//! Which entries are struck out, told so that a fold can be paused after a day.
//!
//! Strike-outs are applied before all else, wherever they stand. A paused fold therefore keeps
//! every strike-out that it took in and what became of the entries that any strike-out names. When
//! it goes on, all of them are weighed again together with the new ones; if an entry that was taken
//! in would now stand otherwise, the paused fold is of no use any more ([`Stale`]).
//!
//! What may not enter: bodies other than strike-outs, the book.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use super::strikes::{Stroke, struck_out};
use crate::ledger::book::{Disagreement, Problem};
use crate::ledger::clock::Stamp;
use crate::ledger::entry::{Entry, Seq};
use crate::words::{Day, DeviceId, EntryId};

/// When an entry was made, whatever its day.
type Made = (Stamp, DeviceId, Seq);

/// An entry that was taken in would now be struck out, or no longer be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Stale;

/// Whether a strike-out of an entry takes effect.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub(super) enum Strikable {
    /// It does.
    Yes,
    /// Two farms did it together: it doesn't.
    No,
}

/// One strike-out.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
struct Strike {
    by: EntryId,
    target: EntryId,
    made: Made,
    on: Day,
}

/// Strike-outs, and the entries that they name.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub(super) struct Standing {
    strikes: Vec<Strike>,
    /// Entries that some strike-out names.
    named: BTreeMap<EntryId, (Day, Strikable)>,
    /// Of those, the ones that are struck out.
    struck: BTreeSet<EntryId>,
    /// Closings of a season that were confirmed, by the day: they can't be struck out.
    confirmed: Vec<(Day, EntryId)>,
}

/// An entry as far as strike-outs go.
pub(super) struct Seen<'a> {
    /// The entry.
    pub entry: &'a Entry,
    /// Whether it may be struck out.
    pub strikable: Strikable,
    /// The entry that it strikes out.
    pub strikes: Option<EntryId>,
    /// The closing that it confirms.
    pub confirms: Option<EntryId>,
}

impl Standing {
    /// The entries that are struck out.
    pub(super) const fn struck(&self) -> &BTreeSet<EntryId> {
        &self.struck
    }

    /// Whether some strike-out names the entry.
    pub(super) fn names(&self, id: EntryId) -> bool {
        self.strikes.iter().any(|strike| strike.target == id)
    }

    /// Weighs the strike-outs again with those of `seen`, entries that stand behind all that was
    /// taken in before. `taken_in` says whether an entry that no strike-out named so far was.
    pub(super) fn weigh(
        mut self,
        seen: &[Seen<'_>],
        mut taken_in: impl FnMut(EntryId) -> bool,
    ) -> Result<Self, Stale> {
        let known: Vec<EntryId> = self.named.keys().copied().collect();
        let new = self.strikes.len();
        self.strikes.extend(seen.iter().filter_map(|seen| {
            let entry = seen.entry;
            let made = (entry.at, entry.device, entry.seq);
            Some(Strike { by: entry.id, target: seen.strikes?, made, on: entry.on })
        }));
        self.confirmed.extend(seen.iter().filter_map(|seen| Some((seen.entry.on, seen.confirms?))));
        let targets: BTreeSet<EntryId> = self.strikes.iter().map(|strike| strike.target).collect();
        for seen in seen.iter().filter(|seen| targets.contains(&seen.entry.id)) {
            let named = self.named.entry(seen.entry.id).or_insert((seen.entry.on, Strikable::Yes));
            if seen.strikable == Strikable::No {
                named.1 = Strikable::No;
            }
        }
        let unseen = self.strikes[new..].iter().map(|strike| strike.target);
        if unseen.filter(|id| !self.named.contains_key(id)).any(&mut taken_in) {
            return Err(Stale);
        }
        let before = std::mem::take(&mut self.struck);
        self.struck = self.weighed();
        let as_before = |id: &EntryId| before.contains(id) == self.struck.contains(id);
        if known.iter().all(as_before) { Ok(self) } else { Err(Stale) }
    }

    fn weighed(&self) -> BTreeSet<EntryId> {
        let strokes: Vec<Stroke<'_, Made>> = self
            .strikes
            .iter()
            .map(|strike| Stroke { by: strike.by, target: strike.target, made: &strike.made })
            .collect();
        struck_out(&strokes, &self.strikable())
    }

    fn strikable(&self) -> BTreeSet<EntryId> {
        let yes = self.named.iter().filter(|(_, (_, strikable))| *strikable == Strikable::Yes);
        let mut strikable: BTreeSet<EntryId> = yes.map(|(id, _)| *id).collect();
        for (_, closing) in &self.confirmed {
            strikable.remove(closing);
        }
        strikable
    }

    /// The same as far as entries up to the end of a day go.
    pub(super) fn until(&self, day: Day) -> Self {
        let named: BTreeMap<_, _> = self
            .named
            .iter()
            .filter(|(_, (on, _))| *on <= day)
            .map(|(id, it)| (*id, *it))
            .collect();
        Self {
            strikes: self.strikes.iter().filter(|strike| strike.on <= day).copied().collect(),
            struck: self.struck.iter().filter(|id| named.contains_key(id)).copied().collect(),
            named,
            confirmed: self.confirmed.iter().filter(|(on, _)| *on <= day).copied().collect(),
        }
    }

    /// Strike-outs that hold and meet nothing that they can strike.
    pub(super) fn problems(&self) -> impl Iterator<Item = Problem> + '_ {
        let strikable = self.strikable();
        let meets_nothing = move |strike: &&Strike| {
            !self.struck.contains(&strike.by)
                && (strike.by == strike.target || !strikable.contains(&strike.target))
        };
        self.strikes.iter().filter(meets_nothing).map(|strike| Problem {
            what: Disagreement::VoidOfNothing,
            entries: vec![strike.by, strike.target],
        })
    }
}
