//! What a look that was made proves: the method of ISPM 31 turned round.
//!
//! A number of affected units is excluded when a look at so many of the lot would have found more
//! than it did in all but 1 − confidence of cases: exact inversion of the hypergeometric chance
//! (binomial for a large lot), one-sided, with the efficacy of the look. What may not enter: a word
//! of freedom; a look excludes a level, never the trouble.

use statrs::function::beta::beta_reg;

use super::{
    MAX_LOT, SamplingError, accepted_miss, affected_at, chances, check_confidence, check_efficacy,
    check_level, check_lot,
};
use crate::chance::Distribution;
use crate::interval;

/// A look at some or all of a lot, and how many with trouble it found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LookMade {
    lot_size: Option<u64>,
    sample: u64,
    found: u64,
    efficacy: f64,
}

/// What a look excludes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Proof {
    /// The look.
    pub look: LookMade,
    /// How sure to be, strictly between 0 and 1.
    pub confidence: f64,
    /// The most affected units that the look doesn't exclude; none for a large lot.
    pub at_most: Option<u64>,
    /// The same as a share of the lot: a larger share is excluded.
    pub share_at_most: f64,
}

impl LookMade {
    /// Checks the numbers: `lot_size` (none: a large lot) from 1 to [`MAX_LOT`], `sample` from 1 to
    /// the lot, `found` at most the sample, `efficacy` in (0, 1].
    pub fn new(
        lot_size: Option<u64>,
        sample: u64,
        found: u64,
        efficacy: f64,
    ) -> Result<Self, SamplingError> {
        if let Some(lot) = lot_size {
            check_lot(lot)?;
            if sample > lot {
                return Err(SamplingError::Sample);
            }
        }
        if !(1..=MAX_LOT).contains(&sample) {
            return Err(SamplingError::NothingSeen);
        }
        if found > sample {
            return Err(SamplingError::Found);
        }
        check_efficacy(efficacy)?;
        Ok(Self { lot_size, sample, found, efficacy })
    }

    /// What it excludes at a confidence strictly between 0 and 1.
    ///
    /// ```
    /// use spareloop_domain::sampling::LookMade;
    /// // ISPM 31: 51 of 200 are enough for 10 affected units at 95 %.
    /// let proof = LookMade::new(Some(200), 51, 0, 1.0)?.proves(0.95)?;
    /// assert_eq!(proof.at_most, Some(9));
    /// # Ok::<(), spareloop_domain::sampling::SamplingError>(())
    /// ```
    pub fn proves(self, confidence: f64) -> Result<Proof, SamplingError> {
        check_confidence(confidence)?;
        let miss = accepted_miss(confidence);
        let Some(lot) = self.lot_size else {
            let share = interval::upper(self.found, self.sample, 1.0 - confidence);
            let share_at_most = (share / self.efficacy).min(1.0);
            return Ok(Proof { look: self, confidence, at_most: None, share_at_most });
        };
        // More affected units never make so small a find likelier, so halving finds the border.
        let (mut possible, mut beyond) = (self.found, lot + 1);
        while beyond - possible > 1 {
            let middle = possible + (beyond - possible) / 2;
            if self.chance_of_so_few(lot, middle) <= miss {
                beyond = middle;
            } else {
                possible = middle;
            }
        }
        let share_at_most = possible as f64 / lot as f64;
        Ok(Proof { look: self, confidence, at_most: Some(possible), share_at_most })
    }

    /// The chance that such a look would have found some trouble, were a share `level` of the lot
    /// affected; none where the lot is so small that the level is less than one unit.
    pub fn chance_of_finding(self, level: f64) -> Result<Option<f64>, SamplingError> {
        check_level(level)?;
        let Some(lot) = self.lot_size else {
            let ln_miss_one = (-level * self.efficacy).ln_1p();
            return Ok(Some(-(self.sample as f64 * ln_miss_one).exp_m1()));
        };
        let affected = affected_at(lot, level);
        Ok((affected > 0).then(|| chances(lot, affected, self.sample, self.efficacy).found))
    }

    /// The chance of finding as few as were found, or fewer, among `affected` units of the lot.
    fn chance_of_so_few(self, lot: u64, affected: u64) -> f64 {
        if self.found == 0 {
            return chances(lot, affected, self.sample, self.efficacy).miss;
        }
        let drawn = Distribution::hypergeometric(lot, affected, self.sample);
        let sum: f64 = drawn.iter().map(|(k, chance)| chance * self.sees_so_few(k as u64)).sum();
        sum.min(1.0)
    }

    /// The chance that of `drawn` affected units so few are seen: P(Binomial(drawn, efficacy) ≤
    /// found), by the incomplete beta function.
    fn sees_so_few(self, drawn: u64) -> f64 {
        if drawn <= self.found {
            return 1.0;
        }
        if self.efficacy >= 1.0 {
            return 0.0;
        }
        beta_reg((drawn - self.found) as f64, self.found as f64 + 1.0, 1.0 - self.efficacy)
    }
}

impl Proof {
    /// The smallest number of affected units that is excluded; none where not even all of them are.
    pub fn excluded_from(&self) -> Option<u64> {
        match (self.look.lot_size, self.at_most) {
            (Some(lot), Some(at_most)) if at_most < lot => Some(at_most + 1),
            _ => None,
        }
    }

    /// In words: what was found, and what may still be there.
    pub fn sentence(&self) -> String {
        let LookMade { lot_size, sample, found, .. } = self.look;
        let of = lot_size.map_or_else(|| "a large lot".to_owned(), |lot| lot.to_string());
        let seen = match found {
            0 => "None found".to_owned(),
            some => format!("{some} found"),
        };
        let sure = percent(self.confidence);
        let share = percent(self.share_at_most);
        let border = match (lot_size, self.at_most) {
            (Some(lot), Some(at_most)) if at_most >= lot => {
                format!("so weak a look excludes nothing at {sure}")
            }
            (Some(lot), Some(0)) => {
                format!("at {sure} sure, even a single one among the {lot} would have shown")
            }
            (_, Some(1)) => format!("at {sure} sure, at most 1 of them ({share}) has it"),
            (_, Some(most)) => format!("at {sure} sure, at most {most} of them ({share}) have it"),
            (_, None) => format!("at {sure} sure, at most {share} of them have it"),
        };
        format!("{seen} among {sample} looked at of {of}: {border}.")
    }
}

/// "5 %", "2.5 %": at most two places behind the point.
fn percent(share: f64) -> String {
    format!("{} %", (share * 1e4).round() / 1e2)
}
