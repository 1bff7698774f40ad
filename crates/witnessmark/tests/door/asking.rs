//! The customer page and its answer, from outside.

use crate::shop::{Said, Shop};

/// The van with its cause named and nothing chosen, in a store of its own.
fn van() -> (Shop, String) {
    let shop = Shop::new();
    let story = include_str!("../../../../cases/0001-tolvane-carrier/story.jsonl");
    let told: String = story.lines().take(119).map(|line| format!("{line}\n")).collect();
    let entries = logbook::seal_story("van", &logbook::story_from_lines(&told).expect("a story")).expect("a logbook");
    let job = entries.first().expect("entries").job().to_string();
    // A store is made by its first job; the van comes from a file.
    shop.run(&["new", "--title", "Ostrand, another job"]).exits(0);
    shop.write("van.jsonl", logbook::export(&entries).as_bytes());
    shop.run(&["import", "van.jsonl", "--alone"]).exits(0);
    (shop, job)
}

fn page<'a>(job: &'a str, out: &'a str, more: &[&'a str]) -> Vec<&'a str> {
    let mut all = vec!["--json", "page", job, "--out", out];
    all.extend(more);
    all
}

fn entries(shop: &Shop, job: &str) -> u64 {
    let jobs = shop.run(&["jobs", "--json"]).exits(0).json();
    let found = jobs.as_array().expect("jobs").iter().find(|j| j["job"] == job || j["id"] == job).cloned();
    found.expect("the job")["entries"].as_u64().expect("a count")
}

fn answer(shop: &Shop, code: &str, more: &[&str]) -> Said {
    let mut all = vec!["answer", code, "--who", "owner", "--how", "telephone", "--words", "Do it, and call me."];
    all.extend(more);
    shop.run(&all)
}

#[test]
fn a_page_is_asked_once_answered_by_its_code_and_kept_with_its_version() {
    let (shop, job) = van();
    let before = entries(&shop, &job);
    let said = shop.run(&page(&job, "page.html", &[])).exits(2);
    assert!(said.err.contains("--ceiling") && said.err.contains("EUR"), "{}", said.err);
    let asked = ["--ceiling", "EUR 2900", "--option", "exchange-recon-heads", "--answer-by", "2999-01-01"];
    let made = shop.run(&page(&job, "page.html", &asked)).exits(0).json();
    let code = made["code"].as_str().expect("a code").to_owned();
    assert_eq!(entries(&shop, &job), before + 1);
    let file = std::fs::read_to_string(shop.path("page.html")).expect("a page");
    assert!(file.contains(&code) && file.contains("2999-01-01") && !file.contains("<script"), "{code}");
    // The same question about the same page is the same request, and so is none at all.
    let again = shop.run(&page(&job, "again.html", &asked)).exits(0).json();
    assert_eq!((again["code"].as_str(), &again["new"]), (Some(code.as_str()), &serde_json::Value::Bool(false)));
    assert_eq!(shop.run(&page(&job, "third.html", &[])).exits(0).json()["code"], made["code"]);
    assert_eq!(entries(&shop, &job), before + 1);
    shop.run(&page(&job, "page.html", &["--ceiling", "EUR 3000"])).exits(5);
    assert_eq!(entries(&shop, &job), before + 1, "a file that is in the way is met before anything is asked");

    // A sign that is wrong, two that changed places, a code that nobody has.
    let typed: String = code.chars().filter(|c| *c != '-').collect();
    let signs: Vec<char> = typed.chars().collect();
    let place = (0..6).find(|n| signs[*n] != signs[n + 1]).expect("two signs that differ");
    let mut swapped = signs.clone();
    swapped.swap(place, place + 1);
    let swapped: String = swapped.into_iter().collect();
    let said = answer(&shop, &swapped, &["--yes"]).exits(2);
    for part in [swapped.as_str(), code.as_str(), "Tolvane Carrier"] {
        assert!(said.err.contains(part), "{part}: {}", said.err);
    }
    let said = answer(&shop, "2222222", &["--yes"]).exits(3);
    assert!(said.err.contains("222-222-2"), "{}", said.err);
    answer(&shop, &typed, &["--yes", "--ceiling", "EUR 2901"]).exits(4);
    answer(&shop, &typed, &["--yes", "--no"]).exits(2);
    assert_eq!(entries(&shop, &job), before + 1);

    answer(&shop, &typed.to_lowercase(), &["--yes", "--ceiling", "EUR 2850"]).exits(0);
    shop.run(&["export", &job, "--out", "kept.jsonl"]).exits(0);
    let kept = std::fs::read_to_string(shop.path("kept.jsonl")).expect("the logbook");
    let last: serde_json::Value = serde_json::from_str(kept.lines().last().expect("a line")).expect("JSON");
    assert_eq!(last["kind"], "approval-given");
    assert_eq!((&last["body"]["asked"], &last["body"]["page"]), (&made["asked"], &made["page"]));
    assert_eq!(last["body"]["ceiling"]["amount"], "2850.00");
    answer(&shop, &typed, &["--yes"]).exits(4);
}

