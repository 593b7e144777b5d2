//! What the rules of the trade, or of one farm's part in it, say no to.
//!
//! Each reason is a sentence that a person may read; what to do next is the server's and the client's to
//! add. What may not enter: outages, conflicts and what is missing ([`crate::StoreError`]).

use std::collections::BTreeSet;

use spareloop_domain::attest::{FactKind, KeyError, VerifyError};
use spareloop_domain::exchange::owed::{PostingError, Tenths};
use spareloop_domain::exchange::parcel::NotYet;
use spareloop_domain::exchange::photo::{MOST_OF_A_FARM, MOST_OF_A_THING};
use spareloop_domain::exchange::round::RuleError;
use spareloop_domain::exchange::{
    self, BeyondLimit, ClaimKind, GreatestDistance, HoldState, Kilometres, Party,
};
use spareloop_domain::ledger::Refusal;
use spareloop_domain::telling;
use spareloop_domain::words::{Count, Day, Purpose, UnitKind};

/// A rule of the trade says no.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Refused {
    /// A coordinator only.
    #[error("only a coordinator can do that")]
    NotACoordinator,
    /// One side of an exchange only.
    #[error("only {0} can do that")]
    OnlyBy(Party),
    /// The state of an offer, want, hold or hand-over doesn't allow it.
    #[error(transparent)]
    State(#[from] exchange::Refused),
    /// The stock book doesn't allow it.
    #[error(transparent)]
    Book(#[from] Refusal),
    /// The owed book doesn't allow it.
    #[error(transparent)]
    Owed(#[from] PostingError),
    /// A farm would get too far from even.
    #[error(transparent)]
    Limit(#[from] BeyondLimit),
    /// The rules of a round can't be.
    #[error(transparent)]
    Rules(#[from] RuleError),
    /// Nobody waits for what is free.
    #[error("{free} are free: ask for a hold, nobody has to wait")]
    FreeAlready {
        /// Free.
        free: Count,
    },
    /// Only a swap day is settled.
    #[error("only a swap day is settled; a loop is handed over hold by hold")]
    NotASwapDay,
    /// A consent that nobody gave.
    #[error("it must be noted who consented for the farm, and how")]
    ConsentOfNobody,
    /// A consent of a day to come.
    #[error("a consent is noted once it was given")]
    ConsentToCome,
    /// A name that has no room for the mark of a farm on paper.
    #[error("the name must leave room for ' (on paper)', which is shown with it")]
    NameTooLongOnPaper,
    /// A swap day that does not take place, or is over.
    #[error("that swap day does not take place yet, or is over")]
    NoSwapDayNow,
    /// A sale without a price.
    #[error("a sale has a price for one unit, like 2.50 EUR, and no worth in the owed book")]
    SaleWithoutPrice,
    /// A price of what isn't sold.
    #[error("only a sale has a price in money")]
    PriceWithoutSale,
    /// A starter gift for a farm that isn't a beginner.
    #[error(
        "that offer is a starter gift: for farms that joined within two years and have handed nothing over yet"
    )]
    NotABeginner,
    /// A starter gift as something else.
    #[error("that offer is a starter gift: ask for it as a gift")]
    OnlyAsAGift,
    /// Money for what is not agreed.
    #[error("money is noted once the hold is agreed (it is {0})")]
    NothingToPay(HoldState),
    /// A want that was taken back.
    #[error("that want was taken back")]
    WantWithdrawn,
    /// Too many photos beside one thing.
    #[error("your farm has {MOST_OF_A_THING} photos there, which is the most: remove one first")]
    PhotosOfAThing,
    /// Too many photos of one farm.
    #[error("your farm has {MOST_OF_A_FARM} photos here, which is the most: remove some first")]
    PhotosOfAFarm,
    /// A photo of what is not there yet, or over.
    #[error(
        "a photo stands beside an open offer, a hold that is agreed, or a claim that is not settled"
    )]
    PhotoOfWhatIsOver,
    /// A photo that belongs to a claim.
    #[error("what stands beside a claim stays on record")]
    PhotoOnRecord,
    /// A greatest distance from nowhere.
    #[error("say first where your farm roughly is, or leave out how far away it may be")]
    NowhereYet,
    /// Farther than the want sets.
    #[error("the offer is {far} away and the want takes what is within {within}")]
    TooFar {
        /// How far it is.
        far: Kilometres,
        /// What the want sets.
        within: GreatestDistance,
    },
    /// A want of something else.
    #[error("that want is of '{wanted}' and takes no '{offered}' instead")]
    NotWanted {
        /// Wanted first.
        wanted: String,
        /// Offered.
        offered: String,
    },
    /// A farm asks for what it offers itself.
    #[error("that is your own farm's offer")]
    OwnOffer,
    /// Nothing was counted.
    #[error("{what} is 0, so there is nothing to do")]
    Nothing {
        /// What was to be counted.
        what: &'static str,
    },
    /// Less than the giver sends.
    #[error("the least that is sent is {smallest}, {asked} asked for")]
    BelowSmallestParcel {
        /// Asked for.
        asked: Count,
        /// The smallest parcel.
        smallest: Count,
    },
    /// A smallest parcel that could never be sent.
    #[error("the least to send, {smallest}, is more than the {count} offered")]
    SmallestAboveCount {
        /// The smallest parcel.
        smallest: Count,
        /// What is offered.
        count: Count,
    },
    /// More given than was promised.
    #[error("{given} given where {held} were agreed: agree a further hold for the rest first")]
    GivenMoreThanHeld {
        /// Given.
        given: Count,
        /// Agreed.
        held: Count,
    },
    /// Dated before a count that has it as still in store.
    #[error("handed over on {on}, but a count noted later has it in store: give the day it left")]
    HandedOverBeforeACount {
        /// The day noted.
        on: Day,
    },
    /// Received before it was given.
    #[error("received on {on}, but handed over on {given} only: give the day on which it came")]
    ReceivedBeforeGiven {
        /// The day noted.
        on: Day,
        /// The day on which it was handed over.
        given: Day,
    },
    /// Holds are for swaps and gifts.
    #[error("a hold is for a swap or a gift, not for: {0}")]
    NotForHolds(Purpose),
    /// A gift is worth nothing in the owed book.
    #[error("a gift skips the owed book, so it has no value there")]
    GiftWithValue,
    /// A value that no unit has.
    #[error("a unit is worth from 0 to 100,000.0 median divisions (got {0})")]
    UnitValue(Tenths),
    /// A hold that would lapse at once.
    #[error("a hold has to last for a while")]
    LapsesAtOnce,
    /// A want for another unit kind.
    #[error("your want is for {wanted}, the offer is of {offered}")]
    OtherUnit {
        /// What the want is for.
        wanted: UnitKind,
        /// What the offer is of.
        offered: UnitKind,
    },
    /// A key that was not made known as the farm's own.
    #[error(transparent)]
    Key(#[from] KeyError),
    /// A statement that does not hold.
    #[error("that statement is not taken: {0}")]
    Statement(#[from] VerifyError),
    /// The state of a channel doesn't allow it.
    #[error(transparent)]
    Channel(#[from] telling::Refused),
    /// A want asks for statements that the lot doesn't bear.
    #[error(
        "your want asks for signed statements that this lot does not bear: {}",
        listed(missing)
    )]
    StatementsMissing {
        /// Which kinds.
        missing: BTreeSet<FactKind>,
    },
    /// A rule between the farms' regions asks for statements that the lot doesn't bear.
    #[error(
        "between these regions the coordinator asks for signed statements that this lot does not bear: {}",
        listed(missing)
    )]
    MovementAsks {
        /// Which kinds.
        missing: BTreeSet<FactKind>,
    },
    /// Nothing passes between the farms' regions through this network.
    #[error("{caution}")]
    MovementStopped {
        /// What both farms are told.
        caution: String,
    },
    /// A parcel of something that is not agreed.
    #[error("only what is agreed travels as a parcel, and this hold is {0}")]
    ParcelOf(HoldState),
    /// A parcel may not leave on that day.
    #[error(transparent)]
    NotYet(#[from] NotYet),
    /// Whoever proposed terms does not agree to them.
    #[error("your farm proposed these terms: the other farm agrees to them, or proposes otherwise")]
    OwnTerms,
    /// Whoever set a pause lifts it.
    #[error("the other farm set that pause, and lifts it")]
    OthersPause,
    /// What is lost did not come.
    #[error("a parcel that never came brought nothing: received is 0")]
    LostAndReceived,
    /// Nothing travelled as a parcel.
    #[error("this was not sent as a parcel: say what arrived, and its condition")]
    NoParcel,
    /// A claim after its time.
    #[error("{kind} could be claimed until {until}")]
    TooLateToClaim {
        /// What is claimed.
        kind: ClaimKind,
        /// The last day.
        until: Day,
    },
    /// More is claimed than arrived.
    #[error("{received} arrived, {claimed} of them are claimed already, and {asked} more can't be")]
    MoreThanArrived {
        /// Received.
        received: Count,
        /// In claims that stand.
        claimed: Count,
        /// Asked for.
        asked: Count,
    },
    /// More is decided than was claimed.
    #[error("{claimed} were claimed, so {decided} can't be decided")]
    DecidedBeyond {
        /// Claimed.
        claimed: Count,
        /// Decided.
        decided: Count,
    },
    /// A claim of what has not been received.
    #[error("nothing was confirmed as received yet; say what arrived first")]
    NotReceivedYet,
    /// A rule from a region to itself.
    #[error("a rule is between two regions, and these are one")]
    OneRegion,
    /// More than anybody needs.
    #[error("{what}: at most {most}")]
    TooMany {
        /// Of what.
        what: &'static str,
        /// The most.
        most: i64,
    },
    /// A text that is too long, or holds what no page can show.
    #[error("{what} has at most 1,000 characters and no control characters")]
    Text {
        /// Which text.
        what: &'static str,
    },
}

fn listed(kinds: &BTreeSet<FactKind>) -> String {
    kinds.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ")
}
