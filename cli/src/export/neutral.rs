//! Text that a spreadsheet program would take for a formula, made harmless in CSV, and back.
//!
//! A cell that begins with `=`, `+`, `-`, `@`, a tab or a carriage return can run as a formula once
//! the file is opened (`OWASP`, "CSV Injection"). [`neutralise`] puts an apostrophe before it, which
//! those programs take for "this is text"; [`plain`] takes it off again, so that what goes out and
//! comes back is the same. A text whose own apostrophes stand before such a sign gets one more, so
//! the two are exact opposites.
//!
//! What may not enter: numbers (a `-3` is no formula), quoting, files.

use std::borrow::Cow;

/// Signs that begin a formula, also in their full-width forms.
const BEGINS_A_FORMULA: &[char] =
    &['=', '+', '-', '@', '\t', '\r', '\n', '\u{ff1d}', '\u{ff0b}', '\u{ff0d}', '\u{ff20}'];

/// The text as a CSV cell that no program runs.
///
/// ```
/// use spareloop_cli::export::neutral::{neutralise, plain};
/// assert_eq!(neutralise("=1+1"), "'=1+1");
/// assert_eq!(neutralise("Ember Lantern"), "Ember Lantern");
/// assert_eq!(plain("'=1+1"), "=1+1");
/// assert_eq!(plain("'t Hooge Land"), "'t Hooge Land");
/// ```
pub fn neutralise(text: &str) -> Cow<'_, str> {
    if text.trim_start_matches('\'').starts_with(BEGINS_A_FORMULA) {
        Cow::Owned(format!("'{text}"))
    } else {
        Cow::Borrowed(text)
    }
}

/// The text of a CSV cell as it was before [`neutralise`].
pub fn plain(cell: &str) -> &str {
    match cell.strip_prefix('\'') {
        Some(rest) if rest.trim_start_matches('\'').starts_with(BEGINS_A_FORMULA) => rest,
        _ => cell,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn what_was_made_harmless_comes_back_as_it_was(text in "['=+@\t -]{0,4}.{0,6}") {
            let cell = neutralise(&text);
            prop_assert!(!cell.starts_with(BEGINS_A_FORMULA));
            prop_assert_eq!(plain(&cell), text.as_str());
        }
    }
}
