//! What the store's tests share: a pen that writes sealed lines, and the story that every store is put through.
#![expect(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    reason = "clippy lets only the tests themselves off, not the functions they share"
)]

use std::ops::ControlFlow;

use anatomy::{EntryId, JobId};
use logbook::{Entry, EntryBody, FIRST_PREV, NoteWritten, Unsealed};
use store::{AppendError, AttachmentError, ContentId, FailureClass, KeptBy, Standing, Store};

/// Gives the job with this number.
pub(crate) fn job(number: u8) -> JobId {
    JobId::from_time_and_chance(1_780_000_000_000 + u64::from(number), [number; 10])
}

/// Gives the entry id with this number, for a job.
pub(crate) fn entry_id(job: u8, number: u64) -> EntryId {
    let mut chance = [job; 10];
    chance[2..].copy_from_slice(&number.to_be_bytes());
    EntryId::from_time_and_chance(1_780_000_000_000 + number, chance)
}

/// Writes the entries of one job, each one continuing the last.
#[derive(Debug, Clone)]
pub(crate) struct Pen {
    job: u8,
    next: u64,
    prev: String,
}

impl Pen {
    /// A pen for the job with this number, at its first entry.
    pub(crate) fn for_job(job: u8) -> Self {
        Self { job, next: 1, prev: FIRST_PREV.to_owned() }
    }

    /// A pen that goes on after this kept line.
    pub(crate) fn after(job: u8, next: u64, line: &str) -> Self {
        Self { job, next, prev: Entry::from_line(line).unwrap().hash().to_owned() }
    }

    /// Writes a note and moves on.
    pub(crate) fn note(&mut self, words: &str) -> Entry {
        let entry = self.peek(words);
        self.next += 1;
        self.prev = entry.hash().to_owned();
        entry
    }

    /// Writes a note without moving on, so that the next one takes the same place.
    pub(crate) fn peek(&self, words: &str) -> Entry {
        unsealed_note(self.job, self.next, words).seal(&self.prev).unwrap()
    }
}

/// Gives a note as a device sends it.
pub(crate) fn unsealed_note(job: u8, number: u64, words: &str) -> Unsealed {
    let at = "2026-03-02T08:15:00Z".parse().unwrap();
    let body = EntryBody::NoteWritten(NoteWritten { text: words.to_owned(), position: None });
    Unsealed::new(self::job(job), at, "Ines", "bench phone", entry_id(job, number), &body).unwrap()
}

/// Gives every line of a list of kept entries.
pub(crate) fn lines(entries: &[store::KeptEntry]) -> Vec<&str> {
    entries.iter().map(|entry| entry.line.as_str()).collect()
}

/// The story. It wants an empty store and leaves it with three jobs and two attachments.
///
/// Written once for all stores: a second implementation calls this and nothing else.
pub(crate) async fn story<S: Store>(store: &S) {
    an_empty_store_is_empty(store).await;
    entries_come_back_byte_for_byte_and_in_order(store).await;
    all_or_none_are_kept(store).await;
    an_id_is_kept_once(store).await;
    a_line_continues_its_job(store).await;
    two_doors_at_once_keep_both(store).await;
    what_a_device_sends_again_is_kept_once(store).await;
    attachments_are_named_after_their_bytes(store).await;
    the_record_agrees_with_itself(store).await;
}

async fn an_empty_store_is_empty<S: Store>(store: &S) {
    assert_eq!(store.standing(), Standing::Writable);
    assert!(store.jobs().await.unwrap().is_empty());
    assert!(store.all().await.unwrap().is_empty());
    assert!(store.entries_of(job(1)).await.unwrap().is_empty());
    assert!(store.entry(entry_id(1, 1)).await.unwrap().is_none());
    assert!(store.last_of(job(1)).await.unwrap().is_none());
    assert!(store.append(&[]).await.unwrap().is_empty());
    assert!(store.attachments().await.unwrap().is_empty());
    let report = store.verify(&mut |_| ControlFlow::Continue(())).await.unwrap();
    assert!(report.agrees(), "{report:?}");
}

