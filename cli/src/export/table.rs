//! A table as every format writes it: headings, and cells that know what they are.
//!
//! What may not enter: where the values come from ([`super::sheets`]), how a format spells them.

use serde_json::{Map, Value, json};
use spareloop_domain::words::{Count, Day};

/// A cell.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// Nothing to say.
    Empty,
    /// Words.
    Text(String),
    /// A whole number.
    Whole(i64),
    /// A number with a fraction.
    Number(f64),
    /// A calendar day.
    Day(Day),
    /// A moment, in milliseconds since 1970 UTC.
    Moment(u64),
}

impl Cell {
    /// Words, or nothing where there are none.
    pub fn text(words: impl Into<String>) -> Self {
        let words = words.into();
        if words.is_empty() { Self::Empty } else { Self::Text(words) }
    }

    /// What a value makes, or nothing.
    pub fn of<T>(value: Option<T>, cell: impl FnOnce(T) -> Self) -> Self {
        value.map_or(Self::Empty, cell)
    }

    /// As JSON: days as `YYYY-MM-DD`, moments as RFC 3339.
    fn to_json(&self) -> Value {
        match self {
            Self::Empty => Value::Null,
            Self::Text(text) => json!(text),
            Self::Whole(number) => json!(number),
            Self::Number(number) => json!(number),
            Self::Day(day) => json!(day),
            Self::Moment(millis) => json!(spoken_moment(*millis)),
        }
    }
}

impl From<Count> for Cell {
    fn from(count: Count) -> Self {
        Self::Whole(i64::from(count.get()))
    }
}

impl From<Day> for Cell {
    fn from(day: Day) -> Self {
        Self::Day(day)
    }
}

/// A moment as RFC 3339 has it, in whole seconds. One beyond the calendar is given in milliseconds.
pub fn spoken_moment(millis: u64) -> String {
    i64::try_from(millis)
        .ok()
        .and_then(chrono::DateTime::from_timestamp_millis)
        .map_or_else(|| millis.to_string(), |at| at.format("%Y-%m-%dT%H:%M:%SZ").to_string())
}

/// A table.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// What it is called, as the command has it.
    pub name: &'static str,
    /// What stands above the columns.
    pub headings: Vec<&'static str>,
    /// The rows, as long as the headings.
    pub rows: Vec<Vec<Cell>>,
}

impl Table {
    /// The rows as objects by heading.
    pub fn to_json(&self) -> Value {
        let object = |row: &Vec<Cell>| -> Value {
            let fields = self.headings.iter().zip(row);
            let fields: Map<String, Value> =
                fields.map(|(name, cell)| ((*name).to_owned(), cell.to_json())).collect();
            Value::Object(fields)
        };
        json!({
            "spareloop": crate::printer::JSON_VERSION,
            "kind": format!("export-{}", self.name),
            "rows": self.rows.iter().map(object).collect::<Vec<_>>(),
        })
    }
}
