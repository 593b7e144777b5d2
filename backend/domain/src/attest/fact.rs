//! What can be stated about a lot.
//!
//! Each kind says what was done or seen, when and how; none has room for a conclusion. What may not
//! enter: what a reader makes of it.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::ledger::body::ToolsBetweenClumps;
use crate::words::{Count, Day, FarmId, HandOverId, Look, StatementId, UnknownWord, plain, word};

word! {
    /// The kinds of statement that a want may ask for.
    FactKind {
        /// How the bench was kept clean.
        BenchHygiene = "bench-hygiene", "bench hygiene";
        /// A soak of the tubers.
        Soak = "soak", "soak";
        /// Looked over for signs.
        LookedOver = "looked-over", "looked over";
        /// A laboratory's test.
        LaboratoryTest = "laboratory-test", "laboratory test";
        /// Where the stock comes from.
        Origin = "origin", "origin";
        /// Papers of an authority that the farm holds.
        MovementPapers = "movement-papers", "movement papers";
    }
}

macro_rules! stated {
    ($(#[$doc:meta])* $name:ident { $($(#[$fdoc:meta])* $field:ident : $ty:ty,)+ }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
        #[serde(deny_unknown_fields)]
        pub struct $name { $($(#[$fdoc])* pub $field: $ty,)+ }
    };
}

stated! {
    /// A solution as it was used.
    Applied {
        /// What it was, as on its label.
        agent: String,
        /// Active strength in percent, above 0 and at most 100, if known.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        strength_percent: Option<f64>,
        /// Contact time in minutes, above 0 and at most 1,440, if known.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        minutes: Option<f64>,
    }
}
stated! {
    /// How the bench was kept clean at the dividing session that the lot comes from.
    BenchHygiene {
        /// The day of the session.
        on: Day,
        /// What was done with the tools between clumps.
        tools: ToolsBetweenClumps,
        /// The tool dip.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        tool_dip: Option<Applied>,
    }
}
stated! {
    /// The tubers were soaked.
    Soak {
        /// The day.
        on: Day,
        /// In what.
        soak: Applied,
    }
}
stated! {
    /// The lot was looked over for signs of disease or pest.
    LookedOver {
        /// The day.
        on: Day,
        /// How.
        look: Look,
        /// Units looked at.
        looked: Count,
        /// Units that the lot had.
        of: Count,
        /// Units that showed signs.
        with_signs: Count,
        /// Which signs, in words; empty if there were none.
        #[serde(default, skip_serializing_if = "String::is_empty")]
        signs: String,
    }
}
stated! {
    /// A laboratory tested units of the lot.
    LaboratoryTest {
        /// The day of its report.
        on: Day,
        /// Which disease or pest it tested for.
        target: String,
        /// By which method.
        method: String,
        /// Units tested.
        tested: Count,
        /// Units in which it was found.
        positive: Count,
        /// The laboratory.
        laboratory: String,
        /// The laboratory's reference of its report.
        reference: String,
    }
}
/// Where stock comes from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "from", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Whence {
    /// Grown on the farm since a year.
    OwnGrown {
        /// The first year in which the farm grew it, from 1900 to 2199.
        since: u16,
    },
    /// Received from another farm of the network.
    HandOver {
        /// By which hand-over.
        hand_over: HandOverId,
        /// From which farm.
        farm: FarmId,
    },
}
stated! {
    /// Where the lot comes from.
    Origin {
        /// Whence.
        whence: Whence,
    }
}
stated! {
    /// Papers that the farm holds from an authority.
    MovementPapers {
        /// The authority's name.
        authority: String,
        /// The papers' number.
        number: String,
        /// Where they hold.
        valid_where: String,
        /// The last day on which they hold.
        valid_until: Day,
    }
}
stated! {
    /// An earlier statement is taken back.
    Revocation {
        /// Which, of the same farm and lot.
        statement: StatementId,
        /// Why, in words.
        why: String,
    }
}

/// What a statement says.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Says {
    /// How the bench was kept clean.
    BenchHygiene(BenchHygiene),
    /// A soak of the tubers.
    Soak(Soak),
    /// Looked over for signs.
    LookedOver(LookedOver),
    /// A laboratory's test.
    LaboratoryTest(LaboratoryTest),
    /// Where the stock comes from.
    Origin(Origin),
    /// Papers of an authority.
    MovementPapers(MovementPapers),
    /// An earlier statement is taken back.
    Revocation(Revocation),
}

/// What no statement may say.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum FactError {
    /// More found than looked at.
    #[error("{found} of {of} can't be: more were found than looked at")]
    MoreThanLooked {
        /// Found.
        found: Count,
        /// Looked at or tested.
        of: Count,
    },
    /// More looked at than there are.
    #[error("{looked} looked at of {of} can't be: the lot had fewer")]
    MoreThanThere {
        /// Looked at.
        looked: Count,
        /// In the lot.
        of: Count,
    },
    /// Nothing was looked at or tested.
    #[error("none were looked at or tested, so there is nothing to state")]
    Nothing,
    /// Signs were seen and not named, or named and not seen.
    #[error("say which signs were seen where some were, and only there")]
    Signs,
    /// Not a strength.
    #[error("a strength is above 0 and at most 100 percent (got {0})")]
    Strength(f64),
    /// Not a contact time.
    #[error("a contact time is above 0 and at most 1,440 minutes (got {0})")]
    Minutes(f64),
    /// Not a year.
    #[error("{0} is not a year from 1900 to 2199")]
    Year(u16),
    /// A text that is empty, too long, or holds what no page can show.
    #[error("{what} has from 1 to 200 characters and no control characters")]
    Text {
        /// Which.
        what: &'static str,
    },
    /// A verdict, which is not the farm's to give.
    #[error("{word:?} is a verdict: state what was done and what was found instead")]
    Verdict {
        /// The word.
        word: &'static str,
    },
}

/// Words that only an authority can give, or nobody.
const VERDICTS: [&str; 6] =
    ["certified", "disease-free", "disease free", "virus-free", "virus free", "guaranteed"];

const MOST_LETTERS: usize = 200;

impl Says {
    /// The kind, if it is one that a want may ask for.
    pub const fn kind(&self) -> Option<FactKind> {
        Some(match self {
            Self::BenchHygiene(_) => FactKind::BenchHygiene,
            Self::Soak(_) => FactKind::Soak,
            Self::LookedOver(_) => FactKind::LookedOver,
            Self::LaboratoryTest(_) => FactKind::LaboratoryTest,
            Self::Origin(_) => FactKind::Origin,
            Self::MovementPapers(_) => FactKind::MovementPapers,
            Self::Revocation(_) => return None,
        })
    }

    /// Refuses what can't be, and verdicts.
    pub fn check(&self) -> Result<(), FactError> {
        match self {
            Self::BenchHygiene(it) => it.tool_dip.as_ref().map_or(Ok(()), Applied::check),
            Self::Soak(it) => it.soak.check(),
            Self::LookedOver(it) => it.check(),
            Self::LaboratoryTest(it) => it.check(),
            Self::Origin(it) => it.check(),
            Self::MovementPapers(it) => {
                text("the authority's name", &it.authority)?;
                text("the papers' number", &it.number)?;
                text("where the papers hold", &it.valid_where)
            }
            Self::Revocation(it) => own_words("why it is taken back", &it.why),
        }
    }
}

impl Applied {
    fn check(&self) -> Result<(), FactError> {
        own_words("the agent", &self.agent)?;
        match (self.strength_percent, self.minutes) {
            (Some(percent), _) if !(percent > 0.0 && percent <= 100.0) => {
                Err(FactError::Strength(percent))
            }
            (_, Some(minutes)) if !(minutes > 0.0 && minutes <= 1440.0) => {
                Err(FactError::Minutes(minutes))
            }
            _ => Ok(()),
        }
    }
}

impl LookedOver {
    fn check(&self) -> Result<(), FactError> {
        if self.looked.is_zero() {
            return Err(FactError::Nothing);
        }
        if self.looked > self.of {
            return Err(FactError::MoreThanThere { looked: self.looked, of: self.of });
        }
        if self.with_signs > self.looked {
            return Err(FactError::MoreThanLooked { found: self.with_signs, of: self.looked });
        }
        if self.with_signs.is_zero() != self.signs.is_empty() {
            return Err(FactError::Signs);
        }
        if self.signs.is_empty() { Ok(()) } else { own_words("the signs", &self.signs) }
    }
}

impl LaboratoryTest {
    fn check(&self) -> Result<(), FactError> {
        if self.tested.is_zero() {
            return Err(FactError::Nothing);
        }
        if self.positive > self.tested {
            return Err(FactError::MoreThanLooked { found: self.positive, of: self.tested });
        }
        own_words("what was tested for", &self.target)?;
        own_words("the method", &self.method)?;
        text("the laboratory", &self.laboratory)?;
        text("the laboratory's reference", &self.reference)
    }
}

impl Origin {
    const fn check(&self) -> Result<(), FactError> {
        match self.whence {
            Whence::OwnGrown { since } if since < 1900 || since > 2199 => {
                Err(FactError::Year(since))
            }
            Whence::OwnGrown { .. } | Whence::HandOver { .. } => Ok(()),
        }
    }
}

fn text(what: &'static str, text: &str) -> Result<(), FactError> {
    let letters = text.chars().count();
    if letters == 0
        || letters > MOST_LETTERS
        || text.trim() != text
        || text.chars().any(char::is_control)
    {
        return Err(FactError::Text { what });
    }
    Ok(())
}

/// A text in the farm's own words, where a verdict could hide. The names of laboratories and
/// authorities are theirs.
fn own_words(what: &'static str, words: &str) -> Result<(), FactError> {
    text(what, words)?;
    let lower = words.to_lowercase();
    match VERDICTS.iter().find(|verdict| lower.contains(*verdict)) {
        Some(word) => Err(FactError::Verdict { word }),
        None => Ok(()),
    }
}
