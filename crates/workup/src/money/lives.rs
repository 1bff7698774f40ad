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
        if sound { kept } else { stated.max(kept) }
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
