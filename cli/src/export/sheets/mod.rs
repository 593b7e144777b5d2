//! Tables of a book, one module each. Those of a kind that our own import reads have its fields for
//! headings, so that what goes out can come in again.
//!
//! ```text
//! stock    what is in store, a lot a row          (import stock)
//! lifted   clumps lifted                          (import lifted)
//! checks   storage checks, a look a row           (import checks)
//! plan     plants wanted                          (import plan)
//! lots     every lot that ever was, whole
//! varieties, problems, forecast
//! log      what was noted
//! ```
//!
//! What may not enter: formats, files, reckoning.

mod checks;
mod forecast;
mod labels;
mod lifted;
mod log;
mod lots;
mod plan;
mod problems;
mod stock;
mod varieties;

use std::collections::BTreeMap;

use spareloop_domain::belief::Beliefs;
use spareloop_domain::ledger::book::Lot;
use spareloop_domain::words::{Count, LotId};

use super::table::{Cell, Table};
use crate::book::carry::{self, DeviceRow};
use crate::book::{BookError, link, network};
use crate::desk::{Desk, Opened};
use crate::fault::Fault;
use crate::find;
use labels::Labels;

/// The tables there are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// What is in store.
    Stock,
    /// Clumps lifted.
    Lifted,
    /// Storage checks.
    Checks,
    /// Plants wanted.
    Plan,
    /// Every lot that ever was.
    Lots,
    /// Varieties.
    Varieties,
    /// Where facts disagree.
    Problems,
    /// What will survive, what is spare, what is short.
    Forecast,
    /// What was noted.
    Log,
}

impl Kind {
    /// Every table, in the order in which a workbook has them.
    pub const ALL: [Self; 9] = [
        Self::Stock,
        Self::Forecast,
        Self::Checks,
        Self::Lots,
        Self::Lifted,
        Self::Varieties,
        Self::Plan,
        Self::Problems,
        Self::Log,
    ];
}

/// What the tables are made of.
pub struct Seen<'a> {
    opened: &'a Opened,
    labels: Labels,
    promised: BTreeMap<LotId, Count>,
    beliefs: Beliefs,
    devices: Vec<DeviceRow>,
    desk: &'a Desk,
}

impl<'a> Seen<'a> {
    /// Reads what lies beside the entries.
    pub fn of(desk: &'a Desk, opened: &'a mut Opened) -> Result<Self, Fault> {
        let (promised, told, devices, remembered) = opened.file.read(|connection| {
            Ok::<_, BookError>((
                link::promised(connection)?,
                network::find(connection)?,
                carry::devices(connection)?,
                labels::remembered(connection)?,
            ))
        })?;
        let labels = Labels::of(&opened.book, opened.farm.id, &remembered);
        let beliefs = Beliefs::of(&opened.book, told.as_ref());
        Ok(Self { opened, labels, promised, beliefs, devices, desk })
    }

    /// A table.
    pub fn table(&self, kind: Kind) -> Result<Table, Fault> {
        Ok(match kind {
            Kind::Stock => stock::table(self),
            Kind::Lifted => lifted::table(self),
            Kind::Checks => checks::table(self),
            Kind::Plan => plan::table(self),
            Kind::Lots => lots::table(self),
            Kind::Varieties => varieties::table(self),
            Kind::Problems => problems::table(self),
            Kind::Forecast => forecast::table(self)?,
            Kind::Log => log::table(self),
        })
    }

    /// Lots in the order people look for them: by variety, unit kind, place, code.
    fn lots(&self) -> Vec<&Lot> {
        let book = &self.opened.book;
        let mut lots: Vec<&Lot> = book.lots.values().collect();
        lots.sort_by_cached_key(|lot| {
            (find::variety_name(book, lot.variety), lot.unit, lot.place.clone(), lot.id.code())
        });
        lots
    }

    /// The variety's name as an import reads it: without quotes.
    fn variety(&self, lot: &Lot) -> Cell {
        self.variety_of(lot.variety)
    }

    fn variety_of(&self, variety: spareloop_domain::words::VarietyId) -> Cell {
        let card = self.opened.book.varieties.get(&variety);
        Cell::of(card, |card| Cell::text(card.name.as_str()))
    }
}
