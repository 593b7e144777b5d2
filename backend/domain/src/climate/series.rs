//! Readings of one logger as a series, and what they add up to.
//!
//! Between two readings that follow one another closely the air is taken to change evenly: time
//! under a threshold is cut where the line crosses it, and the deficit is summed by the trapezoid
//! rule over the deficits at both ends (FAO-56 equation 11 each). Where readings lie more than three
//! usual steps apart nobody knows what was between: that is a gap, and no hour of it is counted.
//! What may not enter: what lies in the place, and what it suffers from the air.

use super::{Celsius, RelativeHumidity, vapour};
use crate::words::Day;

/// One reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Milliseconds since 1970-01-01 UTC.
    pub millis: u64,
    /// Temperature.
    pub temperature: Celsius,
    /// Relative humidity, if the logger reads it.
    pub humidity: Option<RelativeHumidity>,
}

/// Readings in order of time, one a moment, and the clock by which days are told.
#[derive(Debug, Clone, PartialEq)]
pub struct Series {
    points: Vec<Point>,
    utc_offset_minutes: i16,
    longest_step: u64,
}

/// Steps between readings, in usual ones, from which on there is a gap (ours, no source).
const STEPS_OF_A_GAP: u64 = 3;

const HOUR: f64 = 3_600_000.0;
const DAY: i64 = 86_400_000;

/// A time without readings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Gap {
    /// The last reading before it, in milliseconds since 1970 UTC.
    pub from: u64,
    /// The first one after it.
    pub to: u64,
}

/// A time at or under a temperature, without a break.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spell {
    /// When it began, in milliseconds since 1970 UTC.
    pub from: u64,
    /// When it ended, or the readings did.
    pub to: u64,
    /// The lowest reading in it.
    pub lowest: Celsius,
}

impl Spell {
    /// How long it lasted; 0 for a single reading.
    pub fn hours(&self) -> f64 {
        (self.to - self.from) as f64 / HOUR
    }
}

/// The thresholds that hours are counted by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Thresholds {
    /// The band to store in.
    pub band: (Celsius, Celsius),
    /// Air at or under this relative humidity is dry.
    pub dry: f64,
    /// Air at or over this relative humidity leaves water on things.
    pub damp: f64,
}

/// What readings add up to.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Sums {
    /// Hours between readings, gaps left out.
    pub hours: f64,
    /// Of those, within the band.
    pub in_band: f64,
    /// Colder than the band.
    pub below: f64,
    /// Warmer than the band.
    pub above: f64,
    /// Hours for which the humidity is known at both ends.
    pub hours_with_humidity: f64,
    /// Of those, in dry air.
    pub dry: f64,
    /// Of those, in air that leaves water on things.
    pub damp: f64,
    /// What the air lacked, summed: kPa·h.
    pub deficit_kpa_hours: f64,
}

impl Series {
    /// Puts readings in order. Of several at one moment the first holds.
    ///
    /// `utc_offset_minutes` is the clock by which days and nights are told.
    pub fn new(mut points: Vec<Point>, utc_offset_minutes: i16) -> Self {
        points.sort_by_key(|point| point.millis);
        points.dedup_by_key(|point| point.millis);
        let mut steps: Vec<u64> =
            points.windows(2).map(|pair| pair[1].millis - pair[0].millis).collect();
        steps.sort_unstable();
        let usual = steps.get(steps.len() / 2).copied().unwrap_or(0);
        Self { points, utc_offset_minutes, longest_step: usual.saturating_mul(STEPS_OF_A_GAP) }
    }

    /// Other readings by the same clock.
    #[must_use]
    pub fn with(&self, points: Vec<Point>) -> Self {
        Self::new(points, self.utc_offset_minutes)
    }

    /// The readings, in order.
    pub fn points(&self) -> &[Point] {
        &self.points
    }

    /// The day of a moment by the series' clock.
    pub fn day(&self, millis: u64) -> Option<Day> {
        let local = chrono::DateTime::from_timestamp_millis(self.local(millis)?)?;
        Day::new(local.date_naive()).ok()
    }

