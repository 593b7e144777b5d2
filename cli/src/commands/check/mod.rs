//! `check`: a dated look at a lot, what is due for one, and the check of the whole book.
//!
//! ```text
//! due    what to look at tonight
//! book   the whole book
//! ```

mod book;
mod due;

use clap::{Args, Subcommand};
use spareloop_domain::ledger::body::{Check as CheckBody, LostUnits, Scope};
use spareloop_domain::ledger::book::Lot;
use spareloop_domain::sampling::LookMade;
use spareloop_domain::settings::Settings;
use spareloop_domain::words::{Count, Day, Look, LossCause};

use super::lot::{recount_of, said};
use super::noted;
use crate::desk::{Desk, draft};
use crate::fault::Fault;
use crate::find;
use crate::printer::Answer;

/// What can be done about checks.
#[derive(Debug, Subcommand)]
pub enum Check {
    /// Note a look at a lot.
    #[command(after_help = "\
Examples:
  spareloop check add 7KQ4M --inspected 40 --sound 38 --rot 2
  spareloop check add 7KQ4M --sample --through-wrap --inspected 15 --sound 15
  spareloop check add 7KQ4M --inspected 37 --sound 37 --missing mislaid     (the book said 38)
Inspected = sound + doubtful + all lost. Soft and smelling is out, never doubtful. Shrivelled but
firm: moisten, note it as doubtful, and look again in 7 days. Three lost in one box: look at all of
it. (Common practice, no source.)")]
    Add(Add),
    /// What to look at tonight, how many of each and why, in walking order.
    #[command(
        visible_alias = "tonight",
        after_help = "\
Examples:
  spareloop check due
  spareloop check due --limit 5
  spareloop check due --place 'cellar / shelf 2' --level 0.1
  spareloop check due --all --every 10
Of each lot so many are enough that trouble in 5 of 100 units would be found 95 times in 100 (method
of ISPM 31); both can be told. With a limit, lots promised to others come first, then those whose
look would settle most of what is unsure at planting. Through the wrap a look sees less: say so with
--efficacy. Looking can't show freedom from what shows no signs."
    )]
    Due(due::Due),
    /// Check the whole stock book: every entry, every sum, what disagrees and what to do about it.
    #[command(after_help = "\
Example: spareloop check book
Exits 0 when nothing disagrees, 5 when something does, and 1 when the file is damaged.
In + made + found = out + lost + in store, for every variety and unit kind.")]
    Book(book::WholeBook),
}

/// Units lost at a look, by cause.
#[derive(Debug, Args)]
struct Lost {
    /// Lost to rot.
    #[arg(long, default_value = "0", hide_default_value = true)]
    rot: Count,
    /// Dried out.
    #[arg(long, default_value = "0", hide_default_value = true)]
    dried_out: Count,
    /// Frozen.
    #[arg(long, default_value = "0", hide_default_value = true)]
    frozen: Count,
    /// Gnawed.
    #[arg(long, default_value = "0", hide_default_value = true)]
    gnawed: Count,
    /// Broken in handling.
    #[arg(long, default_value = "0", hide_default_value = true)]
    broken: Count,
    /// Culled for disease: the lot is stopped.
    #[arg(long, default_value = "0", hide_default_value = true)]
    culled: Count,
    /// Given up on as blind, after waking up.
    #[arg(long, default_value = "0", hide_default_value = true)]
    blind: Count,
    /// Lost to anything else.
    #[arg(long, default_value = "0", hide_default_value = true)]
    other: Count,
}

impl Lost {
    fn units(&self) -> Vec<LostUnits> {
        [
            (LossCause::Rot, self.rot),
            (LossCause::DriedOut, self.dried_out),
            (LossCause::Frozen, self.frozen),
            (LossCause::Gnawed, self.gnawed),
            (LossCause::Broken, self.broken),
            (LossCause::Culled, self.culled),
            (LossCause::Blind, self.blind),
            (LossCause::Other, self.other),
        ]
        .into_iter()
        .filter(|(_, count)| !count.is_zero())
        .map(|(cause, count)| LostUnits { cause, count })
        .collect()
    }
}

