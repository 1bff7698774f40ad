//! Chance by name: the same words give the same number, on every machine and in every sequence.
//!
//! What is drawn in this way does not depend on what else was drawn before it, so that two courses of events which ask the
//! same question meet the same answer.

use crate::normal;
use crate::shared::{mixed, unit};

/// Offset and prime of the 64-bit FNV-1a hash (Fowler, Noll and Vo).
const OFFSET: u64 = 0xcbf2_9ce4_8422_2325;
const PRIME: u64 = 0x0000_0100_0000_01b3;

/// A source of chance.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Luck(u64);

impl Luck {
    /// The source of a seed.
    #[must_use]
    pub fn of(seed: u64) -> Self {
        Self(mixed(seed))
    }

    /// The source that belongs to a word under this one.
    #[must_use]
    pub fn at(self, word: &str) -> Self {
        // A byte that no text holds closes each word, so that two words are not one longer one.
        let hash = word.bytes().chain([0xff]).fold(OFFSET ^ self.0, |h, b| (h ^ u64::from(b)).wrapping_mul(PRIME));
        Self(mixed(hash))
    }

    /// The source that belongs to a number under this one.
    #[must_use]
    pub fn nth(self, number: u64) -> Self {
        Self(mixed(self.0 ^ mixed(number)))
    }

    /// A number from 0 to below 1, each as likely as any other.
    #[must_use]
    pub fn unit(self) -> f64 {
        unit(mixed(self.0))
    }

    /// A number of the normal law with mean nought and spread one.
    #[must_use]
    pub fn normal(self) -> f64 {
        // From the middle of one of 2^53 equal steps, so that neither end is met.
        normal::place((self.unit() + 0.5 / 9_007_199_254_740_992.0).min(1.0 - f64::EPSILON / 2.0))
    }
}

#[cfg(test)]
mod tests {
    use super::Luck;

    #[test]
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a number from 0 to below 10")]
    fn the_numbers_of_many_words_fill_the_interval_evenly_and_have_the_moments_of_the_normal_law() {
        let all: Vec<Luck> = (0..20_000).map(|i| Luck::of(3).at("engine").nth(i).at("reading")).collect();
        let n = 20_000.0;
        let tenths: Vec<usize> =
            (0..10).map(|k| all.iter().filter(|l| (l.unit() * 10.0).floor() as usize == k).count()).collect();
        // Each tenth expects 2000 with a spread of 42; five spreads are 212.
        assert!(tenths.iter().all(|t| t.abs_diff(2000) < 212), "{tenths:?}");
        let mean: f64 = all.iter().map(|l| l.normal()).sum::<f64>() / n;
        let square: f64 = all.iter().map(|l| l.normal().powi(2)).sum::<f64>() / n;
        assert!(mean.abs() < 0.036 && (square - 1.0).abs() < 0.05, "{mean} {square}");
    }

    #[test]
    fn a_word_is_not_its_neighbours_run_together() {
        let luck = Luck::of(1);
        assert_ne!(luck.at("ab").at("c"), luck.at("a").at("bc"));
        assert_eq!(luck.at("ab").at("c"), Luck::of(1).at("ab").at("c"));
    }
}
