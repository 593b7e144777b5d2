//! Tonight's list: which lots to look at, how many of each, and why, in walking order.
//!
//! Lots that are due come in; the most telling first when only some fit the evening. A lot with
//! units promised to others goes before one without, since somebody relies on it; among equals, that
//! one goes first whose look takes away most of what is uncertain about the survivors at planting
//! ([`crate::forecast::telling`]). How many to look at is ISPM 31's smallest sample for the level
//! and confidence asked for. What may not enter: where beliefs and promises come from (they are
//! arguments), and what is done about what is found.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use crate::forecast::outlook::{LookDue, look_due};
use crate::forecast::{LogHazard, LookTonight, SeenGroup, Telling, telling};
use crate::ledger::Book;
use crate::ledger::book::{Lot, LotCondition, SeenUnits};
use crate::ledger::review::walking_order;
use crate::sampling::{Aim, NotAttainable, SampleSize, sample_size};
use crate::settings::Settings;
use crate::words::{Count, Day, LotId, UnitKind};

/// What is believed of a lot, and what for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Belief {
    /// Its log rate of loss per day.
    pub hazard: LogHazard,
    /// The day for which survivors count.
    pub planting: Day,
}

/// Which lots may come onto the list.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Which {
    /// Those that are due by the check interval.
    Due,
    /// All that hold anything.
    All,
}

/// What a list is asked for.
#[derive(Debug, Clone, Copy)]
pub struct Evening<'a> {
    /// Today, in the farm's zone.
    pub today: Day,
    /// The farm's rules.
    pub settings: &'a Settings,
    /// The trouble that must not be missed, how sure to be, and how well a look sees it.
    pub aim: Aim,
    /// Which lots may come onto the list.
    pub which: Which,
    /// Units promised of each lot.
    pub promised: &'a BTreeMap<LotId, Count>,
    /// What is believed of each lot; one without a belief is taken to tell nothing.
    pub beliefs: &'a BTreeMap<LotId, Belief>,
}

/// How many of a lot to look at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum HowMany {
    /// A sample is enough.
    Sample {
        /// Units to look at.
        units: u32,
        /// So many affected units are found.
        affected: u64,
        /// With this chance.
        chance: f64,
    },
    /// All of them.
    All(WhyAll),
}

/// Why no sample is enough.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WhyAll {
    /// The smallest sample is the lot.
    SampleIsAll,
    /// The level is less than one unit of so small a lot.
    SmallLot,
    /// Even a look at all of them misses too often.
    WeakLook,
}

/// A lot on the list.
#[derive(Debug, Clone, PartialEq)]
pub struct ToLookAt<'a> {
    /// The lot.
    pub lot: &'a Lot,
    /// Its place in the order of what tells most: 1 is first.
    pub rank: u32,
    /// Whether it is due.
    pub due: LookDue,
    /// Days since its longest unseen units were last seen.
    pub unseen_days: u32,
    /// Units promised of it.
    pub promised: Count,
    /// How many to look at.
    pub how_many: HowMany,
    /// What the look would tell; none where nothing is believed of the lot.
    pub telling: Option<Telling>,
}

impl HowMany {
    /// As a number of units of the lot.
    pub fn units(self, lot: &Lot) -> Count {
        match self {
            Self::Sample { units, .. } => Count::new(i64::from(units)).unwrap_or(lot.in_store),
            Self::All(_) => lot.in_store,
        }
    }
}

impl Belief {
    /// A belief on the loss rate of a lot's units until `planting`.
    pub const fn until(hazard: LogHazard, planting: Day) -> Self {
        Self { hazard, planting }
    }
}

/// The list: at most `limit` lots, chosen by what tells most, in walking order.
pub fn tonight<'a>(
    book: &'a Book,
    evening: &Evening<'_>,
    limit: Option<usize>,
) -> Vec<ToLookAt<'a>> {
    let mut list: Vec<ToLookAt<'a>> = book
        .lots
        .values()
        .filter(|lot| !lot.in_store.is_zero())
        .map(|lot| to_look_at(lot, evening))
        .filter(|entry| evening.which == Which::All || matches!(entry.due, LookDue::Due { .. }))
        .collect();
    list.sort_by(|a, b| {
        (b.is_relied_on().cmp(&a.is_relied_on()))
            .then(b.told().total_cmp(&a.told()))
            .then(b.unseen_days.cmp(&a.unseen_days))
            .then(a.lot.id.cmp(&b.lot.id))
    });
    list.truncate(limit.unwrap_or(usize::MAX));
    for (rank, entry) in (1..).zip(&mut list) {
        entry.rank = rank;
    }
    list.sort_by_cached_key(|entry| {
        let place = entry.lot.place.as_ref();
        (place.is_none(), place.map(walking_order), Reverse(entry.unseen_days), entry.lot.id)
    });
    list
}

