//! TLS before a sink: `tls_front.py` with a certificate that `openssl` makes, of an authority which
//! nobody trusts unless told to.

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use tempfile::TempDir;

/// An invented authority that vouches for `localhost`, with its files in a folder of its own.
#[derive(Debug)]
pub struct Authority {
    folder: TempDir,
}

impl Authority {
    /// Makes both certificates, for a day.
    pub fn new() -> Self {
        let authority = Self { folder: TempDir::new().expect("a folder") };
        let itself = ["-subj", "/CN=Invented authority", "-addext", "keyUsage=keyCertSign"];
        authority.make("authority", &itself);
        let [vouching, its_key] =
            ["authority.pem", "authority.key"].map(|name| authority.text(name));
        authority.make(
            "localhost",
            &[
                "-subj",
                "/CN=localhost",
                "-addext",
                "subjectAltName=DNS:localhost",
                "-addext",
                "basicConstraints=critical,CA:FALSE",
                "-CA",
                &vouching,
                "-CAkey",
                &its_key,
            ],
        );
        authority
    }

    /// What a program must trust, as a file of PEM.
    pub fn certificate(&self) -> PathBuf {
        self.folder.path().join("authority.pem")
    }

    fn text(&self, name: &str) -> String {
        self.folder.path().join(name).to_str().expect("a plain path").to_owned()
    }

    fn make(&self, name: &str, more: &[&str]) {
        let (key, out) = (self.text(&format!("{name}.key")), self.text(&format!("{name}.pem")));
        let made = Command::new("openssl")
            .args(["req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256"])
            .args(["-nodes", "-days", "1", "-keyout", &key, "-out", &out])
            .args(more)
            .output()
            .expect("openssl runs");
        assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    }
}

impl Default for Authority {
    fn default() -> Self {
        Self::new()
    }
}

/// How TLS begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Begins {
    /// With the first byte.
    AtOnce,
    /// By STARTTLS (RFC 3207).
    Asked,
}

/// The front, as long as it is kept.
#[derive(Debug)]
pub struct Front {
    program: Child,
    port: u16,
}

impl Front {
    /// Puts TLS for `localhost` before a port of loopback.
    pub fn before(port: u16, begins: Begins, by: &Authority) -> Self {
        let how = match begins {
            Begins::AtOnce => "tls",
            Begins::Asked => "starttls",
        };
        let mut program = Command::new("python3")
            .arg(Path::new(env!("CARGO_MANIFEST_DIR")).join("tls_front.py"))
            .args([how, &by.text("localhost.pem"), &by.text("localhost.key"), &port.to_string()])
            .stdout(Stdio::piped())
            .spawn()
            .expect("python3 runs");
        let mut line = String::new();
        let out = program.stdout.take().expect("it is piped");
        BufReader::new(out).read_line(&mut line).expect("its port");
        let port = line.trim().parse().expect("a port");
        Self { program, port }
    }

    /// Its port of loopback.
    pub const fn port(&self) -> u16 {
        self.port
    }
}

impl Drop for Front {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.program.kill();
        let _ = self.program.wait();
    }
}
