//! Physics wins: what is cut when a loss leaves less in store than was promised of a lot.
//!
//! The loss is a fact and is accepted. First the unheld count of open offers shrinks, newest offer
//! first; then holds end as *cut*, in the order that the network's rule sets, and if what is left of one
//! still reaches the smallest parcel a new hold for the rest keeps its place. What was handed over is
//! never cut.
//!
//! What may not enter: who is told, rows, transactions.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::{HoldState, Moment, OfferState};
use crate::words::{Count, HoldId, OfferId, UnknownWord, plain, word};

word! {
    /// Whose hold is cut first, as the coordinator sets it for the network.
    #[derive(Default)]
    CutRule {
        /// The newest hold, whole if need be, then the one before it: who came first keeps longest.
        #[default]
        NewestFirst = "newest-first", "the newest hold first";
        /// Every hold by its share of what is missing, so that nobody is left with nothing.
        ByShares = "by-shares", "every hold by its share";
    }
}

/// An offer of the lot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OfferedLot {
    /// Which.
    pub offer: OfferId,
    /// How it stands; only an open one or one set aside promises what nobody holds.
    pub state: OfferState,
    /// When it was published.
    pub offered_at: Moment,
    /// The count offered in all, with what has already gone out under it.
    pub count: Count,
    /// The least the giver will send.
    pub smallest_parcel: Count,
    /// Its holds, whatever their state; those that ended are passed over.
    pub holds: Vec<LiveHold>,
}

/// A hold on an offer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LiveHold {
    /// Which.
    pub hold: HoldId,
    /// How many.
    pub count: Count,
    /// When it was asked for, or when the one whose place it keeps was.
    pub asked_at: Moment,
    /// How it stands. A held one whose time has passed must come in as lapsed.
    pub state: HoldState,
}

/// What changes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cut {
    /// The offer's count in all is now lower.
    Offer {
        /// Which.
        offer: OfferId,
        /// Its count before.
        from: Count,
        /// Its count now.
        to: Count,
    },
    /// The hold ends as cut.
    Hold {
        /// Which.
        hold: HoldId,
        /// Its offer.
        offer: OfferId,
        /// What a new hold in its place is for; `None` where the rest is nothing or doesn't reach
        /// the smallest parcel, and so is free for the next in line.
        keeps: Option<Count>,
    },
}

impl OfferedLot {
    fn sum(&self, of: impl Fn(HoldState) -> bool) -> Count {
        self.holds.iter().filter(|hold| of(hold.state)).map(|hold| hold.count).sum()
    }

    /// What nobody holds of an offer that still stands.
    pub fn unheld(&self) -> Count {
        match self.state {
            OfferState::Open | OfferState::SetAside => self
                .count
                .less(self.sum(HoldState::is_live))
                .less(self.sum(HoldState::has_changed_hands)),
            OfferState::Withdrawn | OfferState::Closed => Count::ZERO,
        }
    }

    /// What it promises of the stock that is still in store: unheld and live holds.
    pub fn promised(&self) -> Count {
        self.unheld().plus(self.sum(HoldState::is_live))
    }
}

/// What of a lot is promised by all its offers.
pub fn promised(offers: &[OfferedLot]) -> Count {
    offers.iter().map(OfferedLot::promised).sum()
}

/// The cuts that bring what is promised down to what is in store; none where it suffices.
///
/// ```
/// use spareloop_domain::exchange::cut::{CutRule, cut_for_loss};
/// use spareloop_domain::words::Count;
/// assert!(cut_for_loss(Count::ZERO, &[], CutRule::NewestFirst).is_empty());
/// ```
pub fn cut_for_loss(in_store: Count, offers: &[OfferedLot], rule: CutRule) -> Vec<Cut> {
    let mut missing = promised(offers).less(in_store);
    let mut counts: Vec<Count> = offers.iter().map(|offer| offer.count).collect();

    for index in newest_first(offers) {
        let shrinks = offers[index].unheld().min(missing);
        counts[index] = counts[index].less(shrinks);
        missing = missing.less(shrinks);
    }

    let mut cuts = Vec::new();
    for ((index, hold), gone) in goes(&live_newest_first(offers), missing, rule) {
        let rest = hold.count.less(gone);
        counts[index] = counts[index].less(gone);
        let offer = &offers[index];
        let reaches = !rest.is_zero() && rest >= offer.smallest_parcel;
        let keeps = reaches.then_some(rest);
        cuts.push(Cut::Hold { hold: hold.hold, offer: offer.offer, keeps });
    }

    let shrunk = offers.iter().zip(counts).filter(|(offer, to)| offer.count != *to);
    let mut all: Vec<Cut> = shrunk
        .map(|(offer, to)| Cut::Offer { offer: offer.offer, from: offer.count, to })
        .collect();
    all.append(&mut cuts);
    all
}

type Living = (usize, LiveHold);

/// How many go of each hold, newest first; those of which none go are left out.
fn goes(live: &[Living], missing: Count, rule: CutRule) -> Vec<(Living, Count)> {
    let mut left = missing;
    let mut take = |most: Count| {
        let gone = most.min(left);
        left = left.less(gone);
        gone
    };
    let mut gone: Vec<Count> = match rule {
        CutRule::NewestFirst => vec![Count::ZERO; live.len()],
        CutRule::ByShares => {
            let all: Count = live.iter().map(|(_, hold)| hold.count).sum();
            live.iter().map(|(_, hold)| take(hold.count.share_of(missing.min(all), all))).collect()
        }
    };
    // What shares leave over, less than one a hold, and all of it where the newest goes first.
    for ((_, hold), gone) in live.iter().zip(&mut gone) {
        let more = match rule {
            CutRule::NewestFirst => take(hold.count),
            CutRule::ByShares => take(Count::from(1).min(hold.count.less(*gone))),
        };
        *gone = gone.plus(more);
    }
    let all = live.iter().copied().zip(gone);
    all.filter(|(_, gone)| !gone.is_zero()).collect()
}

fn newest_first(offers: &[OfferedLot]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..offers.len()).collect();
    order.sort_by_key(|index| {
        let offer = &offers[*index];
        std::cmp::Reverse((offer.offered_at, offer.offer))
    });
    order
}

fn live_newest_first(offers: &[OfferedLot]) -> Vec<(usize, LiveHold)> {
    let mut holds: Vec<(usize, LiveHold)> = offers
        .iter()
        .enumerate()
        .flat_map(|(index, offer)| offer.holds.iter().map(move |hold| (index, *hold)))
        .filter(|(_, hold)| hold.state.is_live())
        .collect();
    holds.sort_by_key(|(_, hold)| std::cmp::Reverse((hold.asked_at, hold.hold)));
    holds
}

#[cfg(test)]
#[path = "cut_tests.rs"]
mod tests;
