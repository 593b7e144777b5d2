//! The sign-ins of the pages: begun with a cookie's token, found by it, ended.
//!
//! The cookie's token and the token of its forms are kept as hashes. What may not enter: cookies
//! themselves (the pages set and read them), tokens of the interface.

use chrono::TimeDelta;
use spareloop_api::people::Me;
use spareloop_domain::words::{FarmId, PersonId};
use spareloop_store::SecretHash;
use spareloop_store::people::on_paper;
use spareloop_store::web_sessions::{self, NewSession};

use crate::auth::caller::Person;
use crate::error::ServerError;
use crate::house::House;
use crate::{keys, views};

/// How long a sign-in of the pages lasts.
pub const LASTS: TimeDelta = TimeDelta::hours(12);

/// Somebody whose cookie holds.
#[derive(Debug, Clone)]
pub struct SignedIn {
    /// Who, with names to show.
    pub me: Me,
    /// The same as the policies know them.
    pub person: Person,
}

/// A new random token for a cookie.
pub fn new_token() -> Result<String, ServerError> {
    keys::random_text().map_err(|error| ServerError::broken(error.to_string()))
}

/// Begins a sign-in; answers the cookie's token, which is always a new one.
pub async fn begin(house: &House, person: PersonId) -> Result<String, ServerError> {
    begin_for(house, person, None).await
}

/// The same, bound to a farm on paper if one is given.
pub async fn begin_for(
    house: &House,
    person: PersonId,
    acts_for: Option<FarmId>,
) -> Result<String, ServerError> {
    let token = new_token()?;
    let now = house.now();
    let session = NewSession {
        token: SecretHash::of(&token),
        person,
        acts_for,
        csrf: SecretHash::of(&house.keys.form_token(&token)),
        expires_at: now + LASTS,
    };
    house
        .write(move |tx| {
            if let Some(farm) = acts_for {
                on_paper::begin(tx, person, farm, now)?;
            }
            web_sessions::start(tx, &session, now)
        })
        .await?;
    Ok(token)
}

/// Whose sign-in a cookie's token is, unless it ended or is too old.
pub async fn find(house: &House, token: &str) -> Result<Option<SignedIn>, ServerError> {
    let (hash, now) = (SecretHash::of(token), house.now());
    let found = house
        .read(move |tx| match web_sessions::find(tx, hash, now)? {
            Some(session) => {
                let me = on_paper::me_for(tx, session.person, session.acts_for)?;
                Ok(me.map(|me| (me, session.acts_for)))
            }
            None => Ok(None),
        })
        .await?;
    Ok(found.map(|(me, acts_for)| SignedIn {
        person: views::person(&me, acts_for, None),
        me: views::me(me),
    }))
}

/// Ends a sign-in.
pub async fn end(house: &House, token: &str) -> Result<(), ServerError> {
    let hash = SecretHash::of(token);
    house.write(move |tx| web_sessions::end(tx, hash)).await
}
