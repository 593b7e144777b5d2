//! Invariant 6: an entry sorts after all that its device had seen, and no stamp is borrowed from a
//! clock that is more than a day ahead of the server's.

use crate::violation::{Held, Invariant, broken};
use crate::witness::{Lives, Reader, Row};

/// How far ahead of the server's clock a stamp may lie and still be followed.
const DAY: i64 = 24 * 60 * 60 * 1000;

/// Holds a new entry of a file against what else stands there. `own_newest` is the newest stamp that
/// its device gave before.
pub fn hold(
    reader: &mut Reader,
    lives: &Lives,
    new: &Row,
    own_newest: (i64, i64),
    wall: u64,
) -> Held {
    if new.at() <= own_newest {
        return broken(
            Invariant::ClocksOrder,
            format!(
                "{}/{} is stamped {:?}, not after {own_newest:?}",
                new.device,
                new.seq,
                new.at()
            ),
        );
    }
    let wall = i64::try_from(wall).expect("a time of our days");
    let mut explained = new.at_millis <= wall || new.at_millis == own_newest.0;
    for seen in reader.not_before(new.at_millis) {
        if seen.id == new.id || (seen.device == new.device && seen.seq > new.seq) {
            continue;
        }
        let Some(taken) = lives.taken.get(&seen.hash) else { continue };
        let (first, last) = (millis(taken.first), millis(taken.last));
        if seen.at() >= new.at() && seen.at_millis <= first + DAY {
            return broken(
                Invariant::ClocksOrder,
                format!(
                    "{}/{} is stamped {:?}, its device had seen {:?} of {}/{}",
                    new.device,
                    new.seq,
                    new.at(),
                    seen.at(),
                    seen.device,
                    seen.seq
                ),
            );
        }
        // Restored since, the server may have taken it again when its time had come.
        explained |= seen.at_millis == new.at_millis && seen.at_millis <= last + DAY;
    }
    if explained {
        return Ok(());
    }
    broken(
        Invariant::ClocksOrder,
        format!(
            "{}/{} is stamped {:?} where the wall clock shows {wall}: it followed a clock far ahead",
            new.device,
            new.seq,
            new.at()
        ),
    )
}

fn millis(time: u64) -> i64 {
    i64::try_from(time).expect("a time of our days")
}
