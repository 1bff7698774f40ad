//! What each repair option costs in each state of the engine, in labour units and in money.
//!
//! A block (one head, the set of bores, the bottom end) has one class: the worst of its members. The bill of an option
//! follows the formula that [`RepairOption`] states: what is paid whatever is found, opening as far as its blocks call
//! for (each stage once), each block by class, parts one by one, closing up what was opened, and what it leaves or
//! brings of its own. So "one more leaking valve on a head that needs a valve job anyway" costs nothing, as it should.

pub(crate) mod lives;
pub(crate) mod luck;
mod made;

use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use anatomy::{EngineLayout, EntryId, Position, Scope};
use inference::lanes::{LanesError, forward_draws};
use knowledge::limits::AppliesTo;
use knowledge::workshop::{BlockLeft, Growth, HORIZON_MILES, RepairOption, Residual, Span};
use knowledge::{Block, BlockPer, Knowledge, Remedy};
use logbook::{CauseAnswer, Fact, JobState, QuoteReceived};
use quantity::Money;
use serde::Serialize;

use crate::network::EngineNet;
use crate::opened;
use crate::quotes::aged::Aged;

pub use lives::Lasting;
pub use made::Made;

use lives::Whose;

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
    /// The class in one state of the engine: the worst of its members.
    #[must_use]
    pub fn class_in(&self, states: &[u8]) -> usize {
        let member = |(variable, classes): &(usize, Vec<usize>)| {
            let state = states.get(*variable).map_or(0, |s| usize::from(*s));
            classes.get(state).copied().unwrap_or(0)
        };
        self.members.iter().map(member).max().unwrap_or(0)
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
    /// Paid whatever is found, in labour units: low, high.
    pub fixed: Span,
    /// Who quoted for the whole option, where somebody did: then the quote is all that is paid.
    pub quoted: Option<String>,
    /// What it costs besides what is paid: days standing, and the value of a car that is given away.
    pub besides: f64,
    /// Days until the vehicle is ready: low and high.
    pub days: [f64; 2],
    /// What takes the named cause away and is no part of the option itself.
    pub remedies: Vec<&'k Remedy>,
    /// For an option that is a choice of what to open: the blocks opened, by place; the others stay as they are.
    pub opens: Option<Vec<usize>>,
    /// The option that the other heads get, where they do.
    pub beside: Option<&'k RepairOption>,
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
    /// The deposit of a quote that an unfit old part would lose.
    core: Option<Core>,
}

/// A deposit on the old part, which is kept where that part is unfit.
#[derive(Debug, Clone, PartialEq)]
struct Core {
    /// Labour units lost.
    deposit: f64,
    /// Blocks of the engine and the class from which on each is unfit.
    unfit: Vec<(usize, usize)>,
    /// Whether each of them loses its own deposit, and not all of them one.
    each: bool,
}

impl Core {
    fn of(option: &RepairOption, quote: &QuoteReceived, rate: f64, blocks: &[BlockHere]) -> Option<Self> {
        let deposit = quote.core_deposit.as_ref()?.to_f64() / rate;
        let unfit: Vec<(usize, usize)> = blocks
            .iter()
            .enumerate()
            .filter_map(|(place, block)| {
                let lost = option.core_lost.iter().find(|lost| lost.block == block.id)?;
                Some((place, block.classes.iter().position(|c| *c == lost.from)?))
            })
            .collect();
        let each = by_head(option);
        let parts = if each { u32::try_from(unfit.len()).map_or(1.0, f64::from).max(1.0) } else { 1.0 };
        (!unfit.is_empty()).then_some(Self { deposit: deposit / parts, unfit, each })
    }

    /// What is lost with the blocks in these classes.
    fn lost(&self, classes: &[usize]) -> f64 {
        let unfit = |(block, from): &&(usize, usize)| classes.get(*block).is_some_and(|class| class >= from);
        let count = self.unfit.iter().filter(unfit).count();
        self.deposit * u32::try_from(if self.each { count } else { count.min(1) }).map_or(0.0, f64::from)
    }
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
    comeback: f64,
    donor: Option<Arc<Donor>>,
}

/// What another engine of the same kind may bring, by the state of the causes that it shares with this one.
#[derive(Debug, Clone, Default)]
struct Donor {
    /// Variables of the causes.
    shares: Vec<usize>,
    /// Per joint state of them: expected labour units on top, and the chance of running to the horizon.
    outlook: BTreeMap<Vec<u8>, (f64, f64)>,
}

/// Causes that a donor can share at most, beyond which their states are listed one by one \[ours\].
const FEW_SHARED: usize = 16;

