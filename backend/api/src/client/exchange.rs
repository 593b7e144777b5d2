//! Stock, offers, wants, matches, holds, hand-overs, the owed book and messages.

use spareloop_domain::words::{HandOverId, HoldId, OfferId, TurnId, WantId};

use super::call::{ActKey, CallError, Client};
use crate::exchange::{
    AskHold, Board, HandOver, HoldView, MakeOffer, MakeWant, Matches, Messages, OfferView,
    OwedBook, Reason, Receipt, TurnView, WaitInLine, WantView,
};
use crate::stock::{NetworkSummaryView, StockView};
use crate::values::ValuesView;

impl Client {
    /// The farm's stock as the server's fold has it.
    pub fn stock(&self) -> Result<StockView, CallError> {
        self.get("/stock", &[])
    }
    /// What a unit of all that is offered or wanted is fairly worth.
    pub fn values(&self) -> Result<ValuesView, CallError> {
        self.get("/network/values", &[])
    }
    /// What the other farms of the network saw, taken together.
    pub fn network_summary(&self) -> Result<NetworkSummaryView, CallError> {
        self.get("/network/summary", &[])
    }
    /// The network's spare and short sheet.
    pub fn board(&self) -> Result<Board, CallError> {
        self.get("/board", &[])
    }
    /// Publishes spare.
    pub fn make_offer(&self, key: &ActKey, request: &MakeOffer) -> Result<OfferView, CallError> {
        self.act("/offers", key, request)
    }
    /// One offer.
    pub fn offer(&self, offer: OfferId) -> Result<OfferView, CallError> {
        self.get(&format!("/offers/{offer}"), &[])
    }
    /// Takes an offer back.
    pub fn withdraw_offer(&self, key: &ActKey, offer: OfferId) -> Result<OfferView, CallError> {
        self.act(&format!("/offers/{offer}/withdraw"), key, &serde_json::json!({}))
    }
    /// Publishes short.
    pub fn make_want(&self, key: &ActKey, request: &MakeWant) -> Result<WantView, CallError> {
        self.act("/wants", key, request)
    }
    /// Takes a want back.
    pub fn withdraw_want(&self, key: &ActKey, want: WantId) -> Result<WantView, CallError> {
        self.act(&format!("/wants/{want}/withdraw"), key, &serde_json::json!({}))
    }
    /// Who has what I lack and lacks what I have.
    pub fn matches(&self) -> Result<Matches, CallError> {
        self.get("/matches", &[])
    }
    /// Asks for a hold.
    pub fn ask_hold(
        &self,
        key: &ActKey,
        offer: OfferId,
        request: &AskHold,
    ) -> Result<HoldView, CallError> {
        self.act(&format!("/offers/{offer}/holds"), key, request)
    }
    /// Waits in line for what comes free of an offer.
    pub fn wait_in_line(
        &self,
        key: &ActKey,
        offer: OfferId,
        request: &WaitInLine,
    ) -> Result<TurnView, CallError> {
        self.act(&format!("/offers/{offer}/line"), key, request)
    }
    /// The turns that wait, of the caller's farm or for its offers.
    pub fn turns(&self) -> Result<Vec<TurnView>, CallError> {
        self.get("/turns", &[])
    }
    /// Gives a turn up.
    pub fn leave_line(&self, key: &ActKey, turn: TurnId) -> Result<TurnView, CallError> {
        self.act(&format!("/turns/{turn}/leave"), key, &serde_json::json!({}))
    }
    /// The holds that the caller's farm gives or takes.
    pub fn holds(&self) -> Result<Vec<HoldView>, CallError> {
        self.get("/holds", &[])
    }
    /// One hold.
    pub fn hold(&self, hold: HoldId) -> Result<HoldView, CallError> {
        self.get(&format!("/holds/{hold}"), &[])
    }
    /// The giver agrees.
    pub fn agree(&self, key: &ActKey, hold: HoldId) -> Result<HoldView, CallError> {
        self.act(&format!("/holds/{hold}/agree"), key, &Reason { why: String::new() })
    }
    /// Either side lets go.
    pub fn release(
        &self,
        key: &ActKey,
        hold: HoldId,
        reason: &Reason,
    ) -> Result<HoldView, CallError> {
        self.act(&format!("/holds/{hold}/release"), key, reason)
    }
    /// The giver hands over.
    pub fn hand_over(
        &self,
        key: &ActKey,
        hold: HoldId,
        request: &HandOver,
    ) -> Result<HoldView, CallError> {
        self.act(&format!("/holds/{hold}/hand-over"), key, request)
    }
    /// The taker receives.
    pub fn receive(
        &self,
        key: &ActKey,
        hand_over: HandOverId,
        request: &Receipt,
    ) -> Result<HoldView, CallError> {
        self.act(&format!("/hand-overs/{hand_over}/receipt"), key, request)
    }
    /// The network's owed book.
    pub fn owed(&self) -> Result<OwedBook, CallError> {
        self.get("/owed", &[])
    }
    /// What the farm is told, newest first.
    pub fn messages(&self) -> Result<Messages, CallError> {
        self.get("/messages", &[])
    }
}
