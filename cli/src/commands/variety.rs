//! `variety`: name varieties, note what is known of them, list them.

use clap::{Args, Subcommand};
use serde::Serialize;
use serde_json::json;
use spareloop_domain::ledger::Book;
use spareloop_domain::ledger::body::VarietyNote;
use spareloop_domain::words::{
    Day, Identity, Intention, Protection, VarietyCard, VarietyId, VarietyName,
};

use super::noted;
use crate::desk::{Desk, draft};
use crate::fault::Fault;
use crate::find;
use crate::fresh;
use crate::printer::{Answer, table};

/// What can be done with varieties.
#[derive(Debug, Subcommand)]
pub enum Variety {
    /// Name a variety.
    #[command(after_help = "Example: spareloop variety add 'Ember Lantern' --form FD --size BB")]
    Add(Add),
    /// List them.
    #[command(after_help = "Example: spareloop variety list")]
    List,
    /// Note what is known of one.
    #[command(after_help = "\
Examples:
  spareloop variety note 'Ember Lantern' --intention increase --text 'keeps well in film'
  spareloop variety note 'Ember Lantern' --protected --holder 'A. Breeder' --permission P-17
The law of plant breeders' rights and plant patents differs by country; ask the holder or the
authority. Protected without a permission number: no offer, sale or gift.")]
    Note(Note),
}

/// Names a variety.
#[derive(Debug, Args)]
pub struct Add {
    /// Its name.
    name: VarietyName,
    /// Name it although a similar name is in the book.
    #[arg(long)]
    anyway: bool,
    #[command(flatten)]
    known: Known,
}

/// Notes what is known.
#[derive(Debug, Args)]
pub struct Note {
    /// Which variety.
    variety: String,
    #[command(flatten)]
    known: Known,
}

/// What may be known of a variety.
#[derive(Debug, Args)]
struct Known {
    /// Another name that it goes by; may be given again.
    #[arg(long = "alias", value_name = "NAME")]
    aliases: Vec<VarietyName>,
    /// Form code of the trade, as FD.
    #[arg(long)]
    form: Option<String>,
    /// Size class of the trade, as BB.
    #[arg(long)]
    size: Option<String>,
    /// Colour class of the trade, as DP.
    #[arg(long)]
    colour: Option<String>,
    /// `sure` or `unsure`.
    #[arg(long)]
    identity: Option<Identity>,
    /// `increase`, `keep` or `drop`.
    #[arg(long)]
    intention: Option<Intention>,
    /// Keeping quality, traits and the like.
    #[arg(long)]
    text: Option<String>,
    /// Nobody holds a right in it.
    #[arg(long, conflicts_with = "protected")]
    free: bool,
    /// Somebody holds a breeder's right or plant patent in it.
    #[arg(long)]
    protected: bool,
    /// Who holds it.
    #[arg(long, requires = "protected")]
    holder: Option<String>,
    /// Where it holds.
    #[arg(long, requires = "protected")]
    region: Option<String>,
    /// Until when.
    #[arg(long, requires = "protected")]
    until: Option<Day>,
    /// The number of the permission that the farm was given.
    #[arg(long, requires = "protected")]
    permission: Option<String>,
    /// The day it was learned.
    #[arg(long, value_name = "DAY")]
    on: Option<Day>,
}

impl Known {
    fn note(self, variety: VarietyId, name: Option<VarietyName>) -> VarietyNote {
        let protection = if self.protected {
            Some(Protection::Protected {
                holder: self.holder,
                region: self.region,
                until: self.until,
                permission: self.permission,
            })
        } else {
            self.free.then_some(Protection::Free)
        };
        VarietyNote {
            name,
            aliases: (!self.aliases.is_empty()).then_some(self.aliases),
            form: self.form,
            size: self.size,
            colour: self.colour,
            identity: self.identity,
            protection,
            intention: self.intention,
            text: self.text,
            ..VarietyNote::about(variety)
        }
    }
}

