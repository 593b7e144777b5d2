//! Where a farm roughly is, and how far the others are.

use super::call::{ActKey, CallError, Client};
use crate::distances::{DistancesView, SetWhereabouts};

impl Client {
    /// Where the farm says it is, and how far the others are.
    pub fn distances(&self) -> Result<DistancesView, CallError> {
        self.get("/distances", &[])
    }
    /// Says where the farm roughly is, or that nobody is told any more.
    pub fn set_whereabouts(
        &self,
        key: &ActKey,
        request: &SetWhereabouts,
    ) -> Result<DistancesView, CallError> {
        self.act("/whereabouts", key, request)
    }
}
