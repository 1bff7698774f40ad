//! Whether the repair is proved: which readings taken after the work stand beside which before, which proofs are still
//! open, and the answer with its reason.
//!
//! The work that was chosen says which proofs it asks for ([`crate::work`]). A repair is proved when each of them was
//! taken at every place it has, the last reading of each kind is inside, and no hold point was passed without proof.
//! A reading of a later recheck neither proves nor disproves what left the shop.

use std::collections::BTreeSet;

use anatomy::{EngineLayout, Position};
use knowledge::Knowledge;
use logbook::{JobState, Phase};
use quantity::Verdict;
use serde::Serialize;

use crate::findings::Finding;
use crate::network::{EngineNet, applies};
use crate::opened::AFTER_REPAIR;
use crate::work;

/// How the proof of a repair stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// No work is chosen that asks for a proof.
    NotAsked,
    /// Something is missing, not inside, or was passed without proof.
    NotProved,
    /// Every proof was taken, and the last of each is inside.
    Proved,
}

impl Standing {
    /// The word in files and pages.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Standing::NotAsked => "not-asked",
            Standing::NotProved => "not-proved",
            Standing::Proved => "proved",
        }
    }

    /// The answer in words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Standing::NotAsked => "No proof is asked for",
            Standing::NotProved => "Not proved",
            Standing::Proved => "Proved",
        }
    }
}

/// The proof of a repair.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Proof {
    /// How it stands.
    pub standing: Standing,
    /// Why, in one sentence.
    pub reason: String,
    /// The proofs that the work asks for, place by place, in the order of the knowledge.
    pub asked: Vec<ProofAsked>,
    /// Readings after the work that are the last of their kind and not inside, by entry.
    pub not_inside: Vec<String>,
    /// Hold points passed without proof.
    pub passed_open: Vec<PassedOpen>,
    /// Every reading after the work, in the order taken, with the one before it.
    pub pairs: Vec<ProofPair>,
    /// Readings of later rechecks, by entry.
    pub rechecks: Vec<String>,
    /// Readings that were outside as found and that no reading after the work looks at again, by entry; those that
    /// nobody can take again are left out.
    pub not_again: Vec<String>,
}

/// A proof that the work asks for: a check at a place.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ProofAsked {
    /// The check.
    pub check: String,
    /// Its name.
    pub name: String,
    /// Where.
    pub position: Position,
    /// Where, in the names this engine uses.
    pub place: String,
    /// The entry of the last reading of it; nothing while it is open.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub entry: Option<String>,
}

/// A hold point that was passed without its proof.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PassedOpen {
    /// The build stage.
    pub stage: String,
    /// The hold point.
    pub hold: String,
    /// Who answers for it.
    pub by: String,
    /// Why.
    pub reason: String,
}

/// A reading after the work beside the one before it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ProofPair {
    /// The entry of the reading after the work.
    pub after: String,
    /// The entry of the reading as found at the same place, where there is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub before: Option<String>,
    /// Whether it is the same reading of the same check, and not only one that looks at the same thing.
    pub same: bool,
}

impl Proof {
    /// The proofs that are still open.
    pub fn open(&self) -> impl Iterator<Item = &ProofAsked> {
        self.asked.iter().filter(|a| a.entry.is_none())
    }

    /// Works out how the proof of a job stands.
    #[must_use]
    pub fn of(
        state: &JobState,
        layout: &EngineLayout,
        net: &EngineNet,
        knowledge: &Knowledge,
        findings: &[Finding],
    ) -> Self {
        let later: BTreeSet<String> =
            state.readings.iter().filter(|r| r.phase == Phase::Recheck).map(|r| r.entry.to_string()).collect();
        let (rechecks, after): (Vec<&Finding>, Vec<&Finding>) =
            findings.iter().filter(|f| f.after_repair).partition(|f| later.contains(&f.entry));
        let before: Vec<&Finding> = findings.iter().filter(|f| !f.after_repair && !f.measure_again).collect();
        let asked = asked(state, layout, net, knowledge, &after);
        let not_inside: Vec<String> =
            latest(&after).iter().filter(|f| f.verdict != Verdict::Inside).map(|f| f.entry.clone()).collect();
        let passed_open: Vec<PassedOpen> = state
            .holds_open
            .iter()
            .map(|h| PassedOpen {
                stage: h.stage.clone(),
                hold: h.hold.clone(),
                by: h.by.clone(),
                reason: h.reason.clone(),
            })
            .collect();
        let (pairs, seen_again) = pairs(knowledge, &before, &after);
        let not_again = before
            .iter()
            .filter(|b| b.verdict == Verdict::Outside && !seen_again.contains(b.entry.as_str()))
            .filter(|b| knowledge.check(&b.check).is_none_or(|c| !c.once))
            .map(|b| b.entry.clone())
            .collect();
        let missing = asked.iter().filter(|a| a.entry.is_none()).count();
        let (standing, reason) = answer(&asked, missing, not_inside.len(), passed_open.len());
        Self {
            standing,
            reason,
            asked,
            not_inside,
            passed_open,
            pairs,
            rechecks: rechecks.iter().map(|f| f.entry.clone()).collect(),
            not_again,
        }
    }
}

