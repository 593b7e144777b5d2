//! Offers, wants, matches, holds, hand-overs, the owed book and what a farm is told.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use spareloop_domain::attest::FactKind;
use spareloop_domain::exchange::{Arrival, GreatestDistance, Kilometres, Money, OpenTo};
use spareloop_domain::words::{
    Count, Day, FarmId, HandOverId, HoldId, Identity, LotId, MessageId, OfferId, Purpose, TurnId,
    UnitKind, WantId,
};
use utoipa::ToSchema;

use crate::attest::Stated;
use crate::parcels::ParcelView;
use crate::payments::PaymentView;
use crate::people::FarmView;

/// `POST /offers`: publishes spare of one lot.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MakeOffer {
    /// The offer's id, made by the client before it is sent.
    #[schema(value_type = String, format = "uuid")]
    pub offer: OfferId,
    /// The lot, which must be in the synced ledger.
    #[schema(value_type = String, format = "uuid")]
    pub lot: LotId,
    /// How many.
    #[schema(value_type = u32)]
    pub count: Count,
    /// The least I'll send.
    #[schema(value_type = u32)]
    pub smallest_parcel: Count,
    /// In words: pick-up only, and so on.
    #[serde(default)]
    pub conditions: String,
    /// `everybody` unless told, or `beginners`: a starter gift, for farms that joined within two years and
    /// have handed nothing over yet.
    #[serde(default)]
    #[schema(value_type = String)]
    pub open_to: OpenTo,
}

/// An offer as its network sees it.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct OfferView {
    /// Its id.
    #[schema(value_type = String, format = "uuid")]
    pub offer: OfferId,
    /// Whose.
    pub farm: FarmView,
    /// The lot's code.
    pub lot_code: String,
    /// The variety's name, spelling kept.
    pub variety: String,
    /// Whether the name is sure.
    #[schema(value_type = String)]
    pub identity: Identity,
    /// What a unit is.
    #[schema(value_type = String)]
    pub unit: UnitKind,
    /// How many were offered.
    #[schema(value_type = u32)]
    pub count: Count,
    /// Not held, agreed or handed over.
    #[schema(value_type = u32)]
    pub free: Count,
    /// The least the farm will send.
    #[schema(value_type = u32)]
    pub smallest_parcel: Count,
    /// `open`, `withdrawn`, `closed`, `set-aside`.
    pub state: String,
    /// `provisional` until the lot was looked over within 14 days, then `firm`.
    pub firmness: String,
    /// `eyed`, `not-yet-eyed` or `not-noted`.
    pub eyes: String,
    /// In words.
    pub conditions: String,
    /// Survival history, computed by the server from the farm's own ledger.
    pub history: HistoryView,
    /// Bench hygiene, from the farm's own ledger.
    pub hygiene: HygieneView,
    /// What the farm states about the lot over its signature.
    pub stated: Stated,
    /// `everybody`, or `beginners`: a starter gift.
    #[serde(default)]
    #[schema(value_type = String)]
    pub open_to: OpenTo,
    /// When it was published.
    pub made_at: DateTime<Utc>,
    /// What the caller's farm and the offer's are told where stock would go from one region to another.
    #[serde(default)]
    pub movement: Option<String>,
    /// How far the two farms are from each other over the ground, if both have said where they are.
    #[serde(default)]
    #[schema(value_type = Option<u16>)]
    pub distance_km: Option<Kilometres>,
}

/// The survival history of a lot.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct HistoryView {
    /// The day it was stored.
    #[schema(value_type = Option<String>, format = "date")]
    pub stored: Option<Day>,
    /// How many times it was looked at.
    pub looks: u32,
    /// Last looked at.
    #[schema(value_type = Option<String>, format = "date")]
    pub last_look: Option<Day>,
    /// Units the lot began with.
    #[schema(value_type = u32)]
    pub began_with: Count,
    /// In store by the book.
    #[schema(value_type = u32)]
    pub in_store: Count,
    /// Lost to decay in store.
    #[schema(value_type = u32)]
    pub decayed: Count,
    /// Whether signs of disease were noted; never hidden.
    pub signs_of_disease: SignsOfDisease,
    /// All of it in a sentence.
    pub sentence: String,
}

