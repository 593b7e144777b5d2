//! What was noted, by which device, and what was struck out by whom and why: for `log` and exports.
//!
//! What may not enter: layout; what an entry does to the book.

use std::collections::BTreeMap;

use serde::Serialize;
use serde_json::Value;
use spareloop_domain::ledger::describe::describe;
use spareloop_domain::ledger::{Body, Book, Entry, Seq, Stamp};
use spareloop_domain::words::{Day, DeviceId, EntryId};

use crate::book::carry::DeviceRow;

/// How an entry is named on a screen: the end of its id.
pub fn entry_code(entry: EntryId) -> String {
    let id = entry.uuid().simple().to_string();
    id[id.len() - 8..].to_owned()
}

/// How a device without a name here is named on a screen: the end of its id.
pub fn device_code(device: DeviceId) -> String {
    let id = device.uuid().simple().to_string();
    id[id.len() - 6..].to_owned()
}

/// A strike-out as the history shows it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct StruckOut {
    /// The entry that strikes it out.
    pub by: EntryId,
    /// The device that noted it.
    pub device: DeviceId,
    /// The day.
    pub on: Day,
    /// Why, if it was said.
    pub why: Option<String>,
}

/// An entry as the history shows it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Noted<'a> {
    /// The entry.
    pub entry: EntryId,
    /// Its code on a screen.
    pub code: String,
    /// The day on which it happened.
    pub on: Day,
    /// When it was noted.
    pub at: Stamp,
    /// The device that noted it.
    pub device: DeviceId,
    /// Its name, if this book knows it.
    pub device_name: Option<&'a str>,
    /// Its place in the device's chain.
    pub seq: Seq,
    /// The kind's code.
    pub kind: &'a str,
    /// In words.
    pub says: String,
    /// Codes of the lots that it speaks of.
    pub lots: Vec<String>,
    /// Whether it is struck out.
    pub struck_out: bool,
    /// By whom, when and why, if the strike-out is here.
    pub strike_out: Option<&'a StruckOut>,
    /// The body, whole.
    pub body: &'a Value,
}

/// The history of a book.
pub struct Journal<'a> {
    book: &'a Book,
    devices: BTreeMap<DeviceId, &'a str>,
    strikes: BTreeMap<EntryId, StruckOut>,
}

impl<'a> Journal<'a> {
    /// Reads who struck out what.
    pub fn of(book: &'a Book, entries: &[Entry], devices: &'a [DeviceRow]) -> Self {
        let mut strikes = BTreeMap::new();
        let mut voids: Vec<(&Entry, EntryId, Option<String>)> = entries
            .iter()
            .filter(|entry| entry.kind == "void" && !book.struck_out.contains(&entry.id))
            .filter_map(|entry| match entry.read_body() {
                Ok(Body::Void(void)) => Some((entry, void.entry, void.why)),
                _ => None,
            })
            .collect();
        voids.sort_by_key(|(entry, ..)| entry.order());
        for (entry, struck, why) in voids {
            if book.struck_out.contains(&struck) {
                let by = entry.id;
                let (device, on) = (entry.device, entry.on);
                strikes.entry(struck).or_insert(StruckOut { by, device, on, why });
            }
        }
        let devices = devices.iter().map(|device| (device.id, device.name.as_str())).collect();
        Self { book, devices, strikes }
    }

    /// A device as people know it: its name, or the end of its id.
    pub fn device(&self, device: DeviceId) -> String {
        self.devices
            .get(&device)
            .map_or_else(|| format!("device {}", device_code(device)), |name| (*name).to_owned())
    }

    /// Whether people would call a device so: by its name, its id or the end of it.
    pub fn is_called(&self, device: DeviceId, text: &str) -> bool {
        let wanted = text.trim().to_lowercase();
        device_code(device) == wanted
            || device.to_string() == wanted
            || self.devices.get(&device).is_some_and(|name| name.to_lowercase() == wanted)
    }

    /// An entry as the history shows it.
    pub fn noted(&'a self, entry: &'a Entry) -> Noted<'a> {
        let lots = entry.read_body().map(|body| body.lots()).unwrap_or_default();
        Noted {
            entry: entry.id,
            code: entry_code(entry.id),
            on: entry.on,
            at: entry.at,
            device: entry.device,
            device_name: self.devices.get(&entry.device).copied(),
            seq: entry.seq,
            kind: &entry.kind,
            says: describe(self.book, entry),
            lots: lots.iter().map(|lot| lot.code()).collect(),
            struck_out: self.book.struck_out.contains(&entry.id),
            strike_out: self.strikes.get(&entry.id),
            body: &entry.body,
        }
    }

    /// "struck out on 2026-01-10 by house laptop: wrong lot".
    pub fn spoken_strike(&self, noted: &Noted<'_>) -> Option<String> {
        let Some(strike) = noted.strike_out else {
            return noted.struck_out.then(|| "struck out".to_owned());
        };
        let why = strike.why.as_ref().map(|why| format!(": {why}")).unwrap_or_default();
        Some(format!("struck out on {} by {}{why}", strike.on, self.device(strike.device)))
    }
}
