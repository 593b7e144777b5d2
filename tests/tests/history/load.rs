//! Fifteen takers and a giver at a few offers, through the real interface: they ask, agree, release
//! and look, send again under the same key what nobody answered, and now and then give up.

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use spareloop_api::client::{CallError, Client, Token};
use spareloop_api::exchange::{AskHold, HoldView, Reason};
use spareloop_api::people::{Secret, SignIn};
use spareloop_api::problem::ProblemCode;
use spareloop_domain::ledger::generate::Dice;
use spareloop_domain::words::{Count, HoldId, OfferId, Purpose};
use spareloop_tests::farm::{Device, PASSWORD};
use spareloop_tests::network::{Network, id, key};

use crate::offer::{Act, Answer, Standing};
use crate::record::{Asked, History};

/// With the giver sixteen, which is as many as a search can decide about.
pub const TAKERS: usize = 15;
const VARIETY: &str = "Ember Lantern";
/// How long a caller waits for an answer.
const PATIENCE: Duration = Duration::from_millis(800);
/// How often the patient send an act that nobody answers.
const TRIES: u32 = 200;

/// Who takes part.
pub struct Callers {
    giver: Client,
    takers: Vec<Client>,
    farm: Device,
}

/// What a round of calls came to, beside its histories.
#[derive(Debug, Default)]
pub struct Heard {
    /// Acts that were answered in two ways under one key.
    pub two_answers: AtomicUsize,
}

impl Callers {
    /// Sets up a farm that gives and others that take.
    pub fn new(network: &Network) -> Self {
        let farm = network.farm("Ashlode");
        farm.run(&["variety", "add", VARIETY, "--on", "2025-11-02"]).done();
        for number in 0..TAKERS {
            network.join(&format!("taker-{number}"), &format!("Taker {number}"));
        }
        let giver = signed_in(network, "ashlode");
        let takers = (0..TAKERS).map(|number| signed_in(network, &format!("taker-{number}")));
        Self { giver, takers: takers.collect(), farm }
    }

    /// Signs everybody in again, for a long run.
    pub fn sign_in_again(&mut self, network: &Network) {
        self.giver = signed_in(network, "ashlode");
        for (number, taker) in self.takers.iter_mut().enumerate() {
            *taker = signed_in(network, &format!("taker-{number}"));
        }
    }

    /// Makes so many offers of so many units, each of a lot of its own.
    pub fn offer(&self, offers: u32, units: u32) -> Vec<History> {
        let begun = Instant::now();
        let offers = (0..offers).map(|_| {
            let units = units.to_string();
            let words = ["lot", "opening", VARIETY, "--count", &units, "--on", "2025-11-02"];
            let lot = self.farm.run(&[&words[..], &["--json"]].concat()).json();
            let lot = lot["lots"][0]["code"].as_str().unwrap().to_owned();
            let made = self.farm.run(&["offer", "make", &lot, "--count", &units, "--json"]).json();
            let offer: OfferId = made["offer"]["offer"].as_str().unwrap().parse().unwrap();
            (offer, units.parse::<Count>().unwrap())
        });
        offers.map(|(offer, units)| History::of(offer, units, begun)).collect()
    }

    /// Calls until `stop`, then looks at everything once more.
    pub fn call(&self, histories: &[History], stop: &AtomicBool, seed: u64, heard: &Heard) {
        thread::scope(|scope| {
            for (number, client) in self.takers.iter().enumerate() {
                let taker = Caller { client, histories, heard, dice: dice(seed, number) };
                scope.spawn(move || taker.take(number, stop));
            }
            let dice = dice(seed, TAKERS);
            let giver = Caller { client: &self.giver, histories, heard, dice };
            scope.spawn(move || giver.give(stop));
        });
    }

