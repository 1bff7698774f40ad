//! Writes a record out: everything up to the rank it had when the call began. Work may go on meanwhile.
//!
//! Entries are only ever appended, so the rows up to a rank are the record at one moment, whatever is kept behind them.

use std::fs::{self, File, OpenOptions};
use std::io::{self, BufWriter};
use std::path::Path;

use jiff::Timestamp;
use logbook::Entry;
use sha2::{Digest, Sha256};

use super::manifest::{FORM, Gap, LeftOut, Listed, Manifest, Named, Part};
use super::sinks::{FolderSink, Sink, TarSink};
use super::sound::{OnSpoiledFile, SoundRows};
use super::{CarriedError, LOGBOOK, MANIFEST, OWN, PHOTOS, count, in_background};
use crate::attachment::{ContentId, hex};
use crate::entry::Rank;
use crate::folder::{attachment_path, sync_folder};
use crate::keeping::Store;
use crate::locked::{Locker, Passphrase};
use crate::state_hash::StateSum;
use crate::verify::Progress;

/// What goes with a record and does not come out of the store.
#[derive(Debug, Clone, Default)]
pub struct Beside {
    /// The program with its version.
    pub made_by: String,
    /// When it is made, where that is to be said.
    pub made_at: Option<Timestamp>,
    /// The shop's own knowledge: names with `/` between folders, and bytes.
    pub knowledge: Vec<(String, Vec<u8>)>,
}

/// Who is told how far the work is.
pub type Watch<'w> = &'w mut (dyn FnMut(Progress) + Send);

/// Writes everything into a folder that is new or empty.
///
/// # Errors  [`CarriedError`]; the folder then has no manifest, and is no use to anybody
pub async fn export<S: Store>(
    store: &S,
    target: &Path,
    beside: Beside,
    watch: Watch<'_>,
) -> Result<Manifest, CarriedError> {
    let taken = |what| CarriedError::Taken { target: target.to_owned(), what };
    let holds = |path: &Path| fs::read_dir(path).is_ok_and(|mut items| items.next().is_some());
    if target.exists() && !target.is_dir() {
        return Err(taken(" and is no folder"));
    }
    if holds(target) {
        return Err(taken(" and is not empty"));
    }
    let sink = in_background(target, {
        let target = target.to_owned();
        move || FolderSink::new(&target)
    })
    .await?;
    let (manifest, _sink) = write_out(store, target, sink, beside, watch).await?;
    Ok(manifest)
}

/// Writes everything into one new file that only the passphrase opens.
///
/// The file gets its name once it is complete and on the disk.
///
/// # Errors  [`CarriedError`]; nothing is then left behind
pub async fn back_up<S: Store>(
    store: &S,
    target: &Path,
    passphrase: &Passphrase,
    beside: Beside,
    watch: Watch<'_>,
) -> Result<Manifest, CarriedError> {
    if target.exists() {
        return Err(CarriedError::Taken { target: target.to_owned(), what: "" });
    }
    let mut name = target.file_name().map(std::ffi::OsStr::to_os_string).unwrap_or_default();
    name.push(".part");
    let part = target.with_file_name(name);
    let made = async {
        let sink = in_background(&part, {
            let (part, passphrase) = (part.clone(), passphrase.clone());
            move || Ok(TarSink::new(Locker::new(BufWriter::new(new_file(&part)?), &passphrase)?))
        })
        .await?;
        let (manifest, sink) = write_out(store, &part, sink, beside, watch).await?;
        in_background(target, {
            let (part, target) = (part.clone(), target.to_owned());
            move || {
                let file = sink.finish()?.finish()?.into_inner().map_err(io::IntoInnerError::into_error)?;
                file.sync_all()?;
                fs::rename(&part, &target)?;
                sync_folder(target.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or_else(|| Path::new(".")))
            }
        })
        .await?;
        Ok(manifest)
    }
    .await;
    if made.is_err() {
        // Half a backup is of no use to anybody; that it may not go away either is not worth a second complaint.
        let _gone = fs::remove_file(&part);
    }
    made
}

/// A new file that only its owner reads; one that a call cut short left there is begun anew.
fn new_file(path: &Path) -> io::Result<File> {
    let mut open = OpenOptions::new();
    open.write(true).create(true).truncate(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut open, 0o600);
    open.open(path)
}

/// What a first walk over the rows finds.
#[derive(Default)]
struct Survey {
    up_to: Rank,
    entries: u64,
    bytes: u64,
    sum: Sha256,
    state: StateSum,
    oldest: Option<Timestamp>,
    newest: Option<Timestamp>,
    gaps: Vec<Gap>,
    left_out: Vec<LeftOut>,
}

impl Survey {
    async fn of<S: Store>(store: &S, of: u64, watch: Watch<'_>) -> Result<Self, CarriedError> {
        let mut survey = Self::default();
        let mut rows = SoundRows::new(store, Rank::MAX, OnSpoiledFile::Stop);
        while let Some(page) = rows.next().await? {
            for entry in &page.entries {
                survey.take(entry);
            }
            survey.gaps.extend(page.gaps);
            survey.left_out.extend(page.left_out);
            watch(Progress { done: survey.entries, of });
        }
        survey.up_to = rows.after();
        Ok(survey)
    }

