//! Says where the tables of the knowledge do not agree with each other.
//!
//! Each rule is one function that takes tables and adds [`Complaint`]s. What the rules cannot see is whether a figure is
//! true; that is what its source tag and its worked examples are for.

use crate::gauges::lint_gauges;
use crate::limits::{lint_limits, source_fault};
use crate::load::{Complaint, Located};
use crate::network::{
    AttributeIs, Band, Block, Cause, Check, Condition, Given, LeftMode, Normalise, Numeric, Observe, Observed,
    OutsideFault, Reading, ReadingKind, Worse, with_factor, worst_of,
};
use crate::source::Source;
use crate::workshop::{
    Known, ids, lint_build, lint_calls, lint_caution_tables, lint_joints, lint_operations, lint_options,
    lint_references, lint_residues, lint_rules,
};
use crate::{Knowledge, limits};
use anatomy::{RelativeSite, Scope};
use quantity::Unit;
use std::collections::{BTreeMap, BTreeSet};

/// How far a list of chances may be from one; a wider tolerance would hide typing mistakes.
const SUM_TOLERANCE: f64 = 1e-9;

/// The most joint states the causes may have, so that exact inference stays quick.
const MOST_JOINT_STATES: usize = 1152;

impl Knowledge {
    /// Everything wrong with the tables, in file and line order; empty when they agree.
    #[must_use]
    pub fn lint(&self) -> Vec<Complaint> {
        let known = self.known();
        let mut out = Vec::new();
        self.lint_attributes(&known, &mut out);
        self.lint_causes(&known, &mut out);
        self.lint_conditions(&known, &mut out);
        lint_loops(&self.conditions, &mut out);
        self.lint_words_of_checks(&known, &mut out);
        self.lint_checks(&known, &mut out);
        let values = self.attribute_values();
        for caution in &self.cautions {
            all_known(caution, "not_for", &caution.not_for, &values, &mut out);
        }
        self.lint_revealed(&mut out);
        self.lint_outside(&known, &mut out);
        self.lint_blocks(&known, &mut out);
        self.lint_quote_ages(&known, &mut out);
        let tools = ids(&self.tools, |t| &t.id);
        out.extend(lint_limits(&self.limits, &known.cautions, &known.sources));
        out.extend(lint_gauges(&self.gauges, &known.limits, &tools, &known.sources));
        out.extend(lint_operations(&self.operations, &known));
        out.extend(lint_options(&self.options, &known));
        out.extend(lint_joints(&self.joints, &known));
        out.extend(lint_build(&self.steps, &known));
        out.extend(lint_caution_tables(&self.cautions, &known));
        out.extend(lint_residues(&self.residues, &self.places, &known));
        out.extend(lint_calls(&self.calls, &self.options));
        out.extend(self.learnt_complaints());
        for call in &self.calls {
            sourced(call, "source", &call.source, &known, &mut out);
            sourced(call, "figures", &call.figures, &known, &mut out);
        }
        out.extend(lint_references(&self.sources));
        out.extend(lint_rules(&self.arrivals, &self.rules, &self.keeps, &self.waits, &known));
        out.sort();
        out.dedup();
        out
    }

    /// The ids of all tables, for the rules that follow references.
    #[must_use]
    pub fn known(&self) -> Known {
        Known {
            conditions: self.conditions.iter().map(|c| (c.id.clone(), c.states.clone())).collect(),
            causes: ids(&self.causes, |c| &c.id),
            checks: ids(&self.checks, |c| &c.id),
            outcomes: self.graded_readings(),
            stages: ids(&self.stages, |s| &s.id),
            blocks: self.blocks.iter().map(|b| (b.id.clone(), b.classes.clone())).collect(),
            limits: ids(&self.limits, |l| &l.id),
            gauges: ids(&self.gauges, |g| &g.id),
            cautions: ids(&self.cautions, |c| &c.id),
            sources: ids(&self.sources, |s| &s.id),
            joints: ids(&self.joints, |j| &j.id),
            parts: self.joints.iter().flat_map(|j| &j.value.parts).map(|p| p.id.clone()).collect(),
            operations: ids(&self.operations, |o| &o.id),
            waits: self.waits.iter().filter(|w| w.least_minutes.is_some()).map(|w| w.id.clone()).collect(),
            attributes: self.attributes.iter().map(|a| (a.id.clone(), a.values.clone())).collect(),
        }
    }

    /// The outcomes of every reading that is told by a word, as `check/reading`.
    fn graded_readings(&self) -> std::collections::BTreeMap<String, Vec<String>> {
        let all = self.checks.iter().flat_map(|c| c.value.readings.iter().map(move |r| (&c.id, r)));
        all.filter_map(|(check, reading)| match &reading.kind {
            ReadingKind::Graded { outcomes, .. } | ReadingKind::Nominal { outcomes, .. } => {
                Some((format!("{check}/{}", reading.id), outcomes.clone()))
            }
            ReadingKind::Numeric(_) => None,
        })
        .collect()
    }

    fn lint_attributes(&self, known: &Known, out: &mut Vec<Complaint>) {
        unique(&self.attributes, |a| &a.id, out);
        for attribute in &self.attributes {
            sourced(attribute, "source", &attribute.source, known, out);
            if attribute.values.len() < 2 {
                out.push(attribute.complaint("values", "needs two values or more", "name every value it may have"));
            }
        }
        let values = self.attribute_values();
        for limit in &self.limits {
            for applies in &limit.applies {
                for value in &applies.any_of {
                    attribute_known(limit, "applies", &applies.attribute, value, &values, out);
                }
            }
        }
    }

    fn attribute_values(&self) -> BTreeMap<&str, &[String]> {
        self.attributes.iter().map(|a| (a.id.as_str(), a.values.as_slice())).collect()
    }

