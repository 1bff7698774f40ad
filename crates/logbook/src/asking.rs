//! What a customer page says, put into one hash, and the short code by which its answer comes back.
//!
//! A code is seven signs: six drawn from the hash of the page, and a check sign. The signs are numbered from nought in the
//! sequence of [`SIGNS`]; the first counts seven times, the second six times, and so on down to the check sign, which counts
//! once; the sum is a multiple of the number of signs. That number is a prime and larger than any weight, so one wrong sign
//! always spoils the sum, and so do two signs that changed places.

use anatomy::JobId;
use serde::Serialize;
use sha2::{Digest, Sha256};
use thiserror::Error;

use crate::bodies::ShownFact;
use crate::entry::digest;

/// The signs of a code: of each group that look alike (0 O Q D, 1 I L, 2 Z, 5 S, 6 G, 8 B, U V) at most one, and of M and N,
/// which sound alike, one \[ours\].
pub const SIGNS: &str = "23456789ACDEFHJKMPRTWXY";

/// How many signs a code has, the check sign among them.
pub const LENGTH: usize = 7;

/// The short code of one question for a yes.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(transparent)]
pub struct AnswerCode(String);

/// Why a text is no code.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum CodeError {
    /// A sign that no code has.
    #[error(
        "`{typed}` is no code: `{sign}` is in none; a code has the digits 2 to 9 and the letters A C D E F H J K M P R T W X Y"
    )]
    Sign {
        /// What was typed.
        typed: String,
        /// The sign.
        sign: char,
    },
    /// Too few or too many signs.
    #[error("`{typed}` is no code: it has {found} signs and a code has {LENGTH}, such as {}", AnswerCode::example())]
    Length {
        /// What was typed.
        typed: String,
        /// How many signs there are.
        found: usize,
    },
    /// The check sign does not agree with the others.
    #[error(
        "`{typed}` is no code: its check sign does not agree, so a sign is wrong or two changed places; have it read out once more"
    )]
    Check {
        /// What was typed.
        typed: String,
    },
}

/// The number of a sign.
fn number(sign: char) -> Option<usize> {
    SIGNS.chars().position(|s| s == sign)
}

/// The sum that a good code makes a multiple of the number of signs.
fn sum(numbers: impl Iterator<Item = usize>) -> usize {
    numbers.enumerate().map(|(place, n)| LENGTH.saturating_sub(place) * n).sum()
}

impl AnswerCode {
    /// Gives the code of a page of a job; another `attempt` gives another code, for one that is taken already.
    #[must_use]
    pub fn of(job: JobId, page: &str, attempt: u32) -> Self {
        let count = SIGNS.len();
        let hash = Sha256::digest(format!("{job} {page} {attempt}").as_bytes());
        // Eight bytes are enough: six signs are less than 28 bits, so no sign is noticeably likelier than another.
        let mut left = hash.iter().take(8).fold(0_u64, |all, byte| (all << 8) | u64::from(*byte));
        let base = u64::try_from(count).unwrap_or(1);
        let mut numbers = Vec::new();
        for _ in 1..LENGTH {
            numbers.push(usize::try_from(left % base).unwrap_or(0));
            left /= base;
        }
        numbers.push((count - sum(numbers.iter().copied()) % count) % count);
        Self(numbers.into_iter().filter_map(|n| SIGNS.chars().nth(n)).collect())
    }

    /// Reads a code as somebody typed it: small letters, blanks and hyphens do not matter.
    ///
    /// # Errors
    /// [`CodeError`], with what was typed.
    pub fn read(typed: &str) -> Result<Self, CodeError> {
        let signs = Self::signs(typed);
        let typed = typed.trim().to_owned();
        let mut numbers = Vec::new();
        for sign in signs.chars() {
            numbers.push(number(sign).ok_or_else(|| CodeError::Sign { typed: typed.clone(), sign })?);
        }
        if numbers.len() != LENGTH {
            return Err(CodeError::Length { typed, found: numbers.len() });
        }
        if sum(numbers.into_iter()) % SIGNS.len() != 0 {
            return Err(CodeError::Check { typed });
        }
        Ok(Self(signs))
    }

    /// The signs of a text, without what does not matter in a code.
    fn signs(typed: &str) -> String {
        let idle = |c: &char| !c.is_whitespace() && !matches!(c, '-' | '–' | '.');
        typed.chars().filter(idle).flat_map(char::to_uppercase).collect()
    }

    /// The code as it is kept: seven signs.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// The code as it is shown: in groups that are easy to read out.
    #[must_use]
    pub fn grouped(&self) -> String {
        let signs: Vec<char> = self.0.chars().collect();
        let groups: Vec<String> = signs.chunks(3).map(|group| group.iter().collect()).collect();
        groups.join("-")
    }

    /// How many signs at least must be changed, added, left out or change places with a neighbour to make it of a text.
    #[must_use]
    pub fn apart(&self, typed: &str) -> usize {
        strsim::osa_distance(&self.0, &Self::signs(typed))
    }

    /// A code for a message: the one of nothing.
    fn example() -> String {
        let signs: String = SIGNS.chars().take(1).cycle().take(LENGTH).collect();
        Self(signs).grouped()
    }
}

impl std::fmt::Display for AnswerCode {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.grouped())
    }
}

/// Gives the hash of what a page shows, as 64 small hexadecimal digits: the SHA-256 of every fact in its sequence, each text
/// with its length in bytes before it.
#[must_use]
pub fn page_hash(shown: &[ShownFact]) -> String {
    let mut bytes = Vec::new();
    for text in shown.iter().flat_map(|fact| [&fact.what, &fact.says]) {
        bytes.extend_from_slice(&u64::try_from(text.len()).unwrap_or(u64::MAX).to_be_bytes());
        bytes.extend_from_slice(text.as_bytes());
    }
    digest(&bytes)
}
