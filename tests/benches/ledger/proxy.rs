//! Counts the bytes between a client and a server.

use std::io::{Read, Write};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

/// A door in front of a server that counts what passes, both ways.
pub(crate) struct Proxy {
    /// Its own address.
    pub(crate) url: String,
    passed: Arc<AtomicU64>,
}

impl Proxy {
    /// Before the server at `address`; it goes with the process.
    pub(crate) fn before(address: String) -> Self {
        let door = TcpListener::bind("127.0.0.1:0").unwrap();
        let url = format!("http://{}", door.local_addr().unwrap());
        let passed = Arc::new(AtomicU64::new(0));
        let counter = Arc::clone(&passed);
        std::thread::spawn(move || {
            for client in door.incoming().flatten() {
                let Ok(server) = TcpStream::connect(&address) else { continue };
                pass(&client, &server, &counter);
                pass(&server, &client, &counter);
            }
        });
        Self { url, passed }
    }

    /// Bytes that passed since the last time.
    pub(crate) fn count(&self) -> u64 {
        self.passed.swap(0, Ordering::SeqCst)
    }
}

fn pass(from: &TcpStream, to: &TcpStream, counter: &Arc<AtomicU64>) {
    let (mut from, mut to) = (from.try_clone().unwrap(), to.try_clone().unwrap());
    let counter = Arc::clone(counter);
    std::thread::spawn(move || {
        let mut bytes = [0; 16 * 1024];
        while let Ok(read @ 1..) = from.read(&mut bytes) {
            counter.fetch_add(read as u64, Ordering::SeqCst);
            if to.write_all(&bytes[..read]).is_err() {
                break;
            }
        }
        let _ = to.shutdown(Shutdown::Write);
    });
}
