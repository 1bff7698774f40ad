//! The gauges of a shop: how one stood on the day of a reading, what is said of it in one job carried into the others, and
//! the register that lists them.
//!
//! A gauge is one and the same in two jobs when mark and kind are the same. Each job's logbook holds what was said of a
//! gauge there, so a case rests on its own entries alone; the doors keep the entries that [`carried`] gives together with the
//! one that gave rise to them.

use std::collections::{BTreeMap, BTreeSet};

use anatomy::{EntryId, JobId};
use jiff::civil::Date;
use jiff::{Span, Timestamp};
use knowledge::gauges::Worth;
use knowledge::{Gauge, Knowledge};
use logbook::{
    EntryBody, EntryCorrected, GaugeCleared, GaugeDescribed, GaugeDoubted, GoodReadings, HistoryLine, JobState,
};
use serde::Serialize;

use crate::findings::Finding;
use crate::notice::Notice;
use crate::words::day_of;

/// Until when a calibration holds; nothing where the kind asks for none or the day is not told.
fn calibrated_until(calibrated: Option<Date>, kind: &Gauge) -> Option<Date> {
    let months = i32::try_from(kind.calibration_months).ok().filter(|m| *m > 0)?;
    calibrated?.checked_add(Span::new().months(months)).ok()
}

/// When a zero was checked last, among descriptions in the order they were told; taken back by a plain *no*.
fn zero_checked<'a>(told: impl Iterator<Item = &'a logbook::Fact<GaugeDescribed>>) -> Option<Timestamp> {
    told.fold(None, |last, fact| match fact.body.zero_checked {
        Some(anatomy::Known::Yes) => Some(fact.made_at),
        Some(anatomy::Known::No) => None,
        Some(anatomy::Known::Unknown) | None => last,
    })
}

/// Whether a calibration had run out by a day, in words.
fn calibration_passed(kind: &Gauge, calibrated: Option<Date>, on: Date) -> Option<String> {
    let until = calibrated_until(calibrated, kind)?;
    (until < on).then(|| format!("its calibration ran out on {until}"))
}

/// Whether a zero was not checked, or too long before a reading, in words.
fn zero_missing(kind: &Gauge, zero: Option<Timestamp>, at: Timestamp) -> Option<String> {
    let hours = kind.zero.as_ref()?.hours;
    let asks = format!("this kind asks for it within {hours} hours before a reading");
    match zero {
        None => Some(format!("nobody said that its zero was checked; {asks}")),
        Some(last) if at.duration_since(last).as_hours() >= i64::from(hours) => {
            Some(format!("its zero was last checked on {}; {asks}", day_of(last)))
        }
        Some(_) => None,
    }
}

/// Says at each finding what spoke against its gauge on the day of the reading, and complains once for each gauge.
pub(crate) fn mark(state: &JobState, knowledge: &Knowledge, findings: &mut [Finding], notices: &mut Vec<Notice>) {
    let mut complaints: BTreeMap<(&'static str, String, String), Vec<String>> = BTreeMap::new();
    for finding in findings.iter_mut().filter(|f| f.value.is_some()) {
        let Some(taken) = state.readings.iter().find(|r| r.entry.to_string() == finding.entry) else { continue };
        let Some(label) = &taken.label else { continue };
        let told = || state.gauges_laid.iter().filter(|g| g.body.label == *label && g.in_entry <= taken.entry);
        let Some(kind) = told().next_back().and_then(|g| knowledge.gauge(&g.body.gauge)) else { continue };
        let calibrated = told().filter_map(|g| g.body.calibrated).next_back();
        let calibration = calibration_passed(kind, calibrated, day_of(taken.at));
        let zero = zero_missing(kind, zero_checked(told()), taken.at);
        let against: Vec<(&'static str, String)> =
            [("gauge-calibration-passed", calibration), ("gauge-zero-not-checked", zero)]
                .into_iter()
                .filter_map(|(code, words)| Some((code, words?)))
                .collect();
        if against.is_empty() {
            continue;
        }
        let words: Vec<&str> = against.iter().map(|(_, words)| words.as_str()).collect();
        finding.gauge_word = Some(format!("gauge {label}: {}", words.join("; ")));
        for (code, words) in against {
            complaints.entry((code, label.clone(), words)).or_default().push(finding.entry.clone());
        }
    }
    for ((code, label, words), entries) in complaints {
        let readings = if entries.len() == 1 { "1 reading".to_owned() } else { format!("{} readings", entries.len()) };
        notices.push(Notice::new(
            code,
            &entries.join(" "),
            format!("{readings} by gauge {label}: {words}"),
            "check the gauge and lay it ready anew; where it is off, say that it is doubted",
        ));
    }
}

/// The kind of the gauge with a mark, as this job knows it.
fn kind_in<'a>(state: &'a JobState, label: &str) -> Option<&'a str> {
    let described = state.gauges.get(label).map(|g| g.body.gauge.as_str());
    let read = || state.readings.iter().rev().filter(|r| r.label.as_deref() == Some(label));
    described.or_else(|| read().find_map(|r| r.gauge.as_deref()))
}

