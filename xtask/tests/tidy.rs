//! The project is tidy, and the tidying notices what it should.
#![expect(clippy::unwrap_used, reason = "clippy lets only the tests themselves off, not the functions they share")]

use std::fs;
use std::path::Path;

use xtask::tidy::{self, Complaint};
use xtask::tree::Tree;

/// Makes a small project out of paths and texts.
fn project(files: &[(&str, &str)]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for (path, text) in files {
        let path = folder.path().join(path);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, text).unwrap();
    }
    folder
}

fn said(complaints: &[Complaint]) -> String {
    complaints.iter().map(|complaint| format!("{complaint}\n")).collect()
}

#[test]
fn the_project_is_tidy() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap();
    let complaints = tidy::tidy(root).unwrap();
    assert!(complaints.is_empty(), "{}", said(&complaints));
}

#[test]
fn an_arrow_that_is_not_listed_and_one_that_is_not_used_are_both_named() {
    let folder = project(&[
        ("rooms.txt", "anvil:\nbench: anvil\ncart: anvil\n@lathe: anvil\n"),
        ("crates/anvil/Cargo.toml", "[dependencies]\nlathe = \"1\"\n"),
        ("crates/bench/Cargo.toml", "[dependencies]\ncart.workspace = true\nlathe = \"1\"\n"),
        (
            "crates/cart/Cargo.toml",
            "[dependencies]\nanvil.workspace = true\n[dev-dependencies]\nbench.workspace = true\n",
        ),
        ("crates/drill/Cargo.toml", "[dependencies]\n"),
    ]);
    let complaints = tidy::rooms::complaints(&Tree::read(folder.path()).unwrap());
    let said = said(&complaints);
    assert_eq!(complaints.len(), 5, "{said}");
    assert!(said.contains("crates/bench/Cargo.toml: uses the room `cart`"), "{said}");
    assert!(said.contains("crates/bench/Cargo.toml: does not use the room `anvil`"), "{said}");
    assert!(said.contains("crates/bench/Cargo.toml: uses the library `lathe`"), "{said}");
    assert!(said.contains("crates/cart/Cargo.toml: its tests use the room `bench`"), "{said}");
    assert!(said.contains("the room `drill` is not in rooms.txt"), "{said}");
}

#[test]
fn a_file_without_an_opening_is_named_with_its_line() {
    let folder = project(&[
        ("crates/anvil/src/lib.rs", "//! An anvil. For: hitting. Comes in: iron. Goes out: shapes. Must not: ring.\n"),
        ("crates/anvil/src/horn.rs", "fn horn() {}\n"),
        ("crates/bench/src/lib.rs", "//! A bench.\n"),
    ]);
    let complaints = tidy::docs::complaints(&Tree::read(folder.path()).unwrap());
    let said = said(&complaints);
    assert!(said.contains("crates/anvil/src/horn.rs:1: does not open with"), "{said}");
    assert!(!said.contains("anvil/src/lib.rs"), "{said}");
    assert_eq!(complaints.iter().filter(|complaint| complaint.file == "crates/bench/src/lib.rs").count(), 3, "{said}");
}

#[test]
fn a_path_of_one_machine_is_named_and_a_path_of_the_project_is_not() {
    let of_one_machine = format!("see /{}/someone/engine.txt\n", "home");
    let folder = project(&[("a.md", &of_one_machine), ("b.md", "see docs/home/engine.txt and at work/play\n")]);
    let complaints = tidy::words::complaints(&Tree::read(folder.path()).unwrap());
    assert_eq!(complaints.len(), 1, "{}", said(&complaints));
    assert_eq!((complaints[0].file.as_str(), complaints[0].line), ("a.md", 1));
}

#[test]
fn a_gap_between_decisions_and_a_link_to_nowhere_are_named() {
    let parts = "## What we face\n## What we chose\n## What else was weighed\n## What follows\n";
    let folder = project(&[
        ("docs/decisions/0001-rooms.md", &format!("# 0001 Rooms\n{parts}")),
        (
            "docs/decisions/0003-doors.md",
            &format!("# 0003 Doors\n{parts}See [rooms](0001-rooms.md), [roof](0009-roof.md).\n"),
        ),
    ]);
    let complaints = tidy::papers::complaints(&Tree::read(folder.path()).unwrap());
    let said = said(&complaints);
    assert_eq!(complaints.len(), 2, "{said}");
    assert!(said.contains("has number 0003 where 0002 comes next"), "{said}");
    assert!(said.contains("links to `0009-roof.md`"), "{said}");
}

#[test]
fn a_figure_in_a_judging_room_needs_its_source_at_hand() {
    let folder = project(&[(
        "crates/workup/src/lib.rs",
        "//! Judges.\nconst REJECT_MM: f64 = 0.05;\n\n\n\n\n// Source: a made-up table\nconst KEEP_MM: f64 = 0.03;\n",
    )]);
    let complaints = tidy::figures::complaints(&Tree::read(folder.path()).unwrap());
    assert_eq!(complaints.len(), 1, "{}", said(&complaints));
    assert_eq!(complaints[0].line, 2);
}
