//! The kinds of statement that a want asks for.

use std::collections::BTreeSet;

use super::fact::{FactKind, Says};
use super::statement::Statement;
use crate::words::Day;

/// Which of the `required` kinds none of the statements is. They must have been verified before;
/// papers that no longer hold on `today` are as good as none. What a statement says is not judged:
/// a test that found something is a test, and the reader is shown what it found.
pub fn missing<'a>(
    required: impl IntoIterator<Item = &'a FactKind>,
    statements: impl IntoIterator<Item = &'a Statement>,
    today: Day,
) -> BTreeSet<FactKind> {
    let there: BTreeSet<FactKind> = statements
        .into_iter()
        .filter(|statement| holds_on(&statement.says, today))
        .filter_map(|statement| statement.says.kind())
        .collect();
    required.into_iter().copied().filter(|kind| !there.contains(kind)).collect()
}

fn holds_on(says: &Says, today: Day) -> bool {
    match says {
        Says::MovementPapers(papers) => papers.valid_until >= today,
        _ => true,
    }
}
