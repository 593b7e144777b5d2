//! A browser without script: keeps cookies, follows 303, sends the forms that a page shows.

use std::collections::BTreeMap;

use actix_web::http::{Method, StatusCode};

use crate::yard::{Answer, Call, PASSWORD, Yard};

/// Somebody's browser.
#[derive(Clone, Default)]
pub(crate) struct Browser {
    pub(crate) cookies: BTreeMap<String, String>,
}

/// A page as shown.
#[derive(Debug, Clone)]
pub(crate) struct Shown {
    pub(crate) address: String,
    pub(crate) status: StatusCode,
    pub(crate) html: String,
    pub(crate) answer: Answer,
}

/// A form on a page, filled in as it stands there.
#[derive(Debug, Clone)]
pub(crate) struct FormShown {
    pub(crate) method: Method,
    pub(crate) action: String,
    pub(crate) fields: Vec<(String, String)>,
}

impl Shown {
    /// The form with that action.
    pub(crate) fn form(&self, action: &str) -> FormShown {
        self.forms()
            .into_iter()
            .find(|form| form.action == action)
            .unwrap_or_else(|| panic!("no form for {action} on {}:\n{}", self.address, self.html))
    }

    /// All forms of the page.
    pub(crate) fn forms(&self) -> Vec<FormShown> {
        self.html.split("<form ").skip(1).map(read_form).collect()
    }

    /// The action of the first form whose action ends so.
    pub(crate) fn link_of_form(&self, end: &str) -> String {
        let found = self.forms().into_iter().find(|form| form.action.ends_with(end));
        found.unwrap_or_else(|| panic!("no form to {end} on {}", self.address)).action
    }

    /// The first link whose address begins so.
    pub(crate) fn link(&self, start: &str) -> String {
        let found = self.html.split("href=\"").skip(1).find_map(|rest| {
            let address = plain(rest.split('"').next()?);
            address.starts_with(start).then_some(address)
        });
        found.unwrap_or_else(|| panic!("no link to {start} on {}:\n{}", self.address, self.html))
    }

    /// The page's title.
    pub(crate) fn title(&self) -> String {
        plain(between(&self.html, "<title>", "</title>").unwrap_or_default())
    }

    /// Whether the page says so, whatever the marks between the words.
    pub(crate) fn says(&self, words: &str) -> bool {
        self.text().contains(words)
    }

    /// The page's words without marks.
    pub(crate) fn text(&self) -> String {
        let mut text = String::new();
        for part in self.html.split('<') {
            text.push(' ');
            text.push_str(part.split_once('>').map_or(part, |(_, words)| words));
        }
        plain(&text).split_whitespace().collect::<Vec<_>>().join(" ")
    }

    /// Fails with the page's words unless it says so.
    pub(crate) fn must_say(&self, words: &str) -> &Self {
        assert!(self.says(words), "{words:?} is not on {}:\n{}", self.address, self.text());
        self
    }
}

impl Browser {
    /// A browser in which somebody of the yard has signed in.
    pub(crate) async fn signed_in(yard: &Yard, login: &str) -> Self {
        let mut browser = Self::default();
        let page = browser.open(yard, "/sign-in").await;
        let typed = [("login", login), ("password", PASSWORD)];
        browser.send(yard, &page, "/sign-in", &typed).await;
        browser
    }

    /// Opens an address and follows where it leads.
    pub(crate) async fn open(&mut self, yard: &Yard, address: &str) -> Shown {
        self.go(yard, Method::GET, address.to_owned(), String::new()).await
    }

    /// Fills in a page's form and sends it.
    pub(crate) async fn send(
        &mut self,
        yard: &Yard,
        page: &Shown,
        action: &str,
        typed: &[(&str, &str)],
    ) -> Shown {
        self.send_form(yard, page.form(action), typed).await
    }

    /// Fills in a form and sends it.
    pub(crate) async fn send_form(
        &mut self,
        yard: &Yard,
        form: FormShown,
        typed: &[(&str, &str)],
    ) -> Shown {
        let mut fields: BTreeMap<String, String> = form.fields.into_iter().collect();
        for (name, value) in typed {
            assert!(fields.contains_key(*name), "no field {name} in {}", form.action);
            fields.insert((*name).to_owned(), (*value).to_owned());
        }
        let pairs: Vec<String> =
            fields.iter().map(|(name, value)| format!("{name}={}", encoded(value))).collect();
        let (body, address) = match form.method {
            Method::GET => (String::new(), format!("{}?{}", form.action, pairs.join("&"))),
            _ => (pairs.join("&"), form.action),
        };
        self.go(yard, form.method, address, body).await
    }

