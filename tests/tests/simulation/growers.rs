//! What people and programs do when all is well: note, take back, sync; and the server's part.

use std::cell::Cell;

use spareloop_cli::book::{BookError, Keep, StockBook, entries, farm};
use spareloop_cli::sync::courier::{Ask, Courier, Heard, Next};
use spareloop_domain::ledger::sync::BatchLimits;
use spareloop_domain::ledger::undo::{Standing, Undo, undo};
use spareloop_domain::ledger::{Draft, Entry, fold};
use spareloop_domain::planted::Moment;
use spareloop_domain::words::EntryId;

use crate::device::{Seeded, Syncing};
use crate::post::Says;
use crate::reach::Reach;
use crate::template::farm_id;
use crate::violation::{Held, Invariant, broken};
use crate::wire::{Ended, Intruder};
use crate::world::World;

/// What a page and a push carry at most here: little, so that both have borders.
pub const PAGE: BatchLimits = BatchLimits { entries: 7, bytes: 6_000 };
const PUSH: BatchLimits = BatchLimits { entries: 5, bytes: 5_000 };
/// Steps after which a program gives a sync up.
const PATIENCE: u32 = 60;

/// How a program stands after it heard something.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sync {
    UnderWay,
    Over,
}

impl World {
    /// Somebody notes one or a few things; now and then a second program does so too, just then.
    pub fn note_something(&mut self, device: usize) -> Held {
        let program = self.a_program(device);
        let many = 1 + self.dice.below(3);
        let drafts = self.drafts(many);
        let two = self.devices[device].programs.len() == 2;
        if two && self.dice.happens(60) {
            return self.note_at_the_same_moment(device, program, drafts);
        }
        self.note(device, program, drafts)
    }

    fn note(&mut self, device: usize, program: usize, drafts: Vec<Draft>) -> Held {
        let wall = self.devices[device].wall(self.now);
        let file = &mut self.devices[device].programs[program].file;
        let (ended, commits) = self.wire.run(|| append(file, &drafts, wall));
        match ended {
            Ended::Stopped(at) => self.program_stopped(device, program, at),
            Ended::Answered(Ok(_)) if commits == 0 => {
                return broken(Invariant::NeverAhead, "an entry was noted without a commit");
            }
            Ended::Answered(Ok(_)) => {}
            Ended::Answered(Err(error)) => {
                return broken(Invariant::FailuresExplained, format!("noting failed: {error}"));
            }
        }
        if commits > 0 {
            self.committed(device, &drafts)?;
        }
        Ok(())
    }

    /// The first program has read the head of its chain when the second one writes.
    fn note_at_the_same_moment(&mut self, device: usize, first: usize, drafts: Vec<Draft>) -> Held {
        self.reached.note(Reach::SameMoment);
        let second = 1 - first;
        let theirs = self.drafts(1);
        let intruder = self.devices[device].programs.remove(second);
        let wall = self.devices[device].wall(self.now);
        self.wire.send_in(Intruder {
            file: intruder.file,
            drafts: theirs.clone(),
            wall,
            went: None,
        });
        // While the second one is away, the first is the only one.
        let noted = self.note(device, 0, drafts);
        let Some(back) = self.wire.call_back() else {
            return broken(Invariant::FailuresExplained, "a second program got lost");
        };
        let program = crate::device::Program { file: back.file, sync: intruder.sync };
        self.devices[device].programs.insert(second, program);
        noted?;
        match back.went {
            Some(Ok(_)) => self.committed(device, &theirs),
            None | Some(Err(BookError::Busy)) => Ok(()),
            Some(Err(error)) => broken(
                Invariant::FailuresExplained,
                format!("noting beside another program failed: {error}"),
            ),
        }
    }