/// Whether signs of disease were noted on a lot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum SignsOfDisease {
    /// None noted, which is no proof of anything.
    NoneNoted,
    /// Noted.
    Noted,
}

/// What the farm's ledger says of the bench the lot was cut at.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct HygieneView {
    /// In a sentence: who states what, or that nothing was noted.
    pub sentence: String,
}

/// `POST /wants`.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MakeWant {
    /// The want's id, made by the client before it is sent.
    #[schema(value_type = String, format = "uuid")]
    pub want: WantId,
    /// The variety wanted first.
    pub variety: String,
    /// Varieties taken instead, best first; empty accepts none.
    #[serde(default)]
    pub instead: Vec<String>,
    /// What a unit is.
    #[schema(value_type = String)]
    pub unit: UnitKind,
    /// How many.
    #[schema(value_type = u32)]
    pub count: Count,
    /// Needed by.
    #[schema(value_type = Option<String>, format = "date")]
    pub needed_by: Option<Day>,
    /// In words.
    #[serde(default)]
    pub conditions: String,
    /// Kinds of signed statement that an offer's lot must bear: `bench-hygiene`, `soak`,
    /// `looked-over`, `laboratory-test`, `origin`, `movement-papers`.
    #[serde(default, skip_serializing_if = "BTreeSet::is_empty")]
    #[schema(value_type = Vec<String>)]
    pub required: BTreeSet<FactKind>,
    /// From how far away it may come, in kilometres over the ground; the farm must have said where it is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<u16>, minimum = 1, maximum = 20015)]
    pub within_km: Option<GreatestDistance>,
}

/// A want as its network sees it.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct WantView {
    /// Its id.
    #[schema(value_type = String, format = "uuid")]
    pub want: WantId,
    /// Whose.
    pub farm: FarmView,
    /// The variety wanted first.
    pub variety: String,
    /// Varieties taken instead.
    pub instead: Vec<String>,
    /// What a unit is.
    #[schema(value_type = String)]
    pub unit: UnitKind,
    /// How many.
    #[schema(value_type = u32)]
    pub count: Count,
    /// Still open: not held, agreed or received.
    #[schema(value_type = u32)]
    pub open: Count,
    /// Needed by.
    #[schema(value_type = Option<String>, format = "date")]
    pub needed_by: Option<Day>,
    /// `open`, `filled`, `withdrawn`.
    pub state: String,
    /// In words.
    pub conditions: String,
    /// Kinds of signed statement that an offer's lot must bear.
    #[serde(default)]
    #[schema(value_type = Vec<String>)]
    pub required: BTreeSet<FactKind>,
    /// From how far away it may come.
    #[serde(default)]
    #[schema(value_type = Option<u16>)]
    pub within_km: Option<GreatestDistance>,
    /// How far the two farms are from each other over the ground, if both have said where they are.
    #[serde(default)]
    #[schema(value_type = Option<u16>)]
    pub distance_km: Option<Kilometres>,
}

/// `GET /board?after=&limit=`: the network's spare and short sheet, by variety.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct Board {
    /// Open offers.
    pub offers: Vec<OfferView>,
    /// Open wants.
    pub wants: Vec<WantView>,
}

/// `GET /matches`: who has what I lack and lacks what I have.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct Matches {
    /// Mutual ones first.
    pub matches: Vec<MatchView>,
}

