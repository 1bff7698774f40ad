//! Photos as they come in.

use crate::{Holds, ensure};

/// What is kept of a photo is the same kind, has nothing left to take off, and can be made small or said why not.
///
/// # Errors
/// What does not hold.
pub fn photo(bytes: &[u8]) -> Holds {
    let Ok((kind, kept)) = server::kept_of(bytes.to_vec()) else { return Ok(()) };
    match server::kept_of(kept.clone()) {
        Ok((again, bare)) => {
            ensure(again == kind, || format!("{kind} becomes {again}"))?;
            ensure(bare == kept, || format!("{} bytes are kept, and of those {}", kept.len(), bare.len()))?;
        }
        Err(why) => return Err(format!("what is kept cannot be read: {why}")),
    }
    ensure(kept.len() <= bytes.len() + 64, || format!("{} bytes become {}", bytes.len(), kept.len()))?;
    let before = server::small(bytes).is_ok();
    let after = server::small(&kept).is_ok();
    ensure(!before || after, || "it can be shown before it is kept, and not after".to_owned())?;
    Ok(())
}
