//! The lines of a whole stock book: what `export book` writes and `import book` reads.
//!
//! ```text
//! {"format":"spareloop stock book","version":1,"farm":{...},"devices":[...],...}   the first
//! {"at":{...},"body":{...},"device":"...",...,"hash":"..."}                        an entry each
//! {"parked":{...}} {"act":{...}} {"promised":{...}} {"imported":{...}} {"column":{...}}
//! {"end":{"entries":1200,"sha256":"..."}}                                          the last
//! ```
//!
//! Entries stand chain by chain, each in its canonical form (RFC 8785), the form that its hash is
//! made over, with the hash. The last line carries the SHA-256 of every byte before it, so that a
//! file that was cut short or changed is known for it. What may not enter: the book, files.

use serde::{Deserialize, Serialize};
use serde_json::Value;
use spareloop_domain::ledger::{Entry, Stamp};
use spareloop_domain::words::{Day, FarmId};

use crate::book::carry::{Beside, DeviceRow};

/// What the first line says the file is.
pub const FORMAT: &str = "spareloop stock book";
/// The version of the lines that this program writes, and the newest that it reads.
pub const VERSION: u64 = 1;
/// The largest integer that a double holds exactly with all below it, and so RFC 8785: 2^53.
const MOST_EXACT: u64 = 1 << 53;

/// The first line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct First {
    /// [`FORMAT`].
    pub format: String,
    /// [`VERSION`].
    pub version: u64,
    /// The farm and its settings.
    pub farm: FarmLine,
    /// The device that wrote the file and those that it was before.
    pub devices: Vec<DeviceRow>,
    /// The last stamp that the device gave or saw.
    pub clock: Stamp,
    /// The network, if the farm is connected.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub link: Option<LinkLine>,
}

/// The farm and its settings.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FarmLine {
    /// Its id.
    pub id: FarmId,
    /// Its name.
    pub name: String,
    /// How sure to be that enough comes up, strictly between 0 and 1.
    pub service_level: f64,
    /// The usual planting day.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub planting: Option<Day>,
}

/// The network, without what opens it. How far it was read is left out: a book that is brought in
/// reads the feed from its start, which is always right.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LinkLine {
    /// The server's address.
    pub server: String,
    /// The name to sign in with.
    pub login: String,
    /// The network's name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub network: Option<String>,
}

/// The last line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct End {
    /// How many entries there are.
    pub entries: u64,
    /// SHA-256 over every byte before this line, as 64 hexadecimal digits.
    pub sha256: String,
}

/// Any line but the first.
#[derive(Debug, Clone, PartialEq)]
pub enum Line {
    /// An entry.
    Entry(Box<Entry>),
    /// A row that is no entry.
    Beside(Box<Beside>),
    /// The last.
    End(End),
}

#[derive(Serialize, Deserialize)]
struct Ending {
    end: End,
}

/// The first line of a file as far as every version will have it.
#[derive(Debug, Deserialize)]
pub struct Title {
    /// What the file is.
    pub format: String,
    /// In which version.
    pub version: u64,
}

impl Line {
    /// Reads a line.
    pub fn read(text: &str) -> Result<Self, serde_json::Error> {
        let value: Value = serde_json::from_str(text)?;
        if value.get("hash").is_some() {
            return Entry::deserialize(value).map(|entry| Self::Entry(Box::new(entry)));
        }
        if value.get("end").is_some() {
            return Ending::deserialize(value).map(|line| Self::End(line.end));
        }
        Beside::deserialize(value).map(|row| Self::Beside(Box::new(row)))
    }
}

impl End {
    /// The line.
    pub fn to_line(&self) -> Result<Vec<u8>, serde_json::Error> {
        canonical(&Ending { end: self.clone() })
    }
}

/// The canonical form of a line.
pub fn canonical(it: &impl Serialize) -> Result<Vec<u8>, serde_json::Error> {
    serde_json_canonicalizer::to_vec(it)
}

/// The line of an entry: canonical, unless it holds an integer beyond 2^53. RFC 8785 writes every
/// number as a double and would round that, so such an entry of a newer version stays as it came.
pub fn entry_line(entry: &Entry) -> Result<Vec<u8>, serde_json::Error> {
    if is_exact(&entry.body) { canonical(entry) } else { serde_json::to_vec(entry) }
}

fn is_exact(value: &Value) -> bool {
    match value {
        Value::Number(number) => {
            let size = number.as_u64().or_else(|| number.as_i64().map(i64::unsigned_abs));
            size.is_none_or(|size| size <= MOST_EXACT)
        }
        Value::Array(values) => values.iter().all(is_exact),
        Value::Object(fields) => fields.values().all(is_exact),
        Value::Null | Value::Bool(_) | Value::String(_) => true,
    }
}
