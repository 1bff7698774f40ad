//! Quotes side by side, a price list read in, and the same quotes written out and read in again.

use serde_json::Value;

use crate::shop::Shop;

const LIST: &str = "\
Article;Net;RRP;Core;Lead time
Head gasket, layered steel, 1.2 mm;61,50;84,00;;2-4
Head bolt, single;4,70;6,10;;1
Head, reconditioned, with seats and guides;742,00;980,00;180,00;5 to 8
Sump plug;1,10;2,00;;1
";

fn imported(shop: &Shop, job: &str, more: &[&str]) -> crate::shop::Said {
    let mut words = vec!["quotes", "import", job, "list.csv"];
    words.extend(more);
    shop.run(&words)
}

#[test]
fn a_price_list_is_shown_first_and_kept_when_told_with_the_rows_that_were_named() {
    let (shop, job) = Shop::with_job();
    shop.write("list.csv", LIST.as_bytes());
    let named = [
        "--supplier",
        "Hollin Parts",
        "--currency",
        "EUR",
        "--take",
        "head_gasket=gasket, layered",
        "--take",
        "head_exchange_fit=reconditioned",
    ];
    let looked = imported(&shop, &job, &named).exits(0);
    assert!(looked.out.contains("EUR 61.50 from Hollin Parts"), "{}", looked.out);
    assert!(looked.out.contains("2 rows are for no need"), "{}", looked.out);
    assert!(looked.err.contains("nothing is kept yet"), "{}", looked.err);
    let none = shop.run(&["--json", "quotes", "show", &job]).exits(0).json();
    assert_eq!(none, Value::Array(Vec::new()));
    imported(&shop, &job, &[named.as_slice(), &["--keep"]].concat()).exits(0);
    let kept = shop.run(&["--json", "quotes", "show", &job]).exits(0).json();
    let head = kept.as_array().expect("a list").iter().find(|n| n["for"] == "head_exchange_fit").expect("the head");
    let quote = &head["offers"][0]["quote"];
    assert_eq!(
        (quote["price"]["amount"].as_str(), quote["core_deposit"]["amount"].as_str()),
        (Some("742.00"), Some("180.00"))
    );
    assert_eq!(quote["lead_days"], serde_json::json!([5, 8]));
}