impl Donor {
    /// What it may bring, with the causes in these states.
    fn outlook_in(&self, states: &[u8]) -> Option<&(f64, f64)> {
        let shared = self.shares.iter().map(|v| states.get(*v).copied().unwrap_or(0));
        let mut few = [0; FEW_SHARED];
        match few.get_mut(..self.shares.len()) {
            Some(joint) => {
                joint.iter_mut().zip(shared).for_each(|(place, state)| *place = state);
                self.outlook.get(&*joint)
            }
            None => self.outlook.get(&shared.collect::<Vec<u8>>()),
        }
    }
}

/// What the other engines that options would put in may bring, by option.
#[derive(Debug, Clone, Default)]
pub struct Donors(BTreeMap<String, Arc<Donor>>);

/// Engines drawn for each joint state of the causes that a donor shares \[ours\].
const DONORS_DRAWN: usize = 1024;

impl Donors {
    /// Draws other engines of this kind, and leaves in each what its option leaves.
    ///
    /// # Errors
    /// A network that cannot be drawn from.
    pub fn drawn(
        net: &EngineNet,
        blocks: &[BlockHere],
        knowledge: &Knowledge,
        terms: &Terms,
    ) -> Result<Self, LanesError> {
        let mut out = BTreeMap::new();
        // Classes of the blocks of other engines, by the causes that they share and their states: the same for every option.
        let mut classes: BTreeMap<Shared, Vec<Vec<usize>>> = BTreeMap::new();
        for option in &knowledge.options {
            let Some(donor) = option.residual.as_ref().and_then(|r| r.donor.as_ref()) else { continue };
            let Some(as_is) = knowledge.options.iter().find(|o| o.id == donor.left_as) else { continue };
            let left: Vec<Option<&BlockLeft>> =
                blocks.iter().map(|b| as_is.left.iter().find(|l| l.block == b.id)).collect();
            let shares: Vec<usize> = donor.inherits.iter().filter_map(|i| net.causes.get(&i.cause).copied()).collect();
            let mut outlook = BTreeMap::new();
            for joint in joint_states(net, &shares) {
                let drawn = match classes.entry((shares.clone(), joint.clone())) {
                    Entry::Occupied(known) => known.into_mut(),
                    Entry::Vacant(place) => place.insert(others(net, blocks, &shares, &joint)?),
                };
                let (mut later, mut runs) = (0.0, 0.0);
                for here in drawn.iter() {
                    let (mut cost, mut clear) = (0.0, 1.0);
                    for ((block, left), class) in blocks.iter().zip(&left).zip(here) {
                        let Some(left) = left else { continue };
                        let back = if donor.renews.contains(&block.id) {
                            terms.lasting.new_fails(&block.id)
                        } else {
                            let name = block.classes.get(*class).map_or("", String::as_str);
                            terms.lasting.back(left, name, *class == 0, Whose::Donor(&option.id), terms.horizon_miles)
                        };
                        cost += back * terms.bearable(left.comeback.mean());
                        clear *= 1.0 - back;
                    }
                    later += cost;
                    runs += clear;
                }
                let n = u32::try_from(drawn.len()).map_or(1.0, f64::from).max(1.0);
                outlook.insert(joint, (later / n, runs / n));
            }
            out.insert(option.id.clone(), Arc::new(Donor { shares, outlook }));
        }
        Ok(Self(out))
    }
}

/// Causes that another engine shares, and their states.
type Shared = (Vec<usize>, Vec<u8>);

/// Classes of the blocks of other engines of the kind, with these causes in these states and all others in their first.
///
/// # Shapes
/// Drawn engine after drawn engine, one class a block.
fn others(
    net: &EngineNet,
    blocks: &[BlockHere],
    shares: &[usize],
    joint: &[u8],
) -> Result<Vec<Vec<usize>>, LanesError> {
    let mut other = net.net.clone();
    for variable in net.causes.values() {
        let state = shares.iter().position(|s| s == variable).and_then(|p| joint.get(p)).copied();
        if let Some(cause) = other.variables.get_mut(*variable) {
            for (k, p) in cause.own.iter_mut().enumerate() {
                *p = if k == usize::from(state.unwrap_or(0)) { 1.0 } else { 0.0 };
            }
        }
    }
    let draws = forward_draws(&other, DONORS_DRAWN, 1)?;
    Ok((0..draws.count).map(|d| blocks.iter().map(|b| b.class_in(draws.draw(d))).collect()).collect())
}

