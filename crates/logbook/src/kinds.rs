//! Every kind of entry: its word, its moment, its versions, and how its body is read.
//!
//! Each kind has its own list of versions, so that a change in one kind leaves all others alone. To add a kind: a struct
//! in [`crate::bodies`], a line here, its effect in [`mod@crate::fold`], and one line in a new folder under
//! `tests/formats/`.

use serde::Serialize;
use serde::de::Error as _;
use serde_json::Value;

use crate::asking::{AnswerCode, page_hash};
use crate::bodies::*;
use crate::words::Moment;

macro_rules! kinds {
    ($($(#[$doc:meta])* $case:ident($body:ty) = $word:literal, $moment:expr, [$($version:ident = $number:literal),+], $latest:ident;)+) => {
        /// The kind of an entry this build knows.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
        pub enum Kind { $($(#[$doc])* $case),+ }

        impl Kind {
            /// Every kind, in the order of the eight moments.
            pub const ALL: &'static [Kind] = &[$(Kind::$case),+];

            /// Gives the word the kind is stored as.
            #[must_use]
            pub const fn word(self) -> &'static str {
                match self { $(Kind::$case => $word),+ }
            }

            /// Finds the kind of a word.
            #[must_use]
            pub fn from_word(word: &str) -> Option<Kind> {
                Self::ALL.iter().copied().find(|kind| kind.word() == word)
            }

            /// Gives the moment an entry of this kind mostly belongs to; a reading after work belongs to
            /// [`Moment::Prove`] whatever its kind says ([`EntryBody::moment`]).
            #[must_use]
            pub const fn moment(self) -> Option<Moment> {
                match self { $(Kind::$case => $moment),+ }
            }

            /// Gives the version this build writes.
            #[must_use]
            pub const fn latest_version(self) -> u32 {
                match self { $(Kind::$case => versions::$case::$latest as u32),+ }
            }
        }

        /// What an entry says, read.
        #[derive(Debug, Clone, PartialEq, Serialize)]
        #[serde(untagged)]
        pub enum EntryBody { $($(#[$doc])* $case($body)),+ }

        impl EntryBody {
            /// Gives the kind.
            #[must_use]
            pub const fn kind(&self) -> Kind {
                match self { $(EntryBody::$case(_) => Kind::$case),+ }
            }

            /// Reads the body of a kind in one of its versions; `None` for a version this build does not know.
            ///
            /// # Errors
            /// Says which field is missing, unknown or of the wrong form.
            pub fn read(kind: Kind, version: u32, body: &Value) -> Result<Option<EntryBody>, serde_json::Error> {
                let read = match kind {
                    $(Kind::$case => match versions::$case::from_number(version) {
                        $(Some(versions::$case::$version) => EntryBody::$case(serde::Deserialize::deserialize(body)?),)+
                        None => return Ok(None),
                    }),+
                };
                read.ensure().map_err(serde_json::Error::custom)?;
                if read.version() > version {
                    let why = format!("it holds fields of version {}, and the entry says {version}", read.version());
                    return Err(serde_json::Error::custom(why));
                }
                Ok(Some(read))
            }
        }

        /// The versions of each kind, one list a kind.
        pub mod versions {
            $(
                $(#[$doc])*
                #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
                pub enum $case { $(
                    #[doc = concat!("Version ", stringify!($number), ".")]
                    $version = $number
                ),+ }

                impl $case {
                    /// Finds the version of a number.
                    #[must_use]
                    pub const fn from_number(number: u32) -> Option<$case> {
                        match number { $($number => Some($case::$version),)+ _ => None }
                    }
                }
            )+
        }
    };
}

kinds! {
    /// A job was opened.
    JobOpened(JobOpened) = "job-opened", Some(Moment::Hear), [V1 = 1], V1;
    /// The complaint was heard.
    ComplaintHeard(ComplaintHeard) = "complaint-heard", Some(Moment::Hear), [V1 = 1], V1;
    /// The engine was described.
    EngineDescribed(EngineDescribed) = "engine-described", Some(Moment::Hear), [V1 = 1], V1;
    /// The vehicle was described.
    VehicleDescribed(VehicleDescribed) = "vehicle-described", Some(Moment::Hear), [V1 = 1], V1;
    /// A fact that moves the odds was told.
    AttributeTold(AttributeTold) = "attribute-told", Some(Moment::Hear), [V1 = 1], V1;
    /// A date was promised.
    PromiseMade(PromiseMade) = "promise-made", None, [V1 = 1], V1;
    /// Something was said to the customer.
    CustomerTold(CustomerTold) = "customer-told", None, [V1 = 1], V1;
    /// A figure of the maker was typed.
    EngineFigureSet(EngineFigure) = "engine-figure-set", None, [V1 = 1], V1;
    /// An engine sheet was taken over.
    SheetAdopted(SheetAdopted) = "sheet-adopted", None, [V1 = 1], V1;
    /// A gauge was laid ready.
    GaugeDescribed(GaugeDescribed) = "gauge-described", None, [V1 = 1], V1;
    /// A gauge turned out doubtful.
    GaugeDoubted(GaugeDoubted) = "gauge-doubted", None, [V1 = 1], V1;
    /// A doubted gauge was found good.
    GaugeCleared(GaugeCleared) = "gauge-cleared", None, [V1 = 1], V1;
    /// A reading was taken.
    ReadingTaken(ReadingBody) = "reading-taken", Some(Moment::Test), [V1 = 1, V2 = 2, V3 = 3], V3;
    /// Something was set going that must stand before it is read.
    WaitStarted(WaitStarted) = "wait-started", Some(Moment::Test), [V1 = 1], V1;
    /// A check was left out on purpose.
    ReadingSkipped(ReadingSkipped) = "reading-skipped", None, [V1 = 1], V1;
    /// A question about what is not the engine was answered.
    OutsideAnswered(OutsideAnswered) = "outside-answered", Some(Moment::Test), [V1 = 1], V1;
    /// A residue was seen.
    ResidueSeen(ResidueSeen) = "residue-seen", None, [V1 = 1], V1;
    /// A picture was kept.
    PhotoKept(PhotoKept) = "photo-kept", None, [V1 = 1, V2 = 2], V2;
    /// The engine was opened as far as a stage.
    StageReached(StageReached) = "stage-reached", Some(Moment::Strip), [V1 = 1], V1;
    /// A caution was ticked.
    CautionTicked(CautionTicked) = "caution-ticked", None, [V1 = 1], V1;
    /// Small parts were bagged.
    PartBagged(PartBagged) = "part-bagged", Some(Moment::Strip), [V1 = 1, V2 = 2], V2;
    /// Advice was not followed.
    AdviceOverruled(AdviceOverruled) = "advice-overruled", None, [V1 = 1], V1;
    /// The money that choices are made with.
    MoneyTold(MoneyTold) = "money-told", None, [V1 = 1, V2 = 2], V2;
    /// What the customer cannot go beyond.
    LimitsTold(LimitsTold) = "limits-told", None, [V1 = 1], V1;
    /// A yes was asked for.
    ApprovalAsked(ApprovalAsked) = "approval-asked", Some(Moment::Choose), [V1 = 1, V2 = 2], V2;
    /// The customer said yes.
    ApprovalGiven(ApprovalGiven) = "approval-given", Some(Moment::Choose), [V1 = 1], V1;
    /// The customer said no.
    ApprovalRefused(ApprovalRefused) = "approval-refused", Some(Moment::Choose), [V1 = 1, V2 = 2], V2;
    /// Time was worked.
    TimeWorked(TimeWorked) = "time-worked", None, [V1 = 1], V1;
    /// Money was spent.
    CostBooked(CostBooked) = "cost-booked", None, [V1 = 1], V1;
    /// A quote came in.
    QuoteReceived(QuoteReceived) = "quote-received", Some(Moment::Order), [V1 = 1], V1;
    /// A repair option was ruled out.
    OptionRuledOut(OptionRuledOut) = "option-ruled-out", Some(Moment::Choose), [V1 = 1], V1;
    /// A repair option was chosen.
    OptionChosen(OptionChosen) = "option-chosen", Some(Moment::Choose), [V1 = 1], V1;
    /// The reason the engine failed was named.
    CauseNamed(CauseNamed) = "cause-named", Some(Moment::Choose), [V1 = 1], V1;
    /// Somebody signed that the reason is unknown.
    CauseUnknownSigned(CauseUnknownSigned) = "cause-unknown-signed", Some(Moment::Choose), [V1 = 1], V1;
    /// A part was ordered.
    PartOrdered(PartOrdered) = "part-ordered", Some(Moment::Order), [V1 = 1], V1;
    /// A part arrived.
    PartArrived(PartArrived) = "part-arrived", Some(Moment::Order), [V1 = 1], V1;
    /// A part was fitted.
    PartFitted(PartFitted) = "part-fitted", Some(Moment::Build), [V1 = 1], V1;
    /// A part went back.
    PartReturned(PartReturned) = "part-returned", Some(Moment::Order), [V1 = 1, V2 = 2], V2;
    /// A machine order went out.
    MachineOrderSent(MachineOrderSent) = "machine-order-sent", Some(Moment::Order), [V1 = 1, V2 = 2], V2;
    /// Machine work came back.
    MachineWorkReturned(MachineWorkReturned) = "machine-work-returned", Some(Moment::Order), [V1 = 1, V2 = 2], V2;
    /// A step of the build was done.
    BuildStepDone(BuildStepDone) = "build-step-done", Some(Moment::Build), [V1 = 1], V1;
    /// A hold point was signed.
    HoldPointSigned(HoldPointSigned) = "hold-point-signed", Some(Moment::Build), [V1 = 1, V2 = 2], V2;
    /// A hold point was passed without its proof.
    HoldPointPassedOpen(HoldPointPassedOpen) = "hold-point-passed-open", Some(Moment::Build), [V1 = 1], V1;
    /// A bag was asked back.
    BagEmptied(BagEmptied) = "bag-emptied", Some(Moment::Build), [V1 = 1], V1;
    /// A stage of the build is not touched.
    StageLeftOut(StageLeftOut) = "stage-left-out", Some(Moment::Build), [V1 = 1], V1;
    /// The bolts of a joint were set down.
    BoltsPlaced(BoltsPlaced) = "bolts-placed", Some(Moment::Build), [V1 = 1], V1;
    /// A bolt was tightened through one stage.
    BoltTightened(BoltTightened) = "bolt-tightened", Some(Moment::Build), [V1 = 1], V1;
    /// A bolt starts again.
    BoltRestarted(BoltRestarted) = "bolt-restarted", Some(Moment::Build), [V1 = 1], V1;
    /// A finished joint was disturbed.
    JointDisturbed(JointDisturbed) = "joint-disturbed", Some(Moment::Build), [V1 = 1], V1;
    /// The engine was run.
    EngineRun(EngineRun) = "engine-run", Some(Moment::Prove), [V1 = 1], V1;
    /// A paper left the shop.
    PaperIssued(PaperIssued) = "paper-issued", None, [V1 = 1, V2 = 2, V3 = 3, V4 = 4], V4;
    /// The engine went back to its owner.
    HandedBack(HandedBack) = "handed-back", Some(Moment::HandBack), [V1 = 1], V1;
    /// The engine came back.
    ComebackOpened(ComebackOpened) = "comeback-opened", Some(Moment::Hear), [V1 = 1], V1;
    /// Who bears the comeback was decided.
    ComebackDecided(ComebackDecided) = "comeback-decided", Some(Moment::HandBack), [V1 = 1], V1;
    /// What a condition turned out to be.
    OutcomeFound(OutcomeFound) = "outcome-found", None, [V1 = 1], V1;
    /// The job ended.
    JobClosed(JobClosed) = "job-closed", Some(Moment::HandBack), [V1 = 1], V1;
    /// What was kept about a customer was erased.
    PersonalDataErased(PersonalDataErased) = "personal-data-erased", None, [V1 = 1], V1;
    /// A note.
    NoteWritten(NoteWritten) = "note-written", None, [V1 = 1], V1;
    /// An entry is taken back.
    EntryWithdrawn(EntryWithdrawn) = "entry-withdrawn", None, [V1 = 1], V1;
    /// An entry is put right.
    EntryCorrected(EntryCorrected) = "entry-corrected", None, [V1 = 1], V1;
}

impl Kind {
    /// Gives the version to write a stored body in: the oldest that holds all it says, so that an older build reads it.
    #[must_use]
    pub fn version_for(self, body: &Value) -> u32 {
        match EntryBody::read(self, self.latest_version(), body) {
            Ok(Some(body)) => body.version(),
            Ok(None) | Err(_) => self.latest_version(),
        }
    }
}

impl EntryBody {
    /// Gives the version this body is written in: the oldest that holds all it says, so that an older build reads it.
    #[must_use]
    pub fn version(&self) -> u32 {
        if let EntryBody::ReadingTaken(r) = self
            && r.stations.is_empty()
            && r.axes.is_empty()
        {
            return if r.repeats.is_empty() && r.mean_of.is_none() { 1 } else { 2 };
        }
        if let EntryBody::PaperIssued(issued) = self {
            use crate::words::Paper;
            return match issued.paper {
                Paper::Findings => 4,
                Paper::BenchSheet | Paper::PurchaseOrder | Paper::Labels | Paper::Invoice => 3,
                Paper::TeardownEstimate => 2,
                Paper::CustomerPage
                | Paper::Estimate
                | Paper::MachineOrder
                | Paper::PartsList
                | Paper::BuildSheet
                | Paper::Proof
                | Paper::HandBack => 1,
            };
        }
        if let EntryBody::PartReturned(back) = self {
            let new = back.why == crate::words::ReturnKind::Damaged || back.again.is_some() || back.pays.is_some();
            return if new { 2 } else { 1 };
        }
        if let EntryBody::HoldPointSigned(signed) = self {
            return if signed.outer.is_none() && signed.inner.is_none() { 1 } else { 2 };
        }
        if let EntryBody::MachineOrderSent(order) = self {
            return if order.promised.is_none() { 1 } else { 2 };
        }
        if let EntryBody::MachineWorkReturned(back) = self {
            return if back.lines.iter().all(|line| line.u.is_none()) { 1 } else { 2 };
        }
        if let EntryBody::ApprovalAsked(ask) = self {
            return if ask.code.is_none() && ask.answer_by.is_none() && ask.shown.is_empty() { 1 } else { 2 };
        }
        if let EntryBody::MoneyTold(told) = self {
            let of_tax = told.tax_name.is_some()
                || told.prices.is_some()
                || told.tax_by.is_some()
                || told.tax_rounding.is_some()
                || !told.taxed.is_empty();
            return if of_tax { 2 } else { 1 };
        }
        if let EntryBody::PhotoKept(photo) = self {
            return if photo.bag.is_none() { 1 } else { 2 };
        }
        if let EntryBody::PartBagged(bagged) = self {
            let new = bagged.joint.is_some()
                || bagged.stage.is_some()
                || bagged.own_place.is_some()
                || bagged.keep.is_some()
                || !bagged.from_bolts.is_empty();
            return if new { 2 } else { 1 };
        }
        if let EntryBody::ApprovalRefused(refusal) = self {
            return if refusal.page.is_none() { 1 } else { 2 };
        }
        self.kind().latest_version()
    }

    /// Gives the moment this entry belongs to, when it belongs to one.
    #[must_use]
    pub fn moment(&self) -> Option<Moment> {
        use crate::words::Phase;
        let phase = if let EntryBody::ReadingTaken(reading) = self {
            reading.phase
        } else if let EntryBody::WaitStarted(wait) = self {
            wait.phase
        } else {
            return self.kind().moment();
        };
        Some(match phase.unwrap_or(Phase::AsFound) {
            Phase::AsFound => Moment::Test,
            Phase::Arrival => Moment::Order,
            Phase::AsLeft => Moment::Prove,
            Phase::Recheck => Moment::HandBack,
        })
    }

    /// Passes a body whose fields agree with each other, and says what does not agree otherwise.
    ///
    /// # Errors
    /// One sentence that names the fields, what was expected and the next move.
    pub fn ensure(&self) -> Result<(), String> {
        let figure = |name: &str, figure: &Figure| {
            if figure.text.trim().is_empty() {
                Err(format!(
                    "{name}.text is empty: expected the digits as typed; type the number or leave the field out"
                ))
            } else {
                Ok(())
            }
        };
        let digest = |name: &str, text: &str| {
            let good = text.len() == 64 && text.bytes().all(|b| b.is_ascii_digit() || (b'a'..=b'f').contains(&b));
            if good {
                Ok(())
            } else {
                Err(format!("{name}: expected 64 small hexadecimal digits of a SHA-256; take it from the kept file"))
            }
        };
        if let EntryBody::ReadingTaken(reading) = self {
            match (&reading.outcome, &reading.value) {
                (_, _) if !reading.axes.is_empty() => ensure_axes(reading)?,
                (_, _) if !reading.stations.is_empty() => ensure_stations(reading)?,
                (None, None) if !reading.repeats.is_empty() => ensure_repeats(&reading.repeats)?,
                (_, _) if !reading.repeats.is_empty() => {
                    return Err("repeats: expected no outcome and no value beside them; the mean is worked out".into());
                }
                (Some(_), None) => {}
                (None, Some(value)) => figure("value", value)?,
                (Some(_), Some(_)) => {
                    return Err(
                        "outcome and value: expected one of them, found both; keep the one the reading asks for".into(),
                    );
                }
                (None, None) => {
                    return Err(
                        "outcome and value: expected one of them, found none; add the one the reading asks for".into(),
                    );
                }
            }
        }
        if let EntryBody::ReadingTaken(reading) = self
            && let Some(n) = reading.mean_of
            && (n < 2 || reading.value.is_none())
        {
            return Err(format!(
                "mean_of {n}: expected two or more and the mean as value; say how many, or leave it out"
            ));
        }
        if let EntryBody::MoneyTold(told) = self
            && self.version() > 1
            && let Some(percent) = &told.tax_percent
            && quantity::tax::part_of_one(percent).is_none()
        {
            return Err(format!("tax_percent {percent:?}: expected per cent from 0 to 1000; type it as 19 or 8.25"));
        }
        if let EntryBody::EngineFigureSet(set) = self {
            ensure_range(set)?;
        }
        if let EntryBody::SheetAdopted(sheet) = self {
            sheet.figures.iter().try_for_each(ensure_range)?;
        }
        if let EntryBody::QuoteReceived(quote) = self {
            let [best, worst] = quote.lead_days;
            if best > worst {
                return Err(format!("lead_days [{best}, {worst}]: expected the fewer days first; swap them"));
            }
            if quote.need.is_some() == quote.option.is_some() {
                return Err("need and option: expected exactly one of them; say what the quote is for".into());
            }
        }
        if let EntryBody::BoltsPlaced(placed) = self {
            ensure_pattern(placed)?;
        }
        if let EntryBody::LimitsTold(limits) = self {
            if limits.bad_bill.is_some() != limits.bears.is_some() {
                return Err(
                    "bad_bill and bears: expected both or neither; say which bill, and whether it could be borne"
                        .into(),
                );
            }
            if limits.most.is_none() && limits.ready_by.is_none() && limits.bad_bill.is_none() {
                return Err(
                    "most, ready_by and bad_bill: expected one of them at least, found none; say what the limit is"
                        .into(),
                );
            }
        }
        if let EntryBody::ApprovalAsked(ask) = self {
            ensure_asked(ask)?;
        }
        if let EntryBody::PhotoKept(photo) = self {
            digest("sha256", &photo.sha256)?;
        }
        if let EntryBody::PaperIssued(paper) = self {
            digest("sha256", &paper.sha256)?;
        }
        if let EntryBody::PartBagged(bagged) = self {
            ensure_bagged(bagged)?;
        }
        if let EntryBody::BagEmptied(emptied) = self {
            ensure_emptied(emptied)?;
        }
        if let EntryBody::BoltTightened(bolt) = self
            && (bolt.bolt == 0 || bolt.stage == 0)
        {
            return Err("bolt and stage count from 1: found 0; use the numbers of the tightening sequence".into());
        }
        Ok(())
    }
}

/// Passes a question whose page has the hash of what it showed, and whose code is a good one.
fn ensure_asked(ask: &ApprovalAsked) -> Result<(), String> {
    if let Some(code) = &ask.code {
        let read = AnswerCode::read(code).map_err(|e| format!("code: {e}"))?;
        if read.as_str() != code {
            return Err(format!("code: expected seven signs as they are kept, `{}`; found `{code}`", read.as_str()));
        }
        if ask.shown.is_empty() {
            return Err("code: expected what the page showed beside it; make the page, it brings its code".into());
        }
    }
    if ask.shown.is_empty() {
        return Ok(());
    }
    let hash = page_hash(&ask.shown);
    match &ask.page {
        Some(page) if *page == hash => Ok(()),
        Some(_) => Err("page: expected the hash of what stands in shown; make the page anew".into()),
        None => Err("page: expected the hash of what stands in shown, found none; make the page anew".into()),
    }
}

/// Passes parts whose bolts are counted from 1, each named once, beside the joint that they are of.
fn ensure_bagged(bagged: &PartBagged) -> Result<(), String> {
    let bolts = &bagged.from_bolts;
    if !bolts.is_empty() && bagged.joint.is_none() {
        return Err("from_bolts: expected the joint beside it; say of which joint these bolts are".into());
    }
    if bolts.contains(&0) {
        return Err("from_bolts counts from 1: found 0; use the numbers of the tightening sequence".into());
    }
    let twice = bolts.iter().enumerate().find(|(n, bolt)| bolts.iter().take(*n).any(|b| b == *bolt));
    match twice {
        Some((_, bolt)) => Err(format!("from_bolts: bolt {bolt} is named twice; name each once")),
        None => Ok(()),
    }
}

/// Passes a bag that is back in, or that says in words why it is not.
fn ensure_emptied(emptied: &BagEmptied) -> Result<(), String> {
    use crate::words::BagEnd;
    let said = emptied.words.as_ref().is_some_and(|words| !words.trim().is_empty());
    match emptied.how {
        BagEnd::SomethingWrong if !said => {
            Err("words: expected what is missing or damaged, found none; say what it is".into())
        }
        BagEnd::NotUsed if !said => {
            Err("words: expected why it is not used again, found none; say what went in instead".into())
        }
        BagEnd::BackIn | BagEnd::SomethingWrong | BagEnd::NotUsed => Ok(()),
    }
}

/// Passes two or more numbers in one unit.
fn ensure_repeats(repeats: &[Figure]) -> Result<(), String> {
    let unit = repeats.first().map(|f| f.unit.as_str()).unwrap_or_default();
    if repeats.len() < 2 {
        return Err("repeats: expected two or more; write one reading as value".into());
    }
    if let Some(other) = repeats.iter().find(|f| f.unit != unit) {
        return Err(format!("repeats: {} beside {unit}; write all of them in one unit", other.unit));
    }
    match repeats.iter().find(|f| f.number().is_none()) {
        Some(bad) => Err(format!("repeats: {:?} is no number; type the digits as shown", bad.text)),
        None => Ok(()),
    }
}

/// Passes three sizes that stand alone, on the axes at 0, 45 and 90 degrees, in one unit.
fn ensure_axes(reading: &ReadingBody) -> Result<(), String> {
    let alone = reading.outcome.is_none() && reading.value.is_none() && reading.mean_of.is_none();
    if !(alone && reading.repeats.is_empty() && reading.stations.is_empty()) {
        return Err("axes: expected nothing else beside them; the oval through them is the value".into());
    }
    let degrees: Vec<u16> = reading.axes.iter().map(|axis| axis.degrees).collect();
    if degrees != [0, 45, 90] {
        return Err(format!("axes {degrees:?}: expected 0, 45 and 90 degrees, each once and in this sequence"));
    }
    let unit = reading.axes.first().map(|axis| axis.size.unit.as_str()).unwrap_or_default();
    match reading.axes.iter().find(|axis| axis.size.unit != unit || axis.size.number().is_none()) {
        Some(bad) => Err(format!(
            "axes: {:?} {} at {} degrees: expected a number in one unit with the others; type the digits as shown",
            bad.size.text, bad.size.unit, bad.degrees
        )),
        None => Ok(()),
    }
}

/// Passes stations of a straightedge that stand alone, on a named line, each with a blade, rising along it.
fn ensure_stations(reading: &ReadingBody) -> Result<(), String> {
    if reading.outcome.is_some() || reading.value.is_some() || !reading.repeats.is_empty() || reading.mean_of.is_some()
    {
        return Err(
            "stations: expected no outcome, value, repeats or mean_of beside them; the widest blade is the value"
                .into(),
        );
    }
    if reading.spot.is_none() {
        return Err("stations: expected the line of the straightedge as spot; say which line it lay along".into());
    }
    let mut before: Option<f64> = None;
    for station in &reading.stations {
        let at = format!("stations: {} {}", station.along.text, station.along.unit);
        let read = |name: &str, figure: &Figure| {
            let number = figure.number_in("mm").filter(|mm| *mm >= 0.0);
            number.ok_or_else(|| {
                format!(
                    "{at}: {name} {:?} {} is no length from nought up; type the digits as read",
                    figure.text, figure.unit
                )
            })
        };
        let along = read("along", &station.along)?;
        match before {
            Some(last) if along <= last && last - along < 1e-9 => {
                return Err(format!(
                    "{at} is read twice; keep the better of the two, or lay the edge again as an entry of its own"
                ));
            }
            Some(last) if along < last => {
                return Err(format!(
                    "{at} lies before the one above it; give them in sequence from the end the line is named from"
                ));
            }
            Some(_) | None => before = Some(along),
        }
        let enters = station.enters.as_ref().map(|f| read("enters", f)).transpose()?;
        let refused = station.refused.as_ref().map(|f| read("refused", f)).transpose()?;
        match (enters, refused) {
            (None, None) => {
                return Err(format!("{at} has no blade; say which enters, which is refused, or leave the station out"));
            }
            (Some(enters), Some(refused)) if refused < enters => {
                return Err(format!(
                    "{at}: the blade that enters is thicker than the one that is refused; swap the two or read again"
                ));
            }
            (Some(_), Some(_)) | (Some(_), None) | (None, Some(_)) => {}
        }
    }
    Ok(())
}

/// Passes two bolts or more with places in lengths, and a sequence that names each of them once and says its page.
fn ensure_pattern(placed: &BoltsPlaced) -> Result<(), String> {
    let n = placed.bolts.len();
    if n < 2 {
        return Err(format!("bolts: found {n}; expected two or more, each with its place along and across"));
    }
    for (place, bolt) in (1..).zip(&placed.bolts) {
        for (name, figure) in [("along", &bolt.along), ("across", &bolt.across)] {
            if figure.number_in("mm").is_none() {
                return Err(format!(
                    "bolt {place}: {name} {:?} {} is no length; type the millimetres from the front",
                    figure.text, figure.unit
                ));
            }
        }
    }
    if placed.sequence.is_empty() {
        return Ok(());
    }
    let mut sorted: Vec<usize> = placed.sequence.iter().map(|s| usize::from(*s)).collect();
    sorted.sort_unstable();
    if sorted != (1..=n).collect::<Vec<_>>() {
        return Err(format!("sequence: expected every bolt from 1 to {n} once; type the places of the list above"));
    }
    if placed.document.is_none() || placed.page.is_none() {
        return Err("sequence: expected the manual and its page with it; without them leave the sequence out".into());
    }
    Ok(())
}

fn ensure_range(figure: &EngineFigure) -> Result<(), String> {
    use crate::words::Bound;
    let range = match figure.bound {
        Bound::Range => true,
        Bound::Max | Bound::Min | Bound::Nominal => false,
    };
    if range == figure.text_high.is_some() {
        Ok(())
    } else if range {
        Err(format!("{}: bound range needs text_high; add the upper figure", figure.item))
    } else {
        Err(format!("{}: text_high belongs to bound range only; leave it out or set bound to range", figure.item))
    }
}
