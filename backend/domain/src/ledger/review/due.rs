//! Lots not looked at lately, in the order in which one walks past them.
//!
//! What may not enter: how long a lot may go unseen ([`crate::settings::Settings`] says).

use std::cmp::Reverse;

use super::super::book::{Book, Lot};
use crate::forecast::outlook::{LookDue, look_due};
use crate::settings::Settings;
use crate::words::{Day, Place};

/// A lot that should be looked at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Due<'a> {
    /// The lot.
    pub lot: &'a Lot,
    /// Days since its longest unseen units were last seen.
    pub days: u32,
}

/// Lots that are due for a look by the settings, place by place in walking order, those without a
/// place last; in one place the longest unseen first.
pub fn due<'a>(book: &'a Book, today: Day, settings: &Settings) -> Vec<Due<'a>> {
    let mut due: Vec<Due<'a>> = book
        .lots
        .values()
        .filter(|lot| !lot.in_store.is_zero())
        .filter_map(|lot| match look_due(lot, today, settings) {
            LookDue::Due { days } => Some(Due { lot, days }),
            LookDue::NotYet => None,
        })
        .collect();
    due.sort_by_cached_key(|due| {
        let place = due.lot.place.as_ref();
        (place.is_none(), place.map(walking_order), Reverse(due.days), due.lot.id)
    });
    due
}

/// A piece of a place's name: numbers are compared as numbers, so that tote 9 stands before tote 10.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Piece {
    /// Digits: how many without leading zeros, then themselves, which is the order of numbers.
    Number(usize, String),
    /// Anything else, in small letters.
    Text(String),
}

/// The order in which places are walked past: room by room, shelf by shelf, tote by tote.
///
/// ```
/// use spareloop_domain::ledger::review::walking_order;
/// let place = |text: &str| walking_order(&text.parse().unwrap());
/// assert!(place("cellar / tote 9") < place("cellar / tote 10"));
/// assert!(place("cellar") < place("Cellar / shelf 1"));
/// ```
pub fn walking_order(place: &Place) -> Vec<Vec<Piece>> {
    place.parts().iter().map(|part| pieces(part)).collect()
}

fn pieces(part: &str) -> Vec<Piece> {
    let mut pieces = Vec::new();
    let mut rest = part;
    while let Some(first) = rest.chars().next() {
        let is_digit = first.is_ascii_digit();
        let end = rest.find(|c: char| c.is_ascii_digit() != is_digit).unwrap_or(rest.len());
        let (piece, behind) = rest.split_at(end);
        pieces.push(if is_digit {
            let digits = piece.trim_start_matches('0');
            Piece::Number(digits.len(), digits.to_owned())
        } else {
            Piece::Text(piece.to_lowercase())
        });
        rest = behind;
    }
    pieces
}
