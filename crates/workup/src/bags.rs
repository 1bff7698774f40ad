//! Bags of small parts: what lies in each, which stage of the build asks it back, and which were never emptied.
//!
//! A bag is whatever was put away under one mark. It is asked back at the stage that was named with its parts, else at the one
//! that puts their joint together, else at the one that fits the caps of the place they came from. What names none of these is
//! asked back by no stage and stands in the list of all bags. A bag that is filled again after it was emptied is out again,
//! with what was put in since.

use anatomy::{EntryId, Known};
use knowledge::Knowledge;
use knowledge::limits::AppliesTo;
use knowledge::workshop::BuildStage;
use logbook::{BagEmptied, BagEnd, EntryBody, Fact, JobState, PartBagged, PhotoKept};

use crate::entering::{NotTaken, Rule};
use crate::notice::Notice;
use crate::{tightening, words};

/// Most bags that a sentence names \[ours\]; the rest are counted.
const NAMED: usize = 6;

/// How a bag stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// Nobody has asked it back.
    Out,
    /// It was asked back, and something is missing or damaged.
    SomethingWrong,
    /// Everything in it is back in.
    BackIn,
    /// It is not used again.
    NotUsed,
}

impl Standing {
    /// The words for it.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Out => "out",
            Self::SomethingWrong => "something missing or damaged",
            Self::BackIn => "back in",
            Self::NotUsed => "not used again",
        }
    }

    /// Whether the build still waits for it.
    #[must_use]
    pub const fn is_open(self) -> bool {
        match self {
            Self::Out | Self::SomethingWrong => true,
            Self::BackIn | Self::NotUsed => false,
        }
    }
}

/// A bag with what lies in it.
#[derive(Debug, Clone)]
pub struct Bag<'s> {
    /// The mark on it, as it was written first.
    pub mark: &'s str,
    /// What was put in, in the order of the strip.
    pub parts: Vec<&'s Fact<PartBagged>>,
    /// Photos of it.
    pub photos: Vec<&'s Fact<PhotoKept>>,
    /// What became of it last; nothing while nobody asked it back.
    pub end: Option<&'s Fact<BagEmptied>>,
}

impl Bag<'_> {
    /// How it stands.
    #[must_use]
    pub fn standing(&self) -> Standing {
        match self.end.map(|end| end.how) {
            None => Standing::Out,
            Some(BagEnd::SomethingWrong) => Standing::SomethingWrong,
            Some(BagEnd::BackIn) => Standing::BackIn,
            Some(BagEnd::NotUsed) => Standing::NotUsed,
        }
    }

    /// What lies in it, in one line.
    #[must_use]
    pub fn holds(&self) -> String {
        let one = |p: &&Fact<PartBagged>| match p.count {
            Some(n) if n > 1 => format!("{}, {n}", words::words(&p.part)),
            Some(_) | None => words::words(&p.part),
        };
        self.parts.iter().map(one).collect::<Vec<_>>().join("; ")
    }

    /// The entry that was put in last.
    fn filled(&self) -> Option<EntryId> {
        self.parts.iter().map(|p| p.in_entry).max()
    }
}

/// Whether two marks name one bag: capitals and blanks around them do not tell bags apart.
fn same(one: &str, other: &str) -> bool {
    one.trim().to_lowercase() == other.trim().to_lowercase()
}

/// Every bag of a job, in the order in which they were first filled.
#[must_use]
pub fn all(state: &JobState) -> Vec<Bag<'_>> {
    enum Told<'s> {
        Filled(&'s Fact<PartBagged>),
        Emptied(&'s Fact<BagEmptied>),
    }
    let filled = state.bags.iter().map(|b| (b.in_entry, Told::Filled(b)));
    let emptied = state.bags_emptied.iter().map(|b| (b.in_entry, Told::Emptied(b)));
    let mut told: Vec<(EntryId, Told<'_>)> = filled.chain(emptied).collect();
    told.sort_by_key(|(entry, _)| *entry);
    let mut out: Vec<Bag<'_>> = Vec::new();
    for (_, what) in told {
        match what {
            Told::Filled(part) => match out.iter_mut().find(|bag| same(bag.mark, &part.bag)) {
                None => {
                    out.push(Bag { mark: part.bag.trim(), parts: vec![part], photos: Vec::new(), end: None });
                }
                Some(bag) => {
                    if !bag.standing().is_open() {
                        bag.parts.clear();
                        bag.end = None;
                    }
                    bag.parts.push(part);
                }
            },
            Told::Emptied(end) => {
                if let Some(bag) = out.iter_mut().find(|bag| same(bag.mark, &end.bag)) {
                    bag.end = Some(end);
                }
            }
        }
    }
    for photo in &state.photos {
        let Some(mark) = &photo.bag else { continue };
        if let Some(bag) = out.iter_mut().find(|bag| same(bag.mark, mark)) {
            bag.photos.push(photo);
        }
    }
    out
}

/// The bags that the build still waits for, in the order in which they were first filled.
#[must_use]
pub fn open(state: &JobState) -> Vec<Bag<'_>> {
    all(state).into_iter().filter(|bag| bag.standing().is_open()).collect()
}

