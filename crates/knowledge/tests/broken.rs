//! Broken files: each is the compiled-in knowledge with one thing spoilt, and each is told by file, line, field and next
//! move.
//!
//! The line is worked out here from the text, by looking for the heading or the changed place, not by the loader.

#![expect(clippy::unwrap_used, clippy::panic, reason = "helpers of tests stop at the first surprise")]

use knowledge::{Complaint, FileSet, Knowledge, LoadError};

/// Where the complaint points.
enum At {
    /// The heading of the table the anchor stands in.
    Heading,
    /// The place that was changed.
    Change,
    /// The heading of the reading the change stands in.
    Reading,
}
use At::{Change, Heading, Reading};

/// The compiled-in files of one folder with the first `from` after `anchor` in one file turned into `to`; also the
/// lines of the heading before the anchor, of the change, and of the heading of its reading.
fn spoilt(file: &str, anchor: &str, from: &str, to: &str) -> (FileSet, [usize; 3]) {
    let files = FileSet::builtin();
    let folder = format!("{}/", file.split('/').next().unwrap());
    let texts: Vec<(String, String)> = files
        .paths()
        .filter(|path| path.starts_with(&folder))
        .map(|path| (path.to_owned(), files.text(path).unwrap().to_owned()))
        .collect();
    let mut lines = [0; 3];
    let texts: Vec<(String, String)> = texts
        .into_iter()
        .map(|(path, text)| {
            if path != file {
                return (path, text);
            }
            let start = text.find(anchor).unwrap_or_else(|| panic!("{file} has no {anchor}"));
            let at = start + text[start..].find(from).unwrap_or_else(|| panic!("{file} has no {from} after {anchor}"));
            let line = |offset: usize| text[..offset].matches('\n').count() + 1;
            let heading = text[..start + anchor.len()]
                .rmatch_indices("\n[[")
                .map(|(i, _)| i + 1)
                .find(|i| !text[*i..].lines().next().unwrap().contains('.'));
            let reading = text[..at].rfind("[[check.readings]]");
            lines = [heading.map_or(1, line), line(at), reading.map_or(1, line)];
            (path, format!("{}{to}{}", &text[..at], &text[at + from.len()..]))
        })
        .collect();
    let borrowed: Vec<(&str, &str)> = texts.iter().map(|(path, text)| (path.as_str(), text.as_str())).collect();
    (FileSet::builtin().with_texts(&borrowed), lines)
}

fn told(file: &str, complaints: &[Complaint], line: usize, field: &str, message: &str, next: &str) {
    let own: Vec<&Complaint> = complaints.iter().filter(|c| c.file == file).collect();
    let found =
        own.iter().any(|c| c.line == line && c.field == field && c.message.contains(message) && c.next.contains(next));
    assert!(found, "expected {file}:{line}: {field}: ..{message}..; next move: ..{next}..\nfound {own:#?}");
}

#[expect(clippy::too_many_arguments, reason = "one broken file in all its parts")]
fn does_not_load(file: &str, anchor: &str, from: &str, to: &str, at: At, field: &str, message: &str, next: &str) {
    let (files, [heading, change, reading]) = spoilt(file, anchor, from, to);
    let error = Knowledge::from_files(&files).unwrap_err();
    let line = match at {
        Heading => heading,
        Change => change,
        Reading => reading,
    };
    told(file, error.complaints(), line, field, message, next);
    assert!(error.to_string().contains(&format!("{file}:{line}: {field}: ")), "{error}");
    assert!(error.to_string().contains("; next move: "), "{error}");
}

fn does_not_agree(file: &str, anchor: &str, from: &str, to: &str, field: &str, message: &str, next: &str) {
    let (files, [heading, ..]) = spoilt(file, anchor, from, to);
    let knowledge = Knowledge::from_files(&files).unwrap_or_else(|error| panic!("{error}"));
    told(file, &knowledge.lint(), heading, field, message, next);
}

const VALVES: &str = "conditions/valves.toml";
const CYLINDERS: &str = "conditions/cylinders.toml";
const HEAD: &str = "conditions/head.toml";
const IN_CAR: &str = "checks/in-car.toml";
const BENCH: &str = "checks/head-on-bench.toml";

#[test]
fn a_misspelt_field_is_told() {
    does_not_load(
        CYLINDERS,
        "id = \"rings\"",
        "plain = ",
        "plane = ",
        Change,
        "plane",
        "unknown field `plane`, expected",
        "take `plane` out",
    );
}

