//! `check book`: the whole stock book, every entry of it.

use clap::Args;
use serde_json::json;
use spareloop_domain::ledger::review::{
    FlowLine, ProblemInWords, Sums, chain_faults, due, problems_in_words, sums,
};
use spareloop_domain::ledger::{Book, fold};
use spareloop_domain::settings::Settings;

use super::due::overdue_sentence;
use crate::desk::Desk;
use crate::fault::{Exit, Fault};
use crate::find;
use crate::journal::entry_code;
use crate::printer::{self, Answer, table};

/// Checks the whole book.
#[derive(Debug, Args)]
pub struct WholeBook {}

/// Runs it.
pub(super) fn run(_: WholeBook, desk: &Desk) -> Result<Answer, Fault> {
    let opened = desk.open()?;
    let replayed = fold(&opened.entries);
    let mut damage: Vec<String> =
        chain_faults(&opened.entries).iter().map(ToString::to_string).collect();
    if replayed != opened.book {
        damage.push("the book as it is kept is not what its entries give".to_owned());
    }
    let lines = sums(&opened.book);
    for line in lines.iter().filter(|line| line.sums == Sums::Differ) {
        let name = find::variety_name(&opened.book, line.variety);
        damage.push(format!("the sums of {} of {name} don't agree", line.unit.plural()));
    }
    let problems = problems_in_words(&opened.book, &opened.entries);
    let settings = Settings::default();
    let overdue = due(&opened.book, desk.settings.today.value, &settings);
    let (sentence, exit) = verdict(&damage, &problems);
    let count = printer::entries(opened.entries.len() as u64);
    let mut parts = vec![format!("{sentence} {count} read, every hash and chain followed.")];
    parts.extend(damage.iter().map(|what| format!("DAMAGED: {what}.")));
    if !lines.is_empty() {
        let rows: Vec<Vec<String>> = lines.iter().map(|line| row(&opened.book, line)).collect();
        parts.push(format!("\n{}", table(&HEADERS, &rows)));
    }
    if !problems.is_empty() {
        parts.push(problems.iter().map(spoken).collect::<Vec<_>>().join("\n"));
    }
    parts.push(overdue_sentence(overdue.len()));
    parts.push(next(&damage, &problems).to_owned());
    let data = json!({
        "entries": opened.entries.len(),
        "damage": damage,
        "sums": lines,
        "problems": problems,
        "overdue": overdue.len(),
    });
    Ok(Answer::new("check-book", parts.join("\n"), data).exiting(exit))
}

fn verdict(damage: &[String], problems: &[ProblemInWords]) -> (String, Exit) {
    match (damage.len(), problems.len()) {
        (0, 0) => ("The book is whole and nothing in it disagrees.".to_owned(), Exit::Done),
        (0, 1) => ("The book is whole; one thing in it disagrees.".to_owned(), Exit::Decision),
        (0, many) => (format!("The book is whole; {many} things in it disagree."), Exit::Decision),
        _ => ("The book is damaged.".to_owned(), Exit::Failed),
    }
}

const fn next(damage: &[String], problems: &[ProblemInWords]) -> &'static str {
    match (damage.is_empty(), problems.is_empty()) {
        (false, _) => "Next: put a good copy back: spareloop backup restore FILE",
        (true, false) => {
            "Next: do what stands behind each; entries are struck out by: spareloop undo ENTRY"
        }
        (true, true) => "Next: spareloop check due",
    }
}

const HEADERS: [&str; 9] =
    ["variety", "unit", "in", "made", "found", "out", "lost", "in store", ""];

fn row(book: &Book, line: &FlowLine) -> Vec<String> {
    let flow = line.flow;
    let agrees = match line.sums {
        Sums::Agree => "",
        Sums::Differ => "DIFFERS",
    };
    let mut cells = vec![find::variety_name(book, line.variety), line.unit.to_string()];
    let numbers = [flow.came_in, flow.made, flow.found, flow.went_out, flow.lost, flow.in_store];
    cells.extend(numbers.map(|number| number.to_string()));
    cells.push(agrees.to_owned());
    cells
}

fn spoken(problem: &ProblemInWords) -> String {
    let mut lines = vec![format!("\nDisagrees: {}.", problem.what)];
    lines.extend(problem.entries.iter().map(|entry| {
        let on = entry.on.map_or_else(String::new, |on| on.to_string());
        format!("  {on}  {}  {}", entry_code(entry.entry), entry.says)
    }));
    lines.join("\n")
}
