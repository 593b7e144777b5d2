//! The commands, one module a noun. Each reads its arguments, works at the [`Desk`] and answers.

pub mod attest;
pub mod backup;
pub mod bench;
pub mod check;
pub mod claim;
pub mod climate;
pub mod compute;
pub mod config;
mod coordinator;
pub mod demo;
pub mod distance;
pub mod doctor;
pub mod export;
pub mod farm;
pub mod forecast;
pub mod handover;
pub mod hold;
pub mod import;
pub mod later;
pub mod log;
pub mod lot;
pub mod manual;
pub mod matches;
pub mod movement;
pub mod network;
pub mod offer;
pub mod parcel;
pub mod payment;
pub mod photo;
pub mod plan;
pub mod question;
pub mod round;
pub mod sample;
pub mod season;
pub mod status;
pub mod stock;
pub mod sync;
pub mod tell;
pub mod undo;
pub mod value;
pub mod variety;
pub mod want;

use clap::Subcommand;
use serde_json::json;
use spareloop_domain::ledger::describe::describe;

use crate::book::Keep;
use crate::desk::{Desk, Noted};
use crate::fault::Fault;
use crate::printer::Answer;

/// What to do.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// The farm: begin its book, connect it to a network, its devices.
    #[command(subcommand)]
    Farm(farm::Farm),
    /// Varieties: name them, note what is known, list them.
    #[command(subcommand)]
    Variety(variety::Variety),
    /// Lots: lift, divide, store, move, lose, receive, send.
    #[command(subcommand)]
    Lot(Box<lot::Lot>),
    /// The dividing bench.
    #[command(subcommand)]
    Bench(bench::Bench),
    /// Storage checks.
    #[command(subcommand)]
    Check(check::Check),
    /// Seasons: close one with a preview, reopen it, its account.
    #[command(subcommand)]
    Season(season::Season),
    /// How many plants are wanted.
    #[command(subcommand)]
    Plan(plan::Plan),
    /// What will survive, what is spare, what is short.
    Forecast(forecast::Forecast),
    /// How many to look at, and what a look proves.
    #[command(subcommand)]
    Sample(sample::Sample),
    /// The air in store.
    #[command(subcommand)]
    Climate(climate::Climate),
    /// JSON in, JSON out: the computations by name.
    Compute(compute::Compute),
    /// Spreadsheets in, previewed first; or a whole stock book.
    #[command(subcommand)]
    Import(import::Import),
    /// Everything out: the whole stock book, or a table for a spreadsheet.
    Export(export::Export),
    /// What was noted, newest last.
    Log(log::Log),
    /// Take back the last thing noted here, or strike out an earlier one.
    Undo(undo::Undo),
    /// Bring back what was undone last on this device.
    Redo(undo::Redo),
    /// Where things stand, and the next thing to do.
    Status(status::Status),
    /// Send and fetch entries; works again whenever the network does.
    Sync(sync::Sync),
    /// Signed statements about lots, and the keys that sign them.
    #[command(subcommand)]
    Attest(Box<attest::Attest>),
    /// Spare stock on the network's sheet.
    #[command(subcommand)]
    Offer(offer::Offer),
    /// What is short, on the network's sheet.
    #[command(subcommand)]
    Want(want::Want),
    /// Who has what I lack and lacks what I have.
    Match(matches::Match),
    /// Promises of a count until a time.
    #[command(subcommand)]
    Hold(hold::Hold),
    /// The passing of stock, with both confirmations.
    #[command(subcommand)]
    Handover(handover::Handover),
    /// How what was agreed travels: who pays the post, frost dates, pauses.
    #[command(subcommand)]
    Parcel(parcel::Parcel),
    /// What is wrong with what arrived, and what becomes of it.
    #[command(subcommand)]
    Claim(claim::Claim),
    /// Money that passed between two farms, on record once both say so.
    #[command(subcommand)]
    Payment(payment::Payment),
    /// After a loss: own need or a provisional promise; by which rule holds are cut.
    #[command(subcommand)]
    Question(question::Question),
    /// Rounds: loops of farms and swap days, proposed to those who have a part in them.
    #[command(subcommand)]
    Round(Box<round::Round>),
    /// Between regions: where farms are, and what the coordinator asks for.
    #[command(subcommand)]
    Movement(movement::Movement),
    /// Pictures beside offers, holds and claims.
    #[command(subcommand)]
    Photo(photo::Photo),
    /// Where the farm roughly is, and how far the others are.
    #[command(subcommand)]
    Distance(distance::Distance),
    /// What a unit is fairly worth against others, why, and how it moved.
    #[command(subcommand)]
    Value(value::Value),
    /// Who is owed how much swap value.
    Owed(network::Owed),
    /// What the farm was told.
    Messages(network::Messages),
    /// A verified copy of the book, and back.
    #[command(subcommand)]
    Backup(backup::Backup),
    /// A report to paste when something is wrong; it holds no secrets.
    Doctor(doctor::Doctor),
    /// Settings, and which one won.
    #[command(subcommand)]
    Config(config::Config),
    /// The whole job with an invented winter: a server on loopback, twelve farms.
    Demo(demo::Demo),
    /// A completion script for a shell.
    Completions(manual::Completions),
    /// The manual page.
    Man(manual::Man),
}

