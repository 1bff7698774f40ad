//! Reads a carried record and compares everything in it with its hash, without keeping anything.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::io::{self, BufRead, BufReader, Read};
use std::path::Path;

use anatomy::{EntryId, JobId};
use jiff::Timestamp;
use logbook::{Entry, FIRST_PREV};
use sha2::{Digest, Sha256};
use tar::Header;

use super::manifest::{LeftOut, Listed, Manifest, Named, Part};
use super::sinks::BLOCK;
use super::writing::{Watch, slashed};
use super::{CarriedError, LOGBOOK, MANIFEST, OWN, PHOTOS, Source, count};
use crate::attachment::{ContentId, hex};
use crate::entry::LONGEST_LINE;
use crate::locked::{OpenLocked, Unlocker};
use crate::state_hash::StateSum;
use crate::verify::Progress;

/// How many entries are handed on together \[ours\].
const TOGETHER: usize = 500;
/// The largest photo, list or knowledge file taken, in bytes \[ours\]; photos come in with at most 12 MB.
const LARGEST: u64 = 1 << 28;
/// The largest file of lines that is read a second time as a whole, to say more exactly what is wrong with it \[ours\].
const LARGEST_LOOKED_AT: u64 = 1 << 26;

/// What a carried record holds, after everything in it was compared with its hash.
#[derive(Debug, Clone, Default)]
pub struct Checked {
    /// The manifest; lines alone have none.
    pub manifest: Option<Manifest>,
    /// How many entries.
    pub entries: u64,
    /// The jobs.
    pub jobs: BTreeSet<JobId>,
    /// How many photos are as they were written.
    pub attachments: u64,
    /// The earliest time that an entry names.
    pub oldest: Option<Timestamp>,
    /// The latest one.
    pub newest: Option<Timestamp>,
    /// The state hash of what was found.
    pub state: String,
    /// Photos and knowledge files that are missing or have changed.
    pub wrong: Vec<LeftOut>,
    /// Entries that may stand without the one before them.
    pub(super) gaps: BTreeSet<EntryId>,
    /// What each photo is.
    pub(super) media: BTreeMap<ContentId, String>,
}

/// A piece that was compared with its hash.
#[derive(Debug)]
pub(super) enum Piece {
    Lines(Vec<Entry>),
    Photo(ContentId, Vec<u8>),
    Knowledge(String, Vec<u8>),
}

/// Who takes the pieces; false ends the reading.
pub(super) type Take<'t> = &'t mut dyn FnMut(Piece) -> bool;

/// Reads everything and compares it with its hashes; keeps nothing.
///
/// # Errors
///
/// [`CarriedError`] when the lines cannot be taken in as a whole. A missing or changed photo is no error: it is named in
/// [`Checked::wrong`].
pub fn check(source: &Source, watch: Watch<'_>) -> Result<Checked, CarriedError> {
    read(source, &mut |_| true, watch)
}

/// Reads everything, and hands on what is as it was written.
pub(super) fn read(source: &Source, take: Take<'_>, watch: Watch<'_>) -> Result<Checked, CarriedError> {
    let mut reader = Reader { path: source.path(), found: Found::default(), take, watch };
    match source {
        Source::Lines(path) => reader.lines_alone(path)?,
        Source::Folder(folder) => reader.folder(folder)?,
        Source::Locked { file, passphrase } => {
            let system = |why| CarriedError::System { path: file.clone(), why };
            let archive = Unlocker::open(file, passphrase).map_err(|error| match error {
                OpenLocked::Locked(error) => CarriedError::Locked(error),
                OpenLocked::System(error) => system(error),
            })?;
            reader.archive(archive)?;
        }
    }
    reader.found.checked()
}

/// What was found so far.
#[derive(Default)]
struct Found {
    checked: Checked,
    state: StateSum,
    ends: BTreeMap<JobId, String>,
    breaks: Vec<(u64, EntryId)>,
    logbook: Option<Part>,
    list: Option<Part>,
    listed: BTreeMap<ContentId, u64>,
    photos: BTreeMap<ContentId, u64>,
    knowledge: BTreeMap<String, Part>,
}

impl Found {
    fn allowed(&mut self, manifest: &Manifest) -> Result<(), CarriedError> {
        for gap in &manifest.gaps {
            self.checked.gaps.insert(gap.before.parse().map_err(|error| CarriedError::Part {
                file: MANIFEST.to_owned(),
                why: format!("a gap names no entry ({error}); take it from another copy"),
            })?);
        }
        Ok(())
    }

