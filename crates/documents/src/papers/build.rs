//! The build sheet: every stage in order, with its cautions at the stage, boxes to tick, hold points to sign, and the
//! engine's own figures or an empty line for them.

use std::collections::BTreeMap;

use knowledge::limits::AppliesTo;
use knowledge::workshop::{BuildStage, Hold, Signer};
use logbook::{Fact, HoldPointSigned, PartBagged};
use workup::bags::{self, Bag, Standing};
use workup::curing;
use workup::findings::Finding;
use workup::gates::{self, Answer, HoldPoint};
use workup::tightening::{self, HowFar};

use super::sheet::{Cell, Sheet};
use super::words::{Desk, capital, day, described, figure, minute, own, plain};
use crate::pictures::bolt_rosette;

/// Writes the build sheet.
pub(crate) fn write(sheet: &mut Sheet, desk: &Desk<'_>) {
    sheet.text(
        "Torque, angle, timing and clearances to build to come from the engine's own sheet or manual and from nowhere \
         else; where none is printed, write down what the manual says, with its page. Strike out what this job does \
         not open.",
    );
    sheet.text(format!("{}. {}.", desk.engine_identity(), capital(&desk.case.front)));
    for id in &desk.case.cautions {
        if let Some((text, hold)) = desk.caution(id) {
            sheet.caution(text, hold);
        }
    }
    let reach = &desk.case.reach;
    let named = |ids: &[String]| -> Vec<&BuildStage> {
        ids.iter().filter_map(|id| desk.knowledge.steps.iter().find(|s| s.id == *id)).map(|s| &s.value).collect()
    };
    let stages = named(&reach.stages);
    if stages.is_empty() {
        sheet.statement(
            "Nothing to build",
            "The work that is chosen so far opens nothing that has to be built up again.",
        );
    }
    stripes(sheet, desk);
    for (n, stage) in stages.iter().enumerate() {
        one_stage(sheet, desk, stage, n + 1);
    }
    let nowhere = |joint: &str| !stages.iter().any(|s| s.id == stage_of(joint));
    if desk.state.bolts.iter().any(|b| nowhere(&b.joint)) {
        sheet.heading("Other joints tightened");
        bolts(sheet, desk, &nowhere);
    }
    other_bags(sheet, desk, &stages);
    let (told, not_reached): (Vec<&BuildStage>, Vec<&BuildStage>) =
        named(&reach.left_out).into_iter().partition(|s| desk.state.stages_left_out.iter().any(|l| l.stage == s.id));
    not_touched(sheet, desk, &told);
    left_out(sheet, &not_reached);
    if !stages.is_empty() {
        keeps(sheet, desk);
    }
}

/// The stages that somebody says this work does not touch, with the name and the reason.
fn not_touched(sheet: &mut Sheet, desk: &Desk<'_>, stages: &[&BuildStage]) {
    if stages.is_empty() {
        return;
    }
    let said = |stage: &&BuildStage| {
        let told = desk.state.stages_left_out.iter().rfind(|l| l.stage == stage.id)?;
        Some(format!("{}: {} ({}, {})", stage.title, told.reason, told.by, day(&told.made_at)))
    };
    sheet.heading("Not touched");
    sheet.list(stages.iter().filter_map(said).collect());
}

/// What is not on the sheet, so that nobody takes it for done.
fn left_out(sheet: &mut Sheet, stages: &[&BuildStage]) {
    if stages.is_empty() {
        return;
    }
    let titles: Vec<&str> = stages.iter().map(|s| s.title.as_str()).collect();
    sheet.heading("Not on this sheet");
    sheet.text(format!(
        "The work that is chosen and told does not reach these stages: {}. Whoever opens one of them after all tells it \
         (the stage of strip-down, a machine order, a joint disturbed) and prints this sheet anew before building on.",
        titles.join("; ")
    ));
}

