//! Crashes of the real programs: killed or refused at a chosen call to the operating system, and
//! disks that keep only what they were told to keep.
//!
//! ```text
//! strace     runs a program so that its Nth write, fsync ... is its last, or fails
//! session    a session of commands, and the book between them
//! standing   what a book says, apart from ids and times; whether it is whole
//! yard       a farm and its server before a sync
//! tally      kill points and what was found wrong at them
//! trace      what a program did to its files, read from strace's log
//! disk       a disk that may lose whatever wasn't synced, rebuilt from such a trace
//! small_disk a real file system of a few hundred kB
//! ```

pub mod disk;
pub mod session;
pub mod small_disk;
pub mod standing;
pub mod strace;
pub mod tally;
pub mod trace;
pub mod yard;
