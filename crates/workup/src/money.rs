//! What each repair option costs in each state of the engine, in labour units and in money.
//!
//! A block (one head, the set of bores, the bottom end) has one class: the worst of its members. The bill of an option
//! follows the formula that [`RepairOption`] states: what is paid whatever is found, opening as far as its blocks call
//! for (each stage once), each block by class, parts one by one, closing up what was opened, and what it leaves or
//! brings of its own. So "one more leaking valve on a head that needs a valve job anyway" costs nothing, as it should.

use std::collections::{BTreeMap, BTreeSet};

use anatomy::{EngineLayout, Position, Scope};
use knowledge::workshop::{Growth, HORIZON_MILES, RepairOption, Residual, Span};
use knowledge::{Block, BlockPer, Knowledge};
use logbook::{Fact, JobState, QuoteReceived};
use quantity::Money;
use serde::Serialize;

use crate::network::EngineNet;
use crate::opened;

/// One block of this engine: its classes and what puts it into them.
#[derive(Debug, Clone)]
pub struct BlockHere {
    /// The block.
    pub id: String,
    /// Its name on this engine.
    pub name: String,
    /// The site: a bank, or the whole engine.
    pub position: Position,
    /// Classes, mildest first.
    pub classes: Vec<String>,
    /// Per member variable: the class of each of its states.
    pub members: Vec<(usize, Vec<usize>)>,
}

/// The blocks of an engine.
#[must_use]
pub fn blocks(net: &EngineNet, layout: &EngineLayout, knowledge: &Knowledge) -> Vec<BlockHere> {
    let mut out = Vec::new();
    for block in &knowledge.blocks {
        let sites = match block.per {
            BlockPer::Bank => layout.positions(Scope::Bank),
            BlockPer::Engine => layout.positions(Scope::Engine),
        };
        let many = sites.len() > 1;
        for site in sites {
            let members = members(block, &site, net, layout);
            let name = if many { format!("{}, {}", block.name, layout.label(&site)) } else { block.name.clone() };
            out.push(BlockHere { id: block.id.clone(), name, position: site, classes: block.classes.clone(), members });
        }
    }
    out
}

fn members(block: &Block, site: &Position, net: &EngineNet, layout: &EngineLayout) -> Vec<(usize, Vec<usize>)> {
    let mut out = Vec::new();
    for member in &block.members {
        for ((condition, position), variable) in &net.sites {
            let here = match block.per {
                BlockPer::Engine => true,
                BlockPer::Bank => layout.bank_of(position) == site.bank(),
            };
            if *condition != member.condition || !here {
                continue;
            }
            let states = net.net.variables.get(*variable).map_or(&[][..], |v| &v.states);
            let class = |state: &String| {
                let name = member.class.get(state);
                name.and_then(|n| block.classes.iter().position(|c| c == n)).unwrap_or(0)
            };
            out.push((*variable, states.iter().map(class).collect()));
        }
    }
    out.sort();
    out
}

/// One option's money on this engine.
#[derive(Debug, Clone)]
pub struct OptionHere<'k> {
    /// The option.
    pub option: &'k RepairOption,
    /// Paid whatever is found, in labour units: low, high.
    pub fixed: Span,
    /// Who quoted for the whole option, where somebody did: then the quote is all that is paid.
    pub quoted: Option<String>,
    /// What it costs besides what is paid: days standing, and the value of a car that is given away.
    pub besides: f64,
    /// Days until the vehicle is ready: low and high.
    pub days: [f64; 2],
    /// Bit by stage of the knowledge: the stages it needs whatever is found.
    stages: u32,
    /// Labour units of reaching each stage of the knowledge; nothing for one that is reached.
    stage_cost: Vec<f64>,
    /// Per block of the engine.
    blocks: Vec<BlockBill>,
    /// Parts priced one by one: variable, state, labour units.
    parts: Vec<(usize, u8, Span)>,
    /// What it brings of its own.
    own: Option<Own>,
}

/// What an option asks and leaves in one block.
#[derive(Debug, Clone)]
struct BlockBill {
    /// Price by class, closing up included.
    price: Vec<Span>,
    /// Stages that any class but the first calls for.
    stages: u32,
    /// Chance by class of coming back within the horizon.
    back: Vec<f64>,
    /// Labour units when it does.
    comeback: f64,
}

