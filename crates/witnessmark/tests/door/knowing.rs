//! Knowledge, calculators and networks at the command line, with their JSON forms.

use crate::shop::Shop;
use serde_json::Value;

#[test]
fn the_knowledge_built_in_has_nothing_to_complain_of() {
    let shop = Shop::new();
    let said = shop.run_bare(&["knowledge", "check"]).exits(0);
    assert!(said.out.contains("nothing to complain of"), "{}", said.out);
    assert_eq!(shop.run_bare(&["--json", "knowledge", "check"]).exits(0).json()["complaints"], serde_json::json!([]));
}

#[test]
fn a_fault_in_the_shops_own_knowledge_is_named_by_file_and_line() {
    let shop = Shop::new();
    std::fs::create_dir_all(shop.path("own/cautions")).expect("a folder");
    shop.write("own/cautions/own.toml", b"[[caution]]\nid = \"hot\"\nhold = \"perhaps\"\n");
    let said = shop.run_bare(&["knowledge", "check", "--folder", "own"]);
    assert_eq!(said.code, 1, "{}", said.err);
    assert!(said.out.contains("own.toml:") && said.out.contains("next move"), "{}", said.out);
    assert_eq!(shop.run_bare(&["--knowledge", "own", "knowledge", "list"]).code, 1);
}

#[test]
fn everything_listed_can_be_shown_with_its_source() {
    let shop = Shop::new();
    let kinds = shop.run_bare(&["--json", "knowledge", "list"]).exits(0).json();
    let kinds = kinds["kinds"].as_object().expect("kinds").clone();
    assert!(kinds.len() > 10);
    for (kind, many) in kinds {
        let list = shop.run_bare(&["--json", "knowledge", "list", &kind]).exits(0).json();
        assert_eq!(list.as_array().map(Vec::len), many.as_u64().and_then(|n| usize::try_from(n).ok()));
        let id = list[0]["id"].as_str().expect("an id").to_owned();
        let shown = shop.run_bare(&["knowledge", "show", &id]).exits(0).out;
        assert!(shown.contains(&id), "{kind} {id}");
        let json = shop.run_bare(&["--json", "knowledge", "show", &id]).exits(0).json();
        assert!(json.as_array().expect("a list").iter().all(|t| t["table"].is_object()), "{kind} {id}: {json}");
    }
}

#[test]
fn figures_are_counted_and_listed_by_where_they_come_from() {
    let shop = Shop::new();
    let tags = shop.run_bare(&["--json", "knowledge", "sources"]).exits(0).json()["tags"].clone();
    for (tag, many) in tags.as_object().expect("tags") {
        let list = shop.run_bare(&["--json", "knowledge", "sources", tag]).exits(0).json();
        assert_eq!(list.as_array().map(Vec::len), many.as_u64().and_then(|n| usize::try_from(n).ok()), "{tag}");
        for one in list.as_array().expect("a list") {
            assert_eq!(one["source"]["kind"].as_str(), Some(tag.as_str()), "{one}");
        }
    }
    let said = shop.run_bare(&["knowledge", "sources", "from-memory"]).exits(0).out;
    assert!(said.contains("likelihood") && said.contains(".toml:"), "{said}");
    let wrong = shop.run_bare(&["knowledge", "sources", "rumour"]);
    assert!(wrong.code == 3 && wrong.err.contains("from-memory"), "{} {}", wrong.code, wrong.err);
}

