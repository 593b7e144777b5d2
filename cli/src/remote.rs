//! Signed-in calls to the network's server: where tokens come from, how they are renewed and kept,
//! how acts are stored before they are sent.

use std::path::{Path, PathBuf};

use serde::Serialize;
use serde::de::DeserializeOwned;
use sha2::{Digest, Sha256};
use spareloop_api::client::{ActKey, CallError, Client, Token};
use spareloop_api::people::{
    DeviceView, FarmView, Join, Me, Refresh, RegisterDevice, Secret, SignIn, Tokens,
};
use spareloop_api::problem::ProblemCode;
use spareloop_domain::words::{DeviceId, FarmId};

use crate::book::acts::{self, Act, Ended};
use crate::book::keys::{self, Keys};
use crate::book::link::{self, Link};
use crate::book::{BookError, Keep, StockBook, entries, error_sentence, farm};
use crate::desk::Desk;
use crate::fault::Fault;
use crate::fresh;

/// A password on its way from a person to the server.
#[derive(Debug, Clone)]
pub struct Password(Secret);

/// Reads the password from a file, from `SPARELOOP_PASSWORD`, or asks for it; never from argv.
pub fn password(desk: &Desk, file: Option<&Path>) -> Result<Password, Fault> {
    if let Some(path) = file {
        let text = std::fs::read_to_string(path).map_err(|error| {
            Fault::refused(
                format!("The password file {} can't be read: {error}.", path.display()),
                "Check the path, or leave --password-file out to be asked.",
            )
        })?;
        let first = text.lines().next().unwrap_or_default().to_owned();
        return Ok(Password(Secret(first)));
    }
    if let Ok(text) = std::env::var("SPARELOOP_PASSWORD")
        && !text.is_empty()
    {
        return Ok(Password(Secret(text)));
    }
    let text = desk.ask.secret("Password", "--password-file FILE or SPARELOOP_PASSWORD")?;
    Ok(Password(Secret(text)))
}

/// An address as it is kept: scheme and host, no slash at the end.
pub fn checked_address(text: &str) -> Result<String, Fault> {
    let address = text.trim().trim_end_matches('/').to_owned();
    Client::new(&address).map_err(call_fault)?;
    Ok(address)
}

/// What a refused or unanswered call means to a person.
pub fn call_fault(error: CallError) -> Fault {
    let kept = "Everything noted here is kept.";
    match error {
        CallError::NotAnAddress(_) => Fault::refused(
            error_sentence(&error.to_string()),
            "Give the address with --server https://...",
        ),
        CallError::OutOfReach(_) => Fault::away(
            error_sentence(&error.to_string()),
            "Go on working; when the network is back: spareloop sync",
        )
        .keeping(kept),
        CallError::Unreadable { status, .. } => {
            let what = error_sentence(&error.to_string());
            if status >= 500 {
                Fault::away(what, "Go on working, and try again later: spareloop sync")
                    .keeping(kept)
            } else {
                Fault::failed(what, "Check that the address is a spareloop server's.").keeping(kept)
            }
        }
        CallError::Refused { problem, retry_after } => {
            let what = format!("{}: {}", problem.title, error_sentence(&problem.detail));
            let hint = match retry_after {
                Some(seconds) => format!("{} (in {seconds} seconds)", problem.hint),
                None => problem.hint.clone(),
            };
            match problem.code {
                ProblemCode::SignInNeeded
                | ProblemCode::SignInEnded
                | ProblemCode::DeviceShutOut => {
                    Fault::sign_in(what, format!("{hint}\nSign in with: spareloop farm connect"))
                        .keeping(kept)
                }
                ProblemCode::WrongSignIn => Fault::sign_in(what, hint).keeping(kept),
                ProblemCode::TooMany | ProblemCode::StillWorking => {
                    Fault::away(what, hint).keeping(kept)
                }
                _ if problem.status >= 500 => Fault::away(what, hint).keeping(kept),
                _ => Fault::refused(what, hint),
            }
        }
    }
}

