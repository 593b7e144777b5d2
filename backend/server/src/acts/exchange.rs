//! Offers, wants, the sheet, matches, the owed book, messages.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Utc};
use spareloop_api::exchange::{
    Balance, Board, MakeOffer, MakeWant, MatchLine, MatchView, Matches, Messages, OfferView,
    OwedBook, UnstatedLine, WantView,
};
use spareloop_api::people::FarmView;
use spareloop_domain::attest::{FactKind, missing};
use spareloop_domain::exchange::owed::Tenths;
use spareloop_domain::words::{Day, FarmId, MessageId, NetworkId, OfferId, VarietyName, WantId};
use spareloop_rounds::{Gives, Lack, Line, Spare, VarietyKey, Ways, pairwise};
use spareloop_store::offers::{NewOffer, Offer, Sought};
use spareloop_store::wants::{NewWant, Want};
use spareloop_store::{
    StoreError, Tx, attest, farm_beliefs, farm_book, limits, messages, movement, offers, owed,
    people, wants, whereabouts,
};
use uuid::Uuid;

use super::{field, refused};
use crate::auth::caller::{Grower, Member};
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::Key;
use crate::views::attest::stated;
use crate::views::exchange as views;
use crate::views::stock::Rules;

/// Most of each kind that a matching looks at.
pub(super) const MOST_MATCHED: u32 = 5_000;
/// Most varieties taken instead of the one wanted.
const MOST_INSTEAD: usize = 20;

/// Offers spare of one lot.
pub async fn make_offer(
    house: &House,
    grower: Grower,
    key: &Key,
    request: MakeOffer,
) -> Result<OfferView, ServerError> {
    let act = key.act(&house.keys, grower.person, "make offer", &request)?;
    let new = NewOffer {
        id: request.offer,
        lot: request.lot,
        count: request.count,
        smallest_parcel: request.smallest_parcel,
        conditions: request.conditions,
        open_to: request.open_to,
    };
    let (now, today) = (house.now(), house.today()?);
    house
        .settle(act, move |tx| {
            let made = offers::make(tx, grower.network, grower.farm, &new, now)?;
            offer_view(tx, made, now, today)
        })
        .await
}

/// One offer of the caller's network.
pub async fn offer(
    house: &House,
    member: Member,
    offer: OfferId,
) -> Result<OfferView, ServerError> {
    let (now, today) = (house.now(), house.today()?);
    house
        .read(move |tx| {
            let found = offers::offer(tx, member.network, offer, now)?;
            let (movement, distance_km) = match member.farm {
                Some(farm) if farm != found.farm => {
                    let places = whereabouts::of_two(tx, (farm, found.farm))?;
                    let caution = movement::caution(tx, member.network, (found.farm, farm))?;
                    (caution, places.between(farm, found.farm))
                }
                _ => (None, None),
            };
            Ok(OfferView { movement, distance_km, ..offer_view(tx, found, now, today)? })
        })
        .await
}

/// Withdraws an offer of the caller's farm.
pub async fn withdraw_offer(
    house: &House,
    grower: Grower,
    key: &Key,
    offer: OfferId,
) -> Result<OfferView, ServerError> {
    let act = key.act(&house.keys, grower.person, "withdraw offer", &offer)?;
    let (now, today) = (house.now(), house.today()?);
    house
        .settle(act, move |tx| {
            let found = offers::withdraw(tx, grower.network, grower.farm, offer, now)?;
            offer_view(tx, found, now, today)
        })
        .await
}

pub(super) fn offer_view(
    tx: &mut Tx<'_>,
    offer: Offer,
    now: DateTime<Utc>,
    today: Day,
) -> Result<OfferView, StoreError> {
    let farm = people::farm(tx, offer.network, offer.farm)?;
    let farm = FarmView { id: farm.id, name: farm.name };
    offer_of(tx, offer, farm, now, today)
}

