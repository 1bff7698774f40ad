//! `page` and `answer`: the customer's page as one file, and the answer that comes back by its code.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use clap::Args;
use documents::customer_page::{Leaf, file};
use knowledge::Knowledge;
use logbook::{AnswerCode, ApprovalAsked, ApprovalGiven, ApprovalRefused, Channel, Covers, EntryBody, Fact};
use quantity::{Money, MoneyReply, parse_money};
use serde_json::json;
use store::Store;
use workup::asking::{self, NoRequest, Standing};
use workup::customer_page::{CustomerPage, PageError, Question};
use workup::words::amount;

use super::enter;
use crate::desk::{Desk, Job, TakenUp, entry, is_path, tail, write_file};
use crate::surroundings;
use crate::trouble::{Done, Exit, Trouble};

/// Makes the page that a customer answers: one HTML file that opens without an account, a script or a network.
///
/// Making it to be sent asks for a yes (`approval-asked`) and gives the page a short code; asked for again while nothing on
/// it has changed, it is the same page with the same code. The answer comes back with `witnessmark answer CODE`.
#[derive(Debug, Args)]
pub(crate) struct Page {
    /// The job; for a look also a logbook file.
    job: String,
    /// The file to write.
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// The most it may cost, everything included, such as `EUR 2900`; left out: the request that waits is written again.
    #[arg(long, value_name = "AMOUNT")]
    ceiling: Option<String>,
    /// For what: repair or further-work.
    #[arg(long, value_name = "WHAT", default_value = "repair")]
    covers: String,
    /// The way asked about [default: the chosen one, else the one that costs least on average].
    #[arg(long, value_name = "OPTION")]
    option: Option<String>,
    /// The words of the question [default: the usual ones].
    #[arg(long, value_name = "TEXT")]
    words: Option<String>,
    /// The day until which an answer is asked for.
    #[arg(long, value_name = "DATE")]
    answer_by: Option<String>,
    /// Only a look: no code, and nothing is written down.
    #[arg(long)]
    look: bool,
    /// The shop as it stands above the page.
    #[arg(long, value_name = "NAME")]
    shop: Option<String>,
    /// Writes over a file that is there.
    #[arg(long)]
    force: bool,
    /// Who asks [default: the person logged in].
    #[arg(long)]
    by: Option<String>,
}

/// Keeps the answer to a customer page, by the code that the customer gives.
#[derive(Debug, Args)]
#[command(group = clap::ArgGroup::new("answer").required(true).args(["yes", "no"]))]
pub(crate) struct Answer {
    /// The code as it was read out; hyphens, blanks and small letters do not matter.
    code: String,
    /// The customer said yes.
    #[arg(long)]
    yes: bool,
    /// The customer said no.
    #[arg(long)]
    no: bool,
    /// The most it may cost, as the customer said [default: what the page asked for].
    #[arg(long, value_name = "AMOUNT", conflicts_with = "no")]
    ceiling: Option<String>,
    /// Who said so.
    #[arg(long, value_name = "WHO")]
    who: String,
    /// How it came: in-person, telephone, message, paper or page.
    #[arg(long, value_name = "HOW")]
    how: String,
    /// The exact words.
    #[arg(long, value_name = "TEXT")]
    words: String,
    /// Who writes it down [default: the person logged in].
    #[arg(long)]
    by: Option<String>,
}

const MAKING: &str = "make the customer page";
const ANSWERING: &str = "keep the answer";

fn money(text: &str, job: &Job, doing: &str) -> Result<Money, Trouble> {
    let usual = job.state.rates.labour_rate.as_ref().map(Money::currency);
    match parse_money(text, usual) {
        Ok(MoneyReply::Value(money)) => Ok(money),
        Ok(MoneyReply::Question { ask, .. }) => Err(Trouble::new(Exit::Usage, doing, ask)),
        Err(error) => Err(Trouble::new(Exit::Usage, doing, error)),
    }
}

fn word<T: Copy>(doing: &str, what: &str, text: &str, all: &[T], of: impl Fn(T) -> &'static str) -> Result<T, Trouble> {
    all.iter().copied().find(|one| of(*one) == text).ok_or_else(|| {
        let known: Vec<&str> = all.iter().map(|one| of(*one)).collect();
        Trouble::new(Exit::Usage, doing, format!("`{text}` is no {what}; choose from {}", known.join(", ")))
    })
}

