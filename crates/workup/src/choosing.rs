//! Options side by side when everything in doubt is drawn, and what the difference between the two that lead hangs on.
//!
//! The engines are those drawn for the advice; prices, machine work that grows, days, parts that last or do not, and the true
//! mileage are drawn besides, the same for every option. Means are those of the bills, with no luck drawn in them. What the difference hangs on is given
//! as a share of its spread: for what is independent of all else the total effect, for the state of a block, which goes
//! with that of others, the larger of two: what would be left if all else were known, and what would go if it alone were.
//!
//! Nobody needs this to do the next check, so it is worked behind the first answer. Why it is not
//! [`inference::compare::hangs_on`] is told in docs/decisions/0027-doubt-beside-the-engine.md.

use std::collections::{BTreeMap, BTreeSet};

use inference::lanes::{Draws, Run};
use knowledge::Knowledge;
use quantity::Money;
use rayon::prelude::*;
use serde::Serialize;

use crate::advice::{Advice, CheckWorth, Scene};
use crate::bounds::Bounds;
use crate::money::luck::{Anew, Doubt, Drawing, Exactly, Found, Luck};
use crate::money::{self, OptionHere, OptionLine};
use crate::{network, words};

/// The seed of everything drawn besides the engines.
const SEED: u64 = 27;
/// What hangs on a thing by less than this is not named \[ours: the draws are no surer\].
const LEAST: f64 = 0.04;
/// Things named at most \[ours\].
const NAMED: usize = 6;
/// The bad case of the first option is worth a question when it costs so many times what the safest would \[ours\].
const CLEARLY: f64 = 1.1;
/// The shares between which a cost is said to lie: four times in five.
const BETWEEN: [f64; 2] = [0.1, 0.9];

/// What the drawing of everything in doubt says of the options that are open.
#[derive(Debug, Clone, Serialize)]
pub struct Comparison {
    /// Engines drawn, each under its own luck.
    pub draws: usize,
    /// The currency of all figures; in labour units where the hourly rate is not told.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub currency: Option<String>,
    /// The options, in the order of the case.
    pub ways: Vec<Way>,
    /// What the difference between the two that lead hangs on; nothing where fewer than two are open.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hangs_on: Option<HangsOn>,
    /// What to ask the customer about the bad case; nothing where it was answered, or no answer could matter.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub asks: Option<Question>,
}

impl Comparison {
    /// Puts how often each option turns out the cheapest into the options.
    pub(crate) fn told(&self, options: &mut [OptionLine]) {
        for line in options.iter_mut() {
            if let Some(way) = self.ways.iter().find(|w| w.option == line.id) {
                line.p_first = way.cheapest;
            }
        }
    }

    /// An amount of this comparison in words.
    ///
    /// # Units
    /// Its currency, else labour units.
    #[must_use]
    pub fn amount(&self, amount: f64) -> String {
        said(self.currency.as_deref(), amount)
    }

    /// What the comparison says of an option.
    #[must_use]
    pub fn way(&self, option: &str) -> Option<&Way> {
        self.ways.iter().find(|w| w.option == option)
    }
}

/// One option under everything in doubt; figures in the currency of the comparison.
#[derive(Debug, Clone, Serialize)]
pub struct Way {
    /// The option.
    pub option: String,
    /// What it costs on average to the horizon: the mean of its bill over the drawn engines, prices and luck at their averages.
    pub mean: f64,
    /// The same with prices and luck drawn.
    pub drawn: f64,
    /// What it costs in the good case and in the bad one: once in ten it is less than the first, once in ten more than the second.
    pub cost: [f64; 2],
    /// How much more it costs on average than what turns out the cheapest.
    pub regret: f64,
    /// The same in the good case and in the bad one.
    pub regrets: [f64; 2],
    /// How often it turns out the cheapest.
    pub cheapest: f64,
}

/// One plain question about the bad case, whose answer is an entry.
#[derive(Debug, Clone, Serialize)]
pub struct Question {
    /// The bill it asks about: amount and currency, as an entry would hold it.
    pub bill: String,
    /// The question.
    pub words: String,
}

