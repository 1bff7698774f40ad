//! The papers of a job as PDF, and the pictures that page and print share.
//!
//! * **For:** what leaves the shop on paper: customer report, estimate, machine order, parts list, build sheet, proof; and the page that the
//!   customer answers.
//! * **Comes in:** a judged [`workup::Case`], the [`logbook::JobState`] it was judged from and the
//!   [`knowledge::Knowledge`] it was judged by.
//! * **Goes out:** SVG for screens and papers, PDF for papers, one HTML file for the customer; the same input gives the same bytes.
//! * **Must not:** work out a figure of the trade or word a verdict; the geometry of pictures is its own. Torque,
//!   angle, timing and assembly clearances are printed from the engine's own sheet or left as an empty line, never
//!   from a fallback limit.
//!
//! Modules in reading order: [`pictures`], [`papers`], [`customer_page`].

pub mod customer_page;
pub mod papers;
pub mod pictures;

/// The regular font of papers and pages: B612, SIL Open Font License (`fonts/LICENCE.txt`).
pub const FONT_REGULAR: &[u8] = include_bytes!("../fonts/B612-Regular.otf");
/// The bold font of papers and pages.
pub const FONT_BOLD: &[u8] = include_bytes!("../fonts/B612-Bold.otf");
/// The licence both fonts come under.
pub const FONT_LICENCE: &str = include_str!("../fonts/LICENCE.txt");