/// Every joint state of some variables.
fn joint_states(net: &EngineNet, variables: &[usize]) -> Vec<Vec<u8>> {
    variables.iter().fold(vec![Vec::new()], |all: Vec<Vec<u8>>, variable| {
        let states = net.net.variables.get(*variable).map_or(1, |v| v.states.len());
        let states = u8::try_from(states).unwrap_or(u8::MAX);
        all.iter().flat_map(|s| (0..states).map(move |k| s.iter().copied().chain([k]).collect())).collect()
    })
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
    /// Labour units of the stages that it reaches whatever is found.
    pub(crate) fn opening(&self) -> f64 {
        self.reaching(self.stages)
    }

    fn reaching(&self, stages: u32) -> f64 {
        let mut rest = stages;
        let stage = std::iter::from_fn(|| {
            let bit = (rest != 0).then(|| rest.trailing_zeros())?;
            rest &= rest - 1;
            usize::try_from(bit).ok()
        });
        stage.filter_map(|i| self.stage_cost.get(i)).sum()
    }

    /// What the parts that are priced one by one come to in a state of the engine.
    fn parts_in(&self, states: &[u8]) -> Span {
        let mut sum = Span::ZERO;
        for (variable, state, each) in &self.parts {
            if states.get(*variable) == Some(state) {
                sum = Span { lo: sum.lo + each.lo, hi: sum.hi + each.hi };
            }
        }
        sum
    }

    /// The causes that what it puts in shares with this engine.
    fn shares(&self) -> &[usize] {
        self.own.as_ref().and_then(|own| own.donor.as_ref()).map_or(&[], |d| &d.shares)
    }

    /// The bill in one state of the engine: a state for every variable, and a class for every block.
    #[must_use]
    pub fn bill(&self, states: &[u8], classes: &[usize]) -> Bill {
        let parts = self.parts_in(states);
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
        let lost = self.core.as_ref().map_or(0.0, |core| core.lost(classes));
        price = Span { lo: price.lo + lost, hi: price.hi + lost };
        if self.quoted.is_none() {
            let opening = self.reaching(stages);
            price = Span { lo: price.lo + opening + parts.lo, hi: price.hi + opening + parts.hi };
        }
        if let Some(own) = &self.own {
            later += own.goes_wrong * own.comeback;
            runs *= 1.0 - own.goes_wrong;
            if let Some((more, clear)) = own.donor.as_ref().and_then(|d| d.outlook_in(states)) {
                later += more;
                runs *= clear;
            }
        }
        Bill { price, later, runs }
    }
}

/// Options side by side, for their bills in many states of the engine.
pub(crate) struct Bills<'o> {
    /// The parts that any of them prices one by one, with the state in which they are paid for.
    parts: Vec<(usize, u8)>,
    /// Per option: what it pays for each of them.
    each: Vec<Vec<Span>>,
    /// The options whose parts differ from those of every option before them.
    apart: Vec<usize>,
    /// The causes that what any of them puts in shares with this engine.
    shares: BTreeSet<usize>,
    /// Per option: what its expected bill is added up from.
    sums: Vec<Expecting<'o>>,
    /// The other engines that any of them puts in.
    donors: Vec<&'o Donor>,
}

/// What the expected bill of an option is added up from, in labour units: [`Bill::expected`] of [`OptionHere::bill`] taken apart,
/// so that what options and engines have in common is worked once.
struct Expecting<'o> {
    /// Whatever is found.
    always: f64,
    /// Per block: by class, the price and what comes back.
    blocks: Vec<Vec<f64>>,
    /// Per part that any option prices by itself.
    parts: Vec<f64>,
    /// The stages that are reached whatever is found, where opening is paid for.
    stages: Option<u32>,
    /// The place of the other engine that it puts in.
    donor: Option<usize>,
    here: &'o OptionHere<'o>,
}

impl<'o> Expecting<'o> {
    fn of(here: &'o OptionHere<'_>, each: &[Span], donors: &mut Vec<&'o Donor>) -> Self {
        let own = here.own.as_ref();
        let goes_wrong = own.map_or(0.0, |own| own.goes_wrong * own.comeback);
        let block = |block: &BlockBill| {
            let later = block.back.iter().map(|back| back * block.comeback);
            block.price.iter().zip(later).map(|(price, later)| price.mean() + later).collect()
        };
        let paid = here.quoted.is_none();
        let donor = own.and_then(|own| own.donor.as_deref()).map(|donor| {
            let known = donors.iter().position(|d| std::ptr::eq(*d, donor));
            known.unwrap_or_else(|| {
                donors.push(donor);
                donors.len() - 1
            })
        });
        Self {
            always: here.fixed.mean() + here.besides + goes_wrong,
            blocks: here.blocks.iter().map(block).collect(),
            parts: each.iter().map(|span| if paid { span.mean() } else { 0.0 }).collect(),
            stages: paid.then_some(here.stages),
            donor,
            here,
        }
    }

