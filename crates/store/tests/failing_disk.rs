//! A disk that is full, and a commit that fails: nothing that was kept is lost, and nothing is called kept that is not.
#![expect(
    clippy::unwrap_used,
    clippy::panic,
    reason = "clippy lets only the tests themselves off, not the functions they share"
)]

#[expect(dead_code, reason = "this file takes the pen and not the story")]
mod common;

use std::fs;
use std::path::Path;
use std::process::Command;

use sqlx::Connection as _;
use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection};
use store::{AppendError, AttachmentError, FailureClass, Opening, SqliteStore, Standing, Store};

const PAGE: usize = 4096;

/// Writes until the store says that it is full, and gives how many entries it called kept.
async fn write_until_full(store: &SqliteStore, pen: &mut common::Pen) -> (usize, AppendError) {
    for kept in 0..100_000 {
        let entry = pen.peek(&"o".repeat(3000));
        match store.append(&[entry]).await {
            Ok(_) => {
                pen.note(&"o".repeat(3000));
            }
            Err(error) => return (kept, error),
        }
    }
    panic!("the store never became full");
}

async fn is_full_and_goes_on(store: &SqliteStore) -> common::Pen {
    let mut pen = common::Pen::for_job(1);
    let (kept, refused) = write_until_full(store, &mut pen).await;
    assert!(kept > 0);
    assert!(matches!(refused, AppendError::Full { .. }), "{refused}");
    assert_eq!(refused.class(), FailureClass::Storage);
    let said = refused.to_string();
    assert!(said.contains("is full") && said.contains("free some room") && said.contains("bytes or more"), "{said}");
    assert_eq!(store.all().await.unwrap().len(), kept, "what was called kept is there, and nothing else");
    assert_eq!(store.standing(), Standing::Writable, "a full disk is no reason to stop for good");
    pen
}

#[tokio::test]
async fn a_full_record_refuses_clearly_and_loses_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let small = Opening::of(folder.path()).no_larger_than(40 * PAGE as u64);
    let store = SqliteStore::open(small).await.unwrap();
    let pen = is_full_and_goes_on(&store).await;
    let kept = store.all().await.unwrap();
    store.close().await;
    // Room is made, and the entry that was refused is kept.
    let store = SqliteStore::open(Opening::of(folder.path())).await.unwrap();
    assert_eq!(store.all().await.unwrap(), kept);
    store.append(&[pen.peek("there is room again")]).await.unwrap();
    store.close().await;
}

#[tokio::test]
async fn a_batch_that_does_not_fit_is_not_kept_in_part() {
    let folder = tempfile::tempdir().unwrap();
    let small = Opening::of(folder.path()).no_larger_than(40 * PAGE as u64);
    let store = SqliteStore::open(small).await.unwrap();
    let mut pen = common::Pen::for_job(1);
    let many: Vec<_> = (0..200).map(|_| pen.note(&"o".repeat(3000))).collect();
    assert!(matches!(store.append(&many).await.unwrap_err(), AppendError::Full { .. }));
    assert!(store.all().await.unwrap().is_empty());
    store.append(&many[..1]).await.unwrap();
    assert_eq!(store.all().await.unwrap().len(), 1);
    store.close().await;
}

/// Where the child of the next test finds its small disk.
const SMALL_DISK: &str = "WITNESSMARK_TRIAL_SMALL_DISK";

/// Runs this test once more inside a namespace of its own, where it may put a small disk on a folder. Where the system
/// does not allow that, the size limit above is all that is tried, and the test says so.
#[test]
fn a_disk_that_is_really_full_refuses_clearly_and_loses_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let mounted = "mount -t tmpfs -o size=1m none \"$1\"";
    let may = Command::new("unshare").args(["-rm", "sh", "-c", mounted, "sh"]).arg(folder.path()).output();
    if !may.is_ok_and(|output| output.status.success()) {
        println!("this system lets nobody put a small disk on a folder: only the size limit was tried");
        return;
    }
    let output = Command::new("unshare")
        .args(["-rm", "sh", "-c", &format!("{mounted} && exec \"$2\" --exact on_the_small_disk --nocapture"), "sh"])
        .arg(folder.path())
        .arg(std::env::current_exe().unwrap())
        .env(SMALL_DISK, folder.path())
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success() && said.contains("tried on a small disk"), "{said}");
}

