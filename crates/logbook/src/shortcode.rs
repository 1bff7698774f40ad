//! Short codes that a paper carries out of the shop and somebody types back in.
//!
//! A code is made from the id of the entry it stands for, so that every device makes the same one: six signs out of
//! thirty-two that cannot be taken for one another, and a check sign. The weighted sum of all seven is a multiple of a
//! prime, with a weight of its own for each place: one wrong sign and any two signs that changed places never give another
//! good code. A code of another form, as people made them up before, is no code of this kind and stays valid as it is.

use std::collections::BTreeSet;

use anatomy::EntryId;
use sha2::{Digest, Sha256};

/// The signs: digits and capitals without 0, 1, I and O.
pub const SIGNS: &str = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ";

/// How many signs carry the code, without the check sign.
const CARRYING: usize = 6;

/// The prime of the check: above the number of signs, so that no difference of two signs is a multiple of it.
const PRIME: u32 = 37;

/// How many slips apart a code still counts as near \[ours\].
const NEAR: usize = 2;

/// Gives the code of an entry; `taken` says of a code that another entry has it already.
///
/// # Shapes
/// `ABC-DEFG`: the six signs and the check sign, a stroke after the third
/// # Source
/// six times five bits of SHA-256 over the sixteen bytes of the id and a count from 0; the first count counts whose check
/// sign is one of the signs and whose code is not taken
#[must_use]
pub fn code_of(entry: EntryId, taken: impl Fn(&str) -> bool) -> String {
    // Each count is good but for five of thirty-seven check signs and for codes that are taken.
    let codes = (0..=u32::MAX).filter_map(|count| candidate(entry, count));
    codes.map(|signs| spaced(&signs)).find(|code| !taken(code)).unwrap_or_default()
}

fn candidate(entry: EntryId, count: u32) -> Option<String> {
    let digest = Sha256::new().chain_update(entry.bytes()).chain_update(count.to_be_bytes()).finalize();
    let bits = digest.iter().take(8).fold(0_u64, |bits, byte| (bits << 8) | u64::from(*byte));
    let numbers: Vec<u32> =
        (0..CARRYING).filter_map(|place| u32::try_from((bits >> (59 - 5 * place)) & 31).ok()).collect();
    let signs: Option<String> = numbers.iter().copied().chain([check(&numbers)]).map(sign).collect();
    signs
}

fn sign(number: u32) -> Option<char> {
    SIGNS.chars().nth(usize::try_from(number).ok()?)
}

fn number(sign: char) -> Option<u32> {
    SIGNS.chars().position(|s| s == sign).and_then(|n| u32::try_from(n).ok())
}

/// The weighted sum with the places counted from 1.
fn sum(numbers: &[u32]) -> u32 {
    (1..).zip(numbers).map(|(weight, number): (u32, &u32)| weight * number).sum::<u32>() % PRIME
}

/// The number of the check sign, which makes the whole sum a multiple of the prime; 32 and above are no sign.
fn check(numbers: &[u32]) -> u32 {
    let rest = sum(numbers);
    let weight = u32::try_from(numbers.len() + 1).unwrap_or(1);
    (0..PRIME).find(|number| (rest + weight * number).is_multiple_of(PRIME)).unwrap_or(PRIME)
}

fn spaced(signs: &str) -> String {
    let (before, after): (String, String) =
        (signs.chars().take(CARRYING / 2).collect(), signs.chars().skip(CARRYING / 2).collect());
    format!("{before}-{after}")
}

/// Gives a code as it is compared: capitals and digits alone, however it was spaced.
#[must_use]
pub fn bare(code: &str) -> String {
    code.chars().filter(char::is_ascii_alphanumeric).map(|c| c.to_ascii_uppercase()).collect()
}

/// Why a text is none of our codes.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CodeError {
    /// It has too few or too many signs.
    #[error("`{0}` has not the seven signs of a code")]
    Length(String),
    /// A sign is none of ours.
    #[error("`{0}` has the sign {1}, which no code has: 0, 1, I and O are left out")]
    Sign(String, char),
    /// The check sign does not fit.
    #[error("`{0}` does not fit its check sign: one sign is wrong, or two have changed places")]
    Check(String),
}

