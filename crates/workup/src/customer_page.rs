//! What one page for the customer says: what is wrong and how sure, why it failed, the ways side by side, and what is asked.
//!
//! The page is for a repair, or for work beyond it. It is made from a [`Case`] and the question alone, so that the same job
//! gives the same page; what it says of the offer stands once more as [`CustomerPage::facts`], whose hash is the version of
//! the page. Which shop, which day and which chain it comes from are not among them: they do not change what is offered.

use anatomy::Position;
use jiff::civil::Date;
use knowledge::Knowledge;
use logbook::{ApprovalAsked, CauseAnswer, Covers, JobState, ShownFact, page_hash};
use quantity::{Charge, Money, Prices};
use serde::Serialize;

use crate::words::{amount, grouped, of_ten_in_words, sentence, within};
use crate::{Belief, Case, OptionLine, RiskLine, work};

/// How many ways a customer is shown \[target: five or fewer\].
pub const MOST_WAYS: usize = 5;
/// From here on a belief is told \[ours\].
pub const TOLD: f64 = 0.15;
/// How many of them a page tells \[ours\]: what else is believed stands in the report.
const MOST_WRONG: usize = 4;
/// From this chance on a belief counts as nearly sure \[ours\].
const SURE: f64 = 0.9;
/// From this chance on it counts as likely \[ours\].
const LIKELY: f64 = 0.5;

/// What a customer is asked.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Question {
    /// For what: the repair, or work beyond it.
    pub covers: Covers,
    /// The way asked about; left out: the chosen one, else the one that costs least on average.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub option: Option<String>,
    /// The most it may cost, everything included.
    pub ceiling: Money,
    /// The words of the question; left out: the usual ones.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub words: Option<String>,
    /// The day until which an answer is asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub answer_by: Option<Date>,
}

impl Question {
    /// The question of an entry that asked it.
    #[must_use]
    pub fn of(ask: &ApprovalAsked) -> Self {
        Self {
            covers: ask.covers,
            option: ask.option.clone(),
            ceiling: ask.ceiling,
            words: Some(ask.words.clone()),
            answer_by: ask.answer_by,
        }
    }

    /// The usual words.
    fn usual(&self, way: &str) -> String {
        match self.covers {
            Covers::FurtherWork => {
                format!("May we spend up to {} more on this way, all in: {}?", amount(&self.ceiling), within(way))
            }
            Covers::Repair | Covers::Diagnosis | Covers::Teardown => {
                format!("May we go this way: {}? It will cost {} at most, all in.", within(way), amount(&self.ceiling))
            }
        }
    }
}

/// Why there is no page.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PageError {
    /// Nobody has said why the engine failed.
    #[error(
        "why the engine failed is not named, so the repair might not last; name the cause (`cause-named`), or have somebody \
         sign that it is unknown (`cause-unknown-signed`)"
    )]
    CauseUnnamed,
    /// Finding out and taking apart are asked in words.
    #[error(
        "a page asks for a repair or for further work, and this is {covers}; ask for that in words (`approval-asked`)"
    )]
    NotARepair {
        /// For what it was asked.
        covers: String,
    },
    /// There is nothing to ask about.
    #[error("no repair option is open; take a ruled-out option back, or tell prices and rates")]
    NoOption,
    /// The way asked about is none of this engine.
    #[error("no way of this job is called `{option}`; there are {}", .known.join(", "))]
    UnknownOption {
        /// What was asked about.
        option: String,
        /// What there is.
        known: Vec<String>,
    },
    /// The way asked about is ruled out.
    #[error("{option} is ruled out: {why}; choose another way, or take back what rules it out")]
    RuledOut {
        /// Its name.
        option: String,
        /// Why.
        why: String,
    },
    /// Prices are not in money.
    #[error("the prices are not in money, since no hourly rate is told; tell it first (`money-told`)")]
    NoPrice,
    /// The ceiling is in another currency than the prices.
    #[error("the ceiling is in {ceiling} and the prices are in {prices}; ask in {prices}")]
    OtherCurrency {
        /// Of the ceiling.
        ceiling: String,
        /// Of the prices.
        prices: String,
    },
}

/// One thing that is wrong, and how sure that is.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Wrong {
    /// What, and where.
    pub what: String,
    /// Nearly sure, likely or possible.
    pub sure: &'static str,
    /// The chance.
    pub p: f64,
    /// The chance as a customer reads it.
    pub words: String,
}