    fn lint_causes(&self, known: &Known, out: &mut Vec<Complaint>) {
        unique(&self.causes, |c| &c.id, out);
        let values = self.attribute_values();
        for cause in &self.causes {
            sourced(cause, "source", &cause.source, known, out);
            states(cause, &cause.states, out);
            chances(cause, "prior", &cause.prior, cause.states.len(), out);
            for by in &cause.prior_by {
                attribute_known(cause, "prior_by", &by.attribute, &by.value, &values, out);
                chances(cause, &format!("prior_by.{}", by.value), &by.prior, cause.states.len(), out);
            }
            if cause.brings_in.len() != cause.states.len() || !cause.brings_in.iter().all(|p| (0.0..=1.0).contains(p)) {
                let message = format!("needs {} chances from 0 to 1, one for each state", cause.states.len());
                out.push(cause.complaint("brings_in", message, "give the chance of a complaint for every state"));
            }
            for check in &cause.revealed_by {
                resolves(cause, "revealed_by", check, "check", known.checks.contains(check), out);
            }
            if cause.revealed_by.is_empty() {
                out.push(cause.complaint("revealed_by", "no check tells of this cause", "name a check that does"));
            }
            lint_remedies(cause, known, out);
            if known.conditions.contains_key(&cause.id) {
                out.push(cause.complaint(
                    "id",
                    format!("{} is a condition as well", cause.id),
                    "rename one of the two",
                ));
            }
        }
        if let Some(last) = self.causes.last()
            && self.causes.iter().all(|c| c.brings_in.first().is_none_or(|p| *p <= 0.0))
        {
            let message = "no cause in its mildest state brings an engine in, so a complaint would prove one of them";
            out.push(last.complaint("brings_in", message, "give one cause a small chance in its mildest state"));
        }
        let joint: usize = self.causes.iter().map(|c| c.states.len()).product();
        if let Some(last) = self.causes.last().filter(|_| joint > MOST_JOINT_STATES) {
            let message =
                format!("the causes together have {joint} joint states, at most {MOST_JOINT_STATES} stay quick");
            out.push(last.complaint("states", message, "give fewer causes or fewer grades"));
        }
    }

    fn lint_conditions(&self, known: &Known, out: &mut Vec<Complaint>) {
        unique(&self.conditions, |c| &c.id, out);
        let values = self.attribute_values();
        for condition in &self.conditions {
            sourced(condition, "source", &condition.source, known, out);
            states(condition, &condition.states, out);
            all_known(condition, "applies", &condition.applies, &values, out);
            self.lint_priors(condition, &values, out);
            self.lint_cause_links(condition, out);
            self.lint_parent_links(condition, out);
            self.lint_modifiers(condition, &values, out);
            lint_if_left(condition, known, out);
            self.lint_condition_examples(condition, out);
        }
    }

    fn lint_priors(
        &self,
        condition: &Located<Condition>,
        values: &BTreeMap<&str, &[String]>,
        out: &mut Vec<Complaint>,
    ) {
        let n = condition.states.len();
        let scopes: BTreeSet<Scope> = condition.scope.iter().copied().collect();
        if scopes.is_empty() || scopes.len() != condition.scope.len() {
            out.push(condition.complaint(
                "scope",
                "needs one kind of place or more, each once",
                "name the kinds of place that have it",
            ));
        }
        let given: BTreeSet<Scope> = condition.prior.keys().copied().collect();
        if given != scopes {
            out.push(condition.complaint(
                "prior",
                format!("speaks for {}, the condition is of {}", listed(&given), listed(&scopes)),
                "give one prior for each scope",
            ));
        }
        for (scope, prior) in &condition.prior {
            chances(condition, &format!("prior.{scope}"), prior, n, out);
        }
        for by in &condition.prior_by {
            attribute_known(condition, "prior_by", &by.attribute, &by.value, values, out);
            for (scope, prior) in &by.prior {
                chances(condition, &format!("prior_by.{}.{scope}", by.value), prior, n, out);
                if !scopes.contains(scope) {
                    out.push(condition.complaint(
                        "prior_by",
                        format!("speaks for {scope}, which the condition is not of"),
                        "take it out or widen the scope",
                    ));
                }
            }
        }
    }

    fn lint_cause_links(&self, condition: &Located<Condition>, out: &mut Vec<Complaint>) {
        let mut seen = BTreeSet::new();
        for link in &condition.causes {
            let field = format!("causes.{}", link.cause);
            let Some(cause) = self.cause(&link.cause) else {
                resolves(condition, "causes", &link.cause, "cause", false, out);
                continue;
            };
            in_scope(condition, &field, link.scope, &condition.scope, out);
            for scope in link.scope.map_or_else(|| condition.scope.clone(), |scope| vec![scope]) {
                if !seen.insert((link.cause.as_str(), scope)) {
                    out.push(condition.complaint(
                        &field,
                        format!("speaks twice for {scope}"),
                        "keep one link for each scope",
                    ));
                }
            }
            let wanted: BTreeSet<&str> = cause.states.iter().skip(1).map(String::as_str).collect();
            let found: BTreeSet<&str> = link.given.keys().map(String::as_str).collect();
            if wanted != found {
                out.push(condition.complaint(
                    format!("{field}.given"),
                    format!("speaks of [{}], expected [{}]", joined(&found), joined(&wanted)),
                    "give one list for every state of the cause but the mildest",
                ));
            }
            for (state, given) in &link.given {
                chances(condition, &format!("{field}.given.{state}"), given, condition.states.len(), out);
            }
        }
    }

    fn lint_parent_links(&self, condition: &Located<Condition>, out: &mut Vec<Complaint>) {
        for link in &condition.parents {
            let field = format!("parents.{}", link.condition);
            let Some(parent) = self.condition(&link.condition) else {
                resolves(condition, "parents", &link.condition, "condition", false, out);
                continue;
            };
            in_scope(condition, &field, link.for_scope, &condition.scope, out);
            if !meets(link.at, &parent.scope) {
                out.push(condition.complaint(
                    format!("{field}.at"),
                    format!("{} leads to no place that has {}", link.at, parent.id),
                    "name a site of the parent's scope",
                ));
            }
            let from = link.for_scope.map_or_else(|| condition.scope.clone(), |scope| vec![scope]);
            for scope in from.into_iter().filter(|scope| !reaches(link.at, *scope)) {
                out.push(condition.complaint(
                    format!("{field}.at"),
                    format!("{} means nothing seen from a {scope}", link.at),
                    "name a site that exists from there, or limit the link with for_scope",
                ));
            }
            if link.given.is_empty() {
                out.push(condition.complaint(
                    format!("{field}.given"),
                    "says nothing",
                    "give a list for a state of the parent, or take the link out",
                ));
            }
            for (state, given) in &link.given {
                worse_state(condition, &format!("{field}.given"), state, &parent.states, out);
                chances(condition, &format!("{field}.given.{state}"), given, condition.states.len(), out);
            }
        }
    }

