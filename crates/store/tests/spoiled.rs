//! A record that somebody or something has spoiled: `verify` notices, and names the first thing that does not agree.
#![expect(clippy::unwrap_used, reason = "clippy lets only the tests themselves off, not the functions they share")]

#[expect(dead_code, reason = "this file takes the pen and not the story")]
mod common;

use std::fs;
use std::ops::ControlFlow;
use std::path::Path;

use sqlx::Connection as _;
use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection};
use store::{AttachmentError, Complaint, ContentId, Opening, ReadError, Report, SqliteStore, Store};

const PICTURE: &[u8] = b"a drawn picture of a head from the fire side";

/// A folder with two jobs of five entries each, taking turns, and one attachment.
async fn filled() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let store = SqliteStore::open(Opening::of(folder.path())).await.unwrap();
    let (mut van, mut flatbed) = (common::Pen::for_job(1), common::Pen::for_job(2));
    for turn in 0..5 {
        store.append(&[van.note(&format!("van {turn}")), flatbed.note(&format!("flatbed {turn}"))]).await.unwrap();
    }
    store.keep_attachment(PICTURE.to_vec(), "text/plain").await.unwrap();
    store.close().await;
    folder
}

/// Does to the record what its triggers forbid.
async fn tamper(folder: &Path, sql: &str) {
    let options = SqliteConnectOptions::new().filename(folder.join("logbook.sqlite")).foreign_keys(false);
    let mut raw = SqliteConnection::connect_with(&options).await.unwrap();
    for trigger in ["entries_are_not_changed", "entries_are_not_removed", "jobs_are_not_removed"] {
        let drop = format!("DROP TRIGGER {trigger}");
        sqlx::query(sqlx::AssertSqlSafe(drop)).execute(&mut raw).await.unwrap();
    }
    sqlx::query(sqlx::AssertSqlSafe(sql.to_owned())).execute(&mut raw).await.unwrap();
    raw.close().await.unwrap();
}

async fn verified(folder: &Path) -> Report {
    let store = SqliteStore::open_to_read(folder).await.unwrap();
    let report = store.verify(&mut |_| ControlFlow::Continue(())).await.unwrap();
    store.close().await;
    report
}

fn said(report: &Report) -> String {
    report.complaints.iter().map(|complaint| format!("{complaint}\n")).collect()
}

#[tokio::test]
async fn a_changed_word_is_noticed_in_the_bytes_and_in_the_seal() {
    let folder = filled().await;
    tamper(folder.path(), "UPDATE entries SET line = CAST(replace(line, 'van 1', 'van 7') AS BLOB) WHERE rank = 3")
        .await;
    let report = verified(folder.path()).await;
    assert!(matches!(report.complaints[0], Complaint::Entry { rank: 3, .. }), "{}", said(&report));
    assert!(said(&report).contains("its bytes have changed since they were kept"), "{}", said(&report));
    assert!(matches!(report.complaints[1], Complaint::Chain { rank: 3, .. }), "{}", said(&report));
    assert_eq!(report.complaints.len(), 2, "one broken place, not one complaint a line: {}", said(&report));
    assert_eq!(report.entries, 10, "everything else was looked at");
}

#[tokio::test]
async fn a_removed_entry_is_noticed_as_a_gap_and_in_the_chain() {
    let folder = filled().await;
    tamper(folder.path(), "DELETE FROM entries WHERE rank = 4").await;
    let report = verified(folder.path()).await;
    assert_eq!(report.complaints[0], Complaint::Gap { from: 4, to: 4 }, "{}", said(&report));
    assert!(matches!(report.complaints[1], Complaint::Chain { rank: 6, .. }), "{}", said(&report));
    assert_eq!(report.complaints.len(), 2, "{}", said(&report));
}

#[tokio::test]
async fn two_entries_that_changed_places_are_noticed() {
    let folder = filled().await;
    tamper(folder.path(), "UPDATE entries SET rank = CASE rank WHEN 3 THEN 500 ELSE rank END").await;
    tamper_again(
        folder.path(),
        &["UPDATE entries SET rank = 3 WHERE rank = 5", "UPDATE entries SET rank = 5 WHERE rank = 500"],
    )
    .await;
    let report = verified(folder.path()).await;
    assert!(matches!(report.complaints[0], Complaint::Chain { rank: 3, .. }), "{}", said(&report));
}

