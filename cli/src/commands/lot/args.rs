//! What may be written behind each verb of `lot`.

use clap::Args;
use spareloop_domain::words::{
    ComingId, Count, CountError, Day, DiscardReason, LossCause, Packing, Place, Purpose, UnitKind,
};

/// A count of something, as `rot=2`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Counted<T> {
    /// Of what.
    pub(super) of: T,
    /// How many.
    pub(super) count: Count,
}

/// Reads `word=count`.
fn counted<T>(text: &str) -> Result<Counted<T>, String>
where
    T: std::str::FromStr,
    T::Err: std::fmt::Display,
{
    let (word, count) =
        text.split_once('=').ok_or_else(|| format!("{text:?} is not of the form rot=2"))?;
    Ok(Counted {
        of: word.parse().map_err(|error: T::Err| error.to_string())?,
        count: count.parse().map_err(|error: CountError| error.to_string())?,
    })
}

/// Stock on hand.
#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
pub struct Opening {
    /// The variety's name.
    pub(super) variety: String,
    /// How many.
    #[arg(long)]
    pub(super) count: Count,
    /// What a unit is.
    #[arg(long, default_value = "division")]
    pub(super) unit: UnitKind,
    /// Where it came from.
    #[arg(long)]
    pub(super) origin: Option<String>,
    /// The day it was counted.
    #[arg(long, value_name = "DAY")]
    pub(super) on: Option<Day>,
}

/// Clumps lifted.
#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
pub struct Lift {
    /// The variety's name.
    pub(super) variety: String,
    /// How many clumps.
    #[arg(long)]
    pub(super) clumps: Count,
    /// The bed they came from.
    #[arg(long)]
    pub(super) bed: Option<String>,
    /// The lot that was planted there, by code or id.
    #[arg(long, value_name = "LOT")]
    pub(super) grown_of: Option<String>,
    /// The day.
    #[arg(long, value_name = "DAY")]
    pub(super) on: Option<Day>,
}

/// Clumps divided.
#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
pub struct Divide {
    /// The lot of clumps.
    /// The lot, by code or id.
    pub(super) lot: String,
    /// Clumps used up.
    #[arg(long)]
    pub(super) clumps: Count,
    /// Sound divisions that show an eye.
    #[arg(long, default_value = "0")]
    pub(super) sound: Count,
    /// Sound divisions without an eye yet: a lot of their own.
    #[arg(long, default_value = "0")]
    pub(super) not_yet_eyed: Count,
    /// Pieces not kept, as rot=3; may be given again.
    #[arg(long = "discard", value_name = "REASON=COUNT", value_parser = counted::<DiscardReason>)]
    pub(super) discards: Vec<Counted<DiscardReason>>,
    /// All pieces, if they were counted.
    #[arg(long)]
    pub(super) pieces: Option<Count>,
    /// The dividing session it was part of, or `last`.
    #[arg(long)]
    pub(super) session: Option<String>,
    /// The day.
    #[arg(long, value_name = "DAY")]
    pub(super) on: Option<Day>,
}

/// Part of a lot split off.
#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
pub struct Split {
    /// The lot, by code or id.
    pub(super) lot: String,
    /// How many to split off.
    #[arg(long)]
    pub(super) count: Count,
    /// Where they go.
    #[arg(long, value_name = "PLACE")]
    pub(super) to: Option<Place>,
    /// The day.
    #[arg(long, value_name = "DAY")]
    pub(super) on: Option<Day>,
}

/// Packed and put in store.
#[derive(Debug, Args)]
pub struct Store {
    /// The lot, by code or id.
    pub(super) lot: String,
    /// In what.
    #[arg(long)]
    pub(super) packing: Packing,
    /// Where, from the large to the small.
    #[arg(long)]
    pub(super) place: Place,
    /// The day.
    #[arg(long, value_name = "DAY")]
    pub(super) on: Option<Day>,
}

/// Moved.
#[derive(Debug, Args)]
pub struct Move {
    /// The lot, by code or id.
    pub(super) lot: String,
    /// Where to.
    #[arg(long, value_name = "PLACE")]
    pub(super) to: Place,
    /// The day.
    #[arg(long, value_name = "DAY")]
    pub(super) on: Option<Day>,
}

