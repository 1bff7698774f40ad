//! `new`: opens a job, with its engine where that is told.

use std::path::PathBuf;

use anatomy::EngineLayout;
use clap::Args;
use logbook::{EngineDescribed, EntryBody, JobOpened};
use serde_json::{Map, Value, json};

use crate::desk::{Desk, entry, read_text};
use crate::surroundings;
use crate::trouble::{Done, Exit, Trouble};

/// Opens a job. The engine comes from a layout file or from flags; it may also be told later.
#[derive(Debug, Args)]
pub(crate) struct New {
    /// A few words to find it by.
    #[arg(long)]
    title: String,
    /// The shop's own code for the customer (no names: the logbook is handed on).
    #[arg(long)]
    customer: Option<String>,
    /// The day promised, such as 2026-03-14.
    #[arg(long)]
    promised: Option<String>,
    /// Who opens it [default: the person logged in].
    #[arg(long)]
    by: Option<String>,
    /// A layout as TOML or JSON.
    #[arg(long, value_name = "FILE", conflicts_with_all = ["arrangement", "cylinders", "fuel", "valve_gear"])]
    layout: Option<PathBuf>,
    /// inline, v or flat.
    #[arg(long)]
    arrangement: Option<String>,
    /// four-stroke; two-stroke and rotary engines are not covered.
    #[arg(long)]
    works: Option<String>,
    /// How many cylinders.
    #[arg(long)]
    cylinders: Option<u8>,
    /// petrol or diesel.
    #[arg(long)]
    fuel: Option<String>,
    /// pushrod, single-cam or twin-cam.
    #[arg(long)]
    valve_gear: Option<String>,
    /// Valves in each cylinder.
    #[arg(long)]
    valves: Option<u8>,
    /// aluminium or iron.
    #[arg(long)]
    head_material: Option<String>,
    /// aluminium or iron.
    #[arg(long)]
    block_material: Option<String>,
    /// none, dry or wet.
    #[arg(long)]
    liner: Option<String>,
    /// iron-bore, iron-liner or coated-aluminium.
    #[arg(long)]
    bore_kind: Option<String>,
    /// multi-layer-steel, composite, copper, solid-steel or none.
    #[arg(long)]
    gasket: Option<String>,
    /// flat, roller or direct-bucket.
    #[arg(long)]
    follower: Option<String>,
    /// insert or integral.
    #[arg(long)]
    seat: Option<String>,
    /// Whether an open valve can meet a piston: yes, no or unknown.
    #[arg(long)]
    interference: Option<String>,
    /// chain, belt or gear.
    #[arg(long)]
    timing_drive: Option<String>,
    /// unboosted or boosted.
    #[arg(long)]
    induction: Option<String>,
    /// yes, no or unknown.
    #[arg(long)]
    oil_cooler: Option<String>,
    /// per-bank or per-cylinder.
    #[arg(long)]
    heads: Option<String>,
    /// Main bearings.
    #[arg(long)]
    main_bearings: Option<u8>,
    /// Cylinders of bank A and of bank B, such as 3,2.
    #[arg(long, value_delimiter = ',')]
    bank_split: Option<Vec<u8>>,
    /// Cylinders are counted from the free-end or the driving-end.
    #[arg(long, value_name = "END")]
    count_from: Option<String>,
    /// Where the front points in the vehicle, in words.
    #[arg(long)]
    front_note: Option<String>,
}