/// How far the bolts of each joint are, so that whoever goes on knows where.
fn stripes(sheet: &mut Sheet, desk: &Desk<'_>) {
    let joints = tightening::joints(desk.state);
    if joints.is_empty() {
        return;
    }
    sheet.heading("Bolts, how far");
    let rows = joints.into_iter().map(|(joint, at)| {
        let bolts = desk.state.bolt_stages(&joint, at);
        let how = tightening::how_far(desk.state, &joint, at);
        let done = matches!(how, HowFar::Done | HowFar::Proved);
        let lowest = bolts.values().min().filter(|_| how == HowFar::Begun);
        let left = lowest.map(|s| format!(", the least at stage {s}")).unwrap_or_default();
        let last = bolts.values().max().map(|s| format!("{} at stage {s}", bolts.len())).unwrap_or_default();
        vec![
            Cell::tick(done),
            Cell::strong(format!("{}{}", capital(&plain(&joint)), desk.also_at(at))),
            Cell::of(how.words()),
            Cell::of(format!("{last}{left}")),
        ]
    });
    let rows: Vec<Vec<Cell>> = rows.collect();
    sheet.table(&[("Done", None), ("Joint", Some(2.2)), ("How far", Some(1.6)), ("Bolts", Some(1.6))], rows);
}

fn one_stage(sheet: &mut Sheet, desk: &Desk<'_>, stage: &BuildStage, n: usize) {
    sheet.heading(format!("{n}. {}", stage.title));
    desk.cautions(sheet, &stage.caution_ids);
    // Before the steps, where it can still help.
    let mind: Vec<&str> =
        stage.warnings.iter().filter(|w| w.belongs(|n| desk.was_stated(n))).map(|w| w.words.as_str()).collect();
    if !mind.is_empty() {
        sheet.text(format!("Mind: {}.", mind.join(". ")));
    }
    steps(sheet, desk, stage);
    asked_back(sheet, desk, stage);
    caps(sheet, desk, stage);
    cures(sheet, desk, stage);
    bolts(sheet, desk, &|joint| stage_of(joint) == stage.id);
    if stage.harmless.is_none() {
        figures(sheet, desk, stage);
    }
    holds(sheet, desk, stage);
}

fn steps(sheet: &mut Sheet, desk: &Desk<'_>, stage: &BuildStage) {
    let rows: Vec<Vec<Cell>> = (1..)
        .zip(&stage.steps)
        .filter_map(|(n, step)| {
            let number = n.to_string();
            let told: Vec<_> = desk.state.steps_done.iter().filter(|s| curing::is_step(s, stage, n, step)).collect();
            // What another kind of engine does is left out, unless somebody did it.
            if told.is_empty() && !step.belongs(|name| desk.was_stated(name)) {
                return None;
            }
            let mut done: Vec<String> = told
                .iter()
                .map(|s| {
                    let place = desk.also_at(s.position);
                    let note = s.note.as_ref().map(|n| format!(": {n}")).unwrap_or_default();
                    format!("{}, {}{place}{note}", s.made_by, day(&s.made_at))
                })
                .collect();
            let ticked = !done.is_empty() || readings(desk, &step.reads).is_some_and(|t| t.good);
            if done.is_empty() {
                done.extend(readings(desk, &step.reads).map(|t| read_by(&t)));
                let bolts = step.bolts.as_ref().map(|j| desk.state.bolts.iter().filter(|b| b.joint == *j).count());
                done.extend(bolts.filter(|n| *n > 0).map(|_| "bolt by bolt, below".to_owned()));
            }
            let said = if done.is_empty() { Cell::line() } else { Cell::of(done.join("; ")) };
            Some(vec![Cell::tick(ticked), Cell::of(number), Cell::of(step.words.clone()), said])
        })
        .collect();
    sheet.table(&[("Done", None), ("Step", None), ("What", Some(3.2)), ("By, day", Some(1.8))], rows);
}

/// The readings after the work of some checks.
fn readings<'a>(desk: &Desk<'a>, reads: &[String]) -> Option<gates::Taken<'a>> {
    gates::taken(reads, &desk.case.findings, desk.layout, desk.knowledge)
}

/// Who read it and when, the last of them.
fn read_by(taken: &gates::Taken<'_>) -> String {
    taken.last.last().map(|f| format!("read by {}, {}", f.by, day(&f.at))).unwrap_or_default()
}

/// The bags that a stage asks back, each with a box.
fn asked_back(sheet: &mut Sheet, desk: &Desk<'_>, stage: &BuildStage) {
    let rows: Vec<Vec<Cell>> = bags::asked_at(desk.state, desk.knowledge, &stage.id)
        .iter()
        .map(|bag| one_bag(desk, bag, &|part| bags::stage_of(part, desk.state, desk.knowledge) == Some(stage)))
        .collect();
    bag_table(sheet, rows);
}