/// An offer with what the farm's stock book says of the lot and what the farm states over its
/// signature.
fn offer_of(
    tx: &mut Tx<'_>,
    offer: Offer,
    farm: FarmView,
    now: DateTime<Utc>,
    today: Day,
) -> Result<OfferView, StoreError> {
    let book = farm_book(tx, offer.farm)?;
    let checked = attest::checked(tx, offer.network, offer.farm, offer.lot, now)?;
    let stated = stated(&farm.name, checked);
    let rules = Rules::believing(farm_beliefs(tx, offer.farm, &book)?);
    Ok(views::offer(offer, farm, stated, &book, today, &rules))
}

/// Says what the farm lacks.
pub async fn make_want(
    house: &House,
    grower: Grower,
    key: &Key,
    request: MakeWant,
) -> Result<WantView, ServerError> {
    let act = key.act(&house.keys, grower.person, "make want", &request)?;
    if request.instead.len() > MOST_INSTEAD {
        return Err(refused("instead", format!("at most {MOST_INSTEAD} varieties")));
    }
    let instead: Vec<VarietyName> =
        request.instead.iter().map(|name| field("instead", name)).collect::<Result<_, _>>()?;
    let new = NewWant {
        id: request.want,
        variety: field("variety", &request.variety)?,
        instead,
        unit: request.unit,
        count: request.count,
        needed_by: request.needed_by,
        conditions: request.conditions,
        required: request.required,
        within: request.within_km,
    };
    let now = house.now();
    house
        .settle(act, move |tx| {
            let made = wants::make(tx, grower.network, grower.farm, &new, now)?;
            want_view(tx, made)
        })
        .await
}

/// Withdraws a want of the caller's farm.
pub async fn withdraw_want(
    house: &House,
    grower: Grower,
    key: &Key,
    want: WantId,
) -> Result<WantView, ServerError> {
    let act = key.act(&house.keys, grower.person, "withdraw want", &want)?;
    let now = house.now();
    house
        .settle(act, move |tx| {
            let found = wants::withdraw(tx, grower.network, grower.farm, want, now)?;
            want_view(tx, found)
        })
        .await
}

fn want_view(tx: &mut Tx<'_>, want: Want) -> Result<WantView, StoreError> {
    let farm = people::farm(tx, want.network, want.farm)?;
    Ok(views::want(want, FarmView { id: farm.id, name: farm.name }))
}

/// The network's open offers and wants behind an id, at most `limit` of each.
pub async fn board(
    house: &House,
    member: Member,
    after: Option<Uuid>,
    limit: u32,
) -> Result<Board, ServerError> {
    board_of(house, member, Sought::default(), after, limit).await
}

/// The same, of what is sought.
pub async fn board_of(
    house: &House,
    member: Member,
    sought: Sought,
    after: Option<Uuid>,
    limit: u32,
) -> Result<Board, ServerError> {
    let (now, today) = (house.now(), house.today()?);
    house
        .read(move |tx| {
            let network = member.network;
            let farms = farms_of(tx, network)?;
            let movements = movement::of_network(tx, network)?;
            let caution = |giver| {
                let taker = member.farm.filter(|taker| *taker != giver)?;
                movements.between(giver, taker).caution()
            };
            let places = whereabouts::of_network(tx, network)?;
            let far = |other| {
                member.farm.filter(|own| *own != other).and_then(|own| places.between(own, other))
            };
            let (first_offer, first_want) = (after.map(OfferId::new), after.map(WantId::new));
            let offers = offers::board_of(tx, network, &sought, first_offer, limit, now)?;
            let wants = wants::board_of(tx, network, &sought, first_want, limit, now)?;
            let offers = offers
                .into_iter()
                .map(|offer| {
                    let (farm, movement) = (shown(&farms, offer.farm), caution(offer.farm));
                    let distance_km = far(offer.farm);
                    Ok(OfferView {
                        movement,
                        distance_km,
                        ..offer_of(tx, offer, farm, now, today)?
                    })
                })
                .collect::<Result<_, StoreError>>()?;
            let wants = wants
                .into_iter()
                .map(|want| {
                    let farm = shown(&farms, want.farm);
                    let distance_km = far(want.farm);
                    WantView { distance_km, ..views::want(want, farm) }
                })
                .collect();
            Ok(Board { offers, wants })
        })
        .await
}

