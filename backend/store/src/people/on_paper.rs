//! Farms that keep their books on paper: the coordinator acts for them with their consent, on record.
//!
//! Each sign-in for such a farm is bound to it and ends with the consent. What may not enter: farms with
//! people of their own, who act for themselves.

use chrono::{DateTime, NaiveDateTime, Utc};
use diesel::{ExpressionMethods, JoinOnDsl, OptionalExtension, QueryDsl, RunQueryDsl};
use spareloop_domain::words::{Day, FarmId, NetworkId, PersonId};

use super::invitations::{NewFarm, insert_farm};
use super::{Me, Role, me};
use crate::error::one_row;
use crate::schema::{farms, farms_on_paper, stand_ins};
use crate::text::{free, moment, read, today};
use crate::{Missing, Named, Refused, ShownName, StoreError, Tx, devices, fresh};

/// What a farm consented to: that the coordinator acts for it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Consent {
    /// Who consented for the farm.
    pub by: String,
    /// How: by a signed note, at a meeting, on the telephone.
    pub how: String,
    /// On which day.
    pub on: Day,
}

/// A farm on paper.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FarmOnPaper {
    /// Which.
    pub farm: Named<FarmId>,
    /// Its consent.
    pub consent: Consent,
    /// When the consent was taken back.
    pub ended_at: Option<DateTime<Utc>>,
    /// How often a sign-in for it began.
    pub sign_ins: u64,
}

/// What its name says wherever it is shown.
const MARK: &str = " (on paper)";

/// Makes a farm on paper.
pub fn make(
    tx: &mut Tx<'_>,
    (network, by): (NetworkId, PersonId),
    new: &NewFarm,
    consent: &Consent,
    now: DateTime<Utc>,
) -> Result<Named<FarmId>, StoreError> {
    let (who, how) = (free(&consent.by, "who consented")?, free(&consent.how, "how it was given")?);
    if who.is_empty() || how.is_empty() {
        return Err(StoreError::refuse(Refused::ConsentOfNobody));
    }
    if consent.on > today(now)?.plus_days(1) {
        return Err(StoreError::refuse(Refused::ConsentToCome));
    }
    let name: ShownName = format!("{}{MARK}", new.name)
        .parse()
        .map_err(|_| StoreError::refuse(Refused::NameTooLongOnPaper))?;
    insert_farm(tx, network, &NewFarm { id: new.id, name: name.clone() }, now)?;
    diesel::insert_into(farms_on_paper::table)
        .values((
            farms_on_paper::farm.eq(new.id.to_string()),
            farms_on_paper::network.eq(network.to_string()),
            farms_on_paper::consent_by.eq(who),
            farms_on_paper::consent_how.eq(how),
            farms_on_paper::consent_on.eq(consent.on.to_string()),
            farms_on_paper::noted_by.eq(by.to_string()),
            farms_on_paper::noted_at.eq(moment(now)),
        ))
        .execute(tx.connection)?;
    Ok(Named { id: new.id, name: name.to_string() })
}

/// The network's farms on paper, by id.
pub fn list(tx: &mut Tx<'_>, network: NetworkId) -> Result<Vec<FarmOnPaper>, StoreError> {
    type Row = (String, String, String, String, String, Option<NaiveDateTime>);
    let rows: Vec<Row> = farms_on_paper::table
        .inner_join(farms::table.on(farms::id.eq(farms_on_paper::farm)))
        .filter(farms_on_paper::network.eq(network.to_string()))
        .order(farms_on_paper::farm)
        .select((
            farms::id,
            farms::name,
            farms_on_paper::consent_by,
            farms_on_paper::consent_how,
            farms_on_paper::consent_on,
            farms_on_paper::ended_at,
        ))
        .load(tx.connection)?;
    rows.into_iter()
        .map(|(id, name, by, how, on, ended_at)| {
            let sign_ins: i64 = stand_ins::table
                .filter(stand_ins::farm.eq(&id))
                .count()
                .get_result(tx.connection)?;
            Ok(FarmOnPaper {
                farm: Named { id: read(&id)?, name },
                consent: Consent { by, how, on: read(&on)? },
                ended_at: ended_at.map(|at| at.and_utc()),
                sign_ins: crate::text::unsigned(sign_ins)?,
            })
        })
        .collect()
}

/// The farm takes its consent back: every sign-in for it ends at once, and its devices are shut out.
pub fn end_consent(
    tx: &mut Tx<'_>,
    network: NetworkId,
    farm: FarmId,
    why: &str,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let why = free(why, "the reason")?;
    let written = diesel::update(
        farms_on_paper::table
            .filter(farms_on_paper::network.eq(network.to_string()))
            .filter(farms_on_paper::farm.eq(farm.to_string()))
            .filter(farms_on_paper::ended_at.is_null()),
    )
    .set((farms_on_paper::ended_at.eq(Some(moment(now))), farms_on_paper::ended_why.eq(why)))
    .execute(tx.connection)?;
    one_row(written, Missing::Farm)?;
    devices::shut_out_all(tx, farm, now)
}

/// The farm's name, while its consent stands.
fn standing(
    tx: &mut Tx<'_>,
    network: NetworkId,
    farm: FarmId,
) -> Result<Option<Named<FarmId>>, StoreError> {
    let name: Option<String> = farms_on_paper::table
        .inner_join(farms::table.on(farms::id.eq(farms_on_paper::farm)))
        .filter(farms_on_paper::network.eq(network.to_string()))
        .filter(farms_on_paper::farm.eq(farm.to_string()))
        .filter(farms_on_paper::ended_at.is_null())
        .select(farms::name)
        .first(tx.connection)
        .optional()?;
    Ok(name.map(|name| Named { id: farm, name }))
}

/// Who a signed-in person is, for the farm that the sign-in is bound to if it is: then they are its
/// grower and nothing more. Nobody once the consent has ended.
pub fn me_for(
    tx: &mut Tx<'_>,
    person: PersonId,
    acts_for: Option<FarmId>,
) -> Result<Option<Me>, StoreError> {
    let found = me(tx, person)?;
    let (Some(mut me), Some(farm)) = (found.clone(), acts_for) else { return Ok(found) };
    let Some(network) = &me.network else { return Ok(None) };
    let Some(farm) = standing(tx, network.id, farm)? else { return Ok(None) };
    me.farm = Some(farm);
    me.role = Role::Grower;
    Ok(Some(me))
}

/// Notes that a sign-in for the farm begins, if the person may: the network's coordinator, with the farm's
/// standing consent.
pub fn begin(
    tx: &mut Tx<'_>,
    person: PersonId,
    farm: FarmId,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let me = me(tx, person)?.ok_or(Missing::Person)?;
    if me.role != Role::Coordinator {
        return Err(Refused::NotACoordinator.into());
    }
    let network = me.network.ok_or(Missing::Farm)?;
    standing(tx, network.id, farm)?.ok_or(Missing::Farm)?;
    diesel::insert_into(stand_ins::table)
        .values((
            stand_ins::id.eq(fresh::uuid(now)?.to_string()),
            stand_ins::farm.eq(farm.to_string()),
            stand_ins::person.eq(person.to_string()),
            stand_ins::began_at.eq(moment(now)),
        ))
        .execute(tx.connection)?;
    Ok(())
}
