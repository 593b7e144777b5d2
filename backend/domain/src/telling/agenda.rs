//! The days that a farm has to mind: lots due for a look, holds that lapse, wants that are needed,
//! proposals that wait for its answer, swap days.
//!
//! The calendar shows them and the weekly letter names the nearest. What may not enter: how a
//! calendar or a letter is written; whose holds and wants they are (they are arguments).

use std::cmp::Reverse;
use std::collections::BTreeMap;

use chrono::{DateTime, Utc};

use crate::forecast::outlook::look_due_on;
use crate::ledger::Book;
use crate::ledger::book::Lot;
use crate::ledger::review::walking_order;
use crate::settings::Settings;
use crate::words::{Count, Day, HoldId, Place, ProposalId, UnitKind, WantId};

/// Most lots that a day's entry names.
const MOST_NAMED: usize = 40;

/// Something to mind.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Appointment {
    /// The same for the same thing, however often it is asked for.
    pub key: String,
    /// When.
    pub when: When,
    /// What, in a line.
    pub title: String,
    /// More of it, line by line; may be empty.
    pub about: String,
}

/// When something is to be minded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum When {
    /// Some time on a day, in the farm's zone.
    Day(Day),
    /// At a moment.
    Moment(DateTime<Utc>),
}

impl When {
    /// The day; of a moment, its day in UTC.
    pub fn date(self) -> chrono::NaiveDate {
        match self {
            Self::Day(day) => day.date(),
            Self::Moment(at) => at.date_naive(),
        }
    }
}

/// The days on which lots of the book are due for a look, one entry a day; what is overdue stands on
/// `today`. Places are in walking order.
pub fn look_days(book: &Book, today: Day, settings: &Settings) -> Vec<Appointment> {
    let mut days: BTreeMap<Day, Vec<(&Lot, Day)>> = BTreeMap::new();
    for lot in book.lots.values().filter(|lot| !lot.in_store.is_zero()) {
        if let Some(due) = look_due_on(lot, settings) {
            days.entry(due.max(today)).or_default().push((lot, due));
        }
    }
    days.into_iter().map(|(day, lots)| look_day(book, day, lots)).collect()
}

fn look_day(book: &Book, day: Day, mut lots: Vec<(&Lot, Day)>) -> Appointment {
    lots.sort_by_cached_key(|(lot, due)| {
        let place = lot.place.as_ref();
        (place.is_none(), place.map(walking_order), Reverse(day.days_since(*due)), lot.id)
    });
    let mut lines: Vec<String> =
        lots.iter().take(MOST_NAMED).map(|(lot, due)| lot_line(book, lot, *due, day)).collect();
    if lots.len() > MOST_NAMED {
        lines.push(format!("and {} more", lots.len() - MOST_NAMED));
    }
    Appointment {
        key: format!("looks-{day}"),
        when: When::Day(day),
        title: match lots.len() {
            1 => "Look at 1 lot".to_owned(),
            many => format!("Look at {many} lots"),
        },
        about: lines.join("\n"),
    }
}

fn lot_line(book: &Book, lot: &Lot, due: Day, day: Day) -> String {
    let place = lot.place.as_ref().map_or_else(|| "no place noted".to_owned(), Place::to_string);
    let variety = book
        .varieties
        .get(&lot.variety)
        .map_or_else(|| "(never named)".to_owned(), |card| format!("'{}'", card.name));
    let since = if due < day { format!(", due since {}", due.spoken()) } else { String::new() };
    format!("{place}: {} {variety}, {}{since}", lot.id.code(), lot.unit.counted(lot.in_store))
}

/// On which side of a hold the farm is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// It gives.
    Giver,
    /// It takes.
    Taker,
}

/// A hold that lapses if nobody acts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Lapsing {
    /// Which.
    pub hold: HoldId,
    /// How many of what.
    pub count: Count,
    /// What a unit is.
    pub unit: UnitKind,
    /// The variety.
    pub variety: String,
    /// The other farm's name.
    pub other: String,
    /// The farm's side.
    pub side: Side,
    /// When it lapses.
    pub at: DateTime<Utc>,
}

/// The moment at which a hold lapses.
pub fn lapsing(hold: &Lapsing) -> Appointment {
    let what = format!("{} of '{}'", hold.unit.counted(hold.count), hold.variety);
    let (title, about) = match hold.side {
        Side::Giver => {
            (format!("Hold lapses: {what} for {}", hold.other), "Agree or release it before then.")
        }
        Side::Taker => (
            format!("Hold lapses: {what} from {}", hold.other),
            "It is free again after that, unless they agree before.",
        ),
    };
    Appointment {
        key: format!("hold-{}", hold.hold),
        when: When::Moment(hold.at),
        title,
        about: about.to_owned(),
    }
}

/// A want that is still open in part, with its day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Needed {
    /// Which.
    pub want: WantId,
    /// How many are still open.
    pub open: Count,
    /// What a unit is.
    pub unit: UnitKind,
    /// The variety.
    pub variety: String,
    /// By when.
    pub by: Day,
}

