//! Loops that were chosen, and what they leave: units, and how far each farm may still move.
//!
//! What may not enter: how a loop is chosen.

use std::collections::HashSet;

use super::contents::Left;
use crate::instance::Instance;

/// A loop's arcs, begun at the one that leaves its least farm; unused places are `u32::MAX`.
pub(crate) type Key = [u32; 4];

/// A loop with its contents.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Held {
    pub(crate) key: Key,
    /// Moves by number, with counts.
    pub(crate) moves: Vec<(u32, i32)>,
    /// Worth less parcel costs.
    pub(crate) gain: i64,
}

impl Held {
    pub(crate) fn new(of: &Instance, arcs: &[u32], moves: Vec<(u32, i32)>) -> Self {
        let worth: i64 =
            moves.iter().map(|&(it, count)| of.moves[it as usize].worth * i64::from(count)).sum();
        Self { key: key(of, arcs), moves, gain: worth - of.parcel_cost * arcs.len() as i64 }
    }

    pub(crate) fn arcs(&self) -> &[u32] {
        arcs_of(&self.key)
    }

    /// Whether every farm gives something, in parcels as large as it sends them, and all nearly alike.
    pub(crate) fn is_even(&self, of: &Instance) -> bool {
        let value = |arc: u32| -> i64 {
            let mine = self.moves.iter().filter(|it| of.move_arc[it.0 as usize] == arc);
            mine.map(|&(number, count)| {
                i64::from(of.moves[number as usize].value) * i64::from(count)
            })
            .sum()
        };
        let values = self.arcs().iter().map(|&arc| value(arc));
        let (least, most) =
            values.fold((i64::MAX, 0), |(least, most), it| (it.min(least), it.max(most)));
        let large =
            self.moves.iter().all(|&(number, count)| count >= of.moves[number as usize].least);
        large && least > 0 && most - least <= of.tolerance as i64
    }
}

pub(crate) fn arcs_of(key: &Key) -> &[u32] {
    let length = key.iter().position(|&arc| arc == u32::MAX).unwrap_or(key.len());
    &key[..length]
}

/// Begins at the arc that leaves the least farm.
pub(crate) fn key(of: &Instance, arcs: &[u32]) -> Key {
    let first = (0..arcs.len()).min_by_key(|&at| of.arcs[arcs[at] as usize].from).unwrap_or(0);
    let mut key = [u32::MAX; 4];
    for (at, place) in key.iter_mut().enumerate().take(arcs.len()) {
        *place = arcs[(first + at) % arcs.len()];
    }
    key
}

/// All chosen loops and what they leave.
#[derive(Debug, Clone)]
pub(crate) struct Standing {
    pub(crate) left: Left,
    /// Given − received, by farm.
    pub(crate) net: Vec<i64>,
    pub(crate) held: Vec<Held>,
    pub(crate) gain: i64,
    keys: HashSet<Key>,
    /// Places in `held`, by farm.
    by_farm: Vec<Vec<u32>>,
}

impl Standing {
    pub(crate) fn none(of: &Instance) -> Self {
        Self {
            left: Left::all(of),
            net: vec![0; of.room.len()],
            held: Vec::new(),
            gain: 0,
            keys: HashSet::new(),
            by_farm: vec![Vec::new(); of.room.len()],
        }
    }

    /// Loops that are known to fit together.
    pub(crate) fn of(of: &Instance, held: Vec<Held>) -> Self {
        let mut standing = Self::none(of);
        for it in held {
            standing.add(of, it);
        }
        standing
    }

    pub(crate) fn holds(&self, key: &Key) -> bool {
        self.keys.contains(key)
    }

    pub(crate) fn at_farm(&self, farm: u32) -> &[u32] {
        &self.by_farm[farm as usize]
    }

    /// Takes `it` up if all that it takes is left, its loop isn't held, its parcels are even and every
    /// farm stays within its room.
    pub(crate) fn try_add(&mut self, of: &Instance, it: Held) -> Result<(), Held> {
        if self.holds(&it.key) || !it.is_even(of) {
            return Err(it);
        }
        self.apply(of, &it.moves, 1);
        let in_stock = it.moves.iter().all(|&(number, _)| {
            let kind = of.moves[number as usize];
            self.left.offers[kind.offer as usize] >= 0 && self.left.wants[kind.want as usize] >= 0
        });
        let within = self.within_limits(of, &it);
        self.apply(of, &it.moves, -1);
        if !in_stock || !within {
            return Err(it);
        }
        self.add(of, it);
        Ok(())
    }

    /// Whether the farms of a loop stay within their room. A loop that is taken out can break that too, where
    /// it made good for another.
    pub(crate) fn within_limits(&self, of: &Instance, it: &Held) -> bool {
        it.arcs().iter().all(|&arc| {
            let farm = of.arcs[arc as usize].from as usize;
            let (least, most) = of.room[farm];
            (least..=most).contains(&self.net[farm])
        })
    }

    /// Whether all that is held keeps every rule together.
    pub(crate) fn is_sound(&self, of: &Instance) -> bool {
        let mut left = self.left.offers.iter().chain(&self.left.wants);
        let mut farms = self.net.iter().zip(&of.room);
        left.all(|&left| left >= 0)
            && farms.all(|(net, (least, most))| (least..=most).contains(&net))
            && self.held.iter().all(|it| it.is_even(of))
    }

    fn apply(&mut self, of: &Instance, moves: &[(u32, i32)], sign: i32) {
        for &(number, count) in moves {
            let kind = of.moves[number as usize];
            let arc = &of.arcs[of.move_arc[number as usize] as usize];
            self.left.offers[kind.offer as usize] -= sign * count;
            self.left.wants[kind.want as usize] -= sign * count;
            let value = i64::from(sign) * i64::from(count) * i64::from(kind.value);
            self.net[arc.from as usize] += value;
            self.net[arc.to as usize] -= value;
        }
    }

    pub(crate) fn add(&mut self, of: &Instance, it: Held) {
        self.apply(of, &it.moves, 1);
        self.gain += it.gain;
        self.keys.insert(it.key);
        let place = self.held.len() as u32;
        for &arc in it.arcs() {
            self.by_farm[of.arcs[arc as usize].from as usize].push(place);
        }
        self.held.push(it);
    }

    /// Takes out the loop at `place`; the last one moves there.
    pub(crate) fn remove(&mut self, of: &Instance, place: usize) -> Held {
        let last = self.held.len() - 1;
        self.rename(of, place, None);
        if place != last {
            self.rename(of, last, Some(place as u32));
        }
        let it = self.held.swap_remove(place);
        self.apply(of, &it.moves, -1);
        self.gain -= it.gain;
        self.keys.remove(&it.key);
        it
    }

    fn rename(&mut self, of: &Instance, place: usize, to: Option<u32>) {
        let key = self.held[place].key;
        for &arc in arcs_of(&key) {
            let places = &mut self.by_farm[of.arcs[arc as usize].from as usize];
            let Some(at) = places.iter().position(|&it| it as usize == place) else { continue };
            match to {
                Some(new) => places[at] = new,
                None => {
                    places.swap_remove(at);
                }
            }
        }
    }

    pub(crate) fn place_of(&self, of: &Instance, key: &Key) -> Option<usize> {
        let farm = of.arcs[key[0] as usize].from;
        let places = self.at_farm(farm).iter().map(|&place| place as usize);
        places.into_iter().find(|&place| self.held[place].key == *key)
    }
}
