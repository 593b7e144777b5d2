//! Reading proposals, as the one who asks may see them.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDateTime, Utc};
use diesel::{
    BoolExpressionMethods, ExpressionMethods, JoinOnDsl, OptionalExtension, QueryDsl, Queryable,
    RunQueryDsl,
};
use spareloop_domain::exchange::owed::Tenths;
use spareloop_domain::exchange::{ProposalKind, ProposalState};
use spareloop_domain::words::{Count, FarmId, NetworkId, OfferId, ProposalId, RoundId, WantId};

use super::{Line, Part, Proposal, id_of};
use crate::schema::{farms, offers, proposal_farms, proposal_lines, proposals};
use crate::text::{count, micros, moment, read, read_some, unsigned};
use crate::{Missing, Named, StoreError, Tx};

/// Who asks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Viewer {
    /// The network's coordinator, or the house: every proposal of the network.
    Coordinator,
    /// A farm: those in which it has a part.
    Farm(FarmId),
}

#[derive(Queryable)]
struct ProposalRow {
    id: String,
    network: String,
    round: String,
    number: i64,
    kind: String,
    state: String,
    made_at: NaiveDateTime,
    answer_by_at: NaiveDateTime,
    ended_at: Option<NaiveDateTime>,
    why: String,
    version: i64,
}

impl ProposalRow {
    fn proposal(self, tx: &mut Tx<'_>, now: DateTime<Utc>) -> Result<Proposal, StoreError> {
        let state: ProposalState = read(&self.state)?;
        Ok(Proposal {
            farms: parts(tx, &self.id)?,
            lines: lines(tx, &self.id)?,
            id: id_of(&self.id)?,
            network: read(&self.network)?,
            round: read(&self.round)?,
            number: unsigned(self.number)?,
            kind: read(&self.kind)?,
            state: state.at(micros(self.answer_by_at), micros(moment(now))),
            made_at: self.made_at.and_utc(),
            answer_by: self.answer_by_at.and_utc(),
            ended_at: self.ended_at.map(|at| at.and_utc()),
            why: self.why,
            version: self.version,
        })
    }
}

fn parts(tx: &mut Tx<'_>, proposal: &str) -> Result<Vec<Part>, StoreError> {
    let rows: Vec<(String, String, String, Option<NaiveDateTime>)> = proposal_farms::table
        .inner_join(farms::table.on(farms::id.eq(proposal_farms::farm)))
        .filter(proposal_farms::proposal.eq(proposal))
        .order(proposal_farms::number)
        .select((farms::id, farms::name, proposal_farms::answer, proposal_farms::answered_at))
        .load(tx.connection)?;
    rows.into_iter()
        .map(|(id, name, answer, answered_at)| {
            Ok(Part {
                farm: Named { id: read(&id)?, name },
                answer: read(&answer)?,
                answered_at: answered_at.map(|at| at.and_utc()),
            })
        })
        .collect()
}

#[derive(Queryable)]
struct LineRow {
    number: i64,
    offer: String,
    want: String,
    giver: String,
    taker: String,
    count: i64,
    unit_value_tenths: i64,
    worth: i64,
    hold: Option<String>,
    lot: String,
    variety: String,
    identity: String,
    unit: String,
    smallest_parcel: i64,
}

fn lines(tx: &mut Tx<'_>, proposal: &str) -> Result<Vec<Line>, StoreError> {
    let rows: Vec<LineRow> = proposal_lines::table
        .inner_join(offers::table.on(offers::id.eq(proposal_lines::offer)))
        .filter(proposal_lines::proposal.eq(proposal))
        .order(proposal_lines::number)
        .select((
            proposal_lines::number,
            proposal_lines::offer,
            proposal_lines::want,
            proposal_lines::giver,
            proposal_lines::taker,
            proposal_lines::count,
            proposal_lines::unit_value_tenths,
            proposal_lines::worth,
            proposal_lines::hold,
            offers::lot,
            offers::variety,
            offers::identity,
            offers::unit,
            offers::smallest_parcel,
        ))
        .load(tx.connection)?;
    rows.into_iter()
        .map(|row| {
            Ok(Line {
                number: row.number,
                offer: read(&row.offer)?,
                want: read(&row.want)?,
                giver: read(&row.giver)?,
                taker: read(&row.taker)?,
                lot: read(&row.lot)?,
                variety: row.variety,
                identity: read(&row.identity)?,
                unit: read(&row.unit)?,
                smallest_parcel: count(row.smallest_parcel)?,
                count: count(row.count)?,
                unit_value: Tenths(row.unit_value_tenths),
                worth: row.worth,
                hold: read_some(row.hold.as_deref())?,
            })
        })
        .collect()
}

