//! Channels and their outbox, on both databases: written with the act, taken on by one, brought at
//! least once, and never in an act's way.

use std::collections::BTreeSet;
use std::sync::Barrier;

use crate::common::{Farm, House, farm, later, lot, network, now, offer};
use chrono::{DateTime, TimeDelta, Utc};
use spareloop_domain::telling::{Chance, ChannelKind, ChannelState, GIVE_UP_AFTER, Takes};
use spareloop_domain::words::{ChannelId, DeliveryId};
use spareloop_store::channels::{
    self, Addition, Bringing, Channel, Dealt, EndedWhy, Failure, MOST_CHANNELS, Standing, Taken,
};
use spareloop_store::{Conflict, Missing, Refused, SecretHash, StoreError, holds, messages};

const BOTH: [ChannelKind; 2] = [ChannelKind::Mail, ChannelKind::Webhook];
const WEBHOOKS: [ChannelKind; 2] = [ChannelKind::Webhook, ChannelKind::Webhook];
const EVEN: Chance = Chance(u16::MAX);

fn add(house: &House, farm: &Farm, addition: &Addition, at: DateTime<Utc>) -> Channel {
    house.write(|tx| channels::make(tx, farm.id, ChannelId::new(crate::common::id()), addition, at))
}

fn webhook(house: &House, farm: &Farm) -> Channel {
    let url = format!("https://{}.example/told", crate::common::id());
    add(house, farm, &Addition::Webhook(url, crate::common::id()), now())
}

fn mail_to(address: &str, takes: Takes) -> Addition {
    Addition::Mail(address.parse().unwrap(), takes)
}

/// A channel of e-mail that is confirmed, with nothing in the outbox.
fn mail(house: &House, farm: &Farm, takes: Takes) -> Channel {
    let channel =
        add(house, farm, &mail_to(&format!("{}@farm.example", crate::common::id()), takes), now());
    let asked = take(house, now());
    assert_eq!(asked.len(), 1);
    assert_eq!(asked[0].bringing, Bringing::Confirmation);
    house.write(|tx| channels::delivered(tx, &asked[0], now()));
    house.write(|tx| channels::confirm(tx, channel.id, now()))
}

fn take(house: &House, at: DateTime<Utc>) -> Vec<Taken> {
    house.write(|tx| channels::take(tx, BOTH, 100, at))
}

fn standing(house: &House, channel: &Channel) -> Standing {
    house.read(|tx| channels::standing(tx, channel.id))
}

/// A giver with an offer, and a taker who asks for two of it: the giver is told.
struct Told {
    giver: Farm,
    taker: Farm,
    offer: spareloop_domain::words::OfferId,
}

impl Told {
    fn on(house: &House) -> Self {
        let network = network(house, "Invented valley");
        let mut giver = farm(house, &network, "Ashlode");
        let taker = farm(house, &network, "Brindle");
        let lot = lot(house, &mut giver, "Ember Lantern", 40);
        let offer = offer(house, &giver, lot, 30, 1);
        Self { giver, taker, offer }
    }

    fn ask(&self, house: &House) {
        crate::common::ask(house, &self.taker, self.offer, 2);
    }
}

fn texts(taken: &[Taken]) -> Vec<String> {
    let text = |one: &Taken| match &one.bringing {
        Bringing::Message(message) => message.text.clone(),
        other => format!("{other:?}"),
    };
    taken.iter().map(text).collect()
}

