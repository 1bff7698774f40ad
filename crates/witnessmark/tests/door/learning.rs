//! What the shop's own jobs say, at the command line: shown, taken up, taken back.

use serde_json::json;

use crate::shop::Shop;

/// Jobs of one shop that each turned out to have a warped head, but for the first, and a store that holds them.
fn told(count: usize) -> Shop {
    let shop = Shop::new();
    for n in 0..count {
        let job = shop.opens(&format!("job number {n}"));
        let state = if n == 0 { "flat" } else { "machinable" };
        let body =
            json!({"condition": "head-warp", "position": "bank-A", "state": state, "how": "measured on the bench"});
        shop.run(&["--quiet", "tell", &job, "outcome-found", &body.to_string()]).exits(0);
    }
    shop
}

/// The chance of a sound head before any check.
fn flat(shop: &Shop) -> f64 {
    let case = shop.run(&["workup", "number 0", "--json"]).exits(0).json();
    let all = case["conditions"].as_array().expect("beliefs");
    let warp = all.iter().find(|b| b["id"] == "head-warp").expect("a belief in warp");
    warp["states"][0][1].as_f64().expect("a chance")
}

#[test]
fn a_shop_takes_up_what_its_jobs_say_and_takes_it_back() {
    let shop = told(7);
    let by_book = flat(&shop);
    let shown = shop.run(&["learn"]).exits(0).out;
    for words in ["What 7 finished jobs say", "told   6.0", "in use: the book alone"] {
        assert!(shown.contains(words), "{words} is missing in\n{shown}");
    }
    assert!(!shop.path("store/knowledge").exists(), "to look changes nothing");
    let said = shop.run(&["learn", "adopt", "--because", "a year of jobs", "--json"]).exits(0).json();
    assert_eq!(said["jobs"], 7);
    let file = std::fs::read_to_string(shop.path("store/knowledge/learnt/odds.toml")).expect("a file");
    for words in [
        "by = \"tester\"",
        "because = \"a year of jobs\"",
        "of = \"head-warp\"",
        "kind = \"elicited\"",
        "7 of the shop's own jobs",
    ] {
        assert!(file.contains(words), "{words} is missing in\n{file}");
    }
    let by_shop = flat(&shop);
    assert!(by_shop < by_book - 0.2, "six warped heads of seven: {by_book} before, {by_shop} after");
    // By hand: the book's share worth eight jobs, one sound head in seven.
    let want = (by_book * 8.0 + 1.0) / 15.0;
    assert!((by_shop - want).abs() < 2e-3, "{by_shop}, expected {want}");
    assert!(shop.run(&["learn"]).exits(0).out.contains("taken up on"));
    shop.run(&["knowledge", "check"]).exits(0);
    // Learnt once more, from the book and not from what was learnt: nothing is counted twice.
    shop.run(&["learn", "adopt", "--because", "once more"]).exits(0);
    assert!((flat(&shop) - by_shop).abs() < 1e-9);
    shop.run(&["learn", "undo"]).exits(0);
    assert!(shop.run(&["learn"]).exits(0).out.contains("a year of jobs"), "the one before stands again");
    shop.run(&["learn", "undo"]).exits(0);
    assert!((flat(&shop) - by_book).abs() < 1e-12);
    let said = shop.run(&["learn", "undo"]).exits(3).err;
    assert!(said.contains("the book alone is in use"), "{said}");
}

#[test]
fn few_jobs_change_nothing_and_a_misspelt_state_is_named() {
    let shop = told(3);
    let said = shop.run(&["learn", "adopt", "--because", "impatience"]).exits(4).err;
    assert!(said.contains("foretells"), "{said}");
    assert!(shop.run(&["learn"]).exits(0).out.contains("too few jobs told it"));
    let body = json!({"condition": "head-warp", "position": "bank-A", "state": "bent", "how": "seen"});
    let said = shop.run(&["tell", "number 1", "outcome-found", &body.to_string()]).exits(4).err;
    assert!(said.contains("state") && said.contains("machinable"), "{said}");
    // A cause can be told as well.
    let body = json!({"condition": "overheated", "position": "engine", "state": "yes", "how": "the owner drove on"});
    shop.run(&["tell", "number 1", "outcome-found", &body.to_string()]).exits(0);
    let shown = shop.run(&["learn", "--json"]).exits(0).json();
    let odds = shown["lesson"]["odds"].as_array().expect("odds");
    assert!(odds.iter().any(|o| o["of"] == "overheated"), "{shown}");
}

#[test]
fn a_job_says_what_it_can_still_tell() {
    let shop = Shop::with_demo();
    let asked = shop.run(&["learn", "ask", "carrier", "--json"]).exits(0).json();
    let list = asked.as_array().expect("a list");
    assert!(!list.is_empty() && list.len() <= 12);
    // Each can be told as it stands there, sound or not.
    let one = &list[0];
    let body = json!({"condition": one["condition"], "position": one["position"], "state": one["states"][0], "how": "seen with the part out"});
    shop.run(&["--quiet", "tell", "carrier", "outcome-found", &body.to_string()]).exits(0);
    let left = shop.run(&["learn", "ask", "carrier", "--json"]).exits(0).json();
    let same = |o: &serde_json::Value| o["condition"] == one["condition"] && o["position"] == one["position"];
    assert!(!left.as_array().expect("a list").iter().any(same), "what is told is not asked again");
    assert!(shop.run(&["learn", "ask", "carrier"]).exits(0).out.contains("outcome-found"));
}
