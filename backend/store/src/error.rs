//! Why the store could not do what it was asked.
//!
//! The ladder: `domain` refuses with its own enums; the store adds what only a database can know
//! (out of reach, taken, gone); the server turns both into problems with a code. What a person may
//! read is in `Display`; what only the log may hold is in [`StoreError::log_text`].

use diesel::result::{DatabaseErrorKind, Error as DieselError};
use spareloop_domain::words::Count;

use crate::Refused;

/// Why the store could not do what it was asked. Nothing was changed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum StoreError {
    /// The database is out of reach or has no room; the same act may well succeed later.
    #[error(transparent)]
    Outage(#[from] Outage),
    /// Somebody or something was there first.
    #[error(transparent)]
    Conflict(#[from] Conflict),
    /// Not there, or not the caller's to see: the two look the same.
    #[error(transparent)]
    Missing(#[from] Missing),
    /// A rule of the trade says no.
    #[error(transparent)]
    Refused(#[from] Refused),
    /// A row says what it can't.
    #[error("the server's book is damaged")]
    Corrupt {
        /// Which row and why, for the log.
        log: String,
    },
    /// This kind of database does that another way.
    #[error("{what} is not for this database: {hint}")]
    NotForThisDatabase {
        /// What was asked.
        what: &'static str,
        /// What to do instead.
        hint: &'static str,
    },
    /// A database with other tables.
    #[error("this database is not a server's book: another program made it")]
    NotOurs,
    /// Its tables are of a later version than this program knows.
    #[error("this database was made by a newer version of the server (its tables are of {tables})")]
    Newer {
        /// The newest.
        tables: String,
    },
    /// A copy was being put into the database and that did not end.
    #[error("a copy was being put back and that was cut off")]
    RestoreCutOff,
    /// A fault in this program.
    #[error("something broke in the server's book")]
    Broken {
        /// What the database said, for the log.
        log: String,
    },
}

impl StoreError {
    /// What the log may hold beyond the words for people.
    pub fn log_text(&self) -> Option<&str> {
        match self {
            Self::Outage(Outage { log, .. }) | Self::Corrupt { log } | Self::Broken { log } => {
                Some(log)
            }
            _ => None,
        }
    }

    pub(crate) fn outage(kind: OutageKind, log: impl ToString) -> Self {
        Self::Outage(Outage { kind, log: log.to_string() })
    }

    pub(crate) fn corrupt(log: impl ToString) -> Self {
        Self::Corrupt { log: log.to_string() }
    }

    pub(crate) fn broken(log: impl ToString) -> Self {
        Self::Broken { log: log.to_string() }
    }
}

/// The database is out of reach or has no room.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{kind}")]
pub struct Outage {
    /// In what way.
    pub kind: OutageKind,
    /// What the database said, for the log.
    pub log: String,
}

/// In what way the database is out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum OutageKind {
    /// No connection, or it broke.
    #[error("the server can't reach its book")]
    Unreachable,
    /// Others held it for longer than we wait.
    #[error("the server's book is busy")]
    Busy,
    /// Two acts got in each other's way and the database gave one up; it was tried again in vain.
    #[error("the server's book is busy")]
    Contended,
    /// The disk is full, or can't be written.
    #[error("the server has no room to write")]
    NoRoom,
    /// The machine gives no randomness.
    #[error("the server can't make random numbers")]
    NoRandomness,
}

/// Somebody or something was there first.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Conflict {
    /// An idempotency key came again with another request.
    #[error("this Idempotency-Key was used for another request")]
    KeyReused,
    /// The same act is being worked on.
    #[error("the first of these requests is still being worked on")]
    StillWorking,
    /// A name or id that must be single is taken.
    #[error("{0} is taken already")]
    AlreadyTaken(Taken),
    /// A single-use code is used up, withdrawn, too old or was never given.
    #[error("{0} no longer works")]
    CodeUsedUp(CodeFor),
    /// Somebody set the server up already.
    #[error("this server is set up already")]
    AlreadySetUp,
    /// The coordinator has a network already.
    #[error("you run a network already")]
    HasNetwork,
    /// A round of the network is under way.
    #[error("a round is under way")]
    RoundUnderWay,
    /// Somebody acted between what was read and what was to be written.
    #[error("somebody has acted on it meanwhile")]
    ActedMeanwhile,
    /// Fewer are free than were asked for.
    #[error("{asked} asked for, {free} free")]
    NotEnoughFree {
        /// Asked for.
        asked: Count,
        /// Neither held nor handed over.
        free: Count,
    },
}

/// What is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Taken {
    /// A sign-in name.
    #[error("that sign-in name")]
    Login,
    /// A farm's id.
    #[error("that farm's id")]
    Farm,
    /// A farm's name in its network.
    #[error("that name, by another farm of the network,")]
    FarmName,
    /// A device's id.
    #[error("that device's id")]
    Device,
    /// An offer's id.
    #[error("that offer's id")]
    Offer,
    /// A want's id.
    #[error("that want's id")]
    Want,
    /// A hold's id.
    #[error("that hold's id")]
    Hold,
    /// A hand-over's id.
    #[error("that hand-over's id")]
    HandOver,
    /// A key for signing.
    #[error("that key")]
    Key,
    /// What a channel leads to.
    #[error("that address, by another channel of your farm,")]
    Target,
    /// A claim.
    #[error("that claim")]
    Claim,
    /// A payment that was noted.
    #[error("that payment")]
    Payment,
    /// A photo.
    #[error("that photo")]
    Photo,
    /// A farm's turn in the line for an offer.
    #[error("your turn in that line")]
    Turn,
}

