//! Questions for a yes: which of them still hold, which request a code means, and which answers are taken.
//!
//! A request that showed a page holds as long as the same page would be made today. Where it would not, it is void, and what
//! has changed since is named; a yes to it is refused, and the next move is to ask again.

use std::collections::BTreeSet;

use anatomy::{EntryId, JobId};
use jiff::civil::Date;
use knowledge::Knowledge;
use logbook::{AnswerCode, ApprovalAsked, CodeError, Covers, EntryBody, Fact, JobState, ShownFact};
use serde::Serialize;

use crate::Case;
use crate::customer_page::{CustomerPage, Question};
use crate::entering::{NotTaken, Rule};
use crate::words::amount;

/// One thing that a page would say otherwise today.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Change {
    /// Of what it speaks.
    pub what: String,
    /// What the page said; none where it said nothing of it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub was: Option<String>,
    /// What it would say now; none where it would say nothing of it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub is: Option<String>,
}

impl Change {
    /// The change in a few words.
    #[must_use]
    pub fn in_words(&self) -> String {
        match (&self.was, &self.is) {
            (Some(was), Some(is)) => format!("{}, from “{was}” to “{is}”", self.what),
            (Some(was), None) => format!("{}, which was “{was}”, is no longer shown", self.what),
            (None, Some(is)) => format!("{}: {is}", self.what),
            (None, None) => self.what.clone(),
        }
    }
}

/// Whether a request still holds.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "is")]
pub enum Standing {
    /// It waits for an answer.
    Open,
    /// It waits for an answer, and the day until which one was asked for is over.
    Overdue {
        /// That day.
        answer_by: Date,
    },
    /// It was answered.
    Answered {
        /// By which entry.
        by: EntryId,
        /// With a yes.
        yes: bool,
    },
    /// It was asked again since.
    AskedAgain {
        /// By which entry.
        by: EntryId,
        /// Under which code, where it has one.
        #[serde(skip_serializing_if = "Option::is_none")]
        code: Option<String>,
    },
    /// What it shows has changed.
    Void {
        /// What has.
        changed: Vec<Change>,
    },
    /// Whether what it shows still holds is not worked yet.
    NotWorked,
}

impl Standing {
    /// Whether somebody still has to do something about it.
    #[must_use]
    pub const fn waits(&self) -> bool {
        match self {
            Self::Open | Self::Overdue { .. } | Self::Void { .. } | Self::NotWorked => true,
            Self::Answered { .. } | Self::AskedAgain { .. } => false,
        }
    }

    /// How it stands, in a few words.
    #[must_use]
    pub fn in_words(&self) -> String {
        match self {
            Self::Open => "waits for an answer".to_owned(),
            Self::Overdue { answer_by } => format!("overdue, an answer was asked for by {answer_by}"),
            Self::Answered { yes: true, .. } => "answered with yes".to_owned(),
            Self::Answered { yes: false, .. } => "answered with no".to_owned(),
            Self::AskedAgain { code: Some(code), .. } => format!("asked again since, under the code {}", shown(code)),
            Self::AskedAgain { code: None, .. } => "asked again since".to_owned(),
            Self::Void { changed } => format!("void, because what it shows has changed: {}", in_words(changed)),
            Self::NotWorked => "waits for an answer; whether what it shows still holds is being worked".to_owned(),
        }
    }
}

/// How many changes are named in a line \[ours\]; the others are counted.
const NAMED: usize = 3;

fn in_words(changed: &[Change]) -> String {
    let mut named: Vec<String> = changed.iter().take(NAMED).map(Change::in_words).collect();
    if changed.len() > NAMED {
        named.push(format!("and {} more", changed.len() - NAMED));
    }
    named.join("; ")
}

/// A code as it is kept, in the form in which it is read out.
#[must_use]
pub fn shown(code: &str) -> String {
    AnswerCode::read(code).map_or_else(|_| code.to_owned(), |code| code.grouped())
}