fn not_made(error: &PageError) -> Trouble {
    let exit = match error {
        PageError::NotARepair { .. } | PageError::OtherCurrency { .. } => Exit::Usage,
        PageError::UnknownOption { .. } => Exit::NotFound,
        PageError::CauseUnnamed | PageError::NoOption | PageError::RuledOut { .. } | PageError::NoPrice => {
            Exit::Refused
        }
    };
    Trouble::new(exit, MAKING, error)
}

/// Refuses early where the file could not be written later.
fn ensure_room(path: &Path, force: bool) -> Result<(), Trouble> {
    if path.is_file() && !force {
        let why = "it is there already; choose another name, or say --force";
        return Err(Trouble::new(Exit::Conflict, format!("write {}", path.display()), why));
    }
    if path.is_dir() {
        return Err(Trouble::new(Exit::Usage, format!("write {}", path.display()), "it is a folder; name a file"));
    }
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
    match folder {
        Some(folder) if !folder.is_dir() => {
            let why = "its folder is not there; make it first, or choose another place";
            Err(Trouble::new(Exit::NotFound, format!("write {}", path.display()), why))
        }
        Some(_) | None => Ok(()),
    }
}

impl Page {
    /// The question as typed; the ceiling of a look that names none is the high end of the price.
    fn question(&self, job: &Job, ceiling: Money) -> Result<Question, Trouble> {
        let covers =
            word(MAKING, "thing a page asks for", &self.covers, &[Covers::Repair, Covers::FurtherWork], Covers::word)?;
        let day = |text: &String| {
            text.parse::<jiff::civil::Date>().map_err(|e| {
                Trouble::new(Exit::Usage, format!("read the date `{text}`"), format!("{e}; write it as 2026-02-24"))
            })
        };
        let answer_by = self.answer_by.as_ref().map(day).transpose()?;
        if let Some(day) = answer_by.filter(|day| *day < surroundings::today()) {
            return Err(Trouble::new(Exit::Usage, MAKING, format!("{day} is over; name a day to come")));
        }
        if self.words.as_ref().is_some_and(|words| words.trim().is_empty()) {
            return Err(Trouble::new(Exit::Usage, MAKING, "--words is empty; say the question, or leave it out"));
        }
        let option = self.option.clone().or_else(|| job.state.chosen.as_ref().map(|c| c.option.clone()));
        Ok(Question { covers, option, ceiling, words: self.words.clone(), answer_by })
    }

    pub(crate) async fn run(self, desk: &Desk) -> Done {
        ensure_room(&self.out, self.force)?;
        let knowledge = desk.knowledge()?;
        if self.look {
            return self.look_at(desk, &knowledge).await;
        }
        if is_path(&self.job) {
            let why =
                "a page that is sent asks for a yes, and that is kept in the record; import the logbook, or say --look";
            return Err(Trouble::new(Exit::Usage, MAKING, why));
        }
        let taken = desk.take_up(&self.job).await?;
        let case = desk.case(&taken.job.state, &knowledge)?;
        let state = &taken.job.state;
        let today = surroundings::today();
        let covers =
            word(MAKING, "thing a page asks for", &self.covers, &[Covers::Repair, Covers::FurtherWork], Covers::word)?;
        let standing = |ask: &Fact<ApprovalAsked>| asking::standing(state, &knowledge, Some(&case), ask, today);
        let asks = || state.approvals_asked.iter().rev().filter(|a| a.covers == covers && a.code.is_some());
        let holds = |ask: &&Fact<ApprovalAsked>| matches!(standing(ask), Standing::Open | Standing::Overdue { .. });
        let Some(ceiling) = &self.ceiling else {
            return match asks().find(holds) {
                Some(ask) => self.again(desk, &knowledge, &taken, ask).await,
                None => {
                    Err(self.nothing_waits(asks().next().map(|ask| (ask, standing(ask))), &taken, &knowledge, &case))
                }
            };
        };
        let question = self.question(&taken.job, money(ceiling, &taken.job, MAKING)?)?;
        let page = CustomerPage::of(&case, state, &knowledge, &question).map_err(|e| not_made(&e))?;
        let hash = page.hash();
        if let Some(ask) = asks().filter(holds).find(|ask| ask.page.as_deref() == Some(&hash)) {
            return self.again(desk, &knowledge, &taken, ask).await;
        }
        let mut codes = BTreeSet::new();
        for kept in taken.store.jobs().await? {
            codes.extend(asking::codes(&desk.load(&taken.store, kept.job).await?.state).map(str::to_owned));
        }
        let body = EntryBody::ApprovalAsked(asking::asked(taken.id, &page, &question, Channel::Page, &codes));
        let unsealed = entry(taken.id, self.by.as_deref(), &body)?;
        let id = unsealed.id;
        enter::allowed(&knowledge, &taken, &unsealed, Some(&case))?;
        if !desk.keep_after(&taken, &[unsealed]).await? {
            let why = "another shop wrote into the job meanwhile; do this again, and the page shows it";
            return Err(Trouble::new(Exit::Conflict, MAKING, why));
        }
        let job = desk.load(&taken.store, taken.id).await?;
        let kept = job.state.approvals_asked.iter().find(|a| a.in_entry == id).cloned();
        let kept = kept.ok_or_else(|| {
            Trouble::new(Exit::Storage, MAKING, "the record does not show it; run `witnessmark verify`")
        })?;
        taken.store.close().await;
        self.write(desk, &job, &page, &kept, true)
    }

