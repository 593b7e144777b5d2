//! A round as it is asked for: farms, offers, wants, and who may pass what to whom.
//!
//! Read strictly from JSON; every refusal names the field. Values, owed, limits and the tolerance are
//! whole tenths of swap value; worth and parcel cost are whole units of worth. What may not enter:
//! how a round is solved.

use std::collections::{HashMap, HashSet};

use spareloop_domain::compute::fields::{Fields, Said};
use spareloop_domain::compute::{ComputeError, Problem};

use crate::error::{RoundError, RoundProblem};

/// Most units of an offer or a want.
pub const MOST_COUNT: i64 = 1_000_000;
/// Most tenths that a unit may be worth, that a farm may owe, and that its limit may be.
pub const MOST_TENTHS: i64 = 1_000_000;
/// Most worth of a unit, and most cost of a parcel line.
pub const MOST_WORTH: i64 = 1_000_000_000;
/// Most farms that a loop may have.
pub const MOST_FARMS_A_LOOP: i64 = 4;

/// How farms swap in a round.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mode {
    /// Loops of a few farms, each giving to the next, each loop even by itself.
    Loops {
        /// Most farms a loop, 2 to 4.
        most_farms: usize,
        /// How far apart the values of a loop's parcels may lie, in tenths.
        tolerance: i64,
    },
    /// A swap day: everybody brings, everybody takes, each farm even over the day.
    Pooled,
}

/// A farm of the round.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Farm {
    /// Its id.
    pub id: String,
    /// What the network owes it, in tenths; below zero it owes the network.
    pub owed: i64,
    /// How far from even it may end, in tenths.
    pub limit: i64,
}

impl Farm {
    /// The least and the most that given − received may come to in this round, in tenths.
    pub fn may_move(&self) -> (i64, i64) {
        (self.owed.min(-self.limit) - self.owed, self.owed.max(self.limit) - self.owed)
    }
}

/// Stock that a farm offers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Offer {
    /// Its id.
    pub id: String,
    /// Whose, as a place in [`RoundInput::farms`].
    pub farm: usize,
    /// Of which variety.
    pub variety: String,
    /// How many units.
    pub count: i64,
    /// The least that its farm sends in one parcel.
    pub smallest_parcel: i64,
    /// What a unit is worth in a swap, in tenths.
    pub unit_value: i64,
}

/// What a farm wants.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Want {
    /// Its id.
    pub id: String,
    /// Whose, as a place in [`RoundInput::farms`].
    pub farm: usize,
    /// How many units.
    pub count: i64,
    /// Varieties that would do, with the worth of a unit.
    pub accepts: Vec<(String, i64)>,
}

/// An offer that may go to a want.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pair {
    /// A place in [`RoundInput::offers`].
    pub offer: usize,
    /// A place in [`RoundInput::wants`].
    pub want: usize,
    /// What a unit is worth to the want.
    pub worth: i64,
}

/// A round as it is asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct RoundInput {
    /// Loops or a swap day.
    pub mode: Mode,
    /// What a parcel line costs.
    pub parcel_cost: i64,
    /// Who takes part.
    pub farms: Vec<Farm>,
    /// What there is.
    pub offers: Vec<Offer>,
    /// What is wanted.
    pub wants: Vec<Want>,
    /// Which offer may go to which want, in order: of two farms, accepted, and within what distance,
    /// statements and movement rules allow.
    pub pairs: Vec<Pair>,
    /// Stop after this many seconds.
    pub seconds: f64,
    /// Stop at this gap.
    pub gap: f64,
    /// Stop after this many rounds of search, if told.
    pub work: Option<u64>,
    /// Seed of the search.
    pub seed: u64,
    /// Whether the answer carries its prices.
    pub certificate: Said,
}

const KNOWN: [&str; 14] = [
    "mode",
    "max_loop",
    "loop_tolerance",
    "parcel_cost",
    "farms",
    "offers",
    "wants",
    "pairs",
    "seconds",
    "gap",
    "work",
    "seed",
    "certificate",
    "standing",
];

impl RoundInput {
    /// Reads the fields of a document.
    ///
    /// # Errors
    /// The first field that is missing, of another type, out of bounds, unknown or doubled.
    pub fn read(fields: &Fields<'_>) -> Result<Self, RoundError> {
        fields.only(&KNOWN)?;
        let mode = mode(fields)?;
        let (farms, farm_places) = farms(fields)?;
        let (offers, offer_places) = offers(fields, &farm_places)?;
        let (wants, want_places) = wants(fields, &farm_places)?;
        let pairs = match fields.says("pairs") {
            Said::Nothing => every_pair(&offers, &wants),
            Said::Something => {
                let named = named_pairs(fields, &offer_places, &want_places)?;
                every_pair(&offers, &wants)
                    .into_iter()
                    .filter(|pair| named.contains(&(pair.offer, pair.want)))
                    .collect()
            }
        };
        let work = match fields.says("work") {
            Said::Nothing => None,
            Said::Something => Some(fields.whole("work", u64::MAX >> 12)?),
        };
        Ok(Self {
            mode,
            parcel_cost: fields.signed("parcel_cost", 0, MOST_WORTH)?,
            farms,
            offers,
            wants,
            pairs,
            seconds: at_least_zero(fields, "seconds", 60.0)?,
            gap: at_least_zero(fields, "gap", 0.01)?,
            work,
            seed: if fields.says("seed") == Said::Something {
                fields.whole("seed", u64::MAX)?
            } else {
                1
            },
            certificate: fields.yes_or("certificate", Said::Nothing)?,
        })
    }
}

