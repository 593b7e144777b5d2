//! What farms are told of a proposal, in the transaction that does it.

use chrono::{DateTime, Utc};
use spareloop_domain::exchange::ProposalKind;
use spareloop_domain::exchange::proposal::{Passing, shares};
use spareloop_domain::exchange::round::Kind;
use spareloop_domain::words::{Count, FarmId};

use super::{Line, Proposal};
use crate::{StoreError, Tx, messages};

/// "You give 6 of 'Ember Lantern' to Brindle; you get nothing; worth 8.4 against 0.0".
fn share_of(found: &Proposal, lines: &[(&Line, Count)], farm: FarmId) -> String {
    let (mut given, mut got) = (Vec::new(), Vec::new());
    for (line, count) in lines {
        let what = format!("{count} of '{}'", line.variety);
        if line.giver == farm {
            given.push(format!("{what} to {}", found.name(line.taker)));
        } else if line.taker == farm {
            got.push(format!("{what} from {}", found.name(line.giver)));
        }
    }
    let said = |list: Vec<String>| {
        if list.is_empty() { "nothing".to_owned() } else { list.join(", ") }
    };
    let passing: Vec<Passing> = lines.iter().map(|(line, count)| line.passing(*count)).collect();
    let share = shares(&passing).get(&farm).copied().unwrap_or_default();
    let (given, got) = (said(given), said(got));
    format!("you give {given}; you get {got}; worth {} against {}", share.given, share.got)
}

fn whole(found: &Proposal) -> Vec<(&Line, Count)> {
    found.lines.iter().map(|line| (line, line.count)).collect()
}

/// A farm's part in something that is asked or done, in a sentence.
pub(super) fn of_asking(
    tx: &mut Tx<'_>,
    found: &Proposal,
    kind: &Kind,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let what = match kind {
        Kind::Loops { .. } => format!("A round proposes a loop of {} farms", found.farms.len()),
        Kind::SwapDay { on, place } => format!("A swap day is proposed for {on}, {place}"),
    };
    let by = found.answer_by.format("%Y-%m-%d %H:%M UTC");
    for part in &found.farms {
        let share = share_of(found, &whole(found), part.farm.id);
        let told = format!(
            "{what}: {share}. Accept or decline by {by}; no reason is needed, and silence declines."
        );
        messages::tell(tx, part.farm.id, None, &told, now)?;
    }
    Ok(())
}

/// Nothing comes about.
pub(super) fn of_the_end(
    tx: &mut Tx<'_>,
    found: &Proposal,
    why: &str,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let what = match found.kind {
        ProposalKind::Loop => "The loop that a round proposed",
        ProposalKind::SwapDay => "The swap day that a round proposed",
    };
    let told = format!(
        "{what} does not come about: {why}. Nothing of it was promised; what was in it goes into the \
         next round."
    );
    for part in &found.farms {
        messages::tell(tx, part.farm.id, None, &told, now)?;
    }
    Ok(())
}

/// The holds were made.
pub(super) fn of_the_holds(
    tx: &mut Tx<'_>,
    found: &Proposal,
    lines: &[(&Line, Count)],
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let what = match found.kind {
        ProposalKind::Loop => "Every farm of the loop accepted, and its holds are agreed",
        ProposalKind::SwapDay => "The swap day takes place, and its holds are agreed",
    };
    tell_shares(tx, found, lines, what, now)
}

/// A parcel of the loop does not come: what of it stands, and what was stopped.
pub(super) fn of_the_stop(
    tx: &mut Tx<'_>,
    found: &Proposal,
    why: &str,
    passed: &[(&Line, Count)],
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    for part in &found.farms {
        let told = format!(
            "A loop stops where it is: {why}. Whatever of it was not sent yet stays where it is and is \
             free again; send nothing more for it. What was handed over stands and is booked: {}.",
            share_of(found, passed, part.farm.id)
        );
        messages::tell(tx, part.farm.id, None, &told, now)?;
    }
    Ok(())
}

/// The swap day was settled for those who came.
pub(super) fn of_the_settlement(
    tx: &mut Tx<'_>,
    found: &Proposal,
    lines: &[(&Line, Count)],
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    tell_shares(tx, found, lines, "The swap day was settled for those who came", now)
}

fn tell_shares(
    tx: &mut Tx<'_>,
    found: &Proposal,
    lines: &[(&Line, Count)],
    what: &str,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    for part in &found.farms {
        let takes_part =
            |(line, _): &&(&Line, Count)| line.giver == part.farm.id || line.taker == part.farm.id;
        let told = if lines.iter().any(|line| takes_part(&line)) {
            format!(
                "{what}: {}. Your holds have each of them.",
                share_of(found, lines, part.farm.id)
            )
        } else {
            format!("{what}; your farm gives and gets nothing by it.")
        };
        messages::tell(tx, part.farm.id, None, &told, now)?;
    }
    Ok(())
}