/// How many readings of a job were taken with a gauge; nothing where the job has nothing to do with it.
fn leans(state: &JobState, label: &str, kind: Option<&str>) -> Option<usize> {
    let here = kind_in(state, label);
    if here.is_some() && kind.is_some() && here != kind {
        return None;
    }
    let readings = state.readings.iter().filter(|r| r.label.as_deref() == Some(label)).count();
    (readings > 0 || state.gauges.contains_key(label)).then_some(readings)
}

/// A doubt that stands in a job, unless a later word in any job found the gauge good.
fn doubt_of<'a>(jobs: &[&'a JobState], label: &str, kind: Option<&str>) -> Option<(&'a JobState, &'a GaugeDoubted)> {
    let same = || jobs.iter().copied().filter(|state| leans(state, label, kind).is_some());
    let cleared = same().filter_map(|state| state.cleared_gauges.get(label)).max();
    same()
        .filter_map(|state| Some((state, state.doubted_gauges.get(label)?)))
        .filter(|(_, doubt)| cleared.is_none_or(|cleared| *cleared < doubt.in_entry))
        .max_by_key(|(_, doubt)| doubt.in_entry)
        .map(|(state, doubt)| (state, &doubt.body))
}

fn found_at(state: &JobState) -> String {
    format!(" (at the job {})", state.title.as_deref().unwrap_or("without a title"))
}

/// The entries that what was just kept in one job asks for in the open jobs, so that a gauge found off is off in all of them.
///
/// `now` is the job with the entry in it, `others` are all other jobs. A doubt goes to every other open job that has the
/// gauge and does not doubt it yet, a gauge found good to every other open job that doubts it, a doubt taken back likewise;
/// a gauge that is doubted elsewhere and is laid ready or read with here is doubted here. A doubt that is put right is put
/// right where it was carried to; one that was put against another gauge is taken off the first. Asked again it gives nothing.
#[must_use]
#[expect(clippy::wildcard_enum_match_arm, reason = "entries of every other kind say nothing of a gauge")]
pub fn carried(now: &JobState, body: &EntryBody, others: &[&JobState]) -> Vec<(JobId, EntryBody)> {
    let open = |state: &&&JobState| state.closed.is_none();
    match body {
        EntryBody::GaugeDoubted(doubt) => {
            let kind = kind_in(now, &doubt.label);
            let body = GaugeDoubted { reason: format!("{}{}", doubt.reason, found_at(now)), ..doubt.clone() };
            others
                .iter()
                .filter(open)
                .filter(|s| leans(s, &doubt.label, kind).is_some() && !s.doubted_gauges.contains_key(&doubt.label))
                .filter_map(|s| Some((s.job?, EntryBody::GaugeDoubted(body.clone()))))
                .collect()
        }
        EntryBody::GaugeCleared(good) => {
            let body = GaugeCleared { how: format!("{}{}", good.how, found_at(now)), ..good.clone() };
            clear_in_others(now, others, &body)
        }
        EntryBody::EntryWithdrawn(back) => put_right(now, others, back.entry, &back.reason),
        EntryBody::EntryCorrected(right) => put_right(now, others, right.entry, &right.reason),
        EntryBody::GaugeDescribed(told) => from_elsewhere(now, others, &told.label),
        EntryBody::ReadingTaken(taken) => {
            taken.label.as_ref().map(|label| from_elsewhere(now, others, label)).unwrap_or_default()
        }
        _ => Vec::new(),
    }
}

