//! Who may open a folder, and what an older or newer build does with it.
#![expect(clippy::unwrap_used, reason = "clippy lets only the tests themselves off, not the functions they share")]

#[expect(dead_code, reason = "this file takes the pen and not the story")]
mod common;

use std::fs;
use std::path::Path;

use sqlx::Connection as _;
use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection};
use store::{AppendError, AttachmentError, FailureClass, OpenError, Opening, SqliteStore, Standing, Store};

async fn filled(folder: &Path) {
    let store = SqliteStore::open(Opening::of(folder)).await.unwrap();
    let mut pen = common::Pen::for_job(1);
    store.append(&[pen.note("boils on the hill"), pen.note("compression 2 and 3 low")]).await.unwrap();
    store.keep_attachment(b"a drawn picture".to_vec(), "text/plain").await.unwrap();
    store.close().await;
}

async fn raw(folder: &Path) -> SqliteConnection {
    let file = folder.join("logbook.sqlite");
    SqliteConnection::connect_with(&SqliteConnectOptions::new().filename(file)).await.unwrap()
}

#[tokio::test]
async fn a_second_one_on_the_same_folder_is_refused_and_told_what_to_do() {
    let folder = tempfile::tempdir().unwrap();
    let first = SqliteStore::open(Opening::of(folder.path())).await.unwrap();
    let refused = SqliteStore::open(Opening::of(folder.path())).await.unwrap_err();
    assert!(matches!(refused, OpenError::InUse { .. }), "{refused}");
    assert_eq!(refused.class(), FailureClass::Conflict);
    let said = refused.to_string();
    assert!(said.contains(&folder.path().display().to_string()), "{said}");
    assert!(said.contains(&format!("(process {})", std::process::id())), "{said}");
    assert!(said.contains("close that one, or give this one a folder of its own"), "{said}");
    first.close().await;
    SqliteStore::open(Opening::of(folder.path())).await.unwrap().close().await;
}

#[tokio::test]
async fn looking_on_works_while_another_one_writes_and_keeps_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let writer = SqliteStore::open(Opening::of(folder.path())).await.unwrap();
    let mut pen = common::Pen::for_job(1);
    writer.append(&[pen.note("before")]).await.unwrap();
    let looking = SqliteStore::open_to_read(folder.path()).await.unwrap();
    assert_eq!(looking.all().await.unwrap().len(), 1);
    writer.append(&[pen.note("after")]).await.unwrap();
    assert_eq!(looking.all().await.unwrap().len(), 2);
    assert!(matches!(looking.standing(), Standing::ReadOnly { .. }));
    let refused = looking.append(&[pen.note("from the side")]).await.unwrap_err();
    assert!(matches!(refused, AppendError::ReadOnly { .. }), "{refused}");
    let refused = looking.keep_attachment(vec![1], "text/plain").await.unwrap_err();
    assert!(matches!(refused, AttachmentError::ReadOnly { .. }), "{refused}");
}

#[tokio::test]
async fn a_folder_with_other_things_is_not_taken_over() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("letters.txt"), "dear").unwrap();
    let refused = SqliteStore::open(Opening::of(folder.path())).await.unwrap_err();
    assert!(matches!(refused, OpenError::NotOurs { .. }), "{refused}");
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1, "nothing was put beside the letters");
    let refused = SqliteStore::open_to_read(folder.path()).await.unwrap_err();
    assert!(matches!(refused, OpenError::NothingThere { .. }), "{refused}");
}

#[tokio::test]
async fn a_newer_folder_format_is_read_and_never_written() {
    let folder = tempfile::tempdir().unwrap();
    filled(folder.path()).await;
    fs::write(folder.path().join("format"), "witnessmark-folder 2\nand more\n").unwrap();
    let refused = SqliteStore::open(Opening::of(folder.path())).await.unwrap_err();
    assert!(matches!(refused, OpenError::Newer { what: "format", found: 2, known: 1, .. }), "{refused}");
    assert_eq!(refused.class(), FailureClass::Refused);
    let looking = SqliteStore::open_to_read(folder.path()).await.unwrap();
    assert_eq!(looking.all().await.unwrap().len(), 2);
    assert_eq!(fs::read_to_string(folder.path().join("format")).unwrap(), "witnessmark-folder 2\nand more\n");
}

