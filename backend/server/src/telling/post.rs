//! Letters by SMTP.
//!
//! What may not enter: what a letter says.

use std::time::Duration;

use lettre::message::Mailbox;
use lettre::transport::smtp::Error as SmtpError;
use lettre::transport::smtp::authentication::Credentials;
use lettre::transport::smtp::client::{Tls, TlsParameters};
use lettre::{AsyncSmtpTransport, AsyncTransport, Message, Tokio1Executor};
use spareloop_store::channels::Failure;

use super::webhook::Failed;
use crate::config::telling::{MailConfig, MailTls, Password};

/// How long the mail server has for each of its answers.
const PATIENCE: Duration = Duration::from_secs(15);

/// Where letters are given to be sent.
#[derive(Clone)]
pub struct Post {
    transport: AsyncSmtpTransport<Tokio1Executor>,
    from: Mailbox,
}

impl std::fmt::Debug for Post {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Post(…)")
    }
}

/// Letters can't be set up that way.
#[derive(Debug, thiserror::Error)]
#[error("the mail server can't be used: {reason}")]
pub struct NoPost {
    reason: String,
}

impl Post {
    /// By these settings. Nobody is called yet.
    pub fn new(config: &MailConfig) -> Result<Self, NoPost> {
        let secured = || {
            TlsParameters::new(config.server.clone())
                .map_err(|error| NoPost { reason: error.to_string() })
        };
        let tls = match config.tls {
            MailTls::Starttls => Tls::Required(secured()?),
            MailTls::Tls => Tls::Wrapper(secured()?),
            MailTls::None => Tls::None,
        };
        let mut transport =
            AsyncSmtpTransport::<Tokio1Executor>::builder_dangerous(config.server.clone())
                .port(config.port)
                .tls(tls)
                .timeout(Some(PATIENCE));
        if let Some((name, Password(password))) = &config.sign_in {
            transport = transport.credentials(Credentials::new(name.clone(), password.clone()));
        }
        Ok(Self { transport: transport.build(), from: config.from.clone() })
    }

    /// Whom letters are from.
    pub const fn from(&self) -> &Mailbox {
        &self.from
    }

    /// Gives a letter to the mail server.
    pub async fn send(&self, letter: Message) -> Result<(), Failed> {
        self.transport.send(letter).await.map(drop).map_err(|error| failed(&error))
    }
}

/// A refusal for good is one of the recipient or the letter; trouble with our own sign-in there is
/// the operator's and may be mended.
fn failed(error: &SmtpError) -> Failed {
    let Some(status) = error.status() else {
        // The library's own words may hold addresses and stay in no log.
        let said = if error.is_timeout() {
            "the mail server did not answer in time"
        } else {
            "the mail server can't be reached"
        };
        return Failed::for_now(said);
    };
    let status = u16::from(status);
    let failure = match status {
        // RFC 5321, 4.2.2 and 4.2.3: mailbox unavailable, not local, name not allowed.
        550 | 551 | 553 => Failure::ForGood,
        _ => Failure::ForNow,
    };
    let said = match failure {
        Failure::ForGood => format!("the mail server knows no such address ({status})"),
        Failure::ForNow | Failure::Gone => format!("the mail server refused it ({status})"),
    };
    Failed { failure, said }
}
