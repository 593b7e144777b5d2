//! Every reason to refuse a statement, in one place.
//!
//! What is asked first is what needs the least: is it a signed text, does the key that it names
//! hold, is it what was signed, does it speak of what it is shown for, does it still stand. What may
//! not enter: what it says is worth; that is for people to read.

use serde::{Deserialize, Serialize};

use super::fact::{FactError, Says};
use super::jws::{Compact, JwsError, StatedType};
use super::key::{KeyId, KeyRecord};
use super::second::Second;
use super::statement::{MOST_BYTES, Statement, VERSION};
use crate::words::{FarmId, LotId, StatementId};

/// How far a signer's clock may run ahead: a day, as for ledger entries.
const AHEAD_SECONDS: u32 = 86_400;

/// What a statement is shown for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shown {
    /// Whose it is said to be, if that is known.
    pub farm: Option<FarmId>,
    /// The lot that it is said to be about, if that is known.
    pub lot: Option<LotId>,
    /// Now, by the reader's clock.
    pub now: Second,
}

/// A statement as it is kept.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Kept {
    /// The signed text.
    pub compact: String,
    /// When the network's server took it, if it did: a signer can't move that moment.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub taken_at: Option<Second>,
}

/// A kept statement and whether it holds.
#[derive(Debug, Clone, PartialEq)]
pub struct Checked {
    /// As kept.
    pub kept: Kept,
    /// What it says, or why it is refused.
    pub outcome: Result<Statement, VerifyError>,
}

/// Why a statement is refused.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum VerifyError {
    /// Longer than any statement.
    #[error("it is longer than any statement")]
    TooLong,
    /// No signed text, or changed since it was signed.
    #[error(transparent)]
    Signed(#[from] JwsError),
    /// Signed, but as something else.
    #[error("it is signed, but not as a statement about a lot")]
    NotAStatement,
    /// Its header names no key.
    #[error("it does not say which key signed it")]
    NoKeyNamed,
    /// No key of that id is known.
    #[error("the key {} is not known here", .0.short())]
    UnknownKey(KeyId),
    /// The text that made the key known does not hold.
    #[error("the key {} was never made known as its farm's own", .0.short())]
    KeyNotIntroduced(KeyId),
    /// The statement names another key than the one that signed it.
    #[error("it was signed by the key {}, and names the key {}", signed_by.short(), named.short())]
    WrongKey {
        /// Who signed.
        signed_by: KeyId,
        /// Who is named.
        named: KeyId,
    },
    /// The key belongs to another farm than the one that is said to state it.
    #[error("the key {} is not a key of the farm that is said to state it", .0.short())]
    KeyOfAnotherFarm(KeyId),
    /// Made by a newer version.
    #[error("it is of a newer version ({0}); update this program to read it")]
    Newer(u64),
    /// Signed, and not in the one form that a statement has.
    #[error("it is not in the form that statements have: {0}")]
    NotCanonical(String),
    /// Signed, and says what none may.
    #[error(transparent)]
    Fact(#[from] FactError),
    /// Another farm's than it is shown for.
    #[error("another farm states it")]
    WrongFarm {
        /// Whose it is.
        stated_by: FarmId,
    },
    /// About another lot than it is shown for.
    #[error("it is about another lot, {}", about.code())]
    WrongLot {
        /// Which.
        about: LotId,
    },
    /// A statement that is kept for one lot, shown again for another.
    #[error("it is the statement about lot {}, shown again for another lot", about.code())]
    ShownAgain {
        /// The lot that it is kept for.
        about: LotId,
    },
    /// Another statement of the farm has that id.
    #[error("another statement of that farm has its id")]
    IdTaken,
    /// Signed later than now.
    #[error("it says that it was signed on {0}, which is yet to come")]
    NotYet(Second),
    /// Signed after the key was withdrawn.
    #[error("its key was withdrawn on {0}, before it was signed or shown")]
    KeyWithdrawn(Second),
    /// The farm took it back.
    #[error("the farm took it back: {why}")]
    Revoked {
        /// By which statement.
        by: StatementId,
        /// Why, in the farm's words.
        why: String,
    },
    /// A later statement stands in its place.
    #[error("a later statement of the farm stands in its place")]
    Superseded {
        /// Which.
        by: StatementId,
    },
}

impl VerifyError {
    /// What to do next.
    pub const fn hint(&self) -> &'static str {
        match self {
            Self::UnknownKey(_) | Self::KeyNotIntroduced(_) => {
                "Sync, or ask the farm for its list of keys and compare a key's id with them."
            }
            Self::Newer(_) => "Update this program, then look again.",
            Self::Superseded { .. } | Self::Revoked { .. } => {
                "Read the farm's later statement; this one stays on record."
            }
            Self::NotYet(_) => "Check this machine's clock and the signer's.",
            Self::WrongFarm { .. } | Self::WrongLot { .. } | Self::ShownAgain { .. } => {
                "Take it for the lot and farm that it names, and for nothing else."
            }
            Self::Fact(_) => "Correct it and sign it anew.",
            _ => "Don't rely on it. Ask the farm for the statement itself.",
        }
    }
}

