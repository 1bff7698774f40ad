//! The demo jobs, worked up.

use knowledge::Knowledge;
use logbook::{Entry, JobState, fold, seal_story, story_from_lines};
use workup::Case;

/// A worked-up demo job.
pub(crate) struct Demo {
    pub(crate) entries: Vec<Entry>,
    pub(crate) state: JobState,
    pub(crate) case: Case,
    pub(crate) knowledge: Knowledge,
}

/// The folders of the demo jobs.
pub(crate) const NAMES: [&str; 3] = ["0001-tolvane-carrier", "0002-ostrand-h6", "0003-merrowin-f2"];

/// One demo job; `lines` limits how much of its story is told.
pub(crate) fn demo(name: &'static str) -> Demo {
    let root = concat!(env!("CARGO_MANIFEST_DIR"), "/../../cases/");
    let text = std::fs::read_to_string(format!("{root}{name}/story.jsonl")).unwrap();
    told(name, &text)
}

/// A job from the text of a story.
pub(crate) fn told(name: &'static str, text: &str) -> Demo {
    let story = story_from_lines(text).unwrap();
    let entries = seal_story(name, &story).unwrap();
    let state = fold(&entries);
    let knowledge = Knowledge::builtin().unwrap();
    let case = workup::work_up(&state, &knowledge).unwrap();
    Demo { entries, state, case, knowledge }
}

impl Demo {
    /// The last eight characters of the chain.
    pub(crate) fn tail(&self) -> String {
        let hash = self.entries.last().unwrap().hash();
        hash[hash.len() - 8..].to_owned()
    }
}
