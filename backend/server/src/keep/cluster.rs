//! Copies of a PostgreSQL database, by its own programs: `pg_dump` writes, `pg_restore` reads,
//! `psql` puts in.
//!
//! What is copied is what was read through: the chains are followed in one transaction, and
//! `pg_dump` is given that transaction's snapshot. Passwords go by the environment.

use std::io::{BufRead, BufReader, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use chrono::{DateTime, Utc};
use spareloop_store::cluster::{Alone, Scratch, Taken, main_version, shared_snapshot};
use spareloop_store::{Checked, DatabaseUrl, Store, check_everything};

use super::{AFTERWARDS, KeepError, Keeper, Present, Trial, beside, damaged, system};

const DUMP: &str = "pg_dump";
const RESTORE: &str = "pg_restore";
const PSQL: &str = "psql";
/// The table that holds the epoch: it is left out of a restore, so that one that was cut off shows.
const EPOCH_TABLE: &str = "TABLE DATA public server_state ";
/// Takes away all that is in the way, in the transaction that puts the copy in.
const CLEAR: &str = "DO $$ DECLARE name text; BEGIN \
    FOR name IN SELECT tablename FROM pg_tables WHERE schemaname = 'public' LOOP \
    EXECUTE format('DROP TABLE public.%I CASCADE', name); END LOOP; END $$";

/// A program of PostgreSQL's, found and recent enough.
struct Program {
    name: &'static str,
    path: PathBuf,
}

impl Program {
    fn find(keeper: &Keeper, name: &'static str) -> Result<Self, KeepError> {
        let wanted = main_version(&keeper.url)?.unwrap_or(0);
        let missing = |found: String| KeepError::NoProgram { program: name, wanted, found };
        let mut older = None;
        for folder in folders(keeper) {
            let path = folder.join(name);
            let Some(version) = version_of(&path) else { continue };
            if version >= wanted {
                return Ok(Self { name, path });
            }
            older.get_or_insert((version, path));
        }
        Err(missing(older.map_or_else(
            || "was not found".to_owned(),
            |(version, path)| format!("{} is of version {version}", path.display()),
        )))
    }

    fn command(&self, url: &DatabaseUrl) -> Command {
        let mut command = Command::new(&self.path);
        command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
        command.env("PGOPTIONS", "-c client_min_messages=warning");
        if let Some(password) = url.for_programs().and_then(|given| given.password) {
            command.env("PGPASSWORD", password);
        }
        command
    }

    fn failed(&self, said: &[u8]) -> KeepError {
        let said = String::from_utf8_lossy(said).trim().replace('\n', " ");
        KeepError::Program { program: self.name, said }
    }

    fn cannot_run(&self, reason: std::io::Error) -> KeepError {
        KeepError::System { path: self.path.clone(), reason }
    }

    /// Runs to the end and answers what was written.
    fn run(&self, command: &mut Command) -> Result<Vec<u8>, KeepError> {
        let output = command.output().map_err(|reason| self.cannot_run(reason))?;
        if output.status.success() { Ok(output.stdout) } else { Err(self.failed(&output.stderr)) }
    }
}

/// The folder that was named alone, or those of PATH and then Debian's, newest version first.
fn folders(keeper: &Keeper) -> Vec<PathBuf> {
    if let Some(named) = &keeper.programs {
        return vec![named.clone()];
    }
    let mut folders: Vec<PathBuf> =
        std::env::var_os("PATH").iter().flat_map(std::env::split_paths).collect();
    let versions = std::fs::read_dir("/usr/lib/postgresql").into_iter().flatten().flatten();
    let mut versions: Vec<(u32, PathBuf)> = versions
        .filter_map(|it| Some((it.file_name().to_str()?.parse().ok()?, it.path().join("bin"))))
        .collect();
    versions.sort_by_key(|(version, _)| std::cmp::Reverse(*version));
    folders.extend(versions.into_iter().map(|(_, folder)| folder));
    folders
}

/// The main version that a program says it is of: `pg_dump (PostgreSQL) 15.10 (Debian ...)`.
fn version_of(path: &Path) -> Option<u32> {
    let output = Command::new(path).arg("--version").stdin(Stdio::null()).output().ok()?;
    let said = String::from_utf8(output.stdout).ok()?;
    let (_, version) = said.split_once("(PostgreSQL) ")?;
    version.split(|letter: char| !letter.is_ascii_digit()).next()?.parse().ok()
}

fn address(url: &DatabaseUrl) -> String {
    // Only called for PostgreSQL; SQLite has no such address.
    url.for_programs().map(|given| given.url).unwrap_or_default()
}

/// Writes a copy of what one transaction sees and reads it through.
pub(super) fn back_up(
    keeper: &Keeper,
    store: &Store,
    copy: &Path,
    trial: Trial,
) -> Result<Checked, KeepError> {
    let dump = Program::find(keeper, DUMP)?;
    let reader = Program::find(keeper, RESTORE)?;
    let partial = beside(copy, ".partial");
    let made = (|| {
        make_private(&partial)?;
        let checked = write(keeper, &dump, store, &partial)?;
        read_through(&reader, &keeper.url, &partial, Some(checked))?;
        if trial == Trial::Drill {
            drill(keeper, &reader, &partial, checked)?;
        }
        let file = std::fs::File::open(&partial).map_err(system(&partial))?;
        file.sync_all().map_err(system(&partial))?;
        std::fs::rename(&partial, copy).map_err(system(copy))?;
        Ok(checked)
    })();
    if made.is_err() {
        // Half a copy must not be taken for a whole one.
        let _ = std::fs::remove_file(&partial);
    }
    made
}

/// The copy holds password hashes.
fn make_private(path: &Path) -> Result<(), KeepError> {
    let mut options = std::fs::OpenOptions::new();
    options.write(true).create(true).truncate(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options.open(path).map(drop).map_err(system(path))
}

fn write(
    keeper: &Keeper,
    dump: &Program,
    store: &Store,
    partial: &Path,
) -> Result<Checked, KeepError> {
    let mut written = Ok(());
    let checked = store.read(|tx| {
        let checked = check_everything(tx)?;
        if let Some(snapshot) = shared_snapshot(tx)? {
            let mut command = dump.command(&keeper.url);
            command
                .args(["--format=custom", "--no-owner", "--no-privileges", "--no-password"])
                .arg(format!("--snapshot={snapshot}"))
                .arg("--file")
                .arg(partial)
                .arg(format!("--dbname={}", address(&keeper.url)));
            written = dump.run(&mut command).map(drop);
        }
        Ok(checked)
    })?;
    written.map(|()| checked)
}

/// Reads a copy to its end as SQL and counts its entries.
fn read_through(
    reader: &Program,
    url: &DatabaseUrl,
    copy: &Path,
    expected: Option<Checked>,
) -> Result<(), KeepError> {
    let wrong = |reason: String| KeepError::Damaged { path: copy.to_owned(), reason };
    let contents = contents(reader, url, copy)?;
    if !contents.contains("TABLE DATA public entries ") || !contents.contains(EPOCH_TABLE) {
        return Err(wrong("it has no ledgers in it".to_owned()));
    }
    let mut child = reader
        .command(url)
        .args(["--data-only", "--file=-"])
        .arg(copy)
        .spawn()
        .map_err(|reason| reader.cannot_run(reason))?;
    let counted = child.stdout.take().map_or(Ok(0), count_entries);
    let ended = end(reader, child);
    let entries = counted.map_err(|error| wrong(error.to_string()))?;
    ended.map_err(|error| wrong(error.to_string()))?;
    match expected {
        Some(expected) if expected.entries != entries => {
            Err(wrong(format!("{} entries were there and {entries} are in it", expected.entries)))
        }
        _ => Ok(()),
    }
}

fn contents(reader: &Program, url: &DatabaseUrl, copy: &Path) -> Result<String, KeepError> {
    let listed = reader
        .run(reader.command(url).arg("--list").arg(copy))
        .map_err(|error| KeepError::Damaged { path: copy.to_owned(), reason: error.to_string() })?;
    Ok(String::from_utf8_lossy(&listed).into_owned())
}

/// Counts the lines between `COPY public.entries` and `\.`.
fn count_entries(text: impl Read) -> std::io::Result<u64> {
    let (mut inside, mut entries) = (false, 0);
    let mut text = BufReader::new(text);
    let mut line = Vec::new();
    while text.read_until(b'\n', &mut line)? > 0 {
        if inside {
            inside = !line.starts_with(b"\\.");
            entries += u64::from(inside);
        } else {
            inside = line.starts_with(b"COPY public.entries ");
        }
        line.clear();
    }
    Ok(entries)
}

fn end(program: &Program, child: Child) -> Result<(), KeepError> {
    let output = child.wait_with_output().map_err(|reason| program.cannot_run(reason))?;
    if output.status.success() { Ok(()) } else { Err(program.failed(&output.stderr)) }
}

/// Puts the copy into a scratch database and follows every chain there.
fn drill(
    keeper: &Keeper,
    reader: &Program,
    copy: &Path,
    expected: Checked,
) -> Result<(), KeepError> {
    let name = format!("spareloop_drill_{}", std::process::id());
    let scratch = Scratch::make(&keeper.url, &name)?;
    let mut command = reader.command(&scratch.url);
    command
        .args(["--single-transaction", "--exit-on-error", "--no-owner", "--no-privileges"])
        .arg("--no-password")
        .arg(format!("--dbname={}", address(&scratch.url)))
        .arg(copy);
    reader.run(&mut command)?;
    let found = Store::open(&scratch.url).and_then(|store| store.check()).map_err(damaged(copy))?;
    if found == expected {
        return Ok(());
    }
    let reason = format!("{expected} were there and {found} are in it");
    Err(KeepError::Damaged { path: copy.to_owned(), reason })
}

/// Puts a copy into the database in one transaction.
pub(super) fn restore(
    keeper: &Keeper,
    copy: &Path,
    present: Present,
    folder: &Path,
    now: DateTime<Utc>,
) -> Result<String, KeepError> {
    let reader = Program::find(keeper, RESTORE)?;
    let writer = Program::find(keeper, PSQL)?;
    read_through(&reader, &keeper.url, copy, None)?;
    let Taken::Ours(Some(mut alone)) = Alone::take(&keeper.url)? else {
        return Err(KeepError::Served);
    };
    let mut kept = "The database was empty before.".to_owned();
    if alone.tables()? > 0 {
        if present == Present::Refused {
            return Err(KeepError::NotEmpty);
        }
        let aside = folder.join(now.format("replaced-%Y%m%dT%H%M%S%6f.dump").to_string());
        std::fs::create_dir_all(folder).map_err(system(folder))?;
        dump_as_it_is(keeper, &aside)?;
        kept = format!("What was there before is kept in {}.", aside.display());
    }
    put_in(keeper, &reader, &writer, copy)?;
    // Until here nobody could serve from it: a database with farms and without an epoch is refused.
    let checked = Store::open_restored(&keeper.url, now).and_then(|store| store.check())?;
    drop(alone);
    Ok(format!(
        "The copy {} is in place: {checked}, each verified. {kept}\n{AFTERWARDS}",
        copy.display()
    ))
}

/// Copies what is about to be replaced, whole or not, of this version or not.
fn dump_as_it_is(keeper: &Keeper, aside: &Path) -> Result<(), KeepError> {
    let dump = Program::find(keeper, DUMP)?;
    make_private(aside)?;
    let mut command = dump.command(&keeper.url);
    command
        .args(["--format=custom", "--no-owner", "--no-privileges", "--no-password", "--file"])
        .arg(aside)
        .arg(format!("--dbname={}", address(&keeper.url)));
    let made = dump.run(&mut command).map(drop);
    if made.is_err() {
        let _ = std::fs::remove_file(aside);
    }
    made
}

/// Clears the database and writes the copy into it, all in one transaction, but for the epoch.
fn put_in(
    keeper: &Keeper,
    reader: &Program,
    writer: &Program,
    copy: &Path,
) -> Result<(), KeepError> {
    let wanted: String = contents(reader, &keeper.url, copy)?
        .lines()
        .filter(|line| !line.contains(EPOCH_TABLE))
        .flat_map(|line| [line, "\n"])
        .collect();
    let list = beside(copy, &format!(".list-{}", std::process::id()));
    let list = std::env::temp_dir().join(list.file_name().unwrap_or_default());
    std::fs::write(&list, wanted).map_err(system(&list))?;
    let put = pipe(keeper, reader, writer, copy, &list);
    let _ = std::fs::remove_file(&list);
    put
}

fn pipe(
    keeper: &Keeper,
    reader: &Program,
    writer: &Program,
    copy: &Path,
    list: &Path,
) -> Result<(), KeepError> {
    let mut source = reader
        .command(&keeper.url)
        .args(["--no-owner", "--no-privileges", "--file=-", "--use-list"])
        .arg(list)
        .arg(copy)
        .spawn()
        .map_err(|reason| reader.cannot_run(reason))?;
    let mut sink = writer
        .command(&keeper.url)
        .args(["--no-psqlrc", "--quiet", "--no-password", "--single-transaction"])
        .args(["--variable=ON_ERROR_STOP=1", "--output=/dev/null"])
        .arg(format!("--dbname={}", address(&keeper.url)))
        .args(["--command", CLEAR, "--file=-"])
        .stdin(Stdio::piped())
        .spawn()
        .map_err(|reason| writer.cannot_run(reason))?;
    let copied = match (source.stdout.take(), sink.stdin.take()) {
        (Some(mut from), Some(mut to)) => {
            let copied = std::io::copy(&mut from, &mut to).and_then(|_| to.flush());
            let whole = copied.is_ok() && source.wait().is_ok_and(|status| status.success());
            if !whole {
                // Before its input ends: what it has of the copy must not be committed.
                let _ = sink.kill();
            }
            drop(to);
            copied
        }
        _ => Ok(()),
    };
    let (read, written) = (end(reader, source), end(writer, sink));
    // If the writer stopped first, the reader's trouble is only that nobody listens.
    let (first, second) = if copied.is_err() { (written, read) } else { (read, written) };
    first.and(second)?;
    copied.map_err(|reason| writer.cannot_run(reason))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn only_the_lines_of_the_entries_are_counted() {
        let text = "COPY public.farms (id) FROM stdin;\na\n\\.\n\n\
                    COPY public.entries (farm, body) FROM stdin;\na\tb\na\t\\\\.x\n\\.\n\nSELECT 1;\n";
        assert_eq!(count_entries(text.as_bytes()).unwrap(), 2);
    }
}
