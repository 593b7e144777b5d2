//! Hand-overs and receipts: the physical passing, in both farms' ledgers and in the owed book, each
//! in one transaction.

use chrono::{DateTime, Utc};
use diesel::{ExpressionMethods, OptionalExtension, QueryDsl, RunQueryDsl};
use spareloop_domain::exchange::hand_over::BothCounts;
use spareloop_domain::exchange::owed::{Settled, Tenths, settle};
use spareloop_domain::exchange::parcel::{Arrival, FrostBorneBy};
use spareloop_domain::exchange::{HandOverAct, HandOverState, HoldAct};
use spareloop_domain::ledger::body::{Receive, Send, VarietyNote};
use spareloop_domain::ledger::draft::check_draft;
use spareloop_domain::ledger::{Book, Draft, Entry, Refusal, fold_until};
use spareloop_domain::words::{
    Count, Day, EntryId, FarmId, HandOverId, HoldId, Identity, LotId, Purpose, VarietyCard,
    VarietyId, VarietyName,
};

use crate::error::taken;
use crate::holds::{Actor, Counters, Hold, add_step, after, cover_want, hold, lock_hold, value};
use crate::ledger::{all_entries, lock_farm, write_house};
use crate::schema::{hand_overs, receipts};
use crate::text::{count, free, moment, read, read_some, today, unsigned};
use crate::{
    Missing, Refused, StoreError, Taken, Tx, farm_book, fresh, limits, messages, owed, parcels,
    promises, turns, wants,
};

/// A hand-over as its two farms see it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HandOver {
    /// Its id.
    pub id: HandOverId,
    /// Units given.
    pub given: Count,
    /// The day given.
    pub given_on: Day,
    /// Condition as given, in words.
    pub condition: String,
    /// What the taker confirmed, once it did.
    pub receipt: Option<Receipt>,
}

/// What the taker confirmed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Receipt {
    /// Units received.
    pub received: Count,
    /// The day.
    pub on: Day,
    /// Condition as received, in words.
    pub condition: String,
    /// The lot that the taker's ledger has it as; none if nothing arrived.
    pub lot: Option<LotId>,
}

impl HandOver {
    /// How it stands.
    pub const fn state(&self) -> HandOverState {
        match self.receipt {
            Some(_) => HandOverState::Received,
            None => HandOverState::Given,
        }
    }
}

/// A hand-over about to be noted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewHandOver {
    /// Its id, made by the client.
    pub id: HandOverId,
    /// Units given.
    pub given: Count,
    /// The day.
    pub on: Day,
    /// Condition, in words; may be empty.
    pub condition: String,
}

/// A receipt about to be noted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewReceipt {
    /// Units received.
    pub received: Count,
    /// The day.
    pub on: Day,
    /// Condition, in words; may be empty.
    pub condition: String,
    /// How it came.
    pub arrival: Arrival,
}

pub(crate) fn hand_over_of(tx: &mut Tx<'_>, hold: HoldId) -> Result<Option<HandOver>, StoreError> {
    type Given = (String, i64, String, String);
    let given: Option<Given> = hand_overs::table
        .filter(hand_overs::hold.eq(hold.to_string()))
        .select((hand_overs::id, hand_overs::given, hand_overs::given_on, hand_overs::condition))
        .first(tx.connection)
        .optional()?;
    let Some((id, given, given_on, condition)) = given else {
        return Ok(None);
    };
    Ok(Some(HandOver {
        receipt: receipt_of(tx, &id)?,
        id: read(&id)?,
        given: count(given)?,
        given_on: read(&given_on)?,
        condition,
    }))
}

/// How often the farm has handed stock over in its network.
pub(crate) fn handed_over_by(tx: &mut Tx<'_>, farm: FarmId) -> Result<u64, StoreError> {
    let times: i64 = hand_overs::table
        .filter(hand_overs::giver.eq(farm.to_string()))
        .count()
        .get_result(tx.connection)?;
    unsigned(times)
}

fn receipt_of(tx: &mut Tx<'_>, hand_over: &str) -> Result<Option<Receipt>, StoreError> {
    let row: Option<(i64, String, String, Option<String>)> = receipts::table
        .find(hand_over)
        .select((receipts::received, receipts::received_on, receipts::condition, receipts::lot))
        .first(tx.connection)
        .optional()?;
    row.map(|(received, on, condition, lot)| {
        Ok(Receipt {
            received: count(received)?,
            on: read(&on)?,
            condition,
            lot: read_some(lot.as_deref())?,
        })
    })
    .transpose()
}

