//! An experiment: does a rate of loss that changes over the season forecast better than a constant one?
//!
//! Lots are stored on one day; a rate shaped by the season is a constant rate by another clock, whose
//! days are as long as the season makes them. Each clock is fitted by maximum likelihood beside the mixed
//! model (the numbers of the clock by profile), and taken for the even one if it raises the log
//! likelihood by more than half the log of the number of lots for each of its numbers (Schwarz, Ann.
//! Stat. 6 (1978) 461). `SPARELOOP_SEASON_LOTS` and `SPARELOOP_SEASON_WINTERS` make the trial larger. What came
//! out, and why rates are even in what people are told, stands in DEVELOPERS.md.

use spareloop_domain::chance::Distribution;
use spareloop_domain::dice::Dice;
use spareloop_domain::fit::{LossData, LossFit, LossLook, fit};
use spareloop_domain::forecast::{LogHazard, SeenGroup, survivors_under};

/// Days since storing on which lots are looked at up to today, and later, up to planting.
const LOOKS: [u32; 6] = [14, 28, 42, 56, 70, 84];
const LATER: [u32; 6] = [98, 112, 126, 140, 154, PLANTING];
const PLANTING: u32 = 164;
/// Parts of a day that clocks are read to.
const PARTS: f64 = 100.0;

/// How rates truly change; the days that have passed by each.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Truth {
    Even,
    EarlyRot,
    LateDrying,
    Both,
}

impl Truth {
    fn days(self, day: u32) -> f64 {
        let day = f64::from(day);
        let early = |height: f64| height * 25.0 * (1.0 - (-day / 25.0).exp());
        let late = |height: f64| height * day.powi(3) / (3.0 * f64::from(PLANTING).powi(2));
        match self {
            Self::Even => day,
            Self::EarlyRot => 0.5 * day + early(2.5),
            Self::LateDrying => 0.5 * day + late(2.0),
            Self::Both => 0.4 * day + early(2.0) + late(1.5),
        }
    }
}

/// A clock that is fitted.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Clock {
    /// Days.
    Even,
    /// Days to a power (Weibull): log of the power.
    Power(f64),
    /// Logs of how long days are in the first 30, and after 90, against those between.
    Pieces([f64; 2]),
}

impl Clock {
    fn days(self, day: u32) -> f64 {
        let day = f64::from(day);
        match self {
            Self::Even => day,
            Self::Power(log) => 84.0 * (day / 84.0).powf(log.exp()),
            Self::Pieces([early, late]) => {
                day.min(30.0) * early.exp()
                    + (day - 30.0).clamp(0.0, 60.0)
                    + (day - 90.0).max(0.0) * late.exp()
            }
        }
    }

    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // some thousands of days
    fn parts(self, from: u32, until: u32) -> u32 {
        (PARTS * (self.days(until) - self.days(from))).round().max(1.0) as u32
    }

    fn numbers(self) -> f64 {
        match self {
            Self::Even => 0.0,
            Self::Power(_) => 1.0,
            Self::Pieces(_) => 2.0,
        }
    }
}

struct Tote {
    labels: [String; 2],
    /// From, until, inspected, lost.
    looks: Vec<(u32, u32, u32, u32)>,
    in_store: u32,
    alive: u32,
}

/// What the book holds: this winter up to today, and maybe last winter as a whole.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Book {
    FirstWinter,
    SecondWinter,
}

/// Two winters of one network, the last one and this.
fn winters(seed: u64, lots: u32, truths: [Truth; 2]) -> [Vec<Tote>; 2] {
    let mut dice = Dice::new(seed);
    let mut effects = |count: u32, sd: f64| -> Vec<f64> {
        (0..count.max(1)).map(|_| sd * dice.normal()).collect()
    };
    let (varieties, packings) = (effects(lots / 5, 0.5), effects(5, 0.3));
    truths.map(|truth| {
        let tote = |_| {
            let (v, p) = (dice.below(lots / 5), dice.below(5));
            let effect = varieties[v as usize] + packings[p as usize] + 0.5 * dice.normal();
            let rate = (-7.0 + effect).exp();
            let mut alive = 15 + dice.below(46);
            let (mut before, mut in_store, mut looks) = (0, 0, Vec::new());
            for day in LOOKS.into_iter().chain(LATER) {
                let risk = rate * (truth.days(day) - truth.days(before));
                let lost = dice.of(alive, -(-risk).exp_m1());
                looks.push((before, day, alive, lost));
                alive -= lost;
                if day == LOOKS[5] {
                    in_store = alive;
                }
                before = day;
            }
            Tote { labels: [format!("v{v}"), format!("p{p}")], looks, in_store, alive }
        };
        (0..lots).map(tote).collect()
    })
}

