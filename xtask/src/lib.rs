//! The developers' bench: what the compiler does not look at is looked at here.
//!
//! * **For:** whoever changes the code, before somebody else reads it.
//! * **Comes in:** the working folder: sources, manifests, papers, and what `cargo metadata` says of the libraries.
//! * **Goes out:** a list of complaints, each with its file, its line and the next move; none means tidy.
//! * **Must not:** change a file but `docs/benchmarks.md` and what lies under `target`, or use a room: it must run while the rooms do not compile.
//!
//! Modules in reading order: [`tree`] (which files there are), [`tidy`] (all checks), and under it one module a check;
//! [`mod@fuzz`] searches for inputs that break a parser; [`peers`] runs the exact engine beside a general-purpose library and writes what came out.

pub mod fuzz;
pub mod peers;
pub mod tidy;
pub mod tree;
