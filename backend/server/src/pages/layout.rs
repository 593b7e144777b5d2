//! What every page shares: title, ways to go, the answer's headers.
//!
//! What may not enter: what a page is about.

use actix_web::HttpResponse;
use actix_web::http::StatusCode;
use askama::Template;
use spareloop_api::people::Role;

use super::error::PageError;
use super::form::Form;
use super::session::Visitor;
use super::style;
use crate::error::ServerError;

/// What handlers of pages answer.
pub(super) type Answer = Result<HttpResponse, PageError>;

/// The part of a page that all share.
#[derive(Debug)]
pub(super) struct Page {
    /// The page's title, also its one top heading.
    pub(super) title: String,
    /// How it is told before the title that something went wrong.
    pub(super) before_title: &'static str,
    /// Whom the page is for, if they are signed in.
    pub(super) who: Option<String>,
    /// Where they can go.
    pub(super) ways: Vec<Way>,
    /// The token of its forms.
    pub(super) form_token: String,
    /// What was just done.
    pub(super) done: Option<&'static str>,
    /// The stylesheet's address.
    pub(super) style: &'static str,
}

/// One way to go.
#[derive(Debug)]
pub(super) struct Way {
    /// Where.
    pub(super) address: &'static str,
    /// In words.
    pub(super) words: &'static str,
    /// The attribute that says whether this is the page shown.
    pub(super) current: &'static str,
}

impl Page {
    /// A page for nobody in particular.
    pub(super) fn bare(title: &str) -> Self {
        Self {
            title: title.to_owned(),
            before_title: "",
            who: None,
            ways: Vec::new(),
            form_token: String::new(),
            done: None,
            style: style::address(),
        }
    }

    /// The title says first that something is wrong.
    pub(super) fn gone_wrong(mut self) -> Self {
        self.before_title = "Error: ";
        self
    }
}

impl Visitor {
    /// A page for this visitor.
    pub(super) fn page(&self, title: &str) -> Page {
        let mut page = Page::bare(title);
        page.form_token = self.form_token();
        page.done = done(&self.asked);
        if let Some(signed_in) = &self.signed_in {
            let me = &signed_in.me;
            let farm = me.farm.as_ref().map(|farm| farm.name.clone());
            let network = me.network.as_ref().map(|network| network.name.clone());
            let names: Vec<String> =
                [Some(me.display_name.clone()), farm, network].into_iter().flatten().collect();
            page.who = Some(names.join(", "));
            page.ways = ways(me.role, me.farm.is_some(), me.network.is_some(), &self.asked);
        }
        page
    }

    /// A page with a form: what is wrong with it is told by its title and status too.
    pub(super) fn form_page(&self, title: &str, form: &Form) -> Page {
        let page = self.page(title);
        if form.is_wrong() { page.gone_wrong() } else { page }
    }

    /// Shows a page.
    pub(super) fn show(&self, template: &impl Template) -> Answer {
        self.show_as(StatusCode::OK, template)
    }

    /// Shows a page with a form.
    pub(super) fn show_form(&self, form: &Form, template: &impl Template) -> Answer {
        self.show_as(form.status(), template)
    }

    fn show_as(&self, status: StatusCode, template: &impl Template) -> Answer {
        let html = template
            .render()
            .map_err(|error| ServerError::broken(format!("a page can't be written: {error}")))?;
        let mut response = HttpResponse::build(status);
        if let Some(cookie) = self.new_cookie() {
            response.cookie(cookie);
        }
        Ok(response.content_type("text/html; charset=utf-8").body(html))
    }
}

/// Leads on after a POST.
pub(super) fn see_other(address: &str) -> HttpResponse {
    HttpResponse::SeeOther().insert_header((actix_web::http::header::LOCATION, address)).finish()
}

const FOR_FARMS: [(&str, &str); 1] = [("/", "Stock")];
const FOR_MEMBERS: [(&str, &str); 4] = [
    ("/sheet", "Spare and short"),
    ("/values", "Values"),
    ("/rounds", "Rounds"),
    ("/movement", "Between regions"),
];
const FOR_EXCHANGE: [(&str, &str); 2] = [("/matches", "Matches"), ("/holds", "Holds")];
const OWED: [(&str, &str); 2] = [("/owed", "Owed book"), ("/claims", "Claims")];
const FOR_TELLING: [(&str, &str); 1] = [("/channels", "Channels")];
const FOR_COORDINATORS: [(&str, &str); 1] = [("/network", "Network")];

