//! A network with its server and its coordinator: set up by the one-time link, farms invited.

use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU16, AtomicU64, Ordering};

use spareloop_api::client::{ActKey, Client, Token};
use spareloop_api::people::{Invite, Join, MakeNetwork, Secret, SetUp, SignIn, Tokens};
use spareloop_api::sync::{Push, Pushed};
use spareloop_domain::ledger::Entry;
use spareloop_domain::words::uuid_v7;
use tempfile::TempDir;
use uuid::Uuid;

use crate::binaries::{SERVER, Server, server_command};
use crate::database::{Cluster, Kind, Postgresql};
use crate::farm::{Device, PASSWORD, Said};

/// A key for one act of a test.
pub fn key() -> ActKey {
    static NEXT: AtomicU64 = AtomicU64::new(0);
    let number = NEXT.fetch_add(1, Ordering::Relaxed);
    ActKey(format!("test-{}-{number:08}", std::process::id()))
}

/// An id that nothing else bears.
pub fn id() -> Uuid {
    static NEXT: AtomicU64 = AtomicU64::new(0);
    let number = NEXT.fetch_add(1, Ordering::Relaxed);
    let mut random = [0; 10];
    random[..4].copy_from_slice(&std::process::id().to_be_bytes());
    random[4..].copy_from_slice(&number.to_be_bytes()[2..]);
    uuid_v7(1_760_000_000_000, random)
}

/// A signed-in client.
pub fn signed_in(server: &str, tokens: Tokens) -> Client {
    Client::new(server).expect("an address").with(Token::Bearer(tokens.access_token))
}

/// Signs in as somebody who was set up or joined before.
pub fn sign_in(server: &str, login: &str) -> Client {
    let tokens = Client::new(server)
        .expect("an address")
        .sign_in(&SignIn {
            login: login.to_owned(),
            password: Secret(PASSWORD.to_owned()),
            acting_for: None,
        })
        .expect("a sign-in");
    signed_in(server, tokens)
}

/// Makes the first coordinator and their network on a fresh server.
pub fn set_up(server: &Server) -> Client {
    let link = server.set_up_link();
    let token = link.split("token=").nth(1).expect("the link carries a token").to_owned();
    let tokens = Client::new(&server.url)
        .expect("an address")
        .set_up(&SetUp {
            token: Secret(token),
            login: "coordinator".to_owned(),
            display_name: "The coordinator".to_owned(),
            password: Secret(PASSWORD.to_owned()),
        })
        .expect("the link makes the first coordinator");
    let coordinator = signed_in(&server.url, tokens);
    coordinator
        .make_network(&key(), &MakeNetwork { name: "Invented valley".to_owned() })
        .expect("a network");
    coordinator
}

/// An invitation's code.
pub fn invite(coordinator: &Client, for_whom: &str) -> String {
    let made = coordinator
        .invite(&key(), &Invite { for_whom: for_whom.to_owned() })
        .expect("an invitation");
    made.code.0
}

/// A server with one network, in a folder of its own; all of it goes when dropped.
pub struct Network {
    /// The server.
    pub server: Server,
    /// The coordinator, signed in.
    pub coordinator: Client,
    database: Option<Postgresql>,
    program: &'static str,
    folder: TempDir,
}

impl Network {
    /// On the embedded database.
    pub fn embedded() -> Self {
        Self::on(Kind::Sqlite)
    }

    /// On the embedded database, on the disk of a folder.
    pub fn embedded_in(folder: &Path) -> Self {
        Self::in_folder(SERVER, None, tempfile::tempdir_in(folder).expect("a folder"))
    }

    /// On either database.
    pub fn on(kind: Kind) -> Self {
        Self::served_by(SERVER, kind)
    }

    /// On either database, with another program in the server's place.
    pub fn served_by(program: &'static str, kind: Kind) -> Self {
        let database = match kind {
            Kind::Sqlite => None,
            Kind::Postgresql => Some(Postgresql::fresh()),
        };
        Self::in_folder(program, database, tempfile::tempdir().expect("a folder"))
    }

    /// On a database of a PostgreSQL cluster of its own.
    pub fn on_cluster(cluster: &Cluster) -> Self {
        let database = Some(Postgresql::fresh_in(cluster.url()));
        Self::in_folder(SERVER, database, tempfile::tempdir().expect("a folder"))
    }

    fn in_folder(program: &'static str, database: Option<Postgresql>, folder: TempDir) -> Self {
        let address = lasting_address();
        let data = folder.path().join("server");
        let server = start(program, &data, database.as_ref(), &address, &[]);
        let coordinator = set_up(&server);
        Self { server, coordinator, database, program, folder }
    }

    /// The address of its PostgreSQL database, if it is on one.
    pub fn database_url(&self) -> Option<String> {
        self.database.as_ref().map(Postgresql::url)
    }

    /// A folder for this network's farms and files.
    pub fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// The server's data folder.
    pub fn data(&self) -> PathBuf {
        self.folder.path().join("server")
    }

