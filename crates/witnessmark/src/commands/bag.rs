//! `bags`, `bag` and `bag-emptied`: small parts put away at the strip and asked back at the build.

use clap::Args;
use logbook::{BagEnd, Kind};
use serde_json::{Map, Value, json};
use workup::bags::{self, Bag, Standing};
use workup::entering::body_of;

use super::enter;
use crate::desk::{Desk, entry_under, fresh};
use crate::show::count;
use crate::talk::Tone;
use crate::trouble::{Done, Exit, Trouble};

/// Lists the bags of a job in the sequence of the strip: what is in each, where it goes back in, what became of it.
#[derive(Debug, Args)]
pub(crate) struct Bags {
    /// The job.
    job: String,
    /// Only those that are not emptied.
    #[arg(long)]
    open: bool,
}

/// Puts small parts into a numbered bag.
#[derive(Debug, Args)]
pub(crate) struct Fill {
    /// The job.
    job: String,
    /// What lies in it, such as "rocker cover bolts".
    part: String,
    /// The number or name on the bag [default: the next free number].
    #[arg(long, value_name = "MARK")]
    bag: Option<String>,
    /// How many pieces.
    #[arg(long, value_name = "N")]
    count: Option<u32>,
    /// The joint that they were taken from, an id of the knowledge such as head or cover.
    #[arg(long)]
    joint: Option<String>,
    /// Which bolts of that joint, by their number in the tightening sequence, such as 1,2,5.
    #[arg(long, value_name = "N,N,...", value_delimiter = ',', requires = "joint")]
    bolts: Vec<u16>,
    /// Where on the engine, such as bank-A, rod-3, cyl-2.
    #[arg(long)]
    position: Option<String>,
    /// Each goes back to the very place it came from.
    #[arg(long)]
    own_place: bool,
    /// The rule of what keeps its place that holds for them, an id of the knowledge such as pushrod.
    #[arg(long, value_name = "RULE")]
    keep: Option<String>,
    /// The build stage that they go back in at [default: the one that puts their joint together].
    #[arg(long)]
    stage: Option<String>,
    /// Marks made: number, direction.
    #[arg(long)]
    marks: Option<String>,
    /// Who [default: the person logged in].
    #[arg(long)]
    by: Option<String>,
}

/// Says what became of a bag: everything in it is back in, unless something else is said.
#[derive(Debug, Args)]
pub(crate) struct Empty {
    /// The job.
    job: String,
    /// The number or name on the bag.
    bag: String,
    /// Something is missing or damaged, and what.
    #[arg(long, value_name = "WORDS", conflicts_with = "not_used")]
    wrong: Option<String>,
    /// It is not used again, and what went in instead.
    #[arg(long, value_name = "WORDS")]
    not_used: Option<String>,
    /// The build stage that asked for it.
    #[arg(long)]
    stage: Option<String>,
    /// Who [default: the person logged in].
    #[arg(long)]
    by: Option<String>,
}

impl Bags {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        let knowledge = desk.knowledge()?;
        let job = desk.job(&self.job).await?;
        let state = &job.state;
        let all: Vec<Bag<'_>> =
            bags::all(state).into_iter().filter(|bag| !self.open || bag.standing().is_open()).collect();
        let t = &desk.talk;
        if t.json() {
            let line = |bag: &Bag<'_>| {
                let stages = bags::stages_of(bag, state, &knowledge);
                json!({
                    "bag": bag.mark, "holds": bag.holds(), "standing": bag.standing().words(),
                    "open": bag.standing().is_open(),
                    "parts": bag.parts.iter().map(|p| &p.body).collect::<Vec<_>>(),
                    "stages": stages.iter().map(|s| &s.id).collect::<Vec<_>>(),
                    "words": bag.end.and_then(|end| end.words.as_ref()),
                    "photos": bag.photos.iter().map(|p| &p.sha256).collect::<Vec<_>>(),
                })
            };
            t.answer(&json!({"bags": all.iter().map(line).collect::<Vec<_>>(), "next_free": bags::next_free(state)}))?;
            return Ok(Exit::Fine);
        }
        if all.is_empty() {
            t.say("no bag is out; fill one with `witnessmark bag JOB \"what lies in it\"`");
        }
        for bag in &all {
            t.line(&format!("{}  {}", t.tone(Tone::Strong, bag.mark), bag.holds()), 2)?;
            for part in &bag.parts {
                let from = bags::came_from(part, state, &knowledge);
                let said = [
                    (!from.is_empty()).then(|| format!("from {from}")),
                    part.marks.as_ref().map(|m| format!("marks: {m}")),
                    bags::keeps_place(part, &knowledge),
                ];
                let said: Vec<String> = said.into_iter().flatten().collect();
                if !said.is_empty() {
                    t.line(&format!("  {}", said.join("; ")), 4)?;
                }
            }
            let stages = bags::stages_of(bag, state, &knowledge);
            let stages: Vec<&str> = stages.iter().map(|s| s.title.as_str()).collect();
            let standing = bag.standing();
            let tone = if standing == Standing::SomethingWrong { Tone::Outside } else { Tone::Strong };
            let words = bag.end.and_then(|end| end.words.as_ref()).map(|w| format!(": {w}")).unwrap_or_default();
            let at = match (standing.is_open(), stages.as_slice()) {
                (true, []) => "; no stage of the build asks for it".to_owned(),
                (true, list) => format!("; goes back in at {}", list.join(", ")),
                (false, _) => String::new(),
            };
            t.line(&format!("  {}{words}{at}", t.tone(tone, standing.words())), 4)?;
        }
        Ok(Exit::Fine)
    }
}

