//! Whether the repair is proved: which readings taken after the work stand beside which before, which proofs are still
//! open, and the answer with its reason.
//!
//! The work that was chosen says which proofs it asks for ([`crate::work`]). A repair is proved when each of them was
//! taken at every place it has, the last reading of each kind is inside, and no hold point is open or was passed
//! without proof.
//! A proof that falls due only on the road is listed as due later and keeps no repair from being proved. A reading that
//! could not tell is settled by a later one of the same thing that could.
//! A reading of a check on the engine put together that was taken before the engine was opened again proves nothing.
//! A reading of a later recheck neither proves nor disproves what left the shop.

use std::collections::BTreeSet;

use anatomy::{EngineLayout, Position};
use knowledge::Knowledge;
use logbook::{JobState, Phase};
use quantity::Verdict;
use serde::Serialize;

use crate::findings::Finding;
use crate::gates;
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
    /// Hold points passed without proof and not signed since.
    pub passed_open: Vec<PassedOpen>,
    /// Hold points up to the first start that the work reaches for sure and nobody answered, as stage and record.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub unanswered: Vec<String>,
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
    /// When it falls due, where nobody can take it before the hand-back.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub due: Option<String>,
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
    /// The proofs that are missing now.
    pub fn open(&self) -> impl Iterator<Item = &ProofAsked> {
        self.asked.iter().filter(|a| a.entry.is_none() && a.due.is_none())
    }

    /// The proofs that are not taken yet and fall due later.
    pub fn due_later(&self) -> impl Iterator<Item = &ProofAsked> {
        self.asked.iter().filter(|a| a.entry.is_none() && a.due.is_some())
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
        let opened_since = opened_since(state, knowledge);
        let (rechecks, after): (Vec<&Finding>, Vec<&Finding>) = findings
            .iter()
            .filter(|f| f.after_repair && !opened_since.contains(&f.entry))
            .partition(|f| later.contains(&f.entry));
        let before: Vec<&Finding> = findings
            .iter()
            .filter(|f| !f.measure_again && (!f.after_repair || opened_since.contains(&f.entry)))
            .collect();
        let asked = asked(state, layout, net, knowledge, &after);
        let not_inside: Vec<String> = not_inside(knowledge, &after).into_iter().map(|f| f.entry.clone()).collect();
        let healed = |stage: &str, record: &str| {
            let stage = knowledge.steps.iter().find(|s| s.id == stage).map(|s| &s.value);
            let hold = stage.and_then(|s| Some((s, s.holds.iter().find(|h| h.record == record)?)));
            match hold {
                Some((stage, hold)) => gates::answer(state, stage, hold) == gates::Answer::Signed,
                None => false,
            }
        };
        let passed_open: Vec<PassedOpen> = state
            .holds_open
            .iter()
            .filter(|h| !healed(&h.stage, &h.hold))
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
        let unanswered: Vec<String> =
            gates::before_the_start(state, knowledge).iter().map(gates::HoldPoint::name).collect();
        let (standing, mut reason) = answer(&asked, not_inside.len(), passed_open.len(), unanswered.len());
        // What was read long after says nothing of the day it went back, and is not kept from whoever reads this.
        let moved = rechecks.iter().filter(|f| matches!(f.verdict, Verdict::Outside | Verdict::CannotTell)).count();
        if standing == Standing::Proved && moved > 0 {
            reason.push_str(if moved == 1 {
                " At a later recheck 1 reading was not inside."
            } else {
                " At later rechecks some readings were not inside."
            });
        }
        Self {
            standing,
            reason,
            asked,
            not_inside,
            passed_open,
            unanswered,
            pairs,
            rechecks: rechecks.iter().map(|f| f.entry.clone()).collect(),
            not_again,
        }
    }
}

/// Readings, by entry, of checks on an engine that is put together, taken before a stage that opened it again: what was
/// left then says nothing of what stands now.
fn opened_since(state: &JobState, knowledge: &Knowledge) -> BTreeSet<String> {
    let opens = |stage: &str| knowledge.stage(stage).is_some_and(|s| !s.opens.is_empty());
    let Some(opened) = state.stages_told.iter().filter(|s| opens(&s.stage)).map(|s| s.in_entry).max() else {
        return BTreeSet::new();
    };
    let together = |check: &str| {
        let stage = knowledge.check(check).and_then(|c| knowledge.stage(&c.stage));
        stage.is_some_and(|s| s.needs.is_empty())
    };
    let older = state.readings.iter().filter(|r| r.entry < opened && together(&r.check));
    older.map(|r| r.entry.to_string()).collect()
}

/// The name of a proof where the sentence says already that it is one.
fn within(name: &str) -> &str {
    name.strip_prefix("Proof: ").unwrap_or(name)
}

