//! The JSON door: a round in, an answer out; a round and an answer in, what holds out.
//!
//! What may not enter: how a round is solved or verified.

use std::sync::atomic::AtomicBool;

use spareloop_domain::compute::fields::{Fields, Said, parse};

use crate::answer::StatedAnswer;
use crate::error::RoundError;
use crate::input::RoundInput;
use crate::solve::{Outside, solve};
use crate::verify;
use crate::watch::Clock;

/// Kinds of computations that [`run`] knows.
pub const KINDS: [&str; 2] = ["round", "round-verify"];

/// Computes `kind` of the JSON document `input`; the answer is a JSON document on one line.
///
/// # Errors
/// An unknown kind, or the first field that is wrong.
///
/// ```
/// use spareloop_rounds::{compute, watch::Clock};
///
/// struct Still;
/// impl Clock for Still {
///     fn seconds(&self) -> f64 {
///         0.0
///     }
/// }
///
/// let round = r#"{"mode":"loops","max_loop":2,"loop_tolerance":0,"parcel_cost":5,
///   "farms":[{"id":"f0","owed":0,"limit":10},{"id":"f1","owed":0,"limit":10}],
///   "offers":[
///     {"id":"o0","farm":"f0","variety":"v0","count":3,"smallest_parcel":1,"unit_value":10},
///     {"id":"o1","farm":"f1","variety":"v1","count":3,"smallest_parcel":1,"unit_value":10}],
///   "wants":[
///     {"id":"w0","farm":"f1","count":2,"accepts":[{"variety":"v0","worth":50}]},
///     {"id":"w1","farm":"f0","count":3,"accepts":[{"variety":"v1","worth":40}]}],
///   "gap":0}"#;
/// let answer = compute::run("round", round, &Still)?;
/// assert!(answer.contains(r#""objective":170"#), "{answer}");
/// # Ok::<(), spareloop_rounds::error::RoundError>(())
/// ```
pub fn run(kind: &str, input: &str, clock: &dyn Clock) -> Result<String, RoundError> {
    match kind {
        "round" => {
            let document = parse(input)?;
            let (round, standing) = read(&Fields::top(&document)?)?;
            let stop = AtomicBool::new(false);
            let outside = Outside { clock, stop: &stop, hears: &|_| {} };
            let standing = standing.as_ref().map(|it| (&it.swaps, &it.prices));
            Ok(solve(&round, standing, &outside).to_json(&round).to_string())
        }
        "round-verify" => {
            let document = parse(input)?;
            Ok(verify::answer(&Fields::top(&document)?)?.to_string())
        }
        other => Err(RoundError::UnknownKind { kind: other.to_owned() }),
    }
}

/// A round, and the standing answer from which to go on, if one is given.
///
/// # Errors
/// The first field that is wrong, or counts for which no solver should take memory.
pub fn read(fields: &Fields<'_>) -> Result<(RoundInput, Option<StatedAnswer>), RoundError> {
    let round = RoundInput::read(fields)?;
    // What couldn't be verified isn't solved.
    verify::within_reach(&round)?;
    let standing = match fields.says("standing") {
        Said::Nothing => None,
        Said::Something => {
            let standing = fields.object("standing")?;
            Some(StatedAnswer::read_standing(&standing, &round)?)
        }
    };
    Ok((round, standing))
}