#[test]
fn every_calculator_answers_its_own_example_in_the_agreed_form() {
    let shop = Shop::new();
    let all = shop.run_bare(&["calc", "--json"]).exits(0).json();
    for entry in all.as_array().expect("a list") {
        let id = entry["calculator"].as_str().expect("an id");
        for field in ["inputs", "results", "sources"] {
            assert!(entry[field].is_array(), "{id} {field}");
        }
        for input in entry["inputs"].as_array().expect("inputs") {
            assert!(["key", "unit", "meaning", "required"].iter().all(|f| input.get(*f).is_some()), "{id}: {input}");
        }
        let mut words = vec!["calc", id];
        let example: Vec<&str> =
            entry["example"].as_array().expect("an example").iter().filter_map(Value::as_str).collect();
        words.extend(&example);
        let text = shop.run_bare(&words).exits(0).out;
        assert!(text.contains("source: "), "{id}");
        words.push("--json");
        let answer = shop.run_bare(&words).exits(0).json();
        assert_eq!(answer["calculator"], id);
        assert!(answer["notes"].is_array() && answer["sources"].is_array());
        for (name, value) in answer["result"].as_object().expect("results") {
            assert!(value["value"].is_number() && value["unit"].is_string(), "{id} {name}: {value}");
            assert!(value.get("u").is_some() && value.get("coverage").is_some(), "{id} {name}");
        }
        let plain = |words: &[&str]| shop.run_bare(words).exits(0).out;
        let described = plain(&["--plain", "calc", id]);
        assert!(described.contains("for example: witnessmark calc"), "{id}");
        assert_eq!(described, plain(&["--plain", "calc", id, "--help"]), "{id}: --help behind a name describes it");
        let text = plain(&[&["--plain"], words.strip_suffix(&["--json"]).expect("the example")].concat());
        for caution in entry["cautions"].as_array().expect("cautions").iter().filter_map(Value::as_str) {
            assert!(described.contains(caution) && text.contains(caution), "{id}: {caution}");
        }
        let workings = entry["workings"].as_array().expect("workings");
        assert!(!workings.is_empty(), "{id}");
        for line in workings.iter().filter_map(Value::as_str) {
            assert!(described.contains(line), "{id}: {line}");
        }
    }
}

#[test]
fn the_help_of_the_calculators_without_a_name_is_that_of_the_command() {
    let shop = Shop::new();
    let help = shop.run_bare(&["calc", "--help"]).exits(0).out;
    assert!(help.contains("Usage: witnessmark calc") && help.contains("key=value"), "{help}");
}

#[test]
fn a_table_is_read_from_a_file() {
    let shop = Shop::new();
    // Corners of a square lifted by the same plane: no deviation from flat.
    shop.write("grid.csv", b"x,y,z\n0,0,0.00\n100,0,0.01\n0,100,0.02\n100,100,0.03\n50,50,0.015\n");
    let answer = shop.run_bare(&["--json", "calc", "flatness-grid", "points=@grid.csv"]).exits(0).json();
    let smallest = answer["result"]
        .as_object()
        .expect("results")
        .values()
        .filter_map(|v| v["value"].as_f64())
        .fold(f64::INFINITY, f64::min);
    assert!(smallest.abs() < 1e-9, "{answer}");
}

/// A cause and its sign: prior 1 in 100, seen in 9 of 10 with it and in 2 of 10 without.
const SMALL: &str = "network small { }
variable cause { type discrete [ 2 ] { no, yes }; }
variable sign { type discrete [ 2 ] { no, yes }; }
probability ( cause ) { table 0.99, 0.01; }
probability ( sign | cause ) { (no) 0.8, 0.2; (yes) 0.1, 0.9; }
";

#[test]
fn a_small_network_gives_the_posterior_worked_by_hand() {
    let shop = Shop::new();
    shop.write("small.bif", SMALL.as_bytes());
    let answer = shop.run_bare(&["--json", "network", "infer", "small.bif", "sign=yes"]).exits(0).json();
    // Rule of Bayes: 0.01*0.9 / (0.01*0.9 + 0.99*0.2) = 0.009/0.207.
    let p = answer["posteriors"]["cause"]["yes"].as_f64().expect("a number");
    assert!((p - 0.009 / 0.207).abs() < 1e-12, "{p}");
    let log = answer["log10_p_evidence"].as_f64().expect("a number");
    assert!((log - 0.207_f64.log10()).abs() < 1e-12, "{log}");
    shop.write("seen.json", b"{\"sign\": \"yes\"}");
    let again = shop.run_bare(&["--json", "network", "infer", "small.bif", "--evidence", "seen.json"]).exits(0).json();
    assert_eq!(again, answer);
    shop.run_bare(&["network", "infer", "small.bif", "sign=perhaps"]).exits(2);
    shop.run_bare(&["network", "infer", "small.bif", "nobody=yes"]).exits(2);
    shop.run_bare(&["network", "infer", "small.bif", "sign"]).exits(2);
    shop.run_bare(&["network", "infer", "small.bif", "sign=yes", "sign=no"]).exits(2);
}

