//! What rounds propose to farms: loops, which are all or nothing, and swap days.
//!
//! ```text
//! read     one, a farm's, a round's; what open ones would bind
//! answer   accept, decline, and what silence comes to
//! agree    all holds of a proposal, made in one transaction
//! settle   a swap day: for those who accepted, then for those who came
//! stop     an agreed loop of which a parcel does not come
//! told     what farms are told of it
//! ```
//!
//! Every act locks the proposal first, then the farms, offers and wants that it touches, each in the
//! order of ids. An open proposal binds nothing: what is free may go to whoever asks first, and then
//! the proposal falls through; only the next round leaves alone what open proposals are about. What
//! may not enter: the solver.

mod agree;
mod answer;
mod read;
mod settle;
mod stop;
mod told;

use chrono::{DateTime, Utc};
use diesel::{ExpressionMethods, OptionalExtension, QueryDsl, RunQueryDsl};
use spareloop_domain::exchange::owed::Tenths;
use spareloop_domain::exchange::proposal::{Passing, Share, shares};
use spareloop_domain::exchange::{Answer, ProposalKind, ProposalState};
use spareloop_domain::words::{
    Count, FarmId, HoldId, Identity, LotId, NetworkId, OfferId, ProposalId, RoundId, UnitKind,
    WantId,
};

pub use answer::{answer, lapse_due};
pub use read::{Bound, Viewer, bound_by_open, of_farm, of_round, proposal, to_mind};
pub use settle::{Planned, Settling, close, settle, settling, swap_days_due};
pub(crate) use stop::follow;
pub use stop::stop_broken;

use crate::rounds::Taken;
use crate::schema::{proposal_farms, proposal_lines, proposals};
use crate::text::{moment, read as read_text};
use crate::{Missing, Named, StoreError, Tx, fresh};

/// A proposal about to be made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewProposal {
    /// Loop or swap day.
    pub kind: ProposalKind,
    /// Its farms; in a loop each gives to the next, the last to the first.
    pub farms: Vec<FarmId>,
    /// Its parcel lines.
    pub lines: Vec<NewLine>,
}

/// A parcel line about to be proposed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NewLine {
    /// Of which offer.
    pub offer: OfferId,
    /// To which want.
    pub want: WantId,
    /// Who gives.
    pub giver: FarmId,
    /// Who takes.
    pub taker: FarmId,
    /// How many.
    pub count: Count,
    /// What one is worth in the swap.
    pub unit_value: Tenths,
    /// What one is worth to the want, as the round took it.
    pub worth: i64,
}

/// A proposal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Proposal {
    /// Its id.
    pub id: ProposalId,
    /// Its network.
    pub network: NetworkId,
    /// Of which round.
    pub round: RoundId,
    /// Its number in the round, from 1.
    pub number: u64,
    /// Loop or swap day.
    pub kind: ProposalKind,
    /// How it stands; one whose date has passed has lapsed, whether or not that is written down.
    pub state: ProposalState,
    /// When its farms were asked.
    pub made_at: DateTime<Utc>,
    /// By when they answer; silence declines.
    pub answer_by: DateTime<Utc>,
    /// When it came to its end, or was agreed.
    pub ended_at: Option<DateTime<Utc>>,
    /// Why, in words.
    pub why: String,
    /// Rises with every act.
    pub version: i64,
    /// Its farms.
    pub farms: Vec<Part>,
    /// Its parcel lines.
    pub lines: Vec<Line>,
}

/// A farm's part in a proposal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Part {
    /// Which farm.
    pub farm: Named<FarmId>,
    /// What it answered.
    pub answer: Answer,
    /// When.
    pub answered_at: Option<DateTime<Utc>>,
}

/// One parcel line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// Its number, from 1.
    pub number: i64,
    /// Of which offer.
    pub offer: OfferId,
    /// To which want.
    pub want: WantId,
    /// Who gives.
    pub giver: FarmId,
    /// Who takes.
    pub taker: FarmId,
    /// The giver's lot.
    pub lot: LotId,
    /// The variety as the giver spells it.
    pub variety: String,
    /// Whether the name is sure.
    pub identity: Identity,
    /// What a unit is.
    pub unit: UnitKind,
    /// The least the giver sends.
    pub smallest_parcel: Count,
    /// As many as were proposed.
    pub count: Count,
    /// What one is worth in the swap.
    pub unit_value: Tenths,
    /// What one is worth to the want, as the round took it.
    pub worth: i64,
    /// The hold that was made of it.
    pub hold: Option<HoldId>,
}

