//! What an option comes to in one drawn engine when everything else that is in doubt is drawn as well.
//!
//! The bill of an option holds averages: of a price between two ends, of what comes back. Here the price lies somewhere
//! between its ends, and what may come back does or does not. The average over all of it is the bill again. Options meet
//! the same luck: machine work that grows grows for all of them, a part that fails fails in each that leaves it at that chance.

use std::collections::BTreeMap;

use inference::compare::even;
use inference::lanes::Run;

use super::{BlockHere, OptionHere, Span};

/// Something that is in doubt besides the state of the engine.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Doubt {
    /// What the work in a block comes to when it is in hand.
    Work(usize),
    /// How long what is left in a block lasts.
    Life(usize),
    /// How far this engine has truly run.
    Miles,
    /// What an option asks where nobody has quoted for it.
    Price(usize),
    /// How long an option takes.
    Wait(usize),
    /// Whether what an option brings of its own turns out well.
    Own(usize),
    /// What the other engine is like that an option puts in.
    Other(usize),
}

/// Doubts of one option besides those of its blocks.
const OF_OPTION: usize = 4;
/// Coordinates from here on are second opinions: more than any engine with its options has doubts.
const SECOND: usize = 120;

/// Everything that is in doubt besides the state of the engine, drawn.
#[derive(Debug)]
pub(crate) struct Luck {
    blocks: usize,
    /// How many doubts there are.
    doubts: usize,
    /// Draw after draw, doubt after doubt: a number between nought and one, and then the same for second opinions.
    drawn: [Vec<f64>; 2],
}

impl Luck {
    /// So many draws for an engine of so many blocks and so many options.
    pub(crate) fn of(blocks: usize, options: usize, draws: usize, seed: u64) -> Self {
        let doubts = 2 * blocks + 1 + OF_OPTION * options;
        // What one option is asked in one draw lies side by side.
        let drawn = [0, SECOND.max(doubts)].map(|first| {
            let mut all = vec![0.5; draws * doubts];
            for doubt in 0..doubts {
                let places = all.iter_mut().skip(doubt).step_by(doubts.max(1));
                places.zip(even(seed, first + doubt, draws)).for_each(|(place, u)| *place = u);
            }
            all
        });
        Self { blocks, doubts, drawn }
    }

    fn column(&self, doubt: Doubt) -> usize {
        let options = 2 * self.blocks + 1;
        match doubt {
            Doubt::Work(block) => block,
            Doubt::Life(block) => self.blocks + block,
            Doubt::Miles => 2 * self.blocks,
            Doubt::Price(option) => options + OF_OPTION * option,
            Doubt::Wait(option) => options + OF_OPTION * option + 1,
            Doubt::Own(option) => options + OF_OPTION * option + 2,
            Doubt::Other(option) => options + OF_OPTION * option + 3,
        }
    }

    /// Some doubts, to be drawn anew.
    pub(crate) fn anew(&self, doubts: &[Doubt]) -> Anew {
        let mut out = vec![false; if doubts.is_empty() { 0 } else { self.doubts }];
        for doubt in doubts {
            if let Some(place) = out.get_mut(self.column(*doubt)) {
                *place = true;
            }
        }
        Anew(out)
    }

    /// One draw, with some doubts drawn anew.
    pub(crate) fn draw<'l>(&'l self, draw: usize, anew: &'l Anew) -> impl Fn(Doubt) -> f64 + 'l {
        let row = |of: &'l [f64]| of.get(draw * self.doubts..(draw + 1) * self.doubts).unwrap_or_default();
        let [first, second] = &self.drawn;
        let (first, second) = (row(first), row(second));
        move |doubt| {
            let column = self.column(doubt);
            let row = if anew.0.get(column) == Some(&true) { second } else { first };
            row.get(column).copied().unwrap_or(0.5)
        }
    }
}

/// Doubts that are drawn anew, by place; none at all where the list is empty.
#[derive(Debug, Default)]
pub(crate) struct Anew(Vec<bool>);

/// What an option takes from the state of one engine besides the classes of its blocks, whatever the luck.
#[derive(Debug, Clone)]
pub(crate) struct Found {
    /// The parts priced by themselves that are to be paid for, by place.
    parts: Vec<u32>,
    /// Labour units of the stages that must be reached.
    opening: f64,
    /// Labour units of the deposit that is lost.
    lost: f64,
    /// What the other engine may bring.
    outlook: Option<(f64, f64)>,
}

/// An option ready to be drawn.
#[derive(Debug)]
pub(crate) struct Drawing<'o, 'k> {
    here: &'o OptionHere<'k>,
    /// Its place among the options that are drawn together.
    place: usize,
    /// The same option at each mileage that this engine may have run: the share of the belief up to it, and the option.
    aged: Vec<(f64, &'o OptionHere<'k>)>,
    /// What it costs besides, its days not counted.
    besides: f64,
    day: f64,
    /// Per part priced by itself: the block whose work it is, where it is of one.
    part_of: Vec<Option<usize>>,
}