#[test]
fn a_missing_field_is_told_at_its_table() {
    does_not_load(
        CYLINDERS,
        "id = \"rings\"",
        "plain = \"Whether the rings seal and move freely in their grooves.\"\n",
        "",
        Heading,
        "plain",
        "missing field `plain`",
        "add `plain` to the table that opens on this line",
    );
}

#[test]
fn a_word_where_minutes_belong_is_told() {
    does_not_load(
        IN_CAR,
        "id = \"leak-down\"",
        "minutes_first = 30.0",
        "minutes_first = \"30\"",
        Change,
        "minutes_first",
        "invalid type: string",
        "write `minutes_first` in the form expected",
    );
}

#[test]
fn an_unknown_kind_of_place_is_told() {
    does_not_load(
        CYLINDERS,
        "id = \"bore\"",
        "scope = [\"cylinder\"]",
        "scope = [\"cylindre\"]",
        Change,
        "scope",
        "unknown variant `cylindre`",
        "write `scope` in the form expected",
    );
}

#[test]
fn an_unknown_relative_site_is_told() {
    does_not_load(
        VALVES,
        "id = \"valve-seat-face\"",
        "at = \"this-valve\"",
        "at = \"this-vlave\"",
        Change,
        "at",
        "unknown variant `this-vlave`",
        "write `at` in the form expected",
    );
}

#[test]
fn broken_toml_is_told_at_its_line() {
    does_not_load(
        VALVES,
        "id = \"valve-guide\"",
        "states = [\"in-limit\", \"worn\"]",
        "states = [\"in-limit\" \"worn\"]",
        Change,
        "states",
        "",
        "mend the TOML at this line",
    );
}

#[test]
fn a_misspelt_heading_is_told() {
    does_not_load(
        VALVES,
        "[[condition]]",
        "[[condition]]",
        "[[conditon]]",
        Change,
        "conditon",
        "is not a kind of table this folder holds, expected one of condition",
        "spell the heading as one of those",
    );
}

#[test]
fn a_graded_reading_without_outcomes_is_told() {
    does_not_load(
        IN_CAR,
        "id = \"heard-neighbour\"",
        "outcomes = [\"silent\", \"faint\", \"clear\"]\n",
        "",
        Reading,
        "outcomes",
        "reading heard-neighbour: a graded reading needs `outcomes`",
        "add `outcomes`",
    );
}

#[test]
fn a_graded_reading_with_a_unit_is_told() {
    does_not_load(
        IN_CAR,
        "id = \"heard-neighbour\"",
        "kind = \"graded\"",
        "kind = \"graded\"\nunit = \"mm\"",
        Reading,
        "unit",
        "a graded reading has no `unit`",
        "take `unit` out",
    );
}

#[test]
fn a_numeric_background_of_three_is_told() {
    does_not_load(
        BENCH,
        "id = \"valve-runout\"",
        "background = [0.4, 0.22]",
        "background = [0.4, 0.22, 0.1]",
        Reading,
        "background",
        "the `background` of a numeric reading is its mean and its spread",
        "write `background` in the form expected",
    );
}

#[test]
fn an_unknown_kind_of_source_is_told() {
    does_not_load(
        HEAD,
        "id = \"head-warp\"",
        "kind = \"from-memory\"",
        "kind = \"guess\"",
        Change,
        "kind",
        "unknown variant `guess`",
        "write `kind` in the form expected",
    );
}

#[test]
fn chances_that_do_not_add_up_to_one_are_told() {
    does_not_agree(
        CYLINDERS,
        "id = \"bore\"",
        "cylinder = [0.998948, 0.000555, 0.000497]",
        "cylinder = [0.998948, 0.000555, 0.001497]",
        "prior.cylinder",
        "adds up to 1.001000, expected 1",
        "add up to 1",
    );
}

#[test]
fn chances_of_the_wrong_number_are_told() {
    does_not_agree(
        CYLINDERS,
        "id = \"bore\"",
        "yes = [0.98254, 0.0103, 0.00716]",
        "yes = [0.92, 0.08]",
        "causes.ran-low-oil.given.yes",
        "has 2 chances, expected 3",
        "one for each state",
    );
}

#[test]
fn an_id_that_stands_twice_is_told() {
    does_not_agree(
        CYLINDERS,
        "id = \"rings\"",
        "id = \"rings\"",
        "id = \"bore\"",
        "id",
        "bore stands at conditions/cylinders.toml:",
        "give every table its own id",
    );
}

