//! What a handler gets to know of its caller: typed by the policy that let them in.
//!
//! A handler that names [`Grower`] can only run for a person who acts for a farm; if its declared
//! policy were laxer than that, the extractor refuses. What may not enter: passwords, cookies of
//! the pages (they have their own door in [`crate::pages`] and end in the same types).

use std::future::{Ready, ready};

use actix_web::dev::Payload;
use actix_web::http::header::AUTHORIZATION;
use actix_web::{FromRequest, HttpMessage, HttpRequest};
use spareloop_api::access::Access;
use spareloop_api::people::Role;
use spareloop_api::problem::ProblemCode;
use spareloop_domain::words::{DeviceId, FarmId, NetworkId, PersonId};
use spareloop_store::proposals::Viewer;
use uuid::Uuid;

use super::tokens::DEVICE_PREFIX;
use crate::acts::people;
use crate::error::ServerError;
use crate::house::House;

/// A signed-in person.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Person {
    /// Who.
    pub id: PersonId,
    /// Their part.
    pub role: Role,
    /// Their network, once there is one.
    pub network: Option<NetworkId>,
    /// The farm that they act for.
    pub farm: Option<FarmId>,
    /// That farm, where the sign-in is bound to one on paper: they are its grower then.
    pub acts_for: Option<FarmId>,
    /// The sign-in that they came with; pages have none.
    pub family: Option<Uuid>,
}

/// A signed-in person in a network, with or without a farm.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Member {
    /// Who.
    pub person: PersonId,
    /// The network.
    pub network: NetworkId,
    /// The farm that they act for.
    pub farm: Option<FarmId>,
}

impl Member {
    /// As whom they see what is between farms: as theirs, or as the network's coordinator.
    pub const fn viewer(self) -> Viewer {
        match self.farm {
            Some(farm) => Viewer::Farm(farm),
            None => Viewer::Coordinator,
        }
    }
}

/// A signed-in coordinator.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Coordinator {
    /// Who.
    pub person: PersonId,
    /// The network that they run, once there is one.
    pub network: Option<NetworkId>,
}

/// A signed-in person who acts for a farm.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Grower {
    /// Who.
    pub person: PersonId,
    /// For which farm.
    pub farm: FarmId,
    /// The farm's network.
    pub network: NetworkId,
}

/// A device of a farm.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Device {
    /// Which.
    pub device: DeviceId,
    /// Whose.
    pub farm: FarmId,
    /// The farm's network.
    pub network: NetworkId,
}

/// Whoever was let in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Caller {
    /// A person.
    Person(Person),
    /// A device.
    Device(Device),
}

/// Finds out who calls and whether the policy lets them in; `None` when anybody may and nobody
/// said who they are.
pub async fn admit(
    house: &House,
    request: &HttpRequest,
    access: Access,
) -> Result<Option<Caller>, ServerError> {
    if access == Access::Anybody {
        return Ok(None);
    }
    let caller = identify(house, bearer(request).ok_or_else(ServerError::sign_in_needed)?).await?;
    if lets_in(access, &caller) { Ok(Some(caller)) } else { Err(not_for_you()) }
}

fn lets_in(access: Access, caller: &Caller) -> bool {
    match (access, caller) {
        (Access::Anybody, _)
        | (Access::Person, Caller::Person(_))
        | (Access::Device, Caller::Device(_)) => true,
        (Access::Coordinator, Caller::Person(person)) => person.role == Role::Coordinator,
        (Access::Grower, Caller::Person(person)) => Grower::of(person).is_some(),
        (Access::Device, Caller::Person(_))
        | (Access::Person | Access::Coordinator | Access::Grower, Caller::Device(_)) => false,
    }
}

fn bearer(request: &HttpRequest) -> Option<String> {
    let value = request.headers().get(AUTHORIZATION)?.to_str().ok()?;
    let (scheme, token) = value.split_once(' ')?;
    scheme.eq_ignore_ascii_case("bearer").then(|| token.trim().to_owned())
}

async fn identify(house: &House, token: String) -> Result<Caller, ServerError> {
    if token.starts_with(DEVICE_PREFIX) {
        return people::device_by_token(house, &token).await.map(Caller::Device);
    }
    let claims =
        house.signer.read_access(&token, house.now()).ok_or_else(ServerError::sign_in_needed)?;
    people::signed_in(house, claims).await.map(Caller::Person)
}

fn not_for_you() -> ServerError {
    ServerError::refused(ProblemCode::NotAllowed, "Your sign-in doesn't open this.")
}

impl Grower {
    /// The person as a grower, if they act for a farm.
    pub fn of(person: &Person) -> Option<Self> {
        Some(Self { person: person.id, farm: person.farm?, network: person.network? })
    }
}

impl Member {
    /// The person as a member, if they are in a network.
    pub fn of(person: &Person) -> Option<Self> {
        Some(Self { person: person.id, network: person.network?, farm: person.farm })
    }
}

impl From<Grower> for Member {
    fn from(grower: Grower) -> Self {
        Self { person: grower.person, network: grower.network, farm: Some(grower.farm) }
    }
}

impl Coordinator {
    /// The person as a coordinator, if they are one.
    pub fn of(person: &Person) -> Option<Self> {
        (person.role == Role::Coordinator)
            .then_some(Self { person: person.id, network: person.network })
    }
}

fn person_of(request: &HttpRequest) -> Result<Person, ServerError> {
    match request.extensions().get::<Caller>() {
        Some(Caller::Person(person)) => Ok(person.clone()),
        Some(Caller::Device(_)) => Err(not_for_you()),
        None => Err(ServerError::sign_in_needed()),
    }
}

macro_rules! extract {
    ($name:ident, $request:ident => $found:expr) => {
        impl FromRequest for $name {
            type Error = ServerError;
            type Future = Ready<Result<Self, ServerError>>;
            fn from_request($request: &HttpRequest, _: &mut Payload) -> Self::Future {
                ready($found)
            }
        }
    };
}

extract!(Person, request => person_of(request));
extract!(Coordinator, request =>
    person_of(request).and_then(|person| Self::of(&person).ok_or_else(not_for_you)));
extract!(Grower, request =>
    person_of(request).and_then(|person| Self::of(&person).ok_or_else(not_for_you)));
extract!(Member, request => person_of(request).and_then(|person| {
    Self::of(&person).ok_or_else(|| {
        ServerError::refused(ProblemCode::NotInThatState, "You are in no network yet: make one first.")
    })
}));
extract!(Device, request => match request.extensions().get::<Caller>() {
    Some(Caller::Device(device)) => Ok(*device),
    Some(Caller::Person(_)) => Err(not_for_you()),
    None => Err(ServerError::sign_in_needed()),
});