/// The looks by a clock; this winter's lots first.
fn by(clock: Clock, [last, this]: &[Vec<Tote>; 2], book: Book) -> LossData {
    let mut data = LossData::new(["variety", "packing"].map(str::to_owned).to_vec());
    let mut add = |name: &str, totes: &[Tote], looks: usize| {
        for (at, tote) in totes.iter().enumerate() {
            for (from, until, inspected, lost) in &tote.looks[..looks] {
                let days = clock.parts(*from, *until);
                let look = LossLook { days, inspected: *inspected, lost: *lost };
                let labels = [tote.labels[0].as_str(), tote.labels[1].as_str()];
                data.add(&format!("{name} {at}"), &labels, look).unwrap();
            }
        }
    };
    add("this", this, LOOKS.len());
    if book == Book::SecondWinter {
        add("last", last, LOOKS.len() + LATER.len());
    }
    data
}

fn height(clock: Clock, winters: &[Vec<Tote>; 2], book: Book) -> f64 {
    fit(&by(clock, winters, book)).unwrap().optimum.unwrap().log_likelihood
}

/// The top of a hill with one top, between −1.5 and 1.5 (golden section), to some hundredths.
fn top(of: impl Fn(f64) -> f64) -> f64 {
    let ratio = (5.0_f64.sqrt() - 1.0) / 2.0;
    let (mut low, mut high) = (-1.5, 1.5);
    let inner = |low: f64, high: f64| (high - ratio * (high - low), low + ratio * (high - low));
    let (mut a, mut b) = inner(low, high);
    let (mut of_a, mut of_b) = (of(a), of(b));
    while high - low > 0.05 {
        if of_a > of_b {
            high = b;
            (b, of_b) = (a, of_a);
            a = inner(low, high).0;
            of_a = of(a);
        } else {
            low = a;
            (a, of_a) = (b, of_b);
            b = inner(low, high).1;
            of_b = of(b);
        }
    }
    f64::midpoint(low, high)
}

/// Each clock as it fits best: even, power, pieces.
fn fitted_clocks(winters: &[Vec<Tote>; 2], book: Book) -> [Clock; 3] {
    let power = top(|log| height(Clock::Power(log), winters, book));
    let mut pieces = [0.0, 0.0];
    // Nothing was seen after day 90 in a first winter: days are as long there as before.
    let late = if book == Book::SecondWinter { 2 } else { 0 };
    for _ in 0..late.max(1) {
        pieces[0] = top(|early| height(Clock::Pieces([early, pieces[1]]), winters, book));
        if late > 0 {
            pieces[1] = top(|late| height(Clock::Pieces([pieces[0], late]), winters, book));
        }
    }
    [Clock::Even, Clock::Power(power), Clock::Pieces(pieces)]
}

/// The clock that the likelihood bears.
fn by_the_rule(clocks: [Clock; 3], winters: &[Vec<Tote>; 2], book: Book) -> usize {
    let lots = match book {
        Book::FirstWinter => winters[1].len(),
        Book::SecondWinter => winters[0].len() + winters[1].len(),
    };
    let worth =
        |clock: &Clock| height(*clock, winters, book) - 0.5 * clock.numbers() * (lots as f64).ln();
    let worths = clocks.map(|clock| worth(&clock));
    (0..clocks.len()).max_by(|one, other| worths[*one].total_cmp(&worths[*other])).unwrap()
}

/// The mean score in units, and the share of PIT values within 0.1 to 0.9 (its mean over the random part).
fn scores(clock: Clock, winters: &[Vec<Tote>; 2], book: Book) -> (f64, f64) {
    let fitted: LossFit = fit(&by(clock, winters, book)).unwrap();
    let (mut score, mut within) = (0.0, 0.0);
    for (tote, hazard) in winters[1].iter().zip(&fitted.lots) {
        let days = clock.parts(LOOKS[5], PLANTING);
        let hazard = LogHazard::new(hazard.mean, hazard.sd).unwrap();
        let group = SeenGroup { count: tote.in_store, days };
        let ours = survivors_under(&[group], hazard).unwrap().distribution;
        score += ranked(&ours, tote.alive as usize, tote.in_store as usize);
        let (low, high) = pit(&ours, tote.alive as usize);
        let share = (high.min(0.9) - low.max(0.1)).max(0.0) / (high - low).max(1e-12);
        within += share.min(1.0);
    }
    let lots = winters[1].len() as f64;
    (score / lots, within / lots)
}

