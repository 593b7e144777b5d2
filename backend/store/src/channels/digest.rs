//! Weekly letters: when the next is due.

use chrono::{DateTime, Datelike, NaiveTime, TimeDelta, Utc};
use diesel::{ExpressionMethods, QueryDsl, RunQueryDsl};
use spareloop_domain::telling::ChannelState;

use super::outbox::ask_for_digest;
use crate::schema::channels;
use crate::text::{moment, read};
use crate::{StoreError, Tx};

/// Most letters that one run asks for.
const MOST_A_RUN: i64 = 100;

/// The Monday after `now`, at 06:00 UTC (ours, no source: before the week's work).
pub fn next_digest(now: DateTime<Utc>) -> DateTime<Utc> {
    let six = NaiveTime::from_hms_opt(6, 0, 0).unwrap_or(NaiveTime::MIN);
    let monday = now.date_naive()
        - TimeDelta::days(i64::from(now.date_naive().weekday().num_days_from_monday()));
    let this_week = monday.and_time(six).and_utc();
    if this_week > now { this_week } else { this_week + TimeDelta::weeks(1) }
}

/// Asks for the weekly letters that are due; answers how many. Any server may run it: each letter's
/// time is moved on by a guarded write, so that none is asked for twice. Ask again while it answers
/// above 0.
pub fn ask_for_digests(tx: &mut Tx<'_>, now: DateTime<Utc>) -> Result<usize, StoreError> {
    let due: Vec<String> = channels::table
        .filter(channels::next_digest_at.le(moment(now)))
        .filter(channels::state.eq(ChannelState::Open.code()))
        .order(channels::id)
        .limit(MOST_A_RUN)
        .select(channels::id)
        .load(tx.connection)?;
    let mut asked = 0;
    for id in due {
        let moved = diesel::update(
            channels::table
                .filter(channels::id.eq(&id))
                .filter(channels::next_digest_at.le(moment(now)))
                .filter(channels::state.eq(ChannelState::Open.code())),
        )
        .set(channels::next_digest_at.eq(Some(moment(next_digest(now)))))
        .execute(tx.connection)?;
        if moved == 1 {
            ask_for_digest(tx, read(&id)?, now)?;
            asked += 1;
        }
    }
    Ok(asked)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn the_next_letter_is_due_on_the_coming_monday_at_six() {
        for (now, due) in [
            // 1 February 2027 is a Monday.
            ("2027-02-01T05:59:59Z", "2027-02-01T06:00:00Z"),
            ("2027-02-01T06:00:00Z", "2027-02-08T06:00:00Z"),
            ("2027-02-07T23:59:59Z", "2027-02-08T06:00:00Z"),
        ] {
            let due: DateTime<Utc> = due.parse().unwrap();
            assert_eq!(next_digest(now.parse().unwrap()), due, "{now}");
        }
    }
}
