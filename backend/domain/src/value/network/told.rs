//! Values, likely ranges and reasons from what a network published: the same on every machine.
//!
//! What may not enter: anything of the one who asks. A value never depends on that.

use serde::{Deserialize, Serialize};

use super::explain::{self, Step};
use super::records::VarietyRecord;
use super::{Multiplying, Published, PublishedError, PublishedVariety};
use crate::dice::Dice;
use crate::exchange::owed::Tenths;
use crate::value::{
    Accepted, Draw, DrawnValue, Market, Multiplication, Reasons, Shares, Substitutes, Want, Worth,
    WorthError, in_tenths, lot_unit_value, median, over_draws, rebuild_value, value_sentence,
};
use crate::words::UnitKind;

/// How well a want's first choice, second, third ... suits it: 1, 0.9, 0.8, down to 0.5 (ours: a
/// want says in which order, not by how much).
pub fn worth_of_choice(place: usize) -> Result<Worth, WorthError> {
    let tenths = 10 - u8::try_from(place).unwrap_or(u8::MAX).min(5);
    Worth::new(f64::from(tenths) / 10.0)
}

/// What a unit of one variety is worth in a network, with the figures behind it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ToldValue {
    /// The variety's name.
    pub variety: String,
    /// What a unit is.
    pub unit: UnitKind,
    /// The values over the winters drawn.
    pub value: DrawnValue,
    /// The value as a round takes it.
    pub tenths: Tenths,
    /// What a unit that nobody takes is worth to its owner.
    pub reserve: f64,
    /// What a unit is worth to a want that hopes for it before any other.
    pub to_a_want: f64,
    /// What a plant gives, and why.
    pub multiplying: Multiplying,
    /// The product.
    pub multiplication: f64,
    /// The median variety's.
    pub median: f64,
    /// Units offered and free.
    pub offered: u32,
    /// Units of those left at planting: 1 winter in 10 leaves the first or fewer, 9 in 10 the second.
    pub left: (u32, u32),
    /// The share of the units offered that is expected to be left then; 0 where none is offered.
    pub left_share: f64,
    /// How it is wanted.
    pub wanted: Substitutes,
    /// All of it in a sentence.
    pub sentence: String,
}

/// The values of all that is offered or wanted, by unit kind and then by name.
pub fn values_of(published: &Published) -> Result<Vec<ToldValue>, PublishedError> {
    if !published.holds_together() {
        return Err(PublishedError::Inconsistent);
    }
    let multiplications = multiplications(published)?;
    let mut told = Vec::new();
    for unit in UnitKind::ALL {
        if published.offered.iter().any(|it| it.unit == *unit)
            || published.wanted.iter().any(|it| it.unit == *unit)
        {
            told.extend(of_kind(published, &multiplications, *unit)?);
        }
    }
    Ok(told)
}

fn multiplications(published: &Published) -> Result<Vec<Multiplication>, PublishedError> {
    let of = |variety: &PublishedVariety| variety.multiplying.multiplication();
    Ok(published.varieties.iter().map(of).collect::<Result<_, _>>()?)
}

fn wants_of_kind(published: &Published, unit: UnitKind) -> Result<Vec<Want>, PublishedError> {
    let accepted = |(place, variety): (usize, &usize)| {
        Ok(Accepted { variety: *variety, worth: worth_of_choice(place)? })
    };
    published
        .wanted
        .iter()
        .filter(|want| want.unit == unit)
        .map(|want| {
            let accepts = want.accepts.iter().enumerate().map(accepted);
            Ok(Want { count: want.count, accepts: accepts.collect::<Result<_, WorthError>>()? })
        })
        .collect()
}

/// Winter by winter: what is left of every variety, and which wants have lapsed.
fn winters(published: &Published, unit: UnitKind, wants: usize) -> Vec<Draw> {
    let mut dice = Dice::new(published.seed);
    let offered: Vec<_> = published.offered.iter().filter(|it| it.unit == unit).collect();
    (0..published.winters())
        .map(|winter| {
            let mut supply = vec![0; published.varieties.len()];
            for offer in &offered {
                supply[offer.variety] += u64::from(offer.left[winter]);
            }
            let lapsed: Vec<usize> =
                (0..wants).filter(|_| dice.share() < published.lapse).collect();
            Draw::new(supply).with_lapsed(lapsed)
        })
        .collect()
}

