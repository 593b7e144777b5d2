//! One farm's world: a seed decides everything that happens in it.

use std::collections::{BTreeSet, VecDeque};

use spareloop_domain::ledger::Draft;
use spareloop_domain::ledger::generate::{Dice, plausible, wild};
use spareloop_domain::planted::{self, Bug};
use spareloop_domain::words::DeviceId;
use tempfile::TempDir;

use crate::device::Device;
use crate::facts::Facts;
use crate::house::House;
use crate::post::{Letter, Post, Says, Weather};
use crate::reach::Reached;
use crate::template::{BEGIN, template};
use crate::trace::{self, Trace};
use crate::violation::{Held, Violation};
use crate::wire::Wire;

/// Steps of a seed before the faults stop.
pub const STEPS: u32 = 400;
/// Most letters that arrive in one step.
const LETTERS: u32 = 6;
/// A farm has no more devices than this, clones among them.
pub const MOST_DEVICES: usize = 5;

/// Everything there is.
pub struct World {
    /// Decides.
    pub dice: Dice,
    /// The true time, in milliseconds since 1970 UTC; the server's clock shows it.
    pub now: u64,
    /// The step.
    pub step: u32,
    /// What happened.
    pub trace: Trace,
    /// Which faults were reached.
    pub reached: Reached,
    /// Reaches into the rooms under test.
    pub wire: Wire,
    /// The server.
    pub house: House,
    /// The devices, clones among them.
    pub devices: Vec<Device>,
    /// Devices whose links are down, in the order in which they went.
    pub down: Vec<usize>,
    /// The network between.
    pub post: Post,
    /// How rough the network is.
    pub weather: Weather,
    /// What was committed.
    pub facts: Facts,
    /// What is still to be noted.
    winter: VecDeque<Draft>,
    /// Where all files lie.
    pub folder: TempDir,
}

/// Whether a seed prints what happens.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Told {
    Aloud,
    Silently,
}

/// What a seed came to.
pub struct Outcome {
    /// The hash over all that happened.
    pub trace: String,
    /// Which faults were reached.
    pub reached: Reached,
    /// Entries committed.
    pub entries: usize,
    /// Rounds until quiet came.
    pub rounds: u32,
    /// What didn't hold.
    pub violation: Option<Violation>,
}

/// Runs a seed with or without a planted mistake.
pub fn run(seed: u64, bug: Option<Bug>, told: Told) -> Outcome {
    planted::plant(bug);
    planted::seed(Some(seed ^ 0x5eed));
    let mut world = World::new(seed, told);
    let lived = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| world.live()));
    planted::plant(None);
    planted::seed(None);
    let lived = lived.unwrap_or_else(|panic| Err(panicked(&*panic)));
    let step = world.step;
    let (rounds, violation) = match lived {
        Ok(rounds) => (rounds, None),
        Err(violation) => (0, Some(Violation { step, ..violation })),
    };
    Outcome {
        trace: world.trace.end(),
        reached: world.reached,
        entries: world.facts.count(),
        rounds,
        violation,
    }
}

fn panicked(panic: &(dyn std::any::Any + Send)) -> Violation {
    let text = panic
        .downcast_ref::<String>()
        .map(String::as_str)
        .or_else(|| panic.downcast_ref::<&str>().copied())
        .unwrap_or("it says nothing");
    Violation {
        invariant: crate::violation::Invariant::FailuresExplained,
        step: 0,
        what: format!("a panic: {text}"),
    }
}

/// In memory where the system has such a folder: thousands of small files are made and thrown away.
fn folder() -> TempDir {
    let memory = std::path::Path::new("/dev/shm");
    if memory.is_dir() { tempfile::tempdir_in(memory) } else { tempfile::tempdir() }
        .expect("a folder")
}

impl World {
    fn new(seed: u64, told: Told) -> Self {
        let mut dice = Dice::new(seed);
        let folder = folder();
        let house_file = folder.path().join("server.db");
        std::fs::write(&house_file, &template().house).expect("the server's file");
        let house = House::start(house_file, BEGIN);
        let mut devices = Vec::new();
        for number in 0..2 + dice.below(3) {
            let path = folder.path().join(format!("book-{number}.db"));
            devices.push(Device::new(path, DeviceId::new(dice.id()), BEGIN));
        }
        let trace = match told {
            Told::Aloud => Trace::aloud(),
            Told::Silently => Trace::default(),
        };
        Self {
            winter: winter(&mut dice),
            dice,
            now: BEGIN,
            step: 0,
            trace,
            reached: Reached::default(),
            wire: Wire::default(),
            house,
            devices,
            down: Vec::new(),
            post: Post::default(),
            weather: Weather::Changing,
            facts: Facts::default(),
            folder,
        }
    }

