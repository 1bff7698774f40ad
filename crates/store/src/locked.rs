//! A locked file: bytes that only the right passphrase opens, and in which no byte can be changed or cut off unnoticed.
//!
//! ```text
//! witnessmark-backup 1                                     which form this is
//! {"key":"argon2id",…,"salt":"…","nonce":"…","proof":"…"}  how the key is made from the passphrase
//! 5f1c…                                                    SHA-256 of the two lines above
//! chunk, chunk, … chunk                                    65,536 bytes locked into 65,552 each
//! ```
//!
//! Key and proof are the first 32 and the next 32 bytes of Argon2id over passphrase and salt; the proof, as the SHA-256 of
//! those bytes, tells a wrong passphrase from a damaged file. Each chunk is locked with ChaCha20-Poly1305 in the STREAM
//! construction: the nonce holds the chunk's number and whether it is the last one, so that chunks cannot be swapped, left
//! out or cut off at the end. The hash of the first lines is locked into every chunk. What is locked is filled up with zero
//! bytes to whole chunks, so that the length alone shows a file that was cut.

use std::fs::File;
use std::io::{self, BufRead, BufReader, Read, Write};
use std::path::Path;

use aead_stream::{NewStream, StreamBE32, StreamPrimitive};
use argon2::{Algorithm, Argon2, Params, Version};
use chacha20poly1305::aead::Payload;
use chacha20poly1305::{ChaCha20Poly1305, Key};
use serde::{Deserialize, Serialize};
use thiserror::Error;
use zeroize::Zeroizing;

use crate::attachment::{ContentId, hex, unhex};

/// The first line of a locked file.
const MAGIC: &str = "witnessmark-backup 1";
/// What the first line of any version begins with.
const MAGIC_WORD: &str = "witnessmark-backup ";
/// Bytes locked together; large enough for speed, small enough to stop early at damage \[ours\].
const CHUNK: usize = 1 << 16;
/// Bytes that the lock adds to a chunk [published: RFC 8439, Poly1305 tag].
const TAG: usize = 16;
/// Argon2id with 64 MiB, three passes, four lanes [published: RFC 9106, section 4, second recommended option].
const MEMORY_KIB: u32 = 1 << 16;
const PASSES: u32 = 3;
const LANES: u32 = 4;
/// The most that a file may ask for when it is opened \[ours\]: 1 GiB and sixteen passes or lanes.
const MOST_MEMORY_KIB: u32 = 1 << 20;
const MOST_PASSES: u32 = 16;
/// Bytes of the salt [published: RFC 9106, section 3.1] and of the nonce before counter and last-mark.
const SALT: usize = 16;
const NONCE: usize = 7;
/// The longest head taken, in bytes \[ours\].
const LONGEST_HEAD: u64 = 4096;

/// A passphrase; wiped from memory when it is dropped, and never shown.
#[derive(Clone)]
pub struct Passphrase(Zeroizing<String>);

impl Passphrase {
    /// The fewest characters taken for a new backup: a passphrase without a second thing beside it
    /// [published: OWASP ASVS 5.0, 6.2.1 advises 15].
    pub const SHORTEST: usize = 15;

    /// Takes a passphrase as it was typed.
    #[must_use]
    pub fn new(text: impl Into<String>) -> Self {
        Self(Zeroizing::new(text.into()))
    }

    /// Says whether it is long enough for a new backup.
    #[must_use]
    pub fn is_long_enough(&self) -> bool {
        self.0.chars().count() >= Self::SHORTEST
    }
}

impl std::fmt::Debug for Passphrase {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Passphrase")
    }
}

/// Why a locked file does not open.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum LockedError {
    /// It is another kind of file.
    #[error("it is no backup that witnessmark made: its first line is not `{MAGIC}`; check the path")]
    NotOurs,
    /// A newer build made it.
    #[error("its form is newer than this build knows (`{found}`, known is `{MAGIC}`); update witnessmark")]
    Newer {
        /// The first line found.
        found: String,
    },
    /// The lines at its head are not as they were written.
    #[error("its first lines have been changed or cut; take another copy of the backup")]
    Head,
    /// The passphrase is another one.
    #[error("the passphrase is not the one it was made with; type it again, or look for the one of that time")]
    Passphrase,
    /// Bytes are missing at its end.
    #[error(
        "the file is cut short, the end is missing after byte {at}; take another copy of the backup, or copy it again from where it was made"
    )]
    Cut {
        /// How many bytes there are.
        at: u64,
    },
    /// A byte is another one.
    #[error("a byte between {from} and {to} of the file has been changed; take another copy of the backup")]
    Changed {
        /// The first byte that may be meant.
        from: u64,
        /// The last one.
        to: u64,
    },
}