/// How a farm comes in.
#[derive(Debug, Clone)]
pub enum Entering {
    /// For the first time, by an invitation's code.
    ByInvitation {
        /// The code.
        code: String,
        /// What people call the one who signs in.
        display_name: String,
    },
    /// Again, by name and password.
    ByPassword,
}

/// What a connection gave.
#[derive(Debug, Clone)]
pub struct Connected {
    /// The farm.
    pub farm_id: FarmId,
    /// Its name.
    pub farm: String,
    /// The network's name.
    pub network: Option<String>,
}

fn client(desk: &Desk, server: &str) -> Result<Client, Fault> {
    Client::with_patience(server, desk.settings.timeout.value).map_err(call_fault)
}

fn bearer(client: &Client, secret: &Secret) -> Client {
    client.with(Token::Bearer(secret.clone()))
}

fn new_key() -> Result<ActKey, Fault> {
    Ok(ActKey(fresh::uuid()?.to_string()))
}

/// The farm that a sign-in acts for, before this device keeps its book.
pub fn farm_of(
    desk: &Desk,
    server: &str,
    login: &str,
    password: &Password,
) -> Result<FarmView, Fault> {
    let client = client(desk, server)?;
    let tokens = sign_in(&client, login, password)?;
    let me = bearer(&client, &tokens.access_token).me().map_err(call_fault)?;
    me.farm.ok_or_else(|| no_farm(&me.login))
}

fn no_farm(login: &str) -> Fault {
    Fault::refused(
        format!("{login} acts for no farm."),
        "Sign in with a name that belongs to a farm, or join with --invite CODE.",
    )
}

fn sign_in(client: &Client, login: &str, password: &Password) -> Result<Tokens, Fault> {
    let request = SignIn { login: login.to_owned(), password: password.0.clone() };
    client.sign_in(&request).map_err(call_fault)
}

/// Signs in, checks that the server's farm is this book's, makes this device known, keeps the link.
pub fn connect(
    desk: &Desk,
    file: &mut StockBook,
    server: &str,
    login: &str,
    password: &Password,
    how: Entering,
) -> Result<Connected, Fault> {
    let client = client(desk, server)?;
    let farm = file.read(farm::get)?;
    let tokens = match how {
        Entering::ByPassword => sign_in(&client, login, password)?,
        Entering::ByInvitation { code, display_name } => {
            let key = join_key(&code, farm.id);
            let request = Join {
                code: Secret(code),
                login: login.to_owned(),
                display_name,
                password: password.0.clone(),
                farm: Some(farm.id),
                farm_name: farm.name.clone(),
            };
            client.join(&key, &request).map_err(call_fault)?
        }
    };
    let signed_in = bearer(&client, &tokens.access_token);
    let me = signed_in.me().map_err(call_fault)?;
    refuse_other_farm(&me, farm.id)?;
    let mut keys = keys::read(file.path())?;
    keys.access_token = Some(tokens.access_token);
    keys.refresh_token = Some(tokens.refresh_token);
    keys::write(file.path(), &keys)?;
    register(&signed_in, file, &mut keys)?;
    let network = me.network.map(|network| network.name);
    file.write(Keep::Kept, |connection| {
        let before = link::find(connection)?.filter(|link| link.server == server);
        if before.is_none() {
            // Places in another server's feed say nothing about this one's.
            entries::forget_positions(connection)?;
        }
        let link = Link {
            server: server.to_owned(),
            login: login.to_owned(),
            network: network.clone(),
            epoch: before.as_ref().and_then(|link| link.epoch.clone()),
            cursor: before.as_ref().map_or(0, |link| link.cursor),
            synced_at: before.and_then(|link| link.synced_at),
        };
        link::put(connection, &link)
    })?;
    Ok(Connected { farm_id: farm.id, farm: farm.name, network })
}

/// The same code for the same farm is the same act, however often the answer is lost.
fn join_key(code: &str, farm: FarmId) -> ActKey {
    let mut hasher = Sha256::new();
    hasher.update(farm.uuid().as_bytes());
    hasher.update(code.as_bytes());
    let digest = hasher.finalize();
    let mut bytes = [0; 16];
    bytes.copy_from_slice(&digest[..16]);
    ActKey(uuid::Uuid::from_bytes(bytes).simple().to_string())
}

