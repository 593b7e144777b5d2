//! The server of a network of farms: configuration, sign-ins, routes, pages, jobs.
//!
//! ```text
//! config house keys        settings; what every handler reaches; the secret and what it gives
//! error                    the ladder of errors, from rule to words on the wire
//! auth/                    passwords, tokens, throttling, access policies, callers
//! acts/                    what can be done, one module a subject; called by routes and pages
//! routes/ openapi          the interface under /api/v1, and its description
//! pages/                   the pages: plain forms, no script
//! pictures                 photos as they come and as they are kept
//! jobs                     what happens by itself
//! together                 all farms' records of losses taken together, for each of them
//! solving                  rounds taken up, solved and proposed by themselves; what becomes of proposals
//! telling/                 letters, signed calls, feeds and calendars: what farms are told, brought
//! run keep                 starting and stopping; backup and restore
//! rounds                   the door to the solver of rounds: JSON in, JSON out, and a run to watch
//! ```
//!
//! Handlers are thin: parse, authorise, one store call, answer. What may not enter: SQL (`store`),
//! rules of the trade (`domain`).

pub mod acts;
pub mod app;
pub mod auth;
pub mod cli;
pub mod config;
pub mod error;
pub mod house;
pub mod idempotency;
pub mod jobs;
pub mod keep;
pub mod keys;
pub mod openapi;
pub mod pages;
pub mod pictures;
pub mod rounds;
pub mod routes;
pub mod run;
pub mod solving;
pub mod telling;
pub mod together;
pub mod views;
