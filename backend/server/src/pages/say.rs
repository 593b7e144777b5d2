//! Numbers, days and states in the words of the trade, as pages say them.
//!
//! What may not enter: HTML, and rules about what the words mean.

// Templates hand over references to whatever they show.
#![allow(clippy::trivially_copy_pass_by_ref)]

use std::collections::BTreeSet;
use std::str::FromStr;

use chrono::{DateTime, Utc};
use spareloop_api::attest::Standing;
use spareloop_api::exchange::{HoldView, OfferView};
use spareloop_api::rounds::{ProposalView, RoundLine};
use spareloop_domain::attest::FactKind;
use spareloop_domain::exchange::owed::Tenths;
use spareloop_domain::exchange::{
    Answer, HoldState, Money, OfferState, ParcelState, PaymentState, ProposalState, RoundState,
};
use spareloop_domain::words::{Count, Day, FarmId, Identity, UnitKind};

/// A moment on the server's clock.
pub(super) fn moment(at: &DateTime<Utc>) -> String {
    at.format("%-d %B %Y, %H:%M UTC").to_string()
}

/// A day with its year.
pub(super) fn day(day: &Day) -> String {
    day.date().format("%-d %B %Y").to_string()
}

/// A day that may not have been noted.
pub(super) fn day_or(day: Option<&Day>, otherwise: &str) -> String {
    day.map_or_else(|| otherwise.to_owned(), self::day)
}

/// A count with its unit.
pub(super) fn counted(unit: &UnitKind, count: &Count) -> String {
    unit.counted(*count)
}

/// A count that may not be known.
pub(super) fn count_or(count: Option<&Count>, otherwise: &str) -> String {
    count.map_or_else(|| otherwise.to_owned(), Count::to_string)
}

/// A swap value.
pub(super) fn value(tenths: i64) -> String {
    Tenths(tenths).to_string()
}

/// A swap value, as templates hand it over.
pub(super) fn tenths(tenths: &i64) -> String {
    value(*tenths)
}

/// A likely range of swap values, as one number where both ends read the same.
pub(super) fn likely(low: f64, high: f64) -> String {
    let (low, high) = (format!("{low:.1}"), format!("{high:.1}"));
    if low == high { low } else { format!("{low} to {high}") }
}

/// A chance as a number of 100.
pub(super) fn of_100(chance: f64) -> String {
    format!("{:.0}", 100.0 * chance)
}

/// What a farm's balance means.
pub(super) fn balance(tenths: i64) -> String {
    match tenths {
        0 => "even".to_owned(),
        owed if owed > 0 => format!("is owed {}", value(owed)),
        owes => format!("owes {}", Tenths(owes.saturating_neg())),
    }
}

/// How a signed statement stands that no longer counts.
pub(super) const fn standing(standing: &Standing) -> &'static str {
    match standing {
        Standing::Stands => "Stands",
        Standing::Superseded => "A later statement stands in its place",
        Standing::TakenBack => "Taken back",
        Standing::DoesNotHold => "Does not hold",
    }
}

/// Kinds of statement, as in "laboratory test, origin".
pub(super) fn kinds(kinds: &BTreeSet<FactKind>) -> String {
    kinds.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ")
}

/// How a parcel stands.
pub(super) fn parcel_state(code: &str) -> String {
    ParcelState::from_str(code).map_or_else(|_| code.to_owned(), |state| state.to_string())
}

/// How a hold stands.
pub(super) fn hold_state(code: &str) -> String {
    HoldState::from_str(code).map_or_else(|_| code.to_owned(), |state| state.to_string())
}

/// How an offer stands.
pub(super) fn offer_state(code: &str) -> String {
    OfferState::from_str(code).map_or_else(|_| code.to_owned(), |state| state.to_string())
}

/// What a proposal is, in a line.
pub(super) fn proposal(proposal: &ProposalView) -> String {
    if let Some(swap_day) = &proposal.swap_day {
        return format!("Swap day on {}", day(&swap_day.on));
    }
    let names: Vec<&str> = proposal.farms.iter().map(|part| part.farm.name.as_str()).collect();
    format!("Loop {}: {}", proposal.number, names.join(" to "))
}

