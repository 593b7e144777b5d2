//! How many units to look at, and what a look proves.
//!
//! The method of ISPM 31 (International Standards for Phytosanitary Measures): the smallest sample
//! whose chance of missing the trouble is at most 1 − confidence, hypergeometric for a lot of known
//! size and binomial for a large one, with the efficacy of the look as an argument.
//!
//! ```text
//! (here)  how many to look at, and the chance that a look finds the trouble
//! proof   the other way round: what a look that was made excludes
//! unseen  diseases that show no signs, for which looking proves nothing
//! ```
//!
//! What may not enter: which lot, and what is done about what was found.

mod proof;
mod unseen;

use serde::Serialize;

pub use proof::{LookMade, Proof};
pub use unseen::{CARRIED_UNSEEN, CarriedUnseen, Grade, MayLookingShow, looking_for};

use crate::chance::Distribution;

/// How much of what lies behind a look is to be caught, and how well the look catches it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Aim {
    level: f64,
    confidence: f64,
    efficacy: f64,
}

/// Which number of a sampling question is impossible.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum SamplingError {
    /// The share of affected units to be found.
    #[error("the level must be above 0 and at most 1")]
    Level,
    /// How sure to be.
    #[error("the confidence must be strictly between 0 and 1")]
    Confidence,
    /// The chance that a look at an affected unit sees it.
    #[error("the efficacy must be above 0 and at most 1")]
    Efficacy,
    /// No lot, or one beyond [`MAX_LOT`].
    #[error("a lot has from 1 to 1,000,000,000 units")]
    LotSize,
    /// More affected units than the lot has.
    #[error("more affected units than the lot has")]
    Affected,
    /// More units looked at than the lot has.
    #[error("more units looked at than the lot has")]
    Sample,
    /// More found than looked at.
    #[error("more units found with trouble than were looked at")]
    Found,
    /// Nothing was looked at.
    #[error("a look sees from 1 to 1,000,000,000 units")]
    NothingSeen,
}

/// The largest lot that is reckoned with exactly.
pub const MAX_LOT: u64 = 1_000_000_000;

/// Units of a lot that a level is: floor(lot size × level + 10⁻⁹), as ISPM 31 rounds.
fn affected_at(lot_size: u64, level: f64) -> u64 {
    // The cast keeps the whole part, which is what floor asks for.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let affected = ((lot_size as f64) * level + 1e-9) as u64;
    affected.min(lot_size)
}

/// The grace is compute's, so that 1 − 0.95 doesn't ask for one unit more by rounding alone.
fn accepted_miss(confidence: f64) -> f64 {
    (1.0 - confidence) * (1.0 + 1e-9)
}

impl Aim {
    /// Checks the three shares: `level` and `efficacy` in (0, 1], `confidence` in (0, 1).
    pub fn new(level: f64, confidence: f64, efficacy: f64) -> Result<Self, SamplingError> {
        check_level(level)?;
        check_confidence(confidence)?;
        check_efficacy(efficacy)?;
        Ok(Self { level, confidence, efficacy })
    }

    /// Whether a chance of a miss is small enough.
    fn accepts(&self, miss: f64) -> bool {
        miss <= accepted_miss(self.confidence)
    }
}

fn check_level(level: f64) -> Result<(), SamplingError> {
    if level > 0.0 && level <= 1.0 { Ok(()) } else { Err(SamplingError::Level) }
}

fn check_confidence(confidence: f64) -> Result<(), SamplingError> {
    if confidence > 0.0 && confidence < 1.0 { Ok(()) } else { Err(SamplingError::Confidence) }
}

fn check_efficacy(efficacy: f64) -> Result<(), SamplingError> {
    if efficacy > 0.0 && efficacy <= 1.0 { Ok(()) } else { Err(SamplingError::Efficacy) }
}

/// How many to look at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SampleSize {
    /// So many are enough.
    Attainable {
        /// Affected units that are to be found; none for a large lot, where only the share counts.
        affected_units: Option<u64>,
        /// The smallest sample.
        sample_size: u64,
        /// 1 − the chance of a miss with that sample.
        confidence_reached: f64,
    },
    /// No sample is enough.
    NotAttainable(NotAttainable),
}

/// Why no sample is enough.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, thiserror::Error)]
pub enum NotAttainable {
    /// The lot is so small that the level is less than one unit of it.
    #[error("in so small a lot the level is less than one unit, so there is nothing to find")]
    LessThanOneUnit,
    /// The look misses too often even if every unit is looked at.
    #[error("even a look at every unit misses the trouble too often; a surer look is needed")]
    LookTooWeak,
    /// Trouble so rare that the sample is beyond what can be counted exactly (2⁵³).
    #[error("trouble so rare needs a larger sample than can be counted")]
    BeyondCounting,
}