/// The entries that a job asks for when its logbook comes in from elsewhere: what the jobs here say of its gauges, for it, and
/// what it says of theirs, for them. Closed jobs get none; asked again it gives nothing.
///
/// `now` is the job as it came in, `others` are all other jobs.
#[must_use]
pub fn carried_by_copy(now: &JobState, others: &[&JobState]) -> Vec<(JobId, EntryBody)> {
    let read = now.readings.iter().filter_map(|r| r.label.as_ref());
    let labels: BTreeSet<&String> = now.gauges.keys().chain(read).collect();
    let mut all = others.to_vec();
    all.push(now);
    let mut out = Vec::new();
    for label in labels {
        let kind = kind_in(now, label);
        match (now.doubted_gauges.get(label), doubt_of(&all, label, kind)) {
            (None, Some(_)) if now.closed.is_none() => out.extend(from_elsewhere(now, others, label)),
            (None, _) => {}
            (Some(doubt), Some(_)) => {
                out.extend(carried(now, &EntryBody::GaugeDoubted(doubt.body.clone()), others));
            }
            (Some(_), None) if now.closed.is_none() => out.extend(found_good_elsewhere(now, others, label)),
            (Some(_), None) => {}
        }
    }
    out
}

/// The last word by which another job found a gauge good that this one doubts.
fn found_good_elsewhere(now: &JobState, others: &[&JobState], label: &str) -> Option<(JobId, EntryBody)> {
    let kind = kind_in(now, label);
    let same = others.iter().filter(|state| leans(state, label, kind).is_some());
    let (state, id) = same.filter_map(|s| Some((s, *s.cleared_gauges.get(label)?))).max_by_key(|(_, id)| *id)?;
    let line = state.history.iter().find(|line| line.entry == id)?;
    let read = EntryBody::read(logbook::Kind::GaugeCleared, line.version, &line.body).ok().flatten()?;
    let EntryBody::GaugeCleared(good) = read else { return None };
    let how = format!("{}{}", good.how, found_at(state));
    Some((now.job?, EntryBody::GaugeCleared(GaugeCleared { how, ..good })))
}

/// The line of the entry that a correction is of in the end, by way of corrections of it.
fn first_of(now: &JobState, entry: EntryId) -> Option<&HistoryLine> {
    let mut line = now.history.iter().find(|line| line.entry == entry)?;
    // No chain of corrections is longer than the history.
    for _ in 0..now.history.len() {
        if line.kind != logbook::Kind::EntryCorrected.word() {
            break;
        }
        let before: EntryId = line.body.get("entry")?.as_str()?.parse().ok()?;
        line = now.history.iter().find(|line| line.entry == before)?;
    }
    Some(line)
}

/// Every mark that an entry about a gauge ever had, its corrections included.
fn labels_of(now: &JobState, first: &HistoryLine) -> BTreeSet<String> {
    let corrections = now
        .history
        .iter()
        .filter(|line| line.kind == logbook::Kind::EntryCorrected.word())
        .filter(|line| first_of(now, line.entry).is_some_and(|of| of.entry == first.entry))
        .filter_map(|line| line.body.get("body"));
    let bodies = std::iter::once(&first.body).chain(corrections);
    bodies.filter_map(|body| Some(body.get("label")?.as_str()?.to_owned())).collect()
}

