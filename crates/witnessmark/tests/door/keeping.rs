//! Leaving, backing up, coming back, mending, and stopping: from outside, with the built binary.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use crate::shop::{Said, Shop, binary, read, said};

const WORDS: &str = "seven bolts one stripe and no leak";

fn text(path: &Path) -> &str {
    path.to_str().expect("a path of text")
}

impl Shop {
    /// Runs the binary with the passphrase in its surroundings.
    fn run_with(&self, words: &str, args: &[&str]) -> Said {
        let store = self.path("store");
        let mut command = binary();
        command.current_dir(self.path(".")).env("WITNESSMARK_PASSPHRASE", words).args(["--store", text(&store)]);
        said(&command.args(args).output().expect("it runs"))
    }

    fn state(&self, store: &str) -> String {
        let report = self.run_bare(&["--store", store, "--json", "verify"]).exits(0).json();
        report["state"].as_str().expect("a hash").to_owned()
    }
}

/// Every file below a folder.
fn files(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for item in std::fs::read_dir(folder).expect("a folder") {
        let path = item.expect("an item").path();
        if path.is_dir() { found.extend(files(&path)) } else { found.push(path) }
    }
    found.sort();
    found
}

fn photos(folder: &Path) -> Vec<PathBuf> {
    files(&folder.join("attachments")).into_iter().filter(|f| !text(f).contains("incoming")).collect()
}

