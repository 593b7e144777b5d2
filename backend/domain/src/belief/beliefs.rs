//! What is believed of every lot and variety of one book.

use std::collections::BTreeSet;

use super::prior::{Farms, first_season, from_network, from_spread, looks, own_spread};
use super::rates::{EmergenceBelief, Rates, YieldBelief};
use super::records::{LotRecord, Place, Places, Records, variety_key};
use super::steps::{Step, steps};
use super::summary::NetworkSummary;
use super::{Ground, Grounds};
use crate::fit::{Given, Learned, LossData, learn};
use crate::forecast::{FIRST_SEASON, LogHazard, updated};
use crate::ledger::Book;
use crate::words::{LotId, VarietyId};

/// What is believed of a lot's loss rate, and on what ground.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LotBelief {
    /// log λ per day: mean and sd.
    pub hazard: LogHazard,
    /// What it rests on.
    pub grounds: Grounds,
}

/// What is believed of a book's lots and varieties.
#[derive(Debug, Clone)]
pub struct Beliefs {
    records: Records,
    /// Lots looked at and looks at them, over all records.
    watched: (u32, u32),
    places: Places,
    data: LossData,
    believed: Option<Believed>,
    ground: Ground,
    emergence: Rates,
    yields: Rates,
}

/// Before and behind the farm's own looks.
#[derive(Debug, Clone)]
struct Believed {
    given: Given,
    learned: Learned,
}

impl Beliefs {
    /// Works it out: from the book's own looks, and from what the network saw if it is known.
    ///
    /// ```
    /// use spareloop_domain::belief::{Beliefs, Ground};
    /// use spareloop_domain::ledger::Book;
    /// let nothing = Beliefs::of(&Book::default(), None);
    /// assert_eq!(nothing.ground(), Ground::FirstSeason);
    /// ```
    pub fn of(book: &Book, network: Option<&NetworkSummary>) -> Self {
        let (records, places) = Records::with_places(book);
        Self::new(records, places, network)
    }

    /// Of records that no book stands behind; ask for its lots by their place there.
    pub fn of_records(records: Records, network: Option<&NetworkSummary>) -> Self {
        Self::new(records, Places::new(), network)
    }

    fn new(records: Records, places: Places, network: Option<&NetworkSummary>) -> Self {
        let emergence = Rates::of_emergence(&records, network.and_then(|it| it.emergence.as_ref()));
        let yields = Rates::of_yields(&records, network.and_then(|it| it.yields.as_ref()));
        let (data, believed, ground) = believe(&records, network);
        let watched = watched(records.lots.iter());
        Self { records, watched, places, data, believed, ground, emergence, yields }
    }

    /// What stands behind the farm's own looks at its lots.
    pub const fn ground(&self) -> Ground {
        self.ground
    }

    /// Of one lot; a lot that the book doesn't have has the first-season guess.
    pub fn lot(&self, lot: LotId) -> LotBelief {
        let Some(place) = self.places.get(&lot) else {
            let grounds = Grounds { looks: 0, other_lots: 0, other_looks: 0, ground: self.ground };
            return LotBelief { hazard: FIRST_SEASON, grounds };
        };
        LotBelief { hazard: self.hazard(place), grounds: self.grounds(&[lot]) }
    }

    /// log λ of the lots of one record; the first-season guess where there is none.
    pub fn record(&self, record: usize) -> LogHazard {
        self.hazard(&Place { record, ..Place::default() })
    }

    fn hazard(&self, place: &Place) -> LogHazard {
        let joint = self.believed.as_ref().and_then(|believed| {
            let lot = believed.learned.lots.get(place.record)?;
            LogHazard::new(lot.mean, lot.sd).ok()
        });
        match joint {
            Some(joint) if place.moved.is_empty() => joint,
            Some(joint) => updated(joint, &place.moved),
            // Numbers out of range: the lot's own looks are what is left.
            None => {
                let own = self.records.lots.get(place.record).map(|lot| lot.rows.as_slice());
                let own = own.unwrap_or_default().iter();
                let rows: Vec<_> = own.chain(&place.moved).copied().collect();
                updated(FIRST_SEASON, &rows)
            }
        }
    }

