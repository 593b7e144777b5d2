//! Photos: put beside something, listed, shown, taken back.

use sha2::{Digest, Sha256};
use spareloop_api::photos::PhotoView;
use spareloop_domain::exchange::photo::PhotoOf;
use spareloop_domain::words::PhotoId;
use spareloop_store::photos::{self, NewPhoto, Photo};
use tokio::sync::Semaphore;

use super::refused;
use crate::auth::caller::{Grower, Member};
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::Key;
use crate::pictures::{self, PictureError};
use crate::views::farm;

/// Reading a picture takes more memory than anything else here: one at a time.
static ONE_AT_A_TIME: Semaphore = Semaphore::const_new(1);

fn view(photo: Photo) -> PhotoView {
    PhotoView {
        photo: photo.id,
        farm: farm(photo.farm),
        width: photo.width,
        height: photo.height,
        made_at: photo.made_at,
    }
}

/// Puts a photo beside something; `file` is what the camera made.
pub async fn put(
    house: &House,
    grower: Grower,
    key: &Key,
    (id, of): (PhotoId, PhotoOf),
    file: Vec<u8>,
) -> Result<PhotoView, ServerError> {
    let asked = (id, format!("{of:?}"), format!("{:x?}", Sha256::digest(&file)));
    let act = key.act(&house.keys, grower.person, "put photo", &asked)?;
    let picture = kept(file).await?;
    let new =
        NewPhoto { id, of, width: picture.width, height: picture.height, picture: picture.jpeg };
    let now = house.now();
    house
        .settle(act, move |tx| photos::put(tx, grower.network, grower.farm, &new, now).map(view))
        .await
}

async fn kept(file: Vec<u8>) -> Result<pictures::Picture, ServerError> {
    let broken = |error: &dyn std::fmt::Display| ServerError::broken(format!("a picture: {error}"));
    let _turn = ONE_AT_A_TIME.acquire().await.map_err(|error| broken(&error))?;
    tokio::task::spawn_blocking(move || pictures::as_kept(&file))
        .await
        .map_err(|error| broken(&error))?
        .map_err(|why| match why {
            PictureError::Unwritten(why) => broken(&why),
            why => refused("picture", why),
        })
}

/// The photos beside something.
pub async fn list(
    house: &House,
    member: Member,
    of: PhotoOf,
) -> Result<Vec<PhotoView>, ServerError> {
    let now = house.now();
    let found =
        house.read(move |tx| photos::list(tx, member.network, member.viewer(), of, now)).await?;
    Ok(found.into_iter().map(view).collect())
}

/// One photo's picture, a JPEG.
pub async fn picture(house: &House, member: Member, id: PhotoId) -> Result<Vec<u8>, ServerError> {
    let now = house.now();
    house.read(move |tx| photos::picture(tx, member.network, member.viewer(), id, now)).await
}

/// Takes a photo of the caller's farm back.
pub async fn remove(
    house: &House,
    grower: Grower,
    key: &Key,
    id: PhotoId,
) -> Result<(), ServerError> {
    let act = key.act(&house.keys, grower.person, "remove photo", &id)?;
    house.settle(act, move |tx| photos::remove(tx, grower.farm, id)).await
}