/// What the difference between two options hangs on.
#[derive(Debug, Clone, Serialize)]
pub struct HangsOn {
    /// The option that costs least on average, and the one after it.
    pub pair: [String; 2],
    /// What the second costs more on average.
    pub difference: f64,
    /// The difference in the good case and in the bad one.
    pub between: [f64; 2],
    /// What it hangs on, the largest share first.
    pub on: Vec<Hinge>,
    /// The difference in a sentence.
    pub words: String,
}

/// One thing that a difference hangs on.
#[derive(Debug, Clone, Serialize)]
pub struct Hinge {
    /// What it is, in words.
    pub what: String,
    /// Its share of the spread. Shares need not add up to one: things act together.
    pub share: f64,
    /// The share in words.
    pub of_it: &'static str,
    /// The open check that tells most about it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub check: Option<String>,
    /// What to do to know more, in words.
    pub next: String,
}

/// Something the difference may hang on.
enum Group {
    /// The state of a block and of its parts.
    State(usize),
    /// The causes that another engine shares.
    Causes,
    /// Things that are drawn besides, taken together.
    Doubts(Vec<Doubt>),
}

/// The options of a comparison with all their draws.
struct Drawn<'o, 'k> {
    ways: Vec<Drawing<'o, 'k>>,
    draws: &'o Draws,
    /// Per drawn engine: the class of each block.
    classes: Vec<Vec<usize>>,
    /// Per way and drawn engine: what else the way takes from its state.
    found: Vec<Vec<Found>>,
    luck: Luck,
}

impl Drawn<'_, '_> {
    /// What a way costs in the engine of one draw, under the luck of another.
    fn cost(&self, way: usize, engine: usize, draw: usize, anew: &Anew) -> f64 {
        let classes = self.classes.get(engine).map_or(&[][..], Vec::as_slice);
        let found = self.found.get(way).and_then(|engines| engines.get(engine));
        self.ways.get(way).zip(found).map_or(0.0, |(w, found)| w.cost(found, classes, &self.luck.draw(draw, anew)))
    }

    /// How much the second of a pair costs more.
    fn gap(&self, engine: usize, draw: usize, anew: &Anew) -> f64 {
        self.cost(1, engine, draw, anew) - self.cost(0, engine, draw, anew)
    }
}

impl<'o, 'k> Drawn<'o, 'k> {
    /// Some choices of a scene ready to be drawn. `aged`: all choices at each mileage that the engine may have run.
    fn of(
        scene: &Scene<'o, '_>,
        choices: &'o [OptionHere<'k>],
        aged: &'o [(f64, Vec<OptionHere<'k>>)],
        which: &[usize],
    ) -> Self {
        let Scene { blocks, knowledge, draws, terms, .. } = *scene;
        let way = |index: &usize| {
            let here = choices.get(*index)?;
            let place = knowledge.options.iter().position(|o| o.id == here.option.id)?;
            let mut up_to = 0.0;
            let at_age = aged.iter().filter_map(|(share, options)| {
                up_to += share;
                Some((up_to, options.get(*index)?))
            });
            Some(Drawing::of(here, place, at_age.collect(), blocks, terms.day))
        };
        let class = |d: usize| blocks.iter().map(|b| b.class_in(draws.draw(d))).collect();
        let ways: Vec<Drawing<'o, 'k>> = which.iter().filter_map(way).collect();
        let classes: Vec<Vec<usize>> = (0..draws.count).into_par_iter().map(class).collect();
        let found = |way: &Drawing<'_, '_>| -> Vec<Found> {
            classes.iter().enumerate().map(|(d, classes)| way.found(draws.draw(d), classes)).collect()
        };
        Self {
            found: ways.par_iter().map(found).collect(),
            ways,
            draws,
            classes,
            luck: Luck::of(blocks.len(), knowledge.options.len(), draws.count, SEED),
        }
    }
}