/// Whether a file begins as a locked file of any version does.
#[must_use]
pub fn is_locked(path: &Path) -> bool {
    let mut first = [0; MAGIC_WORD.len()];
    let read = File::open(path).and_then(|mut file| file.read_exact(&mut first));
    read.is_ok() && first == *MAGIC_WORD.as_bytes()
}

/// How the key is made.
#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Head {
    key: String,
    memory_kib: u32,
    passes: u32,
    lanes: u32,
    salt: String,
    nonce: String,
    proof: String,
}

type Stream = StreamBE32<ChaCha20Poly1305>;

/// Makes key and proof from a passphrase.
fn key_and_proof(
    passphrase: &Passphrase,
    head: (u32, u32, u32),
    salt: &[u8],
) -> Result<(Zeroizing<[u8; 32]>, String), LockedError> {
    let (memory, passes, lanes) = head;
    let mut out = Zeroizing::new([0_u8; 64]);
    let params = Params::new(memory, passes, lanes, Some(out.len())).map_err(|_| LockedError::Head)?;
    Argon2::new(Algorithm::Argon2id, Version::V0x13, params)
        .hash_password_into(passphrase.0.as_bytes(), salt, out.as_mut())
        .map_err(|_| LockedError::Head)?;
    let (first, second) = out.split_at(32);
    let mut key = Zeroizing::new([0_u8; 32]);
    key.copy_from_slice(first);
    Ok((key, ContentId::of(second).to_string()))
}

fn stream(key: &[u8; 32], nonce: [u8; NONCE]) -> Stream {
    Stream::new(&Key::from(*key), &nonce.into())
}

/// Locks what is written to it.
pub(crate) struct Locker<W: Write> {
    inner: W,
    stream: Stream,
    about: String,
    held: Zeroizing<Vec<u8>>,
    at: u32,
}

impl<W: Write> Locker<W> {
    /// Begins a locked file: writes its head.
    pub(crate) fn new(mut inner: W, passphrase: &Passphrase) -> io::Result<Self> {
        let (mut salt, mut nonce) = ([0_u8; SALT], [0_u8; NONCE]);
        getrandom::fill(&mut salt).map_err(io::Error::other)?;
        getrandom::fill(&mut nonce).map_err(io::Error::other)?;
        let (key, proof) = key_and_proof(passphrase, (MEMORY_KIB, PASSES, LANES), &salt).map_err(io::Error::other)?;
        let head = Head {
            key: "argon2id".to_owned(),
            memory_kib: MEMORY_KIB,
            passes: PASSES,
            lanes: LANES,
            salt: hex(&salt),
            nonce: hex(&nonce),
            proof,
        };
        let two = format!("{MAGIC}\n{}\n", serde_json::to_string(&head)?);
        let about = ContentId::of(two.as_bytes()).to_string();
        inner.write_all(format!("{two}{about}\n").as_bytes())?;
        Ok(Self { inner, stream: stream(&key, nonce), about, held: Zeroizing::default(), at: 0 })
    }

    fn lock(&mut self, last: bool) -> io::Result<()> {
        let payload = Payload { msg: &self.held, aad: self.about.as_bytes() };
        let locked = self.stream.encrypt(self.at, last, payload);
        let locked = locked.map_err(|_| io::Error::other("the cipher refused a chunk"))?;
        self.inner.write_all(&locked)?;
        self.at = self.at.checked_add(1).ok_or_else(|| io::Error::other("the backup has too many chunks"))?;
        self.held.clear();
        Ok(())
    }

    /// Fills the last chunk up, locks it and gives the writer back.
    pub(crate) fn finish(mut self) -> io::Result<W> {
        self.held.resize(CHUNK, 0);
        self.lock(true)?;
        self.inner.flush()?;
        Ok(self.inner)
    }
}

impl<W: Write> Write for Locker<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        // A full chunk waits until something follows it, since the last one is locked as such.
        if self.held.len() == CHUNK {
            self.lock(false)?;
        }
        let taken = bytes.len().min(CHUNK - self.held.len());
        self.held.extend(bytes.iter().take(taken));
        Ok(taken)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.inner.flush()
    }
}