/// Who bears which risks of a way.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Bears {
    /// Who, as the customer is told: `you`, `we`, `the machine shop`, `the supplier`.
    pub who: String,
    /// What may happen and how far it is borne.
    pub risks: Vec<String>,
}

/// One way to go on.
#[derive(Debug, Clone, Serialize)]
pub struct Way {
    /// The option.
    pub id: String,
    /// Its name; doing nothing is called so.
    pub name: String,
    /// Whether it is the one asked about.
    pub asked: bool,
    /// Whether it costs least on average.
    pub best: bool,
    /// Whether it leaves the engine as it is.
    pub stays: bool,
    /// Why it is ruled out, where it is shown all the same.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ruled_out: Option<String>,
    /// The price now.
    pub price: String,
    /// The same with the tax, where that comes on top of all of it. It follows from the price and the tax, so it is no fact of
    /// its own.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub with_tax: Option<String>,
    /// Days until it is ready.
    pub days: String,
    /// The warranty.
    pub warranty: String,
    /// The chance of running on without trouble; nothing for a way that leaves no car to run.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub runs: Option<String>,
    /// Who bears which risk.
    pub bears: Vec<Bears>,
    /// The row it comes from, for pictures.
    #[serde(skip)]
    pub line: OptionLine,
}

/// Everything that one page says.
#[derive(Debug, Clone, Serialize)]
pub struct CustomerPage {
    /// The job's title.
    pub title: String,
    /// The end of the job's number.
    pub job: String,
    /// The shop's code for the customer.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub customer: Option<String>,
    /// The vehicle in a few words.
    pub vehicle: String,
    /// The engine in words.
    pub engine: String,
    /// What the customer told, in their own words.
    pub told: Vec<String>,
    /// What is wrong, and how sure that is; the engine's own trouble before what was found beside it.
    pub wrong: Vec<Wrong>,
    /// What was found beside the engine.
    pub beside: Vec<String>,
    /// Why it failed: a sentence.
    pub cause: String,
    /// The ways, the one asked about first.
    pub ways: Vec<Way>,
    /// What may move the price of the way asked about.
    pub moves: Vec<String>,
    /// For what the yes is asked.
    pub covers: Covers,
    /// The most it may cost.
    pub ceiling: String,
    /// Whether the way asked about can come to more than the ceiling.
    pub may_pass: bool,
    /// The words of the question.
    pub question: String,
    /// How tax stands to the prices, in a sentence, where that is told.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tax: Option<String>,
    /// The day until which an answer is asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub answer_by: Option<Date>,
    /// The day on which the first quote that it stands on runs out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub prices_until: Option<Date>,
}

/// What a page calls the way that leaves everything as it is.
const NOTHING: &str = "Do nothing for now";

/// Whether an option leaves the engine as it is.
#[must_use]
pub fn stays(option: &str, knowledge: &Knowledge) -> bool {
    work::option(knowledge, option).is_some_and(|known| known.operations.is_empty() && known.keeps_engine)
}

/// Gives the options that a customer is shown side by side, five or fewer: the one asked about, the one that costs least on
/// average and doing nothing are always among them; the cheapest on average of the others fill up. The one asked about leads,
/// the rest stand in the sequence of the case.
#[must_use]
pub fn ways_shown<'c>(case: &'c Case, knowledge: &Knowledge, asked: Option<&str>) -> Vec<&'c OptionLine> {
    let open = |o: &&OptionLine| o.struck_out.is_none();
    let nothing = case.options.iter().find(|o| stays(&o.id, knowledge) && o.struck_out.is_none());
    // Where doing nothing is ruled out, the customer reads why.
    let nothing = nothing.or_else(|| case.options.iter().find(|o| stays(&o.id, knowledge)));
    let asked = asked.and_then(|id| case.options.iter().find(|o| o.id == id));
    let best = case.options.iter().filter(open).find(|o| o.id == case.advice.best);
    let mut shown: Vec<&str> = Vec::new();
    let must = [asked, best, nothing].into_iter().flatten();
    for option in must.chain(case.options.iter().filter(open)) {
        if shown.len() < MOST_WAYS && !shown.contains(&option.id.as_str()) {
            shown.push(&option.id);
        }
    }
    let mut out: Vec<&OptionLine> = case.options.iter().filter(|o| shown.contains(&o.id.as_str())).collect();
    out.sort_by_key(|o| Some(o.id.as_str()) != asked.map(|a| a.id.as_str()));
    out
}

