//! The handbook's page of calculators says what the catalogue says.

#[path = "../handbook/page.rs"]
mod page;

#[test]
fn the_page_of_calculators_is_of_this_catalogue() {
    let there = include_str!("../../../docs/handbook/calculators.md");
    for (line, (there, wanted)) in there.lines().zip(page::page().lines()).enumerate() {
        assert_eq!(there, wanted, "line {}: run `cargo run -p mechanics --example handbook`", line + 1);
    }
    assert_eq!(there.lines().count(), page::page().lines().count());
}
