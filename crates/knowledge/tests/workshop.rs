//! Limits, gauges and the workshop's tables: what the compiled-in files hold, and what the lints catch.
#![expect(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test stops at the first thing that is not as it should be"
)]

use knowledge::gauges::{Worth, lint_gauges};
use knowledge::limits::{AppliesTo, Band, Figure, Limit, LimitStage, lint_limits};
use knowledge::workshop::{
    DoneBy, HORIZON_MILES, Known, Operation, Order, RepairOption, Span, ids, lint_build, lint_caution_tables,
    lint_joints, lint_operations, lint_options, lint_references, lint_residues, lint_rules,
};
use knowledge::{Complaint, FileSet, Knowledge, LeftMode, read_tables};
use std::collections::{BTreeMap, BTreeSet};

fn builtin() -> Knowledge {
    Knowledge::builtin().unwrap_or_else(|error| panic!("{error}"))
}

fn known(k: &Knowledge) -> Known {
    Known {
        waits: k.known().waits,
        outcomes: k.known().outcomes,
        conditions: k.conditions.iter().map(|c| (c.id.clone(), c.states.clone())).collect(),
        causes: ids(&k.causes, |c| &c.id),
        checks: ids(&k.checks, |c| &c.id),
        stages: ids(&k.stages, |s| &s.id),
        blocks: k.blocks.iter().map(|b| (b.id.clone(), b.classes.clone())).collect(),
        limits: ids(&k.limits, |l| &l.id),
        gauges: ids(&k.gauges, |g| &g.id),
        cautions: ids(&k.cautions, |c| &c.id),
        sources: ids(&k.sources, |r| &r.id),
        joints: ids(&k.joints, |j| &j.id),
        parts: k.joints.iter().flat_map(|j| &j.value.parts).map(|p| p.id.clone()).collect(),
        operations: ids(&k.operations, |o| &o.id),
        attributes: k.attributes.iter().map(|a| (a.id.clone(), a.values.clone())).collect(),
    }
}

fn told(complaints: &[Complaint]) -> String {
    complaints.iter().map(|c| format!("{c}\n")).collect()
}

#[test]
fn the_compiled_in_files_hold_all_the_facts_that_were_gathered() {
    let k = builtin();
    let counts = [
        ("limits", k.limits.len(), 192),
        ("gauges", k.gauges.len(), 35),
        ("operations", k.operations.len(), 84),
        ("options", k.options.len(), 12),
        ("joints", k.joints.len(), 24),
        ("parts", k.joints.iter().map(|j| j.parts.len()).sum(), 64),
        ("build stages", k.steps.len(), 20),
        ("hold points", k.steps.iter().map(|s| s.holds.len()).sum(), 56),
        ("residues", k.residues.len(), 31),
        ("cautions", k.cautions.len(), 29),
        ("sources", k.sources.len(), 37),
    ];
    for (what, found, least) in counts {
        assert!(found >= least, "{what}: {found}, expected at least {least}");
    }
}

#[test]
fn the_compiled_in_files_have_nothing_to_complain_of() {
    let k = builtin();
    let known = known(&k);
    let tools = ids(&k.tools, |t| &t.id);
    let mut found = lint_limits(&k.limits, &known.cautions, &known.sources);
    found.extend(lint_gauges(&k.gauges, &known.limits, &tools, &known.sources));
    found.extend(lint_operations(&k.operations, &known));
    found.extend(lint_options(&k.options, &known));
    found.extend(lint_joints(&k.joints, &known));
    found.extend(lint_build(&k.steps, &known));
    found.extend(lint_caution_tables(&k.cautions, &known));
    found.extend(lint_residues(&k.residues, &k.places, &known));
    found.extend(lint_references(&k.sources));
    found.extend(lint_rules(&k.arrivals, &k.rules, &k.keeps, &k.waits, &known));
    assert!(found.is_empty(), "{}", told(&found));
}

#[test]
fn forty_limits_and_more_prove_themselves_on_a_sound_and_a_failed_reading() {
    let k = builtin();
    let proven = k.limits.iter().filter(|l| {
        let has = |band| l.examples.iter().any(|e| e.expect == band);
        has(Band::Good) && has(Band::Out)
    });
    assert!(proven.count() >= 40);
}

#[test]
fn no_assembly_clearance_may_be_printed_as_a_figure_to_build_to() {
    for limit in builtin().limits.iter().filter(|l| l.stage == LimitStage::Assembly) {
        assert!(limit.judge_only, "{}", limit.id);
    }
}

#[test]
fn a_head_is_tested_for_cracks_pressure_and_hardness_before_it_is_cut() {
    let k = builtin();
    let cut = k.operations.iter().find(|o| o.id == "head_resurface").unwrap();
    let first: Vec<&str> =
        cut.requires.iter().filter(|r| r.order == Order::Before && r.always).map(|r| r.operation.as_str()).collect();
    assert_eq!(first, ["head_crack_test", "head_pressure_test", "head_hardness_test"]);
}

