//! Farms that keep their books on paper, for which the coordinator acts with their consent.

use spareloop_api::exchange::Reason;
use spareloop_api::people::{FarmOnPaperView, MakeFarmOnPaper};
use spareloop_domain::words::FarmId;
use spareloop_store::ShownName;
use spareloop_store::people::NewFarm;
use spareloop_store::people::on_paper::{self, Consent};

use super::field;
use super::rounds::network_of;
use crate::auth::caller::Coordinator;
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::Key;
use crate::views;

/// Notes such a farm, with its consent.
pub async fn make(
    house: &House,
    coordinator: Coordinator,
    key: &Key,
    request: MakeFarmOnPaper,
) -> Result<FarmOnPaperView, ServerError> {
    let act = key.act(&house.keys, coordinator.person, "make farm on paper", &request)?;
    let (by, now) = ((network_of(coordinator)?, coordinator.person), house.now());
    let name: ShownName = field("name", &request.name)?;
    let new = NewFarm { id: request.farm, name };
    let consent = Consent {
        by: request.consent_by.clone(),
        how: request.consent_how.clone(),
        on: request.consent_on,
    };
    let farm = house
        .once(act, move |tx| on_paper::make(tx, by, &new, &consent, now).map(views::farm))
        .await?;
    Ok(FarmOnPaperView {
        farm,
        consent_by: request.consent_by,
        consent_how: request.consent_how,
        consent_on: request.consent_on,
        ended_at: None,
        sign_ins: 0,
    })
}

/// The network's.
pub async fn list(
    house: &House,
    coordinator: Coordinator,
) -> Result<Vec<FarmOnPaperView>, ServerError> {
    let network = network_of(coordinator)?;
    let found = house.read(move |tx| on_paper::list(tx, network)).await?;
    Ok(found.into_iter().map(views::farm_on_paper).collect())
}

/// The farm took its consent back.
pub async fn end(
    house: &House,
    coordinator: Coordinator,
    key: &Key,
    farm: FarmId,
    reason: Reason,
) -> Result<Vec<FarmOnPaperView>, ServerError> {
    let act = key.act(&house.keys, coordinator.person, "end consent", &(farm, &reason))?;
    let (network, now) = (network_of(coordinator)?, house.now());
    house.once(act, move |tx| on_paper::end_consent(tx, network, farm, &reason.why, now)).await?;
    list(house, coordinator).await
}
