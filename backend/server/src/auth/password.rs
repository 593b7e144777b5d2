//! Passwords: what is accepted, how one is kept, how one is checked.
//!
//! argon2id with 19 MiB, 2 passes, 1 lane (the least that OWASP's password storage cheat sheet
//! names), hashed again at sign-in when it was kept with other parameters. What may not enter: who
//! the password belongs to.

use std::sync::Arc;

use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use argon2::{Algorithm, Argon2, Params, Version};
use tokio::sync::Semaphore;
use unicode_normalization::UnicodeNormalization;

use super::common_passwords::is_common;
use crate::error::ServerError;

/// Fewest characters.
pub const SHORTEST: usize = 15;
/// Most characters, so that nobody makes us hash a novel.
pub const LONGEST: usize = 256;
const MEMORY_KIB: u32 = 19 * 1024;
const PASSES: u32 = 2;
const LANES: u32 = 1;

/// Why a password isn't accepted.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PasswordRefused {
    /// Too short.
    #[error("a password has {SHORTEST} characters or more (got {0}); a sentence is fine")]
    TooShort(usize),
    /// Too long.
    #[error("a password has at most {LONGEST} characters (got {0})")]
    TooLong(usize),
    /// Among the first that anybody would try.
    #[error(
        "that is among the passwords tried first (a common word, a row of keys, something repeated): choose another"
    )]
    Common,
    /// Holds the sign-in name or the farm's name.
    #[error("a password can't hold the sign-in name or the farm's name")]
    HoldsAName,
}

/// Checks a new password. `names` are the sign-in name and the farm's.
///
/// No rule on kinds of letters: length is what counts.
pub fn check_new(password: &str, names: &[&str]) -> Result<(), PasswordRefused> {
    let password = normal(password);
    match password.chars().count() {
        n if n < SHORTEST => return Err(PasswordRefused::TooShort(n)),
        n if n > LONGEST => return Err(PasswordRefused::TooLong(n)),
        _ => {}
    }
    let folded = spareloop_domain::words::fold_key(&password);
    let holds = |name: &&str| {
        let key = spareloop_domain::words::fold_key(name);
        key.chars().count() >= 4 && folded.contains(&key)
    };
    if names.iter().any(holds) {
        return Err(PasswordRefused::HoldsAName);
    }
    if is_common(&password) { Err(PasswordRefused::Common) } else { Ok(()) }
}

/// One form for what looks the same (NFKC), so that two keyboards agree.
fn normal(password: &str) -> String {
    password.nfkc().collect()
}

/// What a check of a password found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Checked {
    /// Right.
    Right,
    /// Right, and to be kept anew as this.
    RightButOld(String),
    /// Wrong.
    Wrong,
}

/// Hashes and checks passwords, a few at a time.
#[derive(Debug, Clone)]
pub struct Passwords {
    turns: Arc<Semaphore>,
    nobody: Arc<str>,
}

impl Passwords {
    /// At most `at_once` hashes run at the same time; each takes 19 MiB.
    pub fn new(at_once: usize) -> Result<Self, ServerError> {
        // What a name that nobody has is checked against, so that it takes as long as any other.
        let nobody = hash("nobody's password, checked for its time alone")?;
        Ok(Self { turns: Arc::new(Semaphore::new(at_once)), nobody: nobody.into() })
    }

    /// Hashes a new password.
    pub async fn hash(&self, password: String) -> Result<String, ServerError> {
        self.take_turn(move || hash(&password)).await?
    }

    /// Checks a password against what is kept of it; `None` when nobody has that name, which takes
    /// as long and answers [`Checked::Wrong`].
    pub async fn check(
        &self,
        password: String,
        kept: Option<String>,
    ) -> Result<Checked, ServerError> {
        let against = kept.clone().unwrap_or_else(|| self.nobody.to_string());
        let right = self.take_turn(move || verify(&password, &against)).await??;
        match (right, kept) {
            (Verified::Right, Some(_)) => Ok(Checked::Right),
            (Verified::RightButOld(new), Some(_)) => Ok(Checked::RightButOld(new)),
            _ => Ok(Checked::Wrong),
        }
    }