fn answer(asked: &[ProofAsked], not_inside: usize, passed_open: usize, unanswered: usize) -> (Standing, String) {
    let untaken = || asked.iter().filter(|a| a.entry.is_none());
    let missing = untaken().filter(|a| a.due.is_none()).count();
    let mut later: Vec<String> =
        untaken().filter_map(|a| Some(format!("{} falls due {}", within(&a.name), a.due.as_ref()?))).collect();
    later.dedup();
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
    say(unanswered, "hold point is open", "hold points are open");
    if why.is_empty() {
        let words = if later.is_empty() {
            "Every proof that this repair asks for was taken, and the last of each is inside.".to_owned()
        } else {
            format!(
                "Every proof that can be taken by now was taken, and the last of each is inside; {}.",
                later.join("; ")
            )
        };
        return (Standing::Proved, words);
    }
    why.extend(later);
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
                due: check.due_later.clone(),
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

/// Readings after the work that are the last of their kind and not inside; what could not tell and was settled later by
/// another look at the same thing, as a strip by a micrometer, is left out.
fn not_inside<'a>(knowledge: &Knowledge, after: &[&'a Finding]) -> Vec<&'a Finding> {
    let group = |f: &Finding| knowledge.check(&f.check).map(|c| c.group.clone());
    let settled = |f: &Finding| {
        let later = after.iter().skip_while(|g| g.entry != f.entry).skip(1);
        let same = |g: &&&Finding| {
            g.position == f.position
                && g.spot == f.spot
                && g.unit == f.unit
                && group(g).is_some()
                && group(g) == group(f)
        };
        f.verdict == Verdict::CannotTell
            && !f.measure_again
            && later.filter(same).any(|g| g.verdict != Verdict::CannotTell)
    };
    latest(after).into_iter().filter(|f| f.verdict != Verdict::Inside && !settled(f)).collect()
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
            typed_unit: None,
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
            whole_face: false,
            three_axes: false,
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
            due: None,
        }
    }

    #[test]
    fn nothing_asked_is_neither_proved_nor_not_proved() {
        assert_eq!(answer(&[], 0, 0, 0).0, Standing::NotAsked);
    }

    #[test]
    fn one_missing_proof_one_bad_reading_or_one_open_hold_is_enough_not_to_be_proved() {
        let taken = [asked(Some("e1"))];
        let missing = [asked(None)];
        assert_eq!(answer(&taken, 0, 0, 0).0, Standing::Proved);
        for (all, bad, open, unsigned) in [(&missing, 0, 0, 0), (&taken, 1, 0, 0), (&taken, 0, 1, 0), (&taken, 0, 0, 1)]
        {
            let (standing, reason) = answer(all, bad, open, unsigned);
            assert_eq!(standing, Standing::NotProved);
            assert!(reason.starts_with("1 "), "{reason}");
        }
        let said = answer(&[asked(None), asked(None)], 0, 1, 2).1;
        assert_eq!(said, "2 proofs are missing; 1 hold point was passed without proof; 2 hold points are open.");
    }

    #[test]
    fn a_proof_that_falls_due_on_the_road_is_due_later_and_not_missing() {
        let filter = |entry: Option<&str>| ProofAsked {
            name: "Filter".to_owned(),
            due: Some("after 500 miles".to_owned()),
            ..asked(entry)
        };
        let (standing, reason) = answer(&[asked(Some("e1")), filter(None)], 0, 0, 0);
        assert_eq!(standing, Standing::Proved);
        assert!(reason.ends_with("; Filter falls due after 500 miles."), "{reason}");
        let (standing, reason) = answer(&[asked(None), filter(None)], 0, 0, 0);
        assert_eq!(
            (standing, reason.as_str()),
            (Standing::NotProved, "1 proof is missing; Filter falls due after 500 miles.")
        );
        assert!(!answer(&[asked(Some("e1")), filter(Some("e2"))], 0, 0, 0).1.contains("due"));
    }

    #[test]
    fn a_strip_that_cannot_tell_is_settled_by_the_micrometer_after_it_and_by_nothing_before_it() -> Result<(), String> {
        let knowledge = Knowledge::builtin().map_err(|e| format!("{e:?}"))?;
        let place = Position::RodBearing(1);
        let strip = finding("e2", "bearing-plastic-strip", place, Verdict::CannotTell, true);
        let micrometer = |entry: &str, at, verdict| finding(entry, "bearing-micrometer", at, verdict, true);
        let open = |list: &[&Finding]| -> Vec<String> {
            not_inside(&knowledge, list).iter().map(|f| f.entry.clone()).collect()
        };
        let good = micrometer("e3", place, Verdict::Inside);
        assert!(open(&[&strip, &good]).is_empty());
        assert_eq!(open(&[&good, &strip]), ["e2"], "what came before settles nothing");
        assert_eq!(open(&[&strip, &micrometer("e4", Position::RodBearing(2), Verdict::Inside)]), ["e2"]);
        assert_eq!(open(&[&strip, &micrometer("e5", place, Verdict::Outside)]), ["e5"], "and the settled one counts");
        assert_eq!(open(&[&strip, &micrometer("e6", place, Verdict::CannotTell)]), ["e2", "e6"]);
        Ok(())
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
