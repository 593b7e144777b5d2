//! Where the workspace's binaries lie, and a server that stops when it is dropped.

use std::fs::File;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{self, Receiver, Sender};
use std::time::{Duration, Instant};

use crate::crash::strace::{ChildOf, recorded};

/// How long a server may take until it says what it has to say. Generous: machines are shared.
const PATIENCE: Duration = Duration::from_mins(1);

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

/// The server's program.
pub const SERVER: &str = "spareloop-server";

/// A command of `spareloop-server` over a data folder, with nothing of the caller's environment.
pub fn server_command(data: &Path) -> Command {
    server_command_of(SERVER, data)
}

fn server_command_of(program: &str, data: &Path) -> Command {
    let mut command = Command::new(binary(program));
    command.env_clear().env("SPARELOOP_DATA", data).env("SPARELOOP_LOG", "error");
    command
}

/// A program with its environment, run with `words` where no file may pass so many kB: a write
/// beyond fails, as it does on a full disk.
pub fn with_little_room(command: &Command, words: &[&str], kilobytes: u64) -> Command {
    within(command, words, &format!("trap '' XFSZ; ulimit -f {kilobytes}"))
}

/// A program with its environment, run with `words` in so many kB of address space.
pub fn with_little_memory(command: &Command, words: &[&str], kilobytes: u64) -> Command {
    within(command, words, &format!("ulimit -v {kilobytes}"))
}

fn within(command: &Command, words: &[&str], limits: &str) -> Command {
    let mut shell = Command::new("/bin/bash");
    let script = format!("{limits}; exec \"$0\" \"$@\"");
    shell.args(["-c", &script]).arg(command.get_program()).args(command.get_args()).args(words);
    shell.env_clear();
    shell.envs(command.get_envs().filter_map(|(name, value)| Some((name, value?))));
    if let Some(folder) = command.get_current_dir() {
        shell.current_dir(folder);
    }
    shell
}

/// What a server said on its way up.
enum Word {
    Listening(String),
    SetUpLink(String),
}

/// A running `spareloop-server`, killed when dropped.
pub struct Server {
    child: Child,
    words: Receiver<Word>,
    log: PathBuf,
    /// `http://127.0.0.1:PORT`.
    pub url: String,
}

impl Server {
    /// Starts a server on a free port over the data folder, embedded database.
    pub fn start(data: &Path) -> Self {
        Self::start_with(data, &[])
    }

    /// The same with more environment, as a database URL or the address to listen on.
    pub fn start_with(data: &Path, environment: &[(&str, &str)]) -> Self {
        Self::start_program(SERVER, data, environment)
    }

    /// The same with another program in the server's place.
    pub fn start_program(program: &str, data: &Path, environment: &[(&str, &str)]) -> Self {
        let mut command = server_command_of(program, data);
        command.arg("serve");
        Self::run(command, data, environment)
    }

    /// The same with no more than so many kB for any one file, as on a disk that fills up.
    pub fn start_with_little_room(
        data: &Path,
        environment: &[(&str, &str)],
        kilobytes: u64,
    ) -> Self {
        let command = with_little_room(&server_command(data), &["serve"], kilobytes);
        Self::run(command, data, environment)
    }

    /// The same with all that it does to its files written to `log`.
    pub fn start_recorded(data: &Path, environment: &[(&str, &str)], log: &Path) -> Self {
        let mut command = server_command(data);
        let command = recorded(command.arg("serve"), log, ChildOf::Caller);
        Self::run(command, data, environment)
    }

    fn run(mut command: Command, data: &Path, environment: &[(&str, &str)]) -> Self {
        std::fs::create_dir_all(data).expect("a data folder");
        let log = data.join("server.log");
        let talk = File::options().create(true).append(true).open(&log).expect("a log");
        let mut child = command
            .env("SPARELOOP_BIND", "127.0.0.1:0")
            .envs(environment.iter().copied())
            .stdout(Stdio::piped())
            .stderr(talk)
            .spawn()
            .expect("the server starts");
        let out = child.stdout.take().expect("stdout is piped");
        let (said, words) = mpsc::channel();
        // Reads on until the end, so that the server never blocks on a full pipe.
        std::thread::spawn(move || listen(BufReader::new(out), &said));
        let mut server = Self { child, words, log, url: String::new() };
        server.url = server
            .hear(|word| match word {
                Word::Listening(url) => Some(url),
                Word::SetUpLink(_) => None,
            })
            .expect("the server says where it listens");
        server
    }

    /// The one-time set-up link, which a server prints on its first start.
    pub fn set_up_link(&self) -> String {
        self.hear(|word| match word {
            Word::SetUpLink(link) => Some(link),
            Word::Listening(_) => None,
        })
        .expect("a fresh server prints its set-up link")
    }

    fn hear<T>(&self, pick: impl Fn(Word) -> Option<T>) -> Option<T> {
        loop {
            let word = self.words.recv_timeout(PATIENCE).ok()?;
            if let Some(found) = pick(word) {
                return Some(found);
            }
        }
    }

    /// `127.0.0.1:PORT`, to start another server in the place of this one.
    pub fn address(&self) -> String {
        self.url.trim_start_matches("http://").to_owned()
    }

    /// What it wrote into its log so far.
    pub fn log(&self) -> String {
        std::fs::read_to_string(&self.log).unwrap_or_default()
    }

    /// The number of its process.
    pub fn process(&self) -> u32 {
        self.child.id()
    }

    /// Whether it was struck down: has ended, or does so within some seconds.
    pub fn ends_soon(&mut self, seconds: u64) -> bool {
        let until = Instant::now() + Duration::from_secs(seconds) + Duration::from_millis(50);
        while Instant::now() < until {
            if self.child.try_wait().is_ok_and(|ended| ended.is_some()) {
                return true;
            }
            std::thread::sleep(Duration::from_millis(5));
        }
        false
    }

    /// Stops it at once, as a killed process stops.
    pub fn kill(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn listen(out: impl BufRead, said: &Sender<Word>) {
    for line in out.lines().map_while(Result::ok) {
        let link = line.split_whitespace().find(|word| word.contains("/set-up?"));
        // Nobody may be there to hear it any more.
        if let Some(link) = link {
            let _ = said.send(Word::SetUpLink(link.to_owned()));
        }
        if let Some(url) = line.strip_prefix("listening on ") {
            let _ = said.send(Word::Listening(url.to_owned()));
        }
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        self.kill();
        if std::thread::panicking() {
            let talk = std::fs::read_to_string(&self.log).unwrap_or_default();
            eprintln!("the server's talk:\n{talk}");
        }
    }
}
