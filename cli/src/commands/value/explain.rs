//! `value explain`: every step with its figures.

use serde_json::json;
use spareloop_api::values::ValueLine;
use spareloop_domain::value::network::{Step, ToldValue, VarietyRecords, explain, unlisted};
use spareloop_domain::words::{UnitKind, fold_key};

use super::super::forecast;
use super::{Named, Told, title};
use crate::book::link;
use crate::desk::Desk;
use crate::fault::Fault;
use crate::find;
use crate::printer::Answer;

pub(super) fn run(it: &Named, desk: &Desk) -> Result<Answer, Fault> {
    let mut told = Told::at(desk)?;
    let key = told.key(&it.variety)?;
    if told.of(&key, it.unit).next().is_none() {
        return own(&told, &key, &it.variety);
    }
    let lots = own_lots(&mut told, desk)?;
    let values: Vec<&ToldValue> = told.of(&key, it.unit).collect();
    let mut parts = Vec::new();
    let mut data = Vec::new();
    for one in values {
        let steps = explain(&told.kept.market, one);
        let mut lines = vec![format!("{}: {}.", title(one), one.sentence), laid_out(&steps)];
        let of_it: Vec<&OwnLot> =
            lots.iter().filter(|lot| lot.key == key && lot.unit == one.unit).collect();
        lines.extend(of_it.iter().map(|lot| lot.says(one)));
        parts.push(lines.join("\n"));
        let of_it: Vec<_> = of_it.iter().map(|lot| lot.data(one)).collect();
        data.push(json!({
            "value": ValueLine::from(one),
            "figures": one,
            "steps": steps,
            "lots": of_it,
        }));
    }
    parts.push(told.as_of());
    Ok(Answer::new(
        "value-explained",
        parts.join("\n\n"),
        json!({ "made": told.kept.market.made, "explained": data }),
    ))
}

/// A lot of the farm's own, and the share of it that is expected to be left at planting.
struct OwnLot {
    key: String,
    unit: UnitKind,
    code: String,
    left_share: f64,
}

impl OwnLot {
    fn says(&self, told: &ToldValue) -> String {
        format!(
            "  Your lot {}: {:.0} of 100 are expected to be left at planting{}, so a unit of it counts as {}.",
            self.code,
            100.0 * self.left_share,
            if told.offered == 0 {
                String::new()
            } else {
                format!(", of what is offered {:.0}", 100.0 * told.left_share)
            },
            told.of_lot(self.left_share)
        )
    }

    fn data(&self, told: &ToldValue) -> serde_json::Value {
        json!({
            "lot": self.code,
            "left_share": self.left_share,
            "tenths": told.of_lot(self.left_share),
        })
    }
}

fn own_lots(told: &mut Told, desk: &Desk) -> Result<Vec<OwnLot>, Fault> {
    let promised = told.opened.file.read(link::promised)?;
    let beliefs = told.opened.beliefs()?;
    let (book, farm) = (&told.opened.book, &told.opened.farm);
    let today = desk.settings.today.value;
    let sheet = forecast::sheet(book, farm, today, None, &promised, &beliefs)?;
    let lots = sheet.iter().flat_map(|kind| kind.lots.iter().map(move |lot| (kind, lot)));
    Ok(lots
        .filter_map(|(kind, lot)| {
            let left = lot.survivors.as_ref().ok()?;
            let key = book.varieties.get(&kind.variety)?.name.key();
            let left_share = left.mean / f64::from(lot.in_store.get());
            Some(OwnLot { key, unit: kind.unit, code: lot.lot.code(), left_share })
        })
        .collect())
}

/// A variety that isn't on the board, by the farm's own records.
fn own(told: &Told, key: &str, text: &str) -> Result<Answer, Fault> {
    if told.kept.market.varieties.iter().any(|one| fold_key(&one.name) == key) {
        return Err(Fault::refused(
            format!("'{text}' is neither offered nor wanted in that kind of unit."),
            format!("Leave --unit out: spareloop value explain '{text}'"),
        ));
    }
    let records = VarietyRecords::of(&told.opened.book);
    let record = records.0.get(key).copied().unwrap_or_default();
    let own = unlisted(&told.kept.market, &record)
        .map_err(|error| Fault::failed(format!("{error}."), "Run: spareloop doctor"))?;
    let name = find::known_variety(&told.opened.book, text)
        .map_or_else(|| format!("'{text}'"), |card| card.name.quoted());
    let text = format!(
        "{name}: {}.\nNobody offers or wants it in the network; this is what it is worth to you, by your own records.\n{}\n\n{}",
        own.sentence,
        laid_out(&own.steps),
        told.as_of()
    );
    Ok(Answer::new(
        "value-explained",
        text,
        json!({ "made": told.kept.market.made, "unlisted": own }),
    ))
}

fn laid_out(steps: &[Step]) -> String {
    let width = steps.iter().map(|step| step.about.chars().count()).max().unwrap_or(0);
    let line = |step: &Step| format!("  {:<width$}  {}", step.about, step.says);
    steps.iter().map(line).collect::<Vec<_>>().join("\n")
}
