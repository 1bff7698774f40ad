//! The small vocabularies: each is a closed list, stored and printed as the same kebab-case word.

use serde::{Deserialize, Serialize};

/// Writes an enum whose cases are stored, printed and parsed as one word each.
macro_rules! vocabulary {
    ($(#[$outer:meta])* $name:ident { $($(#[$inner:meta])* $case:ident = $word:literal),+ $(,)? }) => {
        $(#[$outer])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
        pub enum $name { $($(#[$inner])* #[serde(rename = $word)] $case),+ }

        impl $name {
            /// Every case, in the order of the list.
            pub const ALL: &'static [$name] = &[$($name::$case),+];

            /// Gives the word this case is stored and printed as.
            #[must_use]
            pub const fn word(self) -> &'static str {
                match self { $($name::$case => $word),+ }
            }

            /// Finds the case of a word, if the list has it.
            #[must_use]
            pub fn from_word(word: &str) -> Option<$name> {
                Self::ALL.iter().copied().find(|case| case.word() == word)
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result { f.write_str(self.word()) }
        }
    };
}
pub(crate) use vocabulary;

vocabulary! {
    /// How the cylinders stand to each other.
    Arrangement {
        /// One row.
        Inline = "inline",
        /// Two rows that share one crank at an angle.
        V = "v",
        /// Two rows that face away from each other.
        Flat = "flat",
    }
}
vocabulary! {
    /// How an engine works; only the first is covered.
    Working {
        /// A piston, and four strokes to a working cycle.
        FourStroke = "four-stroke",
        /// A piston, and two strokes to a working cycle.
        TwoStroke = "two-stroke",
        /// A rotor in place of pistons.
        Rotary = "rotary",
    }
}
vocabulary! {
    /// What the engine burns.
    Fuel {
        /// Spark ignition on petrol.
        Petrol = "petrol",
        /// Compression ignition on diesel oil.
        Diesel = "diesel",
    }
}
vocabulary! {
    /// What a casting is made of.
    Metal {
        /// Aluminium alloy.
        Aluminium = "aluminium",
        /// Cast iron of any kind.
        Iron = "iron",
    }
}
vocabulary! {
    /// How the valves are driven.
    ValveGear {
        /// One cam in the block, pushrods and rockers.
        Pushrod = "pushrod",
        /// One cam on each head.
        SingleCam = "single-cam",
        /// Two cams on each head, one for each kind of valve.
        TwinCam = "twin-cam",
    }
}
vocabulary! {
    /// Whether a separate sleeve forms the cylinder wall.
    Liner {
        /// The bore is cut in the block itself.
        None = "none",
        /// A sleeve that touches the block over its length, cast in or pressed in.
        Dry = "dry",
        /// A sleeve that coolant wets from outside.
        Wet = "wet",
    }
}
vocabulary! {
    /// What the piston rings run on.
    BoreKind {
        /// The iron of the block.
        IronBore = "iron-bore",
        /// An iron sleeve.
        IronLiner = "iron-liner",
        /// Aluminium with a hard skin or hard grains.
        CoatedAluminium = "coated-aluminium",
    }
}
vocabulary! {
    /// What the head gasket is made of.
    GasketKind {
        /// Several thin steel sheets with pressed beads.
        MultiLayerSteel = "multi-layer-steel",
        /// Fibre or graphite on a carrier with fire rings.
        Composite = "composite",
        /// A sheet of copper.
        Copper = "copper",
        /// A solid steel sheet with separate seals.
        SolidSteel = "solid-steel",
        /// Metal to metal with rings or sealant only.
        None = "none",
    }
}
vocabulary! {
    /// What runs on the cam.
    Follower {
        /// A sliding face: flat tappet or sliding finger.
        Flat = "flat",
        /// A roller: roller lifter or roller finger.
        Roller = "roller",
        /// A bucket straight over the valve.
        DirectBucket = "direct-bucket",
    }
}
vocabulary! {
    /// How the valve seat is made.
    SeatKind {
        /// A ring pressed into the head.
        Insert = "insert",
        /// Cut in the metal of the head itself.
        Integral = "integral",
    }
}
vocabulary! {
    /// What drives the cam or cams from the crank.
    TimingDrive {
        /// Chain.
        Chain = "chain",
        /// Toothed belt.
        Belt = "belt",
        /// Gears.
        Gear = "gear",
    }
}
vocabulary! {
    /// Whether air is pushed in.
    Induction {
        /// The engine draws its own air.
        Unboosted = "unboosted",
        /// A turbine or a driven compressor pushes it in.
        Boosted = "boosted",
    }
}
vocabulary! {
    /// An answer that may be missing.
    Known {
        /// It is so.
        Yes = "yes",
        /// It is not so.
        No = "no",
        /// Nobody has said.
        Unknown = "unknown",
    }
}
vocabulary! {
    /// How many cylinders one head covers.
    HeadDivision {
        /// One head over all cylinders of a bank.
        PerBank = "per-bank",
        /// One head over each cylinder.
        PerCylinder = "per-cylinder",
    }
}
vocabulary! {
    /// The kind of place a condition or a reading belongs to.
    Scope {
        /// The engine as a whole.
        Engine = "engine",
        /// One row of cylinders with its head face and deck.
        Bank = "bank",
        /// One cylinder.
        Cylinder = "cylinder",
        /// The bridge between two cylinders that stand beside each other in one bank.
        AdjacentPair = "adjacent-pair",
        /// One intake valve.
        ValveIntake = "valve-intake",
        /// One exhaust valve.
        ValveExhaust = "valve-exhaust",
        /// One main bearing with its crank surface.
        MainBearing = "main-bearing",
        /// One rod bearing with its crank surface.
        RodBearing = "rod-bearing",
        /// One camshaft.
        Cam = "cam",
    }
}
