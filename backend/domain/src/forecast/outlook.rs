//! The stock sheet: what of a book is expected to survive, what is spare and what is short.
//!
//! By variety and unit kind, each with its lots and its sentence; the command line's forecast and
//! the server's stock pages both call it. Promised stock comes out first, stopped lots are never
//! counted, what is coming is shown apart. What may not enter: where promises are kept.

use std::collections::{BTreeMap, BTreeSet};

use super::sentence::plan_words;
use super::{
    Balance, EmergenceRate, ForecastError, LogHazard, LotInStore, PlanOutlook, PlanTerms,
    SeenGroup, ServiceLevel, Spare, SpareQuestion, StockOutlook, Survivors, VarietyOutlook,
    lot_sentence, spare, survivors_of_all, survivors_under, variety_sentence,
};
use crate::belief::{Beliefs, Grounds, LotBelief};
use crate::ledger::Book;
use crate::ledger::body::Plan;
use crate::ledger::book::{Lot, LotCondition, SeenUnits};
use crate::settings::Settings;
use crate::words::{Count, Day, LotId, UnitKind, VarietyId};

/// What a stock sheet is asked for.
#[derive(Debug, Clone, Copy)]
pub struct Asked<'a> {
    /// Today, in the farm's zone.
    pub today: Day,
    /// The planting day to forecast for where a variety has no plan.
    pub day_without_plan: Day,
    /// The farm's rules.
    pub settings: &'a Settings,
    /// Units promised of each lot by open offers and live holds.
    pub promised: &'a BTreeMap<LotId, Count>,
    /// What is believed of the book's lots and varieties.
    pub beliefs: &'a Beliefs,
}

/// One variety and unit kind.
#[derive(Debug, Clone, PartialEq)]
pub struct KindOutlook {
    /// The variety.
    pub variety: VarietyId,
    /// What a unit is.
    pub unit: UnitKind,
    /// The planting day.
    pub on: Day,
    /// In store by the book, all of it.
    pub in_store: Count,
    /// Of those, promised to others: not counted below.
    pub promised: Count,
    /// Of those, in stopped lots: not counted below.
    pub stopped: Count,
    /// On order or agreed, shown apart.
    pub coming: Count,
    /// What was reckoned for the rest.
    pub reckoned: Result<Reckoned, ForecastError>,
    /// Its lots with anything in store, in the order of the book.
    pub lots: Vec<LotOutlook>,
    /// All of it in a sentence or two.
    pub sentence: String,
}

/// What was reckoned for stock that is neither promised nor stopped.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reckoned {
    /// Units in store, expected and likely at planting.
    pub stock: StockOutlook,
    /// The middle of what may be left.
    pub middle: u32,
    /// What the plan makes of it.
    pub plan: PlanOutlook,
    /// Plants expected and the chance that they are enough; none without a plan.
    pub plants: Option<Plants>,
}

impl Reckoned {
    /// Units that can go; none without a plan.
    pub const fn spare(&self) -> Option<u32> {
        match self.plan {
            PlanOutlook::Planned(_, Balance::Spare(units)) => Some(units),
            PlanOutlook::Planned(_, _) => Some(0),
            PlanOutlook::NoPlan => None,
        }
    }

    /// Units that are lacking, held at 1,000,000; none without a plan.
    pub const fn short(&self) -> Option<u32> {
        match self.plan {
            PlanOutlook::Planned(_, Balance::Short(super::Short::Units(units))) => Some(units),
            PlanOutlook::Planned(_, Balance::Short(super::Short::TooMany)) => Some(Count::MAX),
            PlanOutlook::Planned(_, _) => Some(0),
            PlanOutlook::NoPlan => None,
        }
    }
}

/// Plants that come up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plants {
    /// Expected.
    pub expected: f64,
    /// The chance that at least as many as wanted come up.
    pub chance_met: f64,
}

/// One lot, promised units included.
#[derive(Debug, Clone, PartialEq)]
pub struct LotOutlook {
    /// Which.
    pub lot: LotId,
    /// In store by the book.
    pub in_store: Count,
    /// Promised of it.
    pub promised: Count,
    /// What may be done with it.
    pub condition: LotCondition,
    /// What is believed of its loss rate, and on what ground.
    pub belief: LotBelief,
    /// Expected and likely at planting.
    pub survivors: Result<Survivors, ForecastError>,
    /// Whether it should be looked at before it is offered.
    pub look: LookDue,
    /// All of it in a sentence.
    pub sentence: String,
}

/// Whether a lot should be looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LookDue {
    /// Looked at within the interval.
    NotYet,
    /// Last seen longer ago than the interval.
    Due {
        /// Days since it was last seen.
        days: u32,
    },
}

