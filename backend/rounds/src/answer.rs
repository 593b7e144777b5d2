//! A round as it is answered: who passes what to whom, what it is worth, and what it can't exceed.
//!
//! What may not enter: how it was found, and whether it is right (`check` and `verify` say that).

use std::collections::HashMap;

use serde_json::{Map, Value, json};
use spareloop_domain::compute::fields::{Fields, Said};

use crate::error::{RoundError, RoundProblem};
use crate::input::{MOST_COUNT, Mode, RoundInput};

/// So many units of an offer to a want.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Move {
    /// A place in [`RoundInput::offers`].
    pub offer: usize,
    /// A place in [`RoundInput::wants`].
    pub want: usize,
    /// How many units.
    pub count: i64,
}

/// A loop: each farm gives to the next, the last to the first.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Loop {
    /// Places in [`RoundInput::farms`].
    pub farms: Vec<usize>,
    /// What is passed on.
    pub moves: Vec<Move>,
}

/// What is passed on in a round.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Swaps {
    /// Loop by loop.
    Loops(Vec<Loop>),
    /// All at once.
    Pooled(Vec<Move>),
}

/// Prices of a unit of every offer and want and of a tenth of every farm, in thousandths of a unit
/// of worth. Any prices prove a bound; good ones prove a close one.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Prices {
    /// One an offer, never below 0.
    pub offers: Vec<i64>,
    /// One a want, never below 0.
    pub wants: Vec<i64>,
    /// One a farm, of either sign.
    pub farms: Vec<i64>,
}

impl Prices {
    /// Nothing has a price: the bound is then what all loops could carry, each for itself.
    pub fn none(input: &RoundInput) -> Self {
        Self {
            offers: vec![0; input.offers.len()],
            wants: vec![0; input.wants.len()],
            farms: vec![0; input.farms.len()],
        }
    }
}

/// The answer to a round.
#[derive(Debug, Clone, PartialEq)]
pub struct RoundAnswer {
    /// Worth passed on less parcel costs.
    pub objective: i64,
    /// What no answer can exceed.
    pub bound: f64,
    /// What passes on.
    pub swaps: Swaps,
    /// The prices and the bound that they alone prove, in thousandths.
    pub certificate: Option<(Prices, i128)>,
    /// Rounds of search that were made.
    pub work: u64,
}

impl RoundAnswer {
    /// (bound − objective) / max(1, objective).
    pub fn gap(&self) -> f64 {
        gap(self.objective, self.bound)
    }

    /// As JSON, with the ids of `input`.
    pub fn to_json(&self, input: &RoundInput) -> Value {
        let mut fields = Map::new();
        fields.insert("objective".to_owned(), json!(self.objective));
        fields.insert("bound".to_owned(), json!(self.bound));
        fields.insert("gap".to_owned(), json!(self.gap()));
        match &self.swaps {
            Swaps::Loops(loops) => {
                let loops: Vec<Value> = loops.iter().map(|it| loop_to_json(it, input)).collect();
                fields.insert("loops".to_owned(), loops.into());
            }
            Swaps::Pooled(moves) => {
                fields.insert("moves".to_owned(), moves_to_json(moves, input));
            }
        }
        if let (Said::Something, Some((prices, thousandths))) =
            (input.certificate, &self.certificate)
        {
            fields.insert("duals".to_owned(), prices_to_json(prices, input));
            fields.insert("certified_bound".to_owned(), json!(from_thousandths(*thousandths)));
        }
        fields.insert("work".to_owned(), json!(self.work));
        fields.into()
    }
}

/// (bound − objective) / max(1, objective).
pub fn gap(objective: i64, bound: f64) -> f64 {
    ((bound - objective as f64) / objective.max(1) as f64).max(0.0)
}

/// Whole thousandths as a number, never below the exact one.
pub fn from_thousandths(thousandths: i128) -> f64 {
    let number = thousandths as f64 / 1000.0;
    // A division may round down by half a unit in the last place; a bound may not.
    if exact_below(number, thousandths) { number.next_up() } else { number }
}

/// Whether `number` × 1000 rounds to less than what it stands for; only beyond 2^53 it can matter.
fn exact_below(number: f64, thousandths: i128) -> bool {
    #[allow(clippy::cast_possible_truncation)] // saturates, and compares as the large number it is
    let back = (number * 1000.0).floor() as i128;
    back < thousandths
}

fn loop_to_json(it: &Loop, input: &RoundInput) -> Value {
    let farms: Vec<&str> = it.farms.iter().map(|&farm| input.farms[farm].id.as_str()).collect();
    json!({"farms": farms, "moves": moves_to_json(&it.moves, input)})
}

fn moves_to_json(moves: &[Move], input: &RoundInput) -> Value {
    let one = |it: &Move| {
        let (offer, want) = (&input.offers[it.offer].id, &input.wants[it.want].id);
        json!({"offer": offer, "want": want, "count": it.count})
    };
    moves.iter().map(one).collect()
}

fn prices_to_json(prices: &Prices, input: &RoundInput) -> Value {
    fn named<'a>(ids: impl Iterator<Item = &'a String>, prices: &[i64]) -> Map<String, Value> {
        ids.zip(prices)
            .filter(|&(_, &price)| price != 0)
            .map(|(id, price)| (id.clone(), json!(price)))
            .collect()
    }
    json!({
        "offers": named(input.offers.iter().map(|it| &it.id), &prices.offers),
        "wants": named(input.wants.iter().map(|it| &it.id), &prices.wants),
        "farms": named(input.farms.iter().map(|it| &it.id), &prices.farms),
    })
}