on_both! {
    fn what_a_farm_is_told_goes_into_the_outbox_with_the_act(house: &House) {
        let it = Told::on(house);
        let channel = webhook(house, &it.giver);
        let others = webhook(house, &it.taker);
        it.ask(house);
        let taken = take(house, later(1));
        assert_eq!(taken.len(), 1, "the taker was told nothing");
        assert_eq!(taken[0].channel.id, channel.id);
        assert_eq!((taken[0].farm.name.as_str(), taken[0].number), ("Ashlode", 1));
        assert!(texts(&taken)[0].contains("Brindle asks you to hold 2"), "{taken:?}");
        assert_eq!(standing(house, &others), Standing::default());
    }

    fn an_act_that_fails_leaves_nothing_in_the_outbox(house: &House) {
        let it = Told::on(house);
        webhook(house, &it.giver);
        let asked = crate::common::asking(it.offer, 2);
        let undone: Result<(), StoreError> = house.try_write(|tx| {
            holds::ask(tx, it.taker.network, it.taker.id, &asked, now())?;
            Err(Missing::Farm.into())
        });
        assert!(undone.is_err());
        assert_eq!(take(house, later(1)), []);
    }

    fn nothing_is_sent_to_an_address_before_it_is_confirmed(house: &House) {
        let it = Told::on(house);
        let addition = mail_to("ada@farm.example", Takes::Both);
        let channel = add(house, &it.giver, &addition, now());
        assert_eq!(channel.state, ChannelState::Unconfirmed);
        it.ask(house);
        let taken = take(house, later(1));
        assert_eq!(taken.len(), 1);
        assert_eq!(taken[0].bringing, Bringing::Confirmation);
        let week = now() + TimeDelta::weeks(1);
        assert_eq!(house.write(|tx| channels::ask_for_digests(tx, week)), 0);
        house.write(|tx| channels::confirm(tx, channel.id, later(2)));
        it.ask(house);
        house.write(|tx| channels::delivered(tx, &taken[0], later(3)));
        assert!(texts(&take(house, later(4)))[0].contains("asks you to hold"));
    }

    fn a_link_confirms_once_and_not_what_has_ended(house: &House) {
        let it = Told::on(house);
        let channel = add(house, &it.giver, &mail_to("ada@farm.example", Takes::Messages), now());
        house.write(|tx| channels::confirm(tx, channel.id, now()));
        let again = house.try_write(|tx| channels::confirm(tx, channel.id, now()));
        assert!(matches!(again, Err(StoreError::Conflict(Conflict::CodeUsedUp(_)))), "{again:?}");
        house.write(|tx| channels::end_by_farm(tx, it.giver.id, channel.id, now()));
        let late = house.try_write(|tx| channels::confirm(tx, channel.id, now()));
        assert!(matches!(late, Err(StoreError::Conflict(Conflict::CodeUsedUp(_)))), "{late:?}");
    }

    fn of_two_servers_one_takes_a_delivery(house: &House) {
        let it = Told::on(house);
        let channels: Vec<Channel> = (0..8).map(|_| webhook(house, &it.giver)).collect();
        it.ask(house);
        let barrier = Barrier::new(4);
        let taken: Vec<DeliveryId> = std::thread::scope(|scope| {
            let server = || {
                barrier.wait();
                take(house, later(1)).into_iter().map(|one| one.id).collect::<Vec<_>>()
            };
            let servers: Vec<_> = (0..4).map(|_| scope.spawn(server)).collect();
            servers.into_iter().flat_map(|server| server.join().unwrap()).collect()
        });
        assert_eq!(taken.len(), channels.len(), "each is taken by one");
        assert_eq!(taken.iter().collect::<BTreeSet<_>>().len(), channels.len());
    }

    fn what_a_server_took_before_it_went_down_is_brought_by_another(house: &House) {
        let it = Told::on(house);
        webhook(house, &it.giver);
        it.ask(house);
        let first = take(house, later(1));
        assert_eq!(take(house, later(60)), [], "its lease holds");
        let second = take(house, later(1 + 5 * 60));
        assert_eq!((second[0].id, second[0].number), (first[0].id, 2));
        // The first was only slow: what it notes now is no longer its to note.
        let late = house.write(|tx| channels::delivered(tx, &first[0], later(302)));
        assert_eq!(late, Dealt::NotOurs);
        let note = house.write(|tx| channels::delivered(tx, &second[0], later(303)));
        assert_eq!(note, Dealt::Noted);
        assert_eq!(take(house, later(100_000)), []);
    }

    fn a_dead_target_is_tried_ever_less_often_then_given_up_and_the_farm_can_see_it(house: &House) {
        let it = Told::on(house);
        let channel = webhook(house, &it.giver);
        it.ask(house);
        let (mut at, mut tries) = (later(1), 0);
        while standing(house, &channel).given_up == 0 {
            at += TimeDelta::minutes(5);
            assert!(at - now() < GIVE_UP_AFTER + TimeDelta::hours(7), "it is given up in time");
            for one in take(house, at) {
                tries += 1;
                assert_eq!(one.number, tries);
                let said = "the webhook answered 500";
                house.write(|tx| channels::failed(tx, &one, Failure::ForNow, said, EVEN, at));
            }
        }
        assert!((15..=25).contains(&tries), "{tries} tries");
        let standing = standing(house, &channel);
        assert_eq!((standing.waiting, standing.given_up), (0, 1));
        assert_eq!(standing.trouble.as_deref(), Some("the webhook answered 500"));
        let kept = house.read(|tx| messages::list(tx, it.giver.id, None, 10));
        assert!(kept[0].text.contains("asks you to hold"), "the message stays on the pages");
    }

    fn a_dead_target_takes_one_place_however_much_waits_for_it(house: &House) {
        let it = Told::on(house);
        let dead = webhook(house, &it.giver);
        for _ in 0..5 {
            it.ask(house);
        }
        let alive = webhook(house, &it.giver);
        it.ask(house);
        let taken = take(house, later(1));
        let served: BTreeSet<ChannelId> = taken.iter().map(|one| one.channel.id).collect();
        assert_eq!((taken.len(), served), (2, BTreeSet::from([dead.id, alive.id])));
        assert_eq!(take(house, later(2)), [], "both are being served");
        assert_eq!(standing(house, &dead).waiting, 6);
    }

    fn an_address_that_nobody_has_is_given_up_at_once_and_a_gone_webhook_ends(house: &House) {
        let it = Told::on(house);
        let letters = mail(house, &it.giver, Takes::Messages);
        let calls = webhook(house, &it.giver);
        it.ask(house);
        it.ask(house);
        for one in take(house, later(1)) {
            let failure = match one.channel.target.kind() {
                ChannelKind::Mail => Failure::ForGood,
                _ => Failure::Gone,
            };
            house.write(|tx| channels::failed(tx, &one, failure, "no", EVEN, later(2)));
        }
        let (letters_now, calls_now) = (standing(house, &letters), standing(house, &calls));
        assert_eq!((letters_now.given_up, letters_now.waiting), (1, 1));
        assert_eq!((calls_now.given_up, calls_now.waiting), (1, 0), "what waited is dropped");
        let ended = house.read(|tx| channels::one(tx, it.giver.id, calls.id));
        assert_eq!(ended.ended.map(|(_, why)| why), Some(EndedWhy::Gone));
    }

    fn letters_wait_while_no_server_sends_any_and_are_given_up_after_three_days(house: &House) {
        let it = Told::on(house);
        let letters = mail(house, &it.giver, Takes::Messages);
        it.ask(house);
        assert_eq!(house.write(|tx| channels::take(tx, WEBHOOKS, 100, later(1))), []);
        assert!(!house.read(|tx| channels::is_due(tx, WEBHOOKS, later(1))));
        assert!(house.read(|tx| channels::is_due(tx, BOTH, later(1))));
        let late = now() + GIVE_UP_AFTER + TimeDelta::seconds(1);
        assert_eq!(house.write(|tx| channels::give_up_overdue(tx, late)), 1);
        assert_eq!(standing(house, &letters).given_up, 1);
    }

    fn an_address_that_nobody_confirms_is_forgotten(house: &House) {
        let it = Told::on(house);
        let asked = add(house, &it.giver, &mail_to("ada@farm.example", Takes::Messages), now());
        let late = now() + GIVE_UP_AFTER + TimeDelta::seconds(1);
        house.write(|tx| channels::give_up_overdue(tx, late));
        let found = house.read(|tx| channels::one(tx, it.giver.id, asked.id));
        assert_eq!(found.ended.map(|(_, why)| why), Some(EndedWhy::NotConfirmed));
        let later = late + TimeDelta::days(31);
        assert!(house.write(|tx| channels::prune(tx, later)) > 0);
        assert_eq!(house.read(|tx| channels::list(tx, it.giver.id)), []);
    }

    fn a_weekly_letter_is_asked_for_once_a_week_whoever_asks(house: &House) {
        let it = Told::on(house);
        mail(house, &it.giver, Takes::Digest);
        it.ask(house);
        assert_eq!(take(house, later(1)), [], "messages are not what it brings");
        // The tests' morning is Saturday, 10 January 2026.
        let monday: DateTime<Utc> = "2026-01-12T06:00:00Z".parse().unwrap();
        let ask = |at| house.write(|tx| channels::ask_for_digests(tx, at));
        assert_eq!(ask(monday - TimeDelta::seconds(1)), 0);
        let barrier = Barrier::new(3);
        let asked: usize = std::thread::scope(|scope| {
            let server = || {
                barrier.wait();
                ask(monday)
            };
            let servers: Vec<_> = (0..3).map(|_| scope.spawn(server)).collect();
            servers.into_iter().map(|server| server.join().unwrap()).sum()
        });
        assert_eq!(asked, 1);
        let taken = take(house, monday);
        assert_eq!(taken.iter().map(|one| &one.bringing).collect::<Vec<_>>(), [&Bringing::Digest]);
        house.write(|tx| channels::delivered(tx, &taken[0], monday));
        assert_eq!(ask(monday + TimeDelta::days(6)), 0);
        assert_eq!(ask(monday + TimeDelta::weeks(1)), 1);
    }

    fn what_a_channel_brings_can_be_changed(house: &House) {
        let it = Told::on(house);
        let letters = mail(house, &it.giver, Takes::Messages);
        house.write(|tx| channels::change(tx, it.giver.id, letters.id, Takes::Digest, now()));
        it.ask(house);
        assert_eq!(take(house, later(1)), []);
        assert_eq!(house.write(|tx| channels::ask_for_digests(tx, now() + TimeDelta::weeks(1))), 1);
        let calls = webhook(house, &it.giver);
        let odd = house.try_write(|tx| {
            channels::change(tx, it.giver.id, calls.id, Takes::Digest, now())
        });
        assert_eq!(odd, Err(Missing::Channel.into()));
    }

    fn ending_a_channel_drops_what_waits_and_a_second_press_of_a_readers_button_is_no_error(
        house: &House
    ) {
        let it = Told::on(house);
        let letters = mail(house, &it.giver, Takes::Messages);
        it.ask(house);
        house.write(|tx| channels::end_by_reader(tx, letters.id, later(1)));
        house.write(|tx| channels::end_by_reader(tx, letters.id, later(2)));
        house.write(|tx| channels::end_by_reader(tx, ChannelId::new(crate::common::id()), later(2)));
        assert_eq!(take(house, later(3)), []);
        it.ask(house);
        assert_eq!(standing(house, &letters).waiting, 0);
        let again = house.try_write(|tx| {
            channels::end_by_farm(tx, it.giver.id, letters.id, later(4))
        });
        assert!(matches!(again, Err(StoreError::Refused(Refused::Channel(_)))), "{again:?}");
        let found = house.read(|tx| channels::one(tx, it.giver.id, letters.id));
        assert_eq!(found.ended, Some((later(1), EndedWhy::ByReader)));
    }

    fn a_secret_address_opens_its_own_feed_until_it_is_remade_or_ended(house: &House) {
        let it = Told::on(house);
        let [old, new] = ["old", "new"].map(SecretHash::of);
        let feed = add(house, &it.giver, &Addition::Feed(old), now());
        let opens = |kind, token| house.read(|tx| channels::fetched(tx, kind, token));
        let found = opens(ChannelKind::Feed, old).unwrap();
        assert_eq!((found.farm.id, found.channel), (it.giver.id, feed.id));
        assert_eq!(opens(ChannelKind::Calendar, old), None, "a feed's secret opens no calendar");
        house.write(|tx| channels::remake(tx, it.giver.id, feed.id, new, crate::common::id()));
        assert_eq!(opens(ChannelKind::Feed, old), None);
        assert!(opens(ChannelKind::Feed, new).is_some());
        house.write(|tx| channels::end_by_farm(tx, it.giver.id, feed.id, now()));
        assert_eq!(opens(ChannelKind::Feed, new), None);
        let late = house.try_write(|tx| {
            channels::remake(tx, it.giver.id, feed.id, old, crate::common::id())
        });
        assert!(matches!(late, Err(StoreError::Refused(Refused::Channel(_)))), "{late:?}");
    }

    fn another_farms_channel_is_not_there(house: &House) {
        let it = Told::on(house);
        let channel = webhook(house, &it.giver);
        let theirs = it.taker.id;
        let missing = Err(Missing::Channel.into());
        assert_eq!(house.try_write(|tx| channels::one(tx, theirs, channel.id)), missing);
        let ended = house.try_write(|tx| channels::end_by_farm(tx, theirs, channel.id, now()));
        assert_eq!(ended, missing);
        let token = SecretHash::of("x");
        let remade = house.try_write(|tx| {
            channels::remake(tx, theirs, channel.id, token, crate::common::id())
        });
        assert_eq!(remade, missing);
        assert_eq!(house.read(|tx| channels::list(tx, theirs)), []);
    }

    fn nobody_is_pestered_and_no_farm_has_more_channels_than_it_needs(house: &House) {
        let it = Told::on(house);
        let ada = mail_to("ada@farm.example", Takes::Messages);
        let try_add = |farm: &Farm, addition: &Addition, at| {
            let id = ChannelId::new(crate::common::id());
            house.try_write(|tx| channels::make(tx, farm.id, id, addition, at))
        };
        for round in 0..3 {
            let made = try_add(&it.giver, &ada, later(round)).unwrap();
            let twice = try_add(&it.giver, &ada, later(round));
            assert!(matches!(twice, Err(StoreError::Conflict(Conflict::AlreadyTaken(_)))));
            house.write(|tx| channels::end_by_farm(tx, it.giver.id, made.id, later(round)));
        }
        for farm in [&it.giver, &it.taker] {
            let fourth = try_add(farm, &ada, later(10));
            assert!(
                matches!(fourth, Err(StoreError::Refused(Refused::TooMany { .. }))),
                "{fourth:?}"
            );
        }
        assert!(try_add(&it.taker, &ada, later(100_000)).is_ok(), "the next day it may be asked");
        for _ in 0..MOST_CHANNELS {
            webhook(house, &it.giver);
        }
        let more = try_add(&it.giver, &Addition::Feed(SecretHash::of("y")), now());
        assert!(matches!(more, Err(StoreError::Refused(Refused::TooMany { .. }))), "{more:?}");
    }
}
