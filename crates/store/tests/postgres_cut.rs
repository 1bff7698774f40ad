//! The line to the server is cut, and the server is killed: nothing that was called kept is lost, nothing is there twice, and
//! where nobody can know, that is what is said.
#![expect(clippy::unwrap_used, reason = "clippy lets only the tests themselves off, not the functions they share")]

#[expect(dead_code, reason = "this file takes the pen and not the story")]
mod common;
#[path = "postgres_server/line.rs"]
mod line;
mod postgres_server;

use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::time::Duration;

use line::{Line, Plan};
use postgres_server::{OWNER, Server};
use store::{AppendError, FailureClass, KeptBy, PgOpening, PgStore, Standing, Store};

/// How often the line is cut at a byte drawn by chance. By the rule of three, n clean tries say with 95 % that fewer than 3
/// in n go wrong: 150 say fewer than 2 in 100. Longer trials belong to a release.
const CUTS: u64 = 150;
/// Up to how many bytes pass before a cut: an append with its answers takes about as many.
const LAST_BYTE: u64 = 2600;

/// A record at the end of a line that can be cut.
struct Far {
    server: &'static Server,
    database: String,
    line: Line,
    store: PgStore,
}

impl Far {
    async fn new(patience: Duration) -> Far {
        let server = Server::shared();
        let database = server.database();
        let line = Line::to(&server.socket());
        let opening = PgOpening::of(line.address(&database, OWNER).parse().unwrap()).patient_for(patience);
        let store = PgStore::open(opening).await.unwrap();
        Far { server, database, line, store }
    }

    fn count(&self) -> String {
        self.server.sql(&self.database, "SELECT count(*) FROM witnessmark.entries")
    }