/// The giver hands the stock of an agreed hold over: it leaves the giver's ledger.
pub fn hand_over(
    tx: &mut Tx<'_>,
    giver: FarmId,
    id: HoldId,
    new: &NewHandOver,
    now: DateTime<Utc>,
) -> Result<Hold, StoreError> {
    let condition = free(&new.condition, "the condition")?;
    let before = hold(tx, giver, id, now)?;
    let taker = before.taker.id;
    let limits = limits::lock_for_giving(tx, giver, taker)?;
    let mut found = lock_hold(tx, giver, id, now)?;
    let state = after(&found, giver, HoldAct::HandOverByGiver)?;
    if new.given.is_zero() {
        return Err(StoreError::refuse(Refused::Nothing { what: "the count given" }));
    }
    if new.given > found.count {
        let (given, held) = (new.given, found.count);
        return Err(StoreError::refuse(Refused::GivenMoreThanHeld { given, held }));
    }
    if found.purpose == Purpose::Swap {
        let value = value(new.given, found.unit_value);
        limits.check_hand_over(tx, found.network, (giver, value), now)?;
        limits.check_hand_over(tx, found.network, (taker, Tenths(-value.0)), now)?;
    }
    parcels::leave(tx, id, new.on)?;
    let entry = write_send(tx, &found, new, now)?;
    diesel::insert_into(hand_overs::table)
        .values((
            hand_overs::id.eq(new.id.to_string()),
            hand_overs::network.eq(found.network.to_string()),
            hand_overs::hold.eq(id.to_string()),
            hand_overs::giver.eq(giver.to_string()),
            hand_overs::taker.eq(found.taker.id.to_string()),
            hand_overs::given.eq(i64::from(new.given)),
            hand_overs::given_on.eq(new.on.to_string()),
            hand_overs::condition.eq(condition),
            hand_overs::entry.eq(entry.to_string()),
            hand_overs::given_at.eq(moment(now)),
        ))
        .execute(tx.connection)
        .map_err(taken(Taken::HandOver))?;
    add_step(tx, &mut found, state, Actor::Farm(giver), condition, now)?;
    Counters::HandedOver { held: found.count, given: new.given }.write(tx, found.offer, now)?;
    let what = format!("{} of '{}'", new.given, found.variety);
    let told = format!("{} handed {what} over to you: confirm what arrived.", found.giver.name);
    messages::tell(tx, found.taker.id, Some(id), &told, now)?;
    let noted = format!("You handed {what} over to {}; your stock book has it.", found.taker.name);
    messages::tell(tx, giver, Some(id), &noted, now)?;
    promises::settle(tx, giver, now)?;
    // What was held and not given is free again.
    turns::call_next(tx, found.network, found.offer, now)?;
    hold(tx, giver, id, now)
}

/// How many of the hold's lot are in store, as the giver's stock book has it now.
fn in_store(tx: &mut Tx<'_>, hold: &Hold) -> Result<Count, StoreError> {
    let book = farm_book(tx, hold.giver.id)?;
    Ok(book.lots.get(&hold.lot).map_or(Count::ZERO, |lot| lot.in_store))
}

fn write_send(
    tx: &mut Tx<'_>,
    hold: &Hold,
    new: &NewHandOver,
    now: DateTime<Utc>,
) -> Result<EntryId, StoreError> {
    let giver = hold.giver.id;
    let body = Send {
        lot: hold.lot,
        count: new.given,
        purpose: hold.purpose,
        to: hold.taker.name.clone(),
        to_farm: Some(hold.taker.id),
        hand_over: Some(new.id),
    };
    let draft = Draft { id: EntryId::new(fresh::uuid(now)?), on: new.on, body: body.into() };
    // What was there on the day, and what is there now: both must bear it.
    let that_day = fold_until(&all_entries(tx, giver)?, new.on);
    check_draft(&that_day, &draft, today(now)?).map_err(StoreError::refuse)?;
    check_draft(&*farm_book(tx, giver)?, &draft, today(now)?).map_err(StoreError::refuse)?;
    let before = in_store(tx, hold)?;
    let entry = last(&write_house(tx, giver, vec![draft], now)?)?;
    // A count of a later day would bring the units back, and they would be promised again.
    if in_store(tx, hold)? != before.less(new.given) {
        return Err(StoreError::refuse(Refused::HandedOverBeforeACount { on: new.on }));
    }
    Ok(entry)
}