/// The bags that no stage of this sheet asks back.
fn other_bags(sheet: &mut Sheet, desk: &Desk<'_>, stages: &[&BuildStage]) {
    let all = bags::all(desk.state);
    let here = |bag: &&Bag<'_>| {
        !bags::stages_of(bag, desk.state, desk.knowledge).iter().any(|s| stages.iter().any(|other| other.id == s.id))
    };
    let rows: Vec<Vec<Cell>> = all.iter().filter(here).map(|bag| one_bag(desk, bag, &|_| true)).collect();
    if !rows.is_empty() {
        sheet.heading("Bags that no stage of this sheet asks for");
        bag_table(sheet, rows);
    }
}

fn bag_table(sheet: &mut Sheet, rows: Vec<Vec<Cell>>) {
    sheet.table(
        &[
            ("Back in", None),
            ("Bag", Some(0.7)),
            ("What lies in it", Some(2.2)),
            ("Missing, damaged, not used", Some(1.6)),
        ],
        rows,
    );
}

/// A bag with its box; of what lies in it the parts that are meant.
fn one_bag(desk: &Desk<'_>, bag: &Bag<'_>, meant: &dyn Fn(&PartBagged) -> bool) -> Vec<Cell> {
    let parts = bag.parts.iter().filter(|p| meant(p)).map(|p| {
        let said = [
            p.count.filter(|n| *n > 1).map(|n| n.to_string()),
            Some(bags::came_from(p, desk.state, desk.knowledge)).filter(|from| !from.is_empty()),
            p.marks.as_ref().map(|m| format!("marks: {m}")),
            bags::keeps_place(p, desk.knowledge),
        ];
        let said: Vec<String> = said.into_iter().flatten().collect();
        (capital(&desk.part_name(&p.part)), said.join("; "))
    });
    let (names, notes): (Vec<String>, Vec<String>) = parts.unzip();
    let notes: Vec<String> = notes.into_iter().filter(|n| !n.is_empty()).collect();
    let became = match (bag.standing(), bag.end) {
        (Standing::Out, _) | (_, None) => Cell::line(),
        (standing, Some(end)) => {
            let words = end.words.as_ref().map(|w| format!(": {w}")).unwrap_or_default();
            Cell {
                note: format!("{}, {}", end.made_by, day(&end.made_at)),
                ..Cell::of(format!("{}{words}", standing.words()))
            }
        }
    };
    vec![
        Cell::tick(!bag.standing().is_open()),
        Cell::strong(bag.mark),
        Cell { note: notes.join(". "), ..Cell::of(names.join("; ")) },
        became,
    ]
}

/// The caps of a stage with the number and the arrow that each was marked with when it came off; a line where nobody
/// wrote them down.
fn caps(sheet: &mut Sheet, desk: &Desk<'_>, stage: &BuildStage) {
    let Some(scope) = stage.caps else { return };
    let rows = desk.layout.positions(scope).into_iter().map(|place| {
        let bag = desk.state.bags.iter().rfind(|b| b.position == Some(place) && b.marks.is_some());
        let marks = bag.and_then(|b| b.marks.clone());
        let lay = bag.map(|b| format!("bag {}", b.bag)).unwrap_or_default();
        vec![
            Cell::of(capital(&desk.layout.label(&place))),
            marks.map_or_else(Cell::line, |marks| Cell { note: lay, ..Cell::of(marks) }),
            Cell::tick(false),
        ]
    });
    let rows: Vec<Vec<Cell>> = rows.collect();
    sheet.table(
        &[("Cap of", Some(1.6)), ("Number and arrow, as marked", Some(2.6)), ("On again the same way", Some(1.2))],
        rows,
    );
}

/// What cures, since when, and what it holds up; printed at the stage that put it on.
fn cures(sheet: &mut Sheet, desk: &Desk<'_>, stage: &BuildStage) {
    let clocks = curing::clocks(desk.state, desk.knowledge);
    let lines = clocks.iter().filter(|c| c.stage.id == stage.id).map(|c| {
        let holds = c.wait.holds_up.as_deref().unwrap_or("the next step");
        let (on, off) = (minute(&c.step.made_at), minute(&c.until));
        format!(
            "{} on since {on}: no {holds} before {off} UTC at the earliest; the tube decides",
            capital(&c.wait.what)
        )
    });
    sheet.list(lines.collect());
}

