//! The engine layout: a short description goes in, everything about the shape of the engine comes out.
//!
//! [`LayoutDescription`] is what people write (a few fields are enough); [`EngineLayout`] is what the rest of the program
//! uses and cannot be contradictory. Whatever nobody wrote is filled in by a stated rule and listed by
//! [`EngineLayout::assumed`]; the rules are habits of the trade \[from memory: trade judgement, no source\].

use serde::de::Error as _;
use serde::{Deserialize, Deserializer, Serialize};
use thiserror::Error;

use crate::numbering::{End, Numbering};
use crate::position::{Bank, CamPlace, Position};
use crate::words::{
    Arrangement, BoreKind, Follower, Fuel, GasketKind, HeadDivision, Induction, Known, Liner, Metal, Scope, SeatKind,
    TimingDrive, ValveGear, Working,
};

/// The largest number of cylinders a layout may have.
pub const MOST_CYLINDERS: u8 = 16;

/// What people write about an engine; fields left out are assumed by rule.
///
/// # Shapes
/// `cylinders` 1 to 16; `valves_per_cylinder` 2 to 5; `bank_split` one number for each bank
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LayoutDescription {
    /// How the cylinders stand.
    #[serde(deserialize_with = "standing")]
    pub arrangement: Arrangement,
    /// How many cylinders.
    pub cylinders: u8,
    /// What it burns.
    pub fuel: Fuel,
    /// How the valves are driven.
    pub valve_gear: ValveGear,
    /// How it works; left out: four strokes. The others are refused, so no layout has it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub works: Option<Working>,
    /// Valves in each cylinder; left out: 4 for two cams, else 2.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub valves_per_cylinder: Option<u8>,
    /// Intake valves in each cylinder; left out: half of the valves, rounded up.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub intake_valves_per_cylinder: Option<u8>,
    /// Cylinders in bank `A` and bank `B`; needed when an engine of two banks has an odd count.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bank_split: Option<Vec<u8>>,
    /// What the head is made of; left out: aluminium on petrol, iron on diesel.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub head_material: Option<Metal>,
    /// What the block is made of; left out: iron.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub block_material: Option<Metal>,
    /// Sleeve in the bore; left out: none in iron, dry in aluminium.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub liner: Option<Liner>,
    /// What the rings run on; left out: follows from block and liner.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bore_kind: Option<BoreKind>,
    /// What the head gasket is made of; left out: many steel layers on aluminium heads, composite on iron.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gasket: Option<GasketKind>,
    /// What runs on the cam; left out: flat for pushrods, roller for one cam, bucket for two.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub follower: Option<Follower>,
    /// How the valve seats are made; left out: inserts in aluminium, integral in iron.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seat: Option<SeatKind>,
    /// Whether an open valve can meet a piston; left out: unknown.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub interference: Option<Known>,
    /// What drives the cam; left out: gears on a pushrod diesel, else a chain.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub timing_drive: Option<TimingDrive>,
    /// Whether air is pushed in; left out: not on petrol, yes on diesel.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub induction: Option<Induction>,
    /// Whether an oil cooler is fitted; left out: unknown.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub oil_cooler: Option<Known>,
    /// How many cylinders one head covers; left out: a whole bank.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub heads: Option<HeadDivision>,
    /// Main bearings; left out: see [`EngineLayout::main_bearings`].
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub main_bearings: Option<u8>,
    /// Rod journals of the crank; left out: see [`EngineLayout::rod_journals`].
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rod_journals: Option<u8>,
    /// How cylinders are named and from which end; left out: after ISO 1204.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub numbering: Option<Numbering>,
    /// Which end is called the front; left out: the free end.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub front: Option<End>,
    /// Where the front points in the vehicle, in words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub front_note: Option<String>,
}

impl LayoutDescription {
    /// Gives a description with the four needed fields and nothing else said.
    #[must_use]
    pub fn new(arrangement: Arrangement, cylinders: u8, fuel: Fuel, valve_gear: ValveGear) -> LayoutDescription {
        LayoutDescription {
            arrangement,
            cylinders,
            fuel,
            valve_gear,
            works: None,
            valves_per_cylinder: None,
            intake_valves_per_cylinder: None,
            bank_split: None,
            head_material: None,
            block_material: None,
            liner: None,
            bore_kind: None,
            gasket: None,
            follower: None,
            seat: None,
            interference: None,
            timing_drive: None,
            induction: None,
            oil_cooler: None,
            heads: None,
            main_bearings: None,
            rod_journals: None,
            numbering: None,
            front: None,
            front_note: None,
        }
    }
}

/// Reads how the cylinders stand; of a kind of engine that is not covered it says so.
fn standing<'de, D: Deserializer<'de>>(from: D) -> Result<Arrangement, D::Error> {
    let word = String::deserialize(from)?;
    Arrangement::from_word(&word).ok_or_else(|| match Working::from_word(&word) {
        Some(works @ (Working::TwoStroke | Working::Rotary)) => D::Error::custom(LayoutError::NotCovered { works }),
        Some(Working::FourStroke) | None => {
            let all: Vec<String> = Arrangement::ALL.iter().map(|a| format!("`{a}`")).collect();
            D::Error::custom(format!("unknown variant `{word}`, expected one of {}", all.join(", ")))
        }
    })
}

