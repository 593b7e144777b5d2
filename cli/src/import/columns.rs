//! Headings to fields: by hand, as last confirmed, or guessed by alias.

use std::collections::BTreeMap;

use spareloop_domain::words::{fold_key, near_misses};

use crate::fault::Fault;
use crate::find::did_you_mean;

/// A field of a kind of file.
#[derive(Debug)]
pub(super) struct Field {
    /// Its name, as in the help.
    pub(super) name: &'static str,
    /// Headings that mean it too; compared by folded key.
    pub(super) aliases: &'static [&'static str],
    /// Whether a file can do without.
    pub(super) need: Need,
}

/// Whether a file can do without a field.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Need {
    /// A file without it can't be read.
    Needed,
    /// It may be left out.
    Optional,
}

/// A field that a file needs.
pub(super) const fn needed(name: &'static str, aliases: &'static [&'static str]) -> Field {
    Field { name, aliases, need: Need::Needed }
}

/// A field that a file may leave out.
pub(super) const fn optional(name: &'static str, aliases: &'static [&'static str]) -> Field {
    Field { name, aliases, need: Need::Optional }
}

/// Which column holds which field.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Columns {
    by_field: BTreeMap<&'static str, usize>,
    confirmed: Vec<(String, String)>,
}

/// What a column is said to hold when it is to be left out.
const LEFT_OUT: &str = "-";

impl Columns {
    /// Maps headings to fields.
    pub(super) fn map(
        fields: &'static [Field],
        headings: &[String],
        by_hand: &[String],
        remembered: &BTreeMap<String, String>,
    ) -> Result<Self, Fault> {
        let by_hand = read_map(fields, headings, by_hand)?;
        let mut columns = Self { by_field: BTreeMap::new(), confirmed: Vec::new() };
        for (index, heading) in headings.iter().enumerate() {
            let key = fold_key(heading);
            let said = by_hand.get(&key).or_else(|| remembered.get(&key)).cloned();
            let guessed = || guess(fields, &key).map(|field| field.name.to_owned());
            let taken_by_hand =
                |name: &str| by_hand.iter().any(|(other, field)| field == name && *other != key);
            let Some(name) = said.clone().or_else(guessed) else { continue };
            if let Some(name) = said {
                columns.confirmed.push((key.clone(), name));
            }
            let Some(field) = fields.iter().find(|field| field.name == name) else { continue };
            if taken_by_hand(field.name) {
                continue;
            }
            if let Some(other) = columns.by_field.insert(field.name, index) {
                return Err(Fault::decision(
                    format!(
                        "Two columns seem to hold the {}: '{}' and '{heading}'.",
                        field.name, headings[other]
                    ),
                    if *heading == headings[other] {
                        "Give the columns different headings in the file.".to_owned()
                    } else {
                        format!("Leave one out with --map '{heading}=-'.")
                    },
                ));
            }
        }
        columns.refuse_missing(fields, headings)?;
        Ok(columns)
    }

    fn refuse_missing(&self, fields: &[Field], headings: &[String]) -> Result<(), Fault> {
        let missing = fields
            .iter()
            .find(|field| field.need == Need::Needed && !self.by_field.contains_key(field.name));
        missing.map_or(Ok(()), |field| {
            Err(Fault::decision(
                format!(
                    "No column seems to hold the {}. The columns are: {}.",
                    field.name,
                    headings.join(", ")
                ),
                format!("Say which one does with --map 'HEADING={}'.", field.name),
            )
            .keeping("Nothing was written."))
        })
    }

    /// The place of a field's column.
    pub(super) fn index(&self, field: &str) -> Option<usize> {
        self.by_field.get(field).copied()
    }

    /// Whether a field was found for a column.
    pub(super) fn is_taken(&self, column: usize) -> bool {
        self.by_field.values().any(|taken| *taken == column)
    }

    /// Whether a column was left out by hand, now or before.
    pub(super) fn is_left_out(&self, heading: &str) -> bool {
        let key = fold_key(heading);
        self.confirmed.iter().any(|(known, name)| *known == key && name == LEFT_OUT)
    }

    /// Places of columns with a heading that no field was found for.
    pub(super) fn not_read(&self, headings: &[String]) -> Vec<usize> {
        (0..headings.len())
            .filter(|index| !self.is_taken(*index) && !headings[*index].is_empty())
            .collect()
    }

    /// Columns mapped by hand, now or before, to be remembered.
    pub(super) fn confirmed(&self) -> &[(String, String)] {
        &self.confirmed
    }
}

/// What headings would hold, before a file is held to them.
pub(super) struct Guess<'a> {
    fields: &'static [Field],
    by_hand: BTreeMap<String, &'a str>,
    known: &'a BTreeMap<String, String>,
}

impl<'a> Guess<'a> {
    /// For a kind of file, with what was mapped by hand now or before.
    pub(super) fn new(
        fields: &'static [Field],
        by_hand: &'a [String],
        known: &'a BTreeMap<String, String>,
    ) -> Self {
        let by_hand = by_hand.iter().filter_map(|text| text.rsplit_once('='));
        let by_hand = by_hand.map(|(heading, field)| (fold_key(heading), field.trim())).collect();
        Self { fields, by_hand, known }
    }