    /// Looks at every offer and every hold. The server is well by now.
    pub fn look_at_all(&self, histories: &[History]) -> Vec<Seen> {
        histories
            .iter()
            .map(|history| {
                let from = history.now();
                let free = surely(|| Some(self.giver.offer(history.offer).ok()?.free.get()));
                history.note(Act::LookAtOffer, from, Some(Answer::Free(free)));
                let holds = history.asked().into_iter().enumerate().map(|(number, asked)| {
                    let from = history.now();
                    let found = surely(|| standing(self.takers[asked.taker].hold(asked.id)));
                    let answer = Answer::Standing(found.0);
                    history.note(Act::LookAtHold(number), from, Some(answer));
                    found
                });
                Seen { free, holds: holds.collect() }
            })
            .collect()
    }
}

fn signed_in(network: &Network, login: &str) -> Client {
    let client = Client::with_patience(&network.server.url, PATIENCE).unwrap();
    let sign_in =
        SignIn { login: login.to_owned(), password: Secret(PASSWORD.to_owned()), acting_for: None };
    // Hashing a password may take longer than a caller's patience on a busy machine.
    let tokens = Client::new(&network.server.url).unwrap().sign_in(&sign_in).unwrap();
    client.with(Token::Bearer(tokens.access_token))
}

/// What was seen of an offer in the end.
pub struct Seen {
    /// Units free.
    pub free: u32,
    /// How each hold stands, and the states that it came to.
    pub holds: Vec<(Standing, Vec<String>)>,
}

fn dice(seed: u64, caller: usize) -> Dice {
    Dice::new(seed * 1_000 + caller as u64)
}

struct Caller<'all> {
    client: &'all Client,
    histories: &'all [History],
    heard: &'all Heard,
    dice: Dice,
}

