//! The real program: what it prints, how it stops, its commands beside a running server.

#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};

fn program(data: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_spareloop-server"));
    command.env_clear().env("SPARELOOP_DATA", data).env("SPARELOOP_LOG", "warn");
    command
}

/// A server that is stopped when the test ends, however it ends.
struct Running {
    child: Child,
    address: String,
    link: Option<String>,
}

impl Running {
    fn start(data: &Path) -> Self {
        let mut child = program(data)
            .env("SPARELOOP_BIND", "127.0.0.1:0")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines().map(Result::unwrap);
        let first = lines.next().expect("a line on stdout");
        let address = first.strip_prefix("listening on http://").expect(&first).to_owned();
        // The link comes on the very first start only, so a later start ends its talk there.
        let link = if data.join("started").exists() { None } else { lines.next() };
        std::fs::write(data.join("started"), "").unwrap();
        Self { child, address, link }
    }

    fn stop(mut self) -> Option<i32> {
        let pid = self.child.id().to_string();
        assert!(Command::new("kill").args(["-TERM", &pid]).status().unwrap().success());
        self.child.wait().unwrap().code()
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn text(output: &Output) -> String {
    String::from_utf8_lossy(&[&output.stdout[..], &output.stderr[..]].concat()).into_owned()
}

#[test]
fn a_first_start_needs_no_settings_prints_a_link_and_stops_in_peace() {
    let data = tempfile::tempdir().unwrap();
    let server = Running::start(data.path());
    let link = server.link.clone().expect("a set-up link");
    let begins = format!("set-up link: http://{}/set-up?token=", server.address);
    assert!(link.starts_with(&begins), "{link}");
    let health = program(data.path()).args(["health", "--bind", &server.address]).output().unwrap();
    assert_eq!(health.status.code(), Some(0), "{}", text(&health));
    let address = server.address.clone();
    assert_eq!(server.stop(), Some(0));
    let health = program(data.path()).args(["health", "--bind", &address]).output().unwrap();
    assert_eq!(health.status.code(), Some(6), "{}", text(&health));
}

#[test]
fn a_copy_is_made_while_the_server_runs_and_put_back_only_when_it_does_not() {
    let data = tempfile::tempdir().unwrap();
    let copy = data.path().join("copy.sqlite");
    let copy = copy.to_str().unwrap();
    let server = Running::start(data.path());
    let run = |args: &[&str]| program(data.path()).args(args).output().unwrap();
    let made = run(&["backup", copy]);
    assert_eq!(made.status.code(), Some(0), "{}", text(&made));
    let again = run(&["backup", copy]);
    assert_eq!(again.status.code(), Some(3), "{}", text(&again));
    let early = run(&["restore", copy]);
    assert_eq!(early.status.code(), Some(1), "{}", text(&early));
    assert!(text(&early).contains("Stop that server first"), "{}", text(&early));
    let second = run(&["--bind", "127.0.0.1:0"]);
    assert_eq!(second.status.code(), Some(1), "{}", text(&second));
    assert_eq!(server.stop(), Some(0));
    let put_back = run(&["restore", copy]);
    assert_eq!(put_back.status.code(), Some(0), "{}", text(&put_back));
    std::fs::write(copy, "not a copy of anything").unwrap();
    let damaged = run(&["restore", copy]);
    assert_eq!(damaged.status.code(), Some(3), "{}", text(&damaged));
    assert_eq!(Running::start(data.path()).stop(), Some(0));
}

#[test]
fn a_new_link_replaces_the_one_that_was_lost() {
    let data = tempfile::tempdir().unwrap();
    let first = Running::start(data.path()).link.clone().unwrap();
    let printed = program(data.path()).arg("set-up-link").output().unwrap();
    let line = String::from_utf8(printed.stdout).unwrap();
    assert!(line.starts_with("set-up link: http://127.0.0.1:8470/set-up?token="), "{line}");
    assert_ne!(line.rsplit_once('=').unwrap().1.trim(), first.rsplit_once('=').unwrap().1);
}

#[test]
fn a_wrong_setting_is_named_with_what_to_do() {
    let data = tempfile::tempdir().unwrap();
    let with = |name: &str, value: &str| {
        let output = program(data.path()).env(name, value).output().unwrap();
        (output.status.code(), text(&output))
    };
    let (code, said) = with("SPARELOOP_DATABASE_URL", "oracle:hush-hush");
    assert_eq!(code, Some(3), "{said}");
    assert!(!said.contains("hush"), "no secret is repeated: {said}");
    assert_eq!(with("SPARELOOP_SECRET", "short").0, Some(1));
    assert_eq!(with("SPARELOOP_PUBLIC_URL", "loop.example").0, Some(3));
    let usage = program(data.path()).arg("--nonsense").output().unwrap();
    assert_eq!(usage.status.code(), Some(2));
}
