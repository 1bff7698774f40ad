//! The short code of a customer page: its rule, what it notices, and the hash of what a page shows.

use anatomy::JobId;
use logbook::asking::{LENGTH, SIGNS};
use logbook::{AnswerCode, CodeError, ShownFact, page_hash};
use proptest::prelude::*;

const JOB: &str = "019cad21-cf00-7000-a2a0-078ebecdf10b";

fn job() -> JobId {
    JOB.parse().expect("an id")
}

fn shown() -> Vec<ShownFact> {
    [("price: Exchange head", "EUR\u{a0}2,790"), ("the ceiling", "EUR\u{a0}2,900.00")]
        .map(|(what, says)| ShownFact { what: what.to_owned(), says: says.to_owned() })
        .to_vec()
}

#[test]
fn the_signs_are_a_prime_number_of_signs_that_are_not_taken_for_each_other() {
    let signs: Vec<char> = SIGNS.chars().collect();
    assert_eq!(signs.len(), 23);
    assert!((2..23).all(|n| !signs.len().is_multiple_of(n)));
    for alike in ["0OQD", "1IL", "2Z", "5S", "6G", "8B", "UV", "MN"] {
        assert!(alike.chars().filter(|c| signs.contains(c)).count() <= 1, "{alike}");
    }
    assert_eq!(LENGTH, 7);
}

// Worked with Python's hashlib by the rule as it stands at the head of the module: SHA-256 of "job page attempt", its first
// eight bytes as a number, six digits to the base 23 from the small end, then the digit that makes 7a+6b+5c+4d+3e+2f+g a
// multiple of 23.
#[test]
fn codes_and_the_hash_of_a_page_are_those_worked_by_hand() {
    let page = page_hash(&shown());
    assert_eq!(page, "2d426b3f03cda026f1dee8fc4842b89c09df533d17341c9b03f87dbafd9ee39a");
    let codes: Vec<String> = (0..3).map(|n| AnswerCode::of(job(), &page, n).as_str().to_owned()).collect();
    assert_eq!(codes, ["7XYCMHD", "EYD9P53", "F3FYCDJ"]);
    assert_eq!(AnswerCode::of(job(), &page, 0).grouped(), "7XY-CMH-D");
}

#[test]
fn the_hash_of_a_page_knows_where_one_text_ends_and_the_next_begins() {
    let fact = |what: &str, says: &str| ShownFact { what: what.to_owned(), says: says.to_owned() };
    let hashes = [
        page_hash(&[fact("ab", "c")]),
        page_hash(&[fact("a", "bc")]),
        page_hash(&[fact("a", "b"), fact("c", "")]),
        page_hash(&[]),
    ];
    for (n, one) in hashes.iter().enumerate() {
        assert!(hashes.iter().skip(n + 1).all(|other| other != one));
    }
    let mut turned = shown();
    turned.reverse();
    assert_ne!(page_hash(&shown()), page_hash(&turned));
}

#[test]
fn a_code_is_read_as_people_type_it_and_refused_with_what_was_typed() {
    let code = AnswerCode::read("7XY-CMH-D").expect("a code");
    for typed in ["7xycmhd", " 7XY CMH D ", "7xy-cmh-d", "7.XY.CM.HD"] {
        assert_eq!(AnswerCode::read(typed), Ok(code.clone()), "{typed}");
    }
    let refused = |typed: &str| AnswerCode::read(typed).expect_err("no code");
    assert!(matches!(refused("7XYCMHO"), CodeError::Sign { sign: 'O', .. }));
    assert!(matches!(refused("7XYCMH"), CodeError::Length { found: 6, .. }));
    assert!(matches!(refused(""), CodeError::Length { found: 0, .. }));
    assert!(matches!(refused("7XYCMDH"), CodeError::Check { .. }));
    for typed in ["7XYCMHO", "7XYCMH", "7XYCMDH"] {
        assert!(refused(typed).to_string().contains(typed));
    }
    assert_eq!(
        (code.apart("7XYCMHD"), code.apart("7xycmha"), code.apart("7XYCMH"), code.apart("XYCMHD7")),
        (0, 1, 1, 2)
    );
}

proptest! {
    #[test]
    fn every_wrong_sign_and_every_swap_of_neighbours_is_noticed(page in "[0-9a-f]{64}", attempt in 0u32..1000) {
        let code = AnswerCode::of(job(), &page, attempt);
        prop_assert_eq!(AnswerCode::read(code.as_str()), Ok(code.clone()));
        let signs: Vec<char> = code.as_str().chars().collect();
        prop_assert_eq!(signs.len(), LENGTH);
        for place in 0..LENGTH {
            for sign in SIGNS.chars().filter(|s| *s != signs[place]) {
                let mut wrong = signs.clone();
                wrong[place] = sign;
                let typed: String = wrong.into_iter().collect();
                prop_assert_eq!(AnswerCode::read(&typed), Err(CodeError::Check { typed: typed.clone() }));
            }
            // Any two signs, neighbours among them.
            for other in place + 1..LENGTH {
                let mut swapped = signs.clone();
                swapped.swap(place, other);
                let typed: String = swapped.iter().collect();
                prop_assert_eq!(AnswerCode::read(&typed).is_ok(), swapped == signs, "{}", typed);
            }
        }
    }

    #[test]
    fn nothing_that_is_typed_brings_the_reader_down(typed in ".{0,12}") {
        if let Ok(code) = AnswerCode::read(&typed) {
            prop_assert_eq!(code.apart(&typed), 0);
        }
    }
}