/// Why a description is no engine, or why a position is not on it.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum LayoutError {
    /// An engine of another kind than the program knows.
    #[error(
        "engine layout, {works}: two-stroke and rotary engines are not covered, expected a four-stroke engine with pistons; nothing here would be right for it, so do not judge it with this"
    )]
    NotCovered {
        /// How it works.
        works: Working,
    },
    /// No cylinders, or too many.
    #[error("engine layout, cylinders = {given}: expected 1 to 16; count the cylinders")]
    Cylinders {
        /// The number given.
        given: u8,
    },
    /// Valves out of range.
    #[error(
        "engine layout, valves_per_cylinder = {given}: expected 2 to 5; count intake and exhaust valves of one cylinder"
    )]
    Valves {
        /// The number given.
        given: u8,
    },
    /// No intake or no exhaust valve is left.
    #[error(
        "engine layout, intake_valves_per_cylinder = {given} of {valves}: expected at least one intake and one exhaust valve; correct the smaller number"
    )]
    IntakeValves {
        /// The number given.
        given: u8,
        /// All valves of a cylinder.
        valves: u8,
    },
    /// Two banks need two cylinders.
    #[error(
        "engine layout, {arrangement} with 1 cylinder: expected at least 2 cylinders for two banks; call a single cylinder inline"
    )]
    OneCylinderTwoBanks {
        /// The arrangement given.
        arrangement: Arrangement,
    },
    /// An odd count does not divide into two banks by itself.
    #[error(
        "engine layout, {arrangement} with {cylinders} cylinders: an odd count needs bank_split, for example [{larger}, {smaller}]; say how many stand in bank A and in bank B"
    )]
    OddCount {
        /// The arrangement given.
        arrangement: Arrangement,
        /// The number of cylinders.
        cylinders: u8,
        /// The larger half.
        larger: u8,
        /// The smaller half.
        smaller: u8,
    },
    /// The split does not fit the count or the banks.
    #[error(
        "engine layout, bank_split = {given:?}: expected {banks} number(s), none of them 0, that add up to {cylinders}; correct bank_split or leave it out"
    )]
    BankSplit {
        /// The split given.
        given: Vec<u8>,
        /// How many banks there are.
        banks: usize,
        /// How many cylinders there are.
        cylinders: u8,
    },
    /// Bore, liner and block contradict each other.
    #[error(
        "engine layout, bore_kind {bore} with liner {liner} in a block of {block}: {why}; correct the one that is wrong or leave it out"
    )]
    Bore {
        /// The bore given or assumed.
        bore: BoreKind,
        /// The liner given or assumed.
        liner: Liner,
        /// The block given or assumed.
        block: Metal,
        /// What does not go together.
        why: &'static str,
    },
    /// A crank needs two mains, and no more than two for each throw.
    #[error("engine layout, main_bearings = {given}: expected 2 to {most} on this crank; count the caps of the block")]
    MainBearings {
        /// The number given.
        given: u8,
        /// The largest number that makes sense.
        most: u8,
    },
    /// Rod journals that fit no known crank.
    #[error(
        "engine layout, rod_journals = {given}: expected {own} (one for each rod) or {shared} (one for each facing pair); count the rod journals of the crank"
    )]
    RodJournals {
        /// The number given.
        given: u8,
        /// One for each cylinder.
        own: u8,
        /// One for each row of facing cylinders.
        shared: u8,
    },
    /// A pushrod engine with buckets, or the like.
    #[error(
        "engine layout, follower direct-bucket with valve_gear pushrod: a bucket needs the cam above the valve; choose flat or roller"
    )]
    BucketWithPushrod,
    /// Maker's names do not fit the number of cylinders.
    #[error(
        "engine layout, numbering: expected {expected} different, non-empty cylinder names, found {found}; write one name for each cylinder, bank A first"
    )]
    CylinderNames {
        /// How many cylinders there are.
        expected: u8,
        /// How many different names were given.
        found: usize,
    },
    /// Maker's bank names do not fit the banks.
    #[error(
        "engine layout, numbering: expected {expected} different bank name(s) or none, found {found}; write one name for each bank"
    )]
    BankNames {
        /// How many banks there are.
        expected: usize,
        /// How many different names were given.
        found: usize,
    },
    /// The position does not exist on this engine.
    #[error(
        "position {position}: this engine ({engine}) has no such place; it has {has}; choose one of these or correct the engine layout"
    )]
    NoSuchPosition {
        /// The address.
        position: Position,
        /// The engine in few words.
        engine: String,
        /// What there is of that kind.
        has: String,
    },
    /// Nobody on this engine has that name.
    #[error("cylinder name `{name}`: this engine has {has}; use one of these names")]
    NoSuchCylinderName {
        /// The name given.
        name: String,
        /// All names.
        has: String,
    },
}

/// One head: which cylinders it covers.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Head {
    /// The bank it sits on.
    pub bank: Bank,
    /// The cylinders it covers, in bore order.
    pub cylinders: Vec<u8>,
}

/// Something the description did not say and the layout filled in.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct Assumed {
    /// The field of the description.
    pub field: &'static str,
    /// The word that was filled in.
    pub value: String,
}

/// An engine whose parts are known and do not contradict each other.
///
/// # Shapes
/// positions come in scope order, within a scope in bank, cylinder and number order
///
/// # Invariants
/// built only through [`EngineLayout::new`] (also when read from JSON or TOML); equal descriptions give equal
/// layouts; writing and reading a layout gives the same layout, and what was assumed stays assumed
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "LayoutDescription", into = "LayoutDescription")]
pub struct EngineLayout {
    description: LayoutDescription,
    /// Cylinders of bank A; bank B has the rest.
    in_bank_a: u8,
}

