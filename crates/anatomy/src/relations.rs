//! Relations: which places a relative site means seen from a place, and which places touch each other.

use std::collections::BTreeSet;

use crate::layout::EngineLayout;
use crate::position::{CamPlace, Position};
use crate::words::{Scope, vocabulary};
use serde::{Deserialize, Serialize};

vocabulary! {
    /// A place named by its relation to another place, as the knowledge files do.
    RelativeSite {
        /// The engine as a whole.
        Engine = "engine",
        /// The bank of the place.
        ThisBank = "this-bank",
        /// Every bank.
        AnyBank = "any-bank",
        /// The cylinder of the place.
        ThisCylinder = "this-cylinder",
        /// Every cylinder.
        AnyCylinder = "any-cylinder",
        /// Every cylinder of the bank of the place.
        CylindersOfThisBank = "cylinders-of-this-bank",
        /// The place itself, a pair.
        ThisPair = "this-pair",
        /// The pairs the cylinder of the place is part of.
        PairsOfThisCylinder = "pairs-of-this-cylinder",
        /// Every pair of the bank of the place.
        PairsOfThisBank = "pairs-of-this-bank",
        /// Every pair.
        AnyPair = "any-pair",
        /// The place itself, a valve.
        ThisValve = "this-valve",
        /// Every valve of the cylinder of the place.
        ValvesOfThisCylinder = "valves-of-this-cylinder",
        /// The intake valves of the cylinder of the place.
        IntakeValvesOfThisCylinder = "intake-valves-of-this-cylinder",
        /// The exhaust valves of the cylinder of the place.
        ExhaustValvesOfThisCylinder = "exhaust-valves-of-this-cylinder",
        /// Every valve of the bank of the place.
        ValvesOfThisBank = "valves-of-this-bank",
        /// Every valve.
        AnyValve = "any-valve",
        /// The place itself, a cam.
        ThisCam = "this-cam",
        /// The cam that drives the place, a valve.
        CamOfThisValve = "cam-of-this-valve",
        /// The cams that drive the valves of the cylinder of the place.
        CamsOfThisCylinder = "cams-of-this-cylinder",
        /// Every cam.
        AnyCam = "any-cam",
        /// The place itself, a rod bearing.
        ThisRodBearing = "this-rod-bearing",
        /// The rod bearing of the cylinder of the place.
        RodBearingOfThisCylinder = "rod-bearing-of-this-cylinder",
        /// Every rod bearing.
        AnyRodBearing = "any-rod-bearing",
        /// The place itself, a main bearing.
        ThisMainBearing = "this-main-bearing",
        /// Every main bearing.
        AnyMainBearing = "any-main-bearing",
        /// The place itself, a main or rod bearing, meaning its crank surface.
        ThisJournal = "this-journal",
        /// Every main and rod bearing, meaning their crank surfaces.
        AnyJournal = "any-journal",
    }
}

impl RelativeSite {
    /// Gives the kinds of place the site may lead to.
    #[must_use]
    pub fn scopes(self) -> &'static [Scope] {
        match self {
            RelativeSite::Engine => &[Scope::Engine],
            RelativeSite::ThisBank | RelativeSite::AnyBank => &[Scope::Bank],
            RelativeSite::ThisCylinder | RelativeSite::AnyCylinder | RelativeSite::CylindersOfThisBank => {
                &[Scope::Cylinder]
            }
            RelativeSite::ThisPair
            | RelativeSite::PairsOfThisCylinder
            | RelativeSite::PairsOfThisBank
            | RelativeSite::AnyPair => &[Scope::AdjacentPair],
            RelativeSite::ThisValve
            | RelativeSite::ValvesOfThisCylinder
            | RelativeSite::ValvesOfThisBank
            | RelativeSite::AnyValve => &[Scope::ValveIntake, Scope::ValveExhaust],
            RelativeSite::IntakeValvesOfThisCylinder => &[Scope::ValveIntake],
            RelativeSite::ExhaustValvesOfThisCylinder => &[Scope::ValveExhaust],
            RelativeSite::ThisCam
            | RelativeSite::CamOfThisValve
            | RelativeSite::CamsOfThisCylinder
            | RelativeSite::AnyCam => &[Scope::Cam],
            RelativeSite::ThisRodBearing | RelativeSite::RodBearingOfThisCylinder | RelativeSite::AnyRodBearing => {
                &[Scope::RodBearing]
            }
            RelativeSite::ThisMainBearing | RelativeSite::AnyMainBearing => &[Scope::MainBearing],
            RelativeSite::ThisJournal | RelativeSite::AnyJournal => &[Scope::MainBearing, Scope::RodBearing],
        }
    }
}