#[test]
fn what_a_list_leaves_open_is_asked_with_the_words_that_answer() {
    let (shop, job) = Shop::with_job();
    shop.write("list.csv", LIST.as_bytes());
    let refused = |more: &[&str]| imported(&shop, &job, more).exits(4).err;
    let supplier = ["--supplier", "Hollin Parts", "--currency", "EUR"];
    let with = |more: &[&'static str]| -> Vec<&str> { supplier.iter().copied().chain(more.iter().copied()).collect() };
    assert!(refused(&with(&["--take", "head_gasket=head"])).contains("stands in 3 rows (lines 2, 3, 4)"));
    assert!(refused(&with(&["--take", "head_gasket=camshaft"])).contains("no row holds"));
    assert!(refused(&with(&["--take", "no_such_part=gasket"])).contains("no operation, part or option"));
    assert!(refused(&with(&["--column", "price=Gross"])).contains("no column is headed `Gross`; there are `Article`"));
    assert!(refused(&with(&["--column", "colour=Net"])).contains("nothing a column can be; there are supplier"));
    let nobody = refused(&["--currency", "EUR", "--take", "head_gasket=layered"]);
    assert!(nobody.contains("line 2") && nobody.contains("--supplier NAME"), "{nobody}");
    let money = refused(&["--supplier", "Hollin Parts", "--take", "head_gasket=layered"]);
    assert!(money.contains("--currency EUR"), "{money}");
    shop.write("list.csv", b"for,unit price,net price\nhead_gasket,61.50,60.00\n");
    let two = refused(&with(&[]));
    assert!(two.contains("`unit price` and `net price` could all be the price") && two.contains("--column"), "{two}");
    shop.write("list.csv", b"for,price\nhead_gasket,61.50\n");
    assert!(refused(&with(&[])).contains("--days 2..5"));
    shop.write("list.csv", b"for,price,days\nhead_gasket,61.50,5-2\n");
    assert!(refused(&with(&[])).contains("swap them"));
    assert_eq!(
        shop.run(&["--json", "quotes", "show", &job]).exits(0).json(),
        Value::Array(Vec::new()),
        "nothing is kept"
    );
}

#[test]
fn quotes_written_out_read_in_as_they_were_and_no_cell_is_a_formula() {
    let (shop, job) = Shop::with_job();
    let quote = |supplier: &str, price: &str, freight: &str, days: &str| {
        let body = format!(
            r#"{{"supplier": "{supplier}", "need": "head_gasket", "price": {{"amount": "{price}", "currency": "EUR"}},
               "freight": {{"amount": "{freight}", "currency": "EUR"}}, "lead_days": {days}, "includes": ["dowels", "sealer"]}}"#
        );
        shop.run(&["tell", &job, "quote-received", &body]).exits(0);
    };
    quote("Quayside Stores", "58.00", "9.00", "[1, 2]");
    quote("=Hollin Parts", "61.50", "4.50", "[3, 4]");
    quote("Brackwater", "64.00", "6.00", "[1, 1]");
    let shown = shop.run(&["--json", "quotes", "show", &job]).exits(0).json();
    let offers = shown[0]["offers"].as_array().expect("offers");
    // By hand: 58 + 9 = 67, 61.50 + 4.50 = 66, 64 + 6 = 70.
    let by: Vec<(&str, &str)> = offers
        .iter()
        .map(|o| (o["quote"]["supplier"].as_str().expect("who"), o["together"]["amount"].as_str().expect("an amount")))
        .collect();
    assert_eq!(by, [("=Hollin Parts", "66.00"), ("Quayside Stores", "67.00"), ("Brackwater", "70.00")]);
    let marks: Vec<(bool, bool)> = offers.iter().map(|o| (o["cheapest"] == true, o["soonest"] == true)).collect();
    assert_eq!(marks, [(true, false), (false, false), (false, true)]);
    let table = shop.run(&["quotes", "export", &job]).exits(0).out;
    assert!(table.lines().all(|l| !l.starts_with('=')) && table.contains("'=Hollin Parts"), "{table}");
    let (other, again) = Shop::with_job();
    other.write("list.csv", table.as_bytes());
    other.run(&["quotes", "import", &again, "list.csv", "--keep"]).exits(0);
    let back = other.run(&["--json", "quotes", "show", &again]).exits(0).json();
    let bodies =
        |v: &Value| v[0]["offers"].as_array().expect("offers").iter().map(|o| o["quote"].clone()).collect::<Vec<_>>();
    assert_eq!(bodies(&back), bodies(&shown));
}

#[test]
fn a_quote_that_ran_out_stands_last_and_is_not_the_cheapest() {
    let (shop, job) = Shop::with_job();
    for (supplier, price, until) in
        [("Old Yard", "40.00", "2020-01-31"), ("New Yard", "50.00", "2999-01-31"), ("Third", "55.00", "2999-01-31")]
    {
        let body = format!(
            r#"{{"supplier": "{supplier}", "need": "head_gasket", "price": {{"amount": "{price}", "currency": "EUR"}},
               "lead_days": [1, 2], "valid_until": "{until}"}}"#
        );
        shop.run(&["tell", &job, "quote-received", &body]).exits(0);
    }
    let shown = shop.run(&["quotes", "show", &job]).exits(0).out.split_whitespace().collect::<Vec<_>>().join(" ");
    let place = |words: &str| shown.find(words).unwrap_or_else(|| panic!("{words}: {shown}"));
    assert!(place("New Yard") < place("Third") && place("Third") < place("Old Yard"), "{shown}");
    assert!(shown.contains("ask again") && shown.contains("cheapest"), "{shown}");
    let offers = shop.run(&["--json", "quotes", "show", &job]).exits(0).json();
    assert_eq!(offers[0]["offers"][0]["cheapest"], true);
    assert_eq!(offers[0]["offers"][2]["cheapest"], false);
}
