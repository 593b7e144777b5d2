//! Yield scarcity: a variety that multiplies slowly takes long to be built up again.
//!
//! What may not enter: who offers and who wants.

/// Units of sound stock that one plant gives for the next planting: emergence × sound divisions a
/// clump × storage survival. From 0 to 1,000,000.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Multiplication(f64);

/// A number that is no multiplication.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("a plant gives from 0 to 1,000,000 units (got {0})")]
pub struct MultiplicationError(f64);

impl Multiplication {
    /// Checks a number.
    pub fn new(units: f64) -> Result<Self, MultiplicationError> {
        if (0.0..=1e6).contains(&units) { Ok(Self(units)) } else { Err(MultiplicationError(units)) }
    }

    /// Units a plant.
    pub const fn get(self) -> f64 {
        self.0
    }

    /// What a plant gives beyond replacing itself; a quarter where it gives less, so that a
    /// variety that hardly multiplies is dear and not beyond price.
    fn surplus(units: f64) -> f64 {
        (units - 1.0).max(0.25)
    }
}

/// The middle multiplication, the mean of the middle two if their number is even; none of none.
pub fn median(of: &[Multiplication]) -> Option<f64> {
    let mut sorted: Vec<f64> = of.iter().map(|one| one.0).collect();
    sorted.sort_unstable_by(f64::total_cmp);
    let middle = sorted.len() / 2;
    let upper = *sorted.get(middle)?;
    Some(if sorted.len() % 2 == 1 { upper } else { f64::midpoint(sorted[middle - 1], upper) })
}

/// The rebuild value of every variety: r = max(ĝ − 1, ¼) / max(g − 1, ¼), ĝ the median (ours).
///
/// ```
/// use spareloop_domain::value::{Multiplication, rebuild_values};
/// let of = [2.0, 4.0, 4.0].map(Multiplication::new).into_iter().collect::<Result<Vec<_>, _>>()?;
/// assert_eq!(rebuild_values(&of), [3.0, 1.0, 1.0]);
/// # Ok::<(), spareloop_domain::value::MultiplicationError>(())
/// ```
pub fn rebuild_values(of: &[Multiplication]) -> Vec<f64> {
    let Some(median) = median(of) else { return Vec::new() };
    of.iter().map(|one| rebuild_value(*one, median)).collect()
}

/// The rebuild value of one variety against a median.
pub fn rebuild_value(of: Multiplication, median: f64) -> f64 {
    Multiplication::surplus(median) / Multiplication::surplus(of.0)
}
