//! Storage checks: a look a row.

use spareloop_domain::ledger::body::{Check, LostUnits, Scope, Void};
use spareloop_domain::ledger::book::LookRecord;
use spareloop_domain::words::{Count, Day, Look, LossCause, LotId, fold_key};

use super::cells::Row;
use super::columns::{Field, needed, optional};
use super::preview::Fate;
use super::scratch::{Scratch, Stop};
use super::stock;

/// Headings that say how a lot was looked at.
pub(super) const LOOK_ALIASES: &[&str] = &["how", "kind of look"];

/// The fields of a sheet of checks.
pub(super) const FIELDS: &[Field] = &[
    needed("lot label", stock::LABEL_ALIASES),
    needed("date", &["day", "checked on", "looked on"]),
    needed("sound", &["good", "alive", "ok"]),
    optional("look", LOOK_ALIASES),
    optional("scope", &["whole or sample"]),
    optional("inspected", &["looked at", "checked"]),
    optional("doubtful", &["unsure"]),
    optional("rot", &["rotted", "rotten"]),
    optional("dried out", &["dried", "shrivelled", "dry"]),
    optional("frozen", &["frost"]),
    optional("gnawed", &["eaten", "mice"]),
    optional("broken", &["broken in handling"]),
    optional("culled", &["culled for disease"]),
    optional("mislaid", &["missing", "not found"]),
    optional("blind", &["given up on as blind"]),
    optional("other", &["other loss"]),
    optional("sprouted", &["sprouted early"]),
];

/// Plans a row.
pub(super) fn plan(row: &Row<'_>, scratch: &mut Scratch) -> Result<Fate, Stop> {
    let lot = scratch.named_lot(row.needed("lot label")?)?;
    let on = row.day("date")?.ok_or_else(|| "the date is missing".to_owned())?;
    let check = read(row, lot, on, scratch)?;
    let key = scratch.memory.numbered(&format!("{lot}|{on}|{}", check.look.code()));
    let text = text(&check);
    let nth = key.rsplit('#').next().and_then(|nth| nth.parse::<usize>().ok()).unwrap_or(1);
    let there = scratch
        .lot(lot)
        .and_then(|known| {
            let same = |look: &&LookRecord| (look.on, look.look) == (on, check.look);
            known.looks.iter().filter(same).nth(nth - 1)
        })
        .cloned();
    let Some(there) = there else {
        scratch.check(on, check)?;
        scratch.memory.remember(&key, text, lot);
        return Ok(Fate::New);
    };
    if is_same(&there, &check) {
        return Ok(Fate::Skipped);
    }
    match scratch.memory.before(&key) {
        Some(before) if before.text == text => Ok(Fate::Skipped),
        Some(_) => {
            let fate = correct(on, &there, check, scratch)?;
            scratch.memory.remember(&key, text, lot);
            Ok(fate)
        }
        None => Err(another_look(lot, on, &there)),
    }
}

/// Another look at the lot that day, by a person or by another sheet: which one is right?
pub(super) fn another_look(lot: LotId, on: Day, there: &LookRecord) -> Stop {
    Stop::Wrong(format!(
        "the book has another look at lot {} on {on}: {} inspected, {} sound. If this one is right, undo that one first",
        lot.code(),
        there.inspected,
        there.sound
    ))
}

fn read(row: &Row<'_>, lot: LotId, on: Day, scratch: &Scratch) -> Result<Check, Stop> {
    let causes = LossCause::ALL
        .iter()
        .map(|cause| Ok((*cause, row.count_or_none(&cause.code().replace('-', " "))?)))
        .collect::<Result<Vec<_>, String>>()?;
    let lost: Vec<LostUnits> = causes
        .into_iter()
        .filter(|(_, count)| !count.is_zero())
        .map(|(cause, count)| LostUnits { cause, count })
        .collect();
    let sound = row.count("sound")?.ok_or_else(|| "the sound ones are missing".to_owned())?;
    let doubtful = row.count_or_none("doubtful")?;
    let parts = sound.plus(doubtful).plus(lost.iter().map(|part| part.count).sum());
    let inspected = row.count("inspected")?.unwrap_or(parts);
    let scope = match row.text("scope").map(str::to_lowercase).as_deref() {
        Some("whole" | "all") => Scope::Whole,
        Some("sample" | "part") => Scope::Sample,
        Some(other) => {
            return Err(Stop::Wrong(format!("scope: {other:?} is neither whole nor sample")));
        }
        None if inspected == scratch.held_on(lot, on) => Scope::Whole,
        None => Scope::Sample,
    };
    let look = look(row)?;
    let sprouted = row.count("sprouted")?;
    Ok(Check { lot, look, scope, inspected, sound, doubtful, lost, sprouted })
}

/// How a row's lot was looked at.
pub(super) fn look(row: &Row<'_>) -> Result<Look, String> {
    match row.text("look").map(str::to_lowercase).as_deref() {
        None => Ok(Look::Unpacked),
        Some("through wrap" | "wrapped" | "through film") => Ok(Look::ThroughWrap),
        Some(text) => text.parse().map_err(|error| format!("look: {error}")),
    }
}

/// The cause of loss that a heading of a sheet of checks means.
pub(super) fn cause_of_alias(key: &str) -> Option<LossCause> {
    let means = |field: &&Field| field.aliases.iter().any(|alias| fold_key(alias) == key);
    let field = FIELDS.iter().find(means)?;
    LossCause::ALL.iter().find(|cause| cause.code().replace('-', " ") == field.name).copied()
}

fn text(check: &Check) -> String {
    let lost: Vec<String> =
        check.lost.iter().map(|part| format!("{}={}", part.cause.code(), part.count)).collect();
    format!("{}|{}|{}|{}", check.inspected, check.sound, check.doubtful, lost.join(","))
}

/// Whether a look in the book says what a check says.
pub(super) fn is_same(there: &LookRecord, check: &Check) -> bool {
    let of = |lost: &[LostUnits], cause: LossCause| -> Count {
        lost.iter().filter(|part| part.cause == cause).map(|part| part.count).sum()
    };
    (there.inspected, there.sound, there.doubtful) == (check.inspected, check.sound, check.doubtful)
        && LossCause::ALL.iter().all(|cause| of(&there.lost, *cause) == of(&check.lost, *cause))
}

/// The file says now what it didn't say when it was imported: strike out, and note again.
pub(super) fn correct(
    on: Day,
    there: &LookRecord,
    check: Check,
    scratch: &mut Scratch,
) -> Result<Fate, Stop> {
    let lot = check.lot;
    let void = Void { entry: there.entry, why: Some("corrected in the imported file".to_owned()) };
    scratch.note(on, void)?;
    scratch.forget_look(lot, there);
    scratch.check(on, check)?;
    Ok(Fate::Changed(format!("the look at lot {} on {on} is corrected", lot.code())))
}
