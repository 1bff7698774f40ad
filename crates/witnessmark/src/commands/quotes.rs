//! `quotes`: what was quoted, need by need, side by side; out into a table, and in from a price list.

use std::path::PathBuf;

use clap::{Args, Subcommand};
use knowledge::Knowledge;
use logbook::{EntryBody, JobState, QuoteReceived};
use serde_json::json;
use workup::price_list::{self as list, table};
use workup::quotes::{Need, Offer, by_need};

use crate::desk::{Desk, read_text, write_file};
use crate::surroundings;
use crate::trouble::{Done, Exit, Trouble};

/// Quotes of a job side by side; in from a price list, out as a table.
#[derive(Debug, Args)]
pub(crate) struct Quotes {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// What was quoted, need by need, the cheapest that holds first.
    Show {
        /// The job.
        job: String,
    },
    /// Writes the quotes as a CSV table.
    Export {
        /// The job.
        job: String,
        /// The file; left out: standard output.
        #[arg(long)]
        out: Option<PathBuf>,
        /// Writes over a file that is there.
        #[arg(long)]
        force: bool,
    },
    /// Reads quotes out of a price list; says what it would take, and takes it with `--keep`.
    Import(Box<Import>),
}

/// Reads quotes out of a price list.
#[derive(Debug, Args)]
struct Import {
    /// The job.
    job: String,
    /// A CSV file with a heading.
    file: PathBuf,
    /// Whose list it is, where no column says so.
    #[arg(long)]
    supplier: Option<String>,
    /// The currency of bare amounts [default: that of the job's rate].
    #[arg(long)]
    currency: Option<String>,
    /// Days until it is here, at best and at worst, where no column says so: `2..5`.
    #[arg(long)]
    days: Option<String>,
    /// Which column is which, where its heading does not say it: `price=Net each`.
    #[arg(long, value_name = "WHAT=HEADING")]
    column: Vec<String>,
    /// Which row is for which need, where no column says so: `head_gasket=words in the row`.
    #[arg(long, value_name = "NEED=WORDS")]
    take: Vec<String>,
    /// Keeps what was found; left out: it is only shown.
    #[arg(long)]
    keep: bool,
    /// Who [default: the person logged in].
    #[arg(long)]
    by: Option<String>,
}

impl Quotes {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        match self.what {
            What::Show { job } => show(desk, &job).await,
            What::Export { job, out, force } => export(desk, &job, out.as_deref(), force).await,
            What::Import(import) => import.run(desk).await,
        }
    }
}

async fn show(desk: &Desk, job: &str) -> Done {
    let knowledge = desk.knowledge()?;
    let taken = desk.take_up(job).await?;
    let state = &taken.job.state;
    let needs = by_need(state, &knowledge, surroundings::today());
    let t = &desk.talk;
    if t.json() {
        t.answer(&needs.iter().map(|need| in_json(state, &knowledge, need)).collect::<Vec<_>>())?;
    } else if needs.is_empty() {
        t.line("No quote yet.", 0)?;
    } else {
        for need in &needs {
            t.heading(&list::need_name(state, &knowledge, need.id).to_uppercase())?;
            for offer in &need.offers {
                t.line(&format!("  {}", in_words(offer)), 4)?;
            }
        }
    }
    taken.store.close().await;
    Ok(Exit::Fine)
}

fn in_words(offer: &Offer<'_>) -> String {
    let q = offer.quote;
    let mut out = match (&q.freight, offer.together) {
        (Some(freight), Some(together)) => format!("{}: {together} with {freight} freight", q.supplier),
        (Some(freight), None) => format!("{}: {} and {freight} freight", q.supplier, q.price),
        (None, _) => format!("{}: {}, no freight told", q.supplier, q.price),
    };
    let [best, worst] = q.lead_days;
    out.push_str(&if best == worst { format!("; {best} days") } else { format!("; {best} to {worst} days") });
    if let Some(deposit) = &q.core_deposit {
        out.push_str(&format!("; deposit {deposit}"));
    }
    match (q.warranty_months, &q.warranty) {
        (Some(months), _) => out.push_str(&format!("; {months} months warranty")),
        (None, Some(words)) => out.push_str(&format!("; warranty {words}")),
        (None, None) => {}
    }
    if !q.includes.is_empty() {
        out.push_str(&format!("; with {}", q.includes.join(", ")));
    }
    out.push_str(&format!("; {}", offer.holds.words()));
    if let Some(aged) = &offer.aged {
        out.push_str(&format!("; {}", aged.words(q.price)));
    }
    for (said, is) in [("cheapest", offer.cheapest), ("soonest", offer.soonest), ("taken up", offer.taken)] {
        if is {
            out.push_str(&format!("; {said}"));
        }
    }
    out
}

