//! The whole book as lines, streamed: no more than a batch of entries is in memory at once.
//!
//! All of it is read from one moment of the book. What may not enter: how a line is written
//! ([`super::lines`]), where the lines go ([`super::place`]).

use std::fmt::Write as _;
use std::io::Write;

use diesel::SqliteConnection;
use serde::Serialize;
use sha2::{Digest, Sha256};

use super::lines::{End, FORMAT, FarmLine, First, LinkLine, VERSION, canonical, entry_line};
use super::place::WriteError;
use crate::book::{StockBook, carry, entries, farm, link};
use crate::fault::Fault;

/// Entries read at once.
const BATCH: u64 = 500;

/// What was written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Written {
    /// Entries.
    pub entries: u64,
    /// Other rows: parked entries, acts, what imports remember.
    pub others: u64,
    /// Bytes.
    pub bytes: u64,
}

struct Lines<'a> {
    out: &'a mut dyn Write,
    seen: Sha256,
    written: Written,
}

impl Lines<'_> {
    fn write(&mut self, mut line: Vec<u8>) -> Result<(), WriteError> {
        line.push(b'\n');
        self.seen.update(&line);
        self.written.bytes += line.len() as u64;
        Ok(self.out.write_all(&line)?)
    }
}

fn odd(error: serde_json::Error) -> WriteError {
    WriteError::Fault(Fault::failed(
        format!("A row of the stock book can't be written as JSON: {error}."),
        "Run: spareloop doctor",
    ))
}

/// Writes every line of a book.
pub fn write(file: &mut StockBook, out: &mut dyn Write) -> Result<Written, WriteError> {
    let written = Written { entries: 0, others: 0, bytes: 0 };
    let mut lines = Lines { out, seen: Sha256::new(), written };
    file.read(|connection| {
        lines.write(canonical(&first(connection)?).map_err(odd)?)?;
        write_entries(connection, &mut lines)?;
        carry::each_beside(connection, &mut |row| {
            lines.written.others += 1;
            lines.write(canonical(&row).map_err(odd)?)
        })
    })?;
    let end = End { entries: lines.written.entries, sha256: hex(&lines.seen.clone().finalize()) };
    lines.write(end.to_line().map_err(odd)?)?;
    Ok(lines.written)
}

/// Bytes as hexadecimal digits.
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::with_capacity(bytes.len() * 2), |mut digits, byte| {
        // Writing to a String doesn't fail.
        let _ = write!(digits, "{byte:02x}");
        digits
    })
}

fn first(connection: &mut SqliteConnection) -> Result<First, WriteError> {
    let farm = farm::get(connection)?;
    let link = link::find(connection)?;
    Ok(First {
        format: FORMAT.to_owned(),
        version: VERSION,
        farm: FarmLine {
            id: farm.id,
            name: farm.name,
            service_level: farm.service_level,
            planting: farm.planting,
        },
        devices: carry::devices(connection)?,
        clock: carry::last_stamp(connection)?,
        link: link.map(|link| LinkLine {
            server: link.server,
            login: link.login,
            network: link.network,
        }),
    })
}

fn write_entries(
    connection: &mut SqliteConnection,
    lines: &mut Lines<'_>,
) -> Result<(), WriteError> {
    for (device, head) in entries::heads(connection)? {
        let mut first = 1;
        while first <= head.seq.get() {
            for entry in entries::of_device(connection, device, first, first + BATCH - 1)? {
                lines.written.entries += 1;
                lines.write(entry_line(&entry).map_err(odd)?)?;
            }
            first += BATCH;
        }
    }
    Ok(())
}