    fn lint_modifiers(
        &self,
        condition: &Located<Condition>,
        values: &BTreeMap<&str, &[String]>,
        out: &mut Vec<Complaint>,
    ) {
        for modifier in &condition.modifiers {
            attribute_known(condition, "modifiers", &modifier.attribute, &modifier.value, values, out);
            let lists: Vec<&Vec<f64>> = match (&modifier.cause, &modifier.parent) {
                (Some(cause), None) => {
                    condition.causes.iter().filter(|l| l.cause == *cause).flat_map(|l| l.given.values()).collect()
                }
                (None, Some(parent)) => {
                    condition.parents.iter().filter(|l| l.condition == *parent).flat_map(|l| l.given.values()).collect()
                }
                (Some(_), Some(_)) | (None, None) => {
                    out.push(condition.complaint(
                        "modifiers",
                        "names both a cause and a parent, or neither",
                        "name the one link that is multiplied",
                    ));
                    continue;
                }
            };
            let name = modifier.cause.as_deref().or(modifier.parent.as_deref()).unwrap_or_default();
            if lists.is_empty() {
                out.push(condition.complaint(
                    "modifiers",
                    format!("multiplies {name}, to which there is no link"),
                    "name a cause or parent of this condition",
                ));
            }
            let fits =
                |given: &&Vec<f64>| with_factor(given, modifier.multiply).iter().all(|p| (0.0..=1.0).contains(p));
            if !modifier.multiply.is_finite() || modifier.multiply < 0.0 || !lists.iter().all(fits) {
                out.push(condition.complaint(
                    "modifiers",
                    format!("{} times the harm of {name} is no chance", modifier.multiply),
                    "lower the factor or the harm",
                ));
            }
        }
    }

    fn lint_condition_examples(&self, condition: &Located<Condition>, out: &mut Vec<Complaint>) {
        for example in &condition.examples {
            if example.causes.len() + example.parents.len() < 2 {
                out.push(condition.complaint(
                    "example",
                    format!("{}: restates a figure", example.name),
                    "give two causes or parents or more, so that the combination is tried",
                ));
                continue;
            }
            let Some(prior) = condition.prior.get(&example.scope) else {
                out.push(condition.complaint(
                    "example.scope",
                    format!("{}: the condition is not of {}", example.name, example.scope),
                    "name one of its scopes",
                ));
                continue;
            };
            let mut draws: Vec<&[f64]> = vec![prior];
            let links = example.causes.iter().map(|(id, state)| {
                let mut fitting =
                    condition.causes.iter().filter(|l| l.cause == *id && l.scope.is_none_or(|s| s == example.scope));
                (id, state, fitting.find_map(|l| l.given.get(state)))
            });
            let parents = example.parents.iter().map(|(id, state)| {
                let mut fitting = condition
                    .parents
                    .iter()
                    .filter(|l| l.condition == *id && l.for_scope.is_none_or(|s| s == example.scope));
                (id, state, fitting.find_map(|l| l.given.get(state)))
            });
            for (id, state, given) in links.chain(parents) {
                match given {
                    Some(given) => draws.push(given),
                    None => out.push(condition.complaint(
                        "example",
                        format!("{}: no link says what {id} {state} brings", example.name),
                        "name a link and a state that it speaks of",
                    )),
                }
            }
            example_holds(
                condition,
                "example",
                &example.name,
                &draws,
                &condition.states,
                &example.reaches,
                example.between,
                out,
            );
        }
    }

    fn lint_words_of_checks(&self, known: &Known, out: &mut Vec<Complaint>) {
        unique(&self.stages, |s| &s.id, out);
        unique(&self.prerequisites, |p| &p.id, out);
        unique(&self.tools, |t| &t.id, out);
        for stage in &self.stages {
            sourced(stage, "source", &stage.source, known, out);
            not_below_zero(stage, "access_minutes", stage.access_minutes, out);
            for one in &stage.needs {
                resolves(stage, "needs", one, "stage", known.stages.contains(one), out);
            }
            for joint in stage.opens.iter().chain(stage.opens_where_read.iter().map(|o| &o.joint)) {
                resolves(stage, "opens", joint, "joint", known.joints.contains(joint), out);
            }
            if stage.one_way && stage.opens.is_empty() {
                out.push(stage.complaint(
                    "opens",
                    "cannot be undone without new parts and opens no joint, so nothing would be closed again",
                    "name the joints that getting there opens",
                ));
            }
        }
        for pair in self.stages.windows(2) {
            if let [before, after] = pair
                && after.order <= before.order
            {
                out.push(after.complaint(
                    "order",
                    format!("{} does not come after {}", after.order, before.order),
                    "number the stages in file order",
                ));
            }
        }
        for prerequisite in &self.prerequisites {
            sourced(prerequisite, "source", &prerequisite.source, known, out);
        }
        for tool in &self.tools {
            sourced(tool, "source", &tool.source, known, out);
            for gauge in &tool.gauges {
                resolves(tool, "gauges", gauge, "gauge", known.gauges.contains(gauge), out);
            }
        }
        unique(&self.checklists, |c| &c.id, out);
        for list in &self.checklists {
            sourced(list, "source", &list.source, known, out);
            for does in &list.does {
                for check in [Some(&does.check), does.where_not_best.as_ref()].into_iter().flatten() {
                    resolves(list, "does.check", check, "check", self.check(check).is_some(), out);
                }
            }
        }
        for repeat in &self.repeats {
            sourced(repeat, "source", &repeat.source, known, out);
            if !(0.0..1.0).contains(&repeat.echo) {
                out.push(repeat.complaint(
                    "echo",
                    format!("{} is not a chance below 1", repeat.echo),
                    "give a chance from 0 up to, not including, 1",
                ));
            }
        }
        if let Some(second) = self.repeats.get(1) {
            out.push(second.complaint("repeat", "stands twice", "keep one"));
        }
        if let Some(first) = self.checks.first().filter(|_| self.repeats.is_empty()) {
            out.push(first.complaint(
                "repeat",
                "no [[repeat]] table says how repeats count",
                "add one to the checks folder",
            ));
        }
    }

