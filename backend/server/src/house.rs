//! What every handler reaches: the store, the keys, the limits, the clock.
//!
//! One `House` per process, shared by all workers. Calls to the store leave the async threads
//! here and nowhere else. What may not enter: a subject of its own.

use std::sync::Arc;

use chrono::{DateTime, SubsecRound, Utc};
use serde::Serialize;
use serde::de::DeserializeOwned;
use spareloop_domain::words::Day;
use spareloop_store::{ActKey, Store, StoreError, Tx};

use crate::acts::values::KeptValues;
use crate::auth::password::Passwords;
use crate::auth::policy::Policies;
use crate::auth::throttle::Throttle;
use crate::auth::tokens::Signer;
use crate::config::Front;
use crate::error::ServerError;
use crate::keys::Keys;
use crate::telling::Telling;

/// How many passwords are hashed at the same time: each takes 19 MiB and a core.
const HASHES_AT_ONCE: usize = 2;

/// Where the time comes from; tests give their own.
pub type Clock = Arc<dyn Fn() -> DateTime<Utc> + Send + Sync>;

/// How the server is reached.
#[derive(Debug, Clone)]
pub struct Reached {
    /// The address that links begin with, without a slash at the end.
    pub url: String,
    /// Whether a front tells the callers' addresses.
    pub front: Front,
}

impl Reached {
    /// Whether growers come over TLS, so that cookies may be kept to it.
    pub fn by_tls(&self) -> bool {
        self.url.starts_with("https://")
    }
}

/// The house.
pub struct House {
    store: Store,
    clock: Clock,
    /// The server's secret.
    pub keys: Keys,
    /// Makes and reads signed tokens.
    pub signer: Signer,
    /// Hashes and checks passwords.
    pub passwords: Passwords,
    /// Counts tries at a sign-in.
    pub throttle: Throttle,
    /// Who may call what.
    pub policies: Policies,
    /// How the server is reached.
    pub reached: Reached,
    /// The values of its networks, as reckoned last.
    pub values: KeptValues,
    /// How farms are told things beside the pages.
    pub telling: Telling,
}

impl std::fmt::Debug for House {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("House").field("store", &self.store).finish_non_exhaustive()
    }
}

impl House {
    /// Puts a house together.
    pub fn new(
        store: Store,
        keys: Keys,
        policies: Policies,
        reached: Reached,
        clock: Clock,
    ) -> Result<Self, ServerError> {
        Ok(Self {
            store,
            clock,
            signer: Signer::new(&keys),
            keys,
            passwords: Passwords::new(HASHES_AT_ONCE)?,
            throttle: Throttle::default(),
            policies,
            reached,
            values: KeptValues::default(),
            telling: Telling::default(),
        })
    }

    /// The same house, telling farms things that way.
    #[must_use]
    pub fn telling(self, telling: Telling) -> Self {
        Self { telling, ..self }
    }

    /// The time, to the microsecond as both databases keep it.
    pub fn now(&self) -> DateTime<Utc> {
        (self.clock)().trunc_subsecs(6)
    }

    /// Today, for facts that are noted on a page. The server knows no farm's zone and takes UTC.
    pub fn today(&self) -> Result<Day, ServerError> {
        Day::new(self.now().date_naive())
            .map_err(|error| ServerError::broken(format!("the server's clock: {error}")))
    }

    /// Reads one moment of the store.
    pub async fn read<T: Send + 'static>(
        &self,
        work: impl FnMut(&mut Tx<'_>) -> Result<T, StoreError> + Send + 'static,
    ) -> Result<T, ServerError> {
        self.off_thread(|store| store.read(work)).await
    }

    /// Writes to the store, all or nothing.
    pub async fn write<T: Send + 'static>(
        &self,
        work: impl FnMut(&mut Tx<'_>) -> Result<T, StoreError> + Send + 'static,
    ) -> Result<T, ServerError> {
        self.off_thread(|store| store.write(work)).await
    }

    /// Writes to the store once, however often it is asked. A refusal is forgotten: the same act may
    /// be sent again under its key and be done then.
    pub async fn once<T: Serialize + DeserializeOwned + Send + 'static>(
        &self,
        act: ActKey,
        work: impl FnMut(&mut Tx<'_>) -> Result<T, StoreError> + Send + 'static,
    ) -> Result<T, ServerError> {
        let now = self.now();
        let done = self.off_thread(move |store| store.once(&act, now, work)).await?;
        done.answer().map_err(|told| ServerError::told_before(&told))
    }

    /// The same for acts on what others act on, too: whoever was told that it is refused can rely on
    /// it, even if a copy of the act is still on its way.
    pub async fn settle<T: Serialize + DeserializeOwned + Send + 'static>(
        &self,
        act: ActKey,
        work: impl FnMut(&mut Tx<'_>) -> Result<T, StoreError> + Send + 'static,
    ) -> Result<T, ServerError> {
        let now = self.now();
        let tell = |error: &StoreError| ServerError::from(error.clone()).to_be_told_again();
        let done = self.off_thread(move |store| store.settle(&act, now, tell, work)).await?;
        done.answer().map_err(|told| ServerError::told_before(&told))
    }

    /// Calls the store off the async threads.
    pub async fn off_thread<T: Send + 'static>(
        &self,
        work: impl FnOnce(&Store) -> Result<T, StoreError> + Send + 'static,
    ) -> Result<T, ServerError> {
        let store = self.store.clone();
        tokio::task::spawn_blocking(move || work(&store))
            .await
            .map_err(|error| ServerError::broken(format!("a store call ended early: {error}")))?
            .map_err(ServerError::from)
    }
}
