//! A judged job on paper: the rows of a [`Case`] in the sequence a technician asks for them.

use std::io;

use knowledge::Knowledge;
use logbook::JobState;
use quantity::Verdict;
use workup::asking;
use workup::series::severity;
pub(crate) use workup::words::count;
use workup::words::per_cent;
use workup::words::{of_engines, words};
use workup::{Belief, Case, CheckWorth, Finding, OptionLine, Reason, RiskLine};

use crate::desk::Job;
use crate::talk::{Talk, Tone, grouped};

/// How many rows each part has when not everything is asked for \[ours\].
const FEW: usize = 6;
/// How many checks are written out when not everything is asked for \[ours\].
const FEW_CHECKS: usize = 3;
/// How many reasons a belief has when not everything is asked for \[ours\].
const FEW_REASONS: usize = 3;
/// Questions to a seller shown without `--full`.
const ASKED: usize = 3;

/// A case and what it was made from, ready to be written.
#[derive(Debug)]
pub(crate) struct Sheet<'a> {
    /// Paper.
    pub(crate) talk: &'a Talk,
    /// The judged job.
    pub(crate) case: &'a Case,
    /// The job.
    pub(crate) job: &'a Job,
    /// The knowledge it was judged by.
    pub(crate) knowledge: &'a Knowledge,
    /// Whether everything is written.
    pub(crate) full: bool,
}