    fn lint_checks(&self, known: &Known, out: &mut Vec<Complaint>) {
        unique(&self.checks, |c| &c.id, out);
        let values = self.attribute_values();
        let tools: BTreeMap<&str, &[String]> =
            self.tools.iter().map(|t| (t.id.as_str(), t.gauges.as_slice())).collect();
        let prerequisites = ids(&self.prerequisites, |p| &p.id);
        for check in &self.checks {
            sourced(check, "source", &check.source, known, out);
            sourced(check, "likelihood_source", &check.likelihood_source, known, out);
            all_known(check, "applies", &check.applies, &values, out);
            resolves(check, "stage", &check.stage, "stage", known.stages.contains(&check.stage), out);
            for one in &check.prerequisites {
                resolves(check, "prerequisites", one, "prerequisite", prerequisites.contains(one), out);
            }
            for one in &check.cautions {
                resolves(check, "cautions", one, "caution", known.cautions.contains(one), out);
            }
            for wait in &check.wait_for {
                resolves(check, "wait_for.check", &wait.check, "check", known.checks.contains(&wait.check), out);
                let states = known.conditions.get(&wait.condition);
                resolves(check, "wait_for.condition", &wait.condition, "condition", states.is_some(), out);
                for state in &wait.states {
                    let there = states.is_none_or(|all| all.contains(state));
                    resolves(check, "wait_for.states", state, "state of that condition", there, out);
                }
            }
            for one in &check.tools {
                resolves(check, "tools", one, "tool", tools.contains_key(one.as_str()), out);
            }
            for one in &check.gauges {
                resolves(check, "gauges", one, "gauge", known.gauges.contains(one), out);
                if !check.tools.iter().filter_map(|t| tools.get(t.as_str())).any(|gauges| gauges.contains(one)) {
                    out.push(check.complaint(
                        "gauges",
                        format!("{one} is none of the gauges of its tools"),
                        "add the tool, or add the gauge to the tool",
                    ));
                }
            }
            if let Some(stands) = &check.stands {
                sourced(check, "stands.source", &stands.source, known, out);
                if stands.minutes == 0 || stands.most_minutes.is_some_and(|most| most <= stands.minutes) {
                    out.push(check.complaint(
                        "stands",
                        "is no time: the shortest is above nought and below the longest",
                        "write the minutes that it must stand, and the most that still count",
                    ));
                }
                if stands.begins.trim().is_empty() {
                    out.push(check.complaint("stands.begins", "is empty", "say what is done when the time begins"));
                }
            }
            not_below_zero(check, "minutes_first", check.minutes_first, out);
            not_below_zero(check, "minutes_further", check.minutes_further, out);
            kebab(check, "group", &check.group, out);
            if check.scope.is_empty() {
                out.push(check.complaint("scope", "is empty", "name the kinds of place it is done at"));
            }
            if check.readings.is_empty() {
                out.push(check.complaint("readings", "answers nothing", "add a reading"));
            }
            let mut seen = BTreeSet::new();
            for reading in &check.readings {
                kebab(check, "readings.id", &reading.id, out);
                if !seen.insert(reading.id.as_str()) {
                    out.push(check.complaint(
                        "readings.id",
                        format!("{} stands twice", reading.id),
                        "give every reading of a check its own id",
                    ));
                }
                self.lint_reading(check, reading, known, &values, out);
            }
        }
    }

    fn lint_reading(
        &self,
        check: &Located<Check>,
        reading: &Reading,
        known: &Known,
        values: &BTreeMap<&str, &[String]>,
        out: &mut Vec<Complaint>,
    ) {
        let name = format!("readings.{}", reading.id);
        all_known(check, &format!("{name}.applies"), &reading.applies, values, out);
        match &reading.kind {
            ReadingKind::Graded { outcomes, background } | ReadingKind::Nominal { outcomes, background } => {
                let mut seen = BTreeSet::new();
                for outcome in outcomes {
                    kebab(check, &format!("{name}.outcomes"), outcome, out);
                    if !seen.insert(outcome.as_str()) {
                        out.push(check.complaint(
                            format!("{name}.outcomes"),
                            format!("{outcome} stands twice"),
                            "give every outcome its own word",
                        ));
                    }
                }
                if outcomes.len() < 2 {
                    out.push(check.complaint(
                        format!("{name}.outcomes"),
                        "needs two outcomes or more",
                        "name them from best to worst",
                    ));
                }
                chances(check, &format!("{name}.background"), background, outcomes.len(), out);
            }
            ReadingKind::Numeric(numeric) => self.lint_numeric(check, reading, numeric, known, values, out),
        }
        if reading.observes.is_empty() {
            out.push(check.complaint(
                format!("{name}.observes"),
                "looks at nothing",
                "name a condition or cause it tells of",
            ));
        }
        for observe in &reading.observes {
            self.lint_observe(check, reading, observe, out);
        }
        if let ReadingKind::Graded { outcomes, .. } | ReadingKind::Nominal { outcomes, .. } = &reading.kind {
            for forbids in reading.forbids.iter().filter(|f| !outcomes.contains(&f.outcome)) {
                out.push(check.complaint(
                    format!("{name}.forbids"),
                    format!("{} is none of its outcomes", forbids.outcome),
                    format!("name one of {}", outcomes.join(", ")),
                ));
            }
        }
        for example in &reading.examples {
            let ReadingKind::Graded { outcomes, background } = &reading.kind else {
                out.push(check.complaint(
                    format!("{name}.example"),
                    "only graded readings have worked examples",
                    "take it out",
                ));
                continue;
            };
            if example.given.len() < 2 {
                out.push(check.complaint(
                    format!("{name}.example"),
                    format!("{}: restates a figure", example.name),
                    "give two parts or more, so that the combination is tried",
                ));
                continue;
            }
            let mut draws: Vec<&[f64]> = vec![background];
            for part in &example.given {
                let found = reading
                    .observes
                    .iter()
                    .filter(|o| o.of.id() == part.condition)
                    .find_map(|o| o.given.get(&part.state));
                match found {
                    Some(Given::Chances(chances)) => draws.push(chances),
                    Some(Given::Normal(_)) | None => out.push(check.complaint(
                        format!("{name}.example"),
                        format!(
                            "{}: the reading does not say what {} {} does",
                            example.name, part.condition, part.state
                        ),
                        "name a condition and state that it observes",
                    )),
                }
            }
            example_holds(
                check,
                &format!("{name}.example"),
                &example.name,
                &draws,
                outcomes,
                &example.reaches,
                example.between,
                out,
            );
        }
    }