/// One other farm with which something could pass.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct MatchView {
    /// The other farm.
    pub farm: FarmView,
    /// How far it is over the ground, if both have said where they are.
    #[serde(default)]
    #[schema(value_type = Option<u16>)]
    pub distance_km: Option<Kilometres>,
    /// What they have that I lack.
    pub they_have: Vec<MatchLine>,
    /// What they lack that I have.
    pub they_lack: Vec<MatchLine>,
    /// What they have that I lack, but for signed statements that my want asks for.
    #[serde(default)]
    pub they_have_unstated: Vec<UnstatedLine>,
    /// What they lack that I have, but for signed statements that their want asks for.
    #[serde(default)]
    pub they_lack_unstated: Vec<UnstatedLine>,
    /// What both farms are told where stock would go from their region to the caller's.
    #[serde(default)]
    pub they_have_movement: Option<String>,
    /// The same, from the caller's region to theirs.
    #[serde(default)]
    pub they_lack_movement: Option<String>,
}

/// One offer that would meet one want, were the statements there that the want asks for.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct UnstatedLine {
    /// The line.
    #[serde(flatten)]
    pub line: MatchLine,
    /// The kinds of statement that are missing.
    #[schema(value_type = Vec<String>)]
    pub missing: BTreeSet<FactKind>,
}

/// One offer that meets one want.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct MatchLine {
    /// The offer.
    #[schema(value_type = String, format = "uuid")]
    pub offer: OfferId,
    /// The want.
    #[schema(value_type = String, format = "uuid")]
    pub want: WantId,
    /// The variety offered.
    pub variety: String,
    /// What a unit is.
    #[schema(value_type = String)]
    pub unit: UnitKind,
    /// As many as could pass.
    #[schema(value_type = u32)]
    pub count: Count,
}

/// `POST /offers/{offer}/holds`: asks for a hold.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AskHold {
    /// The hold's id, made by the client before it is sent.
    #[schema(value_type = String, format = "uuid")]
    pub hold: HoldId,
    /// How many.
    #[schema(value_type = u32)]
    pub count: Count,
    /// The want it is for.
    #[serde(default)]
    #[schema(value_type = Option<String>, format = "uuid")]
    pub want: Option<WantId>,
    /// Swap, gift or sale.
    #[schema(value_type = String)]
    pub purpose: Purpose,
    /// What the two farms take one unit to be worth, in tenths of a median division; 0 but for a swap.
    #[serde(default)]
    pub unit_value_tenths: u32,
    /// What one unit is sold for, where it is a sale: `2.50 EUR`. Money is recorded and never handled.
    #[serde(default)]
    #[schema(value_type = Option<String>)]
    pub unit_price: Option<Money>,
    /// Hours until the hold lapses, 1 to 336; 72 unless told.
    #[serde(default)]
    pub hours: Option<u16>,
    /// A line to the giver.
    #[serde(default)]
    pub note: String,
}

/// `POST /offers/{offer}/pass`: the giver hands some of it over on the spot; the taker confirms what it got.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PassOnTheSpot {
    /// The hold's id, made by the client before it is sent.
    #[schema(value_type = String, format = "uuid")]
    pub hold: HoldId,
    /// The hand-over's id, made by the client before it is sent.
    #[schema(value_type = String, format = "uuid")]
    pub hand_over: HandOverId,
    /// The farm that takes it.
    #[schema(value_type = String, format = "uuid")]
    pub to: FarmId,
    /// How many.
    #[schema(value_type = u32)]
    pub count: Count,
    /// Swap, gift or sale.
    #[schema(value_type = String)]
    pub purpose: Purpose,
    /// What the two farms take one unit to be worth, in tenths of a median division; 0 but for a swap.
    #[serde(default)]
    pub unit_value_tenths: u32,
    /// What one unit is sold for, where it is a sale: `2.50 EUR`.
    #[serde(default)]
    #[schema(value_type = Option<String>)]
    pub unit_price: Option<Money>,
    /// The day.
    #[schema(value_type = String, format = "date")]
    pub on: Day,
    /// Condition, in words.
    #[serde(default)]
    pub condition: String,
}