impl TryFrom<LayoutDescription> for EngineLayout {
    type Error = LayoutError;
    fn try_from(description: LayoutDescription) -> Result<EngineLayout, LayoutError> {
        EngineLayout::new(description)
    }
}

impl From<EngineLayout> for LayoutDescription {
    fn from(layout: EngineLayout) -> LayoutDescription {
        layout.description
    }
}

impl EngineLayout {
    /// Gives the layout of a description, or the first thing that cannot be.
    ///
    /// # Errors
    /// one [`LayoutError`] that names the field, what was expected and the next move
    pub fn new(description: LayoutDescription) -> Result<EngineLayout, LayoutError> {
        let mut description = description;
        match description.works {
            Some(works @ (Working::TwoStroke | Working::Rotary)) => return Err(LayoutError::NotCovered { works }),
            // What goes without saying is not kept.
            Some(Working::FourStroke) | None => description.works = None,
        }
        let cylinders = description.cylinders;
        if !(1..=MOST_CYLINDERS).contains(&cylinders) {
            return Err(LayoutError::Cylinders { given: cylinders });
        }
        let in_bank_a = split(&description)?;
        let layout = EngineLayout { description, in_bank_a };
        layout.ensure_valves()?;
        layout.ensure_bore()?;
        layout.ensure_crank()?;
        layout.ensure_names()?;
        Ok(layout)
    }

    /// Gives the layout with nothing said but the four needed words.
    ///
    /// # Errors
    /// as [`EngineLayout::new`]
    pub fn plain(
        arrangement: Arrangement,
        cylinders: u8,
        fuel: Fuel,
        valve_gear: ValveGear,
    ) -> Result<EngineLayout, LayoutError> {
        EngineLayout::new(LayoutDescription::new(arrangement, cylinders, fuel, valve_gear))
    }

    /// Gives the description the layout was made from.
    #[must_use]
    pub fn description(&self) -> &LayoutDescription {
        &self.description
    }

    fn ensure_valves(&self) -> Result<(), LayoutError> {
        let valves = self.valves_per_cylinder();
        if !(2..=5).contains(&valves) {
            return Err(LayoutError::Valves { given: valves });
        }
        let intake = self.intake_valves_per_cylinder();
        if intake == 0 || intake >= valves {
            return Err(LayoutError::IntakeValves { given: intake, valves });
        }
        if self.valve_gear() == ValveGear::Pushrod && self.follower() == Follower::DirectBucket {
            return Err(LayoutError::BucketWithPushrod);
        }
        Ok(())
    }

    fn ensure_bore(&self) -> Result<(), LayoutError> {
        let (bore, liner, block) = (self.bore_kind(), self.liner(), self.block_material());
        let why = match (bore, liner, block) {
            (BoreKind::IronBore, Liner::Dry | Liner::Wet, _) => "a bore cut in the block has no liner",
            (BoreKind::IronBore, Liner::None, Metal::Aluminium) => "an aluminium block has no iron bore of its own",
            (BoreKind::IronLiner, Liner::None, _) => "an iron liner is dry or wet",
            (BoreKind::CoatedAluminium, Liner::None, Metal::Iron) => "an iron block has no aluminium bore of its own",
            (BoreKind::IronBore, Liner::None, Metal::Iron)
            | (BoreKind::IronLiner, Liner::Dry | Liner::Wet, _)
            | (BoreKind::CoatedAluminium, Liner::None, Metal::Aluminium)
            | (BoreKind::CoatedAluminium, Liner::Dry | Liner::Wet, _) => return Ok(()),
        };
        Err(LayoutError::Bore { bore, liner, block, why })
    }

    fn ensure_crank(&self) -> Result<(), LayoutError> {
        let (own, shared) = (self.cylinders(), self.longest_bank());
        let journals = self.rod_journals();
        if journals != own && journals != shared {
            return Err(LayoutError::RodJournals { given: journals, own, shared });
        }
        // One bearing between any two throws and one at each end, and one spare outside (an outrigger) [from memory].
        let most = journals + 2;
        let mains = self.main_bearings();
        if !(2..=most).contains(&mains) {
            return Err(LayoutError::MainBearings { given: mains, most });
        }
        Ok(())
    }

    fn ensure_names(&self) -> Result<(), LayoutError> {
        let Some(Numbering::Maker { cylinder_names, bank_names, .. }) = &self.description.numbering else {
            return Ok(());
        };
        let different = |names: &[String]| {
            let mut kept: Vec<&str> = names.iter().map(|name| name.trim()).filter(|name| !name.is_empty()).collect();
            kept.sort_unstable();
            kept.dedup();
            kept.len()
        };
        let found = different(cylinder_names);
        if cylinder_names.len() != usize::from(self.cylinders()) || found != cylinder_names.len() {
            return Err(LayoutError::CylinderNames { expected: self.cylinders(), found });
        }
        let (expected, found) = (self.banks().len(), different(bank_names));
        if !bank_names.is_empty() && (bank_names.len() != expected || found != expected) {
            return Err(LayoutError::BankNames { expected, found });
        }
        Ok(())
    }

