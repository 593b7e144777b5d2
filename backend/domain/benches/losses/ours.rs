//! Our own fit, the forecast of every lot, and what is spare of every variety.

use spareloop_domain::fit::{LossData, LossFit, fit, log_likelihood, shared_sd};
use spareloop_domain::forecast::{
    EmergenceRate, LogHazard, LotInStore, PlanTerms, SeenGroup, SpareQuestion, Survivors, spare,
    survivors_under,
};

use crate::timed;
use crate::winter::{Invented, LOG_HAZARD, LOT_SD, SD};

/// Days from the last look to planting.
pub(crate) const AHEAD_DAYS: u32 = 80;

/// What was found, and how long it took.
pub(crate) struct Ours {
    pub(crate) data: LossData,
    pub(crate) fitted: LossFit,
    pub(crate) fit_seconds: f64,
    pub(crate) forecasts: Vec<Survivors>,
    pub(crate) forecast_seconds: f64,
}

pub(crate) fn run(invented: &Invented) -> Ours {
    let (data, reading) = timed(|| invented.data());
    let (fitted, fit_seconds) = timed(|| fit(&data).unwrap());
    let (forecasts, forecast_seconds) = timed(|| forecasts(invented, &fitted));
    println!("\nours");
    println!("  arranging the looks                        {reading:>10.3} s");
    println!("  fit                                        {fit_seconds:>10.3} s");
    println!("  forecast of every lot                      {forecast_seconds:>10.3} s");
    let (farms, of_farms) = timed(|| spares(invented, &data, &fitted, Whose::EachFarms));
    println!("  spare of {farms:>5} varieties on their farms    {of_farms:>10.3} s");
    let (all, of_all) = timed(|| spares(invented, &data, &fitted, Whose::TheNetworks));
    println!("  spare of {all:>5} varieties over the network   {of_all:>10.3} s");
    let optimum = fitted.optimum.unwrap();
    println!(
        "  log likelihood {:.4}, μ {:.4}, sd of {:.4?} and lots {:.4}",
        optimum.log_likelihood, optimum.log_hazard, fitted.group_sd, fitted.lot_sd
    );
    let truth = log_likelihood(&data, &SD, LOT_SD, LOG_HAZARD).unwrap();
    assert!(optimum.log_likelihood >= truth, "what was drawn from is likelier: {truth}");
    Ours { data, fitted, fit_seconds, forecasts, forecast_seconds }
}

fn in_store(invented: &Invented, lot: usize) -> Vec<SeenGroup> {
    vec![SeenGroup { count: invented.in_store[lot], days: AHEAD_DAYS }]
}

pub(crate) fn forecasts(invented: &Invented, fitted: &LossFit) -> Vec<Survivors> {
    let of_lot = |(lot, hazard): (usize, &spareloop_domain::fit::LotHazard)| {
        let hazard = LogHazard::new(hazard.mean, hazard.sd).unwrap();
        survivors_under(&in_store(invented, lot), hazard).unwrap()
    };
    fitted.lots.iter().enumerate().map(of_lot).collect()
}

/// Whose stock of a variety is looked at as one.
#[derive(Clone, Copy)]
enum Whose {
    EachFarms,
    TheNetworks,
}

/// Asks for the spare of every variety; answers how many were asked for.
fn spares(invented: &Invented, data: &LossData, fitted: &LossFit, whose: Whose) -> usize {
    let shared = shared_sd(data, fitted, 0);
    let mut stocks = std::collections::BTreeMap::<(u32, u32), Vec<usize>>::new();
    for (lot, [_, _, farm]) in invented.levels.iter().enumerate() {
        let farm = match whose {
            Whose::EachFarms => *farm,
            Whose::TheNetworks => 0,
        };
        // The fit numbers levels by their first look.
        stocks.entry((data.levels(lot)[0], farm)).or_default().push(lot);
    }
    for ((variety, _), lots) in &stocks {
        let common = shared[*variety as usize];
        let held: u32 = lots.iter().map(|lot| invented.in_store[*lot]).sum();
        let of_lot = |lot: &usize| {
            let hazard = fitted.lots[*lot];
            let own = (hazard.sd.powi(2) - common.powi(2)).max(0.0).sqrt();
            let hazard = LogHazard::new(hazard.mean, own).unwrap();
            LotInStore { groups: in_store(invented, *lot), hazard }
        };
        let question = SpareQuestion {
            lots: lots.iter().map(of_lot).collect(),
            shared_sd: common,
            emergence: EmergenceRate::default(),
            terms: PlanTerms::wanting(held / 2),
        };
        let answer = spare(&question).unwrap();
        assert!(answer.spare <= held && (0.0..=1.0).contains(&answer.chance_met), "{answer:?}");
    }
    stocks.len()
}