    fn lint_numeric(
        &self,
        check: &Located<Check>,
        reading: &Reading,
        numeric: &Numeric,
        known: &Known,
        values: &BTreeMap<&str, &[String]>,
        out: &mut Vec<Complaint>,
    ) {
        let name = format!("readings.{}", reading.id);
        let unit = Unit::from_symbol(&numeric.unit).ok();
        if unit.is_none() {
            out.push(check.complaint(
                format!("{name}.unit"),
                format!("{:?} is no unit", numeric.unit),
                "use the symbol of a unit, and say in `measures` what is read",
            ));
        }
        let [_, spread] = numeric.background;
        if !numeric.background.iter().all(|x| x.is_finite()) || spread <= 0.0 {
            out.push(check.complaint(
                format!("{name}.background"),
                "needs a finite mean and a spread above 0",
                "give [mean, spread]",
            ));
        }
        lint_bands(check, &name, numeric, out);
        if numeric.normalise == Normalise::Limit && reading.limits.is_empty() {
            out.push(check.complaint(
                format!("{name}.limits"),
                "is divided by a limit but names none",
                "name the limits it is held against, or use another normalise",
            ));
        }
        for one in &reading.limits {
            let field = format!("{name}.limits");
            resolves(check, &field, &one.limit, "limit", known.limits.contains(&one.limit), out);
            all_known(check, &field, &one.applies, values, out);
            in_scope(check, &field, one.scope, &check.scope, out);
            if let Some(limit) = self.limit(&one.limit) {
                lint_limit_fits(check, &field, numeric, unit, limit, out);
            }
        }
        for one in &reading.alone {
            let field = format!("{name}.alone");
            resolves(check, &field, &one.limit, "limit", known.limits.contains(&one.limit), out);
            all_known(check, &field, &one.applies, values, out);
            in_scope(check, &field, one.scope, &check.scope, out);
            let side = self.limit(&one.limit).map(|limit| match numeric.worse {
                Worse::Higher => limit.edges().high_keep,
                Worse::Lower => limit.edges().low_keep,
            });
            if side.is_some_and(|edge| edge.is_none()) {
                out.push(check.complaint(
                    field,
                    format!("{} has no keep edge on the side on which the reading gets worse", one.limit),
                    "take a limit with one",
                ));
            }
        }
        if let Some(gauge) = &reading.gauge {
            resolves(check, &format!("{name}.gauge"), gauge, "gauge", known.gauges.contains(gauge), out);
            if !check.gauges.contains(gauge) {
                out.push(check.complaint(
                    format!("{name}.gauge"),
                    format!("{gauge} is none of the gauges of the check"),
                    "add it to `gauges`, or take another",
                ));
            }
            self.lint_gauge_fits(check, reading, gauge, unit, out);
        }
        if let Some(face) = &reading.face {
            for (field, gauge) in [("edge", &face.edge), ("blade", &face.blade)] {
                resolves(check, &format!("{name}.face.{field}"), gauge, "gauge", known.gauges.contains(gauge), out);
            }
            if let Some(limit) = &face.stretch_limit {
                resolves(
                    check,
                    &format!("{name}.face.stretch_limit"),
                    limit,
                    "limit",
                    known.limits.contains(limit),
                    out,
                );
            }
            if !(face.stretch_mm.is_finite() && face.stretch_mm > 0.0) {
                out.push(check.complaint(
                    format!("{name}.face.stretch_mm"),
                    format!("{} is no length of a stretch", face.stretch_mm),
                    "give a length above nought, in mm",
                ));
            }
        }
    }

    /// Complains of a gauge that reads another kind of unit, unless one of its own lines says how it decides the limit.
    fn lint_gauge_fits(
        &self,
        check: &Located<Check>,
        reading: &Reading,
        gauge: &str,
        unit: Option<Unit>,
        out: &mut Vec<Complaint>,
    ) {
        let Some(gauge) = self.gauge(gauge) else {
            return;
        };
        let (Some(own), Ok(other)) = (unit, Unit::from_symbol(&gauge.unit)) else {
            return;
        };
        let told = gauge.fits.iter().any(|fit| reading.limits.iter().any(|one| one.limit == fit.limit));
        if own.dimension() != other.dimension() && !told {
            out.push(check.complaint(
                format!("readings.{}.gauge", reading.id),
                format!("{} reads {}, the reading is in {}", gauge.id, gauge.unit, own),
                "take a gauge of the same kind of unit, or say in the gauge how it decides the limit",
            ));
        }
    }

    fn lint_observe(&self, check: &Located<Check>, reading: &Reading, observe: &Observe, out: &mut Vec<Complaint>) {
        let name = format!("readings.{}.observes.{}", reading.id, observe.of.id());
        let (states, scopes): (&[String], &[Scope]) = match &observe.of {
            Observed::Cause(id) => match self.cause(id) {
                Some(cause) => (&cause.states, &[Scope::Engine]),
                None => return resolves(check, &name, id, "cause", false, out),
            },
            Observed::Condition(id) => match self.condition(id) {
                Some(condition) => (&condition.states, &condition.scope),
                None => return resolves(check, &name, id, "condition", false, out),
            },
        };
        if !meets(observe.at, scopes) {
            out.push(check.complaint(
                format!("{name}.at"),
                format!("{} leads to no place that has it", observe.at),
                "name a site of its scope",
            ));
        } else if !check.scope.iter().any(|scope| reaches(observe.at, *scope)) {
            out.push(check.complaint(
                format!("{name}.at"),
                format!("{} means nothing where the check is done", observe.at),
                "name a site that exists from there",
            ));
        }
        if observe.given.is_empty() {
            out.push(check.complaint(
                format!("{name}.given"),
                "says nothing",
                "give a list for a state, or take the entry out",
            ));
        }
        for (state, given) in &observe.given {
            worse_state(check, &format!("{name}.given"), state, states, out);
            let field = format!("{name}.given.{state}");
            match (given, &reading.kind) {
                (Given::Chances(list), kind) => chances(check, &field, list, kind.classes().len(), out),
                (Given::Normal([mean, spread]), ReadingKind::Numeric(numeric)) => {
                    if !mean.is_finite() || !spread.is_finite() || *spread <= 0.0 {
                        out.push(check.complaint(
                            field,
                            "needs a finite mean and a spread above 0",
                            "give [mean, spread]",
                        ));
                    } else if is_better(numeric.worse, *mean, numeric.background[0]) {
                        out.push(check.complaint(
                            field,
                            format!("a mean of {mean} reads better than the sound {}", numeric.background[0]),
                            "no fault reads better than sound: mend the mean",
                        ));
                    }
                }
                (Given::Normal(_), ReadingKind::Graded { .. } | ReadingKind::Nominal { .. }) => {}
            }
        }
    }

    /// Complains of conditions that no check tells of and helpers that nothing hangs on.
    fn lint_revealed(&self, out: &mut Vec<Complaint>) {
        let readings = self.checks.iter().flat_map(|c| c.value.readings.iter());
        let seen: BTreeSet<&str> = readings.flat_map(|r| r.observes.iter()).map(|o| o.of.id()).collect();
        let parents: BTreeSet<&str> =
            self.conditions.iter().flat_map(|c| c.value.parents.iter()).map(|l| l.condition.as_str()).collect();
        for condition in &self.conditions {
            if condition.helper && !parents.contains(condition.id.as_str()) {
                out.push(condition.complaint(
                    "helper",
                    "is a link on which nothing hangs",
                    "name it as a parent somewhere, or take it out",
                ));
            }
            if !condition.helper && !seen.contains(condition.id.as_str()) {
                out.push(condition.complaint(
                    "id",
                    format!("no check tells of {}", condition.id),
                    "have a reading observe it, or say helper = true",
                ));
            }
        }
    }

