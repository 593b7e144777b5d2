//! The server of the simulation: the real store over a real file, answering what devices ask, with
//! no HTTP between.

use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};
use spareloop_cli::sync::courier::{Ask, Heard};
use spareloop_domain::ledger::sync::BatchLimits;
use spareloop_domain::ledger::{Draft, Entry};
use spareloop_domain::words::{DeviceId, FarmId, InvitationId, PersonId};
use spareloop_server::keep::{Keeper, Present};
use spareloop_server::views;
use spareloop_store::people::{self, NewFarm, NewInvitation, NewPerson};
use spareloop_store::{DatabaseUrl, SecretHash, Store, StoreError, devices, ledger};

use crate::template::id;
use crate::witness::{Lives, Reader};

/// A copy of the server's file.
#[derive(Debug, Clone)]
pub struct HouseCopy {
    /// Where it lies.
    pub path: PathBuf,
    /// At which step it was made.
    pub step: u32,
}

/// A running server, its file, and copies that were made of it.
pub struct House {
    path: PathBuf,
    store: Option<Store>,
    /// Reads the file beside the server.
    pub reader: Option<Reader>,
    /// What the file held, life by life.
    pub lives: Lives,
    /// Copies of the file, oldest first.
    pub copies: Vec<HouseCopy>,
    /// The newest stamp that it gave itself.
    pub own_newest: (i64, i64),
    copied: u32,
}

fn time(millis: u64) -> DateTime<Utc> {
    let millis = i64::try_from(millis).expect("a time of our days");
    DateTime::from_timestamp_millis(millis).expect("a time of our days")
}

/// Makes the network, the farm and a person that acts for it, in a new file.
pub fn set_up(path: &Path, farm: FarmId, now: u64) {
    let store = Store::open(&DatabaseUrl::Sqlite(path.to_owned())).expect("a new store");
    let person = |number, login: &str| NewPerson {
        id: PersonId::new(id(number)),
        login: login.parse().expect("a login"),
        display_name: login.parse().expect("a name"),
        password_hash: "$argon2id$invented".to_owned(),
    };
    let (token, code) = (SecretHash::of("set-up"), SecretHash::of("code"));
    let (coordinator, grower) = (person(11, "coordinator"), person(12, "grower"));
    let name = || "Larkhusk".parse().expect("a name");
    store
        .write(|tx| {
            people::put_set_up_token(tx, token, time(now))?;
            people::use_set_up_token(tx, token, &coordinator, time(now))?;
            let loop_name = "Invented Loop".parse().expect("a name");
            let network = people::make_network(tx, coordinator.id, &loop_name, time(now))?;
            let invitation = NewInvitation {
                id: InvitationId::new(id(13)),
                for_whom: name(),
                code,
                expires_at: time(now + 3_600_000),
            };
            people::invite(tx, network.id, coordinator.id, &invitation, time(now))?;
            let new_farm = NewFarm { id: farm, name: name() };
            people::join(tx, code, &grower, &new_farm, time(now)).map(drop)
        })
        .expect("a farm in a network");
}

impl House {
    /// Starts on a file.
    pub fn start(path: PathBuf, now: u64) -> Self {
        let mut house = Self {
            path,
            store: None,
            reader: None,
            lives: Lives::default(),
            copies: Vec::new(),
            own_newest: (0, 0),
            copied: 0,
        };
        house.begin(now);
        house
    }

    fn url(&self) -> DatabaseUrl {
        DatabaseUrl::Sqlite(self.path.clone())
    }

    fn begin(&mut self, now: u64) {
        self.store = Some(Store::open(&self.url()).expect("the server starts"));
        let reader = self.reader.insert(Reader::open(&self.path));
        self.lives.catch_up(reader, now).expect("what is there is whole");
    }

    /// Starts again after it was stopped.
    pub fn begin_again(&mut self) {
        self.store = None;
        self.store = Some(Store::open(&self.url()).expect("the server starts again"));
    }

    /// The store under test.
    pub fn store(&self) -> &Store {
        self.store.as_ref().expect("the server runs")
    }

    /// What stands in the file.
    pub fn reader(&mut self) -> &mut Reader {
        self.reader.as_mut().expect("the file is open")
    }

    /// Answers a device, as `acts::ledger` does over HTTP. Pages are small, so that they have borders.
    pub fn answer(
        &self,
        farm: FarmId,
        ask: &Ask,
        page: BatchLimits,
        now: u64,
    ) -> Result<Heard, StoreError> {
        let store = self.store();
        let epoch = store.epoch()?;
        Ok(match ask {
            Ask::Summary => {
                let found = store.read(|tx| ledger::summary(tx, farm, time(now)))?;
                Heard::Summary(views::sync::summary(epoch, farm, found, 0))
            }
            Ask::Pull { after, limit } => {
                let limits = BatchLimits { entries: page.entries.min(*limit), ..page };
                let found = store.read(|tx| ledger::page(tx, farm, *after, limits))?;
                Heard::Page(views::sync::page(epoch, found))
            }
            Ask::Push(entries) => {
                let done = store.write(|tx| ledger::append(tx, farm, entries, time(now)))?;
                Heard::Pushed(views::sync::pushed(epoch, time(now), done))
            }
        })
    }

    /// Makes a device known, as a signed-in person does before its first sync.
    pub fn register(&self, farm: FarmId, device: &str, now: u64) -> Result<(), StoreError> {
        let device: DeviceId =
            device.parse().map_err(|_| StoreError::Broken { log: "not a device".to_owned() })?;
        let token = SecretHash::of(&format!("token of {device}"));
        let name = "bench phone".parse().expect("a name");
        self.store().write(|tx| devices::register(tx, farm, device, &name, token, time(now)))
    }

    /// Writes on the house device, as a hand-over does.
    pub fn write(
        &self,
        farm: FarmId,
        drafts: &[Draft],
        now: u64,
    ) -> Result<Vec<Entry>, StoreError> {
        self.store().write(|tx| ledger::append_house(tx, farm, drafts.to_vec(), time(now)))
    }

    /// Makes a copy of the file while it is in use.
    pub fn copy(&mut self, step: u32) -> Result<(), StoreError> {
        self.copied += 1;
        let path = self.path.with_extension(format!("copy-{}", self.copied));
        self.store().backup_to(&path)?;
        self.copies.push(HouseCopy { path, step });
        Ok(())
    }

    /// Stops, puts a copy in place by the real path, and starts again.
    pub fn restore(&mut self, copy: &Path, now: u64) {
        (self.store, self.reader, self.own_newest) = (None, None, (0, 0));
        let keeper = Keeper { url: self.url(), programs: None };
        let folder = self.path.parent().expect("a file lies in a folder");
        keeper
            .restore(copy, Present::Refused, folder, time(now))
            .expect("a whole copy is put in place");
        self.begin(now);
    }
}
