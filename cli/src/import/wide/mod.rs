//! The wide format that people really keep: a row a lot, a column a look.
//!
//! ```text
//! days     headings that are days
//! look     what a grower wrote down after a look
//! causes   what drops are lost to
//! lots     which lot a row is about
//! ```
//!
//! It becomes the same checks as the long format. What was alive before is what the book held on
//! that day; a drop is lost, to the cause that the cell, the row, a flag or an answer gives; a rise
//! is wrong, since a count is a statement.
//!
//! What may not enter: how files are read; rules of the door.

mod causes;
pub(super) mod days;
mod look;
mod lots;

use spareloop_domain::ledger::body::{Check, LostUnits, Scope};
use spareloop_domain::ledger::book::LookRecord;
use spareloop_domain::words::{Count, Day, Look, LossCause, LotId};

pub(super) use self::causes::Causes;
use self::days::Season;
use self::look::{Cell, Seen};
use super::cells::Row;
use super::columns::{Columns, Field, Guess, optional};
use super::dates::Habit;
use super::headings::Sheet;
use super::preview::Fate;
use super::scratch::{Scratch, Stop};
use super::{checks, stock};
use crate::fault::Fault;

/// The fields of a wide sheet beside its days.
pub(super) const FIELDS: &[Field] = &[
    stock::LABEL,
    optional("variety", stock::VARIETY_ALIASES),
    optional("count", stock::COUNT_ALIASES),
    stock::UNIT,
    stock::PLACE,
    stock::STORED_ON,
    stock::ORIGIN,
    optional("cause", &["lost to", "cause of loss", "why lost"]),
    optional("look", checks::LOOK_ALIASES),
];

/// Whether headings are those of a wide sheet: days, and what tells the lots apart.
pub(super) fn fits(guess: &Guess<'_>, headings: &[String], habit: Habit) -> bool {
    let names_lots = ["lot label", "variety"].iter().any(|field| guess.has(field, headings));
    names_lots && headings.iter().any(|heading| days::is_day(heading, habit))
}

/// The columns of looks, by day.
#[derive(Debug, Clone, Default)]
pub(super) struct Looks {
    columns: Vec<(usize, Day)>,
}

impl Looks {
    /// Reads the days of the columns that no field was found for.
    pub(super) fn of(
        sheet: &Sheet,
        columns: &Columns,
        habit: Habit,
        season: Option<Season>,
        today: Day,
    ) -> Result<Self, Fault> {
        let mut found: Vec<(usize, Day)> = Vec::new();
        for (index, heading) in sheet.headings.iter().enumerate() {
            if columns.is_taken(index) || columns.is_left_out(heading) {
                continue;
            }
            let Some(day) = days::day(heading, habit, season, today)? else { continue };
            if let Some((other, _)) = found.iter().find(|(_, known)| *known == day) {
                return Err(Fault::decision(
                    format!(
                        "Two columns hold looks of {day}: '{}' and '{heading}'.",
                        sheet.headings[*other]
                    ),
                    format!("Give one another day, or leave it out with --map '{heading}=-'."),
                ));
            }
            found.push((index, day));
        }
        found.sort_by_key(|(_, day)| *day);
        Ok(Self { columns: found })
    }

    /// The columns with their days, in the order of days.
    pub(super) fn columns(&self) -> &[(usize, Day)] {
        &self.columns
    }

    /// Whether a column holds looks.
    pub(super) fn has(&self, column: usize) -> bool {
        self.columns.iter().any(|(index, _)| *index == column)
    }

    /// The columns in words, for the preview.
    pub(super) fn spoken(&self) -> Option<String> {
        let (first, last) = (self.columns.first()?.1, self.columns.last()?.1);
        Some(match self.columns.len() {
            1 => format!("A row a lot, with 1 column of looks ({first}). Each look counts."),
            many => format!(
                "A row a lot, with {many} columns of looks ({first} to {last}). Each look counts."
            ),
        })
    }

    /// The first day on which a row's lot was looked at.
    pub(super) fn first_filled(&self, row: &Row<'_>) -> Option<Day> {
        let filled = |(index, _): &&(usize, Day)| {
            let cell = row.record.cells.get(*index).unwrap_or_default();
            !matches!(look::read(cell), Ok(Cell::NotLooked))
        };
        self.columns.iter().find(filled).map(|(_, day)| *day)
    }
}

