//! Opening: is the server set so that a commit lasts, is the schema ours and of this build, may this role write.

use std::sync::Arc;
use std::sync::Mutex;
use std::sync::atomic::AtomicBool;
use std::time::Duration;

use sqlx::migrate::MigrateError;
use sqlx::postgres::{PgConnectOptions, PgPoolOptions};
use sqlx::{ConnectOptions as _, PgConnection, Row as _};

use super::{Inner, PgStore, trouble};
use crate::failure::OpenError;
use crate::place::{Address, Place};
use crate::schema::{POSTGRES_SCHEMA, postgres_migrations};

/// How many connections read at once \[ours\].
const READERS: u32 = 4;
/// How long a call goes on trying before it gives up \[ours\]: a server that is started again is back by then.
const PATIENCE: Duration = Duration::from_secs(20);

/// How a record on a server is opened.
#[derive(Debug, Clone)]
pub struct PgOpening {
    address: Address,
    patience: Duration,
    making: Making,
    looking: bool,
}

/// What is done where there is no record yet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Making {
    /// One is begun, by a role that may.
    IfMissing,
    /// It is refused.
    Never,
}

impl PgOpening {
    /// Opens the record at this address for reading and writing, and begins one if there is none.
    #[must_use]
    pub fn of(address: Address) -> Self {
        Self { address, patience: PATIENCE, making: Making::IfMissing, looking: false }
    }

    /// Refuses where there is no record yet, instead of beginning one.
    #[must_use]
    pub fn that_exists(mut self) -> Self {
        self.making = Making::Never;
        self
    }

    /// Opens it to look only: also one that a newer build made, by a role that may not write.
    #[must_use]
    pub fn to_look(mut self) -> Self {
        self.making = Making::Never;
        self.looking = true;
        self
    }

    /// Says how long a call goes on trying when the server does not answer.
    #[must_use]
    pub fn patient_for(mut self, patience: Duration) -> Self {
        self.patience = patience;
        self
    }
}

impl PgStore {
    /// Opens a record on a server.
    ///
    /// A role that owns the record brings its schema up to this build's, under a lock, whoever else opens it meanwhile.
    ///
    /// # Errors
    ///
    /// [`OpenError`]: no answer, not let in, not durable, written by a newer build, or behind and not ours to bring up
    pub async fn open(opening: PgOpening) -> Result<Self, OpenError> {
        let PgOpening { address, patience, making, looking } = opening;
        let place = Place::Server(address.clone());
        let opened = |error: &sqlx::Error| from_server(&place, error);
        let options = connecting(&address, patience, looking).map_err(|error| opened(&error))?;
        let mut connection = within(patience, options.connect()).await.map_err(|error| opened(&error))?;
        if !looking {
            ensure_durable(&mut connection, &place).await?;
        }
        let found = within(patience, schema_of(&mut connection)).await.map_err(|error| opened(&error))?;
        match found {
            0 if making == Making::Never => return Err(OpenError::NothingThere { place }),
            found if found < POSTGRES_SCHEMA => bring_up(&mut connection, &place, found, looking).await?,
            found if found > POSTGRES_SCHEMA && !looking => {
                return Err(OpenError::Newer { place, what: "schema", found, known: POSTGRES_SCHEMA });
            }
            _ => {}
        }
        ensure_unaltered(&mut connection, &place).await?;
        let closed = if looking {
            Some("it was opened to look only; open it for writing to keep something".to_owned())
        } else {
            why_closed(&mut connection).await.map_err(|error| opened(&error))?
        };
        let pool = PgPoolOptions::new()
            .max_connections(READERS)
            .idle_timeout(None)
            .max_lifetime(None)
            .acquire_timeout(patience / 4)
            .connect_lazy_with(options);
        // The first one to append finds it ready; one that only looks lets it go.
        let writing = closed.is_none().then_some(connection);
        Ok(Self {
            inner: Arc::new(Inner {
                address,
                pool,
                writing: tokio::sync::Mutex::new(writing),
                closed,
                away: Mutex::default(),
                looking: AtomicBool::new(false),
                patience,
            }),
        })
    }

    /// How this store makes its connections.
    pub(super) fn connecting(&self) -> Result<PgConnectOptions, sqlx::Error> {
        connecting(&self.inner.address, self.inner.patience, false)
    }

    /// Opens one more connection that writes, after looking that the server still secures a commit.
    pub(super) async fn connect_to_write(&self) -> Result<PgConnection, sqlx::Error> {
        let mut connection = self.connecting()?.connect().await?;
        match lax_setting(&mut connection).await? {
            None => Ok(connection),
            Some(lax) => Err(sqlx::Error::Configuration(
                format!("the server was started again with {} = {}", lax.setting, lax.found).into(),
            )),
        }
    }
}

/// How a connection is made: what a role or a database may have been set to is set right for it.
fn connecting(address: &Address, patience: Duration, looking: bool) -> Result<PgConnectOptions, sqlx::Error> {
    let idle = (patience / 4).as_millis().to_string();
    let mut options = address.options()?.application_name("witnessmark").options([
        ("synchronous_commit", "on"),
        // A connection that broke in the middle of a transaction must not hold up every other shop.
        ("idle_in_transaction_session_timeout", idle.as_str()),
        // Every table is named in full; nothing that others lay beside them is ever meant.
        ("search_path", "pg_catalog"),
    ]);
    if looking {
        options = options.options([("default_transaction_read_only", "on")]);
    }
    Ok(options.disable_statement_logging())
}

