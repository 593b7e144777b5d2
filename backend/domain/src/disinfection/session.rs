//! What to mind about a dividing session as it was noted.
//!
//! A note is kept whatever it says; what is missing or odd in it is told, never mended. What may not
//! enter: a judgement of the agent; the label and the local authority have that.

use super::{Agent, SolutionUse, WARN_AFTER_HOURS};
use crate::ledger::body::{BenchSession, Solution, ToolsBetweenClumps};
use crate::words::TimeOfDay;

/// What is odd or missing in the note of a session.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SessionWarning {
    /// Tools weren't disinfected between clumps.
    ToolsNotDisinfected,
    /// Nobody noted whether they were.
    ToolsNotNoted,
    /// They were, and no dip is noted.
    DipNotNoted,
    /// The strength is unknown.
    StrengthNotNoted(SolutionUse),
    /// The label's strength for this use is unknown.
    LabelNotNoted(SolutionUse),
    /// Stronger than the label allows.
    AboveLabel {
        /// For what.
        used_for: SolutionUse,
        /// Percent, as noted.
        strength: f64,
        /// Percent, by the label.
        label: f64,
    },
    /// The time in it is unknown.
    MinutesNotNoted(SolutionUse),
    /// Nobody noted when it was made up.
    MadeUpNotNoted(SolutionUse),
    /// It was in use for longer than it keeps its strength.
    TooOld {
        /// For what.
        used_for: SolutionUse,
        /// Hours from making up to the end of the session.
        hours: f64,
    },
    /// The dip and the soak are one agent at one strength.
    CarriedOver {
        /// Percent, of both.
        strength: f64,
    },
}

impl SolutionUse {
    /// In words, for the beginning of a sentence.
    const fn named(self) -> &'static str {
        match self {
            Self::ToolDip => "The tool dip",
            Self::TuberSoak => "The tuber soak",
        }
    }
}

impl SessionWarning {
    /// What to do about it, in a sentence or two.
    pub fn sentence(self) -> String {
        match self {
            Self::ToolsNotDisinfected => "Tools weren't disinfected between clumps: take every lot of this session as having touched every other.".to_owned(),
            Self::ToolsNotNoted => "Not noted whether tools were disinfected between clumps: a trace takes it that they weren't.".to_owned(),
            Self::DipNotNoted => "Tools were disinfected, but not noted in what.".to_owned(),
            Self::StrengthNotNoted(used_for) => {
                format!("{}: its strength isn't noted; read it off the label.", used_for.named())
            }
            Self::LabelNotNoted(used_for) => format!(
                "{}: the label's strength for this use isn't noted; check that yours isn't above it.",
                used_for.named()
            ),
            Self::AboveLabel { used_for, strength, label } => format!(
                "{}: {strength} % is above the label's {label} %. Don't use it so; make it up anew.",
                used_for.named()
            ),
            Self::MinutesNotNoted(used_for) => {
                format!("{}: the minutes in it aren't noted.", used_for.named())
            }
            Self::MadeUpNotNoted(used_for) => format!(
                "{}: not noted when it was made up; it loses strength within {WARN_AFTER_HOURS} hours.",
                used_for.named()
            ),
            Self::TooOld { used_for, hours } => format!(
                "{}: in use {hours:.1} hours after it was made up; it loses strength, so make it up anew after {WARN_AFTER_HOURS}.",
                used_for.named()
            ),
            Self::CarriedOver { strength } => format!(
                "The dip and the soak are the same at {strength} %: a strength for tools is never one for tubers. Check both on the label."
            ),
        }
    }
}

/// What to mind about a session, the gravest first.
pub fn session_warnings(session: &BenchSession) -> Vec<SessionWarning> {
    let mut warnings = Vec::new();
    let solutions = [
        (SolutionUse::ToolDip, session.tool_dip.as_ref()),
        (SolutionUse::TuberSoak, session.soak.as_ref()),
    ];
    let noted = || solutions.iter().filter_map(|(used_for, it)| it.map(|it| (*used_for, it)));
    warnings.extend(noted().filter_map(|(used_for, it)| above_label(used_for, it)));
    warnings.extend(carried_over(session));
    warnings.extend(noted().filter_map(|(used_for, it)| too_old(used_for, it, session)));
    warnings.extend(match session.tools {
        ToolsBetweenClumps::NotDisinfected => Some(SessionWarning::ToolsNotDisinfected),
        ToolsBetweenClumps::NotNoted => Some(SessionWarning::ToolsNotNoted),
        ToolsBetweenClumps::Disinfected if session.tool_dip.is_none() => {
            Some(SessionWarning::DipNotNoted)
        }
        ToolsBetweenClumps::Disinfected => None,
    });
    for (used_for, solution) in noted() {
        warnings.extend(missing(used_for, solution));
    }
    warnings
}