#[test]
fn new_bearings_cure_no_pump_and_a_cut_face_cures_no_gasket() {
    let k = builtin();
    let cures = |op: &str| -> Vec<String> {
        k.operations.iter().find(|o| o.id == op).unwrap().cures.iter().map(|c| c.condition.clone()).collect()
    };
    assert_eq!(cures("rod_bearings"), ["rod-bearing"]);
    assert_eq!(cures("main_bearings"), ["main-bearing"]);
    assert_eq!(cures("head_resurface"), ["head-warp"]);
    assert!(cures("deck_prepare").is_empty());
    assert!(cures("head_refit").contains(&"gasket-cylinder-coolant".to_owned()));
}

#[test]
fn every_condition_with_a_class_of_its_own_is_cured_by_some_operation() {
    let k = builtin();
    let cured: BTreeSet<&str> =
        k.operations.iter().flat_map(|o| o.cures.iter().map(|c| c.condition.as_str())).collect();
    // Helpers carry influence only, and a joint that clamps unevenly is set right by what made it uneven.
    let not_mended = ["head-heat", "valve-contact", "oil-starvation", "joint-support", "rod-let-go"];
    for condition in k.conditions.iter().filter(|c| !not_mended.contains(&c.id.as_str())) {
        assert!(cured.contains(condition.id.as_str()), "{}", condition.id);
    }
}

// Half width 1 over root three is 0.577 (evaluation of bounds, NIST Technical Note 1297, 4.6). A straightedge with
// feelers in 0.001 in steps comes to 0.00039 in together: root of 0.00037 squared plus 0.000129 squared.
#[test]
fn a_straightedge_and_feelers_come_to_four_tenths_of_a_thousandth_inch_together() {
    let k = builtin();
    let u = |id: &str| k.gauge(id).unwrap().worked_u().unwrap();
    let together = u("feeler_std").hypot(u("straightedge"));
    assert!((together - 0.00039).abs() < 0.000_005, "{together}");
    assert_eq!(Worth::of_ratio(0.004 / (4.0 * together)), Worth::GuardBand);
}

#[test]
fn repeats_shrink_only_the_part_that_repeats() {
    let k = builtin();
    let gauge = k.gauge("leak_gauge").unwrap();
    // Budget: 1.5 repeats, 0.5 half division, 2.0 repeats. Four readings: root((1.5^2 + 2^2)/4 + 0.2887^2) = 1.283.
    assert!((gauge.u_of_mean(4).unwrap() - 1.283).abs() < 0.001);
    assert!(gauge.u_of_mean(0).is_none());
}

fn limit(text: &str) -> Limit {
    let files = FileSet::from_texts(&[("limits/a.toml", text)]);
    read_tables::<Limit>(&files, "limits", "limit").unwrap_or_else(|e| panic!("{e}")).remove(0).value
}

const PLAY: &str = r#"
[[limit]]
id = "play"
name = "Play"
group = "a"
unit = "in"
alternate_unit = "mm"
side = "range"
low_reject = { at = "0.001", alternate = "0.025" }
low_keep = { at = "0.002", alternate = "0.051" }
high_keep = { at = "0.004", alternate = "0.102" }
high_reject = { at = "0.006", alternate = "0.152" }
stage = "service"
basis = "room temperature"
confidence = "medium"
source = { kind = "common-practice" }
"#;

#[test]
fn a_value_on_an_edge_takes_the_better_band() {
    let play = limit(PLAY);
    let bands = [
        (0.0009, Band::Out),
        (0.001, Band::Marginal),
        (0.002, Band::Good),
        (0.004, Band::Good),
        (0.005, Band::Marginal),
        (0.006, Band::Marginal),
        (0.0061, Band::Out),
    ];
    for (value, band) in bands {
        assert_eq!(play.judge(value, None), Some(band), "{value}");
    }
    assert_eq!(play.judge(f64::NAN, None), None);
}

#[test]
fn a_figure_per_inch_of_bore_is_nothing_without_the_bore() {
    let k = builtin();
    let gap = k.limit("ring_gap_top").unwrap();
    assert!(gap.needs_size());
    assert_eq!(gap.judge(0.0156, None), None);
    // 88 mm is 3.465 in; 0.0045 in for each inch is 0.0156 in (worked example of the ring gap rule).
    assert_eq!(gap.judge(0.0156, Some(3.465)), Some(Band::Good));
    assert_eq!(gap.judge(0.0156, Some(-1.0)), None);
}

#[test]
fn a_wide_squish_is_never_a_reject() {
    let k = builtin();
    assert_eq!(k.limit("squish_gap").unwrap().judge(0.2, None), Some(Band::Marginal));
}

#[test]
fn a_wet_reading_is_given_a_meaning_and_no_verdict() {
    let k = builtin();
    let wet = k.limit("comp_wet_rise").unwrap();
    assert_eq!(wet.judge(40.0, None), None);
    assert_eq!(wet.meaning_of(40.0), Some("rings or bore suspected"));
}

#[test]
fn figures_keep_their_digits_and_refuse_what_is_no_number() {
    let figure = Figure::try_from("0.0030".to_owned()).unwrap();
    assert_eq!((figure.text(), figure.to_string().as_str()), ("0.0030", "0.0030"));
    assert!((figure.step() - 0.0001).abs() < 1e-12);
    for text in ["", "inf", "nan", "1e3", "1,5", " 1"] {
        assert!(Figure::try_from(text.to_owned()).is_err(), "{text:?}");
    }
}

