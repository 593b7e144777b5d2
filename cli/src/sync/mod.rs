//! A sync: what is said to the server and back, carried over HTTP. It can stop anywhere and go on
//! later; the cursor moves only together with what it covers.
//!
//! ```text
//! courier  what to ask next: a state machine over the book, without input or output of its own
//! inbox    pages that come in, and the cursor
//! chains   an entry that comes in, forks, new device ids
//! outbox   entries that go out, and what is refused
//! ```

mod chains;
pub mod courier;
mod inbox;
mod outbox;

pub(crate) use chains::as_written;

use spareloop_api::client::Client;
use spareloop_api::sync::Push;

use courier::{Ask, Courier, Heard, Next};

use crate::attest;
use crate::book::entries::{self, count};
use crate::book::{BookError, StockBook, acts, link, network, values};
use crate::desk::Desk;
use crate::fault::{Exit, Fault};
use crate::fresh::System;
use crate::remote::Session;

/// What a sync did.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Done {
    /// Entries that the server newly holds.
    pub sent: u64,
    /// Entries that this device newly holds.
    pub fetched: u64,
    /// What had to be said besides: a fork, a restored server.
    pub said: Vec<String>,
    /// Entries that the server refused, in words.
    pub refused: Vec<String>,
    /// Acts that were waiting and are done now.
    pub acts_done: Vec<String>,
    /// Acts that were waiting and are refused, in words.
    pub acts_refused: Vec<String>,
    /// The server's mark of what is promised, as its last summary had it.
    pub promised_mark: Option<String>,
    /// Its mark of the network's market.
    pub market_mark: Option<String>,
    /// Its mark of what the network's other farms saw.
    pub network_mark: Option<String>,
    /// The position of the network's newest key or statement, as the last summary had it.
    pub newest_statement: u64,
}

impl Done {
    const fn new() -> Self {
        Self {
            sent: 0,
            fetched: 0,
            said: Vec::new(),
            refused: Vec::new(),
            acts_done: Vec::new(),
            acts_refused: Vec::new(),
            promised_mark: None,
            market_mark: None,
            network_mark: None,
            newest_statement: 0,
        }
    }
}

/// Syncs an open book.
pub fn run(desk: &Desk, file: &mut StockBook) -> Result<Done, Fault> {
    let mut session = Session::of(desk, file)?;
    let mut courier = Courier::new();
    let mut heard = None;
    let mut done = loop {
        match courier.next(file, heard, &mut System)? {
            Next::Ask(ask) => heard = Some(ask_server(&mut session, file, ask)?),
            Next::Finished(done) => break done,
        }
    };
    send_acts(&mut session, file, &mut done)?;
    learn_promised(&mut session, file, &done)?;
    if done.market_mark.is_some() && file.read(values::mark)? != done.market_mark {
        session.learn_values(file)?;
    }
    if file.read(network::mark)? != done.network_mark {
        session.learn_network(file, done.network_mark.as_deref())?;
    }
    attest::exchange(&mut session, file, &mut done)?;
    Ok(done)
}

/// Asks what is promised where the summary says that it changed, or where this sync may have
/// changed it. A sync of nothing asks one question, whatever the farm holds.
fn learn_promised(session: &mut Session, file: &mut StockBook, done: &Done) -> Result<(), Fault> {
    let mark = file.read(link::find)?.and_then(|link| link.promised_mark);
    let moved = done.sent + done.fetched > 0 || !done.acts_done.is_empty();
    if moved || mark != done.promised_mark {
        session.learn_promised(file, done.promised_mark.as_deref())?;
    }
    Ok(())
}

fn ask_server(session: &mut Session, file: &mut StockBook, ask: Ask) -> Result<Heard, Fault> {
    match ask {
        Ask::Summary => session.as_device(file, Client::ledger_summary).map(Heard::Summary),
        Ask::Pull { after, limit } => {
            session.as_device(file, |client| client.pull_entries(after.0, limit)).map(Heard::Page)
        }
        Ask::Push(entries) => {
            let push = Push { entries };
            session.as_device(file, |client| client.push_entries(&push)).map(Heard::Pushed)
        }
    }
}

/// Acts that no answer came for are sent again, unchanged.
fn send_acts(session: &mut Session, file: &mut StockBook, done: &mut Done) -> Result<(), Fault> {
    for act in file.read(acts::waiting)? {
        match session.send(file, &act) {
            Ok(_) => done.acts_done.push(act.said.clone()),
            Err(fault) if fault.exit == Exit::Refused => {
                done.acts_refused.push(format!("{}: {}", act.said, fault.what));
            }
            // A server out of reach, or a book that can't note the answer: it stays waiting.
            Err(fault) => return Err(fault),
        }
    }
    Ok(())
}

/// How many entries the server hasn't shown yet, of all.
pub fn unsent(file: &mut StockBook) -> Result<(u64, u64), Fault> {
    Ok(file.read(|connection| {
        Ok::<_, BookError>((entries::count_unsent(connection)?, count(connection)?))
    })?)
}

#[cfg(test)]
mod tests;
