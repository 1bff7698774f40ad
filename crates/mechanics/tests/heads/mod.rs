//! The five measured heads of `reference/faces/heads.json`, for tests and benches.

#![allow(clippy::allow_attributes, reason = "what is not used differs between the tests and benches that include this")]
#![allow(dead_code, reason = "each test and bench that includes this takes what it needs")]
#![allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "the helper of a test may fail it")]

use std::collections::BTreeMap;

use mechanics::flatness::Point;
use mechanics::straightedge::{EdgeAssumptions, EdgeLine, EdgeStation};
use serde_json::Value;

/// What the file's own generator measured with, and the project's usual kink allowance.
pub(crate) const ASSUMED: EdgeAssumptions =
    EdgeAssumptions { edge_u: 0.004, blade_u: 0.003, kink_allowance: Some(0.005) };

/// A head: a dial grid, straightedge lines, and what is known of it.
pub(crate) struct Head {
    pub(crate) dial: Vec<Point>,
    pub(crate) lines: Vec<EdgeLine>,
    pub(crate) known: Value,
}

pub(crate) fn all() -> BTreeMap<String, Head> {
    let file: Value = serde_json::from_str(include_str!("../../../../reference/faces/heads.json")).unwrap();
    file["heads"].as_object().unwrap().iter().map(|(name, head)| (name.clone(), read(head))).collect()
}

fn read(head: &Value) -> Head {
    let column = |key: &str| {
        head["dial"][key].as_array().unwrap().iter().map(|number| number.as_f64().unwrap()).collect::<Vec<f64>>()
    };
    let dial = column("x").into_iter().zip(column("y")).zip(column("z")).map(|((x, y), z)| [x, y, z]).collect();
    let station = |station: &Value| EdgeStation {
        place: [station["x"].as_f64().unwrap(), station["y"].as_f64().unwrap()],
        passes: station["passes"].as_f64().unwrap_or(0.0),
        refused: station["next_refused"].as_f64().unwrap(),
    };
    let line = |line: &Value| line["stations"].as_array().unwrap().iter().map(station).collect();
    Head { dial, lines: head["straightedge"].as_array().unwrap().iter().map(line).collect(), known: head.clone() }
}
