//! A farm's book with the real programs: what is read into it, what harms it, what a crash leaves of it.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod backup_and_restore;
mod bad_input;
mod crash_sweep;
mod damage;
mod export_and_back;
mod failing_disk;
mod hostile_sheets;
mod no_room_left;
mod one_book_two_programs;
mod power_cuts;
mod small_disk;
mod spreadsheets;
