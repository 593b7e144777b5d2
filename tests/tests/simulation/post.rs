//! The network between: letters that are lost, doubled, delayed and overtake one another.

use spareloop_cli::sync::courier::{Ask, Heard};
use spareloop_domain::ledger::generate::Dice;

use crate::reach::{Reach, Reached};

/// What a letter says.
#[derive(Debug, Clone)]
pub enum Says {
    /// A device asks the server.
    Ask(Ask),
    /// The server answers.
    Answer(Heard),
}

/// Something on its way.
#[derive(Debug, Clone)]
pub struct Letter {
    number: u64,
    due: u32,
    /// To or from which device.
    pub device: usize,
    /// To or from which of its programs.
    pub program: usize,
    /// What it says.
    pub says: Says,
}

/// How rough it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Weather {
    /// Everything arrives soon and once.
    Calm,
    /// Now and then something goes wrong.
    Changing,
    /// Much goes wrong.
    Rough,
}

impl Weather {
    /// Percent of letters to which each thing happens: lost, doubled, delayed.
    const fn odds(self) -> (u32, u32, u32) {
        match self {
            Self::Calm => (0, 0, 0),
            Self::Changing => (4, 6, 10),
            Self::Rough => (20, 15, 30),
        }
    }
}

/// The letters under way, and a few pushes of long ago.
#[derive(Default)]
pub struct Post {
    under_way: Vec<Letter>,
    old_pushes: Vec<Letter>,
    sent: u64,
}

/// So many pushes are remembered, to arrive once more.
const OLD_PUSHES: usize = 24;

impl Post {
    /// Sends something, in a weather.
    pub fn send(
        &mut self,
        (device, program): (usize, usize),
        says: Says,
        step: u32,
        (weather, dice, reached): (Weather, &mut Dice, &mut Reached),
    ) {
        self.sent += 1;
        let mut letter = Letter { number: self.sent, due: step + 1, device, program, says };
        if matches!(letter.says, Says::Ask(Ask::Push(_))) {
            if self.old_pushes.len() == OLD_PUSHES {
                self.old_pushes.remove(dice.below(24) as usize);
            }
            self.old_pushes.push(letter.clone());
        }
        let (lost, doubled, delayed) = weather.odds();
        if dice.happens(lost) {
            reached.note(Reach::Dropped);
            return;
        }
        if dice.happens(delayed) {
            reached.note(Reach::Delayed);
            letter.due = step + 2 + dice.below(20);
        }
        if dice.happens(doubled) {
            reached.note(Reach::Doubled);
            let due = step + 1 + dice.below(25);
            self.under_way.push(Letter { due, ..letter.clone() });
        }
        self.under_way.push(letter);
    }

    /// Takes out one letter that is due and may pass.
    pub fn next(
        &mut self,
        step: u32,
        may_pass: impl Fn(&Letter) -> bool,
        (dice, reached): (&mut Dice, &mut Reached),
    ) -> Option<Letter> {
        let due: Vec<usize> = (0..self.under_way.len())
            .filter(|at| self.under_way[*at].due <= step && may_pass(&self.under_way[*at]))
            .collect();
        let letter = self.under_way.remove(*dice.pick(&due)?);
        let overtaken =
            |other: &Letter| other.device == letter.device && other.number < letter.number;
        if self.under_way.iter().any(overtaken) {
            reached.note(Reach::Reordered);
        }
        Some(letter)
    }

    /// One of the old pushes, as it was sent.
    pub fn old_push(&self, dice: &mut Dice) -> Option<Letter> {
        dice.pick(&self.old_pushes).cloned()
    }

    /// Everything under way is lost.
    pub fn clear(&mut self) {
        self.under_way.clear();
    }
}
