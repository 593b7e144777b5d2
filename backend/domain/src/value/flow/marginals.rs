//! What one unit more or less of each variety would change, for all of them by two searches.
//!
//! In what the best allocation leaves open (its residual graph), the best way for one more unit of
//! v ends where a unit stays free, and the best way to do without one begins there. By prices all
//! lengths are ≥ 0, so one search from all free ends backwards, and one forwards, give every way
//! at once (Ahuja, Magnanti and Orlin 1993, section 9.7, for the prices; from memory).

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use super::Flow;

/// What one unit of a variety changes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::value) struct Marginal {
    /// What one unit more would gain.
    pub(in crate::value) more: i64,
    /// What one unit less would lose; none where there is none to lose.
    pub(in crate::value) less: Option<i64>,
}

const FAR: i64 = i64::MAX;

/// Distances of all nodes, found nearest first.
struct Field {
    varieties: Vec<i64>,
    wants: Vec<i64>,
    heap: BinaryHeap<Reverse<(i64, Node)>>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Node {
    Variety(u32),
    Want(u32),
}

impl Field {
    fn new(flow: &Flow) -> Self {
        Self {
            varieties: vec![FAR; flow.varieties.number()],
            wants: vec![FAR; flow.wants.number()],
            heap: BinaryHeap::new(),
        }
    }

    fn distance(&mut self, node: Node) -> &mut i64 {
        match node {
            Node::Variety(at) => &mut self.varieties[at as usize],
            Node::Want(at) => &mut self.wants[at as usize],
        }
    }

    fn offer(&mut self, node: Node, distance: i64) {
        if distance < *self.distance(node) {
            *self.distance(node) = distance;
            self.heap.push(Reverse((distance, node)));
        }
    }

    fn next(&mut self) -> Option<(Node, i64)> {
        while let Some(Reverse((distance, node))) = self.heap.pop() {
            if distance == *self.distance(node) {
                return Some((node, distance));
            }
        }
        None
    }
}

impl Flow {
    /// For every variety, in their order. The flow must be settled.
    pub(in crate::value) fn marginals(&self) -> Vec<Marginal> {
        let (way_out, way_in) = (self.way_out(), self.way_in());
        let of = |at: usize| {
            let price = self.varieties.price[at];
            let less = (self.varieties.count[at] > 0).then(|| price + way_in[at]);
            Marginal { more: price - way_out[at], less }
        };
        (0..self.varieties.number()).map(of).collect()
    }

    /// How much dearer than its price each variety's way to an end is: a unit stays free, or a
    /// want takes one more.
    fn way_out(&self) -> Vec<i64> {
        let mut field = Field::new(self);
        for (at, price) in (0_u32..).zip(&self.varieties.price) {
            field.offer(Node::Variety(at), *price);
        }
        for (at, free) in (0_u32..).zip(&self.wants.free) {
            if *free > 0 {
                field.offer(Node::Want(at), 0);
            }
        }
        while let Some((node, distance)) = field.next() {
            match node {
                Node::Variety(at) => {
                    for pair in self.varieties.of(at) {
                        if self.moved[pair.at as usize] > 0 {
                            field.offer(Node::Want(pair.to), distance);
                        }
                    }
                }
                Node::Want(at) => {
                    for pair in self.wants.of(at) {
                        let slack = self.slack(pair.to, at, pair.gain);
                        field.offer(Node::Variety(pair.to), distance + slack);
                    }
                }
            }
        }
        field.varieties
    }

    /// How much dearer than its price each variety's way from an end is: a free unit takes its
    /// place, or a want goes without.
    fn way_in(&self) -> Vec<i64> {
        let mut field = Field::new(self);
        for (at, free) in (0_u32..).zip(&self.varieties.free) {
            if *free > 0 {
                field.offer(Node::Variety(at), 0);
            }
        }
        for at in (0_u32..).take(self.wants.number()) {
            if self.wants.free[at as usize] < self.wants.count[at as usize] {
                field.offer(Node::Want(at), self.wants.price[at as usize]);
            }
        }
        while let Some((node, distance)) = field.next() {
            match node {
                Node::Variety(at) => {
                    for pair in self.varieties.of(at) {
                        let slack = self.slack(at, pair.to, pair.gain);
                        field.offer(Node::Want(pair.to), distance + slack);
                    }
                }
                Node::Want(at) => {
                    for pair in self.wants.of(at) {
                        if self.moved[pair.at as usize] > 0 {
                            field.offer(Node::Variety(pair.to), distance);
                        }
                    }
                }
            }
        }
        field.varieties
    }

    fn slack(&self, variety: u32, want: u32, gain: i64) -> i64 {
        self.varieties.price[variety as usize] + self.wants.price[want as usize] - gain
    }
}
