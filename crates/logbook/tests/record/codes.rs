//! The two kinds of short codes, held to one promise: which slips neither of them lets pass. Why there are two stands in
//! docs/decisions/0042-two-rules-of-short-codes.md.

use anatomy::{EntryId, JobId};
use logbook::{AnswerCode, asking, shortcode};

/// A kind of code: its signs, some codes of it without strokes, and whether a text is one.
struct Kind {
    name: &'static str,
    signs: Vec<char>,
    codes: Vec<String>,
    good: fn(&str) -> bool,
}

fn kinds() -> [Kind; 2] {
    let job: JobId = "019cad21-cf00-7000-a2a0-078ebecdf10b".parse().expect("an id");
    let order = |n: u64| {
        let chance = n.to_be_bytes();
        let id = EntryId::from_time_and_chance(1_700_000_000_000 + n, std::array::from_fn(|k| chance[k % 8] ^ 0x5a));
        shortcode::bare(&shortcode::code_of(id, |_| false))
    };
    let page = |n: u32| AnswerCode::of(job, "2d426b3f03cda026f1dee8fc4842b89c", n).as_str().to_owned();
    [
        Kind {
            name: "machine order",
            signs: shortcode::SIGNS.chars().collect(),
            codes: (0..150).map(order).collect(),
            good: |text| shortcode::read(text).is_ok(),
        },
        Kind {
            name: "customer's page",
            signs: asking::SIGNS.chars().collect(),
            codes: (0..150).map(page).collect(),
            good: |text| AnswerCode::read(text).is_ok(),
        },
    ]
}

#[test]
fn neither_kind_lets_a_wrong_sign_pass_nor_two_that_changed_places_nor_a_doubled_one() {
    for kind in kinds() {
        assert!(kind.codes.iter().all(|code| (kind.good)(code)), "{}", kind.name);
        for code in &kind.codes {
            let signs: Vec<char> = code.chars().collect();
            let refused = |wrong: &[char]| {
                let wrong: String = wrong.iter().collect();
                assert!(!(kind.good)(&wrong), "{}: {wrong} for {code}", kind.name);
            };
            for place in 0..signs.len() {
                for other in kind.signs.iter().filter(|c| **c != signs[place]) {
                    let mut wrong = signs.clone();
                    wrong[place] = *other;
                    refused(&wrong);
                    // A doubled sign that became another doubled sign.
                    if signs.get(place + 1) == Some(&signs[place]) {
                        wrong[place + 1] = *other;
                        refused(&wrong);
                    }
                }
                for second in (place + 1..signs.len()).filter(|second| signs[*second] != signs[place]) {
                    let mut wrong = signs.clone();
                    wrong.swap(place, second);
                    refused(&wrong);
                }
                let mut short = signs.clone();
                short.remove(place);
                refused(&short);
                let mut long = signs.clone();
                long.insert(place, signs[place]);
                refused(&long);
            }
        }
    }
}

/// By hand. Orders: 2 3 4 5 6 7 are the numbers 0 to 5, 0 + 2 + 6 + 12 + 20 + 30 = 70, and V is 27: 70 + 7 * 27 = 259 = 7 * 37.
/// The same with two signs changed, 3 and 2: 1 + 0 + 6 + 12 + 20 + 30 = 69; 69 + 7 * 6 = 111 = 3 * 37, and 8 is 6.
/// Pages: 7 X Y C M H D are 5 21 22 9 16 13 10; 35 + 126 + 110 + 36 + 48 + 26 + 10 = 391 = 17 * 23.
#[test]
fn codes_that_are_printed_already_are_read() {
    for code in ["234-567V", "324-5678"] {
        assert_eq!(shortcode::read(code), Ok(code.to_owned()));
    }
    assert_eq!(AnswerCode::read("7XY-CMH-D").map(|code| code.grouped()), Ok("7XY-CMH-D".to_owned()));
}
