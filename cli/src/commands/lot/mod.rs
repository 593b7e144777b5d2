//! `lot`: lift, divide, split, store, move, lose, recount, wake, receive, send; list and show.

mod args;
mod recount;

pub(in crate::commands) use recount::{recount_of, said};

use clap::Subcommand;
use serde_json::json;
use spareloop_domain::ledger::Body;
use spareloop_domain::ledger::Book;
use spareloop_domain::ledger::body::{
    Coming as ComingBody, Discard, Divide as DivideBody, Eyes, Lift as LiftBody, Loss, MadeLot,
    Move as MoveBody, Opening as OpeningBody, Receive as ReceiveBody, Send as SendBody,
    Stop as StopBody, Store as StoreBody, WakeUp,
};
use spareloop_domain::ledger::describe::describe;
use spareloop_domain::words::{ComingId, Day, FarmId, LotId, Place, UnitKind};

use args::{
    Divide, Lift, List, Lose, Move, OnOrder, Opening, Receive, Recount, Send, Show, Split, Stop,
    Store, Wake,
};

use super::later::{self, Later};
use super::noted;
use super::stock::{HEADERS, LotView, views};
use crate::book::entries;
use crate::desk::{Desk, draft};
use crate::fault::Fault;
use crate::find;
use crate::fresh;
use crate::printer::{Answer, table};

/// What can be done with lots.
#[derive(Debug, Subcommand)]
pub enum Lot {
    /// Note stock on hand when the book begins.
    #[command(
        after_help = "Example: spareloop lot opening 'Ember Lantern' --count 40 --unit division"
    )]
    Opening(Opening),
    /// Note clumps lifted.
    #[command(after_help = "\
Examples:
  spareloop lot lift 'Ember Lantern' --clumps 10 --bed 'bed 5'
  spareloop lot lift 'Ember Lantern' --clumps 10 --grown-of 7KQ4M     (the lot planted there)")]
    Lift(Lift),
    /// Divide clumps: sound ones, those without an eye yet, and what was not kept, by reason.
    #[command(after_help = "\
Example:
  spareloop lot divide 7KQ4M --clumps 10 --sound 42 --not-yet-eyed 5 \\
    --discard rot=3 --discard no-eye=2 --pieces 52 --session last
A division is sound only with body, unbroken neck and a crown of at least 1 cm (common practice, no
source). With --pieces the sums must agree: 42 + 5 + 3 + 2 = 52.")]
    Divide(Divide),
    /// Split part of a lot off, say into a second box.
    #[command(
        after_help = "Example: spareloop lot split 7KQ4M --count 20 --to 'cellar / shelf 2 / tote 7'"
    )]
    Split(Split),
    /// Pack a lot and put it in store.
    #[command(after_help = "\
Example: spareloop lot store 7KQ4M --packing film-wrap --place 'cellar / shelf 2 / tote 7'")]
    Store(Store),
    /// Move a whole lot.
    #[command(after_help = "Example: spareloop lot move 7KQ4M --to 'cellar / shelf 3'")]
    Move(Move),
    /// List lots in store.
    #[command(after_help = "\
Examples:
  spareloop lot list
  spareloop lot list --variety 'Ember Lantern'
  spareloop lot list --place cellar --all")]
    List(List),
    /// Show one lot with its history.
    #[command(after_help = "Example: spareloop lot show 7KQ4M")]
    Show(Show),
    /// Note units lost outside a check.
    #[command(after_help = "Example: spareloop lot lose 7KQ4M --count 3 --cause rot")]
    Lose(Lose),
    /// Correct the book by a count, visibly.
    #[command(after_help = "Example: spareloop lot recount 7KQ4M --counted 38 --missing mislaid")]
    Recount(Recount),
    /// Note that a lot was brought into warmth.
    #[command(after_help = "Example: spareloop lot wake 7KQ4M")]
    Wake(Wake),
    /// Stop: suspicious growth was seen. Set it aside, change tools; nothing of it is passed on.
    #[command(after_help = "\