/// Every choice of a scene under some terms.
fn priced<'k>(scene: &Scene<'k, '_>, terms: &money::Terms) -> Vec<OptionHere<'k>> {
    let Scene { net, blocks, layout, knowledge, donors, .. } = *scene;
    let stated = money::options(net, blocks, layout, knowledge, &scene.state.quotes, terms, donors);
    money::choices(stated, net, blocks, layout, knowledge, terms)
}

/// The same at each of a few mileages that this engine may have run, with the share of the belief in it.
fn by_age<'k>(scene: &Scene<'k, '_>) -> Vec<(f64, Vec<OptionHere<'k>>)> {
    let terms = scene.terms;
    let ages = terms.lasting.by_own_age(scene.state, scene.knowledge, terms.horizon_miles);
    let at = |(share, lasting)| (share, priced(scene, &money::Terms { lasting, ..terms.clone() }));
    ages.into_iter().map(at).collect()
}

/// What each choice costs in the bad case, in labour units: once in ten it is more.
pub(crate) fn bad_cases(scene: &Scene<'_, '_>, choices: &[OptionHere<'_>]) -> Vec<f64> {
    let aged = by_age(scene);
    let all: Vec<usize> = (0..choices.len()).collect();
    let drawn = Drawn::of(scene, choices, &aged, &all);
    let bad = |way: usize| {
        let mut costs: Vec<f64> = (0..drawn.draws.count).map(|d| drawn.cost(way, d, d, &Anew::default())).collect();
        quantile(&mut costs, BETWEEN[1])
    };
    all.into_par_iter().map(bad).collect()
}

/// The question about the bad case, where an answer could matter: the first option may cost clearly more than another would.
fn question(ways: &[Way], rate: &Money) -> Option<Question> {
    let first = ways.first()?;
    let safest = ways.iter().map(|w| w.cost[1]).fold(f64::INFINITY, f64::min);
    let bill = round_up(first.cost[1]);
    let more = bill - first.mean;
    if first.cost[1] < CLEARLY * safest || more <= 0.0 {
        return None;
    }
    let code = rate.currency().code();
    let said = |amount| said(Some(code), amount);
    Some(Question {
        bill: format!("{bill:.0} {code}"),
        words: format!(
            "Could you bear a bill of {} if it goes badly, {} more than it costs on average?",
            said(bill),
            said(more)
        ),
    })
}

/// Two digits are enough for a question.
fn round_up(amount: f64) -> f64 {
    let step = 10_f64.powf((amount.max(1.0).log10().floor() - 1.0).max(0.0));
    (amount / step).ceil() * step
}

fn said(currency: Option<&str>, amount: f64) -> String {
    match currency {
        Some(code) => format!("{code}\u{a0}{}", words::grouped(amount)),
        None => format!("{amount:.1} labour units"),
    }
}

fn of(n: usize) -> f64 {
    u32::try_from(n).map_or(1.0, f64::from).max(1.0)
}

/// Works the comparison of the open options of a case.
pub(crate) fn compared(scene: &Scene<'_, '_>, lines: &[OptionLine], advice: &Advice) -> Option<Comparison> {
    let (draws, terms) = (scene.draws, scene.terms);
    let choices = priced(scene, terms);
    let aged = by_age(scene);
    let open: Vec<&OptionLine> = lines.iter().filter(|l| l.struck_out.is_none()).collect();
    let shown: Vec<usize> = open.iter().filter_map(|line| place_of(line, &choices, scene)).collect();
    if shown.len() != open.len() || open.is_empty() {
        return None;
    }
    let drawn = Drawn::of(scene, &choices, &aged, &shown);
    let means: Vec<f64> = open.iter().map(|line| line.expected).collect();
    let rate = terms.rate.unwrap_or(1.0);
    let ways = ways_of(&drawn, &open, &means, rate);
    let told = scene.state.rates.labour_rate.as_ref().filter(|_| terms.rate.is_some());
    let asks = told.filter(|_| Bounds::of(scene.state).bad_bill.is_none()).and_then(|rate| question(&ways, rate));
    let currency = told.map(|m| m.currency().code().to_owned());
    let hangs_on =
        (open.len() > 1).then(|| hangs_on(scene, &drawn, &open, &means, (rate, currency.as_deref()), advice));
    Some(Comparison { draws: draws.count, currency, ways, hangs_on, asks })
}

/// The place of the choice that a line shows.
fn place_of(line: &OptionLine, choices: &[OptionHere<'_>], scene: &Scene<'_, '_>) -> Option<usize> {
    let opens = |o: &OptionHere<'_>| -> Vec<String> {
        let opened = o.opens.iter().flatten().filter_map(|i| scene.blocks.get(*i));
        opened.map(|b| b.name.clone()).collect()
    };
    choices.iter().position(|o| {
        o.option.id == line.id && o.beside.map(|b| &b.name) == line.others.as_ref() && opens(o) == line.opens
    })
}

fn ways_of(drawn: &Drawn<'_, '_>, open: &[&OptionLine], means: &[f64], rate: f64) -> Vec<Way> {
    let costs: Vec<Vec<f64>> = (0..drawn.draws.count)
        .into_par_iter()
        .map(|d| (0..drawn.ways.len()).map(|way| rate * drawn.cost(way, d, d, &Anew::default())).collect())
        .collect();
    let least: Vec<f64> = costs.iter().map(|row| row.iter().copied().fold(f64::INFINITY, f64::min)).collect();
    let n = of(costs.len());
    let way = |(place, (line, mean)): (usize, (&&OptionLine, &f64))| {
        let mut own: Vec<f64> = costs.iter().filter_map(|row| row.get(place)).copied().collect();
        let mut regrets: Vec<f64> = own.iter().zip(&least).map(|(cost, least)| cost - least).collect();
        let first = costs.iter().filter(|row| cheapest(row) == place).count();
        let regret = regrets.iter().sum::<f64>() / n;
        Way {
            option: line.id.clone(),
            mean: rate * mean,
            drawn: own.iter().sum::<f64>() / n,
            cost: quantiles(&mut own),
            regret,
            regrets: quantiles(&mut regrets),
            cheapest: if first == 0 { 0.0 } else { of(first) / n },
        }
    };
    open.iter().zip(means).enumerate().map(way).collect()
}

fn cheapest(row: &[f64]) -> usize {
    row.iter().enumerate().min_by(|a, b| a.1.total_cmp(b.1)).map_or(0, |(place, _)| place)
}

fn quantiles(values: &mut [f64]) -> [f64; 2] {
    BETWEEN.map(|share| quantile(values, share))
}

/// The value that a share of all lies below.
pub(crate) fn quantile(values: &mut [f64], share: f64) -> f64 {
    values.sort_by(f64::total_cmp);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a place in a short list")]
    let place = (share * (of(values.len()) - 1.0)).round() as usize;
    values.get(place).copied().unwrap_or(0.0)
}

/// What the difference between the first two open options hangs on.
fn hangs_on(
    scene: &Scene<'_, '_>,
    drawn: &Drawn<'_, '_>,
    open: &[&OptionLine],
    means: &[f64],
    (rate, currency): (f64, Option<&str>),
    advice: &Advice,
) -> HangsOn {
    let count = drawn.draws.count;
    let base: Vec<f64> = (0..count).into_par_iter().map(|d| drawn.gap(d, d, &Anew::default())).collect();
    let mean = base.iter().sum::<f64>() / of(count);
    let variance = base.iter().map(|g| (g - mean) * (g - mean)).sum::<f64>() / of(count);
    let keys = Keys::of(drawn, scene.blocks.len());
    let groups = groups(drawn, scene.blocks.len());
    let share = |group: &Group| {
        let effect = match group {
            Group::Doubts(doubts) => {
                let anew = drawn.luck.anew(doubts);
                let half_square =
                    |d: usize| 0.5 * (drawn.gap(d, d, &anew) - base.get(d).copied().unwrap_or(0.0)).powi(2);
                (0..count).map(half_square).sum::<f64>() / of(count)
            }
            Group::State(block) => state_effect(drawn, &base, &keys, *block),
            Group::Causes => state_effect(drawn, &base, &keys, scene.blocks.len()),
        };
        if variance > 0.0 { effect / variance } else { 0.0 }
    };
    let mut shares: Vec<(f64, &Group)> = groups.par_iter().map(|group| (share(group), group)).collect();
    shares.retain(|(share, _)| *share >= LEAST);
    shares.sort_by(|a, b| b.0.total_cmp(&a.0));
    shares.truncate(NAMED);
    let on =
        shares.into_iter().map(|(share, group)| hinge(scene, drawn, open, advice, group, share.min(1.0))).collect();
    let mut gaps: Vec<f64> = base.iter().map(|g| rate * g).collect();
    let between = quantiles(&mut gaps);
    let name = |place: usize| open.get(place).map_or_else(String::new, |o| o.name.clone());
    let id = |place: usize| open.get(place).map_or_else(String::new, |o| o.id.clone());
    let at = |place: usize| means.get(place).copied().unwrap_or(0.0);
    let difference = rate * (at(1) - at(0));
    let amount = |x: f64| said(currency, x);
    let words = match between {
        [low, high] if low < 0.0 && high > 0.0 => format!(
            "{} costs {} more than {} on average; 4 times in 5 it ends between {} less and {} more",
            name(1),
            amount(difference),
            crate::words::within(&name(0)),
            amount(-low),
            amount(high)
        ),
        [low, high] => format!(
            "{} costs {} more than {} on average; 4 times in 5 between {} and {} more",
            name(1),
            amount(difference),
            crate::words::within(&name(0)),
            amount(low),
            amount(high)
        ),
    };
    HangsOn { pair: [id(0), id(1)], difference, between, on, words }
}

/// What the gap between the first two ways sees of each drawn engine, thing by thing: block after block, then the causes that
/// another engine shares.
struct Keys {
    /// Per thing, per draw: equal numbers for equal states.
    own: Vec<Vec<u32>>,
}

impl Keys {
    fn of(drawn: &Drawn<'_, '_>, blocks: usize) -> Self {
        let pair = || drawn.ways.iter().take(2);
        let of_thing = |thing: usize| {
            let variables: BTreeSet<usize> = if thing < blocks {
                pair().flat_map(|w| w.parts_of(thing)).collect()
            } else {
                pair().flat_map(Drawing::shared_causes).copied().collect()
            };
            let mut seen: BTreeMap<Vec<u8>, u32> = BTreeMap::new();
            let key = |d: usize| {
                let states = drawn.draws.draw(d);
                let class = drawn.classes.get(d).and_then(|c| c.get(thing)).copied().unwrap_or(0);
                let class = u8::try_from(class).unwrap_or(u8::MAX);
                let parts = variables.iter().map(|v| states.get(*v).copied().unwrap_or(0));
                let next = u32::try_from(seen.len()).unwrap_or(u32::MAX);
                *seen.entry(std::iter::once(class).chain(parts).collect()).or_insert(next)
            };
            (0..drawn.draws.count).map(key).collect()
        };
        Self { own: (0..=blocks).map(of_thing).collect() }
    }

    /// Draws that are alike in one thing, or in all but one.
    fn alike(&self, thing: usize, in_it: bool) -> Vec<Vec<usize>> {
        let counted: Vec<&Vec<u32>> =
            self.own.iter().enumerate().filter(|(t, _)| (*t == thing) == in_it).map(|(_, own)| own).collect();
        let mut groups: BTreeMap<Vec<u32>, Vec<usize>> = BTreeMap::new();
        for d in 0..self.own.first().map_or(0, Vec::len) {
            let key = counted.iter().filter_map(|own| own.get(d)).copied().collect();
            groups.entry(key).or_default().push(d);
        }
        groups.into_values().collect()
    }
}

/// The spread that the state of one thing accounts for: what is left of it when all else is known, or what goes when the
/// thing alone is known, whichever is more.
fn state_effect(drawn: &Drawn<'_, '_>, base: &[f64], keys: &Keys, thing: usize) -> f64 {
    let n = of(base.len());
    let gap = |d: usize| base.get(d).copied().unwrap_or(0.0);
    // All else known: two engines alike in everything else, under the same luck.
    let mut left = 0.0;
    for alike in keys.alike(thing, false).iter().filter(|a| a.len() > 1) {
        for (here, next) in alike.iter().zip(alike.iter().cycle().skip(1)) {
            left += 0.5 * (drawn.gap(*next, *here, &Anew::default()) - gap(*here)).powi(2);
        }
    }
    // It alone known: how far apart the means are, less what they would be apart by chance.
    let mean = base.iter().sum::<f64>() / n;
    let mut apart = 0.0;
    for alike in keys.alike(thing, true) {
        let size = of(alike.len());
        let own = alike.iter().map(|d| gap(*d)).sum::<f64>() / size;
        let within = alike.iter().map(|d| (gap(*d) - own).powi(2)).sum::<f64>();
        apart += size * (own - mean).powi(2) - if alike.len() > 1 { within / (size - 1.0) } else { 0.0 };
    }
    (left / n).max(apart / n)
}

fn groups(drawn: &Drawn<'_, '_>, blocks: usize) -> Vec<Group> {
    let all: Vec<Doubt> = drawn.ways.iter().take(2).flat_map(Drawing::doubts).collect();
    let work = all.iter().copied().filter(|d| matches!(d, Doubt::Work(_))).collect();
    let mut out: Vec<Group> = (0..blocks).map(Group::State).chain([Group::Causes, Group::Doubts(work)]).collect();
    let mut alone: Vec<Doubt> = Vec::new();
    for doubt in all.into_iter().filter(|d| !matches!(d, Doubt::Work(_))) {
        if !alone.contains(&doubt) {
            alone.push(doubt);
        }
    }
    out.extend(alone.into_iter().map(|d| Group::Doubts(vec![d])));
    out
}

fn of_it(share: f64) -> &'static str {
    match share {
        s if s >= 0.85 => "nearly all of it",
        s if s >= 0.6 => "most of it",
        s if s >= 0.42 => "about half of it",
        s if s >= 0.29 => "about a third of it",
        s if s >= 0.2 => "about a quarter of it",
        s if s >= 0.13 => "about a sixth of it",
        _ => "a little of it",
    }
}

