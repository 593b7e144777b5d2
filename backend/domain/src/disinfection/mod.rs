//! Solutions at the bench: how to make one up, and what to mind.
//!
//! Parts are explicit (1 + 9, never "1:10"); a tool dip and a tuber soak are two things, each with
//! its own strength. Work with disinfectants can hurt: the cautions go with every answer and the
//! product's label is the law.
//!
//! ```text
//! (here)   making a solution up, and what to mind with it
//! session  what is odd or missing in the note of a dividing session
//! ```
//!
//! What may not enter: a recommended agent or strength; that is for the label and the local
//! authority.

mod session;

use std::fmt;

pub use session::{SessionWarning, session_warnings};

/// An active strength in percent, above 0 and at most 100.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Strength(f64);

/// A volume in litres, above 0 and at most 1,000,000.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Litres(f64);

/// Minutes that things stay in a solution, above 0 and at most 1,440.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct ContactMinutes(f64);

/// What a solution is for. Its strength is never carried over from the one to the other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SolutionUse {
    /// Knives and snips, between clumps.
    ToolDip,
    /// The tubers themselves.
    TuberSoak,
}

/// What disinfects.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Agent {
    /// Sodium hypochlorite.
    Bleach,
    /// Anything else, named as on its label.
    Other(String),
}

impl Agent {
    /// Reads an agent as people name it: anything that says bleach or hypochlorite is bleach.
    ///
    /// ```
    /// use spareloop_domain::disinfection::Agent;
    /// assert_eq!(Agent::named("Household Bleach"), Agent::Bleach);
    /// assert_eq!(Agent::named(" As Labelled"), Agent::Other("as labelled".to_owned()));
    /// ```
    pub fn named(name: &str) -> Self {
        let name = name.trim().to_lowercase();
        if ["bleach", "hypochlorite", "naocl"].iter().any(|word| name.contains(word)) {
            Self::Bleach
        } else {
            Self::Other(name)
        }
    }
}

/// How the contact time is kept in practice (common practice, no source).
pub const TURNS: &str = "Two sets of tools used in turn keep the time: one lies in the dip while the other cuts. Rinse metal after it.";

/// Why a solution can't be made up.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum DilutionError {
    /// The stock's strength isn't one.
    #[error("the stock's strength must be known: above 0 and at most 100 percent, from its label")]
    Stock,
    /// The target's strength isn't one.
    #[error("the target's strength must be above 0 and at most 100 percent")]
    Target,
    /// The label's strength isn't one.
    #[error("the label's strength must be above 0 and at most 100 percent")]
    Label,
    /// Water can't make a stock stronger.
    #[error("the target must be weaker than the stock: water only makes it weaker")]
    TargetNotBelowStock,
    /// Beyond what the label allows for this use.
    #[error("the target is stronger than the label allows for this use")]
    AboveLabel,
    /// The volume isn't one.
    #[error("the total must be above 0 and at most 1,000,000 litres")]
    Total,
    /// The time isn't one.
    #[error("the contact time must be above 0 and at most 1,440 minutes")]
    Contact,
}

impl Strength {
    /// Checks a percentage; `None` if it is no strength.
    pub fn new(percent: f64) -> Option<Self> {
        (percent > 0.0 && percent <= 100.0).then_some(Self(percent))
    }

    /// The plain percentage.
    pub const fn percent(self) -> f64 {
        self.0
    }
}

impl Litres {
    /// Checks a volume.
    pub fn new(litres: f64) -> Result<Self, DilutionError> {
        if litres > 0.0 && litres <= 1e6 { Ok(Self(litres)) } else { Err(DilutionError::Total) }
    }

    /// The plain number.
    pub const fn litres(self) -> f64 {
        self.0
    }
}

impl ContactMinutes {
    /// Checks a time.
    pub fn new(minutes: f64) -> Result<Self, DilutionError> {
        if minutes > 0.0 && minutes <= 1440.0 {
            Ok(Self(minutes))
        } else {
            Err(DilutionError::Contact)
        }
    }

    /// The plain number.
    pub const fn minutes(self) -> f64 {
        self.0
    }
}

/// What to pour together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dilution {
    /// Of the stock, litres.
    pub stock_litres: f64,
    /// Of water, litres.
    pub water_litres: f64,
    /// Parts of water to one part of stock.
    pub parts_water_per_part_stock: f64,
}

impl fmt::Display for Dilution {
    /// The parts, as "1 + 9".
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let parts = (self.parts_water_per_part_stock * 100.0).round() / 100.0;
        write!(f, "1 + {parts}")
    }
}

/// Strength × volume before is strength × volume after (C₁V₁ = C₂V₂; volumes taken to add).
///
/// `label_limit` is the most that the product's label allows for this use, if it states one.
///
/// ```
/// use spareloop_domain::disinfection::{Litres, Strength, dilute};
/// let (Some(stock), Some(target)) = (Strength::new(5.25), Strength::new(0.525)) else { panic!() };
/// let bucket = dilute(stock, target, Litres::new(10.0)?, None)?;
/// assert_eq!(bucket.to_string(), "1 + 9");
/// # Ok::<(), spareloop_domain::disinfection::DilutionError>(())
/// ```
pub fn dilute(
    stock: Strength,
    target: Strength,
    total: Litres,
    label_limit: Option<Strength>,
) -> Result<Dilution, DilutionError> {
    if target >= stock {
        return Err(DilutionError::TargetNotBelowStock);
    }
    if label_limit.is_some_and(|limit| target > limit) {
        return Err(DilutionError::AboveLabel);
    }
    let share = target.0 / stock.0;
    Ok(Dilution {
        stock_litres: total.0 * share,
        water_litres: total.0 * ((stock.0 - target.0) / stock.0),
        parts_water_per_part_stock: stock.0 / target.0 - 1.0,
    })
}

/// Hours after which a made-up solution is warned of, because it loses strength.
///
/// Iowa State University Extension: use within 2 hours of mixing.
pub const WARN_AFTER_HOURS: f64 = 2.0;

/// What to mind with any solution of `agent`, for `used_for` if that is known.
pub fn cautions(agent: &Agent, used_for: Option<SolutionUse>) -> Vec<&'static str> {
    let mut cautions = vec![
        "The product's label is the law: follow its strength, time and uses.",
        "Clean soil and sap off first; dirt uses the solution up.",
        "Pour the stock into the water, with air moving, gloves and goggles on.",
        "Make it up fresh: it loses strength, so use it within 2 hours.",
    ];
    if *agent == Agent::Bleach {
        cautions.push("Never mix bleach with acids (vinegar too), ammonia or other cleaners: the gas can kill.");
    }
    cautions.push(match used_for {
        Some(SolutionUse::ToolDip) => {
            "This strength is for tools; never carry it over to a soak for tubers."
        }
        Some(SolutionUse::TuberSoak) => {
            "This strength is for tubers; never carry it over to a dip for tools."
        }
        None => "A tool dip and a tuber soak have their own strengths; never carry one over.",
    });
    cautions.push("Stop when fingers are numb: cold hands and knives don't go together.");
    cautions
}
