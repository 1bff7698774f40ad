//! Networks in the open interchange form.

use inference::Network;

use super::text;
use crate::{Holds, ensure};

/// A network written and read again is equal to the last bit; a complaint names a place inside the text.
///
/// # Errors
/// What does not hold.
pub fn network(bytes: &[u8]) -> Holds {
    let Some(text) = text(bytes) else { return Ok(()) };
    match Network::from_bif(text) {
        Ok(network) => {
            let written = network.to_bif();
            match Network::from_bif(&written) {
                Ok(again) => ensure(again == network, || format!("written as {written:?} it is another network")),
                Err(error) => Err(format!("written as {written:?} it is not read: {error}")),
            }
        }
        Err(error) => {
            let at = error.place();
            let line = text.split('\n').nth(at.line.wrapping_sub(1));
            let inside = line.is_some_and(|line| (1..=line.chars().count() + 1).contains(&at.column));
            ensure(inside, || format!("{at} is no place of the text: {error}"))
        }
    }
}
