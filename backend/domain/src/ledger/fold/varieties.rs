//! What is known of varieties: notes patch a card, the newest word holds.
//!
//! What may not enter: stock.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::keeper::Keeper;
use crate::ledger::body::VarietyNote;
use crate::ledger::book::{Disagreement, Problem};
use crate::words::{EntryId, Identity, Intention, Protection, VarietyCard, VarietyId, VarietyName};

/// What notes say of a variety, whether or not one named it yet.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
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

    fn card(&self, id: VarietyId) -> Option<VarietyCard> {
        Some(VarietyCard {
            id,
            name: self.name.clone()?,
            aliases: self.aliases.clone(),
            form: self.form.clone(),
            size: self.size.clone(),
            colour: self.colour.clone(),
            identity: self.identity.unwrap_or(Identity::Sure),
            protection: self.protection.clone(),
            intention: self.intention,
            notes: self.notes.clone(),
        })
    }
}

impl Keeper {
    /// Remembers which entry speaks of a variety that nobody has named so far.
    pub(super) fn speak_of(&mut self, variety: VarietyId, entry: EntryId) {
        let named = self.named.entry(variety).or_default();
        if named.name.is_none() {
            named.spoken_of_by.push(entry);
        }
    }

    /// Takes in a note.
    pub(super) fn note_variety(&mut self, note: &VarietyNote) {
        let named = self.named.entry(note.variety).or_default();
        named.note(note);
        if named.name.is_some() {
            named.spoken_of_by.clear();
        }
    }

    /// The cards of varieties that were named.
    pub(super) fn cards(&self) -> BTreeMap<VarietyId, VarietyCard> {
        self.named.iter().filter_map(|(id, named)| Some((*id, named.card(*id)?))).collect()
    }

    /// Varieties that were never named.
    pub(super) fn unnamed(&self) -> impl Iterator<Item = Problem> + '_ {
        let unnamed = self.named.iter().filter(|(_, named)| named.name.is_none());
        unnamed.map(|(variety, named)| Problem {
            what: Disagreement::UnknownVariety { variety: *variety },
            entries: named.spoken_of_by.clone(),
        })
    }
}