#[test]
fn the_limit_lint_says_which_edge_is_wrong() {
    let cases = [
        (PLAY.replace("\"0.004\", alternate = \"0.102\"", "\"0.007\", alternate = \"0.178\""), "high_reject"),
        (PLAY.replace("0.152", "0.160"), "high_reject"),
        (PLAY.replace("side = \"range\"", "side = \"max\""), "low_reject"),
        (PLAY.replace("stage = \"service\"", "stage = \"assembly\""), "judge_only"),
        (PLAY.replace("{ kind = \"common-practice\" }", "{ kind = \"published\" }"), "source"),
        (PLAY.replace("basis", "cautions = [\"nobody\"]\nbasis"), "cautions"),
        (
            format!(
                "{PLAY}\n[[limit.example]]\nname = \"sound\"\ngiven = {{ reading = \"0.003\", unit = \"in\" }}\nexpect = \"out\"\n"
            ),
            "example",
        ),
    ];
    for (text, field) in cases {
        let files = FileSet::from_texts(&[("limits/a.toml", &text)]);
        let tables = read_tables::<Limit>(&files, "limits", "limit").unwrap();
        let found = lint_limits(&tables, &BTreeSet::new(), &BTreeSet::new());
        assert!(
            found.iter().any(|c| c.field == field && c.file == "limits/a.toml" && c.line == 2),
            "{field}: {}",
            told(&found)
        );
    }
}

#[test]
fn operations_that_ask_for_each_other_must_say_so() {
    // a asks for b, b for c, c for a.
    let one = |id: &str, other: &str| {
        format!(
            "[[operation]]\nid = \"{id}\"\nname = \"x\"\nper = \"engine\"\ndone_by = \"shop\"\nlabour = [1.0, 2.0]\nrequires = [{{ operation = \"{other}\", when = \"always\" }}]\nharmless = \"a test\"\nsource = {{ kind = \"from-memory\" }}\n"
        )
    };
    let text = one("a", "b") + &one("b", "c") + &one("c", "a");
    let files = FileSet::from_texts(&[("operations/a.toml", &text)]);
    let tables = read_tables::<Operation>(&files, "operations", "operation").unwrap();
    let known = Known { operations: ids(&tables, |o| &o.id), ..Known::default() };
    let found = lint_operations(&tables, &known);
    assert_eq!(found.iter().filter(|c| c.message.contains("loop")).count(), 3, "{}", told(&found));
}

#[test]
fn only_three_pairs_of_operations_ask_for_each_other() {
    let k = builtin();
    let pairs: BTreeSet<BTreeSet<&str>> =
        k.operations.iter().filter_map(|o| Some([o.id.as_str(), o.done_once_with.as_deref()?].into())).collect();
    let stated: [[&str; 2]; 3] =
        [["cam_new", "lifters_new"], ["crank_grind", "rod_bearings"], ["rings_new", "ridge_hone"]];
    assert_eq!(pairs, stated.map(BTreeSet::from).into());
}

#[test]
fn the_option_lint_misses_no_class_of_a_block() {
    let k = builtin();
    let mut options = k.options.clone();
    let known = known(&k);
    let fix = options.iter_mut().find(|o| o.id == "fix-failed-only").unwrap();
    fix.value.costs[0].class.remove("skim");
    fix.value.left[1].class.remove("machine");
    let found = lint_options(&options, &known);
    assert!(found.iter().any(|c| c.field == "cost") && found.iter().any(|c| c.field == "left"), "{}", told(&found));
}

#[test]
fn a_spread_is_rectangular() {
    let span = Span::new(2.0, 8.0).unwrap();
    assert!((span.mean() - 5.0).abs() < 1e-12);
    assert!((span.deviation() - 3f64.sqrt()).abs() < 1e-12);
    assert!(Span::new(2.0, 1.0).is_err() && Span::new(0.0, f64::INFINITY).is_err());
}

// Weibull course of a leaking seat: scale 18 000 miles, shape 1.8; over 36 000 miles 1 - exp(-2^1.8) = 0.969.
#[test]
fn doing_nothing_follows_the_course_of_the_conditions() {
    let k = builtin();
    let defer = option(&k, "defer-monitor");
    let head = defer.left.iter().find(|l| l.block == "head").unwrap();
    let all = head.chance("valve-work", HORIZON_MILES).unwrap();
    assert!((all - head.class["valve-work"]).abs() < 1e-12);
    assert!(all <= 0.969);
    assert!(head.chance("valve-work", 3_000.0).unwrap() < 0.1);
    assert!(head.chance("valve-work", 0.0).unwrap().abs() < 1e-12);
    assert!(head.chance("beyond", 3_000.0).unwrap() > 0.9);
    assert_eq!(head.chance("no such class", 1.0), None);
}

fn option<'a>(k: &'a Knowledge, id: &str) -> &'a RepairOption {
    &k.options.iter().find(|o| o.id == id).unwrap().value
}