/// What has changed between two versions of a page.
#[must_use]
pub fn changes(was: &[ShownFact], is: &[ShownFact]) -> Vec<Change> {
    let find = |list: &[ShownFact], what: &str| list.iter().find(|f| f.what == what).map(|f| f.says.clone());
    let gone_or_other = was.iter().filter_map(|fact| {
        let now = find(is, &fact.what);
        let change = Change { what: fact.what.clone(), was: Some(fact.says.clone()), is: now };
        (change.was != change.is).then_some(change)
    });
    let new = is.iter().filter(|fact| find(was, &fact.what).is_none());
    let new = new.map(|fact| Change { what: fact.what.clone(), was: None, is: Some(fact.says.clone()) });
    // A price is what people ask for first.
    let mut all: Vec<Change> = gone_or_other.chain(new).collect();
    all.sort_by_key(|change| (!change.what.starts_with("price: "), change.was.is_none() || change.is.is_none()));
    if all.is_empty() && was != is {
        all.push(Change { what: "the sequence in which it is shown".to_owned(), was: None, is: None });
    }
    all
}

/// The entry that answered a question, and whether with yes; of several the last one.
#[must_use]
pub fn answer(state: &JobState, ask: &Fact<ApprovalAsked>) -> Option<(EntryId, bool)> {
    let same = |asked: Option<EntryId>, covers: Covers, entry: EntryId| {
        asked == Some(ask.in_entry) || (asked.is_none() && covers == ask.covers && entry > ask.in_entry)
    };
    let yes = state.approvals.iter().filter(|a| same(a.asked, a.covers, a.in_entry)).map(|a| (a.in_entry, true));
    let no = state.refusals.iter().filter(|r| same(r.asked, r.covers, r.in_entry)).map(|r| (r.in_entry, false));
    yes.chain(no).max()
}

/// A later question for the repair takes the place of an earlier one that showed a page; further works stand beside each other.
fn asked_again(state: &JobState, ask: &Fact<ApprovalAsked>) -> Option<Standing> {
    if ask.shown.is_empty() || ask.covers != Covers::Repair {
        return None;
    }
    let later = state.approvals_asked.iter().rfind(|a| a.covers == ask.covers && a.in_entry > ask.in_entry)?;
    Some(Standing::AskedAgain { by: later.in_entry, code: later.code.clone() })
}

/// What has changed since a request that showed a page; nothing where the same page would be made today. `case` is the work-up
/// of the job as it stands, none where it cannot be worked up.
#[must_use]
pub fn changed(state: &JobState, knowledge: &Knowledge, case: Option<&Case>, ask: &ApprovalAsked) -> Vec<Change> {
    let impossible =
        |why: String| vec![Change { what: "the page cannot be made any more".to_owned(), was: None, is: Some(why) }];
    let Some(case) = case else { return impossible("the job cannot be worked up".to_owned()) };
    match CustomerPage::of(case, state, knowledge, &Question::of(ask)) {
        Ok(page) => changes(&ask.shown, &page.facts()),
        Err(error) => impossible(error.to_string()),
    }
}

/// How a request stands on a day, as far as the entries tell: [`Standing::NotWorked`] where that hangs on the work-up.
#[must_use]
pub fn standing_without_case(state: &JobState, ask: &Fact<ApprovalAsked>, today: Date) -> Standing {
    if let Some((by, yes)) = answer(state, ask) {
        return Standing::Answered { by, yes };
    }
    if let Some(again) = asked_again(state, ask) {
        return again;
    }
    if !ask.shown.is_empty() {
        return Standing::NotWorked;
    }
    waiting(ask, today)
}

fn waiting(ask: &ApprovalAsked, today: Date) -> Standing {
    match ask.answer_by.filter(|day| *day < today) {
        Some(answer_by) => Standing::Overdue { answer_by },
        None => Standing::Open,
    }
}

/// How a request stands on a day. `case` as for [`changed`].
#[must_use]
pub fn standing(
    state: &JobState,
    knowledge: &Knowledge,
    case: Option<&Case>,
    ask: &Fact<ApprovalAsked>,
    today: Date,
) -> Standing {
    let known = standing_without_case(state, ask, today);
    if known != Standing::NotWorked {
        return known;
    }
    let changed = changed(state, knowledge, case, ask);
    if changed.is_empty() { waiting(ask, today) } else { Standing::Void { changed } }
}

