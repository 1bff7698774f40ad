//! A search led by the branches that an input takes: one parser, named in the environment.
#![no_main]

use std::sync::OnceLock;

use libfuzzer_sys::fuzz_target;

/// The variable that names the parser; `cargo xtask fuzz` sets it.
const WHICH: &str = "WITNESSMARK_FUZZ";

fn asked() -> Option<&'static fuzz::Target> {
    static ASKED: OnceLock<Option<&fuzz::Target>> = OnceLock::new();
    *ASKED.get_or_init(|| std::env::var_os(WHICH).and_then(|name| fuzz::target(&name.to_string_lossy())))
}

fuzz_target!(|bytes: &[u8]| {
    let tried = asked().map_or_else(|| Err(format!("{WHICH} names no parser")), |target| (target.attempt)(bytes));
    assert_eq!(tried, Ok(()), "this does not hold");
});
