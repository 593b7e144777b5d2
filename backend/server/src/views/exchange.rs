//! Offers, wants, holds, the owed book, messages.

use spareloop_api::attest::Stated;
use spareloop_api::exchange::{
    HandOverView, HistoryView, HoldStepView, HoldView, HygieneView, MessageView, OfferView,
    PostingView, SignsOfDisease, TurnView, WantView,
};
use spareloop_api::parcels::ParcelView;
use spareloop_api::payments::PaymentView;
use spareloop_api::people::FarmView;
use spareloop_domain::forecast::outlook::lot_outlook;
use spareloop_domain::ledger::Book;
use spareloop_domain::ledger::body::Eyes;
use spareloop_domain::ledger::book::Lot;
use spareloop_domain::ledger::history::{
    DiseaseSigns, Firmness, bench_hygiene, firmness, survival_history,
};
use spareloop_domain::words::{Count, Day};
use spareloop_store::hand_overs::HandOver;
use spareloop_store::holds::{Hold, Step};
use spareloop_store::messages::Message;
use spareloop_store::offers::Offer;
use spareloop_store::owed::Posted;
use spareloop_store::parcels::Parcel;
use spareloop_store::payments::Payment;
use spareloop_store::turns::Turn;
use spareloop_store::wants::Want;

use super::farm;
use super::stock::{Rules, planting_day};

/// An offer with what its farm's book says of the lot.
pub fn offer(
    offer: Offer,
    farm: FarmView,
    stated: Stated,
    book: &Book,
    today: Day,
    rules: &Rules,
) -> OfferView {
    let lot = book.lots.get(&offer.lot);
    let firm = lot.map(|lot| firmness(lot, today, u32::from(rules.settings.firm_within_days)));
    OfferView {
        offer: offer.id,
        farm,
        lot_code: offer.lot.code(),
        free: offer.free(),
        variety: offer.variety,
        identity: offer.identity,
        unit: offer.unit,
        count: offer.count,
        smallest_parcel: offer.smallest_parcel,
        state: offer.state.code().to_owned(),
        firmness: match firm {
            Some(Firmness::Firm) => "firm",
            Some(Firmness::Provisional) | None => "provisional",
        }
        .to_owned(),
        eyes: eyes(lot.map_or(Eyes::NotNoted, |lot| lot.eyes)).to_owned(),
        conditions: offer.conditions,
        history: lot.map_or_else(no_history, |lot| history(lot, book, today, rules)),
        hygiene: HygieneView { sentence: bench_hygiene(book, offer.lot).sentence() },
        stated,
        open_to: offer.open_to,
        made_at: offer.made_at,
        movement: None,
        distance_km: None,
    }
}

const fn eyes(eyes: Eyes) -> &'static str {
    match eyes {
        Eyes::Eyed => "eyed",
        Eyes::NotYetEyed => "not-yet-eyed",
        Eyes::NotNoted => "not-noted",
    }
}

fn history(lot: &Lot, book: &Book, today: Day, rules: &Rules) -> HistoryView {
    let history = survival_history(lot, today);
    let on = planting_day(book, lot, today);
    let outlook = lot_outlook(lot, Count::ZERO, on, &rules.asked(today));
    HistoryView {
        stored: history.stored,
        looks: history.looks,
        last_look: history.last_look,
        began_with: history.began_with,
        in_store: history.in_store,
        decayed: history.decayed,
        signs_of_disease: match history.disease {
            DiseaseSigns::NoneNoted => SignsOfDisease::NoneNoted,
            DiseaseSigns::Noted => SignsOfDisease::Noted,
        },
        sentence: format!("{} {}", history.sentence(), outlook.sentence),
    }
}

/// The entry that made the lot was struck out after it was offered.
fn no_history() -> HistoryView {
    HistoryView {
        stored: None,
        looks: 0,
        last_look: None,
        began_with: Count::ZERO,
        in_store: Count::ZERO,
        decayed: Count::ZERO,
        signs_of_disease: SignsOfDisease::NoneNoted,
        sentence: "The lot is no longer in the farm's stock book.".to_owned(),
    }
}