/// A float holds every whole number up to 2⁵³.
const MOST_COUNTED: f64 = 9_007_199_254_740_992.0;

/// The smallest sample of a lot of `lot_size` units.
///
/// Affected units are floor(lot size × level + 10⁻⁹); the chance of a miss is
/// Σₖ hypergeometric(k)·(1 − efficacy)ᵏ (ISPM 31).
///
/// ```
/// use spareloop_domain::sampling::{Aim, SampleSize, sample_size};
/// let aim = Aim::new(0.05, 0.95, 1.0)?;
/// let Ok(SampleSize::Attainable { sample_size, .. }) = sample_size(200, aim) else { panic!() };
/// assert_eq!(sample_size, 51);
/// # Ok::<(), spareloop_domain::sampling::SamplingError>(())
/// ```
pub fn sample_size(lot_size: u64, aim: Aim) -> Result<SampleSize, SamplingError> {
    check_lot(lot_size)?;
    let affected = affected_at(lot_size, aim.level);
    if affected == 0 {
        return Ok(SampleSize::NotAttainable(NotAttainable::LessThanOneUnit));
    }
    let miss = |sample| chances(lot_size, affected, sample, aim.efficacy).miss;
    if !aim.accepts(miss(lot_size)) {
        return Ok(SampleSize::NotAttainable(NotAttainable::LookTooWeak));
    }
    // A larger sample never misses more often, so halving finds the smallest.
    let (mut too_few, mut enough) = (0, lot_size);
    while enough - too_few > 1 {
        let middle = too_few + (enough - too_few) / 2;
        if aim.accepts(miss(middle)) {
            enough = middle;
        } else {
            too_few = middle;
        }
    }
    Ok(SampleSize::Attainable {
        affected_units: Some(affected),
        sample_size: enough,
        confidence_reached: chances(lot_size, affected, enough, aim.efficacy).found,
    })
}

/// The smallest sample of a lot so large that drawing from it doesn't change it.
///
/// The chance of a miss is (1 − level × efficacy)ⁿ (ISPM 31, binomial).
pub fn sample_size_of_large_lot(aim: Aim) -> SampleSize {
    let ln_miss_one = (-aim.level * aim.efficacy).ln_1p();
    let found = |n: u64| -(n as f64 * ln_miss_one).exp_m1();
    let enough = |n: u64| aim.accepts((n as f64 * ln_miss_one).exp());
    let guess = (accepted_miss(aim.confidence).ln() / ln_miss_one).ceil().max(1.0);
    if guess > MOST_COUNTED {
        return SampleSize::NotAttainable(NotAttainable::BeyondCounting);
    }
    // Whole, at least 1 and within what a float counts exactly.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let guess = guess as u64;
    let mut sample_size = guess;
    // Rounding puts the guess at most one off.
    if sample_size > 1 && enough(sample_size - 1) {
        sample_size -= 1;
    } else if !enough(sample_size) {
        sample_size += 1;
    }
    SampleSize::Attainable {
        affected_units: None,
        sample_size,
        confidence_reached: found(sample_size),
    }
}

/// The chance that a look at `sample_size` of a lot finds at least one of its affected units.
///
/// `efficacy` in (0, 1]: the chance that a look at an affected unit sees it.
pub fn detection(
    lot_size: u64,
    affected_units: u64,
    sample_size: u64,
    efficacy: f64,
) -> Result<f64, SamplingError> {
    check_lot(lot_size)?;
    check_efficacy(efficacy)?;
    if affected_units > lot_size {
        return Err(SamplingError::Affected);
    }
    if sample_size > lot_size {
        return Err(SamplingError::Sample);
    }
    Ok(chances(lot_size, affected_units, sample_size, efficacy).found)
}

fn check_lot(lot_size: u64) -> Result<(), SamplingError> {
    if (1..=MAX_LOT).contains(&lot_size) { Ok(()) } else { Err(SamplingError::LotSize) }
}

struct Chances {
    miss: f64,
    found: f64,
}

/// Both summed apart, so that neither loses its digits when it is small.
fn chances(lot: u64, affected: u64, sample: u64, efficacy: f64) -> Chances {
    let ln_unseen = (-efficacy).ln_1p();
    let mut sums = Chances { miss: 0.0, found: 0.0 };
    for (k, chance) in Distribution::hypergeometric(lot, affected, sample).iter() {
        // ln(1 − 1) is −∞, and 0 × −∞ is no number.
        let exponent = if k == 0 { 0.0 } else { k as f64 * ln_unseen };
        sums.miss += chance * exponent.exp();
        sums.found -= chance * exponent.exp_m1();
    }
    sums.miss = sums.miss.clamp(0.0, 1.0);
    sums.found = sums.found.clamp(0.0, 1.0);
    sums
}