    fn take(&mut self, entry: &Entry) {
        self.entries += 1;
        self.bytes += count(entry.line().len()) + 1;
        self.sum.update(entry.line());
        self.sum.update(b"\n");
        self.state.line(&entry.job().to_string(), entry.line().as_bytes());
        let at = entry.at();
        self.oldest = Some(self.oldest.map_or(at, |there| there.min(at)));
        self.newest = Some(self.newest.map_or(at, |there| there.max(at)));
    }
}

/// Writes the files of a record into a sink, the manifest last.
async fn write_out<S: Store, K: Sink>(
    store: &S,
    target: &Path,
    mut sink: K,
    beside: Beside,
    watch: Watch<'_>,
) -> Result<(Manifest, K), CarriedError> {
    let there = store.jobs().await?.iter().map(|job| job.entries).sum::<u64>();
    let photos_before = count(store.attachments().await?.len());
    let of = 2 * there + photos_before;
    let mut survey = Survey::of(store, of, watch).await?;
    // Listed after the rows were counted, so that every photo that an entry among them names is in the list.
    let photos = store.attachments().await?;
    let mut list = Vec::new();
    let (mut carried, mut photo_bytes) = (0_u64, 0_u64);
    for photo in photos {
        let bytes = match store.attachment(photo.id).await {
            Ok(bytes) => bytes,
            Err(error) => {
                survey.left_out.push(LeftOut { what: format!("photo {}", photo.id), why: error.to_string() });
                continue;
            }
        };
        let size = count(bytes.len());
        let listed = Listed { sha256: photo.id.to_string(), bytes: size, media_type: photo.media_type };
        sink = in_background(target, {
            let path = slashed(photo.id);
            move || sink.whole(&path, &bytes).map(|()| sink)
        })
        .await?;
        serde_json::to_writer(&mut list, &listed)
            .map_err(|error| CarriedError::System { path: target.to_owned(), why: error.into() })?;
        list.push(b'\n');
        survey.state.attachment(photo.id);
        carried += 1;
        photo_bytes += size;
        watch(Progress { done: there + carried, of });
    }
    let attachments_list = Part { bytes: count(list.len()), sha256: ContentId::of(&list).to_string() };
    let logbook_bytes = survey.bytes;
    sink = in_background(target, move || {
        sink.whole(PHOTOS, &list)?;
        sink.begin(LOGBOOK, logbook_bytes)?;
        Ok(sink)
    })
    .await?;
    let mut rows = SoundRows::new(store, survey.up_to, OnSpoiledFile::Stop);
    let mut again = Sha256::new();
    let mut done = 0;
    while let Some(page) = rows.next().await? {
        let mut bytes = Vec::new();
        for entry in &page.entries {
            bytes.extend_from_slice(entry.line().as_bytes());
            bytes.push(b'\n');
        }
        done += count(page.entries.len());
        again.update(&bytes);
        sink = in_background(target, move || sink.more(&bytes).map(|()| sink)).await?;
        watch(Progress { done: there + carried + done, of });
    }
    let logbook = Part { bytes: survey.bytes, sha256: hex(&survey.sum.finalize()) };
    if hex(&again.finalize()) != logbook.sha256 {
        return Err(CarriedError::Part {
            file: LOGBOOK.to_owned(),
            why: "the record read differently the second time; check the disk and run `witnessmark verify`".to_owned(),
        });
    }
    let knowledge = beside.knowledge.iter().map(|(path, bytes)| Named {
        path: path.clone(),
        bytes: count(bytes.len()),
        sha256: ContentId::of(bytes).to_string(),
    });
    let manifest = Manifest {
        form: FORM,
        made_by: beside.made_by,
        made_at: beside.made_at.map(|at| at.to_string()),
        jobs: survey.state.jobs(),
        entries: survey.entries,
        oldest: survey.oldest.map(|at| at.to_string()),
        newest: survey.newest.map(|at| at.to_string()),
        logbook,
        attachments: carried,
        attachment_bytes: photo_bytes,
        attachments_list,
        knowledge: knowledge.collect(),
        gaps: survey.gaps,
        left_out: survey.left_out,
        state: survey.state.finish().to_string(),
    };
    let knowledge = beside.knowledge;
    let bytes = manifest.to_bytes().map_err(|why| CarriedError::System { path: target.to_owned(), why })?;
    sink = in_background(target, move || {
        sink.end()?;
        for (path, bytes) in &knowledge {
            sink.whole(&format!("{OWN}{path}"), bytes)?;
        }
        sink.whole(MANIFEST, &bytes)?;
        Ok(sink)
    })
    .await?;
    Ok((manifest, sink))
}

/// The path of a photo within a carried record.
pub(super) fn slashed(id: ContentId) -> String {
    let path = attachment_path(Path::new(""), &id.to_string());
    let parts: Vec<String> = path.iter().map(|part| part.to_string_lossy().into_owned()).collect();
    parts.join("/")
}