/// One engine as found: class of each block instance, part states, how far it is open, the road still wanted of it.
struct Found {
    heads: Vec<&'static str>,
    bores: &'static str,
    crank: &'static str,
    parts: Vec<(&'static str, &'static str, f64)>,
    reached: &'static [&'static str],
    miles: f64,
    value: f64,
}

const IN_CAR: &[&str] = &[];
const HEADS_OFF: &[&str] = &["top-end-open", "block-open", "head-on-bench"];

/// Expected cost by the formula in the doc comment of `RepairOption`, for four-cylinder 16-valve heads.
fn expected(k: &Knowledge, option: &RepairOption, found: &Found) -> f64 {
    let growth = |g: Option<&knowledge::workshop::Growth>| {
        g.map_or(1.0, |g| {
            g.factor(match g.of.as_str() {
                "valves" => 16.0,
                "cylinders" => 4.0 * found.heads.len() as f64,
                other => panic!("{other}"),
            })
        })
    };
    let instances: Vec<(&str, &str)> = found
        .heads
        .iter()
        .map(|class| ("head", *class))
        .chain([("deck", "sound"), ("bores", found.bores), ("crank", found.crank), ("drive", "sound")])
        .collect();
    let mut stages: BTreeSet<&str> = option.access.iter().map(String::as_str).collect();
    let mut total = option.fixed.mean() * growth(option.fixed_growth.as_ref());
    total += option.fixed_per_head.map_or(0.0, Span::mean) * found.heads.len() as f64;
    for (block, class) in &instances {
        for cost in option.costs.iter().filter(|c| c.block == *block) {
            total += cost.class[*class].mean() * growth(cost.growth.as_ref());
            if *class != "sound" {
                stages.extend(cost.access.iter().map(String::as_str));
            }
        }
        for left in option.left.iter().filter(|l| l.block == *block) {
            total += left.chance(class, found.miles).unwrap() * left.comeback.mean();
        }
        for back in option.put_back.iter().filter(|p| p.block == *block && found.reached.contains(&p.stage.as_str())) {
            if back.classes.iter().any(|c| c == class) {
                total += back.cost.mean();
            }
        }
    }
    for stage in k.stages.iter().filter(|s| stages.contains(s.id.as_str()) && !found.reached.contains(&s.id.as_str())) {
        total += stage.access_minutes / 60.0;
    }
    for (condition, state, count) in &found.parts {
        let each = option.per_part.iter().find(|p| p.condition == *condition && p.state == *state);
        total += each.map_or(0.0, |p| p.cost.mean()) * count;
    }
    if let Some(residual) = &option.residual {
        total += residual.goes_wrong * residual.comeback.mean();
        if residual.car_lost {
            total += found.value * (1.0 - residual.share_kept.unwrap().mean());
        }
    }
    total
}

fn costs(k: &Knowledge, found: &Found) -> BTreeMap<String, f64> {
    let ruled = |o: &RepairOption| {
        o.ruled_out_by.iter().any(|r| found.parts.iter().any(|(c, s, _)| r.condition == *c && r.state == *s))
    };
    k.options.iter().filter(|o| !ruled(o)).map(|o| (o.id.clone(), expected(k, o, found))).collect()
}

fn best(costs: &BTreeMap<String, f64>) -> &str {
    costs.iter().min_by(|a, b| a.1.total_cmp(b.1)).map(|(id, _)| id.as_str()).unwrap()
}

#[test]
fn with_most_intakes_leaking_reconditioned_or_exchange_heads_beat_doing_nothing() {
    let k = builtin();
    for heads in [vec!["valve-work"], vec!["valve-work", "valve-work"]] {
        let found = Found {
            heads,
            bores: "sound",
            crank: "sound",
            parts: vec![],
            reached: HEADS_OFF,
            miles: HORIZON_MILES,
            value: 250.0,
        };
        let c = costs(&k, &found);
        assert!(["recondition-own-heads", "exchange-recon-heads"].contains(&best(&c)), "{c:?}");
        assert!(c["defer-monitor"] > 1.15 * c["recondition-own-heads"], "{c:?}");
    }
}

#[test]
fn with_a_soft_or_cracked_casting_exchange_heads_win() {
    let k = builtin();
    for (condition, state) in [("head-hardness", "softened"), ("head-crack", "not-repairable")] {
        let found = Found {
            heads: vec!["beyond"],
            bores: "sound",
            crank: "sound",
            parts: vec![(condition, state, 1.0)],
            reached: HEADS_OFF,
            miles: HORIZON_MILES,
            value: 250.0,
        };
        let c = costs(&k, &found);
        assert_eq!(best(&c), "exchange-recon-heads", "{c:?}");
        let own = expected(&k, option(&k, "recondition-own-heads"), &found);
        assert!(own > c["exchange-recon-heads"], "tests paid for nothing: {own} {c:?}");
    }
}

#[test]
fn with_many_loose_inserts_exchange_heads_beat_replacing_them_one_by_one() {
    let k = builtin();
    let found = Found {
        heads: vec!["insert-work"],
        bores: "sound",
        crank: "sound",
        parts: vec![("seat-insert-fit", "loose", 8.0)],
        reached: HEADS_OFF,
        miles: HORIZON_MILES,
        value: 250.0,
    };
    let c = costs(&k, &found);
    assert!(c["exchange-recon-heads"] < c["recondition-own-heads"], "{c:?}");
}

