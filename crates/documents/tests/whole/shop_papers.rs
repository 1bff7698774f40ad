//! The papers of the counter: whose they are, orders, labels, bench sheet, hand-back and invoice.

use documents::papers::{JobPapers, Paper, PaperError, PaperSize, typeset};
use knowledge::{FileSet, Knowledge};
use workup::invoice::Invoice;

use crate::common::{Demo, NAMES, demo, told};
use crate::papers::{before, pages, told_by_reader, words};

const SHOP: &str = r#"
[[shop]]
name = "Saltmarsh Engine Works"
address = ["7 Tidemill Lane", "Fennmouth"]
reach = ["telephone 0555 0172"]
registration = ["Tax number 17 204"]
estimate_days = 10
payment = "Within 14 days of the date of issue."
[shop.words]
estimate = ["Prices of an estimate bind for ten days."]
order = ["Deliveries before four."]
invoice = ["Keep this paper for two years."]
hand_back = ["Our work is insured."]
"#;

fn with_shop(mut demo: Demo) -> Demo {
    let files = FileSet::builtin().with_texts(&[("shop/shop.toml", SHOP)]);
    demo.knowledge = Knowledge::from_files(&files).unwrap();
    demo
}

fn made(demo: &Demo, paper: Paper) -> Result<Vec<u8>, PaperError> {
    let tail = demo.tail();
    let from = JobPapers {
        case: &demo.case,
        state: &demo.state,
        knowledge: &demo.knowledge,
        chain_tail: &tail,
        issued: "2026-11-27".to_owned(),
        shop: None,
    };
    Ok(typeset(paper, &from, PaperSize::A4)?.pdf)
}

#[test]
fn what_leaves_the_shop_says_who_it_is_and_what_stays_does_not() {
    let demo = with_shop(demo(NAMES[0]));
    for paper in documents::papers::due(&demo.case, &demo.state, &demo.knowledge) {
        let text = words(&made(&demo, paper).unwrap());
        assert!(text.contains("Saltmarsh Engine Works"), "{}", paper.word());
        for wanted in ["7 Tidemill Lane, Fennmouth", "telephone 0555 0172", "Tax number 17 204"] {
            assert_eq!(text.contains(wanted), paper.leaves(), "{}: {wanted}", paper.word());
        }
    }
    let says = |paper, wanted: &str| words(&made(&demo, paper).unwrap()).contains(wanted);
    assert!(says(Paper::Estimate, "Prices of an estimate bind for ten days."));
    // The quote it rests on ran out long before this print.
    assert!(says(Paper::Estimate, "2026-03-20: the first quote has run out; ask for new prices"));
    assert!(says(Paper::PurchaseOrder, "Deliveries before four."));
    assert!(says(Paper::Invoice, "Keep this paper for two years."));
    assert!(says(Paper::Invoice, "Within 14 days of the date of issue."));
    assert!(says(Paper::HandBack, "Our work is insured."));
}

#[test]
fn an_order_goes_to_each_supplier_on_sheets_of_its_own_with_all_that_is_ordered_there() {
    for name in NAMES {
        let demo = with_shop(demo(name));
        let sheets = pages(&made(&demo, Paper::PurchaseOrder).unwrap());
        for order in &demo.state.orders {
            let its: Vec<&String> =
                sheets.iter().filter(|s| s.contains(&format!("Order to {}", order.supplier))).collect();
            assert_eq!(its.len(), 1, "{name}: one sheet for {}", order.supplier);
            let price = order.price.unwrap().to_string();
            assert!(its[0].contains(&price), "{name}: {price} to {}", order.supplier);
            assert!(its[0].contains("7 Tidemill Lane"), "each begins as the first does");
            let others = demo.state.orders.iter().map(|o| &o.supplier).filter(|s| **s != order.supplier);
            for other in others {
                assert!(!its[0].contains(other.as_str()), "{name}: {other} on the sheet of {}", order.supplier);
            }
        }
    }
    let early = before(NAMES[0], "part-ordered");
    assert!(matches!(made(&early, Paper::PurchaseOrder), Err(PaperError::NothingOrdered { .. })));
}

/// A word on a sheet: its sheet, left, top, right and bottom in points, and itself.
type Placed = (usize, [f64; 4], String);

