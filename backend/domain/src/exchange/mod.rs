//! The states of an exchange: offer, want, hold and hand-over, each with one transition function.
//!
//! What may not enter: rows, requests, clocks. A time is an argument.
