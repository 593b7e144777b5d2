//! Power cuts: the real programs' writes are recorded, and their files are put together again as a
//! disk leaves them that kept what it was told to sync and any part of the rest. Nothing that was
//! acknowledged is lost, and the book opens.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use spareloop_tests::binaries::server_command;
use spareloop_tests::crash::disk::{Disk, Luck};
use spareloop_tests::crash::session::{COPY, Recording, Step, session};
use spareloop_tests::crash::standing::sqlite_is_whole;
use spareloop_tests::crash::strace::{Breadth, ChildOf, is_possible, recorded};
use spareloop_tests::crash::tally::{Tally, Wrong, side_by_side};
use spareloop_tests::crash::trace::{self, Did};
use spareloop_tests::crash::yard::{Expected, Yard, hashes_in};
use spareloop_tests::farm::{Device, Said};

/// A moment at which the power goes, and the files found afterwards.
struct Cut {
    at: String,
    files: BTreeMap<PathBuf, Vec<u8>>,
    /// Whether all was done, so that all of it is acknowledged.
    last: bool,
    /// Entries that a server had answered for.
    answered: usize,
}

impl Cut {
    fn put_into(&self, folder: &Path) {
        std::fs::create_dir_all(folder).unwrap();
        for (path, bytes) in &self.files {
            // What is mapped into memory is made anew by whoever opens the book first.
            if !path.to_str().unwrap().ends_with("-shm") {
                std::fs::write(folder.join(path.file_name().unwrap()), bytes).unwrap();
            }
        }
    }
}

/// Every luck at every `stride`th event, and at the last one.
fn cuts(disk: &mut Disk, did: &[Did], what: &str, stride: usize) -> Vec<Cut> {
    let mut cuts = Vec::new();
    let mut answered = 0;
    for (number, one) in did.iter().enumerate() {
        disk.see(one);
        if let Did::Answered(stored) = one {
            answered += stored;
        }
        let last = number + 1 == did.len();
        if !last && number % stride != 0 && !matches!(one, Did::Answered(_)) {
            continue;
        }
        let seed = number as u64;
        for luck in [Luck::None, Luck::Some(seed), Luck::Some(seed + 1_000_000), Luck::All] {
            let at = format!("{what}, cut after {} of {} with {luck:?}", number + 1, did.len());
            cuts.push(Cut { at, files: disk.after_a_power_cut(luck), last, answered });
        }
    }
    cuts
}

fn session_is_kept(step: &Step, cut: &Cut) -> Result<(), Wrong> {
    let folder = tempfile::tempdir().unwrap();
    cut.put_into(folder.path());
    let device = Device::in_folder(folder.path());
    let done = step.is_done(&device)?;
    if cut.last && !done {
        return Err(Wrong::Lost("it was acknowledged and is not in the book".to_owned()));
    }
    let copy = folder.path().join(COPY);
    if copy.exists() {
        let copied = device.run(&["--book", copy.to_str().unwrap(), "export"]);
        if copied.exit != 0 || copied.out != device.run(&["export"]).out {
            return Err(Wrong::Inconsistent(format!("half a copy: {}", copied.err)));
        }
    } else if cut.last && step.words.iter().any(|word| word == COPY) {
        return Err(Wrong::Lost("the copy was acknowledged and is gone".to_owned()));
    }
    Ok(())
}

/// What is left where the disk only says that it has synced.
fn by_a_liar(disk: &Disk, step: &Step) -> Cut {
    let mut liar = disk.clone();
    let done = step.did.iter().filter(|did| !matches!(did, Did::Synced(_)));
    done.for_each(|did| liar.see(did));
    let files = liar.after_a_power_cut(Luck::None);
    Cut { at: "a disk that lies".to_owned(), files, last: true, answered: 0 }
}

