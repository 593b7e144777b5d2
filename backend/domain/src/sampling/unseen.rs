//! Diseases that tubers and plants carry without showing it: looking can't show freedom from them.
//!
//! The list is short and each entry says where it comes from; it is no diagnosis and no advice.
//! A disease that isn't on it may hide as well. What may not enter: how a disease is treated; that
//! is for the plant health authority and licensed advice.

use crate::words::fold_key;

/// How well a fact is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Grade {
    /// Read in a paper.
    Paper,
    /// Read in a page of a university's or a state's advice.
    Extension,
    /// Read in a page of a plant health organisation.
    Agency,
    /// Read in a page of a growers' society.
    Society,
    /// Recalled, not read again.
    Memory,
}

/// A disease or pest that may be there and show nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CarriedUnseen {
    /// As people call it.
    pub name: &'static str,
    /// Other names; compared by folded key.
    pub also: &'static [&'static str],
    /// Why looking can't exclude it.
    pub why: &'static str,
    /// Where that is from.
    pub source: &'static str,
    /// How well it is known.
    pub grade: Grade,
}

/// What is known to hide.
pub const CARRIED_UNSEEN: &[CarriedUnseen] = &[
    CarriedUnseen {
        name: "dahlia mosaic virus",
        also: &["DMV", "DCMV", "dahlia common mosaic virus", "mosaic", "mosaic virus", "virus"],
        why: "it comes mostly with infected tubers or cuttings, and they may show no signs",
        source: "Utah State University Extension 2022",
        grade: Grade::Extension,
    },
    CarriedUnseen {
        name: "tobacco streak virus",
        also: &["TSV", "streak virus"],
        why: "plants that have it nearly always pass it to their tubers, which are not told apart by looking",
        source: "American Dahlia Society, virus testing 2021",
        grade: Grade::Society,
    },
    CarriedUnseen {
        name: "tomato spotted wilt virus",
        also: &["TSWV", "spotted wilt", "INSV", "impatiens necrotic spot virus", "tospovirus"],
        why: "it sits unevenly in a plant, so that even a part taken to a laboratory can miss it",
        source: "Dekic et al., Pesticidi i fitomedicina 2008; EPPO Reporting Service 2004/068",
        grade: Grade::Paper,
    },
    CarriedUnseen {
        name: "chrysanthemum stunt viroid",
        also: &["CSVd", "stunt viroid", "viroid", "viroids"],
        why: "dahlias carry it often (94 of 214 samples in Japan), mostly without signs (the last from memory)",
        source: "Asano et al., European Journal of Plant Pathology 156 (2020) 245",
        grade: Grade::Memory,
    },
    CarriedUnseen {
        name: "leafy gall",
        also: &["Rhodococcus fascians", "Rhodococcus", "fasciation"],
        why: "it lives on plants for months before it shows",
        source: "PNW Plant Disease Management Handbook, leafy gall, revised March 2024",
        grade: Grade::Extension,
    },
    CarriedUnseen {
        name: "crown gall",
        also: &["Agrobacterium tumefaciens", "Agrobacterium", "gall"],
        why: "knives carry it on, and a cut that took it shows a gall only weeks later (the last from memory)",
        source: "PNW Plant Disease Management Handbook, dahlia crown gall, revised March 2025",
        grade: Grade::Memory,
    },
];

/// Whether looking may show freedom from what was named.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MayLookingShow {
    /// It is known to hide.
    No(&'static CarriedUnseen),
    /// Nothing is known here, so it must be taken to hide.
    NotKnown,
}

/// What is known of a disease or pest, whatever the case of its name.
///
/// ```
/// use spareloop_domain::sampling::{MayLookingShow, looking_for};
/// assert!(matches!(looking_for("dmv"), MayLookingShow::No(known) if known.name == "dahlia mosaic virus"));
/// assert_eq!(looking_for("a new one"), MayLookingShow::NotKnown);
/// ```
pub fn looking_for(name: &str) -> MayLookingShow {
    let wanted = fold_key(name);
    let bears = |known: &&CarriedUnseen| {
        std::iter::once(&known.name).chain(known.also).any(|name| fold_key(name) == wanted)
    };
    CARRIED_UNSEEN.iter().find(bears).map_or(MayLookingShow::NotKnown, MayLookingShow::No)
}

impl MayLookingShow {
    /// In words, for the disease as the grower named it.
    pub fn sentence(self, named: &str) -> String {
        match self {
            Self::No(known) => format!(
                "Looking can't show freedom from {}: {} ({}). Only a laboratory's test can tell, and it too can miss.",
                known.name, known.why, known.source
            ),
            Self::NotKnown => format!(
                "Nothing is known here of how '{named}' shows itself: take it that looking can't show freedom from it, and ask the plant health authority."
            ),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_name_means_two_diseases() {
        let mut keys: Vec<String> = CARRIED_UNSEEN
            .iter()
            .flat_map(|known| std::iter::once(&known.name).chain(known.also))
            .map(|name| fold_key(name))
            .collect();
        let all = keys.len();
        keys.sort();
        keys.dedup();
        assert_eq!(keys.len(), all);
    }
}