#[test]
fn the_network_of_a_job_is_exported_and_believed_alike() {
    let (shop, job) = Shop::with_job();
    shop.tick(&job, &["compression-dry"]);
    shop.run(&["enter", &job, "compression-dry/pressure", "cyl-1", "12 bar"]).exits(0);
    shop.run(&["network", "export", &job, "--out", "net"]).exits(0);
    for name in ["job.bif", "job.evidence.json", "job.meaning.json"] {
        assert!(shop.path("net").join(name).is_file(), "{name}");
    }
    shop.run(&["network", "export", &job, "--out", "net"]).exits(0);
    shop.write("net/job.bif", b"other");
    shop.run(&["network", "export", &job, "--out", "net"]).exits(5);
}

/// Records and answers worked out by a general library for numbers: `reference/life/worked.json`, made by `life_model.py` beside it.
fn worked() -> Value {
    serde_json::from_str(include_str!("../../../../reference/life/worked.json")).expect("JSON")
}

#[test]
fn a_life_is_fitted_to_records_of_a_file_as_the_reference_has_it() {
    let shop = Shop::new();
    let worked = worked();
    let mode = &worked["mode_posterior"];
    let mut text = "seen,at,after,watched_from\n".to_owned();
    for record in mode["records"].as_array().expect("records") {
        let number = |name: &str| record[name].as_f64().expect("a number");
        let from = number("entry");
        let from = if from > 0.0 { from.to_string() } else { "new".to_owned() };
        text += &match record["kind"].as_str() {
            Some("fail") => format!("failed,{},,{from}\n", number("t1")),
            Some("right") => format!("good,{},,{from}\n", number("t1")),
            _ => format!("between,{},{},{from}\n", number("t2"), number("t1")),
        };
    }
    shop.write("records.csv", text.as_bytes());
    let said = shop.run_bare(&["--json", "life", "fit", "records.csv"]).exits(0).json();
    assert_eq!((&said["records"], &said["failures"]), (&serde_json::json!(12), &serde_json::json!(6)));
    let near = |what: &str, theirs: f64, within: f64| {
        let ours = said["records_alone"][what].as_f64().expect("a number");
        assert!((ours - theirs).abs() <= within, "{what}: {ours}, the reference has {theirs}");
    };
    let mle = &mode["mle"];
    near("shape", mle["beta"].as_f64().expect("beta"), 1e-4);
    near("scale", mle["eta"].as_f64().expect("eta"), 5.0);
    let words = [
        "life",
        "predict",
        "records.csv",
        "--age",
        "120000",
        "--ahead",
        "36000",
        "--tenth",
        "90000",
        "--half",
        "170000",
    ];
    let said = shop.run_bare(&words).exits(0).out;
    assert!(said.contains("% that it lasts 36000 further"), "{said}");
    shop.write("bad.csv", b"seen,at,watched_from\ngood,88000,new\nfailed,112000,\n");
    let said = shop.run_bare(&["life", "fit", "bad.csv"]);
    assert_eq!(said.code, 2, "{}", said.err);
    assert!(said.err.contains("line 3") && said.err.contains("watched_from"), "{}", said.err);
}

#[test]
fn a_claimed_mileage_is_weighed_as_the_reference_has_it() {
    let shop = Shop::new();
    for row in worked()["mileage"]["cases"].as_array().expect("cases") {
        let (claim, years) = (row["claim"].to_string(), row["age_years"].to_string());
        let said = shop
            .run_bare(&[
                "--json",
                "life",
                "mileage",
                "--claim",
                &claim,
                "--years",
                &years,
                "--yearly",
                "12000",
                "--spread",
                "0.4",
                "--turned-back",
                "0.05",
                "--swapped",
                "0.02",
                "--wrong-unit",
                "0.005",
            ])
            .exits(0)
            .json();
        for (ours, theirs, within) in [("honest", "honest", 5e-4), ("turned_back", "tamper", 5e-4)] {
            let (ours, theirs) =
                (said[ours].as_f64().expect("a number"), row["branch_posterior"][theirs].as_f64().expect("a number"));
            assert!((ours - theirs).abs() < within, "{claim} at {years}: {ours}, the reference has {theirs}");
        }
    }
    let said = shop.run_bare(&["life", "mileage", "--claim", "58000", "--years", "13", "--yearly", "12000", "--loose"]);
    assert_eq!(said.code, 2, "a loose engine states its own rates: {}", said.err);
}

