//! The pages' door: the cookie, who it belongs to, and the part of the page that they may enter.
//!
//! A visitor without a cookie is given one, so that even the form that signs them in carries a
//! token that only our own page can know. Signing in always makes a new cookie. What may not
//! enter: what a caller then does.

use std::future::Future;
use std::pin::Pin;

use actix_web::cookie::time::Duration;
use actix_web::cookie::{Cookie, SameSite};
use actix_web::dev::Payload;
use actix_web::http::header::LOCATION;
use actix_web::web::Data;
use actix_web::{FromRequest, HttpRequest, HttpResponse};
use spareloop_api::problem::ProblemCode;

use super::error::PageError;
use crate::acts::web_sign_in::{self, SignedIn};
use crate::auth::caller::{Coordinator, Grower, Member, Person};
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::Key;

/// What browsers refuse without `Secure` and for other hosts; over TLS only.
const TLS_PREFIX: &str = "__Host-";

/// Our cookies. They are two because a link in a letter comes without the first one (it is kept
/// to our own pages), and the visit that begins then must not end the sign-in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    /// Of a sign-in.
    SignIn,
    /// Of a visit without one, for the forms that lead to it.
    Visit,
}

impl Kind {
    fn name(self, house: &House) -> String {
        let prefix = if house.reached.by_tls() { TLS_PREFIX } else { "" };
        let name = match self {
            Self::SignIn => "spareloop",
            Self::Visit => "spareloop-visit",
        };
        format!("{prefix}{name}")
    }

    fn read(self, request: &HttpRequest, house: &House) -> Option<String> {
        request
            .cookie(&self.name(house))
            .map(|cookie| cookie.value().to_owned())
            .filter(|token| !token.is_empty())
    }

    fn cookie(self, house: &House, token: String) -> Cookie<'static> {
        Cookie::build(self.name(house), token)
            .path("/")
            .http_only(true)
            .same_site(SameSite::Strict)
            .secure(house.reached.by_tls())
            .finish()
    }
}

type Found<T> = Pin<Box<dyn Future<Output = Result<T, PageError>>>>;

/// Anybody who opens a page.
pub(super) struct Visitor {
    /// The house.
    pub(super) house: Data<House>,
    /// Who, if they are signed in.
    pub(super) signed_in: Option<SignedIn>,
    /// The path and query that they asked for.
    pub(super) asked: String,
    /// The token that their forms hang on: of the sign-in, or else of the visit.
    token: String,
    /// Whether their browser must be given the visit's cookie.
    visit: VisitIs,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum VisitIs {
    Known,
    New,
}

/// A visitor who is signed in and has a part in what the page is about.
pub(super) struct Signed<P> {
    /// The visitor.
    pub(super) visitor: Visitor,
    /// Their part.
    pub(super) caller: P,
}

/// A part that a signed-in person may have.
pub(super) trait Part: Sized {
    /// What is told to those who don't have it.
    const LACKING: (ProblemCode, &'static str);
    /// The person's part, if they have it.
    fn of(person: &Person) -> Option<Self>;
}

impl Part for Person {
    const LACKING: (ProblemCode, &'static str) =
        (ProblemCode::SignInNeeded, "This needs a sign-in that still holds.");
    fn of(person: &Person) -> Option<Self> {
        Some(person.clone())
    }
}

impl Part for Grower {
    const LACKING: (ProblemCode, &'static str) =
        (ProblemCode::NotAllowed, "This page is for those who act for a farm.");
    fn of(person: &Person) -> Option<Self> {
        Self::of(person)
    }
}

impl Part for Member {
    const LACKING: (ProblemCode, &'static str) =
        (ProblemCode::NotInThatState, "You are in no network yet: make one first.");
    fn of(person: &Person) -> Option<Self> {
        Self::of(person)
    }
}

impl Part for Coordinator {
    const LACKING: (ProblemCode, &'static str) =
        (ProblemCode::NotAllowed, "This page is for the coordinator of the network.");
    fn of(person: &Person) -> Option<Self> {
        Self::of(person)
    }
}

impl Visitor {
    async fn find(request: HttpRequest) -> Result<Self, PageError> {
        let house = house(&request)?;
        let asked = request.uri().path_and_query().map_or("/", |asked| asked.as_str()).to_owned();
        if let Some(token) = Kind::SignIn.read(&request, &house)
            && let Some(found) = web_sign_in::find(&house, &token).await?
        {
            let signed_in = Some(found);
            return Ok(Self { house, signed_in, asked, token, visit: VisitIs::Known });
        }
        let (token, visit) = match Kind::Visit.read(&request, &house) {
            Some(token) => (token, VisitIs::Known),
            None => (web_sign_in::new_token()?, VisitIs::New),
        };
        Ok(Self { house, signed_in: None, asked, token, visit })
    }