impl Sheet<'_> {
    /// Writes the whole work-up.
    pub(crate) fn write(&self) -> io::Result<()> {
        self.head()?;
        self.outside()?;
        self.findings()?;
        self.series()?;
        self.beliefs()?;
        self.checks()?;
        self.options()?;
        self.proof()?;
        self.bags()?;
        self.machine()?;
        self.date()?;
        self.committed()?;
        self.requests()?;
        self.notices()
    }

    fn rows(&self) -> usize {
        if self.full { usize::MAX } else { FEW }
    }

    fn state(&self) -> &JobState {
        &self.job.state
    }

    fn head(&self) -> io::Result<()> {
        let t = self.talk;
        t.line(&t.tone(Tone::Strong, &self.case.title), 0)?;
        t.line(&format!("{}; {}", self.case.engine, self.case.front), 0)?;
        let mut stages: Vec<_> =
            self.knowledge.stages.iter().filter(|s| self.state().stages_reached.contains(&s.id)).collect();
        stages.sort_by_key(|s| s.order);
        let reached: Vec<String> = stages.iter().map(|s| words(&s.id)).collect();
        let open = if reached.is_empty() {
            "engine closed as far as told".to_owned()
        } else {
            format!("reached: {}", reached.join(", "))
        };
        t.line(&open, 0)?;
        let version: String = self.case.knowledge.chars().take(8).collect();
        let line = format!(
            "job {}; {} entries, chain ends {}; knowledge {version}",
            self.case.job,
            self.job.entries.len(),
            self.job.tail()
        );
        t.line(&t.tone(Tone::Faint, &line), 0)?;
        let always: Vec<&String> =
            self.case.cautions.iter().filter(|c| !self.state().cautions_ticked.contains(*c)).collect();
        if !always.is_empty() {
            t.heading("BEFORE ANYTHING ELSE")?;
            for id in always {
                self.caution(id, 0)?;
            }
        }
        Ok(())
    }

    /// A caution in full, with its hold, where the work is.
    fn caution(&self, id: &str, indent: usize) -> io::Result<()> {
        let t = self.talk;
        let found = self.knowledge.cautions.iter().find(|c| c.id == id);
        let ticked = self.state().cautions_ticked.contains(id);
        let hold = found.is_some_and(|c| c.hold);
        let text = found.map_or_else(|| words(id), |c| c.text.clone());
        let sign = match (hold, ticked) {
            (true, false) => t.tone(Tone::Outside, "(!) HOLD:"),
            (true, true) => "(!) hold, ticked:".to_owned(),
            (false, _) => t.tone(Tone::Judgement, "(!)"),
        };
        let tick = if hold && !ticked { format!(" [tick: {id}]") } else { String::new() };
        t.line(&format!("{}{sign} {text}{tick}", " ".repeat(indent)), indent + 4)
    }

    /// The bags that the build still waits for, of how many.
    fn bags(&self) -> io::Result<()> {
        let (t, state) = (self.talk, self.state());
        let all = workup::bags::all(state).len();
        if all == 0 {
            return Ok(());
        }
        t.heading("BAGS OF SMALL PARTS")?;
        let open = workup::bags::open(state);
        if open.is_empty() {
            return t.line(&format!("  {}, every one emptied.", count(all, "bag", "bags")), 2);
        }
        for bag in &open {
            let stages = workup::bags::stages_of(bag, state, self.knowledge);
            let at = stages.first().map(|s| format!("; goes back in at {}", s.title)).unwrap_or_default();
            let words = bag.end.and_then(|end| end.words.as_ref()).map(|w| format!(" ({w})")).unwrap_or_default();
            let standing = bag.standing().words();
            let mark = t.tone(Tone::Strong, bag.mark);
            t.line(&format!("  {mark}: {}, {standing}{words}{at}", bag.holds()), 4)?;
        }
        t.line(&format!("  {} of {} emptied", all - open.len(), count(all, "bag", "bags")), 2)
    }

    /// What each approval allows, and what is used of it.
    fn committed(&self) -> io::Result<()> {
        let t = self.talk;
        let all = workup::committed::committed(self.state());
        if all.is_empty() {
            return Ok(());
        }
        t.heading("WHAT WAS APPROVED, AND WHAT IS USED OF IT")?;
        for one in &all {
            let used = one.used.map_or_else(|| "nothing".to_owned(), |m| m.to_string());
            let of = one.ceiling.map_or_else(|| "no yes is written down".to_owned(), |m| format!("of up to {m}"));
            let uncounted = one.lines.iter().filter(|l| l.uncounted.is_some()).count();
            let rest = match uncounted {
                0 => String::new(),
                n => format!("; {} not counted", count(n, "line", "lines")),
            };
            let tax = one.tax.map(|tax| format!(", tax of {tax} in it")).unwrap_or_default();
            t.line(&format!("  {}: {used} {of}{tax}{rest}", words(one.covers.word())), 4)?;
        }
        Ok(())
    }

    /// The questions for a yes that wait, and how each stands.
    fn requests(&self) -> io::Result<()> {
        let (t, state, today) = (self.talk, self.state(), crate::surroundings::today());
        let waits = asking::waiting_for_answer(state, today);
        if waits.is_empty() {
            return Ok(());
        }
        t.heading("WHAT IS ASKED AND NOT ANSWERED")?;
        for ask in waits {
            let code = ask.code.as_deref().map(|code| format!(", code {}", asking::shown(code))).unwrap_or_default();
            let standing = asking::standing(state, self.knowledge, Some(self.case), ask, today);
            let next = if matches!(standing, asking::Standing::Void { .. }) { "; ask again" } else { "" };
            let what = words(ask.covers.word());
            t.line(&format!("  {what}, up to {}{code}: {}{next}", ask.ceiling, standing.in_words()), 4)?;
        }
        Ok(())
    }

    fn outside(&self) -> io::Result<()> {
        let t = self.talk;
        let of = |word: &str| -> Vec<&workup::OutsideLine> {
            self.case.outside.iter().filter(|o| o.state == word).collect()
        };
        let (found, open, excluded) = (of("found"), of("open"), of("excluded"));
        if self.case.outside.is_empty() {
            return Ok(());
        }
        t.heading("IS IT THE ENGINE AT ALL?")?;
        for o in &found {
            t.line(
                &format!("  {} {} ({})", t.tone(Tone::Outside, "found:"), o.name, o.how.as_deref().unwrap_or("")),
                4,
            )?;
        }
        if open.is_empty() {
            t.line("  Nothing outside the engine is left open.", 2)?;
        } else {
            t.line(&format!("  {} not excluded yet; first:", count(open.len(), "outside fault", "outside faults")), 2)?;
        }
        let mut first = open.clone();
        first.sort_by(|a, b| a.minutes.total_cmp(&b.minutes));
        let few = if self.full { usize::MAX } else { 3 };
        for o in first.iter().take(few) {
            t.line(&format!("  ? {}: {} ({:.0} min)", o.name, o.check, o.minutes), 4)?;
            for caution in &o.cautions {
                self.caution(caution, 4)?;
            }
        }
        self.more(first.len(), few, "open")?;
        if !excluded.is_empty() {
            let names: Vec<&str> = excluded.iter().map(|o| o.name.as_str()).collect();
            t.line(&format!("  excluded: {}", names.join("; ")), 12)?;
        }
        Ok(())
    }

    fn more(&self, all: usize, shown: usize, what: &str) -> io::Result<()> {
        if all > shown {
            let line = format!("  ... and {} more {what}; --full shows them", all - shown);
            self.talk.line(&self.talk.tone(Tone::Faint, &line), 4)?;
        }
        Ok(())
    }

    fn findings(&self) -> io::Result<()> {
        let t = self.talk;
        let mut before: Vec<&Finding> = self.case.findings.iter().filter(|f| !f.after_repair).collect();
        let mut after: Vec<&Finding> = self.case.findings.iter().filter(|f| f.after_repair).collect();
        t.heading("WHAT WAS FOUND, WORST FIRST")?;
        if before.is_empty() {
            t.line("  No readings yet.", 2)?;
        }
        for (list, title) in [(&mut before, ""), (&mut after, "  As left, on arrived parts and after the repair:")] {
            if list.is_empty() {
                continue;
            }
            if !title.is_empty() {
                t.line(title, 4)?;
            }
            // Figures before looks of one rank: a look that is merely not the best one waits behind a measured limit.
            list.sort_by_key(|f| (severity(f.verdict), f.value.is_none()));
            let sound = list.iter().filter(|f| f.verdict == Verdict::Inside).count();
            let odd = list.len() - sound;
            let rows = if self.full { usize::MAX } else { FEW + 2 };
            let groups = self.grouped(list);
            for group in groups.iter().take(rows) {
                self.findings_together(group)?;
            }
            if !self.full {
                let shown: usize = groups.iter().take(rows).map(Vec::len).sum();
                self.more(odd, shown, "not inside")?;
                if sound > 0 {
                    t.line(
                        &format!(
                            "  {}  {} of {}",
                            t.mark(Verdict::Inside),
                            sound,
                            count(list.len(), "reading", "readings")
                        ),
                        4,
                    )?;
                }
            }
        }
        Ok(())
    }

    /// Readings of one kind along the engine, those that ask for something first.
    fn series(&self) -> io::Result<()> {
        let t = self.talk;
        if self.case.series.is_empty() {
            return Ok(());
        }
        t.heading("ALONG THE ENGINE, WORST FIRST")?;
        let rows = self.rows();
        for s in self.case.series.iter().take(rows) {
            let after = if s.after_repair { ", after the repair" } else { "" };
            let what = s.name();
            t.line(&format!("  {}  {}{after}: {}", t.mark(s.verdict), t.tone(Tone::Strong, &what), s.words), 11)?;
        }
        self.more(self.case.series.len(), rows, "kinds of reading")
    }

    /// Findings of one reading, place and verdict stand together on a short sheet; each alone on a full one.
    fn grouped<'f>(&self, list: &[&'f Finding]) -> Vec<Vec<&'f Finding>> {
        let mut groups: Vec<Vec<&Finding>> = Vec::new();
        for f in list.iter().copied().filter(|f| self.full || f.verdict != Verdict::Inside) {
            let same = |g: &&mut Vec<&Finding>| {
                g.first().is_some_and(|o| {
                    (&o.check, &o.reading, o.position, o.verdict, o.whole_face)
                        == (&f.check, &f.reading, f.position, f.verdict, f.whole_face)
                })
            };
            match groups.iter_mut().find(same) {
                Some(group) if !self.full => group.push(f),
                Some(_) | None => groups.push(vec![f]),
            }
        }
        groups
    }

    /// One finding: mark and word, place and figure, then why, then what would help.
    pub(crate) fn finding(&self, f: &Finding) -> io::Result<()> {
        self.findings_together(&[f])
    }

    fn findings_together(&self, group: &[&Finding]) -> io::Result<()> {
        let t = self.talk;
        // The one furthest out speaks for the others.
        let out = |f: &&&Finding| f.p_inside.unwrap_or(1.0);
        let Some(f) = group.iter().min_by(|a, b| out(a).total_cmp(&out(b))) else { return Ok(()) };
        let figures: Vec<&str> = group.iter().map(|f| f.shown.as_str()).collect();
        let what = f.name();
        let place = if f.whole_face { format!("{}, all lines together", f.place) } else { f.place.clone() };
        t.line(
            &format!("  {}  {what}, {place}: {}", t.mark(f.verdict), t.tone(Tone::Strong, &figures.join(", "))),
            11,
        )?;
        if f.value.is_some() {
            let gauge = f.gauge.as_ref().map_or_else(|| "no gauge named".to_owned(), |g| format!("read with {g}"));
            t.line(&format!("           {}; {gauge}", f.reason), 11)?;
            if let Some(word) = &f.gauge_word {
                t.line(&format!("           ! {word}"), 13)?;
            }
        } else if self.full {
            t.line(&format!("           {}; by {}", f.reason, f.by), 11)?;
        }
        if let Some(next) = &f.next_move {
            t.line(&format!("           > {next}"), 13)?;
        }
        Ok(())
    }

    fn beliefs(&self) -> io::Result<()> {
        let t = self.talk;
        t.heading("WHAT IS BELIEVED, AND WHY")?;
        t.line("  Of engines like this one, with these readings:", 2)?;
        let causes: Vec<&Belief> = self.case.causes.iter().filter(|b| self.full || b.p >= 0.1).collect();
        t.line("  Why it failed", 2)?;
        if causes.is_empty() {
            t.line("    no cause stands out", 4)?;
        }
        for b in causes.iter().take(if self.full { usize::MAX } else { 4 }) {
            self.belief(b)?;
        }
        let helper = |id: &str| self.knowledge.condition(id).is_some_and(|c| c.helper);
        let conditions: Vec<&Belief> =
            self.case.conditions.iter().filter(|b| self.full || (b.p >= 0.1 && !helper(&b.id))).collect();
        t.line("  What is wrong with it", 2)?;
        if conditions.is_empty() {
            t.line("    nothing stands out", 4)?;
        }
        // What the readings moved comes before what every engine of this age has.
        let mut list = conditions.clone();
        if !self.full {
            list.sort_by(|a, b| moved(b).total_cmp(&moved(a)));
        }
        for b in list.iter().take(self.rows()) {
            self.belief(b)?;
        }
        self.more(list.len(), self.rows(), "conditions above 1 of 10")
    }

    fn belief(&self, b: &Belief) -> io::Result<()> {
        let t = self.talk;
        let place = if b.position.is_none_or(|p| p == anatomy::Position::Engine) {
            String::new()
        } else {
            format!(", {}", b.place)
        };
        t.line(
            &format!(
                "    {:>14}  {}{place}: {} (untested {})",
                of_engines(b.p),
                t.tone(Tone::Strong, &b.name),
                per_cent(b.p),
                per_cent(b.before)
            ),
            20,
        )?;
        let graded: Vec<String> = b
            .states
            .iter()
            .skip(1)
            .filter(|(_, p)| *p >= 0.02)
            .map(|(s, p)| format!("{} {}", words(s), per_cent(*p)))
            .collect();
        if b.states.len() > 2 && !graded.is_empty() {
            t.line(&format!("{:20}{}", "", graded.join(", ")), 20)?;
        }
        let mut reasons: Vec<&Reason> = b.reasons.iter().filter(|r| r.weight.abs() > 0.095).collect();
        reasons.sort_by(|a, b| b.weight.abs().total_cmp(&a.weight.abs()));
        let few = if self.full { usize::MAX } else { FEW_REASONS };
        for r in reasons.iter().take(few) {
            t.line(&format!("{:20}{:<13} {}", "", factor(r.weight), r.words), 34)?;
        }
        if reasons.len() > few {
            t.line(&format!("{:20}... {} more", "", count(reasons.len() - few, "reason", "reasons")), 20)?;
        }
        Ok(())
    }

    fn checks(&self) -> io::Result<()> {
        let t = self.talk;
        if let Some(ended) = workup::entering::ended(self.state()) {
            t.heading("CLOSED")?;
            return t.line(&format!("  {ended}. No check is offered."), 2);
        }
        let advice = &self.case.advice;
        if let Some(stop) = &advice.stop {
            t.heading("STOP")?;
            t.line(&format!("  {} {}.", t.tone(Tone::Outside, "(STOP)"), stop.words), 9)?;
            t.line(&format!("         {}", count(stop.checks_left, "check is left open", "checks are left open")), 9)?;
        } else {
            t.heading("WHAT TO CHECK NEXT")?;
        }
        let few = if self.full { usize::MAX } else { FEW_CHECKS };
        for (n, c) in advice.next.iter().take(few).enumerate() {
            self.check(n + 1, c)?;
        }
        self.more(advice.next.len(), few, "that pay")?;
        if !advice.last_chance.is_empty() {
            t.heading("LAST CHANCE BEFORE IT IS TAKEN APART")?;
            for name in &advice.last_chance {
                t.line(&format!("  - {name}"), 4)?;
            }
        }
        if self.full {
            if !advice.rest.is_empty() {
                t.heading("CHECKS THAT DO NOT PAY")?;
                for c in &advice.rest {
                    t.line(
                        &format!(
                            "  - {}, {}: costs {}, worth {}",
                            c.name,
                            place(c),
                            self.money(c.cost),
                            self.money(c.worth)
                        ),
                        4,
                    )?;
                }
            }
            if !advice.withheld.is_empty() {
                t.heading("CHECKS WITHHELD, AND WHY")?;
            }
        }
        let name = |id: &str| self.knowledge.check(id).map_or_else(|| words(id), |c| c.name.clone());
        if self.full {
            for w in &advice.withheld {
                t.line(&format!("  - {}: {}", name(&w.check), w.why), 4)?;
            }
        } else if !advice.withheld.is_empty() {
            t.heading("WITHHELD")?;
            let mut by_reason: Vec<(&str, Vec<String>)> = Vec::new();
            for w in &advice.withheld {
                match by_reason.iter_mut().find(|(why, _)| *why == w.why) {
                    Some((_, names)) => names.push(name(&w.check)),
                    None => by_reason.push((&w.why, vec![name(&w.check)])),
                }
            }
            for (why, names) in by_reason {
                let shown: Vec<&str> = names.iter().take(3).map(String::as_str).collect();
                let more = if names.len() > 3 { format!(" and {} more", names.len() - 3) } else { String::new() };
                t.line(&format!("  - {why}: {}{more}", shown.join("; ")), 4)?;
            }
        }
        Ok(())
    }

    /// One check worth doing, with its cautions where it is done.
    fn check(&self, n: usize, c: &CheckWorth) -> io::Result<()> {
        let t = self.talk;
        let access =
            if c.access_minutes > 0.0 { format!(" + {:.0} min to open", c.access_minutes) } else { String::new() };
        t.line(&format!("  {n}. {}, {}  [{}]", t.tone(Tone::Strong, &c.name), place(c), c.check), 5)?;
        t.line(
            &format!(
                "     {:.0} min{access}; worth {} after its own cost of {}; changes the choice in {}",
                c.minutes,
                self.money(c.ahead()),
                self.money(c.cost),
                of_engines(c.p_changes)
            ),
            5,
        )?;
        if let Some(together) = &c.together {
            t.line(&format!("     {}", together.in_words()), 5)?;
        }
        if let Some((second, lead)) = self.case.advice.lead().filter(|_| n == 1) {
            let lead = self.money(lead);
            t.line(&format!("     leads until it costs {lead} more; then {}, {}", second.name, place(second)), 5)?;
        }
        for caution in &c.cautions {
            self.caution(caution, 5)?;
        }
        let few = if self.full { usize::MAX } else { 4 };
        let mut outcomes: Vec<_> = c.outcomes.iter().filter(|o| o.p > 0.0005).collect();
        outcomes.sort_by(|a, b| b.p.total_cmp(&a.p));
        for o in outcomes.iter().take(few) {
            let stays = self.case.options.iter().find(|x| x.id == self.case.advice.best);
            let then = if o.then == self.case.advice.best
                && stays.is_none_or(|x| x.opens == o.opens && x.others == o.others)
            {
                "no change".to_owned()
            } else if o.opens.is_empty() {
                format!("then {}", self.option_name(&o.then))
            } else {
                format!("then {}, opening {}{}", self.option_name(&o.then), blocks(&o.opens), others(&o.others))
            };
            t.line(&format!("       if {} ({}): {then}", o.words, of_engines(o.p)), 10)?;
        }
        if outcomes.len() > few {
            t.line(&format!("       ... {} more outcomes", outcomes.len() - few), 10)?;
        }
        Ok(())
    }

    /// The name of a repair option.
    pub(crate) fn option_name(&self, id: &str) -> String {
        self.case.options.iter().find(|o| o.id == id).map_or_else(|| words(id), |o| o.name.clone())
    }

    /// Labour units as money where the rate is told.
    pub(crate) fn money(&self, units: f64) -> String {
        let rate = self.state().rates.labour_rate.as_ref();
        let told = rate.map(|m| (m.currency().code(), m.to_f64()));
        match told {
            Some((code, rate)) if (units * rate).abs() < 10.0 => format!("{code}\u{a0}{:.2}", units * rate),
            Some((code, rate)) => format!("{code}\u{a0}{}", grouped(units * rate)),
            None => format!("{units:.2} labour units"),
        }
    }

    fn options(&self) -> io::Result<()> {
        let t = self.talk;
        t.heading("WAYS TO PUT IT RIGHT")?;
        if self.state().rates.labour_rate.is_none() {
            t.line("  In labour units (one billed hour each): the hourly rate is not told yet.", 2)?;
        }
        if let Some(chosen) = &self.state().chosen {
            t.line(&format!("  chosen by {}: {} ({})", chosen.by, self.option_name(&chosen.option), chosen.reason), 4)?;
        }
        let open: Vec<&OptionLine> = self.case.options.iter().filter(|o| o.struck_out.is_none()).collect();
        for (n, o) in open.iter().take(self.rows()).enumerate() {
            self.option(n + 1, o)?;
        }
        self.more(open.len(), self.rows(), "options")?;
        for words in self.case.first_place.iter().flat_map(|f| &f.words) {
            t.line(&format!("  {words}"), 4)?;
        }
        self.hangs_on()?;
        for o in self.case.options.iter() {
            let Some(out) = &o.struck_out else { continue };
            t.line(
                &format!(
                    "  {} {}: {}",
                    t.tone(Tone::Outside, "-/-"),
                    t.tone(Tone::Faint, &format!("~{}~", o.name)),
                    out.why
                ),
                6,
            )?;
            if let Some(reading) = &out.reading {
                t.line(&format!("      ruled out by: {reading}"), 8)?;
            }
            if self.full {
                t.line(&format!("      otherwise {}", self.price(o)), 8)?;
            }
        }
        Ok(())
    }

    /// What the difference between the two options that lead hangs on, and how to know more about it.
    fn hangs_on(&self) -> io::Result<()> {
        let Some(hangs_on) = self.case.comparison.as_ref().and_then(|c| c.hangs_on.as_ref()) else { return Ok(()) };
        let t = self.talk;
        t.line(&format!("  {}; it hangs on:", hangs_on.words), 4)?;
        for hinge in hangs_on.on.iter().take(self.rows()) {
            t.line(&format!("    {}: {}  ({})", hinge.of_it, t.tone(Tone::Strong, &hinge.what), hinge.next), 6)?;
        }
        self.more(hangs_on.on.len(), self.rows(), "things")?;
        let Some(asks) = self.case.comparison.as_ref().and_then(|c| c.asks.as_ref()) else { return Ok(()) };
        t.line(&format!("  ask the customer: {}", asks.words), 4)
    }

    /// Whether the repair is proved, and what is missing.
    fn proof(&self) -> io::Result<()> {
        let proof = &self.case.proof;
        if proof.standing == workup::proof::Standing::NotAsked {
            return Ok(());
        }
        let t = self.talk;
        t.heading("IS IT PROVED?")?;
        let tone = if proof.standing == workup::proof::Standing::Proved { Tone::Strong } else { Tone::Outside };
        t.line(&format!("  {}: {}", t.tone(tone, proof.standing.words()), proof.reason), 4)?;
        let open: Vec<_> = proof.open().collect();
        for asked in open.iter().take(self.rows()) {
            t.line(&format!("  missing: {}, {}  [{}]", asked.name, asked.place, asked.check), 4)?;
        }
        self.more(open.len(), self.rows(), "missing proofs")?;
        for hold in proof.unanswered.iter().take(self.rows()) {
            t.line(&format!("  hold point open: {hold}"), 4)?;
        }
        self.more(proof.unanswered.len(), self.rows(), "open hold points")?;
        for hold in &proof.passed_open {
            t.line(&format!("  passed without proof: {}, {}: {}", hold.hold, hold.by, hold.reason), 4)?;
        }
        Ok(())
    }

    /// What machine shops say of their own work.
    fn machine(&self) -> io::Result<()> {
        if self.case.machine.is_empty() {
            return Ok(());
        }
        self.talk.heading("AS LEFT, BY THE WORD OF THE MACHINE SHOP")?;
        self.case.machine.iter().try_for_each(|back| self.back(back))
    }

    fn back(&self, back: &workup::machine::back::MachineBack) -> io::Result<()> {
        let t = self.talk;
        for line in &back.lines {
            let found = line.as_found.as_ref().map_or_else(String::new, |f| format!("found ({f}), "));
            let left = line.as_left.as_ref().map_or_else(|| words(line.result.word()), |f| format!("left at {f}"));
            let verdict = line.verdict.map_or("", workup::machine::back::word_of);
            let tone = if line.verdict == Some(Verdict::Outside) { Tone::Outside } else { Tone::Strong };
            let what = format!("{}, {}: {found}{left}", line.name, line.place);
            t.line(&format!("  {what}  {}", t.tone(tone, verdict)), 4)?;
            t.line(&format!("    order {} to {}; {}", back.code, back.shop, line.reason), 6)?;
            if let Some(next) = &line.next_move {
                t.line(&format!("    {next}"), 6)?;
            }
        }
        Ok(())
    }

    /// What sets the date, where something is on the way.
    fn date(&self) -> io::Result<()> {
        if workup::awaited::JobDate::of(self.state()).coming.is_empty() {
            return Ok(());
        }
        self.talk.heading("WHAT SETS THE DATE")?;
        self.date_lines()
    }

    fn date_lines(&self) -> io::Result<()> {
        use workup::awaited::{Coming, JobDate};
        let date = JobDate::of(self.state());
        let t = self.talk;
        if let Some((setter, day)) = date.sets() {
            let name = match setter.what {
                Coming::Part(part) => words(&part.part),
                Coming::Work(order) => format!("machine work {}", order.code),
            };
            t.line(
                &format!("  {name} from {} sets the date: {}", setter.from(), t.tone(Tone::Strong, &day.to_string())),
                4,
            )?;
        }
        for line in date.words(Some(crate::surroundings::today())) {
            t.line(&format!("  {line}"), 4)?;
        }
        Ok(())
    }

    /// What an entry of machine work gives cause to say: what belongs to an order, what came back, and the date.
    pub(crate) fn machine_of(&self, entry: anatomy::EntryId) -> io::Result<()> {
        let state = self.state();
        let sent = state.machine_orders.iter().find(|o| o.in_entry == entry);
        if let (Some(order), Some(layout)) = (sent, &state.layout) {
            for open in workup::machine::sequence::unordered(state, layout, self.knowledge, &order.body) {
                self.talk.line(&format!("  {}", open.words(layout)), 4)?;
            }
        }
        let back = self.case.machine.iter().find(|back| back.entry == entry.to_string());
        if let Some(back) = back {
            self.back(back)?;
        }
        let ordered = state.orders.iter().any(|o| o.in_entry == entry);
        let arrived = state.arrivals.iter().any(|a| a.in_entry == entry);
        if sent.is_some() || back.is_some() || ordered || arrived { self.date_lines() } else { Ok(()) }
    }

    fn price(&self, o: &OptionLine) -> String {
        match &o.money {
            Some(m) => format!("{}\u{a0}{} to {}", m.currency, grouped(m.price[0]), grouped(m.price[1])),
            None => format!("{:.1} to {:.1} units", o.price[0], o.price[1]),
        }
    }

    fn option(&self, n: usize, o: &OptionLine) -> io::Result<()> {
        let t = self.talk;
        let sign = if o.id == self.case.advice.best { "  (least on average)" } else { "" };
        t.line(&format!("  {n}. {}{sign}  [{}]", t.tone(Tone::Strong, &o.name), o.id), 5)?;
        let days = if o.days[0] >= o.days[1] {
            format!("{:.0} days", o.days[1])
        } else {
            format!("{:.0} to {:.0} days", o.days[0], o.days[1])
        };
        let expected = match &o.money {
            Some(m) => format!("{}\u{a0}{}", m.currency, grouped(m.expected)),
            None => format!("{:.1} units", o.expected),
        };
        let runs = o.p_trouble_free.map_or_else(String::new, |p| format!("; {} run trouble-free", of_engines(p)));
        if !o.opens.is_empty() {
            t.line(&format!("     opens {}{}", blocks(&o.opens), others(&o.others)), 7)?;
        }
        t.line(&format!("     now {}; {days}; to the horizon {expected} on average{runs}", self.price(o)), 5)?;
        if let Some((all, way)) = self.case.comparison.as_ref().and_then(|c| Some((c, c.way(&o.id)?))) {
            let [low, high] = way.cost.map(|cost| all.amount(cost));
            t.line(
                &format!(
                    "     4 times in 5 between {low} and {high}; the cheapest in the end in {}",
                    of_engines(way.cheapest)
                ),
                7,
            )?;
            if self.full {
                let [_, bad] = way.regrets.map(|more| all.amount(more));
                let mean = all.amount(way.regret);
                t.line(
                    &format!(
                        "     dearer than what turns out the cheapest: by {mean} on average, in the bad case by {bad}"
                    ),
                    7,
                )?;
            }
        }
        if self.full || n == 1 {
            t.line(&format!("     warranty: {}", o.warranty), 7)?;
            t.line(&format!("     price from: {}", o.price_from), 7)?;
            for (who, risks) in RiskLine::by_bearer(&o.risks) {
                let risks: Vec<String> = risks.into_iter().map(RiskLine::in_words).collect();
                t.line(&format!("     the {who} carries: {}", risks.join("; ")), 7)?;
            }
            if let Some(call) = self.case.calls.iter().find(|c| c.option == o.id) {
                t.line("     before money goes out, ask:", 7)?;
                let told = if self.full { call.questions.len() } else { ASKED };
                for question in call.questions.iter().take(told) {
                    let worth = if question.tells() {
                        format!(" (worth {})", self.money(question.worth))
                    } else {
                        String::new()
                    };
                    t.line(&format!("       - {}{worth}; good: {}", question.ask, question.good), 9)?;
                }
            }
        }
        if self.full {
            for (label, list) in
                [("renewed", &o.renewed), ("kept", &o.kept), ("of unknown history", &o.unknown_history)]
            {
                if !list.is_empty() {
                    let list: Vec<String> = list.iter().map(|w| words(w)).collect();
                    t.line(&format!("     {label}: {}", list.join(", ")), 7)?;
                }
            }
        }
        Ok(())
    }

    fn notices(&self) -> io::Result<()> {
        let t = self.talk;
        if self.case.notices.is_empty() {
            return Ok(());
        }
        t.heading("ABOUT THE RECORD")?;
        for n in self.case.notices.iter().take(self.rows()) {
            t.line(&format!("  - {}; {}", n.message, n.what_to_do), 4)?;
        }
        self.more(self.case.notices.len(), self.rows(), "notices")
    }
}

/// How far a belief moved, for the sequence on a short sheet.
fn moved(b: &Belief) -> f64 {
    (b.p - b.before).abs() + b.p / 10.0
}

/// Blocks in one line; their names hold commas.
fn blocks(names: &[String]) -> String {
    let small = |name: &String| {
        let mut letters = name.chars();
        letters.next().map_or_else(String::new, |first| first.to_lowercase().chain(letters).collect())
    };
    names.iter().map(small).collect::<Vec<_>>().join("; ")
}

/// What the other heads get, where they get something else.
fn others(name: &Option<String>) -> String {
    name.as_ref().map_or_else(String::new, |name| format!("; the other heads: {name}"))
}

fn place(c: &CheckWorth) -> String {
    if c.also.is_empty() { c.place.clone() } else { format!("{} (and {})", c.place, c.also.join("; ")) }
}

/// The weight of a reason as the factor by which it moves the odds.
fn factor(weight: f64) -> String {
    let x = weight.abs().exp();
    let side = if weight > 0.0 { "for" } else { "against" };
    match x {
        x if x > 1000.0 => format!("x1000+ {side}"),
        x if x >= 10.0 => format!("x{x:.0} {side}"),
        _ => format!("x{x:.1} {side}"),
    }
}
