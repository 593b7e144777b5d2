//! Where letters and calls end up in the tests: a mail server and a webhook's receiver on loopback.
//!
//! Both speak just enough of their protocol to a real client over a real socket, keep what came and do
//! as the test says. What may not enter: reading letters or checking signatures; other programs do.

pub mod hook;
pub mod mail;

use std::time::{Duration, Instant};

/// How long something may take to come. Generous: machines are shared.
const PATIENCE: Duration = Duration::from_secs(90);

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
