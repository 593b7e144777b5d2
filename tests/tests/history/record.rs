//! What was called and what was answered, as whoever called lived it.

use std::sync::Mutex;
use std::time::Instant;

use spareloop_domain::words::{Count, HoldId, OfferId};

use crate::offer::{Act, Answer, Offer};
use crate::search::{Call, End};

/// A hold that somebody asked for.
#[derive(Debug, Clone, Copy)]
pub struct Asked {
    /// Its id.
    pub id: HoldId,
    /// How many.
    pub count: u32,
    /// Which of the takers.
    pub taker: usize,
}

/// One offer's history so far.
pub struct History {
    /// The offer.
    pub offer: OfferId,
    /// Units offered.
    pub units: u32,
    begun: Instant,
    asked: Mutex<Vec<Asked>>,
    calls: Mutex<Vec<Call<Act, Answer>>>,
}

impl History {
    /// An offer that nobody has called yet.
    pub fn of(offer: OfferId, units: Count, begun: Instant) -> Self {
        let (asked, calls) = (Mutex::default(), Mutex::default());
        Self { offer, units: units.get(), begun, asked, calls }
    }

    /// A hold about to be asked for; answers its number.
    pub fn ask(&self, asked: Asked) -> usize {
        let mut all = self.asked.lock().unwrap();
        all.push(asked);
        all.len() - 1
    }

    /// The holds that were asked for, by number.
    pub fn asked(&self) -> Vec<Asked> {
        self.asked.lock().unwrap().clone()
    }

    /// Now, on the one clock that all callers share.
    pub fn now(&self) -> u64 {
        u64::try_from(self.begun.elapsed().as_nanos()).expect("a test ends within centuries")
    }

    /// Notes a call that was sent at `from` and answered just now, or never.
    pub fn note(&self, act: Act, from: u64, answer: Option<Answer>) {
        let end = match answer {
            Some(answer) => End::Answered { at: self.now(), answer },
            None => End::Unknown,
        };
        self.calls.lock().unwrap().push(Call { act, from, end });
    }

    /// All that was noted.
    pub fn calls(&self) -> Vec<Call<Act, Answer>> {
        self.calls.lock().unwrap().clone()
    }

    /// The offer as the checker takes it.
    pub fn model(&self) -> Offer {
        let asked = self.asked().iter().map(|asked| asked.count).collect();
        Offer { units: self.units, asked }
    }
}
