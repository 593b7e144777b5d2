//! A mail server that keeps what it is given (RFC 5321, as far as a client of ours needs it).

use std::io::{BufRead, BufReader, Write};
use std::net::{SocketAddr, TcpStream};
use std::sync::{Arc, Mutex};

use super::{listen, serve_all};

/// What it does with a letter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mood {
    /// Takes it.
    Takes,
    /// Takes it, and loses the line before it can say so.
    TakesAndFallsSilent,
    /// Refuses it for now.
    RefusesForNow,
    /// Knows nobody by that name.
    KnowsNobody,
}

/// A letter as it came.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Letter {
    /// From, as the envelope has it.
    pub from: String,
    /// To, as the envelope has it.
    pub to: Vec<String>,
    /// The text with its headers, without the dots that the protocol adds.
    pub text: String,
}

#[derive(Debug)]
struct Kept {
    mood: Mood,
    letters: Vec<Letter>,
    refused: usize,
}

/// The mail server; its threads end with the test's process.
#[derive(Debug, Clone)]
pub struct MailSink {
    address: SocketAddr,
    kept: Arc<Mutex<Kept>>,
}

impl MailSink {
    /// Listens on a free port of loopback.
    pub fn start() -> Self {
        let (listener, address) = listen();
        let kept = Kept { mood: Mood::Takes, letters: Vec::new(), refused: 0 };
        let kept = Arc::new(Mutex::new(kept));
        let sink = Self { address, kept };
        let serves = sink.clone();
        serve_all(listener, move |caller| serves.serve(caller));
        sink
    }

    /// Its port.
    pub const fn port(&self) -> u16 {
        self.address.port()
    }

    /// What it does with the letters to come.
    pub fn be(&self, mood: Mood) {
        self.kept.lock().expect("the sink").mood = mood;
    }

    /// What came, in order.
    pub fn letters(&self) -> Vec<Letter> {
        self.kept.lock().expect("the sink").letters.clone()
    }

    /// How many it refused.
    pub fn refused(&self) -> usize {
        self.kept.lock().expect("the sink").refused
    }

    fn mood(&self) -> Mood {
        self.kept.lock().expect("the sink").mood
    }

    fn refuse(&self) {
        self.kept.lock().expect("the sink").refused += 1;
    }

    fn serve(&self, stream: TcpStream) -> std::io::Result<()> {
        let mut out = stream.try_clone()?;
        let mut lines = BufReader::new(stream).lines();
        let mut say = |text: &str| out.write_all(format!("{text}\r\n").as_bytes());
        say("220 sink.example ready")?;
        let (mut from, mut to) = (String::new(), Vec::new());
        while let Some(line) = lines.next().transpose()? {
            let word = line.split(['\u{20}', ':']).next().unwrap_or_default().to_ascii_uppercase();
            match (word.as_str(), self.mood()) {
                ("EHLO" | "HELO", _) => say("250 sink.example")?,
                ("MAIL", _) => {
                    from = path(&line);
                    to.clear();
                    say("250 2.1.0 ok")?;
                }
                ("RCPT", Mood::KnowsNobody) => {
                    self.refuse();
                    say("550 5.1.1 nobody here by that name")?;
                }
                ("RCPT", Mood::RefusesForNow) => {
                    self.refuse();
                    say("451 4.3.0 later")?;
                }
                ("RCPT", _) => {
                    to.push(path(&line));
                    say("250 2.1.5 ok")?;
                }
                ("DATA", mood) => {
                    say("354 go on")?;
                    let mut text = String::new();
                    for line in lines.by_ref() {
                        let line = line?;
                        if line == "." {
                            break;
                        }
                        text.push_str(line.strip_prefix('.').unwrap_or(&line));
                        text.push_str("\r\n");
                    }
                    let letter = Letter { from: from.clone(), to: to.clone(), text };
                    self.kept.lock().expect("the sink").letters.push(letter);
                    if mood == Mood::TakesAndFallsSilent {
                        // The line stays open and nothing more is said on it.
                        std::thread::sleep(super::PATIENCE);
                        return Ok(());
                    }
                    say("250 2.0.0 taken")?;
                }
                ("RSET" | "NOOP", _) => say("250 2.0.0 ok")?,
                ("QUIT", _) => return say("221 2.0.0 bye"),
                _ => say("502 5.5.1 not here")?,
            }
        }
        Ok(())
    }
}

/// What stands between the angle brackets.
fn path(line: &str) -> String {
    let inside = line.split_once('<').and_then(|(_, rest)| rest.split_once('>'));
    inside.map(|(path, _)| path.to_owned()).unwrap_or_default()
}
