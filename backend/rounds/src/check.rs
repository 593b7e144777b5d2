//! Is an answer right? Every rule of a round held against it, from the input alone.
//!
//! What may not enter: any code of the solver. Whatever finds an answer, this decides whether it may be
//! shown to a farm.

use std::collections::{HashMap, HashSet};

use crate::answer::{Loop, Move, Swaps};
use crate::input::{Mode, Pair, RoundInput};

/// Why an answer can't be.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Wrong {
    /// Loops were asked for and a swap day is answered, or the other way round.
    #[error("this is not the kind of round that was asked for")]
    Mode,
    /// A loop of too few or too many farms, or one that goes through a farm twice.
    #[error("loop {0} has too few or too many farms, or one of them twice")]
    Farms(usize),
    /// The same loop again, perhaps begun at another farm.
    #[error("loop {0} is there twice")]
    LoopTwice(usize),
    /// A farm of a loop gives the next one nothing.
    #[error("in loop {0} a farm gives the next one nothing")]
    NothingGiven(usize),
    /// An offer goes to a want that isn't the next farm's.
    #[error("in loop {0} an offer goes to a want that isn't the next farm's")]
    NotTheNext(usize),
    /// The values of a loop's parcels lie too far apart.
    #[error("the parcels of loop {at} are worth {least} to {most} tenths: too far apart")]
    Uneven {
        /// Which loop.
        at: usize,
        /// The least parcel.
        least: i128,
        /// The greatest parcel.
        most: i128,
    },
    /// An offer may not go to this want.
    #[error("offer {offer} may not go to want {want}")]
    NotAllowed {
        /// The offer's id.
        offer: String,
        /// The want's id.
        want: String,
    },
    /// An offer goes to a want twice where once is allowed.
    #[error("offer {offer} goes to want {want} twice")]
    PairTwice {
        /// The offer's id.
        offer: String,
        /// The want's id.
        want: String,
    },
    /// Fewer units than the offer's farm sends in a parcel.
    #[error("{count} units of offer {offer} are fewer than its smallest parcel")]
    TooFew {
        /// The offer's id.
        offer: String,
        /// How many.
        count: i64,
    },
    /// More of an offer than there is.
    #[error("offer {0} is given out beyond its count")]
    Oversold(String),
    /// More than is wanted.
    #[error("want {0} is filled beyond its count")]
    Overfilled(String),
    /// A farm ends too far from even.
    #[error("farm {farm} would end at {owed} tenths, beyond its limit")]
    BeyondLimit {
        /// The farm's id.
        farm: String,
        /// Where it would end: owed + given − received.
        owed: i128,
    },
}

/// Holds `swaps` against every rule of `input`; the objective, if all are kept.
///
/// # Errors
/// The first rule that is broken.
pub fn check(input: &RoundInput, swaps: &Swaps) -> Result<i128, Wrong> {
    let mut books = Books::new(input);
    match (input.mode, swaps) {
        (Mode::Loops { most_farms, tolerance }, Swaps::Loops(loops)) => {
            let mut seen = HashSet::new();
            for (at, it) in loops.iter().enumerate() {
                let distinct: HashSet<_> = it.farms.iter().collect();
                let length = it.farms.len();
                if length < 2 || length > most_farms || distinct.len() != length {
                    return Err(Wrong::Farms(at));
                }
                if !seen.insert(turned(&it.farms)) {
                    return Err(Wrong::LoopTwice(at));
                }
                one_loop(&mut books, at, it, i128::from(tolerance))?;
            }
        }
        (Mode::Pooled, Swaps::Pooled(moves)) => {
            let mut parcels = HashSet::new();
            books.once_each(moves)?;
            for it in moves {
                books.pass(it)?;
                parcels.insert((input.offers[it.offer].farm, input.wants[it.want].farm));
            }
            books.pay(parcels.len());
        }
        _ => return Err(Wrong::Mode),
    }
    books.close()
}

/// The loop's farms, begun at the first of them in the input: equal for loops equal up to rotation.
fn turned(farms: &[usize]) -> Vec<usize> {
    let first = (0..farms.len()).min_by_key(|&at| farms[at]).unwrap_or(0);
    farms[first..].iter().chain(&farms[..first]).copied().collect()
}

