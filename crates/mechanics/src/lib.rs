//! The bench calculators: pure formulas, one catalogue entry each.
//!
//! What comes in: typed texts with units (`bore=88mm`, `bore=88mm±0.01mm`), tables of readings as text.
//! What goes out: an [`Answer`] with values, units, standard uncertainties, notes and sources.
//! What it must not know: a job, an engine layout, a screen, a file.
//!
//! One entry of the [`catalogue()`] feeds the command, its help and its JSON; adding a calculator is adding
//! one constant and naming it in the list.
//!
//! Modules in reading order:
//! 1. [`mod@catalogue`]: what a calculator is, the list of them, the answer
//! 2. [`mod@given`]: from typed texts to numbers in the wanted units
//! 3. [`mod@error`]: what can be wrong with what was typed
//!    and [`mod@doubt`]: doubt that moves together, the budget of an answer, the check by draws
//! 4. [`mod@volumes`]: swept volume, compression ratio, what milling does to it
//! 5. [`mod@air`]: cranking pressure, air pressure at height, leak-down to hole size
//! 6. [`mod@bores`]: bore wear, piston clearance, ring gap;
//!    [`mod@machining`]: a row of bores, next oversize, next undersize,
//!    and [`mod@roundness`]: roundness, cylindricity, straightness of an axis
//! 7. [`mod@bearings`]: clearance by select fit and by plastic strip, crush, growth with heat
//! 8. [`mod@flatness`]: minimum zone and least squares of a face
//! 9. [`mod@straightedge`]: the interval of a face's flatness from feelers along several lines; its programmes in `simplex`
//! 10. [`mod@warp`]: a smooth face through measured heights, with its doubt, for pictures
//! 11. [`mod@cut_plan`]: what to take off a face and what that does
//! 12. [`mod@fasteners`]: threads, preload from torque, preload from angle, and [`mod@tightening`]: the sequence of the bolts
//! 13. [`mod@valves`]: springs and lash
//! 14. [`mod@timing`]: what a cut does to cam timing and to the intake faces of a V
//! 15. [`mod@fits`]: press fits and what heat leaves of them
//! 16. [`mod@limits_and_fits`]: limits of holes and shafts by the ISO code system
//! 17. [`mod@conformity`]: chance of keeping a limit, and [`mod@budget`]: a budget of doubt row by row
//! 18. [`mod@estimate_lines`]: markup, labour, tax and deposits of an estimate, exactly;
//!     [`mod@vin`]: check digit and model year
//! 19. [`mod@lives`]: how long a part lasts, and the true mileage behind a claim
//! 20. [`mod@convert`]: one unit into another
//! 21. [`mod@shown`]: how a figure is written for people

pub mod air;
pub mod bearings;
pub mod bores;
pub mod budget;
pub mod catalogue;
mod cautions;
pub mod conformity;
pub mod convert;
pub mod cut_plan;
pub mod doubt;
pub mod error;
pub mod estimate_lines;
pub mod fasteners;
pub mod fits;
pub mod flatness;
pub mod given;
mod least_bound;
pub mod limits_and_fits;
pub mod lives;
pub mod machining;
pub mod roundness;
pub mod shown;
pub(crate) mod simplex;
pub mod straightedge;
pub mod tightening;
pub mod timing;
pub mod valves;
pub mod vin;
pub mod volumes;
pub mod warp;

pub use catalogue::{
    Answer, Calculator, Computed, Domain, Group, Input, InputKind, Output, ResultLine, ResultUnit, calculate,
    calculator, catalogue,
};
pub use error::CalcError;
pub use given::Given;
