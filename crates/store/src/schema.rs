//! The migrations: compiled in, run in sequence, never edited once released.

use sqlx::SqlSafeStr;
use sqlx::migrate::{Migration, MigrationType, Migrator};

/// The schema number this build writes; a file with a higher one is read and never written.
pub const SQLITE_SCHEMA: i64 = 1;

/// Gives the migrations of the embedded store, oldest first.
///
/// They are named one by one, not found in a folder, so that a forgotten file does not compile in by accident and no
/// build script is needed.
pub(crate) fn sqlite_migrations() -> Migrator {
    Migrator::with_migrations(vec![Migration::new(
        1,
        "entries and attachments".into(),
        MigrationType::Simple,
        include_str!("../migrations/sqlite/0001_entries_and_attachments.sql").into_sql_str(),
        false,
    )])
}
