//! Photos beside offers, holds and claims.
//!
//! Who may see a photo is who may see what it stands beside. What may not enter: how a picture is
//! read, turned and made smaller, which the server does before it comes here.

use chrono::{DateTime, NaiveDateTime, TimeDelta, Utc};
use diesel::{
    ExpressionMethods, NullableExpressionMethods, OptionalExtension, QueryDsl, RunQueryDsl,
};
use spareloop_domain::exchange::photo::{MOST_OF_A_FARM, MOST_OF_A_THING, PhotoOf};
use spareloop_domain::exchange::{ClaimState, HoldState, OfferAct, OfferState};
use spareloop_domain::words::{FarmId, NetworkId, PhotoId};

use crate::error::taken;
use crate::ledger::lock_farm;
use crate::proposals::Viewer;
use crate::schema::{farms, offers as offers_table, photos};
use crate::text::{moment, read};
use crate::{Missing, Named, Refused, StoreError, Taken, Tx, claims, holds, offers, people};

/// A photo about to be put beside something.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewPhoto {
    /// Its id, made by the client.
    pub id: PhotoId,
    /// What it stands beside.
    pub of: PhotoOf,
    /// In pixels.
    pub width: u32,
    /// In pixels.
    pub height: u32,
    /// A JPEG.
    pub picture: Vec<u8>,
}

/// A photo without its picture.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Photo {
    /// Its id.
    pub id: PhotoId,
    /// Who put it there.
    pub farm: Named<FarmId>,
    /// In pixels.
    pub width: u32,
    /// In pixels.
    pub height: u32,
    /// When it was put there.
    pub made_at: DateTime<Utc>,
}

/// Puts a photo beside something that the farm has a part in.
pub fn put(
    tx: &mut Tx<'_>,
    network: NetworkId,
    farm: FarmId,
    new: &NewPhoto,
    now: DateTime<Utc>,
) -> Result<Photo, StoreError> {
    // So that two at once can't both be the last that is taken.
    lock_farm(tx, farm)?;
    may_put(tx, (network, farm), new.of, now)?;
    let own: i64 = photos::table
        .filter(photos::farm.eq(farm.to_string()))
        .count()
        .get_result(tx.connection)?;
    let beside = list_unguarded(tx, new.of)?;
    let beside = beside.iter().filter(|photo| photo.farm.id == farm).count();
    if beside >= MOST_OF_A_THING as usize {
        return Err(StoreError::refuse(Refused::PhotosOfAThing));
    }
    if own >= i64::from(MOST_OF_A_FARM) {
        return Err(StoreError::refuse(Refused::PhotosOfAFarm));
    }
    let (offer, hold, claim) = columns(new.of);
    diesel::insert_into(photos::table)
        .values((
            photos::id.eq(new.id.to_string()),
            photos::farm.eq(farm.to_string()),
            photos::offer.eq(offer),
            photos::hold.eq(hold),
            photos::claim.eq(claim),
            photos::width.eq(i64::from(new.width)),
            photos::height.eq(i64::from(new.height)),
            photos::picture.eq(&new.picture),
            photos::made_at.eq(moment(now)),
        ))
        .execute(tx.connection)
        .map_err(taken(Taken::Photo))?;
    let farm = people::farm(tx, network, farm)?;
    Ok(Photo {
        id: new.id,
        farm: Named { id: farm.id, name: farm.name },
        width: new.width,
        height: new.height,
        made_at: moment(now).and_utc(),
    })
}

fn may_put(
    tx: &mut Tx<'_>,
    (network, farm): (NetworkId, FarmId),
    of: PhotoOf,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let may = match of {
        PhotoOf::Offer(id) => {
            let offer = offers::offer(tx, network, id, now)?;
            if offer.farm != farm {
                return Err(StoreError::refuse(Refused::OnlyBy(OfferAct::WithdrawByGiver.by())));
            }
            offer.state == OfferState::Open
        }
        PhotoOf::Hold(id) => match holds::hold(tx, farm, id, now)?.state {
            HoldState::Agreed | HoldState::HandedOver | HoldState::Received => true,
            HoldState::Held | HoldState::Released | HoldState::Lapsed | HoldState::Cut => false,
        },
        PhotoOf::Claim(id) => {
            match claims::claim(tx, network, Viewer::Farm(farm), id, now)?.state {
                ClaimState::Open | ClaimState::Disputed => true,
                ClaimState::Granted | ClaimState::Decided | ClaimState::Withdrawn => false,
            }
        }
    };
    if may { Ok(()) } else { Err(StoreError::refuse(Refused::PhotoOfWhatIsOver)) }
}

/// The photos beside something that the viewer may see, oldest first.
pub fn list(
    tx: &mut Tx<'_>,
    network: NetworkId,
    viewer: Viewer,
    of: PhotoOf,
    now: DateTime<Utc>,
) -> Result<Vec<Photo>, StoreError> {
    may_see(tx, (network, viewer), of, now)?;
    list_unguarded(tx, of)
}