    /// Lives through all steps, then comes to rest. Answers after how many rounds.
    fn live(&mut self) -> Held<u32> {
        for step in 1..=STEPS {
            self.step = step;
            self.now += u64::from(self.dice.below(40 * 60_000));
            self.something_happens()?;
            self.deliver()?;
        }
        self.come_to_rest()
    }

    fn something_happens(&mut self) -> Held {
        let device = self.a_device();
        match self.dice.below(1000) {
            0..=299 => self.note_something(device),
            300..=559 => self.begin_sync(device),
            560..=619 => self.undo_something(device),
            620..=679 => self.house_notes(),
            _ => self.mishap(device),
        }
    }

    /// One of the devices.
    pub fn a_device(&mut self) -> usize {
        let many = u32::try_from(self.devices.len()).expect("a few devices");
        self.dice.below(many) as usize
    }

    /// One of a device's programs.
    pub fn a_program(&mut self, device: usize) -> usize {
        let many = u32::try_from(self.devices[device].programs.len()).expect("one or two");
        self.dice.below(many) as usize
    }

    /// What the farm notes next.
    pub fn drafts(&mut self, many: u32) -> Vec<Draft> {
        (0..many)
            .map(|_| {
                if self.winter.is_empty() {
                    self.winter = winter(&mut self.dice);
                }
                let mut draft = self.winter.pop_front().expect("a winter has entries");
                if self.dice.happens(1) {
                    draft.body = unkeepable();
                }
                draft
            })
            .collect()
    }

    /// Puts a letter into the post.
    pub fn send(&mut self, from: (usize, usize), says: Says) {
        let line = match &says {
            Says::Ask(ask) => trace::ask(ask),
            Says::Answer(heard) => trace::heard(heard),
        };
        self.trace.say(format!("{} {from:?} {line}", self.step));
        let by = (self.weather, &mut self.dice, &mut self.reached);
        self.post.send(from, says, self.step, by);
    }

    fn deliver(&mut self) -> Held {
        for _ in 0..LETTERS {
            let devices = &self.devices;
            let may_pass = |letter: &Letter| devices[letter.device].passes();
            let by = (&mut self.dice, &mut self.reached);
            let Some(letter) = self.post.next(self.step, may_pass, by) else { break };
            self.arrives(letter)?;
        }
        Ok(())
    }

    /// A letter arrives.
    pub fn arrives(&mut self, letter: Letter) -> Held {
        let at = (letter.device, letter.program);
        match letter.says {
            Says::Ask(ask) => match self.house_hears(at.0, &ask)? {
                Some(answer) => {
                    self.send(at, Says::Answer(answer));
                    Ok(())
                }
                None => Ok(()),
            },
            Says::Answer(heard) => {
                self.trace.say(format!("{} {at:?} hears {}", self.step, trace::heard(&heard)));
                self.program_hears(at, Some(heard)).map(drop)
            }
        }
    }

    /// The ids of all entries that others than this file hold, set aside ones among them.
    pub fn held_elsewhere(&mut self, but: Option<usize>) -> BTreeSet<String> {
        let mut ids = BTreeSet::new();
        if but.is_some() {
            ids.extend(self.house.reader().ids());
        }
        for (index, device) in self.devices.iter_mut().enumerate() {
            if but != Some(index) {
                ids.extend(device.ids());
            }
        }
        ids
    }
}

/// Entries as the ledger's generator writes them, plausible ones and wild ones.
fn winter(dice: &mut Dice) -> VecDeque<Draft> {
    let seed = dice.roll();
    let written = if dice.happens(60) { plausible(seed, 160) } else { wild(seed, 160) };
    written
        .into_iter()
        .map(|entry| {
            let body = entry.read_body().expect("the generator writes what can be read");
            Draft { id: entry.id, on: entry.on, body }
        })
        .collect()
}

/// A kind whose name is longer than any server takes.
fn unkeepable() -> spareloop_domain::ledger::Body {
    let body = serde_json::json!({"v": 1});
    spareloop_domain::ledger::Body::Newer { kind: "k".repeat(70), body }
}
