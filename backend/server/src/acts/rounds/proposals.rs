//! What becomes of proposals: a farm's answer, and the settlement of a swap day.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::atomic::AtomicBool;

use spareloop_api::rounds::{ProposalView, SettleSwapDay};
use spareloop_domain::exchange::AnswerAct;
use spareloop_domain::words::{Count, FarmId, ProposalId};
use spareloop_rounds::freeze::{Stands, parcel_cost};
use spareloop_rounds::settle::{self, Planned};
use spareloop_rounds::solve::Outside;
use spareloop_store::proposals::{self, Settling, Viewer};

use super::{network_of, show};
use crate::auth::caller::{Coordinator, Grower};
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::Key;
use crate::solving::Since;

/// A farm accepts or declines.
pub async fn answer(
    house: &House,
    grower: Grower,
    key: &Key,
    proposal: ProposalId,
    act: AnswerAct,
) -> Result<ProposalView, ServerError> {
    let asked = key.act(&house.keys, grower.person, "answer proposal", &(proposal, act))?;
    let now = house.now();
    let viewer = Viewer::Farm(grower.farm);
    house
        .settle(asked, move |tx| {
            let found = proposals::answer(tx, grower.network, grower.farm, proposal, act, now)?;
            show::proposal(tx, found, viewer, now)
        })
        .await
}

/// How many of each line of a swap day stand among those who are there, every one of them within its
/// limit.
pub fn keep_to_limits(of: &Settling) -> Result<BTreeMap<i64, Count>, ServerError> {
    let farms: BTreeMap<FarmId, Stands> = of
        .farms
        .iter()
        .map(|(farm, (owed, limit))| (*farm, Stands { owed: *owed, limit: *limit }))
        .collect();
    let planned: Vec<Planned> = of
        .planned
        .iter()
        .map(|line| Planned {
            giver: line.giver,
            taker: line.taker,
            most: line.most.into(),
            smallest_parcel: line.smallest_parcel.into(),
            unit_value: line.unit_value.0,
            worth: line.worth,
        })
        .collect();
    let stop = AtomicBool::new(false);
    let outside = Outside { clock: &Since::now(), stop: &stop, hears: &|_| {} };
    let stands = settle::settle(&farms, &planned, parcel_cost(&of.rules), &outside)
        .map_err(|error| ServerError::broken(format!("a settlement: {error}")))?;
    of.planned
        .iter()
        .zip(stands)
        .map(|(line, stands)| {
            let count = Count::new(stands)
                .map_err(|error| ServerError::broken(format!("a settlement: {error}")))?;
            Ok((line.line, count))
        })
        .collect()
}

/// Ends a swap day: settles it for those who came.
pub async fn settle(
    house: &House,
    coordinator: Coordinator,
    key: &Key,
    proposal: ProposalId,
    request: SettleSwapDay,
) -> Result<ProposalView, ServerError> {
    let act = key.act(&house.keys, coordinator.person, "settle swap day", &(proposal, &request))?;
    let (network, now) = (network_of(coordinator)?, house.now());
    let absent: BTreeSet<FarmId> = request.absent.into_iter().collect();
    let asked = absent.clone();
    let of = house.read(move |tx| proposals::settling(tx, network, proposal, &asked, now)).await?;
    if let Some(stranger) = absent.iter().find(|farm| !of.farms.contains_key(farm)) {
        return Err(super::refused("absent", format!("farm {stranger} has no part in it")));
    }
    let reckoned = of.clone();
    let kept = house.off_thread(move |_| Ok(keep_to_limits(&reckoned))).await??;
    house
        .settle(act, move |tx| {
            let closed = proposals::close(tx, &of, &absent, &kept, now)?;
            show::proposal(tx, closed, Viewer::Coordinator, now)
        })
        .await
}