fn small(name: &str) -> String {
    let mut letters = name.chars();
    letters.next().map_or_else(String::new, |first| first.to_lowercase().chain(letters).collect())
}

fn hinge(
    scene: &Scene<'_, '_>,
    drawn: &Drawn<'_, '_>,
    open: &[&OptionLine],
    advice: &Advice,
    group: &Group,
    share: f64,
) -> Hinge {
    let block = |b: usize| scene.blocks.get(b).map_or_else(String::new, |b| small(&b.name));
    let option = |place: usize| {
        let id = scene.knowledge.options.get(place).map(|o| o.id.as_str());
        open.iter().find(|o| Some(o.id.as_str()) == id).map_or_else(String::new, |o| format!("“{}”", o.name))
    };
    let quoted = |place: usize| drawn.ways.iter().any(|way| way.place() == place && way.quoted());
    let mut check = None;
    let (what, next) = match group {
        Group::State(b) => {
            let members: BTreeSet<usize> =
                scene.blocks.get(*b).into_iter().flat_map(|b| b.members.iter().map(|m| m.0)).collect();
            check = telling(scene, advice, &members);
            (
                format!("the state of the {}", block(*b)),
                next_check(check, "no open check looks at it: opening tells it"),
            )
        }
        Group::Causes => {
            let shared = drawn.ways.iter().take(2).flat_map(Drawing::shared_causes).copied().collect();
            check = telling(scene, advice, &shared);
            let none = "no open check looks at it: ask about the family, its age and its miles";
            ("what this engine suffers from as all of its family do".to_owned(), next_check(check, none))
        }
        Group::Doubts(doubts) => match doubts.first() {
            Some(Doubt::Work(_)) => (
                "how much the machine work grows once it is in hand".to_owned(),
                "have the machine shop look and name its price before anything is cut".to_owned(),
            ),
            Some(Doubt::Life(b)) => (
                format!("how long what is left in the {} lasts", block(*b)),
                "nothing that can be read now tells it; a warranty moves it to somebody else".to_owned(),
            ),
            Some(Doubt::Miles) => (
                "how far the engine has truly run".to_owned(),
                "ask for dated readings of the odometer: invoices, inspections".to_owned(),
            ),
            Some(Doubt::Price(o)) if quoted(*o) => (
                format!("what comes on top of the quote for {}", option(*o)),
                "ask what the quote leaves out".to_owned(),
            ),
            Some(Doubt::Price(o)) => {
                (format!("what {} really costs; nobody has quoted for it", option(*o)), "ask for a quote".to_owned())
            }
            Some(Doubt::Wait(o)) => {
                (format!("how many days {} takes", option(*o)), "ask for a day that somebody stands by".to_owned())
            }
            Some(Doubt::Own(o)) => (
                format!("whether {} itself turns out well", option(*o)),
                "ask the supplier what was tested and what the warranty pays".to_owned(),
            ),
            Some(Doubt::Other(o)) => (
                format!("what the other engine of {} is like", option(*o)),
                "have the seller show compression, oil and proof of its miles before money goes out".to_owned(),
            ),
            None => (String::new(), String::new()),
        },
    };
    Hinge { what, share, of_it: of_it(share), check: check.map(|c| c.check.clone()), next }
}

