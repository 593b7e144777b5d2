//! What redo brings back: the last that was undone on this device, as long as nothing else was
//! noted since.
//!
//! What may not enter: doing it.

use std::collections::BTreeSet;

use super::body::{Body, Void};
use super::entry::{Entry, Hash};
use crate::words::EntryId;

/// What redo does.
#[derive(Debug, Clone, PartialEq)]
pub enum Redo {
    /// Notes a withdrawn entry anew: the one of that number among those withdrawn.
    NoteAgain(usize),
    /// Takes back or strikes out this strike-out.
    BringBack {
        /// The strike-out.
        strike_out: EntryId,
        /// What it struck out.
        entry: EntryId,
    },
}

/// What redo means, if there is anything to redo.
///
/// `chain` is this device's chain, or its end, in order; `struck_out` what is struck out in the
/// book; `behind` the hash that the chain ended with when each entry was withdrawn, oldest first.
/// Walks back from the chain's end over strike-outs, which are nothing but undo and redo, and stops
/// at anything else that was noted.
pub fn redo(chain: &[Entry], struck_out: &BTreeSet<EntryId>, behind: &[Hash]) -> Option<Redo> {
    let strike_outs: BTreeSet<EntryId> =
        chain.iter().filter(|entry| entry.kind == "void").map(|entry| entry.id).collect();
    let mut rest = chain;
    loop {
        let end = rest.last().map_or(Hash::START, |entry| entry.hash);
        if let Some(number) = behind.iter().rposition(|hash| *hash == end) {
            return Some(Redo::NoteAgain(number));
        }
        let (last, before) = rest.split_last()?;
        let Ok(Body::Void(Void { entry, .. })) = last.read_body() else { return None };
        // A strike-out of a strike-out is a redo, and one that is struck out was redone.
        if !strike_outs.contains(&entry) && !struck_out.contains(&last.id) {
            return Some(Redo::BringBack { strike_out: last.id, entry });
        }
        rest = before;
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::ledger::example::Farm;
    use crate::ledger::fold;
    use crate::words::{LossCause, UnitKind};

    /// Three losses, of which the last two were struck out, the later one first.
    fn undone_twice() -> (Farm, [EntryId; 3]) {
        let mut farm = Farm::new(1);
        let lot = farm.opening("2025-11-01", UnitKind::Division, 20);
        let losses = [1, 2, 3].map(|count| farm.lose("2025-11-10", lot, count, LossCause::Rot));
        for entry in [losses[2], losses[1]] {
            farm.note("2025-11-11", Void { entry, why: None });
        }
        (farm, losses)
    }

    fn next(farm: &Farm) -> Option<Redo> {
        redo(&farm.scribe.written, &fold(&farm.scribe.written).struck_out, &[])
    }

    #[test]
    fn what_was_undone_last_comes_back_first() {
        let (mut farm, losses) = undone_twice();
        for expected in [losses[1], losses[2]] {
            let Some(Redo::BringBack { strike_out, entry }) = next(&farm) else {
                panic!("nothing to redo")
            };
            assert_eq!(entry, expected);
            farm.note("2025-11-12", Void { entry: strike_out, why: None });
        }
        assert!(fold(&farm.scribe.written).struck_out.is_disjoint(&losses.into()));
        assert_eq!(next(&farm), None);
    }

    #[test]
    fn once_something_else_was_noted_nothing_is_redone() {
        let (mut farm, _) = undone_twice();
        farm.opening("2025-11-12", UnitKind::Division, 3);
        assert_eq!(next(&farm), None);
    }

    #[test]
    fn a_withdrawn_entry_comes_back_where_it_stood_and_nowhere_else() {
        let (farm, _) = undone_twice();
        let chain = &farm.scribe.written;
        let struck_out = fold(chain).struck_out;
        let end = chain.last().unwrap().hash;
        assert_eq!(redo(chain, &struck_out, &[Hash::START, end]), Some(Redo::NoteAgain(1)));
        assert_eq!(redo(&[], &struck_out, &[Hash::START]), Some(Redo::NoteAgain(0)));
        assert!(matches!(redo(chain, &struck_out, &[Hash::START]), Some(Redo::BringBack { .. })));
    }
}
