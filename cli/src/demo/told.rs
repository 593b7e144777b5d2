//! The account of the story, in sentences and figures.

use std::fmt::Write;

use spareloop_api::exchange::HoldView;

use super::PASS_PHRASE;
use super::stage::Kept;
use super::story::{CutStory, FarmPart, Played, Swap};
use crate::printer::table;

/// Tells it.
pub(super) fn account(played: &Played) -> String {
    let mut text = String::from(
        "An invented winter: twelve invented farms, forty invented varieties, no real figure.\n",
    );
    farms(&mut text, &played.farms);
    sheet(&mut text, played);
    swap(&mut text, &played.swap);
    cut(&mut text, &played.cut);
    owed(&mut text, played);
    text
}

/// How to look around.
pub(super) fn to_look_around(kept: &Kept) -> String {
    format!(
        "\nThe server runs on at {} (this machine only).\nSign in as coordinator, or as a farm's name in \
         small letters; the pass phrase is: {PASS_PHRASE}\nStop it with: kill {}\nRemove it with: rm -r {}",
        kept.url,
        kept.process,
        kept.folder.display()
    )
}

fn head(text: &mut String, title: &str) {
    // Writing to a String can't fail; so in the rest of this file.
    let _ = writeln!(text, "\n{title}");
}

fn sum(lines: &[(String, u64)]) -> u64 {
    lines.iter().map(|(_, count)| count).sum()
}

fn farms(text: &mut String, farms: &[FarmPart]) {
    head(text, "1. What each farm has and expects on 10 May, from its own spreadsheets");
    let rows: Vec<Vec<String>> = farms
        .iter()
        .map(|farm| {
            vec![
                farm.name.to_owned(),
                farm.entries.to_string(),
                farm.in_store.to_string(),
                format!("{:.0}", farm.expected),
                format!("{} ({} varieties)", sum(&farm.spare), farm.spare.len()),
                format!("{} ({} varieties)", sum(&farm.short), farm.short.len()),
            ]
        })
        .collect();
    let _ = writeln!(
        text,
        "{}",
        table(&["farm", "entries", "in store", "expected", "spare", "short"], &rows)
    );
    for farm in farms.iter().take(3) {
        let _ = writeln!(text, "{}: {}", farm.name, farm.sentence);
    }
}

fn sheet(text: &mut String, played: &Played) {
    head(text, "2. The network's spare and short sheet");
    let shown = played.mutual.len().min(5);
    let _ = writeln!(
        text,
        "{} offers and {} wants are on it. In {} pairs of farms each has what the other lacks: {} ...",
        played.offers,
        played.wants,
        played.mutual.len(),
        played.mutual[..shown].join(", ")
    );
}

fn parcel(hold: &HoldView) -> String {
    let handed = hold.hand_over.as_ref();
    format!(
        "{} gave {} of '{}' to {}; {} received: {}",
        hold.giver.name,
        handed.map_or(0, |it| it.given.get()),
        hold.variety,
        hold.taker.name,
        handed.and_then(|it| it.received).map_or(0, spareloop_domain::words::Count::get),
        hold.state.replace('-', " "),
    )
}

fn life(hold: &HoldView) -> String {
    let steps: Vec<String> = hold.steps.iter().map(|step| step.state.replace('-', " ")).collect();
    steps.join(", ")
}

fn swap(text: &mut String, swap: &Swap) {
    head(text, "3. A swap, from the match to the receipt");
    let _ = writeln!(text, "What the offer showed: {} {}", swap.history, swap.hygiene);
    for hold in &swap.parcels {
        let _ = writeln!(text, "{}. Its life: {}.", parcel(hold), life(hold));
    }
    let _ = writeln!(text, "In the ledgers, after a sync:");
    for (farm, says) in &swap.log {
        let _ = writeln!(text, "  {farm}: {says}");
    }
}

fn cut(text: &mut String, cut: &CutStory) {
    head(text, "4. A loss after the holds: physics wins");
    for hold in &cut.before {
        let _ = writeln!(
            text,
            "{} agreed to hold {} of '{}' for {}.",
            cut.giver, hold.count, hold.variety, hold.taker.name
        );
    }
    let _ = writeln!(
        text,
        "Then {} of {} in lot {} were found rotten. The loss is a fact and was taken; the newest hold is cut first:",
        cut.lost, cut.in_store, cut.lot
    );
    for hold in &cut.after {
        let _ = writeln!(
            text,
            "  {} for {}: {} ({})",
            hold.count,
            hold.taker.name,
            hold.state.replace('-', " "),
            life(hold)
        );
    }
    let _ = writeln!(text, "Told at once:");
    for (farm, words) in &cut.told {
        let _ = writeln!(text, "  {farm}: {words}");
    }
}

fn owed(text: &mut String, played: &Played) {
    head(text, "5. The owed book");
    let total: i64 = played.owed.balances.iter().map(|it| it.owed_tenths).sum();
    for it in played.owed.balances.iter().filter(|it| it.owed_tenths != 0) {
        let tenths = it.owed_tenths.unsigned_abs();
        let _ = writeln!(
            text,
            "  {} {} {}.{}",
            it.farm.name,
            if it.owed_tenths > 0 { "is owed" } else { "owes" },
            tenths / 10,
            tenths % 10
        );
    }
    let _ = writeln!(text, "  All balances together: {total}.");
}
