//! Where letters and calls end up in the tests: a mail server and a webhook's receiver on loopback.
//!
//! Both speak just enough of their protocol to a real client over a real socket, keep what came and do
//! as the test says. What may not enter: reading letters or checking signatures; other programs do.

pub mod hook;
pub mod mail;
pub mod secured;

use std::net::{SocketAddr, TcpListener, TcpStream};
use std::time::{Duration, Instant};

/// How long something may take to come. Generous: machines are shared.
const PATIENCE: Duration = Duration::from_secs(90);

/// A free port of loopback.
fn listen() -> (TcpListener, SocketAddr) {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
    let address = listener.local_addr().expect("an address");
    (listener, address)
}

/// Serves every caller on a thread of its own; the threads end with the test's process.
fn serve_all(
    listener: TcpListener,
    serve: impl Fn(TcpStream) -> std::io::Result<()> + Clone + Send + 'static,
) {
    std::thread::spawn(move || {
        for caller in listener.incoming().flatten() {
            let serve = serve.clone();
            // A caller that goes away is no matter of the test's.
            std::thread::spawn(move || serve(caller).ok());
        }
    });
}

/// Waits until something is there.
#[track_caller]
pub fn wait_for<T>(what: &str, mut look: impl FnMut() -> Option<T>) -> T {
    let until = Instant::now() + PATIENCE;
    loop {
        if let Some(found) = look() {
            return found;
        }
        assert!(Instant::now() < until, "{what} did not come");
        std::thread::sleep(Duration::from_millis(50));
    }
}
