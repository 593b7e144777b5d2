//! What the farm's own stock book says already, so that nobody types what was noted.

use super::fact::{Applied, BenchHygiene, LookedOver, Origin, Soak, Whence};
use crate::ledger::Book;
use crate::ledger::body::{Scope, Solution};
use crate::ledger::book::{Lot, Origin as BookOrigin};
use crate::ledger::history;
use crate::words::{Count, LossCause, LotId};

fn applied(solution: &Solution) -> Applied {
    Applied {
        agent: solution.agent.trim().to_owned(),
        strength_percent: solution.strength_percent,
        minutes: solution.minutes,
    }
}

/// The dividing session that the lot comes from, found as [`history::bench_hygiene`] finds it, dated
/// by the day on which the lot that was cut there began.
fn session(book: &Book, lot: LotId) -> Option<(history::BenchHygiene, &Lot)> {
    let mut at = book.lots.get(&lot)?;
    // No chain of lots is longer than the book.
    for _ in 0..=book.lots.len() {
        let from = match &at.origin {
            BookOrigin::Divided(from, noted) => {
                if noted.is_some_and(|noted| book.sessions.contains_key(&noted)) {
                    return Some((history::bench_hygiene(book, at.id), at));
                }
                *from
            }
            BookOrigin::PottedFrom(from) | BookOrigin::CutFrom(from) => *from,
            BookOrigin::Opening(_) | BookOrigin::Lifted(..) | BookOrigin::Received { .. } => {
                return None;
            }
        };
        at = book.lots.get(&from)?;
    }
    None
}

/// Bench hygiene as the dividing session notes it; none if the book has no session for the lot.
pub fn hygiene_of(book: &Book, lot: LotId) -> Option<BenchHygiene> {
    match session(book, lot)? {
        (history::BenchHygiene::Session { tools, tool_dip, .. }, cut) => {
            Some(BenchHygiene { on: cut.began, tools, tool_dip: tool_dip.as_ref().map(applied) })
        }
        (history::BenchHygiene::NotNoted, _) => None,
    }
}

/// The soak as the dividing session notes it; none if none was noted.
pub fn soak_of(book: &Book, lot: LotId) -> Option<Soak> {
    match session(book, lot)? {
        (history::BenchHygiene::Session { soak: Some(soak), .. }, cut) => {
            Some(Soak { on: cut.began, soak: applied(&soak) })
        }
        _ => None,
    }
}

/// The last look at the lot: how many were looked at of how many, and how many were culled for
/// disease. Rot is not counted as a sign: it is noted as a loss and says little of disease.
pub fn look_of(lot: &Lot) -> Option<LookedOver> {
    let last = lot.looks.iter().max_by_key(|look| look.on)?;
    let lost: Count = last.lost.iter().map(|lost| lost.count).sum();
    let culled: Count = last
        .lost
        .iter()
        .filter(|lost| lost.cause == LossCause::Culled)
        .map(|lost| lost.count)
        .sum();
    let of = match last.scope {
        Scope::Whole => last.inspected,
        // What the lot had then, as far as the book tells: what is there and what that look cost.
        Scope::Sample => lot.in_store.plus(lost).max(last.inspected),
    };
    let signs = if culled.is_zero() { "" } else { "culled for disease" };
    Some(LookedOver {
        on: last.on,
        look: last.look,
        looked: last.inspected,
        of,
        with_signs: culled,
        signs: signs.to_owned(),
    })
}

/// Where the lot comes from, as far back as the book goes: a hand-over of the network, or grown here
/// since the year in which its oldest lot began.
pub fn origin_of(book: &Book, lot: LotId) -> Option<Origin> {
    let mut at = book.lots.get(&lot)?;
    for _ in 0..=book.lots.len() {
        let from = match &at.origin {
            BookOrigin::Received { farm: Some(farm), hand_over: Some(hand_over), .. } => {
                let whence = Whence::HandOver { hand_over: *hand_over, farm: *farm };
                return Some(Origin { whence });
            }
            // Received from outside of the network: only the farm can say from where.
            BookOrigin::Received { .. } => return None,
            BookOrigin::Divided(from, _)
            | BookOrigin::PottedFrom(from)
            | BookOrigin::CutFrom(from)
            | BookOrigin::Lifted(_, Some(from)) => Some(*from),
            BookOrigin::Opening(_) | BookOrigin::Lifted(_, None) => None,
        };
        let Some(earlier) = from.and_then(|from| book.lots.get(&from)) else {
            let since = u16::try_from(at.began.year()).ok()?;
            return Some(Origin { whence: Whence::OwnGrown { since } });
        };
        at = earlier;
    }
    None
}
