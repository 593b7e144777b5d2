//! The trade's rules of thumb as settings, so that no rule is hard-coded where it is used.
//!
//! Every default is common practice, no source, and sources disagree: a farm changes what doesn't
//! suit it. What may not enter: settings of programs (addresses, files); those are the programs'.

use serde::{Deserialize, Serialize};

use crate::climate::Celsius;
use crate::forecast::{KeepBackRule, ServiceLevel};

/// A farm's rules. What a written form leaves out keeps its default.
///
/// ```
/// use spareloop_domain::settings::Settings;
/// assert_eq!(Settings::default().check_every_days, 14);
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Settings {
    /// Days between two looks at a lot: 14 (common practice, no source; sources disagree).
    pub check_every_days: u16,
    /// Days between two looks soon after storing: 7 (common practice, no source).
    pub check_every_days_at_first: u16,
    /// Days after storing that count as soon: 30 (common practice, no source).
    pub at_first_days: u16,
    /// An offer is firm if the lot was looked over within so many days before the hand-over: 14
    /// (common practice, no source).
    pub firm_within_days: u16,
    /// The coldest to store at: 40 °F, 4.4 °C (common practice, no source).
    pub store_from: Celsius,
    /// The warmest to store at: 50 °F, 10 °C (common practice, no source).
    pub store_to: Celsius,
    /// Warn at or under: 38 °F (common practice, no source).
    pub warn_at_or_under: Celsius,
    /// Warn at or over: 55 °F (common practice, no source).
    pub warn_at_or_over: Celsius,
    /// Alarm at or under: 35 °F; never muted together with a lesser warning (common practice, no
    /// source).
    pub alarm_at_or_under: Celsius,
    /// Air at or under this relative humidity is dry: 0.75 (common practice, no source; sources
    /// disagree, so suit it to the packing).
    pub dry_at_or_under: f64,
    /// Air at or over this relative humidity leaves water on things: 0.97 (ours, no source).
    pub condensation_at_or_over: f64,
    /// Hours of dry air, or of water under film, before it is told: 24 (ours, no source).
    pub humidity_hours: u16,
    /// A loss of weight by the farm's own rate that is told: 0.05 (a handbook's rule of thumb for
    /// produce is 3 to 10 %, from memory).
    pub weight_loss_told: f64,
    /// Look into it where survival is below this share: 0.85 (common practice, no source).
    pub look_into_below: f64,
    /// So many losses in one box: look at all of it; 3 (common practice, no source).
    pub look_at_all_after_losses: u16,
    /// Shrivelled but firm: moisten and look again in so many days; 7 (common practice, no source).
    pub look_again_days: u16,
    /// A look must not miss trouble in this share of a lot: 0.05 (ours; a level that ISPM 31 works
    /// its tables for).
    pub look_level: f64,
    /// How sure a look must be of that: 0.95 (ours; the confidence that ISPM 31 speaks of most).
    pub look_confidence: f64,
    /// Minutes of a soak: 2 (common practice, no source; the product's label goes before).
    pub soak_minutes: u16,
    /// What is kept back before offering: the greater of 10 % of the plants wanted, rounded up, and
    /// 3 units (common practice, no source).
    pub keep_back: KeepBackRule,
    /// How sure to be that enough comes up: 0.9 (common practice, no source).
    pub service_level: ServiceLevel,
    /// Soil at planting: 60 °F (Southeastern Michigan Dahlia Society 2017; common practice).
    pub soil_at_planting: Celsius,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            check_every_days: 14,
            check_every_days_at_first: 7,
            at_first_days: 30,
            firm_within_days: 14,
            store_from: Celsius::known_fahrenheit(40.0),
            store_to: Celsius::known_fahrenheit(50.0),
            warn_at_or_under: Celsius::known_fahrenheit(38.0),
            warn_at_or_over: Celsius::known_fahrenheit(55.0),
            alarm_at_or_under: Celsius::known_fahrenheit(35.0),
            dry_at_or_under: 0.75,
            condensation_at_or_over: 0.97,
            humidity_hours: 24,
            weight_loss_told: 0.05,
            look_into_below: 0.85,
            look_at_all_after_losses: 3,
            look_again_days: 7,
            look_level: 0.05,
            look_confidence: 0.95,
            soak_minutes: 2,
            keep_back: KeepBackRule::default(),
            service_level: ServiceLevel::default(),
            soil_at_planting: Celsius::known_fahrenheit(60.0),
        }
    }
}
