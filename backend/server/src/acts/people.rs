//! Setting up, making a network, inviting, joining; and who a caller is.

use std::net::IpAddr;

use chrono::{DateTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};
use spareloop_api::people::{
    InvitationMade, InvitationView, Invite, Join, MakeNetwork, Me, NetworkView, Secret, SetUp,
    Tokens,
};
use spareloop_api::problem::ProblemCode;
use spareloop_domain::words::{FarmId, InvitationId, NetworkId, PersonId};
use spareloop_store::devices::{self, Standing};
use spareloop_store::people::{NewFarm, NewInvitation, NewPerson, on_paper};
use spareloop_store::{Login, SecretHash, ShownName, fresh, people, sign_ins};
use uuid::Uuid;

use super::sign_in::{LASTS, tokens};
use super::{field, refused};
use crate::auth::caller::{Coordinator, Device, Person};
use crate::auth::password::check_new;
use crate::auth::tokens::{AccessClaims, invitation_code, plain_code};
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::Key;
use crate::views;

/// How long an invitation works.
const INVITATION_LASTS: TimeDelta = TimeDelta::days(14);

/// The first coordinator sets the server up with the one-time link.
pub async fn set_up(house: &House, request: SetUp, address: IpAddr) -> Result<Tokens, ServerError> {
    let person = set_up_person(house, request, address).await?;
    let now = house.now();
    let family = house.write(move |tx| sign_ins::start(tx, person, None, now + LASTS, now)).await?;
    tokens(house, person, family.id, family.number, now + LASTS)
}

/// The same without a sign-in, for the page, which begins its own kind of session.
pub async fn set_up_person(
    house: &House,
    request: SetUp,
    address: IpAddr,
) -> Result<PersonId, ServerError> {
    house.throttle.count_try(&request.token.0, address)?;
    let token = SecretHash::of(request.token.0.trim());
    let person =
        new_person(house, &request.login, &request.display_name, request.password, &[]).await?;
    let (id, now) = (person.id, house.now());
    house.write(move |tx| people::use_set_up_token(tx, token, &person, now)).await?;
    Ok(id)
}

async fn new_person(
    house: &House,
    login: &str,
    display_name: &str,
    password: Secret,
    names: &[&str],
) -> Result<NewPerson, ServerError> {
    let parsed: Login = field("login", login)?;
    let display_name: ShownName = field("display_name", display_name)?;
    let mut names = names.to_vec();
    names.push(login);
    check_new(&password.0, &names).map_err(|why| refused("password", why))?;
    Ok(NewPerson {
        id: PersonId::new(fresh::uuid(house.now())?),
        login: parsed,
        display_name,
        password_hash: house.passwords.hash(password.0).await?,
    })
}

/// Who the caller is.
pub async fn me(house: &House, person: &Person) -> Result<Me, ServerError> {
    let (id, acts_for) = (person.id, person.acts_for);
    let me = house.read(move |tx| on_paper::me_for(tx, id, acts_for)).await?;
    me.map(views::me).ok_or_else(ServerError::sign_in_needed)
}

/// The person of an access token whose sign-in lives.
pub async fn signed_in(house: &House, claims: AccessClaims) -> Result<Person, ServerError> {
    let family = claims.fam;
    let (state, me) = house
        .read(move |tx| {
            let state = sign_ins::state(tx, family)?;
            let acts_for = state.and_then(|state| state.acts_for);
            Ok((state, on_paper::me_for(tx, claims.sub, acts_for)?))
        })
        .await?;
    let acts_for = state.and_then(|state| state.acts_for);
    let lives = state.is_some_and(|state| state.ended_at.is_none() && state.person == claims.sub);
    match me {
        Some(me) if lives => Ok(views::person(&me, acts_for, Some(family))),
        _ => Err(ServerError::sign_in_needed()),
    }
}

/// The device of a device token.
pub async fn device_by_token(house: &House, token: &str) -> Result<Device, ServerError> {
    let hash = SecretHash::of(token);
    let found = house.read(move |tx| devices::by_token_hash(tx, hash)).await?;
    let found = found.map(|found| {
        let device = Device { device: found.device, farm: found.farm, network: found.network };
        (found.standing, device)
    });
    match found {
        Some((Standing::Welcome, device)) => Ok(device),
        Some((Standing::ShutOut, _)) => Err(ServerError::refused(
            ProblemCode::DeviceShutOut,
            "This device was shut out by its farm.",
        )),
        None => Err(ServerError::sign_in_needed()),
    }
}

