//! `parcel`: how what was agreed travels: terms, packing, pauses. Handing over sends it.

use clap::{Args, Subcommand};
use serde_json::json;
use spareloop_api::parcels::{PauseParcel, ProposeParcel};
use spareloop_domain::exchange::parcel::{FrostBorneBy, Post};
use spareloop_domain::words::{Day, HoldId};

use super::hold;
use crate::desk::Desk;
use crate::fault::Fault;
use crate::printer::Answer;

/// What can be done about parcels.
#[derive(Debug, Subcommand)]
pub enum Parcel {
    /// Propose how an agreed hold travels; the other farm agrees, or proposes otherwise.
    #[command(after_help = "\
Example: spareloop parcel terms HOLD --post taker --frost giver --not-before 2027-03-20")]
    Terms(Terms),
    /// Agree to what the other farm proposed.
    #[command(after_help = "Example: spareloop parcel agree HOLD")]
    Agree(One),
    /// Note that it is packed, as the giver; handing over sends it.
    #[command(after_help = "Example: spareloop parcel pack HOLD")]
    Pack(One),
    /// Pause it until a day, or lift your own pause.
    #[command(after_help = "\
Example: spareloop parcel pause HOLD --until 2027-03-10 --why 'hard frost here all week'
         spareloop parcel pause HOLD")]
    Pause(Pause),
}

/// Proposes terms.
#[derive(Debug, Args)]
pub struct Terms {
    /// The hold's id.
    hold: HoldId,
    /// Who pays the post: giver, taker or halves.
    #[arg(long)]
    post: Post,
    /// Who bears freezing: giver (what came frozen is not owed for) or taker (what was given is).
    #[arg(long)]
    frost: FrostBorneBy,
    /// The first day on which it may leave, for the frost where it goes.
    #[arg(long, value_name = "DAY")]
    not_before: Option<Day>,
}

/// One hold.
#[derive(Debug, Args)]
pub struct One {
    /// The hold's id.
    hold: HoldId,
}

/// Pauses, or goes on.
#[derive(Debug, Args)]
pub struct Pause {
    /// The hold's id.
    hold: HoldId,
    /// The last day of the pause; without it, your pause is lifted.
    #[arg(long, value_name = "DAY")]
    until: Option<Day>,
    /// Why; the other farm reads it.
    #[arg(long, default_value = "")]
    why: String,
}

/// Runs it.
pub fn run(command: Parcel, desk: &Desk) -> Result<Answer, Fault> {
    match command {
        Parcel::Terms(it) => {
            let body = ProposeParcel { post: it.post, frost: it.frost, not_before: it.not_before };
            let said = format!("propose how hold {} travels", it.hold);
            hold::act(desk, "propose-parcel", format!("/holds/{}/parcel", it.hold), body, said)
        }
        Parcel::Agree(it) => {
            let said = format!("agree to how hold {} travels", it.hold);
            let path = format!("/holds/{}/parcel/agree", it.hold);
            hold::act(desk, "agree-parcel", path, json!({}), said)
        }
        Parcel::Pack(it) => {
            let said = format!("note that hold {} is packed", it.hold);
            let path = format!("/holds/{}/parcel/pack", it.hold);
            hold::act(desk, "pack-parcel", path, json!({}), said)
        }
        Parcel::Pause(it) => {
            let said = match it.until {
                Some(until) => format!("pause the parcel of hold {} until {until}", it.hold),
                None => format!("lift the pause of the parcel of hold {}", it.hold),
            };
            let path = format!("/holds/{}/parcel/pause", it.hold);
            hold::act(
                desk,
                "pause-parcel",
                path,
                PauseParcel { until: it.until, why: it.why },
                said,
            )
        }
    }
}
