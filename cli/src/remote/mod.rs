//! Calls to the network's server: where tokens come from, how a farm and a device come in, what a
//! refused call means. `session` is the signed-in connection.

mod session;

use std::path::Path;

use sha2::{Digest, Sha256};
use spareloop_api::client::{ActKey, CallError, Client, Token};
use spareloop_api::people::{
    FarmView, Join, MakeFarmOnPaper, Me, RegisterDevice, Secret, SignIn, Tokens,
};
use spareloop_api::problem::ProblemCode;
use spareloop_domain::words::{Day, DeviceId, FarmId};

pub use session::{NewAct, Session};

use crate::book::farm::Farm;
use crate::book::keys::{self, Keys};
use crate::book::link::{self, Link};
use crate::book::{BookError, Keep, StockBook, entries, error_sentence, farm};
use crate::desk::Desk;
use crate::fault::Fault;
use crate::fresh;

/// A password on its way from a person to the server.
#[derive(Debug, Clone)]
pub struct Password(Secret);

impl Password {
    /// The secret, to be sent once.
    pub fn into_secret(self) -> Secret {
        self.0
    }
}

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
    /// For a farm on paper, as the network's coordinator; with its consent where it is new there.
    OnPaper(Option<Box<Consent>>),
}

/// What a farm on paper consented to.
#[derive(Debug, Clone)]
pub struct Consent {
    /// Who consented.
    pub by: String,
    /// How.
    pub how: String,
    /// On which day.
    pub on: Day,
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

/// A key for one act.
pub fn new_key() -> Result<ActKey, Fault> {
    Ok(ActKey(fresh::uuid()?.to_string()))
}

/// The farm that a sign-in acts for, before this device keeps its book.
pub fn farm_of(
    desk: &Desk,
    server: &str,
    login: &str,
    password: &Password,
) -> Result<FarmView, Fault> {
    let me = signed_in(desk, server, login, password)?.me().map_err(call_fault)?;
    me.farm.ok_or_else(|| no_farm(&me.login))
}

/// The one farm on paper of that id or whose name begins so, that still consents.
pub fn farm_on_paper(
    desk: &Desk,
    server: &str,
    login: &str,
    password: &Password,
    named: &str,
) -> Result<FarmView, Fault> {
    let coordinator = signed_in(desk, server, login, password)?;
    let farms = coordinator.farms_on_paper().map_err(call_fault)?;
    let consent: Vec<FarmView> =
        farms.into_iter().filter(|one| one.ended_at.is_none()).map(|one| one.farm).collect();
    let begins = named.to_lowercase();
    let meant: Vec<&FarmView> = consent
        .iter()
        .filter(|farm| {
            farm.id.to_string() == begins || farm.name.to_lowercase().starts_with(&begins)
        })
        .collect();
    let what = match meant[..] {
        [farm] => return Ok(farm.clone()),
        [] => "No farm",
        _ => "More than one farm",
    };
    let all: Vec<String> =
        consent.iter().map(|farm| format!("{} ({})", farm.name, farm.id)).collect();
    Err(Fault::refused(
        format!("{what} on paper that consents is called '{named}'."),
        if all.is_empty() {
            "None in this network consents now: see farm connect --help.".to_owned()
        } else {
            format!("Give its id, or more of its name: {}", all.join(", "))
        },
    ))
}

fn no_farm(login: &str) -> Fault {
    Fault::refused(
        format!("{login} acts for no farm."),
        "Sign in with a name that belongs to a farm, or join with --invite CODE.",
    )
}

/// The server for whoever signs in so.
fn signed_in(desk: &Desk, server: &str, login: &str, password: &Password) -> Result<Client, Fault> {
    let client = client(desk, server)?;
    let tokens = sign_in(&client, login, password, None)?;
    Ok(bearer(&client, &tokens.access_token))
}

fn sign_in(
    client: &Client,
    login: &str,
    password: &Password,
    acting_for: Option<FarmId>,
) -> Result<Tokens, Fault> {
    let request = SignIn { login: login.to_owned(), password: password.0.clone(), acting_for };
    client.sign_in(&request).map_err(call_fault)
}

/// Signs in for a farm on paper; where it is new there, it is noted first, with its consent.
fn sign_in_on_paper(
    client: &Client,
    login: &str,
    password: &Password,
    farm: &Farm,
    consent: Option<Consent>,
) -> Result<Tokens, Fault> {
    if let Some(Consent { by, how, on }) = consent {
        let own = sign_in(client, login, password, None)?;
        // The same farm by the same consent is the same act, however often the answer is lost.
        let key = key_of(&[farm.id.uuid().as_bytes(), by.as_bytes(), how.as_bytes()]);
        let request = MakeFarmOnPaper {
            farm: farm.id,
            name: farm.name.clone(),
            consent_by: by,
            consent_how: how,
            consent_on: on,
        };
        let coordinator = bearer(client, &own.access_token);
        coordinator.make_farm_on_paper(&key, &request).map_err(call_fault)?;
    }
    sign_in(client, login, password, Some(farm.id))
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
        Entering::ByPassword => sign_in(&client, login, password, None)?,
        Entering::OnPaper(consent) => {
            let consent = consent.map(|consent| *consent);
            sign_in_on_paper(&client, login, password, &farm, consent)?
        }
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
    register(&signed_in, file, &mut keys, &new_key()?)?;
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
            promised_mark: None,
        };
        link::put(connection, &link)
    })?;
    Ok(Connected { farm_id: farm.id, farm: farm.name, network })
}

/// The same code for the same farm is the same act, however often the answer is lost.
fn join_key(code: &str, farm: FarmId) -> ActKey {
    key_of(&[farm.uuid().as_bytes(), code.as_bytes()])
}

/// Processes on one book that each miss the same token, or find the same one refused, do one act
/// and get one token; else each would take the other's away.
fn renewal_key(device: DeviceId, refused: Option<&Secret>) -> ActKey {
    let refused = refused.map_or("", |token| &token.0);
    key_of(&[device.uuid().as_bytes(), refused.as_bytes()])
}

pub(crate) fn key_of(parts: &[&[u8]]) -> ActKey {
    let mut hasher = Sha256::new();
    for part in parts {
        hasher.update(part);
    }
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

fn register(
    signed_in: &Client,
    file: &mut StockBook,
    keys: &mut Keys,
    key: &ActKey,
) -> Result<(), Fault> {
    let (farm, device) = file.read(|connection| {
        Ok::<_, BookError>((farm::get(connection)?, farm::device(connection)?))
    })?;
    let request = RegisterDevice { device: device.id, farm: farm.id, name: device.name };
    let made = signed_in.register_device(key, &request).map_err(call_fault)?;
    keys.device = Some(made.device);
    keys.device_token = Some(made.device_token);
    keys::write(file.path(), keys)
}
