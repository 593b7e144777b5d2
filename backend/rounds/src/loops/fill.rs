//! Refilling: with what is left, put in the loop that gains most, again and again.
//!
//! Tables are kept from one refill to the next and renewed only where an offer or a want changed.
//! While a refill goes on, what is left only shrinks, so that a loop's gain can only fall: a loop whose
//! tables changed since it was weighed is weighed again when its turn comes.

use std::cmp::Ordering;
use std::collections::{BinaryHeap, HashSet};

use spareloop_domain::dice::Dice;

use super::contents::{Desk, Gain, NONE, best_place, best_sum, greatest, windowed, windowed_alone};
use super::journal::{Journal, Table};
use super::pool::Pool;
use super::standing::{Held, Key, Standing, arcs_of};
use super::within;
use crate::duals::Duals;
use crate::instance::Instance;

/// From 0 to 2, the same for the same luck and number.
fn lucky(luck: u64, number: u32, side: u64) -> f64 {
    Dice::new(luck ^ (u64::from(number) << 2 | side)).share() * 2.0
}

/// A loop whose turn may come.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Candidate {
    score: Gain,
    noise: Gain,
    key: Key,
    weighed: u64,
}

impl Eq for Candidate {}

impl Ord for Candidate {
    fn cmp(&self, other: &Self) -> Ordering {
        self.score.total_cmp(&other.score).then_with(|| other.key.cmp(&self.key))
    }
}

impl PartialOrd for Candidate {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

/// A standing choice of loops, and tables of what could still be passed on.
pub(crate) struct Filler<'a> {
    pub(crate) of: &'a Instance,
    pub(crate) pool: &'a Pool,
    pub(crate) standing: Standing,
    /// What a unit of each move counts for in the search.
    pub(crate) gains: Vec<Gain>,
    /// Prices by which units can be made dearer in a trial.
    pub(crate) prices: Duals,
    /// Farms whose loops may be touched; none: all.
    pub(crate) region: Option<Vec<bool>>,
    tables: Vec<Table>,
    fresh: Vec<bool>,
    changed: Vec<u64>,
    time: u64,
    touched: Vec<u32>,
    is_touched: Vec<bool>,
    journal: Journal,
    desk: Desk,
    spare: Vec<Gain>,
    heap: BinaryHeap<Candidate>,
    /// When each loop of the pool was weighed last.
    weighed: Vec<u32>,
    turn: u32,
    /// Choices of loops whose counts were set anew before.
    pub(super) recounted: HashSet<Vec<Key>>,
}

impl<'a> Filler<'a> {
    pub(crate) fn new(of: &'a Instance, pool: &'a Pool, standing: Standing) -> Self {
        Self {
            of,
            pool,
            standing,
            gains: of.moves.iter().map(|kind| kind.worth as Gain).collect(),
            prices: Duals::none(of),
            region: None,
            tables: vec![Table::default(); of.arcs.len()],
            fresh: vec![false; of.arcs.len()],
            changed: vec![0; of.arcs.len()],
            time: 1,
            touched: Vec::new(),
            is_touched: vec![false; of.arcs.len()],
            journal: Journal::new(of.arcs.len()),
            desk: Desk::default(),
            spare: Vec::new(),
            heap: BinaryHeap::new(),
            weighed: vec![0; pool.loops.len()],
            turn: 0,
            recounted: HashSet::new(),
        }
    }

    /// Takes up another standing choice; tables are renewed where the two differ.
    pub(crate) fn follow(&mut self, to: &Standing) {
        self.journal.begin();
        let mut place = 0;
        while let Some(it) = self.standing.held.get(place) {
            let there = to.place_of(self.of, &it.key).is_some_and(|at| to.held[at] == *it);
            if there {
                place += 1;
            } else {
                // The last one takes its place.
                self.remove(place);
            }
        }
        for it in &to.held {
            if !self.standing.holds(&it.key) {
                self.add(it.clone());
            }
        }
        self.forget_touched();
    }

    pub(crate) fn touch_all(&mut self) {
        for arc in 0..self.of.arcs.len() as u32 {
            self.touch(arc);
        }
    }

    fn touch(&mut self, arc: u32) {
        if !self.is_touched[arc as usize] {
            self.is_touched[arc as usize] = true;
            self.touched.push(arc);
        }
    }

    /// Tables of all arcs that share an offer or a want with `moves` are to be renewed.
    fn spoil(&mut self, moves: &[(u32, i32)]) {
        self.time += 1;
        for &(number, _) in moves {
            let kind = self.of.moves[number as usize];
            let of = self.of;
            for &arc in
                of.offer_arcs[kind.offer as usize].iter().chain(&of.want_arcs[kind.want as usize])
            {
                self.stale(arc);
            }
        }
    }

