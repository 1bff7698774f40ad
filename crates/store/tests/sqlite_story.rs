//! The embedded store goes through the story, and through the story of being closed and opened again.

mod common;

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
