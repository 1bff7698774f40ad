//! What tests against outside values share: asking a calculator, and holding its answer against a source.

use mechanics::{Answer, calculate};

/// Asks a calculator; a refusal fails the test with what was asked.
pub(crate) fn run(id: &str, pairs: &[(&str, String)]) -> Answer {
    let pairs: Vec<(&str, &str)> = pairs.iter().map(|(key, text)| (*key, text.as_str())).collect();
    calculate(id, &pairs).unwrap_or_else(|error| panic!("{id} {pairs:?}: {error}"))
}

/// Holds a figure against that of a source, within a part of it.
pub(crate) fn near(what: &str, got: f64, expected: f64, relative: f64) {
    assert!((got - expected).abs() <= relative * expected.abs(), "{what}: got {got}, the source says {expected}");
}