/// What an entry about a gauge that was put right or taken back asks for in the other jobs.
fn put_right(now: &JobState, others: &[&JobState], entry: EntryId, why: &str) -> Vec<(JobId, EntryBody)> {
    let Some(first) = first_of(now, entry) else { return Vec::new() };
    let doubt = first.kind == logbook::Kind::GaugeDoubted.word();
    let good = first.kind == logbook::Kind::GaugeCleared.word();
    let used = [logbook::Kind::GaugeDescribed, logbook::Kind::ReadingTaken].iter().any(|k| first.kind == k.word());
    let mut out = Vec::new();
    for label in labels_of(now, first) {
        match now.doubted_gauges.get(&label) {
            Some(stands) if doubt || good => {
                out.extend(corrected_in_others(now, others, &stands.body, why));
                out.extend(carried(now, &EntryBody::GaugeDoubted(stands.body.clone()), others));
            }
            None if doubt => {
                let how = format!("the doubt was taken back{}", found_at(now));
                out.extend(clear_in_others(now, others, &GaugeCleared { label, how, good: GoodReadings::All }));
            }
            None if used => out.extend(from_elsewhere(now, others, &label)),
            Some(_) | None => {}
        }
    }
    out
}

/// The doubt as it now stands, for the open jobs to which it was carried with other words.
fn corrected_in_others(
    now: &JobState,
    others: &[&JobState],
    doubt: &GaugeDoubted,
    why: &str,
) -> Vec<(JobId, EntryBody)> {
    let here = found_at(now);
    let kind = kind_in(now, &doubt.label);
    let body = GaugeDoubted { reason: format!("{}{here}", doubt.reason), ..doubt.clone() };
    let Ok(value) = serde_json::to_value(&body) else { return Vec::new() };
    others
        .iter()
        .filter(|s| s.closed.is_none() && leans(s, &doubt.label, kind).is_some())
        .filter_map(|s| {
            let theirs = s.doubted_gauges.get(&doubt.label)?;
            let from_here = theirs.body.reason.ends_with(&here) && theirs.body != body;
            let reason = format!("{why}{here}");
            let right = EntryCorrected { entry: theirs.in_entry, body: value.clone(), reason, v: None };
            from_here.then_some((s.job?, EntryBody::EntryCorrected(right)))
        })
        .collect()
}

/// Whether an entry may ask for others by [`carried`]; where not, the other jobs need not be read.
#[must_use]
#[expect(clippy::wildcard_enum_match_arm, reason = "entries of every other kind say nothing of a gauge")]
pub fn concerns_others(body: &EntryBody) -> bool {
    match body {
        EntryBody::GaugeDoubted(_)
        | EntryBody::GaugeCleared(_)
        | EntryBody::GaugeDescribed(_)
        | EntryBody::EntryWithdrawn(_)
        | EntryBody::EntryCorrected(_) => true,
        EntryBody::ReadingTaken(taken) => taken.label.is_some(),
        _ => false,
    }
}

fn clear_in_others(now: &JobState, others: &[&JobState], body: &GaugeCleared) -> Vec<(JobId, EntryBody)> {
    let kind = kind_in(now, &body.label);
    others
        .iter()
        .filter(|s| s.closed.is_none() && s.doubted_gauges.contains_key(&body.label))
        .filter(|s| leans(s, &body.label, kind).is_some())
        .filter_map(|s| Some((s.job?, EntryBody::GaugeCleared(body.clone()))))
        .collect()
}

/// The doubt that stands elsewhere against a gauge of this job.
fn from_elsewhere(now: &JobState, others: &[&JobState], label: &str) -> Vec<(JobId, EntryBody)> {
    if now.doubted_gauges.contains_key(label) {
        return Vec::new();
    }
    let mut all = others.to_vec();
    all.push(now);
    let Some((state, doubt)) = doubt_of(&all, label, kind_in(now, label)) else { return Vec::new() };
    let body = GaugeDoubted { reason: format!("{}{}", doubt.reason, found_at(state)), ..doubt.clone() };
    now.job.map(|job| (job, EntryBody::GaugeDoubted(body))).into_iter().collect()
}