fn above_label(used_for: SolutionUse, solution: &Solution) -> Option<SessionWarning> {
    let (strength, label) = (solution.strength_percent?, solution.label_percent?);
    (strength > label).then_some(SessionWarning::AboveLabel { used_for, strength, label })
}

fn carried_over(session: &BenchSession) -> Option<SessionWarning> {
    let (dip, soak) = (session.tool_dip.as_ref()?, session.soak.as_ref()?);
    let strength = dip.strength_percent?;
    let same = Agent::named(&dip.agent) == Agent::named(&soak.agent)
        && (soak.strength_percent? - strength).abs() < 1e-9;
    same.then_some(SessionWarning::CarriedOver { strength })
}

fn too_old(
    used_for: SolutionUse,
    solution: &Solution,
    session: &BenchSession,
) -> Option<SessionWarning> {
    let made_up: TimeOfDay = solution.made_up.as_ref()?.parse().ok()?;
    let until: TimeOfDay = session.until.as_ref()?.parse().ok()?;
    let hours = made_up.hours_until(until);
    (hours > WARN_AFTER_HOURS).then_some(SessionWarning::TooOld { used_for, hours })
}

fn missing(used_for: SolutionUse, solution: &Solution) -> Vec<SessionWarning> {
    let mut missing = Vec::new();
    if solution.strength_percent.is_none() {
        missing.push(SessionWarning::StrengthNotNoted(used_for));
    } else if solution.label_percent.is_none() {
        missing.push(SessionWarning::LabelNotNoted(used_for));
    }
    if solution.minutes.is_none() {
        missing.push(SessionWarning::MinutesNotNoted(used_for));
    }
    if solution.made_up.is_none() {
        missing.push(SessionWarning::MadeUpNotNoted(used_for));
    }
    missing
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;
    use crate::words::SessionId;

    fn dip() -> Solution {
        Solution {
            agent: "household bleach".to_owned(),
            strength_percent: Some(0.5),
            minutes: Some(10.0),
            made_up: Some("13:30".to_owned()),
            label_percent: Some(0.6),
        }
    }

    fn session(tool_dip: Option<Solution>, soak: Option<Solution>) -> BenchSession {
        BenchSession {
            session: SessionId::new(uuid::Uuid::nil()),
            lots: Vec::new(),
            tools: ToolsBetweenClumps::Disinfected,
            tool_dip,
            soak,
            tool_sets: Some(2),
            until: Some("15:00".to_owned()),
        }
    }

    #[test]
    fn a_session_noted_whole_warns_of_nothing() {
        assert_eq!(session_warnings(&session(Some(dip()), None)), []);
    }

    #[test]
    fn a_dip_older_than_two_hours_is_told_also_over_midnight() {
        let warned = |made_up: &str, until: &str| {
            let dip = Solution { made_up: Some(made_up.to_owned()), ..dip() };
            let it = BenchSession { until: Some(until.to_owned()), ..session(Some(dip), None) };
            session_warnings(&it)
        };
        assert_eq!(warned("13:30", "15:30"), []);
        let late = SessionWarning::TooOld { used_for: SolutionUse::ToolDip, hours: 2.5 };
        assert_eq!(warned("13:30", "16:00"), [late]);
        assert_eq!(warned("23:30", "02:00"), [late]);
    }

    #[test]
    fn one_strength_for_tools_and_tubers_is_told_and_two_are_not() {
        let soak = |percent| Solution {
            agent: "Bleach".to_owned(),
            strength_percent: Some(percent),
            ..dip()
        };
        let same = session_warnings(&session(Some(dip()), Some(soak(0.5))));
        assert_eq!(same, [SessionWarning::CarriedOver { strength: 0.5 }]);
        assert_eq!(session_warnings(&session(Some(dip()), Some(soak(0.05)))), []);
    }

    #[test]
    fn what_is_missing_or_above_the_label_reads_as_sentences() {
        let bare = Solution {
            agent: "as labelled".to_owned(),
            strength_percent: None,
            minutes: None,
            made_up: None,
            label_percent: None,
        };
        let strong = Solution { strength_percent: Some(1.0), ..dip() };
        let mut it = session(Some(strong), Some(bare));
        it.tools = ToolsBetweenClumps::NotDisinfected;
        let said: Vec<String> =
            session_warnings(&it).into_iter().map(SessionWarning::sentence).collect();
        insta::assert_snapshot!(said.join("\n"));
    }
}
