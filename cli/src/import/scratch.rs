//! The book as it will be, row by row, so that the rules at the door judge each row as if it had
//! been typed. A wrong row leaves no trace in it.

mod names;

use std::collections::{BTreeMap, BTreeSet, HashMap};

use spareloop_domain::ledger::body::{Check, Divide, Move, Opening, Plan, Store, VarietyNote};
use spareloop_domain::ledger::book::{LookRecord, Lot};
use spareloop_domain::ledger::draft::check_draft;
use spareloop_domain::ledger::{Body, Book, Draft, Entry, Hash, Seq, Stamp, fold};
use spareloop_domain::words::{
    Count, Day, DeviceId, EntryId, FarmId, LotId, SessionId, VarietyId, VarietyName, fold_key,
};
use uuid::Uuid;

use super::NearNames;
use super::held::{Held, lost_later};
use super::memory::Memory;
use crate::book::farm::Farm;
use crate::desk::draft;
use crate::fault::Fault;
use crate::{find, fresh};

/// Why a row stops.
#[derive(Debug)]
pub(super) enum Stop {
    /// The row is wrong; the others go on.
    Wrong(String),
    /// The whole import fails.
    Fault(Fault),
}

impl From<String> for Stop {
    fn from(why: String) -> Self {
        Self::Wrong(why)
    }
}

impl From<Fault> for Stop {
    fn from(fault: Fault) -> Self {
        Self::Fault(fault)
    }
}

/// What a row changed, so that a wrong one can be taken back.
#[derive(Debug)]
enum Undo {
    Variety(VarietyId, String),
    Session(SessionId),
    NewLot(LotId),
    Lot(Box<Lot>),
    Told(LotId),
    Plan,
}

/// Most varieties that one file may name for the first time.
const MOST_NEW_VARIETIES: usize = 2_000;

/// The book as it will be.
#[derive(Debug)]
pub(super) struct Scratch {
    farm: Farm,
    book: Book,
    held: Held,
    /// What looks of this import changed: the day, and units lost by it or given back.
    told: HashMap<LotId, Vec<(Day, i64)>>,
    today: Day,
    near_names: NearNames,
    varieties: HashMap<String, VarietyId>,
    codes: BTreeSet<String>,
    /// What rows said before.
    pub(super) memory: Memory,
    named: Vec<String>,
    drafts: Vec<Draft>,
    undo: Vec<Undo>,
}

impl Scratch {
    /// Begins with the book as it is.
    pub(super) fn new(
        (farm, book, entries): (Farm, Book, Vec<Entry>),
        memory: Memory,
        today: Day,
        near_names: NearNames,
    ) -> Self {
        let names = book.varieties.values().flat_map(|card| {
            std::iter::once(&card.name).chain(&card.aliases).map(|name| (name.key(), card.id))
        });
        Self {
            varieties: names.collect(),
            codes: book.lots.keys().map(|lot| lot.code()).collect(),
            farm,
            book,
            held: Held::of(entries),
            told: HashMap::new(),
            today,
            near_names,
            memory,
            named: Vec::new(),
            drafts: Vec::new(),
            undo: Vec::new(),
        }
    }

    /// Whose book it is.
    pub(super) const fn farm(&self) -> FarmId {
        self.farm.id
    }

    /// The farm's usual planting day.
    pub(super) const fn planting(&self) -> Option<Day> {
        self.farm.planting
    }

    /// Plans one row. If it turns out wrong, nothing of it stays.
    pub(super) fn attempt<T>(
        &mut self,
        plan: impl FnOnce(&mut Self) -> Result<T, Stop>,
    ) -> Result<Result<T, String>, Fault> {
        self.undo.clear();
        let drafts = self.drafts.len();
        match plan(self) {
            Ok(planned) => Ok(Ok(planned)),
            Err(Stop::Fault(fault)) => Err(fault),
            Err(Stop::Wrong(why)) => {
                self.drafts.truncate(drafts);
                self.take_back();
                Ok(Err(why))
            }
        }
    }

    fn take_back(&mut self) {
        while let Some(step) = self.undo.pop() {
            match step {
                Undo::Variety(id, key) => {
                    self.book.varieties.remove(&id);
                    self.varieties.remove(&key);
                    self.named.pop();
                }
                Undo::Session(id) => {
                    self.book.sessions.remove(&id);
                }
                Undo::NewLot(id) => {
                    self.book.lots.remove(&id);
                    self.codes.remove(&id.code());
                }
                Undo::Lot(lot) => {
                    self.book.lots.insert(lot.id, *lot);
                }
                Undo::Told(lot) => {
                    self.told.entry(lot).or_default().pop();
                }
                // A plan is not read again while importing.
                Undo::Plan => {}
            }
        }
    }

    /// The variety of a name that the book has.
    pub(super) fn known_variety(&self, name: &str) -> Option<VarietyId> {
        self.varieties.get(&fold_key(name)).copied()
    }

