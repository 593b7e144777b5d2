//! The devices of a farm.

use serde::{Deserialize, Serialize};
use spareloop_api::people::{DeviceRegistered, DeviceView, RegisterDevice, Secret};
use spareloop_api::problem::ProblemCode;
use spareloop_domain::words::DeviceId;
use spareloop_store::{Missing, SecretHash, ShownName, devices, fresh};
use uuid::Uuid;

use super::field;
use crate::auth::caller::Grower;
use crate::auth::tokens::device_token;
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::Key;
use crate::views;

/// What is kept of a registration: enough to give the same token again, and no token.
#[derive(Serialize, Deserialize)]
struct RegistrationKept {
    device: DeviceId,
    registration: Uuid,
}

/// Makes a device of the caller's farm known. A device that means another farm is refused before
/// any entry travels.
pub async fn register(
    house: &House,
    grower: Grower,
    key: &Key,
    request: RegisterDevice,
) -> Result<DeviceRegistered, ServerError> {
    if request.farm != grower.farm {
        return Err(ServerError::refused(
            ProblemCode::WrongFarm,
            "This device keeps another farm's ledger than the one that you act for.",
        ));
    }
    let act = key.act(&house.keys, grower.person, "register device", &request)?;
    let name: ShownName = field("name", &request.name)?;
    let (now, keys, device) = (house.now(), house.keys.clone(), request.device);
    let kept = house
        .once(act, move |tx| {
            let registration = fresh::uuid(now)?;
            let token = SecretHash::of(&device_token(&keys, registration));
            devices::register(tx, grower.farm, device, &name, token, now)?;
            Ok(RegistrationKept { device, registration })
        })
        .await?;
    Ok(DeviceRegistered {
        device: kept.device,
        device_token: Secret(device_token(&house.keys, kept.registration)),
    })
}

/// The farm's devices, oldest first.
pub async fn list(house: &House, grower: Grower) -> Result<Vec<DeviceView>, ServerError> {
    let found = house.read(move |tx| devices::list(tx, grower.farm)).await?;
    Ok(found.into_iter().map(views::device).collect())
}

/// Shuts a device out; its entries stay.
pub async fn shut_out(
    house: &House,
    grower: Grower,
    key: &Key,
    device: DeviceId,
) -> Result<DeviceView, ServerError> {
    let act = key.act(&house.keys, grower.person, "shut out device", &device)?;
    let now = house.now();
    house
        .once(act, move |tx| {
            devices::shut_out(tx, grower.farm, device, now)?;
            let found = devices::list(tx, grower.farm)?;
            let device = found.into_iter().find(|known| known.id == device);
            device.map(views::device).ok_or_else(|| Missing::Device.into())
        })
        .await
}
