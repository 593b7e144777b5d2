//! What a variety is worth and why, in one sentence.
//!
//! What may not enter: any reckoning; the numbers are given.

use serde::{Deserialize, Serialize};

use super::{Market, Want};

/// The figures behind a value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reasons {
    /// The swap value.
    pub value: f64,
    /// Its likely range, where it was reckoned over draws.
    pub likely: Option<(f64, f64)>,
    /// Sound divisions that a plant of the variety gives after storage.
    pub multiplication: f64,
    /// What the median variety's does.
    pub median: f64,
    /// Units offered.
    pub spare: u64,
    /// How it is wanted.
    pub substitutes: Substitutes,
}

/// Units wanted, by what else would do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Substitutes {
    /// Wanted before any other variety.
    pub first_choice: u64,
    /// Of those, accepting another variety too.
    pub open_to_others: u64,
    /// Wanted in place of another variety.
    pub in_place_of_another: u64,
}

impl Substitutes {
    /// How every variety of a market is wanted, in their order.
    pub fn of(market: &Market) -> Vec<Self> {
        let mut of = vec![Self::default(); market.rebuild().len()];
        for Want { count, accepts } in market.wants() {
            for (place, accepted) in accepts.iter().enumerate() {
                let (here, units) = (&mut of[accepted.variety], u64::from(*count));
                match (place, accepts.len()) {
                    (0, 1) => here.first_choice += units,
                    (0, _) => {
                        here.first_choice += units;
                        here.open_to_others += units;
                    }
                    _ => here.in_place_of_another += units,
                }
            }
        }
        of
    }
}

/// The sentence of reasons.
///
/// ```
/// use spareloop_domain::value::{Reasons, Substitutes, value_sentence};
/// let reasons = Reasons {
///     value: 4.09,
///     likely: None,
///     multiplication: 2.1,
///     median: 4.0,
///     spare: 9,
///     substitutes: Substitutes { first_choice: 14, ..Substitutes::default() },
/// };
/// assert_eq!(
///     value_sentence(&reasons),
///     "worth 4.1: a plant gives 2.1 sound divisions after storage where the median gives 4.0, \
///      and 14 are wanted, none accepting another variety, against 9 to spare"
/// );
/// ```
pub fn value_sentence(reasons: &Reasons) -> String {
    let likely = reasons.likely.map(|(low, high)| (format!("{low:.1}"), format!("{high:.1}")));
    let likely = match likely {
        None => String::new(),
        Some((low, high)) if low == high && low == format!("{:.1}", reasons.value) => String::new(),
        // Wants that lapse now and then pull the mean out of so narrow a range.
        Some((low, high)) if low == high => format!(", in most winters {low}"),
        Some((low, high)) => format!(", likely {low} to {high}"),
    };
    let spare = match reasons.spare {
        0 => "none to spare".to_owned(),
        units => format!("{units} to spare"),
    };
    format!(
        "worth {:.1}{likely}: a plant gives {:.1} sound divisions after storage where the median \
         gives {:.1}, and {} against {spare}",
        reasons.value,
        reasons.multiplication,
        reasons.median,
        wanted(reasons.substitutes),
    )
}

fn wanted(of: Substitutes) -> String {
    let Substitutes { first_choice, open_to_others, in_place_of_another } = of;
    let are = |units: u64| match units {
        1 => "1 is".to_owned(),
        units => format!("{units} are"),
    };
    let others = match (first_choice, open_to_others) {
        (_, 0) => "none accepting another variety,".to_owned(),
        (first, open) if first == open => "all accepting another variety too,".to_owned(),
        (_, open) => format!("{open} of them accepting another variety too,"),
    };
    match (first_choice, in_place_of_another) {
        (0, 0) => "none are wanted".to_owned(),
        (0, instead) => format!("{} wanted in place of another variety,", are(instead)),
        (first, 0) => format!("{} wanted, {others}", are(first)),
        (first, instead) => {
            format!("{} wanted, {others} and {instead} in place of another variety,", are(first))
        }
    }
}
