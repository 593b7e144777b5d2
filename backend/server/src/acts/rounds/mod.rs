//! Rounds: asking for one over a frozen view, and what its farms then see, answer and carry.
//!
//! ```text
//! freeze     the network's view as the solver's document
//! show       rounds and proposals, as the one who asks may see them; lists for a swap day
//! proposals  accept, decline, settle
//! ```
//!
//! A server solves what was asked for here ([`crate::solving`]). What may not enter: the solver.

mod freeze;
mod proposals;
mod show;

use chrono::{DateTime, Utc};
use spareloop_api::exchange::OwedBook;
use spareloop_api::problem::ProblemCode;
use spareloop_api::rounds::{
    MakeRound, RoundLine, RoundRules, SetLimit, SetTimetable, TimetableView,
};
use spareloop_domain::exchange::Limit;
use spareloop_domain::exchange::round::{Kind, Rules};
use spareloop_domain::words::{FarmId, NetworkId};
use spareloop_store::limits;
use spareloop_store::rounds::{self, NewRound, Timetable};

pub use freeze::freeze;
pub use proposals::{answer, keep_to_limits, settle};
pub use show::{list, lists, one_proposal, own_proposals, round};

use super::{exchange, refused};
use crate::auth::caller::{Coordinator, Member};
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::Key;

/// A coordinator as a member of its network, who acts for no farm.
pub(crate) fn member_of(coordinator: Coordinator) -> Result<Member, ServerError> {
    Ok(Member { person: coordinator.person, network: network_of(coordinator)?, farm: None })
}

/// The network that a coordinator runs.
pub(crate) fn network_of(coordinator: Coordinator) -> Result<NetworkId, ServerError> {
    coordinator.network.ok_or_else(|| {
        ServerError::refused(
            ProblemCode::NotInThatState,
            "You are in no network yet: make one first.",
        )
    })
}

fn checked(rules: RoundRules) -> Result<Rules, ServerError> {
    let rules = rules.filled_in();
    rules.check().map_err(|error| refused(error.field, error.problem))?;
    if let Kind::SwapDay { place, .. } = &rules.kind
        && place.chars().count() > 200
    {
        return Err(refused("place", "at most 200 characters"));
    }
    Ok(rules)
}

/// Asks for a round over the network as it is now.
pub async fn make(
    house: &House,
    coordinator: Coordinator,
    key: &Key,
    request: MakeRound,
) -> Result<RoundLine, ServerError> {
    let act = key.act(&house.keys, coordinator.person, "make round", &request)?;
    let network = network_of(coordinator)?;
    let rules = checked(request.rules)?;
    if let Kind::SwapDay { on, .. } = rules.kind
        && on < house.today()?
    {
        return Err(refused("swap_day", format!("{on} is past")));
    }
    let frozen = freeze(house, network, &rules).await?;
    let new = NewRound { id: request.round, by: Some(coordinator.person), rules, frozen };
    let now = house.now();
    house.settle(act, move |tx| Ok(show::line(&rounds::begin(tx, network, &new, now)?))).await
}

/// When rounds begin by themselves.
pub async fn timetable(house: &House, member: Member) -> Result<TimetableView, ServerError> {
    let network = member.network;
    house.read(move |tx| Ok(shown(rounds::timetable(tx, network)?))).await
}

fn shown(timetable: Option<Timetable>) -> TimetableView {
    TimetableView {
        every_days: timetable.as_ref().map(|it| it.every_days),
        next_at: timetable.as_ref().map(|it| it.next_at),
        rules: timetable.map(|it| show::rules(&it.rules)).unwrap_or_default(),
    }
}

/// Sets when rounds begin by themselves, or that they don't.
pub async fn set_timetable(
    house: &House,
    coordinator: Coordinator,
    key: &Key,
    request: SetTimetable,
) -> Result<TimetableView, ServerError> {
    let act = key.act(&house.keys, coordinator.person, "set timetable", &request)?;
    let network = network_of(coordinator)?;
    let next_at: DateTime<Utc> = request.next_at.unwrap_or_else(|| house.now());
    let timetable = match request.every_days {
        Some(every_days) => Some(Timetable { every_days, rules: checked(request.rules)?, next_at }),
        None => None,
    };
    house
        .once(act, move |tx| {
            match &timetable {
                Some(timetable) => rounds::set_timetable(tx, network, timetable)?,
                None => rounds::remove_timetable(tx, network)?,
            }
            Ok(shown(rounds::timetable(tx, network)?))
        })
        .await
}

/// Sets how much a farm may be owed, or owe.
pub async fn set_limit(
    house: &House,
    coordinator: Coordinator,
    key: &Key,
    farm: FarmId,
    request: SetLimit,
) -> Result<OwedBook, ServerError> {
    let act = key.act(&house.keys, coordinator.person, "set limit", &(farm, &request))?;
    let network = network_of(coordinator)?;
    let limit = request
        .limit_tenths
        .map(|tenths| Limit::try_from(i64::from(tenths)))
        .transpose()
        .map_err(|error| refused("limit_tenths", error))?;
    let now = house.now();
    house.once(act, move |tx| limits::set(tx, network, farm, limit, now)).await?;
    exchange::owed(house, member_of(coordinator)?).await
}
