//! Attachments: bytes in files that are named after their own SHA-256, so a name always means the same bytes.

use std::fmt::{self, Write as _};
use std::fs;
use std::io;
use std::path::Path;
use std::str::FromStr;
use std::sync::atomic::{AtomicU64, Ordering};

use thiserror::Error;

use crate::entry::sha256_of;
use crate::failure::AttachmentError;
use crate::folder;

/// The name of an attachment: the SHA-256 of its bytes, shown as 64 small hexadecimal digits.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct ContentId([u8; 32]);

/// An attachment as the record knows it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Attachment {
    /// Its name.
    pub id: ContentId,
    /// How many bytes it has.
    pub size: u64,
    /// What the bytes are, as an internet media type.
    pub media_type: String,
}

/// Why a text is no attachment name.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error(
    "`{text}` is no attachment name: expected 64 digits out of 0 to 9 and a to f; copy the whole name from the entry"
)]
pub struct ContentIdError {
    /// What was given.
    pub text: String,
}

impl ContentId {
    /// Gives the name that these bytes have.
    #[must_use]
    pub fn of(bytes: &[u8]) -> Self {
        Self(sha256_of(bytes))
    }
}

impl fmt::Display for ContentId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&hex(&self.0))
    }
}

impl fmt::Debug for ContentId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "ContentId({self})")
    }
}

impl FromStr for ContentId {
    type Err = ContentIdError;

    fn from_str(text: &str) -> Result<Self, ContentIdError> {
        let wrong = || ContentIdError { text: text.chars().take(80).collect() };
        unhex(text).map(Self).ok_or_else(wrong)
    }
}

/// Gives bytes as small hexadecimal digits.
pub(crate) fn hex(bytes: &[u8]) -> String {
    let mut text = String::with_capacity(2 * bytes.len());
    for byte in bytes {
        // Writing into a text cannot fail.
        let _written = write!(text, "{byte:02x}");
    }
    text
}

/// Reads so many bytes out of small hexadecimal digits; one spelling only, since capital digits would be another file
/// name for the same bytes.
pub(crate) fn unhex<const N: usize>(text: &str) -> Option<[u8; N]> {
    if text.len() != 2 * N || !text.bytes().all(|b| matches!(b, b'0'..=b'9' | b'a'..=b'f')) {
        return None;
    }
    let mut bytes = [0; N];
    for (place, two) in bytes.iter_mut().zip(text.as_bytes().chunks_exact(2)) {
        *place = u8::from_str_radix(std::str::from_utf8(two).ok()?, 16).ok()?;
    }
    Some(bytes)
}

/// Writes the file of an attachment, unless it lies there whole already.
///
/// A file that lies there with other bytes has been spoiled since; the right bytes are at hand, so it is written anew.
pub(crate) fn write(folder: &Path, id: ContentId, bytes: &[u8]) -> io::Result<()> {
    static TURN: AtomicU64 = AtomicU64::new(0);
    let name = id.to_string();
    let target = folder::attachment_path(folder, &name);
    match fs::read(&target) {
        Ok(there) if ContentId::of(&there) == id => {
            // It may have been written by an opening that ended before the sync; syncing again costs little.
            fs::File::open(&target)?.sync_all()?;
            return folder::sync_folder(target.parent().unwrap_or(folder));
        }
        Ok(_) => {}
        Err(error) if error.kind() == io::ErrorKind::NotFound => {}
        Err(error) => return Err(error),
    }
    let turn = TURN.fetch_add(1, Ordering::Relaxed);
    folder::write_safely(&folder::incoming_path(folder, &name, turn), &target, bytes)
}

/// Gives the bytes of an attachment's file, after comparing them with their name.
pub(crate) fn read(folder: &Path, id: ContentId) -> Result<Vec<u8>, AttachmentError> {
    match fs::read(folder::attachment_path(folder, &id.to_string())) {
        Ok(bytes) if ContentId::of(&bytes) == id => Ok(bytes),
        Ok(_) => Err(AttachmentError::Spoiled { id }),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Err(AttachmentError::Missing { id }),
        Err(error) => Err(AttachmentError::Storage {
            place: folder.to_owned().into(),
            why: error.to_string(),
            next: "check the disk and run `witnessmark verify`",
        }),
    }
}
