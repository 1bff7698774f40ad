//! Pictures as SVG, the same on the page and in print.
//!
//! Every picture has a name and says in words what it shows, draws in ink on paper so that shapes carry the meaning,
//! and gives classes (`wm-line`, `wm-help`, `wm-outline`, `wm-solid`, `wm-bar`, `wm-text`, `mark-…`) to a page that
//! colours them otherwise. The geometry is the picture's own; figures and verdicts are the work-up's.
//!
//! Modules in reading order: `drawing`, `marks`, `head`, `reading`, `prices`, `spreads`, `strip`, `ladder`, `balance`, `engines`,
//! `pairs`, `arrivals`, `cut`, `warp`, `section`, `measured`, `rosette`, `trial`.

mod arrivals;
mod balance;
mod cut;
pub(crate) mod drawing;
mod engines;
mod head;
mod ladder;
mod marks;
mod measured;
mod pairs;
mod prices;
pub(crate) mod reading;
mod rosette;
mod section;
mod spreads;
mod strip;
mod swatch;
mod trial;
mod warp;

pub use arrivals::{PartLine, parts_line};
pub use balance::reasons;
pub use cut::{Cut, Frame, Worked, cut_sketch};
pub use engines::{of_ten_in_words, ten_engines};
pub use head::head_from_fire_side;
pub use ladder::check_ladder;
pub use marks::{Mark, mark_alone, mark_key, marks_of};
pub use measured::of_place as measured_at;
pub use pairs::{ThenNow, then_and_now};
pub use prices::{Breadth, cost_intervals};
pub use reading::reading_between_limits;
pub use rosette::bolt_rosette;
pub use section::{Section, round_section};
pub use spreads::{SpreadLine, cost_spreads};
pub use strip::approval_strip;
pub use swatch::residue_swatch;
pub use trial::{stated_and_seen, ways_of_testing};
pub use warp::{Warp, face_map, warp_map};
