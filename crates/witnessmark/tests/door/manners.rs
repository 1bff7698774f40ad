//! Manners of the command line: exit codes, hostile words, colour, pipes, full disks.

use std::fs::File;
use std::process::Stdio;

use crate::shop::{Shop, binary, said};

#[test]
fn help_names_every_exit_code_and_is_no_error() {
    let shop = Shop::new();
    let help = shop.run_bare(&["--help"]).exits(0).out;
    for code in [
        "0 ok",
        "1 a check found",
        "2 usage",
        "3 not found",
        "4 refused",
        "5 conflict",
        "6 storage",
        "7 not allowed",
        "130 interrupted",
    ] {
        assert!(help.contains(code), "{code}");
    }
    for command in [
        "demo",
        "workup",
        "jobs",
        "new",
        "enter",
        "withdraw",
        "correct",
        "note",
        "tell",
        "sheet",
        "export",
        "import",
        "backup",
        "restore",
        "verify",
        "network",
        "knowledge",
        "calc",
    ] {
        assert!(help.contains(command), "{command}");
        shop.run_bare(&[command, "--help"]).exits(0);
    }
    shop.run_bare(&["--version"]).exits(0);
}

#[test]
fn words_that_make_no_sense_get_one_line_and_their_exit_code() {
    let shop = Shop::new();
    shop.write("empty", b"");
    shop.write("binary.bin", &[0xff, 0xfe, 0, 1, 2, 200]);
    let rows: &[(&[&str], i32)] = &[
        (&["frob"], 2),
        (&["workup"], 2),
        (&["workup", "--no-such-flag"], 2),
        (&["workup", "nothing"], 3),
        (&["workup", "nowhere/job.jsonl"], 3),
        (&["workup", "empty"], 3),
        (&["workup", "."], 3),
        (&["jobs"], 3),
        (&["enter", "x", "y", "z", "1"], 3),
        (&["export", "--all"], 3),
        (&["export"], 2),
        (&["verify"], 3),
        (&["verify", "--repair-into", "copy"], 3),
        (&["export", "--all", "--out", "leaving"], 3),
        (&["backup"], 2),
        (&["backup", "--to", "there"], 3),
        (&["restore", "nowhere.backup"], 2),
        (&["restore", "nowhere.backup", "--drill"], 2),
        (&["serve", "--log", "prose"], 2),
        (&["import", "nowhere.jsonl"], 3),
        (&["new", "--title", ""], 2),
        (&["new", "--title", "x", "--cylinders", "4"], 2),
        (&["new", "--title", "x", "--layout", "binary.bin"], 2),
        (&["new", "--title", "x", "--promised", "soon"], 2),
        (&["network", "infer", "binary.bin"], 2),
        (&["network", "infer", "nowhere.bif"], 3),
        (&["knowledge", "list", "spanners"], 3),
        (&["knowledge", "show", "no-such-thing"], 3),
        (&["knowledge", "check", "--folder", "nowhere"], 3),
        (&["--knowledge", "nowhere", "knowledge", "list"], 3),
        (&["calc", "no-such-calculator"], 3),
        (&["calc", "compression-ratio", "swept"], 2),
        (&["calc", "compression-ratio", "swept=NaN", "chamber=100cc"], 2),
        (&["calc", "compression-ratio", "swept=inf", "chamber=100cc"], 2),
        (&["calc", "compression-ratio", "swept=-3cc", "chamber=100cc"], 2),
        (&["calc", "compression-ratio", "swept=3cc", "chambers=100cc"], 2),
        (&["calc", "compression-ratio", "swept=3 bar", "chamber=100cc"], 2),
        (&["calc", "flatness-grid", "points=@nowhere.csv"], 3),
    ];
    for (words, code) in rows {
        let said = shop.run(words);
        assert_eq!(said.code, *code, "{words:?}: {}", said.err);
        said.exits(*code);
    }
    for (arrangement, cylinders) in [("star", "4"), ("v", "5"), ("v", "-4")] {
        let engine = ["--arrangement", arrangement, "--cylinders", cylinders, "--fuel", "petrol"];
        let words = [&["new", "--title", "x"][..], &engine, &["--valve-gear", "pushrod"]].concat();
        let said = shop.run(&words);
        assert_eq!(said.code, 2, "{words:?}: {}", said.err);
        said.exits(2);
    }
    let bad = shop.run(&["import", "binary.bin"]);
    assert_eq!(bad.code, 1, "{}", bad.err);
    assert!(!bad.err.contains("panicked"));
}

#[test]
fn colour_is_off_on_a_pipe_whatever_the_surroundings_say() {
    let shop = Shop::new();
    for (name, value) in [("NO_COLOR", "1"), ("TERM", "dumb"), ("TERM", "xterm-256color"), ("CLICOLOR_FORCE", "1")] {
        let out = binary().env(name, value).current_dir(shop.path(".")).args(["calc"]).output().expect("it runs");
        assert!(!said(&out).out.contains('\u{1b}'), "{name}={value}");
    }
}

#[test]
fn quiet_leaves_only_results_and_complaints() {
    let shop = Shop::new();
    assert!(!shop.run_bare(&["calc"]).exits(0).err.is_empty());
    assert!(shop.run_bare(&["calc", "--quiet"]).exits(0).err.is_empty());
}

#[test]
fn a_reader_that_goes_away_is_no_trouble() {
    let mut child = binary()
        .args(["knowledge", "list", "check"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it runs");
    drop(child.stdout.take());
    let out = said(&child.wait_with_output().expect("it ends"));
    assert_eq!((out.code, out.err.as_str()), (0, ""));
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_under_the_result_is_said_with_the_storage_code() {
    let shop = Shop::with_demo();
    let full = File::options().write(true).open("/dev/full").expect("the device that is always full");
    let out = binary().current_dir(shop.path(".")).args(["calc", "--json"]).stdout(full).output().expect("it runs");
    said(&out).exits(6);
    shop.run(&["export", "--all", "--out", "/dev/full"]).exits(6);
}

#[test]
fn a_store_that_is_a_file_or_belongs_to_others_is_left_alone() {
    let shop = Shop::new();
    shop.write("store", b"not a folder");
    let said = shop.run(&["new", "--title", "x"]);
    assert!([4, 6, 7].contains(&said.code), "{} {}", said.code, said.err);
    assert!(said.err.starts_with("witnessmark: cannot open the store"), "{}", said.err);
    let other = Shop::new();
    std::fs::create_dir(other.path("store")).expect("a folder");
    other.write("store/mine.txt", b"mine");
    other.run(&["new", "--title", "x"]).exits(4);
}

#[test]
fn without_a_store_named_the_data_folder_of_the_person_is_used() {
    let shop = Shop::new();
    let data = shop.path("data");
    let out =
        binary().env("XDG_DATA_HOME", &data).args(["new", "--title", "first", "--quiet"]).output().expect("it runs");
    said(&out).exits(0);
    assert!(data.join("witnessmark").join("logbook.sqlite").is_file());
    let out =
        binary().env("HOME", shop.path("home")).args(["new", "--title", "first", "--quiet"]).output().expect("it runs");
    said(&out).exits(0);
    assert!(shop.path("home").join(".local/share/witnessmark/logbook.sqlite").is_file());
}
