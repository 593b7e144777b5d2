//! Regions and the rules between them.

use spareloop_domain::words::FarmId;

use super::call::{ActKey, CallError, Client};
use crate::movement::{MovementView, SetMovementRule, SetRegion};

impl Client {
    /// Where farms are, and what is asked for between regions.
    pub fn movement(&self) -> Result<MovementView, CallError> {
        self.get("/movement", &[])
    }
    /// Notes where a farm is, as the coordinator.
    pub fn set_region(
        &self,
        key: &ActKey,
        farm: FarmId,
        request: &SetRegion,
    ) -> Result<MovementView, CallError> {
        self.act(&format!("/farms/{farm}/region"), key, request)
    }
    /// Sets what is asked for between two regions, as the coordinator.
    pub fn set_movement_rule(
        &self,
        key: &ActKey,
        request: &SetMovementRule,
    ) -> Result<MovementView, CallError> {
        self.act("/movement/rules", key, request)
    }
}
