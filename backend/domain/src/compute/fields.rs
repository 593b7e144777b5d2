//! Reads a document strictly: every field that is asked for must be there, of its type, and none
//! else may be.
//!
//! Whole numbers may be written `96` or `96.0`. What may not enter: what a field means.

use serde_json::{Map, Value};

use super::unrepeated::Unrepeated;
use super::{ComputeError, Problem};
use crate::words::near_misses;

/// Reads the text; a text that stops being JSON names the last field before that place.
pub fn parse(input: &str) -> Result<Value, ComputeError> {
    // Some editors and shells put a byte-order mark first; RFC 8259 lets a reader pass it over.
    let input = input.strip_prefix('\u{feff}').unwrap_or(input);
    serde_json::from_str(input).map(|Unrepeated(value)| value).map_err(|error| {
        ComputeError::NotJson {
            field: last_field(input, error.line(), error.column()),
            reason: error.to_string(),
        }
    })
}

/// The last text in double quotes that a colon follows, before the given line and column.
fn last_field(input: &str, line: usize, column: usize) -> Option<String> {
    let before: usize =
        input.split_inclusive('\n').take(line.saturating_sub(1)).map(str::len).sum();
    // The column counts bytes and may stand within a letter.
    let mut end = (before + column).min(input.len());
    while !input.is_char_boundary(end) {
        end -= 1;
    }
    let (head, _) = input[..end].rsplit_once(':')?;
    let (_, name) = head.trim_end().strip_suffix('"')?.rsplit_once('"')?;
    Some(name.to_owned())
}

/// Whether something is said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Said {
    /// It is.
    Something,
    /// It isn't.
    Nothing,
}

/// One JSON object and where it stands in the document.
#[derive(Debug)]
pub struct Fields<'a> {
    path: String,
    map: &'a Map<String, Value>,
}

impl<'a> Fields<'a> {
    /// The document itself.
    pub fn top(document: &'a Value) -> Result<Self, ComputeError> {
        let map = document.as_object().ok_or(ComputeError::NotAnObject)?;
        Ok(Self { path: String::new(), map })
    }

    fn at(value: &'a Value, path: String) -> Result<Self, ComputeError> {
        match value.as_object() {
            Some(map) => Ok(Self { path, map }),
            None => Err(wrong_type(path, "an object in braces", value)),
        }
    }

    /// The full name of a field.
    pub fn name(&self, field: &str) -> String {
        if self.path.is_empty() { field.to_owned() } else { format!("{}.{field}", self.path) }
    }

    /// Refuses fields that aren't in `known`: a slip in an optional one would change the answer.
    pub fn only(&self, known: &[&str]) -> Result<(), ComputeError> {
        match self.map.keys().find(|key| !known.contains(&key.as_str())) {
            None => Ok(()),
            Some(key) => {
                let near = near_misses(key, known.iter().copied());
                Err(ComputeError::at(self.name(key), Problem::Unknown { near }))
            }
        }
    }

    /// Whether a field that may be left out is there.
    pub fn has(&self, field: &str) -> bool {
        self.map.contains_key(field)
    }

