//! `season`: close a season with a preview, reopen it, confirm it, look at its account.
//!
//! What may not enter: what closing does to the book (`domain::ledger::season`).

use clap::{Args, Subcommand};
use serde_json::json;
use spareloop_domain::ledger::Book;
use spareloop_domain::ledger::body::{ConfirmSeason, Void};
use spareloop_domain::ledger::book::Gone;
use spareloop_domain::ledger::draft::check_draft;
use spareloop_domain::ledger::season::{
    Account, ClosedSeason, Confirmation, LotAccount, SeasonFlow, account_of, closing, open_account,
    seen,
};
use spareloop_domain::words::{Count, Day, Season as Year};

use super::noted;
use crate::ask::{Asking, Consent};
use crate::book::Keep;
use crate::book::copies::Before;
use crate::book::error_sentence;
use crate::desk::{Desk, draft, standing};
use crate::fault::{Exit, Fault};
use crate::find;
use crate::printer::{Answer, table};

/// What can be done with seasons.
#[derive(Debug, Subcommand)]
pub enum Season {
    /// Close a season and carry what is in store into the next: first a preview, then --yes.
    #[command(after_help = "\
Examples:
  spareloop season close 2026            (shows what would be closed and carried forward)
  spareloop season close 2026 --yes
A season runs from lift to lift and is named by its summer: close it before you lift. Lots that go
on keep their codes. Days before the closing are read-only then; until it is confirmed, a closing
can be taken back: spareloop season reopen 2026")]
    Close(Close),
    /// Take the last closing back, while it isn't confirmed.
    #[command(after_help = "Example: spareloop season reopen 2026")]
    Reopen(Named),
    /// Confirm a closing: it stands from then, with whatever came late for it.
    #[command(after_help = "Example: spareloop season confirm 2026 --yes")]
    Confirm(Named),
    /// The account of a season; unless told, of the one that is open.
    #[command(after_help = "Examples:\n  spareloop season show\n  spareloop season show 2026")]
    Show(Show),
    /// The seasons that were closed.
    #[command(after_help = "Example: spareloop season list")]
    List,
}

/// Closes a season.
#[derive(Debug, Args)]
pub struct Close {
    /// The year of its summer.
    season: Year,
    /// The day that ends it.
    #[arg(long, value_name = "DAY")]
    on: Option<Day>,
}

/// A season.
#[derive(Debug, Args)]
pub struct Named {
    /// The year of its summer.
    season: Year,
}

/// Which season to show.
#[derive(Debug, Args)]
pub struct Show {
    /// The year of its summer.
    season: Option<Year>,
}

/// Runs it.
pub fn run(command: Season, desk: &Desk) -> Result<Answer, Fault> {
    match command {
        Season::Close(it) => close(&it, desk),
        Season::Reopen(it) => reopen(it.season, desk),
        Season::Confirm(it) => confirm(it.season, desk),
        Season::Show(it) => show(it.season, desk),
        Season::List => list(desk),
    }
}

