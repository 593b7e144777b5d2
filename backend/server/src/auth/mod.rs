//! Who is calling: passwords, tokens, throttling, and the one check of every operation's policy.
//!
//! ```text
//! password    the rule, argon2id, rehash, the cap on concurrent hashing
//! tokens      access and refresh tokens, set-up links, device tokens, session cookies
//! throttle    how often a name may be tried from one address
//! policy      the access policies, read from the OpenAPI document, and the check itself
//! caller      what a handler gets to know of its caller
//! ```
//!
//! What may not enter: what a caller then does.

pub mod caller;
mod common_passwords;
pub mod password;
pub mod policy;
pub mod throttle;
pub mod tokens;