/// Runs a command.
pub fn run(command: Command, desk: &Desk) -> Result<Answer, Fault> {
    match command {
        Command::Farm(it) => farm::run(it, desk),
        Command::Variety(it) => variety::run(it, desk),
        Command::Lot(it) => lot::run(*it, desk),
        Command::Bench(it) => bench::run(it, desk),
        Command::Check(it) => check::run(it, desk),
        Command::Season(it) => season::run(it, desk),
        Command::Plan(it) => plan::run(it, desk),
        Command::Forecast(it) => forecast::run(it, desk),
        Command::Sample(it) => sample::run(it),
        Command::Climate(it) => climate::run(it, desk),
        Command::Compute(it) => compute::run(it),
        Command::Import(it) => import::run(it, desk),
        Command::Export(it) => export::run(it, desk),
        Command::Log(it) => log::run(it, desk),
        Command::Undo(it) => undo::run(it, desk),
        Command::Redo(it) => undo::run_redo(it, desk),
        Command::Status(it) => status::run(it, desk),
        Command::Sync(it) => sync::run(it, desk),
        Command::Attest(it) => attest::run(*it, desk),
        Command::Offer(it) => offer::run(it, desk),
        Command::Want(it) => want::run(it, desk),
        Command::Match(it) => matches::run(it, desk),
        Command::Hold(it) => hold::run(it, desk),
        Command::Handover(it) => handover::run(it, desk),
        Command::Parcel(it) => parcel::run(it, desk),
        Command::Claim(it) => claim::run(it, desk),
        Command::Payment(it) => payment::run(it, desk),
        Command::Question(it) => question::run(it, desk),
        Command::Round(it) => round::run(*it, desk),
        Command::Movement(it) => movement::run(it, desk),
        Command::Photo(it) => photo::run(it, desk),
        Command::Distance(it) => distance::run(it, desk),
        Command::Value(it) => value::run(it, desk),
        Command::Owed(it) => network::owed(it, desk),
        Command::Messages(it) => network::messages(it, desk),
        Command::Backup(it) => backup::run(it, desk),
        Command::Doctor(it) => doctor::run(it, desk),
        Command::Config(it) => config::run(it, desk),
        Command::Demo(it) => demo::run(&it),
        Command::Completions(it) => Ok(manual::completions(it)),
        Command::Man(it) => manual::man(it),
    }
}

/// What was noted, a line an entry, with more lines behind if a command has them.
fn noted(desk: &Desk, noted: &Noted, more: &[String]) -> Answer {
    let word = desk.noted_word();
    let mut lines: Vec<String> = noted
        .entries
        .iter()
        .map(|entry| format!("{word}: {}.", describe(&noted.book, entry)))
        .collect();
    lines.extend(more.iter().cloned());
    let entries: Vec<_> = noted
        .entries
        .iter()
        .map(|entry| {
            json!({
                "entry": entry.id,
                "kind": entry.kind,
                "on": entry.on,
                "says": describe(&noted.book, entry),
            })
        })
        .collect();
    Answer::new(
        "noted",
        lines.join("\n"),
        json!({ "kept": desk.keep == Keep::Kept, "noted": entries }),
    )
}