fn may_see(
    tx: &mut Tx<'_>,
    (network, viewer): (NetworkId, Viewer),
    of: PhotoOf,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    match (of, viewer) {
        (PhotoOf::Offer(id), _) => offers::offer(tx, network, id, now).map(drop),
        (PhotoOf::Hold(id), Viewer::Farm(farm)) => holds::hold(tx, farm, id, now).map(drop),
        (PhotoOf::Hold(_), Viewer::Coordinator) => Err(Missing::Hold.into()),
        (PhotoOf::Claim(id), _) => claims::claim(tx, network, viewer, id, now).map(drop),
    }
}

/// One photo's picture, for whoever may see what it stands beside.
pub fn picture(
    tx: &mut Tx<'_>,
    network: NetworkId,
    viewer: Viewer,
    id: PhotoId,
    now: DateTime<Utc>,
) -> Result<Vec<u8>, StoreError> {
    // Whoever may not see it is told the same as if it weren't there.
    let (of, _) = of_photo(tx, id)?;
    may_see(tx, (network, viewer), of, now).map_err(|error| match error {
        StoreError::Missing(_) => Missing::Photo.into(),
        other => other,
    })?;
    Ok(photos::table.find(id.to_string()).select(photos::picture).first(tx.connection)?)
}

/// The farm takes its photo back. What stands beside a claim stays on record.
pub fn remove(tx: &mut Tx<'_>, farm: FarmId, id: PhotoId) -> Result<(), StoreError> {
    let (of, by) = of_photo(tx, id)?;
    if by != farm {
        return Err(Missing::Photo.into());
    }
    if matches!(of, PhotoOf::Claim(_)) {
        return Err(StoreError::refuse(Refused::PhotoOnRecord));
    }
    diesel::delete(photos::table.find(id.to_string())).execute(tx.connection)?;
    Ok(())
}

/// How long a photo beside an offer that is over is kept from when it was put there: over a winter,
/// so that whoever received the tubers can look again.
const KEPT_OF_OFFERS: TimeDelta = TimeDelta::days(180);

/// Forgets old photos beside offers that are over; answers how many. What stands beside holds and
/// claims is evidence and stays.
pub fn prune(tx: &mut Tx<'_>, now: DateTime<Utc>) -> Result<usize, StoreError> {
    let going_on = [OfferState::Open.code(), OfferState::SetAside.code()];
    let over = offers_table::table
        .filter(offers_table::state.ne_all(going_on))
        .select(offers_table::id.nullable());
    let old = photos::table
        .filter(photos::made_at.lt(moment(now - KEPT_OF_OFFERS)))
        .filter(photos::offer.eq_any(over));
    Ok(diesel::delete(old).execute(tx.connection)?)
}

type Columns = (Option<String>, Option<String>, Option<String>);

fn columns(of: PhotoOf) -> Columns {
    match of {
        PhotoOf::Offer(id) => (Some(id.to_string()), None, None),
        PhotoOf::Hold(id) => (None, Some(id.to_string()), None),
        PhotoOf::Claim(id) => (None, None, Some(id.to_string())),
    }
}

/// What a photo stands beside, and who put it there.
fn of_photo(tx: &mut Tx<'_>, id: PhotoId) -> Result<(PhotoOf, FarmId), StoreError> {
    let row: Option<(Columns, String)> = photos::table
        .find(id.to_string())
        .select(((photos::offer, photos::hold, photos::claim), photos::farm))
        .first(tx.connection)
        .optional()?;
    let ((offer, hold, claim), farm) = row.ok_or(Missing::Photo)?;
    let of = match (offer, hold, claim) {
        (Some(offer), None, None) => PhotoOf::Offer(read(&offer)?),
        (None, Some(hold), None) => PhotoOf::Hold(read(&hold)?),
        (None, None, Some(claim)) => PhotoOf::Claim(read(&claim)?),
        _ => return Err(StoreError::corrupt("a photo of nothing, or of two things")),
    };
    Ok((of, read(&farm)?))
}

type Row = (String, String, String, i64, i64, NaiveDateTime);

fn list_unguarded(tx: &mut Tx<'_>, of: PhotoOf) -> Result<Vec<Photo>, StoreError> {
    let query = photos::table.inner_join(farms::table).into_boxed();
    let query = match of {
        PhotoOf::Offer(id) => query.filter(photos::offer.eq(id.to_string())),
        PhotoOf::Hold(id) => query.filter(photos::hold.eq(id.to_string())),
        PhotoOf::Claim(id) => query.filter(photos::claim.eq(id.to_string())),
    };
    let rows: Vec<Row> = query
        .order((photos::made_at, photos::id))
        .select((
            photos::id,
            photos::farm,
            farms::name,
            photos::width,
            photos::height,
            photos::made_at,
        ))
        .load(tx.connection)?;
    let photo = |(id, farm, name, width, height, made_at): Row| {
        Ok(Photo {
            id: read(&id)?,
            farm: Named { id: read(&farm)?, name },
            width: u32::try_from(width).map_err(StoreError::corrupt)?,
            height: u32::try_from(height).map_err(StoreError::corrupt)?,
            made_at: made_at.and_utc(),
        })
    };
    rows.into_iter().map(photo).collect()
}
