//! Changed texts: every position, and a thousand seeded ones.

use super::*;
use crate::dice::Dice;

fn genuine() -> (Kept, Vec<KeyRecord>) {
    let kept = kept(stating(1, hour(1), tested_for("dahlia mosaic virus", 0)), &key(1));
    (kept, vec![known(1, farm(1)), known(2, farm(2))])
}

#[test]
fn a_text_with_any_one_character_changed_is_refused() {
    let (kept, keys) = genuine();
    assert!(verify(&kept, &shown(), &keys, &[]).is_ok());
    for position in 0..kept.compact.len() {
        let mut bytes = kept.compact.clone().into_bytes();
        bytes[position] = if bytes[position] == b'A' { b'B' } else { b'A' };
        let changed = Kept { compact: String::from_utf8(bytes).unwrap(), taken_at: None };
        assert!(verify(&changed, &shown(), &keys, &[]).is_err(), "character {position}");
    }
}

/// Bytes of the decoded header, payload and signature, each position of all three at least once.
#[test]
fn a_thousand_single_byte_mutations_are_all_refused() {
    use base64::Engine as _;
    use base64::engine::general_purpose::URL_SAFE_NO_PAD as B64;
    let (kept, keys) = genuine();
    let parts: Vec<Vec<u8>> =
        kept.compact.split('.').map(|part| B64.decode(part).unwrap()).collect();
    let positions: Vec<(usize, usize)> = parts
        .iter()
        .enumerate()
        .flat_map(|(part, bytes)| (0..bytes.len()).map(move |at| (part, at)))
        .collect();
    assert!(positions.len() < 1_000, "{} positions", positions.len());
    let mut dice = Dice::new(20_270_112);
    let mut refused = 0;
    for number in 0..1_000 {
        let (part, at) = match positions.get(number) {
            Some(position) => *position,
            None => *dice.pick(&positions).unwrap(),
        };
        let mut changed = parts.clone();
        // 1 to 255: never the byte itself.
        changed[part][at] ^= u8::try_from(dice.below(255) + 1).unwrap();
        let texts: Vec<String> = changed.iter().map(|bytes| B64.encode(bytes)).collect();
        let changed = Kept { compact: texts.join("."), taken_at: None };
        let outcome = verify(&changed, &shown(), &keys, &[]);
        assert!(outcome.is_err(), "byte {at} of part {part}: {outcome:?}");
        refused += 1;
    }
    println!("mutations 1000 refused {refused}");
}

#[test]
fn texts_that_were_never_signed_are_refused_whatever_they_are() {
    let (kept, keys) = genuine();
    let odd = ["", ".", "..", "...", "a.b.c", "e30.e30.e30"];
    let padded = format!("{}=", kept.compact);
    let twice = format!("{0}.{0}", kept.compact);
    for text in odd.into_iter().chain([padded.as_str(), &twice, &kept.compact[1..]]) {
        let text = Kept { compact: text.to_owned(), taken_at: None };
        assert!(verify(&text, &shown(), &keys, &[]).is_err(), "{text:?}");
    }
    let long = Kept { compact: "A".repeat(MOST_BYTES + 1), taken_at: None };
    assert_eq!(verify(&long, &shown(), &keys, &[]), Err(VerifyError::TooLong));
}
