//! `bench session`, `bench list`, `bench show`: sittings at the dividing bench.

use clap::{Args, ValueEnum};
use serde_json::{Value, json};
use spareloop_domain::disinfection::{SessionWarning, SolutionUse, TURNS, session_warnings};
use spareloop_domain::ledger::body::{BenchSession, Solution, ToolsBetweenClumps};
use spareloop_domain::ledger::describe::spoken_tools;
use spareloop_domain::ledger::{Body, Book};
use spareloop_domain::words::{Day, SessionId};

use super::to_mind;
use crate::commands::noted;
use crate::desk::{Desk, draft};
use crate::fault::Fault;
use crate::find;
use crate::fresh;
use crate::printer::Answer;

/// What was done with the tools between clumps.
#[derive(Debug, Clone, Copy, ValueEnum)]
pub(crate) enum Tools {
    /// Disinfected between clumps.
    Disinfected,
    /// Not disinfected between clumps.
    NotDisinfected,
    /// Not noted.
    NotNoted,
}

impl From<Tools> for ToolsBetweenClumps {
    fn from(tools: Tools) -> Self {
        match tools {
            Tools::Disinfected => Self::Disinfected,
            Tools::NotDisinfected => Self::NotDisinfected,
            Tools::NotNoted => Self::NotNoted,
        }
    }
}

/// Notes a dividing session.
#[derive(Debug, Args)]
pub struct Session {
    /// The lots that were cut.
    #[arg(required = true)]
    lots: Vec<String>,
    /// What was done with the tools between clumps.
    #[arg(long, value_enum, default_value = "not-noted")]
    tools: Tools,
    /// Sets of tools used in turn, one in the dip while another cuts.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u8).range(1..=20))]
    tool_sets: Option<u8>,
    /// When the last cut was made, HH:MM.
    #[arg(long, value_name = "TIME")]
    until: Option<String>,
    /// What the tools were dipped in, as on the label.
    #[arg(long, value_name = "AGENT")]
    dip: Option<String>,
    /// Its active strength in percent.
    #[arg(long, requires = "dip")]
    dip_percent: Option<f64>,
    /// The most that its label allows for tools, in percent.
    #[arg(long, requires = "dip", value_name = "PERCENT")]
    dip_label_percent: Option<f64>,
    /// Minutes the tools stayed in it.
    #[arg(long, requires = "dip")]
    dip_minutes: Option<f64>,
    /// When the dip was made up, HH:MM.
    #[arg(long, requires = "dip", value_name = "TIME")]
    dip_made_up: Option<String>,
    /// What the tubers were soaked in, as on the label.
    #[arg(long, value_name = "AGENT")]
    soak: Option<String>,
    /// Its active strength in percent.
    #[arg(long, requires = "soak")]
    soak_percent: Option<f64>,
    /// The most that its label allows for tubers, in percent.
    #[arg(long, requires = "soak", value_name = "PERCENT")]
    soak_label_percent: Option<f64>,
    /// Minutes the tubers stayed in it.
    #[arg(long, requires = "soak")]
    soak_minutes: Option<f64>,
    /// When the soak was made up, HH:MM.
    #[arg(long, requires = "soak", value_name = "TIME")]
    soak_made_up: Option<String>,
    /// The day.
    #[arg(long, value_name = "DAY")]
    on: Option<Day>,
}

/// Names a session.
#[derive(Debug, Args)]
pub struct Show {
    /// The session's code or id, or last.
    session: String,
}

/// Notes one.
pub(super) fn note(it: Session, desk: &Desk) -> Result<Answer, Fault> {
    let id = SessionId::new(fresh::uuid()?);
    let tool_dip = it.dip.map(|agent| Solution {
        agent,
        strength_percent: it.dip_percent,
        minutes: it.dip_minutes,
        made_up: it.dip_made_up,
        label_percent: it.dip_label_percent,
    });
    let soak = it.soak.map(|agent| Solution {
        agent,
        strength_percent: it.soak_percent,
        minutes: it.soak_minutes,
        made_up: it.soak_made_up,
        label_percent: it.soak_label_percent,
    });
    let done = desk.note(|book, before| {
        let lots = it
            .lots
            .iter()
            .map(|text| find::lot(book, before.farm.id, text).map(|lot| lot.id))
            .collect::<Result<_, _>>()?;
        let body = BenchSession {
            session: id,
            lots,
            tools: it.tools.into(),
            tool_dip,
            soak,
            tool_sets: it.tool_sets,
            until: it.until,
        };
        Ok(vec![draft(desk.day(it.on), body)?])
    })?;
    let code = find::session_code(id);
    let mut lines = vec![format!("Name it when you divide: --session {code} (or --session last)")];
    let noted_one = done.book.sessions.get(&id);
    let warnings = noted_one.map(session_warnings).unwrap_or_default();
    lines.extend(noted_one.into_iter().flat_map(|session| told(session, &warnings)));
    let mut answer = noted(desk, &done, &lines);
    if let Some(fields) = answer.data.as_object_mut() {
        fields.insert("session".into(), id.to_string().into());
        fields.insert("warnings".into(), json!(sentences(&warnings)));
    }
    Ok(answer)
}

