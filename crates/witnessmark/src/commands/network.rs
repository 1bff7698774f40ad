//! `network`: the network of a job for other programs, and exact answers from any network.

use std::path::{Path, PathBuf};

use clap::{Args, Subcommand};
use inference::{DEFAULT_LIMIT, Evidence, JunctionTree, Network as Net};
use serde_json::{Map, Value, json};

use crate::desk::{Desk, read_text, write_file};
use crate::talk::Tone;
use crate::trouble::{Done, Exit, Trouble};

/// The network of a job, and exact answers from any network in the open BIF form.
#[derive(Debug, Args)]
pub(crate) struct Network {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Writes job.bif, job.evidence.json and job.meaning.json.
    Export {
        /// The job, or a logbook file.
        job: String,
        /// The folder.
        #[arg(long, default_value = ".")]
        out: PathBuf,
        /// Writes over files that are there.
        #[arg(long)]
        force: bool,
    },
    /// Exact posteriors of every node.
    Infer {
        /// A network in the open BIF interchange form; `-` is standard input.
        file: PathBuf,
        /// What was seen.
        #[arg(value_name = "node=state")]
        seen: Vec<String>,
        /// More of what was seen, as JSON {"node": "state"}.
        #[arg(long, value_name = "FILE")]
        evidence: Option<PathBuf>,
    },
}

impl Network {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        match self.what {
            What::Export { job, out, force } => {
                let job = desk.job(&job).await?;
                let knowledge = desk.knowledge()?;
                let exported = workup::export::export(&job.state, &knowledge).map_err(|error| {
                    let exit = match &error {
                        workup::export::ExportError::WorkUp(workup::WorkUpError::NoEngine) => Exit::NotFound,
                        workup::export::ExportError::WorkUp(_) | workup::export::ExportError::Network(_) => {
                            Exit::Problem
                        }
                    };
                    Trouble::new(exit, "write the network", error)
                })?;
                std::fs::create_dir_all(&out)
                    .map_err(|e| Trouble::file(format!("make the folder {}", out.display()), &e))?;
                let pretty = |map: &std::collections::BTreeMap<String, String>| {
                    serde_json::to_string_pretty(map).map_err(|e| Trouble::new(Exit::Problem, "write the network", e))
                };
                let files = [
                    ("job.bif", exported.bif.clone()),
                    ("job.evidence.json", pretty(&exported.evidence)? + "\n"),
                    ("job.meaning.json", pretty(&exported.meaning)? + "\n"),
                ];
                let mut written = Vec::new();
                for (name, text) in &files {
                    let path = out.join(name);
                    write_file(&path, text.as_bytes(), force)?;
                    written.push(path.display().to_string());
                }
                if desk.talk.json() {
                    desk.talk.answer(&json!({"written": written, "observed": exported.evidence.len(), "meant": exported.meaning.len()}))?;
                } else {
                    for path in &written {
                        desk.talk.line(path, 2)?;
                    }
                }
                Ok(Exit::Fine)
            }
            What::Infer { file, seen, evidence } => infer(desk, &file, &seen, evidence.as_deref()),
        }
    }
}

fn infer(desk: &Desk, file: &Path, seen: &[String], more: Option<&Path>) -> Done {
    let doing = format!("answer from {}", file.display());
    let usage = |why: String| Trouble::new(Exit::Usage, &doing, why);
    let text = read_text(file)?;
    let network = Net::from_bif(&text).map_err(|e| usage(e.to_string()))?;
    let mut evidence = Evidence::default();
    let mut observe =
        |node: &str, state: &str| evidence.observe(&network, node, state).map_err(|e| usage(e.to_string()));
    if let Some(path) = more {
        let read: std::collections::BTreeMap<String, String> =
            serde_json::from_str(&read_text(path)?).map_err(|e| {
                Trouble::new(
                    Exit::Usage,
                    format!("read the evidence {}", path.display()),
                    format!("{e}; expected {{\"node\": \"state\"}}"),
                )
            })?;
        for (node, state) in &read {
            observe(node, state)?;
        }
    }
    for pair in seen {
        let Some((node, state)) = pair.split_once('=') else {
            return Err(usage(format!("`{pair}` is no node=state; write the node, `=` and its state")));
        };
        observe(node.trim(), state.trim())?;
    }
    let tree = JunctionTree::for_evidence(&network, &evidence, DEFAULT_LIMIT)
        .map_err(|e| Trouble::new(Exit::Refused, &doing, e))?;
    let answer = tree.posteriors(&evidence).map_err(|e| Trouble::new(Exit::Problem, &doing, e))?;
    let mut nodes = Map::new();
    let t = &desk.talk;
    if !t.json() {
        t.line(&format!("log10 of the probability of what was seen: {:.6}", answer.log10_p_evidence), 2)?;
    }
    for (variable, chances) in network.variables().iter().zip(&answer.marginals) {
        let states = variable.states.iter().zip(chances);
        if t.json() {
            let row: Map<String, Value> = states.map(|(s, p)| (s.clone(), Value::from(*p))).collect();
            nodes.insert(variable.name.clone(), Value::Object(row));
        } else {
            let row: Vec<String> = states.map(|(s, p)| format!("{s} {p:.6}")).collect();
            t.line(&format!("{}: {}", t.tone(Tone::Strong, &variable.name), row.join("  ")), 4)?;
        }
    }
    if t.json() {
        t.answer(&json!({"log10_p_evidence": answer.log10_p_evidence, "posteriors": nodes}))?;
    }
    Ok(Exit::Fine)
}