/// An answer as somebody states it: nothing of it is believed yet.
#[derive(Debug, Clone, PartialEq)]
pub struct StatedAnswer {
    /// The objective that is stated.
    pub objective: i64,
    /// What passes on.
    pub swaps: Swaps,
    /// Prices; those that aren't stated are 0.
    pub prices: Prices,
}

const KNOWN: [&str; 8] =
    ["objective", "bound", "gap", "loops", "moves", "duals", "certified_bound", "work"];

impl StatedAnswer {
    /// Reads the fields of an answer to `input`.
    ///
    /// # Errors
    /// The first field that is missing, of another type or unknown, or names what the round lacks.
    pub fn read(fields: &Fields<'_>, input: &RoundInput) -> Result<Self, RoundError> {
        fields.only(&KNOWN)?;
        let names = Names::new(input, Unknown::Refused);
        let objective = fields.signed("objective", i64::MIN, i64::MAX)?;
        Ok(Self {
            objective,
            swaps: names.swaps(fields, input)?,
            prices: names.prices(fields, input)?,
        })
    }

    /// Reads the fields of an answer to a round like `input`, from which a search is to go on: what
    /// `input` doesn't know any more is left out.
    ///
    /// # Errors
    /// The first field that is missing, of another type or unknown.
    pub fn read_standing(fields: &Fields<'_>, input: &RoundInput) -> Result<Self, RoundError> {
        fields.only(&KNOWN)?;
        let names = Names::new(input, Unknown::LeftOut);
        Ok(Self {
            objective: 0,
            swaps: names.swaps(fields, input)?,
            prices: names.prices(fields, input)?,
        })
    }
}

/// What becomes of an id that the round doesn't have.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Unknown {
    Refused,
    LeftOut,
}

type Places<'a> = HashMap<&'a str, usize>;

struct Names<'a> {
    farms: Places<'a>,
    offers: Places<'a>,
    wants: Places<'a>,
    unknown: Unknown,
}

impl<'a> Names<'a> {
    fn new(input: &'a RoundInput, unknown: Unknown) -> Self {
        fn places<'a>(ids: impl Iterator<Item = &'a String>) -> Places<'a> {
            ids.enumerate().map(|(at, id)| (id.as_str(), at)).collect()
        }
        Self {
            farms: places(input.farms.iter().map(|it| &it.id)),
            offers: places(input.offers.iter().map(|it| &it.id)),
            wants: places(input.wants.iter().map(|it| &it.id)),
            unknown,
        }
    }

    /// The place of an id; none if it has none and may be left out.
    fn place(
        &self,
        places: &Places<'_>,
        what: &'static str,
        id: String,
        field: impl Fn() -> String,
    ) -> Result<Option<usize>, RoundError> {
        match (places.get(id.as_str()), self.unknown) {
            (Some(&place), _) => Ok(Some(place)),
            (None, Unknown::LeftOut) => Ok(None),
            (None, Unknown::Refused) => {
                Err(RoundError::at(field(), RoundProblem::Unknown { what, id }))
            }
        }
    }

    fn swaps(&self, fields: &Fields<'_>, input: &RoundInput) -> Result<Swaps, RoundError> {
        match input.mode {
            Mode::Loops { .. } => {
                let loops = fields.objects("loops")?;
                let loops: Vec<Option<Loop>> =
                    loops.iter().map(|it| self.one_loop(it)).collect::<Result<_, _>>()?;
                Ok(Swaps::Loops(loops.into_iter().flatten().collect()))
            }
            Mode::Pooled => {
                let moves = self.moves(fields)?;
                Ok(Swaps::Pooled(moves.into_iter().flatten().collect()))
            }
        }
    }

    fn one_loop(&self, fields: &Fields<'_>) -> Result<Option<Loop>, RoundError> {
        fields.only(&["farms", "moves"])?;
        let farms: Vec<Option<usize>> = fields
            .texts("farms")?
            .into_iter()
            .enumerate()
            .map(|(at, id)| {
                self.place(&self.farms, "farm", id, || fields.name(&format!("farms[{at}]")))
            })
            .collect::<Result<_, _>>()?;
        let moves = self.moves(fields)?;
        let farms: Option<Vec<usize>> = farms.into_iter().collect();
        let moves: Option<Vec<Move>> = moves.into_iter().collect();
        Ok(farms.zip(moves).map(|(farms, moves)| Loop { farms, moves }))
    }

    fn moves(&self, fields: &Fields<'_>) -> Result<Vec<Option<Move>>, RoundError> {
        let one = |it: &Fields<'_>| {
            it.only(&["offer", "want", "count"])?;
            let offer =
                self.place(&self.offers, "offer", it.text("offer")?, || it.name("offer"))?;
            let want = self.place(&self.wants, "want", it.text("want")?, || it.name("want"))?;
            let count = it.signed("count", -MOST_COUNT, 2 * MOST_COUNT)?;
            Ok(offer.zip(want).map(|(offer, want)| Move { offer, want, count }))
        };
        fields.objects("moves")?.iter().map(one).collect()
    }

    fn prices(&self, fields: &Fields<'_>, input: &RoundInput) -> Result<Prices, RoundError> {
        let mut prices = Prices::none(input);
        if fields.says("duals") == Said::Nothing {
            return Ok(prices);
        }
        let duals = fields.object("duals")?;
        duals.only(&["offers", "wants", "farms"])?;
        let lists = [
            ("offers", "offer", &self.offers, &mut prices.offers),
            ("wants", "want", &self.wants, &mut prices.wants),
            ("farms", "farm", &self.farms, &mut prices.farms),
        ];
        for (field, what, places, list) in lists {
            if duals.says(field) == Said::Nothing {
                continue;
            }
            for (id, price) in duals.named_numbers(field)? {
                if let Some(place) = self.place(places, what, id, || duals.name(field))? {
                    list[place] = price;
                }
            }
        }
        Ok(prices)
    }
}
