//! The real programs, killed at every call that changes a file: nothing acknowledged is lost,
//! nothing is there by halves, and the work goes on to where it would have got.

use std::os::unix::process::ExitStatusExt;
use std::path::Path;

use spareloop_tests::binaries::server_command;
use spareloop_tests::crash::session::{Again, COPY, Recording, Step, session};
use spareloop_tests::crash::standing::sqlite_is_whole;
use spareloop_tests::crash::strace::{
    ANSWERING_CALLS, Blow, Breadth, FILE_CALLS, Lurking, ended, is_possible, struck,
};
use spareloop_tests::crash::tally::{Tally, Wrong, side_by_side};
use spareloop_tests::crash::yard::{Yard, copy_files, hashes_in};
use spareloop_tests::farm::{Device, Said};
use spareloop_tests::network::Network;

const NO_LOG: &str = "/dev/null";

/// Strikes a command at its Nth call; `false` when it ran through unharmed.
fn strike(step: &Step, n: usize, tally: &Tally) -> bool {
    let folder = tempfile::tempdir().unwrap();
    let device = step.device(folder.path());
    let mut command = device.command(&step.words());
    command.arg("--no-input");
    let output = ended(&mut struck(&command, FILE_CALLS, &Blow::KillAt(n), NO_LOG.as_ref()));
    let killed = output.status.signal() == Some(9);
    assert!(killed || output.status.success(), "{:?} at {n}: {output:?}", step.words);
    // Data goes to standard output when all is done, so whatever stands there is acknowledged.
    let found = is_kept(step, &device, !output.stdout.is_empty());
    if killed {
        tally.note(format!("{} at {n}", step.words.join(" ")), found);
    } else {
        assert_eq!(found, Ok(()), "unharmed: {:?}", step.words);
    }
    killed
}

fn is_kept(step: &Step, device: &Device, acknowledged: bool) -> Result<(), Wrong> {
    let done = step.is_done(device)?;
    if acknowledged && !done {
        return Err(Wrong::Lost("it was acknowledged and is not in the book".to_owned()));
    }
    copy_is_whole_or_none(step, device)?;
    if !done || step.again != Again::NotesMore {
        let said = device.run(&step.words());
        let expected = if done && step.again == Again::IsRefused { [0, 3] } else { [0, 0] };
        if !expected.contains(&said.exit) {
            let what = format!("given again it ends with {}: {}", said.exit, said.err);
            return Err(Wrong::Inconsistent(what));
        }
    }
    copy_is_whole_or_none(step, device)?;
    if step.is_done(device)? {
        Ok(())
    } else {
        Err(Wrong::Inconsistent("given again it doesn't get to the same end".to_owned()))
    }
}

/// Half a copy under the name of a copy would be found out on the day it is needed.
fn copy_is_whole_or_none(step: &Step, device: &Device) -> Result<(), Wrong> {
    let copy = device.book().with_file_name(COPY);
    if !copy.exists() {
        return Ok(());
    }
    let said = device.run(&["--book", copy.to_str().unwrap(), "export"]);
    if said.exit == 0 && said.out == device.run(&["export"]).out {
        return Ok(());
    }
    Err(Wrong::Inconsistent(format!("half a copy after {:?}: {}", step.words, said.err)))
}

fn sweep_of_a_session(tally: &Tally) {
    side_by_side(session(Recording::Off), |step: Step| {
        let mut n = 1;
        while strike(&step, n, tally) {
            n += 1;
        }
        assert!(n > 5, "{:?} was hardly struck", step.words);
    });
}

/// Strikes the farm's side of a sync at its Nth call; `false` when it ran through.
fn strike_the_client(yard: &mut Yard, n: usize, tally: &Tally) -> bool {
    yard.put_back();
    yard.network.start_again();
    let command = yard.farm.command(&["sync", "--no-input"]);
    let output = ended(&mut struck(&command, FILE_CALLS, &Blow::KillAt(n), NO_LOG.as_ref()));
    let killed = output.status.signal() == Some(9);
    assert!(killed || output.status.success(), "a sync at {n}: {output:?}");
    let mut found = yard.has_kept();
    if killed {
        found = found.and_then(|()| syncs_on(yard));
        tally.note(format!("sync (client) at {n}"), found);
    } else {
        assert_eq!(found.and_then(|()| yard.has_arrived()), Ok(()), "unharmed");
    }
    killed
}

fn syncs_on(yard: &Yard) -> Result<(), Wrong> {
    let said = yard.farm.run(&["sync"]);
    if said.exit != 0 {
        let what = format!("the next sync ends with {}: {}", said.exit, said.err);
        return Err(Wrong::Inconsistent(what));
    }
    yard.has_arrived()
}