#[tokio::test]
async fn a_newer_schema_is_read_and_never_written() {
    let folder = tempfile::tempdir().unwrap();
    filled(folder.path()).await;
    let mut connection = raw(folder.path()).await;
    sqlx::query("ALTER TABLE entries ADD COLUMN later TEXT").execute(&mut connection).await.unwrap();
    sqlx::query(
        "INSERT INTO _sqlx_migrations (version, description, success, checksum, execution_time) VALUES (2, 'later', 1, x'00', 0)",
    )
    .execute(&mut connection)
    .await
    .unwrap();
    connection.close().await.unwrap();
    let before = fs::read(folder.path().join("logbook.sqlite")).unwrap();
    let refused = SqliteStore::open(Opening::of(folder.path())).await.unwrap_err();
    assert!(matches!(refused, OpenError::Newer { what: "schema", found: 2, known: 1, .. }), "{refused}");
    assert!(refused.to_string().contains("update witnessmark, or open it to read and export only"));
    let looking = SqliteStore::open_to_read(folder.path()).await.unwrap();
    assert_eq!(looking.all().await.unwrap().len(), 2);
    looking.close().await;
    assert_eq!(fs::read(folder.path().join("logbook.sqlite")).unwrap(), before);
}

#[tokio::test]
async fn a_spoiled_format_file_is_named() {
    let folder = tempfile::tempdir().unwrap();
    filled(folder.path()).await;
    fs::write(folder.path().join("format"), "something else\n").unwrap();
    let refused = SqliteStore::open(Opening::of(folder.path())).await.unwrap_err();
    assert!(matches!(&refused, OpenError::FormatSpoiled { found, .. } if found == "something else"), "{refused}");
}

#[tokio::test]
async fn a_record_that_went_missing_is_not_begun_anew_in_silence() {
    let folder = tempfile::tempdir().unwrap();
    filled(folder.path()).await;
    fs::remove_file(folder.path().join("logbook.sqlite")).unwrap();
    let refused = SqliteStore::open(Opening::of(folder.path())).await.unwrap_err();
    assert!(matches!(refused, OpenError::RecordMissing { .. }), "{refused}");
    assert!(!folder.path().join("logbook.sqlite").exists());
}

#[tokio::test]
async fn a_schema_under_a_known_number_that_is_another_one_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    filled(folder.path()).await;
    let mut connection = raw(folder.path()).await;
    sqlx::query("UPDATE _sqlx_migrations SET checksum = x'00'").execute(&mut connection).await.unwrap();
    connection.close().await.unwrap();
    let refused = SqliteStore::open(Opening::of(folder.path())).await.unwrap_err();
    assert!(matches!(refused, OpenError::SchemaAltered { .. }), "{refused}");
}

#[tokio::test]
async fn a_file_that_is_no_record_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    filled(folder.path()).await;
    for beside in ["logbook.sqlite-wal", "logbook.sqlite-shm"] {
        let _gone = fs::remove_file(folder.path().join(beside));
    }
    fs::write(folder.path().join("logbook.sqlite"), vec![b'x'; 8192]).unwrap();
    let refused = SqliteStore::open(Opening::of(folder.path())).await.unwrap_err();
    assert!(matches!(refused, OpenError::Storage { .. }), "{refused}");
    assert_eq!(refused.class(), FailureClass::Storage);
}

#[tokio::test]
async fn half_written_attachments_are_swept_away_at_the_next_opening() {
    let folder = tempfile::tempdir().unwrap();
    filled(folder.path()).await;
    let half = folder.path().join("attachments").join("incoming").join("half");
    fs::write(&half, "ha").unwrap();
    SqliteStore::open(Opening::of(folder.path())).await.unwrap().close().await;
    assert!(!half.exists());
}

#[tokio::test]
async fn rows_are_neither_changed_nor_removed_nor_replaced_whoever_asks() {
    let folder = tempfile::tempdir().unwrap();
    filled(folder.path()).await;
    let mut connection = raw(folder.path()).await;
    for sql in [
        "UPDATE entries SET line = x'7b7d' WHERE rank = 1",
        "DELETE FROM entries WHERE rank = 2",
        "INSERT OR REPLACE INTO entries SELECT * FROM entries WHERE rank = 1",
        "REPLACE INTO entries (rank, id, job, line, sha256) SELECT rank, 'x', job, line, sha256 FROM entries WHERE rank = 1",
        "UPDATE jobs SET id = 'x'",
        "DELETE FROM jobs",
        "UPDATE attachments SET size = 0",
        "DELETE FROM attachments",
        "INSERT OR REPLACE INTO attachments SELECT * FROM attachments",
    ] {
        let refused = sqlx::query(sqlx::AssertSqlSafe(sql)).execute(&mut connection).await.unwrap_err().to_string();
        assert!(refused.contains("only appended") || refused.contains("never"), "{sql}: {refused}");
    }
}

#[tokio::test]
async fn the_record_is_synced_at_every_commit() {
    // Source: SQLite, PRAGMA synchronous and journal_mode [published]: 2 is FULL, which syncs the log at each commit
    let folder = tempfile::tempdir().unwrap();
    let store = SqliteStore::open(Opening::of(folder.path())).await.unwrap();
    assert_eq!(store.durability().await.unwrap(), ("wal".to_owned(), 2, 1));
    store.close().await;
}
