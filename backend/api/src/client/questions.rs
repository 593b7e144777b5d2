//! Questions to givers, and the rule by which holds are cut.

use super::call::{ActKey, CallError, Client};
use crate::questions::{CutRuleView, QuestionView};

impl Client {
    /// What the farm was asked about its provisional promises, newest first.
    pub fn questions(&self) -> Result<Vec<QuestionView>, CallError> {
        self.get("/questions", &[])
    }
    /// By which rule the network's holds are cut.
    pub fn cut_rule(&self) -> Result<CutRuleView, CallError> {
        self.get("/cut-rule", &[])
    }
    /// Sets it, as the coordinator.
    pub fn set_cut_rule(
        &self,
        key: &ActKey,
        request: CutRuleView,
    ) -> Result<CutRuleView, CallError> {
        self.act("/cut-rule", key, &request)
    }
}
