//! What the fold of a ledger answers: the farm's stock book at this moment.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use super::body::{BenchSession, Coming, Eyes, LostUnits, Plan, Scope};
use super::season::ClosedSeason;
use crate::words::{
    ComingId, Count, Day, EntryId, FarmId, HandOverId, Look, LossCause, LotId, Packing, Place,
    Purpose, Season, SessionId, UnitKind, VarietyCard, VarietyId,
};

/// The stock book.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Book {
    /// Every variety that the ledger names.
    pub varieties: BTreeMap<VarietyId, VarietyCard>,
    /// Every lot that ever was, also those at 0.
    pub lots: BTreeMap<LotId, Lot>,
    /// Dividing sessions.
    pub sessions: BTreeMap<SessionId, BenchSession>,
    /// The plan that holds for each variety and unit kind.
    pub plans: BTreeMap<(VarietyId, UnitKind), Plan>,
    /// Stock on order or agreed that hasn't come.
    pub coming: BTreeMap<ComingId, Coming>,
    /// Emergence by variety: planted and came up, summed over the ledger.
    pub emergence: BTreeMap<VarietyId, (Count, Count)>,
    /// Yield by variety: clumps and sound divisions, summed over the ledger.
    pub yields: BTreeMap<VarietyId, (Count, Count)>,
    /// In, made, found, out, lost and in store, by variety and unit kind.
    pub flows: BTreeMap<(VarietyId, UnitKind), Flow>,
    /// Seasons that were closed, in order.
    pub seasons: Vec<ClosedSeason>,
    /// Entries that were struck out.
    pub struck_out: BTreeSet<EntryId>,
    /// Where facts disagree, in words that a grower can act on.
    pub problems: Vec<Problem>,
    /// Entries that a newer version noted.
    pub newer: Vec<EntryId>,
}

/// One lot as the book has it now.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Lot {
    /// Its id.
    pub id: LotId,
    /// Its variety.
    pub variety: VarietyId,
    /// What a unit is.
    pub unit: UnitKind,
    /// Units in store by the book.
    pub in_store: Count,
    /// Units that the lot began with.
    pub began_with: Count,
    /// The day it began.
    pub began: Day,
    /// Where it came from.
    pub origin: Origin,
    /// The label that it bears besides its code, in the grower's spelling.
    pub label: Option<String>,
    /// The day it was packed and stored, if noted.
    pub stored: Option<Day>,
    /// What it lies in.
    pub packing: Option<Packing>,
    /// Where it lies.
    pub place: Option<Place>,
    /// Whether eyes were seen.
    pub eyes: Eyes,
    /// Whether it sleeps, was woken or is stopped.
    pub condition: LotCondition,
    /// Of the last look: doubtful and sprouted early.
    pub doubtful: Count,
    /// Sprouted early at the last look.
    pub sprouted: Count,
    /// Every look, in the fold's order.
    pub looks: Vec<LookRecord>,
    /// Looks at the lot it was split from, up to the split: the same stock, then in one box.
    pub looks_before_split: Vec<LookRecord>,
    /// Units in store by the day they were last seen alive, oldest first; sums to `in_store`.
    pub last_seen: Vec<SeenUnits>,
    /// Decay found outside a check since the last look over the whole lot.
    pub unassigned_decay: Count,
    /// What the hazard is learned from: units looked at and lost over the days since last seen.
    pub loss_rows: Vec<LossRow>,
    /// Rows of the lot it was split from, up to the split. They speak for this lot's own forecast,
    /// and are left out where rows of several lots are pooled, since they count there already.
    pub rows_before_split: Vec<LossRow>,
    /// All that was lost of it, by cause.
    pub lost: BTreeMap<LossCause, Count>,
    /// All that left it alive, by where it went.
    pub gone: BTreeMap<Gone, Count>,
    /// All that recounts found more than the book had.
    pub found: Count,
}