/// What a giver says to a hold, and what a taker may say.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Reason {
    /// In words; may be empty.
    #[serde(default)]
    pub why: String,
}

/// A hold as its two farms see it.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct HoldView {
    /// Its id.
    #[schema(value_type = String, format = "uuid")]
    pub hold: HoldId,
    /// The offer.
    #[schema(value_type = String, format = "uuid")]
    pub offer: OfferId,
    /// The want, if any.
    #[schema(value_type = Option<String>, format = "uuid")]
    pub want: Option<WantId>,
    /// Who gives.
    pub giver: FarmView,
    /// Who takes.
    pub taker: FarmView,
    /// The variety's name.
    pub variety: String,
    /// What a unit is.
    #[schema(value_type = String)]
    pub unit: UnitKind,
    /// How many.
    #[schema(value_type = u32)]
    pub count: Count,
    /// What for.
    #[schema(value_type = String)]
    pub purpose: Purpose,
    /// Tenths of a median division per unit.
    pub unit_value_tenths: u32,
    /// What one unit is sold for, where it is a sale.
    #[serde(default)]
    #[schema(value_type = Option<String>)]
    pub unit_price: Option<Money>,
    /// Money that passed, as one side noted it; on record once the other confirmed.
    #[serde(default)]
    pub payments: Vec<PaymentView>,
    /// `held`, `agreed`, `handed-over`, `received`, `released`, `lapsed`, `cut`.
    pub state: String,
    /// When it lapses if nobody acts.
    pub until: DateTime<Utc>,
    /// The taker's line.
    pub note: String,
    /// The hand-over, once there is one.
    pub hand_over: Option<HandOverView>,
    /// Its life, oldest first.
    pub steps: Vec<HoldStepView>,
    /// What both farms are told where the stock goes from one region to another.
    #[serde(default)]
    pub movement: Option<String>,
    /// How it travels, where it travels as a parcel.
    #[serde(default)]
    pub parcel: Option<ParcelView>,
}

/// `POST /offers/{offer}/line`: waits for what comes free.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WaitInLine {
    /// The turn's id, made by the client before it is sent.
    #[schema(value_type = String, format = "uuid")]
    pub turn: TurnId,
    /// How many are wished for; fewer are held where fewer are, or come, free.
    #[schema(value_type = u32)]
    pub count: Count,
    /// The want it is for, if any.
    #[serde(default)]
    #[schema(value_type = Option<String>, format = "uuid")]
    pub want: Option<WantId>,
    /// Swap or gift.
    #[schema(value_type = String)]
    pub purpose: Purpose,
    /// What the two farms take one unit to be worth, in tenths; 0 for a gift.
    #[serde(default)]
    pub unit_value_tenths: u32,
    /// A line to the giver.
    #[serde(default)]
    pub note: String,
}

/// A turn in the line for an offer, as its two farms see it.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct TurnView {
    /// Its id.
    #[schema(value_type = String, format = "uuid")]
    pub turn: TurnId,
    /// The offer.
    #[schema(value_type = String, format = "uuid")]
    pub offer: OfferId,
    /// Who gives.
    pub giver: FarmView,
    /// Who waits.
    pub taker: FarmView,
    /// The variety.
    pub variety: String,
    /// What a unit is.
    #[schema(value_type = String)]
    pub unit: UnitKind,
    /// How many are wished for.
    #[schema(value_type = u32)]
    pub count: Count,
    /// Since when.
    pub since: DateTime<Utc>,
    /// `waiting`, `called`, `left`, `closed`.
    pub state: String,
    /// Its place in the line, from 1, while it waits.
    pub place: Option<u64>,
    /// What was held for it.
    #[schema(value_type = Option<String>, format = "uuid")]
    pub hold: Option<HoldId>,
}

