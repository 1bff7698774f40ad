//! What no reading changes, kept from one work-up of a job to the next.
//!
//! The beliefs before any check, and what engines of the same kind would bring, hang on the engine as described and on the
//! terms of the customer alone. A technician types forty readings between two changes of these.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex, PoisonError};

use anatomy::EngineLayout;
use inference::lanes::{Engine, Extra, LanesError};
use knowledge::Knowledge;

use crate::beliefs;
use crate::money::{BlockHere, Donors, Terms};
use crate::network::EngineNet;

/// What was worked for one description of the engine and one set of terms.
#[derive(Debug)]
pub(crate) struct Before {
    /// The chances of every variable of the network before any check.
    pub(crate) chances: Vec<Vec<f64>>,
    /// What engines of this kind would bring.
    pub(crate) donors: Donors,
}

/// A memory of one description: the last one.
///
/// Whether it is empty or full changes how long a work-up takes, and nothing else.
#[derive(Debug, Default)]
pub struct Remembered {
    last: Mutex<Option<(String, Arc<Before>)>>,
}

impl Remembered {
    /// What was worked for this description, worked now where another one is remembered.
    pub(crate) fn before(
        &self,
        net: &EngineNet,
        layout: &EngineLayout,
        knowledge: &Knowledge,
        blocks: &[BlockHere],
        terms: &Terms,
    ) -> Result<Arc<Before>, LanesError> {
        let given = beliefs::before_any_check(net, knowledge);
        // How far the engine is open and how old the quotes are change prices, and nothing that is remembered here.
        let closed = Terms { reached: BTreeSet::new(), aged: BTreeMap::new(), ..terms.clone() };
        let about = format!("{:?}", (knowledge.version.as_str(), layout, &net.attributes, &given, closed));
        if let Some((known, before)) = self.locked().as_ref()
            && *known == about
        {
            return Ok(Arc::clone(before));
        }
        let untouched = Engine::build(&net.net, &given)?;
        let run = untouched.run(&Extra::default())?;
        let chances = (0..net.what.len()).map(|index| run.marginal(index)).collect();
        let before = Arc::new(Before { chances, donors: Donors::drawn(net, blocks, knowledge, terms)? });
        *self.locked() = Some((about, Arc::clone(&before)));
        Ok(before)
    }

    fn locked(&self) -> std::sync::MutexGuard<'_, Option<(String, Arc<Before>)>> {
        // After a panic elsewhere what is remembered is still whole: it is set in one step.
        self.last.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
