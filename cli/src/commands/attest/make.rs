//! `attest make`: from flags and the stock book to a statement.

use clap::{ArgGroup, Args};
use spareloop_domain::attest::{
    Applied, BenchHygiene, LaboratoryTest, LookedOver, MovementPapers, Origin, Says, Soak, Whence,
    hygiene_of, look_of, origin_of, soak_of,
};
use spareloop_domain::ledger::book::Lot;
use spareloop_domain::words::{Count, Day, Look, StatementId};

use crate::commands::bench::Tools;
use crate::desk::{Desk, OpenedBook};
use crate::fault::Fault;
use crate::find;
use crate::printer::Answer;

/// States something about a lot.
#[derive(Debug, Args)]
#[command(group(ArgGroup::new("what").required(true)
    .args(["hygiene", "soak", "looked", "laboratory", "origin", "papers"])))]
#[command(allow_negative_numbers = true)]
pub struct Make {
    /// The lot, by code or id.
    lot: String,
    #[command(flatten)]
    kind: Kind,
    #[command(flatten)]
    facts: Facts,
    /// The earlier statement in whose place this one stands.
    #[arg(long, value_name = "STATEMENT")]
    supersedes: Option<StatementId>,
}

/// What is stated: exactly one of these, which the group of [`Make`] sees to.
#[derive(Debug, Args)]
#[allow(clippy::struct_excessive_bools)]
struct Kind {
    /// How the bench was kept clean, from the dividing session in the book.
    #[arg(long)]
    hygiene: bool,
    /// A soak of the tubers, from the dividing session in the book.
    #[arg(long)]
    soak: bool,
    /// Looked over for signs of disease or pest, from the last look in the book.
    #[arg(long)]
    looked: bool,
    /// A laboratory's test.
    #[arg(long)]
    laboratory: bool,
    /// Where the lot comes from, from the book.
    #[arg(long)]
    origin: bool,
    /// Papers of an authority that the farm holds.
    #[arg(long)]
    papers: bool,
}

/// What the book doesn't have, or has otherwise.
#[derive(Debug, Args)]
struct Facts {
    /// The day that it is about.
    #[arg(long, value_name = "DAY")]
    on: Option<Day>,
    /// With --hygiene: what was done with the tools between clumps.
    #[arg(long, value_enum)]
    tools: Option<Tools>,
    /// With --hygiene the tool dip, with --soak the soak: what it was, as on its label.
    #[arg(long)]
    agent: Option<String>,
    /// Its active strength in percent.
    #[arg(long, requires = "agent")]
    percent: Option<f64>,
    /// Contact time in minutes.
    #[arg(long, requires = "agent")]
    minutes: Option<f64>,
    /// With --looked: how it was looked at, `unpacked` or `through-wrap`.
    #[arg(long)]
    look: Option<Look>,
    /// With --looked: units looked at.
    #[arg(long)]
    inspected: Option<Count>,
    /// With --looked: units that the lot had.
    #[arg(long)]
    of: Option<Count>,
    /// With --looked: units that showed signs.
    #[arg(long, requires = "signs")]
    with_signs: Option<Count>,
    /// With --looked: which signs.
    #[arg(long, requires = "with_signs")]
    signs: Option<String>,
    /// With --laboratory: which disease or pest was tested for.
    #[arg(long)]
    target: Option<String>,
    /// With --laboratory: by which method.
    #[arg(long)]
    method: Option<String>,
    /// With --laboratory: units tested.
    #[arg(long)]
    tested: Option<Count>,
    /// With --laboratory: units in which it was found.
    #[arg(long)]
    positive: Option<Count>,
    /// With --laboratory: its name.
    #[arg(long, value_name = "LABORATORY")]
    at: Option<String>,
    /// With --laboratory: its reference of the report.
    #[arg(long)]
    reference: Option<String>,
    /// With --origin: the first year in which the farm grew it.
    #[arg(long, value_name = "YEAR")]
    since: Option<u16>,
    /// With --papers: the authority's name.
    #[arg(long)]
    authority: Option<String>,
    /// With --papers: their number.
    #[arg(long)]
    number: Option<String>,
    /// With --papers: where they hold.
    #[arg(long = "where", value_name = "PLACE")]
    valid_where: Option<String>,
    /// With --papers: the last day on which they hold.
    #[arg(long, value_name = "DAY")]
    until: Option<Day>,
}

/// Runs it.
pub(super) fn run(it: Make, desk: &Desk) -> Result<Answer, Fault> {
    let mut opened = desk.book()?;
    let lot = find::lot(&opened.book, opened.farm.id, &it.lot)?.clone();
    let says = says(&it.kind, it.facts, &opened, &lot)?;
    super::sign_and_keep(desk, &mut opened.file, lot.id, it.supersedes, says)
}

fn says(kind: &Kind, facts: Facts, opened: &OpenedBook, lot: &Lot) -> Result<Says, Fault> {
    if kind.hygiene {
        hygiene(facts, opened, lot).map(Says::BenchHygiene)
    } else if kind.soak {
        soak(facts, opened, lot).map(Says::Soak)
    } else if kind.looked {
        looked(facts, lot).map(Says::LookedOver)
    } else if kind.laboratory {
        laboratory(facts).map(Says::LaboratoryTest)
    } else if kind.origin {
        origin(&facts, opened, lot).map(Says::Origin)
    } else {
        papers(facts).map(Says::MovementPapers)
    }
}

