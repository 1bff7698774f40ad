//! The one binary: what it does is in the library beside it.

use std::process::ExitCode;

/// A work-up takes large tables for a moment; this allocator gives their pages back to the system, so that a bench which
/// stays open all day does not hold them.
#[global_allocator]
static PAGES_GO_BACK: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> ExitCode {
    witnessmark::main()
}