    fn stale(&mut self, arc: u32) {
        self.journal.note(arc, self.fresh[arc as usize]);
        self.fresh[arc as usize] = false;
        self.changed[arc as usize] = self.time;
    }

    /// Begins a trial that may be taken back.
    pub(crate) fn begin(&mut self) {
        self.journal.begin();
    }

    /// Takes back all since the trial began: out with the loops of `put_in`, in with `removed`. Tables stand
    /// as they stood then.
    pub(crate) fn take_back(&mut self, put_in: &[Key], removed: impl Iterator<Item = Held>) {
        for key in put_in {
            if let Some(place) = self.standing.place_of(self.of, key) {
                self.standing.remove(self.of, place);
            }
        }
        for it in removed {
            self.standing.add(self.of, it);
        }
        self.time += 1;
        for (arc, was_fresh) in self.journal.restore(&mut self.tables) {
            self.fresh[arc as usize] = was_fresh;
            self.changed[arc as usize] = self.time;
        }
        self.forget_touched();
    }

    pub(crate) fn remove(&mut self, place: usize) -> Held {
        let it = self.standing.remove(self.of, place);
        self.spoil(&it.moves);
        for &(number, _) in &it.moves {
            let kind = self.of.moves[number as usize];
            let of = self.of;
            for &arc in
                of.offer_arcs[kind.offer as usize].iter().chain(&of.want_arcs[kind.want as usize])
            {
                self.touch(arc);
            }
        }
        it
    }

    pub(crate) fn add(&mut self, it: Held) {
        self.spoil(&it.moves);
        self.standing.add(self.of, it);
    }

    /// Forgets what was freed, for instance because it was put back.
    pub(crate) fn forget_touched(&mut self) {
        for arc in self.touched.drain(..) {
            self.is_touched[arc as usize] = false;
        }
    }

    fn renew(&mut self, arc: u32) {
        if self.fresh[arc as usize] {
            return;
        }
        self.journal.keep(arc, &mut self.tables[arc as usize]);
        self.fresh[arc as usize] = true;
        let table = &mut self.tables[arc as usize];
        if let Some(alone) = self.of.alone(arc) {
            let kind = self.of.moves[alone as usize];
            let most = self.standing.left.most(kind);
            let gain = self.gains[alone as usize];
            windowed_alone(kind, most, gain, self.of.tolerance, &mut table.window);
        } else {
            let exact = self.desk.exact(self.of, arc, &self.standing.left, &self.gains);
            windowed(exact, self.of.tolerance, &mut table.window, &mut self.spare);
        }
        table.best = greatest(&table.window);
    }

    /// The arc's best gain; `NONE` if nothing can be passed or its farms are out of bounds.
    fn best(&mut self, arc: u32) -> Gain {
        if let Some(region) = &self.region {
            let it = &self.of.arcs[arc as usize];
            if !region[it.from as usize] || !region[it.to as usize] {
                return NONE;
            }
        }
        self.renew(arc);
        self.tables[arc as usize].best
    }

    /// Puts in loops through touched arcs, best first, until none gains; says what was put in.
    pub(crate) fn fill(&mut self, dice: &mut Dice, noise: f64, put_in: &mut Vec<Key>) {
        self.weigh_touched(dice, noise);
        while let Some(top) = self.heap.pop() {
            if self.standing.holds(&top.key) {
                continue;
            }
            let arcs = arcs_of(&top.key);
            if arcs.iter().any(|&arc| self.changed[arc as usize] > top.weighed) {
                self.weigh(top.key, top.noise);
                continue;
            }
            let rival = self.heap.peek().map_or(0.0, |next| next.score);
            if let Some(it) = self.realise(&top.key, top.noise, rival) {
                put_in.push(it.key);
                self.add(it);
            }
        }
    }

    /// Lets units of the touched arcs cost a share of their price, each offer and want by its own luck.
    pub(crate) fn tempt(&mut self, share: f64, dice: &mut Dice) {
        let of = self.of;
        let luck = dice.roll();
        for &arc in &self.touched {
            for &number in of.arcs[arc as usize].groups.iter().flatten() {
                let kind = of.moves[number as usize];
                let offer = self.prices.offers[kind.offer as usize] * lucky(luck, kind.offer, 1);
                let want = self.prices.wants[kind.want as usize] * lucky(luck, kind.want, 2);
                self.gains[number as usize] = (kind.worth as f64 - share * (offer + want)) as Gain;
            }
        }
    }

    /// Takes prices off again.
    pub(crate) fn sober(&mut self) {
        let of = self.of;
        self.time += 1;
        for at in 0..self.touched.len() {
            let arc = self.touched[at];
            for &number in of.arcs[arc as usize].groups.iter().flatten() {
                self.gains[number as usize] = of.moves[number as usize].worth as Gain;
            }
            self.stale(arc);
        }
    }