    /// With the blocks in these classes, these parts to be paid for, and what the other engines bring.
    fn cost(&self, classes: &[usize], found: &[usize], brought: &[f64]) -> f64 {
        let mut cost = self.always;
        for (block, class) in self.blocks.iter().zip(classes) {
            cost += block.get(*class).copied().unwrap_or(0.0);
        }
        if let Some(always) = self.stages {
            let called = self.here.blocks.iter().zip(classes).filter(|(_, class)| **class > 0);
            cost += self.here.reaching(called.fold(always, |all, (block, _)| all | block.stages));
            cost += found.iter().filter_map(|i| self.parts.get(*i)).sum::<f64>();
        }
        cost += self.here.core.as_ref().map_or(0.0, |core| core.lost(classes));
        cost + self.donor.and_then(|d| brought.get(d)).copied().unwrap_or(0.0)
    }
}

impl<'o> Bills<'o> {
    pub(crate) fn of(options: &'o [OptionHere<'_>]) -> Self {
        let all: BTreeSet<(usize, u8)> = options.iter().flat_map(|o| &o.parts).map(|(v, s, _)| (*v, *s)).collect();
        let parts: Vec<(usize, u8)> = all.into_iter().collect();
        let each = |option: &OptionHere<'_>| {
            let mut paid = vec![Span::ZERO; parts.len()];
            for (variable, state, cost) in &option.parts {
                if let Ok(place) = parts.binary_search(&(*variable, *state))
                    && let Some(sum) = paid.get_mut(place)
                {
                    *sum = Span { lo: sum.lo + cost.lo, hi: sum.hi + cost.hi };
                }
            }
            paid
        };
        let each: Vec<Vec<Span>> = options.iter().map(each).collect();
        let new = |i: &usize| each.get(*i).is_some_and(|here| !each.iter().take(*i).any(|before| before == here));
        let apart = (0..each.len()).filter(new).collect();
        let shares = options.iter().flat_map(|o| o.shares()).copied().collect();
        let mut donors = Vec::new();
        let sums = options.iter().zip(&each).map(|(o, each)| Expecting::of(o, each, &mut donors)).collect();
        Self { parts, each, apart, shares, sums, donors }
    }

    /// The parts priced one by one that are in their state.
    fn found(&self, states: &[u8]) -> Vec<usize> {
        let paid = |(variable, state): &(usize, u8)| states.get(*variable) == Some(state);
        self.parts.iter().enumerate().filter(|(_, part)| paid(part)).map(|(i, _)| i).collect()
    }

    /// Everything that any bill takes from a state of the engine besides the classes of its blocks: equal numbers here
    /// and equal classes make equal bills.
    pub(crate) fn apart_from_classes(&self, states: &[u8]) -> Vec<u64> {
        let found = self.found(states);
        let sums = self.apart.iter().filter_map(|i| self.each.get(*i)).flat_map(|each| {
            let sum = sum_of(each, &found);
            [sum.lo.to_bits(), sum.hi.to_bits()]
        });
        sums.chain(self.shares.iter().map(|v| states.get(*v).copied().map_or(0, u64::from))).collect()
    }

    /// What each option comes to in a state of the engine, expected to the horizon.
    pub(crate) fn expected(&self, states: &[u8], classes: &[usize]) -> Vec<f64> {
        let found = self.found(states);
        let more = |donor: &&Donor| donor.outlook_in(states).map_or(0.0, |(more, _)| *more);
        let brought: Vec<f64> = self.donors.iter().map(more).collect();
        self.sums.iter().map(|option| option.cost(classes, &found, &brought)).collect()
    }
}

/// Some of a list of prices, added up.
fn sum_of(each: &[Span], found: &[usize]) -> Span {
    let add = |sum: Span, one: &Span| Span { lo: sum.lo + one.lo, hi: sum.hi + one.hi };
    found.iter().filter_map(|i| each.get(*i)).fold(Span::ZERO, add)
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
    /// Chances of failing of the parts whose life is known.
    pub lasting: Lasting,
    /// The cause that was named, and what the engine is known to be.
    pub cause: Option<(String, BTreeMap<String, String>)>,
    /// The quotes that are past their day, each with what its price is multiplied with: low and high.
    pub aged: BTreeMap<EntryId, [f64; 2]>,
}

