//! How likely parts whose life is known fail on the customer's road: new ones, those of this engine, those of another.
//!
//! They differ in nothing but their age. Where a life is known and the age can be told, it takes the place of the chance
//! that the option states for a sound block.

use std::collections::BTreeMap;

use inference::life::{History, LifePosterior, LifePrior};
use inference::mileage::{Age, Claim, Habits, MeanTravel, Standing, Travel as Travels, true_travel};
use knowledge::workshop::BlockLeft;
use knowledge::{BlockLife, Knowledge, Travel};
use logbook::{Figure, JobState};
use quantity::Unit;

use super::quote_for;
use crate::network;

/// Kilometres in a mile, exactly.
const KILOMETRES_IN_A_MILE: f64 = 1.609_344;

/// Distances with their chances.
type Miles = Vec<(f64, f64)>;

/// Chances that the parts with a known life fail within the horizon, by block.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Lasting(BTreeMap<String, Failing>);

#[derive(Debug, Clone, Default, PartialEq)]
struct Failing {
    new: f64,
    kept: f64,
    /// The same on average over all mileages that the engine may have run, where `kept` is for one of them.
    kept_on_average: Option<f64>,
    /// By the option that puts another engine in.
    donors: BTreeMap<String, f64>,
}

/// Whose parts they are.
#[derive(Debug, Clone, Copy)]
pub(super) enum Whose<'o> {
    /// Those of this engine.
    Kept,
    /// Those of the other engine that an option puts in.
    Donor(&'o str),
}

impl Lasting {
    /// What is known for this engine, its age and the ages of the engines that were offered.
    ///
    /// # Units
    /// Miles. Nothing is said where the odometer is not told.
    #[must_use]
    pub fn of(state: &JobState, knowledge: &Knowledge, horizon_miles: f64) -> Self {
        let told = crate::told(state, knowledge);
        let attributes = match &state.layout {
            Some(layout) => network::attributes(layout, &told, knowledge),
            None => told,
        };
        let lives = |lives: &[BlockLife]| -> Vec<LifePosterior> {
            let known = lives.iter().filter(|life| network::applies(&life.applies, &attributes));
            known.filter_map(posterior).collect()
        };
        let known = knowledge.blocks.iter().map(|block| (&block.id, lives(&block.lives)));
        let known: Vec<_> = known.filter(|(_, lives)| !lives.is_empty()).collect();
        let Some(own) = own_ages(state, knowledge).filter(|_| !known.is_empty()) else { return Self::default() };
        let donors: Vec<(&String, Miles)> = knowledge
            .options
            .iter()
            .filter(|option| option.residual.as_ref().is_some_and(|r| r.donor.is_some()))
            .map(|option| (&option.id, donor_ages(state, knowledge, &option.id).unwrap_or_else(|| own.clone())))
            .collect();
        let failing = |lives: &[LifePosterior], ages: &[(f64, f64)]| {
            // Given their ages the parts of a block last independently of each other.
            let last = lives.iter().map(|life| life.survival_at_doubtful_age(ages, horizon_miles).unwrap_or(1.0));
            1.0 - last.product::<f64>()
        };
        let of_block = |(block, lives): &(&String, Vec<LifePosterior>)| {
            let failing = Failing {
                new: failing(lives, &[(0.0, 1.0)]),
                kept: failing(lives, &own),
                kept_on_average: None,
                donors: donors.iter().map(|(option, ages)| ((*option).clone(), failing(lives, ages))).collect(),
            };
            ((*block).clone(), failing)
        };
        Self(known.iter().map(of_block).collect())
    }

    /// Chance of coming back within the horizon of a block in a class.
    pub(super) fn back(&self, left: &BlockLeft, class: &str, sound: bool, whose: Whose<'_>, miles: f64) -> f64 {
        let stated = left.chance(class, miles).unwrap_or(0.0);
        let Some(failing) = self.0.get(&left.block) else { return stated };
        if left.new_in.iter().any(|c| c == class) {
            // What is stated is the work; the new parts have their own life.
            return 1.0 - (1.0 - stated) * (1.0 - failing.new);
        }
        let kept = match whose {
            Whose::Kept => failing.kept,
            Whose::Donor(option) => failing.donors.get(option).copied().unwrap_or(failing.kept),
        };
        // A worn or failed part does not last longer than a sound one of its age.
        let by_age = sound || failing.kept_on_average.unwrap_or(kept) > stated;
        if by_age { kept } else { stated }
    }