async fn entries_come_back_byte_for_byte_and_in_order<S: Store>(store: &S) {
    let mut van = Pen::for_job(1);
    let mut flatbed = Pen::for_job(2);
    // Signs of other scripts, escapes and an odd space are kept as they are.
    let written = [
        van.note("boils on the hill, says the customer"),
        flatbed.note("läuft auf fünf, 0,05 mm — ½ Tasse Öl \u{1f527}"),
        van.note("plug 3 wet: \"coolant?\" \u{e4} \t"),
        flatbed.note("  leading and trailing  "),
    ];
    let kept = store.append(&written).await.unwrap();
    assert_eq!(kept.iter().map(|kept| kept.rank).collect::<Vec<_>>(), [1, 2, 3, 4]);
    assert!(kept.iter().all(|kept| kept.by == KeptBy::ThisCall));
    let all = store.all().await.unwrap();
    assert_eq!(lines(&all), written.iter().map(Entry::line).collect::<Vec<_>>());
    let of_van = store.entries_of(job(1)).await.unwrap();
    assert_eq!(lines(&of_van), [written[0].line(), written[2].line()]);
    let jobs = store.jobs().await.unwrap();
    assert_eq!(
        jobs.iter().map(|kept| (kept.job, kept.entries, kept.first, kept.last)).collect::<Vec<_>>(),
        [(job(1), 2, 1, 3), (job(2), 2, 2, 4)]
    );
    assert_eq!(store.entry(written[1].id()).await.unwrap().unwrap().rank, 2);
    assert_eq!(store.last_of(job(2)).await.unwrap().unwrap().line, written[3].line());
    let page = store.entries_after(1, 2).await.unwrap();
    assert_eq!(page.iter().map(|entry| entry.rank).collect::<Vec<_>>(), [2, 3]);
}

async fn all_or_none_are_kept<S: Store>(store: &S) {
    let before = store.all().await.unwrap();
    let mut van = Pen::after(1, 3, &before[2].line);
    let good = van.note("compression 3 low");
    // The second one takes the id of an entry that is there, with other words.
    let clash = Pen::for_job(2).peek("other words under a known id");
    let refused = store.append(&[good, clash]).await.unwrap_err();
    assert!(matches!(refused, AppendError::Conflict { rank: 2, .. }), "{refused}");
    assert_eq!(refused.class(), FailureClass::Conflict);
    assert_eq!(store.all().await.unwrap(), before);
}

async fn an_id_is_kept_once<S: Store>(store: &S) {
    let before = store.all().await.unwrap();
    let mut van = Pen::after(1, 3, &before[2].line);
    let new = van.note("compression 3 low");
    let again = before[0].entry().unwrap();
    // A device that heard no answer sends everything once more, and something new with it.
    let kept = store.append(&[again, new.clone(), new.clone()]).await.unwrap();
    assert_eq!(
        kept.iter().map(|kept| (kept.rank, kept.by)).collect::<Vec<_>>(),
        [(1, KeptBy::AnEarlierCall), (5, KeptBy::ThisCall), (5, KeptBy::AnEarlierCall)]
    );
    assert_eq!(store.append(&[new]).await.unwrap()[0].rank, 5);
    assert_eq!(store.all().await.unwrap().len(), 5);
}

async fn a_line_continues_its_job<S: Store>(store: &S) {
    let before = store.all().await.unwrap();
    let behind = Pen::after(1, 9, &before[0].line).peek("written before the last line was known");
    let refused = store.append(&[behind]).await.unwrap_err();
    assert!(matches!(refused, AppendError::OutOfChain { .. }), "{refused}");
    assert_eq!(refused.class(), FailureClass::Conflict);
    let second_beginning = unsealed_note(1, 9, "a second beginning").seal(FIRST_PREV).unwrap();
    assert!(matches!(store.append(&[second_beginning]).await.unwrap_err(), AppendError::OutOfChain { .. }));
    let long = Pen::after(1, 9, &before[4].line).peek(&"o".repeat(1 << 20));
    assert!(matches!(store.append(&[long]).await.unwrap_err(), AppendError::TooLong { .. }));
    assert_eq!(store.all().await.unwrap(), before);
}

