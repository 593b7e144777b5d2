//! The search is shown to be right before it is believed: on histories whose verdicts others gave,
//! and beside another program's search on histories drawn from a seed.

use std::path::PathBuf;
use std::process::Command;

use serde_json::Value;
use spareloop_domain::ledger::generate::Dice;
use todc_utils::linearizability::WGLChecker;
use todc_utils::linearizability::history::{Action, History};
use todc_utils::specifications::Specification;

use crate::offer::{Act, Answer, Offer, Standing, State};
use crate::search::{Call, End, Model, Verdict, search};

const PATIENCE: usize = 2_000_000;

/// Of the 102 histories, those that are linearizable. The histories are what Jepsen recorded of a
/// key-value store in 2014; they and their verdicts come with `todc-utils` 0.1.1
/// (tests/linearizability/etcd.rs), which took the verdicts from A. Horn's linearizability-checker
/// (lt.cc). In number 95 the store did not start.
const LINEARIZABLE: [u32; 23] =
    [2, 5, 7, 18, 25, 31, 38, 45, 48, 49, 51, 53, 56, 67, 75, 76, 80, 87, 92, 98, 100, 101, 102];

/// One register that can be read, written, and written if it holds what is expected.
struct Register;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Asked {
    Read,
    Write(u32),
    Swap { from: u32, to: u32 },
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Said {
    Value(Option<u32>),
    Done,
    Failed,
}

impl Model for Register {
    type State = Option<u32>;
    type Act = Asked;
    type Answer = Said;

    fn start(&self) -> Option<u32> {
        None
    }

    fn after(&self, state: &Option<u32>, act: &Asked, said: Option<&Said>) -> Option<Option<u32>> {
        let done = match act {
            Asked::Read => Some(*state),
            Asked::Write(value) => Some(Some(*value)),
            Asked::Swap { from, to } => (*state == Some(*from)).then_some(Some(*to)),
        };
        match (said, act) {
            (None, _) => Some(done.unwrap_or(*state)),
            (Some(Said::Value(value)), Asked::Read) => (value == state).then_some(*state),
            (Some(Said::Done), Asked::Write(_) | Asked::Swap { .. }) => done,
            // A write that failed did nothing, whatever was there.
            (Some(Said::Failed), Asked::Write(_)) => Some(*state),
            (Some(Said::Failed), Asked::Swap { .. }) => done.is_none().then_some(*state),
            _ => None,
        }
    }
}

/// Where cargo keeps the sources of `todc-utils`.
fn sources() -> PathBuf {
    // Of this platform only: a build fetches nothing for others, and without a network asking for
    // all of them fails.
    let version = cargo(&["-vV"]);
    let host = version.lines().find_map(|line| line.strip_prefix("host: ")).expect("a host");
    let wanted = ["metadata", "--format-version=1", "--offline", "--filter-platform", host];
    let told: Value = serde_json::from_str(&cargo(&wanted)).expect("cargo's metadata");
    let packages = told["packages"].as_array().expect("packages");
    let package = packages.iter().find(|package| package["name"] == "todc-utils").expect("it");
    let manifest = package["manifest_path"].as_str().expect("a path");
    PathBuf::from(manifest).parent().expect("a folder").join("tests/linearizability/etcd")
}

/// What cargo prints, or why it couldn't.
fn cargo(arguments: &[&str]) -> String {
    let output = Command::new(env!("CARGO")).args(arguments).output().expect("cargo runs");
    let complaint = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "cargo {arguments:?}: {complaint}");
    String::from_utf8(output.stdout).expect("cargo writes UTF-8")
}