/// What an option brings of its own.
#[derive(Debug, Clone)]
struct Own {
    goes_wrong: f64,
    /// Cause variable, its worst state, and the chance of going wrong there.
    inherits: Vec<(usize, u8, f64)>,
    comeback: f64,
    horizon_miles: f64,
}

/// What one option comes to in one state of the engine.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bill {
    /// Paid now, in labour units: low and high.
    pub price: Span,
    /// Expected on top within the horizon, in labour units.
    pub later: f64,
    /// Chance of running to the horizon without coming back.
    pub runs: f64,
}

impl Bill {
    /// Expected cost to the horizon, in labour units.
    #[must_use]
    pub fn expected(&self) -> f64 {
        self.price.mean() + self.later
    }
}

impl OptionHere<'_> {
    /// The bill in one state of the engine: a state for every variable, and a class for every block.
    #[must_use]
    pub fn bill(&self, states: &[u8], classes: &[usize]) -> Bill {
        let (mut price, mut later, mut runs) = (self.fixed, self.besides, 1.0);
        let mut stages = self.stages;
        for (block, class) in self.blocks.iter().zip(classes) {
            if let Some(span) = block.price.get(*class) {
                price = Span { lo: price.lo + span.lo, hi: price.hi + span.hi };
            }
            if *class > 0 {
                stages |= block.stages;
            }
            let back = block.back.get(*class).copied().unwrap_or(0.0);
            later += back * block.comeback;
            runs *= 1.0 - back;
        }
        if self.quoted.is_none() {
            let opening: f64 =
                self.stage_cost.iter().enumerate().filter(|(i, _)| stages >> i & 1 == 1).map(|(_, cost)| cost).sum();
            price = Span { lo: price.lo + opening, hi: price.hi + opening };
            for (variable, state, each) in &self.parts {
                if states.get(*variable) == Some(state) {
                    price = Span { lo: price.lo + each.lo, hi: price.hi + each.hi };
                }
            }
        }
        if let Some(own) = &self.own {
            let wrong = own.chance(states);
            later += wrong * own.comeback;
            runs *= 1.0 - wrong;
        }
        Bill { price, later, runs }
    }
}

impl Own {
    /// The chance of going wrong: the worst that a cause of this engine makes it, in proportion for a cause half way.
    fn chance(&self, states: &[u8]) -> f64 {
        let mut chance = self.goes_wrong;
        for (variable, worst, there) in &self.inherits {
            let share = f64::from(states.get(*variable).copied().unwrap_or(0)) / f64::from((*worst).max(1));
            chance = chance.max(self.goes_wrong + share * (there - self.goes_wrong));
        }
        within_horizon(chance, self.horizon_miles)
    }
}

/// What prices depend on besides the engine's state.
#[derive(Debug, Clone)]
pub struct Terms {
    /// Miles until the customer's horizon.
    pub horizon_miles: f64,
    /// Stages of strip-down that are reached.
    pub reached: BTreeSet<String>,
    /// Value of the vehicle in order, in labour units, where told.
    pub value: Option<f64>,
    /// What is paid for it as it stands, in labour units, where told.
    pub scrap: Option<f64>,
    /// Cost of a day standing, in labour units.
    pub day: f64,
    /// Money of one labour unit, where told.
    pub rate: Option<f64>,
}

impl Terms {
    /// The terms a job has told, with stated stand-ins for what it has not.
    #[must_use]
    pub fn of(state: &JobState, knowledge: &Knowledge) -> Self {
        let rate = state.rates.labour_rate.as_ref().map(Money::to_f64).filter(|r| *r > 0.0);
        let units = |m: Option<&Money>| Some(m?.to_f64() / rate?);
        let months = state.vehicle.horizon_months.map_or(36.0, f64::from);
        let per_year = state.vehicle.miles_per_year.map_or(12_000.0, f64::from);
        Self {
            horizon_miles: months / 12.0 * per_year,
            reached: opened::reached(&state.stages_reached, knowledge),
            value: units(state.vehicle.value.as_ref()),
            scrap: units(state.rates.scrap_value.as_ref()),
            day: units(state.rates.standing_per_day.as_ref()).unwrap_or(0.0),
            rate,
        }
    }
}

fn grown(growth: Option<&Growth>, counts: &BTreeMap<&str, f64>) -> f64 {
    growth.map_or(1.0, |g| counts.get(g.of.as_str()).map_or(1.0, |count| g.factor(*count)))
}

