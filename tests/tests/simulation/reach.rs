//! Which faults the seeds reached, and how often: a fault that is never reached shows nothing.

use std::fmt;

macro_rules! reaches {
    ($($(#[$doc:meta])* $name:ident = $word:literal;)+) => {
        /// Something that the simulation does to the farm, or that came of it.
        #[derive(Debug, Clone, Copy, PartialEq, Eq)]
        pub enum Reach { $($(#[$doc])* $name,)+ }

        impl Reach {
            /// All of them.
            pub const ALL: &'static [Self] = &[$(Self::$name,)+];
            const fn word(self) -> &'static str {
                match self { $(Self::$name => $word,)+ }
            }
        }
    };
}

reaches! {
    /// A message was lost.
    Dropped = "dropped";
    /// A message arrived twice.
    Doubled = "doubled";
    /// A message took long.
    Delayed = "delayed";
    /// A message overtook one that was sent before it.
    Reordered = "reordered";
    /// A push of long ago arrived once more.
    LatePush = "late-push";
    /// A device's link was stopped.
    Stopped = "stopped";
    /// Links came back in another order than they went.
    OtherOrder = "other-order";
    /// A sync was given up half-way.
    CutOff = "cut-off";
    /// A client was stopped before its commit.
    ClientBefore = "crashed-client-before-commit";
    /// A client was stopped after its commit, before anybody was told.
    ClientAfter = "crashed-client-after-commit";
    /// The server was stopped before its commit.
    ServerBefore = "crashed-server-before-commit";
    /// The server was stopped after its commit, before it answered.
    ServerAfter = "crashed-server-after-commit";
    /// A wall clock was set more than a day ahead.
    ClockAhead = "clock-ahead";
    /// A wall clock was set more than a day behind.
    ClockBehind = "clock-behind";
    /// A wall clock was set back, by less than a day from the true time.
    ClockSetBack = "clock-set-back";
    /// A device was put back from an old copy.
    PutBack = "put-back";
    /// A device was cloned, and both went on.
    Cloned = "cloned";
    /// The server was restored from an old copy.
    ServerRestored = "server-restored";
    /// A device and the server were put back to the same night.
    SameNight = "same-night";
    /// A second program was opened on a book.
    SecondProgram = "second-program";
    /// A second program wrote while the first was about to.
    SameMoment = "same-moment";
    /// The server wrote on the house device.
    HouseWrote = "house-wrote";
    /// An entry was withdrawn before it was sent.
    Withdrawn = "withdrawn";
    /// An entry was struck out.
    StruckOut = "struck-out";
    /// The server refused a fork.
    ForkRefused = "fork-refused";
    /// The server refused an entry behind a gap, or one that names another before it.
    ChainRefused = "chain-refused";
    /// The server refused an entry that no book can keep.
    EntryRefused = "entry-refused";
    /// A device took a new id.
    NewId = "new-id";
    /// A page ended before the feed did.
    PageBorder = "page-border";
    /// A stamp more than a day ahead came to the server.
    FarAhead = "far-ahead";
}

/// How often each was reached.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reached(Vec<u64>);

impl Default for Reached {
    fn default() -> Self {
        Self(vec![0; Reach::ALL.len()])
    }
}

impl Reached {
    /// Counts one.
    pub fn note(&mut self, what: Reach) {
        self.0[what as usize] += 1;
    }

    /// Adds another seed's.
    pub fn add(&mut self, other: &Self) {
        for (sum, more) in self.0.iter_mut().zip(&other.0) {
            *sum += more;
        }
    }

    /// What was never reached.
    pub fn never(&self) -> Vec<&'static str> {
        let unreached = |what: &&Reach| self.0[**what as usize] == 0;
        Reach::ALL.iter().filter(unreached).map(|what| what.word()).collect()
    }
}

impl fmt::Display for Reached {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, what) in Reach::ALL.iter().enumerate() {
            let space = if index == 0 { "" } else { " " };
            write!(f, "{space}{}={}", what.word(), self.0[*what as usize])?;
        }
        Ok(())
    }
}
