//! Putting a copy in the place of the embedded database.

use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};
use spareloop_store::{DatabaseUrl, Store, check_copy};

use super::{AFTERWARDS, KeepError, Lock, beside, damaged, system};

/// Puts a copy in the place of the database; what was there is kept aside.
///
/// The copy gets a new epoch and every farm a new house device, so that devices notice and send
/// again what the copy lacks. Answers what was done, in words.
pub(super) fn restore(
    database: &Path,
    copy: &Path,
    now: DateTime<Utc>,
) -> Result<String, KeepError> {
    if let Some(folder) = database.parent() {
        std::fs::create_dir_all(folder).map_err(system(folder))?;
    }
    let _lock = Lock::take(database)?;
    check_copy(copy).map_err(damaged(copy))?;
    let (prepared, checked) = prepare(database, copy, now)?;
    let aside = set_aside(database, now)?;
    std::fs::rename(&prepared, database).map_err(system(database))?;
    if let Some(folder) = database.parent().and_then(|folder| std::fs::File::open(folder).ok()) {
        // The swap of names is to outlast a power cut; a system that can't promise it still has it.
        let _ = folder.sync_all();
    }
    let kept = aside.map_or_else(
        || "There was no database before.".to_owned(),
        |aside| format!("What was there before is kept in {}.", aside.display()),
    );
    Ok(format!(
        "The copy {} is in place: {checked}, each verified. {kept}\n{AFTERWARDS}",
        copy.display()
    ))
}

/// Makes a whole file beside the database from the copy, with its new epoch and house devices.
fn prepare(
    database: &Path,
    copy: &Path,
    now: DateTime<Utc>,
) -> Result<(PathBuf, spareloop_store::Checked), KeepError> {
    let (working, prepared) = (beside(database, ".restoring"), beside(database, ".restored"));
    let clear = || {
        for ending in ["", "-wal", "-shm"] {
            let _ = std::fs::remove_file(beside(&working, ending));
        }
    };
    clear();
    let _ = std::fs::remove_file(&prepared);
    std::fs::copy(copy, &working).map_err(system(&working))?;
    let made = (|| {
        let store = Store::open_restored(&DatabaseUrl::Sqlite(working.clone()), now)?;
        store.backup_to(&prepared)
    })();
    clear();
    Ok((prepared, made.map_err(damaged(copy))?))
}

fn set_aside(database: &Path, now: DateTime<Utc>) -> Result<Option<PathBuf>, KeepError> {
    if !database.exists() {
        return Ok(None);
    }
    let aside = beside(database, &now.format(".replaced-%Y%m%dT%H%M%S%6f").to_string());
    // The write-ahead log belongs to the file and is found by its name.
    for ending in ["", "-wal", "-shm"] {
        let part = beside(database, ending);
        if part.exists() {
            std::fs::rename(&part, beside(&aside, ending)).map_err(system(&part))?;
        }
    }
    Ok(Some(aside))
}