/// The engine's own figures for what the stage measures, else an empty line.
fn figures(sheet: &mut Sheet, desk: &Desk<'_>, stage: &BuildStage) {
    // A figure of the sheet that belongs to no hold point but to the stage by name, such as the torque of its bolts.
    let of_stage: Vec<String> =
        desk.state.sheet.iter().map(|f| f.item.clone()).filter(|i| i.starts_with(&stage.id)).collect();
    let mut fields: Vec<(String, Option<String>)> = Vec::new();
    for f in desk.own_figures(&of_stage, None) {
        fields.push((capital(&plain(&f.item)), Some(own(f))));
    }
    // Filling, starting and handing over tighten nothing.
    if stage.always {
        sheet.fields(fields);
        return;
    }
    fields.push(("Torque, angle, timing from the engine's manual, page".to_owned(), None));
    sheet.fields(fields);
}

/// The stage in which a joint is tightened: the one that fits it; rods are fitted with their pistons.
fn stage_of(joint: &str) -> String {
    if joint == "rods" { "pistons_fit".to_owned() } else { format!("{joint}_fit") }
}

/// What was tightened: for each joint and stage how many bolts, with what was set, and who.
fn bolts(sheet: &mut Sheet, desk: &Desk<'_>, joint: &impl Fn(&str) -> bool) {
    let mut groups: BTreeMap<(String, String, u16), Vec<u16>> = BTreeMap::new();
    let mut set: BTreeMap<(String, String, u16), String> = BTreeMap::new();
    for b in desk.state.bolts.iter().filter(|b| joint(&b.joint)) {
        let place = desk.also_at(b.position);
        let key = (b.joint.clone(), place, b.stage);
        let parts = [
            b.torque.as_ref().map(figure),
            b.angle.as_ref().map(figure),
            b.label.as_ref().map(|l| format!("wrench {l}")),
        ];
        let words = parts.into_iter().flatten().collect::<Vec<_>>().join(", ");
        groups.entry(key.clone()).or_default().push(b.bolt);
        set.insert(key, format!("{words}; {}, {}", b.made_by, day(&b.made_at)));
    }
    patterns(sheet, desk, joint);
    if groups.is_empty() {
        return;
    }
    let rows: Vec<Vec<Cell>> = groups
        .iter()
        .map(|(key, bolts)| {
            let mut numbers = bolts.clone();
            numbers.sort_unstable();
            numbers.dedup();
            vec![
                Cell::of(format!("{}{}", plain(&key.0), key.1)),
                Cell::of(key.2.to_string()),
                Cell::of(run(&numbers)),
                Cell::of(set.get(key).cloned().unwrap_or_default()),
            ]
        })
        .collect();
    sheet.table(
        &[("Bolts of", Some(1.4)), ("Stage", None), ("Bolts done", Some(1.0)), ("Set as recorded, by, day", Some(2.6))],
        rows,
    );
    let again: Vec<String> = desk
        .state
        .bolt_restarts
        .iter()
        .filter(|r| joint(&r.joint))
        .map(|r| {
            let place = desk.also_at(r.position);
            format!("Bolt {} of {}{place} started again with stage {}: {}", r.bolt, plain(&r.joint), r.stage, r.reason)
        })
        .collect();
    sheet.list(again);
}

