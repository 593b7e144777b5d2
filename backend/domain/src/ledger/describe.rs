//! One line in words for an entry, for the history.
//!
//! What may not enter: layout, colours, dates (the reader puts the day beside it).

use super::body::{
    Body, Check, CloseSeason, Divide, Lift, LostUnits, Receive, Scope, Send, ToolsBetweenClumps,
    VarietyNote,
};
use super::book::Book;
use super::entry::Entry;
use crate::words::{Count, Look, LossCause, LotId, UnitKind, VarietyId};

/// What happened, in words for people. Where the book lacks a lot or a variety it is named by its
/// code alone; a body of a newer version is said to be that.
pub fn describe(book: &Book, entry: &Entry) -> String {
    match entry.read_body() {
        Ok(body) => Words { book }.body(&body),
        Err(error) => format!("can't be read: {error}"),
    }
}

/// "2 lost to rot", "1 mislaid".
pub fn spoken_loss(count: Count, cause: LossCause) -> String {
    match cause {
        LossCause::Rot => format!("{count} lost to rot"),
        LossCause::Other => format!("{count} lost otherwise"),
        _ => format!("{count} {cause}"),
    }
}

struct Words<'a> {
    book: &'a Book,
}

impl Words<'_> {
    fn variety(&self, id: VarietyId) -> String {
        let card = self.book.varieties.get(&id);
        card.map_or_else(|| "an unnamed variety".to_owned(), |card| card.name.quoted())
    }

    fn lot(&self, id: LotId) -> String {
        match self.book.lots.get(&id) {
            Some(lot) => format!("lot {} {}", id.code(), self.variety(lot.variety)),
            None => format!("lot {}", id.code()),
        }
    }

    fn lots(&self, lots: &[LotId]) -> String {
        lots.iter().map(|lot| self.lot(*lot)).collect::<Vec<_>>().join(", ")
    }

    fn unit(&self, id: LotId) -> UnitKind {
        self.book.lots.get(&id).map_or(UnitKind::Division, |lot| lot.unit)
    }

    fn body(&self, body: &Body) -> String {
        match body {
            Body::Opening(body) => {
                let units = body.unit.counted(body.count);
                format!("began the book with {units} in {}", self.lot(body.lot))
            }
            Body::Lift(body) => self.lift(body),
            Body::Wash(body) => format!("washed {}", self.lots(&body.lots)),
            Body::Divide(body) => self.divide(body),
            Body::BenchSession(body) => {
                let tools = spoken_tools(body.tools);
                format!("held a dividing session over {}: {tools}", self.lots(&body.lots))
            }
            Body::Dry(body) => format!("dried {}", self.lots(&body.lots)),
            Body::Store(body) => {
                let (lot, packing) = (self.lot(body.lot), body.packing);
                format!("packed {lot} (packing: {packing}) and stored it in {}", body.place)
            }
            Body::Move(body) => format!("moved {} to {}", self.lot(body.lot), body.place),
            Body::Check(body) => self.check(body),
            Body::Recount(body) => {
                let cause =
                    body.missing.map_or(String::new(), |cause| format!(", the missing {cause}"));
                format!("recounted {}: {}{cause}", self.lot(body.lot), body.counted)
            }
            Body::Loss(body) => {
                let gone = spoken_loss(body.count, body.cause);
                format!("took out of {}: {gone}", self.lot(body.lot))
            }
            Body::Stop(body) => {
                format!("stop, suspicious growth on {}: {}", self.lot(body.lot), body.signs)
            }
            Body::Climate(body) => {
                format!("{} climate readings at {}", body.readings.len(), body.place)
            }
            Body::Weigh(body) => {
                let of =
                    body.sample.as_ref().map_or(String::new(), |one| format!(" (sample {one})"));
                format!("weighed {} g of {}{of}", body.grams, self.lot(body.lot))
            }
            Body::WakeUp(body) => format!("woke up {}", self.lot(body.lot)),
            Body::PotUp(body) => {
                let taken = self.unit(body.from).counted(body.taken);
                let made = body.unit.counted(body.made);
                let (from, lot) = (self.lot(body.from), body.lot.code());
                format!("potted up {taken} of {from}: {made} in lot {lot}")
            }
            Body::TakeCuttings(body) => {
                let made = UnitKind::RootedCutting.counted(body.made);
                format!("took {made} from {} into lot {}", self.lot(body.mother), body.lot.code())
            }
            Body::PlantOut(body) => {
                let bed = body.bed.as_ref().map_or(String::new(), |bed| format!(" in {bed}"));
                let units = self.unit(body.lot).counted(body.count);
                format!("planted out {units} of {}{bed}", self.lot(body.lot))
            }
            Body::CameUp(body) => {
                let lot = self.lot(body.lot);
                format!("{} of {} planted came up of {lot}", body.came_up, body.planted)
            }
            Body::Yield(body) => {
                let clumps = UnitKind::Clump.counted(body.clumps);
                let divisions = UnitKind::Division.counted(body.divisions);
                format!("{clumps} of {} gave {divisions}", self.variety(body.variety))
            }
            Body::FieldObservation(body) => {
                format!("saw in the field on {}: {}", self.variety(body.variety), body.text)
            }
            Body::Receive(body) => self.receive(body),
            Body::Send(body) => self.send(body),
            Body::Coming(body) if body.count.is_zero() => {
                let unit = body.unit.plural();
                let variety = self.variety(body.variety);
                format!("no {unit} of {variety} are coming from {} any more", body.from)
            }
            Body::Coming(body) => {
                let units = body.unit.counted(body.count);
                format!("coming: {units} of {} from {}", self.variety(body.variety), body.from)
            }
            Body::Plan(body) => format!(
                "planned {} plants of {} from {}, planting on {}",
                body.plants_wanted,
                self.variety(body.variety),
                body.unit.plural(),
                body.planting,
            ),
            Body::VarietyNote(body) => self.note(body),
            Body::Void(body) => match &body.why {
                Some(why) => format!("struck out an entry: {why}"),
                None => "struck out an entry".to_owned(),
            },
            Body::CloseSeason(body) => close_season(body),
            Body::ConfirmSeason(body) => {
                format!("confirmed that season {} is closed", body.season)
            }
            Body::Newer { kind, .. } => format!("noted by a newer version ({kind})"),
        }
    }

    fn lift(&self, lift: &Lift) -> String {
        let clumps = UnitKind::Clump.counted(lift.clumps);
        let bed = lift.bed.as_ref().map_or(String::new(), |bed| format!(" from {bed}"));
        let planted =
            lift.planted.map_or(String::new(), |lot| format!(", grown of lot {}", lot.code()));
        format!("lifted {clumps}{bed} into {}{planted}", self.lot(lift.lot))
    }

    fn divide(&self, divide: &Divide) -> String {
        let taken = self.unit(divide.from).counted(divide.taken);
        let mut parts: Vec<String> = divide
            .made
            .iter()
            .map(|made| format!("{} in lot {}", made.unit.counted(made.count), made.lot.code()))
            .collect();
        parts.extend(
            divide
                .discards
                .iter()
                .filter(|discard| !discard.count.is_zero())
                .map(|discard| format!("{} discarded ({})", discard.count, discard.reason)),
        );
        if parts.is_empty() {
            parts.push("nothing kept".to_owned());
        }
        format!("divided {taken} of {}: {}", self.lot(divide.from), parts.join(", "))
    }

    fn check(&self, check: &Check) -> String {
        let lot = self.lot(check.lot);
        let of = match (check.scope, check.look) {
            (Scope::Whole, Look::Unpacked) => format!("looked through {lot}"),
            (Scope::Whole, Look::ThroughWrap) => format!("looked through the wrap of {lot}"),
            (Scope::Sample, Look::Unpacked) => format!("looked at a sample of {lot}"),
            (Scope::Sample, Look::ThroughWrap) => {
                format!("looked through the wrap at a sample of {lot}")
            }
        };
        let mut parts =
            vec![format!("{} inspected", check.inspected), format!("{} sound", check.sound)];
        if !check.doubtful.is_zero() {
            parts.push(format!("{} doubtful", check.doubtful));
        }
        parts.extend(losses(&check.lost));
        if let Some(sprouted) = check.sprouted.filter(|count| !count.is_zero()) {
            parts.push(format!("{sprouted} sprouted early"));
        }
        format!("{of}: {}", parts.join(", "))
    }

    fn receive(&self, receive: &Receive) -> String {
        let units = receive.unit.counted(receive.count);
        let condition =
            receive.condition.as_ref().map_or(String::new(), |words| format!(" ({words})"));
        format!("received {units} from {} as {}{condition}", receive.from, self.lot(receive.lot))
    }

    fn send(&self, send: &Send) -> String {
        let units = self.unit(send.lot).counted(send.count);
        format!("sent {units} of {} to {} ({})", self.lot(send.lot), send.to, send.purpose)
    }

    fn note(&self, note: &VarietyNote) -> String {
        match (&note.name, &note.text) {
            (Some(name), _) => format!("named {}", name.quoted()),
            (None, Some(text)) => format!("noted on {}: {text}", self.variety(note.variety)),
            (None, None) => format!("noted more of {}", self.variety(note.variety)),
        }
    }
}