/// Where units of a lot went that left it alive.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Gone {
    /// Divided, or split off into another box.
    Divided,
    /// Potted up.
    PottedUp,
    /// Planted out.
    Planted,
    /// Swapped.
    Swapped,
    /// Sold.
    Sold,
    /// Given away.
    Given,
    /// To a club's table.
    Club,
    /// Back to where it came from.
    Returned,
}

impl From<Purpose> for Gone {
    fn from(purpose: Purpose) -> Self {
        match purpose {
            Purpose::Swap => Self::Swapped,
            Purpose::Sale => Self::Sold,
            Purpose::Gift => Self::Given,
            Purpose::Club => Self::Club,
            Purpose::Return => Self::Returned,
        }
    }
}

impl Book {
    /// Every lot with anything in store, and how much.
    pub fn in_store(&self) -> impl Iterator<Item = (LotId, Count)> + '_ {
        self.lots.values().filter(|lot| !lot.in_store.is_zero()).map(|lot| (lot.id, lot.in_store))
    }
}

/// Where a lot came from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub enum Origin {
    /// On hand when the book began.
    Opening(Option<String>),
    /// Lifted: from which bed, and of which lot that was planted there.
    Lifted(Option<String>, Option<LotId>),
    /// Divided from another lot, in a session if noted.
    Divided(LotId, Option<SessionId>),
    /// Potted up from another lot.
    PottedFrom(LotId),
    /// Cuttings of another lot.
    CutFrom(LotId),
    /// Received.
    Received {
        /// From whom, in words.
        from: String,
        /// From which farm of the network.
        farm: Option<FarmId>,
        /// The sender's lot.
        lot: Option<LotId>,
        /// By which hand-over.
        hand_over: Option<HandOverId>,
    },
}

/// What may be done with a lot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum LotCondition {
    /// Asleep in store.
    Stored,
    /// Brought into warmth.
    Woken(Day),
    /// Suspicious growth was seen: nothing of it is passed on.
    Stopped(Day),
}

/// One look at a lot.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LookRecord {
    /// The entry.
    pub entry: EntryId,
    /// The day.
    pub on: Day,
    /// How.
    pub look: Look,
    /// Whole or sample.
    pub scope: Scope,
    /// Units looked at.
    pub inspected: Count,
    /// Sound.
    pub sound: Count,
    /// Doubtful.
    pub doubtful: Count,
    /// Lost by cause.
    pub lost: Vec<LostUnits>,
}

/// Units last seen alive on one day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct SeenUnits {
    /// How many.
    pub count: Count,
    /// The day.
    pub on: Day,
}

/// Units looked at, those lost to decay among them, and the days since they were last seen alive.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct LossRow {
    /// Days since last seen alive.
    pub days: u32,
    /// Units looked at.
    pub inspected: u32,
    /// Lost to decay among them.
    pub lost: u32,
}

/// In + made + found = out + lost + in store, per variety and unit kind.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Flow {
    /// Lifted, received, on hand when the book began.
    pub came_in: i64,
    /// Made by dividing, potting, cutting.
    pub made: i64,
    /// Found by a recount.
    pub found: i64,
    /// Sent, planted, divided or potted up.
    pub went_out: i64,
    /// Lost, whatever the cause, and pieces discarded.
    pub lost: i64,
    /// In store.
    pub in_store: i64,
}

impl Flow {
    /// Whether the sums agree.
    pub const fn agrees(&self) -> bool {
        self.came_in + self.made + self.found == self.went_out + self.lost + self.in_store
    }
}

/// Where facts disagree.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Problem {
    /// What disagrees.
    pub what: Disagreement,
    /// The entries concerned.
    pub entries: Vec<EntryId>,
}