/// Gives the beliefs about conditions that a customer is told, those that readings moved most first.
#[must_use]
pub fn beliefs_told<'c>(case: &'c Case, knowledge: &Knowledge) -> Vec<&'c Belief> {
    let helper = |id: &str| knowledge.condition(id).is_some_and(|c| c.helper);
    let mut told: Vec<&Belief> = case.conditions.iter().filter(|b| b.p >= TOLD && !helper(&b.id)).collect();
    let moved = |b: &Belief| (b.p - b.before).abs() + b.p / 10.0;
    told.sort_by(|a, b| moved(b).total_cmp(&moved(a)));
    told
}

/// How tax stands to the prices of a job, in a sentence for the customer; nothing while that is not told.
#[must_use]
pub fn tax(state: &JobState) -> Option<String> {
    let rates = &state.rates;
    let prices = rates.tax_rules()?.prices;
    let (name, percent) = (rates.tax_word(), rates.tax_percent.as_deref()?.trim().trim_end_matches('%').trim_end());
    let all = taxes_all(state);
    let on: Vec<&str> = rates.taxed.iter().map(|charge| charge.word()).collect();
    Some(match (prices, all) {
        (Prices::WithoutTax, true) => format!("Tax ({name}) of {percent} per cent comes on top of these prices."),
        (Prices::WithoutTax, false) => {
            format!("Tax ({name}) of {percent} per cent comes on top for {}.", on.join(", "))
        }
        (Prices::WithTax, _) => format!("These prices hold the tax ({name}) of {percent} per cent."),
    })
}

/// The price of an option now, low to high and so many times, where it is in money.
fn price(option: &OptionLine, times: f64) -> Option<String> {
    let money = option.money.as_ref()?;
    let [low, high] = money.price.map(|end| end * times);
    Some(if high - low < 0.5 {
        format!("{}\u{a0}{}", money.currency, grouped(low))
    } else {
        format!("{}\u{a0}{} to {}", money.currency, grouped(low), grouped(high))
    })
}

fn days([low, high]: [f64; 2]) -> String {
    match (low.round(), high.round()) {
        (_, high) if high < 0.5 => "no wait".to_owned(),
        (low, high) if low >= high && high < 1.5 => "1 day".to_owned(),
        (low, high) if low >= high => format!("{high:.0} days"),
        (low, high) => format!("{low:.0} to {high:.0} days"),
    }
}

/// Who bears a risk, as the customer is told.
fn bearer(who: &str) -> String {
    match who {
        "customer" => "You".to_owned(),
        "shop" => "We".to_owned(),
        other => sentence(&format!("the {other}")),
    }
}

/// What is told of several places with the same chance is one row.
struct Row<'c> {
    belief: &'c Belief,
    state: String,
    words: String,
    places: Vec<String>,
}

impl<'c> Row<'c> {
    fn of(belief: &'c Belief, one_bank: bool) -> Self {
        // The mildest state comes first and is none to tell of.
        let bad = belief.states.iter().skip(1).max_by(|a, b| a.1.total_cmp(&b.1));
        let state = bad.map_or_else(String::new, |(state, _)| crate::words::words(state));
        // The one bank there is needs no name.
        let nameless = |p: Position| p == Position::Engine || one_bank && matches!(p, Position::Bank(_));
        let named = belief.position.is_some_and(|p| !nameless(p)) && !belief.place.is_empty();
        let places = if named { vec![belief.place.clone()] } else { Vec::new() };
        Self { belief, state, words: of_ten_in_words(belief.p), places }
    }

    /// Name, state and places: `Rod bearing: worn, rod bearing of cylinder 2`, each thing named once.
    fn what(&self) -> String {
        let name = &self.belief.name;
        let state = if self.state.is_empty() { String::new() } else { format!(": {}", self.state) };
        match self.places.as_slice() {
            [] => format!("{name}{state}"),
            [only] if only.to_lowercase().contains(&name.to_lowercase()) => format!("{}{state}", sentence(only)),
            several => format!("{name}{state}, {}", several.join(" and ")),
        }
    }
}

