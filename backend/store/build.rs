//! Builds again when a migration is added: embedding reads the folders, cargo does not.

fn main() {
    println!("cargo:rerun-if-changed=../../migrations/server");
}
