//! Every step of one value with its figures, in the order in which they follow from each other.
//!
//! What may not enter: any reckoning beyond what a step says of itself.

use serde::{Deserialize, Serialize};

use super::{Multiplying, Published, ToldValue};
use crate::works::OVER_DAYS;

/// One step.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Step {
    /// What it is about.
    pub about: String,
    /// What follows, with its figures.
    pub says: String,
}

fn step(about: &str, says: String) -> Step {
    Step { about: about.to_owned(), says }
}

/// What a plant gives: three rates and their product.
fn plant(multiplying: &Multiplying, multiplication: f64) -> Vec<Step> {
    let Multiplying { emergence, divisions, lasting } = multiplying;
    let noted = |none: bool, record: String| {
        if none { "nothing noted yet".to_owned() } else { record }
    };
    let came_up =
        noted(emergence.of == 0, format!("{} of {} planted came up", emergence.many, emergence.of));
    let clumps = noted(
        divisions.of == 0,
        format!("{} sound divisions from {} clumps", divisions.many, divisions.of),
    );
    let stored = noted(
        lasting.of == 0,
        format!("{} lost over {} days that a unit lay in store", lasting.many, lasting.of),
    );
    vec![
        step(
            "came up",
            format!(
                "{came_up}; drawn towards the other varieties, {} are expected to",
                percent(emergence.rate)
            ),
        ),
        step(
            "divisions",
            format!("{clumps}; drawn likewise, {:.2} a clump are expected", divisions.rate),
        ),
        step(
            "in store",
            format!(
                "{stored}; drawn likewise, {} are expected to last {OVER_DAYS:.0} days",
                percent(lasting.rate)
            ),
        ),
        step(
            "a plant gives",
            format!(
                "{:.3} × {:.2} × {:.3} = {multiplication:.2}",
                emergence.rate, divisions.rate, lasting.rate
            ),
        ),
    ]
}

fn percent(share: f64) -> String {
    format!("{:.1} %", 100.0 * share)
}

/// max(g − 1, ¼), as it is written out.
fn surplus(multiplication: f64) -> String {
    if multiplication - 1.0 < 0.25 {
        "0.25".to_owned()
    } else {
        format!("({multiplication:.2} − 1)")
    }
}

/// From what a plant gives to what an unasked unit is worth to its owner.
pub(super) fn to_its_owner(
    published: &Published,
    multiplying: &Multiplying,
    (multiplication, median): (f64, f64),
    rebuild: f64,
) -> Vec<Step> {
    let mut steps = plant(multiplying, multiplication);
    steps.push(step("median variety", format!("a plant gives {median:.2}")));
    steps.push(step(
        "scarcity by yield",
        format!(
            "{} / {} = {rebuild:.2}: only what a plant gives beyond replacing itself can be parted with",
            surplus(median),
            surplus(multiplication),
        ),
    ));
    steps.push(step(
        "to its owner",
        format!(
            "a unit that nobody takes is worth {} × {rebuild:.2} = {:.2}",
            published.reserve_share,
            published.reserve_share * rebuild
        ),
    ));
    steps
}

/// The steps of one value.
pub fn explain(published: &Published, told: &ToldValue) -> Vec<Step> {
    let value = &told.value;
    let figures = (told.multiplication, told.median);
    let mut steps = to_its_owner(published, &told.multiplying, figures, value.rebuild);
    steps.push(step(
        "to a want",
        format!(
            "a unit is worth {} × {:.2} = {:.2} to one that hopes for it first, less in place of another",
            published.want_share, value.rebuild, told.to_a_want
        ),
    ));
    steps.push(offered(told));
    steps.push(wanted(told));
    let winters = published.winters();
    steps.push(step(
        "low",
        format!(
            "{:.2}: one unit more would add {:.2} to what all gain, on average over {winters} winters",
            value.low,
            (value.low - told.reserve).max(0.0)
        ),
    ));
    steps.push(step(
        "high",
        format!("{:.2}: what one unit less would take away, or the most that it is worth to a want where none is left", value.high),
    ));
    steps.push(step(
        "value",
        format!(
            "{:.2}, the middle of low and high, likely {:.2} to {:.2}; {} wants are taken to lapse",
            value.value,
            value.p10,
            value.p90,
            of_100(published.lapse)
        ),
    ));
    steps.push(step(
        "short",
        format!("the network runs short of it in {} winters", of_100(value.chance_short)),
    ));
    steps.push(step("in a round", format!("counts as {}", told.tenths)));
    steps
}

fn of_100(share: f64) -> String {
    format!("{:.0} of 100", 100.0 * share)
}

fn offered(told: &ToldValue) -> Step {
    let says = match (told.offered, told.left) {
        (0, _) => "none".to_owned(),
        (count, (low, high)) if low == high => {
            format!("{count}, of which likely {low} are left at planting")
        }
        (count, (low, high)) => {
            format!("{count}, of which likely {low} to {high} are left at planting")
        }
    };
    step("offered", says)
}

fn wanted(told: &ToldValue) -> Step {
    let wanted = told.wanted;
    step(
        "wanted",
        format!(
            "{} first of all, of which {} would take another variety; {} in place of another",
            wanted.first_choice, wanted.open_to_others, wanted.in_place_of_another
        ),
    )
}