#[test]
fn a_shop_leaves_with_its_photos_and_comes_back_as_the_same_record() {
    let shop = Shop::with_demo();
    std::fs::create_dir_all(shop.path("store/knowledge/limits")).expect("a folder");
    let own = read(Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../../knowledge/limits/bore.toml")));
    shop.write("store/knowledge/limits/own.toml", &own);
    let out = shop.run(&["--json", "export", "--all", "--out", "leaving"]).exits(0).json();
    assert!(out["photos"].as_u64() > Some(0), "{out}");
    let state = shop.state("store");
    assert_eq!(out["state"], state);
    assert_eq!(photos(&shop.path("leaving")).len() as u64, out["photos"].as_u64().expect("a number"));
    let manifest: serde_json::Value = serde_json::from_slice(&read(&shop.path("leaving/manifest.json"))).expect("JSON");
    assert_eq!(manifest["entries"], out["entries"]);
    let back = shop.run_bare(&["--store", "new", "--json", "import", "leaving"]).exits(0).json();
    assert_eq!((&back["kept"], &back["photos_kept"]), (&out["entries"], &out["photos"]));
    assert_eq!((&back["there_before"], &back["told_of_gauges"]), (&0.into(), &0.into()));
    assert_eq!(shop.state("new"), state);
    assert_eq!(read(&shop.path("new/knowledge/limits/own.toml")), own);
    let again = shop.run_bare(&["--store", "new", "--json", "import", "leaving"]).exits(0).json();
    assert_eq!((&again["kept"], &again["photos_kept"]), (&0.into(), &0.into()));
    assert_eq!(shop.state("new"), state);
    let said = shop.run_bare(&["--store", "new", "import", "leaving"]).exits(0).out;
    assert!(said.contains("kept: 0 entries") && said.contains(&state), "{said}");
    shop.run_bare(&["--store", "new", "export", "--all", "--out", "again"]).exits(0);
    for file in files(&shop.path("leaving")) {
        let name = file.strip_prefix(shop.path("leaving")).expect("inside");
        assert_eq!(read(&shop.path("again").join(name)), read(&file), "{}", name.display());
    }
    // A folder that holds something is not written into.
    shop.run(&["export", "--all", "--out", "leaving"]).exits(5);
    shop.run(&["export", "--all", "--out", "leaving", "--force"]).exits(5);
}

#[test]
fn a_missing_or_changed_photo_is_named_and_everything_else_comes_in() {
    let shop = Shop::with_demo();
    shop.run(&["export", "--all", "--out", "leaving"]).exits(0);
    let photos = photos(&shop.path("leaving"));
    let name = |n: usize| text(photos[n].file_name().expect("a name").as_ref()).to_owned();
    let kept = read(&photos[0]);
    std::fs::remove_file(&photos[0]).expect("gone");
    let mut wanted = vec![name(0)];
    if photos.len() > 1 {
        std::fs::write(&photos[1], b"another picture").expect("changed");
        wanted.push(name(1));
    }
    let said = shop.run_bare(&["--store", "new", "import", "leaving"]);
    assert_eq!(said.code, 1, "{}", said.err);
    for name in &wanted {
        let line = said.err.lines().find(|l| l.contains(name)).expect("it is named");
        assert!(line.contains("put it back from another copy"), "{line}");
    }
    assert!(said.err.contains("everything else is taken in"), "{}", said.err);
    std::fs::write(&photos[0], kept).expect("put back");
    let again = shop.run_bare(&["--store", "new", "--json", "import", "leaving"]);
    assert_eq!(again.json()["photos_kept"], 1, "{}", again.err);
    // A logbook that is not the one that was exported is refused as a whole.
    let lines = String::from_utf8(read(&shop.path("leaving/logbook.jsonl"))).expect("text");
    let cut: String =
        lines.lines().rev().skip(1).collect::<Vec<_>>().into_iter().rev().map(|l| format!("{l}\n")).collect();
    shop.write("leaving/logbook.jsonl", cut.as_bytes());
    let said = shop.run_bare(&["--store", "other", "import", "leaving"]);
    assert_eq!(said.code, 1, "{}", said.err);
    assert!(said.err.contains("logbook.jsonl") && said.err.contains("nothing was taken in"), "{}", said.err);
    std::fs::remove_file(shop.path("leaving/manifest.json")).expect("gone");
    let said = shop.run_bare(&["--store", "other", "import", "leaving"]);
    assert_eq!(said.code, 1);
    assert!(said.err.contains("manifest.json"), "{}", said.err);
    // What an export lacks it says itself.
    let kept = self::photos(&shop.path("store"));
    std::fs::remove_file(&kept[0]).expect("gone");
    let said = shop.run(&["export", "--all", "--out", "lacking"]);
    assert_eq!(said.code, 1, "{}", said.err);
    assert!(said.err.contains("left out: photo") && said.err.contains("everything else is exported"), "{}", said.err);
    shop.run_bare(&["--store", "short", "import", "lacking"]).exits(0);
}

#[test]
fn a_backup_comes_back_in_a_new_folder_and_a_drill_proves_it_without_keeping_anything() {
    let shop = Shop::with_demo();
    let state = shop.state("store");
    let made = shop.run_with(WORDS, &["--json", "backup", "--to", "shop.backup"]).exits(0).json();
    assert_eq!(made["state"], state);
    let before = files(&shop.path(".")).len();
    let drill = shop.run_with(WORDS, &["restore", "shop.backup", "--drill"]).exits(0).out;
    let one_line = drill.replace('\n', " ");
    for part in ["would come back whole", &state[..60], "the oldest entry of", "photo"] {
        assert!(one_line.replace("  ", " ").contains(part), "{part}: {drill}");
    }
    assert_eq!(files(&shop.path(".")).len(), before, "a drill keeps nothing");
    let noted: serde_json::Value = serde_json::from_slice(&read(&shop.path("store/backups.json"))).expect("JSON");
    assert_eq!((&noted["made"]["state"], &noted["proved"]["state"]), (&state.as_str().into(), &state.as_str().into()));
    let back = shop.run_with(WORDS, &["--json", "restore", "shop.backup", "--to", "back"]).exits(0).json();
    assert_eq!((&back["entries"], &back["photos"]), (&made["entries"], &made["photos"]));
    assert_eq!(shop.state("back"), state);
    let same = |store: &str| shop.run_bare(&["--store", store, "workup", "carrier", "--json"]).exits(0).out;
    assert_eq!(same("back"), same("store"));
    // Never over a record, nor over anything else.
    shop.run_with(WORDS, &["restore", "shop.backup", "--to", "back"]).exits(5);
    shop.run_with(WORDS, &["restore", "shop.backup", "--to", "store"]).exits(5);
    assert_eq!(shop.state("back"), state);
    // A backup is never written over another one; a folder gets a file of its own each time.
    shop.run_with(WORDS, &["backup", "--to", "shop.backup"]).exits(5);
    std::fs::create_dir(shop.path("stick")).expect("a folder");
    shop.run_with(WORDS, &["backup", "--to", "stick"]).exits(0);
    let file = files(&shop.path("stick")).pop().expect("a backup");
    assert!(text(&file).ends_with("Z.backup"), "{}", file.display());
    let bytes = read(&file);
    for word in ["Tolvane", "logbook", "customer"] {
        assert!(!bytes.windows(word.len()).any(|w| w == word.as_bytes()), "{word} can be read from outside");
    }
}

#[test]
fn wrong_words_a_cut_file_and_a_changed_byte_each_say_what_they_are_and_write_nothing() {
    let shop = Shop::with_demo();
    shop.run_with(WORDS, &["backup", "--to", "shop.backup"]).exits(0);
    let whole = read(&shop.path("shop.backup"));
    let restore = |words: &str, file: &str| shop.run_with(words, &["restore", file, "--to", "back"]);
    let wrong = restore("seven bolts and two stripes", "shop.backup").exits(4);
    assert!(wrong.err.contains("the passphrase is not the one"), "{}", wrong.err);
    shop.write("cut.backup", &whole[..whole.len() - 1000]);
    let cut = restore(WORDS, "cut.backup");
    assert_eq!(cut.code, 1);
    assert!(cut.err.contains("cut short"), "{}", cut.err);
    let mut changed = whole.clone();
    let middle = changed.len() / 2;
    changed[middle] ^= 0x10;
    shop.write("changed.backup", &changed);
    let changed = restore(WORDS, "changed.backup");
    assert_eq!(changed.code, 1);
    assert!(changed.err.contains("has been changed") && changed.err.contains("byte between"), "{}", changed.err);
    shop.write("list.backup", b"milk\nbread\n");
    let other = restore(WORDS, "list.backup").exits(4);
    assert!(other.err.contains("no backup that witnessmark made"), "{}", other.err);
    restore(WORDS, "nowhere.backup").exits(3);
    assert!(!shop.path("back").exists() && !shop.path("back.restoring").exists(), "nothing was written");
    for file in ["cut.backup", "changed.backup"] {
        assert_eq!(shop.run_with(WORDS, &["restore", file, "--drill"]).code, 1);
    }
}

#[test]
fn the_passphrase_comes_from_a_file_or_the_surroundings_and_never_from_the_command_line() {
    let shop = Shop::with_demo();
    shop.write("words", format!("{WORDS}\nnot this line\n").as_bytes());
    shop.run(&["backup", "--to", "a.backup", "--passphrase-file", "words"]);
    shop.run_with(WORDS, &["restore", "a.backup", "--drill"]).exits(0);
    let said = shop.run(&["backup", "--to", "b.backup"]).exits(2);
    assert!(said.err.contains("--passphrase-file") && said.err.contains("WITNESSMARK_PASSPHRASE"), "{}", said.err);
    let short = shop.run_with("short", &["backup", "--to", "b.backup"]).exits(4);
    assert!(short.err.contains("15 characters") && !short.err.contains("short "), "{}", short.err);
    shop.run(&["backup", "--to", "b.backup", "--passphrase", WORDS]).exits(2);
    shop.write("empty", b"");
    let mine = shop.run(&["backup", "--to", "b.backup", "--passphrase-file", "empty"]);
    assert_eq!(mine.code, 2, "{}", mine.err);
    assert!(!shop.path("b.backup").exists());
}

/// Changes a word of one kept entry where it lies in the file.
fn spoil(store: &Path, from: &str, to: &str) {
    let file = store.join("logbook.sqlite");
    let mut bytes = read(&file);
    let place = bytes.windows(from.len()).position(|w| w == from.as_bytes()).expect("the words are in the file");
    bytes[place..place + from.len()].copy_from_slice(to.as_bytes());
    std::fs::write(file, bytes).expect("written");
}

#[test]
fn a_spoiled_record_is_mended_into_a_copy_that_names_what_it_lacks() {
    let (shop, job) = Shop::with_job();
    shop.run(&["note", &job, "the cap was loose"]).exits(0);
    shop.run(&["note", &job, "towed in"]).exits(0);
    spoil(&shop.path("store"), "the cap was loose", "the cap was tight");
    let said = shop.run(&["verify"]);
    assert_eq!(said.code, 1);
    assert!(said.err.contains("--repair-into"), "{}", said.err);
    let lines = shop.run(&["export", "--all"]).out.lines().count();
    let mended = shop.run(&["verify", "--repair-into", "mended"]);
    assert_eq!(mended.code, 1, "{}", mended.err);
    assert!(mended.out.contains(&format!("copied: {} entries", lines - 1)), "{}", mended.out);
    assert!(mended.err.contains("left out: entry") && mended.err.contains("backup may still hold"), "{}", mended.err);
    let there = shop.run_bare(&["--store", "mended", "export", "--all"]).exits(0).out;
    assert!(there.contains("towed in") && !there.contains("the cap was"), "{there}");
    shop.run_bare(&["--store", "mended", "note", &job, "goes on"]).exits(0);
    // The copy can be backed up and comes back, gap and all.
    let words = |args: &[&str]| {
        let out = binary().current_dir(shop.path(".")).env("WITNESSMARK_PASSPHRASE", WORDS).args(args).output();
        said_of(&out.expect("it runs"))
    };
    words(&["--store", "mended", "backup", "--to", "mended.backup"]).exits(0);
    words(&["restore", "mended.backup", "--to", "back"]).exits(0);
    let same = |store: &str| shop.run_bare(&["--store", store, "export", "--all"]).exits(0).out;
    assert_eq!(same("back"), same("mended"));
    // A sound record is copied whole.
    let sound = Shop::with_demo();
    sound.run(&["verify", "--repair-into", "copy"]).exits(0);
    assert_eq!(sound.state("copy"), sound.state("store"));
    sound.run(&["verify", "--repair-into", "copy"]).exits(5);
}

fn said_of(output: &std::process::Output) -> Said {
    said(output)
}

/// A bench in a process of its own.
pub(crate) struct Served {
    child: Child,
    address: String,
    out: BufReader<std::process::ChildStdout>,
}

impl Served {
    pub(crate) fn start(mut command: Command) -> Served {
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("the bench is started");
        let mut out = BufReader::new(child.stdout.take().expect("its words"));
        let mut all = String::new();
        let address = loop {
            let mut line = String::new();
            assert!(out.read_line(&mut line).expect("a line") > 0, "it ended: {all}");
            all.push_str(&line);
            let joined = all.replace('\n', " ");
            if let Some(at) = joined.split("http://").nth(1).and_then(|rest| rest.split('/').next()) {
                break at.to_owned();
            }
        };
        Served { child, address, out }
    }

    fn of(shop: &Shop, more: &[&str]) -> Served {
        let mut command = binary();
        command.current_dir(shop.path(".")).args(["--store", "store", "serve", "--port", "0"]).args(more);
        Served::start(command)
    }

    fn send(&self, head: &str, body: &str) -> TcpStream {
        let mut stream = TcpStream::connect(&self.address).expect("it listens");
        let host = &self.address;
        write!(stream, "{head} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n{body}").expect("sent");
        stream
    }

    pub(crate) fn get(&self, path: &str) -> String {
        answer(self.send(&format!("GET {path}"), "\r\n"))
    }

    #[cfg(unix)]
    pub(crate) fn told(&self, signal: &str) {
        let id = self.child.id().to_string();
        assert!(Command::new("kill").args([signal, &id]).status().expect("kill runs").success());
    }

    /// Waits for the end, and gives exit code and talk.
    pub(crate) fn ended(mut self) -> (Option<i32>, String) {
        let mut looks = 0;
        while self.child.try_wait().expect("it can be asked").is_none() {
            looks += 1;
            assert!(looks < 1500, "it does not end in half a minute");
            std::thread::sleep(Duration::from_millis(20));
        }
        let mut err = String::new();
        self.child.stderr.take().expect("its talk").read_to_string(&mut err).expect("text");
        let mut rest = String::new();
        self.out.read_to_string(&mut rest).expect("text");
        (self.child.wait().expect("it ended").code(), err)
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        // A test that failed in the middle leaves no bench behind.
        let _ended = self.child.kill();
        let _waited = self.child.wait();
    }
}

fn answer(mut stream: TcpStream) -> String {
    let mut bytes = Vec::new();
    stream.read_to_end(&mut bytes).expect("an answer");
    String::from_utf8_lossy(&bytes).into_owned()
}

#[cfg(unix)]
#[test]
fn told_to_end_the_bench_answers_what_is_under_way_lets_listeners_go_and_closes_the_record() {
    let (shop, job) = Shop::with_job();
    let bench = Served::of(&shop, &["--log", "json"]);
    let listening = bench.send(&format!("GET /jobs/{job}/live"), "\r\n");
    // A note whose last bytes are still on the way when the signal comes.
    let form = "text=Zinnia+heard+a+knock&back=";
    let head = format!(
        "Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {}\r\nSec-Fetch-Site: same-origin\r\n\r\n{}",
        form.len(),
        &form[..9]
    );
    let mut under_way = bench.send(&format!("POST /jobs/{job}/tell/note-written"), &head);
    std::thread::sleep(Duration::from_millis(300));
    bench.told("-TERM");
    std::thread::sleep(Duration::from_millis(300));
    write!(under_way, "{}", &form[9..]).expect("it still takes them");
    let kept = answer(under_way);
    assert!(kept.starts_with("HTTP/1.1 303"), "{kept}");
    drop(answer(listening));
    let (code, log) = bench.ended();
    assert_eq!(code, Some(0), "{log}");
    assert!(!shop.path("store/logbook.sqlite-wal").exists(), "the record is closed");
    assert!(shop.run(&["export", &job]).exits(0).out.contains("Zinnia heard a knock"));
    // The log says what happened, each line by itself, and no word of what it was about.
    let lines: Vec<serde_json::Value> =
        log.lines().map(|l| serde_json::from_str(l).unwrap_or_else(|e| panic!("{e}: {l}"))).collect();
    let events: Vec<&str> = lines.iter().filter_map(|l| l["event"].as_str()).collect();
    assert_eq!((events.first(), events.last()), (Some(&"opened"), Some(&"closed")), "{log}");
    assert!(events.contains(&"stopping"), "{log}");
    let post = lines.iter().find(|l| l["method"] == "POST").expect("the request");
    assert_eq!((&post["route"], &post["status"]), (&"/jobs/{id}/tell/{kind}".into(), &303.into()));
    for secret in [job.as_str(), "Zinnia", "knock", "tester", "Ostrand", text(&shop.path("store"))] {
        assert!(!log.contains(secret), "{secret}: {log}");
    }
    assert_eq!(lines.last().expect("a line")["broken_off"], false);
}

#[cfg(unix)]
#[test]
fn a_request_that_never_ends_does_not_hold_the_bench_open_and_ctrl_c_ends_it_too() {
    let (shop, job) = Shop::with_job();
    let bench = Served::of(&shop, &[]);
    let head = "Content-Type: text/plain\r\nContent-Length: 900\r\nSec-Fetch-Site: same-origin\r\n\r\nhalf";
    let hanging = bench.send(&format!("POST /jobs/{job}/tell/note-written"), head);
    std::thread::sleep(Duration::from_millis(200));
    bench.told("-INT");
    let (code, said) = bench.ended();
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains("everything kept is on the disk"), "{said}");
    drop(hanging);
    shop.run(&["verify"]).exits(0);
}

