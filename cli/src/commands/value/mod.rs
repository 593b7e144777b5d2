//! `value`: what a unit is fairly worth against others, why, and how it moved.
//!
//! All of it works offline, from what the network said at the last sync. What may not enter: a
//! reckoning; the server and this program ask the same function.

mod explain;
mod history;
mod show;

use clap::{Args, Subcommand};
use spareloop_domain::value::network::{ToldValue, values_of};
use spareloop_domain::words::{UnitKind, fold_key, near_misses};

use crate::book::values::{self, Kept};
use crate::desk::{Desk, OpenedBook};
use crate::fault::Fault;
use crate::find;
use crate::printer::Answer;

/// What a unit is fairly worth against others, why, and how it moved.
#[derive(Debug, Subcommand)]
#[command(after_help = "\
Examples:
  spareloop value show
  spareloop value explain 'Zindle Ember'
  spareloop value history 'Zindle Ember'
1 is a unit of a variety that multiplies like the network's median and is neither wanted more nor
less than it is offered. A value never depends on who asks. It is reckoned here, offline too, from
what the network said at the last sync; the server reckons the same.")]
pub enum Value {
    /// Values, likely ranges and how likely the network runs short.
    #[command(after_help = "\
Examples:
  spareloop value show
  spareloop value show 'Zindle Ember'
  spareloop value show --unit clump
Likely: 1 winter in 10 is below the range, 1 in 10 above. Short: winters of 100 in which one unit
more would have been taken.")]
    Show(One),
    /// Every step of one value with its figures.
    #[command(after_help = "\
Examples:
  spareloop value explain 'Zindle Ember'
  spareloop value explain 'Zindle Ember' --unit clump
A variety of your own that nobody offers or wants is explained from your own records.")]
    Explain(Named),
    /// How one value moved over the season: a table and a small chart.
    #[command(after_help = "\
Example: spareloop value history 'Zindle Ember'
One line a day on which a sync brought news. In the chart, o is the value and - its likely range.")]
    History(Named),
}

/// One variety, or all.
#[derive(Debug, Args)]
pub struct One {
    /// Only this variety.
    variety: Option<String>,
    /// Only this kind of unit: division, clump, pot-tuber, started-plant, rooted-cutting.
    #[arg(long)]
    unit: Option<UnitKind>,
}

/// One variety.
#[derive(Debug, Args)]
pub struct Named {
    /// The variety.
    variety: String,
    /// The kind of unit, where the network has several: division, clump, pot-tuber,
    /// started-plant, rooted-cutting.
    #[arg(long)]
    unit: Option<UnitKind>,
}

/// Runs it.
pub fn run(it: Value, desk: &Desk) -> Result<Answer, Fault> {
    match it {
        Value::Show(one) => show::run(&one, desk),
        Value::Explain(named) => explain::run(&named, desk),
        Value::History(named) => history::run(&named, desk),
    }
}

/// The market of the last sync and its values.
struct Told {
    opened: OpenedBook,
    kept: Kept,
    values: Vec<ToldValue>,
}

impl Told {
    fn at(desk: &Desk) -> Result<Self, Fault> {
        let mut opened = desk.book()?;
        let Some(kept) = opened.file.read(values::find)? else { return Err(nothing_told()) };
        let values = values_of(&kept.market)
            .map_err(|error| Fault::failed(format!("{error}."), "Sync again: spareloop sync"))?;
        Ok(Self { opened, kept, values })
    }

    /// The folded name that is meant: one of the network's, or one of the book's own.
    fn key(&self, text: &str) -> Result<String, Fault> {
        let wanted = fold_key(text);
        if self.kept.market.varieties.iter().any(|one| fold_key(&one.name) == wanted) {
            return Ok(wanted);
        }
        if let Some(card) = find::known_variety(&self.opened.book, text) {
            return Ok(card.name.key());
        }
        let mut near =
            near_misses(text, self.kept.market.varieties.iter().map(|one| one.name.as_str()));
        near.extend(find::near_varieties(&self.opened.book, text));
        near.dedup();
        Err(Fault::refused(
            format!("Neither the network nor your stock book knows a variety '{text}'."),
            format!("{}See all: spareloop value show", find::did_you_mean(&near)),
        ))
    }

    /// The values of one variety, of one kind of unit if that is asked for.
    fn of(&self, key: &str, unit: Option<UnitKind>) -> impl Iterator<Item = &ToldValue> {
        self.values.iter().filter(move |one| {
            fold_key(&one.variety) == key && unit.is_none_or(|unit| unit == one.unit)
        })
    }

    fn as_of(&self) -> String {
        format!("As the network stood on {}, told at the last sync.", self.kept.market.made)
    }
}

fn nothing_told() -> Fault {
    Fault::refused(
        "The network has told nothing of its offers and wants here yet.",
        "Connect the farm (spareloop farm connect), then: spareloop sync",
    )
}

/// "Zindle Ember", and the kind of unit where it isn't the usual one.
fn title(told: &ToldValue) -> String {
    match told.unit {
        UnitKind::Division => format!("'{}'", told.variety),
        other => format!("'{}' ({})", told.variety, other.plural()),
    }
}
