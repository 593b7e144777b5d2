//! Starting and stopping: from what was typed to a running server, and exit codes.
//!
//! stdout carries data lines (`listening on ...`, `set-up link: ...`), stderr talks. What may not
//! enter: what is served.

use std::io::{IsTerminal, Write};
use std::net::TcpListener;
use std::process::ExitCode;
use std::sync::Arc;

use actix_web::HttpServer;
use actix_web::rt::task::JoinHandle;
use actix_web::web::Data;
use chrono::Utc;
use clap::Parser;
use spareloop_store::cluster::{Presence, Taken};
use spareloop_store::{DatabaseUrl, SecretHash, Store, StoreError, UrlError, people};
use tracing_subscriber::EnvFilter;

use crate::auth::policy::NoPolicy;
use crate::cli::{Cli, Command, RoundCommand};
use crate::config::{Config, ConfigError, ProcessEnvironment};
use crate::error::ServerError;
use crate::house::{House, Reached};
use crate::jobs::Upkeep;
use crate::keep::{self, KeepError, Keeper, Lock, Present, Trial, log_of};
use crate::keys::{self, KeyError, Keys};
use crate::openapi::Document;
use crate::telling::post::NoPost;
use crate::telling::{Telling, outbox};
use crate::together::{self, Networks};
use crate::{app, jobs, solving};

/// Seconds that running requests are given when the server is told to stop.
const PATIENCE_SECONDS: u64 = 20;