/// Runs it.
pub fn run(command: Variety, desk: &Desk) -> Result<Answer, Fault> {
    match command {
        Variety::Add(it) => add(it, desk),
        Variety::List => list(desk),
        Variety::Note(it) => note(it, desk),
    }
}

fn add(it: Add, desk: &Desk) -> Result<Answer, Fault> {
    let on = desk.day(it.known.on);
    let advice: Vec<String> =
        it.name.advice().iter().map(|advice| format!("Advice: {advice}.")).collect();
    let done = desk.note(|book, _| {
        refuse_known(book, &it.name)?;
        if !it.anyway {
            refuse_near(book, &it.name)?;
        }
        let id = VarietyId::new(fresh::uuid()?);
        Ok(vec![draft(on, it.known.note(id, Some(it.name.clone())))?])
    })?;
    Ok(noted(desk, &done, &advice))
}

fn refuse_known(book: &Book, name: &VarietyName) -> Result<(), Fault> {
    find::known_variety(book, name.as_str()).map_or(Ok(()), |card| {
        Err(Fault::refused(
            format!("The book has {} already.", card.name.quoted()),
            format!("To note more of it: spareloop variety note {}", card.name.quoted()),
        ))
    })
}

fn refuse_near(book: &Book, name: &VarietyName) -> Result<(), Fault> {
    let known = book.varieties.values().map(|card| card.name.as_str());
    let near = find::likely_slips(name.as_str(), known);
    if near.is_empty() {
        return Ok(());
    }
    Err(Fault::decision(
        format!("The book has a name much like {}.", name.quoted()),
        format!("{}If it is another variety, give --anyway.", find::did_you_mean(&near)),
    ))
}

fn note(it: Note, desk: &Desk) -> Result<Answer, Fault> {
    let on = desk.day(it.known.on);
    let done = desk.note(|book, _| {
        let id = find::variety(book, &it.variety)?.id;
        let note = it.known.note(id, None);
        if note == VarietyNote::about(id) {
            return Err(Fault::usage(
                "Nothing was said of the variety.",
                "Say something with --text, --intention, --identity, --protected, --alias ...",
            ));
        }
        Ok(vec![draft(on, note)?])
    })?;
    Ok(noted(desk, &done, &[]))
}

#[derive(Serialize)]
struct Row<'a> {
    #[serde(flatten)]
    card: &'a VarietyCard,
    lots: usize,
}

fn list(desk: &Desk) -> Result<Answer, Fault> {
    let opened = desk.book()?;
    let mut cards: Vec<&VarietyCard> = opened.book.varieties.values().collect();
    cards.sort_by_key(|card| card.name.key());
    let lots_of = |card: &VarietyCard| {
        let lots = opened.book.lots.values();
        lots.filter(|lot| lot.variety == card.id && !lot.in_store.is_zero()).count()
    };
    let rows: Vec<Vec<String>> = cards
        .iter()
        .map(|card| {
            let word = |text: &Option<String>| text.clone().unwrap_or_default();
            vec![
                card.name.quoted(),
                word(&card.form),
                word(&card.size),
                word(&card.colour),
                lots_of(card).to_string(),
                remark(card),
            ]
        })
        .collect();
    let text = if rows.is_empty() {
        "No variety is named yet. Name one with: spareloop variety add NAME".to_owned()
    } else {
        table(&["variety", "form", "size", "colour", "lots", ""], &rows)
    };
    let data: Vec<Row> = cards.iter().map(|card| Row { card, lots: lots_of(card) }).collect();
    Ok(Answer::new("variety-list", text, json!({ "varieties": data })))
}

fn remark(card: &VarietyCard) -> String {
    let mut words = Vec::new();
    if card.identity == Identity::Unsure {
        words.push(card.identity.to_string());
    }
    if let Protection::Protected { permission, .. } = &card.protection {
        words.push(match permission {
            Some(number) => format!("protected, permission {number}"),
            None => "protected, no permission recorded".to_owned(),
        });
    }
    if let Some(intention) = card.intention {
        words.push(intention.to_string());
    }
    words.join("; ")
}