    /// Gives how the cylinders stand.
    #[must_use]
    pub fn arrangement(&self) -> Arrangement {
        self.description.arrangement
    }

    /// Gives the number of cylinders.
    #[must_use]
    pub fn cylinders(&self) -> u8 {
        self.description.cylinders
    }

    /// Gives the fuel.
    #[must_use]
    pub fn fuel(&self) -> Fuel {
        self.description.fuel
    }

    /// Gives how the valves are driven.
    #[must_use]
    pub fn valve_gear(&self) -> ValveGear {
        self.description.valve_gear
    }

    /// Gives the valves of each cylinder.
    #[must_use]
    pub fn valves_per_cylinder(&self) -> u8 {
        self.description.valves_per_cylinder.unwrap_or(match self.valve_gear() {
            ValveGear::Pushrod | ValveGear::SingleCam => 2,
            ValveGear::TwinCam => 4,
        })
    }

    /// Gives the intake valves of each cylinder.
    #[must_use]
    pub fn intake_valves_per_cylinder(&self) -> u8 {
        self.description.intake_valves_per_cylinder.unwrap_or_else(|| self.valves_per_cylinder().div_ceil(2))
    }

    /// Gives the exhaust valves of each cylinder.
    #[must_use]
    pub fn exhaust_valves_per_cylinder(&self) -> u8 {
        self.valves_per_cylinder().saturating_sub(self.intake_valves_per_cylinder())
    }

    /// Gives what the head is made of.
    #[must_use]
    pub fn head_material(&self) -> Metal {
        self.description.head_material.unwrap_or(match self.fuel() {
            Fuel::Petrol => Metal::Aluminium,
            Fuel::Diesel => Metal::Iron,
        })
    }

    /// Gives what the block is made of.
    #[must_use]
    pub fn block_material(&self) -> Metal {
        self.description.block_material.unwrap_or(Metal::Iron)
    }

    /// Gives the kind of sleeve in the bores.
    #[must_use]
    pub fn liner(&self) -> Liner {
        self.description.liner.unwrap_or(match (self.description.bore_kind, self.block_material()) {
            (Some(BoreKind::IronLiner), _) | (None, Metal::Aluminium) => Liner::Dry,
            (Some(BoreKind::IronBore | BoreKind::CoatedAluminium), _) | (None, Metal::Iron) => Liner::None,
        })
    }

    /// Gives what the piston rings run on.
    #[must_use]
    pub fn bore_kind(&self) -> BoreKind {
        self.description.bore_kind.unwrap_or(match (self.liner(), self.block_material()) {
            (Liner::Dry | Liner::Wet, _) => BoreKind::IronLiner,
            (Liner::None, Metal::Iron) => BoreKind::IronBore,
            (Liner::None, Metal::Aluminium) => BoreKind::CoatedAluminium,
        })
    }

    /// Gives what the head gasket is made of.
    #[must_use]
    pub fn gasket(&self) -> GasketKind {
        self.description.gasket.unwrap_or(match self.head_material() {
            Metal::Aluminium => GasketKind::MultiLayerSteel,
            Metal::Iron => GasketKind::Composite,
        })
    }

    /// Gives what runs on the cam.
    #[must_use]
    pub fn follower(&self) -> Follower {
        self.description.follower.unwrap_or(match self.valve_gear() {
            ValveGear::Pushrod => Follower::Flat,
            ValveGear::SingleCam => Follower::Roller,
            ValveGear::TwinCam => Follower::DirectBucket,
        })
    }

    /// Gives how the valve seats are made.
    #[must_use]
    pub fn seat(&self) -> SeatKind {
        self.description.seat.unwrap_or(match self.head_material() {
            Metal::Aluminium => SeatKind::Insert,
            Metal::Iron => SeatKind::Integral,
        })
    }

    /// Says whether an open valve can meet a piston.
    #[must_use]
    pub fn interference(&self) -> Known {
        self.description.interference.unwrap_or(Known::Unknown)
    }

    /// Gives what drives the cam.
    #[must_use]
    pub fn timing_drive(&self) -> TimingDrive {
        self.description.timing_drive.unwrap_or(match (self.valve_gear(), self.fuel()) {
            (ValveGear::Pushrod, Fuel::Diesel) => TimingDrive::Gear,
            (ValveGear::Pushrod, Fuel::Petrol) | (ValveGear::SingleCam | ValveGear::TwinCam, _) => TimingDrive::Chain,
        })
    }

    /// Says whether air is pushed in.
    #[must_use]
    pub fn induction(&self) -> Induction {
        self.description.induction.unwrap_or(match self.fuel() {
            Fuel::Petrol => Induction::Unboosted,
            Fuel::Diesel => Induction::Boosted,
        })
    }

    /// Says whether an oil cooler is fitted.
    #[must_use]
    pub fn oil_cooler(&self) -> Known {
        self.description.oil_cooler.unwrap_or(Known::Unknown)
    }

    /// Gives how many cylinders one head covers.
    #[must_use]
    pub fn head_division(&self) -> HeadDivision {
        self.description.heads.unwrap_or(HeadDivision::PerBank)
    }

    /// Gives the heads in bank and bore order.
    #[must_use]
    pub fn heads(&self) -> Vec<Head> {
        let mut heads = Vec::new();
        for bank in self.banks() {
            let cylinders = self.cylinders_of(bank);
            match self.head_division() {
                HeadDivision::PerBank => heads.push(Head { bank, cylinders }),
                HeadDivision::PerCylinder => {
                    heads.extend(cylinders.into_iter().map(|cylinder| Head { bank, cylinders: vec![cylinder] }));
                }
            }
        }
        heads
    }

