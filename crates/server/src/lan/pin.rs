//! PINs: which are refused, and how one is kept.

use argon2::{Algorithm, Argon2, Params, Version};
use serde::{Deserialize, Serialize};

use super::folder::{hex, unhex};

/// Argon2id with 64 MiB, three passes, four lanes [published: RFC 9106, section 4, second recommended option].
const MEMORY_KIB: u32 = 1 << 16;
const PASSES: u32 = 3;
const LANES: u32 = 4;
/// The most that a file may ask for \[ours\].
const MOST_MEMORY_KIB: u32 = 1 << 18;
const MOST_PASSES: u32 = 8;

/// Ways over a keypad that fingers find by themselves \[ours\]: columns, crosses and rows.
const WAYS: &[&str] = &[
    "147258", "258369", "369258", "258147", "147369", "369147", "741852", "852963", "963852", "852741", "159357",
    "357159", "159753", "753159", "951357", "951753", "123789", "789123", "456123", "123654", "321654", "654789",
    "789456", "456789", "147896", "789632", "142536", "102030", "246802", "135790",
];

/// What a PIN is kept as.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Hash {
    memory_kib: u32,
    passes: u32,
    lanes: u32,
    salt: String,
    argon2id: String,
}

fn worked(pin: &str, salt: &[u8], memory: u32, passes: u32, lanes: u32) -> Option<[u8; 32]> {
    let mut out = [0_u8; 32];
    let params = Params::new(memory, passes, lanes, Some(out.len())).ok()?;
    Argon2::new(Algorithm::Argon2id, Version::V0x13, params).hash_password_into(pin.as_bytes(), salt, &mut out).ok()?;
    Some(out)
}

impl Hash {
    /// The hash of a PIN.
    pub(super) fn of(pin: &str, salt: [u8; 16]) -> Option<Self> {
        let made = worked(pin, &salt, MEMORY_KIB, PASSES, LANES)?;
        Some(Self { memory_kib: MEMORY_KIB, passes: PASSES, lanes: LANES, salt: hex(&salt), argon2id: hex(&made) })
    }

    /// Whether a PIN is the one.
    pub(super) fn is_of(&self, typed: &str) -> bool {
        if self.memory_kib > MOST_MEMORY_KIB || self.passes > MOST_PASSES || self.lanes > LANES {
            return false;
        }
        let (Some(salt), Some(kept)) = (unhex(&self.salt), unhex(&self.argon2id)) else { return false };
        let made = worked(typed, &salt, self.memory_kib, self.passes, self.lanes);
        // Every byte is looked at, so that the time taken tells nothing.
        made.is_some_and(|made| {
            made.len() == kept.len() && made.iter().zip(&kept).fold(0_u8, |differs, (a, b)| differs | (a ^ b)) == 0
        })
    }
}

/// Why a PIN is not taken; nothing where it is.
pub(super) fn refused(pin: &str) -> Option<&'static str> {
    if pin.len() != 6 || !pin.bytes().all(|b| b.is_ascii_digit()) {
        return Some("a PIN has six digits and nothing else");
    }
    let digits: Vec<u8> = pin.bytes().map(|b| b - b'0').collect();
    let mut kinds = digits.clone();
    kinds.sort_unstable();
    kinds.dedup();
    if kinds.len() < 3 {
        return Some("it has fewer than three different digits, which is tried first; take another one");
    }
    let again = |period: usize| digits.iter().skip(period).zip(&digits).all(|(a, b)| a == b);
    if again(2) || again(3) {
        return Some("it repeats itself, which is tried first; take another one");
    }
    let step = |of: &[u8]| {
        let steps: Vec<u8> = of.windows(2).filter_map(|w| Some((10 + w.get(1)? - w.first()?) % 10)).collect();
        steps.windows(2).all(|w| w.first() == w.get(1))
    };
    let doubled = digits.chunks(2).all(|c| c.first() == c.get(1));
    let (even, odd): (Vec<u8>, Vec<u8>) =
        (digits.iter().step_by(2).copied().collect(), digits.iter().skip(1).step_by(2).copied().collect());
    if step(&digits) || (doubled && step(&even) && step(&odd)) {
        return Some("its digits go up or down in even steps, which is tried first; take another one");
    }
    if digits.iter().eq(digits.iter().rev()) {
        return Some("it reads the same from both ends, which is tried first; take another one");
    }
    let year =
        |text: Option<&str>| text.and_then(|t| t.parse::<u16>().ok()).is_some_and(|y| (1930..=2039).contains(&y));
    if year(pin.get(..4)) || year(pin.get(2..)) {
        return Some("it has a year in it, which is tried first; take another one");
    }
    if WAYS.contains(&pin) {
        return Some("it is a way over the keypad that many people take; take another one");
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn common_pins_are_refused_and_others_taken() {
        for pin in [
            "",
            "12345",
            "1234567",
            "12 456",
            "12345a",
            "111111",
            "000000",
            "121212",
            "123123",
            "112211",
            "123456",
            "654321",
            "987654",
            "890123",
            "135791",
            "112233",
            "998877",
            "123321",
            "199012",
            "121990",
            "252001",
            "200512",
            "147258",
            "159357",
            "１２３４５６",
        ] {
            assert!(refused(pin).is_some(), "{pin} was taken");
        }
        for pin in ["583920", "417703", "906152", "300718", "774193"] {
            assert_eq!(refused(pin), None, "{pin}");
        }
    }

    #[test]
    fn a_pin_is_kept_as_a_slow_hash_that_only_it_fits() {
        #[expect(clippy::disallowed_methods, reason = "the slowness is what is tried")]
        let begun = std::time::Instant::now();
        let hash = Hash::of("583920", [7; 16]).unwrap();
        assert!(begun.elapsed().as_millis() >= 20, "{:?}", begun.elapsed());
        assert!(hash.is_of("583920"));
        assert!(!hash.is_of("583921") && !hash.is_of(""));
        let kept = serde_json::to_string(&hash).unwrap();
        assert!(!kept.contains("583920") && kept.contains("argon2id"), "{kept}");
        let other = Hash::of("583920", [8; 16]).unwrap();
        assert_ne!(hash.argon2id, other.argon2id, "the salt counts");
        let greedy = Hash { memory_kib: 1 << 22, ..hash };
        assert!(!greedy.is_of("583920"), "a file cannot ask for all memory");
    }
}
