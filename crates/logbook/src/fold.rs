//! The fold: from entries to the state of the job.
//!
//! The one order is the order of entry ids, which carry the time of the device that made them. Clocks may be wrong; the
//! order is then odd but the same for everyone, and a notice says that a clock is doubted. The order of arrival, and with
//! it the chain, plays no part.

use std::collections::BTreeMap;

use anatomy::{EntryId, JobId, Position};

use crate::bodies::{Figure, MoneyTold, VehicleDescribed};
use crate::chain::Chain;
use crate::entry::{Content, Entry, SealError, Unsealed, read};
use crate::force::Force;
use crate::kinds::{EntryBody, Kind};
use crate::notice::{Notice, NoticeCode};
use crate::state::{CauseAnswer, Fact, HistoryLine, InForce, JobState, ReadingTaken, ReadingValue};
use crate::words::{GoodReadings, Phase};

/// How far the time written in an entry may lie from the time in its id before its clock is doubted, in milliseconds
/// (one minute, ours).
const CLOCK_SLACK_MS: i128 = 60_000;

/// Gives the state of a job from its entries, whatever order they come in; cannot fail.
///
/// # Shapes
/// entries of one job; of mixed jobs the one opened first counts and the others give a notice. The same entry given twice
/// counts once.
#[must_use]
pub fn fold(entries: &[Entry]) -> JobState {
    let mut folding = Folding::new();
    for entry in entries {
        folding.add(entry.clone());
    }
    folding.state()
}

/// Gives the state of a job as it would be with one more entry, which is not kept by this.
///
/// # Errors
/// [`SealError`] where the entry cannot be sealed at the end of the chain.
pub fn fold_with(entries: &[Entry], more: Unsealed) -> Result<JobState, SealError> {
    let mut chain = match entries.last() {
        Some(last) => Chain::after(last, entries.len()),
        None => Chain::new(more.job),
    };
    let more = chain.append_unsealed(more)?;
    let mut folding = Folding::new();
    for entry in entries.iter().chain(std::iter::once(&more)) {
        folding.add(entry.clone());
    }
    Ok(folding.state())
}

/// Entries gathered one by one, for callers that keep a job open.
#[derive(Debug, Clone, Default)]
pub struct Folding {
    entries: BTreeMap<EntryId, Entry>,
    same_id: BTreeMap<EntryId, usize>,
}

impl Folding {
    /// Starts with nothing.
    #[must_use]
    pub fn new() -> Folding {
        Folding::default()
    }

    /// Takes in an entry; one that is already there changes nothing.
    pub fn add(&mut self, entry: Entry) {
        match self.entries.get(&entry.id()) {
            None => {
                self.entries.insert(entry.id(), entry);
            }
            // The place in the chain may differ between two stores; what the device made may not. So what the device made
            // decides, and never the hash, which knows the chain.
            Some(kept) => {
                if kept.unsealed() != entry.unsealed() {
                    *self.same_id.entry(entry.id()).or_insert(0) += 1;
                }
                if device_text(&entry) < device_text(kept) {
                    self.entries.insert(entry.id(), entry);
                }
            }
        }
    }

    /// Gives the state of what was taken in so far.
    #[must_use]
    pub fn state(&self) -> JobState {
        let mut state = JobState::default();
        let Some(job) = self.job() else { return state };
        state.job = Some(job);
        let mut notices = Vec::new();
        let (own, others): (Vec<&Entry>, Vec<&Entry>) = self.entries.values().partition(|entry| entry.job() == job);
        for entry in others {
            notices.push(notice(
                NoticeCode::OtherJob,
                &[entry.id()],
                format!("entry {} belongs to job {}, not to {job}; it has no effect here", entry.id(), entry.job()),
                "move it to its own logbook",
            ));
        }
        for id in self.same_id.keys() {
            notices.push(notice(
                NoticeCode::SameIdTwice,
                &[*id],
                format!("two different entries have the id {id}; the one whose text sorts first counts"),
                "look at both in the logbook and write down again what is missing",
            ));
        }
        let entries: BTreeMap<EntryId, &Entry> = own.iter().map(|entry| (entry.id(), *entry)).collect();
        let force = Force::settle(&entries);
        complain_about_force(&force, &mut notices);
        let mut holding = Holding::default();
        for entry in own {
            let status = apply(&mut state, &mut holding, entry, &entries, &force, &mut notices);
            doubt_clock(entry, &mut notices);
            state.history.push(HistoryLine {
                entry: entry.id(),
                at: entry.at(),
                by: entry.by().to_owned(),
                device: entry.device().to_owned(),
                kind: entry.kind().to_owned(),
                version: entry.version(),
                body: entry.body().clone(),
                status,
            });
        }
        settle_gauges(&mut state, &holding, &mut notices);
        complain_about_readings(&state, &mut notices);
        complain_about_sheet(&state, &mut notices);
        complain_about_places(&state, &holding, &mut notices);
        notices.sort();
        state.notices = notices;
        state
    }