    /// Starts the server again at the same address.
    pub fn start_again(&mut self) {
        self.start_again_with(&[]);
    }

    /// The same with more environment.
    pub fn start_again_with(&mut self, more: &[(&str, &str)]) {
        let address = self.server.address();
        self.server.kill();
        self.server = start(self.program, &self.data(), self.database.as_ref(), &address, more);
    }

    /// Another server over the same PostgreSQL, with its data in a folder of its own.
    pub fn replica(&self, name: &str, more: &[(&str, &str)]) -> Server {
        let database = self.database.as_ref();
        start(self.program, &self.folder().join(name), database, &lasting_address(), more)
    }

    /// Runs a command of the server's program on this network's database.
    pub fn server_says(&self, words: &[&str]) -> Said {
        let url = self.database.as_ref().map(Postgresql::url);
        let url = url.iter().map(|url| ("SPARELOOP_DATABASE_URL", url));
        Said::of(server_command(&self.data()).envs(url).args(words))
    }

    /// The same, where no file of the server's may pass so many kB.
    pub fn start_again_with_little_room(&mut self, kilobytes: u64) {
        let address = self.server.address();
        self.server.kill();
        let environment = [("SPARELOOP_BIND", address.as_str())];
        self.server = Server::start_with_little_room(&self.data(), &environment, kilobytes);
    }

    /// The same, with all that the server does to its files written to `log`.
    pub fn start_again_recorded(&mut self, log: &Path) {
        let address = self.server.address();
        self.server.kill();
        let environment = [("SPARELOOP_BIND", address.as_str())];
        self.server = Server::start_recorded(&self.data(), &environment, log);
    }

    /// A device of a new farm, whose book is begun and connected.
    pub fn farm(&self, name: &str) -> Device {
        let device = Device::of_a_farm(&self.folder().join(name.to_lowercase()), name);
        self.connect(&device, name);
        device
    }

    /// Brings entries to the server as a device, past its book and its courier.
    #[track_caller]
    pub fn bring(&self, by: &Device, entries: Vec<Entry>) -> Pushed {
        let device = Client::new(&self.server.url).expect("an address");
        let device = device.with(Token::Bearer(by.device_token()));
        device.push_entries(&Push { entries }).expect("the server answers")
    }

    /// Connects a farm by an invitation; it signs in by its name in small letters.
    pub fn connect(&self, device: &Device, name: &str) {
        let code = invite(&self.coordinator, name);
        let login = name.to_lowercase();
        let words = ["farm", "connect", "--server", &self.server.url, "--invite", &code];
        let who = ["--login", &login, "--display-name", name];
        device.run(&[&words[..], &who].concat()).done();
    }

    /// Another device of a farm of this network, which joins and fetches the book.
    pub fn another_device(&self, farm: &str, name: &str) -> Device {
        let login = farm.to_lowercase();
        let device = Device::in_folder(&self.folder().join(format!("{login}-{name}")));
        let words = ["farm", "join", "--server", &self.server.url, "--login", &login];
        device.run(&[&words[..], &["--device", name]].concat()).done();
        device
    }

    /// Lets somebody join with a farm that has no device, by an invitation, and signs them in.
    pub fn join(&self, login: &str, farm: &str) -> Client {
        let join = Join {
            code: Secret(invite(&self.coordinator, farm)),
            login: login.to_owned(),
            display_name: farm.to_owned(),
            password: Secret(PASSWORD.to_owned()),
            farm: None,
            farm_name: farm.to_owned(),
        };
        let url = &self.server.url;
        let client = Client::new(url).expect("an address");
        signed_in(url, client.join(&key(), &join).expect("a place in the network"))
    }

    /// Somebody of this network, signed in without a device.
    pub fn person(&self, login: &str) -> Client {
        sign_in(&self.server.url, login)
    }
}

/// An address that stays free while its server is down.
///
/// The kernel hands out ports from 32768 up (to callers as to servers), so one of those may be gone
/// when the server comes back; ours are taken from below, each once a process.
fn lasting_address() -> String {
    static NEXT: AtomicU16 = AtomicU16::new(0);
    const FIRST: u16 = 15_000;
    const PORTS: u16 = 15_000;
    let start = u16::try_from(std::process::id() % u32::from(PORTS)).expect("below PORTS");
    (0..PORTS)
        .map(|_| FIRST + (start + NEXT.fetch_add(1, Ordering::Relaxed)) % PORTS)
        .map(|port| format!("127.0.0.1:{port}"))
        .find(|address| TcpListener::bind(address).is_ok())
        .expect("one of 15,000 ports is free")
}

fn start(
    program: &str,
    data: &Path,
    database: Option<&Postgresql>,
    address: &str,
    more: &[(&str, &str)],
) -> Server {
    let url = database.map(Postgresql::url);
    let mut environment = vec![("SPARELOOP_BIND", address)];
    environment.extend(url.iter().map(|url| ("SPARELOOP_DATABASE_URL", url.as_str())));
    environment.extend(more);
    Server::start_program(program, data, &environment)
}