fn answer(asked: &[ProofAsked], missing: usize, not_inside: usize, passed_open: usize) -> (Standing, String) {
    if asked.is_empty() {
        return (Standing::NotAsked, "No work is chosen that asks for a proof.".to_owned());
    }
    let mut why = Vec::new();
    let mut say = |n: usize, one: &str, many: &str| {
        if n > 0 {
            why.push(if n == 1 { format!("1 {one}") } else { format!("{n} {many}") });
        }
    };
    say(missing, "proof is missing", "proofs are missing");
    say(not_inside, "reading after the work is not inside", "readings after the work are not inside");
    say(passed_open, "hold point was passed without proof", "hold points were passed without proof");
    if why.is_empty() {
        let words = "Every proof that this repair asks for was taken, and the last of each is inside.";
        return (Standing::Proved, words.to_owned());
    }
    (Standing::NotProved, format!("{}.", why.join("; ")))
}

/// The proofs that the chosen work asks for, at every place of theirs.
fn asked(
    state: &JobState,
    layout: &EngineLayout,
    net: &EngineNet,
    knowledge: &Knowledge,
    after: &[&Finding],
) -> Vec<ProofAsked> {
    let Some(chosen) = &state.chosen else { return Vec::new() };
    let work = work::operations(state, knowledge, &chosen.option);
    let ids: BTreeSet<&str> = work.iter().flat_map(|o| o.checks_after.iter().map(String::as_str)).collect();
    let mut out = Vec::new();
    for check in knowledge.checks.iter().filter(|c| c.stage == AFTER_REPAIR && ids.contains(c.id.as_str())) {
        if !applies(&check.applies, &net.attributes) {
            continue;
        }
        for position in check.scope.iter().flat_map(|scope| layout.positions(*scope)) {
            let last = after.iter().rfind(|f| f.check == check.id && f.position == position);
            out.push(ProofAsked {
                check: check.id.clone(),
                name: check.name.clone(),
                position,
                place: layout.label(&position),
                entry: last.map(|f| f.entry.clone()),
            });
        }
    }
    out
}

/// The last reading of each kind, place and spot.
fn latest<'a>(findings: &[&'a Finding]) -> Vec<&'a Finding> {
    let mut out: Vec<&Finding> = Vec::new();
    for f in findings {
        let same =
            |o: &Finding| (&o.check, &o.reading, o.position, &o.spot) == (&f.check, &f.reading, f.position, &f.spot);
        match out.iter_mut().find(|o| same(o)) {
            Some(there) => *there = f,
            None => out.push(f),
        }
    }
    out
}