impl Terms {
    /// The terms a job has told, with stated stand-ins for what it has not.
    #[must_use]
    pub fn of(state: &JobState, knowledge: &Knowledge) -> Self {
        let rate = state.rates.labour_rate.as_ref().map(Money::to_f64).filter(|r| *r > 0.0);
        let units = |m: Option<&Money>| Some(m?.to_f64() / rate?);
        let months = state.vehicle.horizon_months.map_or(36.0, f64::from);
        let per_year = state.vehicle.miles_per_year.map_or(12_000.0, f64::from);
        let horizon_miles = months / 12.0 * per_year;
        Self {
            horizon_miles,
            lasting: Lasting::of(state, knowledge, horizon_miles),
            // A job that is over keeps the prices of the work as it was done; in any other a closed engine is to be opened again.
            reached: if state.closed.is_some() {
                opened::reached(&state.stages_reached, knowledge)
            } else {
                opened::open_now(state, knowledge)
            },
            value: units(state.vehicle.value.as_ref()),
            scrap: units(state.rates.scrap_value.as_ref()),
            day: units(state.rates.standing_per_day.as_ref()).unwrap_or(0.0),
            rate,
            cause: match &state.cause {
                Some(CauseAnswer::Named(named)) => {
                    let layout = state.layout.as_ref();
                    let stated = layout.map(|l| crate::work::stated(state, l, knowledge)).unwrap_or_default();
                    Some((named.cause.clone(), stated))
                }
                Some(CauseAnswer::UnknownSigned(_)) | None => None,
            },
            aged: {
                let factors = |aged: Aged| aged.factors.map(|f| f64::try_from(f).unwrap_or(1.0));
                let aged = |q: &Fact<QuoteReceived>| Some((q.in_entry, factors(Aged::of(state, knowledge, q)?)));
                state.quotes.iter().filter_map(aged).collect()
            },
        }
    }

    /// What an option has to pay so that the cause is gone when it is done, what it does itself left out.
    fn remedies<'k>(&self, option: &RepairOption, knowledge: &'k Knowledge) -> Vec<&'k Remedy> {
        let Some((id, told)) = &self.cause else { return Vec::new() };
        let named = knowledge.causes.iter().find(|c| c.id == *id);
        let needed = |r: &&Remedy| {
            (option.keeps_engine || r.outside)
                && option.leaves_cause.is_none()
                && !r.operations.iter().any(|o| option.operations.contains(o))
                && !AppliesTo::spoken_against(&r.applies, |name| told.get(name).map(String::as_str))
        };
        named.into_iter().flat_map(|c| &c.value.remedies).filter(needed).collect()
    }

    /// What a comeback costs at most: nobody mends it for more than giving up the car would lose him.
    #[must_use]
    fn bearable(&self, comeback: f64) -> f64 {
        self.value.map_or(comeback, |value| comeback.min((value - self.scrap.unwrap_or(0.0)).max(0.0)))
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

/// Days until an option is ready: its usual wait, moved out where something it needs takes longer by every quote for it.
fn waits(option: &RepairOption, quotes: &[Fact<QuoteReceived>]) -> [f64; 2] {
    let usual = [option.lead.days.lo, option.lead.days.hi];
    let needs = option.operations.iter().chain(option.items.iter().flat_map(|item| &item.parts));
    needs.fold(usual, |so_far, need| {
        let for_it = quotes.iter().filter(|q| q.body.need.as_ref() == Some(need));
        match for_it.map(|q| q.body.lead_days).min_by_key(|[_, worst]| *worst) {
            Some([best, worst]) => [so_far[0].max(f64::from(best)), so_far[1].max(f64::from(worst))],
            None => so_far,
        }
    })
}

/// The last quote for a whole option.
pub(crate) fn quote_for<'q>(quotes: &'q [Fact<QuoteReceived>], option: &str) -> Option<&'q Fact<QuoteReceived>> {
    quotes.iter().rfind(|q| q.body.option.as_deref() == Some(option) && q.body.need.is_none())
}

/// Bit by stage of the knowledge.
fn stage_bits(stages: &[String], knowledge: &Knowledge) -> u32 {
    let bit = |stage: &String| {
        let place = knowledge.stages.iter().position(|s| s.id == *stage).and_then(|i| u32::try_from(i).ok());
        place.and_then(|i| 1_u32.checked_shl(i)).unwrap_or(0)
    };
    stages.iter().map(bit).fold(0, |all, one| all | one)
}

