//! Statements in words: who states what, when, on what basis.
//!
//! What may not enter: a verdict. That nothing was found is told with what the look or test could
//! have found, and that nothing was tested is told as that.

use super::fact::{
    Applied, BenchHygiene, LaboratoryTest, LookedOver, MovementPapers, Says, Whence,
};
use super::statement::Statement;
use crate::ledger::describe::spoken_tools;
use crate::sampling::detection;
use crate::words::Day;

/// What stands under every list of statements.
pub const CAUTION: &str = "These are farms' own words over their signatures, not certificates. \
    Looking can't show that stock is free of disease, and a test speaks of the units tested. Some \
    diseases must be told to the plant health authority; ask yours what local rules and papers apply.";

/// How sure the sentence about a look is, as most tables of sampling have it (ISPM 31 names 95 %).
const SURE: f64 = 0.95;

/// One statement: "Heron Hill states, signed 12 January 2027, 10:30 UTC: ...".
pub fn stated(statement: &Statement, farm: &str) -> String {
    format!("{farm} states, signed {}: {}", statement.issued_at, says(&statement.says))
}

fn says(says: &Says) -> String {
    match says {
        Says::BenchHygiene(it) => hygiene(it),
        Says::Soak(it) => format!("On {} it was soaked {}.", day(it.on), solution(&it.soak)),
        Says::LookedOver(it) => look(it),
        Says::LaboratoryTest(it) => test(it),
        Says::Origin(it) => match it.whence {
            Whence::OwnGrown { since } => format!("Grown on the farm since {since}."),
            Whence::HandOver { hand_over, .. } => {
                format!("Received from another farm of the network, by hand-over {hand_over}.")
            }
        },
        Says::MovementPapers(it) => papers(it),
        Says::Revocation(it) => {
            format!("The statement {} is taken back: {}.", it.statement, full(&it.why))
        }
    }
}

fn hygiene(it: &BenchHygiene) -> String {
    let dip = it.tool_dip.as_ref().map_or_else(
        || "no tool dip stated".to_owned(),
        |dip| format!("tool dip {}", solution(dip)),
    );
    format!("At the dividing session of {}: {}; {dip}.", day(it.on), spoken_tools(it.tools))
}

fn solution(it: &Applied) -> String {
    let strength = it.strength_percent.map_or(String::new(), |percent| format!(" at {percent} %"));
    let minutes = it.minutes.map_or_else(
        || ", contact time not stated".to_owned(),
        |minutes| format!(" for {minutes} min"),
    );
    format!("in {}{strength}{minutes}", it.agent)
}

fn look(it: &LookedOver) -> String {
    let head = format!("Looked over on {}, {}: {} of {}", day(it.on), it.look, it.looked, it.of);
    if !it.with_signs.is_zero() {
        return format!("{head}, {} with signs: {}.", it.with_signs, full(&it.signs));
    }
    format!("{head}, none with signs. {}", what_it_proves(it))
}

/// The smallest number of units with signs that such a look would have found with 95 % chance,
/// hypergeometric as ISPM 31 has it, if every sign that is there is seen.
fn what_it_proves(it: &LookedOver) -> String {
    let (lot, looked) = (u64::from(it.of.get()), u64::from(it.looked.get()));
    let found = |affected| detection(lot, affected, looked, 1.0).unwrap_or(0.0) >= SURE;
    // More units with signs are never harder to find, so halving finds the fewest.
    let (mut too_few, mut enough) = (0, lot);
    while enough - too_few > 1 {
        let middle = too_few + (enough - too_few) / 2;
        if found(middle) {
            enough = middle;
        } else {
            too_few = middle;
        }
    }
    let basis = if looked == lot {
        "All were looked at".to_owned()
    } else {
        format!(
            "Had {enough} or more of the {lot} shown signs, such a look would have found one with \
             95 % chance; fewer may well have been missed"
        )
    };
    format!("{basis}. Looking can't show a disease that gives no signs.")
}

fn test(it: &LaboratoryTest) -> String {
    let found = if it.positive.is_zero() { "none found" } else { "found" };
    format!(
        "Tested for {} by {}, {found}: {} of {} units positive; {}, reference {}, report of {}. The \
         units not tested may differ.",
        it.target,
        it.method,
        it.positive,
        it.tested,
        it.laboratory,
        it.reference,
        day(it.on)
    )
}

fn papers(it: &MovementPapers) -> String {
    format!(
        "The farm holds papers of {}, number {}, valid in {} until {}. Ask the authority whether \
         they cover this move.",
        it.authority,
        it.number,
        it.valid_where,
        day(it.valid_until)
    )
}

fn day(day: Day) -> String {
    day.date().format("%-d %B %Y").to_string()
}

/// A sentence's end stands behind it already.
fn full(text: &str) -> &str {
    text.trim_end_matches('.')
}

/// What is known of laboratory tests of a lot. "No test" and "tested, none found" are two things.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tested {
    /// No statement of a test: nothing is known.
    NoTest,
    /// Tests are stated, and none found what it looked for.
    NoneFound,
    /// A stated test found what it looked for.
    Found,
}

/// What the statements say of laboratory tests; they must have been verified before.
pub fn tested<'a>(statements: impl IntoIterator<Item = &'a Statement>) -> Tested {
    let mut all = Tested::NoTest;
    for statement in statements {
        if let Says::LaboratoryTest(test) = &statement.says {
            match all {
                _ if !test.positive.is_zero() => all = Tested::Found,
                Tested::NoTest => all = Tested::NoneFound,
                Tested::NoneFound | Tested::Found => {}
            }
        }
    }
    all
}

impl Tested {
    /// The word as sent.
    pub const fn code(self) -> &'static str {
        match self {
            Self::NoTest => "no-test",
            Self::NoneFound => "tested-none-found",
            Self::Found => "tested-found",
        }
    }

    /// In a sentence.
    pub const fn sentence(self) -> &'static str {
        match self {
            Self::NoTest => {
                "No test: the farm states no laboratory test of this lot, so nothing is known."
            }
            Self::NoneFound => {
                "Tested, none found: read below what was tested for, by which method and in how many units."
            }
            Self::Found => "Tested, and found: read below what was found in how many units.",
        }
    }
}
