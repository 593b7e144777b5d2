//! The gains of a market as whole numbers.
//!
//! Prices found by adding and subtracting floats drift, and a tie that drifts is no tie. So gains
//! are taken as whole multiples of a unit that is a power of 2 and so small that the greatest gain
//! is from 2^58 to 2^59 of them. A float has 53 bits: every gain down to 1/64 of the greatest is
//! taken exactly, a smaller one to within 2^-60 of the greatest. All sums after that are exact.
//! What may not enter: counts.

use super::Market;

/// A gain above 0 that a unit of a variety makes with a want.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Gain {
    pub(super) variety: u32,
    pub(super) want: u32,
    /// In units of the scale; at most 2^59.
    pub(super) units: i64,
}

/// The size of a unit: 2^-exponent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Scale {
    exponent: i32,
}

impl Scale {
    fn for_greatest(gain: f64) -> Self {
        // Within one of the exact logarithm, which the range of exponents has room for.
        #[allow(clippy::cast_possible_truncation)]
        Self { exponent: 58 - gain.log2().floor() as i32 }
    }

    /// Two steps, since the power alone may lie beyond a float's range.
    fn shifted(number: f64, by: i32) -> f64 {
        let half = by / 2;
        number * 2_f64.powi(half) * 2_f64.powi(by - half)
    }

    fn units(self, gain: f64) -> i64 {
        // At most 2^60 by the choice of the exponent.
        #[allow(clippy::cast_possible_truncation)]
        let units = Self::shifted(gain, self.exponent).round() as i64;
        units
    }

    /// Back to a plain number.
    pub(super) fn number(self, units: i128) -> f64 {
        Self::shifted(units as f64, -self.exponent)
    }
}

/// Every gain above 0. Gains of 0 and below are never needed: a unit may always stay with its
/// owner.
pub(super) fn gains(market: &Market) -> (Vec<Gain>, Scale) {
    let mut found = Vec::new();
    let mut greatest = 0.0_f64;
    for (at, want) in market.wants().iter().enumerate() {
        for accepted in &want.accepts {
            let gain = market.worth_to(want, *accepted) - market.reserve(accepted.variety);
            if gain > 0.0 {
                greatest = greatest.max(gain);
                found.push((accepted.variety, at, gain));
            }
        }
    }
    let scale = Scale::for_greatest(if greatest > 0.0 { greatest } else { 1.0 });
    // A market of more than 2^32 varieties or wants fits no machine.
    let place = |at: usize| u32::try_from(at).unwrap_or(u32::MAX);
    let gains = found
        .into_iter()
        .map(|(variety, want, gain)| Gain {
            variety: place(variety),
            want: place(want),
            units: scale.units(gain),
        })
        .filter(|gain| gain.units > 0)
        .collect();
    (gains, scale)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gains_of_any_size_are_whole_numbers_without_loss() {
        for greatest in [1.0, 14.3, 5e-324, 1e-310, 1e308, 0.1] {
            let scale = Scale::for_greatest(greatest);
            let units = scale.units(greatest);
            assert!(((1 << 57)..(1 << 60)).contains(&units), "{greatest}: {units}");
            assert_eq!(scale.number(units.into()).to_bits(), greatest.to_bits());
            let part = greatest / 50.0;
            if part.is_normal() {
                assert_eq!(scale.number(scale.units(part).into()).to_bits(), part.to_bits());
            }
        }
    }
}