    fn lint_outside(&self, known: &Known, out: &mut Vec<Complaint>) {
        unique(&self.outside, |o| &o.id, out);
        let values = self.attribute_values();
        for fault in &self.outside {
            let table: &Located<OutsideFault> = fault;
            sourced(table, "source", &table.source, known, out);
            all_known(table, "applies", &table.applies, &values, out);
            not_below_zero(table, "minutes", table.minutes, out);
            for id in &table.mimics {
                resolves(table, "mimics", id, "condition", known.conditions.contains_key(id), out);
            }
            for id in &table.cautions {
                resolves(table, "cautions", id, "caution", known.cautions.contains(id), out);
            }
            if table.complaints.is_empty() || table.mimics.is_empty() || table.check.trim().is_empty() {
                out.push(table.complaint(
                    "check",
                    "needs words of a complaint, what it is taken for, and what to look at",
                    "fill in complaints, mimics and check",
                ));
            }
        }
    }

    fn lint_quote_ages(&self, known: &Known, out: &mut Vec<Complaint>) {
        unique(&self.quote_ages, |rule| &rule.id, out);
        for rule in &self.quote_ages {
            sourced(rule, "source", &rule.source, known, out);
            let months = f64::from(rule.most_months);
            let wide = rule.spread_percent + rule.spread_per_month_percent * months;
            let rates = [rule.spread_percent, rule.spread_per_month_percent, rule.drift_per_month_percent];
            if !rates.iter().all(|r| (0.0..=100.0).contains(r)) || wide >= 100.0 || rule.most_months == 0 {
                out.push(rule.complaint(
                    "quote_age",
                    "needs per cents from 0 to 100, a spread that stays below the price itself, and a month at least",
                    "mend the figures",
                ));
            }
        }
    }

    fn lint_blocks(&self, known: &Known, out: &mut Vec<Complaint>) {
        unique(&self.blocks, |b| &b.id, out);
        unique(&self.travel, |t| &t.id, out);
        for table in &self.travel {
            sourced(table, "source", &table.source, known, out);
            let chances =
                [table.turned_back, table.swapped, table.loose_turned_back, table.loose_swapped, table.wrong_unit];
            let sums = [table.turned_back + table.swapped, table.loose_turned_back + table.loose_swapped];
            let [from, to] = table.share_left;
            let rates = chances.iter().all(|p| *p >= 0.0) && sums.iter().all(|sum| sum + table.wrong_unit < 1.0);
            if !rates || table.yearly_miles <= 0.0 || table.spread <= 0.0 || from <= 0.0 || from >= to || to > 1.0 {
                out.push(table.complaint(
                    "travel",
                    "needs miles and a spread above nought, rates that leave something to the truth, and a share left from 0 to 1",
                    "mend the figures",
                ));
            }
        }
        let mut covered: BTreeSet<(&str, &str)> = BTreeSet::new();
        for block in &self.blocks {
            sourced(block, "source", &block.source, known, out);
            lint_classes(block, out);
            for life in &block.lives {
                sourced(block, "life.source", &life.source, known, out);
                all_known(block, "life.applies", &life.applies, &self.attribute_values(), out);
                let in_step = life.tenth_miles > 0.0 && life.tenth_miles < life.half_miles;
                if !in_step || life.half_factor.min(life.gap_factor) <= 1.0 {
                    out.push(block.complaint(
                        "life",
                        format!("{}: needs a 10 % life below the 50 % life, and factors of doubt above one", life.part),
                        "mend the figures",
                    ));
                }
            }
            for member in &block.members {
                let Some(condition) = self.condition(&member.condition) else {
                    resolves(block, "member.condition", &member.condition, "condition", false, out);
                    continue;
                };
                if block.per == crate::BlockPer::Bank
                    && !condition.scope.iter().all(|scope| reaches(RelativeSite::ThisBank, *scope))
                {
                    out.push(block.complaint(
                        "member.condition",
                        format!("{} does not belong to one bank", condition.id),
                        "move it to a block of the engine",
                    ));
                }
                let field = format!("member.{}.class", member.condition);
                for (state, class) in &member.class {
                    worse_state(block, &field, state, &condition.states, out);
                    resolves(block, &field, class, "class of this block", block.classes.contains(class), out);
                    covered.insert((member.condition.as_str(), state.as_str()));
                }
            }
        }
        for condition in self.conditions.iter().filter(|c| !c.helper) {
            for state in condition.states.iter().skip(1) {
                if !covered.contains(&(condition.id.as_str(), state.as_str())) {
                    out.push(condition.complaint(
                        "states",
                        format!("{state} belongs to no class of any block"),
                        "add the condition to a block, or say helper = true",
                    ));
                }
            }
        }
    }
}

/// Complains of ids that stand twice or are not kebab-case.
fn unique<T>(tables: &[Located<T>], id: impl Fn(&T) -> &str, out: &mut Vec<Complaint>) {
    let mut seen = BTreeMap::new();
    for table in tables {
        let name = id(&table.value);
        kebab(table, "id", name, out);
        if let Some(first) = seen.insert(name.to_owned(), format!("{}:{}", table.file, table.line)) {
            out.push(table.complaint("id", format!("{name} stands at {first} already"), "give every table its own id"));
        }
    }
}

fn kebab<T>(table: &Located<T>, field: &str, word: &str, out: &mut Vec<Complaint>) {
    let plain = word
        .split('-')
        .all(|part| !part.is_empty() && part.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit()));
    if !plain {
        out.push(table.complaint(
            field,
            format!("{word:?} is not in the form small-letters-and-dashes"),
            "spell it so",
        ));
    }
}

fn resolves<T>(table: &Located<T>, field: &str, id: &str, kind: &str, there: bool, out: &mut Vec<Complaint>) {
    if !there {
        out.push(table.complaint(
            field,
            format!("names {kind} {id}, which there is none of"),
            format!("mend the id, or add the {kind}"),
        ));
    }
}

fn sourced<T>(table: &Located<T>, field: &str, source: &Source, known: &Known, out: &mut Vec<Complaint>) {
    if let Some((message, next)) = source_fault(source, &known.sources) {
        out.push(table.complaint(field, message, next));
    }
}

fn states<T>(table: &Located<T>, states: &[String], out: &mut Vec<Complaint>) {
    let mut seen = BTreeSet::new();
    for state in states {
        kebab(table, "states", state, out);
        if !seen.insert(state) {
            out.push(table.complaint("states", format!("{state} stands twice"), "give every state its own word"));
        }
    }
    if states.len() < 2 {
        out.push(table.complaint("states", "needs two states or more", "name them, mildest first"));
    }
}

