//! Questions: only on a terminal, each with a flag that answers it beforehand.

use std::io::IsTerminal;

use dialoguer::{Confirm, Input, Password};

use crate::fault::{Exit, Fault};

/// Whether questions may be asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Asking {
    /// There is a terminal and nobody said otherwise.
    Allowed,
    /// No terminal, or `--no-input`.
    Never,
}

/// Whether what binds was agreed to beforehand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Consent {
    /// `--yes`.
    Given,
    /// To be asked for.
    ToAsk,
}

/// Asks.
#[derive(Debug, Clone, Copy)]
pub struct Ask {
    /// Whether questions may be asked.
    pub asking: Asking,
    /// Whether what binds was agreed to beforehand.
    pub consent: Consent,
}

impl Asking {
    /// Allowed only with a terminal at both ends.
    pub fn of_terminal() -> Self {
        if std::io::stdin().is_terminal() && std::io::stderr().is_terminal() {
            Self::Allowed
        } else {
            Self::Never
        }
    }
}

fn broken(error: &dialoguer::Error) -> Fault {
    let dialoguer::Error::IO(error) = error;
    if error.kind() == std::io::ErrorKind::Interrupted {
        Fault {
            what: "Interrupted.".to_owned(),
            kept: Some("Nothing was noted.".to_owned()),
            hint: "Give the command again when you are ready.".to_owned(),
            exit: Exit::Interrupted,
        }
    } else {
        Fault::failed(format!("The terminal can't be read: {error}."), "Give the answers as flags.")
    }
}

impl Ask {
    fn may(self, question: &str, flag: &str) -> Result<(), Fault> {
        match self.asking {
            Asking::Allowed => Ok(()),
            Asking::Never => Err(Fault::decision(
                format!("An answer is needed: {question}"),
                format!("Give it with {flag}."),
            )),
        }
    }

    /// A line of text, unless a flag gave it.
    pub fn text(self, given: Option<String>, question: &str, flag: &str) -> Result<String, Fault> {
        if let Some(given) = given {
            return Ok(given);
        }
        self.may(question, flag)?;
        Input::new().with_prompt(question).interact_text().map_err(|error| broken(&error))
    }

    /// A line of text that may stay empty; without a terminal, `otherwise`.
    pub fn text_or(
        self,
        given: Option<String>,
        question: &str,
        otherwise: &str,
    ) -> Result<String, Fault> {
        match (given, self.asking) {
            (Some(given), _) => Ok(given),
            (None, Asking::Never) => Ok(otherwise.to_owned()),
            (None, Asking::Allowed) => Input::new()
                .with_prompt(question)
                .default(otherwise.to_owned())
                .interact_text()
                .map_err(|error| broken(&error)),
        }
    }

    /// A secret, never echoed.
    pub fn secret(self, question: &str, flag: &str) -> Result<String, Fault> {
        self.may(question, flag)?;
        Password::new().with_prompt(question).interact().map_err(|error| broken(&error))
    }

    /// Agreement to what binds.
    pub fn consent(self, question: &str) -> Result<(), Fault> {
        if self.consent == Consent::Given {
            return Ok(());
        }
        self.may(question, "--yes")?;
        let agreed = Confirm::new()
            .with_prompt(question)
            .default(false)
            .interact()
            .map_err(|error| broken(&error))?;
        if agreed {
            Ok(())
        } else {
            Err(Fault::decision("Left as it was.", "Nothing was written. Give --yes to go ahead."))
        }
    }
}
