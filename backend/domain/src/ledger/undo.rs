//! What undoing an entry means.
//!
//! What may not enter: doing it.

use super::body::{Body, Void};
use super::book::Book;
use super::entry::Entry;
use super::season::{ClosedSeason, Confirmation};
use crate::words::{Day, EntryId, Season};

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
    /// A closing that was confirmed, or the confirmation itself.
    #[error("the closing of season {season} was confirmed: it stands")]
    Confirmed {
        /// The season.
        season: Season,
    },
    /// A season that was closed since holds it.
    #[error("season {season} was closed on {closed}: it is read-only")]
    SeasonClosed {
        /// The season.
        season: Season,
        /// The day on which it was closed.
        closed: Day,
        /// Whether it can be reopened.
        confirmation: Confirmation,
    },
}

impl UndoRefused {
    /// What to do next.
    pub const fn hint(self) -> &'static str {
        match self {
            Self::HandedOver => "Report the difference to the other farm, or note a recount.",
            Self::Already => "Nothing to do.",
            Self::Confirmed { .. }
            | Self::SeasonClosed { confirmation: Confirmation::Confirmed(_), .. } => {
                "What turned out wrong since is corrected in the season that is open: count the lot and note a recount."
            }
            Self::SeasonClosed { confirmation: Confirmation::Open, .. } => {
                "Reopen the season first, then undo the entry and close the season again."
            }
        }
    }
}

/// What undoing `entry` means, given how it stands and the book as it is now.
pub fn undo(
    book: &Book,
    entry: &Entry,
    standing: Standing,
    why: Option<String>,
) -> Result<Undo, UndoRefused> {
    let body = entry.read_body();
    match &body {
        _ if standing == Standing::StruckOut => return Err(UndoRefused::Already),
        Ok(Body::ConfirmSeason(_)) if standing == Standing::LastAndNotSent => {}
        Ok(Body::ConfirmSeason(body)) => {
            return Err(UndoRefused::Confirmed { season: body.season });
        }
        Ok(Body::CloseSeason(_)) => of_closing(book, entry)?,
        Ok(body) if !body.may_be_struck_out() => return Err(UndoRefused::HandedOver),
        Ok(_) | Err(_) => of_closed_season(book, entry)?,
    }
    match standing {
        Standing::StruckOut => Err(UndoRefused::Already),
        Standing::LastAndNotSent => Ok(Undo::Withdraw(entry.id)),
        Standing::InTheChain => Ok(Undo::AppendVoid(Void { entry: entry.id, why })),
    }
}

/// Only the last closing is taken back, and only until it is confirmed.
fn of_closing(book: &Book, entry: &Entry) -> Result<(), UndoRefused> {
    let seasons = &book.seasons;
    let Some(index) = seasons.iter().position(|closed| closed.closing == entry.id) else {
        return Ok(());
    };
    let closed = &seasons[index];
    match (closed.confirmation, seasons.get(index + 1)) {
        (Confirmation::Confirmed(_), _) => Err(UndoRefused::Confirmed { season: closed.season }),
        (Confirmation::Open, Some(later)) => Err(read_only(later)),
        (Confirmation::Open, None) => Ok(()),
    }
}

/// What a closing knew of stays; what came late may be struck out, to be noted again.
fn of_closed_season(book: &Book, entry: &Entry) -> Result<(), UndoRefused> {
    match book.closed_season_of(entry.on) {
        Some(closed) if closed.late.iter().all(|late| late.entry != entry.id) => {
            Err(read_only(closed))
        }
        _ => Ok(()),
    }
}

const fn read_only(closed: &ClosedSeason) -> UndoRefused {
    UndoRefused::SeasonClosed {
        season: closed.season,
        closed: closed.on,
        confirmation: closed.confirmation,
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
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
        assert_eq!(
            undo(&Book::default(), &entry, Standing::LastAndNotSent, None),
            Ok(Undo::Withdraw(entry.id))
        );
    }

    #[test]
    fn after_it_was_sent_undo_strikes_it_out_in_sight() {
        let entry = one(|body| matches!(body, Body::Loss(_)));
        let why = Some("wrong lot".to_owned());
        let void = Void { entry: entry.id, why: why.clone() };
        assert_eq!(
            undo(&Book::default(), &entry, Standing::InTheChain, why),
            Ok(Undo::AppendVoid(void))
        );
        assert_eq!(
            undo(&Book::default(), &entry, Standing::StruckOut, None),
            Err(UndoRefused::Already)
        );
    }

    #[test]
    fn what_two_farms_did_together_is_not_undone_by_one() {
        let entry = one(|body| matches!(body, Body::Send(send) if send.hand_over.is_some()));
        for standing in [Standing::LastAndNotSent, Standing::InTheChain] {
            assert_eq!(
                undo(&Book::default(), &entry, standing, None),
                Err(UndoRefused::HandedOver)
            );
        }
    }

    #[test]
    fn a_strike_out_is_taken_back_like_anything_else() {
        let entry = one(|body| matches!(body, Body::Void(_)));
        assert_eq!(
            undo(&Book::default(), &entry, Standing::LastAndNotSent, None),
            Ok(Undo::Withdraw(entry.id))
        );
        let void = Void { entry: entry.id, why: None };
        assert_eq!(
            undo(&Book::default(), &entry, Standing::InTheChain, None),
            Ok(Undo::AppendVoid(void))
        );
    }
}