    /// Gives the job most entries are judged by: that of the first `job-opened`, else of the first entry.
    fn job(&self) -> Option<JobId> {
        let opened = self.entries.values().find(|entry| entry.kind() == Kind::JobOpened.word());
        opened.or_else(|| self.entries.values().next()).map(Entry::job)
    }
}

/// Gives the text of what the device made, without its place in the chain.
fn device_text(entry: &Entry) -> String {
    // Text and plain values can always be written.
    serde_json::to_string(&entry.unsealed()).unwrap_or_default()
}

/// What is needed while folding and not kept in the state.
#[derive(Default)]
struct Holding {
    cleared: Vec<(EntryId, String, GoodReadings)>,
    doubts: Vec<Fact<crate::bodies::GaugeDoubted>>,
    places: Vec<(EntryId, Position)>,
}

fn notice(code: NoticeCode, about: &[EntryId], message: String, what_to_do: &str) -> Notice {
    Notice { code, about: about.to_vec(), message, what_to_do: what_to_do.to_owned() }
}

/// Reads one entry into the state and says whether it counts.
fn apply(
    state: &mut JobState,
    holding: &mut Holding,
    entry: &Entry,
    entries: &BTreeMap<EntryId, &Entry>,
    force: &Force,
    notices: &mut Vec<Notice>,
) -> InForce {
    let id = entry.id();
    if let Some(by) = force.withdrawn.get(&id) {
        return InForce::Withdrawn { by: *by };
    }
    let known = match entry.content() {
        Content::Known(body) => body,
        Content::UnknownKind => {
            notices.push(notice(
                NoticeCode::UnknownKind,
                &[id],
                format!(
                    "entry {id} is of kind `{}`, which this build does not know; it is carried as it is",
                    entry.kind()
                ),
                "open the job with the newer build that wrote it",
            ));
            return InForce::WithoutEffect;
        }
        Content::NewerVersion(kind) => {
            notices.push(notice(
                NoticeCode::NewerVersion,
                &[id],
                format!(
                    "entry {id}, kind {}, has version {}, this build knows up to {}; it is carried as it is",
                    kind.word(),
                    entry.version(),
                    kind.latest_version()
                ),
                "open the job with the newer build that wrote it",
            ));
            return InForce::WithoutEffect;
        }
        Content::Unreadable { kind, why } => {
            notices.push(notice(
                NoticeCode::UnreadableEntry,
                &[id],
                format!("entry {id}, kind {}, cannot be read: {why}; it is carried as it is", kind.word()),
                "write down again what it should say, and withdraw it",
            ));
            return InForce::WithoutEffect;
        }
    };
    if force.in_circle.contains(&id) || force.without_target.contains(&id) {
        return InForce::WithoutEffect;
    }
    for correction in force.corrections.get(&id).into_iter().flatten().rev() {
        let Some(body) = Force::correction(entries, correction) else {
            continue;
        };
        let why = match (known.kind(), read(entry.kind(), body.v.unwrap_or(entry.version()), &body.body)) {
            (Kind::EntryWithdrawn | Kind::EntryCorrected, _) => {
                "a withdrawal or correction is undone by withdrawing it".to_owned()
            }
            (_, Content::Known(new)) => {
                put(state, holding, entry, &new);
                return InForce::Corrected { by: *correction };
            }
            (_, Content::Unreadable { why, .. }) => why,
            (_, Content::NewerVersion(_) | Content::UnknownKind) => "its version is newer than this build".to_owned(),
        };
        notices.push(notice(
            NoticeCode::UnreadableCorrection,
            &[id, *correction],
            format!("correction {correction} does not fit entry {id}, kind {}: {why}; the entry stands", entry.kind()),
            "withdraw the correction and correct the entry again",
        ));
    }
    put(state, holding, entry, known);
    InForce::Standing
}