/// The bag of a mark.
#[must_use]
pub fn find<'s>(state: &'s JobState, mark: &str) -> Option<Bag<'s>> {
    all(state).into_iter().find(|bag| same(bag.mark, mark))
}

/// The next number that no bag of the job has had: one more than the largest.
#[must_use]
pub fn next_free(state: &JobState) -> u32 {
    let numbers = state.bags.iter().filter_map(|b| b.bag.trim().parse::<u32>().ok());
    numbers.max().unwrap_or(0).saturating_add(1)
}

/// The stage of the build that needs some parts; nothing where they name neither stage nor joint nor the place of a cap.
#[must_use]
pub fn stage_of<'k>(part: &PartBagged, state: &JobState, knowledge: &'k Knowledge) -> Option<&'k BuildStage> {
    let mut stages: Vec<&BuildStage> = knowledge.steps.iter().map(|s| &s.value).collect();
    stages.sort_by_key(|s| s.order);
    if let Some(id) = &part.stage {
        return stages.into_iter().find(|s| s.id == *id);
    }
    let told = crate::told(state, knowledge);
    let attribute = |name: &str| told.get(name).map(String::as_str).or_else(|| state.attribute(name));
    stages.retain(|s| !AppliesTo::spoken_against(&s.applies, attribute));
    if let Some(joint) = &part.joint {
        let makes = stages.iter().find(|s| s.makes.contains(joint));
        return makes.or_else(|| stages.iter().find(|s| s.closes.contains(joint))).copied();
    }
    let scope = part.position?.scope();
    stages.into_iter().find(|s| s.caps == Some(scope))
}

/// The stages that need what lies in a bag, in the order of the build, each once.
#[must_use]
pub fn stages_of<'k>(bag: &Bag<'_>, state: &JobState, knowledge: &'k Knowledge) -> Vec<&'k BuildStage> {
    let mut out: Vec<&BuildStage> = bag.parts.iter().filter_map(|p| stage_of(p, state, knowledge)).collect();
    out.sort_by_key(|s| s.order);
    out.dedup_by_key(|s| s.order);
    out
}

/// The bags that a stage of the build asks back, emptied ones too, in the order in which they were first filled.
#[must_use]
pub fn asked_at<'s>(state: &'s JobState, knowledge: &Knowledge, stage: &str) -> Vec<Bag<'s>> {
    let here = |bag: &Bag<'_>| stages_of(bag, state, knowledge).iter().any(|s| s.id == stage);
    all(state).into_iter().filter(here).collect()
}

/// Where parts came from: joint, bolts, place, as far as each is told; empty where none is.
#[must_use]
pub fn came_from(part: &PartBagged, state: &JobState, knowledge: &Knowledge) -> String {
    let joint = part.joint.as_ref().map(|id| {
        let known = knowledge.joints.iter().find(|j| j.id == *id);
        known.map_or_else(|| words::words(id), |j| j.name.clone())
    });
    let bolts = match part.from_bolts.as_slice() {
        [] => None,
        [one] => Some(format!("bolt {one}")),
        several => Some(format!("bolts {}", runs(several))),
    };
    let label = |p: anatomy::Position| state.layout.as_ref().map_or_else(|| p.address(), |layout| layout.label(&p));
    [joint, bolts, part.position.map(label)].into_iter().flatten().collect::<Vec<_>>().join(", ")
}

/// Numbers in rising order as runs, such as `1 to 4, 7`.
fn runs(numbers: &[u16]) -> String {
    let mut sorted = numbers.to_vec();
    sorted.sort_unstable();
    let mut runs: Vec<(u16, u16)> = Vec::new();
    for n in sorted {
        match runs.last_mut() {
            Some((_, last)) if last.checked_add(1) == Some(n) => *last = n,
            Some(_) | None => runs.push((n, n)),
        }
    }
    let words = |(from, to): &(u16, u16)| if from == to { from.to_string() } else { format!("{from} to {to}") };
    runs.iter().map(words).collect::<Vec<_>>().join(", ")
}