    fn value(&self, field: &str) -> Result<&'a Value, ComputeError> {
        self.map.get(field).ok_or_else(|| ComputeError::at(self.name(field), Problem::Missing))
    }

    /// A number; JSON has no infinite ones.
    pub fn number(&self, field: &str) -> Result<f64, ComputeError> {
        let value = self.value(field)?;
        value.as_f64().ok_or_else(|| wrong_type(self.name(field), "a number", value))
    }

    /// A number, or `default` if the field isn't there.
    pub fn number_or(&self, field: &str, default: f64) -> Result<f64, ComputeError> {
        if self.has(field) { self.number(field) } else { Ok(default) }
    }

    /// A whole number from 0 to `most`.
    pub fn whole(&self, field: &str, most: u64) -> Result<u64, ComputeError> {
        let value = self.value(field)?;
        let Some(number) = value.as_f64() else {
            return Err(wrong_type(self.name(field), "a whole number", value));
        };
        if number.fract() != 0.0 {
            return Err(wrong_type(self.name(field), "a whole number", value));
        }
        // Checked to be whole; a negative or huge one becomes `None` here or fails the range.
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        let whole =
            value.as_u64().or_else(|| (0.0..9.0e15).contains(&number).then_some(number as u64));
        match whole {
            Some(whole) if whole <= most => Ok(whole),
            _ => {
                let got = shown(value);
                Err(ComputeError::at(self.name(field), Problem::Range { most, got }))
            }
        }
    }

    /// A whole number from 0 to `most`, which fits in 32 bits.
    pub fn whole_u32(&self, field: &str, most: u32) -> Result<u32, ComputeError> {
        let whole = self.whole(field, u64::from(most))?;
        Ok(u32::try_from(whole).unwrap_or(most))
    }

    /// A whole number from `least` to `most`, either of which may be below 0.
    pub fn signed(&self, field: &str, least: i64, most: i64) -> Result<i64, ComputeError> {
        let value = self.value(field)?;
        // JSON knows one kind of number: 3.0 is 3. Beyond 9e15 a number with a dot isn't exact.
        #[allow(clippy::cast_possible_truncation)]
        let rounded =
            |number: f64| (number.fract() == 0.0 && number.abs() < 9.0e15).then_some(number as i64);
        if !value.is_number() || value.as_f64().is_some_and(|number| number.fract() != 0.0) {
            return Err(wrong_type(self.name(field), "a whole number", value));
        }
        match value.as_i64().or_else(|| value.as_f64().and_then(rounded)) {
            Some(whole) if (least..=most).contains(&whole) => Ok(whole),
            _ => {
                let got = shown(value);
                Err(ComputeError::at(self.name(field), Problem::Between { least, most, got }))
            }
        }
    }

    /// Whether the field is there and says something.
    pub fn says(&self, field: &str) -> Said {
        if self.map.get(field).is_none_or(Value::is_null) { Said::Nothing } else { Said::Something }
    }

    /// Yes or no; `default` if the field isn't there.
    pub fn yes_or(&self, field: &str, default: Said) -> Result<Said, ComputeError> {
        match self.map.get(field) {
            None => Ok(default),
            Some(Value::Bool(true)) => Ok(Said::Something),
            Some(Value::Bool(false)) => Ok(Said::Nothing),
            Some(other) => Err(wrong_type(self.name(field), "true or false", other)),
        }
    }

    /// A list of pairs of texts.
    pub fn pairs(&self, field: &str) -> Result<Vec<[String; 2]>, ComputeError> {
        let (value, name) = (self.value(field)?, self.name(field));
        let Some(items) = value.as_array() else {
            return Err(wrong_type(name, "a list in brackets", value));
        };
        let pair = |(at, item): (usize, &Value)| match item.as_array().map(Vec::as_slice) {
            Some([Value::String(one), Value::String(other)]) => Ok([one.clone(), other.clone()]),
            _ => Err(wrong_type(format!("{name}[{at}]"), "a pair of texts in brackets", item)),
        };
        items.iter().enumerate().map(pair).collect()
    }

    /// The names and whole numbers of an object that is nothing else.
    pub fn named_numbers(&self, field: &str) -> Result<Vec<(String, i64)>, ComputeError> {
        let inner = self.object(field)?;
        let number = |name: &String| Ok((name.clone(), inner.signed(name, i64::MIN, i64::MAX)?));
        inner.map.keys().map(number).collect()
    }

    /// A whole number from 0 to `most`, or null.
    pub fn whole_or_null(&self, field: &str, most: u64) -> Result<Option<u64>, ComputeError> {
        if self.value(field)?.is_null() { Ok(None) } else { self.whole(field, most).map(Some) }
    }

    /// A text.
    pub fn text(&self, field: &str) -> Result<String, ComputeError> {
        let value = self.value(field)?;
        let text = value.as_str().map(str::to_owned);
        text.ok_or_else(|| wrong_type(self.name(field), "a text in double quotes", value))
    }

    /// A list of texts.
    pub fn texts(&self, field: &str) -> Result<Vec<String>, ComputeError> {
        let (value, name) = (self.value(field)?, self.name(field));
        let Some(items) = value.as_array() else {
            return Err(wrong_type(name, "a list in brackets", value));
        };
        let text = |(at, item): (usize, &Value)| {
            let text = item.as_str().map(str::to_owned);
            text.ok_or_else(|| wrong_type(format!("{name}[{at}]"), "a text in double quotes", item))
        };
        items.iter().enumerate().map(text).collect()
    }

    /// An object.
    pub fn object(&self, field: &str) -> Result<Self, ComputeError> {
        Self::at(self.value(field)?, self.name(field))
    }

    /// A list of objects; an empty one is an answerable question (no stock at all).
    pub fn objects(&self, field: &str) -> Result<Vec<Self>, ComputeError> {
        Self::list(self.value(field)?, &self.name(field))
    }

    /// A list of lists of objects.
    pub fn lists(&self, field: &str) -> Result<Vec<Vec<Self>>, ComputeError> {
        let (value, name) = (self.value(field)?, self.name(field));
        let Some(items) = value.as_array() else {
            return Err(wrong_type(name, "a list of lists in brackets", value));
        };
        let item = |(at, item)| Self::list(item, &format!("{name}[{at}]"));
        items.iter().enumerate().map(item).collect()
    }

    fn list(value: &'a Value, name: &str) -> Result<Vec<Self>, ComputeError> {
        let Some(items) = value.as_array() else {
            return Err(wrong_type(name.to_owned(), "a list in brackets", value));
        };
        let item = |(at, item)| Self::at(item, format!("{name}[{at}]"));
        items.iter().enumerate().map(item).collect()
    }
}

fn wrong_type(field: String, wanted: &'static str, value: &Value) -> ComputeError {
    ComputeError::at(field, Problem::Type { wanted, got: shown(value) })
}

/// The value as written, cut where it gets long.
fn shown(value: &Value) -> String {
    match value {
        Value::Array(_) => "a list".to_owned(),
        Value::Object(_) => "an object".to_owned(),
        other => other.to_string().chars().take(60).collect(),
    }
}