#[test]
fn a_page_whose_price_changed_takes_no_yes_and_says_what_changed() {
    let (shop, job) = van();
    let made = shop.run(&page(&job, "page.html", &["--ceiling", "EUR 5000", "--option", "new-heads"])).exits(0).json();
    let code = made["code"].as_str().expect("a code").to_owned();
    let paper = shop.run(&["workup", &job]).exits(0).out;
    assert!(paper.contains(&code) && paper.contains("waits for an answer"), "{paper}");
    shop.run(&["tell", &job, "money-told", r#"{"labour_rate": {"amount": "91.00", "currency": "EUR"}}"#]).exits(0);
    let said = answer(&shop, &code, &["--yes"]).exits(4);
    for part in ["void", "price: ", ", from “EUR", "” to “EUR", "ask again", "witnessmark page"] {
        assert!(said.err.contains(part), "{part}: {}", said.err);
    }
    let yes = format!(
        r#"{{"covers": "repair", "ceiling": {{"amount": "5000.00", "currency": "EUR"}}, "who": "owner", "how": "telephone", "words": "yes", "asked": {}}}"#,
        made["asked"]
    );
    shop.run(&["tell", &job, "approval-given", &yes]).exits(4);
    let said = shop.run(&page(&job, "other.html", &[])).exits(4);
    assert!(said.err.contains(&code) && said.err.contains("--ceiling"), "{}", said.err);
    let paper = shop.run(&["workup", &job]).exits(0).out;
    assert!(paper.contains("ask again"), "{paper}");
    // Asked again it has another code, and that one is answered; a no needs no page that holds.
    let again =
        shop.run(&page(&job, "other.html", &["--ceiling", "EUR 5000", "--option", "new-heads"])).exits(0).json();
    assert_ne!(again["code"], made["code"]);
    let said = answer(&shop, &code, &["--yes"]).exits(4);
    assert!(said.err.contains("asked again"), "{}", said.err);
    answer(&shop, again["code"].as_str().expect("a code"), &["--no"]).exits(0);
}

#[test]
fn a_look_asks_nothing_and_no_page_is_made_while_the_cause_is_open() {
    let (shop, job) = van();
    let before = entries(&shop, &job);
    shop.run(&["page", &job, "--look", "--out", "look.html"]).exits(0);
    assert_eq!(entries(&shop, &job), before);
    let file = std::fs::read_to_string(shop.path("look.html")).expect("a page");
    assert!(file.contains("only a look"), "it says that it is none to answer");
    let (bare, other) = Shop::with_job();
    bare.run(&["tell", &other, "money-told", r#"{"labour_rate": {"amount": "78.00", "currency": "EUR"}}"#]).exits(0);
    let said = bare.run(&["page", &other, "--ceiling", "EUR 900", "--out", "page.html"]).exits(4);
    assert!(said.err.contains("cause-unknown-signed"), "{}", said.err);
    bare.run(&["tell", &other, "cause-unknown-signed", r#"{"by": "Ansel"}"#]).exits(0);
    bare.run(&["page", &other, "--ceiling", "EUR 900", "--out", "page.html"]).exits(0);
    let file = std::fs::read_to_string(bare.path("page.html")).expect("a page");
    assert!(file.contains("We do not know why it failed. Ansel signs for that."), "the signature is printed");
    bare.run(&["page", &other, "--ceiling", "EUR 900", "--covers", "teardown", "--out", "no.html"]).exits(2);
    bare.run(&["page", &other, "--ceiling", "USD 900", "--out", "no.html"]).exits(2);
    bare.run(&["page", &other, "--ceiling", "EUR 900", "--out", "nowhere/no.html"]).exits(3);
}
