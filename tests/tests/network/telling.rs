//! What farms are told comes to them: by a real mail server's protocol, by signed calls, by two servers
//! over one database, and again after a server was killed. Other programs read what came.

use std::collections::BTreeSet;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use diesel::connection::SimpleConnection;
use diesel::{Connection, PgConnection, SqliteConnection};
use serde_json::Value;
use spareloop_tests::farm::Device;
use spareloop_tests::network::Network;
use spareloop_tests::on_both;
use spareloop_tests::sinks::hook::{HookSink, Says};
use spareloop_tests::sinks::mail::{Letter, MailSink, Mood};
use spareloop_tests::sinks::wait_for;

/// A network whose server sends letters to the sink and may call loopback.
struct Valley {
    network: Network,
    mail: MailSink,
    giver: Device,
    taker: Device,
    lot: String,
}

fn settings(mail: &MailSink) -> Vec<(&'static str, String)> {
    vec![
        ("SPARELOOP_SMTP_SERVER", "127.0.0.1".to_owned()),
        ("SPARELOOP_SMTP_PORT", mail.port().to_string()),
        ("SPARELOOP_SMTP_TLS", "none".to_owned()),
        ("SPARELOOP_SMTP_FROM", "Invented valley <loop@valley.example>".to_owned()),
        ("SPARELOOP_WEBHOOK_TARGETS", "anything".to_owned()),
        ("SPARELOOP_LOG", "debug".to_owned()),
    ]
}

fn borrowed<'a>(settings: &'a [(&'static str, String)]) -> Vec<(&'a str, &'a str)> {
    settings.iter().map(|(name, value)| (*name, value.as_str())).collect()
}

impl Valley {
    fn on(kind: spareloop_tests::database::Kind) -> Self {
        let mut network = Network::on(kind);
        let mail = MailSink::start();
        network.start_again_with(&borrowed(&settings(&mail)));
        let (giver, taker) = (network.farm("Ashlode"), network.farm("Brindle"));
        let lot = giver.lot("Ember Lantern", 60);
        giver.sync();
        Self { network, mail, giver, taker, lot }
    }

    /// The taker asks for some of the giver's lot, which the giver is told.
    fn ask(&self, count: u32) {
        let made = self.giver.run(&["offer", "make", &self.lot, "--count", "10", "--json"]).json();
        let offer = made["offer"]["offer"].as_str().expect("an offer").to_owned();
        let count = count.to_string();
        let words = ["hold", "ask", &offer, "--count", &count, "--value", "1.0"];
        let note = ["--note", "by the gate\n. and a dot, ä"];
        self.taker.run(&[&words[..], &note].concat()).done();
    }

    /// The giver is told by e-mail: the address is confirmed by the link in the letter.
    fn told_by_mail(&self, takes: &str) {
        let words = ["farm", "tell", "mail", "ada@farm.example", "--takes", takes];
        self.giver.run(&words).done();
        let asks = wait_for("the letter that asks", || self.mail.letters().into_iter().next());
        press(&link(&asks, "/letters/confirm?"));
    }

    fn hook(&self) -> (HookSink, String) {
        let hook = HookSink::start();
        let made = self.giver.run(&["farm", "tell", "webhook", &hook.url(), "--json"]).json();
        (hook, made["secret"].as_str().expect("a secret").to_owned())
    }

    fn listed(&self) -> Value {
        self.giver.run(&["farm", "tell", "list", "--json"]).json()
    }

    fn channel(&self, kind: &str) -> Value {
        let listed = self.listed();
        let channels = listed["channels"].as_array().unwrap();
        channels.iter().find(|one| one["kind"] == kind).expect("a channel").clone()
    }

    /// As if so many minutes had passed since the last try of whatever is not brought yet.
    fn minutes_pass_for_what_waits(&self) {
        let words = "UPDATE deliveries SET due_at = made_at WHERE state = 'waiting'; \
            UPDATE deliveries SET lease_ends_at = made_at WHERE state = 'under-way';";
        self.change_rows(words);
    }

    /// Writes to the server's tables, as time does.
    fn change_rows(&self, words: &str) {
        if let Some(url) = self.network.database_url() {
            PgConnection::establish(&url).unwrap().batch_execute(words).unwrap();
        } else {
            let file = self.network.data().join("spareloop.sqlite");
            let mut rows = SqliteConnection::establish(file.to_str().unwrap()).unwrap();
            rows.batch_execute("PRAGMA busy_timeout = 5000").unwrap();
            rows.batch_execute(words).unwrap();
        }
    }
}

/// As a reader's browser or mail program presses the button behind a link.
fn press(link: &str) {
    let press = reqwest::blocking::Client::new()
        .post(link)
        .header("Content-Type", "application/x-www-form-urlencoded")
        .body("List-Unsubscribe=One-Click");
    let answer = press.send().unwrap();
    assert_eq!(answer.status(), 200, "{}", answer.text().unwrap());
}

/// What another program reads in a letter.
fn read(letter: &Letter) -> Value {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("letter_reader.py");
    let said = fed(Command::new("python3").arg(script), &letter.text);
    let read: Value = serde_json::from_slice(&said.stdout).expect("a letter that can be read");
    assert_eq!(read["defects"], serde_json::json!([]), "{}", letter.text);
    read
}

fn fed(command: &mut Command, input: &str) -> std::process::Output {
    let piped = command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::inherit());
    let mut child = piped.spawn().expect("python3 runs");
    child.stdin.take().unwrap().write_all(input.as_bytes()).unwrap();
    child.wait_with_output().unwrap()
}

