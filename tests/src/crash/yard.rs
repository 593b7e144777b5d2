//! A farm and its server just before a sync that has something to fetch, to send and to do: put
//! back to that moment as often as wanted, so that the sync can be struck anywhere.

use std::collections::BTreeSet;
use std::fmt::Write;
use std::path::{Path, PathBuf};

use diesel::connection::SimpleConnection;
use diesel::{Connection, QueryableByName, RunQueryDsl, SqliteConnection, sql_query};
use tempfile::TempDir;

use super::standing::{Standing, exported};
use super::tally::Wrong;
use crate::farm::Device;
use crate::network::Network;

/// The farm's laptop and the network's server.
pub struct Yard {
    /// The network; its server is as it was last started.
    pub network: Network,
    /// The device that syncs.
    pub farm: Device,
    /// What the sync is about.
    pub expected: Expected,
    kept: TempDir,
}

/// What a sync is about, by the entries' hashes.
#[derive(Debug, Clone)]
pub struct Expected {
    /// What both sides hold in the end.
    pub all: BTreeSet<String>,
    /// What the server held before.
    pub held: BTreeSet<String>,
}

/// A stock sheet of `rows` lots.
pub fn sheet(first: usize, rows: usize) -> String {
    let mut text = "variety,count,lot\n".to_owned();
    for row in first..first + rows {
        // Writing to a String can't fail.
        let _ = writeln!(text, "Moss Anthem,5,L{row}");
    }
    text
}

impl Expected {
    /// Whether entries that are durable in a server's book are all of what it held before, at
    /// least `acknowledged` more, and nothing that nobody noted.
    pub fn holds(&self, hashes: &BTreeSet<String>, acknowledged: usize) -> Result<(), Wrong> {
        if !hashes.is_superset(&self.held) || hashes.len() < self.held.len() + acknowledged {
            let (has, had) = (hashes.len(), self.held.len());
            return Err(Wrong::Lost(format!("{has} of {had} and {acknowledged} more")));
        }
        if hashes.is_subset(&self.all) {
            Ok(())
        } else {
            Err(Wrong::Inconsistent("the server holds what nobody noted".to_owned()))
        }
    }
}

impl Yard {
    /// A phone has sent what the laptop lacks, the laptop has noted what nobody else knows, and a
    /// want of its waits to be sent.
    pub fn new() -> Self {
        let mut network = Network::embedded();
        let farm = network.farm("Ashlode");
        let lot = farm.lot("Ember Lantern", 40);
        farm.sync();
        let phone = network.another_device("Ashlode", "phone");
        phone.lose(&lot, 2);
        phone.run(&["import", "stock", &phone.file("stock.csv", sheet(0, 12)), "--yes"]).done();
        phone.sync();
        farm.lose(&lot, 1);
        farm.run(&["import", "stock", &farm.file("stock.csv", sheet(100, 12)), "--yes"]).done();
        network.server.kill();
        farm.run(&["want", "make", "Ember Lantern", "--count", "5"]).ends_with(6);
        let kept = tempfile::tempdir().expect("a folder");
        copy_files(&network.data(), &kept.path().join("server"));
        copy_files(home(&farm), &kept.path().join("farm"));
        let held = server_hashes(&network.data());
        network.start_again();
        farm.sync();
        let all = hashes(&farm);
        let yard = Self { network, farm, kept, expected: Expected { all, held } };
        yard.has_arrived().expect("an unharmed sync arrives");
        yard
    }

    /// Puts both sides back to before the sync; the server is down.
    pub fn put_back(&mut self) {
        self.network.server.kill();
        for (from, to) in [("server", self.network.data()), ("farm", home(&self.farm).to_owned())] {
            std::fs::remove_dir_all(&to).expect("a folder");
            copy_files(&self.kept.path().join(from), &to);
        }
    }

    /// The server's data folder and the farm's home.
    pub fn folders(&self) -> (PathBuf, PathBuf) {
        (self.network.data(), home(&self.farm).to_owned())
    }

    /// How many entries the server holds now.
    pub fn held_now(&self) -> usize {
        server_hashes(&self.network.data()).len()
    }

    /// Whether the blow left both sides whole, with all that they ever said they hold.
    pub fn has_kept(&self) -> Result<(), Wrong> {
        let server = server_hashes(&self.network.data());
        if !server.is_superset(&self.expected.held) {
            return Err(Wrong::Lost("the server lacks what it held".to_owned()));
        }
        self.has_its_own(&self.farm)?;
        let placed = placed_hashes(self.farm.book())?;
        if !server.is_superset(&placed) {
            let what = "the farm has a place in the feed for what the server lacks";
            return Err(Wrong::Lost(what.to_owned()));
        }
        Ok(())
    }

