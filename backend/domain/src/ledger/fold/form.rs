//! A paused fold as bytes, and back.
//!
//! The form is compact and knows nothing of older or newer forms: [`FORMAT`] goes up with every
//! change of what is written here **or of what the fold makes of entries**, and snapshots of another
//! number are thrown away. A test holds the bytes of an example and fails where that was forgotten.
//!
//! What may not enter: whether a snapshot fits its ledger.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::inforce::{Fact, Noted};
use super::keeper::Keeper;
use super::running::{Apart, Fold};
use super::standing::Standing;
use super::varieties::Named;
use crate::ledger::body::{BenchSession, Body, Coming, Plan, Solution, ToolsBetweenClumps};
use crate::ledger::book::{Book, Flow, Lot, Problem};
use crate::ledger::entry::Seq;
use crate::ledger::season::{ClosedSeason, Confirmation, LateEntry};
use crate::words::{Count, Day, DeviceId, EntryId, LotId, Season, SessionId, UnitKind, VarietyId};

/// The number of this form and of the fold's rules.
pub(super) const FORMAT: u32 = 4;

/// Pairs instead of maps: they are written in order, and read without searching.
type Pairs<K, V> = Vec<(K, V)>;

/// A solution: agent, strength, minutes, when it was made up, what its label allows.
type SolutionForm = (String, Option<f64>, Option<f64>, Option<String>, Option<f64>);
/// A dividing session: its lots, tools, dip and soak, how many sets of tools, until when.
type SessionForm = (
    Vec<LotId>,
    ToolsBetweenClumps,
    Option<SolutionForm>,
    Option<SolutionForm>,
    (Option<u8>, Option<String>),
);
/// A closed season: which, its closing, the sums at it, what came late.
type SeasonForm =
    (Season, (EntryId, Day, Confirmation), Pairs<(VarietyId, UnitKind), Flow>, Vec<LateEntry>);
/// A fact that waits: entry, device, place, day, turn, and its kind and body as JSON.
type WaitingForm = (EntryId, (DeviceId, Seq), Day, u64, (String, String));

#[derive(Serialize, Deserialize)]
pub(super) struct Form {
    lots: Vec<Lot>,
    made_by: Pairs<LotId, EntryId>,
    flows: Pairs<(VarietyId, UnitKind), Flow>,
    emergence: Pairs<VarietyId, (Count, Count)>,
    yields: Pairs<VarietyId, (Count, Count)>,
    sessions: Pairs<SessionId, SessionForm>,
    /// Few, and of shapes that leave fields out, which only JSON reads back.
    in_json: String,
    waiting: Pairs<LotId, Vec<WaitingForm>>,
    apart: Vec<Apart>,
    turn: u64,
    unreadable: Vec<Problem>,
    problems: Vec<Problem>,
    newer: Vec<EntryId>,
    seasons: Vec<SeasonForm>,
    this_season: Vec<LateEntry>,
    standing: Standing,
}

#[derive(Serialize, Deserialize)]
struct InJson {
    plans: Vec<Plan>,
    coming: Vec<Coming>,
    named: Pairs<VarietyId, Named>,
}

fn solution_form(solution: Solution) -> SolutionForm {
    let Solution { agent, strength_percent, minutes, made_up, label_percent } = solution;
    (agent, strength_percent, minutes, made_up, label_percent)
}

fn solution(form: SolutionForm) -> Solution {
    let (agent, strength_percent, minutes, made_up, label_percent) = form;
    Solution { agent, strength_percent, minutes, made_up, label_percent }
}

fn session_form(noted: BenchSession) -> (SessionId, SessionForm) {
    let BenchSession { session, lots, tools, tool_dip, soak, tool_sets, until } = noted;
    let (dip, soak) = (tool_dip.map(solution_form), soak.map(solution_form));
    (session, (lots, tools, dip, soak, (tool_sets, until)))
}

fn session((session, form): (SessionId, SessionForm)) -> (SessionId, BenchSession) {
    let (lots, tools, tool_dip, soak, (tool_sets, until)) = form;
    let (tool_dip, soak) = (tool_dip.map(solution), soak.map(solution));
    (session, BenchSession { session, lots, tools, tool_dip, soak, tool_sets, until })
}

