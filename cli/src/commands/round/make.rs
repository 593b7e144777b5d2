//! What a coordinator does: make a round, settle a swap day, set the timetable and limits.

use clap::Args;
use serde_json::json;
use spareloop_api::client::{ActKey, Client};
use spareloop_api::rounds::{MakeRound, RoundRules, SetLimit, SetTimetable, SettleSwapDay};
use spareloop_domain::words::{Day, FarmId, ProposalId, RoundId};

use super::{say, shown};
use crate::book::Keep;
use crate::commands::coordinator::{As, Caller, coordinator};
use crate::commands::hold::tenths;
use crate::desk::Desk;
use crate::fault::Fault;
use crate::fresh;
use crate::printer::{Answer, table};
use crate::remote::call_fault;

/// Makes a round.
#[derive(Debug, Args)]
pub struct Make {
    /// The day of a swap day; without it, the round is of loops.
    #[arg(long, value_name = "DAY")]
    swap_day: Option<Day>,
    /// Where the swap day is.
    #[arg(long, requires = "swap_day")]
    place: Option<String>,
    #[command(flatten)]
    rules: Rules,
    #[command(flatten)]
    who: As,
}

/// How a round runs.
#[derive(Debug, Args)]
pub(super) struct Rules {
    /// Most farms a loop, 2 to 4 [3].
    #[arg(long)]
    most_farms: Option<u8>,
    /// How far apart a loop's parcels may be worth, in median divisions [1.5].
    #[arg(long, value_parser = tenths)]
    tolerance: Option<u32>,
    /// What a parcel costs, in median divisions [1.0; 0 on a swap day].
    #[arg(long, value_parser = tenths)]
    parcel_cost: Option<u32>,
    /// The limit of farms that have none of their own, in median divisions [20.0].
    #[arg(long, value_parser = tenths)]
    usual_limit: Option<u32>,
    /// Hours that farms have to answer, 1 to 720 [72].
    #[arg(long)]
    answer_hours: Option<u16>,
    /// Seconds that the search may take, 1 to 600 [20].
    #[arg(long)]
    seconds: Option<u16>,
}

impl Rules {
    fn rules(self, swap_day: Option<Day>, place: Option<String>) -> RoundRules {
        RoundRules {
            swap_day,
            place,
            most_farms: self.most_farms,
            tolerance_tenths: self.tolerance,
            parcel_cost_tenths: self.parcel_cost,
            usual_limit_tenths: self.usual_limit,
            answer_hours: self.answer_hours,
            seconds: self.seconds,
        }
    }
}

/// Settles a swap day.
#[derive(Debug, Args)]
pub struct Settle {
    /// The proposal's id.
    proposal: ProposalId,
    /// A farm that did not come, by its id; once each.
    #[arg(long, value_name = "FARM")]
    absent: Vec<FarmId>,
    #[command(flatten)]
    who: As,
}

/// Shows or sets the timetable.
#[derive(Debug, Args)]
pub struct Timetable {
    /// Days from one round to the next; the first begins at once.
    #[arg(long, value_name = "DAYS", conflicts_with = "never")]
    every: Option<u16>,
    /// End the timetable.
    #[arg(long)]
    never: bool,
    #[command(flatten)]
    rules: Rules,
    #[command(flatten)]
    who: As,
}

/// Sets a limit.
#[derive(Debug, Args)]
pub struct Limit {
    /// The farm's id.
    farm: FarmId,
    /// How much it may be owed, or owe, in median divisions; without it, its limit is taken away.
    #[arg(long, value_parser = tenths)]
    at_most: Option<u32>,
    #[command(flatten)]
    who: As,
}

fn rehearsed(what: &str) -> Answer {
    Answer::new("round", format!("Would {what} (--dry-run)."), json!({ "kept": false }))
}

fn key() -> Result<ActKey, Fault> {
    Ok(ActKey(fresh::uuid()?.to_string()))
}

/// Makes a round.
pub(super) fn make(it: Make, desk: &Desk) -> Result<Answer, Fault> {
    if desk.keep == Keep::Rehearsed {
        return Ok(rehearsed("make a round"));
    }
    let client = coordinator(&it.who, desk)?;
    let round = RoundId::new(fresh::uuid()?);
    let request = MakeRound { round, rules: it.rules.rules(it.swap_day, it.place) };
    let line = client.make_round(&key()?, &request).map_err(call_fault)?;
    let text = format!(
        "The round is made; the server works on it by itself.\nSee what it proposes: spareloop round \
         show {round} --server ... --login ..."
    );
    Ok(Answer::new("round", text, json!({ "round": line })))
}

/// Settles a swap day.
pub(super) fn settle(it: &Settle, desk: &Desk) -> Result<Answer, Fault> {
    if desk.keep == Keep::Rehearsed {
        return Ok(rehearsed("settle the swap day"));
    }
    desk.ask.consent("Settle the swap day for those who came? It can't be undone.")?;
    let client = coordinator(&it.who, desk)?;
    let request = SettleSwapDay { absent: it.absent.clone() };
    let view = client.settle_swap_day(&key()?, it.proposal, &request).map_err(call_fault)?;
    Ok(shown(&view))
}

/// Shows or sets the timetable.
pub(super) fn timetable(it: Timetable, desk: &Desk) -> Result<Answer, Fault> {
    if it.every.is_none() && !it.never {
        let view = Caller::open(&it.who, desk)?.call(Client::timetable).map_err(call_fault)?;
        return Ok(Answer::new("timetable", say::timetable(&view), json!({ "timetable": view })));
    }
    if desk.keep == Keep::Rehearsed {
        return Ok(rehearsed("set the timetable"));
    }
    let client = coordinator(&it.who, desk)?;
    let rules = it.rules.rules(None, None);
    let request = SetTimetable { every_days: it.every, next_at: None, rules };
    let view = client.set_timetable(&key()?, &request).map_err(call_fault)?;
    Ok(Answer::new("timetable", say::timetable(&view), json!({ "timetable": view })))
}

/// Sets a farm's limit.
pub(super) fn limit(it: &Limit, desk: &Desk) -> Result<Answer, Fault> {
    if desk.keep == Keep::Rehearsed {
        return Ok(rehearsed("set the limit"));
    }
    let client = coordinator(&it.who, desk)?;
    let request = SetLimit { limit_tenths: it.at_most };
    let book = client.set_limit(&key()?, it.farm, &request).map_err(call_fault)?;
    let rows: Vec<Vec<String>> = book
        .balances
        .iter()
        .map(|one| {
            let limit = one.limit_tenths.map_or_else(|| "none".to_owned(), say::tenths);
            vec![
                one.farm.name.clone(),
                say::tenths(one.owed_tenths),
                limit,
                one.farm.id.to_string(),
            ]
        })
        .collect();
    let text = table(&["farm", "owed", "limit", "id"], &rows);
    Ok(Answer::new("limit", text, json!(book)))
}