/// The questions that wait for something to be done, the earliest first.
#[must_use]
pub fn waiting_for_answer(state: &JobState, today: Date) -> Vec<&Fact<ApprovalAsked>> {
    state.approvals_asked.iter().filter(|ask| standing_without_case(state, ask, today).waits()).collect()
}

/// Every code that a job has used.
pub fn codes(state: &JobState) -> impl Iterator<Item = &str> {
    state.approvals_asked.iter().filter_map(|ask| ask.code.as_deref())
}

/// Gives a code for a page of a job that none of the codes of the store is.
#[must_use]
pub fn new_code(job: JobId, page: &str, taken: &BTreeSet<String>) -> AnswerCode {
    let mut attempt = 0;
    loop {
        let code = AnswerCode::of(job, page, attempt);
        if !taken.contains(code.as_str()) {
            return code;
        }
        attempt += 1;
    }
}

/// The question as an entry, with its page: its version, its code, and what it showed.
#[must_use]
pub fn asked(
    job: JobId,
    page: &CustomerPage,
    question: &Question,
    how: logbook::Channel,
    taken: &BTreeSet<String>,
) -> ApprovalAsked {
    let shown = page.facts();
    let hash = logbook::page_hash(&shown);
    ApprovalAsked {
        covers: question.covers,
        ceiling: question.ceiling,
        how,
        words: page.question.clone(),
        option: page.ways.iter().find(|way| way.asked).map(|way| way.id.clone()),
        code: Some(new_code(job, &hash, taken).as_str().to_owned()),
        page: Some(hash),
        answer_by: question.answer_by,
        shown,
    }
}

/// Why a code means no request.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NoRequest {
    /// It is no code at all.
    #[error("{wrong}{}", near_words(.near))]
    NoCode {
        /// What is wrong with it.
        wrong: CodeError,
        /// Requests that wait and whose code is near it: code and job.
        near: Vec<(String, String)>,
    },
    /// No request has it.
    #[error("no request has the code {typed}{}", near_words(.near))]
    Unknown {
        /// What was typed.
        typed: String,
        /// Requests that wait and whose code is near it: code and job.
        near: Vec<(String, String)>,
    },
}

fn near_words(near: &[(String, String)]) -> String {
    if near.is_empty() {
        return "; no request that waits for an answer has a code near it, look the request up under Choose of its job"
            .to_owned();
    }
    let near: Vec<String> = near.iter().map(|(code, job)| format!("{code} ({job})")).collect();
    format!("; near it, and waiting for an answer: {}", near.join(", "))
}

/// Codes that differ by so many signs are near \[ours\].
const NEAR: usize = 2;
/// How many near ones are named \[ours\].
const NEAR_NAMED: usize = 4;

/// Finds the request that a typed code means, among those of some jobs.
///
/// # Errors
/// [`NoRequest`], with what was typed and what is near it.
pub fn meant<'s>(
    typed: &str,
    jobs: impl IntoIterator<Item = &'s JobState>,
    today: Date,
) -> Result<(&'s JobState, &'s Fact<ApprovalAsked>), NoRequest> {
    let jobs: Vec<&JobState> = jobs.into_iter().collect();
    let near = || {
        let mut near: Vec<(usize, String, String)> = Vec::new();
        for state in &jobs {
            for ask in waiting_for_answer(state, today) {
                if let Some(code) = ask.code.as_deref().and_then(|c| AnswerCode::read(c).ok())
                    && code.apart(typed) <= NEAR
                {
                    near.push((code.apart(typed), code.grouped(), state.title.clone().unwrap_or_default()));
                }
            }
        }
        near.sort();
        near.into_iter().take(NEAR_NAMED).map(|(_, code, job)| (code, job)).collect()
    };
    let code = AnswerCode::read(typed).map_err(|wrong| NoRequest::NoCode { wrong, near: near() })?;
    let every = jobs.iter().flat_map(|state| state.approvals_asked.iter().map(move |ask| (*state, ask)));
    // A logbook that came from another store may bring a code that is used here too: what still waits goes first.
    let mut found: Vec<_> = every.filter(|(_, ask)| ask.code.as_deref() == Some(code.as_str())).collect();
    found.sort_by_key(|(state, ask)| (!standing_without_case(state, ask, today).waits(), ask.in_entry));
    found.into_iter().next().ok_or_else(|| NoRequest::Unknown { typed: code.grouped(), near: near() })
}