/// A fact that neither a flag nor the book gives.
fn needed<T>(fact: Option<T>, flag: &str, what: &str) -> Result<T, Fault> {
    fact.ok_or_else(|| {
        Fault::decision(
            format!("The stock book does not say {what}."),
            format!("Nothing was signed. Give it with {flag}."),
        )
    })
}

impl Facts {
    fn applied(&self) -> Option<Applied> {
        self.agent.as_ref().map(|agent| Applied {
            agent: agent.trim().to_owned(),
            strength_percent: self.percent,
            minutes: self.minutes,
        })
    }
}

fn hygiene(facts: Facts, opened: &OpenedBook, lot: &Lot) -> Result<BenchHygiene, Fault> {
    let noted = hygiene_of(&opened.book, lot.id);
    let tools = facts.tools.map(Into::into).or(noted.as_ref().map(|noted| noted.tools));
    let dip = facts.applied();
    Ok(BenchHygiene {
        on: needed(
            facts.on.or(noted.as_ref().map(|noted| noted.on)),
            "--on",
            "on which day the lot was divided in a session",
        )?,
        tools: needed(tools, "--tools", "what was done with the tools")?,
        tool_dip: dip.or(noted.and_then(|noted| noted.tool_dip)),
    })
}

fn soak(facts: Facts, opened: &OpenedBook, lot: &Lot) -> Result<Soak, Fault> {
    let noted = soak_of(&opened.book, lot.id);
    let on = facts.on.or(noted.as_ref().map(|noted| noted.on));
    Ok(Soak {
        on: needed(on, "--on", "when the lot was soaked")?,
        soak: needed(
            facts.applied().or(noted.map(|noted| noted.soak)),
            "--agent",
            "in what the lot was soaked",
        )?,
    })
}

fn looked(facts: Facts, lot: &Lot) -> Result<LookedOver, Fault> {
    let noted = look_of(lot);
    let of_noted = noted.as_ref();
    let (on, look) = (of_noted.map(|it| it.on), of_noted.map(|it| it.look));
    let signs = match (facts.with_signs, facts.signs) {
        (Some(count), Some(signs)) if !count.is_zero() => (count, signs.trim().to_owned()),
        (Some(_), _) => (Count::ZERO, String::new()),
        (None, _) => {
            of_noted.map_or((Count::ZERO, String::new()), |it| (it.with_signs, it.signs.clone()))
        }
    };
    Ok(LookedOver {
        on: needed(facts.on.or(on), "--on", "when the lot was looked over")?,
        look: needed(facts.look.or(look), "--look", "how the lot was looked over")?,
        looked: needed(
            facts.inspected.or(of_noted.map(|it| it.looked)),
            "--inspected",
            "how many were looked at",
        )?,
        of: needed(facts.of.or(of_noted.map(|it| it.of)), "--of", "how many the lot had")?,
        with_signs: signs.0,
        signs: signs.1,
    })
}

fn laboratory(facts: Facts) -> Result<LaboratoryTest, Fault> {
    let text = |given: Option<String>, flag: &str, what: &str| {
        needed(given.map(|text| text.trim().to_owned()), flag, what)
    };
    Ok(LaboratoryTest {
        on: needed(facts.on, "--on", "of which day the laboratory's report is")?,
        target: text(facts.target, "--target", "what was tested for")?,
        method: text(facts.method, "--method", "by which method")?,
        tested: needed(facts.tested, "--tested", "how many units were tested")?,
        positive: needed(facts.positive, "--positive", "in how many it was found")?,
        laboratory: text(facts.at, "--at", "which laboratory tested")?,
        reference: text(facts.reference, "--reference", "the laboratory's reference")?,
    })
}

fn origin(facts: &Facts, opened: &OpenedBook, lot: &Lot) -> Result<Origin, Fault> {
    let typed = facts.since.map(|since| Origin { whence: Whence::OwnGrown { since } });
    let noted = origin_of(&opened.book, lot.id);
    if typed.is_some() && matches!(noted, Some(Origin { whence: Whence::HandOver { .. } })) {
        return Err(Fault::refused(
            "The stock book has the lot as received from another farm of the network.",
            "Nothing was signed. Leave --since out to state that.",
        ));
    }
    needed(typed.or(noted), "--since", "where the lot comes from")
}

fn papers(facts: Facts) -> Result<MovementPapers, Fault> {
    let text = |given: Option<String>, flag: &str, what: &str| {
        needed(given.map(|text| text.trim().to_owned()), flag, what)
    };
    Ok(MovementPapers {
        authority: text(facts.authority, "--authority", "which authority gave the papers")?,
        number: text(facts.number, "--number", "the papers' number")?,
        valid_where: text(facts.valid_where, "--where", "where the papers hold")?,
        valid_until: needed(facts.until, "--until", "until when the papers hold")?,
    })
}
