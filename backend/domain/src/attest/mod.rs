//! Signed statements: what a farm states about a lot, over a key that stays on its device.
//!
//! ```text
//! fact       what can be stated, one struct a kind, and what no statement may say
//! statement  the envelope: who, about which lot, when, with which key, instead of what
//! jws        the compact form that travels (RFC 7515 with Ed25519, RFC 8037)
//! key        keys, their ids (RFC 7638), and how a farm makes a key known
//! verify     every reason to refuse, in one function
//! require    the kinds that a want asks for, and which are missing
//! prefill    what the farm's own stock book says already
//! sentence   in words: who states what, when, on what basis; never a verdict
//! second     a moment on a signer's clock
//! ```
//!
//! A statement is a farm's word and not a certificate. What may not enter: where keys are kept,
//! randomness (32 bytes are an argument), clocks, and any judgement whether a lot is healthy.

mod fact;
mod jws;
mod key;
mod prefill;
mod require;
mod second;
mod sentence;
mod statement;
mod verify;

pub use fact::{
    Applied, BenchHygiene, FactError, FactKind, LaboratoryTest, LookedOver, MovementPapers, Origin,
    Revocation, Says, Soak, Whence,
};
pub use jws::{Compact, JwsError, StatedType};
pub use key::{IntroducedBy, KeyError, KeyId, KeyRecord, PublicKey, SigningKey};
pub use prefill::{hygiene_of, look_of, origin_of, soak_of};
pub use require::missing;
pub use second::Second;
pub use sentence::{CAUTION, Tested, stated, tested};
pub use statement::{MOST_BYTES, Statement, VERSION, sign};
pub use verify::{Checked, Kept, Shown, VerifyError, verify, verify_all};

#[cfg(test)]
mod tests;