/// Complains of a list of chances of the wrong length, with an entry outside 0 to 1, or that does not add up to 1.
fn chances<T>(table: &Located<T>, field: &str, list: &[f64], wanted: usize, out: &mut Vec<Complaint>) {
    if list.len() != wanted {
        out.push(table.complaint(
            field,
            format!("has {} chances, expected {wanted}", list.len()),
            "give one for each state or outcome",
        ));
        return;
    }
    let sum: f64 = list.iter().sum();
    if !list.iter().all(|p| (0.0..=1.0).contains(p)) {
        out.push(table.complaint(field, "holds a figure that is not between 0 and 1", "give chances"));
    } else if (sum - 1.0).abs() > SUM_TOLERANCE {
        out.push(table.complaint(
            field,
            format!("adds up to {sum:.6}, expected 1"),
            "mend the chances so that they add up to 1",
        ));
    }
}

fn attribute_known<T>(
    table: &Located<T>,
    field: &str,
    attribute: &str,
    value: &str,
    values: &BTreeMap<&str, &[String]>,
    out: &mut Vec<Complaint>,
) {
    match values.get(attribute) {
        None => resolves(table, field, attribute, "attribute", false, out),
        Some(known) if !known.iter().any(|v| v == value) => {
            out.push(table.complaint(
                field,
                format!("{attribute} is never {value}, expected one of {}", known.join(", ")),
                "mend the value, or add it to the attribute",
            ));
        }
        Some(_) => {}
    }
}

fn all_known<T>(
    table: &Located<T>,
    field: &str,
    list: &[AttributeIs],
    values: &BTreeMap<&str, &[String]>,
    out: &mut Vec<Complaint>,
) {
    for one in list {
        attribute_known(table, field, &one.attribute, &one.value, values, out);
    }
}

fn in_scope<T>(table: &Located<T>, field: &str, scope: Option<Scope>, scopes: &[Scope], out: &mut Vec<Complaint>) {
    if let Some(scope) = scope.filter(|s| !scopes.contains(s)) {
        out.push(table.complaint(
            field,
            format!("speaks for {scope}, which is not in the scope of the table"),
            "take it out or widen the scope",
        ));
    }
}

fn worse_state<T>(table: &Located<T>, field: &str, state: &str, states: &[String], out: &mut Vec<Complaint>) {
    if !states.iter().skip(1).any(|s| s == state) {
        let wanted = states.iter().skip(1).cloned().collect::<Vec<_>>().join(", ");
        out.push(table.complaint(
            field,
            format!("speaks of state {state}, expected one of {wanted}"),
            "name a state other than the mildest",
        ));
    }
}

fn not_below_zero<T>(table: &Located<T>, field: &str, value: f64, out: &mut Vec<Complaint>) {
    if !value.is_finite() || value < 0.0 {
        out.push(table.complaint(field, format!("{value} is not a time"), "give minutes, 0 or more"));
    }
}

fn listed(scopes: &BTreeSet<Scope>) -> String {
    scopes.iter().map(|s| s.word()).collect::<Vec<_>>().join(", ")
}

fn joined(words: &BTreeSet<&str>) -> String {
    words.iter().copied().collect::<Vec<_>>().join(", ")
}

fn is_better(worse: Worse, value: f64, than: f64) -> bool {
    match worse {
        Worse::Higher => value < than,
        Worse::Lower => value > than,
    }
}

/// Whether a site leads to a place of one of the scopes.
fn meets(site: RelativeSite, scopes: &[Scope]) -> bool {
    site.scopes().iter().any(|scope| scopes.contains(scope))
}

/// Whether a site means something seen from a kind of place.
fn reaches(site: RelativeSite, from: Scope) -> bool {
    let in_bank = matches!(
        from,
        Scope::Bank
            | Scope::Cylinder
            | Scope::AdjacentPair
            | Scope::ValveIntake
            | Scope::ValveExhaust
            | Scope::Cam
            | Scope::RodBearing
    );
    let in_cylinder = matches!(from, Scope::Cylinder | Scope::ValveIntake | Scope::ValveExhaust | Scope::RodBearing);
    match site {
        RelativeSite::Engine
        | RelativeSite::AnyBank
        | RelativeSite::AnyCylinder
        | RelativeSite::AnyPair
        | RelativeSite::AnyValve
        | RelativeSite::AnyCam
        | RelativeSite::AnyRodBearing
        | RelativeSite::AnyMainBearing
        | RelativeSite::AnyJournal => true,
        RelativeSite::ThisPair
        | RelativeSite::ThisValve
        | RelativeSite::ThisCam
        | RelativeSite::ThisRodBearing
        | RelativeSite::ThisMainBearing
        | RelativeSite::ThisJournal => site.scopes().contains(&from),
        RelativeSite::ThisBank
        | RelativeSite::CylindersOfThisBank
        | RelativeSite::PairsOfThisBank
        | RelativeSite::ValvesOfThisBank => in_bank,
        RelativeSite::ThisCylinder
        | RelativeSite::ValvesOfThisCylinder
        | RelativeSite::IntakeValvesOfThisCylinder
        | RelativeSite::ExhaustValvesOfThisCylinder
        | RelativeSite::RodBearingOfThisCylinder
        | RelativeSite::PairsOfThisCylinder
        | RelativeSite::CamsOfThisCylinder => in_cylinder,
        RelativeSite::CamOfThisValve => matches!(from, Scope::ValveIntake | Scope::ValveExhaust),
    }
}

/// Complains of every condition that is, over its parents, a parent of itself.
fn lint_loops(conditions: &[Located<Condition>], out: &mut Vec<Complaint>) {
    let parents: BTreeMap<&str, Vec<&str>> =
        conditions.iter().map(|c| (c.id.as_str(), c.parents.iter().map(|l| l.condition.as_str()).collect())).collect();
    for condition in conditions {
        let mut seen = BTreeSet::new();
        let mut open = parents.get(condition.id.as_str()).cloned().unwrap_or_default();
        while let Some(next) = open.pop() {
            if seen.insert(next) {
                open.extend(parents.get(next).into_iter().flatten());
            }
        }
        if seen.contains(condition.id.as_str()) {
            out.push(condition.complaint(
                "parents",
                format!("{} is, over its parents, its own parent", condition.id),
                "cut one link of the ring",
            ));
        }
    }
}

