//! What is known of varieties: notes patch a card, the newest word holds.
//!
//! What may not enter: stock.

use super::keeper::Keeper;
use crate::ledger::body::VarietyNote;
use crate::ledger::book::Disagreement;
use crate::words::{EntryId, Identity, Intention, Protection, VarietyCard, VarietyId, VarietyName};

/// What notes say of a variety, whether or not one named it yet.
#[derive(Debug, Default)]
pub(super) struct Named {
    name: Option<VarietyName>,
    aliases: Vec<VarietyName>,
    form: Option<String>,
    size: Option<String>,
    colour: Option<String>,
    identity: Option<Identity>,
    protection: Protection,
    intention: Option<Intention>,
    notes: Vec<String>,
    spoken_of_by: Vec<EntryId>,
}

fn patch<T: Clone>(held: &mut Option<T>, newer: Option<&T>) {
    if let Some(newer) = newer {
        *held = Some(newer.clone());
    }
}

impl Named {
    fn note(&mut self, note: &VarietyNote) {
        patch(&mut self.name, note.name.as_ref());
        patch(&mut self.form, note.form.as_ref());
        patch(&mut self.size, note.size.as_ref());
        patch(&mut self.colour, note.colour.as_ref());
        patch(&mut self.identity, note.identity.as_ref());
        patch(&mut self.intention, note.intention.as_ref());
        if let Some(aliases) = &note.aliases {
            self.aliases.clone_from(aliases);
        }
        if let Some(protection) = &note.protection {
            self.protection = protection.clone();
        }
        self.notes.extend(note.text.clone());
    }

    fn card(self, id: VarietyId) -> Option<VarietyCard> {
        Some(VarietyCard {
            id,
            name: self.name?,
            aliases: self.aliases,
            form: self.form,
            size: self.size,
            colour: self.colour,
            identity: self.identity.unwrap_or(Identity::Sure),
            protection: self.protection,
            intention: self.intention,
            notes: self.notes,
        })
    }
}

impl Keeper {
    /// Remembers which entry speaks of a variety, in case nobody ever names it.
    pub(super) fn speak_of(&mut self, variety: VarietyId, entry: EntryId) {
        self.named.entry(variety).or_default().spoken_of_by.push(entry);
    }

    /// Takes in a note.
    pub(super) fn note_variety(&mut self, note: &VarietyNote) {
        self.named.entry(note.variety).or_default().note(note);
    }

    /// Writes the cards, and reports varieties that were never named.
    pub(super) fn write_cards(&mut self) {
        for (variety, mut named) in std::mem::take(&mut self.named) {
            let entries = std::mem::take(&mut named.spoken_of_by);
            match named.card(variety) {
                Some(card) => {
                    self.book.varieties.insert(variety, card);
                }
                None => self.report(Disagreement::UnknownVariety { variety }, entries),
            }
        }
    }
}