    /// Writes a request that waits once more.
    async fn again(&self, desk: &Desk, knowledge: &Knowledge, taken: &TakenUp, ask: &Fact<ApprovalAsked>) -> Done {
        let case = desk.case(&taken.job.state, knowledge)?;
        let page =
            CustomerPage::of(&case, &taken.job.state, knowledge, &Question::of(ask)).map_err(|e| not_made(&e))?;
        self.write(desk, &taken.job, &page, ask, false)
    }

    fn nothing_waits(
        &self,
        last: Option<(&Fact<ApprovalAsked>, Standing)>,
        taken: &TakenUp,
        knowledge: &Knowledge,
        case: &workup::Case,
    ) -> Trouble {
        if let Some((ask, standing @ Standing::Void { .. })) = &last {
            let code = ask.code.as_deref().map(asking::shown).unwrap_or_default();
            let why = format!("the request {code} is {}; ask again, with --ceiling", standing.in_words());
            return Trouble::new(Exit::Refused, MAKING, why);
        }
        // What stands in the way of any page is said before the ceiling is asked for.
        let zero = case
            .options
            .iter()
            .find_map(|o| o.money.as_ref())
            .and_then(|m| money(&format!("{} 0", m.currency), &taken.job, MAKING).ok());
        let page = match zero.map(|zero| self.question(&taken.job, zero)) {
            Some(Ok(question)) => CustomerPage::of(case, &taken.job.state, knowledge, &question),
            Some(Err(trouble)) => return trouble,
            None => Err(if case.options.is_empty() { PageError::NoOption } else { PageError::NoPrice }),
        };
        match page {
            Err(error) => not_made(&error),
            Ok(page) => {
                let way = page.ways.iter().find(|way| way.asked);
                let price = way.map(|way| format!("{} costs {} now", way.name, way.price)).unwrap_or_default();
                let why = format!("no request waits, so say the most it may cost with --ceiling; {price}");
                Trouble::new(Exit::Usage, MAKING, why)
            }
        }
    }

    /// Writes the file, and says where it is and under which code.
    fn write(&self, desk: &Desk, job: &Job, page: &CustomerPage, ask: &Fact<ApprovalAsked>, new: bool) -> Done {
        let code = ask.code.as_deref().and_then(|code| AnswerCode::read(code).ok());
        let issued = surroundings::day_of(ask.made_at).to_string();
        // Written again it has the same bytes: it carries the chain as it was when it was asked.
        let asked = job.entries.iter().find(|entry| entry.id() == ask.in_entry);
        let tail = asked.map_or_else(|| job.tail(), |entry| tail(entry.hash()));
        let knowledge = desk.knowledge()?;
        let shop = self.shop.as_deref().or(knowledge.shop_name());
        let leaf = Leaf { shop, code: code.as_ref(), issued: &issued, chain_tail: &tail };
        let shown = code.as_ref().map(AnswerCode::grouped).unwrap_or_default();
        write_file(&self.out, &file(page, &leaf), self.force).map_err(|trouble| match trouble {
            Trouble::Said { exit, doing, why } => Trouble::Said {
                exit,
                doing,
                why: format!("{why}; it is asked under the code {shown}, and `page` without --ceiling writes it again"),
            },
            silent @ (Trouble::Silent(_) | Trouble::NobodyReads) => silent,
        })?;
        let t = &desk.talk;
        if t.json() {
            t.answer(&json!({"file": self.out.display().to_string(), "code": shown, "page": ask.page, "asked": ask.in_entry.to_string(),
                "new": new, "ceiling": ask.ceiling, "answer_by": ask.answer_by, "tail": tail}))?;
            return Ok(Exit::Fine);
        }
        let by = ask.answer_by.map(|day| format!(", answer by {day}")).unwrap_or_default();
        let word = if new { "asked" } else { "asked before, and nothing on it has changed" };
        t.line(&format!("{}: code {shown}, up to {}{by}; {word}", self.out.display(), amount(&ask.ceiling)), 2)?;
        t.say("witnessmark: send the file; it holds no link, since the bench answers the shop's own devices only. The answer comes by voice or message, with the code");
        Ok(Exit::Fine)
    }

