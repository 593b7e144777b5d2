//! `climate show`: what readings add up to, place by place, and what was found since.

use std::collections::BTreeMap;

use clap::Args;
use serde_json::{Value, json};
use spareloop_domain::climate::{
    Calibration, Celsius, Moisture, NextLook, Point, Rate, Series, Spell, Sums, Temperatures,
    calibrate, deficit_between, next_looks,
};
use spareloop_domain::ledger::Book;
use spareloop_domain::ledger::body::Sensor;
use spareloop_domain::settings::Settings;
use spareloop_domain::words::{Count, Day, LossCause, LotId, Packing, Place};

use super::air::{Air, Logger};
use crate::desk::Desk;
use crate::fault::Fault;
use crate::find;
use crate::printer::Answer;

/// Shows readings.
#[derive(Debug, Args)]
pub struct Show {
    /// Only this place, or within it.
    place: Option<Place>,
    /// Only readings of this day or later.
    #[arg(long, value_name = "DAY")]
    from: Option<Day>,
    /// Only readings up to this day.
    #[arg(long, value_name = "DAY")]
    to: Option<Day>,
}

/// Runs it.
pub(super) fn run(it: &Show, desk: &Desk) -> Result<Answer, Fault> {
    let opened = desk.open()?;
    let settings = Settings::default();
    let air = super::air::read(&opened.book, &opened.entries);
    let asked: Vec<(&Logger, Series)> = air
        .series
        .values()
        .filter(|((place, _), _)| {
            it.place.as_ref().is_none_or(|wanted| {
                // A place lies in the air of what is around it.
                place.parts().starts_with(wanted.parts())
                    || wanted.parts().starts_with(place.parts())
            })
        })
        .map(|(logger, series)| (logger, within(series, it.from, it.to)))
        .filter(|(_, series)| !series.points().is_empty())
        .collect();
    let scene = Scene {
        book: &opened.book,
        air: &air,
        settings: &settings,
        today: desk.settings.today.value,
    };
    let mut parts: Vec<String> = Vec::new();
    let mut data: Vec<Value> = Vec::new();
    for (logger, series) in &asked {
        let (text, view) = scene.tell(logger, series);
        parts.push(text);
        data.push(view);
    }
    if parts.is_empty() {
        parts.push(
            "No readings here. Bring a logger's file in with: spareloop climate import FILE --place PLACE"
                .to_owned(),
        );
    }
    let (weights, weights_data) = scene.weights();
    parts.extend(weights);
    let data = json!({ "loggers": data, "weight_loss": weights_data });
    Ok(Answer::new("climate-show", parts.join("\n\n"), data))
}

/// The readings of some days.
fn within(series: &Series, from: Option<Day>, to: Option<Day>) -> Series {
    let fits = |point: &&Point| {
        series
            .day(point.millis)
            .is_some_and(|day| from.is_none_or(|from| from <= day) && to.is_none_or(|to| day <= to))
    };
    series.with(series.points().iter().filter(fits).copied().collect())
}

struct Scene<'a> {
    book: &'a Book,
    air: &'a Air,
    settings: &'a Settings,
    today: Day,
}

/// "35.0 °F (1.7 °C)".
fn degrees(temperature: Celsius) -> String {
    format!("{:.1} °F ({:.1} °C)", temperature.fahrenheit(), temperature.degrees())
}

/// A packing in words.
fn packed(packing: Option<Packing>) -> String {
    match packing {
        None => "packing not noted".to_owned(),
        Some(Packing::Bare) => "no packing".to_owned(),
        Some(packing) => packing.to_string(),
    }
}

fn many(count: usize, one: &str) -> String {
    if count == 1 { format!("1 {one}") } else { format!("{count} {one}s") }
}