    async fn take_turn<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> T + Send + 'static,
    ) -> Result<T, ServerError> {
        let turn = Arc::clone(&self.turns)
            .acquire_owned()
            .await
            .map_err(|error| ServerError::broken(format!("password turns: {error}")))?;
        tokio::task::spawn_blocking(move || {
            let _turn = turn;
            work()
        })
        .await
        .map_err(|error| ServerError::broken(format!("password hashing: {error}")))
    }
}

enum Verified {
    Right,
    RightButOld(String),
    Wrong,
}

fn hasher() -> Result<Argon2<'static>, ServerError> {
    let params = Params::new(MEMORY_KIB, PASSES, LANES, None)
        .map_err(|error| ServerError::broken(format!("argon2 parameters: {error}")))?;
    Ok(Argon2::new(Algorithm::Argon2id, Version::V0x13, params))
}

fn hash(password: &str) -> Result<String, ServerError> {
    hasher()?
        .hash_password(normal(password).as_bytes())
        .map(|hash: PasswordHash| hash.to_string())
        .map_err(|error| ServerError::broken(format!("argon2: {error}")))
}

fn verify(password: &str, kept: &str) -> Result<Verified, ServerError> {
    let parsed = PasswordHash::new(kept).map_err(|error| {
        ServerError::broken(format!("a kept password hash is damaged: {error}"))
    })?;
    if password.chars().count() > LONGEST
        || hasher()?.verify_password(normal(password).as_bytes(), &parsed).is_err()
    {
        return Ok(Verified::Wrong);
    }
    let current = Params::try_from(&parsed).is_ok_and(|params| {
        (params.m_cost(), params.t_cost(), params.p_cost()) == (MEMORY_KIB, PASSES, LANES)
    });
    if current { Ok(Verified::Right) } else { hash(password).map(Verified::RightButOld) }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use super::*;

    #[test]
    fn a_sentence_is_a_good_password() {
        assert_eq!(check_new("the frost came early to the lower bed", &["anna"]), Ok(()));
    }

    #[test]
    fn a_password_of_fourteen_characters_is_refused_and_of_fifteen_taken() {
        assert_eq!(check_new("kelp-moss-ferny", &[]), Ok(()));
        assert_eq!(check_new("kelp-moss-fern", &[]), Err(PasswordRefused::TooShort(14)));
    }

    #[test]
    fn a_password_with_the_farms_name_is_refused_however_it_is_spelt() {
        let names = ["anna", "Élm Hollow"];
        assert_eq!(check_new("we-love-elm-hollow-so", &names), Err(PasswordRefused::HoldsAName));
    }

    #[actix_web::test]
    async fn a_right_password_passes_and_a_wrong_one_and_nobodys_do_not() {
        let passwords = Passwords::new(1).unwrap();
        let kept = passwords.hash("a wet spring and a dry july".into()).await.unwrap();
        assert!(kept.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{kept}");
        let check = |word: &str, kept| passwords.check(word.into(), kept);
        assert_eq!(
            check("a wet spring and a dry july", Some(kept.clone())).await.unwrap(),
            Checked::Right
        );
        assert_eq!(check("a wet spring", Some(kept)).await.unwrap(), Checked::Wrong);
        assert_eq!(
            check("nobody's password, checked for its time alone", None).await.unwrap(),
            Checked::Wrong
        );
    }

    #[actix_web::test]
    async fn a_password_kept_with_older_parameters_is_hashed_anew() {
        let old = Argon2::new(
            Algorithm::Argon2id,
            Version::V0x13,
            Params::new(1024, 1, 1, None).unwrap(),
        );
        let kept: PasswordHash = old.hash_password(b"a wet spring and a dry july").unwrap();
        let passwords = Passwords::new(1).unwrap();
        let checked =
            passwords.check("a wet spring and a dry july".into(), Some(kept.to_string())).await;
        assert!(matches!(checked.unwrap(), Checked::RightButOld(new) if new.contains("m=19456")));
    }
}
