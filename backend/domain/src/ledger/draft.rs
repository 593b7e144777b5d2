//! The rules at the door: what a person just typed is held against the book before it is written.
//!
//! The door is strict and the fold is tolerant: what is refused here was never noted, what is
//! written is a fact. The command line and the server both ask this door.
//!
//! What may not enter: parsing, prompts, stores.

use std::collections::BTreeSet;
use std::ops::{Bound, RangeBounds};

use super::body::{
    BenchSession, Body, Check, Climate, Coming, Divide, Plan, Recount, Scope, Send, Solution,
    VarietyNote,
};
use super::book::{Book, Lot, LotCondition};
use super::entry::Draft;
use super::refusal::Refusal;
use crate::words::{Count, Day, LossCause, LotId, Purpose, TimeOfDay, UnitKind, VarietyId};

/// Refuses a draft that can't be right.
///
/// `book` is the book as it stood on the draft's day ([`super::fold_until`]), so that a look noted
/// late is held against what was there then. `today` is the day in the farm's zone; one day more
/// is allowed for clocks and zones that differ.
///
/// ```
/// use spareloop_domain::ledger::{Book, Draft, body::Loss, draft::check_draft};
/// use spareloop_domain::words::{EntryId, LossCause, LotId, uuid_v7};
/// let today = "2026-01-10".parse()?;
/// let lot = LotId::new(uuid_v7(0, [1; 10]));
/// let loss = Loss { lot, count: 2_u16.into(), cause: LossCause::Rot };
/// let draft = Draft { id: EntryId::new(uuid_v7(0, [2; 10])), on: today, body: loss.into() };
/// let refusal = check_draft(&Book::default(), &draft, today).unwrap_err();
/// assert!(refusal.to_string().starts_with("there is no lot"));
/// # Ok::<(), spareloop_domain::words::DayError>(())
/// ```
pub fn check_draft(book: &Book, draft: &Draft, today: Day) -> Result<(), Refusal> {
    if draft.on > today.plus_days(1) {
        return Err(Refusal::InTheFuture { on: draft.on, today });
    }
    if let Some(closed) = book.closed_season_of(draft.on) {
        return Err(Refusal::SeasonClosed { season: closed.season, closed: closed.on });
    }
    let door = Door { book, on: draft.on };
    for lot in draft.body.lots_needed() {
        door.lot(lot)?;
    }
    if !matches!(draft.body, Body::VarietyNote(_))
        && let Some(variety) = draft.body.variety()
    {
        door.variety(variety)?;
    }
    door.new_lots(&draft.body.lots_made())?;
    door.body(&draft.body)
}

/// The door on a day.
pub(in crate::ledger) struct Door<'a> {
    /// The book as it stood then.
    pub book: &'a Book,
    /// The day.
    pub on: Day,
}

/// Refuses a count of nothing.
pub(in crate::ledger) fn some(count: Count, what: &'static str) -> Result<(), Refusal> {
    if count.is_zero() { Err(Refusal::NothingCounted { what }) } else { Ok(()) }
}

fn agree(stated: Count, sum: Count) -> Result<(), Refusal> {
    if stated == sum { Ok(()) } else { Err(Refusal::SumsDiffer { stated, sum }) }
}

fn within(
    value: f64,
    allowed: impl RangeBounds<f64>,
    what: &'static str,
    range: &'static str,
) -> Result<(), Refusal> {
    if allowed.contains(&value) { Ok(()) } else { Err(Refusal::OutOfRange { what, value, range }) }
}

