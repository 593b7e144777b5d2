//! Signing in, staying signed in, signing out.

use std::net::IpAddr;

use chrono::{DateTime, TimeDelta, Utc};
use spareloop_api::people::{Refresh, Secret, SignIn, Tokens};
use spareloop_api::problem::ProblemCode;
use spareloop_domain::words::PersonId;
use spareloop_store::people::on_paper;
use spareloop_store::sign_ins::{self, EndedWhy, Rotation};
use spareloop_store::{Login, people};
use uuid::Uuid;

use crate::auth::password::Checked;
use crate::auth::tokens::{ACCESS_SECONDS, RefreshClaims};
use crate::error::ServerError;
use crate::house::House;

/// How long a sign-in lasts at most.
pub const LASTS: TimeDelta = TimeDelta::days(30);
/// How long the token before is still answered with the same successor, for lost replies.
const GRACE: TimeDelta = TimeDelta::seconds(30);

/// Signs in by name and password.
pub async fn sign_in(
    house: &House,
    request: SignIn,
    address: IpAddr,
) -> Result<Tokens, ServerError> {
    let person = check_password(house, &request.login, request.password, address).await?;
    let (now, acts_for) = (house.now(), request.acting_for);
    let family = house
        .write(move |tx| {
            if let Some(farm) = acts_for {
                on_paper::begin(tx, person, farm, now)?;
            }
            sign_ins::start(tx, person, acts_for, now + LASTS, now)
        })
        .await?;
    tokens(house, person, family.id, family.number, now + LASTS)
}

/// The person of a name and password. A wrong name takes as long as a wrong password and is told
/// in the same words.
pub async fn check_password(
    house: &House,
    login: &str,
    password: Secret,
    address: IpAddr,
) -> Result<PersonId, ServerError> {
    house.throttle.count_try(login, address)?;
    let wrong = || {
        ServerError::refused(
            ProblemCode::WrongSignIn,
            "No sign-in has that name and password together.",
        )
    };
    // A text that can't be a name is nobody's: the same answer, in the same time.
    let person = match login.parse::<Login>() {
        Ok(login) => house.read(move |tx| people::person_by_login(tx, &login)).await?,
        Err(_) => None,
    };
    let kept = person.as_ref().map(|person| person.password_hash.clone());
    let checked = house.passwords.check(password.0, kept).await?;
    let id = person.map(|person| person.id).ok_or_else(wrong)?;
    match checked {
        Checked::Right => Ok(id),
        Checked::RightButOld(new) => {
            house.write(move |tx| people::update_password_hash(tx, id, &new)).await?;
            Ok(id)
        }
        Checked::Wrong => Err(wrong()),
    }
}

/// The next pair of tokens for a refresh token, which works once.
pub async fn refresh(house: &House, request: Refresh) -> Result<Tokens, ServerError> {
    let now = house.now();
    let claims = house
        .signer
        .read_refresh(&request.refresh_token.0, now)
        .ok_or_else(ServerError::sign_in_needed)?;
    let (family, number) = (claims.fam, claims.num);
    let (rotation, state) = house
        .write(move |tx| {
            let rotation = sign_ins::rotate(tx, family, number, now, GRACE)?;
            Ok((rotation, sign_ins::state(tx, family)?))
        })
        .await?;
    match (rotation, state) {
        (Rotation::Next(next) | Rotation::SameSuccessor(next), Some(state)) => {
            tokens(house, state.person, family, next, state.expires_at)
        }
        (Rotation::ReuseEnded, _) => Err(ServerError::refused(
            ProblemCode::SignInEnded,
            "That sign-in token was used before. All tokens of this sign-in were ended.",
        )),
        _ => Err(ServerError::sign_in_needed()),
    }
}

/// Ends the sign-in of a refresh token. One that no longer works is signed out already.
pub async fn sign_out(house: &House, request: Refresh) -> Result<(), ServerError> {
    let now = house.now();
    let Some(claims) = house.signer.read_refresh(&request.refresh_token.0, now) else {
        return Ok(());
    };
    house.write(move |tx| sign_ins::end(tx, claims.fam, EndedWhy::SignedOut, now)).await
}

/// The tokens of a sign-in.
pub(super) fn tokens(
    house: &House,
    person: PersonId,
    family: Uuid,
    number: i64,
    expires_at: DateTime<Utc>,
) -> Result<Tokens, ServerError> {
    let refresh = RefreshClaims { fam: family, num: number, exp: expires_at.timestamp() };
    Ok(Tokens {
        access_token: Secret(house.signer.access(person, family, house.now())?),
        expires_in: ACCESS_SECONDS.unsigned_abs(),
        refresh_token: Secret(house.signer.refresh(&refresh)?),
    })
}
