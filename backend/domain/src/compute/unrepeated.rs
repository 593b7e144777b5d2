//! JSON in which no object says a field twice.
//!
//! The reader would take the last of two silently, and a slip would change the answer. What may not
//! enter: what a field means.

use std::fmt;

use serde::de::{Deserialize, Deserializer, Error, MapAccess, SeqAccess, Visitor};
use serde_json::{Map, Value};

/// A document without repeated fields.
pub(super) struct Unrepeated(pub(super) Value);

impl<'de> Deserialize<'de> for Unrepeated {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        from.deserialize_any(Reader).map(Self)
    }
}

struct Reader;

impl<'de> Visitor<'de> for Reader {
    type Value = Value;

    fn expecting(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str("a JSON value")
    }

    fn visit_unit<E>(self) -> Result<Value, E> {
        Ok(Value::Null)
    }

    fn visit_bool<E>(self, value: bool) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_i64<E>(self, value: i64) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_u64<E>(self, value: u64) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_f64<E>(self, value: f64) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_str<E>(self, value: &str) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut from: A) -> Result<Value, A::Error> {
        let mut items = Vec::new();
        while let Some(Unrepeated(item)) = from.next_element()? {
            items.push(item);
        }
        Ok(items.into())
    }

    fn visit_map<A: MapAccess<'de>>(self, mut from: A) -> Result<Value, A::Error> {
        let mut fields = Map::new();
        while let Some((name, Unrepeated(value))) = from.next_entry::<String, Unrepeated>()? {
            if fields.contains_key(&name) {
                return Err(A::Error::custom(format_args!("the field {name:?} stands twice")));
            }
            fields.insert(name, value);
        }
        Ok(fields.into())
    }
}
