//! A particular lot's unit value, and values as people add them up.
//!
//! What may not enter: statements about hygiene or tests. They are conditions, not a premium.

use crate::exchange::owed::Tenths;

/// A lot's unit value: the variety's × what a unit of the lot is expected to give in sound plants,
/// relative to what a unit of the variety does.
///
/// Where nothing is known to come of the variety's units, the lot's are worth as much.
///
/// ```
/// use spareloop_domain::value::lot_unit_value;
/// // Half of this lot's units are expected to come up where four fifths of the variety's are.
/// assert!((lot_unit_value(4.0, 0.5, 0.8) - 2.5).abs() < 1e-12);
/// ```
pub fn lot_unit_value(value: f64, plants_of_lot: f64, plants_of_variety: f64) -> f64 {
    if plants_of_variety > 0.0 { value * plants_of_lot / plants_of_variety } else { value }
}

/// The value as a round takes it and people see it: whole tenths, half up, at least one.
///
/// ```
/// use spareloop_domain::{exchange::owed::Tenths, value::in_tenths};
/// assert_eq!([0.25, 0.24, 0.0, 4.09].map(in_tenths), [3, 2, 1, 41].map(Tenths));
/// ```
pub fn in_tenths(value: f64) -> Tenths {
    // The cast holds at the ends; values are far from them.
    #[allow(clippy::cast_possible_truncation)]
    let tenths = (value * 10.0 + 0.5).floor() as i64;
    Tenths(tenths.max(1))
}