/// The stock sheet of a book, varieties by name.
pub fn outlook(book: &Book, asked: &Asked) -> Vec<KindOutlook> {
    let in_store = book.lots.values().filter(|lot| !lot.in_store.is_zero());
    let mut kinds: BTreeSet<(VarietyId, UnitKind)> =
        in_store.map(|lot| (lot.variety, lot.unit)).collect();
    kinds.extend(book.plans.keys().copied());
    kinds.extend(book.coming.values().map(|coming| (coming.variety, coming.unit)));
    let mut sheet: Vec<KindOutlook> =
        kinds.into_iter().map(|(variety, unit)| kind_outlook(book, asked, variety, unit)).collect();
    sheet.sort_by_cached_key(|kind| {
        let name = book.varieties.get(&kind.variety).map(|card| card.name.key());
        (name.is_none(), name, kind.variety, kind.unit)
    });
    sheet
}

/// Whether a lot was seen within the check interval of the settings; the shorter one holds soon
/// after storing.
pub fn look_due(lot: &Lot, today: Day, settings: &Settings) -> LookDue {
    let Some(oldest) = lot.last_seen.first() else { return LookDue::NotYet };
    let stored = lot.stored.unwrap_or(lot.began);
    let soon = days(stored, today) <= u32::from(settings.at_first_days);
    let every = if soon { settings.check_every_days_at_first } else { settings.check_every_days };
    let days = days(oldest.on, today);
    if days > u32::from(every) { LookDue::Due { days } } else { LookDue::NotYet }
}

/// The first day on which the lot is due for a look, past or to come; none where nothing of it was
/// ever seen.
pub fn look_due_on(lot: &Lot, settings: &Settings) -> Option<Day> {
    let seen = lot.last_seen.first()?.on;
    let longest = u32::from(settings.check_every_days.max(settings.check_every_days_at_first));
    (0..=longest.saturating_add(1))
        .map(|days| seen.plus_days(days))
        .find(|day| matches!(look_due(lot, *day, settings), LookDue::Due { .. }))
}

fn days(from: Day, to: Day) -> u32 {
    u32::try_from(to.days_since(from)).unwrap_or(0)
}

/// Units by days from last seen alive to `on`. Started plants and cuttings grow; decay in store is
/// not reckoned for them.
fn groups(seen: &[SeenUnits], unit: UnitKind, on: Day) -> Vec<SeenGroup> {
    let at_risk = |since: Day| match unit {
        UnitKind::Clump | UnitKind::Division | UnitKind::PotTuber => days(since, on),
        UnitKind::StartedPlant | UnitKind::RootedCutting => 0,
    };
    let of = |seen: &SeenUnits| SeenGroup { count: seen.count.get(), days: at_risk(seen.on) };
    seen.iter().map(of).collect()
}

fn kind_outlook(book: &Book, asked: &Asked, variety: VarietyId, unit: UnitKind) -> KindOutlook {
    let plan = book.plans.get(&(variety, unit));
    let on = plan.map_or(asked.day_without_plan, |plan| plan.planting);
    let lots: Vec<&Lot> = book
        .lots
        .values()
        .filter(|lot| lot.variety == variety && lot.unit == unit && !lot.in_store.is_zero())
        .collect();
    let promised_of =
        |lot: &Lot| asked.promised.get(&lot.id).copied().unwrap_or_default().min(lot.in_store);
    let is_stopped = |lot: &Lot| matches!(lot.condition, LotCondition::Stopped(_));
    let free: Vec<&Lot> = lots.iter().filter(|lot| !is_stopped(lot)).copied().collect();
    let ids: Vec<LotId> = free.iter().map(|lot| lot.id).collect();
    let free: Vec<LotInStore> = free
        .iter()
        .map(|lot| LotInStore {
            groups: groups(&lot.last_seen_without(promised_of(lot)), unit, on),
            hazard: asked.beliefs.lot(lot.id).hazard,
        })
        .collect();
    let store = Free {
        lots: free,
        shared_sd: asked.beliefs.shared_sd(&ids),
        grounds: asked.beliefs.grounds(&ids),
        emergence: asked.beliefs.emergence(book, variety).rate,
    };
    let free = store.lots.len();
    let terms = plan.map(|plan| terms(plan, asked.settings));
    let reckoned = reckon(store, on, terms);
    let coming = book
        .coming
        .values()
        .filter(|coming| coming.variety == variety && coming.unit == unit)
        .map(|coming| coming.count)
        .sum();
    let mut kind = KindOutlook {
        variety,
        unit,
        on,
        in_store: lots.iter().map(|lot| lot.in_store).sum(),
        promised: lots.iter().filter(|lot| !is_stopped(lot)).map(|lot| promised_of(lot)).sum(),
        stopped: lots.iter().filter(|lot| is_stopped(lot)).map(|lot| lot.in_store).sum(),
        coming,
        reckoned,
        lots: lots.iter().map(|lot| lot_outlook(lot, promised_of(lot), on, asked)).collect(),
        sentence: String::new(),
    };
    kind.sentence = sentence(&kind, u32::try_from(free).unwrap_or(u32::MAX));
    kind
}