    /// The noon of a day by the series' clock, in milliseconds since 1970 UTC.
    pub fn noon(&self, day: Day) -> Option<u64> {
        let noon = day.date().and_hms_opt(12, 0, 0)?.and_utc().timestamp_millis();
        u64::try_from(noon - i64::from(self.utc_offset_minutes) * 60_000).ok()
    }

    fn local(&self, millis: u64) -> Option<i64> {
        i64::try_from(millis).ok()?.checked_add(i64::from(self.utc_offset_minutes) * 60_000)
    }

    /// Times without readings.
    pub fn gaps(&self) -> Vec<Gap> {
        self.points
            .windows(2)
            .filter(|pair| pair[1].millis - pair[0].millis > self.longest_step)
            .map(|pair| Gap { from: pair[0].millis, to: pair[1].millis })
            .collect()
    }

    /// The usual time between readings, in minutes.
    pub fn usual_step_minutes(&self) -> f64 {
        (self.longest_step / STEPS_OF_A_GAP) as f64 / 60_000.0
    }

    /// The coldest reading.
    pub fn coldest(&self) -> Option<Point> {
        self.points
            .iter()
            .copied()
            .min_by(|a, b| a.temperature.degrees().total_cmp(&b.temperature.degrees()))
    }

    /// The warmest reading.
    pub fn warmest(&self) -> Option<Point> {
        self.points
            .iter()
            .copied()
            .max_by(|a, b| a.temperature.degrees().total_cmp(&b.temperature.degrees()))
    }

    fn stretches(&self) -> impl Iterator<Item = (Point, Point)> + '_ {
        self.points
            .windows(2)
            .map(|pair| (pair[0], pair[1]))
            .filter(|(from, to)| to.millis - from.millis <= self.longest_step)
    }

    /// What all readings add up to.
    ///
    /// ```
    /// use spareloop_domain::climate::{Celsius, Point, RelativeHumidity, Series, Thresholds};
    /// let (warm, half) = (Celsius::new(15.0)?, RelativeHumidity::new(0.5)?);
    /// let reading = |hour: u64| Point { millis: hour * 3_600_000, temperature: warm, humidity: Some(half) };
    /// let series = Series::new(vec![reading(0), reading(1), reading(2)], 0);
    /// let band = (Celsius::new(4.4)?, Celsius::new(10.0)?);
    /// let sums = series.sums(&Thresholds { band, dry: 0.7, damp: 0.97 });
    /// assert_eq!((sums.above, sums.dry), (2.0, 2.0));
    /// // FAO-56, example 3: saturation at 15 °C is 1.705 kPa; half of it lacked for 2 hours.
    /// assert!((sums.deficit_kpa_hours - 1.705).abs() < 6e-4);
    /// # Ok::<(), spareloop_domain::climate::ClimateError>(())
    /// ```
    pub fn sums(&self, thresholds: &Thresholds) -> Sums {
        Self::add_up(self.stretches(), thresholds)
    }

    /// What the readings from one moment to another add up to; both in milliseconds since 1970 UTC.
    /// A stretch that only partly lies between them counts by the part that does.
    pub fn sums_between(&self, from: u64, to: u64, thresholds: &Thresholds) -> Sums {
        let within = self.stretches().filter_map(|stretch| cut(stretch, from, to));
        Self::add_up(within, thresholds)
    }

    fn add_up(stretches: impl Iterator<Item = (Point, Point)>, thresholds: &Thresholds) -> Sums {
        let (coldest, warmest) = (thresholds.band.0.degrees(), thresholds.band.1.degrees());
        let mut sums = Sums::default();
        for (from, to) in stretches {
            let hours = (to.millis - from.millis) as f64 / HOUR;
            let ends = (from.temperature.degrees(), to.temperature.degrees());
            let below = hours * share_under(ends, coldest);
            let above = hours * (1.0 - share_at_or_under(ends, warmest));
            sums.hours += hours;
            sums.below += below;
            sums.above += above;
            sums.in_band += hours - below - above;
            let (Some(first), Some(last)) = (from.humidity, to.humidity) else { continue };
            let shares = (first.fraction(), last.fraction());
            sums.hours_with_humidity += hours;
            sums.dry += hours * share_at_or_under(shares, thresholds.dry);
            sums.damp += hours * (1.0 - share_under(shares, thresholds.damp));
            let lacks = vapour(from.temperature, first).deficit_kpa
                + vapour(to.temperature, last).deficit_kpa;
            sums.deficit_kpa_hours += hours * lacks / 2.0;
        }
        sums
    }

    /// Times at or under a temperature, in order. A gap ends one.
    pub fn spells_at_or_under(&self, threshold: Celsius) -> Vec<Spell> {
        let mut spells: Vec<Spell> = Vec::new();
        let mut open: Option<Spell> = None;
        let mut before: Option<Point> = None;
        for point in &self.points {
            let near = before.filter(|last| point.millis - last.millis <= self.longest_step);
            if near.is_none() {
                spells.extend(open.take());
            }
            if point.temperature <= threshold {
                let from = near
                    .filter(|last| last.temperature > threshold)
                    .map_or(point.millis, |last| crossing(last, *point, threshold));
                let spell =
                    open.get_or_insert(Spell { from, to: point.millis, lowest: point.temperature });
                spell.to = point.millis;
                if point.temperature < spell.lowest {
                    spell.lowest = point.temperature;
                }
            } else if let (Some(mut spell), Some(last)) = (open.take(), near) {
                spell.to = crossing(last, *point, threshold);
                spells.push(spell);
            }
            before = Some(*point);
        }
        spells.extend(open);
        spells
    }

    /// Nights, each told by the day on which it ends, with a reading at or under a temperature:
    /// what is read from noon to noon by the series' clock belongs to one night.
    pub fn nights_at_or_under(&self, threshold: Celsius) -> Vec<Day> {
        let mut nights: Vec<Day> = self
            .points
            .iter()
            .filter(|point| point.temperature <= threshold)
            .filter_map(|point| self.night(point.millis))
            .collect();
        nights.dedup();
        nights
    }

    /// The night of a moment, told by the day on which it ends: from noon to noon.
    pub fn night(&self, millis: u64) -> Option<Day> {
        let half_a_day_on = self.local(millis)?.checked_add(DAY / 2)?;
        let moment = chrono::DateTime::from_timestamp_millis(half_a_day_on)?;
        Day::new(moment.date_naive()).ok()
    }
}

