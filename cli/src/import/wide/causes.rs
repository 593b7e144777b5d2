//! What drops are lost to where the sheet doesn't say: a flag, or an answer, asked for once.
//!
//! What may not enter: how much was lost.

use std::cell::OnceCell;

use spareloop_domain::words::LossCause;

use super::look;
use crate::ask::Ask;
use crate::fault::Fault;

/// What drops are lost to where neither the cell nor the row says.
pub(in crate::import) struct Causes {
    given: Option<LossCause>,
    ask: Ask,
    answered: OnceCell<LossCause>,
}

impl Causes {
    /// As a flag gave it, else to be asked for.
    pub(in crate::import) const fn new(given: Option<LossCause>, ask: Ask) -> Self {
        Self { given, ask, answered: OnceCell::new() }
    }

    /// The cause, asked for the first time that it is needed.
    pub(super) fn otherwise(&self) -> Result<LossCause, Fault> {
        if let Some(cause) = self.given.or_else(|| self.answered.get().copied()) {
            return Ok(cause);
        }
        let question = "Counts go down and the sheet doesn't say why. What were they lost to (rot, dried out, frozen, gnawed, broken, mislaid, other)?";
        let word = self.ask.text(None, question, "--lost-to CAUSE, or in a column 'cause'")?;
        let cause = look::cause(&word).ok_or_else(|| {
            Fault::refused(
                format!("'{word}' is no cause of loss."),
                "Give the command again with --lost-to rot, dried-out, frozen, gnawed, broken, mislaid or other.",
            )
            .keeping("Nothing was written.")
        })?;
        Ok(*self.answered.get_or_init(|| cause))
    }
}