/// The bolts of each joint where they stand, numbered as they are tightened.
fn patterns(sheet: &mut Sheet, desk: &Desk<'_>, joint: &impl Fn(&str) -> bool) {
    let mut told: Vec<(String, Option<anatomy::Position>)> = Vec::new();
    let touched = desk.state.bolts.iter().map(|b| (b.joint.clone(), b.position));
    let placed = desk.state.bolts_placed.iter().map(|p| (p.joint.clone(), p.position));
    for one in touched.chain(placed).filter(|(j, _)| joint(j)) {
        let covered = one.1.is_none() && told.iter().any(|(j, _)| *j == one.0);
        if !covered && !told.contains(&one) {
            told.push(one);
        }
    }
    for (id, at) in told {
        let Some(pattern) = tightening::pattern(desk.state, &id, at) else { continue };
        let name = format!("{}{}", plain(&id), desk.also_at(at));
        let svg = bolt_rosette(&pattern, &name, None);
        let alt = described(&svg);
        sheet.subheading(format!("Bolts of {name}, numbered as they are tightened"));
        let picture = sheet.picture(svg, alt, 0.6);
        sheet.pictures(vec![picture]);
        let wet: Vec<String> = pattern.wet().iter().map(u16::to_string).collect();
        let mut words = pattern.whose.words();
        if !wet.is_empty() {
            let bolts = if wet.len() == 1 { "bolt" } else { "bolts" };
            words.push_str(&format!(" Wet holes, sealer as the manual names it: {bolts} {}.", wet.join(", ")));
        }
        words.push_str(&match &pattern.threads {
            Some(threads) => format!(" Threads: {threads}."),
            None => " Threads dry or lubricated: look it up in the manual and write it here.".to_owned(),
        });
        sheet.text(words);
    }
}

/// Numbers as runs, such as `1 to 10`.
fn run(numbers: &[u16]) -> String {
    let mut runs: Vec<(u16, u16)> = Vec::new();
    for n in numbers {
        match runs.last_mut() {
            Some((_, last)) if *last + 1 == *n => *last = *n,
            Some(_) | None => runs.push((*n, *n)),
        }
    }
    let words = |(a, b): &(u16, u16)| if a == b { a.to_string() } else { format!("{a} to {b}") };
    runs.iter().map(words).collect::<Vec<_>>().join(", ")
}

fn holds(sheet: &mut Sheet, desk: &Desk<'_>, stage: &BuildStage) {
    let here = gates::of_stage(desk.state, &desk.stated, stage);
    if here.is_empty() {
        return;
    }
    sheet.subheading(format!("{}: hold points", stage.title));
    let rows: Vec<Vec<Cell>> = here.iter().map(|point| one_hold(desk, point)).collect();
    sheet.table(
        &[
            ("Signed", None),
            ("Hold point: write down", Some(2.2)),
            ("Measured", Some(1.2)),
            ("From the engine's manual", Some(1.7)),
            ("Signature", Some(1.9)),
        ],
        rows,
    );
}

fn one_hold(desk: &Desk<'_>, point: &HoldPoint<'_>) -> Vec<Cell> {
    let (stage, hold) = (point.stage, point.hold);
    let signed: Vec<&Fact<HoldPointSigned>> =
        desk.state.holds_signed.iter().filter(|h| h.stage == stage.id && h.hold == hold.record).collect();
    let open = desk.state.holds_open.iter().find(|h| h.stage == stage.id && h.hold == hold.record);
    let own_figure = desk.own_figures(&[hold.limits.as_slice(), &hold.manual].concat(), None);
    // A service limit is where a worn part goes out; what one builds to is another figure, and gets its line.
    let to_build: Vec<&logbook::EngineFigure> =
        own_figure.iter().copied().filter(|f| f.stands_for() != logbook::FigureFor::Service).collect();
    // A look has no figure: neither to be read nor to be looked up.
    let measures = !(hold.limits.is_empty() && hold.manual.is_empty() && hold.difference.is_none());
    let limit = match (to_build.is_empty(), own_figure.first()) {
        (false, _) => Cell::of(to_build.iter().map(|f| own(f)).collect::<Vec<_>>().join("; ")),
        (true, Some(service)) => Cell { note: own(service), ..Cell::line() },
        (true, None) if measures => Cell::line(),
        (true, None) => Cell::default(),
    };
    let mut measured: Vec<String> = signed
        .iter()
        .filter_map(|h| {
            let place = desk.also_at(h.position);
            let of = h.outer.as_ref().zip(h.inner.as_ref());
            let of = of.map(|(outer, inner)| format!(" ({} less {})", outer.text, inner.text)).unwrap_or_default();
            gates::value_of(h).map(|v| format!("{}{of}{place}", figure(&v)))
        })
        .collect();
    // What was read after the work stands here without being written twice.
    let taken = readings(desk, &hold.reads);
    if measured.is_empty() {
        measured.extend(taken.iter().map(|t| shown(desk, t)));
    }
    let mut by: Vec<String> = signed
        .iter()
        .map(|h| {
            let second = h.second.as_ref().map(|s| format!(" with {s}")).unwrap_or_default();
            format!("{}{second}, {}", h.by, day(&h.made_at))
        })
        .collect();
    by.dedup();
    if !point.open_at.is_empty() {
        by.push(format!("open: {}", point.open_at.join(", ")));
    }
    let read = taken.as_ref().filter(|t| point.by_reading(Some(t)));
    let signature = match (by.is_empty(), open) {
        (false, _) => Cell::of(by.join("; ")),
        (true, Some(o)) => Cell::of(format!("passed open by {}: {}", o.by, o.reason)),
        (true, None) if point.answer == Answer::Fitted => Cell::of(fitted(desk, hold)),
        (true, None) => match read {
            Some(taken) => Cell::of(read_by(taken)),
            None => Cell { line: true, text: signer(hold.sign).to_owned(), ..Cell::default() },
        },
    };
    let done = matches!(point.answer, Answer::Signed | Answer::Fitted) || read.is_some();
    vec![
        Cell::tick(done),
        Cell::strong(capital(&hold.record)),
        match (measured.is_empty(), &hold.difference) {
            (false, _) => Cell::of(measured.join("; ")),
            (true, Some([outer, inner])) => Cell { note: format!("{outer}, less {inner}"), ..Cell::line() },
            (true, None) if measures => Cell::line(),
            (true, None) => Cell::default(),
        },
        limit,
        signature,
    ]
}

