//! Rounds and proposals as the one who asks may see them.
//!
//! A loop is seen whole by each of its farms; of a swap day a farm sees its own part. The coordinator
//! sees all.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use spareloop_api::people::FarmView;
use spareloop_api::rounds::{
    HallBlock, HallLine, OpenWant, PackedLine, PackingList, ProposalLine, ProposalView, RoundLine,
    RoundView, ShareView, SwapDayLists, SwapDayView, WalkUpLine,
};
use spareloop_domain::compute::fields::{Fields, parse};
use spareloop_domain::exchange::proposal::shares;
use spareloop_domain::exchange::round::{Kind, Rules};
use spareloop_domain::exchange::{OfferState, ProposalKind};
use spareloop_domain::words::{Count, FarmId, NetworkId, ProposalId, RoundId, UnitKind, WantId};
use spareloop_rounds::answer::{Move, StatedAnswer, Swaps};
use spareloop_rounds::{compute, words};
use spareloop_store::proposals::{self, Line, Proposal, Viewer};
use spareloop_store::rounds::{self, Round};
use spareloop_store::{Missing, StoreError, Tx, holds, offers, walk_ups, wants};

use crate::acts::exchange::{farms_of, shown};
use crate::auth::caller::{Grower, Member};
use crate::error::ServerError;
use crate::house::House;

/// Most rounds and proposals of a list.
const MOST: u32 = 100;

/// What a member may see: a coordinator acts for no farm.
/// The network's rounds, newest first.
pub async fn list(house: &House, member: Member) -> Result<Vec<RoundLine>, ServerError> {
    let found = house.read(move |tx| rounds::rounds(tx, member.network, MOST)).await?;
    Ok(found.iter().map(line).collect())
}

/// One round, with what of it the member may see.
pub async fn round(house: &House, member: Member, id: RoundId) -> Result<RoundView, ServerError> {
    let now = house.now();
    house
        .read(move |tx| {
            let found = rounds::round(tx, member.network, id)?;
            let viewer = member.viewer();
            let proposals = proposals::of_round(tx, member.network, viewer, id, now)?;
            Ok(RoundView {
                line: line(&found),
                rules: self::rules(&found.rules),
                stays_open: stays_open(tx, member, &found, now)?,
                proposals: proposals
                    .into_iter()
                    .map(|one| view(tx, one, &found.rules, viewer, now))
                    .collect::<Result<_, _>>()?,
            })
        })
        .await
}

/// The proposals in which the grower's farm has a part, newest first.
pub async fn own_proposals(
    house: &House,
    grower: Grower,
) -> Result<Vec<ProposalView>, ServerError> {
    let now = house.now();
    house
        .read(move |tx| {
            let found = proposals::of_farm(tx, grower.network, grower.farm, MOST, now)?;
            found.into_iter().map(|one| proposal(tx, one, Viewer::Farm(grower.farm), now)).collect()
        })
        .await
}

/// One proposal.
pub async fn one_proposal(
    house: &House,
    member: Member,
    id: ProposalId,
) -> Result<ProposalView, ServerError> {
    let now = house.now();
    house
        .read(move |tx| {
            let found = proposals::proposal(tx, member.network, member.viewer(), id, now)?;
            proposal(tx, found, member.viewer(), now)
        })
        .await
}

/// A round in a list.
pub(super) fn line(round: &Round) -> RoundLine {
    RoundLine {
        round: round.id,
        kind: match round.rules.kind {
            Kind::Loops { .. } => "loops",
            Kind::SwapDay { .. } => "swap-day",
        }
        .to_owned(),
        state: round.state.code().to_owned(),
        asked_at: round.asked_at,
        asked_by: if round.by.is_some() { "coordinator" } else { "timetable" }.to_owned(),
        said: round.said.clone(),
    }
}

/// The rules of a round in words.
pub(super) fn rules(rules: &Rules) -> Vec<String> {
    let mut said = match &rules.kind {
        Kind::Loops { most_farms, tolerance } => vec![
            format!("Loops of 2 to {most_farms} farms, each giving to the next."),
            format!(
                "The parcels of a loop are worth the same to within {tolerance} median divisions."
            ),
        ],
        Kind::SwapDay { on, place } if place.is_empty() => vec![format!("A swap day on {on}.")],
        Kind::SwapDay { on, place } => vec![format!("A swap day on {on}: {place}.")],
    };
    said.push(format!("A parcel that brings less than {} is not proposed.", rules.parcel_cost));
    said.push(format!(
        "A farm without a limit of its own may be owed, or owe, up to {}.",
        rules.usual_limit
    ));
    said.push(format!("Farms answer within {} hours; silence declines.", rules.answer_hours));
    said
}

