//! The days that a farm has to mind, and its week, from its book and its part in the exchange.
//!
//! What may not enter: how a calendar or a letter is written; when a lot is due (`domain`).

use chrono::{DateTime, TimeDelta, Utc};
use spareloop_domain::exchange::round::Kind;
use spareloop_domain::exchange::{Answer, HoldState, OfferState, ProposalState, WantState};
use spareloop_domain::settings::Settings;
use spareloop_domain::telling::{
    Appointment, Certain, Coming, Lapsing, Needed, Side, Unanswered, When, answer_due, lapsing,
    look_days, needed, swap_day,
};
use spareloop_domain::words::{Day, FarmId};
use spareloop_store::holds::Hold;
use spareloop_store::offers::Offer;
use spareloop_store::proposals::Proposal;
use spareloop_store::wants::Want;
use spareloop_store::{StoreError, Tx, farm_book, holds, offers, proposals, rounds, wants};

/// Most offers, and most wants, that are looked through.
const MOST: u32 = 5_000;
/// Most proposals of which something is still to come that are looked through.
const MOST_PROPOSALS: u32 = 200;
/// Most lines of one part of a letter.
const MOST_LINES: usize = 30;
/// What a week is.
const WEEK: TimeDelta = TimeDelta::days(7);

/// A farm's book and exchange, as of one transaction.
#[derive(Debug)]
pub struct Kept {
    /// Days to mind, by when.
    pub days: Vec<Appointment>,
    holds: Vec<Hold>,
    offers: Vec<Offer>,
    wants: Vec<Want>,
}

/// Reads what a farm has to mind. `today` is taken in UTC: the server knows no farm's zone.
pub fn read(
    tx: &mut Tx<'_>,
    farm: FarmId,
    now: DateTime<Utc>,
    today: Day,
) -> Result<Kept, StoreError> {
    let book = farm_book(tx, farm)?;
    let holds = holds::live(tx, farm, now)?;
    let offers = offers::of_farm(tx, farm, None, MOST, now)?;
    let wants = wants::of_farm(tx, farm, None, MOST, now)?;
    let mut days = look_days(&book, today, &Settings::default());
    days.extend(holds.iter().filter_map(|hold| Some(lapsing(&lapsing_of(hold, farm)?))));
    days.extend(wants.iter().filter_map(|want| Some(needed(&needed_of(want)?))));
    for proposal in proposals::to_mind(tx, farm, MOST_PROPOSALS, now)? {
        days.extend(unanswered_of(&proposal, farm).as_ref().map(answer_due));
        days.extend(coming_to(tx, &proposal, farm)?.as_ref().map(swap_day));
    }
    days.sort_by(|a, b| a.when.date().cmp(&b.when.date()).then_with(|| a.key.cmp(&b.key)));
    Ok(Kept { days, holds, offers, wants })
}

fn unanswered_of(proposal: &Proposal, farm: FarmId) -> Option<Unanswered> {
    let waits = proposal.part(farm).is_some_and(|part| part.answer == Answer::Waiting);
    (proposal.state == ProposalState::Open && waits).then_some(Unanswered {
        proposal: proposal.id,
        farms: proposal.farms.len(),
        by: proposal.answer_by,
    })
}

/// The swap day to which the farm said that it comes.
fn coming_to(
    tx: &mut Tx<'_>,
    proposal: &Proposal,
    farm: FarmId,
) -> Result<Option<Coming>, StoreError> {
    let comes = proposal.part(farm).is_some_and(|part| part.answer == Answer::Accepted);
    let certain = match proposal.state {
        ProposalState::Open => Certain::NotYet,
        ProposalState::Agreed => Certain::Agreed,
        _ => return Ok(None),
    };
    let rules = rounds::round(tx, proposal.network, proposal.round)?.rules;
    Ok(match rules.kind {
        Kind::SwapDay { on, place } if comes => {
            Some(Coming { proposal: proposal.id, on, place, certain })
        }
        _ => None,
    })
}

fn lapsing_of(hold: &Hold, farm: FarmId) -> Option<Lapsing> {
    let (side, other) = seen_by(hold, farm);
    (hold.state == HoldState::Held).then(|| Lapsing {
        hold: hold.id,
        count: hold.count,
        unit: hold.unit,
        variety: hold.variety.clone(),
        other: other.to_owned(),
        side,
        at: hold.lapses_at,
    })
}

