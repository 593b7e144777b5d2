//! What goes wrong: programs that are stopped, clocks, links, copies that are put back.

use std::collections::BTreeSet;

use spareloop_domain::planted::Moment;

use crate::device::{Copy, LinkState};
use crate::post::Weather;
use crate::reach::Reach;
use crate::violation::Held;
use crate::wire::Stop;
use crate::world::{MOST_DEVICES, World};

const HOUR: i64 = 60 * 60 * 1000;

impl World {
    /// One thing goes wrong, or is made ready to.
    pub fn mishap(&mut self, device: usize) -> Held {
        match self.dice.below(300) {
            trouble @ 0..=179 => {
                self.trouble(trouble, device);
                Ok(())
            }
            180..=204 => self.copy_book(device),
            205..=224 => self.nightly(device),
            225..=274 => self.late_push(),
            275..=279 => self.put_back(device),
            280..=287 => self.clone_device(device),
            288..=293 => self.restore_house(device),
            _ => self.same_night(device),
        }
    }

    /// Something that shows only later.
    fn trouble(&mut self, which: u32, device: usize) {
        match which {
            0..=59 => self.arm(),
            60..=84 => self.set_clock(device),
            85..=104 => self.stop_link(device),
            105..=139 => self.restore_links(),
            140..=164 => self.change_weather(),
            _ => self.second_program(device),
        }
    }

    /// A program will be stopped at one of its next writes.
    fn arm(&mut self) {
        let moments = [
            Moment::BookWritten,
            Moment::BookCommitted,
            Moment::StoreWritten,
            Moment::StoreCommitted,
        ];
        let at = *self.dice.pick(&moments).expect("four moments");
        let after = self.dice.below(4);
        self.trace.say(format!("{} armed {at:?} {after}", self.step));
        self.wire.arm(Some(Stop { at, after }));
    }

    fn copy_book(&mut self, device: usize) -> Held {
        self.trace.say(format!("{} copy of {device}", self.step));
        let held = self.devices[device].ids();
        self.facts.copied(held);
        let made = self.devices[device].copy(self.step);
        made.map_err(|error| unexplained(format!("a copy of a book failed: {error}")))
    }

    /// In the night the server is copied, and a device with it.
    fn nightly(&mut self, device: usize) -> Held {
        self.trace.say(format!("{} copy of the server", self.step));
        self.house.copy(self.step).map_err(crate::growers::failed)?;
        self.copy_book(device)
    }

    fn set_clock(&mut self, device: usize) {
        let skews = [0, 2 * HOUR, -2 * HOUR, 26 * HOUR, -26 * HOUR, 80 * HOUR, -80 * HOUR, 1, -1];
        let skew = *self.dice.pick(&skews).expect("nine skews");
        self.trace.say(format!("{} clock of {device} {skew}", self.step));
        if skew > 24 * HOUR {
            self.reached.note(Reach::ClockAhead);
        } else if skew < -24 * HOUR {
            self.reached.note(Reach::ClockBehind);
        } else if skew < self.devices[device].skew {
            self.reached.note(Reach::ClockSetBack);
        }
        self.devices[device].skew = skew;
    }

    fn stop_link(&mut self, device: usize) {
        if self.devices[device].link == LinkState::Up {
            self.trace.say(format!("{} link of {device} stops", self.step));
            self.reached.note(Reach::Stopped);
            self.devices[device].link = LinkState::Down;
            self.down.push(device);
        }
    }

    /// One link comes back, whichever.
    fn restore_links(&mut self) {
        let Some(device) = self.dice.pick(&self.down).copied() else { return };
        if self.down.first() != Some(&device) {
            self.reached.note(Reach::OtherOrder);
        }
        self.trace.say(format!("{} link of {device} is back", self.step));
        self.down.retain(|other| *other != device);
        self.devices[device].link = LinkState::Up;
    }

    fn change_weather(&mut self) {
        let weathers = [Weather::Calm, Weather::Changing, Weather::Rough];
        self.weather = *self.dice.pick(&weathers).expect("three weathers");
        self.trace.say(format!("{} weather {:?}", self.step, self.weather));
    }