/// What must be kept with the place of some parts, in words; nothing where nobody said anything of it.
#[must_use]
pub fn keeps_place(part: &PartBagged, knowledge: &Knowledge) -> Option<String> {
    let rule = part.keep.as_ref().and_then(|id| knowledge.keeps.iter().find(|k| k.id == *id));
    let own = part.own_place.and_then(|own| match own {
        Known::Yes => Some("each back to its own place"),
        Known::No => Some("may change places"),
        Known::Unknown => None,
    });
    match (own, rule) {
        (None, None) => None,
        (own, None) => own.map(str::to_owned),
        (None, Some(rule)) => Some(format!("{}: {}", rule.part, rule.words)),
        (Some(own), Some(rule)) => Some(format!("{own}; {}: {}", rule.part, rule.words)),
    }
}

/// Bags as a sentence names them: mark and what lies in each, of many the first and how many more.
#[must_use]
pub fn named(bags: &[Bag<'_>]) -> String {
    let all: Vec<String> = bags.iter().map(|bag| format!("{} ({})", bag.mark, bag.holds())).collect();
    words::first_of(&all, NAMED)
}

/// Bags that are not empty though the engine ran, went back or left since they were filled.
pub(crate) fn left_over(state: &JobState) -> Vec<Notice> {
    let ran = state.runs.iter().map(|r| (r.in_entry, "the engine has run since"));
    let back = state.handed_back.iter().map(|h| (h.in_entry, "the engine was handed back since"));
    let closed = state.closed.iter().map(|c| (c.in_entry, "the job was closed since"));
    let since: Vec<(EntryId, &str)> = ran.chain(back).chain(closed).collect();
    let Some((last, why)) = since.iter().max_by_key(|(entry, _)| *entry) else { return Vec::new() };
    let left: Vec<Bag<'_>> = open(state).into_iter().filter(|bag| bag.filled().is_some_and(|f| f < *last)).collect();
    let (out, wrong): (Vec<Bag<'_>>, Vec<Bag<'_>>) = left.into_iter().partition(|b| b.standing() == Standing::Out);
    let mut notices = Vec::new();
    if !out.is_empty() {
        let about: Vec<String> = out.iter().flat_map(|b| &b.parts).map(|p| p.in_entry.to_string()).collect();
        let bags = if out.len() == 1 { "1 bag was".to_owned() } else { format!("{} bags were", out.len()) };
        notices.push(Notice::new(
            "bag-never-emptied",
            &about.join(" "),
            format!("{bags} never emptied, and {why}: {}", named(&out)),
            "look what was left out, then say of each bag that it is back in, or what became of it",
        ));
    }
    for bag in &wrong {
        let Some(end) = bag.end else { continue };
        notices.push(Notice::new(
            "bag-not-whole",
            &end.in_entry.to_string(),
            format!(
                "of bag {} ({}) something is missing or damaged, and {why}: {}",
                bag.mark,
                bag.holds(),
                end.words.as_deref().unwrap_or_default()
            ),
            "say that it is back in once it is made good, or that it is not used again and why",
        ));
    }
    notices
}

/// Passes parts that go into a bag with a mark, and a bag that was filled before it is asked back.
///
/// # Errors
/// [`Rule::Value`] with the field, or [`Rule::Unknown`] with the bags there are.
pub(crate) fn ensure(state: &JobState, body: &EntryBody) -> Result<(), NotTaken> {
    if let EntryBody::PartBagged(part) = body {
        for (field, text, next) in [
            ("part", &part.part, "say what lies in it, such as `rocker bolts`"),
            ("bag", &part.bag, "write the number that stands on it"),
        ] {
            if text.trim().is_empty() {
                return Err(NotTaken::new(Rule::Value, field, format!("{field} is empty")).expecting(next));
            }
        }
        return bolts_are_there(state, part);
    }
    let EntryBody::BagEmptied(end) = body else { return Ok(()) };
    if find(state, &end.bag).is_some() {
        return Ok(());
    }
    let marks: Vec<&str> = all(state).iter().map(|bag| bag.mark).collect();
    let next = if marks.is_empty() {
        "nothing is bagged in this job yet".to_owned()
    } else {
        format!("the bags are {}", marks.join(", "))
    };
    Err(NotTaken::new(Rule::Unknown, "bag", format!("no bag is called `{}`", end.bag.trim())).expecting(next))
}

/// Passes bolts that the joint has, where its bolts are set down.
fn bolts_are_there(state: &JobState, part: &PartBagged) -> Result<(), NotTaken> {
    let Some(joint) = &part.joint else { return Ok(()) };
    let Some(pattern) = tightening::pattern(state, joint, part.position) else { return Ok(()) };
    let Some(none) = part.from_bolts.iter().find(|bolt| pattern.bolts.iter().all(|b| b.number != **bolt)) else {
        return Ok(());
    };
    let why = format!("the joint has no bolt {none}: {} were set down", pattern.bolts.len());
    Err(NotTaken::new(Rule::Value, "from_bolts", why).expecting("use the numbers of the tightening sequence"))
}