fn to_look_at<'a>(lot: &'a Lot, evening: &Evening<'_>) -> ToLookAt<'a> {
    let how_many = how_many(lot, evening.aim);
    let oldest = lot.last_seen.first().map_or(lot.began, |seen| seen.on);
    let promised = evening.promised.get(&lot.id).copied().unwrap_or_default();
    ToLookAt {
        lot,
        rank: 0,
        due: look_due(lot, evening.today, evening.settings),
        unseen_days: days(oldest, evening.today),
        promised: promised.min(lot.in_store),
        how_many,
        telling: evening
            .beliefs
            .get(&lot.id)
            .filter(|_| decays(lot.unit))
            .map(|belief| tells(lot, how_many.units(lot), *belief, evening.today)),
    }
}

/// Started plants and cuttings grow; decay in store is not reckoned for them.
const fn decays(unit: UnitKind) -> bool {
    matches!(unit, UnitKind::Clump | UnitKind::Division | UnitKind::PotTuber)
}

fn days(from: Day, to: Day) -> u32 {
    u32::try_from(to.days_since(from)).unwrap_or(0)
}

fn how_many(lot: &Lot, aim: Aim) -> HowMany {
    let size = u64::from(lot.in_store.get());
    match sample_size(size, aim) {
        Ok(SampleSize::Attainable { affected_units, sample_size, confidence_reached })
            if sample_size < size =>
        {
            HowMany::Sample {
                units: u32::try_from(sample_size).unwrap_or(u32::MAX),
                affected: affected_units.unwrap_or(0),
                chance: confidence_reached,
            }
        }
        Ok(SampleSize::NotAttainable(NotAttainable::LessThanOneUnit)) => {
            HowMany::All(WhyAll::SmallLot)
        }
        Ok(SampleSize::NotAttainable(_)) => HowMany::All(WhyAll::WeakLook),
        // A lot with anything in it has a size that can be reckoned with.
        Ok(SampleSize::Attainable { .. }) | Err(_) => HowMany::All(WhyAll::SampleIsAll),
    }
}

/// Units come unsorted out of a box, so those looked at are of all groups in proportion, as the
/// book counts a look.
fn tells(lot: &Lot, units: Count, belief: Belief, today: Day) -> Telling {
    let left = lot.last_seen_without(units);
    let group = |count: Count, on: Day| SeenGroup { count: count.get(), days: days(on, today) };
    let left_of = |on: Day| {
        let same = left.iter().filter(|seen| seen.on == on);
        same.map(|seen| seen.count).sum::<Count>()
    };
    let looked_at =
        lot.last_seen.iter().map(|SeenUnits { count, on }| group(count.less(left_of(*on)), *on));
    let look = LookTonight {
        looked_at: looked_at.collect(),
        left_alone: left.iter().map(|seen| group(seen.count, seen.on)).collect(),
        days_to_planting: days(today, belief.planting),
    };
    telling(&look, belief.hazard)
}

impl ToLookAt<'_> {
    fn told(&self) -> f64 {
        self.telling.map_or(0.0, |telling| telling.variance_told)
    }

    /// Whether somebody else waits for units of a lot that is due for a look.
    fn is_relied_on(&self) -> bool {
        !self.promised.is_zero() && matches!(self.due, LookDue::Due { .. })
    }

    /// Why this lot: who waits for it, how long nobody saw it, how much the look would tell.
    pub fn why(&self) -> String {
        let mut reasons = Vec::new();
        if !self.promised.is_zero() {
            let are = if self.promised.get() == 1 { "is" } else { "are" };
            reasons.push(format!("{} {are} promised to others", self.promised));
        }
        reasons.push(match self.unseen_days {
            0 => "seen today".to_owned(),
            1 => "not seen since yesterday".to_owned(),
            days => format!("not seen for {days} days"),
        });
        match self.telling {
            Some(telling) if telling.sd_now() >= 0.05 => reasons.push(format!(
                "what is left at planting is unsure by about {:.1}, after the look by {:.1}",
                telling.sd_now(),
                telling.sd_after()
            )),
            Some(_) | None => {}
        }
        if let LotCondition::Stopped(since) = self.lot.condition {
            reasons.push(format!("stopped for suspicious growth since {since}: look at it last"));
        }
        format!("{}.", reasons.join("; "))
    }

    /// How many to look at, and what that would show.
    pub fn how_many_in_words(&self) -> String {
        let lot = self.lot.in_store;
        match self.how_many {
            HowMany::Sample { units, affected, chance } => {
                let least =
                    if affected == 1 { "1".to_owned() } else { format!("{affected} or more") };
                format!(
                    "Look at {units} of {lot}: were {least} gone, {:.0} of 100 such looks would show it",
                    (chance * 100.0).floor()
                )
            }
            HowMany::All(WhyAll::SampleIsAll) => {
                format!("Look at all {lot}: fewer would show too little")
            }
            HowMany::All(WhyAll::SmallLot) => {
                format!("Look at all {lot}: in so few a single loss counts")
            }
            HowMany::All(WhyAll::WeakLook) => {
                format!(
                    "Look at all {lot}: even that misses too often with so weak a look; unpack them"
                )
            }
        }
    }
}

#[cfg(test)]
#[path = "tonight_tests.rs"]
mod tests;