/// Holds one statement against what it is shown for, the keys that are known and the other
/// statements that are kept. Whatever breaks a rule is refused with its own reason.
///
/// Errors in this order: no signed text, no known key, the signature, the form, the farm, the lot,
/// the time, a withdrawn key, taken back, superseded.
pub fn verify(
    kept: &Kept,
    shown: &Shown,
    keys: &[KeyRecord],
    others: &[Kept],
) -> Result<Statement, VerifyError> {
    let said = signed(kept, keys, shown.now)?;
    let others: Vec<Statement> =
        others.iter().filter_map(|other| signed(other, keys, shown.now).ok()).collect();
    concerns(&said, shown, &others)?;
    stands(&said, &others)?;
    Ok(said)
}

/// Holds every statement of a list against the keys and against each other; each is read once.
pub fn verify_all(list: &[Kept], shown: &Shown, keys: &[KeyRecord]) -> Vec<Checked> {
    let read: Vec<Result<Statement, VerifyError>> =
        list.iter().map(|kept| signed(kept, keys, shown.now)).collect();
    let good: Vec<Statement> = read.iter().flatten().cloned().collect();
    let outcome = |said: Result<Statement, VerifyError>| {
        let said = said?;
        concerns(&said, shown, &[])?;
        stands(&said, &good)?;
        Ok(said)
    };
    list.iter()
        .zip(read)
        .map(|(kept, said)| Checked { kept: kept.clone(), outcome: outcome(said) })
        .collect()
}

/// What the text and its key say by themselves.
fn signed(kept: &Kept, keys: &[KeyRecord], now: Second) -> Result<Statement, VerifyError> {
    if kept.compact.len() > MOST_BYTES {
        return Err(VerifyError::TooLong);
    }
    let read = Compact::read(&kept.compact)?;
    let named = read.key().ok_or(VerifyError::NoKeyNamed)?;
    // One key may have been claimed by several farms; only its holder can make it known.
    let mut of_that_id = keys.iter().filter(|record| record.id() == *named).peekable();
    if of_that_id.peek().is_none() {
        return Err(VerifyError::UnknownKey(named.clone()));
    }
    let record = of_that_id
        .find(|record| record.check(keys).is_ok())
        .ok_or_else(|| VerifyError::KeyNotIntroduced(named.clone()))?;
    let payload = read.verified(&record.key)?;
    if read.stated_type() != Some(StatedType::Statement) {
        return Err(VerifyError::NotAStatement);
    }
    let said = in_form(payload)?;
    if said.key != *named {
        let signed_by = named.clone();
        return Err(VerifyError::WrongKey { signed_by, named: said.key });
    }
    if said.farm != record.farm {
        return Err(VerifyError::KeyOfAnotherFarm(said.key));
    }
    said.says.check()?;
    if said.issued_at > now.plus(AHEAD_SECONDS) {
        return Err(VerifyError::NotYet(said.issued_at));
    }
    match record.withdrawn_at {
        Some(at) if came_after(kept.taken_at, said.issued_at, at) => {
            Err(VerifyError::KeyWithdrawn(at))
        }
        _ => Ok(said),
    }
}

/// Whether a statement came after its key was withdrawn. Where the server took it, by the server's
/// clock alone: a thief of the key can date a statement back, and an honest farm's clock may be fast.
fn came_after(taken_at: Option<Second>, issued_at: Second, withdrawn_at: Second) -> bool {
    taken_at.map_or(issued_at >= withdrawn_at, |taken| taken > withdrawn_at)
}

fn in_form(payload: &[u8]) -> Result<Statement, VerifyError> {
    #[derive(Deserialize)]
    struct Versioned {
        v: u64,
    }
    let odd = |error: serde_json::Error| VerifyError::NotCanonical(error.to_string());
    let Versioned { v } = serde_json::from_slice(payload).map_err(odd)?;
    if v > VERSION {
        return Err(VerifyError::Newer(v));
    }
    let said: Statement = serde_json::from_slice(payload).map_err(odd)?;
    match said.canonical() {
        Ok(canonical) if canonical == payload => Ok(said),
        Ok(_) => Err(VerifyError::NotCanonical("it has more than one way to be read".to_owned())),
        Err(why) => Err(VerifyError::NotCanonical(why)),
    }
}

fn concerns(said: &Statement, shown: &Shown, others: &[Statement]) -> Result<(), VerifyError> {
    if shown.farm.is_some_and(|farm| farm != said.farm) {
        return Err(VerifyError::WrongFarm { stated_by: said.farm });
    }
    let of_that_id =
        others.iter().find(|other| other.statement == said.statement && other.farm == said.farm);
    if shown.lot.is_some_and(|lot| lot != said.lot) {
        let about = said.lot;
        return Err(match of_that_id {
            Some(kept) if kept == said => VerifyError::ShownAgain { about },
            Some(_) | None => VerifyError::WrongLot { about },
        });
    }
    match of_that_id {
        Some(kept) if kept != said => Err(VerifyError::IdTaken),
        Some(_) | None => Ok(()),
    }
}

/// Whether no other statement of the same farm about the same lot took it back or took its place.
fn stands(said: &Statement, others: &[Statement]) -> Result<(), VerifyError> {
    let own = || others.iter().filter(|other| other.farm == said.farm && other.lot == said.lot);
    for other in own() {
        if let Says::Revocation(back) = &other.says
            && back.statement == said.statement
        {
            return Err(VerifyError::Revoked { by: other.statement, why: back.why.clone() });
        }
    }
    match own().find(|other| other.supersedes == Some(said.statement)) {
        Some(other) => Err(VerifyError::Superseded { by: other.statement }),
        None => Ok(()),
    }
}
