//! The facts that an offer shows of its lot, computed from the book and never typed in.
//!
//! What may not enter: forecasts (the reader puts them beside it), signed statements.

use std::collections::BTreeMap;

use serde::Serialize;

use super::body::{BenchSession, Eyes, Solution, ToolsBetweenClumps};
use super::book::{Book, LookRecord, Lot, LotCondition, Origin};
use super::describe::{spoken_loss, spoken_tools};
use crate::words::{Count, Day, LossCause, LotId, SessionId};

/// How a lot came through the winter so far.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SurvivalHistory {
    /// The day it was packed and stored, if noted.
    pub stored: Option<Day>,
    /// The day it began.
    pub began: Day,
    /// Units it began with.
    pub began_with: Count,
    /// Times it was looked at, also as part of the lot that it was split from.
    pub looks: u32,
    /// The last of those.
    pub last_look: Option<Day>,
    /// Days from the last look to today.
    pub days_since_look: Option<u32>,
    /// Sound and looked at on that day; none while it was looked at only as part of another lot.
    pub sound_at_last_look: Option<SoundOf>,
    /// In store by the book.
    pub in_store: Count,
    /// Lost to decay in store.
    pub decayed: Count,
    /// Lost otherwise.
    pub lost_otherwise: Count,
    /// By cause: shown if the farm opts in.
    pub causes: BTreeMap<LossCause, Count>,
    /// Whether signs of disease were noted: never hidden.
    pub disease: DiseaseSigns,
    /// Whether eyes were seen.
    pub eyes: Eyes,
}

/// How many were sound of how many looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct SoundOf {
    /// Sound.
    pub sound: Count,
    /// Looked at.
    pub inspected: Count,
}

/// Whether signs of disease were noted on a lot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum DiseaseSigns {
    /// None noted, which proves nothing.
    NoneNoted,
    /// Suspicious growth, or units culled for disease.
    Noted,
}

/// Whether an offer of a lot may be relied on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Firmness {
    /// Not looked over lately.
    Provisional,
    /// Looked over within the days that the network's setting asks for.
    Firm,
}

/// Whether the lot was looked over within `days` before `hand_over` (14 unless set otherwise:
/// common practice, no source). A sample is a look; one through the wrap is one too.
pub fn firmness(lot: &Lot, hand_over: Day, days: u32) -> Firmness {
    match all_looks(lot).map(|look| look.on).max() {
        Some(last) if hand_over.days_since(last) <= i64::from(days) => Firmness::Firm,
        _ => Firmness::Provisional,
    }
}

fn all_looks(lot: &Lot) -> impl Iterator<Item = &LookRecord> {
    lot.looks_before_split.iter().chain(&lot.looks)
}

/// The survival history of a lot as of `today`.
pub fn survival_history(lot: &Lot, today: Day) -> SurvivalHistory {
    let decayed: Count =
        lot.lost.iter().filter(|(cause, _)| cause.is_decay()).map(|(_, units)| *units).sum();
    let lost: Count = lot.lost.values().copied().sum();
    let last = all_looks(lot).map(|look| look.on).max();
    let own_last = lot.looks.iter().max_by_key(|look| look.on);
    let stopped = matches!(lot.condition, LotCondition::Stopped(_));
    let culled = lot.lost.contains_key(&LossCause::Culled);
    SurvivalHistory {
        stored: lot.stored,
        began: lot.began,
        began_with: lot.began_with,
        looks: u32::try_from(all_looks(lot).count()).unwrap_or(u32::MAX),
        last_look: last,
        days_since_look: last.map(|on| u32::try_from(today.days_since(on)).unwrap_or(0)),
        sound_at_last_look: own_last
            .map(|look| SoundOf { sound: look.sound, inspected: look.inspected }),
        in_store: lot.in_store,
        decayed,
        lost_otherwise: lost.less(decayed),
        causes: lot.lost.clone(),
        disease: if stopped || culled { DiseaseSigns::Noted } else { DiseaseSigns::NoneNoted },
        eyes: lot.eyes,
    }
}