impl Door<'_> {
    /// The lot, if it was there that day.
    pub(in crate::ledger) fn lot(&self, id: LotId) -> Result<&Lot, Refusal> {
        let lot = self.book.lots.get(&id).ok_or(Refusal::UnknownLot { lot: id })?;
        if self.on < lot.began {
            return Err(Refusal::BeforeItBegan { lot: id, on: self.on, began: lot.began });
        }
        Ok(lot)
    }

    fn variety(&self, variety: VarietyId) -> Result<(), Refusal> {
        match self.book.varieties.get(&variety) {
            Some(_) => Ok(()),
            None => Err(Refusal::UnknownVariety { variety }),
        }
    }

    fn new_lots(&self, lots: &[LotId]) -> Result<(), Refusal> {
        if lots.is_empty() {
            return Ok(());
        }
        let mut codes: BTreeSet<String> = self.book.lots.keys().map(|lot| lot.code()).collect();
        for lot in lots {
            if !codes.insert(lot.code()) {
                return Err(Refusal::LotTaken { lot: *lot });
            }
        }
        Ok(())
    }

    fn take(&self, id: LotId, asked: Count, what: &'static str) -> Result<(), Refusal> {
        some(asked, what)?;
        let had = self.lot(id)?.in_store;
        if asked > had { Err(Refusal::MoreThanThere { lot: id, asked, had }) } else { Ok(()) }
    }

    fn cause(&self, id: LotId, cause: LossCause) -> Result<(), Refusal> {
        let asleep = self.lot(id)?.condition == LotCondition::Stored;
        if cause == LossCause::Blind && asleep {
            return Err(Refusal::NotWokenYet { lot: id });
        }
        Ok(())
    }

    fn body(&self, body: &Body) -> Result<(), Refusal> {
        match body {
            Body::Opening(body) => some(body.count, "the opening count"),
            Body::Lift(body) => self.lift(body),
            Body::Divide(body) => self.divide(body),
            Body::BenchSession(body) => bench_session(body),
            Body::Check(body) => self.check(body),
            Body::Recount(body) => self.recount(body),
            Body::Loss(body) => {
                self.cause(body.lot, body.cause)?;
                self.take(body.lot, body.count, "the loss")
            }
            Body::Stop(body) => text(&body.signs, "what was seen"),
            Body::Climate(body) => climate(body),
            Body::Weigh(body) => {
                let allowed = (Bound::Excluded(0.0), Bound::Included(1e6));
                within(body.grams, allowed, "the weight", "above 0 and at most 1,000,000 g")
            }
            Body::PotUp(body) => {
                some(body.made, "the count potted up")?;
                self.take(body.from, body.taken, "the count taken")
            }
            Body::TakeCuttings(body) => some(body.made, "the count of cuttings"),
            Body::PlantOut(body) => self.take(body.lot, body.count, "the count planted"),
            Body::CameUp(body) => {
                some(body.planted, "the count planted")?;
                if body.came_up > body.planted {
                    return Err(Refusal::SumsDiffer { stated: body.planted, sum: body.came_up });
                }
                Ok(())
            }
            Body::Yield(body) => some(body.clumps, "the count of clumps"),
            Body::FieldObservation(body) => text(&body.text, "what was seen"),
            Body::Receive(body) => {
                text(&body.from, "whom it came from")?;
                some(body.count, "the count received")
            }
            Body::Send(body) => self.send(body),
            Body::Coming(body) => self.coming(body),
            Body::Plan(body) => plan(body),
            Body::VarietyNote(body) => self.variety_note(body),
            Body::Void(body) if self.book.struck_out.contains(&body.entry) => {
                Err(Refusal::StruckOutAlready { entry: body.entry })
            }
            Body::Void(body) => self.reopen(body.entry),
            Body::CloseSeason(body) => self.close_season(body),
            Body::ConfirmSeason(body) => self.confirm_season(body),
            Body::Wash(_)
            | Body::Dry(_)
            | Body::Store(_)
            | Body::Move(_)
            | Body::WakeUp(_)
            | Body::Newer { .. } => Ok(()),
        }
    }

    fn divide(&self, divide: &Divide) -> Result<(), Refusal> {
        self.take(divide.from, divide.taken, "the count taken")?;
        let from = self.lot(divide.from)?;
        for made in &divide.made {
            some(made.count, "the count of a new lot")?;
        }
        let made: Count = divide.made.iter().map(|lot| lot.count).sum();
        let discarded: Count = divide.discards.iter().map(|discard| discard.count).sum();
        let pieces = made.plus(discarded);
        if divide.made.is_empty() {
            some(discarded, "what was made and discarded")?;
        }
        if let Some(stated) = divide.pieces {
            agree(stated, pieces)?;
        }
        // Pieces of a clump are no clumps; units of the same kind must all be accounted for.
        let same_kind = divide.made.iter().all(|made| made.unit == from.unit);
        let of_clumps = from.unit == UnitKind::Clump && divide.made.is_empty();
        if same_kind && !of_clumps { agree(divide.taken, pieces) } else { Ok(()) }
    }

    fn check(&self, check: &Check) -> Result<(), Refusal> {
        let book = self.lot(check.lot)?.in_store;
        let (lot, counted) = (check.lot, check.inspected);
        match check.scope {
            Scope::Whole if counted != book => {
                return Err(Refusal::CountDiffers { lot, counted, book });
            }
            Scope::Sample if counted > book => {
                return Err(Refusal::MoreThanThere { lot, asked: counted, had: book });
            }
            Scope::Whole | Scope::Sample => {}
        }
        some(counted, "the count looked at")?;
        for lost in &check.lost {
            self.cause(lot, lost.cause)?;
        }
        agree(counted, check.sum())?;
        let alive = check.sound.plus(check.doubtful);
        match check.sprouted {
            Some(sprouted) if sprouted > alive => {
                Err(Refusal::SumsDiffer { stated: sprouted, sum: alive })
            }
            _ => Ok(()),
        }
    }

    fn recount(&self, recount: &Recount) -> Result<(), Refusal> {
        let book = self.lot(recount.lot)?.in_store;
        if let Some(cause) = recount.missing {
            self.cause(recount.lot, cause)?;
        } else if recount.counted < book {
            let (lot, counted) = (recount.lot, recount.counted);
            return Err(Refusal::CountDiffers { lot, counted, book });
        }
        Ok(())
    }

    fn send(&self, send: &Send) -> Result<(), Refusal> {
        text(&send.to, "whom it goes to")?;
        self.take(send.lot, send.count, "the count sent")?;
        self.may_pass_on(send.lot, send.purpose)
    }

    /// A stopped lot stays, and so does a protected variety without a recorded permission, unless
    /// it goes back to where it came from.
    fn may_pass_on(&self, id: LotId, purpose: Purpose) -> Result<(), Refusal> {
        let lot = self.lot(id)?;
        if let LotCondition::Stopped(since) = lot.condition {
            return Err(Refusal::Stopped { lot: id, since });
        }
        match self.book.varieties.get(&lot.variety) {
            Some(card)
                if purpose != Purpose::Return && !card.protection.allows_passing_on(self.on) =>
            {
                Err(Refusal::Protected { name: card.name.clone() })
            }
            _ => Ok(()),
        }
    }

    fn coming(&self, coming: &Coming) -> Result<(), Refusal> {
        text(&coming.from, "whom it comes from")?;
        if self.book.coming.contains_key(&coming.coming) {
            // A newer statement; 0 says that none will come.
            return Ok(());
        }
        some(coming.count, "the count that is coming")
    }

    fn variety_note(&self, note: &VarietyNote) -> Result<(), Refusal> {
        let Some(name) = &note.name else { return self.variety(note.variety) };
        let key = name.key();
        let bearer = self
            .book
            .varieties
            .values()
            .find(|card| card.id != note.variety && card.name.key() == key);
        match bearer {
            Some(card) => Err(Refusal::NameTaken { name: card.name.clone() }),
            None => Ok(()),
        }
    }
}