impl EngineLayout {
    /// Gives the places a relative site means, seen from `at`, in the fixed order; empty where the site does not exist
    /// from there.
    ///
    /// # Shapes
    /// `this-x` leads to the place itself when it is an x; `this-bank` and `this-cylinder` also lead from a part
    /// to the bank or cylinder it belongs to; `…-of-this-cylinder` needs a place with one cylinder;
    /// `any-x` leads to all of them from everywhere; a place the engine lacks leads nowhere
    #[must_use]
    pub fn related(&self, site: RelativeSite, at: &Position) -> Vec<Position> {
        if !self.contains(at) {
            return Vec::new();
        }
        let everywhere =
            || -> Vec<Position> { site.scopes().iter().flat_map(|scope| self.positions(*scope)).collect() };
        let itself = || -> Vec<Position> { if site.scopes().contains(&at.scope()) { vec![*at] } else { Vec::new() } };
        let of_cylinder = || -> Vec<Position> {
            match at.cylinder() {
                Some(cylinder) => everywhere().into_iter().filter(|place| place.cylinder() == Some(cylinder)).collect(),
                None => Vec::new(),
            }
        };
        let of_bank = || -> Vec<Position> {
            match self.bank_of(at) {
                Some(bank) => everywhere().into_iter().filter(|place| self.bank_of(place) == Some(bank)).collect(),
                None => Vec::new(),
            }
        };
        match site {
            RelativeSite::Engine
            | RelativeSite::AnyBank
            | RelativeSite::AnyCylinder
            | RelativeSite::AnyPair
            | RelativeSite::AnyValve
            | RelativeSite::AnyCam
            | RelativeSite::AnyRodBearing
            | RelativeSite::AnyMainBearing
            | RelativeSite::AnyJournal => everywhere(),
            RelativeSite::ThisPair
            | RelativeSite::ThisValve
            | RelativeSite::ThisCam
            | RelativeSite::ThisRodBearing
            | RelativeSite::ThisMainBearing
            | RelativeSite::ThisJournal => itself(),
            RelativeSite::ThisBank
            | RelativeSite::CylindersOfThisBank
            | RelativeSite::PairsOfThisBank
            | RelativeSite::ValvesOfThisBank => of_bank(),
            RelativeSite::ThisCylinder
            | RelativeSite::ValvesOfThisCylinder
            | RelativeSite::IntakeValvesOfThisCylinder
            | RelativeSite::ExhaustValvesOfThisCylinder
            | RelativeSite::RodBearingOfThisCylinder => of_cylinder(),
            RelativeSite::PairsOfThisCylinder => match at.cylinder() {
                Some(cylinder) => everywhere()
                    .into_iter()
                    .filter(|pair| pair.pair().is_some_and(|(a, b)| a == cylinder || b == cylinder))
                    .collect(),
                None => Vec::new(),
            },
            RelativeSite::CamOfThisValve => self.cam_of(at).map(Position::Cam).into_iter().collect(),
            RelativeSite::CamsOfThisCylinder => {
                let valves = self.related(RelativeSite::ValvesOfThisCylinder, at);
                let driving: BTreeSet<CamPlace> = valves.iter().filter_map(|valve| self.cam_of(valve)).collect();
                driving.into_iter().map(Position::Cam).collect()
            }
        }
    }