fn header(letter: &Letter, name: &str) -> String {
    read(letter)["headers"][name].as_str().unwrap_or_default().to_owned()
}

fn link(letter: &Letter, path: &str) -> String {
    let read = read(letter);
    let text = read["text"].as_str().unwrap();
    let link = text.split_whitespace().find(|word| word.contains(path));
    link.unwrap_or_else(|| panic!("no {path} in {text}")).to_owned()
}

fn is_signed(secret: &str, timestamp: &str, signature: &str, body: &str) -> bool {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("call_checker.py");
    let mut command = Command::new("python3");
    fed(command.arg(script).args([secret, timestamp, signature]), body).status.success()
}

on_both! {
    fn letters_come_once_confirmed_and_end_with_one_press(kind: Kind) {
        let valley = Valley::on(kind);
        valley.giver.run(&["farm", "tell", "mail", "ada@farm.example"]).done();
        let asks = wait_for("the letter that asks", || valley.mail.letters().into_iter().next());
        assert_eq!((asks.from.as_str(), &asks.to[..]), ("loop@valley.example", &["ada@farm.example".to_owned()][..]));
        assert_eq!(header(&asks, "list-unsubscribe"), "", "there is nothing to end yet");
        valley.ask(2);
        press(&link(&asks, "/letters/confirm?"));
        valley.ask(3);
        let told = wait_for("the letter", || valley.mail.letters().get(1).cloned());
        assert_eq!(valley.mail.letters().len(), 2, "nothing was sent before it was confirmed");

        let letter = read(&told);
        assert_eq!(letter["to"], serde_json::json!(["ada@farm.example"]));
        assert_eq!(letter["kind"], "text/plain");
        let text = letter["text"].as_str().unwrap();
        assert!(text.contains("Brindle asks you to hold 3 of 'Ember Lantern'"), "{text}");
        assert!(text.replace("\r\n", "\n").contains("by the gate\n. and a dot, ä"), "{text}");
        assert!(text.contains(&format!("{}/holds/", valley.network.server.url)), "{text}");
        let messages = valley.giver.run(&["messages"]).done();
        assert!(messages.contains("asks you to hold 3"), "a letter says what the pages say: {messages}");

        // RFC 8058, RFC 2369, RFC 3834.
        let end = header(&told, "list-unsubscribe");
        let end = end.strip_prefix('<').and_then(|end| end.strip_suffix('>')).expect("one address");
        assert_eq!(header(&told, "list-unsubscribe-post"), "List-Unsubscribe=One-Click");
        assert_eq!(header(&told, "auto-submitted"), "auto-generated");
        press(end);
        valley.ask(2);
        let mail = valley.channel("mail");
        assert_eq!((mail["state"].as_str(), mail["waiting"].as_u64()), (Some("ended"), Some(0)));

        let log = valley.network.server.log();
        for secret in ["ada@farm.example", "token=", "by the gate"] {
            assert!(!log.contains(secret), "{secret} is in the log");
        }
    }

    fn a_call_is_signed_so_that_another_program_can_check_it_and_redirects_lead_nowhere(kind: Kind) {
        let valley = Valley::on(kind);
        let (hook, secret) = valley.hook();
        valley.ask(2);
        let call = wait_for("the call", || hook.calls().into_iter().next());
        assert_eq!(call.line, "POST /told HTTP/1.1");
        let [timestamp, signature] =
            ["spareloop-timestamp", "spareloop-signature"].map(|name| &call.headers[name]);
        assert!(is_signed(&secret, timestamp, signature, &call.body));
        assert!(!is_signed(&secret, timestamp, signature, &format!("{} ", call.body)));
        assert!(!is_signed(&secret, "1", signature, &call.body));
        let body: Value = serde_json::from_str(&call.body).unwrap();
        assert_eq!(body["farm_name"], "Ashlode");
        assert!(body["text"].as_str().unwrap().contains("asks you to hold 2"), "{body}");
        assert_eq!(body["delivery"].as_str(), Some(call.headers["spareloop-delivery"].as_str()));

        let elsewhere = HookSink::start();
        hook.say(Says::LeadsTo(elsewhere.url()));
        valley.ask(3);
        let trouble = wait_for("the trouble", || {
            valley.channel("webhook")["trouble"].as_str().map(ToOwned::to_owned)
        });
        assert!(trouble.contains("307") && trouble.contains("not followed"), "{trouble}");
        assert_eq!(elsewhere.calls(), []);

        // It is brought once the receiver is well again: the same delivery, signed anew.
        hook.say(Says::Status(204));
        valley.minutes_pass_for_what_waits();
        let calls = wait_for("the call again", || Some(hook.calls()).filter(|it| it.len() == 3));
        assert_eq!(calls[1].headers["spareloop-delivery"], calls[2].headers["spareloop-delivery"]);
        wait_for("that it is noted", || {
            (valley.channel("webhook")["waiting"] == 0).then_some(())
        });
        let log = valley.network.server.log();
        assert!(!log.contains(&secret) && !log.contains("/told"), "no secret is in the log");
    }

    fn a_dead_target_is_in_no_acts_way_and_holds_no_other_channel_up(kind: Kind) {
        let valley = Valley::on(kind);
        let (silent, _) = valley.hook();
        silent.say(Says::Nothing);
        let (well, _) = valley.hook();
        for count in 1..=4 {
            // Each act is done and answered while the silent one keeps its caller waiting.
            valley.ask(count);
        }
        wait_for("all calls of the other", || (well.calls().len() == 4).then_some(()));
        assert!(silent.calls().len() < 4, "one at a time: {}", silent.calls().len());
        let messages = valley.giver.run(&["messages", "--json"]).json();
        assert_eq!(messages["messages"].as_array().unwrap().len(), 4);
    }

    fn what_was_under_way_when_the_server_was_killed_comes_again(kind: Kind) {
        let mut valley = Valley::on(kind);
        valley.told_by_mail("messages");
        valley.mail.be(Mood::TakesAndFallsSilent);
        valley.ask(2);
        // Taken by the mail server, and not noted by ours, which waits for its answer.
        wait_for("the letter", || valley.mail.letters().get(1).cloned());
        valley.network.server.kill();
        valley.mail.be(Mood::Takes);
        valley.network.start_again_with(&borrowed(&settings(&valley.mail)));
        assert_eq!(valley.channel("mail")["waiting"], 1, "it stands as under way");
        valley.minutes_pass_for_what_waits();
        let again = wait_for("the letter again", || valley.mail.letters().get(2).cloned());
        let first = valley.mail.letters()[1].clone();
        let id = header(&first, "message-id");
        assert!(id.ends_with("@valley.example>"), "{id}");
        assert_eq!(header(&again, "message-id"), id, "a mail program shows it once");
        wait_for("that it is noted", || (valley.channel("mail")["waiting"] == 0).then_some(()));
    }

    fn a_mail_server_that_refuses_for_now_is_asked_again_and_an_address_that_nobody_has_is_not(
        kind: Kind
    ) {
        let valley = Valley::on(kind);
        valley.told_by_mail("messages");
        valley.mail.be(Mood::RefusesForNow);
        valley.ask(2);
        let trouble = wait_for("the trouble", || {
            valley.channel("mail")["trouble"].as_str().map(ToOwned::to_owned)
        });
        assert_eq!(trouble, "the mail server refused it (451)");
        valley.mail.be(Mood::Takes);
        valley.minutes_pass_for_what_waits();
        wait_for("the letter", || valley.mail.letters().get(1).cloned());
        valley.mail.be(Mood::KnowsNobody);
        valley.ask(3);
        wait_for("that it is given up", || (valley.channel("mail")["given_up"] == 1).then_some(()));
        assert_eq!(valley.mail.refused(), 2);
        let told = valley.giver.run(&["farm", "tell", "list"]).done();
        assert!(told.contains("knows no such address (550)"), "{told}");
    }

    fn the_weekly_letter_says_what_is_open_held_and_ending(kind: Kind) {
        let valley = Valley::on(kind);
        valley.told_by_mail("digest");
        valley.ask(4);
        let words = "UPDATE channels SET next_digest_at = made_at";
        valley.change_rows(words);
        let letter = wait_for("the weekly letter", || valley.mail.letters().get(1).cloned());
        let text = read(&letter)["text"].as_str().unwrap().to_owned();
        for part in [
            "Ends this week",
            "Hold lapses: 4 divisions of 'Ember Lantern' for Brindle",
            "Held, agreed or on the way",
            "4 divisions of 'Ember Lantern' for Brindle: held",
            "offered: 6 divisions of 'Ember Lantern' free, 10 offered",
            "To look at this week",
            "Look at 1 lot",
        ] {
            assert!(text.contains(part), "{part:?} in {text}");
        }
        assert!(header(&letter, "subject").starts_with("Ashlode: the week of"));
        assert_ne!(header(&letter, "list-unsubscribe"), "");
        assert_eq!(valley.mail.letters().len(), 2, "once, and no letter for each message");
    }
}