fn counts(layout: &EngineLayout, bank: Option<&Position>) -> BTreeMap<&'static str, f64> {
    let all = |scope: Scope| -> f64 {
        let positions = layout.positions(scope);
        let here = positions.iter().filter(|p| bank.is_none_or(|b| layout.bank_of(p) == b.bank())).count();
        u32::try_from(here).map_or(0.0, f64::from)
    };
    BTreeMap::from([
        ("valves", all(Scope::ValveIntake) + all(Scope::ValveExhaust)),
        ("cylinders", all(Scope::Cylinder)),
        ("rods", all(Scope::RodBearing)),
        ("cams", all(Scope::Cam)),
        ("heads", all(Scope::Bank)),
    ])
}

/// Labour units of reaching the stages that are not reached yet.
#[must_use]
pub fn access(stages: &[String], reached: &BTreeSet<String>, knowledge: &Knowledge) -> f64 {
    stages
        .iter()
        .filter(|s| !reached.contains(*s))
        .filter_map(|s| knowledge.stage(s))
        .map(|s| s.access_minutes / 60.0)
        .sum()
}

/// Chance within the horizon of something that is as likely on every mile, from its chance within [`HORIZON_MILES`].
fn within_horizon(chance: f64, horizon_miles: f64) -> f64 {
    1.0 - (1.0 - chance).powf((horizon_miles / HORIZON_MILES).max(0.0))
}

/// The last quote for a whole option.
fn quote_for<'q>(quotes: &'q [Fact<QuoteReceived>], option: &str) -> Option<&'q QuoteReceived> {
    quotes.iter().rfind(|q| q.body.option.as_deref() == Some(option) && q.body.need.is_none()).map(|q| &q.body)
}

/// The options as they stand for this engine and this job.
#[must_use]
pub fn options<'k>(
    net: &EngineNet,
    blocks: &[BlockHere],
    layout: &EngineLayout,
    knowledge: &'k Knowledge,
    quotes: &[Fact<QuoteReceived>],
    terms: &Terms,
) -> Vec<OptionHere<'k>> {
    let engine_counts = counts(layout, None);
    let heads = engine_counts.get("heads").copied().unwrap_or(1.0);
    let bit = |stage: &String| {
        let place = knowledge.stages.iter().position(|s| s.id == *stage).and_then(|i| u32::try_from(i).ok());
        place.and_then(|i| 1_u32.checked_shl(i)).unwrap_or(0)
    };
    let bits = |stages: &[String]| stages.iter().map(bit).fold(0, |all, one| all | one);
    let stage_cost: Vec<f64> = knowledge
        .stages
        .iter()
        .map(|s| if terms.reached.contains(&s.id) { 0.0 } else { s.access_minutes / 60.0 })
        .collect();
    knowledge
        .options
        .iter()
        .map(|located| {
            let option = &located.value;
            let growth = grown(option.fixed_growth.as_ref(), &engine_counts);
            let per_head = option.fixed_per_head.unwrap_or(Span::ZERO);
            let mut fixed = Span {
                lo: option.fixed.lo * growth + per_head.lo * heads,
                hi: option.fixed.hi * growth + per_head.hi * heads,
            };
            let quote = quote_for(quotes, &option.id);
            let mut quoted = None;
            if let Some((quote, rate)) = quote.zip(terms.rate) {
                let units = (quote.price.to_f64() + quote.freight.as_ref().map_or(0.0, Money::to_f64)) / rate;
                fixed = Span { lo: units, hi: units };
                quoted = Some(quote.supplier.clone());
            }
            let days = quote.map_or([option.lead.days.lo, option.lead.days.hi], |q| q.lead_days.map(f64::from));
            let mut besides = terms.day * f64::midpoint(days[0], days[1]);
            let residual = option.residual.as_ref();
            if let Some(r) = residual.filter(|r| r.car_lost) {
                let value = terms.value.unwrap_or_else(|| r.value_if_untold.map_or(0.0, Span::mean));
                besides += value - terms.scrap.unwrap_or_else(|| value * r.share_kept.map_or(0.0, Span::mean));
            }
            OptionHere {
                option,
                fixed,
                besides,
                days,
                stages: bits(&option.access),
                stage_cost: stage_cost.clone(),
                blocks: blocks
                    .iter()
                    .map(|block| block_bill(option, block, layout, quoted.is_some(), terms, &bits))
                    .collect(),
                parts: parts(option, net),
                own: residual.map(|r| own(r, net, terms)),
                quoted,
            }
        })
        .collect()
}

