//! How what was agreed travels: terms, packing, pauses.

use actix_web::web::{Path, ServiceConfig};
use actix_web::{get, post};
use askama::Template;
use spareloop_api::exchange::HoldView;
use spareloop_api::parcels::{PauseParcel, ProposeParcel};
use spareloop_domain::exchange::parcel::{FrostBorneBy, Post};
use spareloop_domain::exchange::{HoldState, ParcelState};
use spareloop_domain::words::{Day, FarmId};

use super::field::Choice;
use super::form::{Form, Posted};
use super::holds::find;
use super::layout::{Answer, Page, see_other};
use super::say;
use super::session::Signed;
use crate::acts::parcels;
use crate::auth::caller::Grower;

pub(super) fn configure(config: &mut ServiceConfig) {
    config
        .service(open)
        .service(propose)
        .service(agree)
        .service(pack)
        .service(ask_pause)
        .service(pause);
}

#[derive(Template)]
#[template(path = "parcel.html")]
struct ParcelPage<'a> {
    page: Page,
    form: &'a Form,
    hold: &'a HoldView,
    farm: FarmId,
    posts: Vec<Choice>,
    frosts: Vec<Choice>,
}

#[derive(Template)]
#[template(path = "parcel_pause.html")]
struct PausePage<'a> {
    page: Page,
    form: &'a Form,
    hold: &'a HoldView,
}

impl ParcelPage<'_> {
    fn state(&self) -> Option<ParcelState> {
        self.hold.parcel.as_ref()?.state.parse().ok()
    }

    /// Whether terms can still be proposed.
    fn may_propose(&self) -> bool {
        let agreed = self.hold.state.parse() == Ok(HoldState::Agreed);
        let unpacked = [None, Some(ParcelState::Proposed), Some(ParcelState::Agreed)];
        agreed && unpacked.contains(&self.state())
    }

    /// Whether the visitor's farm is asked to agree.
    fn may_agree(&self) -> bool {
        let by = self.hold.parcel.as_ref().map(|parcel| parcel.terms_by);
        self.state() == Some(ParcelState::Proposed) && by != Some(self.farm)
    }

    fn may_pack(&self) -> bool {
        self.state() == Some(ParcelState::Agreed) && self.hold.giver.id == self.farm
    }

    fn may_pause(&self) -> bool {
        self.hold.parcel.is_some() && self.hold.state.parse() == Ok(HoldState::Agreed)
    }
}

#[get("/holds/{hold}/parcel")]
async fn open(signed: Signed<Grower>, id: Path<String>) -> Answer {
    let hold = find(&signed, &id).await?;
    let form = Form::new(&signed.visitor.house)?;
    let form = match &hold.parcel {
        Some(parcel) => {
            let form = form.or("post", parcel.post.code()).or("frost", parcel.frost.code());
            match parcel.not_before {
                Some(day) => form.or("not_before", day),
                None => form,
            }
        }
        None => form.or("post", Post::Taker.code()).or("frost", FrostBorneBy::Giver.code()),
    };
    show(&signed, &form, &hold)
}

fn show(signed: &Signed<Grower>, form: &Form, hold: &HoldView) -> Answer {
    let posts = Post::ALL.iter().map(|it| Choice::new(it.code(), it)).collect();
    let frosts = vec![
        Choice::new(FrostBorneBy::Giver.code(), "the giver: what came frozen is not owed for"),
        Choice::new(FrostBorneBy::Taker.code(), "the taker: what was given is owed for"),
    ];
    let page = signed.visitor.form_page("How it travels", form);
    let farm = signed.caller.farm;
    signed.visitor.show_form(form, &ParcelPage { page, form, hold, farm, posts, frosts })
}

#[post("/holds/{hold}/parcel")]
async fn propose(signed: Signed<Grower>, id: Path<String>, posted: Posted) -> Answer {
    let hold = find(&signed, &id).await?;
    let mut form = posted.0;
    let key = form.key()?;
    let (terms, not_before) =
        ((form.read("post"), form.read("frost")), form.read_if_any::<Day>("not_before"));
    let ((Some(post), Some(frost)), false) = (terms, form.is_wrong()) else {
        return show(&signed, &form, &hold);
    };
    let (house, request) = (&signed.visitor.house, ProposeParcel { post, frost, not_before });
    match parcels::propose(house, signed.caller, &key, hold.hold, request).await {
        Ok(_) => Ok(see_other(&format!("/holds/{}/parcel?done=parcel-proposed", hold.hold))),
        Err(error) => {
            form.take(error)?;
            show(&signed, &form, &hold)
        }
    }
}

#[post("/holds/{hold}/parcel/agree")]
async fn agree(signed: Signed<Grower>, id: Path<String>, posted: Posted) -> Answer {
    let hold = find(&signed, &id).await?;
    let mut form = posted.0;
    let key = form.key()?;
    match parcels::agree(&signed.visitor.house, signed.caller, &key, hold.hold).await {
        Ok(_) => Ok(see_other(&format!("/holds/{}/parcel?done=parcel-agreed", hold.hold))),
        Err(error) => {
            form.take(error)?;
            show(&signed, &form, &hold)
        }
    }
}

#[post("/holds/{hold}/parcel/pack")]
async fn pack(signed: Signed<Grower>, id: Path<String>, posted: Posted) -> Answer {
    let hold = find(&signed, &id).await?;
    let mut form = posted.0;
    let key = form.key()?;
    match parcels::pack(&signed.visitor.house, signed.caller, &key, hold.hold).await {
        Ok(_) => Ok(see_other(&format!("/holds/{}/parcel?done=parcel-packed", hold.hold))),
        Err(error) => {
            form.take(error)?;
            show(&signed, &form, &hold)
        }
    }
}

#[get("/holds/{hold}/parcel/pause")]
async fn ask_pause(signed: Signed<Grower>, id: Path<String>) -> Answer {
    let hold = find(&signed, &id).await?;
    show_pause(&signed, &Form::new(&signed.visitor.house)?, &hold)
}

#[post("/holds/{hold}/parcel/pause")]
async fn pause(signed: Signed<Grower>, id: Path<String>, posted: Posted) -> Answer {
    let hold = find(&signed, &id).await?;
    let mut form = posted.0;
    let key = form.key()?;
    let until = form.read_if_any::<Day>("paused_until");
    if form.is_wrong() {
        return show_pause(&signed, &form, &hold);
    }
    let request = PauseParcel { until, why: form.value("why").trim().to_owned() };
    match parcels::pause(&signed.visitor.house, signed.caller, &key, hold.hold, request).await {
        Ok(_) => Ok(see_other(&format!("/holds/{}/parcel?done=parcel-paused", hold.hold))),
        Err(error) => {
            form.take(error)?;
            show_pause(&signed, &form, &hold)
        }
    }
}

fn show_pause(signed: &Signed<Grower>, form: &Form, hold: &HoldView) -> Answer {
    let page = signed.visitor.form_page("Pause the parcel", form);
    signed.visitor.show_form(form, &PausePage { page, form, hold })
}
