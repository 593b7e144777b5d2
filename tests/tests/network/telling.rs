//! What farms are told comes to them: by a real mail server's protocol, by signed calls, by two servers
//! over one database, and again after a server was killed. Other programs read what came.

use std::collections::BTreeSet;

use serde_json::Value;
use spareloop_tests::on_both;
use spareloop_tests::sinks::hook::{HookSink, Says};
use spareloop_tests::sinks::mail::Mood;
use spareloop_tests::sinks::wait_for;

use crate::valley::{Valley, borrowed, header, is_signed, link, press, read, settings};

on_both! {
    fn letters_come_once_confirmed_and_end_with_one_press(kind: Kind) {
        let valley = Valley::on(kind);
        valley.giver.run(&["farm", "tell", "mail", "ada@farm.example"]).done();
        let asks = wait_for("the letter that asks", || valley.mail.letters().into_iter().next());
        assert_eq!((asks.from.as_str(), &asks.to[..]), ("loop@valley.example", &["ada@farm.example".to_owned()][..]));
        assert_eq!(header(&asks, "list-unsubscribe"), "", "there is nothing to end yet");
        valley.ask(2);
        press(&link(&asks, "/letters/confirm?"));
        valley.ask(3);
        let told = wait_for("the letter", || valley.mail.letters().get(1).cloned());
        assert_eq!(valley.mail.letters().len(), 2, "nothing was sent before it was confirmed");

        let letter = read(&told);
        assert_eq!(letter["to"], serde_json::json!(["ada@farm.example"]));
        assert_eq!(letter["kind"], "text/plain");
        let text = letter["text"].as_str().unwrap();
        assert!(text.contains("Brindle asks you to hold 3 of 'Ember Lantern'"), "{text}");
        assert!(text.replace("\r\n", "\n").contains("by the gate\n. and a dot, ä"), "{text}");
        assert!(text.contains(&format!("{}/holds/", valley.network.server.url)), "{text}");
        let messages = valley.giver.run(&["messages"]).done();
        assert!(messages.contains("asks you to hold 3"), "a letter says what the pages say: {messages}");

        // RFC 8058, RFC 2369, RFC 3834.
        let end = header(&told, "list-unsubscribe");
        let end = end.strip_prefix('<').and_then(|end| end.strip_suffix('>')).expect("one address");
        assert_eq!(header(&told, "list-unsubscribe-post"), "List-Unsubscribe=One-Click");
        assert_eq!(header(&told, "auto-submitted"), "auto-generated");
        press(end);
        valley.ask(2);
        let mail = valley.channel("mail");
        assert_eq!((mail["state"].as_str(), mail["waiting"].as_u64()), (Some("ended"), Some(0)));

        let log = valley.network.server.log();
        for secret in ["ada@farm.example", "token=", "by the gate"] {
            assert!(!log.contains(secret), "{secret} is in the log");
        }
    }

    fn a_call_is_signed_so_that_another_program_can_check_it_and_redirects_lead_nowhere(kind: Kind) {
        let valley = Valley::on(kind);
        let (hook, secret) = valley.hook();
        valley.ask(2);
        let call = wait_for("the call", || hook.calls().into_iter().next());
        assert_eq!(call.line, "POST /told HTTP/1.1");
        let [timestamp, signature] =
            ["spareloop-timestamp", "spareloop-signature"].map(|name| &call.headers[name]);
        assert!(is_signed(&secret, timestamp, signature, &call.body));
        assert!(!is_signed(&secret, timestamp, signature, &format!("{} ", call.body)));
        assert!(!is_signed(&secret, "1", signature, &call.body));
        let body: Value = serde_json::from_str(&call.body).unwrap();
        assert_eq!(body["farm_name"], "Ashlode");
        assert!(body["text"].as_str().unwrap().contains("asks you to hold 2"), "{body}");
        assert_eq!(body["delivery"].as_str(), Some(call.headers["spareloop-delivery"].as_str()));

        let elsewhere = HookSink::start();
        hook.say(Says::LeadsTo(elsewhere.url()));
        valley.ask(3);
        let trouble = valley.trouble("webhook");
        assert!(trouble.contains("307") && trouble.contains("not followed"), "{trouble}");
        assert_eq!(elsewhere.calls(), []);

        // It is brought once the receiver is well again: the same delivery, signed anew.
        hook.say(Says::Status(204));
        valley.minutes_pass_for_what_waits();
        let calls = wait_for("the call again", || Some(hook.calls()).filter(|it| it.len() == 3));
        assert_eq!(calls[1].headers["spareloop-delivery"], calls[2].headers["spareloop-delivery"]);
        wait_for("that it is noted", || {
            (valley.channel("webhook")["waiting"] == 0).then_some(())
        });
        let log = valley.network.server.log();
        assert!(!log.contains(&secret) && !log.contains("/told"), "no secret is in the log");
    }

    fn a_dead_target_is_in_no_acts_way_and_holds_no_other_channel_up(kind: Kind) {
        let valley = Valley::on(kind);
        let (silent, _) = valley.hook();
        silent.say(Says::Nothing);
        let (well, _) = valley.hook();
        for count in 1..=4 {
            // Each act is done and answered while the silent one keeps its caller waiting.
            valley.ask(count);
        }
        wait_for("all calls of the other", || (well.calls().len() == 4).then_some(()));
        assert!(silent.calls().len() < 4, "one at a time: {}", silent.calls().len());
        let messages = valley.giver.run(&["messages", "--json"]).json();
        assert_eq!(messages["messages"].as_array().unwrap().len(), 4);
    }

    fn what_was_under_way_when_the_server_was_killed_comes_again(kind: Kind) {
        let mut valley = Valley::on(kind);
        valley.told_by_mail("messages");
        valley.mail.be(Mood::TakesAndFallsSilent);
        valley.ask(2);
        // Taken by the mail server, and not noted by ours, which waits for its answer.
        wait_for("the letter", || valley.mail.letters().get(1).cloned());
        valley.network.server.kill();
        valley.mail.be(Mood::Takes);
        valley.network.start_again_with(&borrowed(&settings(&valley.mail)));
        assert_eq!(valley.channel("mail")["waiting"], 1, "it stands as under way");
        valley.minutes_pass_for_what_waits();
        let again = wait_for("the letter again", || valley.mail.letters().get(2).cloned());
        let first = valley.mail.letters()[1].clone();
        let id = header(&first, "message-id");
        assert!(id.ends_with("@valley.example>"), "{id}");
        assert_eq!(header(&again, "message-id"), id, "a mail program shows it once");
        wait_for("that it is noted", || (valley.channel("mail")["waiting"] == 0).then_some(()));
    }

    fn a_mail_server_that_refuses_for_now_is_asked_again_and_an_address_that_nobody_has_is_not(
        kind: Kind
    ) {
        let valley = Valley::on(kind);
        valley.told_by_mail("messages");
        valley.mail.be(Mood::RefusesForNow);
        valley.ask(2);
        let trouble = valley.trouble("mail");
        assert_eq!(trouble, "the mail server refused it (451)");
        valley.mail.be(Mood::Takes);
        valley.minutes_pass_for_what_waits();
        wait_for("the letter", || valley.mail.letters().get(1).cloned());
        valley.mail.be(Mood::KnowsNobody);
        valley.ask(3);
        wait_for("that it is given up", || (valley.channel("mail")["given_up"] == 1).then_some(()));
        assert_eq!(valley.mail.refused(), 2);
        let told = valley.giver.run(&["farm", "tell", "list"]).done();
        assert!(told.contains("knows no such address (550)"), "{told}");
    }

    fn the_weekly_letter_says_what_is_open_held_and_ending(kind: Kind) {
        let valley = Valley::on(kind);
        valley.told_by_mail("digest");
        valley.ask(4);
        let words = "UPDATE channels SET next_digest_at = made_at";
        valley.change_rows(words);
        let letter = wait_for("the weekly letter", || valley.mail.letters().get(1).cloned());
        let text = read(&letter)["text"].as_str().unwrap().to_owned();
        for part in [
            "Ends this week",
            "Hold lapses: 4 divisions of 'Ember Lantern' for Brindle",
            "Held, agreed or on the way",
            "4 divisions of 'Ember Lantern' for Brindle: held",
            "offered: 6 divisions of 'Ember Lantern' free, 10 offered",
            "To look at this week",
            "Look at 1 lot",
        ] {
            assert!(text.contains(part), "{part:?} in {text}");
        }
        assert!(header(&letter, "subject").starts_with("Ashlode: the week of"));
        assert_ne!(header(&letter, "list-unsubscribe"), "");
        assert_eq!(valley.mail.letters().len(), 2, "once, and no letter for each message");
    }
}