    /// Gives the places that touch a place or are cut in the same piece, in the fixed order.
    ///
    /// # Shapes
    /// bank: its cylinders, pairs, valves and cams. Cylinder: its bank, pairs, valves, rod bearing. Pair: its
    /// bank and its two cylinders. Valve: its bank, cylinder and cam. Cam: its valves and its bank, or the
    /// engine when it lies in the block. Main bearing: the engine and the rods on the throws beside it.
    /// Rod bearing: its cylinder, the rod beside it on the same journal, the mains beside that journal.
    /// Engine: banks, mains, the cam in the block.
    ///
    /// # Invariants
    /// if a touches b then b touches a; nothing touches itself
    #[must_use]
    pub fn touches(&self, at: &Position) -> Vec<Position> {
        if !self.contains(at) {
            return Vec::new();
        }
        self.all_positions().into_iter().filter(|other| self.touch(at, other) || self.touch(other, at)).collect()
    }

    /// Says whether `a` lists `b` among what it carries; contact is this in either direction.
    fn touch(&self, a: &Position, b: &Position) -> bool {
        match (a.scope(), b.scope()) {
            (Scope::Engine, Scope::Bank | Scope::MainBearing) => true,
            (Scope::Engine, Scope::Cam) => b.bank().is_none(),
            (
                Scope::Bank,
                Scope::Cylinder | Scope::AdjacentPair | Scope::ValveIntake | Scope::ValveExhaust | Scope::Cam,
            ) => self.bank_of(a) == self.bank_of(b),
            (Scope::Cylinder, Scope::ValveIntake | Scope::ValveExhaust | Scope::RodBearing) => {
                a.cylinder() == b.cylinder()
            }
            (Scope::Cylinder, Scope::AdjacentPair) => {
                b.pair().is_some_and(|(first, second)| a.cylinder() == Some(first) || a.cylinder() == Some(second))
            }
            (Scope::Cam, Scope::ValveIntake | Scope::ValveExhaust) => self.cam_of(b).map(Position::Cam) == Some(*a),
            (Scope::RodBearing, Scope::RodBearing) => {
                a != b && self.journal_at(a).is_some() && self.journal_at(a) == self.journal_at(b)
            }
            (Scope::MainBearing, Scope::RodBearing) => {
                let beside = self.journal_at(b).and_then(|journal| self.mains_beside_journal(journal));
                beside
                    .is_some_and(|(one, other)| *a == Position::MainBearing(one) || *a == Position::MainBearing(other))
            }
            (
                Scope::Engine,
                Scope::Engine
                | Scope::Cylinder
                | Scope::AdjacentPair
                | Scope::ValveIntake
                | Scope::ValveExhaust
                | Scope::RodBearing,
            )
            | (Scope::Bank, Scope::Engine | Scope::Bank | Scope::MainBearing | Scope::RodBearing)
            | (Scope::Cylinder, Scope::Engine | Scope::Bank | Scope::Cylinder | Scope::MainBearing | Scope::Cam)
            | (Scope::AdjacentPair | Scope::ValveIntake | Scope::ValveExhaust, _)
            | (
                Scope::Cam,
                Scope::Engine
                | Scope::Bank
                | Scope::Cylinder
                | Scope::AdjacentPair
                | Scope::MainBearing
                | Scope::RodBearing
                | Scope::Cam,
            )
            | (
                Scope::RodBearing,
                Scope::Engine
                | Scope::Bank
                | Scope::Cylinder
                | Scope::AdjacentPair
                | Scope::ValveIntake
                | Scope::ValveExhaust
                | Scope::MainBearing
                | Scope::Cam,
            )
            | (
                Scope::MainBearing,
                Scope::Engine
                | Scope::Bank
                | Scope::Cylinder
                | Scope::AdjacentPair
                | Scope::ValveIntake
                | Scope::ValveExhaust
                | Scope::MainBearing
                | Scope::Cam,
            ) => false,
        }
    }

    fn journal_at(&self, rod: &Position) -> Option<u8> {
        rod.cylinder().and_then(|cylinder| self.rod_journal_of(cylinder))
    }
}