fn refuse_other_farm(me: &Me, farm: FarmId) -> Result<(), Fault> {
    match &me.farm {
        Some(theirs) if theirs.id == farm => Ok(()),
        Some(theirs) => Err(Fault::refused(
            format!("{} acts for the farm {}, and this book is another farm's.", me.login, theirs.name),
            "Sign in with this farm's name. To keep that farm's book on this device too: spareloop farm join --book FILE",
        )
        .keeping("Nothing was sent.")),
        None => Err(no_farm(&me.login)),
    }
}

fn register(signed_in: &Client, file: &mut StockBook, keys: &mut Keys) -> Result<(), Fault> {
    let (farm, device) = file.read(|connection| {
        Ok::<_, BookError>((farm::get(connection)?, farm::device(connection)?))
    })?;
    let request = RegisterDevice { device: device.id, farm: farm.id, name: device.name };
    let made = signed_in.register_device(&new_key()?, &request).map_err(call_fault)?;
    keys.device = Some(made.device);
    keys.device_token = Some(made.device_token);
    keys::write(file.path(), keys)
}

/// A signed-in connection to the server.
pub struct Session {
    client: Client,
    book: PathBuf,
    keys: Keys,
    /// The link that it goes by.
    pub link: Link,
}

impl Session {
    /// Opens one for the farm at the desk.
    pub fn open(desk: &Desk) -> Result<Self, Fault> {
        let mut file = desk.file()?;
        Self::of(desk, &mut file)
    }

    /// Opens one for an open book.
    pub fn of(desk: &Desk, file: &mut StockBook) -> Result<Self, Fault> {
        let link = file.read(link::find)?.ok_or_else(|| {
            Fault::sign_in(
                "This farm is not connected to a network yet.",
                "Connect it: spareloop farm connect --server URL --invite CODE --login NAME",
            )
        })?;
        let client = client(desk, &link.server)?;
        let book = file.path().to_owned();
        let keys = keys::read(&book)?;
        Ok(Self { client, book, keys, link })
    }

    /// Calls as the signed-in person. A token that no longer holds is renewed once.
    pub fn call<T>(
        &mut self,
        call: impl Fn(&Client) -> Result<T, CallError>,
    ) -> Result<T, CallError> {
        if let Some(access) = &self.keys.access_token {
            match call(&bearer(&self.client, access)) {
                Err(error) if error.code() == Some(ProblemCode::SignInNeeded) => {}
                other => return other,
            }
        }
        self.renew()?;
        let access = self.keys.access_token.clone().unwrap_or(Secret(String::new()));
        call(&bearer(&self.client, &access))
    }

    fn renew(&mut self) -> Result<(), CallError> {
        // Another process on this book may have renewed them meanwhile.
        let current = keys::read(&self.book).unwrap_or_else(|_| self.keys.clone());
        let refresh_token = current.refresh_token.clone().unwrap_or(Secret(String::new()));
        let tokens = self.client.refresh(&Refresh { refresh_token })?;
        self.keys = current;
        self.keys.access_token = Some(tokens.access_token);
        self.keys.refresh_token = Some(tokens.refresh_token);
        keys::write(&self.book, &self.keys)
            .map_err(|fault| CallError::OutOfReach(format!("the sign-in can't be kept: {fault}")))
    }

    /// Calls as this device, whose token opens the ledger's sync.
    pub fn as_device<T>(
        &mut self,
        file: &mut StockBook,
        call: impl Fn(&Client) -> Result<T, CallError>,
    ) -> Result<T, Fault> {
        self.ensure_registered(file)?;
        let token = self.keys.device_token.clone().unwrap_or(Secret(String::new()));
        call(&bearer(&self.client, &token)).map_err(call_fault)
    }