    /// The variety of a name; a new name is noted on that day.
    pub(super) fn variety(
        &mut self,
        name: &str,
        on: Day,
        classes: Classes,
    ) -> Result<VarietyId, Stop> {
        if let Some(id) = self.known_variety(name) {
            return Ok(id);
        }
        if self.named.len() == MOST_NEW_VARIETIES {
            return Err(Stop::Fault(Fault::refused(
                "The file names more than 2,000 new varieties, the most that one import takes.",
                "Check which column holds the variety, or split the file.",
            )));
        }
        let name: VarietyName =
            name.parse().map_err(|error: spareloop_domain::words::NameError| error.to_string())?;
        if self.near_names == NearNames::AreSlips {
            let known = self.book.varieties.values().map(|card| card.name.as_str());
            let near = find::likely_slips(name.as_str(), known);
            if !near.is_empty() {
                return Err(Stop::Wrong(format!(
                    "the variety {} is not known. {}If it is another one, give --new-names",
                    name.quoted(),
                    find::did_you_mean(&near)
                )));
            }
        }
        let id = VarietyId::new(self.lasting_id(&format!("variety:{}", name.key()), 0));
        let note = VarietyNote {
            form: classes.form,
            size: classes.size,
            colour: classes.colour,
            ..VarietyNote::naming(id, name.clone())
        };
        let entry = self.judge(on, note.into())?;
        // The fold writes the card, so that it is the same as if the name had been typed.
        self.book.varieties.extend(self.folded(&[entry])?.varieties);
        self.varieties.insert(name.key(), id);
        self.undo.push(Undo::Variety(id, name.key()));
        self.named.push(name.quoted());
        Ok(id)
    }

    /// Holds a draft against the rules at the door and keeps it.
    fn judge(&mut self, on: Day, body: Body) -> Result<Draft, Stop> {
        let draft = draft(on, body)?;
        // The door compares a new lot's code with every lot's; here that is seen to beforehand
        // (`lot_of_key`), and a long file must not be slow. So it sees only the lots concerned.
        let concerned = draft.body.lots_needed();
        let all = std::mem::take(&mut self.book.lots);
        self.book
            .lots
            .extend(concerned.iter().filter_map(|id| all.get(id).map(|lot| (*id, lot.clone()))));
        let judged = check_draft(&self.book, &draft, self.today);
        self.book.lots = all;
        judged.map_err(|refusal| Stop::Wrong(refusal.to_string()))?;
        self.drafts.push(draft.clone());
        Ok(draft)
    }

    /// The book that a few drafts alone make.
    fn folded(&self, drafts: &[Draft]) -> Result<Book, Stop> {
        let device = DeviceId::new(Uuid::nil());
        let sealed: Vec<Entry> = drafts
            .iter()
            .zip(1_u32..)
            .map(|(draft, counter)| {
                let at = Stamp { millis: 0, counter };
                Entry::seal(draft.clone(), self.farm.id, device, Seq::FIRST, at, Hash::START)
                    .map_err(|error| Stop::Wrong(error.to_string()))
            })
            .collect::<Result<_, _>>()?;
        Ok(fold(&sealed))
    }

    /// Notes an entry that begins a lot of itself: opening stock, a lift.
    pub(super) fn begin(&mut self, on: Day, body: impl Into<Body>) -> Result<(), Stop> {
        let entry = self.judge(on, body.into())?;
        let made = self.folded(&[entry])?.lots;
        self.take_in(made);
        Ok(())
    }

    fn take_in(&mut self, made: BTreeMap<LotId, Lot>) {
        for (id, lot) in made {
            self.codes.insert(id.code());
            self.undo.push(Undo::NewLot(id));
            self.book.lots.insert(id, lot);
        }
    }

    /// Notes a dividing: the lots made begin, the lot divided has less.
    pub(super) fn divide(&mut self, on: Day, body: Divide) -> Result<(), Stop> {
        let Some(from) = self.book.lots.get(&body.from).cloned() else {
            return Err(Stop::Wrong("the lot that was divided is not in the book".to_owned()));
        };
        let taken = body.taken;
        let entry = self.judge(on, body.into())?;
        // Seen alone, the dividing needs a lot to take from.
        let opening = Opening {
            lot: from.id,
            variety: from.variety,
            unit: from.unit,
            count: taken,
            origin: None,
            label: None,
        };
        let stand_in = Draft { id: EntryId::new(fresh::uuid()?), on, body: opening.into() };
        let mut made = self.folded(&[stand_in, entry])?.lots;
        made.remove(&from.id);
        self.take_in(made);
        self.change(from.id, |lot| lot.in_store = lot.in_store.less(taken));
        Ok(())
    }

