//! The looks taken into a given belief ([`super::given`]).
//!
//! The mode is sought in columns, varieties and lots together by Newton's steps with the observed
//! curvature, and spreads are those of the expected information there: the Laplace approximation of
//! [`super::laplace`] with its standard deviations known. Lots are taken out first, then varieties, so
//! that only the columns meet in a dense matrix. What may not enter: an estimate of any spread.

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

use super::data::Flat;
use super::given::{Given, GivenLevel, Learned, Shares};
use super::{LossData, LossFitError, LotHazard};

const MOST_STEPS: u32 = 200;
const GAIN: f64 = 1e-11;
const ROUNDING: f64 = 1e-7;
/// A log hazard above this is beyond any store.
const CEILING: f64 = 12.0;

/// What lots are believed to be like once their looks are taken in.
///
/// ```
/// use nalgebra::DMatrix;
/// use spareloop_domain::fit::{Given, GivenLevel, LossData, LossLook, learn};
/// let mut data = LossData::new(vec!["variety".to_owned()]);
/// data.add("a1", &["Zindle Ember"], LossLook { days: 60, inspected: 50, lost: 9 })?;
/// data.add("a2", &["Zindle Ember"], LossLook { days: 0, inspected: 0, lost: 0 })?;
/// let given = Given {
///     mean: vec![-7.44],
///     root: DMatrix::from_element(1, 1, 0.7),
///     columns: vec![],
///     levels: vec![GivenLevel { sd: 0.5, ..GivenLevel::default() }],
///     lot_sd: 0.6,
/// };
/// let learned = learn(&data, &given)?;
/// // The second was never looked at, but its neighbour was.
/// assert!(learned.lots[1].mean > -7.44 && learned.lots[1].mean < learned.lots[0].mean);
/// assert!(learned.shared_sd(&[0, 1]) > 0.0);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn learn(data: &LossData, given: &Given) -> Result<Learned, LossFitError> {
    let flat = Flat::of(data);
    let problem = Problem::new(data, &flat, given);
    problem.learn().ok_or(LossFitError::OutOfRange)
}

/// One lot's place in the problem.
struct Row {
    offset: f64,
    on_z: Vec<(usize, f64)>,
    level: usize,
}

struct Problem<'a> {
    flat: &'a Flat,
    given: &'a Given,
    rows: Vec<Row>,
    of_level: Vec<Vec<usize>>,
}

/// Standard normal numbers: of columns, varieties, lots.
#[derive(Clone)]
struct Stand {
    z: DVector<f64>,
    w: Vec<f64>,
    e: Vec<f64>,
}

struct Top {
    stand: Stand,
    log_hazards: Vec<f64>,
    value: f64,
}

struct Factors {
    /// 1 + sd² w of each lot.
    own: Vec<f64>,
    level: Vec<f64>,
    coupling: Vec<Vec<(usize, f64)>>,
    dense: Cholesky<f64, Dyn>,
}

impl<'a> Problem<'a> {
    fn new(data: &LossData, flat: &'a Flat, given: &'a Given) -> Self {
        let mut of_level = vec![Vec::new(); given.levels.len()];
        let mut rows = Vec::with_capacity(flat.lots());
        for lot in 0..flat.lots() {
            let levels = data.levels(lot);
            let level = levels.first().map_or(0, |level| *level as usize);
            let further = given.columns.iter().zip(levels.get(1..).unwrap_or_default());
            let columns = std::iter::once(0).chain(further.map(|(of, at)| of[*at as usize]));
            let own = &given.levels[level];
            let mut offset = own.mean;
            let mut on_z = vec![0.0; given.mean.len()];
            for column in columns {
                offset += given.mean[column];
                for (sum, one) in on_z.iter_mut().zip(given.root.row(column).iter()) {
                    *sum += one;
                }
            }
            for (sum, one) in on_z.iter_mut().zip(&own.lean) {
                *sum += one;
            }
            let on_z = on_z.into_iter().enumerate().filter(|(_, one)| *one != 0.0).collect();
            of_level[level].push(lot);
            rows.push(Row { offset, on_z, level });
        }
        Self { flat, given, rows, of_level }
    }

    fn learn(&self) -> Option<Learned> {
        let nothing = Stand {
            z: DVector::zeros(self.given.mean.len()),
            w: vec![0.0; self.given.levels.len()],
            e: vec![0.0; self.rows.len()],
        };
        let mut at = self.height(nothing)?;
        for _ in 0..MOST_STEPS {
            let (step, gain) = self.step(&at)?;
            if gain < GAIN {
                break;
            }
            let mut length = 1.0;
            let next = loop {
                match self.height(moved(&at.stand, &step, length)) {
                    Some(next) if next.value > at.value => break Some(next),
                    _ if gain < ROUNDING || length < 1e-9 => break None,
                    _ => length *= 0.5,
                }
            };
            match next {
                Some(next) => at = next,
                None => break,
            }
        }
        self.answer(&at)
    }