    /// Whether one of the headings would hold a field.
    pub(super) fn has(&self, field: &str, headings: &[String]) -> bool {
        headings.iter().any(|heading| {
            let key = fold_key(heading);
            let said = self.by_hand.get(&key).copied();
            let said = said.or_else(|| self.known.get(&key).map(String::as_str)).map(fold_key);
            guess(self.fields, &said.unwrap_or(key)).is_some_and(|found| found.name == field)
        })
    }

    /// Whether the headings would hold all that is needed.
    pub(super) fn fits(&self, headings: &[String]) -> bool {
        let needed = self.fields.iter().filter(|field| field.need == Need::Needed);
        needed.into_iter().all(|field| self.has(field.name, headings))
    }
}

/// The fields that a kind of file needs, in words.
pub(super) fn needs(fields: &[Field]) -> String {
    let needed = fields.iter().filter(|field| field.need == Need::Needed);
    needed.map(|field| field.name).collect::<Vec<_>>().join(", ")
}

fn guess(fields: &'static [Field], key: &str) -> Option<&'static Field> {
    let means = |field: &Field| {
        std::iter::once(&field.name).chain(field.aliases).any(|name| fold_key(name) == key)
    };
    fields.iter().find(|field| means(field))
}

fn read_map(
    fields: &'static [Field],
    headings: &[String],
    by_hand: &[String],
) -> Result<BTreeMap<String, String>, Fault> {
    let names: Vec<&str> = fields.iter().map(|field| field.name).collect();
    let mut map = BTreeMap::new();
    for text in by_hand {
        let (heading, field) = text.rsplit_once('=').ok_or_else(|| {
            Fault::usage(
                format!("--map '{text}' is not of the form HEADING=FIELD."),
                format!("The fields are: {}.", names.join(", ")),
            )
        })?;
        if !headings.iter().any(|known| fold_key(known) == fold_key(heading)) {
            let near = near_misses(heading, headings.iter().map(String::as_str));
            return Err(Fault::refused(
                format!("The file has no column '{heading}'."),
                format!("{}The columns are: {}.", did_you_mean(&near), headings.join(", ")),
            ));
        }
        let field = field.trim();
        let name = if field == LEFT_OUT {
            LEFT_OUT
        } else {
            guess(fields, &fold_key(field)).map(|field| field.name).ok_or_else(|| {
                let near = near_misses(field, names.iter().copied());
                Fault::refused(
                    format!("There is no field '{field}'."),
                    format!("{}The fields are: {}.", did_you_mean(&near), names.join(", ")),
                )
            })?
        };
        map.insert(fold_key(heading), name.to_owned());
    }
    Ok(map)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use super::*;

    const FIELDS: &[Field] = &[
        needed("variety", &["cultivar", "name"]),
        needed("count", &["how many"]),
        optional("place", &[]),
    ];

    fn headings(text: &str) -> Vec<String> {
        text.split(',').map(ToOwned::to_owned).collect()
    }

    #[test]
    fn columns_are_guessed_by_alias_whatever_the_case_and_order() {
        let columns =
            Columns::map(FIELDS, &headings("How Many,Cultivar,mood"), &[], &BTreeMap::new())
                .unwrap();
        assert_eq!((columns.index("count"), columns.index("variety")), (Some(0), Some(1)));
        assert_eq!(columns.not_read(&headings("How Many,Cultivar,mood")), [2]);
    }

    #[test]
    fn a_column_mapped_by_hand_wins_over_a_guess_and_is_remembered() {
        let map = ["Bestand=count".to_owned()];
        let columns =
            Columns::map(FIELDS, &headings("variety,count,Bestand"), &map, &BTreeMap::new())
                .unwrap();
        assert_eq!(columns.index("count"), Some(2));
        let remembered: BTreeMap<String, String> = columns.confirmed().iter().cloned().collect();
        let again = Columns::map(FIELDS, &headings("variety,Bestand"), &[], &remembered).unwrap();
        assert_eq!(again.index("count"), Some(1));
    }

    #[test]
    fn a_missing_column_is_asked_for_by_name() {
        let fault =
            Columns::map(FIELDS, &headings("variety,amount"), &[], &BTreeMap::new()).unwrap_err();
        assert!(fault.what.contains("the count"), "{}", fault.what);
        assert!(fault.hint.contains("--map 'HEADING=count'"), "{}", fault.hint);
    }

    #[test]
    fn two_columns_for_one_field_are_asked_about() {
        let fault = Columns::map(FIELDS, &headings("variety,name,count"), &[], &BTreeMap::new())
            .unwrap_err();
        assert!(fault.hint.contains("--map 'name=-'"), "{}", fault.hint);
        let map = ["name=-".to_owned()];
        assert!(
            Columns::map(FIELDS, &headings("variety,name,count"), &map, &BTreeMap::new()).is_ok()
        );
    }
}