    /// What a belief about some lots together rests on.
    pub fn grounds(&self, lots: &[LotId]) -> Grounds {
        let here: Vec<&Place> = lots.iter().filter_map(|lot| self.places.get(lot)).collect();
        let records: BTreeSet<usize> = here.iter().map(|place| place.record).collect();
        let of_these = watched(records.iter().filter_map(|at| self.records.lots.get(*at)));
        let other_lots = self.watched.0.saturating_sub(of_these.0);
        let other_looks = self.watched.1.saturating_sub(of_these.1);
        let looks = here.iter().map(|place| place.looks).fold(0, u32::saturating_add);
        Grounds { looks, other_lots, other_looks, ground: self.ground }
    }

    /// The standard deviation of what the log rates of some lots of one variety have in common.
    pub fn shared_sd(&self, lots: &[LotId]) -> f64 {
        let Some(believed) = &self.believed else { return 0.0 };
        let records: Vec<usize> =
            lots.iter().filter_map(|lot| self.places.get(lot)).map(|it| it.record).collect();
        believed.learned.shared_sd(&records)
    }

    /// Of the share of a variety that comes up.
    pub fn emergence(&self, book: &Book, variety: VarietyId) -> EmergenceBelief {
        self.emergence_of(&variety_key(book, variety))
    }

    /// The same by the variety's folded name.
    pub fn emergence_of(&self, variety: &str) -> EmergenceBelief {
        self.emergence.emergence(variety)
    }

    /// Of what a clump of a variety gives.
    pub fn yields(&self, book: &Book, variety: VarietyId) -> YieldBelief {
        self.yields.yields(&variety_key(book, variety))
    }

    /// How a lot's rate comes about, figure by figure; none for a lot that the book doesn't have.
    pub fn steps(&self, lot: LotId) -> Vec<Step> {
        self.places.get(&lot).map_or_else(Vec::new, |place| self.steps_at(place))
    }

    /// The same for the lots of one record.
    pub fn steps_of(&self, record: usize) -> Vec<Step> {
        self.steps_at(&Place { record, ..Place::default() })
    }

    fn steps_at(&self, place: &Place) -> Vec<Step> {
        let Some(believed) =
            self.believed.as_ref().filter(|_| place.record < self.records.lots.len())
        else {
            return Vec::new();
        };
        let at = (place.record, self.hazard(place).mean());
        steps(&self.data, &believed.given, &believed.learned, at, self.ground)
    }
}

/// Lots that were looked at, and looks at them.
fn watched<'a>(lots: impl Iterator<Item = &'a LotRecord>) -> (u32, u32) {
    lots.filter(|lot| !lot.rows.is_empty()).fold((0, 0), |(lots, looks), lot| {
        (u32::saturating_add(lots, 1), u32::saturating_add(looks, lot.looks))
    })
}

fn believe(
    records: &Records,
    network: Option<&NetworkSummary>,
) -> (LossData, Option<Believed>, Ground) {
    let one = || std::iter::once((0, records));
    let taken_in = |data: &LossData, given: Given| {
        learn(data, &given).ok().map(|learned| Believed { given, learned })
    };
    if let Some(losses) = network.and_then(|network| network.losses.as_ref()) {
        let data = looks(one(), Farms::Several);
        let believed = from_network(&data, losses).and_then(|given| taken_in(&data, given));
        if believed.is_some() {
            let ground = Ground::Network { farms: losses.seen.farms, lots: losses.seen.lots };
            return (data, believed, ground);
        }
    }
    let data = looks(one(), Farms::One);
    if let Some(spread) = own_spread(records) {
        let believed = taken_in(&data, from_spread(&data, spread));
        if believed.is_some() {
            return (data, believed, Ground::OwnRecords);
        }
    }
    let given = first_season(&data);
    let believed = taken_in(&data, given);
    (data, believed, Ground::FirstSeason)
}