fn one_loop(books: &mut Books<'_>, at: usize, it: &Loop, tolerance: i128) -> Result<(), Wrong> {
    let input = books.input;
    let mut parcels = vec![0_i128; it.farms.len()];
    books.once_each(&it.moves)?;
    for passed in &it.moves {
        books.pass(passed)?;
        let (offer, want) = (&input.offers[passed.offer], &input.wants[passed.want]);
        let arc = (0..it.farms.len())
            .find(|&k| it.farms[k] == offer.farm && it.farms[(k + 1) % it.farms.len()] == want.farm)
            .ok_or(Wrong::NotTheNext(at))?;
        parcels[arc] += i128::from(offer.unit_value) * i128::from(passed.count);
    }
    let (least, most) =
        parcels.iter().fold((i128::MAX, 0), |(least, most), &it| (it.min(least), it.max(most)));
    if least == 0 {
        return Err(Wrong::NothingGiven(at));
    }
    if most - least > tolerance {
        return Err(Wrong::Uneven { at, least, most });
    }
    books.pay(it.farms.len());
    Ok(())
}

struct Books<'a> {
    input: &'a RoundInput,
    allowed: HashMap<(usize, usize), &'a Pair>,
    given: Vec<i128>,
    filled: Vec<i128>,
    /// Given − received, by farm.
    net: Vec<i128>,
    worth: i128,
}

impl<'a> Books<'a> {
    fn new(input: &'a RoundInput) -> Self {
        Self {
            input,
            allowed: input.pairs.iter().map(|pair| ((pair.offer, pair.want), pair)).collect(),
            given: vec![0; input.offers.len()],
            filled: vec![0; input.wants.len()],
            net: vec![0; input.farms.len()],
            worth: 0,
        }
    }

    fn names(&self, it: &Move) -> (String, String) {
        (self.input.offers[it.offer].id.clone(), self.input.wants[it.want].id.clone())
    }

    fn once_each(&self, moves: &[Move]) -> Result<(), Wrong> {
        let mut seen = HashSet::new();
        for it in moves {
            if !seen.insert((it.offer, it.want)) {
                let (offer, want) = self.names(it);
                return Err(Wrong::PairTwice { offer, want });
            }
        }
        Ok(())
    }

    fn pass(&mut self, it: &Move) -> Result<(), Wrong> {
        let Some(pair) = self.allowed.get(&(it.offer, it.want)) else {
            let (offer, want) = self.names(it);
            return Err(Wrong::NotAllowed { offer, want });
        };
        let (offer, want) = (&self.input.offers[it.offer], &self.input.wants[it.want]);
        if it.count < offer.smallest_parcel {
            return Err(Wrong::TooFew { offer: offer.id.clone(), count: it.count });
        }
        let count = i128::from(it.count);
        self.given[it.offer] += count;
        self.filled[it.want] += count;
        self.net[offer.farm] += count * i128::from(offer.unit_value);
        self.net[want.farm] -= count * i128::from(offer.unit_value);
        self.worth += count * i128::from(pair.worth);
        Ok(())
    }

    fn pay(&mut self, parcels: usize) {
        self.worth -= i128::from(self.input.parcel_cost) * parcels as i128;
    }

    fn close(self) -> Result<i128, Wrong> {
        for (offer, given) in self.input.offers.iter().zip(&self.given) {
            if *given > i128::from(offer.count) {
                return Err(Wrong::Oversold(offer.id.clone()));
            }
        }
        for (want, filled) in self.input.wants.iter().zip(&self.filled) {
            if *filled > i128::from(want.count) {
                return Err(Wrong::Overfilled(want.id.clone()));
            }
        }
        for (farm, net) in self.input.farms.iter().zip(&self.net) {
            let (owed, limit) = (i128::from(farm.owed), i128::from(farm.limit));
            let ends = owed + net;
            if ends < owed.min(-limit) || ends > owed.max(limit) {
                return Err(Wrong::BeyondLimit { farm: farm.id.clone(), owed: ends });
            }
        }
        Ok(self.worth)
    }
}