/// A proposal, with the rules of its round read beside it.
pub(super) fn proposal(
    tx: &mut Tx<'_>,
    found: Proposal,
    viewer: Viewer,
    now: DateTime<Utc>,
) -> Result<ProposalView, StoreError> {
    let rules = rounds::round(tx, found.network, found.round)?.rules;
    view(tx, found, &rules, viewer, now)
}

fn view(
    tx: &mut Tx<'_>,
    found: Proposal,
    rules: &Rules,
    viewer: Viewer,
    now: DateTime<Utc>,
) -> Result<ProposalView, StoreError> {
    let lines = lines_now(tx, &found, now)?;
    let passing: Vec<_> = lines.iter().map(|(line, count)| line.passing(*count)).collect();
    let shares = shares(&passing);
    let part_of = |farm: FarmId| match (found.kind, viewer) {
        (ProposalKind::SwapDay, Viewer::Farm(own)) => own == farm,
        _ => true,
    };
    let name = |farm| farm_view(&found, farm);
    let farms = found.farms.iter().filter(|part| part_of(part.farm.id)).map(|part| {
        let share = shares.get(&part.farm.id).copied().unwrap_or_default();
        ShareView {
            farm: name(part.farm.id),
            answer: part.answer.code().to_owned(),
            given_tenths: share.given.0,
            got_tenths: share.got.0,
        }
    });
    let seen = lines.iter().filter(|(line, _)| part_of(line.giver) || part_of(line.taker));
    Ok(ProposalView {
        proposal: found.id,
        round: found.round,
        number: found.number,
        kind: found.kind.code().to_owned(),
        swap_day: swap_day(rules),
        state: found.state.code().to_owned(),
        answer_by: found.answer_by,
        why: found.why.clone(),
        farms: farms.collect(),
        lines: seen
            .map(|(line, count)| ProposalLine {
                offer: line.offer,
                want: line.want,
                giver: name(line.giver),
                taker: name(line.taker),
                variety: line.variety.clone(),
                identity: line.identity,
                unit: line.unit,
                count: *count,
                unit_value_tenths: line.unit_value.0,
                hold: line.hold,
            })
            .collect(),
        tolerance_tenths: match rules.kind {
            Kind::Loops { tolerance, .. } => Some(tolerance.0),
            Kind::SwapDay { .. } => None,
        },
    })
}

fn farm_view(found: &Proposal, farm: FarmId) -> FarmView {
    let name = found.part(farm).map_or("former member", |part| &part.farm.name);
    FarmView { id: farm, name: name.to_owned() }
}

fn swap_day(rules: &Rules) -> Option<SwapDayView> {
    match &rules.kind {
        Kind::Loops { .. } => None,
        Kind::SwapDay { on, place } => Some(SwapDayView { on: *on, place: place.clone() }),
    }
}

/// The lines as they stand: as proposed until there are holds, then what their holds still promise or
/// have passed on.
fn lines_now<'a>(
    tx: &mut Tx<'_>,
    found: &'a Proposal,
    now: DateTime<Utc>,
) -> Result<Vec<(&'a Line, Count)>, StoreError> {
    let made = found.lines.iter().any(|line| line.hold.is_some());
    let mut lines = Vec::new();
    for line in &found.lines {
        let count = match line.hold {
            None if made => Count::ZERO,
            None => line.count,
            Some(id) => {
                let hold = holds::hold(tx, line.giver, id, now)?;
                let stands = hold.state.is_live() || hold.state.has_changed_hands();
                if stands { hold.count } else { Count::ZERO }
            }
        };
        if !count.is_zero() {
            lines.push((line, count));
        }
    }
    Ok(lines)
}

/// What each farm packs for a swap day, and what passes in the hall.
pub async fn lists(
    house: &House,
    member: Member,
    id: ProposalId,
) -> Result<SwapDayLists, ServerError> {
    let now = house.now();
    house
        .read(move |tx| {
            let viewer = member.viewer();
            let found = proposals::proposal(tx, member.network, viewer, id, now)?;
            let rules = rounds::round(tx, member.network, found.round)?.rules;
            // A loop is sent, not carried to a hall.
            let swap_day = swap_day(&rules).ok_or(Missing::Proposal)?;
            let lines = lines_now(tx, &found, now)?;
            let sees = |farm| viewer == Viewer::Coordinator || viewer == Viewer::Farm(farm);
            let agreed = lines.iter().any(|(line, _)| line.hold.is_some());
            let packing = found
                .farms
                .iter()
                .filter(|part| sees(part.farm.id))
                .map(|part| packing(&found, &lines, part.farm.id))
                .collect();
            let mut passing = lines.clone();
            passing.retain(|(line, _)| sees(line.giver) || sees(line.taker));
            let walk_ups = brought(tx, &found, now)?;
            Ok(SwapDayLists { swap_day, agreed, packing, hall: hall(&found, &passing), walk_ups })
        })
        .await
}

