//! Dependencies point one way: `domain` ← `rounds`, `api`, `store` ← `server`; `domain`, `api` ← `cli`.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::collections::BTreeSet;
use std::process::Command;

/// Every crate that `room` is built from, by the resolver's own word.
fn built_from(room: &str) -> BTreeSet<String> {
    cargo_tree(room, &["--edges", "normal,build"])
        .lines()
        .filter_map(|line| line.split_whitespace().next())
        .map(str::to_owned)
        .filter(|name| name != room)
        .collect()
}

fn cargo_tree(room: &str, more: &[&str]) -> String {
    let output = Command::new(env!("CARGO"))
        .args(["tree", "--offline", "--prefix", "none", "--format", "{p}", "--package", room])
        .args(more)
        .output()
        .expect("cargo tree runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).expect("UTF-8")
}

fn refuse(room: &str, forbidden: &[&str]) {
    let built_from = built_from(room);
    assert!(!built_from.is_empty(), "{room} is built from nothing: the check looked past it");
    let found: Vec<_> = forbidden.iter().filter(|name| built_from.contains(**name)).collect();
    assert!(found.is_empty(), "{room} must not be built from {found:?}");
}

const HOUSE: [&str; 4] =
    ["spareloop-store", "spareloop-server", "spareloop-cli", "spareloop-rounds"];
const IMPURE: [&str; 9] = [
    "tokio",
    "actix-web",
    "diesel",
    "reqwest",
    "getrandom",
    "rand",
    "tracing",
    "clap",
    "libsqlite3-sys",
];

#[test]
fn domain_is_pure() {
    refuse("spareloop-domain", &HOUSE);
    refuse("spareloop-domain", &["spareloop-api"]);
    refuse("spareloop-domain", &IMPURE);
}

#[test]
fn rounds_sees_domain_alone() {
    refuse(
        "spareloop-rounds",
        &["spareloop-store", "spareloop-server", "spareloop-cli", "spareloop-api"],
    );
    refuse("spareloop-rounds", &IMPURE);
}

#[test]
fn api_without_its_client_knows_no_network_and_no_database() {
    refuse("spareloop-api", &HOUSE);
    refuse("spareloop-api", &["tokio", "actix-web", "diesel", "reqwest", "clap"]);
}

#[test]
fn store_knows_no_http() {
    refuse(
        "spareloop-store",
        &["spareloop-api", "spareloop-server", "spareloop-cli", "spareloop-rounds"],
    );
    refuse("spareloop-store", &["actix-web", "reqwest", "clap"]);
}

#[test]
fn rounds_alone_links_a_solver() {
    for room in ["spareloop-domain", "spareloop-api", "spareloop-store", "spareloop-cli"] {
        refuse(room, &["highs", "highs-sys"]);
    }
    assert!(built_from("spareloop-rounds").contains("highs"), "the check looked past the solver");
}

#[test]
fn the_server_does_not_see_the_client() {
    refuse("spareloop-server", &["spareloop-cli"]);
    let features = cargo_tree("spareloop-server", &["--edges", "normal,build,features"]);
    let client = "spareloop-api feature \"client\"";
    assert!(features.contains("spareloop-api v"), "the check looked past the interface");
    assert!(!features.contains(client), "the server is built with the interface's client");
}

#[test]
fn the_client_links_neither_server_nor_solver() {
    refuse(
        "spareloop-cli",
        &["spareloop-server", "spareloop-store", "spareloop-rounds", "actix-web"],
    );
}
