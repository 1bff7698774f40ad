//! Values with unit and doubt, reading of what people type, money, rounding and decision rules.
//!
//! What comes in: text as typed at a bench or a counter, numbers from a gauge with their standard
//! uncertainty, limits with a keep edge and a reject edge.
//! What goes out: values with an exact unit, questions where a text has two readings, probabilities
//! of keeping a limit, a four-outcome [`Verdict`], and amounts of money that add up to the cent.
//! What it must not know: that an engine exists, how anything is stored, shown or sent, and the time.
//!
//! Modules in reading order:
//! 1. [`mod@dimension`]: what kind of thing a number counts
//! 2. [`mod@unit`]: units with exact factors
//! 3. [`mod@typed`]: what was typed, kept as typed
//! 4. [`mod@parse`]: from text to a value or a question
//! 5. [`mod@size`]: sizes and differences of sizes are different types
//! 6. [`mod@measured`]: values with standard uncertainty
//! 7. [`mod@decision`]: probability of keeping a limit and the four-outcome verdict
//! 8. [`mod@money`]: amounts in ISO 4217 currencies
//! 9. [`mod@tax`]: tax on the lines of a bill, by the rules of a place
//! 10. [`mod@print`]: how many digits a figure deserves

pub mod decision;
pub mod dimension;
pub mod measured;
pub mod money;
pub mod parse;
pub mod print;
pub mod size;
pub mod tax;
pub mod typed;
pub mod unit;

pub use decision::{
    Decision, DecisionError, Risks, Side, Verdict, Zone, conformity_factor, decide, gauge_that_settles, global_risks,
    guard_band, probability_inside, repeats_that_settle, with_process,
};
pub use dimension::Dimension;
pub use measured::{Measured, MeasuredError, root_sum_square};
pub use money::{Currency, Decimal, Money, MoneyError, MoneyReply, Rounding, minor_digits, parse_money};
pub use parse::{DoubtReply, ParseError, TypedWithDoubt, parse_quantity, parse_with_doubt};
pub use size::{Difference, Size, SizeError, Temperature, TemperatureDifference};
pub use tax::{Charge, Prices, TaxBy, TaxRules, Taxed};
pub use typed::{Question, Reply, Typed};
pub use unit::{Unit, UnitError};