/// Notes a look.
#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
// Flags, as clap has them; what they mean together is an enum where they are read.
#[allow(clippy::struct_excessive_bools)]
pub struct Add {
    /// The lot.
    lot: String,
    /// Units looked at; unless told, all that the parts add up to.
    #[arg(long)]
    inspected: Option<Count>,
    /// Sound ones.
    #[arg(long)]
    sound: Count,
    /// Still alive, to be looked at again.
    #[arg(long, default_value = "0")]
    doubtful: Count,
    /// Lost, by cause.
    #[command(flatten)]
    lost: Lost,
    /// Of the living, sprouted early.
    #[arg(long)]
    sprouted: Option<Count>,
    /// A sample was looked at, not all of it.
    #[arg(long)]
    sample: bool,
    /// Looked at through the film or the tote's side.
    #[arg(long, conflicts_with = "unpacked")]
    through_wrap: bool,
    /// Taken out and turned over (the default).
    #[arg(long)]
    unpacked: bool,
    /// What became of those that are missing from the book's count.
    #[arg(long, value_name = "CAUSE")]
    missing: Option<LossCause>,
    /// More are there than the book says: they were found.
    #[arg(long, conflicts_with_all = ["missing", "sample"])]
    found: bool,
    /// The day.
    #[arg(long, value_name = "DAY")]
    on: Option<Day>,
}

/// Runs it.
pub fn run(command: Check, desk: &Desk) -> Result<Answer, Fault> {
    match command {
        Check::Add(it) => add(it, desk),
        Check::Due(it) => due::run(it, desk),
        Check::Book(it) => book::run(it, desk),
    }
}

fn add(it: Add, desk: &Desk) -> Result<Answer, Fault> {
    let on = desk.day(it.on);
    let lost = it.lost.units();
    let all_lost: Count = lost.iter().map(|part| part.count).sum();
    let parts = it.sound.plus(it.doubtful).plus(all_lost);
    let inspected = it.inspected.unwrap_or(parts);
    let mut looked_at = None;
    let mut proves = None;
    let done = desk.note(|book, before| {
        let lot = find::lot(book, before.farm.id, &it.lot)?;
        looked_at = Some(lot.id);
        let then = before.standing(book, on)?;
        let lot = then.lots.get(&lot.id).unwrap_or(lot);
        let mut drafts = Vec::new();
        if it.sample {
            proves = proof(lot.in_store, inspected, all_lost);
        } else {
            let only_part = "If only part of the lot was looked at, give --sample.\n";
            if inspected != lot.in_store {
                // A cause for missing ones says nothing where more are there: that is asked about.
                let missing = it.missing.filter(|_| inspected < lot.in_store);
                let said = said(missing, it.found);
                drafts.push(draft(on, recount_of(lot, inspected, said, only_part)?)?);
            }
        }
        let body = CheckBody {
            lot: lot.id,
            look: if it.through_wrap { Look::ThroughWrap } else { Look::Unpacked },
            scope: if it.sample { Scope::Sample } else { Scope::Whole },
            inspected,
            sound: it.sound,
            doubtful: it.doubtful,
            lost,
            sprouted: it.sprouted,
        };
        drafts.push(draft(on, body)?);
        Ok(drafts)
    })?;
    let mut advice = advice(looked_at.and_then(|lot| done.book.lots.get(&lot)), all_lost);
    advice.extend(proves);
    Ok(noted(desk, &done, &advice))
}

/// What a look at a sample proves of the lot as it then was.
fn proof(there: Count, inspected: Count, lost: Count) -> Option<String> {
    let [there, inspected, lost] = [there, inspected, lost].map(|count| u64::from(count.get()));
    let look = LookMade::new(Some(there), inspected, lost, 1.0).ok()?;
    let proof = look.proves(Settings::default().look_confidence).ok()?;
    Some(format!("Lost: {}", lower_first(&proof.sentence())))
}

fn lower_first(sentence: &str) -> String {
    let mut letters = sentence.chars();
    letters.next().map_or_else(String::new, |first| first.to_lowercase().chain(letters).collect())
}

/// Three losses in one box: look at all of it (common practice, no source).
fn advice(lot: Option<&Lot>, lost: Count) -> Vec<String> {
    let Some(lot) = lot else { return Vec::new() };
    if lost.get() < 3 {
        return Vec::new();
    }
    let place = lot.place.as_ref().map_or_else(|| "its box".to_owned(), ToString::to_string);
    vec![format!("{lost} lost at one look: look at everything in {place}.")]
}