    fn shared(&self, row: &Row, stand: &Stand) -> f64 {
        row.on_z.iter().map(|(at, by)| by * stand.z[*at]).sum::<f64>()
            + self.given.levels[row.level].sd * stand.w[row.level]
    }

    fn height(&self, stand: Stand) -> Option<Top> {
        let mut likelihood = 0.0;
        let mut log_hazards = Vec::with_capacity(self.rows.len());
        for (lot, row) in self.rows.iter().enumerate() {
            let at = row.offset + self.shared(row, &stand) + self.given.lot_sd * stand.e[lot];
            if at.is_nan() || at >= CEILING {
                return None;
            }
            likelihood += self.flat.of_lot(lot).told(at).log_likelihood;
            log_hazards.push(at);
        }
        let squares = |of: &[f64]| of.iter().map(|one| one * one).sum::<f64>();
        let penalty = stand.z.norm_squared() + squares(&stand.w) + squares(&stand.e);
        let value = likelihood - 0.5 * penalty;
        value.is_finite().then_some(Top { stand, log_hazards, value })
    }

    fn factors(&self, weights: &[f64]) -> Option<Factors> {
        let columns = self.given.mean.len();
        let lot = self.given.lot_sd * self.given.lot_sd;
        let own: Vec<f64> = weights.iter().map(|weight| 1.0 + lot * weight).collect();
        let left: Vec<f64> = weights.iter().zip(&own).map(|(weight, own)| weight / own).collect();
        let mut dense = DMatrix::identity(columns, columns);
        for (row, left) in self.rows.iter().zip(&left).filter(|(_, left)| **left > 0.0) {
            add_square(&mut dense, &row.on_z, *left);
        }
        let mut level = Vec::with_capacity(self.of_level.len());
        let mut coupling = Vec::with_capacity(self.of_level.len());
        let mut sums = vec![0.0; columns];
        for (lots, given) in self.of_level.iter().zip(&self.given.levels) {
            let weight: f64 = lots.iter().map(|lot| left[*lot]).sum();
            let own = 1.0 + given.sd * given.sd * weight;
            sums.fill(0.0);
            for lot in lots {
                for (at, by) in &self.rows[*lot].on_z {
                    sums[*at] += given.sd * left[*lot] * by;
                }
            }
            let met: Vec<(usize, f64)> =
                sums.iter().copied().enumerate().filter(|(_, sum)| *sum != 0.0).collect();
            add_square(&mut dense, &met, -1.0 / own);
            level.push(own);
            coupling.push(met);
        }
        Some(Factors { own, level, coupling, dense: Cholesky::new(dense)? })
    }

    /// Newton's step, and the gain that it promises.
    fn step(&self, at: &Top) -> Option<(Stand, f64)> {
        let sd = self.given.lot_sd;
        let (mut slopes, mut weights) = (Vec::new(), Vec::new());
        for (lot, log_hazard) in at.log_hazards.iter().enumerate() {
            let told = self.flat.of_lot(lot).told(*log_hazard);
            slopes.push(told.slope);
            weights.push(told.observed);
        }
        let factors = self.factors(&weights)?;
        let mut uphill = Stand {
            z: -&at.stand.z,
            w: at.stand.w.iter().map(|one| -one).collect(),
            e: at.stand.e.iter().zip(&slopes).map(|(one, slope)| sd * slope - one).collect(),
        };
        for (row, slope) in self.rows.iter().zip(&slopes) {
            for (at, by) in &row.on_z {
                uphill.z[*at] += by * slope;
            }
            uphill.w[row.level] += self.given.levels[row.level].sd * slope;
        }
        let step = self.solve(&factors, &weights, uphill.clone());
        let dot =
            |one: &[f64], other: &[f64]| one.iter().zip(other).map(|(a, b)| a * b).sum::<f64>();
        let gain = uphill.z.dot(&step.z) + dot(&uphill.w, &step.w) + dot(&uphill.e, &step.e);
        Some((step, 0.5 * gain))
    }