    /// Compares what was found with what the manifest says.
    fn checked(mut self) -> Result<Checked, CarriedError> {
        let manifest = self.checked.manifest.clone();
        if let Some(manifest) = &manifest {
            self.allowed(manifest)?;
        }
        if let Some((line, entry)) = self.breaks.iter().find(|(_, entry)| !self.checked.gaps.contains(entry)) {
            let why = format!(
                "line {line}, entry {entry}: it does not go on from the entry before it in its job; take the missing \
                 lines from another copy"
            );
            return Err(CarriedError::Line { file: LOGBOOK.to_owned(), why });
        }
        // Where a line is missing in the middle that was said above, which is more than that the file is another one.
        if let Some(manifest) = &manifest {
            self.compare(manifest)?;
        }
        for id in self.photos.keys() {
            self.state.attachment(*id);
        }
        self.checked.attachments = count(self.photos.len());
        self.checked.state = self.state.finish().to_string();
        Ok(self.checked)
    }

    fn compare(&mut self, manifest: &Manifest) -> Result<(), CarriedError> {
        let part = |file: &str, found: Option<&Part>, named: &Part| match found {
            Some(found) if found == named => Ok(()),
            Some(found) => Err(CarriedError::Part {
                file: file.to_owned(),
                why: format!(
                    "it is not the file that {MANIFEST} names ({} bytes instead of {}, or other ones); take it from \
                     another copy",
                    found.bytes, named.bytes
                ),
            }),
            None => Err(CarriedError::Part {
                file: file.to_owned(),
                why: format!("it is missing, and {MANIFEST} names it; take it from another copy"),
            }),
        };
        part(LOGBOOK, self.logbook.as_ref(), &manifest.logbook)?;
        part(PHOTOS, self.list.as_ref(), &manifest.attachments_list)?;
        for (id, bytes) in &self.listed {
            match self.photos.get(id) {
                Some(found) if found == bytes => {}
                _ => {
                    if self.checked.wrong.iter().all(|wrong| wrong.what != photo(*id)) {
                        self.checked.wrong.push(LeftOut { what: photo(*id), why: missing() });
                    }
                }
            }
        }
        self.photos.retain(|id, bytes| self.listed.get(id) == Some(bytes));
        for Named { path, bytes, sha256 } in &manifest.knowledge {
            let named = Part { bytes: *bytes, sha256: sha256.clone() };
            if self.knowledge.get(path) != Some(&named) {
                let why = "it is missing or has changed; take it from another copy".to_owned();
                self.checked.wrong.push(LeftOut { what: format!("knowledge file {path}"), why });
            }
        }
        Ok(())
    }
}

fn photo(id: ContentId) -> String {
    format!("photo {id}")
}

fn missing() -> String {
    "its file is missing; put it back from another copy and take this in again".to_owned()
}

struct Reader<'r> {
    path: &'r Path,
    found: Found,
    take: Take<'r>,
    watch: Watch<'r>,
}

/// Reads and sums what goes through.
struct Summing<R> {
    inner: R,
    sum: Sha256,
    bytes: u64,
}

impl<R: Read> Read for Summing<R> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let n = self.inner.read(into)?;
        self.sum.update(into.get(..n).unwrap_or_default());
        self.bytes += count(n);
        Ok(n)
    }
}

