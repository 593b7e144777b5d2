//! A round in words: what each farm gives and gets, why a want stayed open, what can't be exceeded.
//!
//! What may not enter: numbers that aren't in the round or its answer.

use std::collections::HashSet;

use crate::answer::{Move, Swaps, gap};
use crate::input::{Mode, Pair, RoundInput};
use crate::watch::Progress;

/// How far a run is, in a line.
pub fn progress(it: &Progress) -> String {
    if !it.bound.is_finite() {
        return format!("value {}", grouped(it.objective));
    }
    let (bound, gap) = (grouped_number(it.bound), 100.0 * gap(it.objective, it.bound));
    format!("value {}; nothing can exceed {bound} ({gap:.1} % apart)", grouped(it.objective))
}

/// What a round comes to, beside what its certificate proves.
///
/// ```
/// let line = spareloop_rounds::words::value(850_155, Some(954_382.0));
/// assert_eq!(line, "value 850,155; no clearing can exceed 954,382 (89 %)");
/// ```
pub fn value(objective: i64, certified: Option<f64>) -> String {
    match certified {
        Some(bound) if bound > 0.0 => {
            let share = (100.0 * objective as f64 / bound).floor();
            let bound = grouped_number(bound);
            format!("value {}; no clearing can exceed {bound} ({share} %)", grouped(objective))
        }
        _ => format!("value {}", grouped(objective)),
    }
}

/// What every farm gives and gets, a line a farm and loop (on a swap day: a line a farm).
pub fn proposals(input: &RoundInput, swaps: &Swaps) -> Vec<String> {
    match swaps {
        Swaps::Loops(loops) => loops
            .iter()
            .enumerate()
            .flat_map(|(at, it)| {
                let line = move |&farm: &usize| of_farm(input, farm, &it.moves);
                it.farms.iter().map(line).map(move |line| format!("Loop {}: {line}", at + 1))
            })
            .collect(),
        Swaps::Pooled(moves) => {
            let takes_part = |&farm: &usize| {
                moves.iter().any(|it| {
                    input.offers[it.offer].farm == farm || input.wants[it.want].farm == farm
                })
            };
            (0..input.farms.len())
                .filter(takes_part)
                .map(|farm| of_farm(input, farm, moves))
                .collect()
        }
    }
}

/// "f1, you give 6 v3 and 4 v7, you get 7 v2; worth 13.4 against 13.0; 2 parcels".
fn of_farm(input: &RoundInput, farm: usize, moves: &[Move]) -> String {
    let (mut given, mut got) = (Vec::new(), Vec::new());
    let (mut worth_given, mut worth_got) = (0, 0);
    let mut parcels = HashSet::new();
    for it in moves {
        let (offer, want) = (&input.offers[it.offer], &input.wants[it.want]);
        let said = format!("{} {}", it.count, offer.variety);
        if offer.farm == farm {
            given.push(said);
            worth_given += it.count * offer.unit_value;
            parcels.insert((farm, want.farm));
        } else if want.farm == farm {
            got.push(said);
            worth_got += it.count * offer.unit_value;
            parcels.insert((offer.farm, farm));
        }
    }
    let parcels = match parcels.len() {
        1 => "1 parcel".to_owned(),
        more => format!("{more} parcels"),
    };
    let nothing =
        |list: &[String]| if list.is_empty() { "nothing".to_owned() } else { listed(list) };
    format!(
        "{}, you give {}, you get {}; worth {} against {}; {parcels}",
        input.farms[farm].id,
        nothing(&given),
        nothing(&got),
        tenths(worth_given),
        tenths(worth_got)
    )
}

/// Why units of a want stayed open.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Open {
    /// No other farm offers what it accepts.
    NoSpare,
    /// There is some, but none of it may come here: distance, a statement, a movement rule.
    NoneMayCome,
    /// Its farm has nothing that another farm within reach wants, so that it can't give in turn.
    NothingToGive,
    /// What may come is promised to others, or no even swap could be found.
    NotThisTime,
}

impl Open {
    /// Why, and what would have to change.
    pub const fn words(self) -> &'static str {
        match self {
            Self::NoSpare => {
                "no spare of it anywhere; accept another variety, or wait for more offers"
            }
            Self::NoneMayCome => {
                "there is spare, but only beyond your distance or without a statement that you ask for"
            }
            Self::NothingToGive => {
                "nothing that you offer is wanted within reach; offer something else"
            }
            Self::NotThisTime => {
                "what there is went elsewhere or could not be made even; stays for the next round"
            }
        }
    }
}

/// Why a want stayed open, whatever of it was filled.
pub fn why_open(input: &RoundInput, want: usize) -> Open {
    let it = &input.wants[want];
    let fits = |pair: &&Pair| {
        let offer = &input.offers[pair.offer];
        offer.smallest_parcel <= offer.count.min(input.wants[pair.want].count)
    };
    let accepted = |variety: &String| it.accepts.iter().any(|(known, _)| known == variety);
    let somewhere = input.offers.iter().any(|offer| {
        offer.farm != it.farm
            && accepted(&offer.variety)
            && offer.smallest_parcel <= offer.count.min(it.count)
    });
    if !somewhere {
        return Open::NoSpare;
    }
    if !input.pairs.iter().filter(fits).any(|pair| pair.want == want) {
        return Open::NoneMayCome;
    }
    let gives =
        input.pairs.iter().filter(fits).any(|pair| input.offers[pair.offer].farm == it.farm);
    if matches!(input.mode, Mode::Loops { .. }) && !gives {
        Open::NothingToGive
    } else {
        Open::NotThisTime
    }
}

/// A line for every want that stayed open, with what would have to change.
pub fn open_wants(input: &RoundInput, swaps: &Swaps) -> Vec<String> {
    let mut filled = vec![0; input.wants.len()];
    let moves: Vec<&Move> = match swaps {
        Swaps::Loops(loops) => loops.iter().flat_map(|it| &it.moves).collect(),
        Swaps::Pooled(moves) => moves.iter().collect(),
    };
    for it in moves {
        filled[it.want] += it.count;
    }
    let line = |(at, want): (usize, &crate::input::Want)| {
        let open = want.count - filled[at];
        let first = want.accepts.first().map_or("", |(variety, _)| variety);
        (open > 0).then(|| {
            let farm = &input.farms[want.farm].id;
            let why = why_open(input, at).words();
            format!("{farm}, your want {} ({first}) stays open for {open}: {why}", want.id)
        })
    };
    input.wants.iter().enumerate().filter_map(line).collect()
}

fn listed(list: &[String]) -> String {
    match list {
        [] => String::new(),
        [one] => one.clone(),
        [head @ .., last] => format!("{} and {last}", head.join(", ")),
    }
}

/// Tenths as people add them up.
fn tenths(tenths: i64) -> String {
    format!("{}.{}", tenths / 10, tenths % 10)
}

fn grouped_number(number: f64) -> String {
    #[allow(clippy::cast_possible_truncation)] // far within 64 bits, and only said
    let whole = number.floor() as i64;
    grouped(whole)
}

fn grouped(number: i64) -> String {
    let digits = number.unsigned_abs().to_string();
    let mut said = String::new();
    for (at, digit) in digits.chars().enumerate() {
        if at > 0 && (digits.len() - at).is_multiple_of(3) {
            said.push(',');
        }
        said.push(digit);
    }
    if number < 0 { format!("-{said}") } else { said }
}
