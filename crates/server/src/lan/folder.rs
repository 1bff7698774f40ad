//! Files that nobody but their owner may read, written whole or not at all; and chance.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use serde::Serialize;
use serde::de::DeserializeOwned;
use sha2::{Digest, Sha256};

use super::LanError;

/// The folder of the network.
#[derive(Debug, Clone)]
pub(super) struct Folder(PathBuf);

/// Held while a file is changed; the system lets go of it when the process ends, however it ends.
#[derive(Debug)]
pub(super) struct Held {
    _file: File,
}

impl Folder {
    pub(super) fn of(path: &Path) -> Self {
        Self(path.to_owned())
    }

    fn wrong(&self, name: &str) -> impl Fn(io::Error) -> LanError {
        let path = self.0.join(name);
        move |why| LanError::System { path: path.clone(), why }
    }

    /// Makes the folder, for its owner only.
    pub(super) fn make(&self) -> Result<(), LanError> {
        fs::create_dir_all(&self.0).and_then(|()| owner_only(&self.0, 0o700)).map_err(self.wrong(""))
    }

    /// Waits for the right to change something here.
    pub(super) fn lock(&self) -> Result<Held, LanError> {
        let open = || -> io::Result<Held> {
            let file = for_owner().create(true).truncate(false).open(self.0.join("lock"))?;
            file.lock()?;
            Ok(Held { _file: file })
        };
        open().map_err(self.wrong("lock"))
    }

    /// Reads a file; none where there is none.
    pub(super) fn read<T: DeserializeOwned>(&self, name: &str) -> Result<Option<T>, LanError> {
        let bytes = match fs::read(self.0.join(name)) {
            Ok(bytes) => bytes,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
            Err(error) => return Err(self.wrong(name)(error)),
        };
        let spoiled = |why: serde_json::Error| LanError::Spoiled { path: self.0.join(name), why: why.to_string() };
        serde_json::from_slice(&bytes).map(Some).map_err(spoiled)
    }

    /// Writes a file whole or not at all, for its owner only; it is on the disk when this comes back.
    pub(super) fn write<T: Serialize>(&self, name: &str, what: &T) -> Result<(), LanError> {
        let new = self.0.join(format!("{name}.new"));
        let write = || -> io::Result<()> {
            let bytes = serde_json::to_vec_pretty(what)?;
            // One that was left by a cut may be open to others.
            match fs::remove_file(&new) {
                Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
                Ok(()) | Err(_) => {}
            }
            let mut file = for_owner().create_new(true).open(&new)?;
            file.write_all(&bytes)?;
            file.sync_all()?;
            fs::rename(&new, self.0.join(name))?;
            synced(&self.0)
        };
        write().map_err(self.wrong(name))
    }

    /// Removes a file that may be there.
    pub(super) fn remove(&self, name: &str) -> Result<(), LanError> {
        match fs::remove_file(self.0.join(name)) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => Err(self.wrong(name)(error)),
            Ok(()) | Err(_) => Ok(()),
        }
    }
}

#[cfg(unix)]
fn for_owner() -> OpenOptions {
    use std::os::unix::fs::OpenOptionsExt;
    let mut options = OpenOptions::new();
    options.write(true).mode(0o600);
    options
}

#[cfg(not(unix))]
fn for_owner() -> OpenOptions {
    let mut options = OpenOptions::new();
    options.write(true);
    options
}

#[cfg(unix)]
fn owner_only(path: &Path, mode: u32) -> io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    fs::set_permissions(path, fs::Permissions::from_mode(mode))
}

/// This system keeps its permissions elsewhere: the folder has those of the one above it.
#[cfg(not(unix))]
fn owner_only(_path: &Path, _mode: u32) -> io::Result<()> {
    Ok(())
}

#[cfg(unix)]
fn synced(folder: &Path) -> io::Result<()> {
    File::open(folder)?.sync_all()
}

#[cfg(not(unix))]
fn synced(_folder: &Path) -> io::Result<()> {
    Ok(())
}

/// Sixteen bytes of chance from the system.
pub(super) fn chance() -> Result<[u8; 16], LanError> {
    let mut bytes = [0_u8; 16];
    getrandom::fill(&mut bytes).map_err(|why| LanError::Certificate(format!("the system gives no chance ({why})")))?;
    Ok(bytes)
}

/// 128 bits of chance, as 32 digits.
pub(super) fn secret() -> Result<String, LanError> {
    Ok(hex(&chance()?))
}

/// The SHA-256 of a secret, the only form in which one is kept.
pub(super) fn hash(secret: &str) -> String {
    hex(&Sha256::digest(secret.as_bytes()))
}

/// Bytes as digits, two each.
pub(super) fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}

/// Digits as bytes; none where they are not pairs of digits.
pub(super) fn unhex(text: &str) -> Option<Vec<u8>> {
    let pair = |at: usize| text.get(at..at + 2).and_then(|two| u8::from_str_radix(two, 16).ok());
    text.len().is_multiple_of(2).then(|| (0..text.len()).step_by(2).map(pair).collect::<Option<Vec<u8>>>()).flatten()
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    #[test]
    fn ten_thousand_secrets_differ_and_each_bit_is_set_half_the_time() {
        let secrets: BTreeSet<String> = (0..10_000).map(|_| secret().unwrap()).collect();
        assert_eq!(secrets.len(), 10_000);
        for bit in 0..128 {
            let set = secrets.iter().filter(|s| unhex(s).unwrap()[bit / 8] >> (bit % 8) & 1 == 1).count();
            // Ten standard deviations of a fair coin [computed: half the root of 10,000 is 50].
            assert!(set.abs_diff(5_000) < 500, "bit {bit} is set {set} times");
        }
    }

    #[test]
    fn digits_are_bytes_again() {
        assert_eq!(unhex(&hex(&[0, 1, 254, 255])), Some(vec![0, 1, 254, 255]));
        for wrong in ["0", "0g", "é"] {
            assert_eq!(unhex(wrong), None, "{wrong}");
        }
    }
}
