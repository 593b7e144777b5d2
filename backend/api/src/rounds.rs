//! Rounds, what they propose to farms, farms' answers, swap days, and limits in the owed book.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use spareloop_domain::exchange::owed::Tenths;
use spareloop_domain::exchange::round::{Kind, Rules};
use spareloop_domain::words::{
    Count, Day, FarmId, HoldId, Identity, LotId, OfferId, ProposalId, RoundId, UnitKind, WantId,
};
use utoipa::ToSchema;

use crate::people::FarmView;

/// How a round runs. What is left out is as usual.
#[derive(Debug, Clone, Default, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RoundRules {
    /// The day of a swap day; without one, the round is of loops.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<String>, format = "date")]
    pub swap_day: Option<Day>,
    /// Where the swap day is, in words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<String>,
    /// Most farms a loop, 2 to 4; 3 unless told.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub most_farms: Option<u8>,
    /// How far apart a loop's parcels may lie, in tenths of a median division; 15 unless told.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tolerance_tenths: Option<u32>,
    /// What a parcel costs, in tenths; 10 unless told, and 0 on a swap day.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub parcel_cost_tenths: Option<u32>,
    /// The limit of farms that have none of their own, in tenths; 200 unless told.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub usual_limit_tenths: Option<u32>,
    /// Hours that farms have to answer, 1 to 720; 72 unless told.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub answer_hours: Option<u16>,
    /// Seconds that the search may take, 1 to 600; 20 unless told.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seconds: Option<u16>,
}

impl RoundRules {
    /// With the usual rules in every place that was left out; not yet checked.
    pub fn filled_in(self) -> Rules {
        let usual = match self.swap_day {
            Some(on) => Rules::usual_swap_day(on, self.place.unwrap_or_default()),
            None => Rules::usual_loops(),
        };
        let kind = match usual.kind {
            Kind::Loops { most_farms, tolerance } => Kind::Loops {
                most_farms: self.most_farms.unwrap_or(most_farms),
                tolerance: self.tolerance_tenths.map_or(tolerance, tenths),
            },
            swap_day @ Kind::SwapDay { .. } => swap_day,
        };
        Rules {
            kind,
            parcel_cost: self.parcel_cost_tenths.map_or(usual.parcel_cost, tenths),
            usual_limit: self.usual_limit_tenths.map_or(usual.usual_limit, tenths),
            answer_hours: self.answer_hours.unwrap_or(usual.answer_hours),
            seconds: self.seconds.unwrap_or(usual.seconds),
        }
    }
}

fn tenths(tenths: u32) -> Tenths {
    Tenths(i64::from(tenths))
}

/// `POST /rounds`, by the coordinator.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MakeRound {
    /// The round's id, made by the client before it is sent.
    #[schema(value_type = String, format = "uuid")]
    pub round: RoundId,
    /// How it runs.
    #[serde(default)]
    pub rules: RoundRules,
}

/// A round in a list.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct RoundLine {
    /// Its id.
    #[schema(value_type = String, format = "uuid")]
    pub round: RoundId,
    /// `loops` or `swap-day`.
    pub kind: String,
    /// `asked`, `solving`, `proposed`, `nothing-found`, `failed`.
    pub state: String,
    /// When it was asked for; its view was frozen then.
    pub asked_at: DateTime<Utc>,
    /// `coordinator` or `timetable`.
    pub asked_by: String,
    /// What it comes to, and what no other could exceed; or why it failed.
    pub said: String,
}

/// `GET /rounds/{round}`: a round with what of it the caller may see.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct RoundView {
    /// The round.
    #[serde(flatten)]
    pub line: RoundLine,
    /// In words: how many farms a loop, how even, how long to answer.
    pub rules: Vec<String>,
    /// Its proposals: all for the coordinator, those with a part in them for a farm.
    pub proposals: Vec<ProposalView>,
    /// Wants of the caller's farm (of all farms for the coordinator) that stayed open, and why.
    pub stays_open: Vec<OpenWant>,
}

/// A want that a round left open, in part or whole.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct OpenWant {
    /// The want.
    #[schema(value_type = String, format = "uuid")]
    pub want: WantId,
    /// Whose.
    pub farm: FarmView,
    /// The variety wanted first.
    pub variety: String,
    /// Units that stayed open.
    #[schema(value_type = u32)]
    pub open: Count,
    /// Why, and what would have to change.
    pub why: String,
}

/// A loop or a swap day as its farms see it: what each gives and gets.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct ProposalView {
    /// Its id.
    #[schema(value_type = String, format = "uuid")]
    pub proposal: ProposalId,
    /// Of which round.
    #[schema(value_type = String, format = "uuid")]
    pub round: RoundId,
    /// Its number in the round, from 1.
    pub number: u64,
    /// `loop` or `swap-day`.
    pub kind: String,
    /// The day and the place of a swap day.
    pub swap_day: Option<SwapDayView>,
    /// `open`, `agreed`, `settled`, `declined`, `lapsed`, `fell-through`,
    /// `stopped`.
    pub state: String,
    /// By when its farms answer; silence declines.
    pub answer_by: DateTime<Utc>,
    /// Why it stands as it does, in words; empty while it is open.
    pub why: String,
    /// Its farms; in a loop each gives to the next, the last to the first. On a swap day a farm sees
    /// its own part alone.
    pub farms: Vec<ShareView>,
    /// Its parcel lines; on a swap day those of the caller's farm.
    pub lines: Vec<ProposalLine>,
    /// How far apart a loop's parcels may lie, in tenths.
    pub tolerance_tenths: Option<i64>,
}

/// When and where a swap day is.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct SwapDayView {
    /// The day.
    #[schema(value_type = String, format = "date")]
    pub on: Day,
    /// Where, in words.
    pub place: String,
}

