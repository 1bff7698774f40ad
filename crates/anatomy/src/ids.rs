//! Ids: one type each, so that an id of one thing cannot be passed for another.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use thiserror::Error;
use uuid::Uuid;

/// Why a text is no id.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum IdError {
    /// The text is not a time-ordered id.
    #[error(
        "`{text}` is no {what} id: expected a version 7 UUID such as 01970000-0000-7000-8000-000000000001; copy the whole id from the logbook"
    )]
    NotTimeOrdered {
        /// Which id was wanted.
        what: &'static str,
        /// What was given.
        text: String,
    },
    /// The text is not a word id.
    #[error(
        "`{text}` is no {what} id: expected small letters, digits, `-` and `_`, starting with a letter; write it as the knowledge files do"
    )]
    NotAWord {
        /// Which id was wanted.
        what: &'static str,
        /// What was given.
        text: String,
    },
}

/// Writes an id type that holds a version 7 UUID.
macro_rules! time_ordered {
    ($(#[$outer:meta])* $name:ident, $what:literal) => {
        $(#[$outer])*
        #[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(try_from = "String", into = "String")]
        pub struct $name(Uuid);

        impl $name {
            /// Makes an id from a time and ten bytes of chance, laid out as a version 7 UUID.
            ///
            /// # Shapes
            /// `unix_ms` fills the first 48 bits (larger values are cut to 48 bits); the version and variant
            /// bits overwrite six of the eighty chance bits
            ///
            /// # Units
            /// milliseconds since 1970-01-01T00:00:00Z
            ///
            /// # Source
            /// RFC 9562, UUID version 7 \[published\]
            #[must_use]
            pub fn from_time_and_chance(unix_ms: u64, chance: [u8; 10]) -> Self {
                Self(uuid::Builder::from_unix_timestamp_millis(unix_ms, &chance).into_uuid())
            }

            /// Gives the time inside the id.
            ///
            /// # Units
            /// milliseconds since 1970-01-01T00:00:00Z
            #[must_use]
            pub fn unix_ms(&self) -> u64 {
                // The first 48 bits of the 128.
                u64::try_from(self.0.as_u128() >> 80).unwrap_or(u64::MAX)
            }

            /// Gives the sixteen bytes.
            #[must_use]
            pub fn bytes(&self) -> [u8; 16] { *self.0.as_bytes() }
        }

        impl FromStr for $name {
            type Err = IdError;
            fn from_str(text: &str) -> Result<Self, IdError> {
                let wrong = || IdError::NotTimeOrdered { what: $what, text: text.to_owned() };
                let uuid = Uuid::try_parse(text).map_err(|_| wrong())?;
                // One spelling only, so that the same id has the same bytes everywhere.
                if uuid.get_version_num() != 7 || uuid.hyphenated().to_string() != text {
                    return Err(wrong());
                }
                Ok(Self(uuid))
            }
        }

        impl TryFrom<String> for $name {
            type Error = IdError;
            fn try_from(text: String) -> Result<Self, IdError> { text.parse() }
        }

        impl From<$name> for String {
            fn from(id: $name) -> String { id.to_string() }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result { self.0.hyphenated().fmt(f) }
        }

        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result { write!(f, "{}({})", stringify!($name), self) }
        }
    };
}

time_ordered! {
    /// Names one job; time-ordered, so that jobs sort by when they were opened.
    JobId, "job"
}
time_ordered! {
    /// Names one logbook entry; time-ordered, so that entries sort by when the device made them.
    EntryId, "entry"
}

/// Writes an id type that holds one word of the knowledge files.
macro_rules! word_id {
    ($(#[$outer:meta])* $name:ident, $what:literal) => {
        $(#[$outer])*
        #[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(try_from = "String", into = "String")]
        pub struct $name(String);

        impl $name {
            /// Gives the word.
            #[must_use]
            pub fn as_str(&self) -> &str { &self.0 }
        }

        impl FromStr for $name {
            type Err = IdError;
            fn from_str(text: &str) -> Result<Self, IdError> {
                let good = text.starts_with(|c: char| c.is_ascii_lowercase())
                    && text.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-' || c == '_');
                if good { Ok(Self(text.to_owned())) } else {
                    Err(IdError::NotAWord { what: $what, text: text.to_owned() })
                }
            }
        }

        impl TryFrom<String> for $name {
            type Error = IdError;
            fn try_from(text: String) -> Result<Self, IdError> { text.parse() }
        }

        impl From<$name> for String {
            fn from(id: $name) -> String { id.0 }
        }

        impl AsRef<str> for $name {
            fn as_ref(&self) -> &str { &self.0 }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result { f.write_str(&self.0) }
        }
    };
}

word_id! {
    /// Names a check of the knowledge.
    CheckId, "check"
}
word_id! {
    /// Names a reading of a check.
    ReadingId, "reading"
}
word_id! {
    /// Names a root cause.
    CauseId, "cause"
}
word_id! {
    /// Names a condition of a component.
    ConditionId, "condition"
}
word_id! {
    /// Names a limit.
    LimitId, "limit"
}
word_id! {
    /// Names a kind of gauge.
    GaugeId, "gauge"
}
