//! What undoing an entry means.
//!
//! What may not enter: doing it.

use super::body::Void;
use super::entry::Entry;
use crate::words::EntryId;

/// How an entry stands on the device that is asked to undo it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// The last of this device's chain, and never sent.
    LastAndNotSent,
    /// Sent, or followed by others, or another device's.
    InTheChain,
    /// Struck out already.
    StruckOut,
}

/// What undo does.
#[derive(Debug, Clone, PartialEq)]
pub enum Undo {
    /// Takes the entry out of the chain's end: nobody has seen it.
    Withdraw(EntryId),
    /// Appends a strike-out; the history shows both.
    AppendVoid(Void),
}

/// Why undo is refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum UndoRefused {
    /// Two farms did it together.
    #[error(
        "stock that was handed over or received through the network can't be struck out by one side"
    )]
    HandedOver,
    /// It was done before.
    #[error("that entry is struck out already")]
    Already,
}

impl UndoRefused {
    /// What to do next.
    pub const fn hint(self) -> &'static str {
        match self {
            Self::HandedOver => "Report the difference to the other farm, or note a recount.",
            Self::Already => "Nothing to do.",
        }
    }
}

/// What undoing `entry` means, given how it stands.
pub fn undo(entry: &Entry, standing: Standing, why: Option<String>) -> Result<Undo, UndoRefused> {
    if entry.read_body().is_ok_and(|body| !body.may_be_struck_out()) {
        return Err(UndoRefused::HandedOver);
    }
    match standing {
        Standing::StruckOut => Err(UndoRefused::Already),
        Standing::LastAndNotSent => Ok(Undo::Withdraw(entry.id)),
        Standing::InTheChain => Ok(Undo::AppendVoid(Void { entry: entry.id, why })),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::ledger::body::Body;
    use crate::ledger::generate::wild;

    fn one(kind: impl Fn(&Body) -> bool) -> Entry {
        let found = (0..50)
            .flat_map(|seed| wild(seed, 60))
            .find(|entry| entry.read_body().is_ok_and(|body| kind(&body)));
        found.unwrap()
    }

    #[test]
    fn before_it_was_sent_undo_takes_it_back() {
        let entry = one(|body| matches!(body, Body::Loss(_)));
        assert_eq!(undo(&entry, Standing::LastAndNotSent, None), Ok(Undo::Withdraw(entry.id)));
    }

    #[test]
    fn after_it_was_sent_undo_strikes_it_out_in_sight() {
        let entry = one(|body| matches!(body, Body::Loss(_)));
        let why = Some("wrong lot".to_owned());
        let void = Void { entry: entry.id, why: why.clone() };
        assert_eq!(undo(&entry, Standing::InTheChain, why), Ok(Undo::AppendVoid(void)));
        assert_eq!(undo(&entry, Standing::StruckOut, None), Err(UndoRefused::Already));
    }

    #[test]
    fn what_two_farms_did_together_is_not_undone_by_one() {
        let entry = one(|body| matches!(body, Body::Send(send) if send.hand_over.is_some()));
        for standing in [Standing::LastAndNotSent, Standing::InTheChain] {
            assert_eq!(undo(&entry, standing, None), Err(UndoRefused::HandedOver));
        }
    }

    #[test]
    fn a_strike_out_is_taken_back_like_anything_else() {
        let entry = one(|body| matches!(body, Body::Void(_)));
        assert_eq!(undo(&entry, Standing::LastAndNotSent, None), Ok(Undo::Withdraw(entry.id)));
        let void = Void { entry: entry.id, why: None };
        assert_eq!(undo(&entry, Standing::InTheChain, None), Ok(Undo::AppendVoid(void)));
    }
}
