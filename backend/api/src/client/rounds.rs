//! Rounds, proposals, swap days, limits.

use spareloop_domain::words::{FarmId, ProposalId, RoundId};

use super::call::{ActKey, CallError, Client};
use crate::exchange::OwedBook;
use crate::rounds::{
    MakeRound, ProposalView, RoundLine, RoundView, SetLimit, SetTimetable, SettleSwapDay,
    SwapDayLists, TimetableView,
};

impl Client {
    /// Asks for a round, as the coordinator.
    pub fn make_round(&self, key: &ActKey, request: &MakeRound) -> Result<RoundLine, CallError> {
        self.act("/rounds", key, request)
    }
    /// The network's rounds, newest first.
    pub fn rounds(&self) -> Result<Vec<RoundLine>, CallError> {
        self.get("/rounds", &[])
    }
    /// One round with what of it the caller may see.
    pub fn round(&self, round: RoundId) -> Result<RoundView, CallError> {
        self.get(&format!("/rounds/{round}"), &[])
    }
    /// The proposals in which the caller's farm has a part, newest first.
    pub fn proposals(&self) -> Result<Vec<ProposalView>, CallError> {
        self.get("/proposals", &[])
    }
    /// One proposal.
    pub fn proposal(&self, proposal: ProposalId) -> Result<ProposalView, CallError> {
        self.get(&format!("/proposals/{proposal}"), &[])
    }
    /// The farm accepts.
    pub fn accept(&self, key: &ActKey, proposal: ProposalId) -> Result<ProposalView, CallError> {
        self.act(&format!("/proposals/{proposal}/accept"), key, &serde_json::json!({}))
    }
    /// The farm declines; no reason is asked for.
    pub fn decline(&self, key: &ActKey, proposal: ProposalId) -> Result<ProposalView, CallError> {
        self.act(&format!("/proposals/{proposal}/decline"), key, &serde_json::json!({}))
    }
    /// Settles a swap day for those who came, as the coordinator.
    pub fn settle_swap_day(
        &self,
        key: &ActKey,
        proposal: ProposalId,
        request: &SettleSwapDay,
    ) -> Result<ProposalView, CallError> {
        self.act(&format!("/proposals/{proposal}/settle"), key, request)
    }
    /// What each farm packs for a swap day, and what passes in the hall.
    pub fn swap_day_lists(&self, proposal: ProposalId) -> Result<SwapDayLists, CallError> {
        self.get(&format!("/proposals/{proposal}/lists"), &[])
    }
    /// When rounds begin by themselves.
    pub fn timetable(&self) -> Result<TimetableView, CallError> {
        self.get("/rounds/timetable", &[])
    }
    /// Sets when rounds begin by themselves, as the coordinator.
    pub fn set_timetable(
        &self,
        key: &ActKey,
        request: &SetTimetable,
    ) -> Result<TimetableView, CallError> {
        self.act("/rounds/timetable", key, request)
    }
    /// Sets a farm's limit in the owed book, as the coordinator.
    pub fn set_limit(
        &self,
        key: &ActKey,
        farm: FarmId,
        request: &SetLimit,
    ) -> Result<OwedBook, CallError> {
        self.act(&format!("/farms/{farm}/limit"), key, request)
    }
}