fn in_json(state: &JobState, knowledge: &Knowledge, need: &Need<'_>) -> serde_json::Value {
    let offers: Vec<_> = need
        .offers
        .iter()
        .map(|o| {
            json!({
                "entry": o.quote.in_entry.to_string(), "quote": o.quote.body, "together": o.together,
                "holds": o.holds.words(), "carried": o.aged.map(|aged| aged.words(o.quote.price)), "cheapest": o.cheapest, "soonest": o.soonest, "taken": o.taken,
            })
        })
        .collect();
    json!({"for": need.id, "name": list::need_name(state, knowledge, need.id), "whole": need.whole, "offers": offers})
}

async fn export(desk: &Desk, job: &str, out: Option<&std::path::Path>, force: bool) -> Done {
    let taken = desk.take_up(job).await?;
    let written = table(taken.job.state.quotes.iter().map(|quote| &quote.body))
        .map_err(|error| Trouble::new(Exit::Refused, "write the quotes as a table", error))?;
    taken.store.close().await;
    match out {
        Some(path) => {
            write_file(path, &written, force)?;
            desk.talk.say(&format!(
                "witnessmark: {} quotes written to {}",
                taken.job.state.quotes.len(),
                path.display()
            ));
        }
        None => desk.talk.bytes(&written)?,
    }
    Ok(Exit::Fine)
}

/// The quotes of a price list whose columns say everything; nobody says anything beside it.
pub(crate) fn listed(text: &str, knowledge: &Knowledge) -> Result<Vec<QuoteReceived>, String> {
    let told = list::Told {
        supplier: None,
        currency: None,
        days: None,
        way: list::Way::Command,
        columns: Vec::new(),
        takes: Vec::new(),
    };
    Ok(list::read(text, &told, knowledge)?.quotes.into_iter().map(|(_, quote)| quote).collect())
}

impl Import {
    async fn run(self, desk: &Desk) -> Done {
        let doing = format!("read quotes from {}", self.file.display());
        let knowledge = desk.knowledge()?;
        let text = read_text(&self.file)?;
        let taken = desk.take_up(&self.job).await?;
        let refuse = |why: String| Trouble::new(Exit::Refused, doing.clone(), why);
        let currency = match &self.currency {
            Some(code) => Some(list::currency(code).map_err(&refuse)?),
            None => taken.job.state.rates.labour_rate.map(|rate| rate.currency()),
        };
        let told = list::Told {
            supplier: self.supplier.as_deref(),
            currency,
            way: list::Way::Command,
            days: self.days.as_deref().map(list::days).transpose().map_err(&refuse)?,
            columns: list::pairs(&self.column).map_err(&refuse)?,
            takes: list::pairs(&self.take).map_err(&refuse)?,
        };
        let read = list::read(&text, &told, &knowledge).map_err(&refuse)?;
        let t = &desk.talk;
        if t.json() {
            t.answer(&json!({"found": read.quotes.iter().map(|(_, q)| q).collect::<Vec<_>>(), "left": read.left, "kept": self.keep}))?;
        } else {
            for (row, quote) in &read.quotes {
                let id = quote.need.as_deref().or(quote.option.as_deref()).unwrap_or_default();
                let name = list::need_name(&taken.job.state, &knowledge, id);
                t.line(&format!("line {row}: {name}, {} from {}", quote.price, quote.supplier), 4)?;
            }
            let rows = if read.left == 1 { "1 row is" } else { &format!("{} rows are", read.left) };
            t.line(&format!("{rows} for no need of this job; `--take NEED=WORDS` names one"), 2)?;
        }
        taken.store.close().await;
        if !self.keep {
            if !read.quotes.is_empty() {
                t.say("witnessmark: nothing is kept yet; the same with --keep keeps it");
            }
            return Ok(Exit::Fine);
        }
        for (_, quote) in read.quotes {
            let taken = desk.take_up(&self.job).await?;
            super::tell::keep(desk, &knowledge, taken, self.by.as_deref(), &EntryBody::QuoteReceived(quote)).await?;
        }
        Ok(Exit::Fine)
    }
}
