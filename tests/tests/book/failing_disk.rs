//! Disks that refuse: full from any write on, failing at any sync, really full, really read-only.
//! The command fails and says what was kept, the server says that it can't reach its book, and
//! both go on as soon as the disk does.

use spareloop_tests::crash::session::{Again, Recording, Step, session};
use spareloop_tests::crash::strace::{Blow, Breadth, Lurking, ended, fell, is_possible, struck};
use spareloop_tests::crash::tally::{Tally, Wrong, side_by_side};
use spareloop_tests::crash::yard::Yard;

/// Calls and the error that a disk answers them with.
const REFUSALS: [(&str, &str); 3] =
    [("pwrite64,ftruncate", "ENOSPC"), ("fsync,fdatasync", "EIO"), ("pwrite64", "EIO")];

fn blow(n: usize, error: &'static str) -> Blow {
    // Odd: the disk has its one bad moment; even: it is bad from then on.
    if n % 2 == 1 { Blow::FailAt(n, error) } else { Blow::FailFrom(n, error) }
}

fn bad(what: impl Into<String>) -> Wrong {
    Wrong::Inconsistent(what.into())
}

/// `false` when the command has fewer such calls.
fn refuse(step: &Step, (calls, error): (&str, &'static str), n: usize, tally: &Tally) -> bool {
    let folder = tempfile::tempdir().unwrap();
    let device = step.device(&folder.path().join("farm"));
    let log = folder.path().join("log");
    let mut command = device.command(&step.words());
    command.arg("--no-input");
    let output = ended(&mut struck(&command, calls, &blow(n, error), &log));
    if !fell(&log) {
        return false;
    }
    let said = String::from_utf8_lossy(&output.stderr);
    let found = step.is_done(&device).and_then(|done| match output.status.code() {
        Some(0) if done => Ok(done),
        Some(0) => Err(Wrong::Lost("it was acknowledged and is not in the book".to_owned())),
        Some(1)
            if done
                && step.notes_something()
                && said.contains("Nothing of this command was noted") =>
        {
            Err(bad(format!("it says that nothing was noted: {said}")))
        }
        // What happened, what was kept, what to do.
        Some(1) if said.lines().count() >= 2 => Ok(done),
        other => Err(bad(format!("it ends with {other:?}: {said}"))),
    });
    let found = found.and_then(|done| {
        if done && step.again != Again::ChangesNothing {
            return Ok(());
        }
        let said = device.run(&step.words());
        if said.exit == 0 || (said.exit == 3 && step.again == Again::IsRefused) {
            if step.is_done(&device)? { Ok(()) } else { Err(bad("another end")) }
        } else {
            Err(bad(format!("with a good disk it ends with {}: {}", said.exit, said.err)))
        }
    });
    tally.note(format!("{} with {error} at {calls} {n}", step.words.join(" ")), found);
    true
}

fn refusals_in_a_session(tally: &Tally) {
    let stride = Breadth::asked_for().stride(3);
    let steps = session(Recording::Off);
    let work = steps.iter().flat_map(|step| REFUSALS.map(|refusal| (step, refusal))).collect();
    side_by_side(work, |(step, refusal): (&Step, _)| {
        let mut n = 1;
        while refuse(step, refusal, n, tally) {
            n += stride;
        }
        assert!(n > 1, "{:?} has no {}", step.words, refusal.0);
    });
}

fn syncs_on(yard: &Yard) -> Result<(), Wrong> {
    let said = yard.farm.run(&["sync"]);
    if said.exit == 0 {
        yard.has_arrived()
    } else {
        Err(bad(format!("with a good disk the sync ends with {}: {}", said.exit, said.err)))
    }
}

fn refusals_in_a_sync(tally: &Tally) {
    let mut yard = Yard::new();
    let log = yard.network.folder().join("log");
    for (calls, error) in REFUSALS {
        let mut n = 1;
        loop {
            yard.put_back();
            yard.network.start_again();
            let command = yard.farm.command(&["sync", "--no-input"]);
            let output = ended(&mut struck(&command, calls, &blow(n, error), &log));
            if !fell(&log) {
                break;
            }
            let said = String::from_utf8_lossy(&output.stderr);
            let found = match output.status.code() {
                Some(0 | 1 | 6) => yard.has_kept().and_then(|()| syncs_on(&yard)),
                other => {
                    let out = String::from_utf8_lossy(&output.stdout);
                    Err(bad(format!("it ends with {other:?}: {out}{said}")))
                }
            };
            tally.note(format!("sync with {error} at {calls} {n}"), found);
            n += Breadth::asked_for().stride(3);
        }
    }
}

/// The server's disk refuses for the length of a sync and is good again afterwards; the server is
/// not started again in between.
fn refusals_in_a_server(tally: &Tally) {
    let mut yard = Yard::new();
    let log = yard.network.folder().join("log");
    for (calls, error) in [("pwrite64,ftruncate", "ENOSPC"), ("fsync,fdatasync", "EIO")] {
        let mut n = 1;
        loop {
            yard.put_back();
            yard.network.start_again();
            let process = yard.network.server.process();
            let lurking = Lurking::at(process, calls, &blow(n, error), &log);
            let said = yard.farm.run(&["sync", "--timeout", "20"]);
            drop(lurking);
            if !fell(&log) {
                break;
            }
            let found = match said.exit {
                0 | 6 if !yard.network.server.ends_soon(0) => yard.has_kept(),
                other => Err(bad(format!("the sync ends with {other}: {}", said.err))),
            };
            let found = found.and_then(|()| syncs_on(&yard));
            tally.note(format!("server with {error} at {calls} {n}"), found);
            n += 1;
        }
        assert!(n > 2, "the server made no {calls}");
    }
}

#[test]
fn a_disk_that_refuses_a_write_or_a_sync_loses_nothing_and_is_told_of() {
    if !is_possible("disks that refuse a write or a sync") {
        return;
    }
    let [client, sync, server] = [const { Tally::new() }; 3];
    refusals_in_a_session(&client);
    refusals_in_a_sync(&sync);
    refusals_in_a_server(&server);
    Tally::print_and_assert("refusals", [&client, &sync, &server]);
}
