//! A cell of a wide sheet: what a grower wrote down after a look.
//!
//! `38`, `38 sound`, `38/40`, `-2 rot`, `37 sound, 1 doubtful, 2 rot`, `ok`, `x`. A number alone is
//! what was alive.
//!
//! What may not enter: what the lot held; causes that the cell doesn't say.

use spareloop_domain::words::{Count, LossCause, fold_key};

use crate::import::cells::count;

/// What a cell says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Cell {
    /// Nobody looked.
    NotLooked,
    /// All that was there is alive.
    AllThere,
    /// What was seen.
    Seen(Seen),
}

/// What was seen, as far as the cell says.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Seen {
    /// Sound.
    pub(super) sound: Option<Count>,
    /// Doubtful.
    pub(super) doubtful: Count,
    /// Looked at.
    pub(super) of: Option<Count>,
    /// Lost, to a cause if one is named.
    pub(super) lost: Vec<(Option<LossCause>, Count)>,
}

/// What a number of a cell counts.
#[derive(Clone, Copy)]
enum Kind {
    Sound,
    Doubtful,
    Lost(Option<LossCause>),
}

const NOT_LOOKED: &[&str] = &["", "-", "–", "—", ".", "n/a", "not looked", "skipped"];
const ALL_THERE: &[&str] =
    &["ok", "all ok", "all good", "all sound", "all fine", "all there", "fine", "same", "✓", "✔"];
const ALL_GONE: &[&str] =
    &["x", "✗", "✘", "all gone", "gone", "all lost", "all dead", "dead", "none", "none left"];
const SOUND: &[&str] = &["", "sound", "good", "ok", "alive", "left", "firm", "fine"];
const DOUBTFUL: &[&str] = &["doubtful", "unsure"];
const LOST: &[&str] = &["lost", "gone", "dead", "out", "minus"];

/// Reads a cell.
pub(super) fn read(text: &str) -> Result<Cell, String> {
    let text = text.trim().to_lowercase();
    let is = |words: &[&str]| words.contains(&text.as_str());
    if is(NOT_LOOKED) {
        return Ok(Cell::NotLooked);
    }
    if is(ALL_THERE) {
        return Ok(Cell::AllThere);
    }
    if is(ALL_GONE) {
        return Ok(Cell::Seen(Seen { sound: Some(Count::ZERO), ..Seen::default() }));
    }
    if let Ok(sound) = count(&text) {
        return Ok(Cell::Seen(Seen { sound: Some(sound), ..Seen::default() }));
    }
    let mut seen = Seen::default();
    let parts = text.replace(" -", ",-").replace(" and ", ",");
    for part in parts.split([',', ';', '+', '&', '(', ')', '\n']).map(str::trim) {
        if !part.is_empty() {
            take_in(&mut seen, part).ok_or_else(|| {
                format!("{text:?} is not understood; write what was alive, as 38, or -2 rot")
            })?;
        }
    }
    Ok(Cell::Seen(seen))
}

/// One number with its word. None if it can't be understood, or is said twice.
fn take_in(seen: &mut Seen, part: &str) -> Option<()> {
    let (minus, part) = match part.strip_prefix(['-', '−']) {
        Some(rest) => (Minus::Written, rest.trim()),
        None => (Minus::No, part),
    };
    let start = part.find(|letter: char| letter.is_ascii_digit())?;
    let (before, rest) = part.split_at(start);
    let end = rest.find(|letter: char| !letter.is_ascii_digit()).unwrap_or(rest.len());
    let (digits, after) = rest.split_at(end);
    let number = count(digits).ok()?;
    let (of, after) = match after.trim().strip_prefix('/') {
        Some(after) => {
            let after = after.trim();
            let end = after.find(|letter: char| !letter.is_ascii_digit()).unwrap_or(after.len());
            (Some(count(&after[..end]).ok()?), &after[end..])
        }
        None => (None, after),
    };
    let kind = kind(before.trim(), after.trim(), minus)?;
    match kind {
        Kind::Sound if seen.sound.is_none() => {
            seen.sound = Some(number);
            seen.of = of;
        }
        _ if of.is_some() => return None,
        Kind::Doubtful if seen.doubtful.is_zero() => seen.doubtful = number,
        Kind::Lost(cause) if seen.lost.iter().all(|(other, _)| *other != cause) => {
            seen.lost.push((cause, number));
        }
        Kind::Sound | Kind::Doubtful | Kind::Lost(_) => return None,
    }
    Some(())
}