/// Reads a log: `INFO  jepsen.util - PROCESS :invoke :cas [1 4]`, and `:ok`, `:fail` or `:info`
/// (nobody knows) later on.
fn read(log: &str) -> Vec<Call<Asked, Said>> {
    let mut calls: Vec<Call<Asked, Said>> = Vec::new();
    let mut open: Vec<(u32, usize)> = Vec::new();
    for (line, at) in log.lines().zip(1_u64..) {
        let words: Vec<&str> = line
            .split(|letter: char| letter.is_whitespace() || "[]".contains(letter))
            .filter(|word| !word.is_empty())
            .collect();
        let [_, "jepsen.util", "-", process, what, act, values @ ..] = words.as_slice() else {
            continue;
        };
        let Ok(process) = process.parse::<u32>() else { continue };
        let value = |place: usize| values[place].parse::<u32>().ok();
        if *what == ":invoke" {
            let act = match *act {
                ":read" => Asked::Read,
                ":write" => Asked::Write(value(0).expect("a value")),
                ":cas" => Asked::Swap { from: value(0).unwrap(), to: value(1).unwrap() },
                other => panic!("{other}"),
            };
            open.push((process, calls.len()));
            calls.push(Call { act, from: at, end: End::Unknown });
            continue;
        }
        let place = open.iter().position(|(other, _)| *other == process).expect("it was invoked");
        let (_, number) = open.remove(place);
        let answer = match (*what, calls[number].act) {
            (":ok", Asked::Read) => Said::Value(value(0)),
            (":ok", _) => Said::Done,
            (":fail", Asked::Read) => {
                // Says nothing of what is there.
                continue;
            }
            (":fail", _) => Said::Failed,
            // Nobody knows, so it stays open.
            _ => continue,
        };
        calls[number].end = End::Answered { at, answer };
    }
    calls
}

#[test]
fn the_search_agrees_with_the_verdicts_on_102_labelled_histories() {
    let folder = sources();
    let mut agreed = 0;
    for number in (0..=102).filter(|number| *number != 95) {
        let log = folder.join(format!("etcd_{number:03}.log"));
        let calls = read(&std::fs::read_to_string(log).expect("a log"));
        assert!(calls.len() > 10, "{number}: {} calls", calls.len());
        let expected = if LINEARIZABLE.contains(&number) {
            Verdict::Linearizable
        } else {
            Verdict::NotLinearizable
        };
        assert_eq!(search(&Register, &calls, PATIENCE), expected, "history {number}");
        agreed += 1;
    }
    println!("labelled histories {agreed} agreed {agreed}");
}

#[test]
fn a_search_that_runs_out_of_patience_says_so_and_gives_no_verdict() {
    let log = sources().join("etcd_005.log");
    let calls = read(&std::fs::read_to_string(log).expect("a log"));
    assert_eq!(search(&Register, &calls, 5), Verdict::Undecided);
}

/// The offer's rule as the other program wants it.
struct TheirOffer;

const UNITS: u32 = 4;
const ASKED: [u32; 6] = [1, 2, 3, 1, 2, 1];

fn small_offer() -> Offer {
    Offer { units: UNITS, asked: ASKED.to_vec() }
}

impl Specification for TheirOffer {
    type State = State;
    type Operation = (Act, Option<Answer>);

    fn init() -> State {
        small_offer().start()
    }

    fn apply((act, answer): &Self::Operation, state: &State) -> (bool, State) {
        match small_offer().after(state, act, answer.as_ref()) {
            Some(after) => (true, after),
            None => (false, state.clone()),
        }
    }
}

/// What an offer answers that keeps its rule, or one that doesn't, to calls of a few who overlap.
fn drawn(dice: &mut Dice) -> Vec<Call<Act, Answer>> {
    let offer = small_offer();
    let mut state = offer.start();
    let mut calls = Vec::new();
    for number in 0..8 + dice.below(8) {
        let hold = dice.below(6) as usize;
        let act = match dice.below(8) {
            0..=2 => Act::Ask(hold),
            3 => Act::Agree(hold),
            4 | 5 => Act::Release(hold),
            6 => Act::LookAtOffer,
            _ => Act::LookAtHold(hold),
        };
        let answers = [
            Answer::Done,
            Answer::Refused,
            Answer::Free(dice.below(5)),
            Answer::Standing(Standing::Held),
            Answer::Standing(Standing::Missing),
        ];
        // The true answer, but now and then whatever comes.
        let honest = (0..=UNITS)
            .map(Answer::Free)
            .chain(answers)
            .chain([Standing::Agreed, Standing::Released].map(Answer::Standing));
        let mut honest = honest;
        let honest = honest.find(|it| offer.after(&state, &act, Some(it)).is_some());
        let answer = match dice.below(30) {
            0 => answers[dice.below(5) as usize],
            _ => honest.expect("an honest answer"),
        };
        if let Some(after) = offer.after(&state, &act, Some(&answer)) {
            state = after;
        }
        // It takes effect at 10 x its number and is open for a while around that.
        let at = 1_000 + 10 * u64::from(number);
        let from = at - u64::from(dice.below(35));
        let end = match dice.below(12) {
            0 => End::Unknown,
            _ => End::Answered { at: at + u64::from(dice.below(35)), answer },
        };
        calls.push(Call { act, from, end });
    }
    calls
}