    /// Makes this device known where it took a new id, or where its token was lost.
    pub fn ensure_registered(&mut self, file: &mut StockBook) -> Result<(), Fault> {
        let device = file.read(farm::device)?.id;
        if self.keys.device == Some(device) && self.keys.device_token.is_some() {
            return Ok(());
        }
        let me = self.call(Client::me).map_err(call_fault)?;
        refuse_other_farm(&me, file.read(farm::get)?.id)?;
        let access = self.keys.access_token.clone().unwrap_or(Secret(String::new()));
        register(&bearer(&self.client, &access), file, &mut self.keys)
    }

    /// The farm's devices.
    pub fn devices(&mut self) -> Result<Vec<DeviceView>, Fault> {
        self.call(Client::devices).map_err(call_fault)
    }

    /// Shuts a device out.
    pub fn shut_out(&mut self, device: DeviceId) -> Result<(), Fault> {
        let key = new_key()?;
        self.call(|client| client.shut_out(&key, device)).map(drop).map_err(call_fault)
    }

    /// Learns what is promised of the farm's lots. What was known before stays where the server
    /// doesn't answer: this is news, and nothing waits for it.
    pub fn learn_promised(&mut self, file: &mut StockBook) -> Result<(), Fault> {
        let Ok(stock) = self.call(Client::stock) else { return Ok(()) };
        let lots = stock.lines.iter().flat_map(|line| &line.lots);
        let by_lot = lots.map(|lot| (lot.lot, lot.promised)).collect();
        Ok(file.write(Keep::Kept, |connection| link::put_promised(connection, &by_lot))?)
    }

    /// Does something on the network: stored first, then sent, then its end noted. While the server
    /// is away it waits here, and the next sync sends it unchanged.
    pub fn act<T: DeserializeOwned>(
        &mut self,
        file: &mut StockBook,
        act: NewAct<'_, impl Serialize>,
    ) -> Result<T, Fault> {
        let body = serde_json::to_value(&act.body).map_err(|error| odd_answer(&error))?;
        let act = Act {
            id: fresh::uuid()?,
            operation: act.operation.to_owned(),
            path: act.path,
            body,
            said: act.said,
        };
        file.write(Keep::Kept, |connection| acts::put(connection, &act, fresh::wall_millis()))?;
        let answer = self.send(file, &act).map_err(|fault| waiting(fault, &act.said))?;
        self.learn_promised(file)?;
        serde_json::from_value(answer).map_err(|error| odd_answer(&error))
    }

    /// Sends a stored act and notes how it ended, if it did.
    pub fn send(&mut self, file: &mut StockBook, act: &Act) -> Result<serde_json::Value, Fault> {
        let key = ActKey(act.id.to_string());
        let called = self.call(|client| client.act_as_stored(&act.path, &key, &act.body));
        let (ended, text) = match &called {
            Ok(answer) => (Ended::Done, answer.to_string()),
            Err(CallError::Refused { problem, .. }) if ends(problem.status) => {
                (Ended::Refused, problem.detail.clone())
            }
            Err(_) => return called.map_err(call_fault),
        };
        file.write(Keep::Kept, |connection| acts::end(connection, act.id, ended, &text))?;
        called.map_err(call_fault)
    }
}

/// Whether a refusal is the end of an act, or only says "not now".
const fn ends(status: u16) -> bool {
    matches!(status, 400..=499) && !matches!(status, 401 | 408 | 429)
}

fn waiting(fault: Fault, said: &str) -> Fault {
    use crate::fault::Exit;
    if matches!(fault.exit, Exit::Away | Exit::SignIn) {
        fault.keeping(format!("Kept here to be sent by the next sync: {said}."))
    } else {
        fault
    }
}

fn odd_answer(error: &serde_json::Error) -> Fault {
    Fault::failed(
        format!("The server's answer can't be understood: {error}."),
        "The act itself was done. Update the client, then look again.",
    )
}

/// Something to be done on the network.
pub struct NewAct<'a, B> {
    /// The operation, as `ask-hold`.
    pub operation: &'a str,
    /// The address below `/api/v1`.
    pub path: String,
    /// What is sent.
    pub body: B,
    /// What it is, in words.
    pub said: String,
}
