//! Advice on names after the International Code of Nomenclature for Cultivated Plants.
//!
//! Rules as summed up by FAO's forestry pages and Cornell (Hort 243): at most 30 characters without
//! spaces and quotes, words capitalised but for conjunctions and prepositions, marks only apostrophe,
//! comma, one exclamation mark, hyphen and full stop, no "cv." beside the quotes. Advice only: old
//! and garden names break the rules and are still grown.

use super::names::QUOTES;

/// One thing in a name that the code would have otherwise.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NameAdvice {
    /// More than 30 characters, spaces and quotes not counted.
    #[error(
        "the name has {0} characters without spaces and quotes; names since 1996 have at most 30"
    )]
    Long(usize),
    /// "cv." beside the name; the quotes say it.
    #[error("leave out \"cv.\": the single quotes say that it is a cultivar")]
    Cv,
    /// A word that should begin with a capital.
    #[error("begin {0:?} with a capital; only short joining words are small")]
    Capital(String),
    /// A mark that isn't permitted.
    #[error("{0:?} is not permitted in a name; apostrophe, comma, one !, hyphen and full stop are")]
    Mark(char),
    /// More than one exclamation mark.
    #[error("at most one exclamation mark is permitted in a name")]
    Exclamations,
}

/// The most characters of a name since 1996, spaces and quotes not counted.
const MOST: usize = 30;

/// Conjunctions, prepositions and articles that stay small within a name.
const JOINING: [&str; 44] = [
    "a", "an", "and", "at", "by", "for", "from", "in", "of", "on", "or", "the", "to", "with", "de",
    "du", "des", "la", "le", "les", "et", "en", "à", "au", "aux", "sur", "von", "vom", "zu", "zum",
    "zur", "und", "im", "am", "der", "die", "das", "den", "van", "het", "op", "di", "y", "e",
];

pub(super) fn advice(name: &str) -> Vec<NameAdvice> {
    let mut found = Vec::new();
    let counted =
        name.chars().filter(|letter| !letter.is_whitespace() && !QUOTES.contains(letter)).count();
    if counted > MOST {
        found.push(NameAdvice::Long(counted));
    }
    let is_cv = |word: &&str| ["cv", "cv."].contains(&word.to_lowercase().as_str());
    if name.split_whitespace().any(|word| is_cv(&word)) {
        found.push(NameAdvice::Cv);
    }
    let words = name.split_whitespace().filter(|word| !is_cv(word)).enumerate();
    found.extend(
        words
            .filter(|(at, word)| lacks_capital(*at, word))
            .map(|(_, word)| NameAdvice::Capital(word.trim_matches(QUOTES).to_owned())),
    );
    let mut marks: Vec<char> = name.chars().filter(|letter| !is_permitted(*letter)).collect();
    marks.sort_unstable();
    marks.dedup();
    found.extend(marks.into_iter().map(NameAdvice::Mark));
    if name.matches('!').count() > 1 {
        found.push(NameAdvice::Exclamations);
    }
    found
}

/// The first word always begins with a capital, the others unless they join.
fn lacks_capital(at: usize, word: &str) -> bool {
    let word = word.trim_matches(QUOTES);
    let joins = at > 0 && JOINING.contains(&word);
    !joins && word.chars().next().is_some_and(char::is_lowercase)
}

fn is_permitted(letter: char) -> bool {
    letter.is_alphanumeric()
        || letter.is_whitespace()
        || QUOTES.contains(&letter)
        || [',', '!', '-', '.'].contains(&letter)
}