fn block_bill(
    option: &RepairOption,
    block: &BlockHere,
    layout: &EngineLayout,
    quoted: bool,
    terms: &Terms,
    bits: &impl Fn(&[String]) -> u32,
) -> BlockBill {
    let bank = (block.position.scope() == Scope::Bank).then_some(&block.position);
    let cost = option.costs.iter().find(|c| c.block == block.id);
    let left = option.left.iter().find(|l| l.block == block.id);
    let scale = cost.map_or(1.0, |c| grown(c.growth.as_ref(), &counts(layout, bank)));
    let price = |class: &String| {
        // A quote for the whole option holds whatever is found; only coming back is not in it.
        if quoted {
            return Span::ZERO;
        }
        let listed = cost.and_then(|c| c.class.get(class)).copied().unwrap_or(Span::ZERO);
        let closing = option
            .put_back
            .iter()
            .filter(|p| p.block == block.id && p.classes.contains(class) && terms.reached.contains(&p.stage))
            .fold((0.0, 0.0), |(lo, hi), p| (lo + p.cost.lo, hi + p.cost.hi));
        Span { lo: listed.lo * scale + closing.0, hi: listed.hi * scale + closing.1 }
    };
    let back = |class: &String| left.and_then(|l| l.chance(class, terms.horizon_miles)).unwrap_or(0.0);
    BlockBill {
        price: block.classes.iter().map(price).collect(),
        stages: cost.map_or(0, |c| bits(&c.access)),
        back: block.classes.iter().map(back).collect(),
        comeback: left.map_or(0.0, |l| l.comeback.mean()),
    }
}

fn parts(option: &RepairOption, net: &EngineNet) -> Vec<(usize, u8, Span)> {
    let mut out = Vec::new();
    for part in &option.per_part {
        for (_, variable) in net.sites.iter().filter(|((id, _), _)| *id == part.condition) {
            let states = net.net.variables.get(*variable).map_or(&[][..], |v| &v.states);
            let place = states.iter().position(|s| *s == part.state).and_then(|p| u8::try_from(p).ok());
            out.extend(place.map(|p| (*variable, p, part.cost)));
        }
    }
    out
}

fn own(residual: &Residual, net: &EngineNet, terms: &Terms) -> Own {
    let inherits = residual.inherits.iter().filter_map(|i| {
        let variable = *net.causes.get(&i.cause)?;
        let worst = net.net.variables.get(variable)?.states.len().checked_sub(1)?;
        Some((variable, u8::try_from(worst).ok()?, i.goes_wrong))
    });
    Own {
        goes_wrong: residual.goes_wrong,
        inherits: inherits.collect(),
        comeback: residual.comeback.mean(),
        horizon_miles: terms.horizon_miles,
    }
}

/// An option as shown beside the others.
#[derive(Debug, Clone, Serialize)]
pub struct OptionLine {
    /// The option.
    pub id: String,
    /// Its name.
    pub name: String,
    /// Expected cost to the horizon in labour units, comebacks included.
    pub expected: f64,
    /// Price to pay now, in labour units: low and high.
    pub price: [f64; 2],
    /// The same in money, where the labour rate is told.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub money: Option<OptionMoney>,
    /// Days until the vehicle is ready: low and high.
    pub days: [f64; 2],
    /// Chance of running to the horizon without coming back; nothing for an option that leaves no car to run.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub p_trouble_free: Option<f64>,
    /// Chance that it is the cheapest in the end, among those not struck out.
    pub p_first: f64,
    /// Parts renewed.
    pub renewed: Vec<String>,
    /// Parts kept.
    pub kept: Vec<String>,
    /// Parts of unknown history.
    pub unknown_history: Vec<String>,
    /// Who carries the risk.
    pub warranty: String,
    /// What rules it out, if anything does.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub struck_out: Option<StruckOut>,
    /// Where the price comes from.
    pub price_from: String,
}

/// The money of an option.
#[derive(Debug, Clone, Serialize)]
pub struct OptionMoney {
    /// Currency code after ISO 4217.
    pub currency: String,
    /// Expected cost.
    pub expected: f64,
    /// Price now: low and high.
    pub price: [f64; 2],
}

/// Why an option is out.
#[derive(Debug, Clone, Serialize)]
pub struct StruckOut {
    /// In one sentence.
    pub why: String,
    /// The entry that rules it out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub entry: Option<String>,
    /// The reading in words, where a reading did it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reading: Option<String>,
}