/// A row of a wide sheet, while its looks are planned one after the other.
pub(super) struct Line {
    lot: LotId,
    cause: Option<LossCause>,
    look: Look,
    corrected: Corrected,
}

/// Whether an earlier look of the row is corrected, so that what later ones say is to be seen anew.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Corrected {
    Nothing,
    Earlier,
}

impl Line {
    /// Finds the row's lot.
    pub(super) fn of(row: &Row<'_>, scratch: &mut Scratch) -> Result<Self, Stop> {
        let lot = lots::of_row(row, scratch)?;
        scratch.memory.once(&format!("wide:{lot}"), &format!("lot {}", lot.code()))?;
        let cause = row
            .text("cause")
            .map(|text| {
                look::cause(text).ok_or_else(|| format!("cause: {text:?} is not a cause of loss"))
            })
            .transpose()?;
        Ok(Self { lot, cause, look: checks::look(row)?, corrected: Corrected::Nothing })
    }

    /// Plans the look of one column. None if nobody looked.
    pub(super) fn plan(
        &mut self,
        (cell, on): (&str, Day),
        causes: &Causes,
        scratch: &mut Scratch,
    ) -> Result<Option<Fate>, Stop> {
        let said = match look::read(cell)? {
            Cell::NotLooked => return Ok(None),
            Cell::AllThere => None,
            Cell::Seen(seen) => Some(seen),
        };
        let there = scratch.lot(self.lot).and_then(|lot| {
            lot.looks.iter().find(|look| (look.on, look.look) == (on, self.look)).cloned()
        });
        let key = self.key(on, self.look);
        let fate = match &there {
            None => return self.first(&key, (cell, on), said, causes, scratch).map(Some),
            Some(there) => self.again(&key, cell, there, said.as_ref(), scratch),
        };
        let Again::Correct = fate else { return Ok(Some(Fate::Skipped)) };
        let Some(there) = there else { return Ok(Some(Fate::Skipped)) };
        if !scratch.memory.knows(&key) {
            return Err(checks::another_look(self.lot, on, &there));
        }
        self.correct(&key, (cell, on), (&there, said), causes, scratch).map(Some)
    }

    fn key(&self, on: Day, look: Look) -> String {
        format!("wide:{}|{on}|{}", self.lot, look.code())
    }

    /// A look that the book doesn't have.
    fn first(
        &mut self,
        key: &str,
        (cell, on): (&str, Day),
        said: Option<Seen>,
        causes: &Causes,
        scratch: &mut Scratch,
    ) -> Result<Fate, Stop> {
        let held = scratch.held_on(self.lot, on);
        let Some(check) = self.check(said, (held, on), causes, scratch)? else {
            return Ok(Fate::Skipped);
        };
        if !check.lost.is_empty() {
            // What looks after this one say is to be seen anew.
            self.corrected = Corrected::Earlier;
        }
        scratch.check(on, check)?;
        scratch.memory.remember(key, cell.to_owned(), self.lot);
        Ok(Fate::New)
    }

    /// Whether a look that is in the book says what the cell says.
    fn again(
        &self,
        key: &str,
        cell: &str,
        there: &LookRecord,
        said: Option<&Seen>,
        scratch: &Scratch,
    ) -> Again {
        let before = scratch.memory.before(key).map(|row| row.text.as_str());
        match (before, self.corrected) {
            (Some(before), Corrected::Nothing) if before == cell => Again::Same,
            (_, Corrected::Nothing) | (None, Corrected::Earlier)
                if says_the_same(there, said, self.cause) =>
            {
                Again::Same
            }
            _ => Again::Correct,
        }
    }

    /// The file says now what it didn't say before, of this look or of an earlier one.
    fn correct(
        &mut self,
        key: &str,
        (cell, on): (&str, Day),
        (there, said): (&LookRecord, Option<Seen>),
        causes: &Causes,
        scratch: &mut Scratch,
    ) -> Result<Fate, Stop> {
        let held = scratch.held_without(self.lot, there);
        let Some(check) = self.check(said, (held, on), causes, scratch)? else {
            return Err(Stop::Wrong(format!(
                "nothing of lot {} was left by then",
                self.lot.code()
            )));
        };
        if checks::is_same(there, &check) {
            return Ok(Fate::Skipped);
        }
        let fate = checks::correct(on, there, check, scratch)?;
        scratch.memory.remember(key, cell.to_owned(), self.lot);
        self.corrected = Corrected::Earlier;
        Ok(fate)
    }

