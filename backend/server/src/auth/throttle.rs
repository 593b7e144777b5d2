//! How often a sign-in may be tried.
//!
//! Ten tries at once for one name from one address, then one every 30 seconds; and sixty a minute
//! for an address whatever the names. Each replica counts for itself, which is enough to make
//! guessing hopeless. What may not enter: whether a try was right.

use std::net::IpAddr;
use std::num::NonZeroU32;
use std::time::Duration;

use governor::clock::{Clock, DefaultClock};
use governor::{DefaultKeyedRateLimiter, Quota, RateLimiter};
use spareloop_domain::words::fold_key;

use crate::error::ServerError;

const TRIES_AT_ONCE: NonZeroU32 = NonZeroU32::new(10).unwrap();
const TRIES_PER_ADDRESS: NonZeroU32 = NonZeroU32::new(60).unwrap();
const NEXT_TRY_AFTER: Duration = Duration::from_secs(30);

/// Counts tries by name and address.
pub struct Throttle {
    by_name: DefaultKeyedRateLimiter<(String, IpAddr)>,
    by_address: DefaultKeyedRateLimiter<IpAddr>,
    clock: DefaultClock,
}

impl std::fmt::Debug for Throttle {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Throttle")
    }
}

impl Default for Throttle {
    fn default() -> Self {
        let by_name = Quota::with_period(NEXT_TRY_AFTER)
            .unwrap_or_else(|| Quota::per_minute(NonZeroU32::MIN))
            .allow_burst(TRIES_AT_ONCE);
        Self {
            by_name: RateLimiter::keyed(by_name),
            by_address: RateLimiter::keyed(Quota::per_minute(TRIES_PER_ADDRESS)),
            clock: DefaultClock::default(),
        }
    }
}

impl Throttle {
    /// Counts one try at a sign-in name, a code or a link; refuses it with the seconds to wait when there were too many.
    pub fn count_try(&self, login: &str, address: IpAddr) -> Result<(), ServerError> {
        let now = self.clock.now();
        let refused = |wait: Duration| ServerError::TooMany {
            // Rounded up: whoever waits that long gets in.
            retry_after_seconds: wait.as_secs() + 1,
        };
        self.by_address.check_key(&address).map_err(|until| refused(until.wait_time_from(now)))?;
        // Cut, so that a name of a hundred kilobytes isn't remembered.
        let name: String = fold_key(login).chars().take(64).collect();
        self.by_name.check_key(&(name, address)).map_err(|until| refused(until.wait_time_from(now)))
    }

    /// Forgets names and addresses that have not tried for a while.
    pub fn forget_old(&self) {
        self.by_name.retain_recent();
        self.by_address.retain_recent();
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use std::net::Ipv4Addr;

    use super::*;

    #[test]
    fn the_eleventh_try_at_one_name_waits_and_another_name_does_not() {
        let throttle = Throttle::default();
        let here = IpAddr::V4(Ipv4Addr::LOCALHOST);
        for _ in 0..10 {
            throttle.count_try("Anna", here).unwrap();
        }
        let refused = throttle.count_try("ANNA", here).unwrap_err();
        assert!(matches!(refused, ServerError::TooMany { retry_after_seconds: 1..=31 }));
        throttle.count_try("bert", here).unwrap();
    }
}