fn pit(forecast: &Distribution, alive: usize) -> (f64, f64) {
    let below = if alive == 0 { 0.0 } else { forecast.at_most(alive - 1) };
    (below, below + forecast.chance(alive))
}

/// Σ (F(k) − 1[alive ≤ k])² (Gneiting and Raftery, J. Am. Stat. Assoc. 102 (2007) 359).
fn ranked(forecast: &Distribution, alive: usize, most: usize) -> f64 {
    let mut below = 0.0;
    let mut sum = 0.0;
    for k in 0..=most {
        below += forecast.chance(k);
        let reached = if alive <= k { 1.0 } else { 0.0 };
        sum += (below - reached).powi(2);
    }
    sum
}

fn from_environment(name: &str, otherwise: u32) -> u32 {
    std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(otherwise)
}

/// Of each clock, then of that by the rule: mean score and share within; and how often each was taken.
#[derive(Debug, Default)]
struct Outcome {
    score: [f64; 4],
    within: [f64; 4],
    taken: [u32; 3],
}

fn outcome(truths: [Truth; 2], book: Book) -> Outcome {
    let lots = from_environment("SPARELOOP_SEASON_LOTS", 500);
    let count = from_environment("SPARELOOP_SEASON_WINTERS", 1);
    let mut outcome = Outcome::default();
    for seed in 1..=u64::from(count) {
        let winters = winters(seed, lots, truths);
        let clocks = fitted_clocks(&winters, book);
        let each = clocks.map(|clock| scores(clock, &winters, book));
        let taken = by_the_rule(clocks, &winters, book);
        outcome.taken[taken] += 1;
        for (at, (score, within)) in each.into_iter().chain([each[taken]]).enumerate() {
            outcome.score[at] += score / f64::from(count);
            outcome.within[at] += within / f64::from(count);
        }
    }
    let Outcome { score, within, taken } = &outcome;
    println!(
        "season: {:?} after {:?}, {book:?}: score even {:.4} power {:.4} pieces {:.4} rule {:.4}; within \
         {:.1} {:.1} {:.1} {:.1} %; taken {taken:?}",
        truths[1],
        truths[0],
        score[0],
        score[1],
        score[2],
        score[3],
        100.0 * within[0],
        100.0 * within[1],
        100.0 * within[2],
        100.0 * within[3],
    );
    outcome
}

#[test]
fn where_rates_are_even_a_clock_that_must_be_earned_costs_nothing() {
    for book in [Book::FirstWinter, Book::SecondWinter] {
        let Outcome { score, .. } = outcome([Truth::Even; 2], book);
        assert!(score[3] < 1.01 * score[0], "{score:?}");
    }
}

#[test]
fn where_every_winter_is_shaped_by_one_thing_a_clock_forecasts_better() {
    for truth in [Truth::EarlyRot, Truth::LateDrying] {
        for book in [Book::FirstWinter, Book::SecondWinter] {
            let Outcome { score, .. } = outcome([truth; 2], book);
            assert!(score[3] < 0.95 * score[0], "{score:?}");
        }
    }
}

/// Why rates are even in what people are told: what the looks up to today bear says little about the
/// part of the season that is still to come, unless all winters are alike, which nobody has shown.
#[test]
fn where_early_rot_hides_late_drying_or_winters_differ_a_clock_forecasts_worse() {
    let worse = [
        ([Truth::Both, Truth::Both], Book::FirstWinter),
        ([Truth::EarlyRot, Truth::LateDrying], Book::SecondWinter),
        ([Truth::LateDrying, Truth::EarlyRot], Book::SecondWinter),
    ];
    for (truths, book) in worse {
        let Outcome { score, within, .. } = outcome(truths, book);
        assert!(score[3] > 1.05 * score[0], "{score:?}");
        assert!(within[3] < within[0], "{within:?}");
    }
    outcome([Truth::Both, Truth::Both], Book::SecondWinter);
    outcome([Truth::Both, Truth::Even], Book::SecondWinter);
}