/// The part of a stretch between two moments, with its ends read off the line.
fn cut((first, last): (Point, Point), from: u64, to: u64) -> Option<(Point, Point)> {
    let (start, end) = (first.millis.max(from), last.millis.min(to));
    (start < end).then(|| (between(first, last, start), between(first, last, end)))
}

fn between(first: Point, last: Point, millis: u64) -> Point {
    if millis == first.millis {
        return first;
    }
    if millis == last.millis {
        return last;
    }
    let share = (millis - first.millis) as f64 / (last.millis - first.millis) as f64;
    let mix = |a: f64, b: f64| a + share * (b - a);
    let temperature = mix(first.temperature.degrees(), last.temperature.degrees());
    let humidity = first.humidity.zip(last.humidity);
    Point {
        millis,
        // What lies between two values that are in range is in range.
        temperature: Celsius::new(temperature).unwrap_or(first.temperature),
        humidity: humidity
            .and_then(|(a, b)| RelativeHumidity::new(mix(a.fraction(), b.fraction())).ok()),
    }
}

/// When the line between two readings crosses a threshold that lies between them.
fn crossing(first: Point, last: Point, threshold: Celsius) -> u64 {
    let (a, b) = (first.temperature.degrees(), last.temperature.degrees());
    let share = ((threshold.degrees() - a) / (b - a)).clamp(0.0, 1.0);
    // At most the step between two readings.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let into = (share * (last.millis - first.millis) as f64) as u64;
    first.millis + into
}

/// The share of a straight line between two values that lies under a third.
fn share_under((a, b): (f64, f64), threshold: f64) -> f64 {
    if a < threshold && b < threshold {
        1.0
    } else if a >= threshold && b >= threshold {
        0.0
    } else {
        let (low, high) = (a.min(b), a.max(b));
        (threshold - low) / (high - low)
    }
}

/// The same with the threshold itself: it differs where the line rests on it.
fn share_at_or_under(ends: (f64, f64), threshold: f64) -> f64 {
    if ends.0 <= threshold && ends.1 <= threshold { 1.0 } else { share_under(ends, threshold) }
}
