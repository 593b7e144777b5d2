//! The pages: everything a grower and a coordinator must do, by browser alone and without script.
//!
//! ```text
//! session      the cookie, who it belongs to, the token in every form
//! form field   what was typed, what is wrong with it, and fields that show both
//! layout       what every page shares; error: refusals as a page; once: what is shown once
//! say          numbers, days and states in the words of the trade
//! set_up sign_in join network on_paper    people
//! home sheet offers wants matches         stock, spare and short
//! holds ask wait agree parcels hand_over receipt claims owed  from asking to the owed book
//! payments     money that passed, as both say
//! questions    own need or a provisional promise; by which rule holds are cut
//! walk_ups     brought to a swap day, handed over on the spot
//! rounds round_make proposal swap_day limit   rounds, answers, lists to print, limits
//! movement     regions, what is asked for between them; required: kinds of statement to tick
//! distances    where the farm roughly is, and how far the others are
//! photos       beside an offer, a hold or a claim
//! values       what a unit is worth, and why
//! channels letters                        how the farm is told, and what links in letters lead to
//! style        our one stylesheet
//! ```
//!
//! Each page reads what was typed, calls the same function of [`crate::acts`] as the interface
//! does, and answers a POST with 303; what binds is shown to be checked first. What may not enter:
//! rules, SQL, script, anything from another server.

mod agree;
mod ask;
mod channels;
mod claims;
mod distances;
mod error;
mod field;
mod form;
mod hand_over;
mod holds;
mod home;
mod join;
mod layout;
mod letters;
mod limit;
mod matches;
mod movement;
mod network;
mod offers;
mod on_paper;
mod once;
mod owed;
mod parcels;
mod payments;
mod photos;
mod proposal;
mod questions;
mod receipt;
mod required;
mod round_make;
mod rounds;
mod say;
mod session;
mod set_up;
mod sheet;
mod sign_in;
mod style;
mod swap_day;
mod values;
mod wait;
mod walk_ups;
mod wants;

use actix_web::web::ServiceConfig;

pub use error::nothing_here;

/// Every page.
pub fn configure(config: &mut ServiceConfig) {
    style::configure(config);
    set_up::configure(config);
    sign_in::configure(config);
    join::configure(config);
    network::configure(config);
    on_paper::configure(config);
    home::configure(config);
    sheet::configure(config);
    offers::configure(config);
    ask::configure(config);
    wait::configure(config);
    wants::configure(config);
    matches::configure(config);
    holds::configure(config);
    agree::configure(config);
    hand_over::configure(config);
    receipt::configure(config);
    parcels::configure(config);
    payments::configure(config);
    claims::configure(config);
    questions::configure(config);
    owed::configure(config);
    values::configure(config);
    channels::configure(config);
    letters::configure(config);
    round_make::configure(config);
    rounds::configure(config);
    proposal::configure(config);
    swap_day::configure(config);
    walk_ups::configure(config);
    limit::configure(config);
    movement::configure(config);
    distances::configure(config);
    photos::configure(config);
}
