//! A farm's days as an iCalendar file (RFC 5545).
//!
//! The same days give the same bytes, so that programs that ask in vain are told so. What may not
//! enter: which days there are.

use chrono::{DateTime, NaiveTime, TimeDelta, Utc};
use icalendar::{Calendar, Component, Event, EventLike};
use spareloop_domain::telling::{Appointment, When};
use spareloop_domain::words::Day;
use spareloop_store::channels::Fetched;

/// Who wrote it (RFC 5545, 3.7.3).
const WRITER: &str = "-//spareloop//farm days//EN";

/// Writes the calendar as of `today`.
pub fn write(fetched: &Fetched, days: &[Appointment], url: &str, today: Day) -> String {
    // A day's calendar is as of its beginning, whoever asks when.
    let stamp = today.date().and_time(NaiveTime::MIN).and_utc();
    let name = plain(&format!("{}: stored stock", fetched.farm.name));
    let mut calendar = Calendar::empty();
    calendar
        .append_property(("VERSION", "2.0"))
        .append_property(("PRODID", WRITER))
        .append_property(("CALSCALE", "GREGORIAN"))
        // What programs show; the library escapes it, unlike NAME (RFC 7986).
        .append_property(("X-WR-CALNAME", name.as_str()));
    for one in days {
        calendar.push(event(fetched, one, url, stamp));
    }
    calendar.to_string()
}

fn event(fetched: &Fetched, one: &Appointment, url: &str, stamp: DateTime<Utc>) -> Event {
    let mut event = Event::new();
    event
        .uid(&format!("{}.{}", one.key, fetched.farm.id))
        .timestamp(stamp)
        .summary(&plain(&one.title))
        .url(&format!("{url}/"));
    if !one.about.is_empty() {
        event.description(&plain(&one.about));
    }
    match one.when {
        When::Day(day) => {
            event.starts(day.date());
            // A whole day ends on the next, which doesn't count (RFC 5545, 3.6.1).
            event.ends(day.date() + TimeDelta::days(1));
        }
        When::Moment(at) => {
            event.starts(at);
        }
    }
    event.done()
}

/// Line ends as one character, which the library escapes, and no other control characters: RFC 5545,
/// 3.3.11 allows none in a text.
fn plain(text: &str) -> String {
    text.replace("\r\n", "\n")
        .chars()
        .filter(|letter| !letter.is_control() || *letter == '\n')
        .collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use ical::parser::ical::component::{IcalCalendar, IcalEvent};
    use spareloop_domain::words::{ChannelId, FarmId};
    use spareloop_store::Named;
    use uuid::Uuid;

    use super::*;

    fn written(days: &[Appointment]) -> String {
        let fetched = Fetched {
            channel: ChannelId::new(Uuid::from_u128(1)),
            made_at: "2027-01-01T00:00:00Z".parse().unwrap(),
            farm: Named { id: FarmId::new(Uuid::from_u128(2)), name: "Ash, Oak; Elm".into() },
            network: "Invented valley".into(),
        };
        write(&fetched, days, "https://loop.example", "2027-02-01".parse().unwrap())
    }

    fn on_a_day(title: &str, about: &str) -> Appointment {
        let when = When::Day("2027-02-03".parse().unwrap());
        Appointment { key: "looks-1".into(), when, title: title.into(), about: about.into() }
    }

    /// As another program reads it: the `ical` crate.
    fn read(text: &str) -> IcalCalendar {
        let mut found = ical::IcalParser::new(text.as_bytes());
        let calendar = found.next().expect("a calendar").expect("one that can be read");
        assert!(found.next().is_none());
        calendar
    }

    fn value<'a>(event: &'a IcalEvent, name: &str) -> &'a str {
        let found = event.properties.iter().find(|property| property.name == name);
        found.and_then(|property| property.value.as_deref()).unwrap_or_default()
    }

    #[test]
    fn a_day_and_a_moment_are_read_by_another_program() {
        let at = When::Moment("2027-02-04T17:30:00Z".parse().unwrap());
        let hold = Appointment {
            key: "hold-7".into(),
            when: at,
            title: "Hold lapses".into(),
            about: String::new(),
        };
        let calendar = read(&written(&[on_a_day("Look at 2 lots", "one"), hold]));
        assert_eq!(calendar.events.len(), 2);
        let [day, moment] = [&calendar.events[0], &calendar.events[1]];
        assert_eq!((value(day, "DTSTART"), value(day, "DTEND")), ("20270203", "20270204"));
        assert_eq!(value(moment, "DTSTART"), "20270204T173000Z");
        assert_eq!(value(day, "SUMMARY"), "Look at 2 lots");
        assert_eq!(value(day, "UID"), "looks-1.00000000-0000-0000-0000-000000000002");
        assert_eq!(value(moment, "DTSTAMP"), "20270201T000000Z");
    }

    // RFC 5545: 3.1 (lines of 75 octets, folded by CRLF and a space), 3.3.11 (escapes of TEXT),
    // 3.4 and 3.6 (what a calendar must have).
    #[test]
    fn long_lines_commas_and_line_ends_are_written_as_rfc_5545_wants() {
        let about = "cellar / shelf 2; tote 4: 7KQ4M 'Ember Lantern', 12 divisions\n".repeat(4);
        let text = written(&[on_a_day("Look, and look again; twice \\ thrice ä", &about)]);
        assert!(text.ends_with("END:VCALENDAR\r\n"));
        for line in text.split("\r\n") {
            assert!(line.len() <= 75 && !line.contains('\n') && !line.contains('\r'), "{line:?}");
        }
        let unfolded = text.replace("\r\n ", "");
        assert!(unfolded.contains("SUMMARY:Look\\, and look again\\; twice \\\\ thrice ä\r\n"));
        assert!(
            unfolded.contains("shelf 2\\; tote 4: 7KQ4M 'Ember Lantern'\\, 12 divisions\\ncellar")
        );
        for needed in
            ["\r\nVERSION:2.0\r\n", "\r\nPRODID:-//spareloop//", "\r\nUID:", "\r\nDTSTAMP:"]
        {
            assert!(text.contains(needed), "{needed:?} in {text}");
        }
    }

    #[test]
    fn a_text_cant_write_properties_of_its_own() {
        let hostile = "x\r\nATTACH:https://elsewhere.example/\r\nEND:VEVENT";
        let text = written(&[on_a_day(hostile, hostile)]);
        let calendar = read(&text);
        assert_eq!(calendar.events.len(), 1);
        assert_eq!(value(&calendar.events[0], "ATTACH"), "");
        assert!(!text.replace("\r\n ", "").contains("\r\nATTACH"), "{text}");
    }

    #[test]
    fn the_same_days_give_the_same_bytes() {
        let days = [on_a_day("Look at 2 lots", "one")];
        assert_eq!(written(&days), written(&days));
    }
}
