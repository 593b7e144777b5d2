//! The linear system behind the fit, kept sparse: a lot touches its own effect and one level of each
//! group, so lots are taken out first, then the group with most levels, and only the levels of the
//! other groups meet in a dense matrix.
//!
//! ```text
//! H = P + Λ Zᵀ diag(w) Z Λ
//! ```
//!
//! with P the priors' precisions (1, or 0 for an arm's intercept), Λ the standard deviations and Z a
//! one for the lot and each of its levels. Memory is linear in lots, apart from the square of the levels of the
//! smaller groups. What may not enter: looks, likelihoods, an optimum.

use nalgebra::DMatrix;

use super::data::LossData;

/// Which levels meet which: the same for every weight.
#[derive(Debug, Clone)]
pub(super) struct Pattern {
    /// Each lot's level of the outer group, the one with most levels.
    outer_of: Vec<u32>,
    /// Each lot's columns in the dense part: one a further group, then its arm's intercept.
    inner_of: Vec<u32>,
    /// Each lot's places in `columns`, beside `inner_of`.
    slot_of: Vec<u32>,
    /// Dense columns a lot has.
    inner: usize,
    /// Where each outer level's columns begin in `columns`; one more at the end.
    starts: Vec<usize>,
    columns: Vec<u32>,
    /// Levels of the dense part, the intercepts included.
    dense: usize,
    /// How many of them, standing last, are intercepts.
    arms: usize,
    /// The order of the caller's groups here: outer first. The arms come last.
    order: Vec<usize>,
    /// Where each inner group begins in the dense part.
    begins: Vec<usize>,
}

/// Effects of everything: groups' levels in the pattern's order, then lots.
#[derive(Debug, Clone)]
pub(super) struct Effects {
    pub(super) outer: Vec<f64>,
    pub(super) dense: Vec<f64>,
    pub(super) lots: Vec<f64>,
}

impl Effects {
    pub(super) fn dot(&self, other: &Self) -> f64 {
        let part =
            |one: &[f64], other: &[f64]| one.iter().zip(other).map(|(a, b)| a * b).sum::<f64>();
        part(&self.outer, &other.outer)
            + part(&self.dense, &other.dense)
            + part(&self.lots, &other.lots)
    }
}

/// The standard deviations, in the pattern's order.
#[derive(Debug, Clone)]
pub(super) struct Scales {
    pub(super) outer: f64,
    pub(super) inner: Vec<f64>,
    pub(super) lot: f64,
}

/// Whether the intercepts are among the unknowns.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Intercept {
    /// They are known.
    Given,
    /// They are unknown, without a prior.
    Unknown,
}

impl Pattern {
    pub(super) fn of(data: &LossData) -> Self {
        let groups = data.groups().len();
        let mut order: Vec<usize> = (0..groups).collect();
        order.sort_by_key(|group| std::cmp::Reverse(data.labels(*group).len()));
        let mut begins = Vec::new();
        let mut dense = 0;
        for group in order.iter().skip(1) {
            begins.push(dense);
            dense += data.labels(*group).len();
        }
        begins.push(dense);
        let mut pattern = Self {
            outer_of: Vec::new(),
            inner_of: Vec::new(),
            slot_of: Vec::new(),
            inner: begins.len(),
            starts: vec![0],
            columns: Vec::new(),
            dense: dense + data.arms().len().max(1),
            arms: data.arms().len().max(1),
            order,
            begins,
        };
        pattern.place_lots(data);
        pattern.place_columns();
        pattern
    }

    #[allow(clippy::cast_possible_truncation)] // levels are u32 by their type
    fn place_lots(&mut self, data: &LossData) {
        for lot in 0..data.lots().len() {
            let levels = data.levels(lot);
            self.outer_of.push(self.order.first().map_or(0, |group| levels[*group]));
            for (begin, group) in self.begins.iter().zip(self.order.iter().skip(1)) {
                self.inner_of.push(*begin as u32 + levels[*group]);
            }
            self.inner_of.push((self.dense - self.arms) as u32 + data.arm(lot));
        }
    }

