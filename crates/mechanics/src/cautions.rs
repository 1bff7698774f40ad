//! Cautions that several calculators share; each is shown wherever an answer is.

/// Beside every clearance that an engine is built to.
pub(crate) const BUILD_BY_THE_MANUAL: &str = "A check figure: the clearance to build to, and whether it holds cold or warm, stands in the engine's own manual or on the paper that came with the part, and nowhere else.";

/// Beside every figure for a machine that cuts.
pub(crate) const CUTTING: &str = "Milling, boring, honing and grinding throw chips and grit: clamp the part so that it is not sprung, keep the guard on, protect the eyes, and keep sleeves, gloves and rags away from what turns.";

/// Beside every cut that brings pistons, valves and head nearer to one another.
pub(crate) const THINNER: &str = "A thinner head or block brings valves nearer to the pistons and raises the compression: the engine's own manual gives the least height, the thicker gasket and the clearance to be checked before it is turned over.";

/// Before an engine is turned after work on its valve gear.
pub(crate) const TURN_BY_HAND: &str =
    "Before starting, turn the engine two full turns by hand; where it stops, stop: a valve may stand on a piston.";

/// Where a part is warmed for fitting.
pub(crate) const HOT: &str = "Hot parts burn without looking hot: mark them, use dry gloves made for it, and warm the whole part evenly in an oven, not with a torch.";

/// Where a part is chilled for fitting.
pub(crate) const COLD: &str = "Dry ice and liquid nitrogen burn skin and eyes, shatter brittle inserts, and push the air out of a closed room or vehicle: plenty of fresh air, face shield, vessels that can breathe, and the local rules and training that such goods need.";
