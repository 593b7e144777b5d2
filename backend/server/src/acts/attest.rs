//! Keys and signed statements: kept, shown, handed on. The server has no secret half of any key.

use std::collections::BTreeMap;

use spareloop_api::attest::{
    FarmKeys, FarmStates, KeepStatement, KeyView, LotStatements, MakeKeyKnown, StatementFeed,
    StatementView,
};
use spareloop_api::people::FarmView;
use spareloop_domain::attest::{Checked, KeyId};
use spareloop_domain::words::{FarmId, LotId};
use spareloop_store::attest::{self, NewKey};
use spareloop_store::people;

use crate::auth::caller::{Grower, Member};
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::Key;
use crate::views::attest as views;

/// Makes a key of the caller's farm known.
pub async fn make_key_known(
    house: &House,
    grower: Grower,
    key: &Key,
    request: MakeKeyKnown,
) -> Result<KeyView, ServerError> {
    let act = key.act(&house.keys, grower.person, "make key known", &request)?;
    let new = NewKey {
        key: request.key,
        made_at: request.made_at,
        introduction: request.introduction,
        vouched: request.vouched,
    };
    let now = house.now();
    house
        .once(act, move |tx| {
            attest::make_key_known(tx, grower.network, grower.farm, &new, now).map(views::key)
        })
        .await
}

/// Withdraws a key of the caller's farm.
pub async fn withdraw_key(
    house: &House,
    grower: Grower,
    key: &Key,
    id: KeyId,
) -> Result<KeyView, ServerError> {
    let act = key.act(&house.keys, grower.person, "withdraw key", &id)?;
    let now = house.now();
    house
        .once(act, move |tx| {
            attest::withdraw_key(tx, grower.network, grower.farm, &id, now).map(views::key)
        })
        .await
}

/// The keys of a farm of the caller's network.
pub async fn farm_keys(
    house: &House,
    member: Member,
    farm: FarmId,
) -> Result<FarmKeys, ServerError> {
    house
        .read(move |tx| {
            people::farm(tx, member.network, farm)?;
            let keys = attest::keys_of_farm(tx, member.network, farm)?;
            Ok(FarmKeys { keys: keys.into_iter().map(views::key).collect() })
        })
        .await
}

/// Keeps a signed statement about a lot of the caller's farm.
pub async fn keep(
    house: &House,
    grower: Grower,
    key: &Key,
    lot: LotId,
    request: KeepStatement,
) -> Result<StatementView, ServerError> {
    let act = key.act(&house.keys, grower.person, "keep statement", &(lot, &request))?;
    let (now, compact) = (house.now(), request.statement);
    house
        .once(act, move |tx| {
            let farm = people::farm(tx, grower.network, grower.farm)?;
            let kept = attest::keep(tx, grower.network, grower.farm, lot, &compact, now)?.kept;
            let all = attest::checked(tx, grower.network, grower.farm, lot, now)?;
            let outcome = all
                .into_iter()
                .find(|one| one.kept == kept)
                .map(|one| one.outcome)
                .ok_or(spareloop_store::Missing::Lot)?;
            Ok(views::statement(&farm.name, Checked { kept, outcome }))
        })
        .await
}

/// What the farms of the caller's network state about a lot.
pub async fn of_lot(
    house: &House,
    member: Member,
    lot: LotId,
) -> Result<LotStatements, ServerError> {
    let now = house.now();
    house
        .read(move |tx| {
            let all = attest::of_lot(tx, member.network, lot)?;
            let by: std::collections::BTreeSet<FarmId> = all.iter().map(|one| one.farm).collect();
            let mut farms = Vec::new();
            for farm in by {
                let farm = people::farm(tx, member.network, farm)?;
                let checked = attest::checked(tx, member.network, farm.id, lot, now)?;
                let stated = views::stated(&farm.name, checked);
                let farm = FarmView { id: farm.id, name: farm.name };
                farms.push(FarmStates { farm, stated });
            }
            Ok(LotStatements { lot, farms })
        })
        .await
}

/// What the farms of the caller's network made known behind a position.
pub async fn feed(
    house: &House,
    member: Member,
    after: u64,
    limit: u32,
) -> Result<StatementFeed, ServerError> {
    house
        .read(move |tx| {
            let feed = attest::feed(tx, member.network, after, limit)?;
            let farms: BTreeMap<FarmId, String> =
                people::farms(tx, member.network)?.into_iter().map(|it| (it.id, it.name)).collect();
            Ok(StatementFeed {
                keys: feed.keys.into_iter().map(|key| key.record).collect(),
                statements: feed.statements.into_iter().map(views::travelling).collect(),
                farms: farms.into_iter().map(|(id, name)| FarmView { id, name }).collect(),
                position: feed.position,
                more: feed.position < feed.newest,
            })
        })
        .await
}