impl Fill {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        let knowledge = desk.knowledge()?;
        let taken = desk.take_up(&self.job).await?;
        let mark = self.bag.unwrap_or_else(|| bags::next_free(&taken.job.state).to_string());
        let mut body = Map::new();
        body.insert("part".to_owned(), self.part.into());
        body.insert("bag".to_owned(), mark.trim().into());
        let texts = [
            ("joint", self.joint),
            ("position", self.position),
            ("keep", self.keep),
            ("stage", self.stage),
            ("marks", self.marks),
            ("own_place", self.own_place.then(|| "yes".to_owned())),
        ];
        body.extend(texts.into_iter().filter_map(|(name, text)| Some((name.to_owned(), Value::from(text?)))));
        body.extend(self.count.map(|n| ("count".to_owned(), n.into())));
        if !self.bolts.is_empty() {
            body.insert("from_bolts".to_owned(), self.bolts.into());
        }
        let body = body_of(Kind::PartBagged, &Value::Object(body), &taken.job.state, &knowledge)
            .map_err(|why| Trouble::not_taken("fill the bag", &self.job, &why))?;
        let made = fresh()?;
        let before = desk.case(&taken.job.state, &knowledge).ok();
        let unsealed = entry_under(made, taken.id, self.by.as_deref(), &body)?;
        enter::keep(desk, &knowledge, taken, before, unsealed, made.0, &format!("in bag {mark}")).await
    }
}

impl Empty {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        let knowledge = desk.knowledge()?;
        let taken = desk.take_up(&self.job).await?;
        let (how, words) = match (self.wrong, self.not_used) {
            (Some(words), _) => (BagEnd::SomethingWrong, Some(words)),
            (None, Some(words)) => (BagEnd::NotUsed, Some(words)),
            (None, None) => (BagEnd::BackIn, None),
        };
        let mut body = Map::new();
        body.insert("bag".to_owned(), self.bag.trim().into());
        body.insert("how".to_owned(), how.word().into());
        let texts = [("words", words), ("stage", self.stage)];
        body.extend(texts.into_iter().filter_map(|(name, text)| Some((name.to_owned(), Value::from(text?)))));
        let body = body_of(Kind::BagEmptied, &Value::Object(body), &taken.job.state, &knowledge)
            .map_err(|why| Trouble::not_taken("empty the bag", &self.job, &why))?;
        let made = fresh()?;
        let before = desk.case(&taken.job.state, &knowledge).ok();
        let unsealed = entry_under(made, taken.id, self.by.as_deref(), &body)?;
        let open = bags::open(&taken.job.state).len();
        let named = bags::find(&taken.job.state, &self.bag).is_some_and(|bag| bag.standing().is_open());
        let left = if how == BagEnd::SomethingWrong { open } else { open.saturating_sub(usize::from(named)) };
        let said = format!("kept, {} left", count(left, "bag", "bags"));
        enter::keep(desk, &knowledge, taken, before, unsealed, made.0, &said).await
    }
}
