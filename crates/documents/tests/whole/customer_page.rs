//! The page for the customer: one file that needs nothing else, holds what it must, and turns what people wrote into text.

use documents::customer_page::{Leaf, file};
use logbook::{AnswerCode, Covers};
use quantity::{Money, MoneyReply, parse_money};
use workup::customer_page::{CustomerPage, MOST_WAYS, Question};

use crate::common::{Demo, NAMES, demo, told};
use crate::pictures::whole;

fn eur(text: &str) -> Money {
    match parse_money(&format!("EUR {text}"), None).unwrap() {
        MoneyReply::Value(money) => money,
        MoneyReply::Question { ask, .. } => panic!("{ask}"),
    }
}

/// The page of a demo job, asked for its chosen way, and its file.
pub(crate) fn page_of(demo: &Demo) -> (CustomerPage, String) {
    let question = Question {
        covers: Covers::Repair,
        option: demo.state.chosen.as_ref().map(|c| c.option.clone()),
        ceiling: eur("2600"),
        words: None,
        answer_by: Some("2026-12-04".parse().unwrap()),
    };
    let page = CustomerPage::of(&demo.case, &demo.state, &demo.knowledge, &question).unwrap();
    let code = AnswerCode::of(demo.state.job.unwrap(), &page.hash(), 0);
    let tail = demo.tail();
    let leaf =
        Leaf { shop: Some("Kellan Bench, Fennmouth"), code: Some(&code), issued: "2026-11-27", chain_tail: &tail };
    let text = String::from_utf8(file(&page, &leaf)).unwrap();
    assert!(text.contains(&code.grouped()));
    (page, text)
}

/// The pictures of a file, each as a document of its own.
fn pictures(text: &str) -> Vec<String> {
    text.split("<svg")
        .skip(1)
        .map(|rest| {
            let (svg, _) = rest.split_once("</svg>").unwrap();
            format!("<svg xmlns=\"http://www.w3.org/2000/svg\"{svg}</svg>")
        })
        .collect()
}

#[test]
fn the_page_is_one_file_without_script_link_or_address() {
    for name in NAMES {
        let (page, text) = page_of(&demo(name));
        let lower = text.to_lowercase();
        for never in [
            "<script",
            "javascript:",
            "http://",
            "https://",
            "//",
            "<a ",
            "href=",
            "src=",
            "url(",
            "@import",
            "<link",
            "<iframe",
            "<object",
            "<img",
            "<form",
            "<input",
            "<base",
            " onclick",
            " onload",
            "http-equiv=\"refresh",
        ] {
            assert!(!lower.contains(never), "{name}: {never}");
        }
        assert!(text.starts_with("<!DOCTYPE html>") && text.contains("lang=\"en\""), "{name}");
        assert!(text.contains("default-src 'none'"), "{name}: it may load nothing");
        assert!(text.contains("name=\"viewport\"") && text.contains("prefers-color-scheme: dark"), "{name}");
        assert!(text.contains("@media print"), "{name}");
        let drawn = pictures(&text);
        assert!(drawn.len() >= page.wrong.len() + 2, "{name}: {}", drawn.len());
        for svg in &drawn {
            let document = whole(svg);
            assert_eq!(document.root_element().attribute("role"), Some("img"), "{name}");
        }
        assert!(text.len() < 400_000, "{name}: it must travel by message: {}", text.len());
    }
}

#[test]
fn the_page_holds_what_a_customer_decides_by() {
    for name in NAMES {
        let demo = demo(name);
        let (page, text) = page_of(&demo);
        let plain = crate::reading::blocks(&text).join("\n");
        assert!((2..=MOST_WAYS).contains(&page.ways.len()), "{name}");
        assert!(page.ways.iter().any(|w| w.stays) && plain.contains("Do nothing for now"), "{name}");
        assert_eq!(page.ways.iter().filter(|w| w.asked).count(), 1, "{name}");
        for way in &page.ways {
            for part in [&way.name, &way.price, &way.warranty] {
                assert!(plain.contains(part.as_str()), "{name}: {part}");
            }
            assert!(!way.bears.is_empty(), "{name}: {} says who bears what", way.name);
        }
        for part in [
            "Kellan Bench, Fennmouth",
            page.title.as_str(),
            page.ceiling.as_str(),
            page.cause.as_str(),
            "2026-12-04",
            page.question.as_str(),
            "Call us",
            "A link would work inside our shop only",
            "What can move the price",
        ] {
            assert!(plain.contains(part), "{name}: {part}");
        }
        for part in page.customer.iter().chain(&page.told) {
            assert!(plain.contains(part.as_str()), "{name}: {part}");
        }
        // Every fact that makes its version can be read on it.
        for fact in page.facts().iter().filter(|f| f.what.starts_with("price: ") || f.what == "the ceiling") {
            assert!(plain.contains(&fact.says), "{name}: {fact:?}");
        }
    }
}

#[test]
fn what_people_write_cannot_become_markup() {
    let root = concat!(env!("CARGO_MANIFEST_DIR"), "/../../cases/");
    let text = std::fs::read_to_string(format!("{root}{}/story.jsonl", NAMES[0])).unwrap();
    let hostile = "<script>alert(1)</script><a href='x'>";
    let text = text.replace("The needle went red", &format!("{hostile} The needle went red"));
    let (page, file) = page_of(&told("0001-tolvane-carrier", &text));
    assert!(page.told.iter().any(|t| t.contains("<script>")));
    assert!(!file.contains("<script") && !file.contains("<a href"), "it stays text");
    assert!(file.contains("&lt;script&gt;"));
}

#[test]
fn the_same_page_has_the_same_bytes_and_the_day_is_none_of_its_version() {
    let demo = demo(NAMES[1]);
    let (page, one) = page_of(&demo);
    let (_, two) = page_of(&demo);
    assert_eq!(one, two);
    let leaf = Leaf { shop: None, code: None, issued: "2027-01-01", chain_tail: "00000000" };
    let other = String::from_utf8(file(&page, &leaf)).unwrap();
    let version: String = page.hash().chars().take(8).collect();
    assert!(one.contains(&version) && other.contains(&version));
    assert!(other.contains("only a look"));
}