/// Refuses stock that may not be offered, held for others or sent: see [`Refusal::Stopped`] and
/// [`Refusal::Protected`]. The same rule as at the sending, for use before it comes to that.
pub fn check_passing_on(book: &Book, lot: LotId, purpose: Purpose, on: Day) -> Result<(), Refusal> {
    Door { book, on }.may_pass_on(lot, purpose)
}

fn text(text: &str, what: &'static str) -> Result<(), Refusal> {
    if text.trim().is_empty() { Err(Refusal::Empty { what }) } else { Ok(()) }
}

fn solution(solution: &Solution) -> Result<(), Refusal> {
    text(&solution.agent, "the agent of the solution")?;
    if let Some(strength) = solution.strength_percent {
        let allowed = (Bound::Excluded(0.0), Bound::Included(100.0));
        within(strength, allowed, "the strength", "above 0 and at most 100 percent")?;
    }
    if let Some(strength) = solution.label_percent {
        let allowed = (Bound::Excluded(0.0), Bound::Included(100.0));
        within(strength, allowed, "the label's strength", "above 0 and at most 100 percent")?;
    }
    if let Some(minutes) = solution.minutes {
        let allowed = (Bound::Excluded(0.0), Bound::Included(1440.0));
        within(minutes, allowed, "the time in the solution", "above 0 and at most 1440 minutes")?;
    }
    time_of_day(solution.made_up.as_deref(), "when the solution was made up")
}

fn time_of_day(given: Option<&str>, what: &'static str) -> Result<(), Refusal> {
    match given.map(str::parse::<TimeOfDay>) {
        Some(Err(error)) => Err(Refusal::NoTime { what, given: error.0 }),
        Some(Ok(_)) | None => Ok(()),
    }
}

fn bench_session(session: &BenchSession) -> Result<(), Refusal> {
    time_of_day(session.until.as_deref(), "when the last cut was made")?;
    session.tool_dip.iter().chain(&session.soak).try_for_each(solution)
}

fn climate(climate: &Climate) -> Result<(), Refusal> {
    if climate.readings.is_empty() {
        return Err(Refusal::NothingCounted { what: "the number of readings" });
    }
    for reading in &climate.readings {
        let celsius = reading.temperature_c;
        within(celsius, -60.0..=60.0, "a temperature", "-60 to 60 °C")?;
        if let Some(share) = reading.relative_humidity {
            within(share, 0.0..=1.0, "a relative humidity", "from 0 to 1")?;
        }
    }
    if let Some(minutes) = climate.utc_offset_minutes {
        let range = "from -1,080 to 1,080 minutes";
        within(f64::from(minutes), -1080.0..=1080.0, "the offset from UTC", range)?;
    }
    Ok(())
}

fn plan(plan: &Plan) -> Result<(), Refusal> {
    match plan.service_level {
        Some(level) => {
            let allowed = (Bound::Excluded(0.0), Bound::Excluded(1.0));
            within(level, allowed, "how sure to be", "strictly between 0 and 1")
        }
        None => Ok(()),
    }
}

#[cfg(test)]
#[path = "draft_tests.rs"]
mod tests;