fn season_form(closed: ClosedSeason) -> SeasonForm {
    let ClosedSeason { season, closing, on, confirmation, flows, late } = closed;
    (season, (closing, on, confirmation), flows.into_iter().collect(), late)
}

fn season((season, (closing, on, confirmation), flows, late): SeasonForm) -> ClosedSeason {
    let flows = flows.into_iter().collect();
    ClosedSeason { season, closing, on, confirmation, flows, late }
}

fn waiting_form(fact: Fact) -> WaitingForm {
    let Fact { noted: Noted { id, device, on, seq }, turn, body } = fact;
    (id, (device, seq), on, turn, (body.kind().to_owned(), body.to_json().to_string()))
}

fn waiting((id, (device, seq), on, turn, (kind, json)): WaitingForm) -> Result<Fact, String> {
    let value = serde_json::from_str(&json).map_err(|error| error.to_string())?;
    let body = Body::from_json(&kind, &value).map_err(|error| error.to_string())?;
    Ok(Fact { noted: Noted { id, device, on, seq }, turn, body })
}

impl Form {
    pub(super) fn of(fold: Fold) -> Result<Self, String> {
        let Fold { keeper, waiting, apart, turn, unreadable, standing } = fold;
        let Keeper { book, problems, made_by, named, looks: _, today: _, this_season } = keeper;
        // Varieties, struck-out entries and problems are told at the end, from the rest.
        let Book {
            varieties: _,
            lots,
            sessions,
            plans,
            coming,
            emergence,
            yields,
            flows,
            seasons,
            struck_out: _,
            problems: _,
            newer,
        } = book;
        let in_json = InJson {
            plans: plans.into_values().collect(),
            coming: coming.into_values().collect(),
            named: named.into_iter().collect(),
        };
        Ok(Self {
            lots: lots.into_values().collect(),
            made_by: made_by.into_iter().collect(),
            flows: flows.into_iter().collect(),
            emergence: emergence.into_iter().collect(),
            yields: yields.into_iter().collect(),
            sessions: sessions.into_values().map(session_form).collect(),
            in_json: serde_json::to_string(&in_json).map_err(|error| error.to_string())?,
            waiting: waiting
                .into_iter()
                .map(|(lot, facts)| (lot, facts.into_iter().map(waiting_form).collect()))
                .collect(),
            apart,
            turn,
            unreadable,
            problems,
            newer,
            seasons: seasons.into_iter().map(season_form).collect(),
            this_season,
            standing,
        })
    }

    pub(super) fn into_fold(self) -> Result<Fold, String> {
        let InJson { plans, coming, named } =
            serde_json::from_str(&self.in_json).map_err(|error| error.to_string())?;
        let book = Book {
            lots: self.lots.into_iter().map(|lot| (lot.id, lot)).collect(),
            sessions: self.sessions.into_iter().map(session).collect(),
            plans: plans.into_iter().map(|plan| ((plan.variety, plan.unit), plan)).collect(),
            coming: coming.into_iter().map(|coming| (coming.coming, coming)).collect(),
            emergence: self.emergence.into_iter().collect(),
            yields: self.yields.into_iter().collect(),
            flows: self.flows.into_iter().collect(),
            newer: self.newer,
            seasons: self.seasons.into_iter().map(season).collect(),
            ..Book::default()
        };
        let waits = |(lot, facts): (LotId, Vec<WaitingForm>)| {
            Ok((lot, facts.into_iter().map(waiting).collect::<Result<_, String>>()?))
        };
        Ok(Fold {
            keeper: Keeper {
                book,
                problems: self.problems,
                made_by: self.made_by.into_iter().collect(),
                named: named.into_iter().collect(),
                this_season: self.this_season,
                ..Keeper::default()
            },
            waiting: self
                .waiting
                .into_iter()
                .map(waits)
                .collect::<Result<BTreeMap<_, _>, String>>()?,
            apart: self.apart,
            turn: self.turn,
            unreadable: self.unreadable,
            standing: self.standing,
        })
    }
}