/// Puts what an entry says into the state.
fn put(state: &mut JobState, holding: &mut Holding, entry: &Entry, body: &EntryBody) {
    fn fact<T: Clone>(entry: &Entry, body: &T) -> Fact<T> {
        Fact { in_entry: entry.id(), made_at: entry.at(), made_by: entry.by().to_owned(), body: body.clone() }
    }
    if let Some(moment) = body.moment() {
        state.moment = Some(moment);
        state.moments.insert(moment);
    }
    let mut place = |position: Option<Position>| {
        if let Some(position) = position {
            holding.places.push((entry.id(), position));
        }
    };
    match body {
        EntryBody::JobOpened(b) => {
            state.title = Some(b.title.clone());
            state.opened_at = Some(entry.at());
            state.customer = b.customer.clone().or(state.customer.take());
            state.promised = b.promised.or(state.promised);
            state.comeback_of = b.comeback_of.or(state.comeback_of);
        }
        EntryBody::ComplaintHeard(b) => state.complaints.push(fact(entry, b)),
        EntryBody::EngineDescribed(b) => {
            state.layout = Some(b.layout.clone());
            state.engine = Some(fact(entry, b));
        }
        EntryBody::VehicleDescribed(b) => merge_vehicle(&mut state.vehicle, b),
        EntryBody::AttributeTold(b) => {
            state.attributes.insert(b.attribute.clone(), b.value.clone());
        }
        EntryBody::PromiseMade(b) => {
            state.promised = Some(b.promised);
            state.promises.push(fact(entry, b));
        }
        EntryBody::CustomerTold(b) => state.customer_told.push(fact(entry, b)),
        EntryBody::EngineFigureSet(b) => {
            place(b.at);
            state.sheet.push(fact(entry, b));
        }
        EntryBody::SheetAdopted(b) => {
            for figure in &b.figures {
                place(figure.at);
                state.sheet.push(fact(entry, figure));
            }
        }
        EntryBody::GaugeDescribed(b) => {
            state.gauges_laid.push(fact(entry, b));
            state.gauges.insert(b.label.clone(), fact(entry, b));
        }
        EntryBody::GaugeDoubted(b) => holding.doubts.push(fact(entry, b)),
        EntryBody::GaugeCleared(b) => {
            state.cleared_gauges.insert(b.label.clone(), entry.id());
            holding.cleared.push((entry.id(), b.label.clone(), b.good));
        }
        EntryBody::ReadingTaken(b) => {
            place(Some(b.position));
            let value = match (&b.outcome, &b.value) {
                (Some(outcome), _) => ReadingValue::Outcome(outcome.clone()),
                (None, Some(figure)) => ReadingValue::Number { text: figure.text.clone(), unit: figure.unit.clone() },
                // A body without any is refused when it is read; nothing to keep.
                (None, None) => match Figure::mean(&b.repeats)
                    .or_else(|| Figure::oval(&b.axes))
                    .or_else(|| Figure::widest(&b.stations))
                {
                    Some(figure) => ReadingValue::Number { text: figure.text, unit: figure.unit },
                    None => return,
                },
            };
            let several = u32::try_from(b.repeats.len()).ok().filter(|n| *n > 0);
            state.readings.push(ReadingTaken {
                entry: entry.id(),
                at: entry.at(),
                by: entry.by().to_owned(),
                check: b.check.clone(),
                reading: b.reading.clone(),
                position: b.position,
                value,
                spot: b.spot.clone(),
                phase: b.phase.unwrap_or(Phase::AsFound),
                gauge: b.gauge.clone(),
                label: b.label.clone(),
                temperature: b.temperature.clone(),
                note: b.note.clone(),
                repeats: b.repeats.clone(),
                mean_of: b.mean_of.or(several),
                stations: b.stations.clone(),
                axes: b.axes.clone(),
                gauge_doubted_by: None,
            });
        }
        EntryBody::WaitStarted(b) => {
            place(Some(b.position));
            state.waits.push(fact(entry, b));
        }
        EntryBody::ReadingSkipped(b) => {
            place(b.position);
            state.skipped.push(fact(entry, b));
        }
        EntryBody::OutsideAnswered(b) => {
            state.outside.insert(b.fault.clone(), fact(entry, b));
        }
        EntryBody::ResidueSeen(b) => {
            place(Some(b.position));
            state.residues.push(fact(entry, b));
        }
        EntryBody::PhotoKept(b) => {
            place(b.position);
            state.photos.push(fact(entry, b));
        }
        EntryBody::StageReached(b) => {
            state.stages_reached.insert(b.stage.clone());
            state.stages_since_run.push(b.stage.clone());
            state.stages_told.push(fact(entry, b));
        }
        EntryBody::CautionTicked(b) => {
            state.cautions_ticked.insert(b.caution.clone());
        }
        EntryBody::PartBagged(b) => {
            place(b.position);
            state.bags.push(fact(entry, b));
        }
        EntryBody::AdviceOverruled(b) => state.overruled.push(fact(entry, b)),
        EntryBody::MoneyTold(b) => merge_money(&mut state.rates, b),
        EntryBody::LimitsTold(b) => state.limits.push(fact(entry, b)),
        EntryBody::ApprovalAsked(b) => state.approvals_asked.push(fact(entry, b)),
        EntryBody::ApprovalGiven(b) => state.approvals.push(fact(entry, b)),
        EntryBody::ApprovalRefused(b) => state.refusals.push(fact(entry, b)),
        EntryBody::TimeWorked(b) => state.time_worked.push(fact(entry, b)),
        EntryBody::CostBooked(b) => state.costs.push(fact(entry, b)),
        EntryBody::QuoteReceived(b) => state.quotes.push(fact(entry, b)),
        EntryBody::OptionRuledOut(b) => state.ruled_out.push(fact(entry, b)),
        EntryBody::OptionChosen(b) => state.chosen = Some(fact(entry, b)),
        EntryBody::CauseNamed(b) => state.cause = Some(CauseAnswer::Named(fact(entry, b))),
        EntryBody::CauseUnknownSigned(b) => state.cause = Some(CauseAnswer::UnknownSigned(fact(entry, b))),
        EntryBody::PartOrdered(b) => state.orders.push(fact(entry, b)),
        EntryBody::PartArrived(b) => state.arrivals.push(fact(entry, b)),
        EntryBody::PartFitted(b) => {
            place(b.position);
            state.fitted.push(fact(entry, b));
        }
        EntryBody::PartReturned(b) => state.returns.push(fact(entry, b)),
        EntryBody::MachineOrderSent(b) => {
            for line in &b.lines {
                place(Some(line.position));
            }
            state.machine_orders.push(fact(entry, b));
        }
        EntryBody::MachineWorkReturned(b) => {
            for line in &b.lines {
                place(Some(line.position));
            }
            state.machine_returns.push(fact(entry, b));
        }
        EntryBody::BuildStepDone(b) => {
            place(b.position);
            state.steps_done.push(fact(entry, b));
        }
        EntryBody::HoldPointSigned(b) => {
            place(b.position);
            state.holds_signed.push(fact(entry, b));
        }
        EntryBody::HoldPointPassedOpen(b) => state.holds_open.push(fact(entry, b)),
        EntryBody::BagEmptied(b) => state.bags_emptied.push(fact(entry, b)),
        EntryBody::StageLeftOut(b) => state.stages_left_out.push(fact(entry, b)),
        EntryBody::BoltsPlaced(b) => {
            place(b.position);
            state.bolts_placed.push(fact(entry, b));
        }
        EntryBody::BoltTightened(b) => {
            place(b.position);
            state.bolts.push(fact(entry, b));
        }
        EntryBody::BoltRestarted(b) => {
            place(b.position);
            state.bolt_restarts.push(fact(entry, b));
        }
        EntryBody::JointDisturbed(b) => {
            place(b.position);
            state.disturbed.push(fact(entry, b));
        }
        EntryBody::EngineRun(b) => {
            state.stages_since_run.clear();
            state.runs.push(fact(entry, b));
        }
        EntryBody::PaperIssued(b) => state.papers.push(fact(entry, b)),
        EntryBody::HandedBack(b) => state.handed_back = Some(fact(entry, b)),
        EntryBody::ComebackOpened(b) => {
            // The engine is here again, so the job is.
            state.closed = None;
            state.comebacks.push(fact(entry, b));
        }
        EntryBody::ComebackDecided(b) => state.comeback_decisions.push(fact(entry, b)),
        EntryBody::OutcomeFound(b) => {
            place(Some(b.position));
            state.outcomes.push(fact(entry, b));
        }
        EntryBody::JobClosed(b) => state.closed = Some(fact(entry, b)),
        EntryBody::PersonalDataErased(b) => state.erased.push(fact(entry, b)),
        EntryBody::NoteWritten(b) => {
            place(b.position);
            state.notes.push(fact(entry, b));
        }
        EntryBody::EntryWithdrawn(_) | EntryBody::EntryCorrected(_) => {}
    }
}