fn lint_if_left(condition: &Located<Condition>, known: &Known, out: &mut Vec<Complaint>) {
    let wanted: BTreeSet<&str> = condition.states.iter().skip(1).map(String::as_str).collect();
    let found: BTreeSet<&str> = condition.if_left.iter().map(|left| left.state.as_str()).collect();
    if !(wanted == found || condition.helper && found.is_empty()) || found.len() != condition.if_left.len() {
        out.push(condition.complaint(
            "if_left",
            format!("speaks of [{}], expected [{}]", joined(&found), joined(&wanted)),
            "give one entry for every state but the mildest",
        ));
    }
    for left in &condition.if_left {
        let field = format!("if_left.{}", left.state);
        let good = |figure: Option<f64>| figure.is_some_and(|f| f.is_finite() && f > 0.0);
        let fits = match left.mode {
            LeftMode::Weibull => good(left.shape) && good(left.scale_miles),
            LeftMode::Immediate | LeftMode::None => left.shape.is_none() && left.scale_miles.is_none(),
        };
        if !fits {
            out.push(condition.complaint(
                &field,
                "shape and scale_miles do not fit the mode",
                "give both above 0 for weibull, none for the others",
            ));
        }
        for id in &left.leads_to {
            resolves(
                condition,
                &format!("{field}.leads_to"),
                id,
                "condition or cause",
                known.conditions.contains_key(id) || known.causes.contains(id),
                out,
            );
        }
    }
}

fn lint_bands(check: &Located<Check>, name: &str, numeric: &Numeric, out: &mut Vec<Complaint>) {
    let field = format!("{name}.bands");
    let mut seen = BTreeSet::new();
    for band in &numeric.bands {
        kebab(check, &field, &band.id, out);
        if !seen.insert(band.id.as_str()) {
            out.push(check.complaint(&field, format!("{} stands twice", band.id), "give every band its own word"));
        }
    }
    let ends: Vec<Option<f64>> = numeric.bands.iter().map(|b: &Band| b.to).collect();
    let open_last = ends.last().is_some_and(Option::is_none);
    let cuts: Vec<f64> = ends.iter().flatten().copied().collect();
    if !open_last || cuts.len() + 1 != ends.len() || cuts.is_empty() {
        out.push(check.complaint(
            &field,
            "every band but the last needs an end, and the last none",
            "give `to` to all but the last of two bands or more",
        ));
    }
    if cuts.windows(2).any(|w| matches!(w, [a, b] if !is_better(numeric.worse, *a, *b))) {
        out.push(check.complaint(
            &field,
            "do not go from best to worst",
            "set the ends in the order in which it gets worse",
        ));
    }
}

/// Complains of a limit in another kind of unit, or with no edge on the side on which the reading gets worse.
fn lint_limit_fits(
    check: &Located<Check>,
    field: &str,
    numeric: &Numeric,
    unit: Option<Unit>,
    limit: &Located<limits::Limit>,
    out: &mut Vec<Complaint>,
) {
    if let (Some(own), Ok(other)) = (unit, Unit::from_symbol(&limit.unit))
        && own.dimension() != other.dimension()
        && numeric.normalise != Normalise::SpecOrBest
    {
        out.push(check.complaint(
            field,
            format!("{} is in {}, the reading in {}", limit.id, limit.unit, numeric.unit),
            "take a limit of the same kind of unit",
        ));
    }
    let edges = limit.edges();
    let edge = match numeric.worse {
        Worse::Higher => edges.high_reject,
        Worse::Lower => edges.low_reject,
    };
    if numeric.normalise == Normalise::Limit && edge.is_none() {
        out.push(check.complaint(
            field,
            format!("{} has no edge on the side on which the reading gets worse", limit.id),
            "take a limit that has one",
        ));
    }
}

fn lint_classes(block: &Located<Block>, out: &mut Vec<Complaint>) {
    let mut seen = BTreeSet::new();
    for class in &block.classes {
        kebab(block, "classes", class, out);
        if !seen.insert(class) {
            out.push(block.complaint("classes", format!("{class} stands twice"), "give every class its own word"));
        }
    }
    if block.classes.len() < 2 {
        out.push(block.complaint("classes", "needs two classes or more", "name them, mildest first"));
    }
    for class in block.classes.iter().skip(1) {
        if !block.members.iter().any(|m| m.class.values().any(|c| c == class)) {
            out.push(block.complaint(
                "classes",
                format!("nothing puts the block into {class}"),
                "have a member name it, or take it out",
            ));
        }
    }
}

/// A cause is taken away by something that has a price, or it is said why nothing besides the repair does it.
fn lint_remedies(cause: &Located<Cause>, known: &Known, out: &mut Vec<Complaint>) {
    let told = cause.no_remedy.as_ref().is_some_and(|why| !why.trim().is_empty());
    if told != cause.remedies.is_empty() {
        out.push(cause.complaint(
            "remedy",
            "needs either what takes the cause away or why nothing besides the repair does",
            "give one [[cause.remedy]] or more, or no_remedy, and not both",
        ));
    }
    for remedy in &cause.remedies {
        if remedy.what.trim().is_empty() {
            out.push(cause.complaint("remedy.what", "is empty", "say what is done"));
        }
        if !(remedy.cost.lo >= 0.0 && remedy.cost.hi >= remedy.cost.lo) {
            out.push(cause.complaint(
                "remedy.cost",
                "is no price from low to high",
                "give two figures, the lower first",
            ));
        }
        for operation in &remedy.operations {
            resolves(cause, "remedy.operations", operation, "operation", known.operations.contains(operation), out);
        }
        for one in &remedy.applies {
            let values = known.attributes.get(&one.attribute);
            if !one.any_of.iter().all(|v| values.is_some_and(|all| all.contains(v))) || one.any_of.is_empty() {
                out.push(cause.complaint(
                    "remedy.applies",
                    format!("{} {:?} is nothing an engine can be", one.attribute, one.any_of),
                    "mend the attribute or its values",
                ));
            }
        }
        sourced(cause, "remedy.source", &remedy.source, known, out);
    }
}

/// Complains of an example whose worked chance lies outside what it expects.
#[expect(clippy::too_many_arguments, reason = "one example in all its parts, called from two places")]
fn example_holds<T>(
    table: &Located<T>,
    field: &str,
    name: &str,
    draws: &[&[f64]],
    words: &[String],
    reaches: &str,
    [low, high]: [f64; 2],
    out: &mut Vec<Complaint>,
) {
    let Some(from) = words.iter().position(|word| word == reaches) else {
        out.push(table.complaint(
            field,
            format!("{name}: there is no {reaches}"),
            format!("name one of {}", words.join(", ")),
        ));
        return;
    };
    let chance: f64 = worst_of(draws).iter().skip(from).sum();
    if !(low..=high).contains(&chance) {
        out.push(table.complaint(
            field,
            format!("{name}: worked out {chance:.4}, expected between {low} and {high}"),
            "mend the figures, or the expectation if the trade says so",
        ));
    }
}
