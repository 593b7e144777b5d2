//! Settings: flag over environment over file over default, resolved once before anything runs.
//!
//! None is needed: without any, the server keeps an SQLite file in the XDG data folder and listens
//! on loopback. Secrets come by file or environment, never by flag (an argument list is readable
//! by every user of the machine). [`telling`] has those of letters and webhooks. What may not enter:
//! anything that acts on a setting.

pub mod telling;

use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};
use std::num::{NonZeroU16, NonZeroU32};
use std::path::{Path, PathBuf};
use std::str::FromStr;

use chrono::{NaiveTime, TimeDelta};
use clap::Args;
use serde::Deserialize;

use self::telling::{TellingConfig, TellingFile, TellingFlags, TellingSettingError};
use crate::keep::nightly::Nightly;
use spareloop_store::network_summaries::Timetable;

/// The port served unless told otherwise.
pub const DEFAULT_BIND: &str = "127.0.0.1:8470";
/// When the nightly copy is made unless told otherwise.
const HALF_PAST_THREE: NaiveTime = match NaiveTime::from_hms_opt(3, 30, 0) {
    Some(time) => time,
    None => NaiveTime::MIN,
};
const FILE_NAME: &str = "spareloop-server.toml";

/// Flags that say where the server keeps and serves; each has an environment variable.
#[derive(Debug, Clone, Default, Args)]
pub struct Flags {
    /// Folder for the database, the secret key and the lock
    #[arg(long, value_name = "DIR", env = "SPARELOOP_DATA", global = true)]
    pub data: Option<PathBuf>,
    /// Settings file [default: spareloop-server.toml in the data folder, if there]
    #[arg(long = "config", value_name = "FILE", env = "SPARELOOP_CONFIG", global = true)]
    pub settings: Option<PathBuf>,
    /// Address and port to listen on; port 0 takes a free one [default: 127.0.0.1:8470]
    #[arg(long, value_name = "ADDRESS:PORT", env = "SPARELOOP_BIND", global = true)]
    pub bind: Option<SocketAddr>,
    /// How growers reach this server, for links and cookies [default: the address listened on]
    #[arg(long, value_name = "URL", env = "SPARELOOP_PUBLIC_URL", global = true)]
    pub public_url: Option<String>,
    /// Whether a TLS front sets X-Forwarded-For: which callers' addresses to believe
    #[arg(long, value_name = "WHO", env = "SPARELOOP_FRONT", global = true, value_enum)]
    pub front: Option<Front>,
    /// Folder for a copy of the database every night; none unless given
    #[arg(long, value_name = "DIR", env = "SPARELOOP_BACKUP_DIR", global = true)]
    pub backup_dir: Option<PathBuf>,
    /// When the nightly copy is made, in this machine's zone [default: 03:30]
    #[arg(long, value_name = "HH:MM", env = "SPARELOOP_BACKUP_AT", global = true)]
    pub backup_at: Option<TimeOfDay>,
    /// How many nightly copies are kept [default: 14]
    #[arg(long, value_name = "NUMBER", env = "SPARELOOP_BACKUP_KEEP", global = true)]
    pub backup_keep: Option<NonZeroU16>,
    /// Folder of PostgreSQL's own programs [default: found on PATH]
    #[arg(long, value_name = "DIR", env = "SPARELOOP_PG_BIN", global = true)]
    pub pg_bin: Option<PathBuf>,
    /// Hours until all farms' records are taken together anew, if any were noted [default: 24]
    #[arg(long, value_name = "NUMBER", env = "SPARELOOP_TOGETHER_HOURS", global = true)]
    pub together_hours: Option<NonZeroU16>,
    /// Entries after which they are taken together sooner [default: 500]
    #[arg(long, value_name = "NUMBER", env = "SPARELOOP_TOGETHER_ENTRIES", global = true)]
    pub together_entries: Option<NonZeroU32>,
    /// Letters and webhooks.
    #[command(flatten)]
    pub telling: TellingFlags,
}

/// A time of day, as `03:30`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(try_from = "String")]
pub struct TimeOfDay(pub NaiveTime);

/// A text that is no time of day.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("a time of day is written as 03:30")]
pub struct NoTimeOfDay;

impl FromStr for TimeOfDay {
    type Err = NoTimeOfDay;
    fn from_str(text: &str) -> Result<Self, NoTimeOfDay> {
        NaiveTime::parse_from_str(text, "%H:%M").map(Self).map_err(|_| NoTimeOfDay)
    }
}

