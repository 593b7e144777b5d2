//! Why the door refuses what a person just noted.
//!
//! What may not enter: the checks themselves ([`super::draft`]).

use crate::words::{Count, Day, EntryId, LotId, Season, VarietyId, VarietyName};

/// Why a draft is refused. Nothing was noted; the book is as it was.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Refusal {
    /// No entry made this lot.
    #[error("there is no lot {} in the book", lot.code())]
    UnknownLot {
        /// The lot.
        lot: LotId,
    },
    /// No entry names this variety.
    #[error("that variety is not in the book")]
    UnknownVariety {
        /// The variety.
        variety: VarietyId,
    },
    /// Another variety bears the name.
    #[error("{} is in the book already", name.quoted())]
    NameTaken {
        /// The name as the book spells it.
        name: VarietyName,
    },
    /// A lot of this id or code is there already.
    #[error("lot code {} is taken on this farm", lot.code())]
    LotTaken {
        /// The new lot.
        lot: LotId,
    },
    /// More than is in the lot.
    #[error("lot {} has {had}, not {asked}", lot.code())]
    MoreThanThere {
        /// The lot.
        lot: LotId,
        /// What was asked for.
        asked: Count,
        /// What is there.
        had: Count,
    },
    /// The lot wasn't there that day.
    #[error("lot {} began on {began}, after {on}", lot.code())]
    BeforeItBegan {
        /// The lot.
        lot: LotId,
        /// The day noted.
        on: Day,
        /// The day it began.
        began: Day,
    },
    /// More than a day ahead.
    #[error("{on} is still to come (today is {today})")]
    InTheFuture {
        /// The day noted.
        on: Day,
        /// Today.
        today: Day,
    },
    /// Parts don't make up the whole.
    #[error("the sums don't agree: {stated} stated, {sum} by the parts")]
    SumsDiffer {
        /// As stated.
        stated: Count,
        /// By the parts.
        sum: Count,
    },
    /// A look over all of it, or a recount, saw another count than the book's.
    #[error("counted {counted} in lot {} where the book says {book}", lot.code())]
    CountDiffers {
        /// The lot.
        lot: LotId,
        /// What was counted.
        counted: Count,
        /// What the book says.
        book: Count,
    },
    /// A count of 0 where it says nothing.
    #[error("{what} is 0, so there is nothing to note")]
    NothingCounted {
        /// What was counted.
        what: &'static str,
    },
    /// A number beyond what it can be.
    #[error("{what} is {value}; it must be {range}")]
    OutOfRange {
        /// Which number.
        what: &'static str,
        /// As given.
        value: f64,
        /// What it may be, in words.
        range: &'static str,
    },
    /// A text that is no time of day.
    #[error("{what} is given as {given:?}, which is no time of day")]
    NoTime {
        /// Which time.
        what: &'static str,
        /// As given.
        given: String,
    },
    /// A text that says nothing.
    #[error("{what} is empty")]
    Empty {
        /// Which text.
        what: &'static str,
    },
    /// Given up on as blind before waking up.
    #[error("lot {} was not woken up yet: some varieties show eyes only in spring", lot.code())]
    NotWokenYet {
        /// The lot.
        lot: LotId,
    },
    /// The lot is stopped.
    #[error("lot {} is stopped for suspicious growth since {since}: nothing of it is passed on", lot.code())]
    Stopped {
        /// The lot.
        lot: LotId,
        /// Since when.
        since: Day,
    },
    /// A protected variety without a recorded permission.
    #[error("{} is protected and no permission is recorded: it can't be passed on", name.quoted())]
    Protected {
        /// The variety.
        name: VarietyName,
    },
    /// The day is in a season that was closed, or the season was closed before.
    #[error("season {season} was closed on {closed}: it is read-only")]
    SeasonClosed {
        /// The season.
        season: Season,
        /// The day on which it was closed.
        closed: Day,
    },
    /// The closing was confirmed.
    #[error("the closing of season {season} was confirmed: it stands")]
    SeasonConfirmed {
        /// The season.
        season: Season,
    },
    /// There is no such closing.
    #[error("season {season} is not closed")]
    SeasonNotClosed {
        /// The season.
        season: Season,
    },
    /// Clumps can't be of another variety than what was planted.
    #[error("lot {} is of another variety", lot.code())]
    OtherVariety {
        /// The lot that was planted.
        lot: LotId,
    },
    /// Struck out before.
    #[error("that entry is struck out already")]
    StruckOutAlready {
        /// The entry.
        entry: EntryId,
    },
}

impl Refusal {
    /// What to do next.
    pub const fn hint(&self) -> &'static str {
        match self {
            Self::UnknownLot { .. } => "Look the code up on the label, or list the stock.",
            Self::UnknownVariety { .. } => "Name the variety first, or check its spelling.",
            Self::NameTaken { .. } => "Use the variety that is there, or note an alias for it.",
            Self::LotTaken { .. } => "Note it again: it will get another code.",
            Self::MoreThanThere { .. } => {
                "Count the lot; if there are more than the book says, note a recount first."
            }
            Self::BeforeItBegan { .. } => "Check the day, or the lot's code.",
            Self::InTheFuture { .. } => "Note it once it has happened, or check the day.",
            Self::SumsDiffer { .. } => "Count again; every unit must be in one of the parts.",
            Self::CountDiffers { .. } => {
                "If fewer are there, say what became of the missing ones with a cause; if more, note a recount first."
            }
            Self::NothingCounted { .. } => "Leave it out, or give the count.",
            Self::OutOfRange { .. } => "Check the number and its unit.",
            Self::NoTime { .. } => "Write it as HH:MM, from 00:00 to 23:59.",
            Self::Empty { .. } => "Write a few words.",
            Self::NotWokenYet { .. } => "Wake the lot up and look again, or name another cause.",
            Self::Stopped { .. } => {
                "Keep it apart and ask your plant health authority what to do with it."
            }
            Self::Protected { .. } => {
                "Record the permission's number with the variety. Rights differ by country; ask the holder."
            }
            Self::SeasonClosed { .. } => {
                "Note it under the day of the closing or a later one. While the closing isn't confirmed, the season can be reopened instead."
            }
            Self::SeasonConfirmed { .. } => {
                "What turned out wrong since is corrected in the season that is open: count the lot and note a recount."
            }
            Self::SeasonNotClosed { .. } => "Close it first.",
            Self::OtherVariety { .. } => "Check the code of the lot that was planted there.",
            Self::StruckOutAlready { .. } => "Nothing to do.",
        }
    }
}
