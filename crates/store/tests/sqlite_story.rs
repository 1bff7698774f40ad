//! The embedded store goes through the story, and through the story of being closed and opened again.

mod common;

use std::ops::ControlFlow;

use store::{Opening, SqliteStore, Standing, Store};

#[tokio::test]
async fn the_embedded_store_meets_every_promise_of_the_trait() {
    let folder = tempfile::tempdir().unwrap();
    let store = SqliteStore::open(Opening::of(folder.path())).await.unwrap();
    common::story(&store).await;
    store.close().await;
}

#[tokio::test]
async fn what_was_kept_is_there_after_closing_and_opening() {
    let folder = tempfile::tempdir().unwrap();
    let store = SqliteStore::open(Opening::of(folder.path())).await.unwrap();
    common::story(&store).await;
    let (all, jobs, attachments) =
        (store.all().await.unwrap(), store.jobs().await.unwrap(), store.attachments().await.unwrap());
    store.close().await;
    let store = SqliteStore::open(Opening::of(folder.path())).await.unwrap();
    assert_eq!(store.standing(), Standing::Writable);
    assert_eq!(store.all().await.unwrap(), all);
    assert_eq!(store.jobs().await.unwrap(), jobs);
    assert_eq!(store.attachments().await.unwrap(), attachments);
    store.close().await;
}

#[tokio::test]
async fn a_backup_taken_while_work_goes_on_opens_and_agrees() {
    let (folder, parent) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let target = parent.path().join("backup");
    let store = SqliteStore::open(Opening::of(folder.path())).await.unwrap();
    common::story(&store).await;
    let before = store.all().await.unwrap();
    let work = async {
        let mut pen = common::Pen::for_job(4);
        for turn in 0..30 {
            store.append(&[pen.note(&format!("meanwhile {turn}"))]).await.unwrap();
        }
    };
    let (backed_up, ()) = tokio::join!(store.back_up(&target), work);
    backed_up.unwrap();
    let copy = SqliteStore::open(Opening::of(&target)).await.unwrap();
    let copied = copy.all().await.unwrap();
    assert!(copied.len() >= before.len());
    assert_eq!(copied, store.all().await.unwrap()[..copied.len()], "a backup is the record up to one moment");
    let report = copy.verify(&mut |_| ControlFlow::Continue(())).await.unwrap();
    assert!(report.agrees(), "{report:?}");
    assert_eq!(report.attachments, 2);
    copy.close().await;
    let refused = store.back_up(&target).await.unwrap_err().to_string();
    assert!(refused.contains("a backup goes into an empty folder"), "{refused}");
    store.close().await;
}
