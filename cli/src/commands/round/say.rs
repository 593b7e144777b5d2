//! Rounds and proposals in words.

use spareloop_api::rounds::{
    PackedLine, ProposalView, RoundView, ShareView, SwapDayLists, TimetableView,
};
use spareloop_domain::exchange::owed::Tenths;

/// A state's code as people read it.
pub(super) fn state(code: &str) -> String {
    match code {
        "open" => "waiting for answers".to_owned(),
        other => other.replace('-', " "),
    }
}

/// Tenths in median divisions.
pub(super) fn tenths(tenths: i64) -> String {
    Tenths(tenths).to_string()
}

/// What a proposal is, in a line.
pub(super) fn title(view: &ProposalView) -> String {
    match &view.swap_day {
        Some(day) if day.place.is_empty() => format!("swap day on {}", day.on),
        Some(day) => format!("swap day on {}, {}", day.on, day.place),
        None => {
            let names: Vec<&str> = view.farms.iter().map(|part| part.farm.name.as_str()).collect();
            format!("loop {}: {}", view.number, names.join(" to "))
        }
    }
}

/// A proposal: what passes, what each farm gives and gets, how even it is.
pub(super) fn proposal(view: &ProposalView) -> String {
    let why = if view.why.is_empty() { String::new() } else { format!(" ({})", view.why) };
    let mut lines = vec![format!("{}: {}{why}", title(view), state(&view.state))];
    if view.state == "open" {
        lines.push(format!(
            "Answer by {} UTC; silence declines.",
            view.answer_by.format("%Y-%m-%d %H:%M")
        ));
    }
    lines.extend(view.lines.iter().map(|line| {
        let value = line.unit_value_tenths * i64::from(line.count);
        let hold = line.hold.map_or_else(String::new, |hold| format!("; hold {hold}"));
        format!(
            "  {} gives {}: {} of '{}', worth {} each, {} in all{hold}",
            line.giver.name,
            line.taker.name,
            line.unit.counted(line.count),
            line.variety,
            tenths(line.unit_value_tenths),
            tenths(value),
        )
    }));
    lines.extend(view.farms.iter().map(share));
    if let Some(tolerance) = view.tolerance_tenths {
        lines.push(format!(
            "All or nothing. The parcels are worth the same to within {}.",
            tenths(tolerance)
        ));
    }
    lines.push(format!("Proposal {}", view.proposal));
    lines.join("\n")
}

fn share(part: &ShareView) -> String {
    let answer = match part.answer.as_str() {
        "accepted" => "accepts",
        "declined" => "declines",
        _ => "has not answered",
    };
    format!(
        "  {}: gives {}, gets {}; {answer}",
        part.farm.name,
        tenths(part.given_tenths),
        tenths(part.got_tenths)
    )
}

/// A round with its proposals and what stays open.
pub(super) fn round(view: &RoundView) -> String {
    let mut parts = vec![format!(
        "Round of {}, asked for {} UTC by the {}: {}",
        view.line.asked_at.format("%-d %B %Y"),
        view.line.asked_at.format("%H:%M"),
        view.line.asked_by,
        state(&view.line.state)
    )];
    if !view.line.said.is_empty() {
        parts.push(view.line.said.clone());
    }
    parts.extend(view.proposals.iter().map(|one| format!("\n{}", proposal(one))));
    if !view.stays_open.is_empty() {
        parts.push("\nStays open:".to_owned());
    }
    parts.extend(view.stays_open.iter().map(|want| {
        format!("  {}: {} of '{}': {}", want.farm.name, want.open, want.variety, want.why)
    }));
    parts.push(String::new());
    parts.extend(view.rules.iter().cloned());
    parts.join("\n")
}

/// When rounds begin by themselves.
pub(super) fn timetable(view: &TimetableView) -> String {
    match (view.every_days, view.next_at) {
        (Some(days), Some(next)) => {
            let next = next.format("%Y-%m-%d %H:%M");
            format!("A round every {days} days, next at {next} UTC.\n{}", view.rules.join("\n"))
        }
        _ => "No timetable: the coordinator makes rounds by hand.".to_owned(),
    }
}

/// Packing lists, then the hall list.
pub(super) fn lists(lists: &SwapDayLists) -> String {
    let mut parts = vec![format!("Swap day on {}, {}", lists.swap_day.on, lists.swap_day.place)];
    if !lists.agreed {
        parts.push("The holds are not made yet: this is what is proposed.".to_owned());
    }
    for list in &lists.packing {
        parts.push(format!("\n{} brings", list.farm.name));
        parts.extend(packed(&list.brings, "for"));
        parts.push(format!("{} takes home", list.farm.name));
        parts.extend(packed(&list.takes, "from"));
    }
    parts.push("\nIn the hall".to_owned());
    for block in &lists.hall {
        parts.push(format!("  '{}': {}", block.variety, block.unit.counted(block.count)));
        parts.extend(block.lines.iter().map(|line| {
            format!(
                "    {} from {} (lot {}) to {}",
                line.count, line.giver.name, line.lot_code, line.taker.name
            )
        }));
    }
    if !lists.walk_ups.is_empty() {
        parts.push("Brought without having been planned".to_owned());
    }
    parts.extend(lists.walk_ups.iter().map(|line| {
        let what = line.unit.counted(line.free);
        format!("  '{}': {what} free, from {}; offer {}", line.variety, line.farm.name, line.offer)
    }));
    parts.join("\n")
}

fn packed(lines: &[PackedLine], word: &str) -> Vec<String> {
    if lines.is_empty() {
        return vec!["  nothing".to_owned()];
    }
    lines
        .iter()
        .map(|line| {
            format!(
                "  {} of '{}' (lot {}) {word} {}",
                line.unit.counted(line.count),
                line.variety,
                line.lot_code,
                line.other.name
            )
        })
        .collect()
}