    /// The same at each of a few mileages that this engine may have run, with the share of the belief in it; nothing where no
    /// life is known or there is no doubt about the mileage. On average they are as before.
    pub(crate) fn by_own_age(&self, state: &JobState, knowledge: &Knowledge, horizon_miles: f64) -> Vec<(f64, Self)> {
        let told = crate::told(state, knowledge);
        let attributes = match &state.layout {
            Some(layout) => network::attributes(layout, &told, knowledge),
            None => told,
        };
        let own = own_ages(state, knowledge).map(few).unwrap_or_default();
        if self.0.is_empty() || own.len() < 2 {
            return Vec::new();
        }
        let mut out: Vec<(f64, Self)> = own.iter().map(|(_, p)| (*p, self.clone())).collect();
        for (block, average) in &self.0 {
            let lives = knowledge.blocks.iter().filter(|b| b.id == *block).flat_map(|b| &b.lives);
            let lives: Vec<LifePosterior> =
                lives.filter(|life| network::applies(&life.applies, &attributes)).filter_map(posterior).collect();
            let at = |miles: f64| {
                let last = |life: &LifePosterior| life.survival_at_doubtful_age(&[(miles, 1.0)], horizon_miles);
                1.0 - lives.iter().map(|life| last(life).unwrap_or(1.0)).product::<f64>()
            };
            let here: Vec<f64> = own.iter().map(|(miles, _)| at(*miles)).collect();
            let mean: f64 = own.iter().zip(&here).map(|((_, p), fails)| p * fails).sum();
            let scale = if mean > 0.0 { average.kept / mean } else { 1.0 };
            for ((_, lasting), fails) in out.iter_mut().zip(here) {
                if let Some(of_block) = lasting.0.get_mut(block) {
                    of_block.kept = (fails * scale).min(1.0);
                    of_block.kept_on_average = Some(average.kept);
                }
            }
        }
        out
    }

    /// Chance that new parts in a block fail within the horizon; nought where no life is known.
    pub(super) fn new_fails(&self, block: &str) -> f64 {
        self.0.get(block).map_or(0.0, |failing| failing.new)
    }

    /// Chance that any new part of a whole engine fails within the horizon.
    pub(super) fn any_new_fails(&self) -> f64 {
        1.0 - self.0.values().map(|failing| 1.0 - failing.new).product::<f64>()
    }
}

/// Mileages at which options are priced one by one \[ours: the doubt of a mileage is a broad one\].
const FEW: usize = 12;

/// Mileages with their chances, brought down to a few: each the middle of its share of the belief.
fn few(mut miles: Miles) -> Miles {
    miles.sort_by(|a, b| a.0.total_cmp(&b.0));
    let total: f64 = miles.iter().map(|(_, p)| p).sum();
    let mut out: Miles = Vec::new();
    let (mut sum, mut weight, mut up_to) = (0.0, 0.0, 0.0);
    for (place, (at, p)) in miles.iter().enumerate() {
        sum += at * p;
        weight += p;
        up_to += p;
        let done = u32::try_from(out.len() + 1).map_or(1.0, f64::from) / u32::try_from(FEW).map_or(1.0, f64::from);
        if weight > 0.0 && (up_to >= done * total || place + 1 == miles.len()) {
            out.push((sum / weight, weight / total));
            (sum, weight) = (0.0, 0.0);
        }
    }
    out
}

fn posterior(life: &BlockLife) -> Option<LifePosterior> {
    let prior = LifePrior::from_lives(life.tenth_miles, life.half_miles, life.half_factor, life.gap_factor).ok()?;
    LifePosterior::of(&prior, &History::default()).ok()
}

/// What a figure comes to in miles, where it is a distance.
pub(crate) fn miles(figure: &Figure) -> Option<f64> {
    figure.number_in(Unit::MILE.symbol())
}

/// Years since the vehicle was built, when the job was opened: the middle of the model year.
fn years(state: &JobState) -> Option<f64> {
    let built = f64::from(state.vehicle.year?);
    let opened = state.opened_at?.to_string();
    let year = opened.get(..4)?.parse::<u16>().ok().map(f64::from)?;
    Some((year - built + 0.5).max(0.5))
}

/// What this engine has truly run; as it shows where the odometer is believed or nothing speaks about its age.
fn own_ages(state: &JobState, knowledge: &Knowledge) -> Option<Miles> {
    let shown = state.vehicle.odometer.as_ref().and_then(miles)?;
    if state.vehicle.odometer_believed == Some(anatomy::Known::Yes) {
        return Some(vec![(shown, 1.0)]);
    }
    Some(behind(shown, Standing::InItsWhole, state, knowledge).unwrap_or_else(|| vec![(shown, 1.0)]))
}

/// What the engine offered for an option has truly run, where its mileage was told.
fn donor_ages(state: &JobState, knowledge: &Knowledge, option: &str) -> Option<Miles> {
    let told = quote_for(&state.quotes, option)?.used_odometer.as_ref().and_then(miles)?;
    let loose = knowledge
        .travel
        .first()
        .map(|t| Standing::Loose { turned_back: t.loose_turned_back, swapped: t.loose_swapped });
    Some(loose.and_then(|loose| behind(told, loose, state, knowledge)).unwrap_or_else(|| vec![(told, 1.0)]))
}

fn behind(claimed: f64, standing: Standing, state: &JobState, knowledge: &Knowledge) -> Option<Miles> {
    let table: &Travel = knowledge.travel.first()?;
    let claim = Claim { claimed, age: Age::Years(years(state)?), earlier: Vec::new(), standing };
    let travel = Travels { mean: MeanTravel::Yearly(table.yearly_miles), spread: table.spread };
    let habits = Habits {
        turned_back: table.turned_back,
        swapped: table.swapped,
        wrong_unit: table.wrong_unit,
        share_left: table.share_left,
        unit_ratio: KILOMETRES_IN_A_MILE,
    };
    true_travel(&claim, &travel, &habits).ok().map(|truth| truth.nodes())
}
