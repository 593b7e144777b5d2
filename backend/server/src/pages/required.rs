//! Kinds of signed statement to be ticked in a form.

use std::collections::BTreeSet;

use spareloop_domain::attest::FactKind;

use super::form::Form;

/// A kind of signed statement that may be asked for.
pub(super) struct Required {
    /// The field.
    pub(super) name: String,
    /// In words.
    pub(super) words: String,
    /// Whether it was asked for.
    pub(super) asked: bool,
}

const ASKED: &str = "yes";

fn field_of(kind: FactKind) -> String {
    format!("required_{}", kind.code())
}

/// The kinds that were ticked.
pub(super) fn ticked(form: &Form) -> BTreeSet<FactKind> {
    let asked = |kind: &FactKind| form.value(&field_of(*kind)) == ASKED;
    FactKind::ALL.iter().copied().filter(asked).collect()
}

/// All kinds, as they stand in the form.
pub(super) fn all(form: &Form) -> Vec<Required> {
    let asked = ticked(form);
    let one = |kind: &FactKind| Required {
        name: field_of(*kind),
        words: kind.to_string(),
        asked: asked.contains(kind),
    };
    FactKind::ALL.iter().map(one).collect()
}
