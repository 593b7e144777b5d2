//! After how long a delivery that failed is tried again, and when it is given up.
//!
//! The wait doubles with every try, up to six hours, and is drawn from its upper half, so that many
//! that failed together don't come back together (common practice, no source). What may not enter:
//! dice; the chance is an argument.

use chrono::{DateTime, TimeDelta, Utc};

/// How long a delivery is tried before it is given up: three days.
pub const GIVE_UP_AFTER: TimeDelta = TimeDelta::days(3);
/// The wait after the first try, at most.
const FIRST_WAIT: TimeDelta = TimeDelta::seconds(60);
/// The longest wait.
const LONGEST_WAIT: TimeDelta = TimeDelta::hours(6);

/// A draw: 0 is the shortest wait, 65,535 the longest.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Chance(pub u16);

/// What becomes of a delivery after a try that failed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Next {
    /// It is tried again, not before that moment.
    Again(DateTime<Utc>),
    /// It is given up.
    GiveUp,
}

/// What becomes of a delivery that was asked for at `made_at`, was tried `tries` times and failed at
/// `now`. It is given up where the next try would come more than [`GIVE_UP_AFTER`] after it was made.
///
/// ```
/// use chrono::{TimeDelta, Utc};
/// use spareloop_domain::telling::{Chance, Next, next};
/// let now = "2027-02-01T09:00:00Z".parse()?;
/// assert_eq!(next(1, now, now, Chance(u16::MAX)), Next::Again(now + TimeDelta::seconds(60)));
/// # Ok::<(), chrono::ParseError>(())
/// ```
pub fn next(tries: u32, made_at: DateTime<Utc>, now: DateTime<Utc>, chance: Chance) -> Next {
    let again = now + wait(tries, chance);
    if again - made_at > GIVE_UP_AFTER { Next::GiveUp } else { Next::Again(again) }
}

fn wait(tries: u32, chance: Chance) -> TimeDelta {
    // 2^9 minutes are more than the longest wait already.
    let doubled = FIRST_WAIT * (1 << tries.saturating_sub(1).min(9));
    let longest = doubled.min(LONGEST_WAIT).num_milliseconds();
    let upper_half = longest / 2 * i64::from(chance.0) / i64::from(u16::MAX);
    TimeDelta::milliseconds(longest / 2 + upper_half)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use proptest::prelude::*;

    use super::*;

    fn morning() -> DateTime<Utc> {
        "2027-02-01T09:00:00Z".parse().unwrap()
    }

    #[test]
    fn the_longest_wait_doubles_up_to_six_hours() {
        let minutes = |tries| wait(tries, Chance(u16::MAX)).num_minutes();
        let waits: Vec<i64> = (1..=11).map(minutes).collect();
        assert_eq!(waits, [1, 2, 4, 8, 16, 32, 64, 128, 256, 360, 360]);
    }

    #[test]
    fn a_target_that_stays_dead_is_tried_a_score_of_times_in_three_days_and_then_given_up() {
        let (mut now, mut tries) = (morning(), 0);
        loop {
            tries += 1;
            match next(tries, morning(), now, Chance(u16::MAX)) {
                Next::Again(again) => now = again,
                Next::GiveUp => break,
            }
        }
        assert_eq!(tries, 20);
        assert!(now - morning() <= GIVE_UP_AFTER);
    }

    proptest! {
        #[test]
        fn no_wait_is_shorter_than_half_a_minute_or_longer_than_six_hours(
            tries in any::<u32>(), chance in any::<u16>()
        ) {
            let wait = wait(tries, Chance(chance));
            prop_assert!(wait >= FIRST_WAIT / 2 && wait <= LONGEST_WAIT, "{wait}");
        }

        #[test]
        fn a_larger_draw_never_waits_shorter(
            tries in 0..40_u32, one in any::<u16>(), other in any::<u16>()
        ) {
            let (less, more) = (one.min(other), one.max(other));
            prop_assert!(wait(tries, Chance(less)) <= wait(tries, Chance(more)));
        }
    }
}