/// As the other program takes a history: one who makes each call, unknown ones answered at the end.
fn theirs(calls: &[Call<Act, Answer>]) -> History<(Act, Option<Answer>)> {
    let mut events = Vec::new();
    for (number, call) in calls.iter().enumerate() {
        let (at, answer) = match call.end {
            End::Answered { at, answer } => (at, Some(answer)),
            End::Unknown => (u64::MAX, None),
        };
        // At the same time calls come before answers, as they do here.
        events.push(((call.from, 0), (number, Action::Call((call.act, answer)))));
        events.push(((at, 1), (number, Action::Response((call.act, answer)))));
    }
    events.sort_by_key(|(when, _)| *when);
    History::from_actions(events.into_iter().map(|(_, event)| event).collect())
}

#[test]
fn the_search_agrees_with_another_programs_on_offers_drawn_from_seeds() {
    let (mut accepted, mut rejected) = (0, 0);
    for seed in 0..3_000 {
        let calls = drawn(&mut Dice::new(seed));
        let ours = search(&small_offer(), &calls, PATIENCE);
        let other = WGLChecker::<TheirOffer>::is_linearizable(theirs(&calls));
        assert_eq!(ours == Verdict::Linearizable, other, "seed {seed}: {calls:#?}");
        assert_ne!(ours, Verdict::Undecided, "seed {seed}");
        if other { accepted += 1 } else { rejected += 1 }
    }
    println!("drawn histories accepted {accepted} rejected {rejected}");
    assert!(accepted > 300 && rejected > 300, "{accepted} and {rejected}: both have to occur");
}

#[test]
fn what_must_never_happen_to_an_offer_is_rejected() {
    let offer = Offer { units: 3, asked: vec![2, 2] };
    let call = |act, from, at, answer| Call { act, from, end: End::Answered { at, answer } };
    let refuse = |calls: &[Call<Act, Answer>]| {
        assert_eq!(search(&offer, calls, PATIENCE), Verdict::NotLinearizable);
    };
    let held = call(Act::Ask(0), 0, 10, Answer::Done);
    // Promised twice, even if both were asked at once.
    refuse(&[held.clone(), call(Act::Ask(1), 0, 10, Answer::Done)]);
    // A hold that was answered and is gone.
    refuse(&[held.clone(), call(Act::LookAtHold(0), 20, 30, Answer::Standing(Standing::Missing))]);
    // Let go once, counted twice.
    refuse(&[
        held.clone(),
        call(Act::Release(0), 20, 30, Answer::Done),
        call(Act::LookAtOffer, 40, 50, Answer::Free(5)),
    ]);
    // Refused, and done after all.
    refuse(&[
        held.clone(),
        call(Act::Ask(1), 20, 30, Answer::Refused),
        call(Act::Release(0), 40, 50, Answer::Done),
        call(Act::LookAtHold(1), 60, 70, Answer::Standing(Standing::Held)),
    ]);
    // What nobody heard of may have happened late, or never.
    let unheard = Call { act: Act::Ask(1), from: 5, end: End::Unknown };
    let released = call(Act::Release(0), 40, 50, Answer::Done);
    for free in [1, 3] {
        let seen = call(Act::LookAtOffer, 60, 70, Answer::Free(free));
        let calls = [held.clone(), unheard.clone(), released.clone(), seen];
        assert_eq!(search(&offer, &calls, PATIENCE), Verdict::Linearizable, "{free} free");
    }
}
