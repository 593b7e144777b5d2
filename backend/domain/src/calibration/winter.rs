//! Invented winters: lots with their checks up to today, and how many lived to planting.

use crate::dice::Dice;
use crate::fit::{LossData, LossDataError, LossLook};

/// What kind of winter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Winter {
    /// Drawn from the model that forecasts.
    AsTheModel,
    /// A rotten tuber rots its neighbours: the rate grows with what was lost so far.
    RotSpreads,
    /// One night between the last check and planting, half of what some farms hold freezes.
    FreezeNight,
    /// One check in ten sees half of what is lost; the rest is found later, or not at all.
    MisreadChecks,
}

impl Winter {
    /// All of them, the one that holds first.
    pub const ALL: [Self; 4] =
        [Self::AsTheModel, Self::RotSpreads, Self::FreezeNight, Self::MisreadChecks];

    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::AsTheModel => "a winter as the model has it",
            Self::RotSpreads => "rot that spreads in the tote",
            Self::FreezeNight => "a freezing night on some farms",
            Self::MisreadChecks => "checks that were misread",
        }
    }
}

/// How large a trial is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Trial {
    /// Lots in all.
    pub lots: u32,
    /// Varieties among which they are spread.
    pub varieties: u32,
    /// Packings.
    pub packings: u32,
    /// Farms.
    pub farms: u32,
    /// What decides everything.
    pub seed: u64,
}

impl Trial {
    /// So many lots, five of a variety, twenty-five on a farm, in five packings.
    pub const fn of_lots(lots: u32, seed: u64) -> Self {
        let farms = if lots < 25 { 1 } else { lots / 25 };
        let varieties = if lots < 5 { 1 } else { lots / 5 };
        Self { lots, varieties, packings: 5, farms, seed }
    }
}

/// A lot at the last check, and what became of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Outcome {
    pub(super) variety: u32,
    /// In store by the book after the last check.
    pub(super) in_store: u32,
    /// Days from the last check to planting.
    pub(super) days: u32,
    /// Alive then.
    pub(super) alive: u32,
    /// Days that units were watched, and losses seen, for the lot's own raw rate.
    pub(super) unit_days: f64,
    pub(super) lost: u32,
}

/// Checks up to today, and outcomes, lot by lot.
pub(super) struct Drawn {
    pub(super) data: LossData,
    pub(super) outcomes: Vec<Outcome>,
}

const CHECKS: u32 = 6;
const EVERY_DAYS: u32 = 14;
/// Days from the last check to planting.
const AHEAD_DAYS: u32 = 80;
/// μ and the standard deviations of the invented network. Ours: about nine in ten live 180 days.
const MU: f64 = -7.3;
const SD: [f64; 4] = [0.5, 0.3, 0.3, 0.5];

pub(super) fn draw(trial: Trial, winter: Winter) -> Result<Drawn, LossDataError> {
    let mut dice = Dice::new(trial.seed);
    let mut effects = |count: u32, sd: f64| -> Vec<f64> {
        (0..count.max(1)).map(|_| sd * dice.normal()).collect()
    };
    let variety = effects(trial.varieties, SD[0]);
    let packing = effects(trial.packings, SD[1]);
    let farm = effects(trial.farms, SD[2]);
    let frozen: Vec<bool> = farm.iter().map(|_| dice.happens(15)).collect();
    let groups = ["variety", "packing", "farm"].map(str::to_owned).to_vec();
    let mut drawn = Drawn { data: LossData::new(groups), outcomes: Vec::new() };
    for lot in 0..trial.lots {
        let [v, p, f] =
            [trial.varieties, trial.packings, trial.farms].map(|count| dice.below(count));
        let log_rate = MU
            + variety[v as usize]
            + packing[p as usize]
            + farm[f as usize]
            + SD[3] * dice.normal();
        let mut tote = Tote::new(10 + dice.below(51), log_rate.exp(), winter);
        let mut outcome = Outcome {
            variety: v,
            in_store: 0,
            days: AHEAD_DAYS,
            alive: 0,
            unit_days: 0.0,
            lost: 0,
        };
        let labels = [format!("v{v}"), format!("p{p}"), format!("f{f}")];
        let labels: Vec<&str> = labels.iter().map(String::as_str).collect();
        for _ in 0..CHECKS {
            let inspected = tote.book;
            tote.live(&mut dice, EVERY_DAYS);
            let lost = tote.look(&mut dice);
            drawn.data.add(
                &format!("lot {lot}"),
                &labels,
                LossLook { days: EVERY_DAYS, inspected, lost },
            )?;
            outcome.unit_days += f64::from(EVERY_DAYS) * f64::from(inspected);
            outcome.lost += lost;
        }
        outcome.in_store = tote.book;
        tote.live(&mut dice, AHEAD_DAYS);
        if winter == Winter::FreezeNight && frozen[f as usize] {
            tote.alive = dice.of(tote.alive, 0.5);
        }
        outcome.alive = tote.alive;
        drawn.outcomes.push(outcome);
    }
    Ok(drawn)
}

/// What lies in one tote.
struct Tote {
    began: u32,
    /// Truly alive.
    alive: u32,
    /// In store by the book.
    book: u32,
    rate: f64,
    winter: Winter,
}

impl Tote {
    const fn new(units: u32, rate: f64, winter: Winter) -> Self {
        Self { began: units, alive: units, book: units, rate, winter }
    }

    fn live(&mut self, dice: &mut Dice, days: u32) {
        // Within a week a constant rate is near enough to any.
        let mut left = days;
        while left > 0 {
            let week = left.min(7);
            let spread = match self.winter {
                Winter::RotSpreads => {
                    1.0 + 8.0 * f64::from(self.began - self.alive) / f64::from(self.began)
                }
                _ => 1.0,
            };
            self.alive = dice.of(self.alive, (-self.rate * spread * f64::from(week)).exp());
            left -= week;
        }
    }

    /// What a check finds lost.
    fn look(&mut self, dice: &mut Dice) -> u32 {
        let lost = self.book - self.alive;
        let seen = match self.winter {
            Winter::MisreadChecks if dice.happens(10) => dice.of(lost, 0.5),
            _ => lost,
        };
        self.book -= seen;
        seen
    }
}