fn ways(role: Role, has_farm: bool, has_network: bool, asked: &str) -> Vec<Way> {
    let path = asked.split('?').next().unwrap_or(asked);
    let mut known: Vec<(&'static str, &'static str)> = Vec::new();
    if has_farm {
        known.extend(FOR_FARMS);
    }
    if has_network {
        known.extend(FOR_MEMBERS);
    }
    if has_farm {
        known.extend(FOR_EXCHANGE);
    }
    if has_network {
        known.extend(OWED);
    }
    if has_farm {
        known.extend(FOR_TELLING);
    }
    if role == Role::Coordinator {
        known.extend(FOR_COORDINATORS);
    }
    known
        .into_iter()
        .map(|(address, words)| {
            let current = if path == address { " aria-current=\"page\"" } else { "" };
            Way { address, words, current }
        })
        .collect()
}

/// What was just done, by the mark that [`see_other`] left in the address.
fn done(asked: &str) -> Option<&'static str> {
    let (_, query) = asked.split_once('?')?;
    let mark = query.split('&').find_map(|part| part.strip_prefix("done="))?;
    DONE.iter().find(|(known, _)| *known == mark).map(|(_, words)| *words)
}

const DONE: [(&str, &str); 45] = [
    ("signed-out", "You are signed out."),
    ("set-up", "Your sign-in is made. Now name your network."),
    ("network", "The network is made. Now invite the farms."),
    ("withdrawn-invitation", "The invitation is withdrawn; its code no longer works."),
    ("joined", "Your farm has joined the network."),
    ("offered", "Offered: the network can see it now."),
    ("withdrawn-offer", "The offer is withdrawn. Holds on it stand."),
    ("wanted", "The network can see now what you lack."),
    ("withdrawn-want", "The want is withdrawn."),
    ("asked", "Asked for: it is held for you until the time shown."),
    ("waits", "You are in line: what comes free is held for you, and you are told."),
    ("left", "You have left the line."),
    ("agreed", "Agreed. Both farms can see it."),
    ("released", "Released. Both farms can see it."),
    ("handed-over", "Handed over. The stock book has it as sent."),
    ("channel-made", "The channel is made."),
    ("channel-asked", "A letter asks at that address whether it is wanted there."),
    ("channel-changed", "Changed."),
    ("channel-ended", "The channel is ended; nothing more goes that way."),
    ("round", "The round is made. It is worked on by itself; look again in a while."),
    ("timetable", "The timetable is set."),
    ("accepted", "Accepted. The other farms can see it."),
    ("declined", "Declined. No reason is asked for."),
    ("settled", "Settled. Every farm was told."),
    ("limit", "The limit is set, and the farm was told."),
    ("parcel-proposed", "Proposed. The other farm is asked."),
    ("parcel-agreed", "Agreed: it can be packed."),
    ("parcel-packed", "Packed. Handing it over sends it."),
    ("parcel-paused", "Noted, and the other farm was told."),
    ("claimed", "Claimed. The other farm is told and has 14 days to answer."),
    ("claim-answered", "Noted. The other farm was told."),
    ("claim-decided", "Decided, on record. Both farms were told."),
    ("paid", "Noted. It is on record once the other farm confirms it."),
    ("payment", "Noted. The other farm was told."),
    ("on-paper", "Noted. You can act for the farm now."),
    ("acting", "You act for this farm now, with its consent. Sign out to stop."),
    ("consent-ended", "Noted. Nobody acts for that farm any more."),
    ("question", "Answered. Whoever holds of that lot was told."),
    ("cut-rule", "The rule is set, and every farm was told."),
    ("region", "Noted, and the farm was told."),
    ("photo", "The photo is there."),
    ("photo-removed", "The photo is removed."),
    ("whereabouts", "Noted. Other farms are told distances only."),
    ("movement-rule", "The rule is set. Matches, holds and rounds go by it from now on."),
    ("received", "Received. Both stock books and the owed book are right now."),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_our_own_words_are_said_of_what_was_done() {
        assert_eq!(done("/holds/1?done=agreed"), Some("Agreed. Both farms can see it."));
        assert_eq!(done("/holds/1?done=<b>paid</b>"), None);
    }

    #[test]
    fn the_page_shown_is_marked_among_the_ways_to_go() {
        let ways = ways(Role::Grower, true, true, "/sheet?after=1");
        let current: Vec<_> = ways.iter().filter(|way| !way.current.is_empty()).collect();
        assert_eq!(current.len(), 1);
        assert_eq!(current[0].address, "/sheet");
    }
}