Example: spareloop lot stop 7KQ4M --signs 'gall at the crown' --session last
Some diseases are notifiable: ask your plant health authority first. Nothing is published by this.")]
    Stop(Stop),
    /// Note stock that came in other than by a hand-over of the network.
    #[command(
        after_help = "Example: spareloop lot receive 'Ember Lantern' --count 5 --from 'a neighbour'"
    )]
    Receive(Receive),
    /// Note stock that went out other than by a hand-over of the network.
    #[command(
        after_help = "Example: spareloop lot send 7KQ4M --count 5 --to 'the club' --purpose club"
    )]
    Send(Send),
    /// Note stock on order or agreed; 0 says that none will come.
    #[command(after_help = "\
Example: spareloop lot coming 'Ember Lantern' --count 10 --from 'a nursery' --expected 2027-04-01")]
    Coming(OnOrder),
    /// What spring and summer bring.
    #[command(flatten)]
    Later(Later),
}

/// Runs it.
pub fn run(command: Lot, desk: &Desk) -> Result<Answer, Fault> {
    match command {
        Lot::Opening(it) => new_lot_note(desk, it.on, |book, _, lot| {
            let variety = find::variety(book, &it.variety)?.id;
            let (unit, count, origin) = (it.unit, it.count, it.origin);
            Ok(OpeningBody { lot, variety, unit, count, origin, label: None }.into())
        }),
        Lot::Lift(it) => new_lot_note(desk, it.on, |book, farm, lot| {
            let variety = find::variety(book, &it.variety)?.id;
            let planted = it.grown_of.as_ref().map(|text| find::lot(book, farm, text));
            let planted = planted.transpose()?.map(|lot| lot.id);
            let (clumps, bed) = (it.clumps, it.bed);
            Ok(LiftBody { lot, variety, clumps, bed, label: None, planted }.into())
        }),
        Lot::Divide(it) => divide(it, desk),
        Lot::Split(it) => split(it, desk),
        Lot::Store(it) => lot_note(desk, &it.lot, it.on, |_, lot| {
            Ok(StoreBody { lot, packing: it.packing, place: it.place }.into())
        }),
        Lot::Move(it) => {
            lot_note(desk, &it.lot, it.on, |_, lot| Ok(MoveBody { lot, place: it.to }.into()))
        }
        Lot::List(it) => list(it, desk),
        Lot::Show(it) => show(it, desk),
        Lot::Lose(it) => lot_note(desk, &it.lot, it.on, |_, lot| {
            Ok(Loss { lot, count: it.count, cause: it.cause }.into())
        }),
        Lot::Recount(it) => recount::run(it, desk),
        Lot::Wake(it) => lot_note(desk, &it.lot, it.on, |_, lot| Ok(WakeUp { lot }.into())),
        Lot::Stop(it) => lot_note(desk, &it.lot, it.on, |book, lot| {
            let session = it.session.map(|text| find::session(book, &text)).transpose()?;
            Ok(StopBody { lot, session, signs: it.signs }.into())
        }),
        Lot::Receive(it) => receive(it, desk),
        Lot::Send(it) => send(it, desk),
        Lot::Coming(it) => coming(it, desk),
        Lot::Later(it) => later::run(it, desk),
    }
}

/// Notes one entry about a lot that is there.
pub(in crate::commands) fn lot_note(
    desk: &Desk,
    lot: &str,
    on: Option<Day>,
    body: impl FnOnce(&Book, LotId) -> Result<Body, Fault>,
) -> Result<Answer, Fault> {
    let done = desk.note(|book, before| {
        let lot = find::lot(book, before.farm.id, lot)?.id;
        Ok(vec![draft(desk.day(on), body(book, lot)?)?])
    })?;
    Ok(noted(desk, &done, &[]))
}