/// Lets the later of two answers win, field by field.
fn later<T: Clone>(kept: &mut Option<T>, told: &Option<T>) {
    if told.is_some() {
        kept.clone_from(told);
    }
}

fn merge_vehicle(kept: &mut VehicleDescribed, told: &VehicleDescribed) {
    later(&mut kept.make, &told.make);
    later(&mut kept.model, &told.model);
    later(&mut kept.plate, &told.plate);
    later(&mut kept.vin, &told.vin);
    later(&mut kept.year, &told.year);
    later(&mut kept.odometer, &told.odometer);
    later(&mut kept.odometer_believed, &told.odometer_believed);
    later(&mut kept.value, &told.value);
    later(&mut kept.horizon_months, &told.horizon_months);
    later(&mut kept.miles_per_year, &told.miles_per_year);
}

fn merge_money(kept: &mut MoneyTold, told: &MoneyTold) {
    later(&mut kept.labour_rate, &told.labour_rate);
    later(&mut kept.standing_per_day, &told.standing_per_day);
    later(&mut kept.tax_percent, &told.tax_percent);
    later(&mut kept.parts_markup_percent, &told.parts_markup_percent);
    later(&mut kept.scrap_value, &told.scrap_value);
    later(&mut kept.tax_name, &told.tax_name);
    later(&mut kept.prices, &told.prices);
    later(&mut kept.tax_by, &told.tax_by);
    later(&mut kept.tax_rounding, &told.tax_rounding);
    if !told.taxed.is_empty() {
        kept.taxed.clone_from(&told.taxed);
    }
}

