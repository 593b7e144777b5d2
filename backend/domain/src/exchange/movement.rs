//! Moving plants from region to region: what a coordinator asks for between two of them, and the
//! caution that both farms are told.
//!
//! A rule only narrows. Nothing here says that something may be moved: whether it may, and with which
//! papers, is for the plant health authority to say. What may not enter: rows, distances, a verdict.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::attest::FactKind;
use crate::words::{FarmId, fold_key};

/// What is said wherever stock goes from one region to another (our words; the duty to ask is common
/// practice, no source).
pub const ASK_FIRST: &str = "Both farms: ask your own plant health authority before anything moves. \
    Whether it may, and with which papers, is for them to say; nothing here says so.";

/// A region's name as its coordinator spells it: 1 to 40 characters, none of them a control character,
/// at least one a letter or a digit.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Region(String);

/// A text that names no region.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("a region's name has 1 to 40 characters and no control characters (got {0:?})")]
pub struct RegionError(String);

/// A region as names are matched: case, accents, spaces and hyphens are nothing to it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct RegionKey(String);

impl Region {
    /// The key on which regions are matched.
    pub fn key(&self) -> RegionKey {
        RegionKey(fold_key(&self.0))
    }
}

impl RegionKey {
    /// The key as text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl FromStr for Region {
    type Err = RegionError;
    fn from_str(text: &str) -> Result<Self, RegionError> {
        let name = text.trim();
        let fits = name.chars().count() <= 40 && !name.chars().any(char::is_control);
        if fits && !fold_key(name).is_empty() {
            Ok(Self(name.to_owned()))
        } else {
            Err(RegionError(text.to_owned()))
        }
    }
}

impl TryFrom<String> for Region {
    type Error = RegionError;
    fn try_from(text: String) -> Result<Self, RegionError> {
        text.parse()
    }
}

impl From<Region> for String {
    fn from(region: Region) -> Self {
        region.0
    }
}

impl fmt::Display for Region {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// What a coordinator has set for stock that goes from one region to another.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Rule {
    /// Statements that the lot must bear, perhaps none.
    Asks {
        /// Which kinds.
        required: BTreeSet<FactKind>,
        /// Whom to ask, where to read the rules; may be empty.
        note: String,
    },
    /// Nothing passes through this network.
    NotHere {
        /// Why; may be empty.
        note: String,
    },
}

/// A network's regions and the rules between them.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Movements {
    /// Where each farm is, as far as that is noted.
    pub regions: BTreeMap<FarmId, Region>,
    /// From where, to where.
    pub rules: BTreeMap<(RegionKey, RegionKey), Rule>,
}

/// What there is to say of stock that goes from one farm to another.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Movement<'a> {
    /// Neither farm's region is noted: the network keeps none for them.
    NotNoted,
    /// Both are in one region.
    Within,
    /// From a region to another, or one of the two is not noted.
    Across {
        /// The giver's region, if noted.
        from: Option<&'a Region>,
        /// The taker's, if noted.
        to: Option<&'a Region>,
        /// What the coordinator has set for it, if anything.
        rule: Option<&'a Rule>,
    },
}

impl Movements {
    /// Whether any rule asks for statements.
    pub fn ask_for_statements(&self) -> bool {
        let asks =
            |rule: &Rule| matches!(rule, Rule::Asks { required, .. } if !required.is_empty());
        self.rules.values().any(asks)
    }

    /// What there is to say of stock that goes from `giver` to `taker`.
    pub fn between(&self, giver: FarmId, taker: FarmId) -> Movement<'_> {
        let (from, to) = (self.regions.get(&giver), self.regions.get(&taker));
        match (from, to) {
            (None, None) => Movement::NotNoted,
            (Some(here), Some(there)) if here.key() == there.key() => Movement::Within,
            (Some(here), Some(there)) => {
                let rule = self.rules.get(&(here.key(), there.key()));
                Movement::Across { from, to, rule }
            }
            _ => Movement::Across { from, to, rule: None },
        }
    }
}