pub(super) type Farms = BTreeMap<FarmId, FarmView>;

pub(super) fn farms_of(tx: &mut Tx<'_>, network: NetworkId) -> Result<Farms, StoreError> {
    let farms = people::farms(tx, network)?;
    Ok(farms.into_iter().map(|farm| (farm.id, FarmView { id: farm.id, name: farm.name })).collect())
}

/// A farm of the network that was just read whole.
pub(super) fn shown(farms: &Farms, farm: FarmId) -> FarmView {
    farms.get(&farm).cloned().unwrap_or_else(|| FarmView { id: farm, name: "former member".into() })
}

/// Who has what the caller's farm lacks, and lacks what it has; mutual ones first.
pub async fn matches(house: &House, grower: Grower) -> Result<Matches, ServerError> {
    let (now, today) = (house.now(), house.today()?);
    house
        .read(move |tx| {
            let farms = farms_of(tx, grower.network)?;
            let offers = offers::for_swaps(tx, grower.network, MOST_MATCHED, now)?;
            let wants = wants::board(tx, grower.network, None, MOST_MATCHED, now)?;
            let names: BTreeMap<OfferId, String> =
                offers.iter().map(|offer| (offer.id, offer.variety.clone())).collect();
            let lack: Vec<Lack> = wants.iter().filter_map(lack_of).collect();
            let ways = ways_of(tx, grower.network)?;
            let spare = spare_in(tx, (&offers, &lack, &ways), now, today)?;
            let lines = |gives: &Gives| -> Vec<MatchLine> {
                gives.lines.iter().map(|line| match_line(line, &names)).collect()
            };
            let unstated = |gives: &Gives| -> Vec<UnstatedLine> {
                gives
                    .unstated
                    .iter()
                    .map(|found| UnstatedLine {
                        line: match_line(&found.line, &names),
                        missing: found.missing.clone(),
                    })
                    .collect()
            };
            let caution = |gives: &Gives, giver, taker| {
                let something = !gives.lines.is_empty() || !gives.unstated.is_empty();
                something.then(|| ways.movements.between(giver, taker).caution()).flatten()
            };
            let matches = pairwise(&spare, &lack, &ways)
                .iter()
                .filter_map(|found| found.seen_by(grower.farm))
                .map(|(other, they_have, they_lack)| MatchView {
                    they_have_movement: caution(they_have, other, grower.farm),
                    they_lack_movement: caution(they_lack, grower.farm, other),
                    farm: shown(&farms, other),
                    distance_km: ways.places.between(grower.farm, other),
                    they_have: lines(they_have),
                    they_lack: lines(they_lack),
                    they_have_unstated: unstated(they_have),
                    they_lack_unstated: unstated(they_lack),
                })
                .collect();
            Ok(Matches { matches })
        })
        .await
}

/// What lies between the farms of a network.
pub(super) fn ways_of(tx: &mut Tx<'_>, network: NetworkId) -> Result<Ways, StoreError> {
    Ok(Ways {
        movements: movement::of_network(tx, network)?,
        places: whereabouts::of_network(tx, network)?,
    })
}

/// What is free of the offers; the statements about them are looked up only where somebody asks for any.
pub(super) fn spare_in(
    tx: &mut Tx<'_>,
    (offers, lack, ways): (&[Offer], &[Lack], &Ways),
    now: DateTime<Utc>,
    today: Day,
) -> Result<Vec<Spare>, StoreError> {
    let asked =
        ways.movements.ask_for_statements() || lack.iter().any(|want| !want.required.is_empty());
    let mut spare = Vec::new();
    for offer in offers {
        let stated = if asked { kinds(tx, offer, now, today)? } else { BTreeSet::new() };
        spare.extend(spare_of(offer, stated));
    }
    Ok(spare)
}