fn close(it: &Close, desk: &Desk) -> Result<Answer, Fault> {
    let (season, on) = (it.season, desk.day(it.on));
    let opened = desk.open()?;
    let then = standing(&opened.book, &opened.entries, on);
    // What can't be closed is refused before it is shown and before a copy is made for it.
    refuse_if_closed(&opened.book, season)?;
    let close = draft(on, closing(&then, season, seen(&opened.entries)))?;
    check_draft(&then, &close, desk.settings.today.value)
        .map_err(|refusal| Fault::refused(error_sentence(&refusal.to_string()), refusal.hint()))?;
    let account = open_account(&opened.entries, &then);
    let preview =
        format!("{}\n\n{}", carried_sentence(season, &account), account_text(&then, &account));
    let problems = opened.book.problems.len();
    let preview = match problems {
        0 => preview,
        _ => format!(
            "{preview}\n\n{problems} of the book's entries disagree; settle them first: spareloop check book"
        ),
    };
    let data = json!({ "season": season, "on": on, "lots": account.lots, "written": false });
    let answer = |text: String, exit| Answer::new("season-close", text, data).exiting(exit);
    if desk.keep == Keep::Kept {
        match (desk.ask.consent, desk.ask.asking) {
            (Consent::Given, _) => {}
            (Consent::ToAsk, Asking::Allowed) => {
                desk.ask.consent(&format!("{preview}\n\nClose season {season}?"))?;
            }
            (Consent::ToAsk, Asking::Never) => {
                let last =
                    "Nothing was written yet. To close it, give the command again with --yes.";
                return Ok(answer(format!("{preview}\n\n{last}"), Exit::Decision));
            }
        }
    }
    desk.copy_before(&mut desk.file()?, Before::SeasonEnd)?;
    let done = desk.note(|book, before| {
        let then = before.standing(book, on)?;
        Ok(vec![draft(on, closing(&then, season, seen(&before.entries()?)))?])
    })?;
    let more = [
        format!(
            "Days before {on} are read-only. Until it is confirmed it can be taken back: spareloop season reopen {season}"
        ),
        format!("When it is right: spareloop season confirm {season}"),
    ];
    Ok(noted(desk, &done, &more))
}

fn refuse_if_closed(book: &Book, season: Year) -> Result<(), Fault> {
    match book.seasons.iter().find(|closed| closed.season == season) {
        None => Ok(()),
        Some(closed) => Err(Fault::refused(
            format!("Season {season} was closed on {} already.", closed.on),
            format!(
                "To see it: spareloop season show {season}   To close the one that is open: spareloop season close {}",
                season.next()
            ),
        )),
    }
}

fn carried_sentence(season: Year, account: &Account) -> String {
    let carried = account.lots.iter().filter(|lot| !lot.carried.is_zero()).count();
    let over = account.lots.len() - carried;
    format!(
        "Season {season}. Lots that end: {over}. Lots that go on into {}, under the same code: {carried}.",
        season.next()
    )
}

fn account_text(book: &Book, account: &Account) -> String {
    let mut lots: Vec<&LotAccount> = account.lots.iter().collect();
    lots.sort_by_cached_key(|lot| {
        (find::variety_name(book, lot.variety), lot.unit, lot.lot.code())
    });
    let sent = [Gone::Swapped, Gone::Given, Gone::Club, Gone::Returned];
    let used = [Gone::Divided, Gone::PottedUp];
    let rows: Vec<Vec<String>> = lots
        .iter()
        .map(|lot| {
            let mut cells =
                vec![lot.lot.code(), find::variety_name(book, lot.variety), lot.unit.to_string()];
            let numbers: [Count; 8] = [
                lot.began_with,
                lot.found,
                lot.gone_to(&used),
                lot.gone_to(&[Gone::Planted]),
                lot.gone_to(&[Gone::Sold]),
                lot.gone_to(&sent),
                lot.lost,
                lot.carried,
            ];
            cells.extend(numbers.map(|count| count.to_string()));
            cells
        })
        .collect();
    let headers = [
        "lot",
        "variety",
        "unit",
        "began with",
        "found",
        "divided",
        "planted",
        "sold",
        "passed on",
        "lost",
        "carried on",
    ];
    let flows: Vec<Vec<String>> = account
        .flows
        .iter()
        .map(|((variety, unit), flow)| {
            let mut cells = vec![find::variety_name(book, *variety), unit.to_string()];
            let SeasonFlow { began_with, came_in, made, found, went_out, lost, carried } = *flow;
            cells.extend(
                [began_with, came_in, made, found, went_out, lost, carried]
                    .map(|number| number.to_string()),
            );
            cells
        })
        .collect();
    let flow_headers =
        ["variety", "unit", "began with", "in", "made", "found", "out", "lost", "carried on"];
    if rows.is_empty() {
        return "Nothing was in store.".to_owned();
    }
    format!("{}\n\n{}", table(&headers, &rows), table(&flow_headers, &flows))
}

