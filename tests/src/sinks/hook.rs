//! A webhook's receiver: keeps every call as it came and answers as it is told (HTTP/1.1, RFC 9112, as
//! far as a client of ours needs it).

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::sync::{Arc, Mutex};

use super::{listen, serve_all};

/// What it answers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Says {
    /// This status.
    Status(u16),
    /// Go elsewhere.
    LeadsTo(String),
    /// Nothing, for as long as the caller cares to wait.
    Nothing,
}

/// A call as it came.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Called {
    /// The first line.
    pub line: String,
    /// Headers, their names in small letters.
    pub headers: BTreeMap<String, String>,
    /// The body.
    pub body: String,
}

/// The receiver; its threads end with the test's process.
#[derive(Debug, Clone)]
pub struct HookSink {
    address: SocketAddr,
    kept: Arc<Mutex<(Says, Vec<Called>)>>,
}

impl HookSink {
    /// Listens on a free port of loopback, and answers 204.
    pub fn start() -> Self {
        let (listener, address) = listen();
        let sink = Self { address, kept: Arc::new(Mutex::new((Says::Status(204), Vec::new()))) };
        let serves = sink.clone();
        serve_all(listener, move |caller| serves.serve(caller));
        sink
    }

    /// Its address.
    pub fn url(&self) -> String {
        format!("http://{}/told", self.address)
    }

    /// Its port.
    pub const fn port(&self) -> u16 {
        self.address.port()
    }

    /// What it answers from now on.
    pub fn say(&self, says: Says) {
        self.kept.lock().expect("the sink").0 = says;
    }

    /// Every call so far.
    pub fn calls(&self) -> Vec<Called> {
        self.kept.lock().expect("the sink").1.clone()
    }

    fn serve(&self, stream: TcpStream) -> std::io::Result<()> {
        let mut out = stream.try_clone()?;
        let mut reader = BufReader::new(stream);
        let mut line = String::new();
        reader.read_line(&mut line)?;
        let mut headers = BTreeMap::new();
        loop {
            let mut header = String::new();
            reader.read_line(&mut header)?;
            let Some((name, value)) = header.trim_end().split_once(": ") else { break };
            headers.insert(name.to_ascii_lowercase(), value.to_owned());
        }
        let length = headers.get("content-length").and_then(|it| it.parse().ok()).unwrap_or(0);
        let mut body = vec![0; length];
        reader.read_exact(&mut body)?;
        let body = String::from_utf8_lossy(&body).into_owned();
        let says = {
            let mut kept = self.kept.lock().expect("the sink");
            kept.1.push(Called { line: line.trim_end().to_owned(), headers, body });
            kept.0.clone()
        };
        let head = match says {
            Says::Status(status) => format!("{status} so\r\n"),
            Says::LeadsTo(elsewhere) => format!("307 elsewhere\r\nLocation: {elsewhere}\r\n"),
            Says::Nothing => {
                std::thread::sleep(super::PATIENCE);
                return Ok(());
            }
        };
        let end = "Content-Length: 0\r\nConnection: close\r\n\r\n";
        out.write_all(format!("HTTP/1.1 {head}{end}").as_bytes())
    }
}
