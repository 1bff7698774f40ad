//! Keeps entries and attachments: what is answered with *kept* survives a crash, and nothing is kept twice.
//!
//! * **For:** the doors, which append what people did and read it back for the fold.
//! * **Comes in:** sealed entries of the `logbook` room and the bytes of photos.
//! * **Goes out:** the same lines, byte for byte, in the order they were kept; the same bytes of photos; a report of
//!   what no longer agrees.
//! * **Must not:** know what an entry means, judge a reading, ask the clock or the environment, print, or change or
//!   remove a line once it is kept. It is the only room with SQL.
//!
//! Modules in reading order: [`entry`] (what is kept), [`keeping`] (the trait every store meets and its promises),
//! [`failure`] (what can go wrong and which exit class it has), [`verify`] (does the record still agree with itself),
//! [`place`] (where a record lies), [`folder`] (the folder on disk: format, lock, safe writing), [`attachment`] (files named
//! after their SHA-256), [`schema`] (the migrations), [`sqlite`] (the embedded store), [`postgres`] (the store that several
//! shops share), [`record`] (either of them, for the doors), [`mod@state_hash`] (one hash for everything), [`locked`] (files
//! that only a passphrase opens), [`carried`] (export, import, backup and restore), [`repair`] (what is sound, into a copy),
//! [`backups`] (when the last one was made).

pub mod attachment;
pub mod backups;
pub mod carried;
pub mod entry;
pub mod failure;
pub mod folder;
pub mod keeping;
pub mod locked;
pub mod place;
pub mod postgres;
pub mod record;
pub mod repair;
pub mod schema;
pub mod sqlite;
pub mod state_hash;
pub mod verify;

pub use attachment::{Attachment, ContentId};
pub use backups::Backups;
pub use entry::{Kept, KeptBy, KeptEntry, Rank};
pub use failure::{AppendError, AttachmentError, FailureClass, OpenError, ReadError};
pub use keeping::{JobKept, Judged, Standing, Store};
pub use locked::Passphrase;
pub use place::{Address, Place, PlaceError};
pub use postgres::{Changes, PgOpening, PgStore};
pub use record::Record;
pub use sqlite::{Opening, SqliteStore};
pub use state_hash::{StateHash, state_hash};
pub use verify::{Complaint, Progress, Report};