#[test]
fn two_servers_over_one_database_bring_each_thing_once_while_both_live() {
    let valley = Valley::on(spareloop_tests::database::Kind::Postgresql);
    let settings = settings(&valley.mail);
    let _other = valley.network.replica("other", &borrowed(&settings));
    let hooks: Vec<HookSink> = (0..4).map(|_| valley.hook().0).collect();
    valley.told_by_mail("messages");
    for count in 1..=5 {
        valley.ask(count);
    }
    for hook in &hooks {
        wait_for("all calls", || (hook.calls().len() >= 5).then_some(()));
    }
    wait_for("all letters", || (valley.mail.letters().len() >= 6).then_some(()));
    wait_for("that all is noted", || {
        let listed = valley.listed();
        let waits = |one: &Value| one["waiting"] != 0;
        (!listed["channels"].as_array().unwrap().iter().any(waits)).then_some(())
    });
    for hook in &hooks {
        let ids = hook.calls().into_iter().map(|call| call.headers["spareloop-delivery"].clone());
        let ids: Vec<String> = ids.collect();
        assert_eq!((ids.len(), ids.iter().collect::<BTreeSet<_>>().len()), (5, 5));
    }
    assert_eq!(valley.mail.letters().len(), 6);
}

#[test]
fn a_server_set_up_for_the_open_internet_calls_nothing_within_however_it_came_there() {
    let mut valley = Valley::on(spareloop_tests::database::Kind::Sqlite);
    let (hook, _) = valley.hook();
    let mut settings = settings(&valley.mail);
    settings.retain(|(name, _)| *name != "SPARELOOP_WEBHOOK_TARGETS");
    valley.network.start_again_with(&borrowed(&settings));
    let refused =
        valley.giver.run(&["farm", "tell", "webhook", "https://127.0.0.1/x"]).ends_with(3);
    assert!(refused.contains("not of the open internet"), "{refused}");
    // This one was let in before: it is checked again when it is called.
    valley.ask(2);
    let trouble = valley.trouble("webhook");
    assert!(trouble.contains("https://"), "{trouble}");
    assert_eq!(hook.calls(), []);
}
