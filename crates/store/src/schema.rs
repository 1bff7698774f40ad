//! The migrations: compiled in, run in sequence, never edited once released.

use sqlx::SqlSafeStr;
use sqlx::migrate::{Migration, MigrationType, Migrator};

/// The schema number this build writes; a file with a higher one is read and never written.
pub const SQLITE_SCHEMA: i64 = 1;
/// The schema number this build needs on a server.
pub const POSTGRES_SCHEMA: i64 = 1;
/// The schema on a server that holds everything of ours; whatever else lies in the database is left alone.
pub(crate) const POSTGRES_NAMESPACE: &str = "witnessmark";
/// Where a server's record remembers which migrations it has been through.
pub(crate) const POSTGRES_MIGRATIONS: &str = "witnessmark.migrations";

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

/// Gives the migrations of the store on a server, oldest first.
pub(crate) fn postgres_migrations() -> Migrator {
    let mut migrator = Migrator::with_migrations(vec![Migration::new(
        1,
        "entries and attachments".into(),
        MigrationType::Simple,
        include_str!("../migrations/postgres/0001_entries_and_attachments.sql").into_sql_str(),
        false,
    )]);
    migrator.create_schema(POSTGRES_NAMESPACE);
    // No record has ever used another name, so nothing is left behind under one.
    migrator.dangerous_set_table_name(POSTGRES_MIGRATIONS);
    migrator
}