    /// Notes packing and storing.
    pub(super) fn store(&mut self, on: Day, body: Store) -> Result<(), Stop> {
        self.judge(on, body.clone().into())?;
        self.change(body.lot, |lot| {
            lot.packing = Some(body.packing);
            lot.place = Some(body.place);
            lot.stored = Some(on);
        });
        Ok(())
    }

    /// Notes a move.
    pub(super) fn move_to(&mut self, on: Day, body: Move) -> Result<(), Stop> {
        self.judge(on, body.clone().into())?;
        self.change(body.lot, |lot| lot.place = Some(body.place));
        Ok(())
    }

    /// Notes a look, held against what the lot held on that day.
    pub(super) fn check(&mut self, on: Day, body: Check) -> Result<(), Stop> {
        let lost: Count = body.lost.iter().map(|part| part.count).sum();
        let held = self.held_on(body.lot, on);
        let held_now = self.lot(body.lot).map_or(Count::ZERO, |lot| lot.in_store);
        self.change(body.lot, |lot| lot.in_store = held);
        let draft = self.judge(on, body.clone().into())?;
        self.tell(body.lot, on, -i64::from(lost));
        self.change(body.lot, |lot| {
            lot.in_store = held_now.less(lost);
            lot.looks.push(LookRecord {
                entry: draft.id,
                on,
                look: body.look,
                scope: body.scope,
                inspected: body.inspected,
                sound: body.sound,
                doubtful: body.doubtful,
                lost: body.lost,
            });
        });
        Ok(())
    }

    fn tell(&mut self, lot: LotId, on: Day, change: i64) {
        self.told.entry(lot).or_default().push((on, change));
        self.undo.push(Undo::Told(lot));
    }

    /// What a lot held on a day, with what looks of this import say.
    pub(super) fn held_on(&self, id: LotId, on: Day) -> Count {
        let Some(lot) = self.lot(id) else { return Count::ZERO };
        let Some(held) = self.held.on(id, on) else {
            return lot.in_store.plus(lost_later(lot, on));
        };
        let told = self.told.get(&id).into_iter().flatten();
        let told: i64 = told.filter(|(day, _)| *day <= on).map(|(_, change)| change).sum();
        Count::new((i64::from(held) + told).max(0)).unwrap_or_default()
    }

    /// What a lot held on the day of a look, before it.
    pub(super) fn held_without(&self, lot: LotId, look: &LookRecord) -> Count {
        self.held_on(lot, look.on).plus(look.lost.iter().map(|part| part.count).sum())
    }

    /// Takes a look back that is struck out in the same import.
    pub(super) fn forget_look(&mut self, lot: LotId, look: &LookRecord) {
        let lost: Count = look.lost.iter().map(|part| part.count).sum();
        self.tell(lot, look.on, i64::from(lost));
        self.change(lot, |lot| {
            lot.looks.retain(|other| other.entry != look.entry);
            lot.in_store = lot.in_store.plus(lost);
        });
    }

    /// Notes anything that changes no lot.
    pub(super) fn note(&mut self, on: Day, body: impl Into<Body>) -> Result<(), Stop> {
        let body = body.into();
        let draft = self.judge(on, body)?;
        match draft.body {
            Body::BenchSession(session) => {
                self.undo.push(Undo::Session(session.session));
                self.book.sessions.insert(session.session, session);
            }
            Body::Plan(plan) => self.planned(plan),
            _ => {}
        }
        Ok(())
    }

    fn planned(&mut self, plan: Plan) {
        self.undo.push(Undo::Plan);
        self.book.plans.insert((plan.variety, plan.unit), plan);
    }

    fn change(&mut self, id: LotId, change: impl FnOnce(&mut Lot)) {
        if let Some(lot) = self.book.lots.get_mut(&id) {
            self.undo.push(Undo::Lot(Box::new(lot.clone())));
            change(lot);
        }
    }

    /// A lot of the book as it will be.
    pub(super) fn lot(&self, id: LotId) -> Option<&Lot> {
        self.book.lots.get(&id)
    }

    /// The book as it will be.
    pub(super) const fn book(&self) -> &Book {
        &self.book
    }

    /// Varieties that the file names for the first time.
    pub(super) fn named(&self) -> Vec<String> {
        self.named.clone()
    }

    /// Everything to be written.
    pub(super) fn into_drafts(self) -> Vec<Draft> {
        self.drafts
    }
}

/// The trade's classes of a variety.
#[derive(Debug, Clone, Default)]
pub(super) struct Classes {
    /// Form.
    pub(super) form: Option<String>,
    /// Size.
    pub(super) size: Option<String>,
    /// Colour.
    pub(super) colour: Option<String>,
}

impl Classes {
    /// Reads them out of a row.
    pub(super) fn of(row: &super::cells::Row<'_>) -> Self {
        let word = |field| row.text(field).map(ToOwned::to_owned);
        Self { form: word("form"), size: word("size"), colour: word("colour") }
    }
}
