//! Offers, wants and records of all farms of a network, made into one document.
//!
//! A farm's records of a variety are used where the farm itself has put it on the board, or where
//! at least [`LEAST_FARMS`] farms have records of it, so that nobody learns of a variety that a farm
//! keeps to itself. Winters are drawn here, once. What may not enter: names and ids of farms.

use std::collections::{BTreeMap, BTreeSet};

use super::records::{VarietyRecord, VarietyRecords};
use super::{FORM, Priors, Published, PublishedOffer, PublishedVariety, PublishedWant};
use crate::chance::{Distribution, Tail};
use crate::dice::Dice;
use crate::words::{Day, UnitKind, VarietyName};

/// Winters that are drawn (ours): the 10th and 90th percentile then have ten draws beyond them.
pub const DRAWS: usize = 100;
/// The chance that a want lapses before planting: 5 in 100 (ours, no source).
pub const LAPSE: f64 = 0.05;
/// With fewer farms one could work out a single one's records (ours).
pub const LEAST_FARMS: usize = crate::belief::LEAST_FARMS as usize;

/// One farm's records, and what it has put on the board itself.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct OnBoard {
    /// What its book says.
    pub records: VarietyRecords,
    /// Folded names of the varieties that it offers or wants.
    pub varieties: BTreeSet<String>,
}

/// What one offer holds free.
#[derive(Debug, Clone, PartialEq)]
pub struct OfferedStock {
    /// The variety.
    pub variety: VarietyName,
    /// What a unit is.
    pub unit: UnitKind,
    /// Units free today.
    pub count: u32,
    /// Units of those that are left at planting.
    pub left: Distribution,
}

/// What one want has open.
#[derive(Debug, Clone, PartialEq)]
pub struct WantedUnits {
    /// What a unit is.
    pub unit: UnitKind,
    /// Units still open.
    pub count: u32,
    /// The first choice, then what would do instead, best first.
    pub varieties: Vec<VarietyName>,
}

/// Units left of `count` taken unsorted out of a lot of `lot`, of which so many are left.
pub fn thinned(lot: u32, left: &Distribution, count: u32) -> Distribution {
    if count >= lot {
        return left.clone();
    }
    let mut chances = vec![0.0; count as usize + 1];
    for alive in 0..=lot {
        let chance = left.chance(alive as usize);
        if chance > 0.0 {
            Distribution::hypergeometric(lot.into(), alive.into(), count.into())
                .add_to(&mut chances, chance);
        }
    }
    Distribution::from_chances(chances)
}

/// The document; the same from the same, whatever the order of farms, offers and wants.
pub fn publish(
    made: Day,
    seed: u64,
    farms: &[OnBoard],
    offered: Vec<OfferedStock>,
    wanted: Vec<WantedUnits>,
) -> Published {
    let names = names(&offered, &wanted);
    let all = pooled(farms.iter().map(|farm| &farm.records));
    let priors = Priors::of(&all.values().map(|(record, _)| *record).collect::<Vec<_>>());
    let place: BTreeMap<&str, usize> =
        names.keys().enumerate().map(|(at, key)| (key.as_str(), at)).collect();
    let varieties = names
        .iter()
        .map(|(key, name)| PublishedVariety {
            name: name.clone(),
            multiplying: priors.drawn(&shown(key, farms, &all)),
        })
        .collect();
    // Every name is among the names.
    let place = |name: &VarietyName| place.get(name.key().as_str()).copied().unwrap_or(0);
    let shares = (0.5, 1.5);
    Published {
        form: FORM,
        made,
        seed,
        lapse: LAPSE,
        reserve_share: shares.0,
        want_share: shares.1,
        priors,
        varieties,
        offered: offers(offered, place, seed),
        wanted: wants(&wanted, place),
    }
}

/// By folded name, the spelling that comes first.
fn names(offered: &[OfferedStock], wanted: &[WantedUnits]) -> BTreeMap<String, String> {
    let wanted = wanted.iter().flat_map(|want| &want.varieties);
    let mut names: BTreeMap<String, String> = BTreeMap::new();
    for name in offered.iter().map(|offer| &offer.variety).chain(wanted) {
        let spelled = name.as_str().to_owned();
        let known = names.entry(name.key()).or_insert_with(|| spelled.clone());
        if spelled < *known {
            *known = spelled;
        }
    }
    names
}

type Pooled<'a> = BTreeMap<&'a str, (VarietyRecord, usize)>;

/// Sums over farms, and of how many.
fn pooled<'a>(farms: impl Iterator<Item = &'a VarietyRecords>) -> Pooled<'a> {
    let mut sums: Pooled<'a> = BTreeMap::new();
    for (key, record) in farms.flat_map(|records| &records.0) {
        if record.tells() {
            let (sum, farms) = sums.entry(key).or_default();
            *sum = sum.and(*record);
            *farms += 1;
        }
    }
    sums
}

fn shown(key: &str, farms: &[OnBoard], all: &Pooled<'_>) -> VarietyRecord {
    match all.get(key) {
        Some((record, of)) if *of >= LEAST_FARMS => *record,
        _ => farms
            .iter()
            .filter(|farm| farm.varieties.contains(key))
            .filter_map(|farm| farm.records.0.get(key))
            .fold(VarietyRecord::default(), |sum, record| sum.and(*record)),
    }
}

fn offers(
    mut offered: Vec<OfferedStock>,
    place: impl Fn(&VarietyName) -> usize,
    seed: u64,
) -> Vec<PublishedOffer> {
    // Sums of chances depend on their order by rounding.
    offered.sort_by(|one, other| {
        let by = |it: &OfferedStock| (place(&it.variety), it.unit, it.count);
        by(one).cmp(&by(other)).then(one.left.mean().total_cmp(&other.left.mean()))
    });
    let mut sums: BTreeMap<(usize, UnitKind), (u32, Distribution)> = BTreeMap::new();
    for offer in offered {
        let sum = sums
            .entry((place(&offer.variety), offer.unit))
            .or_insert_with(|| (0, Distribution::certain(0)));
        *sum = (sum.0.saturating_add(offer.count), sum.1.convolve(&offer.left, Tail::Cut));
    }
    let mut dice = Dice::new(seed);
    sums.into_iter()
        .map(|((variety, unit), (count, left))| {
            let winter = |_| u32::try_from(left.quantile(dice.share())).unwrap_or(count).min(count);
            PublishedOffer { variety, unit, count, left: (0..DRAWS).map(winter).collect() }
        })
        .collect()
}

fn wants(wanted: &[WantedUnits], place: impl Fn(&VarietyName) -> usize) -> Vec<PublishedWant> {
    let mut wants: Vec<PublishedWant> = wanted
        .iter()
        .map(|want| {
            let mut accepts = Vec::new();
            for variety in want.varieties.iter().map(&place) {
                // Two spellings of one name.
                if !accepts.contains(&variety) {
                    accepts.push(variety);
                }
            }
            PublishedWant { unit: want.unit, count: want.count, accepts }
        })
        .filter(|want| want.count > 0 && !want.accepts.is_empty())
        .collect();
    wants.sort_by(|one, other| {
        (one.unit, &one.accepts, one.count).cmp(&(other.unit, &other.accepts, other.count))
    });
    wants
}
