//! Finds what a person named: by code, by id, by name, with near misses when it isn't there.

use std::fmt::Write;

use spareloop_domain::ledger::Book;
use spareloop_domain::ledger::book::Lot;
use spareloop_domain::words::{
    FarmId, LotId, SessionId, VarietyCard, VarietyId, VarietyName, fold_key, near_misses, uuid_v7,
};

use crate::fault::Fault;
use crate::fresh;
use crate::import::lasting;

/// The name of a variety in the book.
pub fn variety_name(book: &Book, variety: VarietyId) -> String {
    book.varieties
        .get(&variety)
        .map_or_else(|| "a variety without a name".to_owned(), |card| card.name.quoted())
}

/// "Did you mean 'a', 'b'?" or nothing.
pub fn did_you_mean(near: &[String]) -> String {
    if near.is_empty() {
        return String::new();
    }
    let quoted: Vec<String> = near.iter().map(|name| format!("'{name}'")).collect();
    format!("Did you mean {}? ", quoted.join(" or "))
}

fn names(card: &VarietyCard) -> impl Iterator<Item = &VarietyName> {
    std::iter::once(&card.name).chain(&card.aliases)
}

/// The variety of that name, if the book has it.
pub fn known_variety<'a>(book: &'a Book, text: &str) -> Option<&'a VarietyCard> {
    let wanted = fold_key(text);
    book.varieties
        .values()
        .find(|card| names(card).any(|name| name.key() == wanted))
        .or_else(|| text.parse().ok().and_then(|id: VarietyId| book.varieties.get(&id)))
}

/// Names in the book that are near to `text`.
pub fn near_varieties(book: &Book, text: &str) -> Vec<String> {
    near_misses(text, book.varieties.values().flat_map(names).map(VarietyName::as_str))
}

/// Known names so near that the one given is likely a slip of the pen: at most two letters of a
/// long name, one of a short one, none of a very short one, are added, left out, changed or swapped.
pub fn likely_slips<'a>(given: &str, known: impl IntoIterator<Item = &'a str>) -> Vec<String> {
    let wanted = fold_key(given);
    let most = match wanted.chars().count() {
        // Of a name so short, one letter is too large a part.
        0..4 => 0,
        4..8 => 1,
        _ => 2,
    };
    known
        .into_iter()
        .filter(|name| strsim::damerau_levenshtein(&wanted, &fold_key(name)) <= most)
        .take(3)
        .map(ToOwned::to_owned)
        .collect()
}

/// The variety of that name.
pub fn variety<'a>(book: &'a Book, text: &str) -> Result<&'a VarietyCard, Fault> {
    known_variety(book, text).ok_or_else(|| {
        let near = near_varieties(book, text);
        Fault::refused(
            format!("The book has no variety named '{text}'."),
            format!("{}To name a new one: spareloop variety add '{text}'", did_you_mean(&near)),
        )
    })
}

/// The lot of that code or id, or of the label that a sheet gave it.
pub fn lot<'a>(book: &'a Book, farm: FarmId, text: &str) -> Result<&'a Lot, Fault> {
    let wanted = text.trim().to_uppercase();
    let mut found = book.lots.values().filter(|lot| lot.id.code() == wanted);
    if let Some(lot) = found.next() {
        return match found.next() {
            None => Ok(lot),
            Some(other) => Err(Fault::decision(
                format!("Two lots have the code {wanted}."),
                format!("Name the lot by its id: {} or {}", lot.id, other.id),
            )),
        };
    }
    if let Some(lot) = text.parse().ok().and_then(|id: LotId| book.lots.get(&id)) {
        return Ok(lot);
    }
    let label = lasting::label_key(text);
    let bears =
        |lot: &&Lot| lot.label.as_deref().is_some_and(|own| lasting::label_key(own) == label);
    if let Some(lot) =
        book.lots.values().find(bears).or_else(|| lasting::labelled(book, farm, text))
    {
        return Ok(lot);
    }
    let codes: Vec<String> = book.lots.keys().map(|lot| lot.code()).collect();
    let near = near_misses(&wanted, codes.iter().map(String::as_str));
    Err(Fault::refused(
        format!("The book has no lot {text}."),
        format!("{}See all with: spareloop lot list", did_you_mean(&near)),
    ))
}

/// How a dividing session is named on a screen: the end of its id.
pub fn session_code(session: SessionId) -> String {
    let id = session.uuid().simple().to_string();
    id[id.len() - 6..].to_owned()
}

/// The dividing session of that code or id; `last` is the one noted last.
pub fn session(book: &Book, text: &str) -> Result<SessionId, Fault> {
    let wanted = text.trim().to_lowercase();
    let found = if wanted == "last" {
        book.sessions.keys().max()
    } else {
        book.sessions.keys().find(|id| session_code(**id) == wanted || id.to_string() == wanted)
    };
    found.copied().ok_or_else(|| {
        let mut known = String::new();
        for id in book.sessions.keys().rev().take(5) {
            // Writing to a String doesn't fail.
            let _ = write!(known, " {}", session_code(*id));
        }
        Fault::refused(
            format!("The book has no dividing session {text}."),
            if known.is_empty() {
                "Note one first: spareloop bench session LOT ...".to_owned()
            } else {
                format!("The last ones are:{known}")
            },
        )
    })
}

/// A new lot's id whose code is free on the farm and not among `taken`.
pub fn new_lot(book: &Book, taken: &[LotId]) -> Result<LotId, Fault> {
    loop {
        let id = LotId::new(uuid_v7(fresh::wall_millis(), fresh::random()?));
        let code = id.code();
        let is_taken = book.lots.keys().chain(taken).any(|other| other.code() == code);
        if !is_taken {
            return Ok(id);
        }
    }
}
