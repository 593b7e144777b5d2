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
    /// A line break, a tab or the like.
    #[error("a name can't hold control characters")]
    ControlCharacter,
}

/// The name of a person, farm, network or device, as shown: 1 to 80 characters on one line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShownName(String);

impl ShownName {
    /// The name.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl FromStr for ShownName {
    type Err = NameError;
    fn from_str(text: &str) -> Result<Self, NameError> {
        let name = text.trim();
        if name.chars().any(char::is_control) {
            return Err(NameError::ControlCharacter);
        }
        match name.chars().count() {
            n if n > 80 => Err(NameError::TooLong(n)),
            _ if fold_key(name).is_empty() => Err(NameError::Empty),
            _ => Ok(Self(name.to_owned())),
        }
    }
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
