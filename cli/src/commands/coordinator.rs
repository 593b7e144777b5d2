//! Who calls: the farm of the book at the desk, or a coordinator, who has no book and signs in for the
//! one command.

use std::path::PathBuf;

use clap::Args;
use spareloop_api::client::{CallError, Client, Token};
use spareloop_api::people::SignIn;

use crate::desk::Desk;
use crate::fault::Fault;
use crate::remote::{Session, call_fault, checked_address, password};

/// As whom.
#[derive(Debug, Args)]
pub(super) struct As {
    /// The network's server, for a coordinator, who needs no stock book.
    #[arg(long, value_name = "URL", requires = "login")]
    server: Option<String>,
    /// The coordinator's name to sign in with.
    #[arg(long, value_name = "NAME", requires = "server")]
    login: Option<String>,
    /// A file with the password in its first line.
    #[arg(long, value_name = "FILE", requires = "login")]
    password_file: Option<PathBuf>,
}

/// Who calls.
pub(super) enum Caller {
    /// The farm of the book.
    Farm(Box<Session>),
    /// A coordinator.
    Coordinator(Client),
}

impl Caller {
    /// Opens a connection.
    pub(super) fn open(who: &As, desk: &Desk) -> Result<Self, Fault> {
        match (&who.server, &who.login) {
            (Some(server), Some(login)) => sign_in(server, login, who, desk).map(Self::Coordinator),
            _ => Session::open(desk).map(Box::new).map(Self::Farm),
        }
    }

    /// Calls.
    pub(super) fn call<T>(
        &mut self,
        call: impl Fn(&Client) -> Result<T, CallError>,
    ) -> Result<T, CallError> {
        match self {
            Self::Farm(session) => session.call(call),
            Self::Coordinator(client) => call(client),
        }
    }
}

/// Opens a connection for what only a coordinator may do.
pub(super) fn coordinator(who: &As, desk: &Desk) -> Result<Client, Fault> {
    match (&who.server, &who.login) {
        (Some(server), Some(login)) => sign_in(server, login, who, desk),
        _ => Err(Fault::decision(
            "This is for the network's coordinator: which server, and which sign-in?",
            "Give them with --server URL --login NAME; the password is asked for.",
        )),
    }
}

fn sign_in(server: &str, login: &str, who: &As, desk: &Desk) -> Result<Client, Fault> {
    let address = checked_address(server)?;
    let password = password(desk, who.password_file.as_deref())?.into_secret();
    let client =
        Client::with_patience(&address, desk.settings.timeout.value).map_err(call_fault)?;
    let tokens = client.sign_in(&SignIn { login: login.to_owned(), password, acting_for: None });
    let tokens = tokens.map_err(call_fault)?;
    Ok(client.with(Token::Bearer(tokens.access_token)))
}
