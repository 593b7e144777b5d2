//! Photos: those beside an offer, a hold or a claim, and putting one there from a telephone.

use std::collections::BTreeMap;

use actix_multipart::Multipart;
use actix_web::web::{Path, ServiceConfig};
use actix_web::{HttpRequest, HttpResponse, get, post};
use askama::Template;
use futures_util::TryStreamExt;
use spareloop_api::photos::PhotoView;
use spareloop_api::problem::ProblemCode;
use spareloop_domain::exchange::photo::{MOST_OF_A_THING, PhotoOf};
use spareloop_domain::words::{FarmId, PhotoId};

use super::form::{Form, Posted};
use super::layout::{Answer, Page, see_other};
use super::say;
use super::session::{Signed, check_form, key_once};
use crate::acts::photos;
use crate::auth::caller::{Grower, Member};
use crate::error::ServerError;
use crate::pictures::PICTURE_LIMIT;
use crate::routes::photos::jpeg;

/// Most bytes of a form's other fields.
const FIELD_LIMIT: usize = 1024;
/// Most fields of a form, so that nobody sends them without end.
const MOST_FIELDS: usize = 8;
/// The field with the file.
const PICTURE: &str = "picture";

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(list).service(put).service(picture).service(remove);
}

#[derive(Template)]
#[template(path = "photos.html")]
struct PhotosPage<'a> {
    page: Page,
    form: &'a Form,
    /// The visitor's farm; none for the coordinator.
    farm: Option<FarmId>,
    /// What the photos stand beside.
    beside: &'a Beside,
    photos: Vec<PhotoView>,
}

/// What photos stand beside, as addresses have it.
struct Beside {
    of: PhotoOf,
    address: String,
}

impl Beside {
    fn read((kind, id): (&str, &str)) -> Result<Self, ServerError> {
        let missing = |_| ServerError::not_found();
        let of = match kind {
            "offers" => PhotoOf::Offer(id.parse().map_err(missing)?),
            "holds" => PhotoOf::Hold(id.parse().map_err(missing)?),
            "claims" => PhotoOf::Claim(id.parse().map_err(missing)?),
            _ => return Err(ServerError::not_found()),
        };
        Ok(Self { of, address: format!("/{kind}/{id}") })
    }

    /// Who sees them, in words.
    const fn seen_by(&self) -> &'static str {
        match self.of {
            PhotoOf::Offer(_) => "Every farm of the network sees them.",
            PhotoOf::Hold(_) => "The two farms of the hold see them.",
            PhotoOf::Claim(_) => {
                "The two farms and the coordinator see them, and they stay on record."
            }
        }
    }

    const fn stay(&self) -> bool {
        matches!(self.of, PhotoOf::Claim(_))
    }

    /// The page of what they stand beside.
    fn back(&self) -> &str {
        match self.of {
            PhotoOf::Offer(_) | PhotoOf::Hold(_) => &self.address,
            PhotoOf::Claim(_) => "/claims",
        }
    }
}

impl PhotosPage<'_> {
    fn is_visitors(&self, photo: &PhotoView) -> bool {
        self.farm == Some(photo.farm.id)
    }
}

#[get("/{kind:offers|holds|claims}/{id}/photos")]
async fn list(signed: Signed<Member>, path: Path<(String, String)>) -> Answer {
    let beside = Beside::read((&path.0, &path.1))?;
    let house = &signed.visitor.house;
    let form = Form::new(house)?.with_ids(house, &["photo"])?;
    show(&signed, &form, &beside).await
}

async fn show(signed: &Signed<Member>, form: &Form, beside: &Beside) -> Answer {
    let photos = photos::list(&signed.visitor.house, signed.caller, beside.of).await?;
    let page = signed.visitor.form_page("Photos", form);
    let farm = signed.caller.farm;
    signed.visitor.show_form(form, &PhotosPage { page, form, farm, beside, photos })
}

#[post("/{kind:offers|holds|claims}/{id}/photos")]
async fn put(
    signed: Signed<Grower>,
    request: HttpRequest,
    path: Path<(String, String)>,
    body: Multipart,
) -> Answer {
    let beside = Beside::read((&path.0, &path.1))?;
    let (mut form, file) = posted(&request, body).await?;
    let (key, photo) = (form.key()?, PhotoId::new(form.id("photo")?));
    let house = signed.visitor.house.clone();
    if file.is_empty() {
        form.wrong(PICTURE, "no picture was chosen");
    } else if let Err(error) =
        photos::put(&house, signed.caller, &key, (photo, beside.of), file).await
    {
        form.take(error)?;
    } else {
        return Ok(see_other(&format!("{}/photos?done=photo", beside.address)));
    }
    let Grower { person, network, farm } = signed.caller;
    let caller = Member { person, network, farm: Some(farm) };
    show(&Signed { visitor: signed.visitor, caller }, &form, &beside).await
}

/// The fields of a form with a file, and the file. It must carry our token.
async fn posted(
    request: &HttpRequest,
    mut body: Multipart,
) -> Result<(Form, Vec<u8>), super::error::PageError> {
    let unread = || ServerError::refused(ProblemCode::BadRequest, "The form can't be read.");
    let too_large =
        || ServerError::refused(ProblemCode::TooLarge, "The picture is larger than is taken here.");
    let (mut typed, mut file) = (BTreeMap::new(), Vec::new());
    for _ in 0..MOST_FIELDS {
        let Some(mut field) = body.try_next().await.map_err(|_| unread())? else { break };
        let name = field.name().unwrap_or_default().to_owned();
        let limit = if name == PICTURE { PICTURE_LIMIT } else { FIELD_LIMIT };
        let bytes = field.bytes(limit).await.map_err(|_| too_large())?.map_err(|_| unread())?;
        if name == PICTURE {
            file = bytes.to_vec();
        } else {
            typed.insert(name, String::from_utf8(bytes.to_vec()).map_err(|_| unread())?);
        }
    }
    let form = Form::of(typed);
    check_form(request, form.value("form_token"))?;
    Ok((form, file))
}

#[get("/photos/{photo}")]
async fn picture(
    signed: Signed<Member>,
    id: Path<String>,
) -> Result<HttpResponse, super::error::PageError> {
    let id: PhotoId = id.parse().map_err(|_| ServerError::not_found())?;
    Ok(jpeg(photos::picture(&signed.visitor.house, signed.caller, id).await?))
}

#[post("/{kind:offers|holds}/{id}/photos/{photo}/remove")]
async fn remove(
    signed: Signed<Grower>,
    path: Path<(String, String, String)>,
    _posted: Posted,
) -> Answer {
    let beside = Beside::read((&path.0, &path.1))?;
    let id: PhotoId = path.2.parse().map_err(|_| ServerError::not_found())?;
    let key = key_once("remove-photo", id)?;
    photos::remove(&signed.visitor.house, signed.caller, &key, id).await?;
    Ok(see_other(&format!("{}/photos?done=photo-removed", beside.address)))
}
