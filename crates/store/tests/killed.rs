//! A process that is killed while it writes: nothing it called kept is lost, and nothing is there twice.
//!
//! The trial starts this same program once more as a writer, lets it work, kills it with a signal that it cannot catch
//! at a moment drawn from a fixed seed, opens the folder and compares it with what the writer had called kept. It shows
//! what a killed process loses. It does not show what a power cut loses, because the system keeps unsynced pages alive
//! after a kill; that is tried on real machines before a release.
#![expect(clippy::unwrap_used, reason = "clippy lets only the tests themselves off, not the functions they share")]

#[expect(dead_code, reason = "this file takes the pen and not the story")]
mod common;

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Write};
use std::ops::ControlFlow;
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::mpsc;
use std::time::Duration;

use store::{ContentId, Opening, SqliteStore, Store};

/// Where the writer finds its folder; without it the writer has nothing to do.
const FOLDER: &str = "WITNESSMARK_TRIAL_KILLED_FOLDER";
/// How many kills: enough for every run of the tests. By the rule of three, n clean tries say with 95 % that fewer than
/// 3 in n lose something: 40 say fewer than 8 in 100. Longer trials belong to a release.
const KILLS: u32 = 40;
/// The longest time a writer may work before it is killed; the trial draws a time up to this one.
const LONGEST_MS: u64 = 60;

#[test]
fn a_killed_writer_loses_nothing_it_called_kept_and_doubles_nothing() {
    let folder = tempfile::tempdir().unwrap();
    // A fixed seed: the moments are the same in each run, the machine's own pace makes the rest of the chance.
    let mut chance = 0x5eed_0f0a_c4a5_u64;
    // What was called kept so far: rank by entry id, and the names of attachments.
    let mut kept: BTreeMap<String, String> = BTreeMap::new();
    let mut pictures: Vec<ContentId> = Vec::new();
    let mut killed_at_work = 0;
    for turn in 0..KILLS {
        chance = next(chance);
        let said = run_and_kill(folder.path(), Duration::from_millis(chance % LONGEST_MS));
        killed_at_work += u32::from(!said.is_empty());
        for line in said {
            let words: Vec<&str> = line.split(' ').collect();
            match words[..] {
                ["kept", id, rank] => {
                    let before = kept.insert(id.to_owned(), rank.to_owned());
                    assert!(before.is_none(), "turn {turn}: entry {id} was called newly kept twice");
                }
                ["picture", name] => pictures.push(name.parse().unwrap()),
                _ => panic!("turn {turn}: the writer said `{line}`"),
            }
        }
        agrees(turn, folder.path(), &kept, &pictures);
    }
    assert!(
        killed_at_work > KILLS / 2,
        "only {killed_at_work} writers were killed at work: the trial shows too little"
    );
    println!(
        "{KILLS} kills, {killed_at_work} of them at work, {} entries and {} pictures called kept, none lost",
        kept.len(),
        pictures.len()
    );
}

/// Starts a writer, kills it after a while, and gives what it had said by then.
fn run_and_kill(folder: &Path, after: Duration) -> Vec<String> {
    let mut writer = Command::new(std::env::current_exe().unwrap())
        .args(["--exact", "the_writer_that_is_killed", "--nocapture"])
        .env(FOLDER, folder)
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let (tell, told) = mpsc::channel();
    let out = BufReader::new(writer.stdout.take().unwrap());
    let reader = std::thread::spawn(move || {
        for line in out.lines().map_while(Result::ok) {
            if tell.send(line).is_err() {
                break;
            }
        }
    });
    // The time runs from the moment the folder is open, so that most kills meet a writer at work; some come before.
    let mut said = Vec::new();
    if after.as_millis() > 5 {
        while let Ok(line) = told.recv_timeout(Duration::from_secs(30)) {
            if line.ends_with("open") {
                break;
            }
        }
    }
    std::thread::sleep(after);
    writer.kill().unwrap();
    writer.wait().unwrap();
    reader.join().unwrap();
    // The last line may have been cut short by the kill; a cut line was not an answer.
    said.extend(told.try_iter().filter(|line| line.ends_with(" .")).map(|line| line.trim_end_matches(" .").to_owned()));
    said
}

/// Compares the folder with everything that was called kept.
fn agrees(turn: u32, folder: &Path, kept: &BTreeMap<String, String>, pictures: &[ContentId]) {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(async {
        let store = SqliteStore::open(Opening::of(folder)).await.unwrap();
        let all = store.all().await.unwrap();
        let there: BTreeMap<String, String> =
            all.iter().map(|entry| (entry.id.to_string(), entry.rank.to_string())).collect();
        assert_eq!(there.len(), all.len(), "turn {turn}: an entry is there twice");
        for (id, rank) in kept {
            assert_eq!(there.get(id), Some(rank), "turn {turn}: entry {id} was called kept at rank {rank}");
        }
        // A batch is kept whole or not at all: the writer's batches of three make ranks that end with a full batch.
        assert_eq!(all.len() % 3, 0, "turn {turn}: part of a batch is there");
        for name in pictures {
            assert_eq!(ContentId::of(&store.attachment(*name).await.unwrap()), *name, "turn {turn}");
        }
        let report = store.verify(&mut |_| ControlFlow::Continue(())).await.unwrap();
        assert!(report.agrees(), "turn {turn}: {report:?}");
        store.close().await;
    });
}

/// Does nothing by itself: it is the writer of the trial above.
///
/// It goes on where the record ends, sends the last batch of the record once more, as a device does that heard no
/// answer, and says `kept` only after the store did.
#[tokio::test]
async fn the_writer_that_is_killed() {
    let Some(folder) = std::env::var_os(FOLDER) else {
        return;
    };
    let store = SqliteStore::open(Opening::of(folder)).await.unwrap();
    let mut out = std::io::stdout();
    writeln!(out, "open").unwrap();
    out.flush().unwrap();
    let all = store.all().await.unwrap();
    let mut pen = match all.last() {
        Some(last) => common::Pen::after(1, all.len() as u64 + 1, &last.line),
        None => common::Pen::for_job(1),
    };
    let again: Vec<_> = all.iter().rev().take(3).rev().map(|entry| entry.entry().unwrap()).collect();
    let answers = store.append(&again).await.unwrap();
    assert!(answers.iter().all(|kept| kept.by == store::KeptBy::AnEarlierCall));
    for turn in 0_u32.. {
        let batch = [pen.note(&format!("reading {turn}")), pen.note("its photo"), pen.note(&"words ".repeat(200))];
        for kept in store.append(&batch).await.unwrap() {
            writeln!(out, "kept {} {} .", kept.id, kept.rank).unwrap();
        }
        out.flush().unwrap();
        if turn % 4 == 0 {
            let bytes = format!("picture {turn} of process {}", std::process::id()).repeat(3000).into_bytes();
            let picture = store.keep_attachment(bytes, "text/plain").await.unwrap();
            writeln!(out, "picture {} .", picture.id).unwrap();
            out.flush().unwrap();
        }
    }
}

/// Draws the next number.
///
/// Source: Marsaglia 2003, Xorshift RNGs, J. Stat. Softw. 8(14), the 64-bit triple 13, 7, 17 [published]
fn next(mut x: u64) -> u64 {
    x ^= x << 13;
    x ^= x >> 7;
    x ^= x << 17;
    x
}