/// Does nothing by itself: it is the inside of the test above.
#[tokio::test]
async fn on_the_small_disk() {
    let Some(disk) = std::env::var_os(SMALL_DISK) else {
        return;
    };
    let folder = Path::new(&disk).join("shop");
    let store = SqliteStore::open(Opening::of(&folder)).await.unwrap();
    let ballast = Path::new(&disk).join("ballast");
    fs::write(&ballast, vec![0; 64 * 1024]).unwrap();
    let pen = is_full_and_goes_on(&store).await;
    let refused = store.keep_attachment(vec![7; 200_000], "image/png").await.unwrap_err();
    assert!(matches!(refused, AttachmentError::Full { .. }), "{refused}");
    // Reading works on the full disk, and after some room is made the same store goes on.
    let kept = store.all().await.unwrap();
    fs::remove_file(&ballast).unwrap();
    store.append(&[pen.peek("there is room again")]).await.unwrap();
    assert_eq!(store.all().await.unwrap().len(), kept.len() + 1);
    store.close().await;
    let store = SqliteStore::open(Opening::of(&folder)).await.unwrap();
    assert_eq!(store.all().await.unwrap().len(), kept.len() + 1);
    println!("tried on a small disk");
}

#[tokio::test]
async fn after_a_failed_commit_nothing_more_is_kept_until_the_next_start() {
    let folder = tempfile::tempdir().unwrap();
    SqliteStore::open(Opening::of(folder.path())).await.unwrap().close().await;
    // A rule that the engine looks at only when it commits, and that one entry breaks: the commit itself then fails.
    let file = folder.path().join("logbook.sqlite");
    let mut raw = SqliteConnection::connect_with(&SqliteConnectOptions::new().filename(file)).await.unwrap();
    for sql in [
        "CREATE TABLE never (id INTEGER PRIMARY KEY)",
        "CREATE TABLE rigged (id INTEGER REFERENCES never (id) DEFERRABLE INITIALLY DEFERRED)",
        "CREATE TRIGGER rig AFTER INSERT ON entries WHEN NEW.rank = 2 BEGIN INSERT INTO rigged VALUES (1); END",
    ] {
        sqlx::query(sqlx::AssertSqlSafe(sql)).execute(&mut raw).await.unwrap();
    }
    let store = SqliteStore::open(Opening::of(folder.path())).await.unwrap();
    let mut pen = common::Pen::for_job(1);
    store.append(&[pen.note("first")]).await.unwrap();
    let second = pen.note("second");
    let failed = store.append(std::slice::from_ref(&second)).await.unwrap_err();
    assert!(matches!(failed, AppendError::Storage { .. }), "{failed}");
    assert!(failed.to_string().contains("nothing more is kept until witnessmark is started again"), "{failed}");
    let Standing::ReadOnly { because } = store.standing() else { panic!("the store still keeps things") };
    assert!(because.contains("start witnessmark again"), "{because}");
    for _ in 0..2 {
        let refused = store.append(std::slice::from_ref(&second)).await.unwrap_err();
        assert!(matches!(refused, AppendError::ReadOnly { .. }), "{refused}");
        assert_eq!(refused.class(), FailureClass::Storage);
    }
    assert!(matches!(store.keep_attachment(vec![1], "image/png").await.unwrap_err(), AttachmentError::ReadOnly { .. }));
    assert_eq!(store.all().await.unwrap().len(), 1, "reading goes on, and what was not acknowledged is not there");
    store.close().await;
    sqlx::query("DROP TRIGGER rig").execute(&mut raw).await.unwrap();
    raw.close().await.unwrap();
    let store = SqliteStore::open(Opening::of(folder.path())).await.unwrap();
    assert_eq!(store.append(&[second]).await.unwrap()[0].rank, 2);
    store.close().await;
}