fn close_season(body: &CloseSeason) -> String {
    let (season, next) = (body.season, body.season.next());
    match body.carried.len() {
        0 => format!("closed season {season}: nothing in store is carried into {next}"),
        1 => format!("closed season {season} and carried 1 lot into {next}"),
        lots => format!("closed season {season} and carried {lots} lots into {next}"),
    }
}

/// What was done with the tools, in words.
pub const fn spoken_tools(tools: ToolsBetweenClumps) -> &'static str {
    match tools {
        ToolsBetweenClumps::Disinfected => "tools disinfected between clumps",
        ToolsBetweenClumps::NotDisinfected => "tools not disinfected between clumps",
        ToolsBetweenClumps::NotNoted => "not noted whether tools were disinfected between clumps",
    }
}

fn losses(lost: &[LostUnits]) -> Vec<String> {
    lost.iter()
        .filter(|lost| !lost.count.is_zero())
        .map(|lost| spoken_loss(lost.count, lost.cause))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ledger::fold;
    use crate::ledger::generate::{plausible, wild};

    #[test]
    fn a_winter_reads_as_sentences() {
        let entries = plausible(3, 60);
        let book = fold(&entries);
        let lines: Vec<String> = entries
            .iter()
            .map(|entry| format!("{}  {}", entry.on, describe(&book, entry)))
            .collect();
        insta::assert_snapshot!(lines.join("\n"));
    }

    #[test]
    fn every_kind_has_a_sentence_and_an_empty_book_breaks_none() {
        let book = Book::default();
        for entry in (0..20).flat_map(|seed| wild(seed, 80)) {
            let line = describe(&book, &entry);
            assert!(!line.is_empty() && !line.contains("can't be read"), "{line}");
        }
    }
}