async fn two_doors_at_once_keep_both<S: Store>(store: &S) {
    let before = store.all().await.unwrap().len();
    // Both write to the same job: each entry finds its place after whatever the other one was faster with.
    let bench = async {
        for number in 100..110 {
            let kept = store.seal_and_append(&[unsealed_note(2, number, "bench")]).await.unwrap();
            assert_eq!(kept[0].by, KeptBy::ThisCall);
        }
    };
    let counter = async {
        for number in 200..210 {
            store
                .seal_and_append(&[unsealed_note(2, number, "counter"), unsealed_note(3, number, "counter, too")])
                .await
                .unwrap();
        }
    };
    tokio::join!(bench, counter);
    assert_eq!(store.all().await.unwrap().len(), before + 30);
    assert_eq!(store.entries_of(job(2)).await.unwrap().len(), 22);
    assert_eq!(store.entries_of(job(3)).await.unwrap().len(), 10);
}

async fn what_a_device_sends_again_is_kept_once<S: Store>(store: &S) {
    let before = store.all().await.unwrap();
    let (old, new) = (unsealed_note(2, 105, "bench"), unsealed_note(3, 300, "new"));
    // The job has grown since the old one was kept, so a fresh seal would differ; the content decides.
    let kept = store.seal_and_append(&[old.clone(), new.clone(), new.clone()]).await.unwrap();
    assert_eq!(kept[0].by, KeptBy::AnEarlierCall);
    assert_eq!(kept[0].rank, store.entry(old.id).await.unwrap().unwrap().rank);
    assert_eq!((kept[1].by, kept[1].rank, kept[2].rank), (KeptBy::ThisCall, kept[1].rank, kept[1].rank));
    assert_eq!(store.all().await.unwrap().len(), before.len() + 1);
    let other = unsealed_note(2, 105, "other words under a known id");
    let refused = store.seal_and_append(&[unsealed_note(3, 301, "good"), other]).await.unwrap_err();
    assert!(matches!(refused, AppendError::Conflict { .. }), "{refused}");
    let both = [unsealed_note(3, 302, "one"), unsealed_note(3, 302, "another")];
    assert!(matches!(store.seal_and_append(&both).await.unwrap_err(), AppendError::Conflict { .. }));
    assert_eq!(store.all().await.unwrap().len(), before.len() + 1, "all or none");
}

async fn attachments_are_named_after_their_bytes<S: Store>(store: &S) {
    let picture = vec![0_u8, 1, 2, 255, 254, 10, 13];
    // Source: FIPS 180-4, SHA-256 of the empty message [published]
    let nothing: ContentId = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855".parse().unwrap();
    let kept = store.keep_attachment(picture.clone(), "image/png").await.unwrap();
    assert_eq!((kept.id, kept.size), (ContentId::of(&picture), 7));
    assert_eq!(store.attachment(kept.id).await.unwrap(), picture);
    let again = store.keep_attachment(picture, "image/jpeg").await.unwrap();
    assert_eq!(again, kept, "the same bytes are the same attachment, and stay what they were said to be");
    let refused = store.attachment(nothing).await.unwrap_err();
    assert!(matches!(refused, AttachmentError::Unknown { .. }), "{refused}");
    assert_eq!(refused.class(), FailureClass::NotFound);
    let empty = store.keep_attachment(Vec::new(), "text/plain").await.unwrap();
    assert_eq!(empty.id, nothing);
    assert_eq!(store.attachments().await.unwrap().len(), 2);
}

async fn the_record_agrees_with_itself<S: Store>(store: &S) {
    let mut last = None;
    let report = store
        .verify(&mut |progress| {
            last = Some(progress);
            ControlFlow::Continue(())
        })
        .await
        .unwrap();
    assert!(report.agrees(), "{report:?}");
    assert_eq!((report.entries, report.attachments, report.ends.len()), (36, 2, 3));
    let last = last.unwrap();
    assert_eq!((last.done, last.of), (38, 38));
    let stopped = store.verify(&mut |_| ControlFlow::Break(())).await.unwrap();
    assert!(!stopped.agrees(), "a walk that was stopped does not say that all is well");
}
