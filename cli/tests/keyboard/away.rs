//! A server that is away, answers 500, or hangs: everything is kept here, exit 6.

use std::io::{Read, Write};
use std::net::TcpListener;
use std::time::Duration;

use crate::common::Keyboard;
use spareloop_cli::book::link::{self, Link};
use spareloop_cli::book::{BookError, Keep, StockBook, farm, keys};

/// A farm that was connected to a server at `address`.
fn connected(address: &str) -> (Keyboard, String) {
    let keyboard = Keyboard::of_a_farm();
    let lot = keyboard.lot("Ember Lantern", 40, "2025-11-02");
    let mut file = StockBook::open(&keyboard.book(), Duration::from_secs(5)).unwrap();
    let device = file
        .write(Keep::Kept, |connection| {
            let link = Link {
                server: address.to_owned(),
                login: "ada".into(),
                network: None,
                epoch: None,
                cursor: 0,
                synced_at: None,
                promised_mark: None,
            };
            link::put(connection, &link)?;
            Ok::<_, BookError>(farm::device(connection)?.id)
        })
        .unwrap();
    let secret = |text: &str| Some(spareloop_api::people::Secret(text.to_owned()));
    let held = keys::Keys {
        device: Some(device),
        device_token: secret("dev_1"),
        access_token: secret("a"),
        refresh_token: secret("r"),
    };
    keys::write(&keyboard.book(), &held).unwrap();
    (keyboard, lot)
}

/// A server that answers every request with `answer`, or never where there is none.
fn server(answer: Option<&'static str>) -> String {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = format!("http://{}", listener.local_addr().unwrap());
    std::thread::spawn(move || {
        let mut kept = Vec::new();
        for stream in listener.incoming() {
            let mut stream = stream.unwrap();
            if let Some(answer) = answer {
                let mut request = [0; 4096];
                let _ = stream.read(&mut request);
                let _ = stream.write_all(answer.as_bytes());
            } else {
                kept.push(stream);
            }
        }
    });
    address
}

const BROKEN: &str = "HTTP/1.1 500 Internal Server Error\r\ncontent-type: application/problem+json\r\ncontent-length: 169\r\nconnection: close\r\n\r\n{\"type\":\"urn:spareloop:problem:broken\",\"title\":\"Something broke on the server\",\"status\":500,\"detail\":\"it broke\",\"code\":\"broken\",\"hint\":\"Nothing you sent was half done.\"}";
const GIBBERISH: &str =
    "HTTP/1.1 502 Bad Gateway\r\ncontent-length: 5\r\nconnection: close\r\n\r\noops!";
const REFUSING: &str = "HTTP/1.1 401 Unauthorized\r\ncontent-type: application/problem+json\r\ncontent-length: 153\r\nconnection: close\r\n\r\n{\"type\":\"urn:spareloop:problem:sign-in-needed\",\"title\":\"Sign-in needed\",\"status\":401,\"detail\":\"no\",\"code\":\"sign-in-needed\",\"hint\":\"Sign in again; kept.\"}";

#[test]
fn a_server_that_is_away_answers_500_or_hangs_keeps_everything_here() {
    let closed = {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        format!("http://{}", listener.local_addr().unwrap())
    };
    for address in [closed, server(Some(BROKEN)), server(Some(GIBBERISH)), server(None)] {
        let (farm, lot) = connected(&address);
        let before = farm.run(&["export"]).done();
        let said = farm.run(&["sync", "--timeout", "1"]);
        assert_eq!(said.exit, 6, "{}", said.all());
        assert!(said.err.contains("Kept here: 2 entries wait to be sent."), "{}", said.all());
        assert_eq!(farm.run(&["export"]).done(), before);
        farm.run(&["check", "add", &lot, "--sound", "40"]).done();
    }
}

#[test]
fn an_act_waits_here_while_the_server_is_away() {
    let (farm, _) = connected(&server(Some(GIBBERISH)));
    let said = farm.run(&["want", "make", "Moss Anthem", "--count", "5"]);
    assert_eq!(said.exit, 6, "{}", said.all());
    assert!(said.err.contains("want 5 of 'Moss Anthem'"), "{}", said.all());
    let status = farm.run(&["status"]).done();
    assert!(status.contains("Waits to be sent: want 5 of 'Moss Anthem'."), "{status}");
}

#[test]
fn a_sign_in_that_no_longer_holds_exits_4_and_keeps_everything() {
    let (farm, _) = connected(&server(Some(REFUSING)));
    let said = farm.run(&["sync"]);
    assert_eq!(said.exit, 4, "{}", said.all());
    assert!(said.err.contains("Kept here"), "{}", said.all());
    assert_eq!(farm.run(&["owed"]).exit, 4);
}

#[test]
fn a_farm_without_a_network_is_told_how_to_join_one() {
    let farm = Keyboard::of_a_farm();
    let said = farm.run(&["sync"]);
    assert_eq!(said.exit, 4);
    assert!(said.err.contains("farm connect"), "{}", said.all());
    let words = ["farm", "connect", "--server", "not an address", "--login", "ada"];
    assert_eq!(farm.run(&words).exit, 3);
    let words = ["farm", "connect", "--server", "http://127.0.0.1:1", "--login", "ada"];
    let asked = farm.run(&words);
    assert_eq!(asked.exit, 5, "{}", asked.all());
    assert!(asked.err.contains("--password-file"), "{}", asked.all());
}
