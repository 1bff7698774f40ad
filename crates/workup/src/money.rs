//! What each repair option costs in each state of the engine: one table per block, in labour units and in money.
//!
//! A block (one head, the set of bores, the bottom end) has one class: the worst of its members. An option's cost is
//! a constant plus one figure per block and class: what putting it right costs, and what leaving it costs when it
//! comes back. So "one more leaking valve on a head that needs a valve job anyway" costs nothing, as it should.

use std::collections::{BTreeMap, BTreeSet};

use anatomy::{EngineLayout, Position, Scope};
use knowledge::workshop::{BlockCost, Growth, RepairOption, Span};
use knowledge::{Block, BlockPer, Knowledge};
use logbook::{JobState, QuoteReceived};
use serde::Serialize;

use crate::network::EngineNet;

/// The horizon that the chances of coming back are stated for, in miles \[ours: three years of 12 000\].
pub const REFERENCE_MILES: f64 = 36_000.0;

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

impl BlockHere {
    /// Factors that say "this block is in class `k` or a milder one", one per member that they touch.
    #[must_use]
    pub fn at_most(&self, k: usize) -> Vec<(usize, Vec<f64>)> {
        self.members
            .iter()
            .filter(|(_, classes)| classes.iter().any(|c| *c > k))
            .map(|(v, classes)| (*v, classes.iter().map(|c| if *c <= k { 1.0 } else { 0.0 }).collect()))
            .collect()
    }
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
    /// Constant part, in labour units: low, high.
    pub fixed: Span,
    /// Where the constant part comes from: the knowledge, or quotes.
    pub quoted: Option<String>,
    /// Per block of the engine: mean cost of each class, in labour units.
    pub tables: Vec<Vec<f64>>,
    /// Per block: the price of putting each class right, comebacks left out, in labour units.
    pub prices: Vec<Vec<Span>>,
    /// Per block: of each class, the chance that it brings the engine back within the horizon.
    pub comebacks: Vec<Vec<f64>>,
    /// The option's own chance of going wrong within the horizon.
    pub goes_wrong: f64,
    /// Parts priced one by one: condition, state, mean labour units.
    pub per_part: Vec<(String, String, f64)>,
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
    pub fn of(state: &JobState) -> Self {
        let number = |m: &quantity::Money| m.amount().to_string().parse::<f64>().ok();
        let rate = state.rates.labour_rate.as_ref().and_then(number).filter(|r| *r > 0.0);
        let units = |m: Option<&quantity::Money>| Some(m.and_then(number)? / rate?);
        let months = state.vehicle.horizon_months.map_or(36.0, f64::from);
        let per_year = state.vehicle.miles_per_year.map_or(12_000.0, f64::from);
        Self {
            horizon_miles: months / 12.0 * per_year,
            reached: state.stages_reached.clone(),
            value: units(state.vehicle.value.as_ref()),
            scrap: units(state.rates.scrap_value.as_ref()),
            day: units(state.rates.standing_per_day.as_ref()).unwrap_or(0.0),
            rate,
        }
    }
}

