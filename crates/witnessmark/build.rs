//! Has the crate built again whenever an invented job is added, removed or changed.

fn main() {
    println!("cargo::rerun-if-changed=build.rs");
    println!("cargo::rerun-if-changed=../../cases");
}