    /// Takes down what was committed and holds its stamps against what the device had seen.
    fn committed(&mut self, device: usize, drafts: &[Draft]) -> Held {
        for draft in drafts {
            self.facts.committed(draft);
        }
        let ids: Vec<String> = drafts.iter().map(|draft| draft.id.to_string()).collect();
        let wall = self.devices[device].wall(self.now);
        let new = self.devices[device].reader().of_ids(&ids);
        let missing = ids.iter().find(|id| new.iter().all(|row| row.id != **id));
        if let Some(missing) = missing {
            let what = format!("entry {missing} was committed and is not in the book");
            return broken(Invariant::EntriesEverywhere, what);
        }
        for row in &new {
            self.trace.say(format!("{} noted on {device}: {} {}", self.step, row.id, row.hash));
            let own_newest = self.devices[device].own_newest;
            let reader = self.devices[device].reader();
            crate::clocks::hold(reader, &self.house.lives, row, own_newest, wall)?;
            self.devices[device].own_newest = row.at();
        }
        Ok(())
    }

    /// Somebody takes back or strikes out the last thing noted on a device.
    pub fn undo_something(&mut self, device: usize) -> Held {
        let program = self.a_program(device);
        let wall = self.devices[device].wall(self.now);
        let void = EntryId::new(self.dice.id());
        let did = Cell::new(None);
        let file = &mut self.devices[device].programs[program].file;
        let (ended, commits) = self.wire.run(|| undo_last(file, void, wall, &did));
        match ended {
            Ended::Stopped(at) => self.program_stopped(device, program, at),
            Ended::Answered(Ok(())) => {}
            Ended::Answered(Err(error)) => {
                return broken(Invariant::FailuresExplained, format!("undo failed: {error}"));
            }
        }
        match did.take().filter(|_| commits > 0) {
            Some(Did::Withdrew(entry)) => {
                self.reached.note(Reach::Withdrawn);
                self.trace.say(format!(
                    "{} withdrawn on {device}: {} {}",
                    self.step, entry.id, entry.hash
                ));
                self.facts.withdrawn(&entry.id.to_string());
                Ok(())
            }
            Some(Did::StruckOut(draft)) => {
                self.reached.note(Reach::StruckOut);
                self.committed(device, &[draft])
            }
            None => Ok(()),
        }
    }

    /// A sync begins, or one that hears nothing any more is given up.
    pub fn begin_sync(&mut self, device: usize) -> Held {
        let program = self.a_program(device);
        if !self.devices[device].passes() {
            return Ok(());
        }
        if let Some(sync) = &self.devices[device].programs[program].sync {
            if self.step - sync.since > PATIENCE {
                self.reached.note(Reach::CutOff);
                self.devices[device].programs[program].sync = None;
            }
            return Ok(());
        }
        self.trace.say(format!("{} sync on {device}.{program}", self.step));
        let courier = Courier::new().in_batches_of(PUSH);
        let since = self.step;
        self.devices[device].programs[program].sync = Some(Syncing { courier, since });
        self.program_hears((device, program), None).map(drop)
    }

    /// A program hears something and says what it asks next. What nobody waits for is not heard.
    pub fn program_hears(
        &mut self,
        (device, program): (usize, usize),
        heard: Option<Heard>,
    ) -> Held<Sync> {
        let next = self.next_of((device, program), heard)?;
        self.look_at(device)?;
        match next {
            Some(Next::Ask(ask)) => {
                self.send((device, program), Says::Ask(ask));
                Ok(Sync::UnderWay)
            }
            _ => Ok(Sync::Over),
        }
    }

    /// One call of a program's courier.
    pub fn next_of(
        &mut self,
        (device, program): (usize, usize),
        heard: Option<Heard>,
    ) -> Held<Option<Next>> {
        let wall = self.devices[device].wall(self.now);
        let Some(at_work) = self.devices[device].programs.get_mut(program) else { return Ok(None) };
        let Some(sync) = &mut at_work.sync else { return Ok(None) };
        let mut fresh = Seeded { dice: &mut self.dice, wall };
        let (file, courier) = (&mut at_work.file, &mut sync.courier);
        let (ended, _) = self.wire.run(|| courier.next(file, heard, &mut fresh));
        match ended {
            Ended::Stopped(at) => {
                self.program_stopped(device, program, at);
                Ok(None)
            }
            Ended::Answered(Ok(Next::Finished(done))) => {
                self.trace.say(format!("{} {device}.{program} finished {done:?}", self.step));
                self.devices[device].programs[program].sync = None;
                Ok(Some(Next::Finished(done)))
            }
            Ended::Answered(Ok(next)) => Ok(Some(next)),
            Ended::Answered(Err(fault)) => {
                broken(Invariant::FailuresExplained, format!("a sync failed: {}", fault.what))
            }
        }
    }