/// The choices that can be made now: every option, and of one that mends only what it opens, every way of opening.
///
/// What an option finds in a block can change what is done there, not what was opened: that has to be decided before.
/// So "fix what failed" is not one choice but several (this head, that head, both, the bottom end, ...); a block that
/// is not opened stays as it is, at the chance and the price of [`RepairOption::left_alone`].
#[must_use]
pub fn choices<'k>(
    stated: Vec<OptionHere<'k>>,
    net: &EngineNet,
    blocks: &[BlockHere],
    layout: &EngineLayout,
    knowledge: &'k Knowledge,
    terms: &Terms,
) -> Vec<OptionHere<'k>> {
    let mut out = Vec::new();
    for here in stated {
        let alone = here.option.left_alone.as_ref().filter(|_| here.quoted.is_none());
        match alone.and_then(|id| knowledge.options.iter().find(|o| o.id == *id)) {
            Some(alone) => {
                let ways = openings(here.option, blocks, knowledge);
                out.extend(ways.iter().map(|opened| opening(&here, alone, opened, blocks, layout, knowledge, terms)));
                let beside = here.option.beside.as_ref().and_then(|id| knowledge.options.iter().find(|o| o.id == *id));
                if let Some(beside) = beside {
                    let heads = blocks.iter().filter(|b| b.position.scope() == Scope::Bank).count();
                    let some = ways.iter().filter(|opened| !opened.is_empty() && opened.len() < heads);
                    out.extend(some.map(|opened| {
                        let partly = opening(&here, &beside.value, opened, blocks, layout, knowledge, terms);
                        with_the_others(partly, &beside.value, opened, net, blocks, knowledge)
                    }));
                }
            }
            None => out.push(here),
        }
    }
    out
}

/// Stages that an option pays for a block to be reached; a head that it renews by itself is reached by its own way.
fn way_to<'o>(option: &'o RepairOption, block: &BlockHere) -> &'o [String] {
    if by_head(option) && block.position.scope() == Scope::Bank {
        return &option.access;
    }
    option.costs.iter().find(|c| c.block == block.id).map_or(&[], |c| &c.access)
}

/// Whether an option is done head by head.
fn by_head(option: &RepairOption) -> bool {
    option.fixed_per_head.is_some() && option.left_alone.is_some()
}

/// Most heads of which every combination is tried; above, one head or all of them.
const MOST_COMBINED: usize = 4;

/// Every sensible set of blocks to open. Heads are chosen one by one; what lies under all of them needs all of them
/// off; what the opened stages show anyway is included.
fn openings(option: &RepairOption, blocks: &[BlockHere], knowledge: &Knowledge) -> Vec<Vec<usize>> {
    let here = |i: &usize| blocks.get(*i);
    let way = |i: &usize| here(i).map_or(&[][..], |b| way_to(option, b));
    let by_bank = |i: &usize| here(i).is_some_and(|b| b.position.scope() == Scope::Bank);
    let (heads, engine): (Vec<usize>, Vec<usize>) =
        (0..blocks.len()).filter(|i| !way(i).is_empty()).partition(|i| by_bank(i));
    let of_heads: BTreeSet<&String> = heads.iter().flat_map(&way).collect();
    // The stage that takes the heads off: what needs it needs every head off.
    let heads_off = |stage: &String| {
        of_heads.contains(stage) && knowledge.stage(stage).is_some_and(|s| s.shuts == Some(knowledge::Shuts::Cranking))
    };
    let units: Vec<usize> = engine.iter().copied().filter(|i| way(i).iter().any(|s| !of_heads.contains(s))).collect();
    let head_sets: Vec<Vec<usize>> = if heads.len() <= MOST_COMBINED {
        subsets(&heads)
    } else {
        [Vec::new(), heads.clone()].into_iter().chain(heads.iter().map(|h| vec![*h])).collect()
    };
    let mut out: BTreeSet<Vec<usize>> = BTreeSet::new();
    // An option for heads alone is done to one of them at least.
    for set in head_sets.iter().filter(|set| !units.is_empty() || !set.is_empty()) {
        for more in subsets(&units) {
            let under = more.iter().any(|i| way(i).iter().any(heads_off));
            if under && set.len() < heads.len() {
                continue;
            }
            let stages: BTreeSet<&String> = set.iter().chain(&more).flat_map(&way).collect();
            let shown = engine.iter().filter(|i| !more.contains(i) && way(i).iter().all(|s| stages.contains(s)));
            let mut opened: Vec<usize> = set.iter().chain(&more).chain(shown).copied().collect();
            opened.sort_unstable();
            out.insert(opened);
        }
    }
    out.into_iter().collect()
}

