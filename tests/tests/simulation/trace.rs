//! What happened, as a hash: the same seed must give the same.

use std::fmt::Write;

use sha2::{Digest, Sha256};
use spareloop_api::sync::{Page, Pushed, Summary};
use spareloop_cli::sync::courier::{Ask, Heard};

/// Everything that was said and done so far.
#[derive(Default)]
pub struct Trace {
    hash: Sha256,
    aloud: bool,
}

impl Trace {
    /// One that prints what it hears.
    pub fn aloud() -> Self {
        Self { hash: Sha256::default(), aloud: true }
    }

    /// Takes note of something.
    pub fn say(&mut self, what: impl AsRef<str>) {
        let what = what.as_ref();
        if self.aloud {
            eprintln!("{what}");
        }
        self.hash.update(what.as_bytes());
        self.hash.update([0]);
    }

    /// The hash over all of it.
    pub fn end(self) -> String {
        hex(&self.hash.finalize()[..12])
    }
}

/// Bytes in hexadecimal.
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, byte| {
        // Writing to a String never fails.
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// A question in a line.
pub fn ask(it: &Ask) -> String {
    match it {
        Ask::Summary => "summary?".to_owned(),
        Ask::Pull { after, limit } => format!("pull after {} ({limit})", after.0),
        Ask::Push(entries) => {
            let hashes: Vec<_> =
                entries.iter().map(|entry| format!("{}/{}", entry.device, entry.hash)).collect();
            format!("push {}", hashes.join(" "))
        }
    }
}

/// An answer in a line.
pub fn heard(it: &Heard) -> String {
    match it {
        Heard::Summary(Summary { epoch, position, heads, .. }) => {
            format!("summary {epoch} {position} {heads:?}")
        }
        Heard::Page(Page { epoch, entries, more }) => {
            let places: Vec<_> =
                entries.iter().map(|one| format!("{}={}", one.position, one.entry.hash)).collect();
            format!("page {epoch} {} {more:?}", places.join(" "))
        }
        Heard::Pushed(Pushed { stored, already_here, refused, .. }) => {
            format!("pushed {stored} {already_here} {refused:?}")
        }
    }
}
