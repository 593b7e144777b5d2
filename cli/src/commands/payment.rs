//! `payment`: money that passed between two farms, on record once both say so.

use clap::{Args, Subcommand};
use serde_json::json;
use spareloop_api::payments::NotePayment;
use spareloop_domain::exchange::Money;
use spareloop_domain::words::{Day, HoldId, PaymentId};

use super::hold::act;
use crate::desk::Desk;
use crate::fault::Fault;
use crate::fresh;
use crate::printer::Answer;

/// What can be done about payments.
#[derive(Debug, Subcommand)]
pub enum Payment {
    /// Note that money passed for an agreed hold. It goes from hand to hand, never through the network.
    #[command(
        after_help = "Example: spareloop payment note HOLD --amount '15.00 EUR' --on 2027-02-20"
    )]
    Note(Note),
    /// Confirm what the other farm noted: it is on record.
    #[command(after_help = "Example: spareloop payment confirm PAYMENT")]
    Confirm(One),
    /// Say that it did not take place like that.
    #[command(after_help = "Example: spareloop payment deny PAYMENT")]
    Deny(One),
    /// Take back what you noted, while the other farm has not answered.
    #[command(after_help = "Example: spareloop payment withdraw PAYMENT")]
    Withdraw(One),
}

/// Notes one.
#[derive(Debug, Args)]
pub struct Note {
    /// The hold's id.
    hold: HoldId,
    /// How much, with its currency.
    #[arg(long)]
    amount: Money,
    /// The day it was paid; today unless told.
    #[arg(long)]
    on: Option<Day>,
}

/// Which.
#[derive(Debug, Args)]
pub struct One {
    /// The payment's id, as the hold shows it.
    payment: PaymentId,
}

/// Runs it; kept here and sent later while the server is away.
pub fn run(command: Payment, desk: &Desk) -> Result<Answer, Fault> {
    match command {
        Payment::Note(it) => {
            let said = format!("note {} for hold {}", it.amount, it.hold);
            let path = format!("/holds/{}/payments", it.hold);
            let (payment, on) = (PaymentId::new(fresh::uuid()?), desk.day(it.on));
            let body = NotePayment { payment, amount: it.amount, on };
            act(desk, "note-payment", path, body, said)
        }
        Payment::Confirm(it) => answer(desk, "confirm", it.payment),
        Payment::Deny(it) => answer(desk, "deny", it.payment),
        Payment::Withdraw(it) => answer(desk, "withdraw", it.payment),
    }
}

fn answer(desk: &Desk, what: &str, payment: PaymentId) -> Result<Answer, Fault> {
    let (path, said) = (format!("/payments/{payment}/{what}"), format!("{what} payment {payment}"));
    act(desk, &format!("{what}-payment"), path, json!({}), said)
}
