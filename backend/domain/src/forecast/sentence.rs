//! The one sentence that a person needs first, for a lot and for a variety.
//!
//! Words for people are those of the trade: *expected*, *likely* (1 winter in 10 is below, 1 in 10
//! above), *spare*, *short*, *kept back*. What may not enter: any reckoning; the numbers are given.

use super::{PlanTerms, ServiceLevel, Short, Spare};
use crate::belief::{Ground, Grounds};
use crate::words::{Count, Day};

/// Stock of one kind, now and on the planting day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StockOutlook {
    /// Units in store now.
    pub in_store: Count,
    /// The planting day.
    pub on: Day,
    /// Units expected to be left then.
    pub expected: f64,
    /// The lower end of the likely range.
    pub low: u32,
    /// The upper end of the likely range.
    pub high: u32,
    /// What the forecast rests on.
    pub grounds: Grounds,
}

/// Stock of one variety and unit kind, and what its plan makes of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VarietyOutlook {
    /// All its lots together.
    pub stock: StockOutlook,
    /// How many lots those are.
    pub lots: u32,
    /// The plan.
    pub plan: PlanOutlook,
}

/// What a plan makes of the stock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum PlanOutlook {
    /// Nothing is planned, so nothing is called spare.
    NoPlan,
    /// What the plan asks for, and how the stock stands to it.
    Planned(PlanTerms, Balance),
}

/// How stock stands to its plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Balance {
    /// So many units can go.
    Spare(u32),
    /// Enough, with nothing over.
    Even,
    /// Units are lacking.
    Short(Short),
}

impl From<Spare> for Balance {
    fn from(answer: Spare) -> Self {
        match (answer.short, answer.spare) {
            (Short::Units(0), 0) => Self::Even,
            (Short::Units(0), spare) => Self::Spare(spare),
            (short, _) => Self::Short(short),
        }
    }
}

/// A lot's sentence.
///
/// ```
/// use spareloop_domain::belief::{Ground, Grounds};
/// use spareloop_domain::forecast::{StockOutlook, lot_sentence};
/// use spareloop_domain::words::Count;
/// let outlook = StockOutlook {
///     in_store: Count::from(40),
///     on: "2027-05-10".parse()?,
///     expected: 31.2,
///     low: 24,
///     high: 36,
///     grounds: Grounds { looks: 0, other_lots: 0, other_looks: 0, ground: Ground::FirstSeason },
/// };
/// assert_eq!(
///     lot_sentence(&outlook),
///     "40 in store; 31 expected on 10 May, likely 24 to 36, \
///      from a first-season guess, since no look is noted yet."
/// );
/// # Ok::<(), spareloop_domain::words::DayError>(())
/// ```
pub fn lot_sentence(outlook: &StockOutlook) -> String {
    if outlook.in_store.is_zero() {
        return "None in store.".to_owned();
    }
    format!("{}, {}.", stock(outlook), grounds(outlook.grounds, 1))
}

/// A variety's sentence, by unit kind: stock, expected, spare or short and why.
pub fn variety_sentence(outlook: &VarietyOutlook) -> String {
    let plan = plan_words(outlook.plan);
    if outlook.stock.in_store.is_zero() {
        return format!("None in store; {plan}.");
    }
    let grounds = grounds(outlook.stock.grounds, outlook.lots);
    format!("{}; {plan}. This is reckoned {grounds}.", stock(&outlook.stock))
}

/// What the plan makes of it, without the stock.
pub(super) fn plan_words(plan: PlanOutlook) -> String {
    match plan {
        PlanOutlook::NoPlan => "no plan yet, so nothing is called spare".to_owned(),
        PlanOutlook::Planned(terms, balance) => planned(&terms, balance),
    }
}

fn stock(outlook: &StockOutlook) -> String {
    let StockOutlook { in_store, on, expected, low, high, .. } = outlook;
    let likely = if low == high { low.to_string() } else { format!("{low} to {high}") };
    format!("{in_store} in store; {expected:.0} expected on {}, likely {likely}", on.spoken())
}

/// What it is reckoned from: own looks first, then the farm's other lots, then what stands behind.
fn grounds(grounds: Grounds, lots: u32) -> String {
    let Grounds { looks, other_lots, other_looks, ground } = grounds;
    let counted = |count: u32, one: &str, many: &str| match count {
        1 => format!("1 {one}"),
        count => format!("{count} {many}"),
    };
    let own = (looks > 0).then(|| {
        let whose = if lots == 1 { "this lot".to_owned() } else { format!("its {lots} lots") };
        format!("{} at {whose}", counted(looks, "look", "looks"))
    });
    let others = (other_looks > 0).then(|| {
        let whose = counted(other_lots, "other lot", "other lots");
        format!("{} at {whose} here", counted(other_looks, "look", "looks"))
    });
    let unseen = own.is_none() && others.is_none();
    let behind = match ground {
        Ground::OwnRecords => None,
        Ground::FirstSeason => Some("a first-season guess".to_owned()),
        Ground::Network { farms, lots } => Some(format!(
            "what {farms} farms of the network saw of {}",
            counted(lots, "lot", "lots")
        )),
    };
    let parts: Vec<String> = [own, others, behind].into_iter().flatten().collect();
    let since = if unseen { ", since no look is noted yet" } else { "" };
    format!("from {}{since}", joined(&parts))
}

fn planned(terms: &PlanTerms, balance: Balance) -> String {
    let verdict = match balance {
        Balance::Spare(units) => format!("spare {units}"),
        Balance::Even => "nothing spare and nothing short".to_owned(),
        Balance::Short(Short::Units(units)) => format!("short {units}"),
        Balance::Short(Short::TooMany) => "short more than 1,000,000".to_owned(),
    };
    let wanted = match terms.plants_wanted {
        0 => "no plants are wanted".to_owned(),
        1 => "1 plant is wanted".to_owned(),
        plants => format!("{plants} plants are wanted"),
    };
    let kept_back = match (balance, terms.keep_back) {
        // Keep-back makes nothing short, so it is no reason for it.
        (Balance::Short(_), _) | (_, 0) => None,
        (_, 1) => Some("1 is kept back".to_owned()),
        (_, units) => Some(format!("{units} are kept back")),
    };
    let (good, of) = springs(terms.service_level);
    let sure = match (terms.plants_wanted, balance) {
        (0, _) => None,
        (_, Balance::Short(_)) => Some(format!("enough must come up in {good} of {of} springs")),
        _ => Some(format!("{good} in {of} springs enough come up")),
    };
    let reasons: Vec<String> = [Some(wanted), kept_back, sure].into_iter().flatten().collect();
    format!("{verdict}, because {}", joined(&reasons))
}

/// "a, b and c".
fn joined(parts: &[String]) -> String {
    match parts {
        [] => String::new(),
        [only] => only.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

/// 0.9 is 9 in 10 springs, 0.95 is 19 in 20, 0.925 is 92.5 in 100.
fn springs(level: ServiceLevel) -> (f64, f64) {
    let of = [10.0, 20.0].into_iter().find(|of| {
        let good = level.get() * of;
        (good - good.round()).abs() < 1e-9 && good.round() > 0.0 && good.round() < *of
    });
    let of = of.unwrap_or(100.0);
    // At most 8 digits: nobody reads more, and 0.29 × 100 isn't 29 in binary.
    ((level.get() * of * 1e6).round() / 1e6, of)
}
