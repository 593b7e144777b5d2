//! Keys for signing and signed statements.

use spareloop_domain::attest::KeyId;
use spareloop_domain::words::{FarmId, LotId};

use super::call::{ActKey, CallError, Client};
use crate::attest::{
    FarmKeys, KeepStatement, KeyView, LotStatements, MakeKeyKnown, StatementFeed, StatementView,
};

impl Client {
    /// Makes a key of the caller's farm known.
    pub fn make_key_known(
        &self,
        key: &ActKey,
        request: &MakeKeyKnown,
    ) -> Result<KeyView, CallError> {
        self.act("/keys", key, request)
    }
    /// Withdraws a key of the caller's farm.
    pub fn withdraw_key(&self, key: &ActKey, id: &KeyId) -> Result<KeyView, CallError> {
        self.act(&format!("/keys/{id}/withdraw"), key, &serde_json::json!({}))
    }
    /// A farm's keys.
    pub fn farm_keys(&self, farm: FarmId) -> Result<FarmKeys, CallError> {
        self.get(&format!("/farms/{farm}/keys"), &[])
    }
    /// Keeps a signed statement.
    pub fn keep_statement(
        &self,
        key: &ActKey,
        lot: LotId,
        request: &KeepStatement,
    ) -> Result<StatementView, CallError> {
        self.act(&format!("/lots/{lot}/statements"), key, request)
    }
    /// What is stated about a lot.
    pub fn lot_statements(&self, lot: LotId) -> Result<LotStatements, CallError> {
        self.get(&format!("/lots/{lot}/statements"), &[])
    }
    /// What the network's farms made known behind a position.
    pub fn statements(&self, after: u64) -> Result<StatementFeed, CallError> {
        self.get("/statements", &[("after", after.to_string())])
    }
}