/// The taker confirms what arrived: it enters the taker's ledger and the owed book.
pub fn receive(
    tx: &mut Tx<'_>,
    taker: FarmId,
    id: HandOverId,
    new: &NewReceipt,
    now: DateTime<Utc>,
) -> Result<Hold, StoreError> {
    let condition = free(&new.condition, "the condition")?;
    let hold_id: Option<String> = hand_overs::table
        .filter(hand_overs::id.eq(id.to_string()))
        .filter(hand_overs::taker.eq(taker.to_string()))
        .select(hand_overs::hold)
        .first(tx.connection)
        .optional()?;
    let hold_id: HoldId = read(&hold_id.ok_or(Missing::HandOver)?)?;
    lock_farm(tx, taker)?;
    let mut found = lock_hold(tx, taker, hold_id, now)?;
    let state = after(&found, taker, HoldAct::ReceiveByTaker)?;
    let handed = found.hand_over.clone().ok_or(Missing::HandOver)?;
    handed.state().after(HandOverAct::ReceiveByTaker).map_err(StoreError::refuse)?;
    check_received_on(&handed, new.on, today(now)?)?;
    let frost = parcels::come(tx, hold_id, new.arrival, new.received)?;
    let written = write_receive(tx, &found, &handed, new, condition, now)?;
    diesel::insert_into(receipts::table)
        .values((
            receipts::hand_over.eq(id.to_string()),
            receipts::taker.eq(taker.to_string()),
            receipts::received.eq(i64::from(new.received)),
            receipts::received_on.eq(new.on.to_string()),
            receipts::condition.eq(condition),
            receipts::lot.eq(written.map(|(lot, _)| lot.to_string())),
            receipts::entry.eq(written.map(|(_, entry)| entry.to_string())),
            receipts::received_at.eq(moment(now)),
        ))
        .execute(tx.connection)
        .map_err(taken(Taken::HandOver))?;
    add_step(tx, &mut found, state, Actor::Farm(taker), condition, now)?;
    // Where the taker bears freezing, what was given is owed for, whatever survived.
    let owed_for = match frost {
        Some(FrostBorneBy::Taker) => handed.given,
        Some(FrostBorneBy::Giver) | None => new.received,
    };
    book_owed(tx, &found, &handed, owed_for, now)?;
    if let Some(want) = found.want {
        wants::add_received(tx, want, new.received)?;
    }
    cover_want(tx, &found, now)?;
    tell_both(tx, &found, &handed, new.received, now)?;
    promises::settle(tx, taker, now)?;
    hold(tx, taker, hold_id, now)
}

/// Stock comes on the day it left or later, since a trace follows it in the order of days; and
/// not in the future, also where nothing came and no ledger asks.
fn check_received_on(handed: &HandOver, on: Day, today: Day) -> Result<(), StoreError> {
    let given = handed.given_on;
    if on.plus_days(1) < given {
        return Err(StoreError::refuse(Refused::ReceivedBeforeGiven { on, given }));
    }
    if on > today.plus_days(1) {
        return Err(StoreError::refuse(Refusal::InTheFuture { on, today }));
    }
    Ok(())
}

fn book_owed(
    tx: &mut Tx<'_>,
    hold: &Hold,
    handed: &HandOver,
    owed_for: Count,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let settled = Settled {
        hand_over: handed.id,
        giver: hold.giver.id,
        taker: hold.taker.id,
        purpose: hold.purpose,
        counts: BothCounts { given: handed.given, received: owed_for },
        unit_value: hold.unit_value,
    };
    match settle(&settled).map_err(StoreError::refuse)? {
        Some(posting) => owed::post(tx, hold.network, &posting, now),
        None => Ok(()),
    }
}