/// The request with a page that an answer answers.
fn request<'s>(state: &'s JobState, body: &EntryBody) -> Option<&'s Fact<ApprovalAsked>> {
    let asked = if let EntryBody::ApprovalGiven(yes) = body {
        yes.asked
    } else if let EntryBody::ApprovalRefused(no) = body {
        no.asked
    } else {
        None
    };
    let ask = state.approvals_asked.iter().find(|a| Some(a.in_entry) == asked)?;
    (!ask.shown.is_empty()).then_some(ask)
}

/// Gives an answer the version of the page that it answers, where it names the request and not the version.
#[must_use]
pub fn with_page(state: &JobState, mut body: EntryBody) -> EntryBody {
    let page = request(state, &body).and_then(|ask| ask.page.clone());
    if let EntryBody::ApprovalGiven(yes) = &mut body {
        yes.page = yes.page.take().or(page);
    } else if let EntryBody::ApprovalRefused(no) = &mut body {
        no.page = no.page.take().or(page);
    }
    body
}

/// Whether an entry is a yes to a page, so that it hangs on the work-up of the job whether it is taken.
#[must_use]
pub fn hangs_on_page(state: &JobState, body: &EntryBody) -> bool {
    matches!(body, EntryBody::ApprovalGiven(_)) && request(state, body).is_some()
}

/// Passes an answer to a page that still holds. A no is always taken: it commits nobody. `case` as for [`changed`].
///
/// # Errors
/// [`Rule::Asked`], with what has changed and the next move.
pub fn ensure_answer(
    state: &JobState,
    knowledge: &Knowledge,
    case: Option<&Case>,
    body: &EntryBody,
) -> Result<(), NotTaken> {
    let Some(ask) = request(state, body) else { return Ok(()) };
    let refuse = |field: &str, found: String, next: &str| {
        Err(NotTaken {
            rule: Rule::Asked,
            field: field.to_owned(),
            found,
            expected: next.to_owned(),
            instead: Vec::new(),
        })
    };
    let of = |page: &Option<String>| page.is_some() && *page != ask.page;
    let another = "it names another page than the request that it answers";
    if let EntryBody::ApprovalRefused(no) = body {
        return if of(&no.page) { refuse("page", another.to_owned(), "leave the page out") } else { Ok(()) };
    }
    let EntryBody::ApprovalGiven(yes) = body else { return Ok(()) };
    if of(&yes.page) {
        return refuse("page", another.to_owned(), "leave the page out");
    }
    if yes.covers != ask.covers {
        let found = format!("the request asks for {} and the yes is for {}", ask.covers.word(), yes.covers.word());
        return refuse("covers", found, "write down a yes to what was asked");
    }
    if yes.ceiling.compare(&ask.ceiling).map_or(true, std::cmp::Ordering::is_gt) {
        let found =
            format!("the page asked for up to {}, and this yes goes to {}", amount(&ask.ceiling), amount(&yes.ceiling));
        return refuse("ceiling", found, "take what was asked or less, or ask again for more");
    }
    if let Some((by, true)) = answer(state, ask) {
        return refuse("asked", format!("it was answered with yes already, by entry {by}"), "ask again for more");
    }
    if let Some(again) = asked_again(state, ask) {
        return refuse("asked", format!("this request does not hold: {}", again.in_words()), "answer that one");
    }
    let changed = changed(state, knowledge, case, ask);
    if changed.is_empty() {
        return Ok(());
    }
    let found = format!("this request is void, because what its page shows has changed: {}", in_words(&changed));
    refuse("asked", found, "ask again")
}