/// A coordinator without a network makes one.
pub async fn make_network(
    house: &House,
    by: Coordinator,
    key: &Key,
    request: MakeNetwork,
) -> Result<NetworkView, ServerError> {
    let act = key.act(&house.keys, by.person, "make network", &request)?;
    let name: ShownName = field("name", &request.name)?;
    let now = house.now();
    house
        .once(act, move |tx| people::make_network(tx, by.person, &name, now).map(views::network))
        .await
}

/// What is kept of an invitation just made: enough to give the same code again, and no code.
#[derive(Serialize, Deserialize)]
struct InvitationKept {
    id: InvitationId,
    for_whom: String,
    expires_at: DateTime<Utc>,
}

/// A coordinator invites a farm.
pub async fn invite(
    house: &House,
    by: Coordinator,
    key: &Key,
    request: Invite,
) -> Result<InvitationMade, ServerError> {
    let network = network_of(by)?;
    let act = key.act(&house.keys, by.person, "invite", &request)?;
    let for_whom: ShownName = field("for_whom", &request.for_whom)?;
    let (now, keys) = (house.now(), house.keys.clone());
    let kept = house
        .once(act, move |tx| {
            let id = fresh::uuid(now)?;
            let new = NewInvitation {
                id: InvitationId::new(id),
                for_whom: for_whom.clone(),
                code: SecretHash::of(&plain_code(&invitation_code(&keys, id))),
                expires_at: now + INVITATION_LASTS,
            };
            people::invite(tx, network, by.person, &new, now)?;
            Ok(InvitationKept {
                id: new.id,
                for_whom: for_whom.to_string(),
                expires_at: new.expires_at,
            })
        })
        .await?;
    Ok(InvitationMade {
        id: kept.id,
        for_whom: kept.for_whom,
        code: Secret(invitation_code(&house.keys, kept.id.uuid())),
        expires_at: kept.expires_at,
    })
}

/// The network's invitations, newest first.
pub async fn invitations(
    house: &House,
    by: Coordinator,
) -> Result<Vec<InvitationView>, ServerError> {
    let network = network_of(by)?;
    let found = house.read(move |tx| people::invitations(tx, network)).await?;
    Ok(found.into_iter().map(views::invitation).collect())
}

/// Withdraws an invitation that wasn't used.
pub async fn withdraw_invitation(
    house: &House,
    by: Coordinator,
    id: InvitationId,
) -> Result<(), ServerError> {
    let network = network_of(by)?;
    let now = house.now();
    house.write(move |tx| people::withdraw_invitation(tx, network, id, now)).await
}

fn network_of(by: Coordinator) -> Result<NetworkId, ServerError> {
    by.network.ok_or_else(|| {
        ServerError::refused(ProblemCode::NotInThatState, "Make your network first, then invite.")
    })
}

/// What is kept of a joining: enough to sign in again, and no token.
#[derive(Clone, Copy, Serialize, Deserialize)]
struct JoinKept {
    person: PersonId,
    family: Uuid,
    number: i64,
    expires_at: DateTime<Utc>,
}

/// A farm joins by the code of an invitation.
pub async fn join(
    house: &House,
    key: &Key,
    request: Join,
    address: IpAddr,
) -> Result<Tokens, ServerError> {
    let kept = join_once(house, key, request, address).await?;
    tokens(house, kept.person, kept.family, kept.number, kept.expires_at)
}

/// The same without a sign-in, for the page, which begins its own kind of session.
pub async fn join_person(
    house: &House,
    key: &Key,
    request: Join,
    address: IpAddr,
) -> Result<PersonId, ServerError> {
    join_once(house, key, request, address).await.map(|kept| kept.person)
}

async fn join_once(
    house: &House,
    key: &Key,
    request: Join,
    address: IpAddr,
) -> Result<JoinKept, ServerError> {
    // By the code, so that a whole network may join from one house on one evening.
    house.throttle.count_try(&request.code.0, address)?;
    let code = SecretHash::of(&plain_code(&request.code.0));
    let act = key.act(&house.keys, format!("code {code}"), "join", &request)?;
    let name: ShownName = field("farm_name", &request.farm_name)?;
    let now = house.now();
    let farm = match request.farm {
        Some(id) => id,
        None => FarmId::new(fresh::uuid(now)?),
    };
    let person = new_person(
        house,
        &request.login,
        &request.display_name,
        request.password,
        &[&request.farm_name],
    )
    .await?;
    let farm = NewFarm { id: farm, name };
    house
        .once(act, move |tx| {
            people::join(tx, code, &person, &farm, now)?;
            let family = sign_ins::start(tx, person.id, None, now + LASTS, now)?;
            Ok(JoinKept {
                person: person.id,
                family: family.id,
                number: family.number,
                expires_at: now + LASTS,
            })
        })
        .await
}