/// Strikes the server at the Nth call of one of its threads during a sync; `false` when it lived.
fn strike_the_server(yard: &mut Yard, calls: &str, n: usize, tally: &Tally) -> bool {
    yard.put_back();
    yard.network.start_again();
    let log = yard.network.folder().join("answers.log");
    let lurking = Lurking::at(yard.network.server.process(), calls, &Blow::KillAt(n), &log);
    let said = yard.farm.run(&["sync", "--timeout", "20"]);
    drop(lurking);
    let lived = !yard.network.server.ends_soon(if said.exit == 0 { 0 } else { 10 });
    let stored = stored_by_answers(&log);
    if lived {
        assert_eq!(said.exit, 0, "{}", said.err);
        assert_eq!(yard.expected.held.len() + stored, yard.expected.all.len(), "answers are read");
        assert_eq!(yard.has_kept().and_then(|()| yard.has_arrived()), Ok(()), "unharmed");
        return false;
    }
    yard.network.start_again();
    let found = if [0, 6].contains(&said.exit) {
        yard.has_kept()
    } else {
        Err(Wrong::Inconsistent(format!("the sync ends with {}: {}", said.exit, said.err)))
    };
    let found = found.and_then(|()| {
        let lost = yard.held_now() < yard.expected.held.len() + stored;
        if lost { Err(Wrong::Lost(format!("of {stored} entries answered for"))) } else { Ok(()) }
    });
    let found = found.and_then(|()| syncs_on(yard));
    tally.note(format!("sync (server, {calls}) at {n}"), found);
    true
}

/// How many entries the server's answers called stored.
fn stored_by_answers(log: &Path) -> usize {
    let text = std::fs::read_to_string(log).unwrap();
    let named = text.split(r#"\"stored\":"#).skip(1);
    named
        .filter_map(|rest| rest.split(|c: char| !c.is_ascii_digit()).next()?.parse::<usize>().ok())
        .sum()
}

/// A yard and the part of the kill points that is struck in it.
struct Part {
    yard: Yard,
    first: usize,
    stride: usize,
}

/// Goes on until several points in a row strike nothing: threads take turns at the same work.
fn sweep_of_a_sync(strike: impl Fn(&mut Yard, usize, &Tally) -> bool + Sync, tally: &Tally) {
    const YARDS: usize = 2;
    let parts = (1..=YARDS).map(|first| Part { yard: Yard::new(), first, stride: YARDS }).collect();
    side_by_side(parts, |mut part: Part| {
        let mut missed = 0;
        let mut n = part.first;
        while missed < 2 {
            missed = if strike(&mut part.yard, n, tally) { 0 } else { missed + 1 };
            n += part.stride;
        }
    });
}

/// What a server's keeper does with it besides letting it run.
#[derive(Debug, Clone, Copy)]
enum Errand {
    /// Makes every table of a new server, on the first start.
    Begin,
    /// Copies the book of one that has a farm.
    Copy,
}

/// A server's data folder, struck while `errand` is done; `false` when it was done unharmed.
fn strike_an_errand(errand: Errand, of: &Path, n: usize, tally: &Tally) -> bool {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("server");
    let copy = folder.path().join("copy.db");
    let words = match errand {
        Errand::Begin => {
            std::fs::create_dir(&data).unwrap();
            vec!["set-up-link"]
        }
        Errand::Copy => {
            copy_files(of, &data);
            vec!["backup", copy.to_str().unwrap()]
        }
    };
    let mut command = server_command(&data);
    command.args(&words);
    let output = ended(&mut struck(&command, FILE_CALLS, &Blow::KillAt(n), NO_LOG.as_ref()));
    let killed = output.status.signal() == Some(9);
    assert!(killed || output.status.success(), "{words:?} at {n}: {output:?}");
    let again = Said::of(&mut command);
    let whole = |file: &Path| sqlite_is_whole(file);
    let found = match (errand, again.exit) {
        (Errand::Begin, 0) => whole(&data.join("spareloop.sqlite")),
        (Errand::Copy, 0 | 3) => whole(&copy).and_then(|()| {
            let (book, copied) = (of.join("spareloop.sqlite"), hashes_in(&copy));
            if copied == hashes_in(&book) {
                Ok(())
            } else {
                Err(Wrong::Inconsistent("the copy lacks entries".to_owned()))
            }
        }),
        _ => Err(Wrong::Inconsistent(format!("{words:?} ends with {}: {}", again.exit, again.err))),
    };
    if killed {
        tally.note(format!("server {errand:?} at {n}"), found);
    } else {
        assert_eq!(found, Ok(()), "unharmed");
    }
    killed
}

fn sweep_of_the_servers_errands(tally: &Tally) {
    let network = Network::embedded();
    let farm = network.farm("Ashlode");
    farm.lot("Ember Lantern", 40);
    farm.sync();
    let data = network.data();
    let stride = Breadth::asked_for().stride(3);
    side_by_side(vec![Errand::Begin, Errand::Copy], |errand| {
        let mut n = 1;
        while strike_an_errand(errand, &data, n, tally) {
            n += stride;
        }
        assert!(n > 20, "{errand:?} was hardly struck");
    });
}

#[test]
fn a_kill_at_any_write_loses_nothing() {
    if !is_possible("the kill at every write of a session and of a sync") {
        return;
    }
    let [client, sync, server] = [const { Tally::new() }; 3];
    sweep_of_a_session(&client);
    sweep_of_a_sync(strike_the_client, &sync);
    sweep_of_a_sync(|yard, n, tally| strike_the_server(yard, FILE_CALLS, n, tally), &server);
    sweep_of_a_sync(|yard, n, tally| strike_the_server(yard, ANSWERING_CALLS, n, tally), &server);
    sweep_of_the_servers_errands(&server);
    Tally::print_and_assert("kill points", [&client, &sync, &server]);
}
