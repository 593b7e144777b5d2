//! `question`: after a loss, own need or a provisional promise; and by which rule holds are cut.

use clap::{Args, Subcommand, ValueEnum};
use serde_json::json;
use spareloop_api::client::{ActKey, Client};
use spareloop_api::questions::{AnswerQuestion, CutRuleView, QuestionView};
use spareloop_domain::exchange::cut::CutRule;
use spareloop_domain::exchange::{QuestionAct, QuestionState};
use spareloop_domain::words::QuestionId;

use super::coordinator::{As, Caller, coordinator};
use crate::book::Keep;
use crate::desk::Desk;
use crate::fault::Fault;
use crate::fresh;
use crate::printer::{Answer, table};
use crate::remote::{NewAct, Session, call_fault};

/// What can be done about questions.
#[derive(Debug, Subcommand)]
pub enum Question {
    /// What the farm was asked: after a loss in a lot that had not been looked over lately, whether its
    /// own need or the promise yields.
    #[command(after_help = "Example: spareloop question list")]
    List,
    /// Say which yields. Without an answer in three days the promise stands.
    #[command(after_help = "\
Example: spareloop question answer QUESTION keep-promise
         spareloop question answer QUESTION keep-need --yes")]
    Answer(Reply),
    /// By which rule holds are cut when a loss leaves too few in store; the coordinator may set it.
    #[command(after_help = "\
Example: spareloop question cut-rule
         spareloop question cut-rule by-shares --server https://loop.example --login clara")]
    CutRule(Rule),
}

/// Answers one.
#[derive(Debug, Args)]
pub struct Reply {
    /// The question's id.
    question: QuestionId,
    /// Which stands.
    answer: Keeps,
}

/// What is kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Keeps {
    /// The holds stand, and the farm's own need yields.
    KeepPromise,
    /// The farm's own need comes first, and the holds yield.
    KeepNeed,
}

/// Shows or sets the rule.
#[derive(Debug, Args)]
pub struct Rule {
    /// newest-first or by-shares; without it, the rule is shown.
    rule: Option<CutRule>,
    #[command(flatten)]
    who: As,
}

/// Runs it.
pub fn run(command: Question, desk: &Desk) -> Result<Answer, Fault> {
    match command {
        Question::List => list(desk),
        Question::Answer(it) => answer(&it, desk),
        Question::CutRule(it) => cut_rule(&it, desk),
    }
}

fn state(view: &QuestionView) -> String {
    let state = view.state.parse::<QuestionState>();
    state.map_or_else(|_| view.state.clone(), |state| state.to_string())
}

fn shown(view: &QuestionView) -> Answer {
    let mut lines = vec![format!(
        "'{}', about {}: {}",
        view.variety.trim_matches('\''),
        view.about,
        state(view)
    )];
    lines.push(format!(
        "When it was asked, {} were in store, {} planned and {} held by others.",
        view.in_store, view.planned, view.held
    ));
    lines.push(format!("question {}", view.question));
    Answer::new("question", lines.join("\n"), json!({ "question": view }))
}

fn list(desk: &Desk) -> Result<Answer, Fault> {
    let found = Session::open(desk)?.call(Client::questions).map_err(call_fault)?;
    let rows: Vec<Vec<String>> = found
        .iter()
        .map(|view| {
            vec![
                state(view),
                view.about.to_string(),
                format!("'{}'", view.variety.trim_matches('\'')),
                view.lot.code(),
                view.answer_by.format("%Y-%m-%d %H:%M").to_string(),
                view.question.to_string(),
            ]
        })
        .collect();
    let text = if rows.is_empty() {
        "Nothing was asked.".to_owned()
    } else {
        table(&["how it stands", "about", "variety", "lot", "answer by", "question"], &rows)
    };
    Ok(Answer::new("questions", text, json!({ "questions": found })))
}

/// Kept here and sent later while the server is away.
fn answer(it: &Reply, desk: &Desk) -> Result<Answer, Fault> {
    let (answer, words) = match it.answer {
        Keeps::KeepPromise => (QuestionAct::KeepPromiseByGiver, "keep the promise"),
        Keeps::KeepNeed => (QuestionAct::KeepNeedByGiver, "keep what the farm needs itself"),
    };
    let said = format!("{words}, question {}", it.question);
    if desk.keep == Keep::Rehearsed {
        let text = format!("Would {said} (--dry-run).");
        return Ok(Answer::new("question", text, json!({ "kept": false })));
    }
    if it.answer == Keeps::KeepNeed {
        desk.ask.consent("Put your own need first? The holds on that lot are cut.")?;
    }
    let mut file = desk.file()?;
    let path = format!("/questions/{}/answer", it.question);
    let body = AnswerQuestion { answer };
    let act = NewAct { operation: "answer-question", path, body, said };
    let view: QuestionView = Session::of(desk, &mut file)?.act(&mut file, act)?;
    Ok(shown(&view))
}

fn cut_rule(it: &Rule, desk: &Desk) -> Result<Answer, Fault> {
    let view = match it.rule {
        None => Caller::open(&it.who, desk)?.call(Client::cut_rule).map_err(call_fault)?,
        Some(rule) if desk.keep == Keep::Rehearsed => {
            let text = format!("Would set the rule: {rule} (--dry-run).");
            return Ok(Answer::new("cut-rule", text, json!({ "kept": false })));
        }
        Some(rule) => {
            let client = coordinator(&it.who, desk)?;
            let key = ActKey(fresh::uuid()?.to_string());
            client.set_cut_rule(&key, CutRuleView { rule }).map_err(call_fault)?
        }
    };
    let text = format!("When a loss leaves too few in store, this is cut: {}.", view.rule);
    Ok(Answer::new("cut-rule", text, json!({ "rule": view.rule })))
}