fn complain_about_force(force: &Force, notices: &mut Vec<Notice>) {
    for id in &force.without_target {
        notices.push(notice(
            NoticeCode::TargetMissing,
            &[*id],
            format!("entry {id} withdraws or corrects an entry that is not in this logbook"),
            "bring in the entries of the other devices; if that changes nothing, withdraw it",
        ));
    }
    if !force.in_circle.is_empty() {
        let mut about = force.in_circle.clone();
        about.sort_unstable();
        notices.push(notice(
            NoticeCode::WithdrawalCircle,
            &about,
            format!("{} withdrawals or corrections name each other in a circle; none of them has effect", about.len()),
            "write down again which entry should count",
        ));
    }
}

/// Doubts a clock that wrote another time than its id carries.
fn doubt_clock(entry: &Entry, notices: &mut Vec<Notice>) {
    let written = i128::from(entry.at().as_millisecond());
    let in_id = i128::from(entry.id().unix_ms());
    if (written - in_id).abs() > CLOCK_SLACK_MS {
        notices.push(notice(
            NoticeCode::ClockDoubted,
            &[entry.id()],
            format!(
                "entry {} says {}, its id was made at another time; the clock of {} is doubted",
                entry.id(),
                entry.at(),
                entry.device()
            ),
            "set the clock of that device; the order of entries stays by their ids",
        ));
    }
    let names = match entry.content() {
        Content::Known(EntryBody::EntryWithdrawn(body)) => Some(body.entry),
        Content::Known(EntryBody::EntryCorrected(body)) => Some(body.entry),
        Content::Known(_) | Content::UnknownKind | Content::NewerVersion(_) | Content::Unreadable { .. } => None,
    };
    if let Some(target) = names
        && target > entry.id()
    {
        notices.push(notice(
            NoticeCode::ClockDoubted,
            &[entry.id(), target],
            format!("entry {} names entry {target}, which by its id was made later; a clock is doubted", entry.id()),
            "set the clocks of both devices; the order of entries stays by their ids",
        ));
    }
}