/// A setting under which a commit may not last.
struct Lax {
    setting: &'static str,
    found: String,
    wanted: &'static str,
}

/// Gives the first setting under which what the server calls committed can be lost.
async fn lax_setting(connection: &mut PgConnection) -> Result<Option<Lax>, sqlx::Error> {
    // With `data_sync_retry` on, a sync that failed is tried again, and the second one proves nothing about the first.
    for (setting, wanted) in [("fsync", "on"), ("full_page_writes", "on"), ("data_sync_retry", "off")] {
        let found: Option<String> =
            sqlx::query_scalar("SELECT current_setting($1, true)").bind(setting).fetch_one(&mut *connection).await?;
        // Servers before version 12 do not have the last one, and try again in any case.
        let found = found.unwrap_or_else(|| "missing (the server is older than version 12)".to_owned());
        if found != wanted {
            return Ok(Some(Lax { setting, found, wanted }));
        }
    }
    Ok(None)
}

async fn ensure_durable(connection: &mut PgConnection, place: &Place) -> Result<(), OpenError> {
    match lax_setting(connection).await.map_err(|error| from_server(place, &error))? {
        None => Ok(()),
        Some(Lax { setting, found, wanted }) => {
            Err(OpenError::NotDurable { place: place.clone(), setting, found, wanted })
        }
    }
}

/// Gives the number of the schema that is there; 0 where there is none.
async fn schema_of(connection: &mut PgConnection) -> Result<i64, sqlx::Error> {
    let there: bool = sqlx::query_scalar("SELECT to_regclass('witnessmark.migrations') IS NOT NULL")
        .fetch_one(&mut *connection)
        .await?;
    if !there {
        return Ok(0);
    }
    sqlx::query_scalar("SELECT coalesce(max(version), 0) FROM witnessmark.migrations").fetch_one(connection).await
}

/// Brings the schema up to this build's, where the role may.
async fn bring_up(connection: &mut PgConnection, place: &Place, found: i64, looking: bool) -> Result<(), OpenError> {
    let may: bool = sqlx::query_scalar(
        "SELECT CASE WHEN to_regnamespace('witnessmark') IS NULL THEN has_database_privilege(current_database(), 'CREATE') \
         ELSE has_schema_privilege('witnessmark', 'CREATE') END",
    )
    .fetch_one(&mut *connection)
    .await
    .map_err(|error| from_server(place, &error))?;
    if looking || !may {
        return Err(OpenError::Behind { place: place.clone(), found, known: POSTGRES_SCHEMA });
    }
    postgres_migrations().run(connection).await.map_err(|error| {
        let why = error.to_string();
        if let MigrateError::Execute(error) | MigrateError::ExecuteMigration(error, _) = &error {
            from_server(place, error)
        } else if matches!(error, MigrateError::VersionMismatch(_) | MigrateError::Dirty(_)) {
            OpenError::SchemaAltered { place: place.clone(), why }
        } else {
            OpenError::Storage { place: place.clone(), why }
        }
    })
}

/// Refuses a schema that was made by other migrations than those of this build.
async fn ensure_unaltered(connection: &mut PgConnection, place: &Place) -> Result<(), OpenError> {
    let rows = sqlx::query("SELECT version, checksum, success FROM witnessmark.migrations ORDER BY version")
        .fetch_all(connection)
        .await
        .map_err(|error| from_server(place, &error))?;
    for known in postgres_migrations().iter() {
        let row =
            rows.iter().find(|row| row.try_get::<i64, _>("version").is_ok_and(|version| version == known.version));
        let same = row.is_some_and(|row| {
            row.try_get::<Vec<u8>, _>("checksum").is_ok_and(|sum| sum == *known.checksum)
                && row.try_get::<bool, _>("success").unwrap_or(false)
        });
        if !same {
            let why = format!("migration {} is not the one it was made with", known.version);
            return Err(OpenError::SchemaAltered { place: place.clone(), why });
        }
    }
    Ok(())
}

/// Why this role cannot keep anything here; none where it can.
async fn why_closed(connection: &mut PgConnection) -> Result<Option<String>, sqlx::Error> {
    let row = sqlx::query(
        "SELECT pg_is_in_recovery() AS follows, current_user::text AS role, \
         has_table_privilege('witnessmark.entries', 'INSERT') AND has_table_privilege('witnessmark.jobs', 'INSERT') \
         AND has_table_privilege('witnessmark.attachments', 'INSERT') AS writes",
    )
    .fetch_one(connection)
    .await?;
    if row.try_get("follows")? {
        return Ok(Some("the server only follows another one; name that one".to_owned()));
    }
    if row.try_get("writes")? {
        return Ok(None);
    }
    let role: String = row.try_get("role")?;
    Ok(Some(format!("the role {role} may look and not write; ask the owner of the record for the rights of a shop")))
}

/// Waits for an answer, and not for ever.
async fn within<T>(patience: Duration, work: impl Future<Output = Result<T, sqlx::Error>>) -> Result<T, sqlx::Error> {
    tokio::time::timeout(patience, work).await.unwrap_or_else(|_| Err(trouble::no_answer()))
}

/// What a complaint of the server means while opening.
fn from_server(place: &Place, error: &sqlx::Error) -> OpenError {
    let (place, why) = (place.clone(), trouble::said(error));
    if trouble::is_not_let_in(error) {
        OpenError::NotAllowed { place, why }
    } else if trouble::is_away(error) {
        OpenError::NoAnswer { place, why }
    } else {
        OpenError::Storage { place, why }
    }
}