    fn program_stopped(&mut self, device: usize, program: usize, at: Moment) {
        self.trace.say(format!("{} {device}.{program} stopped at {at:?}", self.step));
        self.reached.note(match at {
            Moment::BookCommitted => Reach::ClientAfter,
            _ => Reach::ClientBefore,
        });
        self.devices[device].begin_again(program);
    }

    /// The server hears a question; no answer where it was stopped.
    pub fn house_hears(&mut self, device: usize, ask: &Ask) -> Held<Option<Heard>> {
        let now = self.now;
        let id = self.devices[device].id.clone();
        if !self.house.reader().knows(&id) {
            self.house.register(farm_id(), &id, now).map_err(failed)?;
        }
        let (ended, _) = self.wire.run(|| self.house.answer(farm_id(), ask, PAGE, now));
        let answer = match ended {
            Ended::Stopped(at) => {
                self.house_stopped(at);
                None
            }
            Ended::Answered(Ok(answer)) => {
                // A server that answers too early is stopped all the same.
                if let Some(at) = self.wire.stopped() {
                    self.house_stopped(at);
                }
                Some(answer)
            }
            Ended::Answered(Err(error)) => return Err(failed(error)),
        };
        self.look_at_house(ask, answer.as_ref())?;
        Ok(answer)
    }

    fn house_stopped(&mut self, at: Moment) {
        self.trace.say(format!("{} the server stopped at {at:?}", self.step));
        self.reached.note(match at {
            Moment::StoreCommitted => Reach::ServerAfter,
            _ => Reach::ServerBefore,
        });
        self.house.begin_again();
    }

    /// The server writes on the house device, as for a hand-over.
    pub fn house_notes(&mut self) -> Held {
        let mut drafts = self.drafts(1);
        // What the server writes it can keep.
        drafts.retain(|draft| draft.body.kind().len() <= 64);
        let now = self.now;
        let (ended, _) = self.wire.run(|| self.house.write(farm_id(), &drafts, now));
        match ended {
            Ended::Stopped(at) => self.house_stopped(at),
            Ended::Answered(Ok(_)) => {}
            Ended::Answered(Err(error)) => return Err(failed(error)),
        }
        self.reached.note(Reach::HouseWrote);
        self.look_at_house_notes(&drafts)
    }
}

/// A failure of the store that no fault explains.
pub fn failed(error: spareloop_store::StoreError) -> crate::violation::Violation {
    let log = error.log_text().unwrap_or_default();
    let what = format!("the server failed: {error} {log}");
    crate::violation::Violation { invariant: Invariant::FailuresExplained, step: 0, what }
}

fn append(file: &mut StockBook, drafts: &[Draft], wall: u64) -> Result<Vec<Entry>, BookError> {
    file.write(Keep::Kept, |connection| entries::append(connection, drafts.to_vec(), wall))
}

enum Did {
    Withdrew(Entry),
    StruckOut(Draft),
}

/// As the command does it.
fn undo_last(
    file: &mut StockBook,
    void: EntryId,
    wall: u64,
    did: &Cell<Option<Did>>,
) -> Result<(), BookError> {
    file.write(Keep::Kept, |connection| {
        let device = farm::device(connection)?;
        let Some(head) = entries::head(connection, device.id)? else { return Ok(()) };
        let Some(entry) = entries::at_place(connection, device.id, head.seq)? else {
            return Ok(());
        };
        let standing = if entry.seq.get() > device.sent {
            Standing::LastAndNotSent
        } else {
            Standing::InTheChain
        };
        let book = fold(&entries::all(connection)?);
        match undo(&book, &entry, standing, None) {
            Ok(Undo::Withdraw(_)) => {
                entries::withdraw(connection, &entry)?;
                did.set(Some(Did::Withdrew(entry)));
            }
            Ok(Undo::AppendVoid(body)) => {
                let draft = Draft { id: void, on: entry.on, body: body.into() };
                entries::append(connection, vec![draft.clone()], wall)?;
                did.set(Some(Did::StruckOut(draft)));
            }
            Err(_) => {}
        }
        Ok(())
    })
}
