//! How good and how quick rounds are: objective, bound, gap, wall and CPU seconds, peak memory.
//!
//! `cargo bench -p spareloop-rounds --bench rounds` runs the small invented rounds of tests/data beside
//! `HiGHS` on the compact model in the same run. `SPARELOOP_ROUNDS=FOLDER` adds every `loops-*.json` there;
//! `SPARELOOP_ROUNDS_SECONDS=20` sets the time for each (otherwise by the number of farms). Numbers of farms
//! and modes behind `--` choose among them, as `-- 100 300 loops`; `progress` shows how each went.
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

mod compact;

use std::path::PathBuf;
use std::sync::atomic::AtomicBool;
use std::time::Instant;

use spareloop_domain::compute::fields::{Fields, parse};
use spareloop_rounds::check::check;
use spareloop_rounds::input::{Mode, RoundInput};
use spareloop_rounds::solve::{Outside, solve};
use spareloop_rounds::watch::{Clock, Progress};
use spareloop_rounds::words;

struct Since(Instant);

impl Clock for Since {
    fn seconds(&self) -> f64 {
        self.0.elapsed().as_secs_f64()
    }
}

fn main() {
    // `cargo test --benches` wants to know that it builds, not how quick it is.
    if !std::env::args().any(|it| it == "--bench") {
        return;
    }
    let small = ["loops-6-16-1", "loops-8-20-1", "loops-12-30-1"];
    let data = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/data");
    let mut files: Vec<PathBuf> = small.iter().map(|it| data.join(format!("{it}.json"))).collect();
    if let Some(folder) = std::env::var_os("SPARELOOP_ROUNDS") {
        let more = std::fs::read_dir(folder).expect("the folder can be read");
        files.extend(more.filter_map(|it| it.ok().map(|it| it.path())).filter(|it| {
            let name = it.file_name().and_then(|it| it.to_str()).unwrap_or_default();
            name.starts_with("loops-")
                && it.extension().is_some_and(|it| it == "json")
                && !small.iter().any(|it| name.starts_with(it))
        }));
    }
    let mut rounds: Vec<RoundInput> = files.iter().map(|it| read(it)).collect();
    rounds.sort_by_key(|it| it.farms.len());
    println!("farms  mode       cost  objective      bound   gap %   wall s    CPU s  peak MiB");
    let asked: Vec<String> = std::env::args().skip(1).filter(|it| !it.starts_with('-')).collect();
    let sizes: Vec<usize> = asked.iter().filter_map(|it| it.parse().ok()).collect();
    let wanted = |mode: &str| {
        let named = |it: &&String| ["loops", "pooled", "compact"].contains(&it.as_str());
        asked.iter().find(named).is_none() || asked.iter().any(|it| it == mode)
    };
    let shown = asked.iter().any(|it| it == "progress");
    rounds.retain(|it| sizes.is_empty() || sizes.contains(&it.farms.len()));
    for round in &rounds {
        if wanted("loops") {
            one("loops", round, shown);
        }
        if round.farms.len() <= 12 && wanted("compact") {
            let before = Instant::now();
            let (objective, bound) = compact::solve(round, seconds(round));
            let wall = before.elapsed().as_secs_f64();
            println!(
                "{:5}  HiGHS     {:5}  {objective:9}  {bound:9.0}            {wall:7.1}",
                round.farms.len(),
                round.parcel_cost
            );
        }
        for cost in if wanted("pooled") { &[0, 600][..] } else { &[] } {
            let pooled = RoundInput { mode: Mode::Pooled, parcel_cost: *cost, ..round.clone() };
            one("pooled", &pooled, shown);
        }
    }
}

fn read(path: &std::path::Path) -> RoundInput {
    let text = std::fs::read_to_string(path).expect("the file can be read");
    let document = parse(&text).expect("JSON");
    RoundInput::read(&Fields::top(&document).expect("an object")).expect("a round")
}

fn seconds(round: &RoundInput) -> f64 {
    let asked = std::env::var("SPARELOOP_ROUNDS_SECONDS").ok().and_then(|it| it.parse().ok());
    asked.unwrap_or(match round.farms.len() {
        0..=20 => 20.0,
        21..=100 => 30.0,
        101..=300 => 60.0,
        _ => 120.0,
    })
}

fn one(mode: &str, round: &RoundInput, shown: bool) {
    let mut round = round.clone();
    (round.seconds, round.gap, round.work) = (seconds(&round), 0.0, None);
    if let Some(seed) = std::env::var("SPARELOOP_ROUNDS_SEED").ok().and_then(|it| it.parse().ok()) {
        round.seed = seed;
    }
    // Linux: forget the peak so far.
    let _ = std::fs::write("/proc/self/clear_refs", "5");
    let (clock, cpu, stop) = (Since(Instant::now()), cpu_seconds(), AtomicBool::new(false));
    let hears = |it: Progress| {
        if shown {
            println!("{:7.2} s  {}", clock.seconds(), words::progress(&it));
        }
    };
    let answer = solve(&round, None, &Outside { clock: &clock, stop: &stop, hears: &hears });
    let (wall, cpu) = (clock.seconds(), cpu_seconds() - cpu);
    assert_eq!(check(&round, &answer.swaps), Ok(i128::from(answer.objective)));
    println!(
        "{:5}  {mode:8}  {:5}  {:9}  {:9.0}  {:6.2}  {wall:7.1}  {cpu:7.1}  {:8.0}",
        round.farms.len(),
        round.parcel_cost,
        answer.objective,
        answer.bound,
        100.0 * answer.gap(),
        peak_mebibytes()
    );
}

/// Of this process, by Linux's own account in hundredths of seconds; 0 elsewhere.
fn cpu_seconds() -> f64 {
    let text = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let after_name = text.rsplit(')').next().unwrap_or_default();
    let ticks =
        after_name.split_whitespace().skip(11).take(2).filter_map(|it| it.parse::<f64>().ok());
    ticks.sum::<f64>() / 100.0
}

fn peak_mebibytes() -> f64 {
    let text = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = text.lines().find_map(|it| it.strip_prefix("VmHWM:"));
    line.and_then(|it| it.split_whitespace().next()?.parse::<f64>().ok()).unwrap_or(0.0) / 1024.0
}