fn placed(pdf: &[u8]) -> Vec<Placed> {
    let told = told_by_reader(pdf, "-bbox");
    let options = roxmltree::ParsingOptions { allow_dtd: true, ..roxmltree::ParsingOptions::default() };
    let read = roxmltree::Document::parse_with_options(&told, options).unwrap();
    let sheets = read.descendants().filter(|n| n.has_tag_name((n.tag_name().namespace().unwrap_or(""), "page")));
    let mut out = Vec::new();
    for (sheet, page) in sheets.enumerate() {
        for word in page.descendants().filter(|n| n.tag_name().name() == "word") {
            let at = ["xMin", "yMin", "xMax", "yMax"].map(|edge| word.attribute(edge).unwrap().parse().unwrap());
            out.push((sheet, at, word.text().unwrap_or_default().to_owned()));
        }
    }
    out
}

/// A label says all that it has to say: none of its words lies on another one.
#[test]
fn no_word_of_a_label_lies_on_another() {
    for name in NAMES {
        let words = placed(&made(&demo(name), Paper::Labels).unwrap());
        assert!(words.len() > 40, "{name}: {} words", words.len());
        for (n, (sheet, a, one)) in words.iter().enumerate() {
            for (_, b, other) in words.iter().skip(n + 1).filter(|(s, ..)| s == sheet) {
                // Boxes hold room above and below the letters; letters themselves lie in the middle half.
                let wide = a[2].min(b[2]) - a[0].max(b[0]);
                let high = a[3].min(b[3]) - a[1].max(b[1]);
                let least = (a[3] - a[1]).min(b[3] - b[1]);
                assert!(wide <= 0.5 || high <= least / 2.0, "{name}, sheet {}: {one:?} lies on {other:?}", sheet + 1);
            }
        }
    }
}

#[test]
fn labels_are_there_for_every_bag_order_and_piece_that_goes_out() {
    let demo = demo(NAMES[1]);
    let text = words(&made(&demo, Paper::Labels).unwrap());
    let id = &demo.case.job[demo.case.job.len() - 8..];
    let layout = demo.state.layout.as_ref().unwrap();
    let pieces = |o| workup::machine::pieces(o, layout, &demo.knowledge).len();
    let sent: usize = demo.state.machine_orders.iter().map(pieces).sum();
    let labels = demo.state.bags.len() + demo.state.orders.len() + sent;
    // Each label carries the job, and so does the foot of the sheet.
    assert_eq!(text.matches(&format!("job {id}")).count(), labels);
    for bag in &demo.state.bags {
        assert!(text.contains(&bag.bag));
    }
    assert!(text.contains(&demo.state.machine_orders[0].code));
    let early = before(NAMES[1], "part-bagged");
    assert!(matches!(made(&early, Paper::Labels), Err(PaperError::NothingToLabel { .. })));
}

#[test]
fn the_bench_sheet_asks_for_each_place_in_the_sequence_of_the_page_and_prints_no_figure_of_ours() {
    let demo = before(NAMES[0], "reading-taken");
    let next = &demo.case.advice.next[0];
    let check = demo.knowledge.check(&next.check).unwrap();
    let layout = demo.state.layout.as_ref().unwrap();
    let text = words(&made(&demo, Paper::BenchSheet).unwrap());
    let from = text.find(&format!("1. {}", check.name)).expect("the best check comes first");
    let rest = &text[from..];
    let places: Vec<String> = check.scope.iter().flat_map(|s| layout.positions(*s)).map(|p| layout.label(&p)).collect();
    if places.len() > 1 {
        let mut at = 0;
        for place in &places {
            let capital = place[..1].to_uppercase() + &place[1..];
            at += rest[at..].find(&capital).unwrap_or_else(|| panic!("{capital} after {at} in {rest}"));
        }
    }
    let told = workup::told(&demo.state, &demo.knowledge);
    let known = workup::network::attributes(layout, &told, &demo.knowledge);
    let concern = demo.knowledge.cautions_for(&check.cautions, |name| known.get(name).map(String::as_str));
    assert!(!concern.is_empty(), "the first check of this job has a caution");
    for id in concern {
        let caution = demo.knowledge.cautions.iter().find(|c| c.id == id).unwrap();
        assert!(text.contains(&caution.text), "{}", caution.text);
    }
    // Where the engine's sheet has no figure, a line for it stands and no usual one of ours.
    assert!(demo.state.sheet.is_empty(), "this early nobody has typed the sheet");
    assert!(text.contains("The engine's own limit, with its page:"));
    assert!(!text.contains("The engine's own: "));
    let done = with_shop(crate::common::demo(NAMES[0]));
    assert!(!documents::papers::due(&done.case, &done.state, &done.knowledge).contains(&Paper::BenchSheet));
}

