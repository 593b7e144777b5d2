//! Varieties, with all that is known of each.

use spareloop_domain::words::{Day, Protection, VarietyName};

use super::super::table::{Cell, Table};
use super::Seen;

/// Makes it.
pub(super) fn table(seen: &Seen<'_>) -> Table {
    let headings = vec![
        "variety",
        "aliases",
        "form",
        "size",
        "colour",
        "identity",
        "protection",
        "holder",
        "where",
        "until",
        "permission",
        "intention",
        "notes",
        "variety id",
    ];
    let mut cards: Vec<_> = seen.opened.book.varieties.values().collect();
    cards.sort_by_cached_key(|card| card.name.key());
    let rows = cards.into_iter().map(|card| {
        let aliases: Vec<&str> = card.aliases.iter().map(VarietyName::as_str).collect();
        let mut row = vec![
            Cell::text(card.name.as_str()),
            Cell::text(aliases.join("; ")),
            Cell::of(card.form.as_ref(), Cell::text),
            Cell::of(card.size.as_ref(), Cell::text),
            Cell::of(card.colour.as_ref(), Cell::text),
            Cell::text(card.identity.code()),
        ];
        row.extend(protection(&card.protection));
        row.push(Cell::of(card.intention, |intention| Cell::text(intention.code())));
        row.push(Cell::text(card.notes.join("\n")));
        row.push(Cell::text(card.id.to_string()));
        row
    });
    Table { name: "varieties", rows: rows.collect(), headings }
}

/// Protection, holder, where, until, permission.
fn protection(it: &Protection) -> [Cell; 5] {
    let word = |text: &Option<String>| Cell::of(text.as_ref(), Cell::text);
    let alone = |code: &str| [Cell::text(code), Cell::Empty, Cell::Empty, Cell::Empty, Cell::Empty];
    match it {
        Protection::Free => alone("free"),
        Protection::Unknown => alone("unknown"),
        Protection::Protected { holder, region, until, permission } => [
            Cell::text("protected"),
            word(holder),
            word(region),
            Cell::of(*until, |day: Day| day.into()),
            word(permission),
        ],
    }
}