fn subsets(of: &[usize]) -> Vec<Vec<usize>> {
    of.iter().fold(vec![Vec::new()], |mut all, one| {
        let with: Vec<Vec<usize>> = all.iter().map(|s| s.iter().chain([one]).copied().collect()).collect();
        all.extend(with);
        all
    })
}

/// An option with exactly these blocks opened and the rest left as under `alone`.
fn opening<'k>(
    here: &OptionHere<'k>,
    alone: &RepairOption,
    opened: &[usize],
    blocks: &[BlockHere],
    layout: &EngineLayout,
    knowledge: &Knowledge,
    terms: &Terms,
) -> OptionHere<'k> {
    let bits = |stages: &[String]| stage_bits(stages, knowledge);
    let stages: Vec<String> =
        opened.iter().filter_map(|i| blocks.get(*i)).flat_map(|b| way_to(here.option, b)).cloned().collect();
    let mut then = terms.clone();
    then.reached.extend(stages.iter().cloned());
    // A block that needs no opening is mended whatever is opened.
    let touched = |i: usize, b: &BlockHere| opened.contains(&i) || way_to(here.option, b).is_empty();
    let bills = blocks.iter().enumerate().map(|(i, block)| {
        let (option, terms) = if touched(i, block) { (here.option, &then) } else { (alone, terms) };
        BlockBill { stages: 0, ..block_bill(option, block, layout, false, terms, &bits) }
    });
    let left: BTreeSet<usize> = blocks
        .iter()
        .enumerate()
        .filter(|(i, b)| !touched(*i, b))
        .flat_map(|(_, b)| b.members.iter().map(|m| m.0))
        .collect();
    let heads_left = blocks
        .iter()
        .enumerate()
        .filter(|(i, b)| by_head(here.option) && b.position.scope() == Scope::Bank && !opened.contains(i))
        .count();
    let spared = u32::try_from(heads_left).map_or(0.0, f64::from);
    let per_head = here.option.fixed_per_head.unwrap_or(Span::ZERO);
    OptionHere {
        fixed: Span { lo: here.fixed.lo - per_head.lo * spared, hi: here.fixed.hi - per_head.hi * spared },
        stages: here.stages | bits(&stages),
        blocks: bills.collect(),
        parts: here.parts.iter().filter(|(variable, ..)| !left.contains(variable)).copied().collect(),
        opens: Some(opened.to_vec()),
        ..here.clone()
    }
}

/// A choice in which the heads that it does not open get another option.
fn with_the_others<'k>(
    partly: OptionHere<'k>,
    beside: &'k RepairOption,
    opened: &[usize],
    net: &EngineNet,
    blocks: &[BlockHere],
    knowledge: &Knowledge,
) -> OptionHere<'k> {
    let others: Vec<&BlockHere> = blocks
        .iter()
        .enumerate()
        .filter(|(i, b)| b.position.scope() == Scope::Bank && !opened.contains(i))
        .map(|(_, b)| b)
        .collect();
    let there: BTreeSet<usize> = others.iter().flat_map(|b| b.members.iter().map(|m| m.0)).collect();
    let n = u32::try_from(others.len()).map_or(0.0, f64::from);
    let per_head = beside.fixed_per_head.unwrap_or(Span::ZERO);
    let mut all = partly.parts;
    all.extend(parts(beside, net).into_iter().filter(|(variable, ..)| there.contains(variable)));
    OptionHere {
        fixed: Span { lo: partly.fixed.lo + per_head.lo * n, hi: partly.fixed.hi + per_head.hi * n },
        stages: partly.stages | stage_bits(&beside.access, knowledge),
        parts: all,
        beside: Some(beside),
        ..partly
    }
}

