//! The product-limit estimate (Kaplan and Meier, J. Am. Stat. Assoc. 53 (1958) 457) with
//! Greenwood's standard error.

/// How the time of one unit ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ended {
    /// It was lost.
    Lost,
    /// It left alive (sent, planted) or is alive still.
    Alive,
}

/// One unit, followed for a time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Followed {
    /// For how long.
    pub time: f64,
    /// How it ended.
    pub ended: Ended,
}

/// The curve's value from one loss to the next.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct KaplanMeierStep {
    /// The time of the losses.
    pub time: f64,
    /// Units followed until then.
    pub at_risk: usize,
    /// Of these, lost then.
    pub lost: usize,
    /// The share alive behind it.
    pub alive: f64,
    /// Greenwood's standard error; 0 where nothing is alive.
    pub standard_error: f64,
}

/// The curve, a step a time of loss.
///
/// ```
/// use spareloop_domain::curve::{Ended, Followed, kaplan_meier};
/// let units = [(3.0, Ended::Lost), (5.0, Ended::Alive), (8.0, Ended::Lost)];
/// let steps = kaplan_meier(&units.map(|(time, ended)| Followed { time, ended }));
/// assert!((steps[0].alive - 2.0 / 3.0).abs() < 1e-12);
/// assert_eq!(steps[1].alive, 0.0);
/// ```
pub fn kaplan_meier(units: &[Followed]) -> Vec<KaplanMeierStep> {
    let mut sorted = units.to_vec();
    sorted.sort_by(|one, other| one.time.total_cmp(&other.time));
    let (mut alive, mut terms) = (1.0, 0.0);
    let mut steps = Vec::new();
    let mut at_risk = sorted.len();
    for same in sorted.chunk_by(|one, other| one.time.total_cmp(&other.time).is_eq()) {
        // Who leaves alive on the day of a loss was there for it.
        let lost = same.iter().filter(|unit| unit.ended == Ended::Lost).count();
        if lost > 0 {
            alive *= (at_risk - lost) as f64 / at_risk as f64;
            terms += lost as f64 / (at_risk as f64 * (at_risk - lost) as f64);
            let standard_error = if lost == at_risk { 0.0 } else { alive * terms.sqrt() };
            steps.push(KaplanMeierStep {
                time: same[0].time,
                at_risk,
                lost,
                alive,
                standard_error,
            });
        }
        at_risk -= same.len();
    }
    steps
}

/// The first time at which no more than `share` are alive; none if more are to the end.
pub fn median(steps: &[KaplanMeierStep], share: f64) -> Option<f64> {
    steps.iter().find(|step| step.alive <= share + 1e-12).map(|step| step.time)
}