impl New {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        let layout = self.engine()?;
        let promised = match &self.promised {
            None => None,
            Some(text) => Some(text.parse().map_err(|e| {
                Trouble::new(Exit::Usage, "read the day of --promised", format!("{e}; write it as 2026-03-14"))
            })?),
        };
        if self.title.trim().is_empty() {
            return Err(Trouble::new(
                Exit::Usage,
                "open a job",
                "the title is empty; give it a few words to find it by",
            ));
        }
        let job = surroundings::new_job().map_err(|e| Trouble::new(Exit::Storage, "open a job", e))?;
        let by = self.by.as_deref();
        let opened =
            JobOpened { title: self.title.clone(), customer: self.customer.clone(), promised, comeback_of: None };
        let mut entries = vec![entry(job, by, &EntryBody::JobOpened(opened))?];
        if let Some(layout) = layout.clone() {
            let described = EngineDescribed { layout, maker: None, family: None, number: None, built: None };
            entries.push(entry(job, by, &EntryBody::EngineDescribed(described))?);
        }
        if let Some(rates) = workup::shop::rates(&desk.knowledge()?) {
            entries.push(entry(job, by, &EntryBody::MoneyTold(rates))?);
        }
        let store = desk.begin().await?;
        desk.keep(&store, &entries).await?;
        store.close().await;
        let t = &desk.talk;
        if t.json() {
            t.answer(&json!({"job": job.to_string(), "title": self.title, "entries": entries.len(),
                "engine": layout.as_ref().map(EngineLayout::in_words)}))?;
            return Ok(Exit::Fine);
        }
        t.line(&format!("kept: job {job}, {}", self.title), 2)?;
        match layout {
            Some(layout) => {
                t.line(&format!("  {}; {}", layout.in_words(), layout.front_statement()), 2)?;
                let assumed: Vec<String> = layout.assumed().iter().map(|a| format!("{} {}", a.field.replace('_', " "), a.value)).collect();
                if !assumed.is_empty() {
                    t.line(&format!("  assumed, because nobody said: {}", assumed.join(", ")), 4)?;
                }
                t.say(&format!("next: `witnessmark workup {job}`"));
            }
            None => t.say(&format!(
                "next: describe the engine, `witnessmark tell {job} engine-described '{{\"layout\": {{\"arrangement\": \"inline\", \"cylinders\": 4, \"fuel\": \"petrol\", \"valve_gear\": \"twin-cam\"}}}}'`"
            )),
        }
        Ok(Exit::Fine)
    }

    /// The engine from a file or from flags; none when nothing was said.
    fn engine(&self) -> Result<Option<EngineLayout>, Trouble> {
        if let Some(path) = &self.layout {
            let text = read_text(path)?;
            let doing = format!("read the layout {}", path.display());
            let json = path.extension().is_some_and(|e| e.eq_ignore_ascii_case("json"));
            let read: Result<EngineLayout, String> = if json {
                serde_json::from_str(&text).map_err(|e| e.to_string())
            } else {
                toml::from_str(&text).map_err(|e| e.to_string())
            };
            return read
                .map(Some)
                .map_err(|why| Trouble::new(Exit::Usage, doing, format!("{}; correct the file", why.trim())));
        }
        let mut told = Map::new();
        let mut put = |key: &str, value: Option<Value>| {
            if let Some(value) = value {
                told.insert(key.to_owned(), value);
            }
        };
        let words = [
            ("arrangement", &self.arrangement),
            ("works", &self.works),
            ("fuel", &self.fuel),
            ("valve_gear", &self.valve_gear),
            ("head_material", &self.head_material),
            ("block_material", &self.block_material),
            ("liner", &self.liner),
            ("bore_kind", &self.bore_kind),
            ("gasket", &self.gasket),
            ("follower", &self.follower),
            ("seat", &self.seat),
            ("interference", &self.interference),
            ("timing_drive", &self.timing_drive),
            ("induction", &self.induction),
            ("oil_cooler", &self.oil_cooler),
            ("heads", &self.heads),
            ("front_note", &self.front_note),
        ];
        for (key, word) in words {
            put(key, word.clone().map(Value::from));
        }
        put("cylinders", self.cylinders.map(Value::from));
        put("valves_per_cylinder", self.valves.map(Value::from));
        put("main_bearings", self.main_bearings.map(Value::from));
        put("bank_split", self.bank_split.clone().map(Value::from));
        match self.count_from.as_deref() {
            None => {}
            Some("free-end") => put("numbering", Some(json!({"by": "from-free-end"}))),
            Some("driving-end") => put("numbering", Some(json!({"by": "iso-1204"}))),
            Some(other) => {
                return Err(Trouble::new(
                    Exit::Usage,
                    "read --count-from",
                    format!("`{other}` is no end; say free-end or driving-end"),
                ));
            }
        }
        if told.is_empty() {
            return Ok(None);
        }
        let missing: Vec<String> = ["arrangement", "cylinders", "fuel", "valve_gear"]
            .into_iter()
            .filter(|key| !told.contains_key(*key))
            .map(|key| format!("--{}", key.replace('_', "-")))
            .collect();
        if !missing.is_empty() {
            return Err(Trouble::new(
                Exit::Usage,
                "describe the engine",
                format!("{} is missing; add it", missing.join(" and ")),
            ));
        }
        serde_json::from_value(Value::Object(told))
            .map(Some)
            .map_err(|e| Trouble::new(Exit::Usage, "describe the engine", format!("{e}; correct the flag")))
    }
}
