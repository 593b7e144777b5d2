//! `handover`: the passing of stock, with both confirmations.

use clap::{Args, Subcommand};
use spareloop_api::exchange::{HandOver, PassOnTheSpot, Receipt};
use spareloop_domain::exchange::{Arrival, Money};
use spareloop_domain::words::{Count, Day, FarmId, HandOverId, HoldId, OfferId, Purpose};

use super::hold;
use crate::desk::Desk;
use crate::fault::Fault;
use crate::fresh;
use crate::printer::Answer;

/// What can be done about hand-overs.
#[derive(Debug, Subcommand)]
pub enum Handover {
    /// Hand over what was agreed, as the giver.
    #[command(
        after_help = "Example: spareloop handover give HOLD --given 5 --condition 'firm, eyed' --yes"
    )]
    Give(Give),
    /// Hand some of an own offer over on the spot, as at a swap day; the taker confirms what it got.
    #[command(after_help = "\
Example: spareloop handover pass OFFER --to FARM --count 3 --value 1.2 --yes
Nothing is owed before the taker confirms it.")]
    Pass(Pass),
    /// Confirm what arrived, as the taker.
    #[command(
        after_help = "Example: spareloop handover receive HAND-OVER --received 5 --condition 'as stated' --yes"
    )]
    Receive(Receive),
}

/// Hands over.
#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
pub struct Give {
    /// The hold's id.
    hold: HoldId,
    /// Units given.
    #[arg(long)]
    given: Count,
    /// Condition, in words.
    #[arg(long, default_value = "")]
    condition: String,
    /// The day.
    #[arg(long, value_name = "DAY")]
    on: Option<Day>,
}

/// Passes on the spot.
#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
pub struct Pass {
    /// The offer's id.
    offer: OfferId,
    /// The farm that takes it.
    #[arg(long, value_name = "FARM")]
    to: FarmId,
    /// How many.
    #[arg(long)]
    count: Count,
    /// swap, gift or sale.
    #[arg(long, default_value = "swap")]
    purpose: Purpose,
    /// What one unit is worth, in median divisions to a tenth; 0 for a gift.
    #[arg(long, value_parser = hold::tenths)]
    value: Option<u32>,
    /// What one unit is sold for, like '2.50 EUR'.
    #[arg(long)]
    price: Option<Money>,
    /// Condition, in words.
    #[arg(long, default_value = "")]
    condition: String,
    /// The day.
    #[arg(long, value_name = "DAY")]
    on: Option<Day>,
}

/// Receives.
#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
pub struct Receive {
    /// The hand-over's id.
    hand_over: HandOverId,
    /// Units received.
    #[arg(long)]
    received: Count,
    /// Condition, in words.
    #[arg(long, default_value = "")]
    condition: String,
    /// The day.
    #[arg(long, value_name = "DAY")]
    on: Option<Day>,
    /// How it came: arrived, or of a parcel lost or frozen.
    #[arg(long, default_value = "arrived")]
    arrival: Arrival,
}

/// Runs it.
pub fn run(command: Handover, desk: &Desk) -> Result<Answer, Fault> {
    match command {
        Handover::Give(it) => {
            desk.ask.consent(&format!("Hand over {}? It can't be undone.", it.given))?;
            let body = HandOver {
                hand_over: HandOverId::new(fresh::uuid()?),
                given: it.given,
                on: desk.day(it.on),
                condition: it.condition,
            };
            let said = format!("hand over {} of hold {}", it.given, it.hold);
            hold::act(desk, "hand-over", format!("/holds/{}/hand-over", it.hold), body, said)
        }
        Handover::Pass(it) => {
            let unit_value_tenths = hold::worth(it.purpose, it.value)?;
            desk.ask.consent(&format!("Hand over {}? It can't be undone.", it.count))?;
            let body = PassOnTheSpot {
                hold: HoldId::new(fresh::uuid()?),
                hand_over: HandOverId::new(fresh::uuid()?),
                to: it.to,
                count: it.count,
                purpose: it.purpose,
                unit_value_tenths,
                unit_price: it.price,
                on: desk.day(it.on),
                condition: it.condition,
            };
            let said = format!("hand over {} of offer {} on the spot", it.count, it.offer);
            hold::act(desk, "pass", format!("/offers/{}/pass", it.offer), body, said)
        }
        Handover::Receive(it) => {
            desk.ask.consent(&format!("Confirm {} received? It can't be undone.", it.received))?;
            let (received, on) = (it.received, desk.day(it.on));
            let body = Receipt { received, on, condition: it.condition, arrival: it.arrival };
            let said = format!("confirm {} received of hand-over {}", it.received, it.hand_over);
            hold::act(desk, "receive", format!("/hand-overs/{}/receipt", it.hand_over), body, said)
        }
    }
}
