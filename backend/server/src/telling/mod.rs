//! Bringing to farms what they are told: letters and signed calls out, feeds and calendars to fetch.
//!
//! ```text
//! post       letters by SMTP          letter    what a letter says and bears
//! webhook    signed calls             reach     what they may lead to, looked up once and pinned
//! outbox     the job that takes deliveries on, brings them and notes how it went
//! agenda     the days that a farm has to mind, for calendar and weekly letter
//! feed       an Atom feed             calendar  an iCalendar file
//! links      the secrets in addresses and letters
//! ```
//!
//! No act waits for any of this: acts write rows of the outbox, and this room brings them later, at
//! least once. Nothing says more than the pages show to the same farm, and no log holds an address,
//! a secret or a text. What may not enter: SQL, rules of when to try again (`domain`).

pub mod agenda;
pub mod calendar;
pub mod feed;
pub mod letter;
pub mod links;
pub mod outbox;
pub mod post;
pub mod reach;
pub mod webhook;

use crate::config::telling::{TellingConfig, WebhookTargets};
use post::{NoPost, Post};
use reach::Lookup;

/// Whether and how things are brought.
#[derive(Clone)]
pub struct Telling {
    /// Letters; none where nobody set them up.
    pub post: Option<Post>,
    /// What webhooks may lead to.
    pub targets: WebhookTargets,
    /// Where names are looked up.
    pub lookup: Lookup,
}

impl std::fmt::Debug for Telling {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Self { post, targets, .. } = self;
        f.debug_struct("Telling")
            .field("post", post)
            .field("targets", targets)
            .finish_non_exhaustive()
    }
}

impl Default for Telling {
    /// Without letters; webhooks to the open internet alone.
    fn default() -> Self {
        Self { post: None, targets: WebhookTargets::default(), lookup: reach::system() }
    }
}

impl Telling {
    /// By these settings.
    pub fn new(config: &TellingConfig) -> Result<Self, NoPost> {
        Ok(Self {
            post: config.mail.as_ref().map(Post::new).transpose()?,
            targets: config.webhook_targets,
            ..Self::default()
        })
    }
}