fn tell_both(
    tx: &mut Tx<'_>,
    hold: &Hold,
    handed: &HandOver,
    received: Count,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let differs = if received == handed.given {
        String::new()
    } else {
        format!(" You gave {}, they counted {received}: talk to them.", handed.given)
    };
    let (taker, variety) = (&hold.taker.name, &hold.variety);
    let told = format!("{taker} received {received} of '{variety}'.{differs}");
    messages::tell(tx, hold.giver.id, Some(hold.id), &told, now)?;
    let noted = format!(
        "You received {received} of '{variety}' from {}; your stock book has it.",
        hold.giver.name
    );
    messages::tell(tx, hold.taker.id, Some(hold.id), &noted, now)
}

/// Writes what arrived into the taker's ledger, under the variety's name there, which is named
/// first if it is new to the farm. Nothing is written where nothing arrived.
fn write_receive(
    tx: &mut Tx<'_>,
    hold: &Hold,
    handed: &HandOver,
    new: &NewReceipt,
    condition: &str,
    now: DateTime<Utc>,
) -> Result<Option<(LotId, EntryId)>, StoreError> {
    if new.received.is_zero() {
        return Ok(None);
    }
    let taker = hold.taker.id;
    let mut book = Book::clone(&*farm_book(tx, taker)?);
    let mut drafts = Vec::new();
    let named = (hold.variety.as_str(), hold.identity);
    let variety = variety_in(&mut book, &mut drafts, named, new.on, now)?;
    let lot = free_lot(&book, now)?;
    let body = Receive {
        lot,
        variety,
        unit: hold.unit,
        count: new.received,
        from: hold.giver.name.clone(),
        from_farm: Some(hold.giver.id),
        from_lot: Some(hold.lot),
        hand_over: Some(handed.id),
        coming: None,
        condition: (!condition.is_empty()).then(|| condition.to_owned()),
    };
    let draft = Draft { id: EntryId::new(fresh::uuid(now)?), on: new.on, body: body.into() };
    check_draft(&book, &draft, today(now)?).map_err(StoreError::refuse)?;
    drafts.push(draft);
    let entry = last(&write_house(tx, taker, drafts, now)?)?;
    Ok(Some((lot, entry)))
}

/// The id under which the last of some entries was written.
fn last(written: &[Entry]) -> Result<EntryId, StoreError> {
    let last = written.last().map(|entry| entry.id);
    last.ok_or_else(|| StoreError::broken("the house device wrote nothing"))
}

/// The variety under its name in the farm's book, which is named first if it is new to the farm.
pub(crate) fn variety_in(
    book: &mut Book,
    drafts: &mut Vec<Draft>,
    named: (&str, Identity),
    on: Day,
    now: DateTime<Utc>,
) -> Result<VarietyId, StoreError> {
    if let Some(known) = known_variety(book, named.0) {
        return Ok(known);
    }
    name_variety(book, drafts, named, on, now)
}

fn known_variety(book: &Book, name: &str) -> Option<VarietyId> {
    let key = spareloop_domain::words::fold_key(name);
    let bears = |card: &&VarietyCard| {
        card.name.key() == key || card.aliases.iter().any(|alias| alias.key() == key)
    };
    book.varieties.values().find(bears).map(|card| card.id)
}

fn name_variety(
    book: &mut Book,
    drafts: &mut Vec<Draft>,
    (name, identity): (&str, Identity),
    on: Day,
    now: DateTime<Utc>,
) -> Result<VarietyId, StoreError> {
    let id = VarietyId::new(fresh::uuid(now)?);
    let name: VarietyName = read(name)?;
    // An unsure name stays unsure wherever the stock goes.
    let unsure = (identity == Identity::Unsure).then_some(Identity::Unsure);
    let note = VarietyNote { identity: unsure, ..VarietyNote::naming(id, name.clone()) };
    drafts.push(Draft { id: EntryId::new(fresh::uuid(now)?), on, body: note.into() });
    book.varieties.insert(
        id,
        VarietyCard {
            id,
            name,
            aliases: Vec::new(),
            form: None,
            size: None,
            colour: None,
            identity,
            protection: spareloop_domain::words::Protection::default(),
            intention: None,
            notes: Vec::new(),
        },
    );
    Ok(id)
}

/// A lot id whose code no lot of the farm bears.
fn free_lot(book: &Book, now: DateTime<Utc>) -> Result<LotId, StoreError> {
    loop {
        let lot = LotId::new(fresh::uuid(now)?);
        if book.lots.keys().all(|known| known.code() != lot.code()) {
            return Ok(lot);
        }
    }
}
