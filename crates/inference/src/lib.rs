//! Discrete networks and exact answers from them: posteriors, the most probable explanation,
//! and the probability of what was seen.
//!
//! What it is for: to say how probable each state of each variable is, given what is known, with
//! no approximation but rounding.
//!
//! What comes in: a [`Network`] (built in code or read from the open interchange form) and
//! [`Evidence`]. What goes out: [`Posteriors`], an [`Explanation`], or an error that names the
//! variable, the row, or the pieces of evidence that contradict each other.
//!
//! What it must not know: what any variable means. There is no word of a trade in here, no unit,
//! no clock and no disk.
//!
//! Modules in reading order: [`network`] says what a network is and how tables are laid out;
//! [`bif`] reads and writes the interchange form; [`evidence`] is what is known and what is
//! answered; [`brute`] is the slow oracle; `triangulate` finds the cliques, `kernel` has the inner
//! loops and [`junction`] puts them together into the general exact engine. [`worst`] and [`lanes`]
//! are the fast path for networks in which every variable is the worst of independent draws;
//! [`unroll`] writes such a network out in plain form, so that the general engine can check it.
//!
//! Beside the networks: [`life`] says from records how long parts last, [`mileage`] how far a whole has truly travelled
//! when its instrument may lie, [`compare`] which of several ways forward costs least, and [`decision`] what knowing more
//! is worth. [`learning`] is what records make of shares and reliabilities. [`luck`] is chance by name. `quadrature` and `normal` serve them, `shared` serves all.

pub mod network;

pub mod bif;
pub mod evidence;

pub mod brute;

mod kernel;
mod shared;
mod triangulate;

pub mod junction;

pub mod worst;

pub mod lanes;

pub mod unroll;

mod normal;
mod quadrature;

pub mod life;

pub mod mileage;

pub mod compare;

pub mod decision;

pub mod learning;

pub mod luck;

pub use bif::BifError;
pub use evidence::{Evidence, EvidenceError, Explanation, InferenceError, Posteriors};
pub use junction::{DEFAULT_LIMIT, JunctionTree, TreeError};
pub use network::{About, Network, NetworkError, Property, Table, Variable};
