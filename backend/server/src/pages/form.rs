//! Forms: what was typed, what is wrong with it, and fields that show both again.
//!
//! A [`Posted`] form has passed the check of its token, so no handler can forget it. Every form
//! that acts carries a key made when it was shown, and the ids of what it makes, so that pressing
//! a button twice acts once. What may not enter: rules; text is read by the types of `domain`.

use std::collections::BTreeMap;
use std::fmt::Display;
use std::future::Future;
use std::pin::Pin;
use std::str::FromStr;

use actix_web::dev::Payload;
use actix_web::http::StatusCode;
use actix_web::web::Form as Body;
use actix_web::{FromRequest, HttpRequest, ResponseError};
use spareloop_api::people::Secret;
use spareloop_api::problem::ProblemCode;
use spareloop_store::fresh;
use uuid::Uuid;

use super::error::PageError;
use super::field::label;
use super::session::check_form;
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::Key;

/// The name of the token's field.
pub(super) const TOKEN: &str = "form_token";
/// The name of the key's field.
const KEY: &str = "key";

/// Something wrong with what was typed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Mistake {
    /// The field, or none where it is about the whole.
    pub(super) field: String,
    /// What, in words.
    pub(super) text: String,
}

impl Mistake {
    /// What the field is called.
    pub(super) fn label(&self) -> &str {
        label(&self.field)
    }
}

/// What was typed, and what is wrong with it.
#[derive(Debug, Default)]
pub(super) struct Form {
    typed: BTreeMap<String, String>,
    /// What is wrong.
    pub(super) mistakes: Vec<Mistake>,
    refused: Option<StatusCode>,
}

impl Form {
    /// An empty form with a new key.
    pub(super) fn new(house: &House) -> Result<Self, ServerError> {
        let mut form = Self::default();
        form.put_new_id(house, KEY)?;
        Ok(form)
    }

    /// What was typed into a form that came another way than [`Posted`].
    pub(super) fn of(typed: BTreeMap<String, String>) -> Self {
        Self { typed, ..Self::default() }
    }

    /// What stands in an address.
    pub(super) fn from_query(request: &HttpRequest) -> Self {
        Self { typed: pairs(request.query_string()).collect(), ..Self::default() }
    }

    /// The same, with a key and a new id under `id` where the address has none yet.
    pub(super) fn with_ids(mut self, house: &House, ids: &[&str]) -> Result<Self, ServerError> {
        for name in [KEY].iter().chain(ids) {
            if self.value(name).is_empty() {
                self.put_new_id(house, name)?;
            }
        }
        Ok(self)
    }

    fn put_new_id(&mut self, house: &House, name: &str) -> Result<(), ServerError> {
        let id = fresh::uuid(house.now())?;
        self.typed.insert(name.to_owned(), id.to_string());
        Ok(())
    }

    /// Fills a field that is empty.
    pub(super) fn or(mut self, name: &str, value: impl Display) -> Self {
        if self.value(name).is_empty() {
            self.typed.insert(name.to_owned(), value.to_string());
        }
        self
    }

    /// A field as typed; empty where there is none.
    pub(super) fn value(&self, name: &str) -> &str {
        self.typed.get(name).map_or("", String::as_str)
    }

    /// A secret as typed. It is never shown again.
    pub(super) fn secret(&self, name: &str) -> Secret {
        Secret(self.value(name).to_owned())
    }

    /// The key of the act.
    pub(super) fn key(&self) -> Result<Key, ServerError> {
        Key::parse(self.value(KEY))
    }

    /// An id that the form was given when it was shown.
    pub(super) fn id(&self, name: &str) -> Result<Uuid, ServerError> {
        self.value(name).parse().map_err(|_| {
            ServerError::refused(ProblemCode::BadRequest, "The form came without its id.")
        })
    }