    /// The cell as a check of what was held. None if nothing was held and nothing is said.
    fn check(
        &self,
        said: Option<Seen>,
        (held, on): (Count, Day),
        causes: &Causes,
        scratch: &Scratch,
    ) -> Result<Option<Check>, Stop> {
        let seen = said.unwrap_or(Seen { sound: Some(held), ..Seen::default() });
        let stated: Count = seen.lost.iter().map(|(_, count)| *count).sum();
        let inspected = seen.of.unwrap_or(held);
        let alive = match seen.sound {
            Some(sound) => sound.plus(seen.doubtful),
            None => inspected.less(stated),
        };
        if alive > held || inspected > held || stated > held {
            return Err(self.rise(alive.max(inspected).max(stated), (held, on)));
        }
        if held.is_zero() {
            return Ok(None);
        }
        let gone = inspected.less(alive);
        if alive > inspected || (!stated.is_zero() && stated != gone) {
            let sum = alive.plus(stated);
            return Err(Stop::Wrong(format!(
                "{alive} alive and {stated} lost make {sum}, where {inspected} were there"
            )));
        }
        self.before_later_ones(alive.plus(held.less(inspected)), on, scratch)?;
        let default = || self.cause.map_or_else(|| causes.otherwise(), Ok);
        let lost = if stated.is_zero() { vec![(None, gone)] } else { seen.lost };
        let lost = lost
            .into_iter()
            .filter(|(_, count)| !count.is_zero())
            .map(|(cause, count)| Ok(LostUnits { cause: cause.map_or_else(default, Ok)?, count }))
            .collect::<Result<Vec<_>, Fault>>()?;
        Ok(Some(Check {
            lot: self.lot,
            look: self.look,
            scope: if inspected == held { Scope::Whole } else { Scope::Sample },
            inspected,
            sound: alive.less(seen.doubtful),
            doubtful: seen.doubtful,
            lost,
            sprouted: None,
        }))
    }

    fn rise(&self, counted: Count, (held, on): (Count, Day)) -> Stop {
        let code = self.lot.code();
        Stop::Wrong(format!(
            "{counted} in lot {code} on {on}, where the book had {held}. If they were counted right, note it first: spareloop lot recount {code} --counted {counted} --on {on}"
        ))
    }

    /// A look that comes to the book before others must leave what those found there.
    fn before_later_ones(&self, left: Count, on: Day, scratch: &Scratch) -> Result<(), Stop> {
        let later = scratch.lot(self.lot).and_then(|lot| {
            lot.looks.iter().find(|look| look.on > on && look.scope == Scope::Whole)
        });
        // Those that a wide sheet said are seen anew with their own cells.
        let ours = |later: &LookRecord| scratch.memory.knows(&self.key(later.on, later.look));
        match later {
            Some(later) if later.inspected > left && !ours(later) => Err(Stop::Wrong(format!(
                "{left} left in lot {} on {on}, but the look of {} found {} there. Count again, or undo that look first",
                self.lot.code(),
                later.on,
                later.inspected
            ))),
            _ => Ok(()),
        }
    }
}

/// What a cell says of a look that is in the book.
enum Again {
    Same,
    Correct,
}

/// Whether a look says what a cell says, as far as the cell says anything.
fn says_the_same(there: &LookRecord, said: Option<&Seen>, cause: Option<LossCause>) -> bool {
    let lost = |cause: LossCause| -> Count {
        there.lost.iter().filter(|part| part.cause == cause).map(|part| part.count).sum()
    };
    let all: Count = there.lost.iter().map(|part| part.count).sum();
    let Some(seen) = said else { return all.is_zero() };
    let alive = there.sound.plus(there.doubtful);
    seen.sound.is_none_or(|sound| alive == sound.plus(seen.doubtful))
        && (seen.doubtful.is_zero() || seen.doubtful == there.doubtful)
        && seen.of.is_none_or(|of| of == there.inspected)
        && (seen.sound.is_some() || all == seen.lost.iter().map(|(_, count)| *count).sum())
        && seen.lost.iter().all(|(named, count)| match named.or(cause) {
            Some(named) => lost(named) == *count,
            None => true,
        })
}
