//! Every parser keeps its promises for all that was ever found and for some thousand changed seeds; the same ones in every run.
#![expect(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "clippy lets only the tests themselves off, not the functions they share"
)]

use std::sync::mpsc::{RecvTimeoutError, channel};
use std::time::Duration;

use fuzz::{TARGETS, Target};
use proptest::prelude::*;
use proptest::sample::Index;
use proptest::test_runner::{Config, RngAlgorithm, TestError, TestRng, TestRunner};

/// How long one input may take \[ours\]: a hundred times what the slowest takes alone, for a machine that does other things.
const LONGEST: Duration = Duration::from_secs(20);
/// Signs that mean something to one parser or another.
const SIGNS: &[&str] = &[
    "\"",
    "'",
    ",",
    ";",
    "\n",
    "\r\n",
    "\t",
    "\0",
    "\u{feff}",
    "\u{1b}[31m",
    "±",
    "½",
    "⅛",
    "ß",
    "é",
    "İ",
    "ﬃ",
    "٣",
    "’",
    "−",
    "e",
    "-",
    "+",
    ".",
    "..",
    "/",
    "\\",
    "{",
    "}",
    "[[",
    "]]",
    "=",
    "(",
    ")",
    "#",
    "%",
    "0",
    "9999999999999999999999",
    "1e308",
    "-0",
    "NaN",
    "inf",
    "null",
    "true",
    "k=2",
    "mm",
    "EUR",
    "--",
    " ",
    "\u{a0}",
    "\u{2009}",
    "\u{202e}",
    "/*",
    "//",
    "property",
    "1,234",
    "1.234",
    "1 234",
];

/// One change of an input.
#[derive(Debug, Clone)]
enum Change {
    /// A byte becomes another one.
    Byte(Index, u8),
    /// Some bytes are left out.
    Cut(Index, u8),
    /// Some bytes stand twice.
    Twice(Index, u8),
    /// A sign is put in.
    Sign(Index, Index),
    /// A piece of another seed is put in.
    Piece(Index, Index, Index, u8),
    /// A digit becomes another one, wherever the next one stands.
    Digit(Index, u8),
}

fn change() -> impl Strategy<Value = Change> {
    let at = any::<Index>;
    prop_oneof![
        (at(), any::<u8>()).prop_map(|(at, byte)| Change::Byte(at, byte)),
        (at(), 1..40_u8).prop_map(|(at, length)| Change::Cut(at, length)),
        (at(), 1..40_u8).prop_map(|(at, length)| Change::Twice(at, length)),
        (at(), at()).prop_map(|(at, sign)| Change::Sign(at, sign)),
        (at(), at(), at(), 1..60_u8).prop_map(|(at, seed, from, length)| Change::Piece(at, seed, from, length)),
        (at(), 0..10_u8).prop_map(|(at, digit)| Change::Digit(at, digit)),
    ]
}

/// A place between two characters at or before a place of the bytes, so that most inputs stay text.
fn between(bytes: &[u8], at: &Index) -> usize {
    let mut at = at.index(bytes.len() + 1);
    while at > 0 && bytes.get(at).is_some_and(|byte| byte & 0xc0 == 0x80) {
        at -= 1;
    }
    at
}

fn changed(seeds: &[(String, Vec<u8>)], start: &Index, changes: &[Change]) -> Vec<u8> {
    let mut bytes = seeds[start.index(seeds.len())].1.clone();
    for change in changes {
        match change {
            Change::Byte(at, byte) => {
                let at = at.index(bytes.len() + 1);
                if let Some(there) = bytes.get_mut(at) {
                    *there = *byte;
                }
            }
            Change::Cut(at, length) => {
                let from = between(&bytes, at);
                let to = bytes.len().min(from + usize::from(*length));
                bytes.drain(from..to);
            }
            Change::Twice(at, length) => {
                let from = between(&bytes, at);
                let to = bytes.len().min(from + usize::from(*length));
                let piece = bytes[from..to].to_vec();
                bytes.splice(to..to, piece);
            }
            Change::Sign(at, sign) => {
                let at = between(&bytes, at);
                bytes.splice(at..at, SIGNS[sign.index(SIGNS.len())].bytes());
            }
            Change::Piece(at, seed, from, length) => {
                let other = &seeds[seed.index(seeds.len())].1;
                let from = between(other, from);
                let to = other.len().min(from + usize::from(*length));
                let at = between(&bytes, at);
                bytes.splice(at..at, other[from..to].iter().copied());
            }
            Change::Digit(at, digit) => {
                let at = at.index(bytes.len() + 1);
                if let Some(there) = bytes.iter_mut().skip(at).find(|byte| byte.is_ascii_digit()) {
                    *there = b'0' + digit;
                }
            }
        }
    }
    bytes
}