    /// Every loop of the pool through a touched arc all of whose arcs can pass something.
    fn weigh_touched(&mut self, dice: &mut Dice, noise: f64) {
        self.heap.clear();
        self.turn += 1;
        let (pool, cost) = (self.pool, self.of.parcel_cost);
        for at in 0..self.touched.len() {
            let arc = self.touched[at];
            if self.best(arc) == NONE {
                continue;
            }
            for &place in &pool.by_arc[arc as usize] {
                if std::mem::replace(&mut self.weighed[place as usize], self.turn) == self.turn {
                    continue;
                }
                let key = pool.loops[place as usize].0;
                let arcs = arcs_of(&key);
                let mut most = -(cost * arcs.len() as i64) as Gain;
                for &arc in arcs {
                    most += self.best(arc);
                }
                if most > 0.0 {
                    let noise = 1.0 + noise * (dice.share() - 0.5);
                    self.weigh(key, noise as Gain);
                }
            }
        }
    }

    fn weigh(&mut self, key: Key, noise: Gain) {
        for &arc in arcs_of(&key) {
            if self.best(arc) == NONE {
                return;
            }
        }
        let score = self.gain(&key) * noise;
        if score > 0.0 {
            self.heap.push(Candidate { score, noise, key, weighed: self.time });
        }
    }

    /// The best gain of a loop after parcel costs, farms' limits apart; its tables are fresh.
    fn gain(&self, key: &Key) -> Gain {
        let arcs = arcs_of(key);
        let cost = (self.of.parcel_cost * arcs.len() as i64) as Gain;
        let table = |at: usize| &self.tables[arcs[at] as usize].window[..];
        let sum = match arcs.len() {
            2 => best_sum(&[table(0), table(1)]),
            3 => best_sum(&[table(0), table(1), table(2)]),
            _ => best_sum(&[table(0), table(1), table(2), table(3)]),
        };
        sum - cost
    }

    /// The loop with contents that keep every farm within its limit; put back to wait where those are
    /// worth less than the next one's.
    fn realise(&mut self, key: &Key, noise: Gain, rival: Gain) -> Option<Held> {
        let arcs = arcs_of(key);
        let windows: Vec<&[Gain]> =
            arcs.iter().map(|&arc| &self.tables[arc as usize].window[..]).collect();
        let (from, _) = best_place(&windows);
        let mut exact = Vec::with_capacity(arcs.len());
        for &arc in arcs {
            exact.push(self.desk.exact(self.of, arc, &self.standing.left, &self.gains).to_vec());
        }
        let mut values: Vec<usize> = exact
            .iter()
            .map(|table| {
                let until = (from + self.of.tolerance + 1).min(table.len());
                let at = (from.max(1)..until)
                    .max_by(|&a, &b| table[a].total_cmp(&table[b]).then(b.cmp(&a)));
                at.unwrap_or(0)
            })
            .collect();
        if !self.within_limits(arcs, &values) {
            let (gain, even) = within::best(self, arcs, &exact)?;
            values = even;
            let score = (gain - (self.of.parcel_cost * arcs.len() as i64) as Gain) * noise;
            if score <= 0.0 {
                return None;
            }
            // Once in place it is taken: the limits can't be weighed in the tables.
            if score < rival * 0.8 {
                return None;
            }
        }
        let mut moves = Vec::new();
        for (&arc, &value) in arcs.iter().zip(&values) {
            self.desk.exact(self.of, arc, &self.standing.left, &self.gains);
            moves.extend(self.desk.moves(self.of, arc, &self.standing.left, &self.gains, value));
        }
        Some(Held::new(self.of, arcs, moves))
    }

    /// Puts in one loop with the best contents that are left for it, if it gains then.
    pub(crate) fn put(&mut self, key: &Key) -> Option<Key> {
        if arcs_of(key).iter().any(|&arc| self.best(arc) == NONE) || self.gain(key) <= 0.0 {
            return None;
        }
        let it = self.realise(key, 1.0, 0.0)?;
        self.add(it);
        Some(*key)
    }

    pub(super) fn room(&self, arc: u32) -> (i64, i64) {
        let farm = self.of.arcs[arc as usize].from as usize;
        let (least, most) = self.of.room[farm];
        (least - self.standing.net[farm], most - self.standing.net[farm])
    }

    pub(super) fn within_limits(&self, arcs: &[u32], values: &[usize]) -> bool {
        (0..arcs.len()).all(|at| {
            let before = values[(at + arcs.len() - 1) % arcs.len()];
            let (least, most) = self.room(arcs[at]);
            (least..=most).contains(&(values[at] as i64 - before as i64))
        })
    }
}