/// Each reading after the work beside the one before it, and the entries of all that are looked at again.
///
/// A check taken again as it was beats one that merely looks at the same thing in the same unit; of several spots the
/// worst stands.
fn pairs<'a>(knowledge: &Knowledge, before: &[&'a Finding], after: &[&Finding]) -> (Vec<ProofPair>, BTreeSet<&'a str>) {
    let group = |f: &Finding| knowledge.check(&f.check).map(|c| c.group.clone());
    let inside = |b: &Finding| b.p_inside.unwrap_or(if b.verdict == Verdict::Inside { 1.0 } else { 0.0 });
    let mut seen_again = BTreeSet::new();
    let mut out = Vec::new();
    for f in after {
        let now = group(f);
        let there: Vec<&&Finding> = before
            .iter()
            .filter(|b| b.position == f.position && b.unit == f.unit && now.is_some() && group(b) == now)
            .collect();
        let same = |b: &Finding| b.check == f.check && b.reading == f.reading;
        let again: Vec<&&Finding> = there.iter().copied().filter(|b| same(b)).collect();
        let among = if again.is_empty() { &there } else { &again };
        let pair = among.iter().min_by(|a, b| inside(a).total_cmp(&inside(b)));
        out.push(ProofPair {
            after: f.entry.clone(),
            before: pair.map(|b| b.entry.clone()),
            same: pair.is_some_and(|b| same(b)),
        });
        seen_again.extend(there.iter().map(|b| b.entry.as_str()));
    }
    (out, seen_again)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn finding(entry: &str, check: &str, position: Position, verdict: Verdict, after_repair: bool) -> Finding {
        Finding {
            entry: entry.to_owned(),
            at: String::new(),
            by: String::new(),
            check: check.to_owned(),
            check_name: check.to_owned(),
            reading: "pressure".to_owned(),
            position,
            place: String::new(),
            shown: String::new(),
            value: None,
            unit: Some("bar".to_owned()),
            u: None,
            measure: None,
            verdict,
            p_inside: None,
            p_outside: None,
            guard: None,
            rule: None,
            limit: None,
            gauge: None,
            gauge_word: None,
            reason: String::new(),
            next_move: None,
            measure_again: false,
            after_repair,
            spot: None,
            lower_is_worse: true,
            seen: None,
        }
    }

    fn asked(entry: Option<&str>) -> ProofAsked {
        ProofAsked {
            check: "proof-compression".to_owned(),
            name: String::new(),
            position: Position::Cylinder(1),
            place: String::new(),
            entry: entry.map(str::to_owned),
        }
    }

    #[test]
    fn nothing_asked_is_neither_proved_nor_not_proved() {
        assert_eq!(answer(&[], 0, 0, 0).0, Standing::NotAsked);
    }

    #[test]
    fn one_missing_proof_one_bad_reading_or_one_open_hold_is_enough_not_to_be_proved() {
        let all = [asked(Some("e1"))];
        assert_eq!(answer(&all, 0, 0, 0).0, Standing::Proved);
        for (missing, bad, open) in [(1, 0, 0), (0, 1, 0), (0, 0, 1)] {
            let (standing, reason) = answer(&all, missing, bad, open);
            assert_eq!(standing, Standing::NotProved);
            assert!(reason.starts_with("1 "), "{reason}");
        }
        assert_eq!(answer(&all, 2, 0, 1).1, "2 proofs are missing; 1 hold point was passed without proof.".to_owned());
    }

    #[test]
    fn the_last_reading_of_a_place_counts_and_not_an_earlier_one() {
        let bad = finding("e1", "proof-compression", Position::Cylinder(1), Verdict::Outside, true);
        let good = finding("e2", "proof-compression", Position::Cylinder(1), Verdict::Inside, true);
        let other = finding("e3", "proof-compression", Position::Cylinder(2), Verdict::CannotTell, true);
        let last: Vec<&str> = latest(&[&bad, &good, &other]).iter().map(|f| f.entry.as_str()).collect();
        assert_eq!(last, ["e2", "e3"]);
    }

    #[test]
    fn a_check_taken_again_stands_beside_itself_before_one_that_looks_at_the_same_thing() -> Result<(), String> {
        let knowledge = Knowledge::builtin().map_err(|e| format!("{e:?}"))?;
        let group = |id: &str| knowledge.check(id).map(|c| c.group.clone());
        assert_eq!(group("compression-dry"), group("proof-compression"), "both look at compression");
        let cylinder = Position::Cylinder(1);
        let dry = finding("e1", "compression-dry", cylinder, Verdict::Outside, false);
        let elsewhere = finding("e2", "compression-dry", Position::Cylinder(2), Verdict::Outside, false);
        let proof = finding("e3", "proof-compression", cylinder, Verdict::Inside, true);
        let again = finding("e4", "compression-dry", cylinder, Verdict::Inside, true);
        let (pairs, seen) = pairs(&knowledge, &[&dry, &elsewhere], &[&proof, &again]);
        let told: Vec<(&str, Option<&str>, bool)> =
            pairs.iter().map(|p| (p.after.as_str(), p.before.as_deref(), p.same)).collect();
        assert_eq!(told, [("e3", Some("e1"), false), ("e4", Some("e1"), true)]);
        assert!(seen.contains("e1") && !seen.contains("e2"), "another cylinder is not looked at again");
        Ok(())
    }
}
