//! How many of 100 reference engines have each block in a class or worse, cause by cause.
//!
//! Source:   trade judgement \[from memory\], as docs/decisions/0009-totals-per-engine.md tells; a guard against drift when single
//!           odds are edited, and no proof
//! Value by: drawing engines in which one cause is on (with ordinary wear, but for the rows of wear itself) and no other
//! Digits:   0.05, or three tenths of the figure where that is more

use std::collections::BTreeMap;

use anatomy::{Arrangement, EngineLayout, Fuel, ValveGear};
use inference::lanes::posterior_draws;
use knowledge::Knowledge;
use workup::{money, network};

/// Cause, its state, block, and the share of engines in its second class or worse, its third or worse, and so on.
type Row = (&'static str, usize, &'static str, &'static [f64]);

#[test]
fn parts_add_up_to_the_totals_of_an_engine() {
    let rows: [Row; 35] = [
        ("high-mileage", 0, "head", &[0.05, 0.03, 0.025, 0.006, 0.002]),
        ("high-mileage", 0, "deck", &[0.015, 0.01, 0.003]),
        ("high-mileage", 0, "bores", &[0.03, 0.008, 0.0003]),
        ("high-mileage", 0, "crank", &[0.015, 0.005, 0.001]),
        ("high-mileage", 0, "drive", &[0.05, 0.004]),
        ("high-mileage", 1, "head", &[0.14, 0.085, 0.08, 0.012, 0.004]),
        ("high-mileage", 1, "deck", &[0.025, 0.016, 0.004]),
        ("high-mileage", 1, "bores", &[0.12, 0.018, 0.0008]),
        ("high-mileage", 1, "crank", &[0.05, 0.014, 0.002]),
        ("high-mileage", 1, "drive", &[0.2, 0.008]),
        ("high-mileage", 2, "head", &[0.5, 0.34, 0.32, 0.035, 0.012]),
        ("high-mileage", 2, "deck", &[0.05, 0.03, 0.007]),
        ("high-mileage", 2, "bores", &[0.4, 0.045, 0.0015]),
        ("high-mileage", 2, "crank", &[0.15, 0.04, 0.005]),
        ("high-mileage", 2, "drive", &[0.5, 0.03]),
        ("overheated", 1, "crank", &[0.1, 0.035, 0.005]),
        ("overheated", 1, "deck", &[0.11, 0.075, 0.02]),
        ("ran-low-oil", 1, "head", &[0.35, 0.28, 0.26, 0.12, 0.005]),
        ("ran-low-oil", 1, "bores", &[0.3, 0.07, 0.006]),
        ("ran-low-oil", 1, "drive", &[0.6, 0.12]),
        ("detonation", 1, "head", &[0.5, 0.45, 0.43, 0.11, 0.026]),
        ("detonation", 1, "deck", &[0.06, 0.045, 0.014]),
        ("detonation", 1, "bores", &[0.4, 0.22, 0.008]),
        ("detonation", 1, "crank", &[0.15, 0.035, 0.005]),
        ("hydrolock", 1, "head", &[0.16, 0.1, 0.09, 0.02, 0.014]),
        ("hydrolock", 1, "deck", &[0.06, 0.05, 0.038]),
        ("hydrolock", 1, "bores", &[0.6, 0.5, 0.05]),
        ("hydrolock", 1, "crank", &[0.22, 0.1, 0.01]),
        ("dust-ingestion", 1, "head", &[0.62, 0.58, 0.57, 0.015, 0.005]),
        ("dust-ingestion", 1, "crank", &[0.55, 0.22, 0.03]),
        ("poor-repair", 1, "head", &[0.6, 0.45, 0.4, 0.13, 0.055]),
        ("poor-repair", 1, "deck", &[0.12, 0.06, 0.015]),
        ("poor-repair", 1, "bores", &[0.28, 0.07, 0.005]),
        ("poor-repair", 1, "crank", &[0.11, 0.045, 0.008]),
        ("poor-repair", 1, "drive", &[0.42, 0.055]),
    ];
    let knowledge = Knowledge::builtin().expect("the built-in knowledge loads");
    let layout = EngineLayout::plain(Arrangement::Inline, 4, Fuel::Petrol, ValveGear::TwinCam).expect("a plain engine");
    let net = network::engine_net(&layout, &BTreeMap::new(), &knowledge);
    let blocks = money::blocks(&net, &layout, &knowledge);
    let mut off = Vec::new();
    for (cause, state, block, totals) in rows {
        let mut one = net.net.clone();
        for (id, variable) in &net.causes {
            let on = if id == cause { state } else { usize::from(id == "high-mileage") };
            for (k, p) in one.variables[*variable].own.iter_mut().enumerate() {
                *p = if k == on { 1.0 } else { 0.0 };
            }
        }
        let draws = posterior_draws(&one, &[], 8192, 7).expect("draws");
        let here = blocks.iter().find(|b| b.id == block).expect("a block");
        for (k, total) in totals.iter().enumerate() {
            let hits = (0..draws.count).filter(|d| here.class_in(draws.draw(*d)) > k).count();
            let share = f64::from(u32::try_from(hits).expect("few")) / 8192.0;
            if (share - total).abs() > f64::max(0.05, 0.3 * total) {
                off.push(format!(
                    "{cause} {state}, {block} from class {}: {share:.3}, meant {total}",
                    here.classes[k + 1]
                ));
            }
        }
    }
    assert!(off.is_empty(), "{}", off.join("\n"));
}
