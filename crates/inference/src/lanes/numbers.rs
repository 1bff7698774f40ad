//! Room for the numbers of tables, used again and again.
//!
//! One work-up makes thousands of tables and lets go of nearly all of them. Room that went back to the system would have to be
//! cleared by it before it is handed out again, which costs as much as filling it with numbers.

use std::ops::{Deref, DerefMut};
use std::sync::{Mutex, PoisonError};

/// So many numbers and more are worth keeping room for; fewer are quickly had \[ours\].
const LEAST: usize = 512;
/// Numbers that kept room has at most, over all sizes: 32 MiB, so that a bench left alone holds little \[ours\].
const KEPT: usize = 4 << 20;
/// Sizes of room: powers of two.
const SIZES: usize = usize::BITS as usize;

/// Room that nobody uses, by the power of two that it holds.
struct Room {
    by_size: [Vec<Vec<f64>>; SIZES],
    held: usize,
}

static ROOM: Mutex<Room> = Mutex::new(Room { by_size: [const { Vec::new() }; SIZES], held: 0 });

/// Numbers whose room is used again once nobody needs them.
#[derive(Debug, Default)]
pub(super) struct Numbers(Vec<f64>);

impl Numbers {
    /// So many numbers, whatever they are: each must be set before it is read.
    pub(super) fn unset(count: usize) -> Self {
        if count < LEAST {
            return Self(vec![0.0; count]);
        }
        let size = count.next_power_of_two();
        let place = size.trailing_zeros() as usize;
        let kept = {
            let mut room = ROOM.lock().unwrap_or_else(PoisonError::into_inner);
            let kept = room.by_size.get_mut(place).and_then(Vec::pop);
            if kept.is_some() {
                room.held -= size;
            }
            kept
        };
        let mut numbers = kept.unwrap_or_else(|| Vec::with_capacity(size));
        numbers.resize(count, 0.0);
        Self(numbers)
    }
}

impl From<Vec<f64>> for Numbers {
    fn from(numbers: Vec<f64>) -> Self {
        Self(numbers)
    }
}

impl Deref for Numbers {
    type Target = [f64];

    fn deref(&self) -> &[f64] {
        &self.0
    }
}

impl DerefMut for Numbers {
    fn deref_mut(&mut self) -> &mut [f64] {
        &mut self.0
    }
}

impl Drop for Numbers {
    fn drop(&mut self) {
        let size = self.0.capacity();
        if size < LEAST || !size.is_power_of_two() {
            return;
        }
        let mut room = ROOM.lock().unwrap_or_else(PoisonError::into_inner);
        if room.held + size > KEPT {
            return;
        }
        if let Some(list) = room.by_size.get_mut(size.trailing_zeros() as usize) {
            list.push(std::mem::take(&mut self.0));
            room.held += size;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Numbers;

    #[test]
    fn there_are_as_many_numbers_as_asked_for_whatever_was_there_before() {
        for count in [0, 1, 511, 512, 513, 1024, 5000, 700, 4097] {
            let mut numbers = Numbers::unset(count);
            assert_eq!(numbers.len(), count);
            numbers.fill(7.0);
            let mut more = Numbers::unset(count + 1);
            assert_eq!(more.len(), count + 1);
            more.fill(3.0);
            assert!(numbers.iter().all(|x| (*x - 7.0).abs() < f64::EPSILON), "{count}");
        }
    }
}