/// Readings in one line, each with its place; of many the first and the last of their sizes.
fn shown(desk: &Desk<'_>, taken: &gates::Taken<'_>) -> String {
    /// Most readings that are written out one by one.
    const MOST: usize = 6;
    let engine = |f: &&Finding| f.position == anatomy::Position::Engine;
    if taken.last.len() <= MOST {
        let one = |f: &&Finding| format!("{}{}", f.shown, desk.also_at(Some(f.position).filter(|_| !engine(f))));
        return taken.last.iter().map(one).collect::<Vec<_>>().join("; ");
    }
    let mut sorted: Vec<&&Finding> = taken.last.iter().collect();
    sorted.sort_by(|a, b| a.value.unwrap_or_default().total_cmp(&b.value.unwrap_or_default()));
    match (sorted.first(), sorted.last()) {
        (Some(low), Some(high)) if low.value.is_some() => {
            format!("{} to {}, {} readings", low.shown, high.shown, sorted.len())
        }
        _ => format!("{} readings", sorted.len()),
    }
}

/// The part that answers a hold point, who fitted it and when.
fn fitted(desk: &Desk<'_>, hold: &Hold) -> String {
    let parts = desk.state.fitted.iter().filter(|f| hold.fitted.contains(&f.part));
    let words = parts.map(|f| format!("{} fitted, {}, {}", desk.part_name(&f.part), f.made_by, day(&f.made_at)));
    words.collect::<Vec<_>>().join("; ")
}

fn signer(sign: Signer) -> &'static str {
    match sign {
        Signer::Technician => "technician",
        Signer::SecondPerson => "second person",
        Signer::Owner => "owner",
    }
}

fn keeps(sheet: &mut Sheet, desk: &Desk<'_>) {
    sheet.heading("Parts that keep their place");
    let rows: Vec<Vec<Cell>> = desk
        .knowledge
        .keeps
        .iter()
        .filter(|k| !AppliesTo::spoken_against(&k.applies, |name| desk.was_stated(name)))
        .map(|k| {
            let may = if k.may_move { "may move" } else { "stays" };
            vec![Cell::of(capital(&k.part)), Cell::strong(may), Cell::of(k.words.clone())]
        })
        .collect();
    sheet.table(&[("Part", Some(1.5)), ("", None), ("Rule", Some(2.8))], rows);
    let rules: Vec<String> = desk
        .knowledge
        .rules
        .iter()
        .filter(|r| r.about == "orientation" || r.about == "tightening")
        .map(|r| r.words.clone())
        .collect();
    sheet.subheading("Way round and tightening");
    sheet.list(rules);
    let waits: Vec<String> = desk.knowledge.waits.iter().map(|w| format!("{}: {}", capital(&w.what), w.time)).collect();
    if !waits.is_empty() {
        sheet.subheading("Waiting times; the tube or the manual decides");
        sheet.list(waits);
    }
}