/// Passes a text that is a whole code of ours, however it was spaced and in small or large letters; gives it as printed.
///
/// # Errors
/// What keeps it from being one.
pub fn read(text: &str) -> Result<String, CodeError> {
    let signs = bare(text);
    if signs.chars().count() != CARRYING + 1 {
        return Err(CodeError::Length(text.trim().to_owned()));
    }
    let mut numbers = Vec::new();
    for c in signs.chars() {
        numbers.push(number(c).ok_or_else(|| CodeError::Sign(text.trim().to_owned(), c))?);
    }
    if sum(&numbers) == 0 { Ok(spaced(&signs)) } else { Err(CodeError::Check(text.trim().to_owned())) }
}

/// Gives the codes among some that a typed one may have meant, the nearest first.
#[must_use]
pub fn near<'c>(typed: &str, codes: impl IntoIterator<Item = &'c str>) -> Vec<&'c str> {
    let typed = bare(typed);
    let all: BTreeSet<(usize, &str)> = codes
        .into_iter()
        .map(|code| (strsim::osa_distance(&typed, &bare(code)), code))
        .filter(|(slips, code)| *slips <= NEAR.min(bare(code).len().saturating_sub(1)))
        .collect();
    all.into_iter().map(|(_, code)| code).collect()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn entry(ms: u64, chance: [u8; 10]) -> EntryId {
        EntryId::from_time_and_chance(ms, chance)
    }

    proptest! {
        #[test]
        fn every_wrong_sign_and_every_pair_that_changed_places_is_noticed(ms in 0_u64..1 << 47, chance: [u8; 10]) {
            let code = code_of(entry(ms, chance), |_| false);
            prop_assert_eq!(read(&code), Ok(code.clone()));
            prop_assert_eq!(read(&code.to_lowercase().replace('-', " ")), Ok(code.clone()));
            let signs: Vec<char> = bare(&code).chars().collect();
            for place in 0..signs.len() {
                for other in SIGNS.chars().filter(|c| *c != signs[place]) {
                    let mut wrong = signs.clone();
                    wrong[place] = other;
                    let wrong: String = wrong.into_iter().collect();
                    prop_assert!(matches!(read(&wrong), Err(CodeError::Check(_))), "{} for {}", wrong, code);
                    prop_assert_eq!(near(&wrong, [code.as_str()]), vec![code.as_str()]);
                }
                for second in place + 1..signs.len() {
                    let mut wrong = signs.clone();
                    wrong.swap(place, second);
                    let wrong: String = wrong.into_iter().collect();
                    prop_assert!(signs[place] == signs[second] || matches!(read(&wrong), Err(CodeError::Check(_))));
                }
            }
        }

        #[test]
        fn a_taken_code_is_not_given_again_and_the_next_one_is_good(ms in 0_u64..1 << 47, chance: [u8; 10]) {
            let first = code_of(entry(ms, chance), |_| false);
            let next = code_of(entry(ms, chance), |code| code == first);
            prop_assert_ne!(&first, &next);
            prop_assert_eq!(read(&next), Ok(next.clone()));
            prop_assert_eq!(code_of(entry(ms, chance), |_| false), first);
        }
    }

    /// Worked by hand: 2 3 4 5 6 7 are the numbers 0 to 5; 0 + 2 + 6 + 12 + 20 + 30 = 70, and 70 + 7 * 27 = 259 = 7 * 37;
    /// the sign of number 27 is V.
    #[test]
    fn the_check_sign_is_the_one_worked_by_hand() {
        assert_eq!(check(&[0, 1, 2, 3, 4, 5]), 27);
        assert_eq!(read("234-567V"), Ok("234-567V".to_owned()));
        assert!(matches!(read("234-567W"), Err(CodeError::Check(_))));
        assert!(matches!(read("234-56O7"), Err(CodeError::Sign(_, 'O'))));
        assert!(matches!(read("7KF-QM"), Err(CodeError::Length(_))), "a code of an older order is none of ours");
    }

    #[test]
    fn a_slip_or_two_are_near_and_more_are_not() {
        let codes = ["7KF-QM", "234-567V"];
        assert_eq!(near("7KF QN", codes), ["7KF-QM"]);
        assert_eq!(near("243567V", codes), ["234-567V"]);
        assert_eq!(near("23-567", codes), ["234-567V"]);
        assert!(near("99X-AAAA", codes).is_empty());
    }
}
