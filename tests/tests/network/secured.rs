//! Letters and calls over TLS: they come where the certificate is vouched for and names the server, and
//! nothing at all is said to anybody else. The other side is OpenSSL, ours is not.

use std::path::Path;

use spareloop_tests::database::Kind;
use spareloop_tests::sinks::hook::HookSink;
use spareloop_tests::sinks::mail::MailSink;
use spareloop_tests::sinks::secured::{Authority, Begins, Front};
use spareloop_tests::sinks::wait_for;

use crate::valley::{Valley, is_signed, settings};

/// A valley whose server sends its letters so.
fn valley(mail: MailSink, host: &str, port: u16, how: &str, trusted: Option<&Path>) -> Valley {
    let mut settings = settings(&mail);
    for (name, value) in &mut settings {
        match *name {
            "SPARELOOP_SMTP_SERVER" => host.clone_into(value),
            "SPARELOOP_SMTP_PORT" => *value = port.to_string(),
            "SPARELOOP_SMTP_TLS" => how.clone_into(value),
            _ => {}
        }
    }
    // Where a program on Debian looks for the authorities that it trusts.
    settings.extend(trusted.map(|file| ("SSL_CERT_FILE", file.to_str().unwrap().to_owned())));
    Valley::with(Kind::Sqlite, mail, &settings)
}

/// A webhook's receiver behind TLS, and a valley whose server may call it.
fn hooked(authority: &Authority, trusted: Option<&Path>) -> (Valley, HookSink, Front) {
    let mail = MailSink::start();
    let port = mail.port();
    let hook = HookSink::start();
    let front = Front::before(hook.port(), Begins::AtOnce, authority);
    (valley(mail, "127.0.0.1", port, "none", trusted), hook, front)
}

fn comes(begins: Begins, how: &str) {
    let (authority, mail) = (Authority::new(), MailSink::start());
    let front = Front::before(mail.port(), begins, &authority);
    let valley = valley(mail, "localhost", front.port(), how, Some(&authority.certificate()));
    valley.told_by_mail("messages");
    valley.ask(2);
    let letter = wait_for("the letter", || valley.mail.letters().get(1).cloned());
    assert!(letter.text.contains("asks you to hold 2"), "{}", letter.text);
}

/// Nothing comes to the mail server; what the grower and the operator are told.
fn is_kept_back(valley: &Valley) {
    valley.giver.run(&["farm", "tell", "mail", "ada@farm.example"]).done();
    assert_eq!(valley.trouble("mail"), "the mail server can't be reached");
    assert_eq!(valley.mail.letters(), []);
}

#[test]
fn letters_come_over_tls_from_the_first_byte() {
    comes(Begins::AtOnce, "tls");
}

#[test]
fn letters_come_over_starttls() {
    comes(Begins::Asked, "starttls");
}

#[test]
fn a_mail_server_that_takes_starttls_away_gets_no_letter() {
    let mail = MailSink::start();
    let port = mail.port();
    is_kept_back(&valley(mail, "localhost", port, "starttls", None));
}

#[test]
fn a_mail_server_that_nobody_vouches_for_gets_no_letter() {
    for (begins, how) in [(Begins::AtOnce, "tls"), (Begins::Asked, "starttls")] {
        let (authority, mail) = (Authority::new(), MailSink::start());
        let front = Front::before(mail.port(), begins, &authority);
        let stranger = Authority::new();
        let trusted = stranger.certificate();
        is_kept_back(&valley(mail, "localhost", front.port(), how, Some(&trusted)));
    }
}

#[test]
fn a_mail_server_by_another_name_than_its_certificates_gets_no_letter() {
    let (authority, mail) = (Authority::new(), MailSink::start());
    let front = Front::before(mail.port(), Begins::AtOnce, &authority);
    let trusted = authority.certificate();
    is_kept_back(&valley(mail, "127.0.0.1", front.port(), "tls", Some(&trusted)));
}

#[test]
fn a_webhook_is_called_over_https_by_the_name_that_its_certificate_has_and_by_no_other() {
    let authority = Authority::new();
    let (valley, hook, front) = hooked(&authority, Some(&authority.certificate()));
    let add = |host: &str| {
        let url = format!("https://{host}:{}/told", front.port());
        valley.giver.run(&["farm", "tell", "webhook", &url, "--json"]).json()
    };

    let other = add("127.0.0.1");
    valley.ask(2);
    let trouble = valley.trouble("webhook");
    assert!(trouble.contains("certificate is not vouched for"), "{trouble}");
    assert_eq!(hook.calls(), []);
    let other = other["channel"]["channel"].as_str().unwrap();
    valley.giver.run(&["farm", "tell", "end", other, "--yes"]).done();

    let secret = add("localhost")["secret"].as_str().unwrap().to_owned();
    valley.ask(3);
    let call = wait_for("the call", || hook.calls().into_iter().next());
    assert!(call.body.contains("asks you to hold 3"), "{}", call.body);
    let [timestamp, signature] =
        ["spareloop-timestamp", "spareloop-signature"].map(|name| &call.headers[name]);
    assert!(is_signed(&secret, timestamp, signature, &call.body));
}

#[test]
fn a_webhook_that_nobody_vouches_for_is_not_called() {
    let (valley, hook, front) = hooked(&Authority::new(), None);
    let url = format!("https://localhost:{}/told", front.port());
    valley.giver.run(&["farm", "tell", "webhook", &url]).done();
    valley.ask(2);
    let trouble = valley.trouble("webhook");
    assert!(trouble.contains("certificate is not vouched for"), "{trouble}");
    assert_eq!(hook.calls(), []);
}
