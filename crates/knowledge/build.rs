//! Has the crate built again whenever a knowledge file is added, removed or changed.

fn main() {
    println!("cargo::rerun-if-changed=build.rs");
    println!("cargo::rerun-if-changed=../../knowledge");
}