    /// Gives the rod journals of the crank: by default each rod of an inline or flat engine has its own, and facing rods
    /// of a V share one \[from memory: trade judgement, no source\].
    #[must_use]
    pub fn rod_journals(&self) -> u8 {
        self.description.rod_journals.unwrap_or(match self.arrangement() {
            Arrangement::Inline | Arrangement::Flat => self.cylinders(),
            Arrangement::V => self.longest_bank(),
        })
    }

    /// Gives the main bearings: by default one more than the throws between them, that is n + 1 inline, longest bank + 1
    /// in a V, 2 in a flat twin and n + 1 in other flat engines \[from memory: trade judgement, no source\]. Older engines
    /// often have fewer: count the caps.
    #[must_use]
    pub fn main_bearings(&self) -> u8 {
        self.description.main_bearings.unwrap_or(match self.arrangement() {
            Arrangement::V => self.longest_bank() + 1,
            Arrangement::Flat if self.cylinders() == 2 => 2,
            Arrangement::Inline | Arrangement::Flat => self.cylinders() + 1,
        })
    }

    /// Gives how cylinders are named.
    #[must_use]
    pub fn numbering(&self) -> Numbering {
        self.description.numbering.clone().unwrap_or_default()
    }

    /// Gives the end that is called the front.
    #[must_use]
    pub fn front(&self) -> End {
        self.description.front.unwrap_or(End::Free)
    }

    /// Gives the sentence that every drawing of this engine carries about its front and its counting.
    #[must_use]
    pub fn front_statement(&self) -> String {
        let numbering = self.numbering();
        let rule = match &numbering {
            Numbering::Iso1204 => "after ISO 1204 (from memory)".to_owned(),
            Numbering::FromFreeEnd => "as most road-vehicle makers do".to_owned(),
            Numbering::Maker { document: Some(document), .. } => format!("with the maker's names ({document})"),
            Numbering::Maker { document: None, .. } => "with the maker's names".to_owned(),
        };
        let end = self.front().plain();
        // One pair of brackets, where the end has its own.
        let front = match (&self.description.front_note, end.strip_suffix(')')) {
            (None, _) => end.to_owned(),
            (Some(note), Some(open)) => format!("{open}; {note})"),
            (Some(note), None) => format!("{end} ({note})"),
        };
        format!("front is {front}; cylinders are counted from {}, {rule}", numbering.first_end().plain())
    }

    /// Gives every field that nobody stated, with the word that was filled in for it.
    #[must_use]
    pub fn assumed(&self) -> Vec<Assumed> {
        let d = &self.description;
        let all = [
            ("valves_per_cylinder", d.valves_per_cylinder.is_none(), self.valves_per_cylinder().to_string()),
            ("head_material", d.head_material.is_none(), self.head_material().to_string()),
            ("block_material", d.block_material.is_none(), self.block_material().to_string()),
            ("liner", d.liner.is_none(), self.liner().to_string()),
            ("bore_kind", d.bore_kind.is_none(), self.bore_kind().to_string()),
            ("gasket", d.gasket.is_none(), self.gasket().to_string()),
            ("follower", d.follower.is_none(), self.follower().to_string()),
            ("seat", d.seat.is_none(), self.seat().to_string()),
            ("interference", d.interference.is_none(), self.interference().to_string()),
            ("timing_drive", d.timing_drive.is_none(), self.timing_drive().to_string()),
            ("induction", d.induction.is_none(), self.induction().to_string()),
            ("oil_cooler", d.oil_cooler.is_none(), self.oil_cooler().to_string()),
            ("heads", d.heads.is_none(), self.head_division().to_string()),
            ("main_bearings", d.main_bearings.is_none(), self.main_bearings().to_string()),
            ("rod_journals", d.rod_journals.is_none(), self.rod_journals().to_string()),
            ("numbering", d.numbering.is_none(), "iso-1204".to_owned()),
            ("front", d.front.is_none(), self.front().to_string()),
        ];
        all.into_iter().filter(|(_, silent, _)| *silent).map(|(field, _, value)| Assumed { field, value }).collect()
    }

