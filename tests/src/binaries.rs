//! Where the workspace's binaries lie, and a server that stops when it is dropped.

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

/// The path of a binary that the workspace's build made.
///
/// Tests run from `target/<profile>/deps`, so the binaries lie one folder up. They are built by
/// `cargo build --workspace --all-targets`, which the test command runs first.
pub fn binary(name: &str) -> PathBuf {
    let mut folder = std::env::current_exe().expect("a running test has a path");
    folder.pop();
    if folder.ends_with("deps") {
        folder.pop();
    }
    let path = folder.join(name);
    assert!(path.exists(), "{} is missing: run `cargo build --workspace` first", path.display());
    path
}

/// A running `spareloop-server`, killed when dropped.
pub struct Server {
    child: Child,
    /// `http://127.0.0.1:PORT`.
    pub url: String,
    /// The one-time set-up link, if nobody was set up.
    pub set_up_link: Option<String>,
}

impl Server {
    /// Starts a server on a free port over the data folder, embedded database.
    pub fn start(data: &Path) -> Self {
        Self::start_with(data, &[])
    }

    /// The same with more environment, as a database URL.
    pub fn start_with(data: &Path, environment: &[(&str, &str)]) -> Self {
        let mut child = Command::new(binary("spareloop-server"))
            .arg("serve")
            .env("SPARELOOP_DATA", data)
            .env("SPARELOOP_BIND", "127.0.0.1:0")
            .envs(environment.iter().copied())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("the server starts");
        let mut lines = BufReader::new(child.stdout.take().expect("stdout is piped")).lines();
        let mut set_up_link = None;
        let url = loop {
            let line = lines.next().expect("the server says where it listens").expect("text");
            if let Some(link) = line.split_whitespace().find(|word| word.contains("/set-up?")) {
                set_up_link = Some(link.to_owned());
            }
            if let Some(url) = line.strip_prefix("listening on ") {
                break url.to_owned();
            }
        };
        // The pipe is kept drained, so that the server never blocks on it.
        std::thread::spawn(move || lines.for_each(drop));
        Self { child, url, set_up_link }
    }

    /// Stops it at once, as a power cut would.
    pub fn kill(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        self.kill();
    }
}