/// What disagrees in the book. The fold carries on in every case and drops no fact.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error, Serialize, Deserialize)]
pub enum Disagreement {
    /// More was taken from a lot than was in it.
    #[error("{taken} taken from lot {} where the book had {had}: recount it", lot.code())]
    TakenMoreThanThere {
        /// The lot.
        lot: LotId,
        /// What was taken.
        taken: Count,
        /// What the book had.
        had: Count,
    },
    /// A look over the whole lot saw another count than the book's.
    #[error("counted {counted} in lot {} where the book says {book}: recount it, with the cause if some are gone", lot.code())]
    CountDiffers {
        /// The lot.
        lot: LotId,
        /// What was counted.
        counted: Count,
        /// What the book says.
        book: Count,
    },
    /// The same look was noted twice, on two devices.
    #[error("the same look at lot {} on {on} was noted twice: strike one out", lot.code())]
    NotedTwice {
        /// The lot.
        lot: LotId,
        /// The day.
        on: Day,
    },
    /// An entry speaks of a lot that no entry made.
    #[error("lot {} is spoken of but was never lifted, made or received: sync, as the entry that made it may be on another device; else strike these out", lot.code())]
    UnknownLot {
        /// The lot.
        lot: LotId,
    },
    /// An entry speaks of a variety that no entry names.
    #[error(
        "a variety is spoken of that was never named: sync, as its naming may be on another device; else strike these out and note them under a variety that has a name"
    )]
    UnknownVariety {
        /// The variety.
        variety: VarietyId,
    },
    /// Something happened to a lot before it was there.
    #[error("lot {} was spoken of on {on}, before it began on {began}: strike out the one with the wrong day and note it again", lot.code())]
    BeforeItBegan {
        /// The lot.
        lot: LotId,
        /// The day spoken of.
        on: Day,
        /// The day it began.
        began: Day,
    },
    /// Two entries make the same lot.
    #[error("lot {} was made twice: strike one out", lot.code())]
    MadeTwice {
        /// The lot.
        lot: LotId,
    },
    /// Sums of one entry don't agree.
    #[error("the sums of an entry about lot {} don't agree ({stated} stated, {sum} by its parts): strike it out and note it again", lot.code())]
    SumsDiffer {
        /// The lot.
        lot: LotId,
        /// As stated.
        stated: Count,
        /// By its parts.
        sum: Count,
    },
    /// A body can't be read.
    #[error("an entry can't be read ({why}): update this program, or strike the entry out")]
    Unreadable {
        /// What the reader said.
        why: String,
    },
    /// The book's count differs now from what was carried into the next season.
    #[error("season {season} was closed with {carried} in lot {}, where the book now has {book} for that day: recount it", lot.code())]
    CarriedDiffers {
        /// The season that was closed.
        season: Season,
        /// The lot.
        lot: LotId,
        /// What the closing carried forward.
        carried: Count,
        /// What the book has.
        book: Count,
    },
    /// Entries of a closed season that the closing didn't know.
    #[error(
        "entries for days before season {season} was closed on {closed} came in later: reopen the season and close it again, or let them stand by confirming it, or strike them out and note them under a later day"
    )]
    LateForSeason {
        /// The season.
        season: Season,
        /// The day it was closed.
        closed: Day,
    },
    /// A season was closed twice, or after a later one.
    #[error(
        "season {season} was closed again, or after a later one: strike one of the closings out"
    )]
    SeasonClosedTwice {
        /// The season.
        season: Season,
    },
    /// A confirmation names a closing that isn't in force.
    #[error(
        "season {season} was confirmed, but the closing that was confirmed is not here or was struck out: close the season again"
    )]
    ConfirmedNothing {
        /// The season.
        season: Season,
    },
    /// A void names an entry that isn't there, or one that can't be struck out.
    #[error(
        "a strike-out names an entry that isn't here, or one that stands (a hand-over, a confirmed closing): sync; if it stays, strike the strike-out out"
    )]
    VoidOfNothing,
}

impl Disagreement {
    /// The lot whose count it is about; counting that lot settles it.
    pub const fn counts_of(&self) -> Option<LotId> {
        match self {
            Self::TakenMoreThanThere { lot, .. }
            | Self::CountDiffers { lot, .. }
            | Self::CarriedDiffers { lot, .. } => Some(*lot),
            _ => None,
        }
    }
}
