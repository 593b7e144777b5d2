//! Pricing a swap day: the best parcel from each farm to each other after prices.
//!
//! What may not enter: how prices are sought.

use crate::duals::Duals;
use crate::instance::Instance;
use crate::loops::contents::{Desk, Gain, Left, NONE};

/// The value that prices prove, and what the gaining parcels use.
pub(super) fn price(of: &Instance, left: &Left, duals: &Duals) -> (f64, Duals) {
    let gains = duals.gains(of);
    let (mut desk, mut used) = (Desk::default(), Duals::none(of));
    let mut sum = duals.base(of);
    for arc in 0..of.arcs.len() as u32 {
        let (value, gain) = best(&mut desk, of, arc, left, &gains);
        let gain = f64::from(gain) - of.parcel_cost as f64;
        if gain > 0.0 {
            sum += gain;
            used.used_by(of, &desk.moves(of, arc, left, &gains, value));
        }
    }
    (sum, used)
}

/// The best gain of every arc after prices and the parcel's cost; none if tables left something out, so
/// that nothing can be proved from them.
pub(super) fn best_by_arc(of: &Instance, left: &Left, duals: &Duals) -> Option<Vec<Gain>> {
    let gains = duals.gains(of);
    let mut desk = Desk::default();
    let cost = of.parcel_cost as Gain;
    let best = (0..of.arcs.len() as u32)
        .map(|arc| best(&mut desk, of, arc, left, &gains).1 - cost)
        .collect();
    (desk.trimmed == 0).then_some(best)
}

fn best(desk: &mut Desk, of: &Instance, arc: u32, left: &Left, gains: &[Gain]) -> (usize, Gain) {
    let exact = desk.exact(of, arc, left, gains);
    let full = exact.iter().copied().enumerate().skip(1);
    full.fold((0, NONE), |best, it| if it.1 > best.1 { it } else { best })
}