    #[allow(clippy::cast_possible_truncation)] // as many columns as lots' levels, which are u32
    fn place_columns(&mut self) {
        let outers = self.outer_of.iter().max().map_or(1, |most| *most as usize + 1);
        let mut met: Vec<Vec<u32>> = vec![Vec::new(); outers];
        for (outer, inner) in self.outer_of.iter().zip(self.inner_of.chunks(self.inner)) {
            met[*outer as usize].extend(inner);
        }
        for columns in &mut met {
            columns.sort_unstable();
            columns.dedup();
            self.columns.extend(columns.iter());
            self.starts.push(self.columns.len());
        }
        for (outer, inner) in self.outer_of.iter().zip(self.inner_of.chunks(self.inner)) {
            let start = self.starts[*outer as usize];
            let columns = &self.columns[start..self.starts[*outer as usize + 1]];
            // Every column was put there above.
            let slot = |column| (start + columns.binary_search(column).unwrap_or(0)) as u32;
            self.slot_of.extend(inner.iter().map(slot));
        }
    }

    pub(super) fn lots(&self) -> usize {
        self.outer_of.len()
    }

    fn outers(&self) -> usize {
        self.starts.len() - 1
    }

    fn inner_of(&self, lot: usize) -> &[u32] {
        &self.inner_of[lot * self.inner..][..self.inner]
    }

    fn slots(&self, lot: usize) -> &[u32] {
        &self.slot_of[lot * self.inner..][..self.inner]
    }

    /// Standard deviations given in the caller's order of groups; without groups the outer level
    /// is one without effect.
    pub(super) fn scales(&self, groups: &[f64], lot: f64, intercept: Intercept) -> Scales {
        let mut inner: Vec<f64> = self.order.iter().skip(1).map(|group| groups[*group]).collect();
        inner.push(match intercept {
            Intercept::Given => 0.0,
            Intercept::Unknown => 1.0,
        });
        Scales { outer: self.order.first().map_or(0.0, |group| groups[*group]), inner, lot }
    }

    pub(super) fn no_effects(&self) -> Effects {
        Effects {
            outer: vec![0.0; self.outers()],
            dense: vec![0.0; self.dense],
            lots: vec![0.0; self.lots()],
        }
    }

    /// What a lot gets from the effects: its row of Z Λ.
    pub(super) fn sum_at(&self, lot: usize, scales: &Scales, effects: &Effects) -> f64 {
        let inner = self.inner_of(lot).iter().zip(&scales.inner);
        scales.lot * effects.lots[lot]
            + scales.outer * effects.outer[self.outer_of[lot] as usize]
            + inner.map(|(column, scale)| scale * effects.dense[*column as usize]).sum::<f64>()
    }

    /// Λ Zᵀ of one number a lot.
    pub(super) fn spread(&self, scales: &Scales, by_lot: &[f64]) -> Effects {
        let mut sums = self.no_effects();
        for (lot, number) in by_lot.iter().enumerate() {
            sums.lots[lot] = scales.lot * number;
            sums.outer[self.outer_of[lot] as usize] += scales.outer * number;
            for (column, scale) in self.inner_of(lot).iter().zip(&scales.inner) {
                sums.dense[*column as usize] += scale * number;
            }
        }
        sums
    }

    /// The effect of a lot's level of the caller's group `group`.
    pub(super) fn effect_of(&self, lot: usize, group: usize, effects: &Effects) -> f64 {
        match self.order.iter().position(|one| *one == group) {
            Some(0) => effects.outer[self.outer_of[lot] as usize],
            Some(at) => effects.dense[self.inner_of(lot)[at - 1] as usize],
            None => 0.0,
        }
    }

    /// The effect of a level of the caller's group.
    pub(super) fn effect_at(&self, group: usize, level: usize, effects: &Effects) -> f64 {
        match self.order.iter().position(|one| *one == group) {
            Some(0) => effects.outer[level],
            Some(at) => effects.dense[self.begins[at - 1] + level],
            None => 0.0,
        }
    }
}

