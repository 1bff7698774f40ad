//! Positions: one address for each place on an engine, readable by people and by programs.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::words::Scope;

/// A row of cylinders; printed as a capital letter, `A` for the first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Bank(u8);

impl Bank {
    /// The first bank, the only one of an inline engine.
    pub const A: Bank = Bank(0);
    /// The second bank of a V or flat engine.
    pub const B: Bank = Bank(1);

    /// Gives the letter of this bank.
    #[must_use]
    pub fn letter(self) -> char {
        if self.0 == 0 { 'A' } else { 'B' }
    }

    /// Finds the bank of a letter.
    #[must_use]
    pub fn from_letter(letter: &str) -> Option<Bank> {
        match letter {
            "A" => Some(Bank::A),
            "B" => Some(Bank::B),
            _ => None,
        }
    }
}

/// Which camshaft; cams sort by bank, the intake cam of a bank first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum CamPlace {
    /// The one cam in the block of a pushrod engine.
    Block,
    /// The one cam on the head of this bank.
    Only(Bank),
    /// The intake cam on the head of this bank.
    Intake(Bank),
    /// The exhaust cam on the head of this bank.
    Exhaust(Bank),
}

impl CamPlace {
    /// Gives the bank the cam sits on; none for the cam in the block.
    #[must_use]
    pub fn bank(self) -> Option<Bank> {
        match self {
            CamPlace::Block => None,
            CamPlace::Only(bank) | CamPlace::Intake(bank) | CamPlace::Exhaust(bank) => Some(bank),
        }
    }
}

impl CamPlace {
    fn rank(self) -> (Option<Bank>, u8) {
        let kind = match self {
            CamPlace::Block => 0,
            CamPlace::Only(_) => 1,
            CamPlace::Intake(_) => 2,
            CamPlace::Exhaust(_) => 3,
        };
        (self.bank(), kind)
    }
}

impl Ord for CamPlace {
    fn cmp(&self, other: &CamPlace) -> std::cmp::Ordering {
        self.rank().cmp(&other.rank())
    }
}

impl PartialOrd for CamPlace {
    fn partial_cmp(&self, other: &CamPlace) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

/// One place on an engine.
///
/// # Shapes
/// cylinders count 1.. through the banks, `A` first, each bank in bore order from the end the layout counts
/// from; valves of one kind count 1.. in one cylinder; mains count 1.. from the same end
///
/// # Invariants
/// `to_string` and `parse` are inverse; a pair always names two numbers that follow each other
///
/// # Example
/// `cyl-3-ex-2` is the second exhaust valve of the third cylinder
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub enum Position {
    /// `engine`
    Engine,
    /// `bank-A`
    Bank(Bank),
    /// `cyl-3`
    Cylinder(u8),
    /// `pair-3-4`, the place between cylinder 3 and cylinder 4; holds the smaller number
    Pair(u8),
    /// `cyl-3-in-1`
    ValveIntake {
        /// The cylinder.
        cylinder: u8,
        /// Which of its intake valves.
        number: u8,
    },
    /// `cyl-3-ex-1`
    ValveExhaust {
        /// The cylinder.
        cylinder: u8,
        /// Which of its exhaust valves.
        number: u8,
    },
    /// `main-2`
    MainBearing(u8),
    /// `rod-3`, the bearing of the rod of cylinder 3
    RodBearing(u8),
    /// `cam`, `cam-A`, `cam-A-in`, `cam-A-ex`
    Cam(CamPlace),
}

/// Why a text is no address.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum AddressError {
    /// The text has no known form.
    #[error(
        "`{0}` is no address on an engine: expected engine, bank-A, cyl-3, pair-3-4, cyl-3-in-1, cyl-3-ex-1, main-2, rod-3, cam, cam-A or cam-A-in; choose one of these forms"
    )]
    Unknown(String),
    /// The two numbers of a pair do not follow each other.
    #[error(
        "`{0}` is no pair: expected two cylinders that stand side by side, the smaller number first, such as pair-3-4; name the bridge between two neighbours"
    )]
    NotNeighbours(String),
}

impl Position {
    /// Gives the kind of place.
    #[must_use]
    pub fn scope(&self) -> Scope {
        match self {
            Position::Engine => Scope::Engine,
            Position::Bank(_) => Scope::Bank,
            Position::Cylinder(_) => Scope::Cylinder,
            Position::Pair(_) => Scope::AdjacentPair,
            Position::ValveIntake { .. } => Scope::ValveIntake,
            Position::ValveExhaust { .. } => Scope::ValveExhaust,
            Position::MainBearing(_) => Scope::MainBearing,
            Position::RodBearing(_) => Scope::RodBearing,
            Position::Cam(_) => Scope::Cam,
        }
    }

    /// Gives the one cylinder the place belongs to: its own, that of its valve or that of its rod.
    #[must_use]
    pub fn cylinder(&self) -> Option<u8> {
        match self {
            Position::Cylinder(n) | Position::RodBearing(n) => Some(*n),
            Position::ValveIntake { cylinder, .. } | Position::ValveExhaust { cylinder, .. } => Some(*cylinder),
            Position::Engine | Position::Bank(_) | Position::Pair(_) | Position::MainBearing(_) | Position::Cam(_) => {
                None
            }
        }
    }

