//! The client as a grower at the keyboard meets it: the real program over real books.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod air;
mod away;
mod bad_input;
mod book_file;
mod common;
mod counts_undo_season;
mod looking;
mod whole_book;
mod winter;