/// Tampers on, after the triggers are gone.
async fn tamper_again(folder: &Path, all: &[&'static str]) {
    let options = SqliteConnectOptions::new().filename(folder.join("logbook.sqlite")).foreign_keys(false);
    let mut raw = SqliteConnection::connect_with(&options).await.unwrap();
    for sql in all {
        sqlx::query(*sql).execute(&mut raw).await.unwrap();
    }
    raw.close().await.unwrap();
}

#[tokio::test]
async fn an_entry_filed_under_another_job_is_noticed() {
    let folder = filled().await;
    let sql = format!("UPDATE entries SET job = '{}' WHERE rank = 2", common::job(1));
    tamper(folder.path(), &sql).await;
    let report = verified(folder.path()).await;
    assert!(said(&report).contains("and it is filed elsewhere"), "{}", said(&report));
}

#[tokio::test]
async fn bytes_that_are_no_text_are_named_by_reading_and_by_verify() {
    let folder = filled().await;
    tamper(folder.path(), "UPDATE entries SET line = x'ff00fe' WHERE rank = 6").await;
    let report = verified(folder.path()).await;
    assert!(said(&report).contains("it is not text"), "{}", said(&report));
    let store = SqliteStore::open_to_read(folder.path()).await.unwrap();
    let refused = store.all().await.unwrap_err();
    assert!(matches!(refused, ReadError::Spoiled { rank: 6, .. }), "{refused}");
    assert_eq!(store.entries_after(0, 5).await.unwrap().len(), 5, "everything before it is readable");
    assert_eq!(store.entries_of(common::job(1)).await.unwrap().len(), 5, "and so is the other job");
}

#[tokio::test]
async fn a_job_that_is_not_in_the_list_is_noticed() {
    let folder = filled().await;
    let sql = format!("DELETE FROM jobs WHERE id = '{}'", common::job(2));
    tamper(folder.path(), &sql).await;
    let report = verified(folder.path()).await;
    assert!(said(&report).contains("5 entries belong to a job that is not in the list of jobs"), "{}", said(&report));
}

#[tokio::test]
async fn every_flipped_byte_of_a_line_is_noticed() {
    let folder = filled().await;
    let store = SqliteStore::open_to_read(folder.path()).await.unwrap();
    let line = store.all().await.unwrap()[4].line.clone();
    store.close().await;
    tamper(folder.path(), "UPDATE entries SET rank = rank").await;
    for at in 0..line.len() {
        let mut bytes = line.clone().into_bytes();
        bytes[at] ^= 1;
        let options = SqliteConnectOptions::new().filename(folder.path().join("logbook.sqlite"));
        let mut raw = SqliteConnection::connect_with(&options).await.unwrap();
        sqlx::query("UPDATE entries SET line = ? WHERE rank = 5").bind(bytes).execute(&mut raw).await.unwrap();
        raw.close().await.unwrap();
        let report = verified(folder.path()).await;
        assert!(
            matches!(report.complaints.first(), Some(Complaint::Entry { rank: 5, .. })),
            "byte {at}: {}",
            said(&report)
        );
    }
}

#[tokio::test]
async fn a_spoiled_or_missing_attachment_is_named_and_mended_by_keeping_it_again() {
    let folder = filled().await;
    let name = ContentId::of(PICTURE);
    let text = name.to_string();
    let file = folder.path().join("attachments").join(&text[..2]).join(&text);
    assert_eq!(fs::read(&file).unwrap(), PICTURE);
    fs::write(&file, b"another picture").unwrap();
    assert!(said(&verified(folder.path()).await).contains("its file has changed"));
    let store = SqliteStore::open(Opening::of(folder.path())).await.unwrap();
    assert!(matches!(store.attachment(name).await.unwrap_err(), AttachmentError::Spoiled { .. }));
    store.keep_attachment(PICTURE.to_vec(), "text/plain").await.unwrap();
    assert_eq!(store.attachment(name).await.unwrap(), PICTURE);
    fs::remove_file(&file).unwrap();
    assert!(matches!(store.attachment(name).await.unwrap_err(), AttachmentError::Missing { .. }));
    assert!(said(&verified(folder.path()).await).contains("its file is gone"));
    store.keep_attachment(PICTURE.to_vec(), "text/plain").await.unwrap();
    assert!(verified(folder.path()).await.agrees());
    store.close().await;
}
