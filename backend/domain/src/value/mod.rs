//! What one unit of a variety is fairly worth against others.
//!
//! ```text
//! rebuild  yield scarcity: how long a variety takes to be built up again
//! market   everything offered and wanted, as an assignment game
//! gains    its gains as whole numbers, so that the optimum is exact
//! flow     one best allocation, and what one unit more or less of each variety would change
//! swap     low, high and swap value of every variety
//! draws    the same over winters that may come and wants that may lapse
//! lot      a particular lot's unit value, and values as whole tenths
//! sentence the reasons in a sentence
//! network  a network's market as it is told to its farms, and the values that follow from it
//! ```
//!
//! A value is relative: 1 is a unit of a variety that multiplies like the network's median and is
//! neither wanted more nor less than it is offered. It never depends on who asks. What may not
//! enter: farms, lots of a book, a premium for hygiene or tests (safety isn't traded for value).

mod draws;
mod flow;
mod gains;
mod lot;
mod market;
pub mod network;
mod rebuild;
mod sentence;
mod swap;

pub use draws::{DrawnValue, DrawnValues, NoDraws, over_draws};
pub use lot::{in_tenths, lot_unit_value};
pub use market::{
    Accepted, Draw, Market, MarketError, Shares, SharesError, Want, Worth, WorthError,
};
pub use rebuild::{Multiplication, MultiplicationError, median, rebuild_value, rebuild_values};
pub use sentence::{Reasons, Substitutes, value_sentence};
pub use swap::{SwapValue, Valuation, swap_values};
