//! The search: free a few neighbouring loops, refill, keep what is better; now and then what is a
//! little worse.
//!
//! All by seed and by counts of trials, so that the same input gives the same answer. What may not
//! enter: the clock, but for the question whether to stop.

use spareloop_domain::dice::Dice;

use super::fill::Filler;
use super::standing::{Held, Key, arcs_of};
use crate::watch::Watch;

/// How a stretch of search goes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Stretch {
    pub(crate) trials: u64,
    /// Worse by about this much is taken.
    pub(crate) warmth: f64,
    /// Most loops freed at a time.
    pub(crate) most_freed: u32,
    /// Per cent of trials in which units are made dearer by a share of their price.
    pub(crate) tempted: u32,
}

/// Searches from where the filler stands to where it stands afterwards; the best that it met on the
/// way, if that is better than both.
pub(crate) fn search(
    filler: &mut Filler<'_>,
    stretch: Stretch,
    dice: &mut Dice,
    watch: &Watch<'_>,
) -> Option<Vec<Held>> {
    let mut trial = Trial::default();
    let mut best: Option<Vec<Held>> = None;
    let mut best_gain = filler.standing.gain;
    for turn in 0..stretch.trials {
        if turn % 32 == 0 && watch.over() {
            break;
        }
        let before = filler.standing.gain;
        trial.make(filler, stretch, dice);
        let lost = before - filler.standing.gain;
        let even = trial.removed.iter().all(|it| filler.standing.within_limits(filler.of, it));
        let kept =
            even && (lost <= 0 || (lost as f64) < -stretch.warmth * (1.0 - dice.share()).ln());
        if !kept {
            trial.take_back(filler);
            continue;
        }
        if before > best_gain && filler.standing.gain < before {
            // About to leave the best so far: it is noted as it was.
            let mut held = filler.standing.held.clone();
            held.retain(|it| !trial.put_in.contains(&it.key));
            held.extend(trial.removed.iter().cloned());
            (best, best_gain) = (Some(held), before);
        }
    }
    best.filter(|_| best_gain > filler.standing.gain)
}

#[derive(Default)]
struct Trial {
    removed: Vec<Held>,
    put_in: Vec<Key>,
}

impl Trial {
    fn make(&mut self, filler: &mut Filler<'_>, stretch: Stretch, dice: &mut Dice) {
        self.removed.clear();
        self.put_in.clear();
        filler.begin();
        let noise = f64::from([0, 0, 10, 30, 60][dice.below(5) as usize]) / 100.0;
        let freed = 1 + dice.below(stretch.most_freed).min(dice.below(stretch.most_freed));
        if dice.happens(35) {
            self.force(filler, dice);
            let more = dice.below(3);
            self.free_neighbours(filler, dice, more);
        } else {
            self.free_one(filler, dice);
            self.free_neighbours(filler, dice, freed - 1);
        }
        if dice.happens(stretch.tempted) {
            filler.tempt(dice.share(), dice);
            filler.fill(dice, noise, &mut self.put_in);
            filler.sober();
            self.again(filler);
        }
        filler.fill(dice, noise, &mut self.put_in);
        filler.forget_touched();
    }

    /// Every loop that was put in gets the best contents that are left for it.
    fn again(&mut self, filler: &mut Filler<'_>) {
        for key in std::mem::take(&mut self.put_in) {
            let Some(place) = filler.standing.place_of(filler.of, &key) else { continue };
            let before = filler.remove(place);
            if filler.put(&key).is_none() {
                filler.add(before);
            }
            self.put_in.push(key);
        }
    }

    fn inside(filler: &Filler<'_>, key: &Key) -> bool {
        let inside = |region: &Vec<bool>| {
            arcs_of(key).iter().all(|&arc| region[filler.of.arcs[arc as usize].from as usize])
        };
        filler.region.as_ref().is_none_or(inside)
    }

    fn free_one(&mut self, filler: &mut Filler<'_>, dice: &mut Dice) {
        for _ in 0..20 {
            let place = dice.below(filler.standing.held.len() as u32) as usize;
            let Some(it) = filler.standing.held.get(place) else { return };
            if !self.put_in.contains(&it.key) && Self::inside(filler, &it.key) {
                self.removed.push(filler.remove(place));
                return;
            }
        }
    }

    /// Frees loops that share farms with those freed or forced before.
    fn free_neighbours(&mut self, filler: &mut Filler<'_>, dice: &mut Dice, more: u32) {
        for _ in 0..more {
            let keys: Vec<Key> =
                self.removed.iter().map(|it| it.key).chain(self.put_in.iter().copied()).collect();
            let Some(arc) = dice.pick(&keys).and_then(|key| dice.pick(arcs_of(key)).copied())
            else {
                return;
            };
            let farm = filler.of.arcs[arc as usize].from;
            let Some(&place) = dice.pick(filler.standing.at_farm(farm)) else { continue };
            let key = filler.standing.held[place as usize].key;
            if !self.put_in.contains(&key) && Self::inside(filler, &key) {
                self.removed.push(filler.remove(place as usize));
            }
        }
    }

    /// Frees all that stands in the way of some loop that isn't held, and puts that in first.
    fn force(&mut self, filler: &mut Filler<'_>, dice: &mut Dice) {
        let of = filler.of;
        let Some(key) = some_loop(filler, dice) else { return self.free_one(filler, dice) };
        if filler.standing.holds(&key) {
            return self.free_one(filler, dice);
        }
        let arcs = arcs_of(&key);
        let touches = |it: &Held| {
            it.moves.iter().any(|&(number, _)| {
                let kind = of.moves[number as usize];
                let of_arc = |arcs: &[u32]| arcs.iter().any(|arc| key.contains(arc));
                of_arc(&of.offer_arcs[kind.offer as usize])
                    || of_arc(&of.want_arcs[kind.want as usize])
            })
        };
        for &arc in arcs {
            let farm = of.arcs[arc as usize].from;
            let mut places: Vec<Key> = filler
                .standing
                .at_farm(farm)
                .iter()
                .map(|&place| filler.standing.held[place as usize].key)
                .collect();
            places.sort_unstable();
            for in_the_way in places {
                let Some(place) = filler.standing.place_of(of, &in_the_way) else { continue };
                if Self::inside(filler, &in_the_way)
                    && touches(&filler.standing.held[place])
                    && (self.removed.len() < 3 || dice.happens(40))
                {
                    self.removed.push(filler.remove(place));
                }
            }
        }
        if let Some(it) = filler.put(&key) {
            self.put_in.push(it);
        }
    }

    fn take_back(&mut self, filler: &mut Filler<'_>) {
        filler.take_back(&self.put_in, self.removed.drain(..));
        self.put_in.clear();
    }
}

/// Some loop of the pool within the region, better ones more often.
fn some_loop(filler: &Filler<'_>, dice: &mut Dice) -> Option<Key> {
    let loops = &filler.pool.loops;
    for _ in 0..6 {
        let most = loops.len() as u32;
        let (key, _) = *loops.get(dice.below(most).min(dice.below(most)) as usize)?;
        if Trial::inside(filler, &key) {
            return Some(key);
        }
    }
    None
}