#[test]
fn health_says_whether_the_record_is_kept_and_nothing_of_what_is_in_it() {
    let (shop, _) = Shop::with_job();
    let bench = Served::of(&shop, &[]);
    let said = bench.get("/health");
    assert!(said.starts_with("HTTP/1.1 200"), "{said}");
    let body = said.split("\r\n\r\n").nth(1).expect("a body");
    let body: serde_json::Value = serde_json::from_str(body.trim()).expect("JSON");
    let all = serde_json::json!({"state": "ok", "version": env!("CARGO_PKG_VERSION"), "last_backup": null});
    assert_eq!(body, all, "these and no others");
    // A backup may be made while the bench is open, and both say so.
    shop.run_with(WORDS, &["backup", "--to", "shop.backup"]).exits(0);
    assert!(bench.get("/health").contains("\"last_backup\":\"20"));
    assert!(bench.get("/").contains("Last backup today ("));
}

#[cfg(unix)]
#[test]
fn the_unit_files_start_what_they_say() {
    let folder = Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../../packaging"));
    let exec = |name: &str| -> Vec<String> {
        let unit = String::from_utf8(read(&folder.join(name))).expect("text");
        let line = unit.lines().find_map(|l| l.strip_prefix("ExecStart=")).expect("a line that starts it");
        line.split_whitespace().map(ToOwned::to_owned).collect()
    };
    let shop = Shop::with_demo();
    shop.write("words", format!("{WORDS}\n").as_bytes());
    std::fs::create_dir(shop.path("backups")).expect("a folder");
    let here = |words: Vec<String>| -> Vec<String> {
        let store = text(&shop.path("store")).to_owned();
        let words = words.into_iter().skip(1).map(|w| {
            w.replace("/var/lib/witnessmark", &store)
                .replace("/srv/backup", text(&shop.path("backups")))
                .replace("${CREDENTIALS_DIRECTORY}/passphrase", text(&shop.path("words")))
        });
        words.collect()
    };
    let mut words = here(exec("witnessmark.service"));
    let port = words.iter().position(|w| w == "--port").expect("a port") + 1;
    words[port] = "0".to_owned();
    let mut command = binary();
    command.args(&words);
    let bench = Served::start(command);
    assert!(bench.get("/health").contains("\"state\":\"ok\""));
    let out = binary().args(here(exec("witnessmark-backup.service"))).output().expect("it runs");
    said(&out).exits(0);
    assert_eq!(files(&shop.path("backups")).len(), 1);
    bench.told("-TERM");
    let (code, said) = bench.ended();
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains("\"event\":\"closed\""), "{said}");
}
