//! Prices while they are sought: of a unit of every offer and want, of a tenth of every farm.
//!
//! What may not enter: loops and pairs of farms; who asks for prices tells how they move.

use crate::answer::Prices;
use crate::instance::Instance;
use crate::loops::contents::Gain;

/// Prices, or a direction in which prices move.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Duals {
    pub(crate) offers: Vec<f64>,
    pub(crate) wants: Vec<f64>,
    pub(crate) farms: Vec<f64>,
}

/// A tenth moves in larger numbers than a unit: farms' prices are sought in steps of so many tenths.
const TENTHS: f64 = 20.0;

impl Duals {
    pub(crate) fn none(of: &Instance) -> Self {
        Self {
            offers: vec![0.0; of.offer_count.len()],
            wants: vec![0.0; of.want_count.len()],
            farms: vec![0.0; of.room.len()],
        }
    }

    /// A first guess: of what a unit is worth on average, so many hundredths to its offer and as many to its want.
    pub(crate) fn guess(of: &Instance, share: f64) -> Self {
        let mut it = Self::none(of);
        let mut moves = (vec![0.0; it.offers.len()], vec![0.0; it.wants.len()]);
        for kind in &of.moves {
            let (offer, want) = (kind.offer as usize, kind.want as usize);
            it.offers[offer] += kind.worth as f64 * share;
            it.wants[want] += kind.worth as f64 * share;
            moves.0[offer] += 1.0;
            moves.1[want] += 1.0;
        }
        for (sum, moves) in
            it.offers.iter_mut().zip(&moves.0).chain(it.wants.iter_mut().zip(&moves.1))
        {
            *sum /= f64::max(*moves, 1.0);
        }
        it
    }

    pub(crate) fn from_prices(prices: &Prices) -> Self {
        let each = |list: &[i64]| list.iter().map(|&it| it as f64 / 1000.0).collect();
        Self {
            offers: each(&prices.offers),
            wants: each(&prices.wants),
            farms: each(&prices.farms),
        }
    }

    pub(crate) fn to_prices(&self) -> Prices {
        #[allow(clippy::cast_possible_truncation)] // prices are far within 64 bits
        let each = |list: &[f64]| list.iter().map(|it| (it * 1000.0).round() as i64).collect();
        Prices { offers: each(&self.offers), wants: each(&self.wants), farms: each(&self.farms) }
    }

    /// What a unit of each move gains after prices.
    pub(crate) fn gains(&self, of: &Instance) -> Vec<Gain> {
        let gain = |(at, kind): (usize, &crate::instance::MoveKind)| {
            let arc = &of.arcs[of.move_arc[at] as usize];
            let farms = self.farms[arc.from as usize] - self.farms[arc.to as usize];
            let after = kind.worth as f64
                - self.offers[kind.offer as usize]
                - self.wants[kind.want as usize]
                - farms * f64::from(kind.value);
            after as Gain
        };
        of.moves.iter().enumerate().map(gain).collect()
    }

    /// Prices × what may be used.
    pub(crate) fn base(&self, of: &Instance) -> f64 {
        let offers: f64 =
            self.offers.iter().zip(&of.offer_count).map(|(y, &n)| y * f64::from(n)).sum();
        let wants: f64 =
            self.wants.iter().zip(&of.want_count).map(|(y, &n)| y * f64::from(n)).sum();
        let farms = self.farms.iter().zip(&of.room);
        let farms: f64 =
            farms.map(|(&y, &(low, high))| y * (if y > 0.0 { high } else { low }) as f64).sum();
        offers + wants + farms
    }

    /// How the proved value changes with each price, when `used` is what the best contents use.
    pub(crate) fn slope(&self, of: &Instance, used: &Self) -> Self {
        let left = |(used, &count): (&f64, &i32)| f64::from(count) - used;
        let farm = |at: usize| {
            let ((low, high), y, net) = (of.room[at], self.farms[at], used.farms[at]);
            let (low, high) = (low as f64, high as f64);
            let end = if y > 0.0 || (y == 0.0 && net > high) { high } else { low };
            let inside = y == 0.0 && (low..=high).contains(&net);
            if inside { 0.0 } else { (end - net) / TENTHS }
        };
        Self {
            offers: used.offers.iter().zip(&of.offer_count).map(left).collect(),
            wants: used.wants.iter().zip(&of.want_count).map(left).collect(),
            farms: (0..of.room.len()).map(farm).collect(),
        }
    }

    /// `self` − step × `slope`, offers' and wants' prices not below 0.
    pub(crate) fn stepped(&self, slope: &Self, step: f64) -> Self {
        let positive = |(y, g): (&f64, &f64)| (y - step * g).max(0.0);
        let farm = |(&y, g): (&f64, &f64)| {
            let new = y - step * g / TENTHS;
            // The slope breaks at 0: a price that would cross it stops there first.
            if y * new < 0.0 { 0.0 } else { new }
        };
        Self {
            offers: self.offers.iter().zip(&slope.offers).map(positive).collect(),
            wants: self.wants.iter().zip(&slope.wants).map(positive).collect(),
            farms: self.farms.iter().zip(&slope.farms).map(farm).collect(),
        }
    }

    fn zipped<'a>(&'a self, other: &'a Self) -> impl Iterator<Item = (f64, f64)> + 'a {
        let pairs =
            |one: &'a [f64], other: &'a [f64]| one.iter().copied().zip(other.iter().copied());
        pairs(&self.offers, &other.offers)
            .chain(pairs(&self.wants, &other.wants))
            .chain(pairs(&self.farms, &other.farms))
    }

    pub(crate) fn dot(&self, other: &Self) -> f64 {
        self.zipped(other).map(|(one, other)| one * other).sum()
    }

    /// `share` × `other` + (1 − share) × `self`.
    pub(crate) fn mixed(&self, other: &Self, share: f64) -> Self {
        let mix = |one: &[f64], other: &[f64]| {
            one.iter().zip(other).map(|(one, other)| one + share * (other - one)).collect()
        };
        Self {
            offers: mix(&self.offers, &other.offers),
            wants: mix(&self.wants, &other.wants),
            farms: mix(&self.farms, &other.farms),
        }
    }

    /// The part of a slope along which prices can move: those at 0 can't fall.
    pub(crate) fn free(&self, slope: &Self) -> Self {
        let free = |(&y, &g): (&f64, &f64)| if y <= 0.0 && g > 0.0 { 0.0 } else { g };
        Self {
            offers: self.offers.iter().zip(&slope.offers).map(free).collect(),
            wants: self.wants.iter().zip(&slope.wants).map(free).collect(),
            farms: slope.farms.clone(),
        }
    }

    pub(crate) fn used_by(&mut self, of: &Instance, moves: &[(u32, i32)]) {
        for &(number, count) in moves {
            let kind = of.moves[number as usize];
            let arc = &of.arcs[of.move_arc[number as usize] as usize];
            let count = f64::from(count);
            self.offers[kind.offer as usize] += count;
            self.wants[kind.want as usize] += count;
            self.farms[arc.from as usize] += count * f64::from(kind.value);
            self.farms[arc.to as usize] -= count * f64::from(kind.value);
        }
    }

    pub(crate) fn add(&mut self, other: &Self) {
        for (mine, its) in [
            (&mut self.offers, &other.offers),
            (&mut self.wants, &other.wants),
            (&mut self.farms, &other.farms),
        ] {
            for (one, other) in mine.iter_mut().zip(its) {
                *one += other;
            }
        }
    }
}