    /// A second program opens the book, or ends.
    fn second_program(&mut self, device: usize) {
        let programs = self.devices[device].programs.len();
        self.trace.say(format!("{} {programs} programs on {device}", self.step));
        if programs == 1 {
            self.reached.note(Reach::SecondProgram);
            self.devices[device].open_second();
        } else {
            let ends = self.a_program(device);
            self.devices[device].programs.remove(ends);
        }
    }

    /// A push of long ago arrives once more.
    fn late_push(&mut self) -> Held {
        let Some(letter) = self.post.old_push(&mut self.dice) else { return Ok(()) };
        self.reached.note(Reach::LatePush);
        self.trace.say(format!("{} an old push of {} arrives", self.step, letter.device));
        self.arrives(letter)
    }

    /// A device's book is put back from one of its copies.
    fn put_back(&mut self, device: usize) -> Held {
        let Some(copy) = self.dice.pick(&self.devices[device].copies).cloned() else {
            return self.copy_book(device);
        };
        self.put_back_to(device, &copy)
    }

    fn put_back_to(&mut self, device: usize, copy: &Copy) -> Held {
        self.reached.note(Reach::PutBack);
        self.trace.say(format!("{} {device} put back to step {}", self.step, copy.step));
        let before = self.devices[device].ids();
        let put = self.devices[device].put_back(copy, self.now);
        put.map_err(|error| unexplained(format!("a copy can't be put back: {error}")))?;
        let after = self.devices[device].ids();
        self.came_back(&before, &after, Some(device));
        self.look_at(device)
    }

    fn came_back(
        &mut self,
        before: &BTreeSet<String>,
        after: &BTreeSet<String>,
        file: Option<usize>,
    ) {
        let elsewhere = self.held_elsewhere(file);
        let said = self.facts.put_back(before, after, &elsewhere);
        self.trace.say(said.join(" "));
    }

    fn clone_device(&mut self, device: usize) -> Held {
        if self.devices.len() == MOST_DEVICES {
            return Ok(());
        }
        self.reached.note(Reach::Cloned);
        let number = self.devices.len();
        self.trace.say(format!("{} {device} cloned to {number}", self.step));
        let held = self.devices[device].ids();
        self.facts.copied(held);
        let path = self.folder.path().join(format!("book-{number}.db"));
        let clone = self.devices[device]
            .clone_to(path, self.step)
            .map_err(|error| unexplained(format!("a copy of a book failed: {error}")))?;
        self.devices.push(clone);
        self.look_at(number)
    }

    fn restore_house(&mut self, device: usize) -> Held {
        let Some(copy) = self.dice.pick(&self.house.copies).cloned() else {
            return self.nightly(device);
        };
        self.restore_house_from(&copy.path);
        Ok(())
    }

    fn restore_house_from(&mut self, copy: &std::path::Path) {
        self.reached.note(Reach::ServerRestored);
        self.trace.say(format!("{} the server restored", self.step));
        let before: BTreeSet<String> = self.house.reader().ids().into_iter().collect();
        self.house.restore(copy, self.now);
        let after: BTreeSet<String> = self.house.reader().ids().into_iter().collect();
        self.came_back(&before, &after, None);
    }

    /// The shed burned: a device and the server are put back to copies of the same night.
    fn same_night(&mut self, device: usize) -> Held {
        let nights = self.house.copies.iter().rev().find_map(|house| {
            let mut books = self.devices[device].copies.iter();
            books.find(|book| book.step == house.step).map(|book| (house.clone(), book.clone()))
        });
        let Some((house, book)) = nights else { return self.nightly(device) };
        self.reached.note(Reach::SameNight);
        self.restore_house_from(&house.path);
        self.put_back_to(device, &book)
    }
}

fn unexplained(what: String) -> crate::violation::Violation {
    let invariant = crate::violation::Invariant::FailuresExplained;
    crate::violation::Violation { invariant, step: 0, what }
}