/// The options as their tables state them, with everything that is not sound found and opened.
#[must_use]
pub fn options<'k>(
    net: &EngineNet,
    blocks: &[BlockHere],
    layout: &EngineLayout,
    knowledge: &'k Knowledge,
    quotes: &[Fact<QuoteReceived>],
    terms: &Terms,
    donors: &Donors,
) -> Vec<OptionHere<'k>> {
    let engine_counts = counts(layout, None);
    let heads = engine_counts.get("heads").copied().unwrap_or(1.0);
    let bits = |stages: &[String]| stage_bits(stages, knowledge);
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
            let remedies = terms.remedies(option, knowledge);
            for remedy in &remedies {
                fixed = Span { lo: fixed.lo + remedy.cost.lo, hi: fixed.hi + remedy.cost.hi };
            }
            let quote = quote_for(quotes, &option.id);
            let mut quoted = None;
            if let Some((quote, rate)) = quote.zip(terms.rate) {
                let units = (quote.price.to_f64() + quote.freight.as_ref().map_or(0.0, Money::to_f64)) / rate;
                let [lo, hi] = terms.aged.get(&quote.in_entry).copied().unwrap_or([1.0, 1.0]);
                fixed = Span { lo: units * lo, hi: units * hi };
                quoted = Some(quote.supplier.clone());
            }
            let days = quote.map_or_else(|| waits(option, quotes), |q| q.lead_days.map(f64::from));
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
                remedies,
                opens: None,
                beside: None,
                stages: bits(&option.access),
                stage_cost: stage_cost.clone(),
                blocks: blocks
                    .iter()
                    .map(|block| block_bill(option, block, layout, quoted.is_some(), terms, &bits))
                    .collect(),
                parts: parts(option, net),
                core: quote.zip(terms.rate).and_then(|(q, rate)| Core::of(option, q, rate, blocks)),
                own: residual.map(|r| own(option, r, donors.0.get(&option.id), terms)),
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
    let back = |(place, class): (usize, &String)| {
        left.map_or(0.0, |l| terms.lasting.back(l, class, place == 0, Whose::Kept, terms.horizon_miles))
    };
    BlockBill {
        price: block.classes.iter().map(price).collect(),
        stages: cost.map_or(0, |c| bits(&c.access)),
        back: block.classes.iter().enumerate().map(back).collect(),
        comeback: left.map_or(0.0, |l| terms.bearable(l.comeback.mean())),
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

fn own(option: &RepairOption, residual: &Residual, donor: Option<&Arc<Donor>>, terms: &Terms) -> Own {
    let stated = within_horizon(residual.goes_wrong, terms.horizon_miles);
    // An engine that is rebuilt as a whole has new parts of the same family in it.
    let rebuilt = !option.keeps_engine && residual.donor.is_none() && !residual.car_lost;
    let new_fails = if rebuilt { terms.lasting.any_new_fails() } else { 0.0 };
    Own {
        goes_wrong: 1.0 - (1.0 - stated) * (1.0 - new_fails),
        comeback: terms.bearable(residual.comeback.mean()),
        donor: donor.cloned(),
    }
}

/// A risk of an option and who carries it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct RiskLine {
    /// What may happen.
    pub risk: String,
    /// Who pays then: customer, shop, machine shop or supplier.
    pub who: String,
    /// How far.
    pub words: String,
}

impl RiskLine {
    /// The risks of an option, with what a quote for it promises.
    pub(crate) fn of(option: &RepairOption, quotes: &[Fact<QuoteReceived>]) -> Vec<Self> {
        let promised = quotes.iter().rev().filter(|q| q.body.option.as_deref() == Some(&option.id)).find_map(|q| {
            let months =
                q.body.warranty_months.map(|m| if m == 1 { "1 month".to_owned() } else { format!("{m} months") });
            let words: Vec<String> = months.into_iter().chain(q.body.warranty.clone()).collect();
            (!words.is_empty()).then(|| format!("{} promises {}", q.body.supplier, words.join(", ")))
        });
        let line = |carried: &knowledge::workshop::Carried| {
            let promised = promised.as_ref().filter(|_| carried.risk == knowledge::workshop::Risk::PartFails);
            Self {
                risk: carried.risk.words().to_owned(),
                who: carried.who.words().to_owned(),
                words: promised.map_or_else(|| carried.words.clone(), |p| format!("{} ({p})", carried.words)),
            }
        };
        option.risks.iter().map(line).collect()
    }

    /// Several risks by who carries them, in the sequence in which they are told.
    #[must_use]
    pub fn by_bearer(risks: &[Self]) -> Vec<(&str, Vec<&Self>)> {
        let mut out: Vec<(&str, Vec<&Self>)> = Vec::new();
        for risk in risks {
            match out.iter_mut().find(|(who, _)| *who == risk.who) {
                Some((_, list)) => list.push(risk),
                None => out.push((&risk.who, vec![risk])),
            }
        }
        out
    }

    /// The risk in a line.
    #[must_use]
    pub fn in_words(&self) -> String {
        format!("{}: {}", self.risk, self.words)
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
    /// What warranty is usual.
    pub warranty: String,
    /// Who usually carries which risk.
    pub risks: Vec<RiskLine>,
    /// What rules it out, if anything does.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub struck_out: Option<StruckOut>,
    /// Where the price comes from.
    pub price_from: String,
    /// For an option that mends only what it opens: what it opens, at its best.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub opens: Vec<String>,
    /// The name of the option that the other heads get, where they do.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub others: Option<String>,
    /// What its price is made of.
    #[serde(skip)]
    pub made: Made,
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