/// The kinds of statement that the offer's farm stands by today, of its lot.
fn kinds(
    tx: &mut Tx<'_>,
    offer: &Offer,
    now: DateTime<Utc>,
    today: Day,
) -> Result<BTreeSet<FactKind>, StoreError> {
    let standing = attest::standing(tx, offer.network, offer.farm, offer.lot, now)?;
    let missing = missing(FactKind::ALL, &standing, today);
    Ok(FactKind::ALL.iter().copied().filter(|kind| !missing.contains(kind)).collect())
}

fn spare_of(offer: &Offer, stated: BTreeSet<FactKind>) -> Option<Spare> {
    let name: VarietyName = offer.variety.parse().ok()?;
    (!offer.free().is_zero()).then(|| Spare {
        offer: offer.id,
        farm: offer.farm,
        variety: VarietyKey::from(&name),
        unit: offer.unit,
        count: offer.free(),
        smallest_parcel: offer.smallest_parcel,
        stated,
    })
}

pub(super) fn lack_of(want: &Want) -> Option<Lack> {
    let first: VarietyName = want.variety.parse().ok()?;
    let varieties = std::iter::once(&first).chain(&want.instead).map(VarietyKey::from).collect();
    (!want.open().is_zero()).then(|| Lack {
        want: want.id,
        farm: want.farm,
        varieties,
        unit: want.unit,
        count: want.open(),
        required: want.required.clone(),
        within: want.within,
    })
}

fn match_line(line: &Line, names: &BTreeMap<OfferId, String>) -> MatchLine {
    MatchLine {
        offer: line.offer,
        want: line.want,
        variety: names
            .get(&line.offer)
            .cloned()
            .unwrap_or_else(|| line.variety.as_str().to_owned()),
        unit: line.unit,
        count: line.count,
    }
}

/// The owed book: every farm's balance, and the postings of the caller's farm.
pub async fn owed(house: &House, member: Member) -> Result<OwedBook, ServerError> {
    let now = house.now();
    house
        .read(move |tx| {
            let balances = owed::balances(tx, member.network)?;
            let limits = limits::all(tx, member.network)?;
            let farms = farms_of(tx, member.network)?;
            let postings = match member.farm {
                Some(farm) => owed::postings(tx, member.network, farm, MOST_MATCHED)?,
                None => Vec::new(),
            };
            let balance = |farm: FarmView| {
                let owed = balances.get(&farm.id).copied().unwrap_or(Tenths(0)).0;
                let ends = limits::standing(tx, member.network, farm.id, now)?.ends().0;
                Ok(Balance {
                    owed_tenths: owed,
                    promised_tenths: ends - owed,
                    limit_tenths: limits.get(&farm.id).map(|limit| limit.tenths().0),
                    farm,
                })
            };
            Ok(OwedBook {
                balances: farms.into_values().map(balance).collect::<Result<_, StoreError>>()?,
                postings: postings.iter().map(views::posting).collect(),
            })
        })
        .await
}

/// What the farm was told, newest first.
pub async fn messages(
    house: &House,
    grower: Grower,
    before: Option<Uuid>,
    limit: u32,
) -> Result<Messages, ServerError> {
    let before = before.map(MessageId::new);
    let found = house.read(move |tx| messages::list(tx, grower.farm, before, limit)).await?;
    Ok(Messages { messages: found.into_iter().map(views::message).collect() })
}

/// The farm's own offers and wants in every state, for its pages.
pub async fn own(house: &House, grower: Grower) -> Result<Board, ServerError> {
    let (now, today) = (house.now(), house.today()?);
    house
        .read(move |tx| {
            let farm = people::farm(tx, grower.network, grower.farm)?;
            let farm = FarmView { id: farm.id, name: farm.name };
            let offers = offers::of_farm(tx, grower.farm, None, MOST_MATCHED, now)?;
            let wants = wants::of_farm(tx, grower.farm, None, MOST_MATCHED, now)?;
            let offers = offers
                .into_iter()
                .map(|offer| offer_of(tx, offer, farm.clone(), now, today))
                .collect::<Result<_, StoreError>>()?;
            Ok(Board {
                offers,
                wants: wants.into_iter().map(|want| views::want(want, farm.clone())).collect(),
            })
        })
        .await
}
