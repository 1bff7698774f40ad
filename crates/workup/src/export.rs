//! The job's network in the open interchange form, with its evidence beside it.

use std::collections::BTreeMap;

use inference::NetworkError;
use inference::unroll::unroll;
use knowledge::Knowledge;
use logbook::JobState;
use serde::Serialize;

use crate::{WorkUpError, beliefs, findings, network, told};

/// A job's network for other programs.
#[derive(Debug, Clone, Serialize)]
pub struct Exported {
    /// The network as text in the open BIF interchange form.
    pub bif: String,
    /// The state seen of each observed variable, by name.
    pub evidence: BTreeMap<String, String>,
    /// The variable of each cause and condition, by name, with what it stands for.
    pub meaning: BTreeMap<String, String>,
}

/// Why a network cannot be exported.
#[derive(Debug, thiserror::Error)]
pub enum ExportError {
    /// The job cannot be worked up.
    #[error(transparent)]
    WorkUp(#[from] WorkUpError),
    /// The network cannot be written.
    #[error("the network cannot be written: {0}")]
    Network(#[from] NetworkError),
}

/// The network of a job: the same one that the work-up reasons with.
///
/// # Errors
/// A job without an engine; names that collide in the interchange form.
pub fn export(state: &JobState, knowledge: &Knowledge) -> Result<Exported, ExportError> {
    let layout = state.layout.as_ref().ok_or(WorkUpError::NoEngine)?;
    let net = network::engine_net(layout, &told(state, knowledge), knowledge);
    let (findings, _) = findings::of_state(state, layout, &net, knowledge);
    let gathered = beliefs::gather(&net, layout, knowledge, &findings);
    let (plain, evidence, places) = unroll(&net.net, &gathered.readings)?;
    let named = |variable: usize| plain.variables().get(variable).map_or_else(String::new, |v| v.name.clone());
    let seen = evidence
        .hard
        .iter()
        .map(|(variable, state)| {
            let word = plain.variables().get(*variable).and_then(|v| v.states.get(*state)).cloned();
            (named(*variable), word.unwrap_or_default())
        })
        .collect();
    let meaning = net
        .what
        .iter()
        .zip(&places)
        .map(|(what, place)| {
            let words = match what {
                network::What::Cause(id) => format!("cause {id}"),
                network::What::Condition(id, position) => format!("condition {id} at {}", position.address()),
            };
            (named(*place), words)
        })
        .collect();
    Ok(Exported { bif: plain.to_bif(), evidence: seen, meaning })
}
