//! Money that passed between two farms outside of the network, as both sides say.
//!
//! One side notes it and the other confirms it: only then is it on record. Nothing is added up and
//! nothing enters the owed book. What may not enter: how a payment may change, which `domain` says.

use chrono::{DateTime, NaiveDateTime, Utc};
use diesel::{ExpressionMethods, OptionalExtension, QueryDsl, Queryable, RunQueryDsl};
use spareloop_domain::exchange::money::{Currency, MoneyError};
use spareloop_domain::exchange::{HoldState, Money, Party, PaymentAct, PaymentState};
use spareloop_domain::ledger::Refusal;
use spareloop_domain::words::{Day, FarmId, HoldId, PaymentId};

use crate::error::taken;
use crate::holds::{Hold, hold};
use crate::schema::{hold_prices, payments};
use crate::text::{moment, read, today};
use crate::{Conflict, Missing, Refused, StoreError, Taken, Tx, messages};

/// A payment about to be noted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewPayment {
    /// Its id, made by the client.
    pub id: PaymentId,
    /// How much.
    pub amount: Money,
    /// The day it was paid.
    pub on: Day,
}

/// A payment as its two farms see it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Payment {
    /// Its id.
    pub id: PaymentId,
    /// For which hold.
    pub hold: HoldId,
    /// Which of the two farms noted it.
    pub noted_by: FarmId,
    /// How much.
    pub amount: Money,
    /// The day it was paid.
    pub on: Day,
    /// How it stands.
    pub state: PaymentState,
    /// When it was noted.
    pub noted_at: DateTime<Utc>,
}

#[derive(Queryable)]
struct PaymentRow {
    id: String,
    hold: String,
    noted_by: String,
    thousandths: i64,
    currency: String,
    on_day: String,
    state: String,
    noted_at: NaiveDateTime,
    _ended_at: Option<NaiveDateTime>,
}

fn money(thousandths: i64, currency: &str) -> Result<Money, StoreError> {
    let currency: Result<Currency, MoneyError> = currency.parse();
    currency.and_then(|currency| Money::new(thousandths, currency)).map_err(StoreError::corrupt)
}

impl TryFrom<PaymentRow> for Payment {
    type Error = StoreError;
    fn try_from(row: PaymentRow) -> Result<Self, StoreError> {
        Ok(Self {
            id: read(&row.id)?,
            hold: read(&row.hold)?,
            noted_by: read(&row.noted_by)?,
            amount: money(row.thousandths, &row.currency)?,
            on: read(&row.on_day)?,
            state: read(&row.state)?,
            noted_at: row.noted_at.and_utc(),
        })
    }
}

pub(crate) fn price(tx: &mut Tx<'_>, hold: HoldId) -> Result<Option<Money>, StoreError> {
    let row: Option<(i64, String)> = hold_prices::table
        .find(hold.to_string())
        .select((hold_prices::thousandths, hold_prices::currency))
        .first(tx.connection)
        .optional()?;
    row.map(|(thousandths, currency)| money(thousandths, &currency)).transpose()
}

pub(crate) fn put_price(tx: &mut Tx<'_>, hold: HoldId, price: Money) -> Result<(), StoreError> {
    diesel::insert_into(hold_prices::table)
        .values((
            hold_prices::hold.eq(hold.to_string()),
            hold_prices::thousandths.eq(price.thousandths()),
            hold_prices::currency.eq(price.currency().to_string()),
        ))
        .execute(tx.connection)?;
    Ok(())
}

/// The payments noted for a hold, oldest first. The caller has seen to it that the hold is theirs.
pub fn of(tx: &mut Tx<'_>, hold: HoldId) -> Result<Vec<Payment>, StoreError> {
    let rows: Vec<PaymentRow> = payments::table
        .filter(payments::hold.eq(hold.to_string()))
        .order(payments::id)
        .load(tx.connection)?;
    rows.into_iter().map(Payment::try_from).collect()
}

/// One of the two farms notes that money passed.
pub fn note(
    tx: &mut Tx<'_>,
    farm: FarmId,
    id: HoldId,
    new: &NewPayment,
    now: DateTime<Utc>,
) -> Result<Hold, StoreError> {
    let found = hold(tx, farm, id, now)?;
    if !matches!(found.state, HoldState::Agreed | HoldState::HandedOver | HoldState::Received) {
        return Err(StoreError::refuse(Refused::NothingToPay(found.state)));
    }
    let today = today(now)?;
    // A farm east of the server may write tomorrow.
    if new.on > today.plus_days(1) {
        return Err(StoreError::refuse(Refusal::InTheFuture { on: new.on, today }));
    }
    diesel::insert_into(payments::table)
        .values((
            payments::id.eq(new.id.to_string()),
            payments::hold.eq(id.to_string()),
            payments::noted_by.eq(farm.to_string()),
            payments::thousandths.eq(new.amount.thousandths()),
            payments::currency.eq(new.amount.currency().to_string()),
            payments::on_day.eq(new.on.to_string()),
            payments::state.eq(PaymentState::Noted.code()),
            payments::noted_at.eq(moment(now)),
        ))
        .execute(tx.connection)
        .map_err(taken(Taken::Payment))?;
    let (who, whom) = found.who_and_whom(farm);
    let told = format!(
        "{} noted that {} passed between you on {} for '{}': confirm it if it did, or say that it did not.",
        who.name, new.amount, new.on, found.variety
    );
    messages::tell(tx, whom.id, Some(id), &told, now)?;
    Ok(found)
}

/// The other farm confirms or denies it, or whoever noted it takes it back.
pub fn act(
    tx: &mut Tx<'_>,
    farm: FarmId,
    id: PaymentId,
    act: PaymentAct,
    now: DateTime<Utc>,
) -> Result<Hold, StoreError> {
    let row: Option<PaymentRow> =
        payments::table.find(id.to_string()).first(tx.connection).optional()?;
    let found = Payment::try_from(row.ok_or(Missing::Payment)?)?;
    // Whoever has no part in the hold learns nothing of its payments.
    let held = hold(tx, farm, found.hold, now).map_err(|error| match error {
        StoreError::Missing(Missing::Hold) => Missing::Payment.into(),
        other => other,
    })?;
    let may = match act.by() {
        Party::Noter => found.noted_by == farm,
        _ => found.noted_by != farm,
    };
    if !may {
        return Err(StoreError::refuse(Refused::OnlyBy(act.by())));
    }
    let state = found.state.after(act).map_err(StoreError::refuse)?;
    let written = diesel::update(
        payments::table
            .filter(payments::id.eq(id.to_string()))
            .filter(payments::state.eq(found.state.code())),
    )
    .set((payments::state.eq(state.code()), payments::ended_at.eq(Some(moment(now)))))
    .execute(tx.connection)?;
    if written == 0 {
        return Err(Conflict::ActedMeanwhile.into());
    }
    let (who, whom) = held.who_and_whom(farm);
    let told = format!(
        "The payment of {} on {} for '{}' was {act} by {}.",
        found.amount, found.on, held.variety, who.name
    );
    messages::tell(tx, whom.id, Some(found.hold), &told, now)?;
    Ok(held)
}
