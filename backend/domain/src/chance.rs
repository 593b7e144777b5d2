//! Chances of whole numbers, as tables: the arithmetic that sampling, intervals and forecasts share.
//!
//! A table is grown outward from its mode by the ratio of neighbours and then divided by its sum,
//! so that no factorial or gamma function is needed and the relative error stays near 10⁻¹⁴ even
//! for a million units. What may not enter: anything of tubers; that is for the rooms that ask.

/// Chances of the whole numbers `first`, `first + 1`, ...; every other number has chance 0.
///
/// ```
/// use spareloop_domain::chance::{Distribution, Tail};
/// let two_coins = Distribution::binomial(2, 0.5, 0.5, Tail::Full);
/// assert!((two_coins.chance(1) - 0.5).abs() < 1e-15);
/// assert_eq!(two_coins.quantile(0.75), 1);
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Distribution {
    first: usize,
    chances: Vec<f64>,
}

/// How far into its tails a table is worked out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tail {
    /// To 10⁻³⁰⁰ of the mode: small chances themselves are asked for.
    Full,
    /// To 10⁻²⁵ of the mode: only sums over the table are asked for.
    Cut,
}

impl Tail {
    const fn floor(self) -> f64 {
        match self {
            Self::Full => 1e-300,
            Self::Cut => 1e-25,
        }
    }

    /// Standard deviations of a bell that lie above the floor, on one side.
    pub(crate) const fn reach(self) -> f64 {
        match self {
            Self::Full => 37.2,
            Self::Cut => 10.8,
        }
    }
}

/// Chances below this differ by rounding only; quantiles and levels are compared with this grace.
pub(crate) const ROUNDING: f64 = 1e-12;

impl Distribution {
    /// The whole chance on one number.
    pub fn certain(number: usize) -> Self {
        Self { first: number, chances: vec![1.0] }
    }

    /// How many of `n` come through when each does with chance `p` and fails with chance `q`.
    ///
    /// `q` is 1 − `p`; both are asked for, because one of them is lost to rounding near 0 or 1.
    pub fn binomial(n: usize, p: f64, q: f64, tail: Tail) -> Self {
        if q < f64::MIN_POSITIVE {
            return Self::certain(n);
        }
        if p < f64::MIN_POSITIVE {
            return Self::certain(0);
        }
        let odds = p / q;
        // The cast keeps the whole part; `p` is at most 1, so the mode is at most n after `min`.
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        let mode = (((n as f64) + 1.0) * p) as usize;
        Self::from_ratio(0, n, mode.min(n), tail, |k| (n - k) as f64 / (k + 1) as f64 * odds)
    }

    /// How many of `marked` among `lot` units turn up when `drawn` are drawn without replacement.
    pub fn hypergeometric(lot: u64, marked: u64, drawn: u64) -> Self {
        let low = (drawn + marked).saturating_sub(lot);
        let high = marked.min(drawn);
        let mode = (u128::from(drawn + 1) * u128::from(marked + 1)) / u128::from(lot + 2);
        let mode = usize::try_from(mode).unwrap_or(usize::MAX);
        let [low, high] = [low, high].map(|k| usize::try_from(k).unwrap_or(usize::MAX));
        let neither = lot as f64 - marked as f64 - drawn as f64;
        Self::from_ratio(low, high, mode.clamp(low, high), Tail::Full, |k| {
            let k = k as f64;
            (marked as f64 - k) * (drawn as f64 - k) / ((k + 1.0) * (neither + k + 1.0))
        })
    }

    /// Grows a table from its mode; `ratio(k)` is the chance of k + 1 over that of k.
    fn from_ratio(
        low: usize,
        high: usize,
        mode: usize,
        tail: Tail,
        ratio: impl Fn(usize) -> f64,
    ) -> Self {
        let floor = tail.floor();
        let mut below = Vec::new();
        let mut weight = 1.0;
        for k in (low..mode).rev() {
            weight /= ratio(k);
            if weight < floor {
                break;
            }
            below.push(weight);
        }
        let first = mode - below.len();
        below.reverse();
        let mut chances = below;
        chances.push(1.0);
        weight = 1.0;
        for k in mode..high {
            weight *= ratio(k);
            if weight < floor {
                break;
            }
            chances.push(weight);
        }
        let mut table = Self { first, chances };
        table.normalise();
        table
    }

    /// Wraps the chances of 0, 1, 2, ... and makes them sum to 1.
    pub(crate) fn from_chances(chances: Vec<f64>) -> Self {
        let mut table = Self { first: 0, chances };
        table.normalise();
        table
    }

    fn normalise(&mut self) {
        let sum: f64 = self.chances.iter().sum();
        for chance in &mut self.chances {
            *chance /= sum;
        }
    }

