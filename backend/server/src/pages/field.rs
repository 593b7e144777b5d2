//! The fields of forms: what each is called, what it takes, how it shows what was typed.
//!
//! A field is not named the same in two places, and one name is one field everywhere, so the names
//! stand in one list. What may not enter: reading what was typed ([`super::form`]).

use std::fmt::Display;

use askama::Template;

use super::form::Form;

/// What each field is called, above the field and in the list of mistakes.
const LABELS: [(&str, &str); 61] = [
    ("address", "Address of e-mail"),
    ("amount", "How much"),
    ("answer_hours", "Hours to answer"),
    ("arrival", "How it came"),
    ("claim_answer", "Your answer"),
    ("claim_kind", "What is wrong"),
    ("code", "Code of the invitation"),
    ("condition", "Condition"),
    ("conditions", "Conditions"),
    ("consent_by", "Who consented"),
    ("consent_how", "How"),
    ("consent_on", "On which day"),
    ("count", "How many"),
    ("cut_rule", "Cut first"),
    ("display_name", "What people call you"),
    ("every_days", "Days from one round to the next"),
    ("farm", "Farm"),
    ("farm_name", "Name of the farm"),
    ("for_whom", "Whom it is for"),
    ("frost", "Freezing is borne by"),
    ("from", "From"),
    ("given", "How many you hand over"),
    ("hours", "Hours to hold them"),
    ("instead", "Varieties that would do instead"),
    ("latitude", "Latitude"),
    ("limit", "How much it may be owed, or owe"),
    ("line", "A line to the taker"),
    ("longitude", "Longitude"),
    ("login", "Name to sign in with"),
    ("most_farms", "Most farms in a loop"),
    ("name", "Name of the network"),
    ("needed_by", "Needed by"),
    ("open_to", "For whom"),
    ("not_before", "Not before"),
    ("note", "A line to the giver"),
    ("on", "Day"),
    ("passage", "What the rule does"),
    ("password", "Password"),
    ("paused_until", "Until"),
    ("picture", "Picture"),
    ("place", "Where"),
    ("post", "The post is paid by"),
    ("price", "Price for one unit"),
    ("purpose", "What for"),
    ("received", "How many arrived"),
    ("region", "Region"),
    ("rule_note", "What you tell farms beside it"),
    ("smallest_parcel", "Least I'll send"),
    ("swap_day", "Day of the swap"),
    ("takes", "What is sent there"),
    ("to", "To"),
    ("tolerance", "How far apart parcels may be"),
    ("unit", "What a unit is"),
    ("url", "Address of the webhook"),
    ("variety", "Variety"),
    ("want", "For which want"),
    ("why", "Why"),
    ("yields", "Which yields"),
    ("within_km", "Greatest distance"),
    ("words", "In words"),
    ("worth", "What one is worth"),
];

/// What a field is called.
pub(super) fn label(name: &str) -> &str {
    LABELS.iter().find(|(known, _)| *known == name).map_or(name, |(_, label)| label)
}

