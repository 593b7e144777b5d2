//! The pages: plain HTML, each task a form that works without script.
//!
//! They call the same functions of [`crate::acts`] as the interface does. What may not enter:
//! rules, SQL, script.

use actix_web::web::ServiceConfig;

/// Every page; none yet.
pub const fn configure(_config: &mut ServiceConfig) {}