/// How a proposal stands.
pub(super) fn proposal_state(code: &str) -> String {
    let said = ProposalState::from_str(code).map_or_else(|_| code.to_owned(), |it| it.to_string());
    capital(&said)
}

/// How a payment stands.
pub(super) fn payment_state(code: &str) -> String {
    PaymentState::from_str(code).map_or_else(|_| code.to_owned(), |state| state.to_string())
}

/// "2.50 EUR each, 15 EUR in all".
pub(super) fn price_of(price: &Money, count: &Count) -> String {
    match price.times(*count) {
        Ok(all) => format!("{price} each, {all} in all"),
        Err(_) => format!("{price} each"),
    }
}

/// What a farm answered.
pub(super) fn answer(code: &str) -> String {
    Answer::from_str(code).map_or_else(|_| code.to_owned(), |answer| answer.to_string())
}

/// What a round is.
pub(super) fn round_kind(round: &RoundLine) -> &'static str {
    if round.kind == "swap-day" { "Swap day" } else { "Loops" }
}

/// How a round stands.
pub(super) fn round_state(code: &str) -> String {
    RoundState::from_str(code).map_or_else(|_| code.to_owned(), |state| state.to_string())
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    let first: String = letters.next().into_iter().flat_map(char::to_uppercase).collect();
    format!("{first}{}", letters.as_str())
}

/// A variety's name, with what must stand wherever the name does.
pub(super) fn name(variety: &str, identity: &Identity) -> String {
    match identity {
        Identity::Sure => variety.to_owned(),
        Identity::Unsure => format!("{variety} ({identity})"),
    }
}

/// Firm or provisional, and why.
pub(super) fn firmness(offer: &OfferView) -> &'static str {
    if offer.firmness == "firm" {
        "Firm: the lot was looked over within the last 14 days."
    } else {
        "Provisional until the lot is looked over, within 14 days of the hand-over."
    }
}

/// Eyed or not.
pub(super) fn eyes(offer: &OfferView) -> &'static str {
    match offer.eyes.as_str() {
        "eyed" => "Eyed.",
        "not-yet-eyed" => "Not yet eyed. Some varieties show their eyes only in spring.",
        _ => "Whether it is eyed was not noted.",
    }
}

/// What some units are taken to be worth.
pub(super) fn worth_of(unit_tenths: &u32, count: &Count) -> String {
    if *unit_tenths == 0 {
        return "nothing is owed for it".to_owned();
    }
    let each = i64::from(*unit_tenths);
    let all = each.saturating_mul(i64::from(*count));
    format!("{} each, {} in all", value(each), value(all))
}

/// Whether it is the caller's farm that gives.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Side {
    /// Their farm gives.
    Giver,
    /// Their farm takes.
    Taker,
}

/// The side that a farm is on.
pub(super) fn side(hold: &HoldView, farm: FarmId) -> Side {
    if hold.giver.id == farm { Side::Giver } else { Side::Taker }
}

/// What a hold passes, and between whom.
pub(super) fn passing(hold: &HoldView, farm: FarmId) -> String {
    let what = counted(&hold.unit, &hold.count);
    match side(hold, farm) {
        Side::Giver => format!("{what} of {} to {}", hold.variety, hold.taker.name),
        Side::Taker => format!("{what} of {} from {}", hold.variety, hold.giver.name),
    }
}

/// What a farm should do next about a hold, if it is its turn.
pub(super) fn turn(hold: &HoldView, farm: FarmId) -> Option<&'static str> {
    let state = HoldState::from_str(&hold.state).ok()?;
    match (state, side(hold, farm)) {
        (HoldState::Held, Side::Giver) => Some("Agree or release"),
        (HoldState::Agreed, Side::Giver) => Some("Hand over"),
        (HoldState::HandedOver, Side::Taker) => Some("Confirm what arrived"),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_balance_says_who_is_owed_and_who_owes() {
        assert_eq!(balance(25), "is owed 2.5");
        assert_eq!(balance(-25), "owes 2.5");
        assert_eq!(balance(0), "even");
    }
}