/// Gives the bytes of a locked file.
pub(crate) struct Unlocker {
    file: BufReader<File>,
    stream: Stream,
    about: String,
    held: Zeroizing<Vec<u8>>,
    given: usize,
    at: u32,
    /// Where the next chunk begins in the file.
    place: u64,
    /// How long the file is.
    length: u64,
}

/// What the system said, or why the file does not open.
#[derive(Debug)]
pub(crate) enum OpenLocked {
    System(io::Error),
    Locked(LockedError),
}

impl From<io::Error> for OpenLocked {
    fn from(error: io::Error) -> Self {
        match error.downcast::<LockedError>() {
            Ok(locked) => Self::Locked(locked),
            Err(error) => Self::System(error),
        }
    }
}

impl Unlocker {
    /// Opens a locked file, as far as its head.
    pub(crate) fn open(path: &Path, passphrase: &Passphrase) -> Result<Self, OpenLocked> {
        let file = File::open(path)?;
        let length = file.metadata()?.len();
        let mut file = BufReader::new(file);
        let (first, second, third) = head_lines(&mut file, length)?;
        let two = format!("{first}\n{second}\n");
        let about = ContentId::of(two.as_bytes()).to_string();
        if third != about {
            return Err(OpenLocked::Locked(LockedError::Head));
        }
        let wrong = || OpenLocked::Locked(LockedError::Head);
        let head: Head = serde_json::from_str(&second).map_err(|_| wrong())?;
        let salt = unhex::<SALT>(&head.salt).ok_or_else(wrong)?;
        let nonce = unhex::<NONCE>(&head.nonce).ok_or_else(wrong)?;
        let sane = head.key == "argon2id"
            && head.memory_kib <= MOST_MEMORY_KIB
            && head.passes <= MOST_PASSES
            && head.lanes <= MOST_PASSES;
        if !sane {
            return Err(wrong());
        }
        let (key, proof) =
            key_and_proof(passphrase, (head.memory_kib, head.passes, head.lanes), &salt).map_err(OpenLocked::Locked)?;
        if proof != head.proof {
            return Err(OpenLocked::Locked(LockedError::Passphrase));
        }
        let place = count(two.len() + third.len() + 1);
        let body = length.saturating_sub(place);
        if body == 0 || body % count(CHUNK + TAG) != 0 {
            return Err(OpenLocked::Locked(LockedError::Cut { at: length }));
        }
        Ok(Self {
            file,
            stream: stream(&key, nonce),
            about,
            held: Zeroizing::default(),
            given: 0,
            at: 0,
            place,
            length,
        })
    }

    /// Gives how long the file is.
    pub(crate) fn length(&self) -> u64 {
        self.length
    }

    /// Gives how far it has been read.
    pub(crate) fn place(&self) -> u64 {
        self.place
    }

    fn next_chunk(&mut self) -> io::Result<()> {
        let mut locked = vec![0; CHUNK + TAG];
        self.file.read_exact(&mut locked)?;
        let end = self.place + count(CHUNK + TAG);
        let last = end >= self.length;
        let open = |last: bool| {
            let payload = Payload { msg: &locked, aad: self.about.as_bytes() };
            self.stream.decrypt(self.at, last, payload)
        };
        let Ok(bytes) = open(last) else {
            // Whole chunks may be missing: then the last one there opens as one that others follow.
            let error = if last && open(false).is_ok() {
                LockedError::Cut { at: self.length }
            } else {
                LockedError::Changed { from: self.place + 1, to: end }
            };
            return Err(io::Error::other(error));
        };
        self.held = Zeroizing::new(bytes);
        self.given = 0;
        self.place = end;
        self.at = self.at.saturating_add(1);
        Ok(())
    }
}

impl Read for Unlocker {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        if self.given == self.held.len() {
            if self.place >= self.length {
                return Ok(0);
            }
            self.next_chunk()?;
        }
        let rest = self.held.get(self.given..).unwrap_or_default();
        let n = rest.len().min(into.len());
        for (to, from) in into.iter_mut().zip(rest) {
            *to = *from;
        }
        self.given += n;
        Ok(n)
    }
}

/// Reads the three lines at the head of a file.
fn head_lines(file: &mut BufReader<File>, length: u64) -> Result<(String, String, String), OpenLocked> {
    let mut lines = Vec::new();
    let mut head = file.take(LONGEST_HEAD);
    for _ in 0..3 {
        let mut line = Vec::new();
        head.read_until(b'\n', &mut line)?;
        let whole = line.pop_if(|byte| *byte == b'\n').is_some();
        let text = String::from_utf8(line).unwrap_or_default();
        if lines.is_empty() && text != MAGIC {
            let error = if whole && text.starts_with(MAGIC_WORD) {
                LockedError::Newer { found: text }
            } else {
                LockedError::NotOurs
            };
            return Err(OpenLocked::Locked(error));
        }
        if !whole {
            let error = if head.limit() == 0 { LockedError::Head } else { LockedError::Cut { at: length } };
            return Err(OpenLocked::Locked(error));
        }
        lines.push(text);
    }
    let mut lines = lines.into_iter();
    let mut next = || lines.next().unwrap_or_default();
    Ok((next(), next(), next()))
}