/// Marks readings by doubted gauges.
fn settle_gauges(state: &mut JobState, holding: &Holding, notices: &mut Vec<Notice>) {
    for doubt in &holding.doubts {
        let cleared = |good: GoodReadings, after: EntryId| {
            holding.cleared.iter().any(|(id, label, which)| {
                *label == doubt.label
                    && *id > doubt.in_entry
                    && match which {
                        GoodReadings::All => true,
                        GoodReadings::Later => good == GoodReadings::Later && after > *id,
                    }
            })
        };
        if cleared(GoodReadings::All, doubt.in_entry) {
            continue;
        }
        let mut about = vec![doubt.in_entry];
        for reading in &mut state.readings {
            if reading.label.as_ref() == Some(&doubt.label) && !cleared(GoodReadings::Later, reading.entry) {
                reading.gauge_doubted_by = Some(doubt.in_entry);
                about.push(reading.entry);
            }
        }
        let put_right = holding.cleared.iter().any(|(id, label, _)| *label == doubt.label && *id > doubt.in_entry);
        if !put_right {
            state.doubted_gauges.insert(doubt.label.clone(), doubt.clone());
        }
        if about.len() > 1 {
            about.sort_unstable();
            notices.push(notice(
                NoticeCode::GaugeDoubted,
                &about,
                format!(
                    "{} reading(s) were taken with gauge {}, which is doubted: {}",
                    about.len() - 1,
                    doubt.label,
                    doubt.reason
                ),
                "measure them again with a gauge that is good",
            ));
        }
    }
}

/// Check, reading, place, spot and phase: what two readings share when they are of the same thing.
type OneThing<'a> = (&'a str, &'a str, Position, Option<&'a str>, Phase);

fn complain_about_readings(state: &JobState, notices: &mut Vec<Notice>) {
    let mut same: BTreeMap<OneThing<'_>, Vec<EntryId>> = BTreeMap::new();
    for r in &state.readings {
        let key = (r.check.as_str(), r.reading.as_str(), r.position, r.spot.as_deref(), r.phase);
        same.entry(key).or_default().push(r.entry);
        if let Some(label) = &r.label
            && !state.gauges.contains_key(label)
        {
            notices.push(notice(
                NoticeCode::GaugeNotDescribed,
                &[r.entry],
                format!("reading {} at {} was taken with gauge {label}, which nobody described", r.check, r.position),
                "describe the gauge, or correct the reading",
            ));
        }
    }
    for ((check, reading, position, spot, _), about) in same {
        if about.len() == 2 {
            let spot = spot.map(|spot| format!(", {spot}")).unwrap_or_default();
            notices.push(notice(
                NoticeCode::TwoReadings,
                &about,
                format!("{check}, {reading} at {position}{spot} was read twice; both readings are kept"),
                "take a third reading if the two differ by more than the gauge explains",
            ));
        }
    }
}

fn complain_about_sheet(state: &JobState, notices: &mut Vec<Notice>) {
    for (place, one) in state.sheet.iter().enumerate() {
        for other in state.sheet.iter().skip(place + 1) {
            let same = one.item == other.item
                && one.bound == other.bound
                && one.body.stands_for() == other.body.stands_for()
                && one.scope == other.scope
                && one.at == other.at;
            if same && (&one.text, &one.text_high, &one.unit) != (&other.text, &other.text_high, &other.unit) {
                notices.push(notice(
                    NoticeCode::FiguresDiffer,
                    &[one.in_entry, other.in_entry],
                    format!(
                        "the engine sheet has {} {} and {} {} for {}, {}",
                        one.text, one.unit, other.text, other.unit, one.item, one.bound
                    ),
                    "open the document at the page, and withdraw the figure that is wrong",
                ));
            }
        }
    }
}

fn complain_about_places(state: &JobState, holding: &Holding, notices: &mut Vec<Notice>) {
    let Some(layout) = &state.layout else { return };
    for (entry, position) in &holding.places {
        if let Err(error) = layout.ensure(position) {
            notices.push(notice(
                NoticeCode::PositionNotOnEngine,
                &[*entry],
                format!("entry {entry}: {error}"),
                "correct the entry or the engine layout",
            ));
        }
    }
}
