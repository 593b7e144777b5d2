//! Tables as they stood when a trial began, so that a trial that came to nothing costs them nothing.
//!
//! What may not enter: loops, and what a table says.

use super::contents::Gain;

/// What an arc can still pass on, by the value of the parcel.
#[derive(Debug, Default, Clone)]
pub(super) struct Table {
    pub(super) window: Vec<Gain>,
    pub(super) best: Gain,
}

#[derive(Debug)]
struct Line {
    arc: u32,
    was_fresh: bool,
    /// The table from before, once another took its place.
    before: Option<Table>,
}

/// What changed since a trial began.
#[derive(Debug)]
pub(super) struct Journal {
    lines: Vec<Line>,
    /// Where an arc's line stands, if its stamp is the trial's.
    places: Vec<(u64, u32)>,
    trial: u64,
    /// Tables to write on again.
    spare: Vec<Table>,
}

impl Journal {
    pub(super) fn new(arcs: usize) -> Self {
        Self { lines: Vec::new(), places: vec![(0, 0); arcs], trial: 1, spare: Vec::new() }
    }

    /// Begins a trial; the one before stands.
    pub(super) fn begin(&mut self) {
        self.trial += 1;
        self.spare.extend(self.lines.drain(..).filter_map(|line| line.before));
    }

    /// An arc's table is out of date from now on.
    pub(super) fn note(&mut self, arc: u32, was_fresh: bool) {
        let place = &mut self.places[arc as usize];
        if place.0 != self.trial {
            *place = (self.trial, self.lines.len() as u32);
            self.lines.push(Line { arc, was_fresh, before: None });
        }
    }

    /// `table` is about to be written over: what stood there is kept, if it was good when the trial began.
    pub(super) fn keep(&mut self, arc: u32, table: &mut Table) {
        let (trial, place) = self.places[arc as usize];
        if trial == self.trial {
            let line = &mut self.lines[place as usize];
            if line.was_fresh && line.before.is_none() {
                line.before = Some(std::mem::replace(table, self.spare.pop().unwrap_or_default()));
            }
        }
    }

    /// Puts all tables back, and says which arcs changed and whether their tables are good.
    pub(super) fn restore(&mut self, tables: &mut [Table]) -> impl Iterator<Item = (u32, bool)> {
        self.trial += 1;
        let spare = &mut self.spare;
        self.lines.drain(..).map(move |line| {
            if let Some(before) = line.before {
                spare.push(std::mem::replace(&mut tables[line.arc as usize], before));
            }
            (line.arc, line.was_fresh)
        })
    }
}
