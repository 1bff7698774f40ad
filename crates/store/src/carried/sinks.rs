//! Where the files of a carried record go: into a folder, or into a tar archive.

use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use tar::{EntryType, Header};

use super::count;
use crate::folder::sync_folder;

/// The size of a block of a tar archive [published: POSIX.1-2017, pax, ustar interchange format].
pub(super) const BLOCK: usize = 512;

/// Takes files one after the other.
pub(crate) trait Sink: Send + 'static {
    /// Begins a file of this many bytes.
    fn begin(&mut self, path: &str, bytes: u64) -> io::Result<()>;
    /// Takes the next bytes of it.
    fn more(&mut self, bytes: &[u8]) -> io::Result<()>;
    /// Ends it.
    fn end(&mut self) -> io::Result<()>;

    /// Takes a whole file.
    fn whole(&mut self, path: &str, bytes: &[u8]) -> io::Result<()> {
        self.begin(path, count(bytes.len()))?;
        self.more(bytes)?;
        self.end()
    }
}

/// Files in a folder.
#[derive(Debug)]
pub(crate) struct FolderSink {
    folder: PathBuf,
    open: Option<BufWriter<File>>,
}

impl FolderSink {
    /// Makes the folder, for the eyes of its owner only: what is in it is readable.
    pub(crate) fn new(folder: &Path) -> io::Result<Self> {
        if let Some(parent) = folder.parent() {
            fs::create_dir_all(parent)?;
        }
        let mut make = fs::DirBuilder::new();
        #[cfg(unix)]
        std::os::unix::fs::DirBuilderExt::mode(&mut make, 0o700);
        match make.create(folder) {
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists && folder.is_dir() => {}
            made => made?,
        }
        Ok(Self { folder: folder.to_owned(), open: None })
    }
}

impl Sink for FolderSink {
    fn begin(&mut self, path: &str, _bytes: u64) -> io::Result<()> {
        let target = self.folder.join(path);
        if let Some(parent) = target.parent() {
            fs::create_dir_all(parent)?;
        }
        self.open = Some(BufWriter::new(File::create_new(target)?));
        Ok(())
    }

    fn more(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.open.as_mut().map_or(Ok(()), |file| file.write_all(bytes))
    }

    fn end(&mut self) -> io::Result<()> {
        if let Some(file) = self.open.take() {
            file.into_inner().map_err(io::IntoInnerError::into_error)?.sync_all()?;
        }
        sync_folder(&self.folder)
    }
}

/// Files in a tar archive.
pub(crate) struct TarSink<W> {
    inner: W,
    left: u64,
    padding: usize,
}

impl<W: Write + Send + 'static> TarSink<W> {
    /// Begins an archive.
    pub(crate) fn new(inner: W) -> Self {
        Self { inner, left: 0, padding: 0 }
    }

    /// Ends the archive and gives the writer back.
    pub(crate) fn finish(mut self) -> io::Result<W> {
        self.inner.write_all(&[0; 2 * BLOCK])?;
        Ok(self.inner)
    }
}

impl<W: Write + Send + 'static> Sink for TarSink<W> {
    fn begin(&mut self, path: &str, bytes: u64) -> io::Result<()> {
        let mut header = Header::new_ustar();
        header.set_path(path)?;
        header.set_entry_type(EntryType::Regular);
        header.set_mode(0o600);
        header.set_size(bytes);
        header.set_cksum();
        self.left = bytes;
        let over = usize::try_from(bytes % count(BLOCK)).unwrap_or(0);
        self.padding = (BLOCK - over) % BLOCK;
        self.inner.write_all(header.as_bytes())
    }

    fn more(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.left = self.left.checked_sub(count(bytes.len())).ok_or_else(grew)?;
        self.inner.write_all(bytes)
    }

    fn end(&mut self) -> io::Result<()> {
        if self.left > 0 {
            return Err(grew());
        }
        self.inner.write_all([0; BLOCK].get(..self.padding).unwrap_or_default())
    }
}

fn grew() -> io::Error {
    io::Error::other("a file has another size than it had a moment ago; try again")
}