    /// Gives the two cylinders of a pair.
    #[must_use]
    pub fn pair(&self) -> Option<(u8, u8)> {
        match self {
            Position::Pair(n) => Some((*n, n.saturating_add(1))),
            Position::Engine
            | Position::Bank(_)
            | Position::Cylinder(_)
            | Position::ValveIntake { .. }
            | Position::ValveExhaust { .. }
            | Position::MainBearing(_)
            | Position::RodBearing(_)
            | Position::Cam(_) => None,
        }
    }

    /// Gives the bank that the address itself names; a layout knows the bank of every other place
    /// ([`crate::EngineLayout::bank_of`]).
    #[must_use]
    pub fn bank(&self) -> Option<Bank> {
        match self {
            Position::Bank(bank) => Some(*bank),
            Position::Cam(cam) => cam.bank(),
            Position::Engine
            | Position::Cylinder(_)
            | Position::Pair(_)
            | Position::ValveIntake { .. }
            | Position::ValveExhaust { .. }
            | Position::MainBearing(_)
            | Position::RodBearing(_) => None,
        }
    }

    /// Says whether the place is a valve of either kind.
    #[must_use]
    pub fn is_valve(&self) -> bool {
        matches!(self.scope(), Scope::ValveIntake | Scope::ValveExhaust)
    }

    /// Gives the address as text.
    #[must_use]
    pub fn address(&self) -> String {
        self.to_string()
    }
}

impl fmt::Display for Position {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Position::Engine => f.write_str("engine"),
            Position::Bank(bank) => write!(f, "bank-{}", bank.letter()),
            Position::Cylinder(n) => write!(f, "cyl-{n}"),
            Position::Pair(n) => write!(f, "pair-{n}-{}", u16::from(*n) + 1),
            Position::ValveIntake { cylinder, number } => write!(f, "cyl-{cylinder}-in-{number}"),
            Position::ValveExhaust { cylinder, number } => write!(f, "cyl-{cylinder}-ex-{number}"),
            Position::MainBearing(n) => write!(f, "main-{n}"),
            Position::RodBearing(n) => write!(f, "rod-{n}"),
            Position::Cam(CamPlace::Block) => f.write_str("cam"),
            Position::Cam(CamPlace::Only(bank)) => write!(f, "cam-{}", bank.letter()),
            Position::Cam(CamPlace::Intake(bank)) => write!(f, "cam-{}-in", bank.letter()),
            Position::Cam(CamPlace::Exhaust(bank)) => write!(f, "cam-{}-ex", bank.letter()),
        }
    }
}

/// Reads a count from 1 to 99 written in the one plain way.
fn count(text: &str) -> Option<u8> {
    let plain =
        !text.is_empty() && text.len() <= 2 && text.bytes().all(|b| b.is_ascii_digit()) && !text.starts_with('0');
    if plain { text.parse().ok() } else { None }
}

impl FromStr for Position {
    type Err = AddressError;

    fn from_str(text: &str) -> Result<Position, AddressError> {
        let unknown = || AddressError::Unknown(text.to_owned());
        let number = |part: &str| count(part).ok_or_else(unknown);
        let bank = |part: &str| Bank::from_letter(part).ok_or_else(unknown);
        let parts: Vec<&str> = text.split('-').collect();
        match parts.as_slice() {
            ["engine"] => Ok(Position::Engine),
            ["bank", b] => Ok(Position::Bank(bank(b)?)),
            ["cyl", n] => Ok(Position::Cylinder(number(n)?)),
            ["pair", a, b] => {
                let (a, b) = (number(a)?, number(b)?);
                if a.checked_add(1) == Some(b) {
                    Ok(Position::Pair(a))
                } else {
                    Err(AddressError::NotNeighbours(text.to_owned()))
                }
            }
            ["cyl", n, "in", v] => Ok(Position::ValveIntake { cylinder: number(n)?, number: number(v)? }),
            ["cyl", n, "ex", v] => Ok(Position::ValveExhaust { cylinder: number(n)?, number: number(v)? }),
            ["main", n] => Ok(Position::MainBearing(number(n)?)),
            ["rod", n] => Ok(Position::RodBearing(number(n)?)),
            ["cam"] => Ok(Position::Cam(CamPlace::Block)),
            ["cam", b] => Ok(Position::Cam(CamPlace::Only(bank(b)?))),
            ["cam", b, "in"] => Ok(Position::Cam(CamPlace::Intake(bank(b)?))),
            ["cam", b, "ex"] => Ok(Position::Cam(CamPlace::Exhaust(bank(b)?))),
            _ => Err(unknown()),
        }
    }
}

impl TryFrom<String> for Position {
    type Error = AddressError;
    fn try_from(text: String) -> Result<Position, AddressError> {
        text.parse()
    }
}

impl From<Position> for String {
    fn from(position: Position) -> String {
        position.to_string()
    }
}
