//! The day's copy, made by the server itself when it was told where.
//!
//! A copy is due from its time of day on; one that was missed while no server ran is due at the next
//! start. Of several replicas the one that writes the day's row makes it. Older copies go only once
//! a newer one was read through. What may not enter: how a copy is made.

use std::path::{Path, PathBuf};

use chrono::{DateTime, Days, Local, NaiveDate, NaiveDateTime, NaiveTime, Utc};
use spareloop_domain::words::Day;
use spareloop_store::copies::{self, Turn};
use spareloop_store::{DatabaseUrl, Store};

use super::{KeepError, Keeper, Trial, system};

/// When, where to and how many.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Nightly {
    /// The folder.
    pub folder: PathBuf,
    /// The time of day, in the server's zone.
    pub at: NaiveTime,
    /// How many are kept; at least 1.
    pub keep: usize,
}

/// What became of a turn.
#[derive(Debug)]
pub enum Done {
    /// It was not due, or not ours.
    Nothing,
    /// A copy was made and read through.
    Made(PathBuf),
    /// There is none; what was there before is kept.
    Failed(KeepError),
}

/// The day whose copy is due: today's from its time on, before that yesterday's.
pub fn day_due(now: NaiveDateTime, at: NaiveTime) -> NaiveDate {
    let today = now.date();
    if now.time() >= at { today } else { today.checked_sub_days(Days::new(1)).unwrap_or(today) }
}

/// Makes the copy that is due, if it is ours to make. Blocks for as long as that takes.
pub fn turn(
    keeper: &Keeper,
    store: &Store,
    nightly: &Nightly,
    now: DateTime<Utc>,
) -> Result<Done, KeepError> {
    let due = day_due(now.with_timezone(&Local).naive_local(), nightly.at);
    let day = Day::new(due).map_err(|error| KeepError::System {
        path: nightly.folder.clone(),
        reason: std::io::Error::other(error.to_string()),
    })?;
    if store.write(|tx| copies::take(tx, day, now))? == Turn::NotNow {
        return Ok(Done::Nothing);
    }
    let made = make(keeper, store, nightly, now);
    let said = match &made {
        Ok((_, said)) => said.clone(),
        Err(error) => for_people(error),
    };
    let outcome = if made.is_ok() { Ok(said.as_str()) } else { Err(said.as_str()) };
    // How long it took is not known here; when it began is what a person looks for.
    store.write(|tx| copies::end(tx, day, outcome, now))?;
    Ok(match made {
        Ok((path, _)) => Done::Made(path),
        Err(error) => Done::Failed(error),
    })
}

fn make(
    keeper: &Keeper,
    store: &Store,
    nightly: &Nightly,
    now: DateTime<Utc>,
) -> Result<(PathBuf, String), KeepError> {
    std::fs::create_dir_all(&nightly.folder).map_err(system(&nightly.folder))?;
    let ending = ending(&keeper.url);
    let name = format!("{PREFIX}{}{ending}", now.format("%Y-%m-%dT%H%M%SZ"));
    let path = nightly.folder.join(name);
    let checked = keeper.back_up(store, &path, Trial::Read)?;
    prune(&nightly.folder, ending, nightly.keep)?;
    Ok((path, checked.to_string()))
}

const PREFIX: &str = "spareloop-";

const fn ending(url: &DatabaseUrl) -> &'static str {
    match url {
        DatabaseUrl::Sqlite(_) => ".sqlite",
        DatabaseUrl::Postgres(_) => ".dump",
    }
}

/// Lets all but the newest copies go, by the time in their names. Other files are left alone.
fn prune(folder: &Path, ending: &str, keep: usize) -> Result<(), KeepError> {
    let mut copies: Vec<PathBuf> = std::fs::read_dir(folder)
        .map_err(system(folder))?
        .flatten()
        .map(|file| file.path())
        .filter(|path| {
            path.file_name().is_some_and(|name| is_ours(&name.to_string_lossy(), ending))
        })
        .collect();
    copies.sort();
    let many = copies.len().saturating_sub(keep.max(1));
    for old in &copies[..many] {
        std::fs::remove_file(old).map_err(system(old))?;
    }
    Ok(())
}

fn is_ours(name: &str, ending: &str) -> bool {
    name.strip_prefix(PREFIX)
        .and_then(|rest| rest.strip_suffix(ending))
        .is_some_and(|time| NaiveDateTime::parse_from_str(time, "%Y-%m-%dT%H%M%SZ").is_ok())
}

/// Why there is no copy, for the coordinator's page: paths and programs' words stay in the log.
fn for_people(error: &KeepError) -> String {
    match error {
        KeepError::Damaged { .. } => "what was written could not be read again",
        KeepError::Store(spareloop_store::StoreError::Corrupt { .. }) => "the database is damaged",
        KeepError::NoProgram { .. } => "PostgreSQL's own programs are missing or too old",
        KeepError::Program { .. } => "PostgreSQL's own program failed",
        KeepError::System { .. } => "the folder for copies can't be written to",
        _ => "the database could not be read, or the disk is full",
    }
    .to_owned()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn at(text: &str) -> NaiveDateTime {
        NaiveDateTime::parse_from_str(text, "%Y-%m-%d %H:%M").unwrap()
    }

    #[test]
    fn a_copy_is_due_from_its_time_on_and_a_missed_one_is_made_up() {
        let half_past_three = NaiveTime::from_hms_opt(3, 30, 0).unwrap();
        let due = |text: &str| day_due(at(text), half_past_three).to_string();
        assert_eq!(due("2026-11-25 03:29"), "2026-11-24");
        assert_eq!(due("2026-11-25 03:30"), "2026-11-25");
        // A server that was down over the night finds the day's copy due when it starts.
        assert_eq!(due("2026-11-25 09:12"), "2026-11-25");
    }

    #[test]
    fn only_the_oldest_copies_go_and_nothing_else() {
        let folder = tempfile::tempdir().unwrap();
        let names = [
            "spareloop-2026-11-20T033000Z.sqlite",
            "spareloop-2026-11-21T033000Z.sqlite",
            "spareloop-2026-11-22T033000Z.sqlite",
            "spareloop-before-the-move.sqlite",
            "spareloop-2026-11-19T033000Z.dump",
            "letter.txt",
        ];
        for name in names {
            std::fs::write(folder.path().join(name), "").unwrap();
        }
        prune(folder.path(), ".sqlite", 2).unwrap();
        let left: Vec<&str> =
            names.into_iter().filter(|name| folder.path().join(name).exists()).collect();
        assert_eq!(left, names[1..]);
        prune(folder.path(), ".sqlite", 0).unwrap();
        assert!(folder.path().join(names[2]).exists(), "the newest is always kept");
    }
}