impl Line {
    /// As far as values care.
    pub const fn passing(&self, count: Count) -> Passing {
        Passing { giver: self.giver, taker: self.taker, count, unit_value: self.unit_value }
    }
}

impl Proposal {
    /// What a farm gives and gets, as proposed.
    pub fn share(&self, farm: FarmId) -> Share {
        let lines: Vec<Passing> = self.lines.iter().map(|line| line.passing(line.count)).collect();
        shares(&lines).get(&farm).copied().unwrap_or_default()
    }

    /// The farm's part, if it has one.
    pub fn part(&self, farm: FarmId) -> Option<&Part> {
        self.farms.iter().find(|part| part.farm.id == farm)
    }

    /// The farm's name.
    pub(crate) fn name(&self, farm: FarmId) -> &str {
        self.part(farm).map_or("a farm", |part| &part.farm.name)
    }
}

/// Writes a proposal of a round down and asks its farms.
pub(crate) fn make(
    tx: &mut Tx<'_>,
    of: &Taken,
    (number, new): (i64, &NewProposal),
    answer_by: DateTime<Utc>,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let id = ProposalId::new(fresh::uuid(now)?);
    diesel::insert_into(proposals::table)
        .values((
            proposals::id.eq(id.to_string()),
            proposals::network.eq(of.network.to_string()),
            proposals::round.eq(of.id.to_string()),
            proposals::number.eq(number),
            proposals::kind.eq(new.kind.code()),
            proposals::state.eq(ProposalState::Open.code()),
            proposals::made_at.eq(moment(now)),
            proposals::answer_by_at.eq(moment(answer_by)),
        ))
        .execute(tx.connection)?;
    for (number, farm) in (1_i64..).zip(&new.farms) {
        diesel::insert_into(proposal_farms::table)
            .values((
                proposal_farms::proposal.eq(id.to_string()),
                proposal_farms::farm.eq(farm.to_string()),
                proposal_farms::number.eq(number),
                proposal_farms::answer.eq(Answer::Waiting.code()),
            ))
            .execute(tx.connection)?;
    }
    for (number, line) in (1_i64..).zip(&new.lines) {
        diesel::insert_into(proposal_lines::table)
            .values((
                proposal_lines::proposal.eq(id.to_string()),
                proposal_lines::number.eq(number),
                proposal_lines::offer.eq(line.offer.to_string()),
                proposal_lines::want.eq(line.want.to_string()),
                proposal_lines::giver.eq(line.giver.to_string()),
                proposal_lines::taker.eq(line.taker.to_string()),
                proposal_lines::count.eq(i64::from(line.count)),
                proposal_lines::unit_value_tenths.eq(line.unit_value.0),
                proposal_lines::worth.eq(line.worth),
            ))
            .execute(tx.connection)?;
    }
    let made = proposal(tx, of.network, Viewer::Coordinator, id, now)?;
    told::of_asking(tx, &made, &of.rules.kind, now)
}

/// Locks a proposal of the network by writing it; the first lock of a transaction.
pub(crate) fn lock(tx: &mut Tx<'_>, network: NetworkId, id: ProposalId) -> Result<i64, StoreError> {
    let version: Option<i64> = diesel::update(
        proposals::table
            .filter(proposals::network.eq(network.to_string()))
            .filter(proposals::id.eq(id.to_string())),
    )
    .set(proposals::version.eq(proposals::version + 1))
    .returning(proposals::version)
    .get_result(tx.connection)
    .optional()?;
    version.ok_or_else(|| Missing::Proposal.into())
}

/// Writes a state that a transition gave, and why.
pub(crate) fn set_state(
    tx: &mut Tx<'_>,
    id: ProposalId,
    state: ProposalState,
    why: &str,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    diesel::update(proposals::table.find(id.to_string()))
        .set((
            proposals::state.eq(state.code()),
            proposals::why.eq(why),
            proposals::ended_at.eq(Some(moment(now))),
        ))
        .execute(tx.connection)?;
    Ok(())
}

fn id_of(text: &str) -> Result<ProposalId, StoreError> {
    read_text(text)
}