fn find_closed(book: &Book, season: Year) -> Result<&ClosedSeason, Fault> {
    book.seasons.iter().find(|closed| closed.season == season).ok_or_else(|| {
        Fault::refused(
            format!("Season {season} is not closed."),
            "See what is closed with: spareloop season list",
        )
    })
}

fn reopen(season: Year, desk: &Desk) -> Result<Answer, Fault> {
    let done = desk.note(|book, _| {
        let entry = find_closed(book, season)?.closing;
        let why = Some(format!("season {season} reopened"));
        Ok(vec![draft(desk.day(None), Void { entry, why })?])
    })?;
    let more = [format!(
        "Season {season} is open again. When it is right: spareloop season close {season}"
    )];
    Ok(noted(desk, &done, &more))
}

fn confirm(season: Year, desk: &Desk) -> Result<Answer, Fault> {
    let opened = desk.open()?;
    let late = find_closed(&opened.book, season)?.late.len();
    let late = match late {
        0 => String::new(),
        1 => " 1 entry came late for it and stands then.".to_owned(),
        many => format!(" {many} entries came late for it and stand then."),
    };
    if desk.keep == Keep::Kept {
        desk.ask.consent(&format!("Confirm season {season}? It can't be reopened.{late}"))?;
    }
    let done = desk.note(|book, before| {
        let closing = find_closed(book, season)?.closing;
        let body = ConfirmSeason { season, closing, seen: seen(&before.entries()?) };
        Ok(vec![draft(desk.day(None), body)?])
    })?;
    Ok(noted(desk, &done, &[]))
}

fn show(season: Option<Year>, desk: &Desk) -> Result<Answer, Fault> {
    let opened = desk.open()?;
    let book = &opened.book;
    let (sentence, account) = match season {
        None => {
            let since = book.last_closed().map_or_else(
                || "The first season of this book, still open.".to_owned(),
                |last| format!("Season {}, open since {}.", last.season.next(), last.on),
            );
            (since, open_account(&opened.entries, book))
        }
        Some(season) => {
            let closed = find_closed(book, season)?;
            let account = account_of(&opened.entries, book, season).ok_or_else(|| {
                Fault::failed("The closing can't be found.", "Run: spareloop check book")
            })?;
            (state(closed), account)
        }
    };
    let flows: Vec<_> = account
        .flows
        .iter()
        .map(|((variety, unit), flow)| {
            json!({ "variety": find::variety_name(book, *variety), "unit": unit, "sums": flow })
        })
        .collect();
    let data = json!({ "season": season, "lots": account.lots, "flows": flows });
    Ok(Answer::new("season", format!("{sentence}\n\n{}", account_text(book, &account)), data))
}

fn state(closed: &ClosedSeason) -> String {
    let how = match closed.confirmation {
        Confirmation::Open => "not confirmed yet".to_owned(),
        Confirmation::Confirmed(on) => format!("confirmed on {on}"),
    };
    format!("Season {}, closed on {}, {how}.", closed.season, closed.on)
}

fn list(desk: &Desk) -> Result<Answer, Fault> {
    let opened = desk.open()?;
    let closed = &opened.book.seasons;
    let text = if closed.is_empty() {
        "No season is closed yet. Before you lift: spareloop season close YEAR".to_owned()
    } else {
        closed.iter().map(state).collect::<Vec<_>>().join("\n")
    };
    let data: Vec<_> = closed
        .iter()
        .map(|closed| {
            let confirmed = match closed.confirmation {
                Confirmation::Open => None,
                Confirmation::Confirmed(on) => Some(on),
            };
            json!({
                "season": closed.season,
                "closed": closed.on,
                "confirmed": confirmed,
                "late": closed.late.len(),
            })
        })
        .collect();
    Ok(Answer::new("season-list", text, json!({ "seasons": data })))
}
