//! What to mind about the air around stock: cold, warmth, dryness, water under film.
//!
//! Dryness is judged by packing and by where the sensor sits: dry air over film-wrapped stock is no
//! warning, water under the film is. Sources disagree on humidity, so that every threshold is a
//! setting. The alarm of frost stands apart from the lesser warnings and nothing mutes it. What may
//! not enter: what was found at a look.

use super::{Celsius, Series, Spell, Sums, Thresholds};
use crate::ledger::body::Sensor;
use crate::settings::Settings;
use crate::words::{Day, Packing};

/// How grave a temperature is.
#[derive(Debug, Clone, PartialEq)]
pub struct Temperatures {
    /// Spells at or under the alarm; never muted.
    pub alarm: Vec<Spell>,
    /// Nights with a reading at or under the alarm, each told by the day on which it ends.
    pub alarm_nights: Vec<Day>,
    /// Spells at or under the lesser warning.
    pub cold: Vec<Spell>,
    /// Nights with a reading at or under the lesser warning.
    pub cold_nights: Vec<Day>,
    /// Readings at or over the warning of warmth.
    pub warm_readings: u64,
}

/// Nights of frost that follow one another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Frost {
    /// How many.
    pub nights: usize,
    /// The first, told by the day on which it ends.
    pub first: Day,
    /// The last.
    pub last: Day,
    /// Hours at or under the alarm.
    pub hours: f64,
    /// The lowest reading.
    pub lowest: Celsius,
}

impl Temperatures {
    /// Holds a series against the farm's rules.
    pub fn of(series: &Series, settings: &Settings) -> Self {
        let warm = |point: &&super::Point| point.temperature >= settings.warn_at_or_over;
        Self {
            alarm: series.spells_at_or_under(settings.alarm_at_or_under),
            alarm_nights: series.nights_at_or_under(settings.alarm_at_or_under),
            cold: series.spells_at_or_under(settings.warn_at_or_under),
            cold_nights: series.nights_at_or_under(settings.warn_at_or_under),
            warm_readings: series.points().iter().filter(warm).count() as u64,
        }
    }

    /// Nights at or under the alarm, those that follow one another within two days put together.
    pub fn frosts<'a>(&'a self, series: &'a Series) -> impl Iterator<Item = Frost> + 'a {
        self.alarm_nights.chunk_by(|one, next| next.days_since(*one) <= 2).filter_map(|nights| {
            let (first, last) = (*nights.first()?, *nights.last()?);
            let within = |spell: &&Spell| {
                series.night(spell.from).is_some_and(|night| (first..=last).contains(&night))
                    || series.night(spell.to).is_some_and(|night| (first..=last).contains(&night))
            };
            let spells = || self.alarm.iter().filter(within);
            let coldest =
                spells().min_by(|a, b| a.lowest.degrees().total_cmp(&b.lowest.degrees()))?;
            let hours = spells().map(Spell::hours).sum();
            Some(Frost { nights: nights.len(), first, last, hours, lowest: coldest.lowest })
        })
    }

    /// The coldest spell: of the cold ones that with the lowest reading, of equals the longest.
    pub fn coldest_spell(&self) -> Option<Spell> {
        self.cold.iter().copied().min_by(|a, b| {
            let lowest = a.lowest.degrees().total_cmp(&b.lowest.degrees());
            lowest.then(b.hours().total_cmp(&a.hours()))
        })
    }
}

/// What the humidity says of stock in one packing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Moisture {
    /// The logger reads no humidity.
    NotRead,
    /// Nothing to mind.
    Fine,
    /// The air is dry, and film keeps it out.
    DryOutsideFilm,
    /// The air of the room is dry, and the packing holds some water of its own: feel it.
    FeelThePacking,
    /// Dry air reaches the tubers.
    Drying,
    /// Water stands under the film.
    WaterUnderFilm,
}

impl Settings {
    /// The thresholds that hours are counted by.
    pub const fn thresholds(&self) -> Thresholds {
        Thresholds {
            band: (self.store_from, self.store_to),
            dry: self.dry_at_or_under,
            damp: self.condensation_at_or_over,
        }
    }
}

impl Moisture {
    /// Judges sums by packing and by where the sensor sits. Less than the settings' hours say
    /// nothing.
    pub fn of(packing: Option<Packing>, sensor: Sensor, sums: &Sums, settings: &Settings) -> Self {
        if sums.hours_with_humidity <= 0.0 {
            return Self::NotRead;
        }
        let long = |hours: f64| hours >= f64::from(settings.humidity_hours);
        let (dry, damp) = (long(sums.dry), long(sums.damp));
        match (packing, sensor) {
            (Some(Packing::FilmWrap), Sensor::InsideTote) if damp => Self::WaterUnderFilm,
            (Some(Packing::FilmWrap), _) if dry => Self::DryOutsideFilm,
            (Some(Packing::FilmWrap), _) => Self::Fine,
            (
                Some(
                    Packing::Vermiculite
                    | Packing::Peat
                    | Packing::Shavings
                    | Packing::Sand
                    | Packing::Soil,
                ),
                Sensor::Room,
            ) if dry => Self::FeelThePacking,
            (_, _) if dry => Self::Drying,
            (_, _) => Self::Fine,
        }
    }

    /// In words, for lots in a packing; nothing where there is nothing to say.
    pub fn sentence(self, sums: &Sums) -> Option<String> {
        match self {
            Self::NotRead | Self::Fine => None,
            Self::DryOutsideFilm => {
                Some(format!("dry air for {:.0} hours, outside the film: no warning", sums.dry))
            }
            Self::FeelThePacking => Some(format!(
                "WARNING: dry air in the room for {:.0} hours; the packing holds some water, so feel it",
                sums.dry
            )),
            Self::Drying => Some(format!(
                "WARNING: dry air for {:.0} hours: look for shrivelling, moisten what is shrivelled but firm",
                sums.dry
            )),
            Self::WaterUnderFilm => Some(format!(
                "WARNING: water stands under the film for {:.0} hours: open it, dry it off, look for rot",
                sums.damp
            )),
        }
    }
}
