//! What opening an engine costs before anybody knows what it will show: opening, putting it back as it was, what opening
//! destroys, and what is owed when the customer stops there.
//!
//! Opening is by the stages of strip-down that are not reached yet. Putting back is what closing those stages costs where
//! nothing else is mended; a stage for which nothing is priced takes as long to close as to open \[ours\].

use anatomy::{EngineLayout, Scope};
use knowledge::limits::AppliesTo;
use knowledge::workshop::{Part, RepairOption, Reuse, Span};
use knowledge::{BlockPer, Knowledge, Stage};
use logbook::JobState;
use quantity::{Decimal, Money};

use crate::Case;
use crate::estimate::Range;
use crate::work::stated;
use crate::{opened, words};

/// One line: what, how the price comes about, and the price where the hourly rate is told.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// What is done.
    pub what: String,
    /// Labour units from low to high.
    pub units: Span,
    /// The same in money.
    pub price: Option<Range>,
}

/// A part that opening destroys.
#[derive(Debug, Clone, PartialEq)]
pub struct Destroyed<'k> {
    /// The joint.
    pub joint: &'k str,
    /// The part.
    pub part: &'k Part,
}

/// The price of opening an engine as far as a stage.
#[derive(Debug, Clone, PartialEq)]
pub struct Teardown<'k> {
    /// The stages that are still to be reached, in their order.
    pub stages: Vec<&'k Stage>,
    /// Opening, stage by stage.
    pub opening: Vec<Line>,
    /// Putting it back as it was.
    pub closing: Vec<Line>,
    /// Parts that opening destroys; putting back pays for them.
    pub destroyed: Vec<Destroyed<'k>>,
    /// What is owed when the customer stops there and takes the engine as it lies.
    pub stop_here: Option<Range>,
    /// What is owed when it is put back as it was.
    pub put_back: Option<Range>,
    /// Whether any of it cannot be undone without new parts.
    pub one_way: bool,
}

/// The stage that is to be opened next: what the best check needs that is not reached, else what the best option needs.
#[must_use]
pub fn next_stage<'k>(case: &Case, state: &JobState, knowledge: &'k Knowledge) -> Option<&'k Stage> {
    let reached = opened::open_now(state, knowledge);
    let closed =
        |id: &str| knowledge.stage(id).map(|s| &s.value).filter(|s| !reached.contains(&s.id) && !s.opens.is_empty());
    let by_check = case.advice.next.iter().find_map(|next| closed(&next.stage));
    let option = knowledge.options.iter().find(|o| o.id == case.advice.best);
    let by_option = || option.into_iter().flat_map(|o| &o.access).filter_map(|s| closed(s)).max_by_key(|s| s.order);
    by_check.or_else(by_option)
}

/// The price of opening an engine as far as a stage; nothing where it is open so far already.
#[must_use]
pub fn of<'k>(
    state: &JobState,
    layout: &EngineLayout,
    knowledge: &'k Knowledge,
    to: &'k Stage,
) -> Option<Teardown<'k>> {
    let reached = opened::open_now(state, knowledge);
    let below = to.needs.iter().filter_map(|id| knowledge.stage(id)).map(|s| &s.value);
    let mut stages: Vec<&Stage> = below.chain(std::iter::once(to)).filter(|s| !reached.contains(&s.id)).collect();
    stages.sort_by_key(|s| s.order);
    stages.dedup_by_key(|s| &s.id);
    if stages.is_empty() {
        return None;
    }
    let rate = state.rates.labour_rate.filter(|r| r.amount() > Decimal::ZERO);
    let line = |what: String, units: Span| Line { what, units, price: money(rate, units) };
    let hours = |stage: &Stage| Span { lo: stage.access_minutes / 60.0, hi: stage.access_minutes / 60.0 };
    let named = |stage: &Stage| words::words(&stage.id);
    let opening: Vec<Line> = stages
        .iter()
        .filter(|s| s.access_minutes > 0.0)
        .map(|s| line(format!("Opening as far as: {}", named(s)), hours(s)))
        .collect();
    // The price of closing a stage holds that of the stages on the way to it.
    let priced: Vec<Option<Span>> = stages.iter().map(|s| put_back(layout, knowledge, &s.id)).collect();
    let deepest = priced.iter().rposition(Option::is_some);
    let mut closing: Vec<Line> = Vec::new();
    for (place, (stage, priced)) in stages.iter().zip(&priced).enumerate() {
        let held = priced.is_none() && deepest.is_some_and(|deepest| place < deepest);
        let units = priced.unwrap_or_else(|| hours(stage));
        if !held && units.hi > 0.0 {
            closing.push(line(format!("Putting it back from: {}", named(stage)), units));
        }
    }
    let told = stated(state, layout, knowledge);
    let has = |part: &Part| !AppliesTo::spoken_against(&part.applies, |name| told.get(name).map(String::as_str));
    let joints = knowledge.joints.iter().filter(|j| stages.iter().any(|s| s.opens.contains(&j.id)));
    let destroyed: Vec<Destroyed<'k>> = joints
        .flat_map(|j| j.value.parts.iter().map(move |part| Destroyed { joint: &j.value.name, part }))
        .filter(|d| d.part.reuse == Reuse::Never && has(d.part))
        .collect();
    let stop_here = sum(&opening);
    let put_back = stop_here.zip(sum(&closing)).and_then(|(a, b)| a.plus(&b));
    let one_way = stages.iter().any(|s| s.one_way);
    Some(Teardown { stages, opening, closing, destroyed, stop_here, put_back, one_way })
}

/// What closing a stage costs where its blocks are sound and nothing is mended, new once-only parts included: that of the
/// first option that prices it.
fn put_back(layout: &EngineLayout, knowledge: &Knowledge, stage: &str) -> Option<Span> {
    let of_option = |option: &RepairOption| {
        let mut out: Option<Span> = None;
        for back in option.put_back.iter().filter(|b| b.stage == stage) {
            let block = knowledge.blocks.iter().map(|b| &b.value).find(|b| b.id == back.block)?;
            if block.classes.first().is_none_or(|mildest| !back.classes.contains(mildest)) {
                continue;
            }
            let times = match block.per {
                BlockPer::Bank => layout.positions(Scope::Bank).len(),
                BlockPer::Engine => 1,
            };
            let span = back.cost.times(u32::try_from(times).map_or(1.0, f64::from));
            let sum = out.unwrap_or(Span::ZERO);
            out = Some(Span { lo: sum.lo + span.lo, hi: sum.hi + span.hi });
        }
        out
    };
    knowledge.options.iter().map(|o| &o.value).filter(|o| o.keeps_engine).find_map(of_option)
}

fn money(rate: Option<Money>, units: Span) -> Option<Range> {
    let amount = |x: f64| rate?.times(Decimal::try_from(x).ok()?).ok();
    Some(Range { lo: amount(units.lo)?, hi: amount(units.hi)? })
}

/// What some lines come to; nothing where one has no price.
fn sum(lines: &[Line]) -> Option<Range> {
    let all: Vec<Range> = lines.iter().map(|l| l.price).collect::<Option<_>>()?;
    Range::sum(&all)
}
