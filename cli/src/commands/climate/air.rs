//! What a ledger says about the air: readings by logger, weighings, where lots lay.
//!
//! What may not enter: what the readings mean; `domain::climate` says that.

use std::collections::BTreeMap;

use spareloop_domain::climate::{
    Celsius, Interval, Point, RelativeHumidity, Series, Weighed, Whereabouts, deficit_between,
    intervals,
};
use spareloop_domain::ledger::body::Sensor;
use spareloop_domain::ledger::{Body, Book, Entry};
use spareloop_domain::settings::Settings;
use spareloop_domain::words::{Day, LotId, Packing, Place};

/// A logger: where it hangs, where it sits there.
pub(super) type Logger = (Place, Sensor);

/// What the ledger says about the air.
pub(super) struct Air {
    pub(super) series: BTreeMap<(Place, u8), (Logger, Series)>,
    pub(super) weighed: Vec<Weighed>,
    pub(super) whereabouts: Whereabouts,
}

const fn order_of(sensor: Sensor) -> u8 {
    match sensor {
        Sensor::Room => 0,
        Sensor::InsideTote => 1,
    }
}

/// Reads the entries that stand.
pub(super) fn read(book: &Book, entries: &[Entry]) -> Air {
    let mut standing: Vec<&Entry> =
        entries.iter().filter(|entry| !book.struck_out.contains(&entry.id)).collect();
    standing.sort_by_key(|entry| entry.order());
    let bodies: Vec<(Day, Body)> = standing
        .into_iter()
        .filter(|entry| matches!(entry.kind.as_str(), "climate" | "weigh" | "store" | "move"))
        .filter_map(|entry| Some((entry.on, entry.read_body().ok()?)))
        .collect();
    let whereabouts = Whereabouts::of(book, bodies.iter().map(|(on, body)| (*on, body)));
    let mut points: BTreeMap<(Place, u8), (Logger, Vec<Point>, i16)> = BTreeMap::new();
    let mut weighed = Vec::new();
    for (on, body) in bodies {
        match body {
            Body::Climate(body) => {
                let key = (body.place.clone(), order_of(body.sensor));
                let of_logger =
                    points.entry(key).or_insert_with(|| ((body.place, body.sensor), Vec::new(), 0));
                // Days are told by the clock as it stood last.
                of_logger.2 = body.utc_offset_minutes.unwrap_or(of_logger.2);
                of_logger.1.extend(body.readings.iter().filter_map(|reading| {
                    let temperature = Celsius::new(reading.temperature_c).ok()?;
                    let humidity = reading
                        .relative_humidity
                        .and_then(|share| RelativeHumidity::new(share).ok());
                    Some(Point { millis: reading.millis, temperature, humidity })
                }));
            }
            Body::Weigh(body) => weighed.push(Weighed {
                lot: body.lot,
                sample: body.sample.unwrap_or_default(),
                on,
                grams: body.grams,
            }),
            _ => {}
        }
    }
    let series = points
        .into_iter()
        .map(|(key, (logger, points, offset))| (key, (logger, Series::new(points, offset))))
        .collect();
    Air { series, weighed, whereabouts }
}

impl Air {
    /// The series nearest to a lot on a day: inside its own tote before the room, the smaller place
    /// before the larger.
    pub(super) fn nearest(&self, lot: LotId, day: Day) -> Option<(&Logger, &Series)> {
        let stay = self.whereabouts.on(lot, day)?;
        let near = |(place, _): &&Logger| stay.place.parts().starts_with(place.parts());
        self.series
            .values()
            .map(|(logger, series)| (logger, series))
            .filter(|(logger, _)| near(logger))
            .max_by_key(|((place, sensor), _)| (place.parts().len(), order_of(*sensor)))
    }

    /// Intervals between weighings of samples in one packing, with the air that was read there.
    pub(super) fn intervals(&self, packing: Option<Packing>, settings: &Settings) -> Vec<Interval> {
        let thresholds = settings.thresholds();
        intervals(&self.weighed, |lot, from, to| {
            let stay = self.whereabouts.on(lot, from)?;
            // A sample that was moved meanwhile breathed two airs.
            if stay.packing != packing || self.whereabouts.on(lot, to) != Some(stay) {
                return None;
            }
            let (_, series) = self.nearest(lot, from)?;
            deficit_between(series, from, to, &thresholds)
        })
    }
}
