//! Who: the technician with something on his finger. Moment: Strip, and Test at the plugs.
//! Why so: where it was found comes first, since that is known before anything else and leaves few; each residue is a patch with
//! its words, what lifts it (gentlest first, as it is tried), what it may be, and the check that tells these apart.

use documents::pictures;
use knowledge::Knowledge;
use knowledge::workshop::{Dissolves, Residue};
use maud::{Markup, PreEscaped, html};
use workup::words::per_cent;

use super::calculators::cautions;
use super::shell;
use crate::desk::Bench;
use crate::words::{count, sentence};

/// What is shown before anything is tried on a residue.
const BEFORE_ACID: &str = "acid-and-caustic";
const BEFORE_CLEANER: &str = "chlorinated-solvent-heat";

/// The page; `place`: where the residue was found, where that was said.
pub(crate) fn page(bench: &Bench, place: Option<&str>, who: &str) -> Markup {
    let known = bench.knowledge();
    let here = |r: &&knowledge::Located<Residue>| place.is_none_or(|p| r.places.iter().any(|at| at == p));
    let found: Vec<_> = known.residues.iter().filter(here).collect();
    let name =
        |id: &str| known.places.iter().find(|p| p.id == id).map_or_else(|| id.replace('-', " "), |p| p.name.clone());
    let before: Vec<&str> = [BEFORE_ACID, BEFORE_CLEANER]
        .iter()
        .filter_map(|id| known.cautions.iter().find(|c| c.id == *id))
        .map(|c| c.text.as_str())
        .collect();
    let body = html! {
        main id="main" {
            h1 { "What is this on the part?" }
            p { "Photograph it first. Then wipe it dry, and try in this sequence: water, alcohol, brake cleaner. Acid or caustic last." }
            (cautions(&before))
            nav.chips aria-label="Where it was found" {
                a href="/residues" aria-current=[place.is_none().then_some("true")] { "Anywhere" }
                @for p in &known.places {
                    @if known.residues.iter().any(|r| r.places.contains(&p.id)) {
                        a href={ "/residues?place=" (p.id) } aria-current=[(place == Some(p.id.as_str())).then_some("true")] { (p.name) }
                    }
                }
            }
            p.quiet { (count(found.len(), "residue is", "residues are")) " known " @match place { Some(p) => { "from here: " (name(p)) "." } None => { "in all." } } }
            @if found.is_empty() {
                p { "None of the known ones is found there. Look at all of them, or write down what you see and ask." }
            }
            @for residue in found { (one(known, residue, &name)) }
            p.quiet { "A residue that was found is entered on the Strip page of the job, so that it counts." }
        }
    };
    shell("What is this on the part?", who, &body)
}

fn lifts(known: Dissolves) -> &'static str {
    match known {
        Dissolves::Yes => "lifts it",
        Dissolves::Partly => "lifts it in part",
        Dissolves::No => "does nothing",
        Dissolves::Unknown => "not told",
    }
}

fn one(known: &Knowledge, residue: &Residue, name: &dyn Fn(&str) -> String) -> Markup {
    let with = residue.dissolves;
    let places: Vec<String> = residue.places.iter().map(|p| name(p)).collect();
    let next: Vec<&knowledge::Check> = residue.next.iter().filter_map(|id| known.check(id)).map(|c| &**c).collect();
    html! {
        section.sheet.residue id=(residue.id) {
            h2 { (sentence(&residue.colour)) span.quiet { ", " (residue.texture) } }
            (PreEscaped(pictures::residue_swatch(&residue.colour, &residue.texture)))
            dl.facts {
                dt { "Found at" }
                dd { (places.join(", ")) }
                dt { "Water" }
                dd { (lifts(with.water)) }
                dt { "Alcohol" }
                dd { (lifts(with.alcohol)) }
                dt { "Brake cleaner" }
                dd { (lifts(with.brake_cleaner)) }
                dt { "Acid or caustic" }
                dd { (lifts(with.acid)) }
            }
            table.figures {
                thead {
                    tr {
                        th scope="col" { "What it may be, by the look alone" }
                        th scope="col" { "Chance" }
                    }
                }
                tbody {
                    @for likely in &residue.likely {
                        tr {
                            th scope="row" { (sentence(&likely.what)) }
                            td { (per_cent(likely.p)) }
                        }
                    }
                }
            }
            @if !residue.note.is_empty() { p { (residue.note) } }
            @if next.is_empty() {
                p.strong { "No check tells more: compare it with the other cylinders." }
            } @else {
                h3 { "Next, to tell them apart" }
                ul.rows {
                    @for check in next { li { (next_check(known, check)) } }
                }
            }
            p.quiet { "The look: " (residue.source) ". The chances: " (residue.likelihood_source) "." }
        }
    }
}

fn next_check(known: &Knowledge, check: &knowledge::Check) -> Markup {
    let texts: Vec<&str> = check
        .cautions
        .iter()
        .filter_map(|id| known.cautions.iter().find(|c| c.id == *id))
        .map(|c| c.text.as_str())
        .collect();
    html! {
        p.strong { (sentence(&check.name)) }
        (cautions(&texts))
    }
}
