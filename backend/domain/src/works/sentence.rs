//! A comparison in words.

use super::compare::{Better, Difference, MoreToSettle, Verdict};

/// What people are told: the two shares, the difference with its likely range, how sure, and what
/// would settle it; or why nothing can be said.
///
/// ```
/// use spareloop_domain::works::{NotBorne, verdict_sentence};
/// let few = NotBorne::FewLots { arm: "sand".into(), lots: "2 lots".into(), least: 5 };
/// assert_eq!(
///     verdict_sentence(&Err(few)),
///     "Nothing can be said yet: only 2 lots of sand were looked at; \
///      5 are the least that could show a difference."
/// );
/// ```
pub fn verdict_sentence(verdict: &Verdict) -> String {
    match verdict {
        Ok(difference) => stated(difference),
        Err(why) => format!("Nothing can be said yet: {why}."),
    }
}

fn percent(share: f64) -> String {
    format!("{:.0} %", 100.0 * share)
}

fn stated(it: &Difference) -> String {
    let [first, second] = &it.arms;
    let Better { arm, chance } = it.better;
    // Told from the better one's side.
    let (low, expected, high) =
        if arm == 0 { (it.low, it.expected, it.high) } else { (-it.high, -it.expected, -it.low) };
    let point = |share: f64| format!("{:.0}", 100.0 * share);
    let settled = match it.more {
        MoreToSettle::Nothing => String::new(),
        MoreToSettle::Units(more) => {
            format!(" About {more} units more, half in each, would settle it.")
        }
        MoreToSettle::OutOfReach => {
            " They are as good as alike: no number of looks that you could make would tell."
                .to_owned()
        }
    };
    format!(
        "After 180 days {} of {} are alive ({} lots) and {} of {} ({} lots): {} better by {} in 100, \
         likely {} to {}; {:.0} in 100 that it is better at all.{settled}",
        percent(first.alive),
        first.name,
        first.lots,
        percent(second.alive),
        second.name,
        second.lots,
        it.arms[arm].name,
        point(expected),
        point(low),
        point(high),
        100.0 * chance,
    )
}