/// Notes one entry that begins a lot, and says the new lot's code.
fn new_lot_note(
    desk: &Desk,
    on: Option<Day>,
    body: impl FnOnce(&Book, FarmId, LotId) -> Result<Body, Fault>,
) -> Result<Answer, Fault> {
    let mut made = Vec::new();
    let done = desk.note(|book, before| {
        let lot = find::new_lot(book, &[])?;
        made.push(lot);
        Ok(vec![draft(desk.day(on), body(book, before.farm.id, lot)?)?])
    })?;
    Ok(with_lots(noted(desk, &done, &code_lines(&made)), &made))
}

/// What to write on the tubers or the tote.
pub(in crate::commands) fn code_lines(made: &[LotId]) -> Vec<String> {
    made.iter().map(|lot| format!("The new lot's code is {}.", lot.code())).collect()
}

/// Adds the new lots to an answer's data.
pub(in crate::commands) fn with_lots(mut answer: Answer, made: &[LotId]) -> Answer {
    if let Some(fields) = answer.data.as_object_mut() {
        let lots: Vec<_> =
            made.iter().map(|lot| json!({ "lot": lot, "code": lot.code() })).collect();
        fields.insert("lots".into(), lots.into());
    }
    answer
}

fn divide(it: Divide, desk: &Desk) -> Result<Answer, Fault> {
    let mut lots = Vec::new();
    let done = desk.note(|book, before| {
        let from = find::lot(book, before.farm.id, &it.lot)?;
        let session = it.session.as_ref().map(|text| find::session(book, text)).transpose()?;
        let kinds = [(it.sound, Eyes::Eyed), (it.not_yet_eyed, Eyes::NotYetEyed)];
        let mut made = Vec::new();
        for (count, eyes) in kinds.into_iter().filter(|(count, _)| !count.is_zero()) {
            let lot = find::new_lot(book, &lots)?;
            lots.push(lot);
            made.push(MadeLot { lot, unit: UnitKind::Division, count, eyes, label: None });
        }
        let discards = it
            .discards
            .iter()
            .filter(|part| !part.count.is_zero())
            .map(|part| Discard { reason: part.of, count: part.count })
            .collect();
        let body = DivideBody {
            from: from.id,
            taken: it.clumps,
            made,
            discards,
            pieces: it.pieces,
            session,
        };
        Ok(vec![draft(desk.day(it.on), body)?])
    })?;
    Ok(with_lots(noted(desk, &done, &code_lines(&lots)), &lots))
}

fn split(it: Split, desk: &Desk) -> Result<Answer, Fault> {
    let on = desk.day(it.on);
    let mut lots = Vec::new();
    let done = desk.note(|book, before| {
        let from = find::lot(book, before.farm.id, &it.lot)?;
        let lot = find::new_lot(book, &[])?;
        lots.push(lot);
        let made =
            vec![MadeLot { lot, unit: from.unit, count: it.count, eyes: from.eyes, label: None }];
        let split = DivideBody {
            from: from.id,
            taken: it.count,
            made,
            discards: Vec::new(),
            pieces: None,
            session: None,
        };
        let mut drafts = vec![draft(on, split)?];
        if let Some(place) = it.to {
            drafts.push(draft(on, MoveBody { lot, place })?);
        }
        Ok(drafts)
    })?;
    Ok(with_lots(noted(desk, &done, &code_lines(&lots)), &lots))
}

fn receive(it: Receive, desk: &Desk) -> Result<Answer, Fault> {
    new_lot_note(desk, it.on, |book, _, lot| {
        let variety = find::variety(book, &it.variety)?.id;
        Ok(ReceiveBody {
            lot,
            variety,
            unit: it.unit,
            count: it.count,
            from: it.from,
            from_farm: None,
            from_lot: None,
            hand_over: None,
            coming: it.coming,
            condition: it.condition,
        }
        .into())
    })
}

