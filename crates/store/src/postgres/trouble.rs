//! What the complaints of the server and of the line to it mean.

use std::io::ErrorKind;

use sqlx::Error;

/// SQLSTATE codes [published: PostgreSQL documentation, appendix A, "PostgreSQL Error Codes"].
const ADMIN_SHUTDOWN: &str = "57P01";
const CRASH_SHUTDOWN: &str = "57P02";
const CANNOT_CONNECT_NOW: &str = "57P03";
const DATABASE_DROPPED_OR_IDLE: &str = "57P05";
const IDLE_IN_TRANSACTION: &str = "25P03";
const TOO_MANY_CONNECTIONS: &str = "53300";
const SERIALIZATION_FAILURE: &str = "40001";
const DEADLOCK: &str = "40P01";
const LOCK_NOT_AVAILABLE: &str = "55P03";
const UNIQUE_VIOLATION: &str = "23505";
const DISK_FULL: &str = "53100";
const READ_ONLY_TRANSACTION: &str = "25006";
const INSUFFICIENT_PRIVILEGE: &str = "42501";
const NO_SUCH_DATABASE: &str = "3D000";
/// Class 08, connection exception; class 28, invalid authorization.
const CONNECTION_EXCEPTION: &str = "08";
const INVALID_AUTHORIZATION: &str = "28";

fn code(error: &Error) -> String {
    error.as_database_error().and_then(|said| said.code()).map(|code| code.into_owned()).unwrap_or_default()
}

/// What was said, in one line without the library's own words around it.
#[expect(clippy::wildcard_enum_match_arm, reason = "a library's list that grows; the others say it in their own words")]
pub(super) fn said(error: &Error) -> String {
    match error {
        Error::Database(said) => said.message().to_owned(),
        Error::Io(said) if matches!(said.kind(), ErrorKind::NotFound | ErrorKind::ConnectionRefused) => {
            "nobody listens there".to_owned()
        }
        Error::Io(said) => said.to_string(),
        Error::PoolTimedOut => "no answer in time".to_owned(),
        other => other.to_string(),
    }
}

/// Whether the line broke or the server is going or gone: it may be back in a moment.
#[expect(clippy::wildcard_enum_match_arm, reason = "a library's list that grows; everything else is no broken line")]
pub(super) fn is_away(error: &Error) -> bool {
    match error {
        Error::Io(_) | Error::PoolTimedOut | Error::Protocol(_) | Error::BeginFailed => true,
        Error::Database(_) => {
            let code = code(error);
            code.starts_with(CONNECTION_EXCEPTION)
                || [
                    ADMIN_SHUTDOWN,
                    CRASH_SHUTDOWN,
                    CANNOT_CONNECT_NOW,
                    DATABASE_DROPPED_OR_IDLE,
                    IDLE_IN_TRANSACTION,
                    TOO_MANY_CONNECTIONS,
                ]
                .contains(&code.as_str())
        }
        _ => false,
    }
}

/// Whether the line broke; another connection may well do.
pub(super) fn is_broken(error: &Error) -> bool {
    is_away(error) && !matches!(error, Error::PoolTimedOut)
}

/// Whether another turn may go through: the line broke, or somebody else was in the way.
pub(super) fn is_worth_another_turn(error: &Error) -> bool {
    is_away(error)
        || [SERIALIZATION_FAILURE, DEADLOCK, LOCK_NOT_AVAILABLE, UNIQUE_VIOLATION].contains(&code(error).as_str())
}

/// Whether somebody else held the lock for too long.
pub(super) fn is_busy(error: &Error) -> bool {
    code(error) == LOCK_NOT_AVAILABLE
}

/// Whether the server's disk is full.
pub(super) fn is_full(error: &Error) -> bool {
    code(error) == DISK_FULL
}

/// Whether this role or this server does not write.
pub(super) fn may_not_write(error: &Error) -> bool {
    [READ_ONLY_TRANSACTION, INSUFFICIENT_PRIVILEGE].contains(&code(error).as_str())
}

/// Whether the server refuses to let this role in, or to look.
pub(super) fn is_not_let_in(error: &Error) -> bool {
    let code = code(error);
    code.starts_with(INVALID_AUTHORIZATION) || code == INSUFFICIENT_PRIVILEGE || code == NO_SUCH_DATABASE
}

/// A call that was not answered in time, as a broken line.
pub(super) fn no_answer() -> Error {
    Error::Io(std::io::Error::new(std::io::ErrorKind::TimedOut, "no answer in time"))
}