    /// Reads a field, or notes what is wrong with it.
    pub(super) fn read<T: FromStr<Err: Display>>(&mut self, name: &str) -> Option<T> {
        if self.value(name).trim().is_empty() {
            self.wrong(name, "nothing is filled in");
            return None;
        }
        match self.value(name).trim().parse() {
            Ok(value) => Some(value),
            Err(error) => {
                self.wrong(name, error);
                None
            }
        }
    }

    /// Reads a field that may be empty.
    pub(super) fn read_if_any<T: FromStr<Err: Display>>(&mut self, name: &str) -> Option<T> {
        if self.value(name).trim().is_empty() { None } else { self.read(name) }
    }

    /// Reads a number with at most one decimal as tenths.
    pub(super) fn read_tenths(&mut self, name: &str) -> Option<u32> {
        let typed = self.read::<String>(name)?;
        let tenths = tenths(&typed);
        if tenths.is_none() {
            self.wrong(name, format!("{typed:?} is not a number such as 1 or 2.5"));
        }
        tenths
    }

    /// Reads degrees, with a point or a comma.
    pub(super) fn read_degrees(&mut self, name: &str) -> Option<f64> {
        let typed = self.read::<String>(name)?;
        let degrees = typed.replace(',', ".").parse().ok().filter(|it: &f64| it.is_finite());
        if degrees.is_none() {
            self.wrong(name, format!("{typed:?} is not a number such as 52.4 or -4.05"));
        }
        degrees
    }

    /// How far somebody is with a form of several steps.
    pub(super) fn step(&self) -> Step {
        if self.value("step") == "check" { Step::Check } else { Step::Fill }
    }

    /// The query that opens the form again as it was filled in.
    pub(super) fn again(&self, names: &[&str]) -> String {
        let pairs: Vec<String> = names.iter().map(|name| encode(name, self.value(name))).collect();
        pairs.join("&")
    }

    /// Notes what is wrong with a field.
    pub(super) fn wrong(&mut self, name: &str, why: impl Display) {
        self.mistakes.push(Mistake { field: name.to_owned(), text: format!("{why}.") });
    }

    /// Takes a refusal into the form, so that it is shown with what was typed; what the form can't
    /// cure is given back.
    pub(super) fn take(&mut self, error: ServerError) -> Result<(), PageError> {
        let cure_is_elsewhere = [ProblemCode::NotFound, ProblemCode::SignInNeeded];
        if cure_is_elsewhere.contains(&error.code()) {
            return Err(error.into());
        }
        error.log();
        self.refused = Some(error.status_code());
        // What was refused stays refused under its key, and a person may try the same again. What
        // may have been done after all keeps its key.
        if error.status_code().is_client_error() && error.code() != ProblemCode::StillWorking {
            let key = next_key(self.value(KEY));
            self.typed.insert(KEY.to_owned(), key);
        }
        let problem = error.problem();
        match error {
            ServerError::Field { name, why } if self.typed.contains_key(name) => {
                self.wrong(name, why);
            }
            _ => self.mistakes.push(Mistake {
                field: String::new(),
                text: format!("{} {}", problem.detail, problem.hint),
            }),
        }
        Ok(())
    }

    /// Whether anything is wrong.
    pub(super) fn is_wrong(&self) -> bool {
        !self.mistakes.is_empty()
    }

    /// The status that says so.
    pub(super) fn status(&self) -> StatusCode {
        let usual = if self.is_wrong() { StatusCode::UNPROCESSABLE_ENTITY } else { StatusCode::OK };
        self.refused.unwrap_or(usual)
    }
}

/// The key behind a refused one. Made from it, so that a form that is sent twice gives one form.
fn next_key(refused: &str) -> String {
    let (stem, times) = refused.split_once("-again-").unwrap_or((refused, "0"));
    format!("{stem}-again-{}", times.parse().unwrap_or(0_u32).saturating_add(1))
}

/// A form that was posted and carries our token.
pub(super) struct Posted(pub(super) Form);