    /// The token for this visitor's forms.
    pub(super) fn form_token(&self) -> String {
        self.house.keys.form_token(&self.token)
    }

    /// The cookie to send along, unless they have it.
    pub(super) fn new_cookie(&self) -> Option<Cookie<'static>> {
        (self.visit == VisitIs::New).then(|| Kind::Visit.cookie(&self.house, self.token.clone()))
    }

    /// Ends this visitor's sign-in.
    pub(super) async fn sign_out(&self) -> Result<HttpResponse, PageError> {
        web_sign_in::end(&self.house, &self.token).await?;
        let mut gone = Kind::SignIn.cookie(&self.house, String::new());
        gone.set_max_age(Duration::ZERO);
        Ok(HttpResponse::SeeOther()
            .insert_header((LOCATION, "/sign-in?done=signed-out"))
            .cookie(gone)
            .finish())
    }
}

/// Begins the sign-in of a person and leads on.
pub(super) async fn sign_in(
    house: &House,
    person: spareloop_domain::words::PersonId,
    next: &str,
) -> Result<HttpResponse, PageError> {
    sign_in_for(house, person, None, next).await
}

/// The same, bound to a farm on paper if one is given.
pub(super) async fn sign_in_for(
    house: &House,
    person: spareloop_domain::words::PersonId,
    acts_for: Option<spareloop_domain::words::FarmId>,
    next: &str,
) -> Result<HttpResponse, PageError> {
    let token = web_sign_in::begin_for(house, person, acts_for).await?;
    let mut signed = Kind::SignIn.cookie(house, token);
    signed.set_max_age(Duration::seconds(web_sign_in::LASTS.num_seconds()));
    Ok(HttpResponse::SeeOther().insert_header((LOCATION, next)).cookie(signed).finish())
}

impl FromRequest for Visitor {
    type Error = PageError;
    type Future = Found<Self>;
    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let request = request.clone();
        Box::pin(Self::find(request))
    }
}

impl<P: Part + 'static> FromRequest for Signed<P> {
    type Error = PageError;
    type Future = Found<Self>;
    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let request = request.clone();
        Box::pin(async move {
            let method = request.method().clone();
            let visitor = Visitor::find(request).await?;
            let Some(signed_in) = &visitor.signed_in else {
                // What was posted can't be repeated by a link, so they start again at the start.
                let next = if method.is_safe() { visitor.asked.clone() } else { "/".to_owned() };
                return Err(PageError::SignIn { next });
            };
            let (code, why) = P::LACKING;
            let caller = P::of(&signed_in.person).ok_or_else(|| ServerError::refused(code, why))?;
            Ok(Self { visitor, caller })
        })
    }
}

/// The pages whose forms a visit's token opens: they act for nobody who is signed in.
const ENTRANCES: [&str; 3] = ["/sign-in", "/set-up", "/join"];

/// Whether a form came from a page that we gave to this browser.
///
/// A visit's token counts at the entrances only. Anybody can get one, and without TLS a
/// neighbouring host can plant its cookie here; it must not pass for the token of a sign-in.
pub(super) fn check_form(request: &HttpRequest, sent: &str) -> Result<(), PageError> {
    let house = house(request)?;
    let kinds: &[Kind] = if ENTRANCES.contains(&request.path()) {
        &[Kind::SignIn, Kind::Visit]
    } else {
        &[Kind::SignIn]
    };
    let ours = kinds
        .iter()
        .filter_map(|kind| kind.read(request, &house))
        .map(|token| house.keys.form_token(&token))
        .any(|expected| crate::keys::same_secret(expected.as_bytes(), sent.as_bytes()));
    if ours { Ok(()) } else { Err(PageError::FormTooOld) }
}

/// A key for an act that can be done only once to a thing, so that every form for it is the same.
pub(super) fn key_once(act: &str, thing: impl std::fmt::Display) -> Result<Key, ServerError> {
    Key::parse(&format!("{act}-{thing}"))
}

fn house(request: &HttpRequest) -> Result<Data<House>, ServerError> {
    request
        .app_data::<Data<House>>()
        .cloned()
        .ok_or_else(|| ServerError::broken("the app was built without its house"))
}