    async fn go(
        &mut self,
        yard: &Yard,
        mut method: Method,
        mut address: String,
        mut body: String,
    ) -> Shown {
        for _ in 0..5 {
            let answer = self.ask(yard, &method, &address, &body).await;
            let Some(next) = answer.header("location") else {
                let (status, html) = (answer.status, answer.text());
                return Shown { address, status, html, answer };
            };
            assert_eq!(answer.status, StatusCode::SEE_OTHER, "{address}");
            (method, address, body) = (Method::GET, next.to_owned(), String::new());
        }
        panic!("{address} leads round in a ring");
    }

    /// One request, without following.
    pub(crate) async fn ask(
        &mut self,
        yard: &Yard,
        method: &Method,
        address: &str,
        body: &str,
    ) -> Answer {
        let cookies: Vec<String> =
            self.cookies.iter().map(|(name, value)| format!("{name}={value}")).collect();
        let mut call = Call::new(method.clone(), address).header("cookie", &cookies.join("; "));
        if method == Method::POST {
            call = call.raw("application/x-www-form-urlencoded", body.to_owned());
        }
        let answer = yard.send(call).await;
        for (name, value) in &answer.headers {
            if name == "set-cookie" {
                self.keep(value);
            }
        }
        answer
    }

    fn keep(&mut self, cookie: &str) {
        let (pair, rest) = cookie.split_once(';').unwrap_or((cookie, ""));
        let (name, value) = pair.split_once('=').unwrap();
        assert!(rest.contains("HttpOnly") && rest.contains("SameSite=Strict"), "{cookie}");
        if rest.contains("Max-Age=0") {
            self.cookies.remove(name);
        } else {
            self.cookies.insert(name.to_owned(), value.to_owned());
        }
    }
}

fn read_form(html: &str) -> FormShown {
    let html = html.split("</form>").next().unwrap();
    let (head, inside) = html.split_once('>').unwrap();
    let method = if attribute(head, "method") == "post" { Method::POST } else { Method::GET };
    let mut fields = Vec::new();
    for tag in inside.split("<input ").skip(1) {
        let tag = tag.split('>').next().unwrap();
        let is_choice = tag.contains("type=\"radio\"") || tag.contains("type=\"checkbox\"");
        let is_left_out = is_choice && !tag.contains(" checked");
        if !is_left_out {
            fields.push((attribute(tag, "name"), attribute(tag, "value")));
        } else if !fields.iter().any(|(name, _)| *name == attribute(tag, "name")) {
            // So that a choice of which none is taken yet can be filled in.
            fields.push((attribute(tag, "name"), String::new()));
        }
    }
    for tag in inside.split("<textarea ").skip(1) {
        let (tag, rest) = tag.split_once('>').unwrap();
        let text = rest.split("</textarea>").next().unwrap();
        fields.push((attribute(tag, "name"), plain(text)));
    }
    FormShown { method, action: attribute(head, "action"), fields }
}

fn attribute(tag: &str, name: &str) -> String {
    let start = format!("{name}=\"");
    let padded = format!(" {tag}");
    let found = padded.split(&format!(" {start}")).nth(1).and_then(|rest| rest.split('"').next());
    plain(found.unwrap_or_default())
}

fn between<'a>(text: &'a str, from: &str, to: &str) -> Option<&'a str> {
    text.split_once(from)?.1.split_once(to).map(|(inside, _)| inside)
}

fn plain(text: &str) -> String {
    text.replace("&#34;", "\"")
        .replace("&#39;", "'")
        .replace("&#60;", "<")
        .replace("&#62;", ">")
        .replace("&amp;", "&")
        .replace("&#38;", "&")
}

fn encoded(text: &str) -> String {
    text.bytes()
        .map(|byte| match byte {
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'_' | b'.' => {
                char::from(byte).to_string()
            }
            other => format!("%{other:02X}"),
        })
        .collect()
}
