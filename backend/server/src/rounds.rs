//! The door to the solver of rounds: a clock, a way to stop it, and somebody who listens.
//!
//! stdout carries the answer, stderr talks. What may not enter: how a round is solved or verified
//! (`spareloop_rounds`).

use std::io::{Read, Write};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use spareloop_domain::compute::fields::{Fields, Said, parse};
use spareloop_rounds::answer::from_thousandths;
use spareloop_rounds::error::RoundError;
use spareloop_rounds::solve::{Outside, solve};
use spareloop_rounds::watch::{Clock as _, Progress};
use spareloop_rounds::{compute, words};

use crate::solving::Since;

/// Most bytes of one document: a round of a thousand farms and its answer take about four million.
const MOST_BYTES: u64 = 64 * 1024 * 1024;

/// Why nothing was computed.
#[derive(Debug, thiserror::Error)]
pub enum ComputeFault {
    /// The input can't be read.
    #[error("{from} can't be read: {reason}; nothing was computed")]
    Unread {
        /// The file, or standard input.
        from: String,
        /// What the operating system says.
        reason: std::io::Error,
    },
    /// The document is too large.
    #[error("the document is larger than 64 MiB; nothing was computed")]
    TooLarge,
    /// The document is wrong.
    #[error(transparent)]
    Round(#[from] RoundError),
    /// The time to take isn't a time.
    #[error("--seconds must be 0 or more (got {0}); nothing was computed")]
    Seconds(f64),
    /// The answer can't be written.
    #[error("the answer was found, but {to} can't be written: {reason}")]
    Unwritten {
        /// The file, or standard output.
        to: String,
        /// What the operating system says.
        reason: std::io::Error,
    },
}

impl ComputeFault {
    /// What to do next.
    pub const fn hint(&self) -> &'static str {
        match self {
            Self::Round(RoundError::UnknownKind { .. }) => {
                "See: spareloop-server compute --help; other kinds: spareloop compute --help"
            }
            Self::Seconds(_) => "Give a number of seconds, as --seconds 30.",
            Self::Unwritten { .. } => "Give a place that can be written, and run it again.",
            Self::Unread { .. } | Self::TooLarge | Self::Round(_) => "Correct it and try again.",
        }
    }

    /// 1 failed, 2 usage, 3 refused.
    pub const fn exit_code(&self) -> u8 {
        match self {
            Self::Seconds(_) => 2,
            Self::Unwritten { .. } => 1,
            Self::Unread { .. } | Self::TooLarge | Self::Round(_) => 3,
        }
    }
}

/// `compute KIND`: standard input in, standard output out.
///
/// # Errors
/// What can't be read, is wrong, or can't be written.
pub fn compute(kind: &str) -> Result<(), ComputeFault> {
    let input = read("standard input", std::io::stdin().lock())?;
    let output = compute::run(kind, &input, &Since::now())?;
    print(&output)
}

/// `round run`: shows how far it is, stops when told, says every proposal in words.
///
/// # Errors
/// What can't be read, is wrong, or can't be written.
pub fn run(file: &Path, seconds: Option<f64>, answer: Option<&Path>) -> Result<(), ComputeFault> {
    let from = file.display().to_string();
    let opened = std::fs::File::open(file)
        .map_err(|reason| ComputeFault::Unread { from: from.clone(), reason })?;
    let text = read(&from, opened)?;
    let document = parse(&text).map_err(RoundError::from)?;
    let fields = Fields::top(&document).map_err(RoundError::from)?;
    let (mut round, standing) = compute::read(&fields)?;
    if let Some(seconds) = seconds {
        if seconds.is_nan() || seconds < 0.0 {
            return Err(ComputeFault::Seconds(seconds));
        }
        round.seconds = seconds;
    }
    round.certificate = Said::Something;
    let stop = Arc::new(AtomicBool::new(false));
    stop_on_signal(stop.clone());
    let clock = Since::now();
    let hears = |it: Progress| eprintln!("{:7.1} s  {}", clock.seconds(), words::progress(&it));
    let outside = Outside { clock: &clock, stop: &stop, hears: &hears };
    let standing = standing.as_ref().map(|it| (&it.swaps, &it.prices));
    let found = solve(&round, standing, &outside);
    if stop.load(Ordering::Relaxed) {
        eprintln!("Stopped; this is the best so far, and it keeps every rule.");
    }
    for line in words::proposals(&round, &found.swaps) {
        print(&line)?;
    }
    for line in words::open_wants(&round, &found.swaps) {
        print(&line)?;
    }
    let proved = found.certificate.as_ref().map(|it| from_thousandths(it.1));
    print(&words::value(found.objective, proved))?;
    match answer {
        None => Ok(()),
        Some(path) => std::fs::write(path, found.to_json(&round).to_string())
            .map_err(|reason| ComputeFault::Unwritten { to: path.display().to_string(), reason }),
    }
}

/// The first Control-C asks for the best so far.
fn stop_on_signal(stop: Arc<AtomicBool>) {
    std::thread::spawn(move || {
        actix_web::rt::System::new().block_on(async {
            if tokio::signal::ctrl_c().await.is_ok() {
                stop.store(true, Ordering::Relaxed);
            }
        });
    });
}

fn read(from: &str, source: impl Read) -> Result<String, ComputeFault> {
    let unread = |reason| ComputeFault::Unread { from: from.to_owned(), reason };
    let mut bytes = Vec::new();
    source.take(MOST_BYTES + 1).read_to_end(&mut bytes).map_err(unread)?;
    if bytes.len() as u64 > MOST_BYTES {
        return Err(ComputeFault::TooLarge);
    }
    String::from_utf8(bytes)
        .map_err(|error| unread(std::io::Error::new(std::io::ErrorKind::InvalidData, error)))
}

fn print(line: &str) -> Result<(), ComputeFault> {
    let mut out = std::io::stdout().lock();
    writeln!(out, "{line}")
        .and_then(|()| out.flush())
        .map_err(|reason| ComputeFault::Unwritten { to: "standard output".to_owned(), reason })
}