fn between(span: Span, share: f64) -> f64 {
    span.lo + (span.hi - span.lo) * share
}

impl<'o, 'k> Drawing<'o, 'k> {
    pub(crate) fn of(
        here: &'o OptionHere<'k>,
        place: usize,
        aged: Vec<(f64, &'o OptionHere<'k>)>,
        blocks: &[BlockHere],
        day: f64,
    ) -> Self {
        let of = |variable: usize| blocks.iter().position(|b| b.members.iter().any(|m| m.0 == variable));
        let part_of = here.parts.iter().map(|(variable, ..)| of(*variable)).collect();
        let besides = here.besides - day * f64::midpoint(here.days[0], here.days[1]);
        Self { here, place, aged, besides, day, part_of }
    }

    /// What it takes from the state of one engine.
    pub(crate) fn found(&self, states: &[u8], classes: &[usize]) -> Found {
        let here = self.here;
        let called = here.blocks.iter().zip(classes).filter(|(_, class)| **class > 0);
        let stages = called.fold(here.stages, |all, (block, _)| all | block.stages);
        let paid = |(_, (variable, state, _)): &(u32, &(usize, u8, Span))| states.get(*variable) == Some(state);
        let parts = if here.quoted.is_none() { here.parts.as_slice() } else { &[] };
        Found {
            parts: (0..).zip(parts).filter(paid).map(|(place, _)| place).collect(),
            opening: here.reaching(stages),
            lost: here.core.as_ref().map_or(0.0, |core| core.lost(classes)),
            outlook: here.own.as_ref().and_then(|own| own.donor.as_ref()?.outlook_in(states).copied()),
        }
    }

    /// What it comes to in one engine under one draw of everything else, in labour units.
    pub(crate) fn cost(&self, found: &Found, classes: &[usize], luck: &impl Fn(Doubt) -> f64) -> f64 {
        let here = self.here;
        let mut cost = between(here.fixed, luck(Doubt::Price(self.place))) + self.besides;
        if self.day > 0.0 {
            let days = Span { lo: here.days[0], hi: here.days[1] };
            cost += self.day * between(days, luck(Doubt::Wait(self.place)));
        }
        let miles = luck(Doubt::Miles);
        let at_age = self.aged.iter().find(|(up_to, _)| miles < *up_to).or(self.aged.last());
        let aged = at_age.map_or(here, |(_, option)| option);
        for (b, ((block, left), class)) in here.blocks.iter().zip(&aged.blocks).zip(classes).enumerate() {
            cost += block.price.get(*class).map_or(0.0, |span| between(*span, luck(Doubt::Work(b))));
            if luck(Doubt::Life(b)) < left.back.get(*class).copied().unwrap_or(0.0) {
                cost += block.comeback;
            }
        }
        cost += found.lost;
        if here.quoted.is_none() {
            cost += found.opening;
            for place in &found.parts {
                let place = *place as usize;
                if let (Some((_, _, span)), Some(block)) = (here.parts.get(place), self.part_of.get(place)) {
                    cost += between(*span, luck(block.map_or(Doubt::Price(self.place), Doubt::Work)));
                }
            }
        }
        let Some(own) = &here.own else { return cost };
        if luck(Doubt::Own(self.place)) < own.goes_wrong {
            cost += own.comeback;
        }
        if let Some((more, clear)) = found.outlook {
            let fails = 1.0 - clear;
            if luck(Doubt::Other(self.place)) < fails {
                cost += more / fails;
            }
        }
        cost
    }

    /// The doubts that can move it.
    pub(crate) fn doubts(&self) -> Vec<Doubt> {
        let blocks = 0..self.here.blocks.len();
        let own = [Doubt::Price, Doubt::Wait, Doubt::Own, Doubt::Other].map(|of| of(self.place));
        blocks.flat_map(|b| [Doubt::Work(b), Doubt::Life(b)]).chain([Doubt::Miles]).chain(own).collect()
    }

    /// The parts priced by themselves that are the work of a block: variables.
    pub(crate) fn parts_of(&self, block: usize) -> impl Iterator<Item = usize> {
        let of = self.here.parts.iter().zip(&self.part_of);
        of.filter(move |(_, b)| **b == Some(block)).map(|((variable, ..), _)| *variable)
    }

    /// The causes that what it puts in shares with this engine.
    pub(crate) fn shared_causes(&self) -> &[usize] {
        self.here.shares()
    }

    /// Its place among all options.
    pub(crate) fn place(&self) -> usize {
        self.place
    }

    /// Whether somebody has quoted for all of it.
    pub(crate) fn quoted(&self) -> bool {
        self.here.quoted.is_some()
    }
}