/// A factored system.
pub(super) struct Factored<'a> {
    pattern: &'a Pattern,
    scales: &'a Scales,
    weights: &'a [f64],
    /// 1 + σ² w of each lot.
    lots: Vec<f64>,
    outer: Vec<f64>,
    /// The coupling of outer levels with dense columns.
    coupling: Vec<f64>,
    dense: nalgebra::Cholesky<f64, nalgebra::Dyn>,
}

impl<'a> Factored<'a> {
    /// Factors the system; `None` if it isn't positive, which only numbers out of range bring about.
    pub(super) fn new(
        pattern: &'a Pattern,
        scales: &'a Scales,
        weights: &'a [f64],
        intercept: Intercept,
    ) -> Option<Self> {
        let lots: Vec<f64> = weights.iter().map(|w| 1.0 + scales.lot * scales.lot * w).collect();
        let mut outer = vec![1.0; pattern.outers()];
        let mut coupling = vec![0.0; pattern.columns.len()];
        let mut dense = DMatrix::identity(pattern.dense, pattern.dense);
        if intercept == Intercept::Unknown {
            for arm in pattern.dense - pattern.arms..pattern.dense {
                dense[(arm, arm)] = 0.0;
            }
        }
        for (lot, (weight, own)) in weights.iter().zip(&lots).enumerate() {
            let left = weight / own;
            let inner = pattern.inner_of(lot);
            outer[pattern.outer_of[lot] as usize] += scales.outer * scales.outer * left;
            for (slot, scale) in pattern.slots(lot).iter().zip(&scales.inner) {
                coupling[*slot as usize] += scales.outer * scale * left;
            }
            for (at, (row, row_scale)) in inner.iter().zip(&scales.inner).enumerate() {
                for (column, scale) in inner[..=at].iter().zip(&scales.inner) {
                    let (row, column) = (*row.max(column), *row.min(column));
                    dense[(row as usize, column as usize)] += row_scale * scale * left;
                }
            }
        }
        for (level, own) in outer.iter().enumerate() {
            let span = pattern.starts[level]..pattern.starts[level + 1];
            let columns = &pattern.columns[span.clone()];
            let values = &coupling[span];
            for (at, (row, value)) in columns.iter().zip(values).enumerate() {
                // Columns rise within a level, so the lower triangle is filled.
                for (column, other) in columns[..=at].iter().zip(values) {
                    dense[(*row as usize, *column as usize)] -= value * other / own;
                }
            }
        }
        let dense = nalgebra::Cholesky::new(dense)?;
        Some(Self { pattern, scales, weights, lots, outer, coupling, dense })
    }

    /// The log of the determinant.
    pub(super) fn log_determinant(&self) -> f64 {
        let dense: f64 = self.dense.l_dirty().diagonal().iter().map(|d| d.ln()).sum();
        self.lots.iter().chain(&self.outer).map(|d| d.ln()).sum::<f64>() + 2.0 * dense
    }

    /// Solves in place: `sides` becomes H⁻¹ `sides`.
    pub(super) fn solve(&self, sides: &mut Effects) {
        let (pattern, scales) = (self.pattern, self.scales);
        for (lot, own) in self.lots.iter().enumerate() {
            let passed = scales.lot * self.weights[lot] * sides.lots[lot] / own;
            sides.outer[pattern.outer_of[lot] as usize] -= scales.outer * passed;
            for (column, scale) in pattern.inner_of(lot).iter().zip(&scales.inner) {
                sides.dense[*column as usize] -= scale * passed;
            }
        }
        for (level, own) in self.outer.iter().enumerate() {
            for at in pattern.starts[level]..pattern.starts[level + 1] {
                let column = pattern.columns[at] as usize;
                sides.dense[column] -= self.coupling[at] * sides.outer[level] / own;
            }
        }
        let solved = self.dense.solve(&nalgebra::DVector::from_column_slice(&sides.dense));
        sides.dense.copy_from_slice(solved.as_slice());
        for (level, own) in self.outer.iter().enumerate() {
            let met: f64 = (pattern.starts[level]..pattern.starts[level + 1])
                .map(|at| self.coupling[at] * sides.dense[pattern.columns[at] as usize])
                .sum();
            sides.outer[level] = (sides.outer[level] - met) / own;
        }
        for (lot, own) in self.lots.iter().enumerate() {
            let inner = pattern.inner_of(lot).iter().zip(&scales.inner);
            let met = scales.outer * sides.outer[pattern.outer_of[lot] as usize]
                + inner.map(|(column, scale)| scale * sides.dense[*column as usize]).sum::<f64>();
            sides.lots[lot] = (sides.lots[lot] - scales.lot * self.weights[lot] * met) / own;
        }
    }