#[test]
fn the_hand_back_paper_says_until_when_who_stands_for_what_and_how_it_is_driven_first() {
    let demo = demo(NAMES[0]);
    let text = words(&made(&demo, Paper::HandBack).unwrap());
    // Handed back on the 5th of March 2026 with 24 months.
    for wanted in
        ["24 months, until 2028-03-05", "Stop at once", "the manual holds", "2026-04-05", "800 km", "176460 km"]
    {
        assert!(text.contains(wanted), "{wanted}: {text}");
    }
    let handed = demo.state.handed_back.as_ref().unwrap();
    for item in handed.done.iter().chain(&handed.not_done).chain(&handed.watch_for) {
        let rest: String = item.chars().skip(1).collect();
        assert!(text.contains(rest.trim()), "{item}");
    }
    // Before it went back there are lines to write on, and nobody is told that it is proved.
    let early = before(NAMES[0], "engine-run");
    let text = words(&made(&early, Paper::HandBack).unwrap());
    assert!(!text.contains("Proved "), "{text}");
}

#[test]
fn an_invoice_adds_up_and_is_not_made_above_what_was_agreed() {
    for name in NAMES {
        let demo = demo(name);
        let bill = Invoice::of(&demo.state).unwrap();
        let text = words(&made(&demo, Paper::Invoice).unwrap());
        assert!(text.contains(&format!("To pay: {}", bill.sum.total)), "{name}: {text}");
        for line in &bill.lines {
            assert!(text.contains(&line.amount.to_string()), "{name}: {line:?}");
        }
        assert!(text.contains(&bill.sum.tax.to_string()));
        for approval in &demo.state.approvals {
            assert!(text.contains(&approval.words), "{name}: the words of the yes");
        }
    }
    let root = concat!(env!("CARGO_MANIFEST_DIR"), "/../../cases/");
    let story = std::fs::read_to_string(format!("{root}{}/story.jsonl", NAMES[1])).unwrap();
    let dear = story.replace("\"text\": \"28.5\"", "\"text\": \"45\"");
    assert_ne!(dear, story);
    let refused = made(&told(NAMES[1], &dear), Paper::Invoice).unwrap_err();
    let said = refused.to_string();
    assert!(refused.is_ruled() && said.contains("4,600.00") && said.contains("further work"), "{said}");
}

#[test]
fn the_findings_hold_every_reading_with_its_doubt_and_limit_and_what_speaks_for_and_against_each_belief() {
    for name in NAMES {
        let demo = demo(name);
        let text = words(&made(&demo, Paper::Findings).unwrap());
        let flat: String = text.split_whitespace().collect::<Vec<_>>().join(" ");
        let found = demo.case.findings.iter().filter(|f| !f.after_repair);
        for f in found {
            assert!(flat.contains(&f.shown.replace('\u{a0}', " ")), "{name}: {} {}", f.name(), f.shown);
        }
        for b in demo.case.causes.iter().filter(|b| b.p >= 0.1) {
            let first = b.name.split(' ').next().unwrap();
            assert!(flat.contains(first), "{name}: {}", b.name);
        }
        let held = |own: bool| {
            demo.case.findings.iter().any(|f| !f.after_repair && f.limit.as_ref().is_some_and(|l| l.own == own))
        };
        assert_eq!((flat.contains("engine's own:"), flat.contains("(usual)")), (held(true), held(false)), "{name}");
        assert!(flat.contains("moves the odds"), "{name}");
    }
    // A doubt by hand: the strip of the twin's crank pin and the micrometer have each their own.
    let demo = demo(NAMES[2]);
    let pin = demo.case.findings.iter().find(|f| f.check == "crank-journal-micrometer" && f.u.is_some()).unwrap();
    let text = words(&made(&demo, Paper::Findings).unwrap());
    let u = pin.u.unwrap();
    assert!((0.0005..0.01).contains(&u), "{u} mm");
    assert!(text.contains("doubt 0.00"), "in the unit in which it was typed");
}