#[test]
fn with_a_spun_bearing_and_flakes_another_engine_or_an_overhaul_wins() {
    let k = builtin();
    for heads in [vec!["sound"], vec!["sound", "sound"], vec!["valve-work", "valve-work"]] {
        let found = Found {
            heads,
            bores: "rings",
            crank: "grind",
            parts: vec![("rod-bearing", "spun", 1.0)],
            reached: IN_CAR,
            miles: HORIZON_MILES,
            value: 400.0,
        };
        let c = costs(&k, &found);
        assert!(["exchange-reman-engine", "used-engine", "overhaul-own-shop"].contains(&best(&c)), "{c:?}");
    }
}

#[test]
fn a_tired_engine_that_still_runs_is_left_alone_when_the_car_is_about_to_be_sold() {
    let k = builtin();
    let near_sale = Found {
        heads: vec!["reseal"],
        bores: "rings",
        crank: "sound",
        parts: vec![("stem-seals", "hard", 1.0)],
        reached: IN_CAR,
        miles: 2_000.0,
        value: 250.0,
    };
    let c = costs(&k, &near_sale);
    assert!(["defer-monitor", "sealant-palliative"].contains(&best(&c)), "{c:?}");
    assert!(c["defer-monitor"] <= c["sealant-palliative"] + 1.0, "{c:?}");
}

#[test]
fn an_engine_with_nothing_wrong_is_left_alone() {
    let k = builtin();
    for heads in [vec!["sound"], vec!["sound", "sound"]] {
        let found = Found {
            heads,
            bores: "sound",
            crank: "sound",
            parts: vec![],
            reached: IN_CAR,
            miles: HORIZON_MILES,
            value: 250.0,
        };
        let c = costs(&k, &found);
        assert_eq!(best(&c), "defer-monitor", "{c:?}");
    }
}

// The rule of the trade: with the other head sound it pays to put right the one that failed; with both bad it does not
// pay to buy an engine while the bottom end is good.
#[test]
fn one_cracked_head_of_two_is_no_reason_to_change_the_engine() {
    let k = builtin();
    let found = Found {
        heads: vec!["beyond", "sound"],
        bores: "sound",
        crank: "sound",
        parts: vec![("head-crack", "not-repairable", 1.0)],
        reached: HEADS_OFF,
        miles: HORIZON_MILES,
        value: 400.0,
    };
    let c = costs(&k, &found);
    assert!(c["fix-failed-only"] < c["exchange-recon-heads"] && c["exchange-recon-heads"] < c["used-engine"], "{c:?}");
    assert!(["fix-failed-only", "part-used"].contains(&best(&c)), "{c:?}");
}

#[test]
fn a_used_engine_is_drawn_from_the_same_family_with_the_same_wear() {
    let k = builtin();
    let donor = option(&k, "used-engine").residual.as_ref().unwrap().donor.as_ref().unwrap();
    let shared: BTreeSet<&str> = donor.inherits.iter().map(|i| i.cause.as_str()).collect();
    assert_eq!(shared, BTreeSet::from(["weak-seat-family", "high-mileage"]));
    let left = option(&k, &donor.left_as);
    assert!(left.keeps_engine && left.left.iter().all(|l| l.comeback.mean() > 15.0));
    assert!(option(&k, "exchange-reman-engine").residual.as_ref().unwrap().donor.is_none());
}

#[test]
fn scrap_wins_only_when_the_car_is_worth_little() {
    let k = builtin();
    let found = |value| Found {
        heads: vec!["valve-work"],
        bores: "rings",
        crank: "sound",
        parts: vec![],
        reached: IN_CAR,
        miles: HORIZON_MILES,
        value,
    };
    assert_eq!(best(&costs(&k, &found(30.0))), "sell-or-scrap");
    assert_ne!(best(&costs(&k, &found(250.0))), "sell-or-scrap");
}

// Source:   the if_left courses of the conditions that put a block into a class (Weibull, shape and scale in miles)
// Value by: 1 - exp(-(36 000 / scale)^shape) of the quickest member of the class; 1 for a state that must not run
// Digits:   an upper bound, no tolerance needed beyond the cap of 0.99
#[test]
fn nothing_left_alone_comes_back_more_often_than_its_quickest_condition() {
    let k = builtin();
    for block in &k.blocks {
        for class in block.classes.iter().skip(1) {
            let mut quickest = 0.0_f64;
            for member in &block.members {
                let states = member.class.iter().filter(|(_, c)| *c == class).map(|(state, _)| state);
                let condition = k.condition(&member.condition).unwrap();
                for state in states {
                    let left = condition.if_left.iter().find(|l| l.state == *state);
                    quickest = quickest.max(left.map_or(0.0, |l| match (l.shape, l.scale_miles) {
                        (Some(shape), Some(scale)) => 1.0 - (-(HORIZON_MILES / scale).powf(shape)).exp(),
                        _ => f64::from(u8::from(l.mode == LeftMode::Immediate)),
                    }));
                }
            }
            for o in k.options.iter().filter(|o| o.keeps_engine && !o.renews(&block.id)) {
                for left in o.left.iter().filter(|l| l.block == block.id) {
                    assert!(
                        left.class[class] <= quickest.min(0.99) + 1e-9,
                        "{} {} {class}: {} over {quickest}",
                        o.id,
                        block.id,
                        left.class[class]
                    );
                }
            }
        }
    }
}