fn grown(growth: Option<&Growth>, counts: &BTreeMap<&str, f64>) -> f64 {
    growth.map_or(1.0, |g| {
        let count = counts.get(g.of.as_str()).copied().unwrap_or(g.reference);
        1.0 - g.share + g.share * count / g.reference.max(1.0)
    })
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

/// Chance of coming back within the horizon from the chance within the reference horizon.
#[must_use]
pub fn within_horizon(chance: f64, shape: f64, horizon_miles: f64) -> f64 {
    if chance >= 1.0 {
        return 1.0;
    }
    let hazard = -(1.0 - chance).ln() * (horizon_miles / REFERENCE_MILES).max(0.0).powf(shape);
    1.0 - (-hazard).exp()
}

fn days(option: &RepairOption) -> f64 {
    option.lead.days.mean()
}

/// The options as they stand for this engine and this job.
#[must_use]
pub fn options<'k>(
    blocks: &[BlockHere],
    layout: &EngineLayout,
    knowledge: &'k Knowledge,
    quotes: &[QuoteReceived],
    terms: &Terms,
) -> Vec<OptionHere<'k>> {
    let engine_counts = counts(layout, None);
    let heads = engine_counts.get("heads").copied().unwrap_or(1.0);
    let put_back = knowledge
        .operations
        .iter()
        .find(|o| o.id == "reassemble_no_repair")
        .and_then(|o| o.labour.map(Span::mean))
        .unwrap_or(0.0);
    let open = terms.reached.contains("block-open");
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
            let mut quoted = None;
            if let Some(rate) = terms.rate
                && let Some(quote) =
                    quotes.iter().rfind(|q| q.option.as_deref() == Some(option.id.as_str()) && q.need.is_none())
                && let Ok(price) = quote.price.amount().to_string().parse::<f64>()
            {
                let freight =
                    quote.freight.as_ref().and_then(|f| f.amount().to_string().parse::<f64>().ok()).unwrap_or(0.0);
                let units = (price + freight) / rate;
                fixed = Span { lo: units, hi: units };
                quoted = Some(quote.supplier.clone());
            }
            let residual = option.residual.as_ref();
            let goes_wrong = residual.map_or(0.0, |r| within_horizon(r.goes_wrong, 1.0, terms.horizon_miles));
            let mut extra = if quoted.is_some() { 0.0 } else { access(&option.access, &terms.reached, knowledge) };
            extra += residual.map_or(0.0, |r| goes_wrong * r.comeback.mean());
            if open && option.keeps_engine && !option.access.iter().any(|s| s == "block-open") {
                extra += put_back;
            }
            let lead = quotes
                .iter()
                .rfind(|q| q.option.as_deref() == Some(option.id.as_str()))
                .map_or_else(|| days(option), |q| f64::midpoint(f64::from(q.lead_days[0]), f64::from(q.lead_days[1])));
            extra += terms.day * lead;
            if let Some(r) = residual.filter(|r| r.car_lost) {
                let value = terms.value.unwrap_or_else(|| r.value_if_untold.map_or(0.0, Span::mean));
                let kept = terms.scrap.unwrap_or_else(|| value * r.share_kept.map_or(0.0, Span::mean));
                extra += value - kept;
            }
            fixed = Span { lo: fixed.lo + extra, hi: fixed.hi + extra };
            let mut here = OptionHere {
                option,
                fixed,
                quoted,
                tables: Vec::new(),
                prices: Vec::new(),
                comebacks: Vec::new(),
                goes_wrong,
                per_part: option
                    .per_part
                    .iter()
                    .map(|p| (p.condition.clone(), p.state.clone(), p.cost.mean()))
                    .collect(),
            };
            for block in blocks {
                let bank = (block.position.scope() == Scope::Bank).then_some(&block.position);
                let block_counts = counts(layout, bank);
                let cost: Option<&BlockCost> = option.costs.iter().find(|c| c.block == block.id);
                let left = option.left.iter().find(|l| l.block == block.id);
                let scale = cost.map_or(1.0, |c| grown(c.growth.as_ref(), &block_counts));
                let reach = cost.map_or(0.0, |c| access(&c.access, &terms.reached, knowledge));
                let mut means = Vec::new();
                let mut prices = Vec::new();
                let mut comebacks = Vec::new();
                for (k, class) in block.classes.iter().enumerate() {
                    // A quote for the whole option holds whatever is found; only coming back is not in it.
                    let listed = cost.and_then(|c| c.class.get(class)).copied().filter(|_| here.quoted.is_none());
                    let span = listed.unwrap_or(Span::ZERO);
                    let chance =
                        left.and_then(|l| l.class.get(class).map(|p| within_horizon(*p, l.shape, terms.horizon_miles)));
                    let back = chance.unwrap_or(0.0) * left.map_or(0.0, |l| l.comeback.mean());
                    let reach = if k > 0 && here.quoted.is_none() { reach } else { 0.0 };
                    means.push(span.mean() * scale + reach + back);
                    prices.push(Span { lo: span.lo * scale + reach, hi: span.hi * scale + reach });
                    comebacks.push(chance.unwrap_or(0.0));
                }
                here.tables.push(means);
                here.prices.push(prices);
                here.comebacks.push(comebacks);
            }
            here
        })
        .collect()
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
    /// Chance of running to the horizon without coming back.
    pub p_trouble_free: f64,
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
