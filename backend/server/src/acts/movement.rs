//! Where farms are, and what the coordinator asks for between regions.

use std::collections::BTreeSet;

use spareloop_api::movement::{
    MovementRuleView, MovementView, Passage, PlacedFarm, SetMovementRule, SetRegion,
};
use spareloop_api::people::FarmView;
use spareloop_domain::exchange::movement::{ASK_FIRST, Region, Rule};
use spareloop_domain::words::{FarmId, NetworkId};
use spareloop_store::movement::{self, RuleLine};
use spareloop_store::{StoreError, Tx, people};

use super::rounds::network_of;
use super::{field, refused};
use crate::auth::caller::{Coordinator, Member};
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::Key;

/// What is noted and set in the member's network.
pub async fn view(house: &House, member: Member) -> Result<MovementView, ServerError> {
    house.read(move |tx| all(tx, member.network)).await
}

fn all(tx: &mut Tx<'_>, network: NetworkId) -> Result<MovementView, StoreError> {
    let regions = movement::of_network(tx, network)?.regions;
    let farms = people::farms(tx, network)?.into_iter().map(|farm| PlacedFarm {
        region: regions.get(&farm.id).map(ToString::to_string),
        farm: FarmView { id: farm.id, name: farm.name },
    });
    Ok(MovementView {
        farms: farms.collect(),
        rules: movement::rules(tx, network)?.into_iter().map(rule_view).collect(),
        caution: ASK_FIRST.to_owned(),
    })
}

fn rule_view(line: RuleLine) -> MovementRuleView {
    let (passage, required, note) = match line.rule {
        Rule::Asks { required, note } => (Passage::Asks, required, note),
        Rule::NotHere { note } => (Passage::NotHere, BTreeSet::new(), note),
    };
    let (from, to) = (line.from.to_string(), line.to.to_string());
    MovementRuleView { from, to, passage, required, note, set_at: line.set_at }
}

/// Notes where a farm is.
pub async fn set_region(
    house: &House,
    coordinator: Coordinator,
    key: &Key,
    farm: FarmId,
    request: SetRegion,
) -> Result<MovementView, ServerError> {
    let act = key.act(&house.keys, coordinator.person, "set region", &(farm, &request))?;
    let (network, now) = (network_of(coordinator)?, house.now());
    let region: Option<Region> =
        request.region.as_deref().map(|text| field("region", text)).transpose()?;
    house
        .settle(act, move |tx| {
            movement::set_region(tx, network, farm, region.as_ref(), now)?;
            all(tx, network)
        })
        .await
}

/// Sets what is asked for from one region to another.
pub async fn set_rule(
    house: &House,
    coordinator: Coordinator,
    key: &Key,
    request: SetMovementRule,
) -> Result<MovementView, ServerError> {
    let act = key.act(&house.keys, coordinator.person, "set movement rule", &request)?;
    let (network, now, by) = (network_of(coordinator)?, house.now(), coordinator.person);
    let from: Region = field("from", &request.from)?;
    let to: Region = field("to", &request.to)?;
    let rule = match request.passage {
        Some(Passage::Asks) => Some(Rule::Asks { required: request.required, note: request.note }),
        Some(Passage::NotHere) if request.required.is_empty() => {
            Some(Rule::NotHere { note: request.note })
        }
        Some(Passage::NotHere) => {
            return Err(refused("required", "none where nothing passes"));
        }
        None => None,
    };
    house
        .settle(act, move |tx| {
            movement::set_rule(tx, (network, by), (&from, &to), rule.as_ref(), now)?;
            all(tx, network)
        })
        .await
}