    /// A page without a code, for a look.
    async fn look_at(&self, desk: &Desk, knowledge: &Knowledge) -> Done {
        let job = desk.job(&self.job).await?;
        let case = desk.case(&job.state, knowledge)?;
        let asked = self.option.as_deref().or(job.state.chosen.as_ref().map(|c| c.option.as_str()));
        let asked = asked.unwrap_or(&case.advice.best);
        let high = case.options.iter().find(|o| o.id == asked).and_then(|o| o.money.as_ref());
        let ceiling = match (&self.ceiling, high) {
            (Some(text), _) => money(text, &job, MAKING)?,
            (None, Some(m)) => money(&format!("{} {:.0}", m.currency, m.price[1].ceil()), &job, MAKING)?,
            (None, None) => return Err(not_made(&PageError::NoPrice)),
        };
        let question = self.question(&job, ceiling)?;
        let page = CustomerPage::of(&case, &job.state, knowledge, &question).map_err(|e| not_made(&e))?;
        let issued = surroundings::today().to_string();
        let tail = job.tail();
        let shop = self.shop.as_deref().or(knowledge.shop_name());
        let leaf = Leaf { shop, code: None, issued: &issued, chain_tail: &tail };
        write_file(&self.out, &file(&page, &leaf), self.force)?;
        let t = &desk.talk;
        if t.json() {
            t.answer(&json!({"file": self.out.display().to_string(), "code": null, "page": page.hash()}))?;
        } else {
            t.line(&format!("{}: a look, without a code; nothing is asked yet", self.out.display()), 2)?;
        }
        Ok(Exit::Fine)
    }
}

impl Answer {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        let how = word(ANSWERING, "way an answer comes", &self.how, Channel::ALL, Channel::word)?;
        let store = desk.look().await?;
        let mut jobs = Vec::new();
        for kept in store.jobs().await? {
            jobs.push(desk.load(&store, kept.job).await?);
        }
        store.close().await;
        let found = asking::meant(&self.code, jobs.iter().map(|job| &job.state), surroundings::today());
        let (state, ask) = found.map_err(|why| {
            let exit = match why {
                NoRequest::NoCode { .. } => Exit::Usage,
                NoRequest::Unknown { .. } => Exit::NotFound,
            };
            Trouble::new(exit, ANSWERING, why)
        })?;
        let job = state.job.map(|job| job.to_string()).unwrap_or_default();
        let knowledge = desk.knowledge()?;
        let taken = desk.take_up(&job).await?;
        let (asked, page, who, words) = (Some(ask.in_entry), ask.page.clone(), self.who.clone(), self.words.clone());
        for (name, text) in [("who", &who), ("words", &words)] {
            if text.trim().is_empty() {
                return Err(Trouble::new(Exit::Usage, ANSWERING, format!("--{name} is empty; say it as it was")));
            }
        }
        let body = if self.yes {
            let ceiling = self.ceiling.as_ref().map(|text| money(text, &taken.job, ANSWERING)).transpose()?;
            let ceiling = ceiling.unwrap_or(ask.ceiling);
            EntryBody::ApprovalGiven(ApprovalGiven { ceiling, covers: ask.covers, who, how, words, page, asked })
        } else {
            let option = ask.option.clone();
            EntryBody::ApprovalRefused(ApprovalRefused { covers: ask.covers, who, how, words, option, asked, page })
        };
        let before = desk.case(&taken.job.state, &knowledge).ok();
        let unsealed = entry(taken.id, self.by.as_deref(), &body)?;
        let about = unsealed.id;
        let said = if self.yes { "kept the yes" } else { "kept the no" };
        enter::keep(desk, &knowledge, taken, before, unsealed, about, said).await
    }
}
