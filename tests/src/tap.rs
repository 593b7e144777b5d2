//! A tap on the line between a device and its server: passes everything on and keeps what went by.

use std::io::{Read, Write};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::sync::{Arc, Mutex};
use std::thread;

/// What went by since it was last looked at.
#[derive(Debug, Clone, Default)]
pub struct Heard {
    /// Bytes to the server.
    pub up: u64,
    /// Bytes from the server.
    pub down: u64,
    /// The requests, as `GET /api/v1/ledger/summary`.
    pub requests: Vec<String>,
}

/// Listens on an address of its own.
pub struct Tap {
    /// What a device calls instead of the server's address.
    pub url: String,
    heard: Arc<Mutex<Heard>>,
}

impl Tap {
    /// Taps the line to the server at `address`, until the test ends.
    pub fn on(address: &str) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
        let url = format!("http://{}", listener.local_addr().expect("an address"));
        let heard = Arc::<Mutex<Heard>>::default();
        let (to, kept) = (address.to_owned(), heard.clone());
        thread::spawn(move || {
            for device in listener.incoming().flatten() {
                let server = TcpStream::connect(&to).expect("the server answers");
                pass_on(device, server, &kept);
            }
        });
        Self { url, heard }
    }

    /// What went by since the last look.
    pub fn take(&self) -> Heard {
        std::mem::take(&mut *self.heard.lock().expect("nobody panicked"))
    }
}

fn pass_on(device: TcpStream, server: TcpStream, heard: &Arc<Mutex<Heard>>) {
    let (up, down) = (heard.clone(), heard.clone());
    let mut back = (
        server.try_clone().expect("a second handle"),
        device.try_clone().expect("a second handle"),
    );
    let mut forth = (device, server);
    thread::spawn(move || {
        pump(&mut forth.0, &mut forth.1, |bytes| {
            let mut heard = up.lock().expect("nobody panicked");
            heard.up += bytes.len() as u64;
            heard.requests.extend(requests(bytes));
        });
    });
    thread::spawn(move || {
        pump(&mut back.0, &mut back.1, |bytes| {
            down.lock().expect("nobody panicked").down += bytes.len() as u64;
        });
    });
}

fn pump(from: &mut TcpStream, to: &mut TcpStream, mut keep: impl FnMut(&[u8])) {
    let mut buffer = vec![0; 65_536];
    while let Ok(read) = from.read(&mut buffer) {
        if read == 0 || to.write_all(&buffer[..read]).is_err() {
            break;
        }
        keep(&buffer[..read]);
    }
    let _ = to.shutdown(Shutdown::Write);
}

/// First lines of requests; a client writes the head of one at once.
fn requests(bytes: &[u8]) -> Vec<String> {
    String::from_utf8_lossy(bytes)
        .lines()
        .filter_map(|line| line.strip_suffix(" HTTP/1.1").map(ToOwned::to_owned))
        .collect()
}