/// One gauge of the shop.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GaugeLine {
    /// The mark on it.
    pub label: String,
    /// Its kind, an id of the knowledge; nothing where nobody said.
    pub kind: Option<String>,
    /// Its kind in words.
    pub name: String,
    /// What it decides by itself.
    pub fit_for: Vec<String>,
    /// What it decides with a guard band or by several readings.
    pub with_care: Vec<String>,
    /// What it must not be used for.
    pub not_fit_for: Vec<String>,
    /// What to do before it is trusted today.
    pub check_before_use: String,
    /// When its zero was last checked.
    pub zero_checked: Option<Timestamp>,
    /// When it was last calibrated.
    pub calibrated: Option<Date>,
    /// Until when that holds.
    pub calibrated_until: Option<Date>,
    /// Since when it is doubted.
    pub doubted_since: Option<Timestamp>,
    /// Why.
    pub doubted_why: Option<String>,
    /// What speaks against it today.
    pub against: Vec<String>,
    /// The open jobs that have it.
    pub jobs: Vec<Leaning>,
}

/// An open job that leans on a gauge.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Leaning {
    /// The job.
    pub job: JobId,
    /// Its title.
    pub title: String,
    /// How many of its readings were taken with it.
    pub readings: usize,
}

/// Every gauge that was ever named in a job, by mark and kind; the doubted first.
#[must_use]
pub fn register(jobs: &[&JobState], knowledge: &Knowledge, today: Date) -> Vec<GaugeLine> {
    let mut seen: BTreeMap<(String, Option<String>), ()> = BTreeMap::new();
    for state in jobs {
        let read = state.readings.iter().filter_map(|r| r.label.clone());
        for label in read.chain(state.gauges.keys().cloned()) {
            let kind = kind_in(state, &label).map(ToOwned::to_owned);
            seen.insert((label, kind), ());
        }
    }
    let mut out: Vec<GaugeLine> =
        seen.into_keys().map(|(label, kind)| line(jobs, knowledge, today, label, kind)).collect();
    out.sort_by_key(|g| (g.doubted_since.is_none(), g.against.is_empty()));
    out
}

fn line(jobs: &[&JobState], knowledge: &Knowledge, today: Date, label: String, kind: Option<String>) -> GaugeLine {
    let known = kind.as_deref().and_then(|id| knowledge.gauge(id)).map(|g| &g.value);
    let same = |state: &&&JobState| kind_in(state, &label) == kind.as_deref() && leans(state, &label, None).is_some();
    let mut told: Vec<&logbook::Fact<GaugeDescribed>> =
        jobs.iter().filter(same).flat_map(|s| &s.gauges_laid).filter(|g| g.body.label == label).collect();
    told.sort_by_key(|g| g.in_entry);
    let zero = zero_checked(told.iter().copied());
    let calibrated = told.iter().filter_map(|g| g.body.calibrated).max();
    let limits = |good: fn(Worth) -> bool| -> Vec<String> {
        let fits = known.into_iter().flat_map(|g| &g.fits).filter(|f| good(f.worth));
        fits.map(|f| knowledge.limit(&f.limit).map_or_else(|| f.limit.clone(), |l| l.name.clone())).collect()
    };
    let doubt = jobs.iter().filter(same).filter_map(|s| s.doubted_gauges.get(&label)).max_by_key(|d| d.in_entry);
    let doubt = doubt.filter(|_| doubt_of(jobs, &label, kind.as_deref()).is_some());
    let leaning = jobs.iter().filter(same).filter(|s| s.closed.is_none()).filter_map(|s| {
        let title = s.title.clone().unwrap_or_default();
        Some(Leaning { job: s.job?, title, readings: leans(s, &label, kind.as_deref())? })
    });
    GaugeLine {
        name: known.map_or_else(|| "kind not told".to_owned(), |g| g.name.clone()),
        fit_for: limits(|w| w == Worth::Fit),
        with_care: limits(|w| matches!(w, Worth::GuardBand | Worth::Repeat)),
        not_fit_for: known.map(|g| g.not_fit_for.clone()).unwrap_or_default(),
        check_before_use: known.map(|g| g.check_before_use.clone()).unwrap_or_default(),
        zero_checked: zero,
        calibrated,
        calibrated_until: known.and_then(|g| calibrated_until(calibrated, g)),
        doubted_since: doubt.map(|d| d.made_at),
        doubted_why: doubt.map(|d| d.body.reason.clone()),
        against: known.and_then(|g| calibration_passed(g, calibrated, today)).into_iter().collect(),
        jobs: leaning.collect(),
        label,
        kind,
    }
}
