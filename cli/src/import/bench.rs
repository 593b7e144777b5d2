//! Clumps divided at the bench: a lot of divisions a row.

use spareloop_domain::ledger::body::{
    BenchSession, Discard, Divide, Eyes, MadeLot, Move, Solution, Store, ToolsBetweenClumps,
};
use spareloop_domain::words::{Day, DiscardReason, LotId, Packing, Place, SessionId, UnitKind};

use super::again::known_again;
use super::cells::Row;
use super::columns::{Field, needed, optional};
use super::preview::Fate;
use super::scratch::{Scratch, Stop};

/// The fields of a bench sheet.
pub(super) const FIELDS: &[Field] = &[
    needed("from lot", &["clump lot", "divided", "mother lot"]),
    needed("clumps", &["clumps divided", "taken"]),
    needed("date", &["day", "divided on"]),
    needed("sound", &["divisions", "made", "count"]),
    optional("lot label", &["lot", "label", "new lot", "code"]),
    optional("session", &["dividing session", "sitting"]),
    optional("eyes", &["eye"]),
    optional("rot", &["rotten"]),
    optional("no eye", &["blind"]),
    optional("broken neck", &["broken"]),
    optional("dried out", &["dried"]),
    optional("too small", &["small"]),
    optional("suspicious", &["suspicious growth", "gall"]),
    optional("other", &["other discards"]),
    optional("tools between clumps", &["tools"]),
    optional("tool dip", &["dip"]),
    optional("tool dip percent", &["dip percent"]),
    optional("tool dip minutes", &["dip minutes"]),
    optional("soak", &["tuber soak"]),
    optional("soak percent", &[]),
    optional("soak minutes", &[]),
    optional("packing", &["packed in"]),
    optional("place", &["where", "shelf", "tote"]),
];

/// Plans a row.
pub(super) fn plan(row: &Row<'_>, scratch: &mut Scratch) -> Result<Fate, Stop> {
    let from = scratch.named_lot(row.needed("from lot")?)?;
    let on = row.day("date")?.ok_or_else(|| "the date is missing".to_owned())?;
    let taken = row.count("clumps")?.ok_or_else(|| "the clumps are missing".to_owned())?;
    let count = row.count("sound")?.ok_or_else(|| "the sound ones are missing".to_owned())?;
    let label = row.text("lot label");
    let key = if let Some(label) = label {
        scratch.memory.label(label)?
    } else {
        let session = row.text("session").unwrap_or_default();
        scratch.memory.numbered(&format!("bench:{from}|{on}|{session}"))
    };
    let lot = match scratch.lot_of_row(&key, row.text("lot label")) {
        Err(lot) => lot,
        Ok(lot) => {
            let is = (scratch.lot(from).map(|lot| lot.variety), UnitKind::Division);
            return known_again(scratch, &key, lot, is, count);
        }
    };
    let session = session(row, from, on, scratch)?;
    let discards = DiscardReason::ALL
        .iter()
        .map(|reason| {
            let count = row.count_or_none(&reason.code().replace('-', " "))?;
            Ok(Discard { reason: *reason, count })
        })
        .collect::<Result<Vec<_>, String>>()?
        .into_iter()
        .filter(|discard| !discard.count.is_zero())
        .collect();
    let label = label.map(ToOwned::to_owned);
    let made = vec![MadeLot { lot, unit: UnitKind::Division, count, eyes: eyes(row)?, label }];
    scratch.divide(on, Divide { from, taken, made, discards, pieces: None, session })?;
    put_away(row, lot, on, scratch)?;
    scratch.memory.remember(&key, count.to_string(), lot);
    Ok(Fate::New)
}

fn put_away(row: &Row<'_>, lot: LotId, on: Day, scratch: &mut Scratch) -> Result<(), Stop> {
    let place: Option<Place> = row.word("place")?;
    let packing: Option<Packing> = row.word("packing")?.or(row.options.packing);
    match (packing, place) {
        (Some(packing), Some(place)) => scratch.store(on, Store { lot, packing, place }),
        (None, Some(place)) => scratch.move_to(on, Move { lot, place }),
        (_, None) => Ok(()),
    }
}

fn eyes(row: &Row<'_>) -> Result<Eyes, String> {
    match row.text("eyes").map(str::to_lowercase).as_deref() {
        None | Some("not noted") => Ok(Eyes::NotNoted),
        Some("eyed" | "yes") => Ok(Eyes::Eyed),
        Some("not yet eyed" | "not yet" | "no") => Ok(Eyes::NotYetEyed),
        Some(other) => Err(format!("eyes: {other:?} is neither eyed nor not yet eyed")),
    }
}

/// The dividing session that a row names, noted with its first row.
fn session(
    row: &Row<'_>,
    from: LotId,
    on: Day,
    scratch: &mut Scratch,
) -> Result<Option<SessionId>, Stop> {
    let Some(name) = row.text("session") else { return Ok(None) };
    let session = scratch.session_of_key(&format!("{name}|{on}"));
    if scratch.book().sessions.contains_key(&session) {
        return Ok(Some(session));
    }
    let tools = match row.text("tools between clumps").map(str::to_lowercase).as_deref() {
        None | Some("not noted") => ToolsBetweenClumps::NotNoted,
        Some("disinfected" | "yes") => ToolsBetweenClumps::Disinfected,
        Some("not disinfected" | "no") => ToolsBetweenClumps::NotDisinfected,
        Some(other) => {
            return Err(Stop::Wrong(format!(
                "tools between clumps: {other:?} is neither disinfected nor not disinfected"
            )));
        }
    };
    let body = BenchSession {
        session,
        lots: vec![from],
        tools,
        tool_dip: solution(row, "tool dip")?,
        soak: solution(row, "soak")?,
        tool_sets: None,
        until: None,
    };
    scratch.note(on, body)?;
    Ok(Some(session))
}

fn solution(row: &Row<'_>, field: &str) -> Result<Option<Solution>, String> {
    let Some(agent) = row.text(field) else { return Ok(None) };
    Ok(Some(Solution {
        agent: agent.to_owned(),
        strength_percent: row.number(&format!("{field} percent"))?,
        minutes: row.number(&format!("{field} minutes"))?,
        made_up: None,
        label_percent: None,
    }))
}
