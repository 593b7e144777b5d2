//! Names of varieties: spelling kept, matched on a folded key.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;

/// The name of a variety as its grower spells it, without the quotes of the epithet.
///
/// 1 to 60 characters, no control characters. The rules of the International Code of Nomenclature
/// for Cultivated Plants (at most 30 characters since 1996, and so on) are advice that
/// [`VarietyName::advice`] gives; old and garden names break them and are still grown.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct VarietyName(String);

/// A text that can't name a variety.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NameError {
    /// Nothing to read.
    #[error("a variety needs a name")]
    Empty,
    /// Longer than anyone writes on a label.
    #[error("a variety's name has at most 60 characters (got {0})")]
    TooLong(usize),
    /// A line break, a tab or the like.
    #[error("a variety's name can't hold control characters")]
    ControlCharacter,
}

pub(super) const QUOTES: [char; 8] = ['\'', '"', '‘', '’', '“', '”', '`', '´'];

impl VarietyName {
    /// The name in single quotes, as the code for cultivated plants writes it.
    pub fn quoted(&self) -> String {
        format!("'{}'", self.0)
    }

    /// The name as spelt.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// Where the name differs from the code for cultivated plants (ICNCP), as far as the name
    /// alone can tell.
    ///
    /// Whether a Latin form is allowed depends on the year of publication, and is not told here.
    ///
    /// ```
    /// use spareloop_domain::words::{NameAdvice, VarietyName};
    /// let name: VarietyName = "lantern Row".parse()?;
    /// assert_eq!(name.advice(), [NameAdvice::Capital("lantern".to_owned())]);
    /// # Ok::<(), spareloop_domain::words::NameError>(())
    /// ```
    pub fn advice(&self) -> Vec<super::NameAdvice> {
        super::name_advice::advice(&self.0)
    }

    /// The key on which names are matched.
    pub fn key(&self) -> String {
        fold_key(&self.0)
    }
}

impl FromStr for VarietyName {
    type Err = NameError;
    fn from_str(text: &str) -> Result<Self, NameError> {
        if text.chars().any(char::is_control) {
            return Err(NameError::ControlCharacter);
        }
        let name = text.trim().trim_matches(QUOTES).trim();
        match name.chars().count() {
            0 => Err(NameError::Empty),
            n if n > 60 => Err(NameError::TooLong(n)),
            _ => Ok(Self(name.nfc().collect())),
        }
    }
}

impl TryFrom<String> for VarietyName {
    type Error = NameError;
    fn try_from(text: String) -> Result<Self, NameError> {
        text.parse()
    }
}

impl From<VarietyName> for String {
    fn from(name: VarietyName) -> Self {
        name.0
    }
}

impl fmt::Display for VarietyName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// Folds a name to the key on which it is matched: case, accents, quotes, hyphens and spaces go.
///
/// ```
/// use spareloop_domain::words::fold_key;
/// assert_eq!(fold_key("‘Été  de-Neige’"), fold_key("ete de neige"));
/// ```
pub fn fold_key(name: &str) -> String {
    name.nfkd()
        .filter(|letter| !is_combining_mark(*letter))
        .flat_map(char::to_lowercase)
        .filter(|letter| letter.is_alphanumeric())
        .collect()
}

/// The known names nearest to one that wasn't found, best first, at most three.
///
/// Nearness is the Jaro–Winkler similarity of the folded keys, at least 0.85.
pub fn near_misses<'a>(given: &str, known: impl IntoIterator<Item = &'a str>) -> Vec<String> {
    let wanted = fold_key(given);
    let mut scored: Vec<(f64, &str)> = known
        .into_iter()
        .map(|name| (strsim::jaro_winkler(&wanted, &fold_key(name)), name))
        .filter(|(score, _)| *score >= 0.85)
        .collect();
    scored.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(b.1)));
    scored.into_iter().take(3).map(|(_, name)| name.to_owned()).collect()
}
