//! What the values of a large network cost, beside solving anew for every variety.
//!
//! `cargo bench -p spareloop-domain --bench values` takes 2,000 varieties and 20,000 wants; as part
//! of `cargo test` it takes 60 and 300, holds both ways against each other and asserts no time.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::time::{Duration, Instant};

use spareloop_domain::dice::Dice;
use spareloop_domain::value::{
    Accepted, Draw, Market, Multiplication, Shares, Want, Worth, over_draws, swap_values,
};

/// How an invented network stands.
struct Network {
    name: &'static str,
    /// The most units offered of a variety.
    most_offered: u32,
    /// How far a substitute lies from the first choice at most, as places; 0 for anywhere.
    neighbours: u32,
    /// How far gains lie apart.
    ties: Ties,
}

enum Ties {
    Few,
    /// All gains lie close together.
    Nearly,
    /// Multiplications and worths repeat.
    Everywhere,
}

fn invented(of: &Network, varieties: u32, wants: u32, seed: u64) -> (Market, Vec<u64>) {
    let mut dice = Dice::new(seed);
    let multiplications: Vec<_> = (0..varieties)
        .map(|_| match of.ties {
            Ties::Few => Multiplication::new(0.8 + 6.0 * dice.share()).unwrap(),
            Ties::Nearly => Multiplication::new(3.0 + 0.05 * dice.share()).unwrap(),
            Ties::Everywhere => Multiplication::new(3.0).unwrap(),
        })
        .collect();
    let wants = (0..wants)
        .map(|_| {
            let first = dice.below(varieties);
            let mut accepted = vec![first];
            for _ in 0..dice.below(6) {
                let other = match of.neighbours {
                    0 => dice.below(varieties),
                    near => (first + 1 + dice.below(near)) % varieties,
                };
                if !accepted.contains(&other) {
                    accepted.push(other);
                }
            }
            let mut worth = 1.0;
            let accepts = accepted.into_iter().map(|variety| {
                let accepted =
                    Accepted { variety: variety as usize, worth: Worth::new(worth).unwrap() };
                worth = match of.ties {
                    Ties::Few => worth * (0.6 + 0.4 * dice.share()),
                    Ties::Nearly => worth * (0.97 + 0.03 * dice.share()),
                    Ties::Everywhere => 0.8,
                };
                accepted
            });
            let accepts = accepts.collect();
            Want { count: 1 + dice.below(9), accepts }
        })
        .collect();
    let market = Market::new(&multiplications, wants, Shares::default()).unwrap();
    let supply = (0..varieties)
        .map(|_| if dice.happens(20) { 0 } else { u64::from(dice.below(of.most_offered + 1)) })
        .collect();
    (market, supply)
}

fn timed<T>(work: impl FnOnce() -> T) -> (T, Duration) {
    let start = Instant::now();
    let made = work();
    (made, start.elapsed())
}

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let filters: Vec<&String> = words.iter().filter(|word| !word.starts_with('-')).collect();
    if words.iter().any(|word| word == "--list")
        || !(filters.is_empty() || filters.iter().any(|word| "values".contains(word.as_str())))
    {
        return;
    }
    let full = words.iter().any(|word| word == "--bench");
    let (varieties, wants, sample, draws) =
        if full { (2_000, 20_000, 5, 20) } else { (60, 300, 60, 4) };
    println!("{varieties} varieties, {wants} wants, invented; times in ms");
    println!(
        "{:<24} {:>8} {:>8} {:>9} {:>14} {:>10} {:>9}",
        "network", "offered", "wanted", "values", "anew for all", "times", "a draw"
    );
    let network =
        |name, most_offered, neighbours, ties| Network { name, most_offered, neighbours, ties };
    for of in [
        network("scarce", 25, 0, Ties::Few),
        network("even", 125, 0, Ties::Few),
        network("plenty", 300, 0, Ties::Few),
        network("even, alike in groups", 125, 12, Ties::Few),
        network("scarce, nearly alike", 25, 0, Ties::Nearly),
        network("even, nearly alike", 125, 0, Ties::Nearly),
        network("scarce, ties everywhere", 25, 0, Ties::Everywhere),
        network("even, ties everywhere", 125, 0, Ties::Everywhere),
    ] {
        compared(&of, varieties, wants, sample, draws);
    }
}

fn compared(of: &Network, varieties: u32, wants: u32, sample: usize, draws: usize) {
    let (market, supply) = invented(of, varieties, wants, 7);
    let (valued, together) = timed(|| swap_values(&market, &Draw::new(supply.clone())));
    let step = supply.len() / sample;
    let (programs, apart) = timed(|| {
        let mut programs = 0;
        for at in (0..supply.len()).step_by(step) {
            let with = |units: u64| {
                let mut other = supply.clone();
                other[at] = units;
                swap_values(&market, &Draw::new(other)).welfare
            };
            let (reserve, value) = (market.reserve(at), valued.values[at]);
            let more = with(supply[at] + 1) - valued.welfare;
            programs += 1;
            assert!((reserve + more - value.low).abs() < 1e-6 * valued.welfare.max(1.0));
            if supply[at] > 0 {
                let less = valued.welfare - with(supply[at] - 1);
                programs += 1;
                assert!((reserve + less - value.high).abs() < 1e-6 * valued.welfare.max(1.0));
            }
        }
        programs
    });
    // Two programs a variety, from the mean of those of the sample.
    let anew = apart / programs * 2 * varieties;
    let mut dice = Dice::new(11);
    let other = std::iter::repeat_with(|| {
        let less = |units: &u64| u64::from(dice.of(u32::try_from(*units).unwrap(), 0.9));
        Draw::new(supply.iter().map(less).collect())
    });
    let (_, drawn) = timed(|| over_draws(&market, other.take(draws)).unwrap());
    let ms = |took: Duration| took.as_secs_f64() * 1000.0;
    println!(
        "{:<24} {:>8} {:>8} {:>9.1} {:>14.0} {:>9.0}x {:>9.1}",
        of.name,
        supply.iter().sum::<u64>(),
        market.wants().iter().map(|want| u64::from(want.count)).sum::<u64>(),
        ms(together),
        ms(anew),
        anew.as_secs_f64() / together.as_secs_f64(),
        ms(drawn) / f64::from(u32::try_from(draws).unwrap()),
    );
}