fn count(len: usize) -> u64 {
    u64::try_from(len).unwrap_or(u64::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn locked(bytes: &[u8]) -> (tempfile::TempDir, std::path::PathBuf) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("locked");
        let mut locker =
            Locker::new(File::create(&path).unwrap(), &Passphrase::new("seven bolts, one stripe")).unwrap();
        locker.write_all(bytes).unwrap();
        locker.finish().unwrap();
        (folder, path)
    }

    fn opened(path: &Path, passphrase: &str) -> Result<Vec<u8>, LockedError> {
        let read = || -> Result<Vec<u8>, OpenLocked> {
            let mut bytes = Vec::new();
            Unlocker::open(path, &Passphrase::new(passphrase))?.read_to_end(&mut bytes)?;
            Ok(bytes)
        };
        read().map_err(|error| match error {
            OpenLocked::Locked(error) => error,
            OpenLocked::System(error) => panic!("{error}"),
        })
    }

    #[test]
    fn what_is_locked_opens_with_the_passphrase_and_with_no_other() {
        for length in [0, 1, CHUNK - 1, CHUNK, CHUNK + 1, 3 * CHUNK] {
            let bytes: Vec<u8> = (0..length).map(|n| u8::try_from(n % 251).unwrap()).collect();
            let (_folder, path) = locked(&bytes);
            let mut back = opened(&path, "seven bolts, one stripe").unwrap();
            assert_eq!(back.len() % CHUNK, 0, "filled up to whole chunks");
            assert!(back.split_off(length).iter().all(|b| *b == 0));
            assert_eq!(back, bytes);
            assert_eq!(opened(&path, "seven bolts, two stripes"), Err(LockedError::Passphrase));
        }
    }

    #[test]
    fn a_cut_anywhere_is_called_a_cut_and_a_changed_byte_is_named() {
        let (_folder, path) = locked(&vec![7; 2 * CHUNK + 5]);
        let whole = std::fs::read(&path).unwrap();
        let head = whole.len() - 3 * (CHUNK + TAG);
        for end in [head - 40, head, head + 1, head + CHUNK + TAG, head + 2 * (CHUNK + TAG), whole.len() - 1] {
            std::fs::write(&path, &whole[..end]).unwrap();
            let said = opened(&path, "seven bolts, one stripe").unwrap_err();
            assert!(matches!(said, LockedError::Cut { at } if at == end as u64), "{end}: {said:?}");
        }
        for at in [head + 3, head + CHUNK + 30, whole.len() - 1] {
            let mut changed = whole.clone();
            changed[at] ^= 4;
            std::fs::write(&path, &changed).unwrap();
            let said = opened(&path, "seven bolts, one stripe").unwrap_err();
            let meant = |from: u64, to: u64| (from..=to).contains(&(at as u64 + 1));
            assert!(matches!(said, LockedError::Changed { from, to } if meant(from, to)), "{at}: {said:?}");
        }
        for at in MAGIC.len() + 2..head - 1 {
            let mut changed = whole.clone();
            changed[at] ^= 1;
            std::fs::write(&path, &changed).unwrap();
            assert_eq!(opened(&path, "seven bolts, one stripe"), Err(LockedError::Head), "byte {at}");
        }
        let mut swapped = whole[..head].to_vec();
        swapped.extend_from_slice(&whole[head + CHUNK + TAG..head + 2 * (CHUNK + TAG)]);
        swapped.extend_from_slice(&whole[head..head + CHUNK + TAG]);
        swapped.extend_from_slice(&whole[head + 2 * (CHUNK + TAG)..]);
        std::fs::write(&path, &swapped).unwrap();
        let said = opened(&path, "seven bolts, one stripe").unwrap_err();
        assert!(matches!(said, LockedError::Changed { .. }), "{said:?}");
        std::fs::write(&path, b"a shopping list\n").unwrap();
        assert_eq!(opened(&path, "seven bolts, one stripe"), Err(LockedError::NotOurs));
    }
}