impl TryFrom<String> for TimeOfDay {
    type Error = NoTimeOfDay;
    fn try_from(text: String) -> Result<Self, NoTimeOfDay> {
        text.parse()
    }
}

/// Whether something stands before the server that tells the callers' addresses.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, clap::ValueEnum, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Front {
    /// Nothing: the peer is the caller.
    #[default]
    None,
    /// A front that we trust to set `X-Forwarded-For`.
    Trusted,
}

/// What the settings file may hold.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
struct File {
    bind: Option<SocketAddr>,
    public_url: Option<String>,
    database_url: Option<String>,
    #[serde(rename = "secret-file")]
    secret: Option<PathBuf>,
    front: Option<Front>,
    backup_dir: Option<PathBuf>,
    backup_at: Option<TimeOfDay>,
    backup_keep: Option<NonZeroU16>,
    pg_bin: Option<PathBuf>,
    together_hours: Option<NonZeroU16>,
    together_entries: Option<NonZeroU32>,
    #[serde(default)]
    telling: TellingFile,
}

/// Where the key that signs tokens comes from.
#[derive(Clone, PartialEq, Eq)]
pub enum SecretSource {
    /// Given as text by the environment.
    Text(String),
    /// A file that must be there.
    File(PathBuf),
    /// A file in the data folder, made on first start.
    Kept(PathBuf),
}

impl std::fmt::Debug for SecretSource {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Text(_) => f.write_str("Text(…)"),
            Self::File(path) => f.debug_tuple("File").field(path).finish(),
            Self::Kept(path) => f.debug_tuple("Kept").field(path).finish(),
        }
    }
}

/// Where the database is. `Debug` shows no password.
#[derive(Clone, PartialEq, Eq)]
pub struct DatabaseSetting(pub String);

impl std::fmt::Debug for DatabaseSetting {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.0.split(':').next().unwrap_or("?"))?;
        f.write_str(":…")
    }
}

/// The settings in force.
#[derive(Debug, Clone)]
pub struct Config {
    /// The data folder.
    pub data: PathBuf,
    /// Where to listen.
    pub bind: SocketAddr,
    /// How growers reach the server, without a slash at the end; absent means: as listened on.
    pub public_url: Option<String>,
    /// The database.
    pub database: DatabaseSetting,
    /// The signing key.
    pub secret: SecretSource,
    /// Whether to believe `X-Forwarded-For`.
    pub front: Front,
    /// The nightly copy, if the server makes one.
    pub nightly: Option<Nightly>,
    /// The folder of PostgreSQL's programs, if it was named.
    pub pg_bin: Option<PathBuf>,
    /// When all farms' records are taken together anew.
    pub together: Timetable,
    /// Letters and webhooks.
    pub telling: TellingConfig,
}

