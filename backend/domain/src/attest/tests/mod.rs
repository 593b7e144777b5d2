//! Statements of invented farms, and everything that must not pass for one.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod forged;
mod refused;
mod vectors;
mod words;

use super::*;
use crate::words::{Day, FarmId, Look, LotId, StatementId, uuid_v7};

pub(super) fn farm(number: u8) -> FarmId {
    FarmId::new(uuid_v7(1, [number; 10]))
}

pub(super) fn lot(number: u8) -> LotId {
    LotId::new(uuid_v7(2, [number; 10]))
}

pub(super) fn statement_id(number: u8) -> StatementId {
    StatementId::new(uuid_v7(3, [number; 10]))
}

pub(super) fn day(text: &str) -> Day {
    text.parse().unwrap()
}

/// So many hours after 1 January 2027.
pub(super) fn hour(hours: i64) -> Second {
    Second::try_from(1_798_761_600 + hours * 3600).unwrap()
}

pub(super) fn key(number: u8) -> SigningKey {
    SigningKey::from_bytes([number; 32])
}

/// The key of that number, made known as the farm's at hour 0.
pub(super) fn known(number: u8, of: FarmId) -> KeyRecord {
    let key = key(number);
    KeyRecord {
        key: key.public(),
        farm: of,
        made_at: hour(0),
        introduction: key.introduce(&key.public(), of, hour(0)),
        vouched: None,
        known_at: None,
        withdrawn_at: None,
    }
}

pub(super) fn looked_over() -> Says {
    Says::LookedOver(LookedOver {
        on: day("2027-01-11"),
        look: Look::Unpacked,
        looked: 20_u16.into(),
        of: 40_u16.into(),
        with_signs: 0_u16.into(),
        signs: String::new(),
    })
}

pub(super) fn tested_for(target: &str, positive: u16) -> Says {
    Says::LaboratoryTest(LaboratoryTest {
        on: day("2027-01-20"),
        target: target.to_owned(),
        method: "ELISA".to_owned(),
        tested: 12_u16.into(),
        positive: positive.into(),
        laboratory: "Invented Plant Laboratory".to_owned(),
        reference: "IPL 27/114".to_owned(),
    })
}

/// A statement of farm 1 about lot 1, by key 1, at an hour.
pub(super) fn stating(number: u8, at: Second, says: Says) -> Statement {
    Statement {
        v: VERSION,
        statement: statement_id(number),
        farm: farm(1),
        lot: lot(1),
        key: key(1).public().id(),
        issued_at: at,
        supersedes: None,
        says,
    }
}

pub(super) fn kept(statement: Statement, key: &SigningKey) -> Kept {
    Kept { compact: sign(statement, key).unwrap(), taken_at: None }
}

pub(super) fn shown() -> Shown {
    Shown { farm: Some(farm(1)), lot: Some(lot(1)), now: hour(1000) }
}