// The fields that templates ask a form for, by name and hint.
impl Form {
    /// A field for a line of text.
    pub(super) fn line<'a>(&'a self, name: &'a str, hint: &'a str) -> Field<'a> {
        self.field(name, hint, Kind::Line)
    }

    /// A field for a name to sign in with.
    pub(super) fn login<'a>(&'a self, name: &'a str, hint: &'a str) -> Field<'a> {
        self.field(name, hint, Kind::Login)
    }

    /// A field for a whole number.
    pub(super) fn number<'a>(&'a self, name: &'a str, hint: &'a str) -> Field<'a> {
        self.field(name, hint, Kind::Number)
    }

    /// A field for a number with decimals.
    pub(super) fn decimal<'a>(&'a self, name: &'a str, hint: &'a str) -> Field<'a> {
        self.field(name, hint, Kind::Decimal)
    }

    /// A field for a day.
    pub(super) fn day<'a>(&'a self, name: &'a str, hint: &'a str) -> Field<'a> {
        self.field(name, hint, Kind::Day)
    }

    /// A field for a picture, which a telephone takes there and then.
    pub(super) fn file<'a>(&'a self, name: &'a str, hint: &'a str) -> Field<'a> {
        self.field(name, hint, Kind::File)
    }

    /// A field for several lines.
    pub(super) fn lines<'a>(&'a self, name: &'a str, hint: &'a str) -> Field<'a> {
        self.field(name, hint, Kind::Lines)
    }

    /// A field for a password that is being made.
    pub(super) fn new_password<'a>(&'a self, name: &'a str) -> Field<'a> {
        const HINT: &str = "15 characters or more: a sentence that nobody else would think of.";
        self.field(name, HINT, Kind::NewPassword)
    }

    /// A field for a password that is known.
    pub(super) fn password<'a>(&'a self, name: &'a str) -> Field<'a> {
        self.field(name, "", Kind::Password)
    }

    fn field<'a>(&'a self, name: &'a str, hint: &'a str, kind: Kind) -> Field<'a> {
        let value = if kind.is_secret() { "" } else { self.value(name) };
        Field { name, label: label(name), hint, value, kind, mistakes: self.mistakes_of(name) }
    }

    /// A field for one of a few choices.
    pub(super) fn choice<'a>(&'a self, name: &'a str, choices: &'a [Choice]) -> ChoiceField<'a> {
        ChoiceField {
            name,
            label: label(name),
            choices,
            taken: self.value(name),
            mistakes: self.mistakes_of(name),
        }
    }

    fn mistakes_of(&self, name: &str) -> Vec<&str> {
        self.mistakes
            .iter()
            .filter(|mistake| mistake.field == name)
            .map(|mistake| mistake.text.as_str())
            .collect()
    }
}

/// What a field takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Line,
    Login,
    Number,
    Decimal,
    Day,
    Lines,
    File,
    NewPassword,
    Password,
}

impl Kind {
    const fn is_secret(self) -> bool {
        matches!(self, Self::NewPassword | Self::Password)
    }

    const fn attributes(self) -> &'static str {
        match self {
            Self::Line | Self::Lines => "type=\"text\" autocomplete=\"off\"",
            Self::Login => {
                "type=\"text\" autocomplete=\"username\" autocapitalize=\"none\" spellcheck=\"false\""
            }
            // Not type="number": its wheel and its silence about "4o" lose what was meant.
            Self::Number => {
                "type=\"text\" inputmode=\"numeric\" autocomplete=\"off\" class=\"short\""
            }
            Self::Decimal => {
                "type=\"text\" inputmode=\"decimal\" autocomplete=\"off\" class=\"short\""
            }
            Self::Day => "type=\"date\" class=\"short\"",
            Self::File => "type=\"file\" accept=\"image/jpeg,image/png\"",
            Self::NewPassword => "type=\"password\" autocomplete=\"new-password\"",
            Self::Password => "type=\"password\" autocomplete=\"current-password\"",
        }
    }
}

/// A field with its label, hint and mistakes.
#[derive(Debug, Template)]
#[template(path = "field.html")]
pub(super) struct Field<'a> {
    name: &'a str,
    label: &'a str,
    hint: &'a str,
    value: &'a str,
    kind: Kind,
    mistakes: Vec<&'a str>,
}

/// One of a few choices.
#[derive(Debug, Clone)]
pub(super) struct Choice {
    /// What is sent.
    pub(super) value: String,
    /// In words.
    pub(super) words: String,
}

impl Choice {
    /// A choice.
    pub(super) fn new(value: impl Display, words: impl Display) -> Self {
        Self { value: value.to_string(), words: words.to_string() }
    }
}

/// A field of choices.
#[derive(Debug, Template)]
#[template(path = "choices.html")]
pub(super) struct ChoiceField<'a> {
    name: &'a str,
    label: &'a str,
    choices: &'a [Choice],
    taken: &'a str,
    mistakes: Vec<&'a str>,
}

impl Field<'_> {
    /// Says to a screen reader which hint and mistakes belong to the field.
    fn described(&self) -> String {
        let mut ids = Vec::new();
        if !self.hint.is_empty() {
            ids.push(format!("{}-hint", self.name));
        }
        ids.extend((1..=self.mistakes.len()).map(|n| format!("{}-mistake-{n}", self.name)));
        let wrong = if self.mistakes.is_empty() { "" } else { " aria-invalid=\"true\"" };
        if ids.is_empty() {
            return wrong.to_owned();
        }
        format!(" aria-describedby=\"{}\"{wrong}", ids.join(" "))
    }
}

impl askama::filters::HtmlSafe for Field<'_> {}
impl askama::filters::HtmlSafe for ChoiceField<'_> {}