/// Why the program ends without having done what was asked.
#[derive(Debug, thiserror::Error)]
pub enum RunError {
    /// A setting is wrong.
    #[error(transparent)]
    Config(#[from] ConfigError),
    /// The database's address is wrong.
    #[error(transparent)]
    Url(#[from] UrlError),
    /// There is no secret.
    #[error(transparent)]
    Key(#[from] KeyError),
    /// The database says no.
    #[error("{error}{log}", error = .0, log = log_of(.0))]
    Store(#[from] StoreError),
    /// Keeping copies failed.
    #[error(transparent)]
    Keep(#[from] KeepError),
    /// The data folder can't be made.
    #[error("the data folder {path} can't be made: {reason}")]
    Folder {
        /// Which.
        path: std::path::PathBuf,
        /// Why.
        reason: std::io::Error,
    },
    /// The address can't be listened on.
    #[error("can't listen on {address}: {reason}")]
    Listen {
        /// Which.
        address: std::net::SocketAddr,
        /// Why.
        reason: std::io::Error,
    },
    /// An operation declares no policy.
    #[error(transparent)]
    Policy(#[from] NoPolicy),
    /// Letters can't be set up that way.
    #[error(transparent)]
    Post(#[from] NoPost),
    /// The house can't be put together.
    #[error(transparent)]
    House(#[from] ServerError),
    /// The server isn't there or isn't well.
    #[error("the server on {0} doesn't answer")]
    NotAnswering(std::net::SocketAddr),
    /// A computation's input isn't right.
    #[error(transparent)]
    Compute(#[from] crate::rounds::ComputeFault),
    /// The operating system says no.
    #[error(transparent)]
    System(#[from] std::io::Error),
}

impl RunError {
    /// What to do next.
    const fn hint(&self) -> &'static str {
        match self {
            Self::Config(_) | Self::Url(_) | Self::Post(_) => {
                "Correct the setting; spareloop-server --help lists them all."
            }
            Self::Key(_) => {
                "Give a secret of 32 or more random characters, or none to have one made."
            }
            Self::Store(StoreError::Corrupt { .. } | StoreError::RestoreCutOff) => {
                "Leave it as it is and put a copy back: spareloop-server restore FILE"
            }
            Self::Store(StoreError::NotOurs) => {
                "Nothing was written to it. Name the server's own database; if this was it, put a copy \
                 back: spareloop-server restore FILE"
            }
            Self::Store(StoreError::Newer { .. }) => {
                "Nothing was written to it. Update the server, then start it again."
            }
            Self::Store(_) => "Look at the database; nothing was changed.",
            Self::Keep(error) => error.hint(),
            Self::Compute(error) => error.hint(),
            Self::Folder { .. } => "Give a folder that this user may write with --data.",
            Self::Listen { .. } => "Stop what listens there, or choose another with --bind.",
            Self::NotAnswering(_) => "Start it with: spareloop-server",
            Self::Policy(_) | Self::House(_) | Self::System(_) => {
                "This is a fault of the program: please report it."
            }
        }
    }

    fn exit_code(&self) -> ExitCode {
        ExitCode::from(match self {
            Self::Config(_)
            | Self::Url(_)
            | Self::Post(_)
            | Self::Store(StoreError::Conflict(_)) => 3,
            Self::Keep(error) => error.exit_code(),
            Self::Compute(error) => error.exit_code(),
            Self::Store(StoreError::Outage(_)) | Self::NotAnswering(_) => 6,
            _ => 1,
        })
    }
}

/// The whole program.
pub fn main() -> ExitCode {
    let cli = Cli::parse();
    let filter =
        EnvFilter::try_from_env("SPARELOOP_LOG").unwrap_or_else(|_| EnvFilter::new("info"));
    tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        .with_ansi(std::io::stderr().is_terminal() && std::env::var_os("NO_COLOR").is_none())
        .init();
    match dispatch(&cli) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{error}.\n{}", error.hint());
            error.exit_code()
        }
    }
}

fn dispatch(cli: &Cli) -> Result<(), RunError> {
    // These need neither a database nor any settings.
    match &cli.command {
        Some(Command::Compute { kind }) => return Ok(crate::rounds::compute(kind)?),
        Some(Command::Round { command: RoundCommand::Run { file, seconds, answer } }) => {
            return Ok(crate::rounds::run(file, *seconds, answer.as_deref())?);
        }
        _ => {}
    }
    let config = Config::resolve(&cli.flags, &ProcessEnvironment)?;
    match cli.command.clone().unwrap_or_default() {
        // Done above.
        Command::Compute { .. } | Command::Round { .. } => Ok(()),
        Command::Serve => actix_web::rt::System::new().block_on(serve(&config)),
        Command::Backup { path, drill } => {
            let trial = if drill { Trial::Drill } else { Trial::Read };
            let checked = keeper(&config)?.back_up(&open(&config)?, &path, trial)?;
            eprintln!("A checked copy is in {}: {checked}, each verified.", path.display());
            Ok(())
        }
        Command::Check => {
            let checked = open(&config)?.check()?;
            eprintln!("The database is whole: {checked}, each verified.");
            Ok(())
        }
        Command::Restore { path, replace } => {
            let present = if replace { Present::Replaced } else { Present::Refused };
            let told = keeper(&config)?.restore(&path, present, &config.data, Utc::now())?;
            eprintln!("{told}");
            Ok(())
        }
        Command::Together => {
            let networks = together::take(&open(&config)?, Networks::All, Utc::now())?;
            let networks = match networks {
                1 => "1 network".to_owned(),
                more => format!("{more} networks"),
            };
            eprintln!(
                "Taken together: what the farms of {networks} noted. Their next sync has it."
            );
            Ok(())
        }
        Command::SetUpLink => {
            let store = open(&config)?;
            let url = config
                .public_url
                .clone()
                .unwrap_or_else(|| format!("http://{}", config.local_address()));
            print_set_up_link(&store, &url)
        }
        Command::Health => keep::ask_health(config.local_address())
            .ok_or(RunError::NotAnswering(config.local_address())),
    }
}

fn keeper(config: &Config) -> Result<Keeper, RunError> {
    let url = DatabaseUrl::parse(&config.database.0)?;
    Ok(Keeper { url, programs: config.pg_bin.clone() })
}

/// Opens the store without taking the server's place.
fn open(config: &Config) -> Result<Store, RunError> {
    let url = DatabaseUrl::parse(&config.database.0)?;
    make_folder(config, &url)?;
    Ok(Store::open(&url)?)
}

fn make_folder(config: &Config, url: &DatabaseUrl) -> Result<(), RunError> {
    let folder = url.file().and_then(std::path::Path::parent).unwrap_or(&config.data);
    if url.file().is_none() || folder.as_os_str().is_empty() {
        return Ok(());
    }
    std::fs::create_dir_all(folder)
        .map_err(|reason| RunError::Folder { path: folder.to_owned(), reason })
}

async fn serve(config: &Config) -> Result<(), RunError> {
    let url = DatabaseUrl::parse(&config.database.0)?;
    make_folder(config, &url)?;
    let keys = Keys::load(&config.secret)?;
    let _lock = url.file().map(Lock::take).transpose()?;
    let Taken::Ours(presence) = Presence::take(&url)? else {
        return Err(KeepError::BeingRestored.into());
    };
    let store = Store::open(&url)?;
    // A database that can't be relied on serves nobody.
    store.check_quickly()?;
    let keeper = Keeper { url: url.clone(), programs: config.pg_bin.clone() };
    let listener = TcpListener::bind(config.bind)
        .map_err(|reason| RunError::Listen { address: config.bind, reason })?;
    let address = listener.local_addr()?;
    let reached = Reached {
        url: config.public_url.clone().unwrap_or_else(|| format!("http://{address}")),
        front: config.front,
    };
    let document = Document::new();
    let policies = document.policies()?;
    let house = House::new(store.clone(), keys, policies, reached, Arc::new(Utc::now))?
        .telling(Telling::new(&config.telling)?);
    let (house, document) = (Data::new(house), Data::new(document));
    let url = house.reached.url.clone();
    let upkeep = Upkeep { keeper, store: store.clone(), nightly: config.nightly.clone(), presence };
    let jobs = [
        jobs::start(house.clone()),
        jobs::start_upkeep(house.clone(), upkeep),
        outbox::start(house.clone()),
        jobs::start_together(house.clone(), store.clone(), config.together),
        solving::start(house.clone()),
    ];
    let server = HttpServer::new(move || app::app(house.clone(), document.clone()))
        .shutdown_timeout(PATIENCE_SECONDS)
        .listen(listener)?
        .run();
    let running = actix_web::rt::spawn(server);
    // Lets it take up its signals before anybody is told that it is there.
    tokio::task::yield_now().await;
    say(&format!("listening on http://{address}"))?;
    offer_set_up(&store, &url)?;
    let ended = running.await;
    jobs.iter().for_each(JoinHandle::abort);
    eprintln!("stopped");
    ended.map_err(|error| ServerError::broken(format!("the server ended early: {error}")))??;
    Ok(())
}

/// While nobody is set up: prints the link on the first start, and says how to get a new one later.
fn offer_set_up(store: &Store, url: &str) -> Result<(), RunError> {
    let (set_up, waiting) =
        store.read(|tx| Ok((people::somebody_is_set_up(tx)?, people::set_up_token_exists(tx)?)))?;
    match (set_up, waiting) {
        (true, _) => Ok(()),
        (false, false) => print_set_up_link(store, url),
        (false, true) => {
            eprintln!("Nobody is set up yet. For a new link: spareloop-server set-up-link");
            Ok(())
        }
    }
}

fn print_set_up_link(store: &Store, url: &str) -> Result<(), RunError> {
    let token = keys::random_text()?;
    let hash = SecretHash::of(&token);
    store.write(|tx| people::put_set_up_token(tx, hash, Utc::now()))?;
    say(&format!("set-up link: {url}/set-up?token={token}"))?;
    eprintln!("Open the link to make the coordinator's sign-in. It works once.");
    Ok(())
}

fn say(line: &str) -> Result<(), RunError> {
    let mut out = std::io::stdout().lock();
    writeln!(out, "{line}")?;
    Ok(out.flush()?)
}
