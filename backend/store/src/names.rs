//! Names that people type for themselves, their farms and networks.

use std::fmt;
use std::str::FromStr;

use spareloop_domain::words::fold_key;

/// A text that can't be a name here.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NameError {
    /// Nothing to read.
    #[error("a name needs at least one letter or digit")]
    Empty,
    /// Too long.
    #[error("a name has at most 80 characters (got {0})")]
    TooLong(usize),
    /// A line break, a tab, or a letter that nobody sees: one farm could pass for another by it.
    #[error("a name can't hold control characters or invisible letters")]
    Invisible,
}

/// The name of a person, farm, network or device, as shown: 1 to 80 characters on one line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShownName(String);

impl ShownName {
    /// The name.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// The key on which names are told apart: case, accents, spaces and signs are nothing to it.
    pub fn key(&self) -> String {
        fold_key(&self.0)
    }
}

impl FromStr for ShownName {
    type Err = NameError;
    fn from_str(text: &str) -> Result<Self, NameError> {
        let name = text.trim();
        if name.chars().any(is_invisible) {
            return Err(NameError::Invisible);
        }
        match name.chars().count() {
            n if n > 80 => Err(NameError::TooLong(n)),
            _ if fold_key(name).is_empty() => Err(NameError::Empty),
            _ => Ok(Self(name.to_owned())),
        }
    }
}

/// Control characters, and those of no width or that turn the direction of writing (soft hyphen,
/// zero-width spaces and joiners, direction marks, fillers; Unicode's default ignorables, from
/// memory).
fn is_invisible(letter: char) -> bool {
    letter.is_control()
        || matches!(
            letter,
            '\u{ad}'
                | '\u{34f}'
                | '\u{61c}'
                | '\u{115f}'..='\u{1160}'
                | '\u{180b}'..='\u{180f}'
                | '\u{200b}'..='\u{200f}'
                | '\u{2028}'..='\u{202e}'
                | '\u{2060}'..='\u{206f}'
                | '\u{3164}'
                | '\u{fe00}'..='\u{fe0f}'
                | '\u{feff}'
                | '\u{ffa0}'
                | '\u{e0000}'..='\u{e0fff}'
        )
}

impl fmt::Display for ShownName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// The name that a person signs in with. Two that differ in case, accents, spaces or signs are one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Login(ShownName);

impl Login {
    /// As typed.
    pub fn as_str(&self) -> &str {
        self.0.as_str()
    }

    /// The key on which sign-in names are matched.
    pub fn key(&self) -> String {
        fold_key(self.as_str())
    }
}

impl FromStr for Login {
    type Err = NameError;
    fn from_str(text: &str) -> Result<Self, NameError> {
        text.parse().map(Self)
    }
}

impl fmt::Display for Login {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

/// A thing with its name, as lists show it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Named<Id> {
    /// Its id.
    pub id: Id,
    /// Its name.
    pub name: String,
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn a_farm_can_t_pass_for_another_by_letters_that_nobody_sees() {
        for name in ["farm\u{200b} b", "\u{202e}farm", "fa\u{ad}rm", "farm\tb"] {
            assert_eq!(name.parse::<ShownName>(), Err(NameError::Invisible), "{name:?}");
        }
        assert_eq!("Été Ñ 農園".parse::<ShownName>().unwrap().as_str(), "Été Ñ 農園");
    }
}