/// Warnings, the way to keep the time, and what to mind, line by line.
fn told(session: &BenchSession, warnings: &[SessionWarning]) -> Vec<String> {
    let mut lines: Vec<String> =
        warnings.iter().map(|warning| format!("Mind: {}", warning.sentence())).collect();
    let one_set = session.tool_sets.is_none_or(|sets| sets < 2);
    if session.tool_dip.is_some() && one_set {
        lines.push(TURNS.to_owned());
    }
    let solutions = uses(session).map(|(used_for, solution)| (used_for, solution.agent.as_str()));
    lines.extend(to_mind(solutions).into_iter().map(|caution| format!("- {caution}")));
    lines
}

fn uses(session: &BenchSession) -> impl Iterator<Item = (SolutionUse, &Solution)> {
    let dip = session.tool_dip.iter().map(|it| (SolutionUse::ToolDip, it));
    dip.chain(session.soak.iter().map(|it| (SolutionUse::TuberSoak, it)))
}

fn sentences(warnings: &[SessionWarning]) -> Vec<String> {
    warnings.iter().map(|warning| warning.sentence()).collect()
}

/// Sessions that stand, with their days, in order.
fn sessions(desk: &Desk) -> Result<(Book, Vec<(Day, BenchSession)>), Fault> {
    let opened = desk.open()?;
    let mut entries: Vec<_> = opened
        .entries
        .iter()
        .filter(|entry| {
            entry.kind == "bench-session" && !opened.book.struck_out.contains(&entry.id)
        })
        .collect();
    entries.sort_by_key(|entry| entry.order());
    let read = entries.into_iter().filter_map(|entry| match entry.read_body() {
        Ok(Body::BenchSession(session)) => Some((entry.on, session)),
        _ => None,
    });
    let sessions = read.collect();
    Ok((opened.book, sessions))
}

/// Every session.
pub(super) fn list(desk: &Desk) -> Result<Answer, Fault> {
    let (book, sessions) = sessions(desk)?;
    let lines: Vec<String> = sessions
        .iter()
        .map(|(on, session)| {
            let warnings = session_warnings(session);
            let mut line = line(*on, session);
            line.extend(warnings.iter().map(|warning| format!("  Mind: {}", warning.sentence())));
            line.join("\n")
        })
        .collect();
    let text = if lines.is_empty() {
        "No dividing session is noted. Note one with: spareloop bench session LOT ...".to_owned()
    } else {
        lines.join("\n")
    };
    let data: Vec<Value> = sessions.iter().map(|(on, it)| view(&book, *on, it)).collect();
    Ok(Answer::new("bench-list", text, json!({ "sessions": data })))
}

/// One session.
pub(super) fn show(it: &Show, desk: &Desk) -> Result<Answer, Fault> {
    let (book, sessions) = sessions(desk)?;
    let id = find::session(&book, &it.session)?;
    // The one noted last holds, as in the book.
    let Some((on, session)) = sessions.iter().rfind(|(_, session)| session.session == id) else {
        return Err(Fault::failed("The session's entry can't be read.", "Run: spareloop doctor"));
    };
    let warnings = session_warnings(session);
    let mut lines = line(*on, session);
    lines.extend(told(session, &warnings));
    Ok(Answer::new("bench-show", lines.join("\n"), view(&book, *on, session)))
}

fn line(on: Day, session: &BenchSession) -> Vec<String> {
    let lots: Vec<String> = session.lots.iter().map(|lot| lot.code()).collect();
    let sets = match session.tool_sets {
        Some(sets) if sets > 1 => format!(", {sets} sets in turn"),
        _ => String::new(),
    };
    let until =
        session.until.as_ref().map_or_else(String::new, |until| format!(", last cut at {until}"));
    let mut lines = vec![format!(
        "{on}  session {}  {}: {}{sets}{until}",
        find::session_code(session.session),
        lots.join(", "),
        spoken_tools(session.tools)
    )];
    lines.extend(uses(session).map(|(used_for, solution)| {
        let what = match used_for {
            SolutionUse::ToolDip => "tool dip",
            SolutionUse::TuberSoak => "tuber soak",
        };
        format!("  {what}: {}", spoken_solution(solution))
    }));
    lines
}

fn spoken_solution(solution: &Solution) -> String {
    let mut parts = vec![solution.agent.clone()];
    parts.extend(solution.strength_percent.map(|percent| format!("{percent} %")));
    parts.extend(solution.label_percent.map(|percent| format!("label {percent} %")));
    parts.extend(solution.minutes.map(|minutes| format!("{minutes} minutes")));
    parts.extend(solution.made_up.as_ref().map(|time| format!("made up at {time}")));
    parts.join(", ")
}

fn view(book: &Book, on: Day, session: &BenchSession) -> Value {
    let warnings = session_warnings(session);
    let lots: Vec<Value> = session
        .lots
        .iter()
        .map(|lot| {
            let variety = book.lots.get(lot).map(|lot| find::variety_name(book, lot.variety));
            json!({ "lot": lot, "code": lot.code(), "variety": variety })
        })
        .collect();
    json!({
        "session": session.session,
        "code": find::session_code(session.session),
        "on": on,
        "lots": lots,
        "tools": session.tools,
        "tool_sets": session.tool_sets,
        "until": session.until,
        "tool_dip": session.tool_dip,
        "soak": session.soak,
        "warnings": sentences(&warnings),
    })
}