impl SurvivalHistory {
    /// All of it in a sentence: "Stored 2 November, looked at 3 times, last on 12 January: 38 of
    /// 38 sound. Began with 40, 2 lost in store."
    pub fn sentence(&self) -> String {
        let stored = match self.stored {
            Some(day) => format!("Stored {}", day.spoken()),
            None => format!("On the book since {}, storing not noted", self.began.spoken()),
        };
        let looks = match (self.looks, self.last_look) {
            (0, _) | (_, None) => ", not looked at yet".to_owned(),
            (1, Some(day)) => format!(", looked at once, on {}", day.spoken()),
            (n, Some(day)) => format!(", looked at {n} times, last on {}", day.spoken()),
        };
        let sound = self
            .sound_at_last_look
            .map_or(String::new(), |of| format!(": {} of {} sound", of.sound, of.inspected));
        let otherwise = if self.lost_otherwise.is_zero() {
            String::new()
        } else {
            format!(", {} otherwise", self.lost_otherwise)
        };
        let disease = match self.disease {
            DiseaseSigns::NoneNoted => "",
            DiseaseSigns::Noted => " Signs of disease were noted.",
        };
        format!(
            "{stored}{looks}{sound}. Began with {}, {} lost in store{otherwise}.{disease}",
            self.began_with, self.decayed
        )
    }

    /// The causes of loss, largest first: "2 lost to rot, 1 mislaid"; for farms that opt in.
    pub fn spoken_causes(&self) -> String {
        let mut causes: Vec<(Count, LossCause)> =
            self.causes.iter().map(|(cause, count)| (*count, *cause)).collect();
        causes.sort_by(|a, b| b.0.cmp(&a.0).then(a.1.cmp(&b.1)));
        causes.into_iter().map(|(n, cause)| spoken_loss(n, cause)).collect::<Vec<_>>().join(", ")
    }
}

/// What the farm's ledger says of the bench that a lot was cut at.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "noted", rename_all = "kebab-case")]
// There is one of it at a time.
#[allow(clippy::large_enum_variant)]
pub enum BenchHygiene {
    /// The session that the lot, or the lot it was split from, was cut in.
    Session {
        /// Which.
        session: SessionId,
        /// What was done with the tools between clumps.
        tools: ToolsBetweenClumps,
        /// The tool dip.
        tool_dip: Option<Solution>,
        /// The tuber soak.
        soak: Option<Solution>,
    },
    /// Nothing was noted, or the lot was not cut here.
    NotNoted,
}

/// The bench hygiene of a lot, found by walking from lot to lot it was made of up to a session.
pub fn bench_hygiene(book: &Book, lot: LotId) -> BenchHygiene {
    let mut next = Some(lot);
    // No chain of lots is longer than the book.
    for _ in 0..=book.lots.len() {
        let Some(lot) = next.and_then(|id| book.lots.get(&id)) else { break };
        next = match &lot.origin {
            Origin::Divided(from, session) => {
                let noted = session.and_then(|session| book.sessions.get(&session));
                if let Some(noted) = noted {
                    return of_session(noted);
                }
                Some(*from)
            }
            Origin::PottedFrom(from) | Origin::CutFrom(from) => Some(*from),
            Origin::Opening(_) | Origin::Lifted(..) | Origin::Received { .. } => None,
        };
    }
    BenchHygiene::NotNoted
}

fn of_session(noted: &BenchSession) -> BenchHygiene {
    BenchHygiene::Session {
        session: noted.session,
        tools: noted.tools,
        tool_dip: noted.tool_dip.clone(),
        soak: noted.soak.clone(),
    }
}

impl BenchHygiene {
    /// In a sentence that says whose word it is.
    pub fn sentence(&self) -> String {
        match self {
            Self::NotNoted => "The farm noted nothing about the bench it was cut at.".to_owned(),
            Self::Session { tools, tool_dip, soak, .. } => {
                let dip = tool_dip.as_ref().map_or_else(
                    || "no tool dip noted".to_owned(),
                    |dip| format!("tool dip {}", spoken_solution(dip)),
                );
                let soak = soak.as_ref().map_or_else(
                    || "no tuber soak noted".to_owned(),
                    |soak| format!("tuber soak {}", spoken_solution(soak)),
                );
                format!("By the farm's own ledger: {}; {dip}; {soak}.", spoken_tools(*tools))
            }
        }
    }
}

fn spoken_solution(solution: &Solution) -> String {
    let strength =
        solution.strength_percent.map_or(String::new(), |percent| format!(" at {percent} %"));
    let minutes = solution.minutes.map_or(String::new(), |minutes| format!(" for {minutes} min"));
    format!("in {}{strength}{minutes}", solution.agent)
}

#[cfg(test)]
#[path = "history_tests.rs"]
mod tests;