impl FromRequest for Posted {
    type Error = PageError;
    type Future = Pin<Box<dyn Future<Output = Result<Self, PageError>>>>;
    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let request = request.clone();
        let body = Body::<Vec<(String, String)>>::from_request(&request, payload);
        Box::pin(async move {
            let body = body.await.map_err(|error| {
                let code = match error.as_response_error().status_code() {
                    StatusCode::PAYLOAD_TOO_LARGE => ProblemCode::TooLarge,
                    _ => ProblemCode::BadRequest,
                };
                ServerError::refused(code, "The form can't be read.")
            })?;
            let typed: BTreeMap<String, String> = body.into_inner().into_iter().collect();
            check_form(&request, typed.get(TOKEN).map_or("", String::as_str))?;
            Ok(Self(Form { typed, ..Form::default() }))
        })
    }
}

/// How far somebody is with a form of several steps.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Step {
    /// Filling in.
    Fill,
    /// Looking over what they filled in.
    Check,
}

/// Tenths of "2.5", "2,5" or "2".
fn tenths(typed: &str) -> Option<u32> {
    let typed = typed.trim().replace(',', ".");
    let (whole, tenth) = typed.split_once('.').unwrap_or((&typed, "0"));
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    if !digits(whole) || !digits(tenth) || tenth.len() > 1 {
        return None;
    }
    whole.parse::<u32>().ok()?.checked_mul(10)?.checked_add(tenth.parse().ok()?)
}

fn pairs(query: &str) -> impl Iterator<Item = (String, String)> {
    actix_web::web::Query::<Vec<(String, String)>>::from_query(query)
        .map(actix_web::web::Query::into_inner)
        .unwrap_or_default()
        .into_iter()
}

/// Writes one pair of a query.
pub(super) fn encode(name: &str, value: &str) -> String {
    // The filter fails only where the text itself can't be written, and a `str` always can.
    askama::filters::urlencode_strict(value)
        .map_or_else(|_| String::new(), |value| format!("{name}={value}"))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use askama::Template;

    use super::*;
    use spareloop_domain::words::Count;

    fn typed(pairs: &[(&str, &str)]) -> Form {
        let typed = pairs.iter().map(|(n, v)| ((*n).to_owned(), (*v).to_owned())).collect();
        Form { typed, ..Form::default() }
    }

    #[test]
    fn a_wrong_count_is_told_at_its_field_and_kept_as_typed() {
        let mut form = typed(&[("count", "4o")]);
        assert_eq!(form.read::<Count>("count"), None);
        let field = form.number("count", "").render().unwrap();
        assert!(field.contains("value=\"4o\"") && field.contains("not a whole number"), "{field}");
        assert!(field.contains("aria-invalid=\"true\""), "{field}");
        assert_eq!(form.status(), StatusCode::UNPROCESSABLE_ENTITY);
    }

    #[test]
    fn a_password_is_never_shown_again() {
        let form = typed(&[("password", "rust on the old harrow")]);
        let field = form.password("password").render().unwrap();
        assert!(!field.contains("harrow"), "{field}");
    }

    #[test]
    fn what_was_typed_cannot_write_html() {
        let form = typed(&[("conditions", "\"><script>alert(1)</script>")]);
        let field = form.lines("conditions", "").render().unwrap();
        assert!(!field.contains("<script>"), "{field}");
    }

    #[test]
    fn a_worth_is_read_with_a_point_or_a_comma_and_no_finer_than_tenths() {
        assert_eq!(tenths("2.5"), Some(25));
        assert_eq!(tenths(" 2,5 "), Some(25));
        assert_eq!(tenths("3"), Some(30));
        for wrong in ["", "-1", "1.25", "1.", ".5", "+2", "99999999999", "one"] {
            assert_eq!(tenths(wrong), None, "{wrong:?}");
        }
    }

    #[test]
    fn a_query_is_written_so_that_it_is_read_back() {
        let written = encode("next", "/offers/1?a=b&c=ü");
        let read: Vec<_> = pairs(&written).collect();
        assert_eq!(read, [("next".to_owned(), "/offers/1?a=b&c=ü".to_owned())]);
    }
}