#[test]
fn the_gauge_lint_works_every_budget_out_again() {
    type Change = fn(&mut knowledge::Gauge);
    let k = builtin();
    let known = known(&k);
    let tools = ids(&k.tools, |t| &t.id);
    let changes: [(&str, Change); 5] = [
        ("component", |g| g.components[0].u *= 1.1),
        ("u", |g| g.u = Some(0.1)),
        ("expanded", |g| g.expanded = g.u),
        ("fit.ratio", |g| g.fits[0].ratio = Some(9.9)),
        ("fit.limit", |g| g.fits[0].limit = "nothing".into()),
    ];
    for (field, change) in changes {
        let mut gauges = k.gauges.clone();
        change(&mut gauges[0].value);
        let found = lint_gauges(&gauges, &known.limits, &tools, &known.sources);
        assert!(found.iter().any(|c| c.field == field), "{field}: {}", told(&found));
    }
}

#[test]
fn the_workshop_lints_follow_every_reference() {
    let k = builtin();
    let known = known(&k);
    let mut stages = k.steps.clone();
    stages[0].value.holds[1].limits = vec!["nothing".into()];
    stages[1].value.caution_ids.clear();
    let found = lint_build(&stages, &known);
    assert!(
        found.iter().any(|c| c.field == "hold.limits") && found.iter().any(|c| c.field == "caution_ids"),
        "{}",
        told(&found)
    );

    let mut residues = k.residues.clone();
    residues[0].value.likely[0].p += 0.1;
    residues[1].value.next.push("nothing".into());
    let found = lint_residues(&residues, &k.places, &known);
    assert!(found.iter().any(|c| c.field == "likely") && found.iter().any(|c| c.field == "next"), "{}", told(&found));

    let mut operations = k.operations.clone();
    let refit = operations.iter_mut().find(|o| o.id == "head_refit").unwrap();
    refit.value.cautions.clear();
    refit.value.cures[0].states.push("sealing".into());
    let found = lint_operations(&operations, &known);
    assert!(
        found.iter().any(|c| c.field == "cautions") && found.iter().any(|c| c.message.contains("sound state")),
        "{}",
        told(&found)
    );
}

#[test]
fn work_that_can_hurt_names_cautions_that_hold_the_work_back() {
    let k = builtin();
    for id in ["petrol-rail-pressure", "gas-fuel", "refrigerant-lines", "diesel-runaway"] {
        assert!(k.cautions.iter().any(|c| c.id == id && c.hold), "{id}");
        assert!(k.operations.iter().any(|o| o.cautions.iter().any(|c| c == id)), "{id} stands on no operation");
    }
    let start = k.steps.iter().find(|s| s.id == "first_start").unwrap();
    assert!(start.caution_ids.iter().any(|c| c == "exhaust-gas"));
}

proptest::proptest! {
    #[test]
    fn moving_further_out_never_makes_a_reading_better(value in 0.004_f64..0.02, further in 0.0_f64..0.02) {
        let play = limit(PLAY).edges();
        proptest::prop_assert!(play.band(value + further) >= play.band(value));
    }
}

#[test]
fn every_figure_of_an_option_whatever_is_found_is_one_line_of_it() {
    let k = builtin();
    let known = known(&k);
    let mut options = k.options.clone();
    let recon = options.iter_mut().find(|o| o.id == "recondition-own-heads").unwrap();
    recon.value.items.retain(|i| !i.operations.iter().any(|o| o == "head_refit"));
    let found = lint_options(&options, &known);
    assert!(found.iter().any(|c| c.field == "items" && c.message.contains("fixed_per_head")), "{}", told(&found));
    assert!(found.iter().any(|c| c.message.contains("head_refit is paid by no line")), "{}", told(&found));

    let mut options = k.options.clone();
    let recon = options.iter_mut().find(|o| o.id == "recondition-own-heads").unwrap();
    recon.value.costs[0].work.push("head_refit".into());
    recon.value.items[0].parts.push("nothing".into());
    let found = lint_options(&options, &known);
    assert!(found.iter().any(|c| c.message.contains("head_refit is paid 2 times")), "{}", told(&found));
    assert!(found.iter().any(|c| c.field == "items.parts"), "{}", told(&found));
}