/// One step in a hold's life.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct HoldStepView {
    /// The state it came to.
    pub state: String,
    /// When, on the server's clock.
    pub at: DateTime<Utc>,
    /// Why, in words.
    pub why: String,
}

/// `POST /holds/{hold}/hand-over`, by the giver.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct HandOver {
    /// Its id, made by the client before it is sent.
    #[schema(value_type = String, format = "uuid")]
    pub hand_over: HandOverId,
    /// Units given.
    #[schema(value_type = u32)]
    pub given: Count,
    /// The day.
    #[schema(value_type = String, format = "date")]
    pub on: Day,
    /// Condition, in words.
    #[serde(default)]
    pub condition: String,
}

/// `POST /hand-overs/{hand_over}/receipt`, by the taker.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Receipt {
    /// Units received.
    #[schema(value_type = u32)]
    pub received: Count,
    /// The day.
    #[schema(value_type = String, format = "date")]
    pub on: Day,
    /// Condition, in words.
    #[serde(default)]
    pub condition: String,
    /// How it came: `arrived`, or of a parcel `lost` or `frozen`.
    #[serde(default = "arrived")]
    #[schema(value_type = Option<String>)]
    pub arrival: Arrival,
}

const fn arrived() -> Arrival {
    Arrival::Arrived
}

/// A hand-over as its two farms see it.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct HandOverView {
    /// Its id.
    #[schema(value_type = String, format = "uuid")]
    pub hand_over: HandOverId,
    /// Units given.
    #[schema(value_type = u32)]
    pub given: Count,
    /// The day given.
    #[schema(value_type = String, format = "date")]
    pub given_on: Day,
    /// Condition as given.
    pub given_condition: String,
    /// Units received, once confirmed.
    #[schema(value_type = Option<u32>)]
    pub received: Option<Count>,
    /// The day received.
    #[schema(value_type = Option<String>, format = "date")]
    pub received_on: Option<Day>,
    /// Condition as received.
    pub received_condition: Option<String>,
    /// The lot that the taker's ledger has it as.
    #[schema(value_type = Option<String>, format = "uuid")]
    pub received_lot: Option<LotId>,
}

/// `GET /owed`: the network's owed book.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct OwedBook {
    /// What each farm is owed (above 0) or owes (below 0), in tenths; sums to zero.
    pub balances: Vec<Balance>,
    /// The postings that the caller's farm is part of, newest first.
    pub postings: Vec<PostingView>,
}

/// One farm's balance.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct Balance {
    /// The farm.
    pub farm: FarmView,
    /// Tenths of a median division.
    pub owed_tenths: i64,
    /// What living holds and hand-overs under way will add to it, in tenths.
    #[serde(default)]
    pub promised_tenths: i64,
    /// How much it may be owed, or owe, in tenths, where the coordinator has set it a limit.
    #[serde(default)]
    pub limit_tenths: Option<i64>,
}

/// One posting.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct PostingView {
    /// Who gave, and is owed.
    #[schema(value_type = String, format = "uuid")]
    pub from: FarmId,
    /// Who received, and owes.
    #[schema(value_type = String, format = "uuid")]
    pub to: FarmId,
    /// Tenths of a median division, above 0.
    pub tenths: i64,
    /// The hand-over.
    #[schema(value_type = String, format = "uuid")]
    pub hand_over: HandOverId,
    /// When.
    pub at: DateTime<Utc>,
}

/// `GET /messages`: what the farm is told, newest first.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct Messages {
    /// The messages.
    pub messages: Vec<MessageView>,
}

/// One message.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct MessageView {
    /// Its id.
    #[schema(value_type = String, format = "uuid")]
    pub message: MessageId,
    /// When.
    pub at: DateTime<Utc>,
    /// What, in a sentence or two.
    pub text: String,
    /// The hold it is about.
    #[schema(value_type = Option<String>, format = "uuid")]
    pub hold: Option<HoldId>,
}