/// One proposal of the network that the viewer may see.
pub fn proposal(
    tx: &mut Tx<'_>,
    network: NetworkId,
    viewer: Viewer,
    id: ProposalId,
    now: DateTime<Utc>,
) -> Result<Proposal, StoreError> {
    let mut query = proposals::table
        .filter(proposals::network.eq(network.to_string()))
        .filter(proposals::id.eq(id.to_string()))
        .into_boxed();
    if let Viewer::Farm(farm) = viewer {
        query = query.filter(proposals::id.eq_any(ids_of(farm)));
    }
    let row: Option<ProposalRow> = query.first(tx.connection).optional()?;
    row.ok_or(Missing::Proposal)?.proposal(tx, now)
}

/// The ids of the proposals in which a farm has a part.
#[diesel::dsl::auto_type(no_type_alias)]
fn ids_of(farm: FarmId) -> _ {
    let farm: String = farm.to_string();
    proposal_farms::table.filter(proposal_farms::farm.eq(farm)).select(proposal_farms::proposal)
}

/// The proposals of a round that the viewer may see, by number.
pub fn of_round(
    tx: &mut Tx<'_>,
    network: NetworkId,
    viewer: Viewer,
    round: RoundId,
    now: DateTime<Utc>,
) -> Result<Vec<Proposal>, StoreError> {
    let mut query = proposals::table
        .filter(proposals::network.eq(network.to_string()))
        .filter(proposals::round.eq(round.to_string()))
        .order(proposals::number)
        .into_boxed();
    if let Viewer::Farm(farm) = viewer {
        query = query.filter(proposals::id.eq_any(ids_of(farm)));
    }
    let rows: Vec<ProposalRow> = query.load(tx.connection)?;
    rows.into_iter().map(|row| row.proposal(tx, now)).collect()
}

/// The proposals in which a farm has a part, newest first, at most `limit`.
pub fn of_farm(
    tx: &mut Tx<'_>,
    network: NetworkId,
    farm: FarmId,
    limit: u32,
    now: DateTime<Utc>,
) -> Result<Vec<Proposal>, StoreError> {
    let rows: Vec<ProposalRow> = proposals::table
        .filter(proposals::network.eq(network.to_string()))
        .filter(proposals::id.eq_any(ids_of(farm)))
        .order((proposals::made_at.desc(), proposals::id.desc()))
        .limit(i64::from(limit))
        .load(tx.connection)?;
    rows.into_iter().map(|row| row.proposal(tx, now)).collect()
}

/// The proposals in which a farm has a part and of which something is still to come: those that wait
/// for answers and agreed swap days. Newest first, at most `limit`.
pub fn to_mind(
    tx: &mut Tx<'_>,
    farm: FarmId,
    limit: u32,
    now: DateTime<Utc>,
) -> Result<Vec<Proposal>, StoreError> {
    let rows: Vec<ProposalRow> = proposals::table
        .filter(proposals::id.eq_any(ids_of(farm)))
        .filter(
            proposals::state.eq(ProposalState::Open.code()).or(proposals::state
                .eq(ProposalState::Agreed.code())
                .and(proposals::kind.eq(ProposalKind::SwapDay.code()))),
        )
        .order((proposals::made_at.desc(), proposals::id.desc()))
        .limit(i64::from(limit))
        .load(tx.connection)?;
    rows.into_iter().map(|row| row.proposal(tx, now)).collect()
}

/// What open proposals are about, which the next round leaves alone.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Bound {
    /// Units of offers.
    pub offers: BTreeMap<OfferId, Count>,
    /// Units of wants.
    pub wants: BTreeMap<WantId, Count>,
    /// Given less received, by farm.
    pub farms: BTreeMap<FarmId, Tenths>,
}

/// What the network's open proposals are about.
pub fn bound_by_open(
    tx: &mut Tx<'_>,
    network: NetworkId,
    now: DateTime<Utc>,
) -> Result<Bound, StoreError> {
    type Row = (String, String, String, String, i64, i64);
    let rows: Vec<Row> = proposal_lines::table
        .inner_join(proposals::table.on(proposals::id.eq(proposal_lines::proposal)))
        .filter(proposals::network.eq(network.to_string()))
        .filter(proposals::state.eq(ProposalState::Open.code()))
        .filter(proposals::answer_by_at.gt(moment(now)))
        .select((
            proposal_lines::offer,
            proposal_lines::want,
            proposal_lines::giver,
            proposal_lines::taker,
            proposal_lines::count,
            proposal_lines::unit_value_tenths,
        ))
        .load(tx.connection)?;
    let mut bound = Bound::default();
    for (offer, want, giver, taker, units, value) in rows {
        let tenths = units.saturating_mul(value);
        let units = count(units)?;
        let of_offer = bound.offers.entry(read(&offer)?).or_default();
        *of_offer = of_offer.plus(units);
        let of_want = bound.wants.entry(read(&want)?).or_default();
        *of_want = of_want.plus(units);
        bound.farms.entry(read(&giver)?).or_default().0 += tenths;
        bound.farms.entry(read(&taker)?).or_default().0 -= tenths;
    }
    Ok(bound)
}