#[test]
fn an_id_in_the_wrong_spelling_is_told() {
    does_not_agree(
        "outside/outside.toml",
        "id = \"sensors\"",
        "id = \"sensors\"",
        "id = \"Sensors_1\"",
        "id",
        "\"Sensors_1\" is not in the form small-letters-and-dashes",
        "spell it so",
    );
}

#[test]
fn a_parent_that_there_is_none_of_is_told() {
    does_not_agree(
        CYLINDERS,
        "id = \"bore\"",
        "condition = \"piston\"",
        "condition = \"pistons\"",
        "parents",
        "names condition pistons, which there is none of",
        "mend the id, or add the condition",
    );
}

#[test]
fn a_site_that_does_not_exist_from_there_is_told() {
    does_not_agree(
        HEAD,
        "id = \"cam-bore-alignment\"",
        "at = \"this-bank\"",
        "at = \"this-cylinder\"",
        "parents.head-heat.at",
        "this-cylinder means nothing seen from a bank",
        "for_scope",
    );
}

#[test]
fn a_missing_grade_of_a_cause_is_told() {
    does_not_agree(
        CYLINDERS,
        "id = \"bore\"",
        "used = [0.995765, 0.00365, 0.000585], ",
        "",
        "causes.high-mileage.given",
        "speaks of [heavy], expected [heavy, used]",
        "every state of the cause but the mildest",
    );
}

#[test]
fn a_modifier_without_its_link_is_told() {
    does_not_agree(
        CYLINDERS,
        "id = \"bore\"",
        "cause = \"high-mileage\", multiply = 0.5",
        "cause = \"overheated\", multiply = 0.5",
        "modifiers",
        "multiplies overheated, to which there is no link",
        "name a cause or parent of this condition",
    );
}

#[test]
fn a_modifier_that_makes_no_chance_is_told() {
    does_not_agree(
        CYLINDERS,
        "id = \"bore\"",
        "multiply = 0.5",
        "multiply = 119.5",
        "modifiers",
        "119.5 times the harm of high-mileage is no chance",
        "lower the factor or the harm",
    );
}

#[test]
fn an_attribute_value_that_does_not_exist_is_told() {
    does_not_agree(
        CYLINDERS,
        "id = \"bore\"",
        "value = \"coated-aluminium\"",
        "value = \"plastic\"",
        "modifiers",
        "bore-type is never plastic, expected one of iron-bore",
        "mend the value",
    );
}

#[test]
fn a_fault_that_reads_better_than_sound_is_told() {
    does_not_agree(
        BENCH,
        "id = \"stem-guide-clearance\"",
        "worn = [1.35, 0.3]",
        "worn = [0.35, 0.3]",
        "readings.clearance.observes.valve-guide.given.worn",
        "a mean of 0.35 reads better than the sound 0.55",
        "no fault reads better than sound",
    );
}

#[test]
fn bands_out_of_order_are_told() {
    does_not_agree(
        IN_CAR,
        "id = \"leak-down\"",
        "to = 25.0",
        "to = 5.0",
        "readings.percent.bands",
        "do not go from best to worst",
        "in the order in which it gets worse",
    );
}

#[test]
fn a_caution_that_there_is_none_of_is_told() {
    does_not_agree(
        IN_CAR,
        "id = \"leak-down\"",
        "\"compressed-air\"",
        "\"compressed-gas\"",
        "cautions",
        "names caution compressed-gas, which there is none of",
        "mend the id, or add the caution",
    );
}

#[test]
fn a_limit_that_there_is_none_of_is_told() {
    does_not_agree(
        IN_CAR,
        "id = \"leak-down\"",
        "limit = \"leakdown_pct\"",
        "limit = \"leakdown_percent\"",
        "readings.percent.limits",
        "names limit leakdown_percent, which there is none of",
        "mend the id, or add the limit",
    );
}

#[test]
fn a_limit_in_another_kind_of_unit_is_told() {
    does_not_agree(
        IN_CAR,
        "id = \"leak-down\"",
        "limit = \"leakdown_pct\"",
        "limit = \"oil_p_idle_hot\"",
        "readings.percent.limits",
        "oil_p_idle_hot is in psi, the reading in %",
        "same kind of unit",
    );
}