/// Whether a minus stands before a number.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Minus {
    Written,
    No,
}

fn kind(before: &str, after: &str, minus: Minus) -> Option<Kind> {
    let word = match (before, after) {
        (before, "") => before,
        ("", after) => after,
        // "lost 2 to rot", "lost 2 rot"
        (before, after) if LOST.contains(&before) => after.trim_start_matches("to ").trim(),
        _ => return None,
    };
    let lost = minus == Minus::Written || LOST.contains(&before);
    match cause(word) {
        Some(cause) => Some(Kind::Lost(Some(cause))),
        None if LOST.contains(&word) || (lost && word.is_empty()) => Some(Kind::Lost(None)),
        None if lost => None,
        None if SOUND.contains(&word) => Some(Kind::Sound),
        None if DOUBTFUL.contains(&word) => Some(Kind::Doubtful),
        None => None,
    }
}

/// A cause as people write it.
pub(super) fn cause(word: &str) -> Option<LossCause> {
    let key = fold_key(&word.replace('-', " "));
    let own = LossCause::ALL
        .iter()
        .find(|cause| fold_key(&cause.code().replace('-', " ")) == key)
        .copied();
    own.or_else(|| crate::import::checks::cause_of_alias(&key)).or_else(|| word.parse().ok())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use super::*;

    fn seen(text: &str) -> Seen {
        match read(text).unwrap() {
            Cell::Seen(seen) => seen,
            other => panic!("{text}: {other:?}"),
        }
    }

    fn n(number: u16) -> Count {
        number.into()
    }

    #[test]
    fn a_number_alone_is_what_was_alive() {
        for text in ["38", "38 sound", "38 alive", "38 left", "38,0"] {
            assert_eq!(seen(text), Seen { sound: Some(n(38)), ..Seen::default() }, "{text}");
        }
        assert_eq!(seen("38/40").of, Some(n(40)));
        assert_eq!(seen("x").sound, Some(n(0)));
        assert_eq!(seen("all gone").sound, Some(n(0)));
    }

    #[test]
    fn a_minus_or_a_cause_is_what_was_lost() {
        let rot = vec![(Some(LossCause::Rot), n(2))];
        for text in ["-2 rot", "2 rot", "2 rotten", "rot 2", "lost 2 to rot"] {
            assert_eq!(seen(text), Seen { lost: rot.clone(), ..Seen::default() }, "{text}");
        }
        assert_eq!(seen("-2").lost, [(None, n(2))]);
        assert_eq!(
            seen("-2 rot -1 frozen").lost,
            [(Some(LossCause::Rot), n(2)), (Some(LossCause::Frozen), n(1))]
        );
    }

    #[test]
    fn a_cell_may_say_it_all() {
        let all = seen("37 sound, 1 doubtful, 2 dried out");
        assert_eq!((all.sound, all.doubtful), (Some(n(37)), n(1)));
        assert_eq!(all.lost, [(Some(LossCause::DriedOut), n(2))]);
        assert_eq!(seen("38 (2 rot)").lost, [(Some(LossCause::Rot), n(2))]);
    }

    #[test]
    fn nobody_looked_and_all_there_are_two_things() {
        assert_eq!(read("  ").unwrap(), Cell::NotLooked);
        assert_eq!(read("–").unwrap(), Cell::NotLooked);
        assert_eq!(read("OK").unwrap(), Cell::AllThere);
    }

    #[test]
    fn what_can_not_be_understood_is_refused_with_what_to_write() {
        for text in
            ["38?", "4o", "3.5", "38 or so", "38 40", "38 sound, 3 sound", "-2 sound", "1e3"]
        {
            assert!(read(text).unwrap_err().contains("write"), "{text}");
        }
    }
}
