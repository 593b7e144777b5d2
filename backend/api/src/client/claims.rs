//! Claims on what arrived.

use spareloop_domain::words::ClaimId;

use super::call::{ActKey, CallError, Client};
use crate::claims::{ClaimView, DecideClaim};

impl Client {
    /// The claims of the caller's farm, or of the network, newest first.
    pub fn claims(&self) -> Result<Vec<ClaimView>, CallError> {
        self.get("/claims", &[])
    }
    /// Decides a disputed claim, as the coordinator.
    pub fn decide_claim(
        &self,
        key: &ActKey,
        claim: ClaimId,
        request: &DecideClaim,
    ) -> Result<ClaimView, CallError> {
        self.act(&format!("/claims/{claim}/decide"), key, request)
    }
}