#[test]
fn what_is_opened_is_closed_by_a_stage_of_the_build() {
    let k = builtin();
    let known = known(&k);
    let mut stages = k.steps.clone();
    for stage in &mut stages {
        stage.value.closes.retain(|j| j != "rods");
    }
    let found = lint_build(&stages, &known);
    assert!(
        found.iter().any(|c| c.field == "closes" && c.message.contains("no stage closes rods")),
        "{}",
        told(&found)
    );

    let mut stages = k.steps.clone();
    for stage in &mut stages {
        stage.value.makes.retain(|j| j != "rods");
    }
    stages[0].value.makes.push("nothing".into());
    let found = lint_build(&stages, &known);
    assert!(found.iter().any(|c| c.field == "makes" && c.message.contains("no stage makes rods")), "{}", told(&found));
    assert!(found.iter().any(|c| c.field == "makes" && c.message.contains("nothing")), "{}", told(&found));

    let mut stages = k.steps.clone();
    let mains = stages.iter_mut().find(|s| s.id == "mains_fit").unwrap();
    mains.value.closes.clear();
    let fit = stages.iter_mut().find(|s| s.id == "head_fit").unwrap();
    fit.value.closes.push("nothing".into());
    fit.value.after.push("nothing".into());
    let found = lint_build(&stages, &known);
    assert!(found.iter().any(|c| c.message.contains("no work reaches this stage")), "{}", told(&found));
    assert!(found.iter().any(|c| c.field == "closes" && c.message.contains("nothing")), "{}", told(&found));
    assert!(found.iter().any(|c| c.field == "after"), "{}", told(&found));

    let mut options = k.options.clone();
    let fix = options.iter_mut().find(|o| o.id == "fix-failed-only").unwrap();
    fix.value.costs[0].opens.clear();
    fix.value.per_part[0].opens.push("nothing".into());
    let found = lint_options(&options, &known);
    assert!(found.iter().any(|c| c.field == "cost.opens"), "{}", told(&found));
    assert!(found.iter().any(|c| c.field == "per_part.opens"), "{}", told(&found));

    let mut all = k.clone();
    all.stages.iter_mut().find(|s| s.id == "block-open").unwrap().value.opens.clear();
    let found = all.lint();
    assert!(found.iter().any(|c| c.field == "opens" && c.message.contains("opens no joint")), "{}", told(&found));
}

#[test]
fn parts_belong_to_engines_and_what_nobody_told_takes_none_off() {
    use knowledge::limits::AppliesTo;
    let k = builtin();
    let part = |id: &str| k.joints.iter().flat_map(|j| &j.value.parts).find(|p| p.id == id).unwrap();
    let (chain, belt) = (part("chain_kit"), part("belt_kit"));
    let off = |part: &knowledge::workshop::Part, drive: Option<&'static str>| {
        AppliesTo::spoken_against(&part.applies, |name| if name == "timing-drive-type" { drive } else { None })
    };
    assert!(!off(chain, Some("chain")) && off(belt, Some("chain")));
    assert!(off(chain, Some("belt")) && !off(belt, Some("belt")));
    assert!(off(chain, Some("gear")) && off(belt, Some("gear")));
    for untold in [None, Some("unknown")] {
        assert!(!off(chain, untold) && !off(belt, untold));
        let open = AppliesTo::to_be_settled(&chain.applies, |_| untold);
        assert_eq!(open, ["timing-drive-type"]);
    }
    assert!(AppliesTo::to_be_settled(&chain.applies, |_| Some("chain")).is_empty());

    let known = known(&k);
    let mut joints = k.joints.clone();
    let drive = joints.iter_mut().find(|j| j.id == "timing_drive").unwrap();
    drive.value.parts[0].applies[0].any_of = vec!["string".into()];
    drive.value.parts[1].applies[0].attribute = "nothing".into();
    let found = lint_joints(&joints, &known);
    let bad: Vec<&str> = found.iter().filter(|c| c.field == "part.applies").map(|c| c.message.as_str()).collect();
    assert!(bad.len() == 2 && bad.iter().any(|m| m.contains("no value string")), "{}", told(&found));
}

#[test]
fn an_engine_with_wet_liners_stops_at_their_protrusion_and_asks_the_manual_for_it() {
    let k = builtin();
    let holds = || k.steps.iter().filter(|s| s.closes.iter().any(|j| j == "head")).flat_map(|s| &s.holds);
    let hold = holds().find(|h| h.manual.iter().any(|m| m == "liner_protrusion_check")).unwrap();
    assert!(hold.limits.is_empty(), "no fallback judges what one builds to");
    let engine = |liner: &'static str| move |name: &str| (name == "liner").then_some(liner);
    assert!(!AppliesTo::spoken_against(&hold.applies, engine("wet")));
    assert!(
        AppliesTo::spoken_against(&hold.applies, engine("none"))
            && AppliesTo::spoken_against(&hold.applies, engine("dry"))
    );
    for of in ["rod clearance each", "clearance every journal"] {
        let hold = k.steps.iter().flat_map(|s| &s.holds).find(|h| h.record == of).unwrap();
        assert_eq!(hold.manual, ["bearing_clr_used"], "{of}: what a manual gives is a size, not a size per inch");
    }

    let known = known(&k);
    let mut stages = k.steps.clone();
    stages[1].value.holds[0].manual = vec!["nothing".into()];
    let found = lint_build(&stages, &known);
    assert!(found.iter().any(|c| c.field == "hold.manual"), "{}", told(&found));
}

