//! The folder on disk: what lies where, which format it has, who holds it, and how a file is written safely.
//!
//! ```text
//! FOLDER/
//!   format              "witnessmark-folder 1": which layout this is
//!   lock                held by the one process that may write; its text says which
//!   logbook.sqlite      the record (beside it `-wal` and `-shm` while it is open)
//!   attachments/ab/ab…  one file an attachment, named after its SHA-256, in 256 folders
//!   attachments/incoming/   files being written; emptied when the folder is opened
//!   knowledge/          the shop's own knowledge, where it has any; written by a restore and by nothing else
//!   network/            keys and devices of the shop's own network, where the owner turned it on; never carried
//!   backups.json        when the last backup was made and proved, where one was
//! ```

use std::ffi::OsStr;
use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{self, Read, Seek, Write};
use std::path::{Path, PathBuf};

use crate::attachment::ContentId;
use crate::failure::OpenError;

/// The folder format this build writes; a folder with a higher one is read and never written.
pub const FOLDER_FORMAT: i64 = 1;

/// The name of the record's file.
pub const RECORD_FILE: &str = "logbook.sqlite";

const FORMAT_FILE: &str = "format";
const FORMAT_WORD: &str = "witnessmark-folder";
/// The name of the folder in which a shop may lay its own knowledge, before the first job too.
const KNOWLEDGE: &str = "knowledge";
/// The folder of the network, which may be turned on before the first job too.
const NETWORK: &str = "network";
const LOCK_FILE: &str = "lock";
const ATTACHMENTS: &str = "attachments";
const INCOMING: &str = "incoming";

/// Keeps other processes from writing to a folder for as long as it lives.
///
/// The system frees the lock when the process ends, however it ends, so nothing has to be cleaned up after a crash.
#[derive(Debug)]
pub(crate) struct FolderLock {
    _file: File,
}

/// Makes the folder if need be, takes its lock and compares its format; what comes back holds the lock.
pub(crate) fn take(folder: &Path) -> Result<FolderLock, OpenError> {
    fs::create_dir_all(folder).map_err(storage(folder))?;
    if !folder.join(FORMAT_FILE).exists() && holds_other_things(folder).map_err(storage(folder))? {
        return Err(OpenError::NotOurs { place: folder.to_owned().into() });
    }
    let lock = lock(folder)?;
    match format_of(folder)? {
        Some(found) if found > FOLDER_FORMAT => {
            return Err(OpenError::Newer {
                place: folder.to_owned().into(),
                what: "format",
                found,
                known: FOLDER_FORMAT,
            });
        }
        Some(_) => {}
        None => {
            let text = format!("{FORMAT_WORD} {FOLDER_FORMAT}\n");
            write_safely(&folder.join("format.new"), &folder.join(FORMAT_FILE), text.as_bytes())
                .map_err(storage(folder))?;
        }
    }
    prepare_attachments(folder).map_err(storage(folder))?;
    if !folder.join(RECORD_FILE).exists() && has_attachments(folder).map_err(storage(folder))? {
        return Err(OpenError::RecordMissing { place: folder.to_owned().into(), file: RECORD_FILE });
    }
    Ok(lock)
}

/// Gives the format number of a folder, or `None` when it has none yet.
pub(crate) fn format_of(folder: &Path) -> Result<Option<i64>, OpenError> {
    let text = match fs::read(folder.join(FORMAT_FILE)) {
        Ok(bytes) => String::from_utf8_lossy(&bytes).into_owned(),
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
        Err(error) => return Err(storage(folder)(error)),
    };
    let first = text.lines().next().unwrap_or("");
    first.strip_prefix(FORMAT_WORD).and_then(|rest| rest.trim().parse::<i64>().ok()).map(Some).ok_or_else(|| {
        OpenError::FormatSpoiled { place: folder.to_owned().into(), found: first.chars().take(60).collect() }
    })
}

/// Gives the path of the attachment with this name.
pub(crate) fn attachment_path(folder: &Path, name: &str) -> PathBuf {
    let first_two: String = name.chars().take(2).collect();
    folder.join(ATTACHMENTS).join(first_two).join(name)
}

/// Gives the path under which an attachment with this name is written before it is complete.
pub(crate) fn incoming_path(folder: &Path, name: &str, turn: u64) -> PathBuf {
    folder.join(ATTACHMENTS).join(INCOMING).join(format!("{name}.{turn}"))
}

/// Lists the names of all attachment files that lie in a folder, whatever the record says of them.
pub(crate) fn attachment_names(folder: &Path) -> io::Result<Vec<ContentId>> {
    let mut names = Vec::new();
    for group in fs::read_dir(folder.join(ATTACHMENTS))? {
        let group = group?;
        if group.file_name() != OsStr::new(INCOMING) && group.file_type()?.is_dir() {
            for file in fs::read_dir(group.path())? {
                names.extend(file?.file_name().to_string_lossy().parse::<ContentId>());
            }
        }
    }
    Ok(names)
}