#[test]
fn a_reading_divided_by_no_limit_is_told() {
    does_not_agree(
        BENCH,
        "id = \"valve-runout\"",
        "limits = [\n  { limit = \"valve_face_runout\" },\n]\n",
        "",
        "readings.runout.limits",
        "is divided by a limit but names none",
        "name the limits",
    );
}

#[test]
fn a_gauge_that_is_none_of_the_tools_is_told() {
    does_not_agree(
        IN_CAR,
        "id = \"leak-down\"",
        "gauges = [\"leak_gauge\"]",
        "gauges = [\"leak_gauge\", \"oil_gauge\"]",
        "gauges",
        "oil_gauge is none of the gauges of its tools",
        "add the tool",
    );
}

#[test]
fn a_face_whose_gauge_or_limit_is_none_is_told() {
    let file = "checks/head-on-bench.toml";
    let at = "id = \"head-straightedge\"";
    let told = |old: &str, new: &str, field: &str, words: &str, next: &str| {
        does_not_agree(file, at, old, new, field, words, next)
    };
    told("blade = \"feeler_fine\"", "blade = \"feeler_gold\"", "readings.gap.face.blade", "feeler_gold", "gauge");
    told("edge = \"straightedge\"", "edge = \"ruler\"", "readings.gap.face.edge", "ruler", "gauge");
    told(
        "stretch_limit = \"head_flat_6in\"",
        "stretch_limit = \"head_flat_9in\"",
        "readings.gap.face.stretch_limit",
        "head_flat_9in",
        "limit",
    );
    told(
        "stretch_mm = 150.0",
        "stretch_mm = 0.0",
        "readings.gap.face.stretch_mm",
        "no length of a stretch",
        "above nought",
    );
}

#[test]
fn a_gauge_of_another_kind_of_unit_is_told() {
    does_not_agree(
        "checks/block-open.toml",
        "id = \"piston-height-compare\"",
        "unit = \"mm\"",
        "unit = \"kPa\"",
        "readings.height-difference.gauge",
        "depth_mic reads in, the reading is in kPa",
        "take a gauge of the same kind of unit",
    );
}

#[test]
fn a_unit_that_is_none_is_told() {
    does_not_agree(
        IN_CAR,
        "id = \"leak-down\"",
        "unit = \"%\"",
        "unit = \"part\"",
        "readings.percent.unit",
        "\"part\" is no unit",
        "use the symbol of a unit",
    );
}

#[test]
fn a_published_figure_without_its_source_is_told() {
    does_not_agree(
        HEAD,
        "id = \"head-warp\"",
        "kind = \"from-memory\"",
        "kind = \"published\"",
        "source",
        "is published but names no source",
        "add ref with an id of the sources folder",
    );
}

#[test]
fn a_ring_of_parents_is_told() {
    does_not_agree(
        CYLINDERS,
        "id = \"piston\"",
        "parents = [\n",
        "parents = [\n  { condition = \"bore\", at = \"this-cylinder\", given = { scored = [0.9, 0.1, 0.0] } },\n",
        "parents",
        "piston is, over its parents, its own parent",
        "cut one link of the ring",
    );
}

#[test]
fn a_condition_that_no_check_tells_of_is_told() {
    does_not_agree(
        "conditions/bottom-end.toml",
        "id = \"oil-starvation\"",
        "helper = true\n",
        "",
        "id",
        "no check tells of oil-starvation",
        "helper = true",
    );
}

#[test]
fn a_state_that_belongs_to_no_class_is_told() {
    let (files, _) = spoilt("blocks/blocks.toml", "condition = \"oil-pump\"", "worn = \"renew\", ", "");
    let knowledge = Knowledge::from_files(&files).unwrap();
    let pump = knowledge.condition("oil-pump").unwrap();
    told(
        "knowledge/conditions/bottom-end.toml",
        &knowledge.lint(),
        pump.line,
        "states",
        "worn belongs to no class of any block",
        "add the condition to a block",
    );
}

#[test]
fn a_class_that_the_block_lacks_is_told() {
    does_not_agree(
        "blocks/blocks.toml",
        "condition = \"oil-pump\"",
        "worn = \"renew\"",
        "worn = \"rebuild\"",
        "member.oil-pump.class",
        "names class of this block rebuild, which there is none of",
        "mend the id",
    );
}