/// The day by which a want is needed.
pub fn needed(want: &Needed) -> Appointment {
    Appointment {
        key: format!("want-{}", want.want),
        when: When::Day(want.by),
        title: format!("Needed: {} of '{}'", want.unit.counted(want.open), want.variety),
        about: "Neither held for you nor received yet.".to_owned(),
    }
}

/// A proposal that a farm has not answered yet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unanswered {
    /// Which.
    pub proposal: ProposalId,
    /// How many farms it is about.
    pub farms: usize,
    /// By when.
    pub by: DateTime<Utc>,
}

/// The moment by which a farm has to answer.
pub fn answer_due(asked: &Unanswered) -> Appointment {
    Appointment {
        key: format!("answer-{}", asked.proposal),
        when: When::Moment(asked.by),
        title: format!("Answer by now: a proposal to {} farms", asked.farms),
        about: "No reason is needed to decline; silence declines.".to_owned(),
    }
}

/// A swap day to which a farm comes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Coming {
    /// Which.
    pub proposal: ProposalId,
    /// When.
    pub on: Day,
    /// Where; may be empty.
    pub place: String,
    /// Whether it takes place for sure.
    pub certain: Certain,
}

/// Whether a swap day takes place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Certain {
    /// Its holds are made.
    Agreed,
    /// Some farms have not answered yet.
    NotYet,
}

/// The day of a swap.
pub fn swap_day(coming: &Coming) -> Appointment {
    let at = if coming.place.is_empty() { String::new() } else { format!(": {}", coming.place) };
    let about = match coming.certain {
        Certain::Agreed => "Its holds are agreed: your packing list says what to bring for whom.",
        Certain::NotYet => "Not every farm has answered yet.",
    };
    Appointment {
        key: format!("swap-day-{}", coming.proposal),
        when: When::Day(coming.on),
        title: format!("Swap day{at}"),
        about: about.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::forecast::outlook::{LookDue, look_due};
    use crate::ledger::body::Store;
    use crate::ledger::example::{Farm, day};
    use crate::words::Packing;

    fn farm() -> Farm {
        let mut farm = Farm::new(1);
        for (tote, on) in [(2, "2025-11-01"), (1, "2025-11-01"), (3, "2025-11-09")] {
            let lot = farm.opening(on, UnitKind::Division, 20);
            let place = format!("cellar / tote {tote}").parse().unwrap();
            farm.note(on, Store { lot, packing: Packing::Peat, place });
        }
        farm
    }

    // The intervals are Settings' rules of thumb: weekly in the first 30 days (common practice, no
    // source), so due on the eighth day.
    #[test]
    fn lots_that_are_due_on_one_day_make_one_entry_in_walking_order() {
        let days = look_days(&farm().book(), day("2025-11-03"), &Settings::default());
        let titles: Vec<_> =
            days.iter().map(|one| (one.key.as_str(), one.title.as_str())).collect();
        let expected =
            [("looks-2025-11-09", "Look at 2 lots"), ("looks-2025-11-17", "Look at 1 lot")];
        assert_eq!(titles, expected);
        let first = days[0].about.find("tote 1").unwrap();
        assert!(first < days[0].about.find("tote 2").unwrap(), "{}", days[0].about);
    }

    #[test]
    fn an_answer_that_is_due_and_a_swap_day_stand_under_one_key_each() {
        let proposal = ProposalId::new(uuid::Uuid::from_u128(7));
        let by = "2027-02-04T17:30:00Z".parse().unwrap();
        let asked = answer_due(&Unanswered { proposal, farms: 3, by });
        assert_eq!(
            (asked.when, asked.title.as_str()),
            (When::Moment(by), "Answer by now: a proposal to 3 farms")
        );
        let place = "the old barn".to_owned();
        let coming = Coming { proposal, on: day("2027-03-14"), place, certain: Certain::NotYet };
        let not_yet = swap_day(&coming);
        assert_eq!(
            (not_yet.when, not_yet.title.as_str()),
            (When::Day(day("2027-03-14")), "Swap day: the old barn")
        );
        let agreed = swap_day(&Coming { certain: Certain::Agreed, ..coming });
        assert_eq!(agreed.key, not_yet.key);
        assert_ne!(agreed.about, not_yet.about);
    }

    #[test]
    fn what_is_overdue_stands_on_today_and_says_since_when() {
        let days = look_days(&farm().book(), day("2025-11-12"), &Settings::default());
        assert_eq!(days[0].when, When::Day(day("2025-11-12")));
        assert!(days[0].about.contains("due since 9 November"), "{}", days[0].about);
        assert_eq!(days[1].when, When::Day(day("2025-11-17")));
    }

    #[test]
    fn the_first_day_due_is_due_and_the_day_before_is_not() {
        let (book, rules) = (farm().book(), Settings::default());
        for lot in book.lots.values() {
            let due = look_due_on(lot, &rules).unwrap();
            assert!(matches!(look_due(lot, due, &rules), LookDue::Due { .. }));
            let before = (0..400).map(|days| lot.began.plus_days(days)).take_while(|on| *on < due);
            assert!(before.into_iter().all(|on| look_due(lot, on, &rules) == LookDue::NotYet));
        }
    }
}