impl Caller<'_> {
    fn pick(&mut self) -> usize {
        let many = u32::try_from(self.histories.len()).expect("a few");
        self.dice.below(many) as usize
    }

    fn take(mut self, taker: usize, stop: &AtomicBool) {
        // Holds of mine, as history and number, that I have not let go.
        let mut mine: Vec<(usize, usize)> = Vec::new();
        while !stop.load(Ordering::Relaxed) {
            let place = self.pick();
            match self.dice.below(100) {
                0..=44 => {
                    let number = self.ask(place, taker);
                    mine.extend(number.map(|number| (place, number)));
                }
                45..=79 if !mine.is_empty() => {
                    let which = self.dice.below(u32::try_from(mine.len()).expect("a few"));
                    let (place, number) = mine.swap_remove(which as usize);
                    self.release(place, number);
                }
                80..=89 if !mine.is_empty() => {
                    let which = self.dice.below(u32::try_from(mine.len()).expect("a few"));
                    let (place, number) = mine[which as usize];
                    self.look_at_hold(place, number);
                }
                _ => self.look_at_offer(place),
            }
        }
    }

    fn give(mut self, stop: &AtomicBool) {
        while !stop.load(Ordering::Relaxed) {
            let place = self.pick();
            let asked = self.histories[place].asked().len();
            // Of the newer ones, so that there is something to say to most.
            let back = self.dice.below(12) as usize;
            match (self.dice.below(10), asked.checked_sub(back + 1)) {
                (0..=4, Some(number)) => self.agree(place, number),
                (5, Some(number)) => self.release(place, number),
                (6, Some(number)) => self.look_at_hold(place, number),
                _ => self.look_at_offer(place),
            }
        }
    }

    /// Asks for a hold; answers its number unless it was refused.
    fn ask(&mut self, place: usize, taker: usize) -> Option<usize> {
        let history = &self.histories[place];
        let (hold, count) = (HoldId::new(id()), 1 + self.dice.below(3));
        let number = history.ask(Asked { id: hold, count, taker });
        let asked = AskHold {
            unit_price: None,
            hold,
            count: Count::new(i64::from(count)).expect("small"),
            want: None,
            purpose: Purpose::Swap,
            unit_value_tenths: 10,
            hours: None,
            note: String::new(),
        };
        let (client, key) = (self.client, key());
        let answer =
            self.insist(place, Act::Ask(number), || client.ask_hold(&key, history.offer, &asked));
        (answer != Some(Answer::Refused)).then_some(number)
    }

    fn agree(&mut self, place: usize, number: usize) {
        let hold = self.histories[place].asked()[number].id;
        let (client, key) = (self.client, key());
        self.insist(place, Act::Agree(number), || client.agree(&key, hold));
    }

    fn release(&mut self, place: usize, number: usize) {
        let hold = self.histories[place].asked()[number].id;
        let (client, key) = (self.client, key());
        let why = Reason { why: String::new() };
        self.insist(place, Act::Release(number), || client.release(&key, hold, &why));
    }

    fn look_at_offer(&mut self, place: usize) {
        let history = &self.histories[place];
        let from = history.now();
        // A look that nobody answered says nothing.
        if let Ok(offer) = self.client.offer(history.offer) {
            history.note(Act::LookAtOffer, from, Some(Answer::Free(offer.free.get())));
        }
    }

    fn look_at_hold(&mut self, place: usize, number: usize) {
        let history = &self.histories[place];
        let hold = history.asked()[number].id;
        let from = history.now();
        if let Some((found, _)) = standing(self.client.hold(hold)) {
            history.note(Act::LookAtHold(number), from, Some(Answer::Standing(found)));
        }
    }

    /// Sends an act under one key until it is answered, or gives up: then nobody knows. Some are
    /// sent twice at once, as a front does that tries again by itself.
    fn insist(
        &mut self,
        place: usize,
        act: Act,
        send: impl Fn() -> Result<HoldView, CallError> + Sync,
    ) -> Option<Answer> {
        let history = &self.histories[place];
        let tries = if self.dice.happens(15) { 1 } else { TRIES };
        let from = history.now();
        for _ in 0..tries {
            let answers: Vec<Answer> = if self.dice.happens(10) {
                let both = thread::scope(|scope| {
                    let early = scope.spawn(&send);
                    [send(), early.join().unwrap()]
                });
                both.into_iter().filter_map(answer).collect()
            } else {
                answer(send()).into_iter().collect()
            };
            if let [one, other] = answers.as_slice()
                && one != other
            {
                self.heard.two_answers.fetch_add(1, Ordering::Relaxed);
            }
            if let Some(answer) = answers.first() {
                history.note(act, from, Some(*answer));
                return Some(*answer);
            }
            thread::sleep(Duration::from_millis(u64::from(20 + self.dice.below(80))));
        }
        history.note(act, from, None);
        None
    }
}

/// What was answered, if anything was.
fn answer(called: Result<HoldView, CallError>) -> Option<Answer> {
    match called {
        Ok(_) => Some(Answer::Done),
        Err(error) if error.is_out_of_reach() => None,
        Err(error) => match error.code() {
            Some(ProblemCode::StillWorking) => None,
            Some(
                ProblemCode::NotEnoughFree | ProblemCode::NotInThatState | ProblemCode::NotFound,
            ) => Some(Answer::Refused),
            _ => panic!("nobody should be told {error:?}"),
        },
    }
}

/// What a server that is well answers, if not at once.
fn surely<T>(ask: impl Fn() -> Option<T>) -> T {
    (0..TRIES).find_map(|_| ask()).expect("the server is well again")
}

/// How a hold stands, if that was answered, and the states that it came to.
fn standing(called: Result<HoldView, CallError>) -> Option<(Standing, Vec<String>)> {
    match called {
        Ok(hold) => {
            let standing = match hold.state.as_str() {
                "held" => Standing::Held,
                "agreed" => Standing::Agreed,
                "released" => Standing::Released,
                other => panic!("nothing here makes a hold {other}"),
            };
            Some((standing, hold.steps.into_iter().map(|step| step.state).collect()))
        }
        Err(error) if error.code() == Some(ProblemCode::NotFound) => {
            Some((Standing::Missing, Vec::new()))
        }
        Err(_) => None,
    }
}
