//! A program under `strace`, which makes the Nth call of a kind the last one, or lets it fail.
//!
//! The kill comes before the call is carried out, so the kill at the Nth call shows the world as it
//! is after the call before it. Calls are counted in each thread by itself.

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::OnceLock;
use std::sync::mpsc::{self, RecvTimeoutError};
use std::time::Duration;

/// Every call that changes a file, by which a book or its keys are written.
pub const FILE_CALLS: &str = "write,pwrite64,fsync,fdatasync,ftruncate,rename,unlink,mkdir";
/// Calls by which a server answers.
pub const ANSWERING_CALLS: &str = "sendto,sendmsg,writev";

/// Environment: `all` or `demanded`, so that a machine on which programs can't be traced fails.
const WISH: &str = "SPARELOOP_CRASH_SWEEP";

/// How much of a sweep is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Breadth {
    /// What fits into minutes.
    Sampled,
    /// All of it.
    All,
}

impl Breadth {
    /// As the environment says.
    pub fn asked_for() -> Self {
        if std::env::var(WISH).is_ok_and(|wish| wish == "all") { Self::All } else { Self::Sampled }
    }

    /// Of so many, every which one is tried.
    pub const fn stride(self, sampled: usize) -> usize {
        match self {
            Self::Sampled => sampled,
            Self::All => 1,
        }
    }
}

/// What happens at the calls of a kind.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Blow {
    /// The program is killed at the Nth call.
    KillAt(usize),
    /// The Nth call fails with this error, and no other.
    FailAt(usize, &'static str),
    /// The Nth call and all later ones fail with this error.
    FailFrom(usize, &'static str),
}

impl Blow {
    fn words(&self, calls: &str) -> String {
        match self {
            Self::KillAt(n) => format!("inject={calls}:signal=KILL:when={n}"),
            Self::FailAt(n, error) => format!("inject={calls}:error={error}:when={n}"),
            Self::FailFrom(n, error) => format!("inject={calls}:error={error}:when={n}+"),
        }
    }
}

fn program() -> Option<PathBuf> {
    let path = std::env::var_os("PATH")?;
    std::env::split_paths(&path).map(|folder| folder.join("strace")).find(|file| file.exists())
}

fn try_out() -> Result<PathBuf, String> {
    let strace = program().ok_or("strace is not installed: tests/setup.sh tests")?;
    let words = ["-f", "-qq", "-o", "/dev/null", "-e", "trace=write"];
    let tried = Command::new(&strace)
        .args(words)
        .args(["-e", &Blow::KillAt(1).words("write"), "/bin/echo", "killed before it"])
        .stdin(Stdio::null())
        .output()
        .map_err(|error| error.to_string())?;
    if tried.status.success() || !tried.stdout.is_empty() {
        return Err("strace lets a program go on that it was to kill".to_owned());
    }
    if std::os::unix::process::ExitStatusExt::signal(&tried.status) != Some(9) {
        return Err(String::from_utf8_lossy(&tried.stderr).trim().to_owned());
    }
    Ok(strace)
}

/// Whether nothing may be left out.
pub fn is_demanded() -> bool {
    std::env::var(WISH).is_ok_and(|wish| wish == "all" || wish == "demanded")
}

/// Whether programs can be traced on this machine (some containers forbid it). Says loudly what is
/// left out where they can't, and fails where the environment demands it.
pub fn is_possible(left_out: &str) -> bool {
    static TRIED: OnceLock<Result<PathBuf, String>> = OnceLock::new();
    let Err(why) = TRIED.get_or_init(try_out) else { return true };
    assert!(!is_demanded(), "{WISH} demands {left_out}, but programs can't be traced here: {why}");
    eprintln!("LEFT OUT: {left_out}. Programs can't be traced on this machine: {why}");
    false
}

fn strace() -> Command {
    Command::new(program().expect("is_possible was asked before"))
}

fn carried(mut tracer: Command, traced: &Command) -> Command {
    tracer.arg("--").arg(traced.get_program()).args(traced.get_args());
    tracer.env_clear().envs(traced.get_envs().filter_map(|(name, value)| Some((name, value?))));
    if let Some(folder) = traced.get_current_dir() {
        tracer.current_dir(folder);
    }
    tracer
}

/// The command with the blow to come, logged to `log`. It exits as the program does.
pub fn struck(command: &Command, calls: &str, blow: &Blow, log: &Path) -> Command {
    let mut tracer = strace();
    tracer.args(["-f", "-qq", "-o"]).arg(log);
    // Only the calls meant are stopped at, which is much faster; a signal can't be sent from there.
    if !matches!(blow, Blow::KillAt(_)) {
        tracer.arg("--seccomp-bpf");
    }
    tracer.args(["-e", &format!("trace={calls}"), "-e", &blow.words(calls)]);
    carried(tracer, command)
}

/// Whether the blow of a log fell; a call may be counted to and never come.
pub fn fell(log: &Path) -> bool {
    std::fs::read_to_string(log).is_ok_and(|text| text.contains("(INJECTED)"))
}

/// Whose child a recorded program is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ChildOf {
    /// Strace's: the log is whole when the command has ended.
    Strace,
    /// The caller's, so that killing the child kills the program and not strace alone.
    Caller,
}

