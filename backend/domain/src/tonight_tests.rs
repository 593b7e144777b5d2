#![allow(clippy::unwrap_used)]

use super::*;
use crate::forecast::FIRST_SEASON;
use crate::ledger::body::{Scope, Store};
use crate::ledger::example::{Farm, day, look, n};
use crate::words::Packing;

struct Cellar {
    farm: Farm,
    lots: Vec<LotId>,
    promised: BTreeMap<LotId, Count>,
}

impl Cellar {
    /// Lots of so many divisions each, one a tote, begun on 1 November.
    fn of(counts: &[u16]) -> Self {
        let mut farm = Farm::new(1);
        let lots: Vec<LotId> = counts
            .iter()
            .map(|count| farm.opening("2025-11-01", UnitKind::Division, *count))
            .collect();
        for (tote, lot) in lots.iter().enumerate() {
            let place = format!("cellar / tote {}", 12 - tote).parse().unwrap();
            farm.note("2025-11-01", Store { lot: *lot, packing: Packing::Peat, place });
        }
        Self { farm, lots, promised: BTreeMap::new() }
    }

    /// The list of 20 January: lots with their ranks, in walking order, and what is said of each.
    fn list(&self, which: Which, limit: Option<usize>) -> Vec<(usize, u32, String)> {
        let book = self.farm.book();
        let belief = Belief::until(FIRST_SEASON, day("2026-05-10"));
        let beliefs = self.lots.iter().map(|lot| (*lot, belief)).collect();
        let evening = Evening {
            today: day("2026-01-20"),
            settings: &Settings::default(),
            aim: Aim::new(0.05, 0.95, 1.0).unwrap(),
            which,
            promised: &self.promised,
            beliefs: &beliefs,
        };
        tonight(&book, &evening, limit)
            .iter()
            .map(|entry| {
                let at = self.lots.iter().position(|lot| *lot == entry.lot.id).unwrap();
                (at, entry.rank, format!("{}. Why: {}", entry.how_many_in_words(), entry.why()))
            })
            .collect()
    }
}

fn order(list: &[(usize, u32, String)]) -> Vec<(usize, u32)> {
    list.iter().map(|(lot, rank, _)| (*lot, *rank)).collect()
}

#[test]
fn the_larger_lot_tells_more_and_the_list_is_walked_tote_by_tote() {
    let cellar = Cellar::of(&[10, 80, 30]);
    // Totes 12, 11, 10 stand in the order 10, 11, 12.
    assert_eq!(order(&cellar.list(Which::Due, None)), [(2, 2), (1, 1), (0, 3)]);
}

#[test]
fn with_a_limit_the_lot_that_a_neighbour_waits_for_comes_first() {
    let mut cellar = Cellar::of(&[10, 80, 30]);
    cellar.promised.insert(cellar.lots[0], n(4));
    assert_eq!(order(&cellar.list(Which::Due, Some(1))), [(0, 1)]);
    assert_eq!(order(&cellar.list(Which::Due, Some(2))), [(1, 2), (0, 1)]);
}

#[test]
fn a_lot_seen_last_week_is_not_due_and_tells_least_even_if_promised() {
    let mut cellar = Cellar::of(&[40, 40]);
    cellar.farm.note("2026-01-18", look(cellar.lots[0], Scope::Whole, 40, &[]));
    cellar.promised.insert(cellar.lots[0], n(4));
    assert_eq!(order(&cellar.list(Which::Due, None)), [(1, 1)]);
    assert_eq!(order(&cellar.list(Which::All, None)), [(1, 1), (0, 2)]);
}

#[test]
fn each_lot_says_how_many_and_why() {
    let mut cellar = Cellar::of(&[10, 80, 21]);
    cellar.promised.insert(cellar.lots[1], n(8));
    let said: Vec<String> =
        cellar.list(Which::Due, None).into_iter().map(|(_, _, said)| said).collect();
    insta::assert_snapshot!(said.join("\n"));
}