    /// Gives the value of an engine attribute the network knows, or nothing when the layout does not say.
    ///
    /// # Shapes
    /// names: `fuel`, `head-material`, `block-material`, `bore-type`, `valvetrain`, `follower-type`, `seat-type`,
    /// `interference`, `timing-drive-type`, `induction`, `oil-cooler-fitted`, `liner`, `gasket`, `arrangement`,
    /// `valves-per-cylinder`, `cylinders-per-bank`; the other attributes of a job
    /// (`odometer`, `duty`, …) are told, not built, and belong to the logbook
    #[must_use]
    pub fn attribute(&self, name: &str) -> Option<&'static str> {
        let known = |answer: Known| match answer {
            Known::Yes | Known::No => Some(answer.word()),
            Known::Unknown => None,
        };
        let number = |n: u8| {
            const WORDS: [&str; 17] =
                ["0", "1", "2", "3", "4", "5", "6", "7", "8", "9", "10", "11", "12", "13", "14", "15", "16"];
            WORDS.get(usize::from(n)).copied()
        };
        match name {
            "fuel" => Some(self.fuel().word()),
            "head-material" => Some(self.head_material().word()),
            "block-material" => Some(self.block_material().word()),
            "bore-type" => Some(self.bore_kind().word()),
            "valvetrain" => Some(match self.valve_gear() {
                ValveGear::Pushrod => "ohv",
                ValveGear::SingleCam | ValveGear::TwinCam => "ohc",
            }),
            "follower-type" => Some(self.follower().word()),
            "seat-type" => Some(self.seat().word()),
            "interference" => known(self.interference()),
            "timing-drive-type" => Some(self.timing_drive().word()),
            "induction" => Some(self.induction().word()),
            "oil-cooler-fitted" => known(self.oil_cooler()),
            "liner" => Some(self.liner().word()),
            "gasket" => Some(self.gasket().word()),
            "arrangement" => Some(self.arrangement().word()),
            "valves-per-cylinder" => number(self.valves_per_cylinder()),
            "cylinders-per-bank" => number(self.longest_bank()),
            _ => None,
        }
    }

    /// Whether somebody stated what an attribute rests on, so that its value is not merely filled in.
    #[must_use]
    pub fn stated(&self, name: &str) -> bool {
        let field = match name {
            "bore-type" => "bore_kind".to_owned(),
            "follower-type" => "follower".to_owned(),
            "seat-type" => "seat".to_owned(),
            "timing-drive-type" => "timing_drive".to_owned(),
            "oil-cooler-fitted" => "oil_cooler".to_owned(),
            same => same.replace('-', "_"),
        };
        self.attribute(name).is_some() && !self.assumed().iter().any(|a| a.field == field)
    }

    /// The names [`EngineLayout::attribute`] answers.
    pub const ATTRIBUTES: [&'static str; 16] = [
        "fuel",
        "head-material",
        "block-material",
        "bore-type",
        "valvetrain",
        "follower-type",
        "seat-type",
        "interference",
        "timing-drive-type",
        "induction",
        "oil-cooler-fitted",
        "liner",
        "gasket",
        "arrangement",
        "valves-per-cylinder",
        "cylinders-per-bank",
    ];

    /// Gives the banks, `A` first.
    #[must_use]
    pub fn banks(&self) -> Vec<Bank> {
        match self.arrangement() {
            Arrangement::Inline => vec![Bank::A],
            Arrangement::V | Arrangement::Flat => vec![Bank::A, Bank::B],
        }
    }

    /// Gives the cylinders of a bank in bore order; none for a bank the engine lacks.
    #[must_use]
    pub fn cylinders_of(&self, bank: Bank) -> Vec<u8> {
        if bank == Bank::A { (1..=self.in_bank_a).collect() } else { (self.in_bank_a + 1..=self.cylinders()).collect() }
    }

    /// Gives the bank of a cylinder; none for a cylinder the engine lacks.
    #[must_use]
    pub fn bank_of_cylinder(&self, cylinder: u8) -> Option<Bank> {
        if cylinder == 0 || cylinder > self.cylinders() {
            None
        } else if cylinder <= self.in_bank_a {
            Some(Bank::A)
        } else {
            Some(Bank::B)
        }
    }

    /// Gives the bank a place belongs to; none for the engine, a main bearing, the cam in the block and places the engine
    /// lacks.
    #[must_use]
    pub fn bank_of(&self, position: &Position) -> Option<Bank> {
        if !self.contains(position) {
            return None;
        }
        match position {
            Position::Engine | Position::MainBearing(_) => None,
            Position::Bank(bank) => Some(*bank),
            Position::Cam(cam) => cam.bank(),
            Position::Cylinder(cylinder)
            | Position::Pair(cylinder)
            | Position::RodBearing(cylinder)
            | Position::ValveIntake { cylinder, .. }
            | Position::ValveExhaust { cylinder, .. } => self.bank_of_cylinder(*cylinder),
        }
    }

    /// Gives the rod journal (from 1) that the rod of a cylinder runs on, counted from the end cylinders are counted from.
    ///
    /// # Source
    /// facing rods side by side, bank `A` first \[from memory\]; true for every crank with one or two rods a throw
    #[must_use]
    pub fn rod_journal_of(&self, cylinder: u8) -> Option<u8> {
        let bank = self.bank_of_cylinder(cylinder)?;
        let place = if bank == Bank::A { cylinder } else { cylinder.saturating_sub(self.in_bank_a) };
        if self.banks().len() == 1 || self.rod_journals() != self.cylinders() {
            return Some(place);
        }
        // Own journals in two banks: A1, B1, A2, B2 and so on, the rest of the longer bank behind.
        let in_bank_b = self.cylinders().saturating_sub(self.in_bank_a);
        let before_in_other =
            if bank == Bank::A { place.saturating_sub(1).min(in_bank_b) } else { place.min(self.in_bank_a) };
        Some(place + before_in_other)
    }

    /// Gives the main bearings on both sides of a rod journal, or none where the count of bearings leaves it open.
    #[must_use]
    pub fn mains_beside_journal(&self, journal: u8) -> Option<(u8, u8)> {
        let (journals, spans) = (self.rod_journals(), self.main_bearings().checked_sub(1)?);
        if spans == 0 || journals % spans != 0 || journal == 0 || journal > journals {
            return None;
        }
        let span = (journal - 1) / (journals / spans) + 1;
        Some((span, span + 1))
    }

    /// Gives the cams in bank order, intake before exhaust.
    #[must_use]
    pub fn cams(&self) -> Vec<CamPlace> {
        match self.valve_gear() {
            ValveGear::Pushrod => vec![CamPlace::Block],
            ValveGear::SingleCam => self.banks().into_iter().map(CamPlace::Only).collect(),
            ValveGear::TwinCam => {
                self.banks().into_iter().flat_map(|bank| [CamPlace::Intake(bank), CamPlace::Exhaust(bank)]).collect()
            }
        }
    }

    /// Gives the cam that drives a valve; none for a place that is no valve of this engine.
    ///
    /// # Source
    /// with two cams on a head one drives all intake and one all exhaust valves \[common practice\]; engines that
    /// mix them are not described
    #[must_use]
    pub fn cam_of(&self, valve: &Position) -> Option<CamPlace> {
        if !valve.is_valve() {
            return None;
        }
        let bank = self.bank_of(valve)?;
        Some(match (self.valve_gear(), valve.scope() == Scope::ValveIntake) {
            (ValveGear::Pushrod, _) => CamPlace::Block,
            (ValveGear::SingleCam, _) => CamPlace::Only(bank),
            (ValveGear::TwinCam, true) => CamPlace::Intake(bank),
            (ValveGear::TwinCam, false) => CamPlace::Exhaust(bank),
        })
    }

    /// Gives every place of one kind, in the fixed order.
    #[must_use]
    pub fn positions(&self, scope: Scope) -> Vec<Position> {
        let cylinders = 1..=self.cylinders();
        match scope {
            Scope::Engine => vec![Position::Engine],
            Scope::Bank => self.banks().into_iter().map(Position::Bank).collect(),
            Scope::Cylinder => cylinders.map(Position::Cylinder).collect(),
            Scope::AdjacentPair => cylinders.map(Position::Pair).filter(|pair| self.contains(pair)).collect(),
            Scope::ValveIntake => cylinders
                .flat_map(|cylinder| {
                    (1..=self.intake_valves_per_cylinder())
                        .map(move |number| Position::ValveIntake { cylinder, number })
                })
                .collect(),
            Scope::ValveExhaust => cylinders
                .flat_map(|cylinder| {
                    (1..=self.exhaust_valves_per_cylinder())
                        .map(move |number| Position::ValveExhaust { cylinder, number })
                })
                .collect(),
            Scope::MainBearing => (1..=self.main_bearings()).map(Position::MainBearing).collect(),
            Scope::RodBearing => cylinders.map(Position::RodBearing).collect(),
            Scope::Cam => self.cams().into_iter().map(Position::Cam).collect(),
        }
    }

    /// Gives every place of the engine, scope by scope.
    #[must_use]
    pub fn all_positions(&self) -> Vec<Position> {
        Scope::ALL.iter().flat_map(|scope| self.positions(*scope)).collect()
    }

    /// Says whether the engine has this place.
    #[must_use]
    pub fn contains(&self, position: &Position) -> bool {
        let has = |cylinder: u8| (1..=self.cylinders()).contains(&cylinder);
        match position {
            Position::Engine => true,
            Position::Bank(bank) => self.banks().contains(bank),
            Position::Cylinder(n) | Position::RodBearing(n) => has(*n),
            Position::Pair(n) => has(*n) && n.checked_add(1).is_some_and(has) && *n != self.in_bank_a,
            Position::ValveIntake { cylinder, number } => {
                has(*cylinder) && (1..=self.intake_valves_per_cylinder()).contains(number)
            }
            Position::ValveExhaust { cylinder, number } => {
                has(*cylinder) && (1..=self.exhaust_valves_per_cylinder()).contains(number)
            }
            Position::MainBearing(n) => (1..=self.main_bearings()).contains(n),
            Position::Cam(cam) => self.cams().contains(cam),
        }
    }

    /// Passes a position that is on this engine, and names what there is otherwise.
    ///
    /// # Errors
    /// [`LayoutError::NoSuchPosition`]
    pub fn ensure(&self, position: &Position) -> Result<(), LayoutError> {
        if self.contains(position) {
            return Ok(());
        }
        let places = self.positions(position.scope());
        let has = match (places.first(), places.last()) {
            (Some(first), Some(last)) if first == last => first.to_string(),
            (Some(first), Some(last)) => format!("{first} to {last}"),
            (None, _) | (_, None) => "none of that kind".to_owned(),
        };
        Err(LayoutError::NoSuchPosition { position: *position, engine: self.in_words(), has })
    }

    /// Gives the engine in few words, such as `inline 4, petrol, 16 valves, twin-cam`.
    #[must_use]
    pub fn in_words(&self) -> String {
        format!(
            "{} {}, {}, {} valves, {}",
            self.arrangement(),
            self.cylinders(),
            self.fuel(),
            u16::from(self.valves_per_cylinder()) * u16::from(self.cylinders()),
            self.valve_gear()
        )
    }

    /// Gives the name people use for a cylinder; none for a cylinder the engine lacks.
    #[must_use]
    pub fn cylinder_name(&self, cylinder: u8) -> Option<String> {
        let bank = self.bank_of_cylinder(cylinder)?;
        match self.numbering() {
            Numbering::Iso1204 if self.banks().len() > 1 => {
                let place = if bank == Bank::A { cylinder } else { cylinder.saturating_sub(self.in_bank_a) };
                Some(format!("{}{place}", bank.letter()))
            }
            Numbering::Iso1204 | Numbering::FromFreeEnd => Some(cylinder.to_string()),
            Numbering::Maker { cylinder_names, .. } => {
                cylinder_names.get(usize::from(cylinder).checked_sub(1)?).map(|name| name.trim().to_owned())
            }
        }
    }

    /// Finds the cylinder people call by a name.
    ///
    /// # Errors
    /// [`LayoutError::NoSuchCylinderName`] lists the names there are
    pub fn cylinder_named(&self, name: &str) -> Result<u8, LayoutError> {
        let names: Vec<(u8, String)> =
            (1..=self.cylinders()).filter_map(|n| self.cylinder_name(n).map(|name| (n, name))).collect();
        names.iter().find(|(_, candidate)| candidate == name.trim()).map(|(n, _)| *n).ok_or_else(|| {
            let has: Vec<&str> = names.iter().map(|(_, name)| name.as_str()).collect();
            LayoutError::NoSuchCylinderName { name: name.to_owned(), has: has.join(", ") }
        })
    }

    /// Gives the name people use for a bank.
    #[must_use]
    pub fn bank_name(&self, bank: Bank) -> String {
        match self.numbering() {
            Numbering::Maker { bank_names, .. } => {
                let place = if bank == Bank::A { 0 } else { 1 };
                bank_names.get(place).map_or_else(|| bank.letter().to_string(), |name| name.trim().to_owned())
            }
            Numbering::Iso1204 | Numbering::FromFreeEnd => bank.letter().to_string(),
        }
    }

    /// Gives the words for a place, with the names people use, such as `cylinder B2, exhaust valve 1` or
    /// `right cylinder, exhaust valve`.
    #[must_use]
    pub fn label(&self, position: &Position) -> String {
        let name = |cylinder: u8| self.cylinder_name(cylinder).unwrap_or_else(|| cylinder.to_string());
        // A cylinder with a number or a letter is called by it; one with a word is the right or the front cylinder.
        let one = |cylinder: u8| match name(cylinder) {
            word if word.chars().count() > 1 && word.chars().all(char::is_alphabetic) => format!("{word} cylinder"),
            number => format!("cylinder {number}"),
        };
        let valve = |kind: &str, number: u8, of: u8| {
            if of == 1 { format!("{kind} valve") } else { format!("{kind} valve {number}") }
        };
        match position {
            Position::Engine => "engine".to_owned(),
            Position::Bank(bank) if self.banks().len() == 1 && *bank == Bank::A => match self.cylinders() {
                1 => "the bank of the one cylinder".to_owned(),
                last => format!("cylinders {} to {}", name(1), name(last)),
            },
            Position::Bank(bank) => format!("bank {}", self.bank_name(*bank)),
            Position::Cylinder(n) => one(*n),
            Position::Pair(n) => format!("between cylinders {} and {}", name(*n), name(n.saturating_add(1))),
            Position::ValveIntake { cylinder, number } => {
                let words = valve("intake", *number, self.intake_valves_per_cylinder());
                format!("{}, {words}", one(*cylinder))
            }
            Position::ValveExhaust { cylinder, number } => {
                let words = valve("exhaust", *number, self.exhaust_valves_per_cylinder());
                format!("{}, {words}", one(*cylinder))
            }
            Position::MainBearing(n) => format!("main bearing {n}"),
            Position::RodBearing(n) => match one(*n) {
                word if word.ends_with("cylinder") => format!("rod bearing of the {word}"),
                number => format!("rod bearing of {number}"),
            },
            Position::Cam(CamPlace::Block) => "camshaft".to_owned(),
            Position::Cam(cam) => {
                let kind = match cam {
                    CamPlace::Intake(_) => "intake camshaft",
                    CamPlace::Exhaust(_) => "exhaust camshaft",
                    CamPlace::Block | CamPlace::Only(_) => "camshaft",
                };
                match cam.bank() {
                    Some(bank) if self.banks().len() > 1 => {
                        format!("{kind} of bank {}", self.bank_name(bank))
                    }
                    Some(_) | None => kind.to_owned(),
                }
            }
        }
    }

    fn longest_bank(&self) -> u8 {
        self.in_bank_a.max(self.cylinders().saturating_sub(self.in_bank_a))
    }
}

/// Gives the number of cylinders in bank A.
fn split(description: &LayoutDescription) -> Result<u8, LayoutError> {
    let cylinders = description.cylinders;
    let arrangement = description.arrangement;
    let banks = match arrangement {
        Arrangement::Inline => 1,
        Arrangement::V | Arrangement::Flat => 2,
    };
    if banks == 2 && cylinders == 1 {
        return Err(LayoutError::OneCylinderTwoBanks { arrangement });
    }
    match description.bank_split.as_deref() {
        Some(given) => {
            let sum: u32 = given.iter().map(|n| u32::from(*n)).sum();
            match given.first() {
                Some(first) if given.len() == banks && !given.contains(&0) && sum == u32::from(cylinders) => Ok(*first),
                Some(_) | None => Err(LayoutError::BankSplit { given: given.to_vec(), banks, cylinders }),
            }
        }
        None if banks == 1 => Ok(cylinders),
        None if cylinders % 2 == 1 => {
            Err(LayoutError::OddCount { arrangement, cylinders, larger: cylinders.div_ceil(2), smaller: cylinders / 2 })
        }
        None => Ok(cylinders / 2),
    }
}
