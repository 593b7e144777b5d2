//! `spareloop-server`: everything is in the library.
fn main() {}
