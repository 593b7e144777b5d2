//! Settings of letters and webhooks.
//!
//! In the settings file they stand under `[telling]`. Without a mail server everything else works,
//! and pages say that e-mail is not set up. What may not enter: sending.

use std::net::IpAddr;
use std::num::NonZeroU16;
use std::path::{Path, PathBuf};

use clap::Args;
use lettre::message::Mailbox;
use serde::Deserialize;

use super::{ConfigError, Environment, read_trimmed};

/// Flags of letters and webhooks; each has an environment variable.
#[derive(Debug, Clone, Default, Args)]
pub struct TellingFlags {
    /// The mail server that letters go out by; none are sent unless given
    #[arg(long, value_name = "HOST", env = "SPARELOOP_SMTP_SERVER", global = true)]
    pub smtp_server: Option<String>,
    /// Its port [default: 587 for starttls, 465 for tls, 25 for none]
    #[arg(long, value_name = "NUMBER", env = "SPARELOOP_SMTP_PORT", global = true)]
    pub smtp_port: Option<NonZeroU16>,
    /// How the connection to it is secured [default: starttls]
    #[arg(long, value_name = "HOW", env = "SPARELOOP_SMTP_TLS", global = true, value_enum)]
    pub smtp_tls: Option<MailTls>,
    /// The name to sign in to it with; the password comes by `SPARELOOP_SMTP_PASSWORD_FILE`
    #[arg(long, value_name = "NAME", env = "SPARELOOP_SMTP_USER", global = true)]
    pub smtp_user: Option<String>,
    /// Whom letters are from, as 'Fen Loop <loop@farm.example>'
    #[arg(long, value_name = "ADDRESS", env = "SPARELOOP_SMTP_FROM", global = true)]
    pub smtp_from: Option<String>,
    /// What webhooks may lead to [default: public-https]
    #[arg(long, value_name = "WHAT", env = "SPARELOOP_WEBHOOK_TARGETS", global = true, value_enum)]
    pub webhook_targets: Option<WebhookTargets>,
}

/// What `[telling]` of the settings file may hold.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub(super) struct TellingFile {
    smtp_server: Option<String>,
    smtp_port: Option<NonZeroU16>,
    smtp_tls: Option<MailTls>,
    smtp_user: Option<String>,
    smtp_password_file: Option<PathBuf>,
    smtp_from: Option<String>,
    webhook_targets: Option<WebhookTargets>,
}

/// How the connection to a mail server is secured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, clap::ValueEnum, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum MailTls {
    /// Begun in the clear, then secured, or nothing is sent.
    #[default]
    Starttls,
    /// Secured from the start.
    Tls,
    /// In the clear; with a password only to this machine itself.
    None,
}

impl MailTls {
    const fn port(self) -> u16 {
        match self {
            Self::Starttls => 587,
            Self::Tls => 465,
            Self::None => 25,
        }
    }
}

/// What webhooks may lead to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, clap::ValueEnum, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum WebhookTargets {
    /// HTTPS, and addresses of the open internet.
    #[default]
    PublicHttps,
    /// Anything, this machine and the network around it, too: for tests, and where every farm that
    /// may add a webhook may reach all of that anyway
    Anything,
}

/// A password. Never printed.
#[derive(Clone, PartialEq, Eq)]
pub struct Password(pub String);

impl std::fmt::Debug for Password {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Password(…)")
    }
}

/// How letters go out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MailConfig {
    /// The mail server.
    pub server: String,
    /// Its port.
    pub port: u16,
    /// How the connection is secured.
    pub tls: MailTls,
    /// The name and password to sign in with, if it asks for them.
    pub sign_in: Option<(String, Password)>,
    /// Whom letters are from.
    pub from: Mailbox,
}

/// The settings in force.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct TellingConfig {
    /// How letters go out; none if they don't.
    pub mail: Option<MailConfig>,
    /// What webhooks may lead to.
    pub webhook_targets: WebhookTargets,
}

/// Why settings of letters or webhooks can't be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TellingSettingError {
    /// There is a mail server, and nobody whom letters are from.
    #[error(
        "a mail server is set and nobody whom letters are from: give --smtp-from 'Fen Loop \
         <loop@farm.example>'"
    )]
    NoFrom,
    /// Whom letters are from is no address.
    #[error("--smtp-from {0:?} is no address: write it as 'Fen Loop <loop@farm.example>'")]
    From(String),
    /// A name to sign in with, and no password, or the other way round.
    #[error(
        "the mail server's sign-in needs both a name (--smtp-user) and a password \
         (SPARELOOP_SMTP_PASSWORD_FILE)"
    )]
    HalfASignIn,
    /// A password in the clear to another machine.
    #[error("a password would go to the mail server in the clear: give --smtp-tls starttls or tls")]
    PasswordInTheClear,
    /// Settings of letters, and no mail server.
    #[error("settings of letters are there, and no mail server: give --smtp-server HOST")]
    NoServer,
}

impl TellingConfig {
    pub(super) fn resolve(
        flags: &TellingFlags,
        file: TellingFile,
        environment: &dyn Environment,
    ) -> Result<Self, ConfigError> {
        let password = match environment.get("SPARELOOP_SMTP_PASSWORD_FILE") {
            Some(path) => Some(read_trimmed(Path::new(&path))?),
            None => match (environment.get("SPARELOOP_SMTP_PASSWORD"), &file.smtp_password_file) {
                (Some(password), _) => Some(password),
                (None, Some(path)) => Some(read_trimmed(path)?),
                (None, None) => None,
            },
        };
        let webhook_targets = flags.webhook_targets.or(file.webhook_targets).unwrap_or_default();
        let user = flags.smtp_user.clone().or(file.smtp_user);
        let from = flags.smtp_from.clone().or(file.smtp_from);
        let Some(server) = flags.smtp_server.clone().or(file.smtp_server) else {
            if user.is_some() || from.is_some() || password.is_some() {
                return Err(TellingSettingError::NoServer.into());
            }
            return Ok(Self { mail: None, webhook_targets });
        };
        let tls = flags.smtp_tls.or(file.smtp_tls).unwrap_or_default();
        let sign_in = match (user, password) {
            (Some(user), Some(password)) => Some((user, Password(password))),
            (None, None) => None,
            _ => return Err(TellingSettingError::HalfASignIn.into()),
        };
        if sign_in.is_some() && tls == MailTls::None && !is_this_machine(&server) {
            return Err(TellingSettingError::PasswordInTheClear.into());
        }
        let from = from.ok_or(TellingSettingError::NoFrom)?;
        let from = from.parse().map_err(|_| TellingSettingError::From(from))?;
        let port = flags.smtp_port.or(file.smtp_port).map_or(tls.port(), NonZeroU16::get);
        Ok(Self { mail: Some(MailConfig { server, port, tls, sign_in, from }), webhook_targets })
    }
}

fn is_this_machine(server: &str) -> bool {
    server == "localhost" || server.parse::<IpAddr>().is_ok_and(|address| address.is_loopback())
}
