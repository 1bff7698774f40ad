//! Takes a carried record into a store: photos first, then lines, so that an entry never names a photo that is not there.

use std::path::Path;

use super::manifest::LeftOut;
use super::reading::{Checked, Piece, read};
use super::writing::Watch;
use super::{CarriedError, Source, count, in_background};
use crate::entry::KeptBy;
use crate::failure::AttachmentError;
use crate::folder::write_safely;
use crate::keeping::Store;
use crate::verify::Progress;

/// How many pieces wait between reading and keeping \[ours\].
const WAITING: usize = 4;

/// What came of taking a record in.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct TakenIn {
    /// Entries that were not there before.
    pub new_entries: u64,
    /// Entries that were.
    pub there_before: u64,
    /// Photos that were not there before.
    pub new_photos: u64,
    /// Photos that the record knew and whose files were missing or spoiled.
    pub mended_photos: u64,
    /// Photos that were there.
    pub photos_before: u64,
    /// Knowledge files that were written.
    pub new_knowledge: u64,
    /// Knowledge files that are there with other content, and were left alone.
    pub other_knowledge: Vec<String>,
    /// Knowledge files that were left where they are, because the record has no folder for them.
    pub left_knowledge: Vec<String>,
    /// What is missing, each with its next move.
    pub wrong: Vec<LeftOut>,
}

/// Takes in what [`super::check`] found good; what is there already is not kept twice.
///
/// `knowledge` is the folder for the shop's own knowledge; a file that is there with other content is left alone and named. A
/// record on a server has none: then every file is left alone and named.
///
/// # Errors
///
/// [`CarriedError`]; what was kept before the failure stays, and taking the same in again goes on from there
pub async fn take_in<S: Store>(
    store: &S,
    source: &Source,
    checked: &Checked,
    knowledge: Option<&Path>,
    watch: Watch<'_>,
) -> Result<TakenIn, CarriedError> {
    let mut taken = TakenIn { wrong: checked.wrong.clone(), ..TakenIn::default() };
    let of = checked.entries + checked.attachments;
    let (send, mut pieces) = tokio::sync::mpsc::channel(WAITING);
    let reading = tokio::task::spawn_blocking({
        let source = source.clone();
        move || read(&source, &mut |piece| send.blocking_send(piece).is_ok(), &mut |_| {})
    });
    let mut later: Vec<(String, Vec<u8>)> = Vec::new();
    let mut done = 0;
    while let Some(piece) = pieces.recv().await {
        match piece {
            Piece::Photo(id, bytes) => {
                let media = checked.media.get(&id).map_or_else(|| sniffed(&bytes), String::as_str).to_owned();
                match store.attachment(id).await {
                    Ok(_) => taken.photos_before += 1,
                    Err(AttachmentError::Unknown { .. }) => taken.new_photos += 1,
                    Err(_) => taken.mended_photos += 1,
                }
                store.keep_attachment(bytes, &media).await?;
                done += 1;
            }
            Piece::Lines(entries) => {
                let kept = store.append_past_gaps(&entries, &checked.gaps).await.map_err(|error| {
                    let before = taken.new_entries + taken.there_before;
                    let already = if before > 0 {
                        format!("; the first {before} entries are kept")
                    } else {
                        "; nothing was taken in".to_owned()
                    };
                    CarriedError::Append { error, already }
                })?;
                let new = count(kept.iter().filter(|kept| kept.by == KeptBy::ThisCall).count());
                taken.new_entries += new;
                taken.there_before += count(kept.len()) - new;
                done += count(kept.len());
            }
            Piece::Knowledge(path, bytes) => later.push((path, bytes)),
        }
        watch(Progress { done, of });
    }
    let read = reading
        .await
        .map_err(|error| CarriedError::System { path: source.path().clone(), why: std::io::Error::other(error) })??;
    if read.state != checked.state {
        return Err(CarriedError::NotTheSame { found: read.state, carried: checked.state.clone() });
    }
    for (path, bytes) in later {
        match knowledge {
            Some(folder) => own_knowledge(folder, path, bytes, &mut taken).await?,
            None => taken.left_knowledge.push(path),
        }
    }
    Ok(taken)
}

/// Writes a knowledge file, unless another one is there.
async fn own_knowledge(folder: &Path, path: String, bytes: Vec<u8>, taken: &mut TakenIn) -> Result<(), CarriedError> {
    let target = path.split('/').fold(folder.to_owned(), |folder, step| folder.join(step));
    match std::fs::read(&target) {
        Ok(there) if there == bytes => {}
        Ok(_) => taken.other_knowledge.push(path),
        Err(_) => {
            in_background(folder, move || {
                if let Some(parent) = target.parent() {
                    std::fs::create_dir_all(parent)?;
                }
                write_safely(&target.with_extension("incoming"), &target, &bytes)
            })
            .await?;
            taken.new_knowledge += 1;
        }
    }
    Ok(())
}

/// What some bytes are, by how they begin; the kinds that photos and drawings of a record have.
pub(crate) fn sniffed(bytes: &[u8]) -> &'static str {
    if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
        "image/png"
    } else if bytes.starts_with(&[0xff, 0xd8, 0xff]) {
        "image/jpeg"
    } else if bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"WEBP") {
        "image/webp"
    } else if bytes.starts_with(b"<svg") || bytes.starts_with(b"<?xml") {
        "image/svg+xml"
    } else {
        "application/octet-stream"
    }
}