fn seen_by(hold: &Hold, farm: FarmId) -> (Side, &str) {
    if hold.giver.id == farm {
        (Side::Giver, &hold.taker.name)
    } else {
        (Side::Taker, &hold.giver.name)
    }
}

fn needed_of(want: &Want) -> Option<Needed> {
    let by = want.needed_by?;
    let is_open = want.state == WantState::Open && !want.open().is_zero();
    is_open.then(|| Needed {
        want: want.id,
        open: want.open(),
        unit: want.unit,
        variety: want.variety.clone(),
        by,
    })
}

/// What a weekly letter tells.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Week {
    /// The day on which it begins.
    pub from: Day,
    expiring: Vec<String>,
    held: Vec<String>,
    open: Vec<String>,
    looks: Vec<String>,
}

impl Kept {
    /// The week that begins at `now`.
    pub fn week(&self, farm: FarmId, now: DateTime<Utc>, today: Day) -> Week {
        let soon: Vec<&Appointment> = self.days.iter().filter(|one| is_soon(one, now)).collect();
        let is_look = |one: &&&Appointment| one.key.starts_with("looks-");
        let line = |one: &&Appointment| format!("{}: {}", spoken(one.when), one.title);
        let open_offers = self.offers.iter().filter(|offer| offer.state == OfferState::Open);
        let open_wants = self.wants.iter().filter(|want| want.state == WantState::Open);
        Week {
            from: today,
            expiring: soon.iter().filter(|one| !is_look(one)).map(line).collect(),
            held: self.holds.iter().map(|hold| held_line(hold, farm)).collect(),
            open: open_offers.map(offer_line).chain(open_wants.map(want_line)).collect(),
            looks: soon.iter().filter(is_look).map(line).collect(),
        }
    }
}

fn is_soon(one: &Appointment, now: DateTime<Utc>) -> bool {
    one.when.date() >= now.date_naive() && one.when.date() < (now + WEEK).date_naive()
}

fn spoken(when: When) -> String {
    match when {
        When::Day(day) => day.date().format("%A, %-d %B").to_string(),
        When::Moment(at) => at.format("%A, %-d %B, %H:%M UTC").to_string(),
    }
}

fn held_line(hold: &Hold, farm: FarmId) -> String {
    let what = format!("{} of '{}'", hold.unit.counted(hold.count), hold.variety);
    match seen_by(hold, farm) {
        (Side::Giver, other) => format!("{what} for {other}: {}", hold.state),
        (Side::Taker, other) => format!("{what} from {other}: {}", hold.state),
    }
}

fn offer_line(offer: &Offer) -> String {
    let free = offer.unit.counted(offer.free());
    format!("offered: {free} of '{}' free, {} offered", offer.variety, offer.count)
}

fn want_line(want: &Want) -> String {
    let by = want.needed_by.map(|day| format!(", needed by {}", day.spoken())).unwrap_or_default();
    let open = want.unit.counted(want.open());
    format!("wanted: {open} of '{}' open, {} wanted{by}", want.variety, want.count)
}

impl Week {
    /// Whether there is nothing to tell.
    pub const fn is_empty(&self) -> bool {
        self.expiring.is_empty()
            && self.held.is_empty()
            && self.open.is_empty()
            && self.looks.is_empty()
    }

    /// What there is to tell, each part with its title, cut to what somebody reads.
    pub fn parts(&self) -> Vec<(&'static str, Vec<String>)> {
        [
            ("Ends this week", &self.expiring),
            ("Held, agreed or on the way", &self.held),
            ("Open on the network's sheet", &self.open),
            ("To look at this week", &self.looks),
        ]
        .into_iter()
        .filter(|(_, lines)| !lines.is_empty())
        .map(|(title, lines)| (title, cut(lines)))
        .collect()
    }
}

fn cut(lines: &[String]) -> Vec<String> {
    let mut shown: Vec<String> = lines.iter().take(MOST_LINES).cloned().collect();
    if lines.len() > MOST_LINES {
        shown.push(format!("and {} more, on the pages", lines.len() - MOST_LINES));
    }
    shown
}
