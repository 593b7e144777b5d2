//! The looks of a book's lots as the curves want them: days since a lot was stored, or began.
//!
//! Only looks over whole lots can be followed from one to the next; a lot with a look at a sample is
//! followed up to it. Units that left alive (sent, planted, divided) were last seen alive at the look
//! before.

use std::collections::BTreeMap;

use super::{
    Between, Ended, Ends, Followed, KaplanMeierStep, TurnbullMass, kaplan_meier, turnbull,
};
use crate::ledger::body::Scope;
use crate::ledger::book::{LookRecord, Lot};
use crate::words::LossCause;

/// How long is too long: a slip of the finger, and no winter.
const LONGEST_DAYS: u32 = 400;

/// What the looks at some lots show.
#[derive(Debug, Clone, Default)]
pub struct Watched {
    /// Lots that could be followed.
    pub lots: usize,
    /// Units at their first look, summed.
    pub units: u64,
    /// Of these, lost.
    pub lost: u64,
    /// Units by the days between which they were lost; no end for those alive at their last look.
    between: BTreeMap<(u32, Option<u32>), u64>,
}

impl Watched {
    /// Follows some lots.
    pub fn of<'a>(lots: impl IntoIterator<Item = &'a Lot>) -> Self {
        let mut watched = Self::default();
        for lot in lots {
            watched.follow(lot);
        }
        watched
    }

    fn follow(&mut self, lot: &Lot) {
        let stored = lot.stored.unwrap_or(lot.began);
        let age = |look: &LookRecord| {
            u32::try_from(look.on.days_since(stored)).ok().filter(|age| *age <= LONGEST_DAYS)
        };
        let mut looks: Vec<(u32, &LookRecord)> =
            lot.looks.iter().filter_map(|look| Some((age(look)?, look))).collect();
        looks.sort_by_key(|(age, _)| *age);
        let whole = |(_, look): &&(u32, &LookRecord)| look.scope == Scope::Whole;
        let looks: Vec<&(u32, &LookRecord)> = looks.iter().take_while(whole).collect();
        let Some(first) = looks.first() else { return };
        let mut alive = u64::from(first.1.inspected.get());
        let mut seen = 0;
        self.lots += 1;
        self.units += alive;
        for (age, look) in looks {
            let inspected = u64::from(look.inspected.get()).min(alive);
            self.add((seen, None), alive - inspected);
            let lost = decayed(look).min(inspected);
            self.add((seen, Some(*age)), lost);
            self.lost += lost;
            (alive, seen) = (inspected - lost, *age);
        }
        self.add((seen, None), alive);
    }

    fn add(&mut self, between: (u32, Option<u32>), units: u64) {
        if units > 0 {
            *self.between.entry(between).or_default() += units;
        }
    }

    /// The curve from losses that are known to lie between two looks.
    pub fn between_looks(&self) -> Vec<TurnbullMass> {
        let looks: Vec<Between> = self
            .between
            .iter()
            .map(|((from, until), units)| Between {
                from: f64::from(*from),
                until: until.map_or(f64::INFINITY, f64::from),
                units: *units as f64,
            })
            .collect();
        turnbull(&looks, Ends::OpenClosed)
    }

    /// The curve as if each loss had come on the day it was found.
    pub fn as_found(&self) -> Vec<KaplanMeierStep> {
        let units: Vec<Followed> = self
            .between
            .iter()
            .flat_map(|((from, until), units)| {
                let ended = if until.is_some() { Ended::Lost } else { Ended::Alive };
                let one = Followed { time: f64::from(until.unwrap_or(*from)), ended };
                std::iter::repeat_n(one, usize::try_from(*units).unwrap_or(usize::MAX))
            })
            .collect();
        kaplan_meier(&units)
    }

    /// The last day to which any unit was followed.
    pub fn until(&self) -> u32 {
        self.between.keys().map(|(from, until)| until.unwrap_or(*from)).max().unwrap_or(0)
    }
}

fn decayed(look: &LookRecord) -> u64 {
    let decay = look.lost.iter().filter(|lost| LossCause::is_decay(lost.cause));
    decay.map(|lost| u64::from(lost.count.get())).sum()
}
