//! The envelope of a statement, its canonical form, and signing it.

use serde::{Deserialize, Serialize};

use super::fact::{FactError, Says};
use super::jws::{self, StatedType};
use super::key::{KeyId, SigningKey};
use super::second::Second;
use crate::words::{FarmId, LotId, StatementId};

/// The version of every statement that this program signs.
pub const VERSION: u64 = 1;
/// The most bytes that a statement in its compact form may have.
pub const MOST_BYTES: usize = 8 * 1024;

/// What a farm states about a lot, as it is signed: canonical JSON (RFC 8785) of this.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Statement {
    /// [`VERSION`].
    pub v: u64,
    /// Its id.
    pub statement: StatementId,
    /// Who states it.
    pub farm: FarmId,
    /// About which lot.
    pub lot: LotId,
    /// The key that it is signed with.
    pub key: KeyId,
    /// When it was signed, by the signer's clock.
    pub issued_at: Second,
    /// The earlier statement, of the same farm and lot, in whose place this one stands.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub supersedes: Option<StatementId>,
    /// What it says.
    pub says: Says,
}

impl Statement {
    /// The bytes that are signed.
    pub(super) fn canonical(&self) -> Result<Vec<u8>, String> {
        serde_json_canonicalizer::to_vec(self).map_err(|error| error.to_string())
    }
}

/// Signs a statement with the key that it names and answers the compact form.
///
/// ```
/// use spareloop_domain::attest::{self, Origin, Says, Second, SigningKey, Statement, Whence};
/// use spareloop_domain::words::{FarmId, LotId, StatementId, uuid_v7};
/// let key = SigningKey::from_bytes([7; 32]);
/// let id = uuid_v7(1_760_000_000_000, [1; 10]);
/// let compact = attest::sign(
///     Statement {
///         v: attest::VERSION,
///         statement: StatementId::new(id),
///         farm: FarmId::new(id),
///         lot: LotId::new(id),
///         key: key.public().id(),
///         issued_at: Second::of_millis(1_760_000_000_000),
///         supersedes: None,
///         says: Says::Origin(Origin { whence: Whence::OwnGrown { since: 2023 } }),
///     },
///     &key,
/// )?;
/// assert_eq!(compact.split('.').count(), 3);
/// # Ok::<(), attest::FactError>(())
/// ```
pub fn sign(mut statement: Statement, key: &SigningKey) -> Result<String, FactError> {
    statement.key = key.public().id();
    statement.says.check()?;
    // Whole numbers, texts and checked fractions always have a canonical form.
    let payload = statement.canonical().unwrap_or_default();
    Ok(jws::sign(StatedType::Statement, &payload, key))
}