fn send(it: Send, desk: &Desk) -> Result<Answer, Fault> {
    lot_note(desk, &it.lot, it.on, |_, lot| {
        Ok(SendBody {
            lot,
            count: it.count,
            purpose: it.purpose,
            to: it.to,
            to_farm: None,
            hand_over: None,
        }
        .into())
    })
}

fn coming(it: OnOrder, desk: &Desk) -> Result<Answer, Fault> {
    let coming = it.coming.map_or_else(|| fresh::uuid().map(ComingId::new), Ok)?;
    let done = desk.note(|book, _| {
        let variety = find::variety(book, &it.variety)?.id;
        let body = ComingBody {
            coming,
            variety,
            unit: it.unit,
            count: it.count,
            from: it.from,
            expected: it.expected,
        };
        Ok(vec![draft(desk.day(it.on), body)?])
    })?;
    Ok(noted(
        desk,
        &done,
        &[format!("When it is here: spareloop lot receive ... --coming {coming}")],
    ))
}

fn list(it: List, desk: &Desk) -> Result<Answer, Fault> {
    let opened = desk.book()?;
    let book = &opened.book;
    let variety =
        it.variety.map(|text| find::variety(book, &text).map(|card| card.id)).transpose()?;
    if let Some(place) = &it.place {
        known_place(book, place)?;
    }
    let within = |place: &Place| {
        it.place.as_ref().is_none_or(|wanted| place.parts().starts_with(wanted.parts()))
    };
    let views = views(book, |lot| {
        (it.all || !lot.in_store.is_zero())
            && variety.is_none_or(|wanted| wanted == lot.variety)
            && (it.place.is_none() || lot.place.as_ref().is_some_and(within))
    });
    let text = if views.is_empty() {
        "Nothing in store. Begin with: spareloop import stock FILE, or spareloop lot lift"
            .to_owned()
    } else {
        table(&HEADERS, &views.iter().map(LotView::row).collect::<Vec<_>>())
    };
    Ok(Answer::new("lot-list", text, json!({ "lots": views })))
}

fn known_place(book: &Book, wanted: &Place) -> Result<(), Fault> {
    let mut places: Vec<String> = Vec::new();
    for place in book.lots.values().filter_map(|lot| lot.place.as_ref()) {
        if place.parts().starts_with(wanted.parts()) {
            return Ok(());
        }
        places.extend((1..=place.parts().len()).map(|deep| place.parts()[..deep].join(" / ")));
    }
    places.sort();
    places.dedup();
    let wanted = wanted.to_string();
    let near = spareloop_domain::words::near_misses(&wanted, places.iter().map(String::as_str));
    Err(Fault::refused(
        format!("Nothing lies at {wanted}."),
        format!("{}See all with: spareloop lot list", find::did_you_mean(&near)),
    ))
}

fn show(it: Show, desk: &Desk) -> Result<Answer, Fault> {
    let mut opened = desk.book()?;
    let book = &opened.book;
    let lot = find::lot(book, opened.farm.id, &it.lot)?;
    let view = LotView::of(book, lot);
    let entries = opened.file.read(|connection| entries::about_lot(connection, lot.id))?;
    let history: Vec<String> = entries
        .iter()
        .map(|entry| {
            let struck = if book.struck_out.contains(&entry.id) { " (struck out)" } else { "" };
            format!("{}  {}{struck}", entry.on, describe(book, entry))
        })
        .collect();
    let units = if view.in_store.get() == 1 { view.unit.to_string() } else { view.unit.plural() };
    let place = view.place.as_ref().map(|place| format!(" at {place}")).unwrap_or_default();
    let label = view.label.as_ref().map(|label| format!(", labelled {label}")).unwrap_or_default();
    let text = format!(
        "Lot {}{label}: {} {units} of {} in store{place}; {}.\n\n{}",
        view.code,
        view.in_store,
        view.variety,
        view.origin,
        history.join("\n")
    );
    Ok(Answer::new("lot", text, json!({ "lot": view, "history": history })))
}