fn mode(fields: &Fields<'_>) -> Result<Mode, RoundError> {
    let word = fields.text("mode")?;
    match word.as_str() {
        "loops" => {
            let most = fields.signed("max_loop", 2, MOST_FARMS_A_LOOP)?;
            Ok(Mode::Loops {
                most_farms: usize::try_from(most).unwrap_or(2),
                tolerance: fields.signed("loop_tolerance", 0, MOST_TENTHS)?,
            })
        }
        "pooled" => Ok(Mode::Pooled),
        other => {
            let problem = Problem::one_of(&["loops", "pooled"], other);
            Err(ComputeError::at("mode", problem).into())
        }
    }
}

fn at_least_zero(fields: &Fields<'_>, name: &str, default: f64) -> Result<f64, RoundError> {
    let got = fields.number_or(name, default)?;
    if got >= 0.0 {
        Ok(got)
    } else {
        Err(RoundError::at(fields.name(name), RoundProblem::Low { least: 0, got }))
    }
}

type Places = HashMap<String, usize>;

fn farms(fields: &Fields<'_>) -> Result<(Vec<Farm>, Places), RoundError> {
    let (mut farms, mut places) = (Vec::new(), Places::new());
    for farm in &fields.objects("farms")? {
        farm.only(&["id", "owed", "limit"])?;
        let id = new_id(farm, &mut places)?;
        let owed = farm.signed("owed", -MOST_TENTHS, MOST_TENTHS)?;
        farms.push(Farm { id, owed, limit: farm.signed("limit", 0, MOST_TENTHS)? });
    }
    Ok((farms, places))
}

fn offers(fields: &Fields<'_>, farms: &Places) -> Result<(Vec<Offer>, Places), RoundError> {
    let (mut offers, mut places) = (Vec::new(), Places::new());
    for offer in &fields.objects("offers")? {
        offer.only(&["id", "farm", "variety", "count", "smallest_parcel", "unit_value"])?;
        offers.push(Offer {
            id: new_id(offer, &mut places)?,
            farm: place(offer, "farm", "farm", farms)?,
            variety: offer.text("variety")?,
            count: offer.signed("count", 0, MOST_COUNT)?,
            smallest_parcel: offer.signed("smallest_parcel", 1, MOST_COUNT)?,
            unit_value: offer.signed("unit_value", 1, MOST_TENTHS)?,
        });
    }
    Ok((offers, places))
}

fn wants(fields: &Fields<'_>, farms: &Places) -> Result<(Vec<Want>, Places), RoundError> {
    let (mut wants, mut places) = (Vec::new(), Places::new());
    for want in &fields.objects("wants")? {
        want.only(&["id", "farm", "count", "accepts"])?;
        let mut accepts: Vec<(String, i64)> = Vec::new();
        for accepted in &want.objects("accepts")? {
            accepted.only(&["variety", "worth"])?;
            let variety = accepted.text("variety")?;
            if accepts.iter().any(|(known, _)| *known == variety) {
                let twice = RoundProblem::Twice { id: variety };
                return Err(RoundError::at(accepted.name("variety"), twice));
            }
            accepts.push((variety, accepted.signed("worth", 0, MOST_WORTH)?));
        }
        wants.push(Want {
            id: new_id(want, &mut places)?,
            farm: place(want, "farm", "farm", farms)?,
            count: want.signed("count", 0, MOST_COUNT)?,
            accepts,
        });
    }
    Ok((wants, places))
}

fn new_id(fields: &Fields<'_>, places: &mut Places) -> Result<String, RoundError> {
    let id = fields.text("id")?;
    if places.insert(id.clone(), places.len()).is_some() {
        return Err(RoundError::at(fields.name("id"), RoundProblem::Twice { id }));
    }
    Ok(id)
}

fn place(
    fields: &Fields<'_>,
    field: &str,
    what: &'static str,
    places: &Places,
) -> Result<usize, RoundError> {
    let id = fields.text(field)?;
    let found = places.get(&id).copied();
    found.ok_or_else(|| RoundError::at(fields.name(field), RoundProblem::Unknown { what, id }))
}

fn named_pairs(
    fields: &Fields<'_>,
    offers: &Places,
    wants: &Places,
) -> Result<HashSet<(usize, usize)>, RoundError> {
    let mut named = HashSet::new();
    for (at, [offer, want]) in fields.pairs("pairs")?.into_iter().enumerate() {
        let find = |id: String, what, places: &Places| {
            places.get(&id).copied().ok_or_else(|| {
                let name = fields.name(&format!("pairs[{at}]"));
                RoundError::at(name, RoundProblem::Unknown { what, id })
            })
        };
        named.insert((find(offer, "offer", offers)?, find(want, "want", wants)?));
    }
    Ok(named)
}

/// Every offer with every want of another farm that accepts its variety.
fn every_pair(offers: &[Offer], wants: &[Want]) -> Vec<Pair> {
    let mut of_variety: HashMap<&str, Vec<(usize, i64)>> = HashMap::new();
    for (at, want) in wants.iter().enumerate() {
        for (variety, worth) in &want.accepts {
            of_variety.entry(variety).or_default().push((at, *worth));
        }
    }
    let mut pairs = Vec::new();
    for (at, offer) in offers.iter().enumerate() {
        for &(want, worth) in of_variety.get(offer.variety.as_str()).into_iter().flatten() {
            if wants[want].farm != offer.farm {
                pairs.push(Pair { offer: at, want, worth });
            }
        }
    }
    pairs
}
