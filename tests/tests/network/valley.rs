//! A network whose farms are told things by letters and calls, and other programs that read them.

use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use diesel::connection::SimpleConnection;
use diesel::{Connection, PgConnection, SqliteConnection};
use serde_json::Value;
use spareloop_tests::database::Kind;
use spareloop_tests::farm::Device;
use spareloop_tests::network::Network;
use spareloop_tests::sinks::hook::HookSink;
use spareloop_tests::sinks::mail::{Letter, MailSink};
use spareloop_tests::sinks::wait_for;

/// A network whose server sends letters to the sink and may call loopback.
pub struct Valley {
    pub network: Network,
    pub mail: MailSink,
    pub giver: Device,
    pub taker: Device,
    pub lot: String,
}

pub fn settings(mail: &MailSink) -> Vec<(&'static str, String)> {
    vec![
        ("SPARELOOP_SMTP_SERVER", "127.0.0.1".to_owned()),
        ("SPARELOOP_SMTP_PORT", mail.port().to_string()),
        ("SPARELOOP_SMTP_TLS", "none".to_owned()),
        ("SPARELOOP_SMTP_FROM", "Invented valley <loop@valley.example>".to_owned()),
        ("SPARELOOP_WEBHOOK_TARGETS", "anything".to_owned()),
        ("SPARELOOP_LOG", "debug".to_owned()),
    ]
}

pub fn borrowed<'a>(settings: &'a [(&'static str, String)]) -> Vec<(&'a str, &'a str)> {
    settings.iter().map(|(name, value)| (*name, value.as_str())).collect()
}

impl Valley {
    pub fn on(kind: Kind) -> Self {
        let mail = MailSink::start();
        let settings = settings(&mail);
        Self::with(kind, mail, &settings)
    }

    /// The same by other settings.
    pub fn with(kind: Kind, mail: MailSink, settings: &[(&'static str, String)]) -> Self {
        let mut network = Network::on(kind);
        network.start_again_with(&borrowed(settings));
        let (giver, taker) = (network.farm("Ashlode"), network.farm("Brindle"));
        let lot = giver.lot("Ember Lantern", 60);
        giver.sync();
        Self { network, mail, giver, taker, lot }
    }

    /// The taker asks for some of the giver's lot, which the giver is told.
    pub fn ask(&self, count: u32) {
        let offer = self.giver.offer(&self.lot, 10);
        let count = count.to_string();
        let words = ["hold", "ask", &offer, "--count", &count, "--value", "1.0"];
        let note = ["--note", "by the gate\n. and a dot, ä"];
        self.taker.run(&[&words[..], &note].concat()).done();
    }

    /// The giver is told by e-mail: the address is confirmed by the link in the letter.
    pub fn told_by_mail(&self, takes: &str) {
        let words = ["farm", "tell", "mail", "ada@farm.example", "--takes", takes];
        self.giver.run(&words).done();
        let asks = wait_for("the letter that asks", || self.mail.letters().into_iter().next());
        press(&link(&asks, "/letters/confirm?"));
    }

    pub fn hook(&self) -> (HookSink, String) {
        let hook = HookSink::start();
        let made = self.giver.run(&["farm", "tell", "webhook", &hook.url(), "--json"]).json();
        (hook, made["secret"].as_str().expect("a secret").to_owned())
    }

    pub fn listed(&self) -> Value {
        self.giver.run(&["farm", "tell", "list", "--json"]).json()
    }

    pub fn channel(&self, kind: &str) -> Value {
        let listed = self.listed();
        let channels = listed["channels"].as_array().unwrap();
        channels.iter().find(|one| one["kind"] == kind).expect("a channel").clone()
    }

    /// What goes wrong with a channel, once something does.
    pub fn trouble(&self, kind: &str) -> String {
        wait_for("the trouble", || self.channel(kind)["trouble"].as_str().map(ToOwned::to_owned))
    }

    /// As if so many minutes had passed since the last try of whatever is not brought yet.
    pub fn minutes_pass_for_what_waits(&self) {
        let words = "UPDATE deliveries SET due_at = made_at WHERE state = 'waiting'; \
            UPDATE deliveries SET lease_ends_at = made_at WHERE state = 'under-way';";
        self.change_rows(words);
    }

    /// Writes to the server's tables, as time does.
    pub fn change_rows(&self, words: &str) {
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
pub fn press(link: &str) {
    let press = reqwest::blocking::Client::new()
        .post(link)
        .header("Content-Type", "application/x-www-form-urlencoded")
        .body("List-Unsubscribe=One-Click");
    let answer = press.send().unwrap();
    assert_eq!(answer.status(), 200, "{}", answer.text().unwrap());
}

/// What another program reads in a letter.
pub fn read(letter: &Letter) -> Value {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("letter_reader.py");
    let said = fed(Command::new("python3").arg(script), &letter.text);
    let read: Value = serde_json::from_slice(&said.stdout).expect("a letter that can be read");
    assert_eq!(read["defects"], serde_json::json!([]), "{}", letter.text);
    read
}

pub fn fed(command: &mut Command, input: &str) -> std::process::Output {
    let piped = command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::inherit());
    let mut child = piped.spawn().expect("python3 runs");
    child.stdin.take().unwrap().write_all(input.as_bytes()).unwrap();
    child.wait_with_output().unwrap()
}

pub fn header(letter: &Letter, name: &str) -> String {
    read(letter)["headers"][name].as_str().unwrap_or_default().to_owned()
}

pub fn link(letter: &Letter, path: &str) -> String {
    let read = read(letter);
    let text = read["text"].as_str().unwrap();
    let link = text.split_whitespace().find(|word| word.contains(path));
    link.unwrap_or_else(|| panic!("no {path} in {text}")).to_owned()
}

pub fn is_signed(secret: &str, timestamp: &str, signature: &str, body: &str) -> bool {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("call_checker.py");
    let mut command = Command::new("python3");
    fed(command.arg(script).args([secret, timestamp, signature]), body).status.success()
}
