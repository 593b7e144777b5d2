//! What prices prove: no answer to the round can be worth more.
//!
//! Every rule of a round but those that stand within one loop is given a price instead: a unit of an
//! offer or a want costs its price, a tenth given costs the giver's farm its price and a tenth received
//! brings it. Whatever keeps the rules pays no more than it may use: so worth ≤ prices × what may be
//! used + the best of every loop after prices, and of no loop less than nothing.

use std::collections::BTreeMap;

use super::contents::{NONE, Priced, best_by_value, place};
use crate::answer::Prices;
use crate::error::{RoundError, RoundProblem};
use crate::input::{Mode, RoundInput};

/// Most thousandths that a price may be, so that no table leaves 64 bits.
pub const MOST_PRICE: i64 = 4_000_000_000;
/// Most thousandths that one parcel may gain.
const MOST_GAIN: i64 = i64::MAX / 64;
/// Most cells that all tables may hold.
const MOST_CELLS: u64 = 400_000_000;

/// The bound that `prices` prove, in thousandths of a unit of worth, exactly.
///
/// Loops: Σ count × price of offers and wants, + for a farm with price y and room to move from l to u
/// tenths (given − received) y·u if y > 0, else y·l, + Σ over all loops of the best contents' gain after
/// prices less parcel costs, where that is above 0. Pooled: the same with a term for every ordered pair
/// of farms instead of every loop.
///
/// # Errors
/// A price below 0 of an offer or a want, a price beyond [`MOST_PRICE`], or counts whose tables would
/// not fit.
pub fn certified_thousandths(input: &RoundInput, prices: &Prices) -> Result<i128, RoundError> {
    let arcs = fits(input, prices)?;
    let mut sum = base(input, prices);
    let cost = i128::from(input.parcel_cost) * 1000;
    let counts = (
        &input.offers.iter().map(|it| it.count).collect::<Vec<_>>()[..],
        &input.wants.iter().map(|it| it.count).collect::<Vec<_>>()[..],
    );
    let tables = arcs.into_iter().map(|(arc, moves)| (arc, best_by_value(&moves, counts)));
    match input.mode {
        Mode::Pooled => {
            for (_, best) in tables {
                let most = best[1..].iter().copied().max().unwrap_or(NONE);
                sum += (i128::from(most) - cost).max(0);
            }
        }
        Mode::Loops { most_farms, tolerance } => {
            let mut out = vec![Vec::new(); input.farms.len()];
            for ((from, to), best) in tables {
                let window = windows(best, place(tolerance));
                if let Some(most) = window.iter().copied().max().filter(|&most| most != NONE) {
                    out[from].push(Arc { to, window, most });
                }
            }
            let walk = Walk { out: &out, most_farms, cost };
            for (first, arcs) in out.iter().enumerate() {
                for arc in arcs.iter().filter(|arc| arc.to > first) {
                    sum += walk.beyond(first, &mut vec![arc]);
                }
            }
        }
    }
    Ok(sum)
}

fn in_order(prices: &Prices) -> Result<(), RoundError> {
    let lists = [("offers", &prices.offers), ("wants", &prices.wants), ("farms", &prices.farms)];
    for (name, list) in lists {
        for &got in list {
            if got < 0 && name != "farms" {
                let field = format!("answer.duals.{name}");
                return Err(RoundError::at(field, RoundProblem::Negative { got }));
            }
            if got.unsigned_abs() > MOST_PRICE.unsigned_abs() {
                let problem = RoundProblem::Price { most: MOST_PRICE, got };
                return Err(RoundError::at(format!("answer.duals.{name}"), problem));
            }
        }
    }
    Ok(())
}

fn base(input: &RoundInput, prices: &Prices) -> i128 {
    let times = |count: i64, price: i64| i128::from(count) * i128::from(price);
    let offers = input.offers.iter().zip(&prices.offers).map(|(it, &price)| times(it.count, price));
    let wants = input.wants.iter().zip(&prices.wants).map(|(it, &price)| times(it.count, price));
    let farms = input.farms.iter().zip(&prices.farms).map(|(it, &price)| {
        let (least, most) = it.may_move();
        times(if price > 0 { most } else { least }, price)
    });
    offers.chain(wants).chain(farms).sum()
}

/// Priced moves by the farms that they go from and to.
type Arcs = BTreeMap<(usize, usize), Vec<Priced>>;

