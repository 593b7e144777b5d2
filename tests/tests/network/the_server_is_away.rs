//! A server that is away, broken, slow or of another kind: the work is kept here, exit 6 says so,
//! and the next sync finishes it.

use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::process::Stdio;
use std::thread;
use std::time::Duration;

use spareloop_tests::farm::Device;
use spareloop_tests::network::Network;

/// What stands at the server's address instead of it.
#[derive(Clone, Copy)]
enum Impostor {
    Answers(&'static str),
    Hangs,
}

/// Takes the server's address until it is dropped.
struct Instead {
    address: String,
    stop: std::sync::Arc<std::sync::atomic::AtomicBool>,
    thread: Option<thread::JoinHandle<()>>,
}

impl Instead {
    fn of(address: &str, impostor: Impostor) -> Self {
        let listener = TcpListener::bind(address).unwrap();
        let stop = std::sync::Arc::new(std::sync::atomic::AtomicBool::new(false));
        let stopped = stop.clone();
        let thread = thread::spawn(move || {
            let mut hung = Vec::new();
            for stream in listener.incoming().flatten() {
                if stopped.load(std::sync::atomic::Ordering::SeqCst) {
                    return;
                }
                match impostor {
                    Impostor::Answers(text) => answer(stream, text),
                    Impostor::Hangs => hung.push(stream),
                }
            }
        });
        Self { address: address.to_owned(), stop, thread: Some(thread) }
    }
}

fn answer(mut stream: TcpStream, text: &str) {
    // The request is small; whatever part of it has come is enough to be polite.
    let _ = stream.read(&mut [0; 8192]);
    let _ = stream.write_all(text.as_bytes());
}

impl Drop for Instead {
    fn drop(&mut self) {
        self.stop.store(true, std::sync::atomic::Ordering::SeqCst);
        // Wakes it from waiting for the next caller.
        drop(TcpStream::connect(&self.address));
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

struct Yard {
    network: Network,
    farm: Device,
    lot: String,
}

/// A farm that has noted something since its last sync, and no server.
fn yard() -> Yard {
    let mut network = Network::embedded();
    let farm = network.farm("Ashlode");
    let lot = farm.lot("Ember Lantern", 40);
    farm.sync();
    farm.lose(&lot, 2);
    network.server.kill();
    Yard { network, farm, lot }
}

impl Yard {
    /// The sync ends with 6 and says what is kept; the book is as it was and goes on.
    #[track_caller]
    fn keeps_its_work(&self) -> String {
        let before = self.farm.run(&["export"]).done();
        let said = self.farm.run(&["sync", "--timeout", "1"]).ends_with(6);
        assert!(said.contains("Kept here: 1 entry"), "{said}");
        assert!(said.trim_end().lines().last().unwrap().contains("spareloop sync"), "{said}");
        assert_eq!(self.farm.run(&["export"]).done(), before);
        self.farm.run(&["status"]).done();
        self.farm.run(&["forecast"]).done();
        said
    }

    #[track_caller]
    fn finishes_when_the_server_is_back(mut self) {
        self.network.start_again();
        assert_eq!(self.farm.sync()["sent"], 1);
        let other = self.network.another_device("Ashlode", "phone");
        assert_eq!(other.in_store(&self.lot), 38);
    }
}

#[test]
fn a_server_that_nobody_started_leaves_the_work_here() {
    let yard = yard();
    let said = yard.keeps_its_work();
    assert!(said.contains("did not answer"), "{said}");
    yard.finishes_when_the_server_is_back();
}

#[test]
fn a_server_that_answers_500_leaves_the_work_here() {
    const BROKEN: &str =
        "HTTP/1.1 500 Internal Server Error\r\nContent-Length: 4\r\nConnection: close\r\n\r\noops";
    let yard = yard();
    let instead = Instead::of(&yard.network.server.address(), Impostor::Answers(BROKEN));
    let said = yard.keeps_its_work();
    assert!(said.contains("500"), "{said}");
    drop(instead);
    yard.finishes_when_the_server_is_back();
}

#[test]
fn a_server_that_hangs_is_given_up_in_time() {
    let yard = yard();
    let instead = Instead::of(&yard.network.server.address(), Impostor::Hangs);
    let said = yard.keeps_its_work();
    assert!(said.contains("took too long"), "{said}");
    drop(instead);
    yard.finishes_when_the_server_is_back();
}

#[test]
fn a_server_of_another_kind_is_named_as_such_and_loses_nothing() {
    const PAGE: &str = "HTTP/1.1 200 OK\r\nContent-Type: text/html\r\nContent-Length: 15\r\nConnection: close\r\n\r\n<h1>Welcome</h1>";
    let yard = yard();
    let instead = Instead::of(&yard.network.server.address(), Impostor::Answers(PAGE));
    let before = yard.farm.run(&["export"]).done();
    let said = yard.farm.run(&["sync", "--timeout", "1"]).ends_with(1);
    assert!(said.contains("can't be read") && said.contains("kept"), "{said}");
    assert_eq!(yard.farm.run(&["export"]).done(), before);
    drop(instead);

    // Not even HTTP: the line is as good as dead.
    let address = yard.network.server.address();
    let instead = Instead::of(&address, Impostor::Answers("\u{1}\u{2}rubbish\r\n\r\n"));
    yard.keeps_its_work();
    drop(instead);
    yard.finishes_when_the_server_is_back();
}

#[test]
fn an_act_that_found_no_server_is_done_once_by_the_next_sync() {
    let mut yard = yard();
    yard.network.start_again();
    yard.farm.sync();
    yard.network.server.kill();
    let before = yard.farm.run(&["export"]).done();
    let said = yard.farm.run(&["want", "make", "Moss Anthem", "--count", "5"]).ends_with(6);
    assert!(said.contains("Kept here to be sent by the next sync"), "{said}");
    assert_eq!(yard.farm.run(&["export"]).done(), before);

    yard.network.start_again();
    let synced = yard.farm.sync();
    assert_eq!(synced["acts_done"].as_array().unwrap().len(), 1);
    assert_eq!(yard.farm.sync()["acts_done"].as_array().unwrap().len(), 0);
    let wants = yard.farm.run(&["want", "list", "--json"]).json();
    assert_eq!(wants["wants"].as_array().unwrap().len(), 1);
    assert_eq!(wants["wants"][0]["count"], 5);
}

#[test]
fn a_sync_cut_off_at_any_moment_is_finished_by_a_later_one() {
    let mut network = Network::embedded();
    let farm = network.farm("Ashlode");
    farm.sync();
    let mut rows = "variety,count,lot\n".to_owned();
    for round in 0..8_u32 {
        rows.extend((0..300).map(|row| format!("Moss Anthem,5,L{round}-{row}\n")));
        let file = farm.file("stock.csv", &rows);
        farm.run(&["import", "stock", &file, "--yes"]).done();
        let mut command = farm.command(&["sync", "--no-input", "--timeout", "20"]);
        let mut sync = command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
        // Another moment each time; which one it is, the outcome must not tell.
        thread::sleep(Duration::from_millis(u64::from(round) * 40));
        if round % 2 == 0 {
            network.server.kill();
            let exit = sync.wait().unwrap().code();
            assert!(matches!(exit, Some(0 | 6)), "done, or kept here: {exit:?}");
            network.start_again();
        } else {
            sync.kill().unwrap();
            sync.wait().unwrap();
        }
    }
    let noted = farm.run(&["export"]).done();
    while farm.sync()["sent"] != 0 {}
    assert_eq!(farm.run(&["export"]).done(), noted);
    let phone = network.another_device("Ashlode", "phone");
    while phone.sync()["fetched"] != 0 {}
    assert_eq!(phone.run(&["export"]).done(), noted);
}
