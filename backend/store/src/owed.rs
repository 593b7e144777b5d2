//! The owed book: one row a posting, balances as sums, per network.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDateTime, Utc};
use diesel::{BoolExpressionMethods, ExpressionMethods, QueryDsl, RunQueryDsl};
use spareloop_domain::exchange::owed::{Posting, Tenths, balances as sums};
use spareloop_domain::words::{ClaimId, FarmId, HandOverId, NetworkId};

use crate::error::taken;
use crate::schema::{claim_postings, owed_book, owed_postings as postings_table};
use crate::text::{moment, read};
use crate::{StoreError, Taken, Tx};

/// A posting and when it was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Posted {
    /// The posting.
    pub posting: Posting,
    /// When.
    pub at: DateTime<Utc>,
}

pub(crate) fn post(
    tx: &mut Tx<'_>,
    network: NetworkId,
    posting: &Posting,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    diesel::insert_into(postings_table::table)
        .values((
            postings_table::hand_over.eq(posting.hand_over().to_string()),
            postings_table::network.eq(network.to_string()),
            postings_table::from_farm.eq(posting.from().to_string()),
            postings_table::to_farm.eq(posting.to().to_string()),
            postings_table::tenths.eq(posting.value().0),
            postings_table::at.eq(moment(now)),
        ))
        .execute(tx.connection)
        .map_err(taken(Taken::HandOver))?;
    Ok(())
}

/// Books what a claim brings back, as a row of its own.
pub(crate) fn post_claim(
    tx: &mut Tx<'_>,
    network: NetworkId,
    claim: ClaimId,
    posting: &Posting,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    diesel::insert_into(claim_postings::table)
        .values((
            claim_postings::claim.eq(claim.to_string()),
            claim_postings::hand_over.eq(posting.hand_over().to_string()),
            claim_postings::network.eq(network.to_string()),
            claim_postings::from_farm.eq(posting.from().to_string()),
            claim_postings::to_farm.eq(posting.to().to_string()),
            claim_postings::tenths.eq(posting.value().0),
            claim_postings::at.eq(moment(now)),
        ))
        .execute(tx.connection)
        .map_err(taken(Taken::Claim))?;
    Ok(())
}

type Row = (String, String, String, i64, NaiveDateTime);

fn posted((from, to, hand_over, tenths, at): Row) -> Result<Posted, StoreError> {
    let hand_over: HandOverId = read(&hand_over)?;
    let posting = Posting::new(read(&from)?, read(&to)?, Tenths(tenths), hand_over)
        .map_err(StoreError::corrupt)?;
    Ok(Posted { posting, at: at.and_utc() })
}

const COLUMNS: (
    owed_book::from_farm,
    owed_book::to_farm,
    owed_book::hand_over,
    owed_book::tenths,
    owed_book::at,
) = (
    owed_book::from_farm,
    owed_book::to_farm,
    owed_book::hand_over,
    owed_book::tenths,
    owed_book::at,
);

/// What each farm of the network is owed (above 0) or owes (below 0); farms without a posting are
/// left out. Sums to zero.
pub fn balances(
    tx: &mut Tx<'_>,
    network: NetworkId,
) -> Result<BTreeMap<FarmId, Tenths>, StoreError> {
    let rows: Vec<Row> = owed_book::table
        .filter(owed_book::network.eq(network.to_string()))
        .select(COLUMNS)
        .load(tx.connection)?;
    let postings: Vec<Posting> =
        rows.into_iter().map(|row| Ok(posted(row)?.posting)).collect::<Result<_, StoreError>>()?;
    Ok(sums(&postings))
}

/// The postings that the farm is part of, newest first, at most `limit`.
pub fn postings(
    tx: &mut Tx<'_>,
    network: NetworkId,
    farm: FarmId,
    limit: u32,
) -> Result<Vec<Posted>, StoreError> {
    let farm = farm.to_string();
    let rows: Vec<Row> = owed_book::table
        .filter(owed_book::network.eq(network.to_string()))
        .filter(owed_book::from_farm.eq(&farm).or(owed_book::to_farm.eq(&farm)))
        .order((owed_book::at.desc(), owed_book::act.desc()))
        .limit(i64::from(limit))
        .select(COLUMNS)
        .load(tx.connection)?;
    rows.into_iter().map(posted).collect()
}