    async fn agrees(&self) {
        let report = self.store.verify(&mut |_| ControlFlow::Continue(())).await.unwrap();
        assert!(report.agrees(), "{report:?}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_line_that_breaks_before_the_commit_kept_nothing_and_the_call_is_made_again() {
    let far = Far::new(Duration::from_secs(20)).await;
    let mut pen = common::Pen::for_job(1);
    far.line.plan(Plan::CutBeforeCommit);
    let kept = far.store.append(&[pen.note("one"), pen.note("two")]).await.unwrap();
    assert_eq!(far.line.done(), 1, "the line was cut");
    assert_eq!(kept.iter().map(|k| (k.rank, k.by)).collect::<Vec<_>>(), [(1, KeptBy::ThisCall), (2, KeptBy::ThisCall)]);
    assert_eq!(far.count(), "2");
    far.agrees().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_line_that_breaks_after_the_commit_kept_it_once_and_it_is_found() {
    let far = Far::new(Duration::from_secs(20)).await;
    let mut pen = common::Pen::for_job(1);
    let first = pen.note("there before");
    far.store.append(std::slice::from_ref(&first)).await.unwrap();
    far.line.plan(Plan::CutAfterCommit);
    let kept = far.store.append(&[first, pen.note("one"), pen.note("two")]).await.unwrap();
    assert_eq!(far.line.done(), 1, "the line was cut");
    assert_eq!(
        kept.iter().map(|k| (k.rank, k.by)).collect::<Vec<_>>(),
        [(1, KeptBy::AnEarlierCall), (2, KeptBy::ThisCall), (3, KeptBy::ThisCall)]
    );
    assert_eq!(far.count(), "3");
    far.agrees().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_commit_that_never_arrives_does_not_hold_up_anybody_for_long() {
    let far = Far::new(Duration::from_secs(8)).await;
    far.line.plan(Plan::Swallow);
    let mut pen = common::Pen::for_job(1);
    // The old transaction lies open at the server until that ends it; only then can anybody know.
    let kept = far.store.append(&[pen.note("one")]).await.unwrap();
    assert_eq!(far.line.done(), 1, "the commit was swallowed");
    assert_eq!((kept[0].rank, kept[0].by), (1, KeptBy::ThisCall));
    assert_eq!(far.count(), "1");
}

#[tokio::test(flavor = "multi_thread")]
async fn where_nobody_can_know_that_is_said_and_what_is_sent_again_is_kept_once() {
    let far = Far::new(Duration::from_secs(2)).await;
    let mut pen = common::Pen::for_job(1);
    let entry = pen.note("in doubt");
    far.line.plan(Plan::CutAfterCommitForGood);
    let refused = far.store.append(std::slice::from_ref(&entry)).await.unwrap_err();
    assert!(matches!(refused, AppendError::InDoubt { .. }), "{refused}");
    assert_eq!(refused.class(), FailureClass::Storage);
    let said = refused.to_string();
    assert!(said.contains("it is not known whether") && said.contains("send it again"), "{said}");
    let Standing::ReadOnly { because } = far.store.standing() else { panic!("nothing can be kept now") };
    assert!(because.contains("goes on by itself when it is back"), "{because}");
    // Nobody can read either, and that is said as what it is.
    let unread = far.store.jobs().await.unwrap_err().to_string();
    assert!(unread.contains("look whether the server runs"), "{unread}");
    let picture = far.store.keep_attachment(vec![1, 2, 3], "image/png").await.unwrap_err().to_string();
    assert!(picture.contains("send it again when the server answers"), "{picture}");
    let nothing = far.store.append(&[common::Pen::for_job(2).note("while it is away")]).await.unwrap_err();
    assert!(matches!(nothing, AppendError::Storage { .. }), "before the commit there is no doubt: {nothing}");
    far.line.plan(Plan::Pass);
    let mut turns = 0;
    while far.store.standing() != Standing::Writable {
        turns += 1;
        assert!(turns < 200, "it goes on by itself");
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    let again = far.store.append(&[entry, pen.note("and new")]).await.unwrap();
    assert_eq!(
        again.iter().map(|k| (k.rank, k.by)).collect::<Vec<_>>(),
        [(1, KeptBy::AnEarlierCall), (2, KeptBy::ThisCall)]
    );
    far.store.keep_attachment(vec![1, 2, 3], "image/png").await.unwrap();
    assert_eq!(far.count(), "2");
    far.agrees().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_connection_that_the_server_ends_is_made_anew() {
    let far = Far::new(Duration::from_secs(20)).await;
    let mut pen = common::Pen::for_job(1);
    let end = format!(
        "SELECT count(pg_terminate_backend(pid)) FROM pg_stat_activity WHERE datname = '{}' AND pid <> pg_backend_pid()",
        far.database
    );
    for turn in 1..=10 {
        far.store.append(&[pen.note("before")]).await.unwrap();
        assert_ne!(far.server.sql(&far.database, &end), "0");
        assert_eq!(far.store.append(&[pen.note("after")]).await.unwrap()[0].rank, turn * 2);
        far.server.sql(&far.database, &end);
        assert_eq!(far.store.entries_of(common::job(1)).await.unwrap().len(), usize::try_from(turn * 2).unwrap());
    }
    far.agrees().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_line_cut_anywhere_loses_nothing_and_doubles_nothing() {
    let far = Far::new(Duration::from_secs(20)).await;
    let picture = |n: u64| n.to_be_bytes().repeat(40);
    // A fixed seed: the bytes are the same in each run.
    let mut chance = 0x5eed_11e5_u64;
    let mut ranks = BTreeMap::new();
    let mut again = 0;
    for n in 0..CUTS {
        chance = chance.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let byte = usize::try_from((chance >> 33) % LAST_BYTE).unwrap() + 1;
        far.line.plan(if n % 2 == 0 { Plan::AfterBytesUp(byte) } else { Plan::AfterBytesDown(byte) });
        let entries = [common::unsealed_note(1, n, "cut somewhere"), common::unsealed_note(2, n, "with it")];
        // A device sends again what it was not told is kept.
        let kept = loop {
            match far.store.seal_and_append(&entries).await {
                Ok(kept) => break kept,
                Err(AppendError::InDoubt { .. } | AppendError::Storage { .. } | AppendError::Unreadable { .. }) => {
                    again += 1
                }
                Err(other) => panic!("cut {n}: {other}"),
            }
            assert!(again < 1000, "the device gives up");
        };
        for one in kept {
            assert!(ranks.insert(one.rank, one.id).is_none(), "cut {n}: rank {} was given twice", one.rank);
        }
        if n % 5 == 0 {
            while far.store.keep_attachment(picture(n), "image/png").await.is_err() {
                again += 1;
                assert!(again < 1000, "the device gives up");
            }
        }
    }
    assert!(u64::from(far.line.done()) > CUTS / 2, "only {} cuts met something", far.line.done());
    far.line.plan(Plan::Pass);
    assert_eq!(far.count(), (CUTS * 2).to_string());
    for (rank, id) in &ranks {
        assert_eq!(far.store.entry(*id).await.unwrap().unwrap().rank, *rank);
    }
    assert_eq!(far.store.attachments().await.unwrap().len(), usize::try_from(CUTS.div_ceil(5)).unwrap());
    far.agrees().await;
    println!(
        "{} cuts, {again} times sent again, {} entries called kept, none lost, none twice",
        far.line.done(),
        ranks.len()
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_server_that_is_killed_and_started_again_has_everything_that_was_called_kept() {
    let mut server = Server::start(&[]);
    let database = server.database();
    let store = PgStore::open(PgOpening::of(server.address(&database, OWNER).parse().unwrap())).await.unwrap();
    let mut ranks = BTreeMap::new();
    let mut number = 0;
    for kill in 0..4_u8 {
        let writer = {
            let store = store.clone();
            let from = number;
            tokio::spawn(async move {
                let mut kept = Vec::new();
                for n in from..from + 120 {
                    kept.extend(store.seal_and_append(&[common::unsealed_note(1 + kill, n, "under fire")]).await);
                }
                kept
            })
        };
        number += 120;
        tokio::time::sleep(Duration::from_millis(20 + 30 * u64::from(kill))).await;
        // Killing and starting wait for programs; the writer goes on meanwhile.
        server = tokio::task::spawn_blocking(move || {
            server.kill();
            server.up();
            server
        })
        .await
        .unwrap();
        for one in writer.await.unwrap().into_iter().flatten() {
            assert!(ranks.insert(one.rank, one.id).is_none(), "kill {kill}: rank {} was given twice", one.rank);
        }
    }
    let mut turns = 0;
    while store.standing() != Standing::Writable {
        turns += 1;
        assert!(turns < 200, "it goes on by itself");
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    assert!(ranks.len() > 200, "only {} entries were called kept: the trial shows too little", ranks.len());
    for (rank, id) in &ranks {
        assert_eq!(store.entry(*id).await.unwrap().unwrap().rank, *rank);
    }
    let report = store.verify(&mut |_| ControlFlow::Continue(())).await.unwrap();
    assert!(report.agrees(), "{report:?}");
    println!("4 kills, {} entries called kept, none lost; {} are there", ranks.len(), report.entries);
    store.close().await;
}