impl Movement<'_> {
    /// The kinds of statement that the lot must bear for it, beside what the want asks for.
    pub fn required(&self) -> BTreeSet<FactKind> {
        match self {
            Self::Across { rule: Some(Rule::Asks { required, .. }), .. } => required.clone(),
            _ => BTreeSet::new(),
        }
    }

    /// Whether nothing passes there through this network.
    pub const fn is_stopped(&self) -> bool {
        matches!(self, Self::Across { rule: Some(Rule::NotHere { .. }), .. })
    }

    /// What both farms are told, where stock leaves a region.
    ///
    /// ```
    /// use spareloop_domain::exchange::movement::Movement;
    /// let (from, to) = ("North shore".parse()?, "Islands".parse()?);
    /// let told = Movement::Across { from: Some(&from), to: Some(&to), rule: None }.caution();
    /// assert!(told.is_some_and(|it| it.starts_with("From North shore to Islands. Both farms: ask")));
    /// assert_eq!(Movement::Within.caution(), None);
    /// # Ok::<(), spareloop_domain::exchange::movement::RegionError>(())
    /// ```
    pub fn caution(&self) -> Option<String> {
        let Self::Across { from, to, rule } = self else { return None };
        let name = |region: Option<&Region>| {
            region.map_or_else(|| "a region that is not noted".to_owned(), ToString::to_string)
        };
        let mut said = format!("From {} to {}", name(*from), name(*to));
        let note = match rule {
            None => "",
            Some(Rule::NotHere { note }) => {
                said.push_str(" nothing passes through this network, as the coordinator has set");
                note
            }
            Some(Rule::Asks { required, note }) => {
                if !required.is_empty() {
                    let kinds: Vec<String> = required.iter().map(ToString::to_string).collect();
                    said.push_str(" the coordinator asks for signed statements: ");
                    said.push_str(&kinds.join(", "));
                }
                note
            }
        };
        if !note.is_empty() {
            said.push_str(". The coordinator writes: ");
            said.push_str(note.trim_end_matches('.'));
        }
        Some(format!("{said}. {ASK_FIRST}"))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use uuid::Uuid;

    fn farm(number: u128) -> FarmId {
        FarmId::new(Uuid::from_u128(number))
    }

    fn two_regions(rule: Option<Rule>) -> Movements {
        let (north, islands): (Region, Region) =
            ("North shore".parse().unwrap(), "Islands".parse().unwrap());
        let rules = rule.map(|rule| ((north.key(), islands.key()), rule)).into_iter().collect();
        let again = "north-shore".parse().unwrap();
        let regions = [(farm(1), north), (farm(2), islands), (farm(3), again)].into();
        Movements { regions, rules }
    }

    #[test]
    fn a_region_is_one_however_it_is_spelt_and_a_rule_holds_one_way() {
        let all = two_regions(Some(Rule::NotHere { note: String::new() }));
        assert_eq!(all.between(farm(1), farm(3)), Movement::Within);
        assert!(all.between(farm(3), farm(2)).is_stopped());
        let back = all.between(farm(2), farm(1));
        assert!(!back.is_stopped() && back.caution().unwrap().contains("ask your own"));
    }

    #[test]
    fn where_no_region_is_noted_nothing_is_said_and_where_one_is_the_caution_is() {
        let all = two_regions(None);
        assert_eq!(all.between(farm(8), farm(9)), Movement::NotNoted);
        assert_eq!(all.between(farm(8), farm(9)).caution(), None);
        let told = all.between(farm(1), farm(9)).caution().unwrap();
        assert!(told.starts_with("From North shore to a region that is not noted. Both"), "{told}");
    }

    #[test]
    fn what_the_coordinator_asks_for_and_writes_is_told_and_never_a_verdict() {
        let required = [FactKind::MovementPapers, FactKind::LookedOver].into();
        let note = "The island's office answers on Tuesdays.".to_owned();
        let all = two_regions(Some(Rule::Asks { required, note }));
        let one = all.between(farm(1), farm(2));
        assert_eq!(one.required().len(), 2);
        let told = one.caution().unwrap();
        assert!(
            told.contains("asks for signed statements: looked over, movement papers"),
            "{told}"
        );
        assert!(told.contains("The coordinator writes: The island's office"), "{told}");
        for verdict in ["legal", "allowed", "permitted", "free of", "safe"] {
            assert!(!told.contains(verdict), "{verdict}: {told}");
        }
    }

    #[test]
    fn a_name_that_is_none_is_refused() {
        let long = "x".repeat(41);
        for text in ["", "  ", "--", "two\nlines", long.as_str()] {
            assert!(text.parse::<Region>().is_err(), "{text:?}");
        }
        assert_eq!(" North shore ".parse::<Region>().unwrap().to_string(), "North shore");
    }
}
