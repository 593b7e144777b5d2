//! The ledger's sync: summary, push, page.

use spareloop_api::problem::ProblemCode;
use spareloop_api::sync::{BATCH, MOST_ENTRIES, Page, Push, Pushed, Summary};
use spareloop_domain::ledger::sync::{BatchLimits, Position};
use spareloop_store::{attest, ledger};

use crate::auth::caller::Device;
use crate::error::ServerError;
use crate::house::House;
use crate::views::sync as views;

/// What the server holds of the device's farm.
pub async fn summary(house: &House, device: Device) -> Result<Summary, ServerError> {
    let epoch = house.off_thread(spareloop_store::Store::epoch).await?;
    let now = house.now();
    let (found, statements) = house
        .read(move |tx| {
            let statements = attest::newest(tx, device.network)?;
            Ok((ledger::summary(tx, device.farm, now)?, statements))
        })
        .await?;
    Ok(views::summary(epoch, device.farm, found, statements))
}

/// Takes entries of the device's farm, each device's in order; idempotent by device, place, hash.
pub async fn push(house: &House, device: Device, push: Push) -> Result<Pushed, ServerError> {
    if push.entries.len() > MOST_ENTRIES {
        return Err(ServerError::refused(
            ProblemCode::TooLarge,
            format!("{} entries in one push; at most {MOST_ENTRIES}.", push.entries.len()),
        ));
    }
    let now = house.now();
    let entries = push.entries;
    let epoch = house.off_thread(spareloop_store::Store::epoch).await?;
    let done = house.write(move |tx| ledger::append(tx, device.farm, &entries, now)).await?;
    Ok(views::pushed(epoch, now, done))
}

/// A page of the farm's entries behind a position.
pub async fn page(
    house: &House,
    device: Device,
    after: u64,
    limit: Option<u32>,
) -> Result<Page, ServerError> {
    let most = u32::try_from(MOST_ENTRIES).unwrap_or(u32::MAX);
    let limit = limit.unwrap_or(most);
    if !(1..=most).contains(&limit) {
        return Err(ServerError::refused(
            ProblemCode::BadRequest,
            format!("limit: 1 to {most} (got {limit})."),
        ));
    }
    let epoch = house.off_thread(spareloop_store::Store::epoch).await?;
    let limits = BatchLimits { entries: usize::try_from(limit).unwrap_or(MOST_ENTRIES), ..BATCH };
    let found =
        house.read(move |tx| ledger::page(tx, device.farm, Position(after), limits)).await?;
    Ok(views::page(epoch, found))
}
