//! What was found after cold or warmth: where lots lay on a day, and their next look.
//!
//! A spell and a loss that follow one another are put side by side, not called cause and effect.
//! What may not enter: a judgement of the loss.

use std::collections::BTreeMap;

use crate::ledger::Body;
use crate::ledger::book::{Book, LookRecord, Lot};
use crate::words::{Count, Day, LossCause, LotId, Packing, Place};

/// Where a lot lay from a day on.
#[derive(Debug, Clone, PartialEq)]
pub struct Stay {
    /// From this day.
    pub from: Day,
    /// Here.
    pub place: Place,
    /// In this, if noted.
    pub packing: Option<Packing>,
}

/// Where every lot lay, from its storings and moves.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Whereabouts {
    stays: BTreeMap<LotId, Vec<Stay>>,
}

impl Whereabouts {
    /// Reads entries in the fold's order, those struck out left out. A lot that was never stored or
    /// moved by itself (split off another) lay all the while where the book has it.
    pub fn of<'a>(book: &Book, entries: impl IntoIterator<Item = (Day, &'a Body)>) -> Self {
        let mut stays: BTreeMap<LotId, Vec<Stay>> = BTreeMap::new();
        for (from, body) in entries {
            match body {
                Body::Store(body) => {
                    let packing = Some(body.packing);
                    let stay = Stay { from, place: body.place.clone(), packing };
                    stays.entry(body.lot).or_default().push(stay);
                }
                Body::Move(body) => {
                    let of_lot = stays.entry(body.lot).or_default();
                    let packing = of_lot.last().and_then(|stay| stay.packing);
                    of_lot.push(Stay { from, place: body.place.clone(), packing });
                }
                _ => {}
            }
        }
        for lot in book.lots.values() {
            if let (Some(place), false) = (&lot.place, stays.contains_key(&lot.id)) {
                let stay = Stay { from: lot.began, place: place.clone(), packing: lot.packing };
                stays.insert(lot.id, vec![stay]);
            }
        }
        Self { stays }
    }

    /// Where a lot lay at the end of a day.
    pub fn on(&self, lot: LotId, day: Day) -> Option<&Stay> {
        self.stays.get(&lot)?.iter().rfind(|stay| stay.from <= day)
    }

    /// Lots that lay in a place, or within it, at the end of a day.
    pub fn within<'a>(&'a self, place: &'a Place, day: Day) -> impl Iterator<Item = LotId> + 'a {
        let lay = move |lot: &LotId| {
            self.on(*lot, day).is_some_and(|stay| stay.place.parts().starts_with(place.parts()))
        };
        self.stays.keys().copied().filter(lay)
    }
}

/// What the first look after a day found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NextLook<'a> {
    /// The lot.
    pub lot: &'a Lot,
    /// The look; none where nobody looked since.
    pub look: Option<&'a LookRecord>,
}

impl NextLook<'_> {
    /// Units lost to a cause at that look.
    pub fn lost_to(&self, cause: LossCause) -> Count {
        let lost = self.look.iter().flat_map(|look| &look.lost);
        lost.filter(|part| part.cause == cause).map(|part| part.count).sum()
    }
}

/// The first look on a day or later, of lots that lay in a place on that day and hold anything or
/// were looked at since; in the order of the book.
pub fn next_looks<'a>(
    book: &'a Book,
    whereabouts: &Whereabouts,
    place: &Place,
    day: Day,
) -> Vec<NextLook<'a>> {
    whereabouts
        .within(place, day)
        .filter_map(|lot| book.lots.get(&lot))
        .filter(|lot| lot.began <= day)
        .map(|lot| NextLook { lot, look: lot.looks.iter().find(|look| look.on >= day) })
        .filter(|next| next.look.is_some() || !next.lot.in_store.is_zero())
        .collect()
}
