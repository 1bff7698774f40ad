//! A million small faces of chance, the search for the smallest zone against every circuit: `cargo run --release -p mechanics
//! --example million_faces`. Ends with 1 where they differ by more than a hundredth of a micrometre.

#[path = "../tests/circuits/mod.rs"]
mod circuits;

use std::process::ExitCode;

#[expect(clippy::print_stdout, reason = "an example tells the terminal")]
fn main() -> ExitCode {
    let difference = circuits::largest_difference(1_000_000, 11);
    println!("1000000 faces, largest difference {difference:.3e} mm");
    if difference < 1e-5 { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