    /// Whether a device holds all that the farm had noted on it.
    pub fn has_its_own(&self, device: &Device) -> Result<(), Wrong> {
        Standing::of(device)?;
        let entries = exported(device)?.unwrap_or_default();
        let held: BTreeSet<_> = entries.iter().map(|entry| entry.hash.to_string()).collect();
        if self.expected.all.difference(&self.expected.held).all(|hash| held.contains(hash)) {
            Ok(())
        } else {
            Err(Wrong::Lost("the farm lacks what it had noted".to_owned()))
        }
    }

    fn ours(&self) -> Result<BTreeSet<String>, Wrong> {
        let entries = exported(&self.farm)?.unwrap_or_default();
        Ok(entries.iter().map(|entry| entry.hash.to_string()).collect())
    }

    /// Whether a sync that nobody struck came to the end that it would have had.
    pub fn has_arrived(&self) -> Result<(), Wrong> {
        let missing = |what: &str| Err(Wrong::Inconsistent(what.to_owned()));
        Standing::of(&self.farm)?;
        if self.ours()? != self.expected.all {
            return missing("the farm doesn't hold what an unharmed sync brings");
        }
        let entries = server_rows(&self.network.data());
        if entries.len() != self.expected.all.len()
            || server_hashes(&self.network.data()) != self.expected.all
        {
            return missing("the server doesn't hold every entry once");
        }
        let status = self.farm.run(&["status", "--json"]).json();
        if status["unsent"] != 0 || status["acts_waiting"] != 0 {
            return missing(&format!("something is left to be done: {status}"));
        }
        let wants = self.farm.run(&["want", "list", "--json"]).json();
        match wants["wants"].as_array().map_or(0, Vec::len) {
            1 => Ok(()),
            other => missing(&format!("one want was made and there are {other}")),
        }
    }
}

impl Default for Yard {
    fn default() -> Self {
        Self::new()
    }
}

fn home(farm: &Device) -> &Path {
    farm.book().parent().expect("a book lies in a folder")
}

/// Copies the files of a folder, not its folders.
pub fn copy_files(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).expect("a folder");
    for file in std::fs::read_dir(from).expect("a folder").flatten() {
        if file.file_type().is_ok_and(|kind| kind.is_file()) {
            std::fs::copy(file.path(), to.join(file.file_name())).expect("a copy");
        }
    }
}

fn hashes(farm: &Device) -> BTreeSet<String> {
    farm.entries().iter().filter_map(|entry| Some(entry["hash"].as_str()?.to_owned())).collect()
}

#[derive(QueryableByName)]
struct Row {
    #[diesel(sql_type = diesel::sql_types::Text)]
    hash: String,
}

fn rows(file: &Path, query: &str) -> Result<Vec<String>, Wrong> {
    let bad = |error: &dyn std::fmt::Display| Wrong::Inconsistent(error.to_string());
    let path = file.to_str().expect("a plain path");
    let mut connection = SqliteConnection::establish(path).map_err(|error| bad(&error))?;
    connection.batch_execute("PRAGMA busy_timeout = 5000").map_err(|error| bad(&error))?;
    let found: Vec<Row> = sql_query(query).load(&mut connection).map_err(|error| bad(&error))?;
    Ok(found.into_iter().map(|row| row.hash).collect())
}

fn server_rows(data: &Path) -> Vec<String> {
    entry_rows(&data.join("spareloop.sqlite"))
}

fn server_hashes(data: &Path) -> BTreeSet<String> {
    hashes_in(&data.join("spareloop.sqlite"))
}

fn entry_rows(file: &Path) -> Vec<String> {
    rows(file, "SELECT hash FROM entries").expect("a server's book can be read")
}

/// The hash of every entry in a server's book, or in a copy of one.
pub fn hashes_in(file: &Path) -> BTreeSet<String> {
    entry_rows(file).into_iter().collect()
}

/// Entries that a device has seen in the server's feed.
fn placed_hashes(book: &Path) -> Result<BTreeSet<String>, Wrong> {
    let found = rows(book, "SELECT hash FROM entries WHERE position IS NOT NULL")?;
    Ok(found.into_iter().collect())
}
