//! Every parser, tried with what nobody would send on purpose.
//!
//! * **For:** whoever changes a parser. `cargo test -p fuzz` tries each with everything that was ever found and with some thousand
//!   changed seeds; `cargo xtask fuzz` searches on for as long as it is told, led by the branches that an input takes.
//! * **Comes in:** bytes.
//! * **Goes out:** nothing, or what does not hold: a [`Target`] says of any bytes whether the parser keeps its promises. A panic
//!   is a broken promise without words.
//! * **Must not:** be used by a room, or know an expected value: what is asked here holds for every input.
//!
//! Modules in reading order: [`targets`] (what each parser promises), [`seeds`] (what a search begins with).

pub mod seeds;
pub mod targets;

/// What does not hold of an input, in a sentence; nothing where all holds.
pub type Holds = Result<(), String>;

/// A parser and its promises.
#[derive(Debug, Clone, Copy)]
pub struct Target {
    /// Its name, that of its folders under `seeds` and `found` too.
    pub name: &'static str,
    /// Tries one input.
    pub attempt: fn(&[u8]) -> Holds,
    /// How many changed seeds are tried in every test run \[ours\], so that each parser takes some seconds.
    pub changed: u32,
    /// The longest input that is searched with, in bytes \[ours\].
    pub longest: usize,
}

/// Every parser, by name.
pub const TARGETS: &[Target] = &[
    Target { name: "body", attempt: targets::records::body, changed: 40_000, longest: 2_000 },
    Target { name: "calculator", attempt: targets::tables::calculator, changed: 3_000, longest: 1_000 },
    Target { name: "carried", attempt: targets::records::carried, changed: 3_000, longest: 8_000 },
    Target { name: "code", attempt: targets::texts::code, changed: 40_000, longest: 100 },
    Target { name: "command", attempt: targets::words::command, changed: 8_000, longest: 400 },
    Target { name: "knowledge", attempt: targets::tables::knowledge, changed: 20_000, longest: 4_000 },
    Target { name: "life-records", attempt: targets::tables::life_records, changed: 40_000, longest: 1_000 },
    Target { name: "lines", attempt: targets::records::lines, changed: 20_000, longest: 8_000 },
    Target { name: "money", attempt: targets::texts::money, changed: 40_000, longest: 60 },
    Target { name: "network", attempt: targets::networks::network, changed: 20_000, longest: 4_000 },
    Target { name: "photo", attempt: targets::pictures::photo, changed: 8_000, longest: 8_000 },
    Target { name: "place", attempt: targets::texts::place, changed: 40_000, longest: 200 },
    Target { name: "price-list", attempt: targets::tables::price_list, changed: 20_000, longest: 2_000 },
    Target { name: "quantity", attempt: targets::texts::quantity, changed: 40_000, longest: 130 },
    Target { name: "sheet", attempt: targets::tables::sheet, changed: 20_000, longest: 4_000 },
    Target { name: "story", attempt: targets::records::story, changed: 3_000, longest: 8_000 },
    Target { name: "vin", attempt: targets::texts::vin, changed: 40_000, longest: 60 },
];

/// Gives the parser of a name.
#[must_use]
pub fn target(name: &str) -> Option<&'static Target> {
    TARGETS.iter().find(|target| target.name == name)
}

/// Passes what holds; else says what does not.
///
/// # Errors
/// The sentence, where it does not hold.
pub fn ensure(holds: bool, otherwise: impl FnOnce() -> String) -> Holds {
    if holds { Ok(()) } else { Err(otherwise()) }
}
