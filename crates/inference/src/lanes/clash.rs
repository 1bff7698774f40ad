//! Readings that cannot all be true: which of them clash.

use super::{Engine, Extra, LanesError};
use crate::worst::{Reading, WorstNet};

/// The readings of a set that cannot all be true with the others left out: none of them can be left out as well. Nothing
/// where the readings can all be true. Indices ascending.
///
/// The readings `given` are not blamed; they must be possible by themselves.
///
/// Method: divide and conquer over the readings (`QuickXplain`; U. Junker, "QUICKXPLAIN: preferred explanations and relaxations for
/// over-constrained problems", AAAI 2004). A set of k readings among n takes about 2 k log2 (n / k) + 2 k workings, most of them of few readings.
///
/// # Errors
/// As [`Engine::build`]; [`LanesError::Impossible`] where `given` alone cannot be true.
pub fn clash(net: &WorstNet, readings: &[Reading], given: usize) -> Result<Option<Vec<usize>>, LanesError> {
    let fixed: Vec<usize> = (0..given.min(readings.len())).collect();
    let blamed: Vec<usize> = (fixed.len()..readings.len()).collect();
    let search = Search { net, readings };
    if search.possible(&fixed, &blamed)? {
        return Ok(None);
    }
    if !search.possible(&fixed, &[])? {
        return Err(LanesError::Impossible("what is given alone has a probability of zero".to_owned()));
    }
    let mut found = search.among(&fixed, false, &blamed)?;
    found.sort_unstable();
    Ok(Some(found))
}

struct Search<'s> {
    net: &'s WorstNet,
    readings: &'s [Reading],
}

impl Search<'_> {
    fn possible(&self, some: &[usize], more: &[usize]) -> Result<bool, LanesError> {
        let told: Vec<Reading> = some.iter().chain(more).filter_map(|i| self.readings.get(*i)).cloned().collect();
        // Differences of nearly equal sums would leave a remainder where there is nothing.
        let engine = match Engine::without_differences(self.net, &told) {
            Err(LanesError::TooLarge { .. }) => Engine::build(self.net, &told)?,
            engine => engine?,
        };
        match engine.run_for(&Extra::default(), &[]) {
            Ok(_) => Ok(true),
            Err(LanesError::Impossible(_)) => Ok(false),
            Err(other) => Err(other),
        }
    }

    /// Of `blamed`, which clash given `held`. `changed`: whether something was added to `held` since it was last known to be possible.
    fn among(&self, held: &[usize], changed: bool, blamed: &[usize]) -> Result<Vec<usize>, LanesError> {
        if changed && !self.possible(held, &[])? {
            return Ok(Vec::new());
        }
        if blamed.len() < 2 {
            return Ok(blamed.to_vec());
        }
        let (first, second) = blamed.split_at(blamed.len() / 2);
        let mut of_second = self.among(&joined(held, first), true, second)?;
        let of_first = self.among(&joined(held, &of_second), !of_second.is_empty(), first)?;
        of_second.extend(of_first);
        Ok(of_second)
    }
}

fn joined(a: &[usize], b: &[usize]) -> Vec<usize> {
    a.iter().chain(b).copied().collect()
}
