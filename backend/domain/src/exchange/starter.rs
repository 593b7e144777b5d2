//! Starter gifts: offers for farms that have only begun, without debt.
//!
//! What may not enter: rows, and what else a beginner may do.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::words::{Day, UnknownWord, plain, word};

/// Days after joining for which a farm counts as a beginner (ours: two winters and the summer between).
pub const BEGINNER_DAYS: i64 = 730;

word! {
    /// For whom an offer is.
    #[derive(Default)]
    OpenTo {
        /// Every farm of the network.
        #[default]
        Everybody = "everybody", "every farm";
        /// Farms that have only begun: a gift, which nobody owes anything for.
        Beginners = "beginners", "beginners, as a starter gift";
    }
}

/// Whether a farm that joined then is a beginner: for two years, or until it has handed stock over itself.
///
/// ```
/// use spareloop_domain::exchange::starter::is_beginner;
/// let (joined, today) = ("2026-11-01".parse().unwrap(), "2027-02-01".parse().unwrap());
/// assert!(is_beginner(joined, today, 0));
/// assert!(!is_beginner(joined, today, 1));
/// assert!(!is_beginner("2024-10-01".parse().unwrap(), today, 0));
/// ```
pub fn is_beginner(joined: Day, today: Day, handed_over: u64) -> bool {
    handed_over == 0 && today.days_since(joined) <= BEGINNER_DAYS
}