fn next_check(check: Option<&CheckWorth>, none: &str) -> String {
    check.map_or_else(|| none.to_owned(), |c| format!("check next: {}, {}", c.name, c.place))
}

/// The open check that tells most about some variables: the one worth most, and of equals the first of the advice.
fn telling<'a>(scene: &Scene<'_, '_>, advice: &'a Advice, variables: &BTreeSet<usize>) -> Option<&'a CheckWorth> {
    let looks = |c: &&CheckWorth| looks_at(scene, scene.knowledge, c, variables);
    let all = advice.next.iter().chain(&advice.rest).filter(looks);
    all.fold(None, |best: Option<&CheckWorth>, c| match best {
        Some(b) if b.worth >= c.worth => Some(b),
        Some(_) | None => Some(c),
    })
}

fn looks_at(scene: &Scene<'_, '_>, knowledge: &Knowledge, worth: &CheckWorth, variables: &BTreeSet<usize>) -> bool {
    let Some(check) = knowledge.check(&worth.check) else { return false };
    let places = if worth.round.is_empty() { std::slice::from_ref(&worth.position) } else { &worth.round[..] };
    let reads = |position| {
        check
            .readings
            .iter()
            .flat_map(move |r| network::observed(scene.net, scene.layout, r, position))
            .any(|(v, _)| variables.contains(&v))
    };
    places.iter().any(reads)
}

/// What an option of a job costs on average by two ways, in labour units: from engines drawn, and from exact sums.
///
/// For those who doubt that there is one cost function: the two share the bill of an option and nothing else. Every
/// choice of every option is given, struck out or not.
///
#[must_use]
pub fn by_both(scene: &Scene<'_, '_>, run: &Run<'_>) -> Vec<(String, f64, f64)> {
    let Scene { blocks, terms, draws, .. } = *scene;
    let choices = priced(scene, terms);
    let mut exactly = Exactly::of(run, blocks);
    let classes: Vec<Vec<usize>> =
        (0..draws.count).map(|d| blocks.iter().map(|b| b.class_in(draws.draw(d))).collect()).collect();
    let drawn = |option: &OptionHere<'_>| {
        let cost = |(d, classes): (usize, &Vec<usize>)| option.bill(draws.draw(d), classes).expected();
        classes.iter().enumerate().map(cost).sum::<f64>() / of(draws.count)
    };
    choices.iter().map(|o| (o.option.id.clone(), drawn(o), exactly.mean(o))).collect()
}
