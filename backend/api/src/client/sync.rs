//! The ledger's sync, with a device token.

use super::call::{CallError, Client};
use crate::sync::{Page, Push, Pushed, Summary};

impl Client {
    /// What the server holds of the device's farm.
    pub fn ledger_summary(&self) -> Result<Summary, CallError> {
        self.get("/ledger/summary", &[])
    }
    /// Sends entries; harmless to repeat.
    pub fn push_entries(&self, push: &Push) -> Result<Pushed, CallError> {
        self.post("/ledger/entries", push)
    }
    /// A page of the farm's entries after a position.
    pub fn pull_entries(&self, after: u64, limit: usize) -> Result<Page, CallError> {
        self.get("/ledger/entries", &[("after", after.to_string()), ("limit", limit.to_string())])
    }
}