    /// The arms' part of the inverse: the covariance of their intercepts.
    pub(super) fn of_arms(&self) -> Vec<Vec<f64>> {
        let inverse = self.dense.inverse();
        let arms = self.pattern.dense - self.pattern.arms..self.pattern.dense;
        arms.clone()
            .map(|row| arms.clone().map(|column| inverse[(row, column)]).collect())
            .collect()
    }

    /// Each lot's part of the inverse.
    pub(super) fn leverages(&self) -> Leverages<'_, 'a> {
        let inverse = self.dense.inverse();
        let mut met = vec![0.0; self.coupling.len()];
        let mut outer = Vec::with_capacity(self.outer.len());
        for (level, own) in self.outer.iter().enumerate() {
            let span = self.pattern.starts[level]..self.pattern.starts[level + 1];
            let columns = &self.pattern.columns[span.clone()];
            let mut square = 0.0;
            for at in span.clone() {
                let row = self.pattern.columns[at] as usize;
                let values = columns.iter().zip(&self.coupling[span.clone()]);
                met[at] =
                    values.map(|(c, value)| inverse[(row, *c as usize)] * value).sum::<f64>() / own;
                square += met[at] * self.coupling[at] / own;
            }
            outer.push(1.0 / own + square);
        }
        Leverages { of: self, inverse, met, outer }
    }
}

/// What the inverse says of each lot.
pub(super) struct Leverages<'f, 'a> {
    of: &'f Factored<'a>,
    inverse: DMatrix<f64>,
    met: Vec<f64>,
    outer: Vec<f64>,
}

/// What the inverse says of one lot.
#[derive(Debug, Clone)]
pub(super) struct Leverage {
    /// The variance of the lot's sum of effects.
    pub(super) variance: f64,
    /// The covariance of each of its levels with that sum: outer, then the inner groups.
    pub(super) with_levels: Vec<f64>,
    /// The covariance of its own effect with that sum.
    pub(super) with_own: f64,
}

impl Leverages<'_, '_> {
    /// Of one lot.
    pub(super) fn of_lot(&self, lot: usize) -> Leverage {
        let (pattern, scales) = (self.of.pattern, self.of.scales);
        let (inner, slots) = (pattern.inner_of(lot), pattern.slots(lot));
        let own = self.of.lots[lot];
        let outer = scales.outer * self.outer[pattern.outer_of[lot] as usize]
            - slots
                .iter()
                .zip(&scales.inner)
                .map(|(at, s)| s * self.met[*at as usize])
                .sum::<f64>();
        let mut with_levels = Vec::with_capacity(inner.len() + 1);
        with_levels.push(outer / own);
        let mut variance = scales.outer * outer;
        for (row, (at, row_scale)) in inner.iter().zip(slots.iter().zip(&scales.inner)) {
            let among = inner.iter().zip(&scales.inner);
            let sum =
                among.map(|(c, s)| s * self.inverse[(*row as usize, *c as usize)]).sum::<f64>()
                    - scales.outer * self.met[*at as usize];
            with_levels.push(sum / own);
            variance += row_scale * sum;
        }
        let weight = self.of.weights[lot];
        Leverage {
            variance: variance / (own * own) + scales.lot * scales.lot / own,
            with_levels,
            with_own: scales.lot * (1.0 - weight * variance / own) / own,
        }
    }

    /// Where the caller's group stands in `with_levels`.
    pub(super) fn place(&self, group: usize) -> usize {
        self.of.pattern.order.iter().position(|one| *one == group).unwrap_or(0)
    }
}