#[test]
fn what_one_kind_of_valve_gear_wants_stands_on_no_other() {
    let k = builtin();
    let engine = |follower: &'static str, gear: &'static str| {
        move |name: &str| match name {
            "follower-type" => Some(follower),
            "valvetrain" => Some(gear),
            _ => None,
        }
    };
    let lines = |engine: &dyn Fn(&str) -> Option<&'static str>| -> String {
        let steps = k.steps.iter().flat_map(|s| s.steps.iter().chain(&s.warnings));
        let keeps = k.keeps.iter().filter(|k| !AppliesTo::spoken_against(&k.applies, engine)).map(|k| k.part.as_str());
        let words = steps.filter(|i| i.belongs(engine)).map(|i| i.words.as_str());
        words.chain(keeps).map(|w| format!("{}\n", w.to_lowercase())).collect()
    };
    let flat = lines(&engine("flat", "ohv"));
    assert!(
        flat.contains("2000 and 2500 rpm") && flat.contains("flat tappet with its lobe") && flat.contains("pushrod")
    );
    assert!(!flat.contains("guide bar") && !flat.contains("roller lifter"));
    let overhead = lines(&engine("direct-bucket", "ohc"));
    for other in ["2000 and 2500 rpm", "flat tappet", "guide bar", "pushrod", "roller lifter"] {
        assert!(!overhead.contains(other), "{other} on an overhead camshaft with buckets");
    }
    let untold = lines(&|_: &str| None);
    assert!(
        untold.contains("2000 and 2500 rpm") && untold.contains("guide bar"),
        "what nobody told takes nothing away"
    );

    let known = known(&k);
    let mut stages = k.steps.clone();
    stages[0].value.steps[0].applies = vec![AppliesTo { attribute: "nothing".into(), any_of: vec!["flat".into()] }];
    let found = lint_build(&stages, &known);
    assert!(found.iter().any(|c| c.field == "steps"), "{}", told(&found));
}

#[test]
fn bolts_that_stretch_carry_their_caution_wherever_they_are_tightened() {
    let k = builtin();
    let near_yield = k.cautions.iter().find(|c| c.tightening).unwrap();
    for words in ["eye protection", "scrap unless the engine's manual", "stop"] {
        assert!(near_yield.text.contains(words), "{words}");
    }
    assert!(!near_yield.text.chars().any(|c| c.is_ascii_digit()), "a torque or an angle belongs to the manual");
    let stages =
        k.steps.iter().filter(|s| ["mains_fit", "pistons_fit", "head_fit", "re_torque"].contains(&s.id.as_str()));
    for stage in stages {
        assert!(stage.caution_ids.contains(&near_yield.id), "{}", stage.id);
    }
    let own = |o: &&knowledge::Located<Operation>| {
        o.done_by == DoneBy::Shop && o.opens.iter().any(|j| j == "rods" || j == "mains")
    };
    for operation in k.operations.iter().filter(own) {
        assert!(operation.cautions.contains(&near_yield.id), "{}", operation.id);
    }
}

#[test]
fn every_option_says_who_carries_what_and_forgets_nothing_that_it_shows() {
    use knowledge::workshop::Risk;
    let k = builtin();
    let known = known(&k);
    let said_of = |id: &str, change: &dyn Fn(&mut RepairOption)| {
        let mut options = k.options.clone();
        change(&mut options.iter_mut().find(|o| o.id == id).unwrap().value);
        told(&lint_options(&options, &known))
    };
    assert_eq!(said_of("exchange-recon-heads", &|_| {}), "");
    let without = said_of("exchange-recon-heads", &|o| o.risks.retain(|c| c.risk != Risk::Deposit));
    assert!(without.contains("does not say who pays when the deposit on the old part is kept"), "{without}");
    let without = said_of("fix-failed-only", &|o| o.risks.retain(|c| c.risk != Risk::KeptFails));
    assert!(without.contains("does not say who pays when what was kept fails"), "{without}");
    let twice = said_of("used-engine", &|o| o.risks.push(o.risks[0].clone()));
    assert!(twice.contains("says twice who pays when more is found once it is open"), "{twice}");
    let mute = said_of("new-heads", &|o| o.risks[0].words = " ".to_owned());
    assert!(mute.contains("does not say how far, when more is found once it is open"), "{mute}");
}

#[test]
fn call_sheets_ask_about_options_that_there_are_in_chances_and_prices() {
    use knowledge::workshop::{CallSheet, lint_calls};
    let k = builtin();
    assert_eq!(told(&lint_calls(&k.calls, &k.options)), "");
    assert!(k.calls.iter().all(|c| c.questions.len() >= 6), "a sheet for a call, not for a nod");
    let said_of = |change: &dyn Fn(&mut CallSheet)| {
        let mut calls = k.calls.clone();
        change(&mut calls[0].value);
        told(&lint_calls(&calls, &k.options))
    };
    assert!(said_of(&|c| c.option = "new-bonnet".to_owned()).contains("names new-bonnet, which is no option"));
    assert!(said_of(&|c| c.option = "part-used".to_owned()).contains("part-used has another sheet"));
    assert!(said_of(&|c| c.questions[0].bad = 1.2).contains("a chance from 0 to 1"));
    assert!(said_of(&|c| c.questions[0].good = String::new()).contains("has no words"));
}
