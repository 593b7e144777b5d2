//! Which long passwords are the first that anybody tries.
//!
//! The published lists of commonest passwords hold hardly any of 15 characters; those that they do
//! hold are words repeated, rows of keys, runs of digits and common words strung together. So the
//! patterns are checked, with a short word list of our own making.

/// Words that common passwords are strung together from; ours, and short on purpose.
#[rustfmt::skip]
const WORDS: &[&str] = &[
    "password", "passwort", "passw", "pass", "word", "welcome", "letmein", "let", "me", "in",
    "iloveyou", "love", "you", "admin", "administrator", "root", "user", "login", "sign", "secret",
    "qwerty", "qwertz", "azerty", "asdf", "asdfgh", "zxcv", "zxcvbn", "abc", "abcd", "monkey",
    "dragon", "football", "baseball", "soccer", "sunshine", "princess", "master", "hello", "world",
    "freedom", "whatever", "trust", "no", "one", "two", "three", "four", "five", "super", "man",
    "superman", "batman", "shadow", "michael", "jordan", "charlie", "summer", "winter", "spring",
    "autumn", "fall", "january", "february", "march", "april", "may", "june", "july", "august",
    "september", "october", "november", "december", "monday", "friday", "sunday", "god", "jesus",
    "blessed", "my", "the", "is", "this", "a", "i", "dahlia", "dahlias", "tuber", "tubers",
    "flower", "flowers", "farm", "farmer", "garden", "grower", "spare", "loop", "spareloop", "test",
    "testing", "changeme", "change", "default", "guest", "please", "access", "computer", "internet",
    "server", "network", "forever", "family", "happy", "birthday", "new", "year",
];

/// Sentences that were printed so often that they are no longer anybody's own.
const SENTENCES: &[&str] = &[
    "correcthorsebatterystaple",
    "thequickbrownfoxjumpsoverthelazydog",
    "tobeornottobethatisthequestion",
    "maytheforcebewithyou",
    "onceuponatime",
    "itwasthebestoftimes",
    "loremipsumdolorsitamet",
];

const KEY_ROWS: &[&str] = &[
    "1234567890",
    "qwertyuiop",
    "qwertzuiop",
    "azertyuiop",
    "asdfghjkl",
    "zxcvbnm",
    "yxcvbnm",
    "abcdefghijklmnopqrstuvwxyz",
    "1qaz2wsx3edc4rfv5tgb6yhn7ujm8ik9ol0p",
];

/// Whether a password (15 characters or more) is among the first that anybody would try.
pub(super) fn is_common(password: &str) -> bool {
    let lower: Vec<char> = password.to_lowercase().chars().collect();
    let distinct = {
        let mut letters = lower.clone();
        letters.sort_unstable();
        letters.dedup();
        letters.len()
    };
    distinct < 5 || repeats(&lower) || runs_along_keys(&lower) || is_strung_together(&lower)
}

/// Whether it is one piece said again and again, the last time perhaps cut short.
fn repeats(letters: &[char]) -> bool {
    (1..=letters.len() / 2).any(|period| {
        letters.iter().skip(period).zip(letters).all(|(later, sooner)| later == sooner)
    })
}

/// Whether four in five steps go to the neighbouring key, letter or digit, or stay.
fn runs_along_keys(letters: &[char]) -> bool {
    let is_step = |a: char, b: char| {
        u32::from(a).abs_diff(u32::from(b)) <= 1
            || KEY_ROWS
                .iter()
                .any(|row| row.find(a).zip(row.find(b)).is_some_and(|(x, y)| x.abs_diff(y) <= 1))
    };
    let steps = letters.windows(2).filter(|pair| is_step(pair[0], pair[1])).count();
    steps * 5 >= (letters.len().saturating_sub(1)) * 4
}

/// Whether its letters are nothing but common words, with digits and marks set aside and the usual
/// stand-ins (0 for o, @ for a, ...) read as letters.
fn is_strung_together(letters: &[char]) -> bool {
    let stand_in = |letter: char| match letter {
        '0' => 'o',
        '1' | '!' => 'i',
        '3' => 'e',
        '4' | '@' => 'a',
        '5' | '$' => 's',
        '7' => 't',
        other => other,
    };
    let as_is: String = letters.iter().filter(|l| l.is_alphabetic()).collect();
    let read: String = letters.iter().map(|l| stand_in(*l)).filter(|l| l.is_alphabetic()).collect();
    [as_is, read]
        .iter()
        .any(|text| SENTENCES.iter().any(|sentence| text.contains(sentence)) || made_of_words(text))
}

fn made_of_words(text: &str) -> bool {
    // Bytes are safe to cut at: every word is ASCII, and a cut is only made behind a whole word.
    let mut reached = vec![false; text.len() + 1];
    reached[0] = true;
    for start in 0..text.len() {
        if reached[start] {
            for word in WORDS {
                if text.as_bytes()[start..].starts_with(word.as_bytes()) {
                    reached[start + word.len()] = true;
                }
            }
        }
    }
    reached[text.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn repeated_words_rows_of_keys_and_common_words_are_known() {
        for common in [
            "passwordpassword",
            "P@ssw0rdP@ssw0rd1",
            "123456789012345",
            "qwertyuiopasdfgh",
            "aaaaaaaaaaaaaaaa",
            "iloveyou12345678!",
            "abababababababab",
            "correct horse battery staple",
            "letmein-letmein-letmein",
            "Welcome2Spareloop!",
            "summer-winter-2026",
            "abcdefghijklmnopq",
            "1qaz2wsx3edc4rfv5",
        ] {
            assert!(is_common(common), "{common} should be known");
        }
    }

    #[test]
    fn a_sentence_of_ones_own_is_not() {
        for own in ["kelp-moss-ferny", "we lift on the ninth of november", "öäüß tote nine leaks"]
        {
            assert!(!is_common(own), "{own} should pass");
        }
    }
}