    /// The distribution of the sum of two independent counts.
    #[must_use]
    pub fn convolve(&self, other: &Self, tail: Tail) -> Self {
        let (short, long) = if self.chances.len() <= other.chances.len() {
            (&self.chances, &other.chances)
        } else {
            (&other.chances, &self.chances)
        };
        let mut chances = vec![0.0; short.len() + long.len() - 1];
        for (at, weight) in short.iter().enumerate() {
            for (sum, chance) in chances[at..].iter_mut().zip(long) {
                *sum += weight * chance;
            }
        }
        let mut table = Self { first: self.first + other.first, chances };
        table.trim(tail.floor());
        table
    }

    /// Drops what lies below the floor at both ends.
    fn trim(&mut self, floor: f64) {
        let keep_to = self.chances.iter().rposition(|chance| *chance >= floor).unwrap_or(0);
        self.chances.truncate(keep_to + 1);
        let drop_to = self.chances.iter().position(|chance| *chance >= floor).unwrap_or(0);
        self.chances.drain(..drop_to);
        self.first += drop_to;
    }

    /// Adds this table, times `weight`, to `sums`, whose index is the number.
    pub(crate) fn add_to(&self, sums: &mut [f64], weight: f64) {
        for (sum, chance) in sums[self.first..].iter_mut().zip(&self.chances) {
            *sum += weight * chance;
        }
    }

    /// Each number that has a chance, with its chance, from the lowest up.
    pub fn iter(&self) -> impl DoubleEndedIterator<Item = (usize, f64)> + '_ {
        self.chances.iter().enumerate().map(|(at, chance)| (self.first + at, *chance))
    }

    /// The chance of exactly `number`.
    pub fn chance(&self, number: usize) -> f64 {
        number.checked_sub(self.first).and_then(|at| self.chances.get(at)).copied().unwrap_or(0.0)
    }

    /// The chance of `number` or more.
    pub fn at_least(&self, number: usize) -> f64 {
        if number <= self.first {
            return 1.0;
        }
        // From the top, so that small chances add up before large ones.
        let sum: f64 =
            self.iter().rev().take_while(|(k, _)| *k >= number).map(|(_, chance)| chance).sum();
        sum.min(1.0)
    }

    /// The chances of at least 0, at least 1, ... at least `last`.
    pub fn at_least_each(&self, last: usize) -> Vec<f64> {
        let mut chances = vec![0.0; last + 1];
        let mut sum = 0.0;
        for k in (0..=last).rev() {
            sum += self.chance(k);
            chances[k] = if k <= self.first { 1.0 } else { f64::min(sum, 1.0) };
        }
        chances
    }

    /// The chance of `number` or fewer.
    pub fn at_most(&self, number: usize) -> f64 {
        if number >= self.last() {
            return 1.0;
        }
        let sum: f64 =
            self.iter().take_while(|(k, _)| *k <= number).map(|(_, chance)| chance).sum();
        sum.min(1.0)
    }

    /// The smallest number k with P(number ≤ k) ≥ `level`; `level` between 0 and 1.
    pub fn quantile(&self, level: f64) -> usize {
        let mut sum = 0.0;
        for (k, chance) in self.iter() {
            sum += chance;
            if sum >= level - ROUNDING {
                return k;
            }
        }
        self.last()
    }

    /// The mean.
    pub fn mean(&self) -> f64 {
        self.iter().map(|(k, chance)| k as f64 * chance).sum()
    }

    /// The largest number that has a chance.
    pub fn last(&self) -> usize {
        self.first + self.chances.len() - 1
    }
}

/// Nodes and weights of the standard normal distribution: the trapezoid rule with an even step.
///
/// For smooth integrands the rule's error falls as exp(−2π²w²/step²), w being the width of the
/// sharpest feature, which is why the step is an argument: whoever integrates knows the width.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct NormalGrid {
    /// Node and weight; weights sum to 1.
    pub(crate) nodes: Vec<(f64, f64)>,
}

impl NormalGrid {
    /// Beyond this many standard deviations less than 10⁻²² of the normal is left.
    pub(crate) const REACH: f64 = 10.0;

    /// A grid with the given step (above 0).
    pub(crate) fn new(step: f64) -> Self {
        let half = Self::half_count(step);
        let density = |at: i64| (-0.5 * (at as f64 * step).powi(2)).exp();
        let sum: f64 = (-half..=half).map(density).sum();
        let nodes = (-half..=half).map(|at| (at as f64 * step, density(at) / sum)).collect();
        Self { nodes }
    }

    /// The whole weight in the middle: for a normal of standard deviation 0.
    pub(crate) fn point() -> Self {
        Self { nodes: vec![(0.0, 1.0)] }
    }

    #[allow(clippy::cast_possible_truncation)] // REACH / step is held far below i64::MAX
    fn half_count(step: f64) -> i64 {
        (Self::REACH / step).ceil().min(1e9) as i64
    }
}
