//! What the tests of rounds share: invented rounds, and a clock that stands still.
#![allow(dead_code)] // each test program uses a part

use std::fmt::Write;
use std::sync::atomic::AtomicBool;

use spareloop_domain::compute::fields::{Fields, Said, parse};
use spareloop_domain::dice::Dice;
use spareloop_rounds::answer::RoundAnswer;
use spareloop_rounds::input::RoundInput;
use spareloop_rounds::solve::{Outside, solve};
use spareloop_rounds::watch::Clock;

/// Time never passes: a round stops by its gap or its work alone, on any machine alike.
pub(crate) struct Still;

impl Clock for Still {
    fn seconds(&self) -> f64 {
        0.0
    }
}

pub(crate) fn read(text: &str) -> RoundInput {
    let document = parse(text).expect("JSON");
    let fields = Fields::top(&document).expect("an object");
    let mut round = RoundInput::read(&fields).expect("a round");
    round.certificate = Said::Something;
    round
}

pub(crate) fn solved(round: &RoundInput) -> RoundAnswer {
    let stop = AtomicBool::new(false);
    solve(round, None, &Outside { clock: &Still, stop: &stop, hears: &|_| {} })
}

/// How large an invented round is.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Size {
    pub(crate) farms: u32,
    pub(crate) varieties: u32,
    pub(crate) offers: u32,
    pub(crate) wants: u32,
    pub(crate) most_count: u32,
}

/// An invented round of farms, offers and wants by luck.
pub(crate) fn invented(seed: u64, mode: &str, size: Size) -> String {
    let mut dice = Dice::new(seed);
    let values: Vec<u32> = (0..size.varieties).map(|_| 8 + dice.below(6)).collect();
    let (tolerance, cost) = (dice.below(12), [0, 20, 60][dice.below(3) as usize]);
    let mut text = format!(
        r#"{{"mode":"{mode}","max_loop":3,"loop_tolerance":{tolerance},"parcel_cost":{cost},"farms":["#
    );
    for at in 0..size.farms {
        let owed = i64::from(dice.below(11)) - 5;
        let comma = if at == 0 { "" } else { "," };
        write!(text, r#"{comma}{{"id":"f{at}","owed":{owed},"limit":{}}}"#, 5 + dice.below(20))
            .unwrap();
    }
    text.push_str(r#"],"offers":["#);
    for at in 0..size.offers {
        let (farm, variety) = (dice.below(size.farms), dice.below(size.varieties));
        let comma = if at == 0 { "" } else { "," };
        write!(
            text,
            r#"{comma}{{"id":"o{at}","farm":"f{farm}","variety":"v{variety}","count":{},"smallest_parcel":{},"unit_value":{}}}"#,
            1 + dice.below(size.most_count),
            1 + dice.below(2),
            values[variety as usize]
        )
        .unwrap();
    }
    text.push_str(r#"],"wants":["#);
    for at in 0..size.wants {
        let (farm, first) = (dice.below(size.farms), dice.below(size.varieties));
        let second = (first + 1) % size.varieties;
        let comma = if at == 0 { "" } else { "," };
        write!(
            text,
            r#"{comma}{{"id":"w{at}","farm":"f{farm}","count":{},"accepts":[{{"variety":"v{first}","worth":{}}},{{"variety":"v{second}","worth":{}}}]}}"#,
            1 + dice.below(size.most_count),
            20 + dice.below(40),
            10 + dice.below(20)
        )
        .unwrap();
    }
    text.push_str(r#"],"gap":0,"work":40,"seed":1}"#);
    text
}
