//! How a command ends when it can't do what was asked.
//!
//! The ladder: rules refuse with `domain` enums, the book with [`crate::book::BookError`], the
//! network with `ClientError`; each becomes a [`Fault`] here or beside its own type: what happened,
//! what was kept, what to do next, and the exit code. The last line is the one to act on.

use std::fmt;

/// Exit codes, as the manual has them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Exit {
    /// Done.
    Done = 0,
    /// Failed: a full disk, a book that can't be read.
    Failed = 1,
    /// The command was written wrong.
    Usage = 2,
    /// What was given is refused by a rule.
    Refused = 3,
    /// Sign-in needed.
    SignIn = 4,
    /// A decision is needed, and the flag that gives it is named.
    Decision = 5,
    /// The server is out of reach; the work is kept here.
    Away = 6,
    /// Interrupted.
    Interrupted = 130,
}

impl Exit {
    /// The number that the shell sees.
    pub const fn code(self) -> u8 {
        self as u8
    }
}

/// Why a command ended without doing what was asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// What happened.
    pub what: String,
    /// What was kept, if that is not plain.
    pub kept: Option<String>,
    /// What to do next.
    pub hint: String,
    /// How the program exits.
    pub exit: Exit,
}

impl Fault {
    fn new(exit: Exit, what: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { what: what.into(), kept: None, hint: hint.into(), exit }
    }

    /// Something failed that is nobody's input.
    pub fn failed(what: impl Into<String>, hint: impl Into<String>) -> Self {
        Self::new(Exit::Failed, what, hint)
    }

    /// The command was written wrong.
    pub fn usage(what: impl Into<String>, hint: impl Into<String>) -> Self {
        Self::new(Exit::Usage, what, hint)
    }

    /// A rule refuses what was given.
    pub fn refused(what: impl Into<String>, hint: impl Into<String>) -> Self {
        Self::new(Exit::Refused, what, hint)
    }

    /// A sign-in is needed.
    pub fn sign_in(what: impl Into<String>, hint: impl Into<String>) -> Self {
        Self::new(Exit::SignIn, what, hint)
    }

    /// A decision is needed; `hint` names the flag.
    pub fn decision(what: impl Into<String>, hint: impl Into<String>) -> Self {
        Self::new(Exit::Decision, what, hint)
    }

    /// The server is out of reach.
    pub fn away(what: impl Into<String>, hint: impl Into<String>) -> Self {
        Self::new(Exit::Away, what, hint)
    }

    /// Says what was kept.
    #[must_use]
    pub fn keeping(mut self, kept: impl Into<String>) -> Self {
        self.kept = Some(kept.into());
        self
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "{}", self.what)?;
        if let Some(kept) = &self.kept {
            writeln!(f, "{kept}")?;
        }
        write!(f, "{}", self.hint)
    }
}

impl std::error::Error for Fault {}
