//! What is new goes to the server and comes from it.
//!
//! Nothing here needs an act that was stored before: a key and a statement are known by what they
//! are, so sending them again does no harm, and what the server's feed doesn't have is what has to be
//! sent.

use spareloop_api::attest::{KeepStatement, MakeKeyKnown};
use spareloop_api::client::{ActKey, CallError};
use spareloop_domain::attest::{Kept, KeyRecord, Second};
use spareloop_domain::words::FarmId;

use super::own::{self, OwnKeys};
use super::shelf::{self, Shelf, ShelvedStatement};
use crate::book::{StockBook, farm, link};
use crate::fault::Fault;
use crate::remote::{Session, call_fault, key_of};
use crate::sync::Done;

/// Sends what the server lacks and fetches what is new. Where nothing is, nobody is asked.
pub fn exchange(session: &mut Session, file: &mut StockBook, done: &mut Done) -> Result<(), Fault> {
    let book = file.path().to_owned();
    let (own, mut shelf) = (own::read(&book)?, shelf::read(&book)?);
    let farm = file.read(farm::get)?.id;
    let link = file.read(link::find)?;
    let epoch = link.as_ref().and_then(|link| link.epoch.as_deref());
    let server = session.link.server.clone();
    if shelf.server.as_deref() != Some(&server) || shelf.epoch.as_deref() != epoch {
        if done.newest_statement == 0 && !has_own(&own, &shelf, farm) {
            return Ok(());
        }
        shelf.begin_again(farm, &server, epoch);
    }
    if done.newest_statement > shelf.position {
        match fetch(session, &mut shelf) {
            Ok(()) => shelf::write(&book, &shelf)?,
            // This is news, and nothing of this farm's waits for it.
            Err(_) if !has_own(&own, &shelf, farm) => return Ok(()),
            Err(fault) => return Err(fault),
        }
    }
    if send(session, &own, &mut shelf, farm, done)? {
        fetch(session, &mut shelf)?;
        shelf::write(&book, &shelf)?;
    }
    Ok(())
}

fn has_own(own: &OwnKeys, shelf: &Shelf, farm: FarmId) -> bool {
    !own.keys.is_empty() || shelf.statements.iter().any(|one| one.farm == farm)
}

fn fetch(session: &mut Session, shelf: &mut Shelf) -> Result<(), Fault> {
    loop {
        let after = shelf.position;
        let page = session.call(|client| client.statements(after)).map_err(call_fault)?;
        for key in page.keys {
            shelf.put_key(key);
        }
        for one in page.statements {
            shelf.put_statement(ShelvedStatement {
                farm: one.farm,
                statement: one.statement,
                lot: one.lot,
                kept: Kept { compact: one.compact, taken_at: Some(one.taken_at) },
                refused: None,
            });
        }
        shelf.farms.extend(page.farms.into_iter().map(|farm| (farm.id, farm.name)));
        shelf.position = page.position;
        // A page that moves nothing would be asked for without end.
        if !page.more || page.position <= after {
            return Ok(());
        }
    }
}

/// Sends keys, withdrawals and statements that the server's feed doesn't have; answers whether any.
fn send(
    session: &mut Session,
    own: &OwnKeys,
    shelf: &mut Shelf,
    farm: FarmId,
    done: &mut Done,
) -> Result<bool, Fault> {
    let mut sent = false;
    let known = |shelf: &Shelf, record: &KeyRecord| {
        shelf.keys.iter().find(|known| known.key == record.key).cloned()
    };
    // Withdrawals go last: the server takes neither keys nor statements that a withdrawn key signed.
    for record in own.keys.iter().map(|key| &key.record) {
        if known(shelf, record).is_none() {
            let request = MakeKeyKnown {
                key: record.key,
                made_at: record.made_at,
                introduction: record.introduction.clone(),
                vouched: record.vouched.clone(),
            };
            let id = key_for(&["key", record.id().as_str(), &epoch(shelf)]);
            session.call(|client| client.make_key_known(&id, &request)).map_err(call_fault)?;
            sent = true;
        }
    }
    sent |= send_statements(session, shelf, farm, done)?;
    for record in own.keys.iter().map(|key| &key.record) {
        let there = known(shelf, record).is_some_and(|known| known.withdrawn_at.is_some());
        if record.withdrawn_at.is_none() || there {
            continue;
        }
        let id = key_for(&["withdraw", record.id().as_str(), &epoch(shelf)]);
        session.call(|client| client.withdraw_key(&id, &record.id())).map_err(call_fault)?;
        sent = true;
    }
    Ok(sent)
}

fn send_statements(
    session: &mut Session,
    shelf: &mut Shelf,
    farm: FarmId,
    done: &mut Done,
) -> Result<bool, Fault> {
    let epoch = epoch(shelf);
    let mut sent = false;
    let waiting = shelf
        .statements
        .iter_mut()
        .filter(|one| one.farm == farm && one.kept.taken_at.is_none() && one.refused.is_none());
    for one in waiting {
        let request = KeepStatement { statement: one.kept.compact.clone() };
        let id = key_for(&["statement", &one.kept.compact, &epoch]);
        let lot = one.lot;
        match session.call(|client| client.keep_statement(&id, lot, &request)) {
            Ok(_) => {
                one.kept.taken_at = Some(Second::of_millis(crate::fresh::wall_millis()));
            }
            Err(CallError::Refused { problem, .. }) if matches!(problem.status, 404 | 422) => {
                one.refused = Some(problem.detail.clone());
                let code = one.lot.code();
                done.acts_refused.push(format!("statement about lot {code}: {}", problem.detail));
            }
            Err(other) => return Err(call_fault(other)),
        }
        sent = true;
    }
    Ok(sent)
}

fn epoch(shelf: &Shelf) -> String {
    shelf.epoch.clone().unwrap_or_default()
}

fn key_for(parts: &[&str]) -> ActKey {
    key_of(&parts.iter().map(|part| part.as_bytes()).collect::<Vec<_>>())
}