/// Why settings can't be used.
#[derive(Debug, thiserror::Error)]
pub enum ConfigError {
    /// A file that was named can't be read.
    #[error("{path} can't be read: {reason}")]
    Unreadable {
        /// Which.
        path: PathBuf,
        /// Why.
        reason: String,
    },
    /// The settings file has something wrong in it.
    #[error("{path} is not a settings file: {reason}")]
    NotSettings {
        /// Which.
        path: PathBuf,
        /// What is wrong.
        reason: String,
    },
    /// The public address is not one.
    #[error("{0:?} is no public address: it begins with http:// or https:// and has no path")]
    PublicUrl(String),
    /// A setting of letters or webhooks is wrong.
    #[error(transparent)]
    Telling(#[from] TellingSettingError),
}

/// The environment, so that tests can give their own.
pub trait Environment {
    /// The value of a variable; an empty one counts as absent.
    fn get(&self, name: &str) -> Option<String>;
}

/// The process's environment.
#[derive(Debug)]
pub struct ProcessEnvironment;

impl Environment for ProcessEnvironment {
    fn get(&self, name: &str) -> Option<String> {
        std::env::var(name).ok().filter(|value| !value.trim().is_empty())
    }
}

impl Config {
    /// Resolves the settings. Flags come with their environment variables already filled in.
    pub fn resolve(flags: &Flags, environment: &dyn Environment) -> Result<Self, ConfigError> {
        let data = flags.data.clone().unwrap_or_else(default_data_folder);
        let file = read_settings(flags.settings.as_deref(), &data)?;
        let public_url = match flags.public_url.clone().or(file.public_url) {
            Some(url) => Some(checked_public_url(&url)?),
            None => None,
        };
        let database = match environment.get("SPARELOOP_DATABASE_URL_FILE") {
            Some(path) => Some(read_trimmed(Path::new(&path))?),
            None => environment.get("SPARELOOP_DATABASE_URL").or(file.database_url),
        };
        let secret = if let Some(text) = environment.get("SPARELOOP_SECRET") {
            SecretSource::Text(text)
        } else if let Some(path) = environment.get("SPARELOOP_SECRET_FILE") {
            SecretSource::File(path.into())
        } else if let Some(path) = file.secret {
            SecretSource::File(path)
        } else {
            SecretSource::Kept(data.join("server-secret"))
        };
        let telling = TellingConfig::resolve(&flags.telling, file.telling, environment)?;
        Ok(Self {
            bind: flags.bind.or(file.bind).unwrap_or_else(default_bind),
            public_url,
            database: DatabaseSetting(
                database.unwrap_or_else(|| {
                    format!("sqlite:{}", data.join("spareloop.sqlite").display())
                }),
            ),
            secret,
            front: flags.front.or(file.front).unwrap_or_default(),
            nightly: flags.backup_dir.clone().or(file.backup_dir).map(|folder| Nightly {
                folder,
                at: flags.backup_at.or(file.backup_at).map_or(HALF_PAST_THREE, |it| it.0),
                keep: flags.backup_keep.or(file.backup_keep).map_or(14, |it| it.get().into()),
            }),
            pg_bin: flags.pg_bin.clone().or(file.pg_bin),
            together: Timetable {
                every: TimeDelta::hours(
                    flags.together_hours.or(file.together_hours).map_or(24, |it| it.get().into()),
                ),
                entries: flags
                    .together_entries
                    .or(file.together_entries)
                    .map_or(500, |it| it.get().into()),
            },
            telling,
            data,
        })
    }

    /// The SQLite file, if the database is one.
    pub fn sqlite_file(&self) -> Option<PathBuf> {
        self.database.0.strip_prefix("sqlite:").map(PathBuf::from)
    }

    /// An address on which this machine reaches the server, for its own questions.
    pub fn local_address(&self) -> SocketAddr {
        let ip = match self.bind.ip() {
            IpAddr::V4(ip) if ip.is_unspecified() => IpAddr::V4(Ipv4Addr::LOCALHOST),
            IpAddr::V6(ip) if ip.is_unspecified() => IpAddr::V6(Ipv6Addr::LOCALHOST),
            ip => ip,
        };
        SocketAddr::new(ip, self.bind.port())
    }
}

fn default_bind() -> SocketAddr {
    SocketAddr::from((Ipv4Addr::LOCALHOST, 8470))
}

fn default_data_folder() -> PathBuf {
    directories::ProjectDirs::from("", "", "spareloop-server")
        .map_or_else(|| PathBuf::from("spareloop-data"), |dirs| dirs.data_dir().to_owned())
}

fn read_settings(named: Option<&Path>, data: &Path) -> Result<File, ConfigError> {
    let in_data = data.join(FILE_NAME);
    let path = match named {
        Some(path) => path,
        None if in_data.exists() => &in_data,
        None => return Ok(File::default()),
    };
    let text = read_trimmed(path)?;
    toml::from_str(&text).map_err(|error| ConfigError::NotSettings {
        path: path.to_owned(),
        reason: error.message().to_owned(),
    })
}

/// A file's text without the line end that editors leave.
pub fn read_trimmed(path: &Path) -> Result<String, ConfigError> {
    std::fs::read_to_string(path).map(|text| text.trim_end().to_owned()).map_err(|error| {
        ConfigError::Unreadable { path: path.to_owned(), reason: error.to_string() }
    })
}

fn checked_public_url(url: &str) -> Result<String, ConfigError> {
    let wrong = || ConfigError::PublicUrl(url.to_owned());
    let trimmed = url.trim().trim_end_matches('/');
    let host = trimmed
        .strip_prefix("https://")
        .or_else(|| trimmed.strip_prefix("http://"))
        .ok_or_else(wrong)?;
    let plain = |letter: char| letter.is_ascii_alphanumeric() || ".-:[]".contains(letter);
    if host.is_empty() || !host.chars().all(plain) {
        return Err(wrong());
    }
    Ok(trimmed.to_owned())
}

#[cfg(test)]
mod tests;