/// A want.
pub fn want(want: Want, farm: FarmView) -> WantView {
    WantView {
        want: want.id,
        farm,
        open: want.open(),
        variety: want.variety,
        instead: want.instead.into_iter().map(String::from).collect(),
        unit: want.unit,
        count: want.count,
        needed_by: want.needed_by,
        state: want.state.code().to_owned(),
        conditions: want.conditions,
        required: want.required,
        within_km: want.within,
        distance_km: None,
    }
}

/// A payment that one of the two farms noted.
pub fn payment(payment: Payment) -> PaymentView {
    PaymentView {
        payment: payment.id,
        noted_by: payment.noted_by,
        amount: payment.amount,
        on: payment.on,
        state: payment.state.code().to_owned(),
    }
}

/// A hold as its two farms see it.
pub fn hold(hold: Hold) -> HoldView {
    HoldView {
        hold: hold.id,
        offer: hold.offer,
        want: hold.want,
        giver: farm(hold.giver),
        taker: farm(hold.taker),
        variety: hold.variety,
        unit: hold.unit,
        count: hold.count,
        purpose: hold.purpose,
        unit_value_tenths: u32::try_from(hold.unit_value.0).unwrap_or(0),
        unit_price: hold.unit_price,
        payments: Vec::new(),
        state: hold.state.code().to_owned(),
        until: hold.lapses_at,
        note: hold.note,
        hand_over: hold.hand_over.map(hand_over),
        steps: hold.steps.into_iter().map(step).collect(),
        movement: None,
        parcel: None,
    }
}

/// A parcel.
pub fn parcel(parcel: Parcel) -> ParcelView {
    let (until, by, why) = match parcel.pause {
        Some(pause) => (Some(pause.until), Some(pause.by), pause.why),
        None => (None, None, String::new()),
    };
    ParcelView {
        state: parcel.state.code().to_owned(),
        post: parcel.terms.post,
        frost: parcel.terms.frost,
        not_before: parcel.terms.not_before,
        terms_by: parcel.terms_by,
        paused_until: until,
        paused_by: by,
        pause_why: why,
    }
}

/// A turn in the line for an offer.
pub fn turn(turn: Turn) -> TurnView {
    TurnView {
        turn: turn.id,
        offer: turn.offer,
        giver: farm(turn.giver),
        taker: farm(turn.taker),
        variety: turn.variety,
        unit: turn.unit,
        count: turn.count,
        since: turn.asked_at,
        state: turn.state.code().to_owned(),
        place: turn.place,
        hold: turn.hold,
    }
}

fn step(step: Step) -> HoldStepView {
    HoldStepView { state: step.state.code().to_owned(), at: step.at, why: step.why }
}

fn hand_over(hand_over: HandOver) -> HandOverView {
    let receipt = hand_over.receipt;
    HandOverView {
        hand_over: hand_over.id,
        given: hand_over.given,
        given_on: hand_over.given_on,
        given_condition: hand_over.condition,
        received: receipt.as_ref().map(|receipt| receipt.received),
        received_on: receipt.as_ref().map(|receipt| receipt.on),
        received_lot: receipt.as_ref().and_then(|receipt| receipt.lot),
        received_condition: receipt.map(|receipt| receipt.condition),
    }
}

/// A posting of the owed book.
pub fn posting(posted: &Posted) -> PostingView {
    PostingView {
        from: posted.posting.from(),
        to: posted.posting.to(),
        tenths: posted.posting.value().0,
        hand_over: posted.posting.hand_over(),
        at: posted.at,
    }
}

/// A message.
pub fn message(message: Message) -> MessageView {
    MessageView { message: message.id, at: message.at, text: message.text, hold: message.hold }
}
