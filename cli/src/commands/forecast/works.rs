//! `forecast works`: one way of keeping stock against another, by what came through here.

use clap::{Args, ValueEnum};
use serde_json::{Value, json};
use spareloop_domain::ledger::Book;
use spareloop_domain::words::fold_key;
use spareloop_domain::works::{
    Difference, MoreToSettle, Rules, Verdict, Way, arms, compare, looks, verdict_sentence,
};

use crate::desk::Desk;
use crate::fault::Fault;
use crate::find;
use crate::printer::Answer;

/// Compares.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  spareloop forecast works
  spareloop forecast works packing
  spareloop forecast works packing --between 'film wrap' --and vermiculite
Ways are compared where both were used for some of the same varieties, by at least 5 lots each, with
the varieties' own differences taken out. What the looks don't bear is not stated; it says why.
Autumn is August to December. A difference is one of this farm's lots, not a promise for others.")]
pub(super) struct Works {
    /// What to compare; all four unless told.
    #[arg(value_enum)]
    way: Option<WayArg>,
    /// One of two, as 'film wrap' or cellar; with --and.
    #[arg(long, requires = "other", requires = "way")]
    between: Option<String>,
    /// The other of two; with --between.
    #[arg(long = "and", id = "other", requires = "between")]
    other: Option<String>,
}

/// What can be compared.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum WayArg {
    /// What stock lies in.
    Packing,
    /// The room it lies in: the largest part of the place.
    Place,
    /// Clumps divided in autumn against spring.
    Division,
    /// Tools disinfected between clumps, or not.
    Tools,
}

impl From<WayArg> for Way {
    fn from(way: WayArg) -> Self {
        match way {
            WayArg::Packing => Self::Packing,
            WayArg::Place => Self::Place,
            WayArg::Division => Self::Division,
            WayArg::Tools => Self::Tools,
        }
    }
}

/// Most ways that are compared with one another unless two are named: three make three pairs.
const MOST_ARMS: usize = 3;

/// Runs it.
pub(super) fn run(it: &Works, desk: &Desk) -> Result<Answer, Fault> {
    let opened = desk.book()?;
    let book = &opened.book;
    let ways = it.way.map_or(Way::ALL.to_vec(), |way| vec![way.into()]);
    let named = it.between.as_deref().zip(it.other.as_deref());
    let (mut parts, mut views) = (Vec::new(), Vec::new());
    for way in ways {
        let pairs = match named {
            Some(two) => vec![two_of(book, way, two)?],
            None => pairs(book, way),
        };
        if pairs.is_empty() {
            parts.push(format!("{}: {}", capital(way.words()), only_one(book, way)));
            views.push(json!({ "way": way.words(), "compared": [] }));
            continue;
        }
        let mut compared = Vec::new();
        for (one, other) in pairs {
            let verdict = compare(&looks(book, way, [&one, &other]), Rules::default());
            let sentence = verdict_sentence(&verdict);
            compared.push(view(&one, &other, &verdict, &sentence));
            parts.push(format!("{one} or {other}: {sentence}"));
        }
        views.push(json!({ "way": way.words(), "compared": compared }));
    }
    Ok(Answer::new("forecast-works", parts.join("\n"), json!({ "ways": views })))
}

fn pairs(book: &Book, way: Way) -> Vec<(String, String)> {
    let arms: Vec<String> = arms(book, way).into_iter().take(MOST_ARMS).map(|arm| arm.0).collect();
    let mut pairs = Vec::new();
    for (at, one) in arms.iter().enumerate() {
        pairs.extend(arms[at + 1..].iter().map(|other| (one.clone(), other.clone())));
    }
    pairs
}

fn only_one(book: &Book, way: Way) -> String {
    match arms(book, way).first() {
        None => "nothing is noted of these for lots that were looked at.".to_owned(),
        Some((arm, lots)) => {
            format!("only {arm} is noted, for {lots} lots that were looked at; nothing to compare.")
        }
    }
}

fn two_of(book: &Book, way: Way, (one, other): (&str, &str)) -> Result<(String, String), Fault> {
    let known = arms(book, way);
    let found = |text: &str| {
        let arm = known.iter().find(|(arm, _)| fold_key(arm) == fold_key(text));
        arm.map(|(arm, _)| arm.clone()).ok_or_else(|| {
            let names: Vec<&str> = known.iter().map(|(arm, _)| arm.as_str()).collect();
            let near = find::likely_slips(text, names.iter().copied());
            Fault::refused(
                format!(
                    "No lot that was looked at is noted under {text:?}.{}",
                    find::did_you_mean(&near)
                ),
                format!(
                    "There are: {}.",
                    if names.is_empty() { "none".to_owned() } else { names.join(", ") }
                ),
            )
        })
    };
    Ok((found(one)?, found(other)?))
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

fn view(one: &str, other: &str, verdict: &Verdict, sentence: &str) -> Value {
    let difference = verdict.as_ref().ok().map(difference);
    json!({
        "between": [one, other],
        "sentence": sentence,
        "difference": difference,
    })
}

fn difference(it: &Difference) -> Value {
    json!({
        "alive_after_180_days": it.arms.iter().map(|arm| arm.alive).collect::<Vec<_>>(),
        "lots": it.arms.iter().map(|arm| arm.lots).collect::<Vec<_>>(),
        "units": it.arms.iter().map(|arm| arm.units).collect::<Vec<_>>(),
        "lost": it.arms.iter().map(|arm| arm.lost).collect::<Vec<_>>(),
        "expected": it.expected,
        "low": it.low,
        "high": it.high,
        "better": it.arms[it.better.arm].name,
        "chance": it.better.chance,
        "more_units": match it.more {
            MoreToSettle::Nothing => json!(0),
            MoreToSettle::Units(units) => json!(units),
            MoreToSettle::OutOfReach => Value::Null,
        },
    })
}