fn of_kind(
    published: &Published,
    multiplications: &[Multiplication],
    unit: UnitKind,
) -> Result<Vec<ToldValue>, PublishedError> {
    let wants = wants_of_kind(published, unit)?;
    let winters = winters(published, unit, wants.len());
    let shares = Shares::new(published.reserve_share, published.want_share)?;
    let market = Market::new(multiplications, wants, shares)?;
    // There is at least one winter: the document holds together.
    let values = over_draws(&market, winters).map_err(|_| PublishedError::Inconsistent)?.values;
    let median = median(multiplications).unwrap_or(0.0);
    let wanted = Substitutes::of(&market);
    let told = published.varieties.iter().enumerate().filter_map(|(at, variety)| {
        let offers = || published.offered.iter().filter(|it| (it.variety, it.unit) == (at, unit));
        let wanted = wanted[at];
        if offers().next().is_none() && wanted == Substitutes::default() {
            return None;
        }
        let left: Vec<u32> = (0..published.winters())
            .map(|winter| offers().map(|offer| offer.left[winter]).sum())
            .collect();
        let offered = offers().map(|offer| offer.count).sum();
        let expected = left.iter().map(|units| f64::from(*units)).sum::<f64>() / left.len() as f64;
        let mut one = ToldValue {
            variety: variety.name.clone(),
            unit,
            value: values[at],
            tenths: in_tenths(values[at].value),
            reserve: market.reserve(at),
            to_a_want: published.want_share * values[at].rebuild,
            multiplying: variety.multiplying,
            multiplication: multiplications[at].get(),
            median,
            offered,
            left: likely(left),
            left_share: if offered > 0 { expected / f64::from(offered) } else { 0.0 },
            wanted,
            sentence: String::new(),
        };
        one.sentence = value_sentence(&one.reasons());
        Some(one)
    });
    Ok(told.collect())
}

/// The 10th and the 90th percentile.
fn likely(mut of: Vec<u32>) -> (u32, u32) {
    of.sort_unstable();
    let at = |tenths: usize| of.get((of.len() * tenths).div_ceil(10).max(1) - 1).copied();
    (at(1).unwrap_or(0), at(9).unwrap_or(0))
}

impl ToldValue {
    /// The unit value of one lot of the variety, of whose units this share is expected to be left
    /// at planting: what comes up of those is the same for all, so only the shares differ.
    pub fn of_lot(&self, left_share: f64) -> Tenths {
        in_tenths(lot_unit_value(self.value.value, left_share, self.left_share))
    }

    fn reasons(&self) -> Reasons {
        Reasons {
            value: self.value.value,
            likely: Some((self.value.p10, self.value.p90)),
            multiplication: self.multiplication,
            median: self.median,
            spare: self.offered.into(),
            substitutes: self.wanted,
        }
    }
}

/// What a unit of a variety is worth that is neither offered nor wanted.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Unlisted {
    /// What a plant gives by the farm's own records, drawn towards the network's.
    pub multiplying: Multiplying,
    /// The product.
    pub multiplication: f64,
    /// The median of the varieties on the board.
    pub median: f64,
    /// By yield scarcity alone.
    pub rebuild: f64,
    /// What it is worth to its owner while nobody asks for it.
    pub reserve: f64,
    /// All of it in a sentence.
    pub sentence: String,
    /// Every step with its figures.
    pub steps: Vec<Step>,
}

/// The value of a variety of the farm's own that isn't on the board.
pub fn unlisted(published: &Published, own: &VarietyRecord) -> Result<Unlisted, PublishedError> {
    let multiplying = published.priors.drawn(own);
    let multiplication = multiplying.multiplication()?;
    // Held against the board's varieties, whose median it doesn't move.
    let median = median(&multiplications(published)?).unwrap_or_else(|| multiplication.get());
    let rebuild = rebuild_value(multiplication, median);
    let reserve = published.reserve_share * rebuild;
    let sentence = value_sentence(&Reasons {
        value: reserve,
        likely: None,
        multiplication: multiplication.get(),
        median,
        spare: 0,
        substitutes: Substitutes::default(),
    });
    let multiplication = multiplication.get();
    let steps = explain::to_its_owner(published, &multiplying, (multiplication, median), rebuild);
    Ok(Unlisted { multiplying, multiplication, median, rebuild, reserve, sentence, steps })
}