/// What a single-use code is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum CodeFor {
    /// Setting the server up.
    #[error("that set-up link")]
    SetUp,
    /// Joining a network.
    #[error("that invitation")]
    Joining,
    /// Confirming an address of e-mail, or ending what is sent there.
    #[error("that link")]
    Letter,
}

/// What is not there, or not the caller's to see.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Missing {
    /// A person.
    #[error("there is no such person here")]
    Person,
    /// A network.
    #[error("there is no such network here")]
    Network,
    /// A farm.
    #[error("there is no such farm here")]
    Farm,
    /// A device.
    #[error("there is no such device here")]
    Device,
    /// An invitation.
    #[error("there is no such invitation here")]
    Invitation,
    /// A lot.
    #[error("there is no such lot in your farm's synced stock book")]
    Lot,
    /// An offer.
    #[error("there is no such offer here")]
    Offer,
    /// A want.
    #[error("there is no such want here")]
    Want,
    /// A hold.
    #[error("there is no such hold here")]
    Hold,
    /// A hand-over.
    #[error("there is no such hand-over here")]
    HandOver,
    /// A key for signing.
    #[error("there is no such key here")]
    Key,
    /// A channel.
    #[error("there is no such channel here")]
    Channel,
    /// A round.
    #[error("there is no such round here")]
    Round,
    /// A proposal.
    #[error("there is no such proposal here")]
    Proposal,
    /// A parcel.
    #[error("there is no parcel for that hold")]
    Parcel,
    /// A claim.
    #[error("there is no such claim here")]
    Claim,
    /// A payment that was noted.
    #[error("there is no such payment here")]
    Payment,
    /// A photo.
    #[error("there is no such photo here")]
    Photo,
    /// A question to a giver.
    #[error("there is no such question here")]
    Question,
    /// A turn in a line.
    #[error("there is no such turn in a line here")]
    Turn,
}

impl StoreError {
    /// A rule of the trade says no.
    pub(crate) fn refuse(why: impl Into<Refused>) -> Self {
        Self::Refused(why.into())
    }
}

impl From<DieselError> for StoreError {
    fn from(error: DieselError) -> Self {
        let log = error.to_string();
        match error {
            DieselError::DatabaseError(kind, said) => of_database(kind, said.message(), log),
            DieselError::DeserializationError(_) => Self::corrupt(log),
            DieselError::BrokenTransactionManager => Self::outage(OutageKind::Unreachable, log),
            _ => Self::broken(log),
        }
    }
}

// Diesel keeps neither SQLite's result codes nor most SQLSTATEs, so the message has to tell.
fn of_database(kind: DatabaseErrorKind, message: &str, log: String) -> StoreError {
    let says = |parts: &[&str]| parts.iter().any(|part| message.contains(part));
    match kind {
        DatabaseErrorKind::SerializationFailure => StoreError::outage(OutageKind::Contended, log),
        DatabaseErrorKind::ClosedConnection | DatabaseErrorKind::UnableToSendCommand => {
            StoreError::outage(OutageKind::Unreachable, log)
        }
        _ if says(&["deadlock detected"]) => StoreError::outage(OutageKind::Contended, log),
        _ if says(&["is locked", "lock timeout", "statement timeout"]) => {
            StoreError::outage(OutageKind::Busy, log)
        }
        _ if says(&[
            "disk is full",
            "No space left",
            "could not extend file",
            "disk I/O error",
            "readonly database",
        ]) =>
        {
            StoreError::outage(OutageKind::NoRoom, log)
        }
        _ if says(&[
            "terminating connection",
            "server closed the connection",
            "unable to open database file",
            "the database system is",
            "connection to server",
        ]) =>
        {
            StoreError::outage(OutageKind::Unreachable, log)
        }
        // What this program asks fits its own tables, so an answer that they differ is damage; so is a rule
        // of theirs that speaks of a function that there isn't.
        _ if says(&[
            "malformed",
            "not a database",
            "no such ",
            "unknown function",
            "unsupported file format",
        ]) =>
        {
            StoreError::corrupt(log)
        }
        _ => StoreError::broken(log),
    }
}

/// Reads a broken UNIQUE as what it means at this insert.
pub(crate) fn taken(what: Taken) -> impl Fn(DieselError) -> StoreError {
    move |error| match error {
        DieselError::DatabaseError(DatabaseErrorKind::UniqueViolation, _) => {
            Conflict::AlreadyTaken(what).into()
        }
        other => other.into(),
    }
}

/// Whether as many rows were written as must be.
pub(crate) fn one_row(written: usize, otherwise: impl Into<StoreError>) -> Result<(), StoreError> {
    if written == 1 { Ok(()) } else { Err(otherwise.into()) }
}
