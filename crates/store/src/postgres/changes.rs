//! Following what is kept, by whomever: the server says that there is something, and every so often one looks anyway.

use std::time::Duration;

use sqlx::postgres::{PgListener, PgPoolOptions};

use super::{CHANNEL, PgStore, trouble};
use crate::entry::{KeptEntry, Rank};
use crate::failure::ReadError;
use crate::keeping::{PAGE, Store};

/// How often one looks without having heard anything \[ours\]: what was said while the line was broken is not said again.
const LOOK_EVERY: Duration = Duration::from_secs(2);

/// What is kept from now on, in rank.
///
/// A commit gets the next rank under a lock that is held until it is done, so what comes later stands later, and to look
/// after the last rank seen misses nothing.
#[derive(Debug)]
pub struct Changes {
    store: PgStore,
    listener: Option<PgListener>,
    seen: Option<Rank>,
}

impl Changes {
    pub(super) fn of(store: PgStore) -> Self {
        Self { store, listener: None, seen: None }
    }

    /// Waits for what is kept next and gives it, at most a thousand entries at a time; nothing when nothing came in two
    /// seconds, and `None` when the store was closed.
    ///
    /// The first call marks where *from now on* begins.
    pub async fn next(&mut self) -> Option<Vec<KeptEntry>> {
        if let Some(more) = self.look().await {
            return Some(more);
        }
        self.wait().await;
        if self.store.inner.pool.is_closed() {
            return None;
        }
        Some(self.look().await.unwrap_or_default())
    }

    /// What stands after the last rank seen; none where there is nothing, or nobody answers.
    async fn look(&mut self) -> Option<Vec<KeptEntry>> {
        let Some(seen) = self.seen else {
            let highest: Result<i64, sqlx::Error> =
                sqlx::query_scalar("SELECT coalesce(max(rank), 0) FROM witnessmark.entries")
                    .fetch_one(&self.store.inner.pool)
                    .await;
            self.seen = highest.ok().and_then(|rank| u64::try_from(rank).ok());
            return None;
        };
        // What cannot be read now is looked for again in the next turn, and a spoiled line is for `verify` to name.
        let kept: Result<Vec<KeptEntry>, ReadError> = self.store.entries_after(seen, PAGE).await;
        let kept = kept.ok().filter(|kept| !kept.is_empty())?;
        self.seen = kept.last().map(|last| last.rank);
        Some(kept)
    }

    /// Waits until the server says something, or for a while.
    async fn wait(&mut self) {
        let Some(listener) = &mut self.listener else {
            match self.listen().await {
                // What was kept before the listening began is looked for at once.
                Ok(listener) => self.listener = Some(listener),
                Err(error) => {
                    if trouble::is_away(&error) {
                        self.store.went_away(&trouble::said(&error));
                    }
                    tokio::time::sleep(LOOK_EVERY).await;
                }
            }
            return;
        };
        match tokio::time::timeout(LOOK_EVERY, listener.try_recv()).await {
            // Many of them say the same: look.
            Ok(Ok(Some(_))) => while listener.next_buffered().is_some() {},
            Ok(Ok(None)) | Err(_) => {}
            Ok(Err(_)) => self.listener = None,
        }
    }

    async fn listen(&self) -> Result<PgListener, sqlx::Error> {
        // A connection of its own: the others are let go when the store is closed, and this one waits in here.
        let alone = PgPoolOptions::new().max_connections(1).idle_timeout(None).max_lifetime(None);
        let mut listener = PgListener::connect_with(&alone.connect_lazy_with(self.store.connecting()?)).await?;
        listener.ignore_pool_close_event(true);
        listener.listen(CHANNEL).await?;
        Ok(listener)
    }
}
