//! Values of a loop's parcels where farms' limits bind: tried one after the other, since a window of
//! values says nothing of which farm gives more.
//!
//! What may not enter: what the parcels hold.

use super::contents::{Gain, NONE};
use super::fill::Filler;

/// The best values of a loop's parcels that keep every farm within its limit, and what they gain.
pub(super) fn best(
    it: &Filler<'_>,
    arcs: &[u32],
    exact: &[Vec<Gain>],
) -> Option<(Gain, Vec<usize>)> {
    let most: Vec<Gain> =
        exact.iter().map(|table| table[1..].iter().copied().fold(NONE, Gain::max)).collect();
    let mut search = Within { it, arcs, exact, most, values: Vec::new(), best: None };
    for (first, &gain) in exact[0].iter().enumerate().skip(1).filter(|it| *it.1 > NONE) {
        search.values.push(first);
        search.deeper(gain);
        search.values.pop();
    }
    search.best
}

struct Within<'a> {
    it: &'a Filler<'a>,
    arcs: &'a [u32],
    exact: &'a [Vec<Gain>],
    most: Vec<Gain>,
    values: Vec<usize>,
    best: Option<(Gain, Vec<usize>)>,
}

impl Within<'_> {
    fn deeper(&mut self, so_far: Gain) {
        let at = self.values.len();
        let best = self.best.as_ref().map_or(NONE, |best| best.0);
        if at == self.arcs.len() {
            if so_far > best && self.it.within_limits(self.arcs, &self.values) {
                self.best = Some((so_far, self.values.clone()));
            }
            return;
        }
        if so_far + self.most[at..].iter().sum::<Gain>() <= best {
            return;
        }
        let tolerance = self.it.of.tolerance as i64;
        let before = self.values[at - 1] as i64;
        let (least, most) = self.it.room(self.arcs[at]);
        let smallest = self.values.iter().copied().min().unwrap_or(0) as i64;
        let greatest = self.values.iter().copied().max().unwrap_or(0) as i64;
        let from = (greatest - tolerance).max(before + least).max(1);
        let until = (smallest + tolerance).min(before + most).min(self.exact[at].len() as i64 - 1);
        for value in from..=until {
            let gain = self.exact[at][value as usize];
            if gain > NONE {
                self.values.push(value as usize);
                self.deeper(so_far + gain);
                self.values.pop();
            }
        }
    }
}