/// The farm's rules and what its plan says instead.
fn terms(plan: &Plan, settings: &Settings) -> PlanTerms {
    let level = plan.service_level.and_then(|level| ServiceLevel::new(level).ok());
    let level = level.unwrap_or(settings.service_level);
    let rule = PlanTerms::by_rule(plan.plants_wanted.get(), level, settings.keep_back);
    match plan.keep_back {
        Some(units) => PlanTerms { keep_back: u64::from(units.get()), ..rule },
        None => rule,
    }
}

/// Lots that are neither promised nor stopped, and what is believed of them.
struct Free {
    /// With each lot's whole spread.
    lots: Vec<LotInStore>,
    /// What they have in common of it.
    shared_sd: f64,
    grounds: Grounds,
    emergence: EmergenceRate,
}

/// Leaves each lot its own part of its spread; the shared one comes on top.
fn own_parts(lots: Vec<LotInStore>, shared_sd: f64) -> Vec<LotInStore> {
    let own = |lot: LotInStore| {
        let sd = (lot.hazard.sd().powi(2) - shared_sd.powi(2)).max(0.0).sqrt();
        // A smaller sd than one that was in range is in range.
        let hazard = LogHazard::new(lot.hazard.mean(), sd).unwrap_or(lot.hazard);
        LotInStore { hazard, ..lot }
    };
    lots.into_iter().map(own).collect()
}

fn reckon(free: Free, on: Day, terms: Option<PlanTerms>) -> Result<Reckoned, ForecastError> {
    let Free { lots, shared_sd, grounds, emergence } = free;
    let lots = own_parts(lots, shared_sd);
    let left = survivors_of_all(&lots, shared_sd)?;
    let units: u32 = lots.iter().flat_map(|lot| &lot.groups).map(|group| group.count).sum();
    let stock = StockOutlook {
        in_store: Count::new(i64::from(units)).unwrap_or_default(),
        on,
        expected: left.mean,
        low: left.p10,
        high: left.p90,
        grounds,
    };
    let answer: Option<(PlanTerms, Spare)> = match terms {
        Some(terms) => Some((terms, spare(&SpareQuestion { lots, shared_sd, emergence, terms })?)),
        None => None,
    };
    Ok(Reckoned {
        stock,
        middle: left.p50,
        plan: answer.map_or(PlanOutlook::NoPlan, |(terms, answer)| {
            PlanOutlook::Planned(terms, answer.into())
        }),
        plants: answer.map(|(_, answer)| Plants {
            expected: answer.expected_plants,
            chance_met: answer.chance_met,
        }),
    })
}

/// One lot, forecast for the day `on`; what an offer shows beside its history.
pub fn lot_outlook(lot: &Lot, promised: Count, on: Day, asked: &Asked) -> LotOutlook {
    let belief = asked.beliefs.lot(lot.id);
    let left = survivors_under(&groups(&lot.last_seen, lot.unit, on), belief.hazard);
    let sentence = match &left {
        Ok(left) => lot_sentence(&StockOutlook {
            in_store: lot.in_store,
            on,
            expected: left.mean,
            low: left.p10,
            high: left.p90,
            grounds: belief.grounds,
        }),
        Err(error) => format!("{} in store; {error}.", lot.in_store),
    };
    LotOutlook {
        lot: lot.id,
        in_store: lot.in_store,
        promised,
        condition: lot.condition,
        belief,
        survivors: left,
        look: look_due(lot, asked.today, asked.settings),
        sentence,
    }
}

fn sentence(kind: &KindOutlook, lots: u32) -> String {
    let first = match &kind.reckoned {
        Ok(reckoned) if reckoned.stock.in_store.is_zero() && !kind.in_store.is_zero() => {
            format!("None free of {} in store; {}.", kind.in_store, plan_words(reckoned.plan))
        }
        Ok(Reckoned { stock, plan, .. }) => {
            variety_sentence(&VarietyOutlook { stock: *stock, lots, plan: *plan })
        }
        Err(error) => format!("{} in store; {error}.", kind.in_store),
    };
    let besides = [
        (kind.promised, "promised to others and not counted here"),
        (kind.stopped, "stopped for suspicious growth and never spare"),
        (kind.coming, "coming and not counted here"),
    ];
    let besides = besides.into_iter().filter(|(count, _)| !count.is_zero()).map(|(count, what)| {
        let are = if count.get() == 1 { "is" } else { "are" };
        format!("{count} {are} {what}.")
    });
    std::iter::once(first).chain(besides).collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
#[path = "outlook_tests.rs"]
mod tests;
