//! Names of things on an engine: what an engine consists of, where each piece sits and what it touches.
//!
//! * **For:** every other room speaks of engines through the words kept here.
//! * **Comes in:** a short description of an engine (a few fields of JSON or TOML), addresses as text.
//! * **Goes out:** an [`EngineLayout`] that cannot be contradictory, its [`Position`]s in a fixed order, and the
//!   relations between them.
//! * **Must not:** compute a verdict, know a limit or an odd, read a file, print, or know the time.
//!
//! Modules in reading order: [`words`] (the small vocabularies), [`ids`], [`position`] (addresses), [`numbering`]
//! (what a cylinder is called and which end is the front), [`layout`] (description, validation, derived parts),
//! [`relations`] (relative sites and contacts).

pub mod ids;
pub mod layout;
pub mod numbering;
pub mod position;
pub mod relations;
pub mod words;

pub use ids::{CauseId, CheckId, ConditionId, EntryId, GaugeId, IdError, JobId, LimitId, ReadingId};
pub use layout::{Assumed, EngineLayout, Head, LayoutDescription, LayoutError};
pub use numbering::{End, Numbering};
pub use position::{AddressError, Bank, CamPlace, Position};
pub use relations::RelativeSite;
pub use words::{
    Arrangement, BoreKind, Follower, Fuel, GasketKind, HeadDivision, Induction, Known, Liner, Metal, Scope, SeatKind,
    TimingDrive, ValveGear, Working,
};