/// A file by its name within a folder, with `/` between folders, and its bytes.
pub type NamedBytes = (String, Vec<u8>);

/// Gives the shop's own knowledge files of a folder: names with `/` between folders, and bytes.
///
/// # Errors
///
/// What the system says, with the file
pub fn knowledge_files(knowledge: &Path) -> Result<Vec<NamedBytes>, (PathBuf, io::Error)> {
    let mut files = Vec::new();
    let mut open = vec![(String::new(), knowledge.to_owned())];
    while let Some((before, folder)) = open.pop() {
        let failed = |error| (folder.clone(), error);
        for item in fs::read_dir(&folder).map_err(failed)? {
            let item = item.map_err(failed)?;
            let name = format!("{before}{}", item.file_name().to_string_lossy());
            let kind = item.file_type().map_err(failed)?;
            if kind.is_dir() {
                open.push((format!("{name}/"), item.path()));
            } else if kind.is_file() {
                files.push((name, fs::read(item.path()).map_err(|error| (item.path(), error))?));
            }
        }
    }
    files.sort();
    Ok(files)
}

/// Writes a file so that after a crash it is there whole or not at all, and survives once this returns.
///
/// The bytes go to `incoming`, are synced, and the file is moved to `target`; then the folder is synced, because the new
/// name lives there.
pub(crate) fn write_safely(incoming: &Path, target: &Path, bytes: &[u8]) -> io::Result<()> {
    let written = (|| {
        let mut file = OpenOptions::new().write(true).create(true).truncate(true).open(incoming)?;
        file.write_all(bytes)?;
        file.sync_all()
    })();
    if let Err(error) = written {
        // The half file is of no use to anybody; if it cannot be removed, the next opening does it.
        let _removed = fs::remove_file(incoming);
        return Err(error);
    }
    let parent = target.parent().unwrap_or_else(|| Path::new("."));
    if !parent.exists() {
        fs::create_dir_all(parent)?;
        if let Some(above) = parent.parent() {
            sync_folder(above)?;
        }
    }
    fs::rename(incoming, target)?;
    sync_folder(parent)
}

/// Syncs a folder, so that the names in it survive a power cut.
#[cfg(unix)]
pub(crate) fn sync_folder(folder: &Path) -> io::Result<()> {
    File::open(folder)?.sync_all()
}

/// Does nothing: this system cannot sync a folder and orders names by itself.
#[cfg(not(unix))]
pub(crate) fn sync_folder(_folder: &Path) -> io::Result<()> {
    Ok(())
}

fn lock(folder: &Path) -> Result<FolderLock, OpenError> {
    let path = folder.join(LOCK_FILE);
    let mut file =
        OpenOptions::new().read(true).write(true).create(true).truncate(false).open(&path).map_err(storage(folder))?;
    match file.try_lock() {
        Ok(()) => {}
        Err(TryLockError::WouldBlock) => {
            let mut text = String::new();
            // Some systems do not let a locked file be read; the refusal is the same without the number.
            let _read = file.read_to_string(&mut text);
            let holder = match text.trim() {
                "" => "another witnessmark".to_owned(),
                number => format!("another witnessmark (process {number})"),
            };
            return Err(OpenError::InUse { place: folder.to_owned().into(), holder });
        }
        Err(TryLockError::Error(error)) => return Err(storage(folder)(error)),
    }
    // The number is for people only: the lock holds without it, so a full disk must not stop anybody here.
    let _noted = (|| {
        file.set_len(0)?;
        file.rewind()?;
        writeln!(file, "{}", std::process::id())
    })();
    Ok(FolderLock { _file: file })
}

fn holds_other_things(folder: &Path) -> io::Result<bool> {
    for item in fs::read_dir(folder)? {
        let item = item?;
        let name = item.file_name();
        let own = (name == OsStr::new(KNOWLEDGE) || name == OsStr::new(NETWORK)) && item.file_type()?.is_dir();
        // Lock and `format.new` are left by an opening that was cut short before the format was written.
        if !own && name != OsStr::new(LOCK_FILE) && name != OsStr::new("format.new") {
            return Ok(true);
        }
    }
    Ok(false)
}

fn prepare_attachments(folder: &Path) -> io::Result<()> {
    let incoming = folder.join(ATTACHMENTS).join(INCOMING);
    fs::create_dir_all(&incoming)?;
    for item in fs::read_dir(&incoming)? {
        fs::remove_file(item?.path())?;
    }
    sync_folder(&folder.join(ATTACHMENTS))?;
    sync_folder(folder)
}

fn has_attachments(folder: &Path) -> io::Result<bool> {
    for item in fs::read_dir(folder.join(ATTACHMENTS))? {
        if item?.file_name() != OsStr::new(INCOMING) {
            return Ok(true);
        }
    }
    Ok(false)
}

fn storage(folder: &Path) -> impl Fn(io::Error) -> OpenError + '_ {
    move |error| OpenError::Storage { place: folder.to_owned().into(), why: error.to_string() }
}
