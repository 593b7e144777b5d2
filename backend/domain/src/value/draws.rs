//! Swap values over winters that may come and wants that may lapse.
//!
//! What may not enter: randomness; draws are arguments.

use serde::{Deserialize, Serialize};

use super::swap::Valuer;
use super::{Draw, Market};

/// What one variety's value may turn out to be.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct DrawnValue {
    /// By yield scarcity alone.
    pub rebuild: f64,
    /// Means over all draws.
    pub low: f64,
    /// Means over all draws.
    pub high: f64,
    /// Means over all draws.
    pub value: f64,
    /// 1 draw in 10 has this value or less.
    pub p10: f64,
    /// 9 draws in 10 have this value or less.
    pub p90: f64,
    /// The share of draws in which the network runs short of the variety.
    pub chance_short: f64,
}

/// The values of a market over draws.
#[derive(Debug, Clone, PartialEq)]
pub struct DrawnValues {
    /// The mean of the greatest total gain.
    pub welfare: f64,
    /// In the order of the varieties.
    pub values: Vec<DrawnValue>,
}

/// Values over no draws at all.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("at least one draw is needed")]
pub struct NoDraws;

/// Averages over draws. The answer depends on the draws and not on their order, but for rounding.
pub fn over_draws(
    market: &Market,
    draws: impl IntoIterator<Item = Draw>,
) -> Result<DrawnValues, NoDraws> {
    let mut valuer = Valuer::new(market);
    let mut of = vec![Drawn::default(); market.rebuild().len()];
    let (mut welfare, mut number) = (0.0, 0_u32);
    for draw in draws {
        let valuation = valuer.values(&draw);
        welfare += valuation.welfare;
        number += 1;
        for (at, (value, drawn)) in valuation.values.iter().zip(&mut of).enumerate() {
            drawn.low += value.low;
            drawn.high += value.high;
            drawn.short += u32::from(valuer.is_short(at, value));
            drawn.values.push(value.value);
        }
    }
    if number == 0 {
        return Err(NoDraws);
    }
    let values = of.into_iter().zip(market.rebuild()).map(|(drawn, rebuild)| drawn.told(*rebuild));
    Ok(DrawnValues { welfare: welfare / f64::from(number), values: values.collect() })
}

#[derive(Debug, Clone, Default)]
struct Drawn {
    low: f64,
    high: f64,
    short: u32,
    values: Vec<f64>,
}

impl Drawn {
    fn told(mut self, rebuild: f64) -> DrawnValue {
        let number = self.values.len() as f64;
        let value = self.values.iter().sum::<f64>() / number;
        self.values.sort_unstable_by(f64::total_cmp);
        DrawnValue {
            rebuild,
            low: self.low / number,
            high: self.high / number,
            value,
            p10: self.tenth(1),
            p90: self.tenth(9),
            chance_short: f64::from(self.short) / number,
        }
    }

    /// The smallest value that so many tenths of the draws are at or below.
    fn tenth(&self, tenths: usize) -> f64 {
        // At least one draw, and the first of them at the least.
        self.values[(self.values.len() * tenths).div_ceil(10) - 1]
    }
}