/// Chances from the exact sums, each asked once.
pub(crate) struct Exactly<'r, 'n> {
    run: &'r Run<'n>,
    blocks: &'r [BlockHere],
    /// Per block: the chance of each class.
    classes: Vec<Vec<f64>>,
    /// By set of blocks: the chance that all of them are in their first class.
    sound: BTreeMap<Vec<usize>, f64>,
    /// By variables: the chance of each of their joint states.
    joint: BTreeMap<(Vec<usize>, Vec<u8>), f64>,
}

impl<'r, 'n> Exactly<'r, 'n> {
    pub(crate) fn of(run: &'r Run<'n>, blocks: &'r [BlockHere]) -> Self {
        let classes = |block: &BlockHere| {
            let last = block.classes.len().saturating_sub(1);
            let up_to = |k: usize| if k == last { 1.0 } else { run.probability(&at_most(block, k)) };
            let mut below = 0.0;
            (0..block.classes.len())
                .map(|k| {
                    let here = up_to(k);
                    let class = (here - below).max(0.0);
                    below = here;
                    class
                })
                .collect()
        };
        Self {
            run,
            blocks,
            classes: blocks.iter().map(classes).collect(),
            sound: BTreeMap::new(),
            joint: BTreeMap::new(),
        }
    }

    fn sound(&mut self, which: Vec<usize>) -> f64 {
        let (run, blocks) = (self.run, self.blocks);
        let event = |which: &[usize]| {
            let all = which.iter().filter_map(|b| blocks.get(*b)).flat_map(|b| at_most(b, 0)).collect::<Vec<_>>();
            run.probability(&all)
        };
        if let Some(known) = self.sound.get(&which) {
            return *known;
        }
        let p = event(&which);
        self.sound.insert(which, p);
        p
    }

    fn joint(&mut self, variables: &[usize], states: &[u8]) -> f64 {
        if let ([variable], [state]) = (variables, states) {
            return self.run.marginal(*variable).get(usize::from(*state)).copied().unwrap_or(0.0);
        }
        let key = (variables.to_vec(), states.to_vec());
        if let Some(known) = self.joint.get(&key) {
            return *known;
        }
        let one = |(variable, state): (&usize, &u8)| {
            let of = self.run.marginal(*variable).len();
            (*variable, (0..of).map(|s| if s == usize::from(*state) { 1.0 } else { 0.0 }).collect())
        };
        let event: Vec<(usize, Vec<f64>)> = variables.iter().zip(states).map(one).collect();
        let p = self.run.probability(&event);
        self.joint.insert(key, p);
        p
    }

    /// What an option costs on average to the horizon, in labour units: a sum over chances, and no draw in it.
    pub(crate) fn mean(&mut self, option: &OptionHere<'_>) -> f64 {
        let mut cost = option.fixed.mean() + option.besides;
        for (block, chances) in option.blocks.iter().zip(&self.classes) {
            for (class, p) in chances.iter().enumerate() {
                let price = block.price.get(class).map_or(0.0, |s| s.mean());
                cost += p * (price + block.back.get(class).copied().unwrap_or(0.0) * block.comeback);
            }
        }
        if option.quoted.is_none() {
            for (stage, access) in option.stage_cost.iter().enumerate() {
                let calls = |stages: u32| stages >> stage & 1 == 1;
                let by: Vec<usize> = (0..option.blocks.len())
                    .filter(|b| option.blocks.get(*b).is_some_and(|block| calls(block.stages)))
                    .collect();
                cost += match (calls(option.stages), by.is_empty() || *access <= 0.0) {
                    (true, _) => *access,
                    (false, true) => 0.0,
                    (false, false) => access * (1.0 - self.sound(by)),
                };
            }
            for (variable, state, span) in &option.parts {
                cost += self.joint(&[*variable], &[*state]) * span.mean();
            }
        }
        if let Some(core) = &option.core {
            let fit = |(block, from): &(usize, usize)| {
                self.blocks.get(*block).map_or_else(Vec::new, |b| at_most(b, from.saturating_sub(1)))
            };
            let lost = |all: Vec<(usize, Vec<f64>)>| 1.0 - self.run.probability(&all);
            cost += core.deposit
                * if core.each {
                    core.unfit.iter().map(|one| lost(fit(one))).sum::<f64>()
                } else {
                    lost(core.unfit.iter().flat_map(fit).collect())
                };
        }
        let Some(own) = &option.own else { return cost };
        cost += own.goes_wrong * own.comeback;
        if let Some(donor) = &own.donor {
            for (joint, (more, _)) in &donor.outlook {
                cost += self.joint(&donor.shares, joint) * more;
            }
        }
        cost
    }
}

/// A block in a class or a better one, as one factor for each of its members.
fn at_most(block: &BlockHere, class: usize) -> Vec<(usize, Vec<f64>)> {
    let factor = |classes: &Vec<usize>| classes.iter().map(|c| if *c <= class { 1.0 } else { 0.0 }).collect();
    block.members.iter().map(|(variable, classes)| (*variable, factor(classes))).collect()
}