/// What a farm gives and gets by a proposal.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct ShareView {
    /// The farm.
    pub farm: FarmView,
    /// `waiting`, `accepted`, `declined`.
    pub answer: String,
    /// Worth given, in tenths of a median division.
    pub given_tenths: i64,
    /// Worth received, in tenths.
    pub got_tenths: i64,
}

/// One parcel line of a proposal.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct ProposalLine {
    /// Of which offer.
    #[schema(value_type = String, format = "uuid")]
    pub offer: OfferId,
    /// To which want.
    #[schema(value_type = String, format = "uuid")]
    pub want: WantId,
    /// Who gives.
    pub giver: FarmView,
    /// Who takes.
    pub taker: FarmView,
    /// The variety as the giver spells it.
    pub variety: String,
    /// Whether the name is sure.
    #[schema(value_type = String)]
    pub identity: Identity,
    /// What a unit is.
    #[schema(value_type = String)]
    pub unit: UnitKind,
    /// How many: as proposed, or what a settlement left.
    #[schema(value_type = u32)]
    pub count: Count,
    /// What one is worth, in tenths.
    pub unit_value_tenths: i64,
    /// The hold that was made of it.
    #[schema(value_type = Option<String>, format = "uuid")]
    pub hold: Option<HoldId>,
}

/// `POST /proposals/{proposal}/settle`, by the coordinator: a swap day is over.
#[derive(Debug, Clone, Default, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SettleSwapDay {
    /// The farms that did not come.
    #[serde(default)]
    #[schema(value_type = Vec<String>)]
    pub absent: Vec<FarmId>,
}

/// `GET /proposals/{proposal}/lists`: what each farm packs, and what passes in the hall.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct SwapDayLists {
    /// When and where.
    pub swap_day: SwapDayView,
    /// Whether the holds are made; before that the lists are what is proposed.
    pub agreed: bool,
    /// A list a farm: all for the coordinator, its own for a farm.
    pub packing: Vec<PackingList>,
    /// A block a variety, for the one who keeps the hall; for a farm those that it brings or takes.
    pub hall: Vec<HallBlock>,
    /// What was brought without having been planned, as far as some of it is free.
    #[serde(default)]
    pub walk_ups: Vec<WalkUpLine>,
}

/// Something that was brought to a swap day without having been planned.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct WalkUpLine {
    /// The offer, of which a hold is asked for as of any other.
    #[schema(value_type = String, format = "uuid")]
    pub offer: OfferId,
    /// Who brought it.
    pub farm: FarmView,
    /// The variety.
    pub variety: String,
    /// What a unit is.
    #[schema(value_type = String)]
    pub unit: UnitKind,
    /// How many are free.
    #[schema(value_type = u32)]
    pub free: Count,
}

/// `POST /proposals/{proposal}/walk-ups`: a farm brings something to a swap day that takes place.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct BringWalkUp {
    /// The offer's id, made by the client before it is sent.
    #[schema(value_type = String, format = "uuid")]
    pub offer: OfferId,
    /// The lot's id in the farm's stock book, made by the client before it is sent.
    #[schema(value_type = String, format = "uuid")]
    pub lot: LotId,
    /// The variety; a new one is named in the farm's stock book.
    pub variety: String,
    /// What a unit is.
    #[schema(value_type = String)]
    pub unit: UnitKind,
    /// How many.
    #[schema(value_type = u32)]
    pub count: Count,
}

/// What a farm brings and takes home.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct PackingList {
    /// The farm.
    pub farm: FarmView,
    /// What it packs, for whom.
    pub brings: Vec<PackedLine>,
    /// What it takes home, from whom.
    pub takes: Vec<PackedLine>,
}

/// One parcel on a packing list.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct PackedLine {
    /// The variety as the giver spells it.
    pub variety: String,
    /// Whether the name is sure.
    #[schema(value_type = String)]
    pub identity: Identity,
    /// What a unit is.
    #[schema(value_type = String)]
    pub unit: UnitKind,
    /// How many.
    #[schema(value_type = u32)]
    pub count: Count,
    /// The code of the giver's lot, as it is written on the tubers.
    pub lot_code: String,
    /// The other farm.
    pub other: FarmView,
}

/// What passes of one variety in the hall.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct HallBlock {
    /// The variety.
    pub variety: String,
    /// What a unit is.
    #[schema(value_type = String)]
    pub unit: UnitKind,
    /// All of it.
    #[schema(value_type = u32)]
    pub count: Count,
    /// Who brings how many for whom.
    pub lines: Vec<HallLine>,
}

/// One parcel in the hall.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct HallLine {
    /// Who brings it.
    pub giver: FarmView,
    /// Who takes it.
    pub taker: FarmView,
    /// How many.
    #[schema(value_type = u32)]
    pub count: Count,
    /// The code of the giver's lot.
    pub lot_code: String,
}

/// `POST /rounds/timetable`, by the coordinator.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SetTimetable {
    /// Days from one round to the next, 1 to 366; none ends the timetable.
    pub every_days: Option<u16>,
    /// When the next one begins; now unless told.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub next_at: Option<DateTime<Utc>>,
    /// How they run; a timetable begins rounds of loops.
    #[serde(default)]
    pub rules: RoundRules,
}

/// `GET /rounds/timetable`.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct TimetableView {
    /// Days from one round to the next; none where there is no timetable.
    pub every_days: Option<u16>,
    /// When the next one begins.
    pub next_at: Option<DateTime<Utc>>,
    /// How they run, in words.
    pub rules: Vec<String>,
}

/// `POST /farms/{farm}/limit`, by the coordinator.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SetLimit {
    /// How much the farm may be owed, or owe, in tenths of a median division; none takes its limit
    /// away.
    pub limit_tenths: Option<u32>,
}