/// Six options and twenty modes; means by nested quadrature with a general library for numbers.
const CHOOSING: &str = include_str!("../../../../reference/choosing/example.json");

#[test]
fn options_of_a_file_are_compared_as_the_reference_has_it() {
    let shop = Shop::new();
    shop.write("options.json", CHOOSING.as_bytes());
    let reference: Value =
        serde_json::from_str(include_str!("../../../../reference/choosing/means.json")).expect("JSON");
    let said = shop.run_bare(&["--json", "life", "compare", "options.json", "--picture", "costs.svg"]).exits(0).json();
    let options = said["options"].as_array().expect("options");
    assert_eq!(options.len(), 6);
    for (option, theirs) in options.iter().zip(reference["(15, 5, 21, 11, 48)"]["mean"].as_array().expect("means")) {
        let (ours, theirs) = (option["mean_cost"].as_f64().expect("a cost"), theirs.as_f64().expect("a cost"));
        assert!((ours - theirs).abs() < 0.1, "{}: {ours}, the reference has {theirs}", option["name"]);
    }
    assert_eq!(said["cheapest_on_average"], "machine heads");
    assert_eq!((&said["most_often_cheapest"], &said["they_differ"]), (&"do nothing".into(), &true.into()));
    assert_eq!(said["difference_hangs_on"][0]["what"], "head crack");
    let picture = std::fs::read_to_string(shop.path("costs.svg")).expect("a picture");
    assert!(picture.contains("machine heads"), "{picture}");
    let said = shop.run_bare(&["life", "compare", "options.json"]).exits(0).out;
    for words in ["Most often the cheapest: do nothing", "would be first on average at prices of", "It would turn to"] {
        assert!(said.replace("\n  ", " ").contains(words), "{words}: {said}");
    }
}

#[test]
fn the_options_of_the_handbook_are_compared_and_bad_ones_refused_by_name() {
    let shop = Shop::new();
    let page = include_str!("../../../../docs/handbook/choose.md");
    let example = page.split("```toml\n").nth(1).and_then(|rest| rest.split("```").next()).expect("an example");
    let told = |text: &str| {
        shop.write("options.toml", text.as_bytes());
        shop.run_bare(&["--json", "life", "compare", "options.toml"])
    };
    let said = told(example).exits(0).json();
    assert_eq!(said["options"].as_array().map(Vec::len), Some(3));
    assert!(said["options"][1]["paid_by_others"]["the dismantler"].as_f64().expect("a share") > 0.0);
    for (from, to, why) in [
        ("horizon_years = 4", "horizon_years = 0", "the horizon is 0 years"),
        ("currency = \"crowns\"\namount = 2400", "amount = 2400", "\"quote for the used engine\" names no currency"),
        ("middle = 110000", "middle = -5", "the age \"this engine\" is -5"),
        (
            "\"rod bearing\" = { age = \"this engine\" }\n[[options.on_top]]",
            "[[options.on_top]]",
            "\"mend the head\" does not say how old its part for \"rod bearing\" is",
        ),
        ("by = \"the shop\"", "by = \"the shop\"\nsince = 3", "unknown field `since`"),
        (
            "reached = [\"this engine\"]",
            "reached = [\"that engine\"]",
            "the age \"that engine\", which the file does not have",
        ),
        ("standing_per_day", "# standing_per_day", "takes days, but no day has a price"),
    ] {
        assert!(example.contains(from), "{from}");
        let said = told(&example.replacen(from, to, 1));
        assert_eq!(said.code, 2, "{why}: {}", said.err);
        assert!(said.err.replace("\n  ", " ").contains(why), "{why}: {}", said.err);
    }
}