fn wrong(case: &Case, state: &JobState, knowledge: &Knowledge) -> Vec<Wrong> {
    let one_bank = state.layout.as_ref().is_none_or(|l| l.banks().len() < 2);
    let mut rows: Vec<Row<'_>> = Vec::new();
    for belief in beliefs_told(case, knowledge) {
        let row = Row::of(belief, one_bank);
        let same = |r: &&mut Row<'_>| r.belief.id == row.belief.id && r.state == row.state && r.words == row.words;
        match rows.iter_mut().find(same) {
            Some(known) => known.places.extend(row.places),
            None => rows.push(row),
        }
    }
    let sure = |p: f64| match p {
        p if p >= SURE => "Nearly sure",
        p if p >= LIKELY => "Likely",
        _ => "Possible",
    };
    let told = rows.into_iter().take(MOST_WRONG);
    told.map(|row| Wrong { what: row.what(), sure: sure(row.belief.p), p: row.belief.p, words: row.words }).collect()
}

fn cause(state: &JobState, knowledge: &Knowledge) -> Result<String, PageError> {
    match &state.cause {
        None => Err(PageError::CauseUnnamed),
        Some(CauseAnswer::Named(named)) => {
            let name =
                knowledge.cause(&named.cause).map_or_else(|| crate::words::title(&named.cause), |c| c.name.clone());
            let because = named.because.as_ref().map(|b| format!(" What shows it: {b}.")).unwrap_or_default();
            Ok(format!("{name}. {} names it as the cause.{because}", named.by))
        }
        Some(CauseAnswer::UnknownSigned(signed)) => Ok(format!(
            "We do not know why it failed. {} signs for that. It may fail in the same way once more.",
            signed.by
        )),
    }
}

impl CustomerPage {
    /// Gives the page of a question.
    ///
    /// # Errors
    /// [`PageError`]: what is missing before anything may be asked.
    pub fn of(case: &Case, state: &JobState, knowledge: &Knowledge, question: &Question) -> Result<Self, PageError> {
        match question.covers {
            Covers::Repair | Covers::FurtherWork => {}
            Covers::Diagnosis | Covers::Teardown => {
                return Err(PageError::NotARepair { covers: crate::words::words(question.covers.word()) });
            }
        }
        let cause = cause(state, knowledge)?;
        let chosen = state.chosen.as_ref().map(|c| c.option.as_str());
        let asked = question.option.as_deref().or(chosen).unwrap_or(&case.advice.best);
        let line = case.options.iter().find(|o| o.id == asked).ok_or_else(|| {
            if case.options.is_empty() || asked.is_empty() {
                return PageError::NoOption;
            }
            PageError::UnknownOption {
                option: asked.to_owned(),
                known: case.options.iter().map(|o| o.id.clone()).collect(),
            }
        })?;
        if let Some(out) = &line.struck_out {
            return Err(PageError::RuledOut { option: line.name.clone(), why: out.why.clone() });
        }
        let money = line.money.as_ref().ok_or(PageError::NoPrice)?;
        if money.currency != question.ceiling.currency().code() {
            return Err(PageError::OtherCurrency {
                ceiling: question.ceiling.currency().code().to_owned(),
                prices: money.currency.clone(),
            });
        }
        let on_top = state.rates.tax_rules().filter(|rules| rules.prices == Prices::WithoutTax);
        let with_tax = on_top.map(|rules| 1.0 + f64::try_from(rules.rate).unwrap_or(0.0));
        let may_pass = money.price[1] * with_tax.unwrap_or(1.0) > question.ceiling.to_f64() + 0.5;
        let ways: Vec<Way> = ways_shown(case, knowledge, Some(asked))
            .into_iter()
            .filter_map(|o| way(case, knowledge, o, asked, with_tax.filter(|_| taxes_all(state))))
            .collect();
        let name = ways.iter().find(|w| w.asked).map_or_else(|| line.name.clone(), |w| w.name.clone());
        let known = work::option(knowledge, asked);
        let moves = known.into_iter().flat_map(|k| k.goes_wrong.iter().chain(&k.hidden_costs)).map(|m| sentence(m));
        let old = crate::quotes::aged::what_moved(state, knowledge, asked);
        let tail = |text: &str| -> String {
            let skip = text.chars().count().saturating_sub(8);
            text.chars().skip(skip).collect()
        };
        Ok(Self {
            title: case.title.clone(),
            job: tail(&case.job),
            customer: state.customer.clone(),
            vehicle: vehicle(state),
            engine: case.engine.clone(),
            told: state.complaints.iter().map(|c| c.words.clone()).collect(),
            wrong: wrong(case, state, knowledge),
            beside: case.outside.iter().filter(|o| o.state == "found").map(|o| o.name.clone()).collect(),
            cause,
            moves: old.into_iter().chain(moves).collect(),
            covers: question.covers,
            ceiling: amount(&question.ceiling),
            may_pass,
            tax: tax(state),
            question: question.words.clone().unwrap_or_else(|| question.usual(&name)),
            answer_by: question.answer_by,
            prices_until: state.quotes.iter().filter_map(|q| q.valid_until).min(),
            ways,
        })
    }