impl Scene<'_> {
    /// One logger, in words and as data.
    fn tell(&self, (place, sensor): &Logger, series: &Series) -> (String, Value) {
        let settings = self.settings;
        let sums = series.sums(&settings.thresholds());
        let temperatures = Temperatures::of(series, settings);
        let mut lines = vec![Self::head(place, *sensor, series)];
        // What may kill stock stands first and nothing mutes it.
        let (alarm, after) = self.alarm(place, series, &temperatures);
        lines.extend(alarm);
        lines.push(self.hours(&sums));
        lines.extend(self.cold(series, &temperatures));
        if temperatures.warm_readings > 0 {
            lines.push(format!(
                "WARNING: {} at or over {}, the warmest {}.",
                many(usize::try_from(temperatures.warm_readings).unwrap_or(usize::MAX), "reading"),
                degrees(settings.warn_at_or_over),
                series.warmest().map_or_else(String::new, |point| degrees(point.temperature)),
            ));
        }
        if sums.hours_with_humidity > 0.0 {
            lines.push(format!(
                "The air lacked {:.1} kPa·h of vapour in all, {:.3} kPa on average.",
                sums.deficit_kpa_hours,
                sums.deficit_kpa_hours / sums.hours_with_humidity
            ));
        }
        let moisture = self.moisture(place, *sensor, series, &sums);
        lines.extend(moisture.iter().filter_map(|(packing, lots, moisture)| {
            let said = moisture.sentence(&sums)?;
            let packing =
                packing.map_or_else(|| "packing not noted".to_owned(), |it| it.to_string());
            Some(format!("{} ({packing}): {said}.", many(*lots, "lot")))
        }));
        let gaps = series.gaps();
        let unread: f64 = gaps.iter().map(|gap| (gap.to - gap.from) as f64 / 3_600_000.0).sum();
        if !gaps.is_empty() {
            lines.push(format!(
                "{} without readings, {unread:.1} hours in all: not counted, and nothing is known of them.",
                many(gaps.len(), "gap")
            ));
        }
        let view = json!({
            "place": place,
            "sensor": sensor,
            "readings": series.points().len(),
            "hours": sums.hours,
            "hours_in_band": sums.in_band,
            "hours_below_band": sums.below,
            "hours_above_band": sums.above,
            "hours_with_humidity": sums.hours_with_humidity,
            "hours_dry": sums.dry,
            "hours_damp": sums.damp,
            "deficit_kpa_hours": sums.deficit_kpa_hours,
            "coldest_c": series.coldest().map(|point| point.temperature.degrees()),
            "coldest_spell": temperatures.coldest_spell().map(|spell| spell_view(series, &spell)),
            "alarm_nights": temperatures.alarm_nights,
            "cold_nights": temperatures.cold_nights,
            "gaps": gaps.len(),
            "hours_in_gaps": unread,
            "found_after": after,
            "moisture": moisture.iter().map(|(packing, lots, moisture)| json!({
                "packing": packing, "lots": lots, "says": moisture.sentence(&sums),
            })).collect::<Vec<_>>(),
        });
        (lines.join("\n"), view)
    }

    fn head(place: &Place, sensor: Sensor, series: &Series) -> String {
        let sits = match sensor {
            Sensor::Room => "in the room",
            Sensor::InsideTote => "inside the tote",
        };
        let points = series.points();
        let day = |point: Option<&Point>| {
            point.and_then(|point| series.day(point.millis)).map_or_else(String::new, Day::spoken)
        };
        format!(
            "{place} (sensor {sits}): {} from {} to {}, one in {:.0} minutes.",
            many(points.len(), "reading"),
            day(points.first()),
            day(points.last()),
            series.usual_step_minutes()
        )
    }

    fn hours(&self, sums: &Sums) -> String {
        let share = if sums.hours > 0.0 { sums.in_band / sums.hours * 100.0 } else { 0.0 };
        format!(
            "{:.1} of {:.1} hours ({share:.0} %) within {:.0}–{:.0} °F; {:.1} colder, {:.1} warmer.",
            sums.in_band,
            sums.hours,
            self.settings.store_from.fahrenheit(),
            self.settings.store_to.fahrenheit(),
            sums.below,
            sums.above
        )
    }

    /// The alarm of frost, and what the next looks found, frost by frost.
    fn alarm(
        &self,
        place: &Place,
        series: &Series,
        temperatures: &Temperatures,
    ) -> (Vec<String>, Vec<Value>) {
        let (mut lines, mut data) = (Vec::new(), Vec::new());
        for frost in temperatures.frosts(series) {
            let when = if frost.first == frost.last {
                format!("the night to {}", frost.last.spoken())
            } else {
                format!(
                    "the first to {}, the last to {}",
                    frost.first.spoken(),
                    frost.last.spoken()
                )
            };
            lines.push(format!(
                "ALARM: {} at or under {}, {when}; {:.1} hours in all, the coldest {}.",
                many(frost.nights, "night"),
                degrees(self.settings.alarm_at_or_under),
                frost.hours,
                degrees(frost.lowest),
            ));
            let mut looks = next_looks(self.book, &self.air.whereabouts, place, frost.first);
            // The gravest first, then what nobody looked at yet.
            looks.sort_by_cached_key(|next| {
                let name = find::variety_name(self.book, next.lot.variety);
                let frozen = std::cmp::Reverse(next.lost_to(LossCause::Frozen));
                (frozen, next.look.is_some(), name, next.lot.id)
            });
            lines.extend(looks.iter().map(|next| format!("  {}", self.found(next))));
            data.extend(looks.iter().map(|next| {
                json!({
                    "since": frost.first,
                    "lot": next.lot.id,
                    "code": next.lot.id.code(),
                    "looked_on": next.look.map(|look| look.on),
                    "inspected": next.look.map(|look| look.inspected),
                    "frozen": next.lost_to(LossCause::Frozen),
                })
            }));
        }
        (lines, data)
    }

    /// "9 of 40 found frozen at the next look, on 15 January: lot 7KQ4M 'Ember Lantern'."
    fn found(&self, next: &NextLook<'_>) -> String {
        let lot = next.lot;
        let name = format!("lot {} {}", lot.id.code(), find::variety_name(self.book, lot.variety));
        let Some(look) = next.look else {
            return format!("not looked at since: {name}, {} in store. Look now.", lot.in_store);
        };
        let all: Count = look.lost.iter().map(|part| part.count).sum();
        let frozen = next.lost_to(LossCause::Frozen);
        let others = all.less(frozen);
        let besides =
            if others.is_zero() { String::new() } else { format!(", {others} lost otherwise") };
        let frozen = if frozen.is_zero() { "none".to_owned() } else { frozen.to_string() };
        format!(
            "{frozen} of {} found frozen{besides} at the next look, on {}: {name}.",
            look.inspected,
            look.on.spoken()
        )
    }

    fn cold(&self, series: &Series, temperatures: &Temperatures) -> Vec<String> {
        let Some(spell) = temperatures.coldest_spell() else {
            let coldest = series.coldest().map(|point| degrees(point.temperature));
            return coldest.into_iter().map(|said| format!("The coldest was {said}.")).collect();
        };
        let from = series.day(spell.from).map_or_else(String::new, Day::spoken);
        vec![format!(
            "WARNING: {} at or under {}; the coldest spell began on {from}, lasted {:.1} hours and went down to {}.",
            many(temperatures.cold_nights.len(), "night"),
            degrees(self.settings.warn_at_or_under),
            spell.hours(),
            degrees(spell.lowest)
        )]
    }

    /// By packing of the lots that lay here at the last reading: how many, and what the air means
    /// for them.
    fn moisture(
        &self,
        place: &Place,
        sensor: Sensor,
        series: &Series,
        sums: &Sums,
    ) -> Vec<(Option<Packing>, usize, Moisture)> {
        let last = series.points().last().and_then(|point| series.day(point.millis));
        let day = last.unwrap_or(self.today);
        let mut lots: BTreeMap<Option<Packing>, usize> = BTreeMap::new();
        for id in self.air.whereabouts.within(place, day) {
            let holds = self.book.lots.get(&id).is_some_and(|lot| !lot.in_store.is_zero());
            if let (true, Some(stay)) = (holds, self.air.whereabouts.on(id, day)) {
                *lots.entry(stay.packing).or_default() += 1;
            }
        }
        lots.into_iter()
            .map(|(packing, count)| {
                (packing, count, Moisture::of(packing, sensor, sums, self.settings))
            })
            .collect()
    }

    /// What the farm's own weighings bear, by packing, and which lots they speak for.
    fn weights(&self) -> (Vec<String>, Vec<Value>) {
        let mut packings: Vec<Option<Packing>> = self
            .air
            .weighed
            .iter()
            .filter_map(|one| self.air.whereabouts.on(one.lot, one.on))
            .map(|stay| stay.packing)
            .collect();
        packings.sort_unstable();
        packings.dedup();
        let (mut lines, mut data) = (Vec::new(), Vec::new());
        for packing in packings {
            let calibration = calibrate(&self.air.intervals(packing, self.settings));
            let mut of_packing =
                vec![format!("Weighed ({}). {}", packed(packing), calibration.sentence())];
            let mut told = Vec::new();
            if let Calibration::Own(rate) = calibration {
                for (lot, loss) in self.losses(packing, rate) {
                    of_packing.push(self.loss_line(lot, loss));
                    told.push(
                        json!({ "lot": lot, "low": loss.0, "expected": loss.1, "high": loss.2 }),
                    );
                }
            }
            lines.push(of_packing.join("\n"));
            data.push(json!({
                "packing": packing,
                "says": calibration.sentence(),
                "per_kpa_day": match calibration {
                    Calibration::Own(rate) => Some(rate.per_kpa_day),
                    Calibration::TooFew { .. } | Calibration::NotShown(_) => None,
                },
                "lots": told,
            }));
        }
        (lines, data)
    }

    /// Lots in a packing whose loss of weight since storing is as much as the settings tell.
    fn losses(&self, packing: Option<Packing>, rate: Rate) -> Vec<(LotId, (f64, f64, f64))> {
        let thresholds = self.settings.thresholds();
        let in_store = self.book.lots.values().filter(|lot| !lot.in_store.is_zero());
        in_store
            .filter_map(|lot| {
                let stay = self.air.whereabouts.on(lot.id, self.today)?;
                let (_, series) = self.air.nearest(lot.id, self.today)?;
                let last = series.points().last().and_then(|point| series.day(point.millis))?;
                let kpa_days = deficit_between(series, stay.from, last, &thresholds)?;
                let loss = rate.loss(kpa_days);
                (stay.packing == packing && loss.1 >= self.settings.weight_loss_told)
                    .then_some((lot.id, loss))
            })
            .collect()
    }

    fn loss_line(&self, lot: LotId, (low, middle, high): (f64, f64, f64)) -> String {
        let name = self.book.lots.get(&lot).map(|lot| find::variety_name(self.book, lot.variety));
        format!(
            "WARNING: lot {} {} has lost about {:.1} % of its weight since it lies there, likely {:.1} to {:.1} %: look for shrivelling.",
            lot.code(),
            name.unwrap_or_default(),
            middle * 100.0,
            low * 100.0,
            high * 100.0
        )
    }
}

fn spell_view(series: &Series, spell: &Spell) -> Value {
    json!({
        "from": series.day(spell.from),
        "hours": spell.hours(),
        "lowest_c": spell.lowest.degrees(),
    })
}
