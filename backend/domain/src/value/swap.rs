//! Low, high and swap value of every variety.
//!
//! Low is what the buyers' side of the core would say, high what the sellers' side (Shapley and
//! Shubik 1971). What may not enter: what the values are used for.

use super::flow::Flow;
use super::gains::{Scale, gains};
use super::{Draw, Market};

/// What a unit of one variety is worth, in units of the network's median division.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SwapValue {
    /// By yield scarcity alone.
    pub rebuild: f64,
    /// The least that a fair division allows: what one unit more would add.
    pub low: f64,
    /// The most: what one unit less would take away.
    pub high: f64,
    /// Their middle.
    pub value: f64,
}

/// The values of a market as it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Valuation {
    /// The greatest total gain that supply and wants allow.
    pub welfare: f64,
    /// In the order of the varieties.
    pub values: Vec<SwapValue>,
}

/// The swap values of a market.
///
/// low = reserve + W(S + one) − W(S), high = reserve + W(S) − W(S − one), value their midpoint; W is
/// the greatest total of (worth − reserve) over what moves. Where nothing is offered, high is the
/// greatest worth to any want that accepts the variety, at least low.
///
/// ```
/// use spareloop_domain::value::*;
/// let alike = [3.0, 3.0].map(Multiplication::new).into_iter().collect::<Result<Vec<_>, _>>()?;
/// let accepts = vec![Accepted { variety: 0, worth: Worth::new(1.0)? }];
/// let market = Market::new(&alike, vec![Want { count: 5, accepts }], Shares::default())?;
/// // Three for five: each goes at what it is worth to the wants.
/// let scarce = swap_values(&market, &Draw::new(vec![3, 3]));
/// assert_eq!((scarce.values[0].value, scarce.values[1].value), (1.5, 0.5));
/// assert_eq!(scarce.welfare, 3.0);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn swap_values(market: &Market, draw: &Draw) -> Valuation {
    Valuer::new(market).values(draw)
}

/// A market with an allocation at hand, so that each draw begins from the last one's.
pub(super) struct Valuer<'a> {
    market: &'a Market,
    scale: Scale,
    flow: Flow,
}

impl<'a> Valuer<'a> {
    pub(super) fn new(market: &'a Market) -> Self {
        let (gains, scale) = gains(market);
        let flow = Flow::new(market.rebuild().len(), market.wants().len(), &gains);
        Self { market, scale, flow }
    }

    pub(super) fn values(&mut self, draw: &Draw) -> Valuation {
        let (market, scale) = (self.market, self.scale);
        let mut wanted = vec![0; market.wants().len()];
        for (at, want) in draw.standing(market.wants()) {
            wanted[at] = i64::from(want.count);
        }
        // All that is ever wanted; more of one variety than that changes nothing but sums.
        let most = market.wants().iter().map(|want| i64::from(want.count)).sum::<i64>() + 1;
        let supply = (0..market.rebuild().len())
            .map(|at| i64::try_from(draw.supply(at)).unwrap_or(most).min(most));
        self.flow.settle(supply, wanted);
        let greatest = market.greatest_worths(draw);
        let marginals = self.flow.marginals();
        let value = |(at, marginal): (usize, super::flow::Marginal)| {
            let reserve = market.reserve(at);
            let low = reserve + scale.number(marginal.more.into());
            let high = match marginal.less {
                Some(less) => reserve + scale.number(less.into()),
                None => greatest[at].max(low),
            };
            SwapValue { rebuild: market.rebuild()[at], low, high, value: f64::midpoint(low, high) }
        };
        let values = marginals.into_iter().enumerate().map(value).collect();
        Valuation { welfare: scale.number(self.flow.welfare()), values }
    }

    /// Whether the network runs short of a variety: one unit more would be taken for a gain.
    pub(super) fn is_short(&self, at: usize, value: &SwapValue) -> bool {
        value.low > self.market.reserve(at) + 1e-9
    }
}