/// The command with all that it does to its files written to `log`, as [`super::trace`] reads it.
pub fn recorded(command: &Command, log: &Path, child_of: ChildOf) -> Command {
    let mut tracer = strace();
    if child_of == ChildOf::Caller {
        tracer.arg("-D");
    }
    tracer.args(["-f", "-qq", "--seccomp-bpf", "-y", "-xx", "-s", "2000000"]);
    tracer.args(["-e", &format!("trace={}", super::trace::CALLS)]).arg("-o").arg(log);
    carried(tracer, command)
}

/// A blow to a program that runs already, until this is dropped.
pub struct Lurking {
    strace: Child,
}

impl Lurking {
    /// Waits until every thread of the program is watched. Its answers to callers and the blow are
    /// logged to `log`.
    pub fn at(process: u32, calls: &str, blow: &Blow, log: &Path) -> Self {
        let strace = strace()
            .args(["-f", "-s", "4096", "-p", &process.to_string(), "-o"])
            .arg(log)
            .args(["-e", &format!("trace={calls},{ANSWERING_CALLS}"), "-e", &blow.words(calls)])
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .expect("strace starts");
        let mut lurking = Self { strace };
        let mut said = BufReader::new(lurking.strace.stderr.take().expect("stderr is piped"));
        let mut line = String::new();
        while said.read_line(&mut line).is_ok_and(|read| read > 0) {
            if line.contains("attached") {
                // What it says later is read away, so that it never blocks on a full pipe.
                std::thread::spawn(move || std::io::copy(&mut said, &mut std::io::sink()));
                return lurking;
            }
        }
        panic!("strace can't watch process {process}: {line}");
    }
}

impl Drop for Lurking {
    fn drop(&mut self) {
        // A tracer that is killed lets its program go on.
        let _ = self.strace.kill();
        let _ = self.strace.wait();
    }
}

/// Runs a command to its end and answers what it said.
///
/// A tracer may wait for ever for a thread that was killed at its birth; then it is killed too, and
/// the answer is the same: a program that ended by a kill.
pub fn ended(command: &mut Command) -> Output {
    const PATIENCE: Duration = Duration::from_mins(1);
    let child = command
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("strace runs");
    let tracer = child.id().to_string();
    let (done, waiting) = mpsc::channel::<()>();
    let watch = std::thread::spawn(move || {
        if waiting.recv_timeout(PATIENCE) == Err(RecvTimeoutError::Timeout) {
            let _ = Command::new("kill").args(["-KILL", &tracer]).stderr(Stdio::null()).status();
        }
    });
    let output = child.wait_with_output().expect("it ends");
    drop(done);
    let _ = watch.join();
    output
}