    /// What the page says of the offer, fact by fact: what its version is made of.
    #[must_use]
    pub fn facts(&self) -> Vec<ShownFact> {
        let mut out = Vec::new();
        let mut say = |what: String, says: &str| out.push(ShownFact { what, says: says.to_owned() });
        for wrong in &self.wrong {
            say(format!("how sure: {}", wrong.what), &wrong.words);
        }
        if !self.beside.is_empty() {
            say("found beside the engine".to_owned(), &self.beside.join("; "));
        }
        say("why it failed".to_owned(), &self.cause);
        for way in &self.ways {
            say(format!("price: {}", way.name), way.ruled_out.as_deref().unwrap_or(&way.price));
            say(format!("days: {}", way.name), &way.days);
            say(format!("warranty: {}", way.name), &way.warranty);
            if let Some(runs) = &way.runs {
                say(format!("runs on without trouble: {}", way.name), runs);
            }
            let bears: Vec<String> = way.bears.iter().map(|b| format!("{}: {}", b.who, b.risks.join("; "))).collect();
            say(format!("who bears which risk: {}", way.name), &bears.join(". "));
        }
        let named = |found: fn(&Way) -> bool| self.ways.iter().find(|w| found(w)).map_or("", |w| w.name.as_str());
        say("the way asked about".to_owned(), named(|w| w.asked));
        say("the way that costs least on average".to_owned(), named(|w| w.best));
        say("what may move the price".to_owned(), &self.moves.join("; "));
        say("what the yes is for".to_owned(), self.covers.word());
        say("the ceiling".to_owned(), &self.ceiling);
        if let Some(tax) = &self.tax {
            say("the tax".to_owned(), tax);
        }
        say("the question".to_owned(), &self.question);
        if let Some(day) = self.answer_by {
            say("answer by".to_owned(), &day.to_string());
        }
        if let Some(day) = self.prices_until {
            say("the first quote runs out".to_owned(), &day.to_string());
        }
        out
    }

    /// The hash of [`CustomerPage::facts`]: two pages with the same one offer the same.
    #[must_use]
    pub fn hash(&self) -> String {
        page_hash(&self.facts())
    }
}

/// Whether every kind of charge of a job is taxed, so that a price is taxed as a whole.
fn taxes_all(state: &JobState) -> bool {
    Charge::ALL.iter().all(|charge| state.rates.taxes(*charge))
}

/// `with_tax`: how many times the price is to be paid with the tax, where it comes on top of all of it.
fn way(case: &Case, knowledge: &Knowledge, line: &OptionLine, asked: &str, with_tax: Option<f64>) -> Option<Way> {
    let nothing = stays(&line.id, knowledge);
    let bears = RiskLine::by_bearer(&line.risks).into_iter().map(|(who, risks)| Bears {
        who: bearer(who),
        risks: risks.into_iter().map(|risk| sentence(&risk.in_words())).collect(),
    });
    Some(Way {
        id: line.id.clone(),
        name: if nothing { NOTHING.to_owned() } else { line.name.clone() },
        asked: line.id == asked,
        best: line.id == case.advice.best,
        stays: nothing,
        ruled_out: line.struck_out.as_ref().map(|out| out.why.clone()),
        price: price(line, 1.0)?,
        with_tax: with_tax.and_then(|times| price(line, times)),
        days: days(line.days),
        warranty: sentence(&line.warranty),
        runs: line.p_trouble_free.map(of_ten_in_words),
        bears: bears.collect(),
        line: line.clone(),
    })
}

/// The vehicle in a few words.
fn vehicle(state: &JobState) -> String {
    let v = &state.vehicle;
    let mut parts: Vec<String> = [&v.make, &v.model].into_iter().flatten().cloned().collect();
    parts.extend(v.year.map(|y| y.to_string()));
    let mut out = vec![parts.join(" ")];
    out.extend(v.plate.as_ref().map(|plate| format!("plate {plate}")));
    out.retain(|part| !part.is_empty());
    out.join(", ")
}