#[test]
fn two_servers_over_one_database_bring_each_thing_once_while_both_live() {
    let valley = Valley::on(spareloop_tests::database::Kind::Postgresql);
    let settings = settings(&valley.mail);
    let _other = valley.network.replica("other", &borrowed(&settings));
    let hooks: Vec<HookSink> = (0..4).map(|_| valley.hook().0).collect();
    valley.told_by_mail("messages");
    for count in 1..=5 {
        valley.ask(count);
    }
    for hook in &hooks {
        wait_for("all calls", || (hook.calls().len() >= 5).then_some(()));
    }
    wait_for("all letters", || (valley.mail.letters().len() >= 6).then_some(()));
    wait_for("that all is noted", || {
        let listed = valley.listed();
        let waits = |one: &Value| one["waiting"] != 0;
        (!listed["channels"].as_array().unwrap().iter().any(waits)).then_some(())
    });
    for hook in &hooks {
        let ids = hook.calls().into_iter().map(|call| call.headers["spareloop-delivery"].clone());
        let ids: Vec<String> = ids.collect();
        assert_eq!((ids.len(), ids.iter().collect::<BTreeSet<_>>().len()), (5, 5));
    }
    assert_eq!(valley.mail.letters().len(), 6);
}

#[test]
fn a_server_set_up_for_the_open_internet_calls_nothing_within_however_it_came_there() {
    let mut valley = Valley::on(spareloop_tests::database::Kind::Sqlite);
    let (hook, _) = valley.hook();
    let mut settings = settings(&valley.mail);
    settings.retain(|(name, _)| *name != "SPARELOOP_WEBHOOK_TARGETS");
    valley.network.start_again_with(&borrowed(&settings));
    let refused =
        valley.giver.run(&["farm", "tell", "webhook", "https://127.0.0.1/x"]).ends_with(3);
    assert!(refused.contains("not of the open internet"), "{refused}");
    // This one was let in before: it is checked again when it is called.
    valley.ask(2);
    let trouble = wait_for("the trouble", || {
        valley.channel("webhook")["trouble"].as_str().map(ToOwned::to_owned)
    });
    assert!(trouble.contains("https://"), "{trouble}");
    assert_eq!(hook.calls(), []);
}