/// What a parser says to an input; a panic is told with the others.
fn tried(target: &Target, bytes: &[u8]) -> Result<(), String> {
    std::panic::catch_unwind(|| (target.attempt)(bytes)).unwrap_or_else(|_| Err("it panics".to_owned()))
}

/// Tries a parser on a thread of its own and says on which input it stands still.
fn keeps_its_promises(name: &str) {
    let target = fuzz::target(name).unwrap();
    let seeds = fuzz::seeds::of(name).unwrap();
    assert!(!seeds.is_empty(), "{name} has no seed: put one into fuzz/seeds/{name}");
    let (told, heard) = channel::<Vec<u8>>();
    let working = std::thread::Builder::new().stack_size(8 << 20).spawn(move || {
        for (file, bytes) in &seeds {
            told.send(bytes.clone()).unwrap();
            assert_eq!(tried(target, bytes), Ok(()), "{file}: {}", String::from_utf8_lossy(bytes));
        }
        let cases = std::env::var_os("WITNESSMARK_FUZZ_CASES");
        let cases = cases.map_or(target.changed, |cases| cases.to_str().unwrap().parse().unwrap());
        let config = Config { cases, failure_persistence: None, max_shrink_iters: 20_000, ..Config::default() };
        let mut runner = TestRunner::new_with_rng(config, TestRng::deterministic_rng(RngAlgorithm::ChaCha));
        let inputs = (any::<Index>(), prop::collection::vec(change(), 1..6));
        let done = runner.run(&inputs, |(start, changes)| {
            let bytes = changed(&seeds, &start, &changes);
            told.send(bytes.clone()).unwrap();
            tried(target, &bytes).map_err(TestCaseError::fail)
        });
        if let Err(TestError::Fail(why, (start, changes))) = done {
            let bytes = changed(&seeds, &start, &changes);
            panic!(
                "{} does not hold: {why}\nkeep this as a file of fuzz/found/{}:\n{}",
                target.name,
                target.name,
                bytes.escape_ascii()
            );
        }
        done.unwrap();
    });
    let working = working.unwrap();
    let mut last = Vec::new();
    loop {
        match heard.recv_timeout(LONGEST) {
            Ok(bytes) => last = bytes,
            Err(RecvTimeoutError::Disconnected) => break,
            Err(RecvTimeoutError::Timeout) => panic!("{name} stands still on:\n{}", last.escape_ascii()),
        }
    }
    if let Err(why) = working.join() {
        std::panic::resume_unwind(why);
    }
}

macro_rules! each {
    ($($test:ident = $name:literal;)+) => {
        $(#[test]
        fn $test() {
            keeps_its_promises($name);
        })+

        #[test]
        fn every_parser_is_tried() {
            let tried = [$($name),+];
            let all: Vec<&str> = TARGETS.iter().map(|target| target.name).collect();
            assert_eq!(tried.as_slice(), all);
        }
    };
}

each! {
    bodies_of_entries = "body";
    what_calculators_are_told = "calculator";
    carried_records = "carried";
    codes_and_ids = "code";
    words_of_the_command_line = "command";
    files_of_the_knowledge = "knowledge";
    records_of_lives = "life-records";
    lines_of_a_logbook = "lines";
    amounts_of_money = "money";
    networks = "network";
    photos = "photo";
    places_of_a_record = "place";
    price_lists = "price-list";
    quantities = "quantity";
    sheets_of_figures = "sheet";
    stories = "story";
    vehicle_numbers = "vin";
}

#[test]
fn what_was_found_belongs_to_a_parser() {
    for folder in ["found", "seeds"] {
        for item in std::fs::read_dir(fuzz::seeds::here().join(folder)).unwrap() {
            let name = item.unwrap().file_name().to_string_lossy().into_owned();
            assert!(fuzz::target(&name).is_some(), "{folder}/{name} is the folder of no parser");
        }
    }
}
