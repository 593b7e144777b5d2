//! One step: the cheapest way to place some units of a node, or to let them stay free.
//!
//! From a node with free units a path goes over to the other side at the pair's *slack* (price +
//! price − gain ≥ 0) and back along moved units at none. It ends at a node of the other side with
//! free units, or at one of its own side that lets units go instead, at that one's price. The
//! prices of all that lies nearer than the end then move by the difference, which keeps both rules
//! and makes the path free of slack. Only what lies nearer is ever looked at.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use super::{Flow, Nodes, Side};

/// Marks of one search, kept between searches; a mark counts only if it bears the search's number.
#[derive(Debug, Clone)]
pub(super) struct Trail {
    search: u32,
    marks: [Vec<Mark>; 2],
    heap: BinaryHeap<Reverse<(i64, u32)>>,
    /// Nodes of the other side at the distance that is being looked at; ties are many.
    level: Vec<u32>,
    /// Nodes marked on the own side and on the other.
    reached: [Vec<u32>; 2],
}

#[derive(Debug, Clone, Copy, Default)]
struct Mark {
    search: u32,
    /// The pair by which it was reached, and the node at its other end.
    by: u32,
    from: u32,
    distance: i64,
}

/// Where a path ends.
#[derive(Debug, Clone, Copy)]
enum End {
    /// At a node of the other side that has free units.
    Placed(u32),
    /// At a node of the own side, which lets units go.
    LetGo(u32),
}

/// The two sides as a search sees them: the one that it began on, and the other.
struct Sides<'a> {
    own: &'a Nodes,
    other: &'a Nodes,
    moved: &'a [i64],
}

impl Trail {
    pub(super) fn new(varieties: usize, wants: usize) -> Self {
        // Either side may be the own one.
        let marks = || vec![Mark::default(); varieties.max(wants)];
        Self {
            search: 0,
            marks: [marks(), marks()],
            heap: BinaryHeap::new(),
            level: Vec::new(),
            reached: [Vec::new(), Vec::new()],
        }
    }

    fn begin(&mut self) {
        if self.search == u32::MAX {
            self.marks.iter_mut().flatten().for_each(|mark| mark.search = 0);
            self.search = 0;
        }
        self.search += 1;
        self.heap.clear();
        self.level.clear();
        self.reached.iter_mut().for_each(Vec::clear);
    }

    /// Finds the nearest end from `start`.
    fn search(&mut self, sides: &Sides<'_>, start: u32) -> (End, i64) {
        self.begin();
        let mut nearest = (End::LetGo(start), sides.own.price[start as usize]);
        self.mark_own(start, Mark { search: self.search, by: 0, from: 0, distance: 0 });
        self.go_over(sides, start, 0, &mut nearest);
        while let Some((distance, node)) = self.next() {
            if distance >= nearest.1 {
                break;
            }
            if distance == self.marks[1][node as usize].distance {
                self.come_back(sides, node, distance, &mut nearest);
            }
        }
        nearest
    }

    fn next(&mut self) -> Option<(i64, u32)> {
        if let Some(node) = self.level.pop() {
            return Some((self.marks[1][node as usize].distance, node));
        }
        self.heap.pop().map(|Reverse(next)| next)
    }

    fn mark_own(&mut self, node: u32, mark: Mark) {
        self.marks[0][node as usize] = mark;
        self.reached[0].push(node);
    }

    /// From a node of the own side to all of the other that may still matter.
    fn go_over(&mut self, sides: &Sides<'_>, node: u32, distance: i64, nearest: &mut (End, i64)) {
        let so_far = distance + sides.own.price[node as usize];
        for pair in sides.own.of(node) {
            let to = pair.to as usize;
            let there = so_far + sides.other.price[to] - pair.gain;
            let mark = &mut self.marks[1][to];
            if there >= nearest.1 || (mark.search == self.search && mark.distance <= there) {
                continue;
            }
            if mark.search != self.search {
                self.reached[1].push(pair.to);
            }
            *mark = Mark { search: self.search, by: pair.at, from: node, distance: there };
            if sides.other.free[to] > 0 {
                *nearest = (End::Placed(pair.to), there);
            } else if there == distance {
                self.level.push(pair.to);
            } else {
                self.heap.push(Reverse((there, pair.to)));
            }
        }
    }

    /// From a node of the other side back to those that moved units to it.
    fn come_back(&mut self, sides: &Sides<'_>, node: u32, distance: i64, nearest: &mut (End, i64)) {
        for pair in sides.other.of(node) {
            let to = pair.to as usize;
            if sides.moved[pair.at as usize] == 0 || self.marks[0][to].search == self.search {
                continue;
            }
            let mark = Mark { search: self.search, by: pair.at, from: node, distance };
            self.mark_own(pair.to, mark);
            let let_go = distance + sides.own.price[to];
            if let_go < nearest.1 {
                *nearest = (End::LetGo(pair.to), let_go);
            }
            self.go_over(sides, pair.to, distance, nearest);
        }
    }
}

impl Flow {
    /// Places some free units of a node, or finds that it is best to leave them free.
    pub(super) fn settle_some(&mut self, side: Side, start: u32) {
        let (own, other) = match side {
            Side::Varieties => (&mut self.varieties, &mut self.wants),
            Side::Wants => (&mut self.wants, &mut self.varieties),
        };
        let sides = Sides { own, other, moved: &self.moved };
        let (end, distance) = self.trail.search(&sides, start);
        let [own_marks, other_marks] = &self.trail.marks;
        for node in &self.trail.reached[0] {
            let nearer = distance - own_marks[*node as usize].distance;
            own.price[*node as usize] -= nearer.max(0);
        }
        for node in &self.trail.reached[1] {
            let nearer = distance - other_marks[*node as usize].distance;
            other.price[*node as usize] += nearer.max(0);
        }
        let path = Path { own_marks, other_marks, start };
        let units = path.room(own, other, &self.moved, end);
        own.free[start as usize] -= units;
        match end {
            End::Placed(node) => other.free[node as usize] -= units,
            End::LetGo(node) => own.free[node as usize] += units,
        }
        path.walk(end, |step| match step {
            Step::Over(pair) => self.moved[pair as usize] += units,
            Step::Back(pair) => self.moved[pair as usize] -= units,
        });
    }
}

/// The way back from the end to the start, by the marks.
struct Path<'a> {
    own_marks: &'a [Mark],
    other_marks: &'a [Mark],
    start: u32,
}

/// One pair of a path.
#[derive(Clone, Copy)]
enum Step {
    /// From the own side over to the other.
    Over(u32),
    /// Back along moved units.
    Back(u32),
}

impl Path<'_> {
    fn walk(&self, end: End, mut visit: impl FnMut(Step)) {
        let (mut own, mut over) = match end {
            End::LetGo(node) => (node, None),
            End::Placed(node) => (self.start, Some(node)),
        };
        loop {
            if let Some(node) = over {
                let mark = self.other_marks[node as usize];
                visit(Step::Over(mark.by));
                own = mark.from;
            }
            if own == self.start {
                return;
            }
            let mark = self.own_marks[own as usize];
            visit(Step::Back(mark.by));
            over = Some(mark.from);
        }
    }

    /// How many units the whole path has room for; all, if the start lets its own go.
    fn room(&self, own: &Nodes, other: &Nodes, moved: &[i64], end: End) -> i64 {
        let mut room = own.free[self.start as usize];
        if let End::Placed(node) = end {
            room = room.min(other.free[node as usize]);
        }
        self.walk(end, |step| {
            if let Step::Back(pair) = step {
                room = room.min(moved[pair as usize]);
            }
        });
        room
    }
}