/// What was brought without having been planned, as far as some of it is free.
fn brought(
    tx: &mut Tx<'_>,
    found: &Proposal,
    now: DateTime<Utc>,
) -> Result<Vec<WalkUpLine>, StoreError> {
    let farms = farms_of(tx, found.network)?;
    let mut lines = Vec::new();
    for id in walk_ups::of(tx, found.id)? {
        let offer = offers::offer(tx, found.network, id, now)?;
        if offer.state == OfferState::Open && !offer.free().is_zero() {
            lines.push(WalkUpLine {
                offer: offer.id,
                farm: shown(&farms, offer.farm),
                free: offer.free(),
                variety: offer.variety,
                unit: offer.unit,
            });
        }
    }
    Ok(lines)
}

fn packing(found: &Proposal, lines: &[(&Line, Count)], farm: FarmId) -> PackingList {
    let packed = |line: &Line, count: Count, other| PackedLine {
        variety: line.variety.clone(),
        identity: line.identity,
        unit: line.unit,
        count,
        lot_code: line.lot.code(),
        other: farm_view(found, other),
    };
    let given = lines.iter().filter(|(line, _)| line.giver == farm);
    let taken = lines.iter().filter(|(line, _)| line.taker == farm);
    let mut list = PackingList {
        farm: farm_view(found, farm),
        brings: given.map(|(line, count)| packed(line, *count, line.taker)).collect(),
        takes: taken.map(|(line, count)| packed(line, *count, line.giver)).collect(),
    };
    for lines in [&mut list.brings, &mut list.takes] {
        lines.sort_by(|one, two| {
            (&one.variety, &one.other.name).cmp(&(&two.variety, &two.other.name))
        });
    }
    list
}

fn hall(found: &Proposal, lines: &[(&Line, Count)]) -> Vec<HallBlock> {
    let mut blocks: BTreeMap<(String, UnitKind), HallBlock> = BTreeMap::new();
    for (line, count) in lines {
        let key = (spareloop_domain::words::fold_key(&line.variety), line.unit);
        let block = blocks.entry(key).or_insert_with(|| HallBlock {
            variety: line.variety.clone(),
            unit: line.unit,
            count: Count::ZERO,
            lines: Vec::new(),
        });
        block.count = block.count.plus(*count);
        block.lines.push(HallLine {
            giver: farm_view(found, line.giver),
            taker: farm_view(found, line.taker),
            count: *count,
            lot_code: line.lot.code(),
        });
    }
    blocks.into_values().collect()
}

/// Wants that a solved round left open, in part or whole, and why.
fn stays_open(
    tx: &mut Tx<'_>,
    member: Member,
    found: &Round,
    now: DateTime<Utc>,
) -> Result<Vec<OpenWant>, StoreError> {
    let Some((input, swaps)) = solved(found) else { return Ok(Vec::new()) };
    let mut filled = vec![0; input.wants.len()];
    let moves: Vec<&Move> = match &swaps {
        Swaps::Loops(loops) => loops.iter().flat_map(|it| &it.moves).collect(),
        Swaps::Pooled(moves) => moves.iter().collect(),
    };
    for it in moves {
        filled[it.want] += it.count;
    }
    let farms = farms_of(tx, member.network)?;
    let mut open = Vec::new();
    for (at, want) in input.wants.iter().enumerate() {
        let Ok(farm) = input.farms[want.farm].id.parse::<FarmId>() else { continue };
        let left = want.count - filled[at];
        let theirs = member.farm.is_none_or(|own| own == farm);
        let (Ok(id), Ok(count)) = (want.id.parse::<WantId>(), Count::new(left)) else { continue };
        if !theirs || count.is_zero() {
            continue;
        }
        open.push(OpenWant {
            want: id,
            farm: shown(&farms, farm),
            variety: variety_of(tx, member.network, id, now)?,
            open: count,
            why: words::why_open(&input, at).words().to_owned(),
        });
    }
    Ok(open)
}

fn variety_of(
    tx: &mut Tx<'_>,
    network: NetworkId,
    want: WantId,
    now: DateTime<Utc>,
) -> Result<String, StoreError> {
    Ok(wants::want(tx, network, want, now)?.variety)
}

/// The view and the answer of a solved round, read back.
fn solved(found: &Round) -> Option<(spareloop_rounds::input::RoundInput, Swaps)> {
    let document = parse(&found.frozen).ok()?;
    let (input, _) = compute::read(&Fields::top(&document).ok()?).ok()?;
    let answer = parse(found.answer.as_deref()?).ok()?;
    let stated = StatedAnswer::read(&Fields::top(&answer).ok()?, &input).ok()?;
    Some((input, stated.swaps))
}