fn arcs(input: &RoundInput, prices: &Prices) -> Arcs {
    let mut arcs = Arcs::new();
    for pair in &input.pairs {
        let (offer, want) = (&input.offers[pair.offer], &input.wants[pair.want]);
        let most = offer.count.min(want.count);
        if offer.smallest_parcel > most {
            continue;
        }
        let farms = prices.farms[offer.farm] - prices.farms[want.farm];
        let gain = 1000 * pair.worth
            - prices.offers[pair.offer]
            - prices.wants[pair.want]
            - farms * offer.unit_value;
        arcs.entry((offer.farm, want.farm)).or_default().push(Priced {
            offer: pair.offer,
            want: pair.want,
            least: offer.smallest_parcel,
            most,
            value: offer.unit_value,
            gain,
        });
    }
    arcs
}

/// All that may pass from farm to farm, priced, if tables of it fit.
///
/// # Errors
/// A price that is out of bounds, or counts and values that are too large.
fn fits(input: &RoundInput, prices: &Prices) -> Result<Arcs, RoundError> {
    in_order(prices)?;
    let arcs = arcs(input, prices);
    let (mut tenths, mut cells) = (0_u64, 0_u64);
    for moves in arcs.values() {
        let length = moves.iter().map(|it| (it.most * it.value).unsigned_abs()).sum::<u64>();
        let gain: i128 =
            moves.iter().map(|it| i128::from(it.gain.abs()) * i128::from(it.most)).sum();
        // Sums of four tables' cells must stay within 64 bits.
        cells = cells.max(if gain > i128::from(MOST_GAIN) { u64::MAX / 2 } else { 0 });
        (tenths, cells) = (tenths.max(length), cells.saturating_add(length));
    }
    if cells > MOST_CELLS {
        let problem = RoundProblem::TooLarge { tenths, cells, most: MOST_CELLS };
        return Err(RoundError::at("offers", problem));
    }
    Ok(arcs)
}

/// Whether a round is small enough to be verified, and so to be solved.
///
/// # Errors
/// Counts, values and worths that together are too large.
pub fn within_reach(input: &RoundInput) -> Result<(), RoundError> {
    fits(input, &Prices::none(input)).map(|_| ())
}

/// `window[t]`: the greatest of `best` from t to t + tolerance, the empty parcel left out.
fn windows(mut best: Vec<i64>, tolerance: usize) -> Vec<i64> {
    best[0] = NONE;
    // Twice as far each time, as a table of powers of two does it.
    let mut covered = 1;
    while covered < tolerance + 1 {
        let step = covered.min(tolerance + 1 - covered);
        for at in 0..best.len().saturating_sub(step) {
            best[at] = best[at].max(best[at + step]);
        }
        covered += step;
    }
    best
}

#[derive(Clone)]
struct Arc {
    to: usize,
    window: Vec<i64>,
    most: i64,
}

struct Walk<'a> {
    out: &'a [Vec<Arc>],
    most_farms: usize,
    /// Of a parcel, in thousandths.
    cost: i128,
}

impl<'a> Walk<'a> {
    /// What the loops that begin with `path` at `first`, their least farm, add to the bound.
    fn beyond(&self, first: usize, path: &mut Vec<&'a Arc>) -> i128 {
        let mut sum = 0;
        let Some(here) = path.last().map(|arc| arc.to) else { return 0 };
        for arc in &self.out[here] {
            if arc.to == first {
                path.push(arc);
                sum += self.gain(path);
                path.pop();
            } else if arc.to > first
                && path.len() + 2 <= self.most_farms
                && path.iter().all(|passed| passed.to != arc.to)
            {
                path.push(arc);
                sum += self.beyond(first, path);
                path.pop();
            }
        }
        sum
    }

    /// The best gain of one loop after prices and parcel costs, where it is above 0.
    fn gain(&self, arcs: &[&Arc]) -> i128 {
        let cost = self.cost * arcs.len() as i128;
        if arcs.iter().map(|arc| i128::from(arc.most)).sum::<i128>() <= cost {
            return 0;
        }
        let length = arcs.iter().map(|arc| arc.window.len()).min().unwrap_or(0);
        let at = |t: usize| arcs.iter().map(|arc| arc.window[t]).sum::<i64>();
        // A sum with an empty place in it stays below zero, see MOST_GAIN.
        (0..length).map(at).max().map_or(0, |most| (i128::from(most) - cost).max(0))
    }
}