#[test]
fn an_example_that_does_not_come_out_is_told() {
    does_not_agree(
        HEAD,
        "id = \"head-warp\"",
        "between = [0.93, 0.99]",
        "between = [0.1, 0.2]",
        "example",
        "a cooked head that was also badly worked on is almost never flat: worked out 0.9",
        "mend the figures",
    );
}

#[test]
fn an_example_that_restates_a_figure_is_told() {
    does_not_agree(
        HEAD,
        "id = \"head-warp\"",
        "causes = { poor-repair = \"yes\" }, ",
        "",
        "example",
        "restates a figure",
        "give two causes or parents or more",
    );
}

#[test]
fn a_state_with_no_consequence_is_told() {
    does_not_agree(
        HEAD,
        "id = \"head-hardness\"",
        "state = \"softened\"",
        "state = \"soft\"",
        "if_left",
        "speaks of [soft], expected [softened]",
        "give one entry for every state but the mildest",
    );
}

#[test]
fn a_cause_in_too_many_grades_is_told() {
    let (files, _) = spoilt(
        "causes/causes.toml",
        "id = \"hydrolock\"",
        "states = [\"no\", \"yes\"]\nprior = [0.997, 0.003]",
        "states = [\"no\", \"little\", \"yes\"]\nprior = [0.997, 0.002, 0.001]",
    );
    let lint = Knowledge::from_files(&files).unwrap().lint();
    assert!(
        lint.iter().any(|c| c.message.contains("the causes together have 1728 joint states, at most 1152 stay quick")),
        "{lint:#?}"
    );
}

#[test]
fn a_shops_folder_replaces_whole_folders_and_leaves_the_rest() {
    let shop = tempfile::tempdir().unwrap();
    std::fs::create_dir(shop.path().join("outside")).unwrap();
    let own = "[[outside]]\nid = \"own\"\nname = \"Own\"\ncomplaints = [\"odd\"]\nmimics = [\"bore\"]\ncheck = \"Look.\"\nminutes = 1.0\nsource = { kind = \"elicited\", note = \"two technicians\" }\n";
    std::fs::write(shop.path().join("outside/own.toml"), own).unwrap();
    let builtin = Knowledge::builtin().unwrap();
    let with_own = Knowledge::from_folder(shop.path()).unwrap();
    assert_eq!(with_own.outside.iter().map(|o| o.id.as_str()).collect::<Vec<_>>(), ["own"]);
    assert_eq!(with_own.checks, builtin.checks);
    assert_ne!(with_own.version, builtin.version);
}

#[test]
fn a_shop_states_its_own_rule_for_old_quotes_and_a_bad_one_is_told() {
    let shop = tempfile::tempdir().unwrap();
    std::fs::create_dir(shop.path().join("quotes")).unwrap();
    let own = |spread: &str| {
        format!(
            "[[quote_age]]\nid = \"own\"\nholds_days = 14\nspread_percent = {spread}\nspread_per_month_percent = 2.0\ndrift_per_month_percent = 0.0\nmost_months = 6\nsource = {{ kind = \"elicited\", note = \"two at the counter\" }}\n"
        )
    };
    std::fs::write(shop.path().join("quotes/own.toml"), own("5.0")).unwrap();
    let with_own = Knowledge::from_folder(shop.path()).unwrap();
    assert_eq!(with_own.quote_ages.iter().map(|r| (r.id.as_str(), r.holds_days)).collect::<Vec<_>>(), [("own", 14)]);
    assert!(with_own.lint().iter().all(|c| c.field != "quote_age"));
    std::fs::write(shop.path().join("quotes/own.toml"), own("95.0")).unwrap();
    let lint = Knowledge::from_folder(shop.path()).unwrap().lint();
    assert!(lint.iter().any(|c| c.field == "quote_age" && c.line == 1), "{lint:#?}");
}

#[test]
fn a_folder_that_is_no_knowledge_is_refused() {
    let shop = tempfile::tempdir().unwrap();
    std::fs::create_dir(shop.path().join("invoices")).unwrap();
    let error = FileSet::from_folder(shop.path()).unwrap_err();
    assert!(
        matches!(&error, LoadError::UnknownFolder { .. })
            && error.to_string().contains("is not a knowledge folder; next move: name it as one of "),
        "{error}"
    );
    let gone = FileSet::from_folder(&shop.path().join("nowhere")).unwrap_err();
    assert!(
        matches!(&gone, LoadError::Unreadable { .. })
            && gone.to_string().contains("next move: give a folder that exists"),
        "{gone}"
    );
}