impl Reader<'_> {
    fn system(&self, error: io::Error) -> CarriedError {
        match OpenLocked::from(error) {
            OpenLocked::Locked(error) => CarriedError::Locked(error),
            OpenLocked::System(why) => CarriedError::System { path: self.path.to_owned(), why },
        }
    }

    /// The whole of a file that is not large.
    fn whole(&self, path: &Path) -> Result<Vec<u8>, CarriedError> {
        let mut bytes = Vec::new();
        File::open(path)
            .and_then(|file| file.take(LARGEST).read_to_end(&mut bytes))
            .map_err(|why| CarriedError::System { path: path.to_owned(), why })?;
        Ok(bytes)
    }

    fn lines_alone(&mut self, path: &Path) -> Result<(), CarriedError> {
        let system = |why| CarriedError::System { path: path.to_owned(), why };
        let file = File::open(path).map_err(system)?;
        let of = file.metadata().map_err(system)?.len();
        let name = path.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
        let read = self.logbook(file, &name, of);
        read.and_then(|()| match self.found.breaks.first() {
            None => Ok(()),
            Some((line, entry)) => {
                let why = format!("line {line}, entry {entry}: the line before it in its job is missing");
                Err(CarriedError::Line { file: name, why })
            }
        })
        .map_err(|error| looked_at(path, of, error))
    }

    fn folder(&mut self, folder: &Path) -> Result<(), CarriedError> {
        let manifest = match self.whole(&folder.join(MANIFEST)) {
            Ok(bytes) => Manifest::from_bytes(&bytes)?,
            Err(CarriedError::System { why, .. }) if why.kind() == io::ErrorKind::NotFound && folder.is_dir() => {
                return Err(CarriedError::Unfinished);
            }
            Err(error) => return Err(error),
        };
        let of = manifest.logbook.bytes + manifest.attachment_bytes;
        let list = self.whole(&folder.join(PHOTOS))?;
        self.list(&list)?;
        let mut done = 0;
        for (id, bytes) in self.found.listed.clone() {
            match std::fs::read(folder.join(slashed(id))) {
                Ok(found) => self.photo(id, found),
                Err(error) if error.kind() == io::ErrorKind::NotFound => {
                    self.found.checked.wrong.push(LeftOut { what: photo(id), why: missing() });
                }
                Err(error) => {
                    let why =
                        format!("it cannot be read ({error}); put it back from another copy and take this in again");
                    self.found.checked.wrong.push(LeftOut { what: photo(id), why });
                }
            }
            done += bytes;
            (self.watch)(Progress { done, of });
        }
        for Named { path, .. } in &manifest.knowledge {
            if is_plain(path)
                && let Ok(bytes) = self.whole(&folder.join(OWN).join(path))
            {
                self.knowledge(path.clone(), bytes, Some(&manifest));
            }
        }
        let path = folder.join(LOGBOOK);
        let named = manifest.logbook.bytes;
        let gaps = !manifest.gaps.is_empty();
        self.found.checked.manifest = Some(manifest);
        let file = File::open(&path).map_err(|why| CarriedError::System { path: path.clone(), why })?;
        match self.logbook(file, LOGBOOK, of) {
            // Where gaps are allowed, looking closer would stop at the first of them.
            Err(error) if !gaps => Err(looked_at(&path, named, error)),
            done => done,
        }
    }

    fn archive(&mut self, mut archive: Unlocker) -> Result<(), CarriedError> {
        let of = archive.length();
        loop {
            let mut block = [0; BLOCK];
            archive.read_exact(&mut block).map_err(|error| self.system(error))?;
            if block.iter().all(|byte| *byte == 0) {
                // Read to the end, so that every chunk has been compared with its tag.
                io::copy(&mut archive, &mut io::sink()).map_err(|error| self.system(error))?;
                break;
            }
            let header = Header::from_byte_slice(&block);
            let size = header.entry_size().map_err(|error| self.system(error))?;
            let path = header.path().map_err(|error| self.system(error))?.to_string_lossy().into_owned();
            let padding = (count(BLOCK) - size % count(BLOCK)) % count(BLOCK);
            if path == LOGBOOK {
                let lines = (&mut archive).take(size);
                self.logbook(lines, LOGBOOK, of)?;
            } else {
                if size > LARGEST {
                    return Err(CarriedError::Part {
                        file: path,
                        why: format!("it has {size} bytes, more than a file of a record has"),
                    });
                }
                let mut bytes = Vec::new();
                (&mut archive).take(size).read_to_end(&mut bytes).map_err(|error| self.system(error))?;
                self.member(&path, bytes)?;
            }
            io::copy(&mut (&mut archive).take(padding), &mut io::sink()).map_err(|error| self.system(error))?;
            (self.watch)(Progress { done: archive.place(), of });
        }
        if self.found.checked.manifest.is_none() {
            return Err(CarriedError::Unfinished);
        }
        Ok(())
    }

    fn member(&mut self, path: &str, bytes: Vec<u8>) -> Result<(), CarriedError> {
        if path == PHOTOS {
            self.list(&bytes)
        } else if path == MANIFEST {
            self.found.checked.manifest = Some(Manifest::from_bytes(&bytes)?);
            Ok(())
        } else if let Some(own) = path.strip_prefix(OWN) {
            self.knowledge(own.to_owned(), bytes, None);
            Ok(())
        } else if let Some(id) = path.rsplit('/').next().and_then(|name| name.parse::<ContentId>().ok())
            && path == slashed(id)
        {
            self.photo(id, bytes);
            Ok(())
        } else {
            let why = "this build knows no such file in a record; update witnessmark".to_owned();
            Err(CarriedError::Part { file: path.to_owned(), why })
        }
    }

    fn list(&mut self, bytes: &[u8]) -> Result<(), CarriedError> {
        self.found.list = Some(Part { bytes: count(bytes.len()), sha256: ContentId::of(bytes).to_string() });
        for (place, line) in bytes.split(|byte| *byte == b'\n').enumerate().filter(|(_, line)| !line.is_empty()) {
            let wrong = |why: String| CarriedError::Part {
                file: PHOTOS.to_owned(),
                why: format!("line {}: {why}; take it from another copy", place + 1),
            };
            let listed: Listed = serde_json::from_slice(line).map_err(|error| wrong(error.to_string()))?;
            let id: ContentId = listed.sha256.parse().map_err(|_| wrong("it names no photo".to_owned()))?;
            self.found.listed.insert(id, listed.bytes);
            self.found.checked.media.insert(id, listed.media_type);
        }
        Ok(())
    }

    fn photo(&mut self, id: ContentId, bytes: Vec<u8>) {
        if ContentId::of(&bytes) == id {
            self.found.photos.insert(id, count(bytes.len()));
            (self.take)(Piece::Photo(id, bytes));
        } else {
            let why = "its file has changed; put it back from another copy and take this in again".to_owned();
            self.found.checked.wrong.push(LeftOut { what: photo(id), why });
        }
    }

    fn knowledge(&mut self, path: String, bytes: Vec<u8>, manifest: Option<&Manifest>) {
        if !is_plain(&path) {
            return;
        }
        let found = Part { bytes: count(bytes.len()), sha256: ContentId::of(&bytes).to_string() };
        let named = manifest.and_then(|m| m.knowledge.iter().find(|n| n.path == path));
        let as_named = named.is_none_or(|named| named.sha256 == found.sha256);
        self.found.knowledge.insert(path.clone(), found);
        if as_named {
            (self.take)(Piece::Knowledge(path, bytes));
        }
    }

    /// Reads lines one by one and follows every chain.
    fn logbook(&mut self, lines: impl Read, file: &str, of: u64) -> Result<(), CarriedError> {
        let before = match &self.found.checked.manifest {
            Some(manifest) => manifest.attachment_bytes,
            None => 0,
        };
        let mut lines = BufReader::new(Summing { inner: lines, sum: Sha256::new(), bytes: 0 });
        let longest = count(LONGEST_LINE) + 2;
        let mut together = Vec::new();
        for number in 1_u64.. {
            let mut line = Vec::new();
            (&mut lines).take(longest).read_until(b'\n', &mut line).map_err(|error| self.system(error))?;
            if line.is_empty() {
                break;
            }
            let wrong =
                |why: String| CarriedError::Line { file: file.to_owned(), why: format!("line {number}: {why}") };
            if line.pop_if(|byte| *byte == b'\n').is_none() {
                let why =
                    if count(line.len()) + 1 >= longest { "it is longer than an entry can be" } else { "it is cut" };
                return Err(wrong(format!("{why}; take it from another copy")));
            }
            let entry = std::str::from_utf8(&line)
                .map_err(|_| "it is not text".to_owned())
                .and_then(|text| Entry::from_line(text).map_err(|error| error.to_string()))
                .map_err(|why| wrong(format!("{why}; take it from another copy")))?;
            self.entry(number, &entry);
            together.push(entry);
            if together.len() == TOGETHER {
                (self.watch)(Progress { done: before + lines.get_ref().bytes, of });
                if !(self.take)(Piece::Lines(std::mem::take(&mut together))) {
                    return Ok(());
                }
            }
        }
        if !together.is_empty() {
            (self.take)(Piece::Lines(together));
        }
        let Summing { sum, bytes, .. } = lines.into_inner();
        (self.watch)(Progress { done: before + bytes, of });
        self.found.logbook = Some(Part { bytes, sha256: hex(&sum.finalize()) });
        Ok(())
    }

    fn entry(&mut self, number: u64, entry: &Entry) {
        let found = &mut self.found;
        let job = entry.job();
        let end = found.ends.get(&job).map_or(FIRST_PREV, String::as_str);
        if entry.prev() != end {
            found.breaks.push((number, entry.id()));
        }
        found.ends.insert(job, entry.hash().to_owned());
        found.state.line(&job.to_string(), entry.line().as_bytes());
        let checked = &mut found.checked;
        checked.entries += 1;
        checked.jobs.insert(job);
        let at = entry.at();
        checked.oldest = Some(checked.oldest.map_or(at, |there| there.min(at)));
        checked.newest = Some(checked.newest.map_or(at, |there| there.max(at)));
    }
}

/// Says more exactly what is wrong with a file of lines, where it is small enough to be looked at as a whole.
fn looked_at(path: &Path, bytes: u64, error: CarriedError) -> CarriedError {
    let CarriedError::Line { file, why } = error else { return error };
    let looked = (bytes <= LARGEST_LOOKED_AT).then(|| std::fs::read(path).ok()).flatten();
    match looked.map(|bytes| logbook::verify(&bytes)) {
        Some(Err(error)) => CarriedError::Line { file, why: error.to_string() },
        Some(Ok(_)) | None => CarriedError::Line { file, why },
    }
}

/// Whether a path stays where it is put: no step up, no root, nothing of the system's.
fn is_plain(path: &str) -> bool {
    !path.is_empty()
        && path.split('/').all(|step| {
            !step.is_empty()
                && step != "."
                && step != ".."
                && !step.contains(['\\', ':', '\0'])
                && !step.starts_with(' ')
        })
}
