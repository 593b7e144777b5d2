//! Everything out.
//!
//! ```text
//! neutral   text that a spreadsheet program would take for a formula
//! ```

pub mod neutral;
