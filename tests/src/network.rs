//! A coordinator at work: set up by the one-time link, a network, invitations.

use std::sync::atomic::{AtomicU64, Ordering};

use spareloop_api::client::{ActKey, Client, Token};
use spareloop_api::people::{Invite, MakeNetwork, Secret, SetUp, SignIn, Tokens};

use crate::binaries::Server;
use crate::farm::PASSWORD;

/// A key for one act of a test.
pub fn key() -> ActKey {
    static NEXT: AtomicU64 = AtomicU64::new(0);
    let number = NEXT.fetch_add(1, Ordering::Relaxed);
    ActKey(format!("test-{}-{number:08}", std::process::id()))
}

/// A signed-in client.
pub fn signed_in(server: &str, tokens: Tokens) -> Client {
    Client::new(server).expect("an address").with(Token::Bearer(tokens.access_token))
}

/// Signs in as somebody who was set up or joined before.
pub fn sign_in(server: &str, login: &str) -> Client {
    let tokens = Client::new(server)
        .expect("an address")
        .sign_in(&SignIn { login: login.to_owned(), password: Secret(PASSWORD.to_owned()) })
        .expect("a sign-in");
    signed_in(server, tokens)
}

/// Makes the first coordinator and their network on a fresh server.
pub fn set_up(server: &Server) -> Client {
    let link = server.set_up_link.as_deref().expect("a fresh server prints its set-up link");
    let token = link.split("token=").nth(1).expect("the link carries a token").to_owned();
    let tokens = Client::new(&server.url)
        .expect("an address")
        .set_up(&SetUp {
            token: Secret(token),
            login: "coordinator".to_owned(),
            display_name: "The coordinator".to_owned(),
            password: Secret(PASSWORD.to_owned()),
        })
        .expect("the link makes the first coordinator");
    let coordinator = signed_in(&server.url, tokens);
    coordinator
        .make_network(&key(), &MakeNetwork { name: "Invented valley".to_owned() })
        .expect("a network");
    coordinator
}

/// An invitation's code.
pub fn invite(coordinator: &Client, for_whom: &str) -> String {
    let made = coordinator
        .invite(&key(), &Invite { for_whom: for_whom.to_owned() })
        .expect("an invitation");
    made.code.0
}
