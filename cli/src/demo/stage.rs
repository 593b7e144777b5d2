//! The server of the demo: the one that lies beside this program, on loopback, in a folder of its own.

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use crate::fault::Fault;

/// What becomes of the server when the story is told.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Afterwards {
    /// It is stopped and everything removed.
    Clear,
    /// It goes on running.
    Keep,
}

/// Folder and server; both go when it is dropped, unless kept.
pub(super) struct Stage {
    /// Where everything of the demo lies.
    pub folder: PathBuf,
    /// `http://127.0.0.1:PORT`.
    pub url: String,
    /// The token of the one-time set-up link.
    pub set_up_token: String,
    program: PathBuf,
    server: Option<Child>,
}

/// What `--keep` leaves behind.
pub(super) struct Kept {
    pub url: String,
    pub process: u32,
    pub folder: PathBuf,
}

/// How often and how long the server's first words are waited for.
const WAIT: Duration = Duration::from_millis(25);
const PATIENCE: u32 = 1200;

impl Stage {
    /// Has the server take all farms' records together, as it does by itself every day.
    pub(super) fn take_together(&self) -> Result<(), Fault> {
        let ended = Command::new(&self.program)
            .arg("together")
            .env("SPARELOOP_DATA", self.folder.join("server"))
            .env_remove("SPARELOOP_DATABASE_URL")
            .stdin(Stdio::null())
            .output();
        let why = match ended {
            Ok(output) if output.status.success() => return Ok(()),
            Ok(output) => String::from_utf8_lossy(&output.stderr).trim().to_owned(),
            Err(error) => format!("{error}."),
        };
        Err(Fault::failed(
            format!("The farms' records can't be taken together: {why}"),
            "This is a fault of the program: please report it.",
        ))
    }

    /// Starts the server and waits until it says where it listens.
    pub(super) fn set(server: Option<&Path>) -> Result<Self, Fault> {
        let program = server.map_or_else(beside_this_program, |path| Ok(path.to_owned()))?;
        let folder = std::env::temp_dir().join(format!("spareloop-demo-{}", std::process::id()));
        let words = folder.join("server.out");
        let failed = |error: std::io::Error| {
            Fault::failed(
                format!("The demo's server can't be started: {error}."),
                "Make room in the temporary folder, or build both programs: cargo build --release --workspace",
            )
        };
        std::fs::create_dir_all(&folder).map_err(failed)?;
        let out = std::fs::File::create(&words).map_err(failed)?;
        let log = std::fs::File::create(folder.join("server.log")).map_err(failed)?;
        let child = Command::new(&program)
            .arg("serve")
            .env("SPARELOOP_DATA", folder.join("server"))
            .env("SPARELOOP_BIND", "127.0.0.1:0")
            // The story says when records are taken together, not the clock.
            .env("SPARELOOP_TOGETHER_HOURS", "65535")
            .env("SPARELOOP_TOGETHER_ENTRIES", "4294967295")
            .env_remove("SPARELOOP_DATABASE_URL")
            .env_remove("SPARELOOP_PUBLIC_URL")
            .stdin(Stdio::null())
            .stdout(out)
            .stderr(log)
            .spawn()
            .map_err(failed)?;
        let mut stage = Self {
            folder,
            url: String::new(),
            set_up_token: String::new(),
            program,
            server: Some(child),
        };
        for _ in 0..PATIENCE {
            let said = std::fs::read_to_string(&words).unwrap_or_default();
            let url = said.lines().find_map(|line| line.strip_prefix("listening on "));
            let token = said
                .split_whitespace()
                .find_map(|word| word.split_once("/set-up?token=").map(|(_, token)| token));
            if let (Some(url), Some(token), true) = (url, token, said.ends_with('\n')) {
                url.trim().clone_into(&mut stage.url);
                token.clone_into(&mut stage.set_up_token);
                return Ok(stage);
            }
            if let Some(Ok(Some(status))) = stage.server.as_mut().map(Child::try_wait) {
                let log =
                    std::fs::read_to_string(stage.folder.join("server.log")).unwrap_or_default();
                return Err(Fault::failed(
                    format!("The demo's server ended at once ({status}). It said:\n{log}"),
                    "Correct what it says, then run the demo again.",
                ));
            }
            std::thread::sleep(WAIT);
        }
        Err(Fault::failed("The demo's server did not start in time.", "Run the demo again."))
    }

    /// Stops the server and removes the folder.
    pub(super) fn clear(&mut self) {
        if let Some(mut server) = self.server.take() {
            // It may have ended by itself; either way it is gone, and so is its folder.
            let _ = server.kill();
            let _ = server.wait();
            let _ = std::fs::remove_dir_all(&self.folder);
        }
    }

    /// Lets the server run on.
    pub(super) fn keep(&mut self) -> Kept {
        let process = self.server.take().map_or(0, |server| server.id());
        Kept { url: self.url.clone(), process, folder: self.folder.clone() }
    }
}

impl Drop for Stage {
    fn drop(&mut self) {
        self.clear();
    }
}

fn beside_this_program() -> Result<PathBuf, Fault> {
    std::env::current_exe()
        .ok()
        .map(|program| program.with_file_name("spareloop-server"))
        .filter(|server| server.exists())
        .ok_or_else(|| {
            Fault::failed(
                "The demo needs the program spareloop-server beside this one.",
                "Build both: cargo build --release --workspace, or name it with --server FILE.",
            )
        })
}