/// Lists lots.
#[derive(Debug, Args)]
pub struct List {
    /// Only this variety.
    #[arg(long)]
    pub(super) variety: Option<String>,
    /// Only what lies here or within.
    #[arg(long)]
    pub(super) place: Option<Place>,
    /// Also lots at 0.
    #[arg(long)]
    pub(super) all: bool,
}

/// Shows one lot.
#[derive(Debug, Args)]
pub struct Show {
    /// The lot, by code or id.
    pub(super) lot: String,
}

/// Lost outside a check.
#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
pub struct Lose {
    /// The lot, by code or id.
    pub(super) lot: String,
    /// How many.
    #[arg(long)]
    pub(super) count: Count,
    /// rot, dried-out, frozen, gnawed, broken, culled, mislaid, blind, other.
    #[arg(long)]
    pub(super) cause: LossCause,
    /// The day.
    #[arg(long, value_name = "DAY")]
    pub(super) on: Option<Day>,
}

/// Counted again.
#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
pub struct Recount {
    /// The lot, by code or id.
    pub(super) lot: String,
    /// What was counted.
    #[arg(long)]
    pub(super) counted: Count,
    /// What became of the missing ones, if fewer than the book says.
    #[arg(long, value_name = "CAUSE")]
    pub(super) missing: Option<LossCause>,
    /// More are there than the book says: they were found.
    #[arg(long, conflicts_with = "missing")]
    pub(super) found: bool,
    /// The day.
    #[arg(long, value_name = "DAY")]
    pub(super) on: Option<Day>,
}

/// Woken.
#[derive(Debug, Args)]
pub struct Wake {
    /// The lot, by code or id.
    pub(super) lot: String,
    /// The day.
    #[arg(long, value_name = "DAY")]
    pub(super) on: Option<Day>,
}

/// Suspicious growth.
#[derive(Debug, Args)]
pub struct Stop {
    /// The lot, by code or id.
    pub(super) lot: String,
    /// What was seen.
    #[arg(long)]
    pub(super) signs: String,
    /// The dividing session, if at the bench.
    #[arg(long)]
    pub(super) session: Option<String>,
    /// The day.
    #[arg(long, value_name = "DAY")]
    pub(super) on: Option<Day>,
}

/// Came in.
#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
pub struct Receive {
    /// The variety's name.
    pub(super) variety: String,
    /// How many.
    #[arg(long)]
    pub(super) count: Count,
    /// From whom.
    #[arg(long)]
    pub(super) from: String,
    /// What a unit is.
    #[arg(long, default_value = "division")]
    pub(super) unit: UnitKind,
    /// The coming stock that it fulfils, by id.
    #[arg(long)]
    pub(super) coming: Option<ComingId>,
    /// Condition on arrival.
    #[arg(long)]
    pub(super) condition: Option<String>,
    /// The day.
    #[arg(long, value_name = "DAY")]
    pub(super) on: Option<Day>,
}

/// Went out.
#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
pub struct Send {
    /// The lot, by code or id.
    pub(super) lot: String,
    /// How many.
    #[arg(long)]
    pub(super) count: Count,
    /// To whom.
    #[arg(long)]
    pub(super) to: String,
    /// swap, sale, gift, club or return.
    #[arg(long)]
    pub(super) purpose: Purpose,
    /// The day.
    #[arg(long, value_name = "DAY")]
    pub(super) on: Option<Day>,
}

/// On order.
#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
pub struct OnOrder {
    /// The variety's name.
    pub(super) variety: String,
    /// How many are still to come.
    #[arg(long)]
    pub(super) count: Count,
    /// From whom.
    #[arg(long)]
    pub(super) from: String,
    /// What a unit is.
    #[arg(long, default_value = "division")]
    pub(super) unit: UnitKind,
    /// When it should be here.
    #[arg(long, value_name = "DAY")]
    pub(super) expected: Option<Day>,
    /// The id of an earlier statement that this one replaces.
    #[arg(long)]
    pub(super) coming: Option<ComingId>,
    /// The day.
    #[arg(long, value_name = "DAY")]
    pub(super) on: Option<Day>,
}