    fn solve(&self, factors: &Factors, weights: &[f64], mut side: Stand) -> Stand {
        let sd = self.given.lot_sd;
        for (lot, row) in self.rows.iter().enumerate() {
            let passed = sd * weights[lot] * side.e[lot] / factors.own[lot];
            side.w[row.level] -= self.given.levels[row.level].sd * passed;
            for (at, by) in &row.on_z {
                side.z[*at] -= by * passed;
            }
        }
        let levels = || factors.coupling.iter().zip(&factors.level).enumerate();
        for (level, (met, own)) in levels() {
            for (at, by) in met {
                side.z[*at] -= by * side.w[level] / own;
            }
        }
        side.z = factors.dense.solve(&side.z);
        for (level, (met, own)) in levels() {
            let met: f64 = met.iter().map(|(at, by)| by * side.z[*at]).sum();
            side.w[level] = (side.w[level] - met) / own;
        }
        for (lot, row) in self.rows.iter().enumerate() {
            let shared = self.shared(row, &side);
            side.e[lot] = (side.e[lot] - sd * weights[lot] * shared) / factors.own[lot];
        }
        side
    }

    fn answer(&self, at: &Top) -> Option<Learned> {
        let lots = at.log_hazards.iter().enumerate();
        let weights: Vec<f64> =
            lots.map(|(lot, one)| self.flat.of_lot(lot).expected(*one).curvature).collect();
        let factors = self.factors(&weights)?;
        let z = factors.dense.inverse();
        let levels = self.levels(at, &factors, &z);
        let root = &self.given.root;
        let covariance = root * &z * root.transpose();
        let moved = root * &at.stand.z;
        let column = |(at, mean): (usize, &f64)| LotHazard {
            mean: mean + moved[at],
            sd: covariance[(at, at)].max(0.0).sqrt(),
        };
        let columns = self.given.mean.iter().enumerate().map(column).collect();
        let variances = levels.iter().map(|level| &level.weight);
        let with_columns = variances.map(|weight| (root * &z * weight).iter().copied().collect());
        let with_columns = with_columns.collect();
        let (own_sd, rest): (f64, Vec<f64>) =
            (self.given.lot_sd, factors.level.iter().map(|own| 1.0 / own).collect());
        let mut hazards = Vec::with_capacity(self.rows.len());
        let mut shares = Vec::with_capacity(self.rows.len());
        for (lot, row) in self.rows.iter().enumerate() {
            let own = factors.own[lot];
            let sd = self.given.levels[row.level].sd;
            // Of what is shared, the lot's own looks leave a part to its own effect.
            let mut weight = &levels[row.level].lean * (sd / own);
            for (at, by) in &row.on_z {
                weight[*at] += by / own;
            }
            let variance = (weight.transpose() * &z * &weight)[0]
                + (sd / own).powi(2) * rest[row.level]
                + own_sd * own_sd / own;
            hazards.push(LotHazard { mean: at.log_hazards[lot], sd: variance.max(0.0).sqrt() });
            shares.push((weight, sd / own, row.level));
        }
        Some(Learned {
            lots: hazards,
            own: at.stand.e.iter().map(|one| own_sd * one).collect(),
            columns,
            covariance,
            levels: levels.into_iter().map(|level| level.hazard).collect(),
            with_columns,
            shares: Shares { z, lots: shares, rest },
        })
    }

    fn levels(&self, at: &Top, factors: &Factors, z: &DMatrix<f64>) -> Vec<Level> {
        let columns = self.given.mean.len();
        let of = |(level, given): (usize, &GivenLevel)| {
            let mut lean = DVector::zeros(columns);
            for (at, by) in &factors.coupling[level] {
                lean[*at] = -by / factors.level[level];
            }
            let mut weight = &lean * given.sd;
            let mut mean = given.mean + given.sd * at.stand.w[level];
            for (column, by) in given.lean.iter().enumerate() {
                weight[column] += by;
                mean += by * at.stand.z[column];
            }
            let variance =
                (weight.transpose() * z * &weight)[0] + given.sd * given.sd / factors.level[level];
            let hazard = LotHazard { mean, sd: variance.max(0.0).sqrt() };
            Level { lean, weight, hazard }
        };
        self.given.levels.iter().enumerate().map(of).collect()
    }
}

/// A variety behind the looks: how its rest leans on z, its whole weight on z, its effect.
struct Level {
    lean: DVector<f64>,
    weight: DVector<f64>,
    hazard: LotHazard,
}

fn add_square(dense: &mut DMatrix<f64>, row: &[(usize, f64)], times: f64) {
    for (at, by) in row {
        for (other, with) in row {
            dense[(*at, *other)] += times * by * with;
        }
    }
}

fn moved(from: &Stand, step: &Stand, length: f64) -> Stand {
    let along = |from: &[f64], step: &[f64]| {
        from.iter().zip(step).map(|(at, by)| at + length * by).collect()
    };
    Stand { z: &from.z + &step.z * length, w: along(&from.w, &step.w), e: along(&from.e, &step.e) }
}
