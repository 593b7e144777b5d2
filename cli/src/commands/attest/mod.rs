//! `attest`: signed statements about lots, and the keys that sign them.
//!
//! ```text
//! key     made, listed, rotated, withdrawn; the secret half stays on the device
//! make    what is stated, from the stock book where it has it, shown before it is signed
//! check   lists and verifies, without a network
//! out     exports and takes statements back
//! ```

mod check;
mod key;
mod make;
mod out;

use clap::Subcommand;
use serde_json::json;
use spareloop_domain::attest::{
    self, CAUTION, FactError, Kept, Says, Second, Statement, VERSION, stated,
};
use spareloop_domain::words::{FarmId, LotId, StatementId};

use crate::attest::own::{self, OwnKeys};
use crate::attest::shelf::{self, ShelvedStatement};
use crate::book::{Keep, StockBook, error_sentence, farm, link};
use crate::desk::Desk;
use crate::fault::{Exit, Fault};
use crate::fresh;
use crate::printer::Answer;

/// What can be done about signed statements.
#[derive(Debug, Subcommand)]
pub enum Attest {
    /// The farm's keys: made and kept on this device.
    #[command(subcommand)]
    Key(key::Key),
    /// State something about a lot and sign it.
    #[command(after_help = "\
Examples:
  spareloop attest make 7KQ4M --hygiene
  spareloop attest make 7KQ4M --looked --inspected 20 --of 40
  spareloop attest make 7KQ4M --laboratory --target 'dahlia mosaic virus' --method ELISA \\
    --tested 12 --positive 0 --at 'Invented Plant Laboratory' --reference 'IPL 27/114'
What the stock book has (dividing sessions, looks, where a lot comes from) is taken from it. You see
the statement before it is signed. It is your farm's word, not a certificate: state what was done
and found, never that stock is free of disease. Some diseases must be told to the plant health
authority first.")]
    Make(Box<make::Make>),
    /// Take a statement back, by another one that says why.
    #[command(after_help = "Example: spareloop attest revoke STATEMENT --why 'the wrong tote'")]
    Revoke(out::Revoke),
    /// What is stated, and whether it stands; of one lot or of all of the farm's.
    #[command(after_help = "Examples:\n  spareloop attest list\n  spareloop attest list 7KQ4M")]
    List(check::List),
    /// Hold signed texts against keys, without a network.
    #[command(after_help = "\
Examples:
  spareloop attest verify heron.txt
  spareloop attest verify - --keys heron-keys.json < heron.txt
One signed text a line. Without --keys, the keys that the last sync brought are used.
Exit 0 if all of them hold and stand, 3 if any doesn't.")]
    Verify(check::Verify),
    /// Write signed texts, and the keys that they are checked with, to files.
    #[command(
        after_help = "Example: spareloop attest export 7KQ4M --to heron.txt --keys-to heron-keys.json"
    )]
    Export(out::Export),
}

/// Runs it.
pub fn run(command: Attest, desk: &Desk) -> Result<Answer, Fault> {
    match command {
        Attest::Key(it) => key::run(it, desk),
        Attest::Make(it) => make::run(*it, desk),
        Attest::Revoke(it) => out::revoke(it, desk),
        Attest::List(it) => check::list(&it, desk),
        Attest::Verify(it) => check::verify(&it, desk),
        Attest::Export(it) => out::export(&it, desk),
    }
}

/// A fact that no statement may state.
fn unstatable(error: &FactError) -> Fault {
    Fault::refused(
        error_sentence(&error.to_string()),
        "Nothing was signed. Correct the flags; see: spareloop attest make --help",
    )
}

fn no_key() -> Fault {
    Fault::decision(
        "This device has no key to sign with.",
        "Make one, which stays on this device: spareloop attest key new",
    )
}

/// Shows a statement, asks, signs, keeps and sends it.
fn sign_and_keep(
    desk: &Desk,
    file: &mut StockBook,
    lot: LotId,
    supersedes: Option<StatementId>,
    says: Says,
) -> Result<Answer, Fault> {
    says.check().map_err(|error| unstatable(&error))?;
    let farm = file.read(farm::get)?;
    let own: OwnKeys = own::read(file.path())?;
    let (record, key) = own.current()?.ok_or_else(no_key)?;
    let statement = Statement {
        v: VERSION,
        statement: StatementId::new(fresh::uuid()?),
        farm: farm.id,
        lot,
        key: record.record.id(),
        issued_at: Second::of_millis(fresh::wall_millis()),
        supersedes,
        says,
    };
    let sentence = stated(&statement, &farm.name);
    let about = format!("About lot {}: {sentence}", lot.code());
    if desk.keep == Keep::Rehearsed {
        return Ok(Answer::new(
            "statement",
            format!("Would be signed (--dry-run):\n{about}"),
            json!({ "kept": false, "says": sentence }),
        ));
    }
    desk.ask.consent(&format!("{about}\nSign this as your farm's word?"))?;
    let id = statement.statement;
    let compact = attest::sign(statement, &key).map_err(|error| unstatable(&error))?;
    let mut shelf = shelf::read(file.path())?;
    shelf.farms.entry(farm.id).or_insert_with(|| farm.name.clone());
    shelf.put_statement(ShelvedStatement {
        farm: farm.id,
        statement: id,
        lot,
        kept: Kept { compact: compact.clone(), taken_at: None },
        refused: None,
    });
    shelf::write(file.path(), &shelf)?;
    let (where_to, exit) = send_now(desk, file, farm.id, id)?;
    Ok(Answer::new(
        "statement",
        format!("Signed. {about}\nStatement {id}. {where_to}\n{CAUTION}"),
        json!({ "kept": true, "statement": id, "lot": lot, "says": sentence, "compact": compact }),
    )
    .exiting(exit))
}

/// Sends what waits, if the farm is connected; a server that is away is no reason to fail.
fn send_now(
    desk: &Desk,
    file: &mut StockBook,
    farm: FarmId,
    id: StatementId,
) -> Result<(String, Exit), Fault> {
    if file.read(link::find)?.is_none() {
        return Ok(("Kept here: the farm is in no network yet.".to_owned(), Exit::Done));
    }
    match crate::sync::run(desk, file) {
        Ok(_) => {}
        Err(fault) if matches!(fault.exit, Exit::Away | Exit::SignIn) => {
            return Ok((format!("Kept here; the next sync sends it: {}", fault.what), fault.exit));
        }
        Err(fault) => return Err(fault),
    }
    let shelf = shelf::read(file.path())?;
    let there = shelf.statements.iter().find(|one| one.farm == farm && one.statement == id);
    match there.and_then(|one| one.refused.as_deref()) {
        Some(why) => Err(Fault::refused(
            format!("The server does not take it: {}", error_sentence(why)),
            "It stays on this device and counts for nobody. Correct what it says and sign anew.",
        )),
        None => Ok(("The network's farms can read it.".to_owned(), Exit::Done)),
    }
}