fn cuts_in_a_session(tally: &Tally) {
    let stride = Breadth::asked_for().stride(6);
    let mut disk = Disk::default();
    let steps = session(Recording::On);
    let mut work = Vec::new();
    for step in &steps {
        assert!(step.did.len() > 10, "{:?} left hardly a trace", step.words);
        assert!(
            session_is_kept(step, &by_a_liar(&disk, step)).is_err(),
            "{:?} on a disk that syncs nothing is lost, and that must be seen",
            step.words
        );
        let cuts = cuts(&mut disk, &step.did, &step.words.join(" "), stride);
        work.extend(cuts.into_iter().map(|cut| (step, cut)));
    }
    side_by_side(work, |(step, cut)| tally.note(cut.at.as_str(), session_is_kept(step, &cut)));
}

/// The farm's side of a sync: what it had noted is there, and the next sync gets to the same end.
fn cuts_in_a_sync(tally: &Tally) {
    let stride = Breadth::asked_for().stride(6);
    let mut yard = Yard::new();
    yard.put_back();
    yard.network.start_again();
    let (_, home) = yard.folders();
    let mut disk = Disk::of(&home);
    let log = yard.network.folder().join("log");
    let command = yard.farm.command(&["sync", "--no-input"]);
    Said::of(&mut recorded(&command, &log, ChildOf::Strace)).done();
    let did = trace::read(&std::fs::read_to_string(&log).unwrap(), &home);
    assert!(did.len() > 20, "hardly a trace: {did:?}");
    for cut in cuts(&mut disk, &did, "sync (client)", stride) {
        std::fs::remove_dir_all(&home).unwrap();
        cut.put_into(&home);
        let found = yard.has_kept().and_then(|()| {
            let said = yard.farm.run(&["sync"]);
            if said.exit == 0 { yard.has_arrived() } else { Err(Wrong::Inconsistent(said.err)) }
        });
        tally.note(cut.at, found);
    }
}

fn server_is_kept(expected: &Expected, cut: &Cut) -> Result<(), Wrong> {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("server");
    cut.put_into(&data);
    let copy = folder.path().join("copy.db");
    let said = Said::of(server_command(&data).arg("backup").arg(&copy));
    if said.exit != 0 {
        return Err(Wrong::Inconsistent(format!("backup ends with {}: {}", said.exit, said.err)));
    }
    sqlite_is_whole(&data.join("spareloop.sqlite"))?;
    expected.holds(&hashes_in(&copy), cut.answered)
}

/// The server's side of a sync: what it answered for is in its book.
fn cuts_in_a_server(tally: &Tally) {
    let stride = Breadth::asked_for().stride(2);
    let mut yard = Yard::new();
    yard.put_back();
    let (data, _) = yard.folders();
    let mut disk = Disk::of(&data);
    let log = yard.network.folder().join("log");
    yard.network.start_again_recorded(&log);
    yard.farm.sync();
    yard.network.server.kill();
    let did = trace::read(&std::fs::read_to_string(&log).unwrap(), &data);
    let cuts = cuts(&mut disk, &did, "sync (server)", stride);
    let answered = cuts.last().map_or(0, |cut| cut.answered);
    assert_eq!(answered, yard.expected.all.len() - yard.expected.held.len(), "answers are read");
    let some: Vec<&Cut> = cuts.iter().step_by(cuts.len() / 6).collect();
    for cut in some {
        yard.put_back();
        std::fs::remove_dir_all(&data).unwrap();
        cut.put_into(&data);
        yard.network.start_again();
        yard.farm.sync();
        tally.note(format!("{} and synced on", cut.at), yard.has_arrived());
    }
    let expected = yard.expected;
    side_by_side(cuts.iter().collect(), |cut: &Cut| {
        tally.note(cut.at.as_str(), server_is_kept(&expected, cut));
    });
}

#[test]
fn a_power_cut_loses_nothing_that_was_acknowledged() {
    if !is_possible("power cuts") {
        return;
    }
    let [client, sync, server] = [const { Tally::new() }; 3];
    cuts_in_a_session(&client);
    cuts_in_a_sync(&sync);
    cuts_in_a_server(&server);
    Tally::print_and_assert("power cuts", [&client, &sync, &server]);
}
