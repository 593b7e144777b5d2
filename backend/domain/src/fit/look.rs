//! The arithmetic of one look: what it says about the log hazard, and how sharply.
//!
//! Of `inspected` units last seen alive `days` ago, lost ~ Binomial(inspected, 1 − exp(−Λ)) with
//! Λ = days · exp(η). With h = Λ/(e^Λ − 1), so that dh/dη = h (1 − Λ − h):
//!
//! ```text
//! log likelihood      lost · ln(1 − e^−Λ) − kept · Λ
//! slope               lost · h − kept · Λ
//! observed curvature  lost · h (Λ + h − 1) + kept · Λ       (never below 0)
//! expected curvature  inspected · Λ h                       (Fisher's information)
//! its slope           inspected · Λ h (2 − Λ − h)
//! ```

/// One look at units of a lot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Look {
    pub(super) days: f64,
    pub(super) lost: f64,
    pub(super) kept: f64,
}

/// The looks at one lot, which share their log hazard.
#[derive(Debug, Clone, Copy)]
pub(super) struct Looks<'a> {
    /// All of them.
    pub(super) all: &'a [Look],
    /// How many of them, standing first, lost something.
    pub(super) with_losses: usize,
    /// Unit-days of what was kept, over all of them.
    pub(super) kept_days: f64,
}

/// What looks say at one log hazard, summed.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Told {
    /// Without the binomial coefficient.
    pub(super) log_likelihood: f64,
    pub(super) slope: f64,
    pub(super) observed: f64,
}

/// Fisher's information, and how it moves with the log hazard.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Expected {
    pub(super) curvature: f64,
    pub(super) slope: f64,
}

impl Looks<'_> {
    /// What was seen.
    pub(super) fn told(&self, log_hazard: f64) -> Told {
        let rate = log_hazard.exp();
        // What was kept tells by its unit-days alone.
        let kept = self.kept_days * rate;
        let mut sum = Told { log_likelihood: -kept, slope: -kept, observed: kept };
        for look in &self.all[..self.with_losses] {
            let risk = look.days * rate;
            let (gone, h) = gone_and_h(risk);
            sum.log_likelihood += look.lost * gone.ln();
            sum.slope += look.lost * h;
            sum.observed += look.lost * h * (risk + h - 1.0).max(0.0);
        }
        sum
    }

    /// What looks like these tell on average.
    pub(super) fn expected(&self, log_hazard: f64) -> Expected {
        let rate = log_hazard.exp();
        self.all.iter().fold(Expected::default(), |sum, look| {
            let risk = look.days * rate;
            let (_, h) = gone_and_h(risk);
            let curvature = (look.lost + look.kept) * risk * h;
            Expected {
                curvature: sum.curvature + curvature,
                slope: sum.slope + curvature * (2.0 - risk - h),
            }
        })
    }
}

/// 1 − e^−Λ and Λ/(e^Λ − 1).
fn gone_and_h(risk: f64) -> (f64, f64) {
    let gone = -(-risk).exp_m1();
    if gone < 1e-300 { (1e-300, 1.0) } else { (gone, risk * (1.0 - gone) / gone) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn differs(of: impl Fn(f64) -> f64, at: f64) -> f64 {
        let step = 1e-5;
        (of(at + step) - of(at - step)) / (2.0 * step)
    }

    #[test]
    fn slopes_are_the_slopes_of_what_they_belong_to() {
        let looks = [
            Look { days: 14.0, lost: 3.0, kept: 97.0 },
            Look { days: 7.0, lost: 5.0, kept: 0.0 },
            Look { days: 30.0, lost: 0.0, kept: 40.0 },
        ];
        let kept_days = 14.0 * 97.0 + 30.0 * 40.0;
        let looks = Looks { all: &looks, with_losses: 2, kept_days };
        for at in [-9.0, -6.0, -3.0, -1.0, 0.5] {
            let (told, expected) = (looks.told(at), looks.expected(at));
            let near = |one: f64, other: f64| {
                assert!((one - other).abs() < 1e-6 * (1.0 + other.abs()), "{at}: {one} {other}");
            };
            near(told.slope, differs(|x| looks.told(x).log_likelihood, at));
            near(-told.observed, differs(|x| looks.told(x).slope, at));
            near(expected.slope, differs(|x| looks.expected(x).curvature, at));
        }
    }
}
