//! Writes the handbook's page of calculators: `cargo run -p mechanics --example handbook`.

#[path = "../handbook/page.rs"]
mod page;

fn main() -> std::io::Result<()> {
    std::fs::write(concat!(env!("CARGO_MANIFEST_DIR"), "/../../docs/handbook/calculators.md"), page::page())
}
