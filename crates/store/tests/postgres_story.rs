//! The store on a server goes through the same story as the embedded one, and through what only a server can do: two who
//! write at once, roles, settings that lose commits, changes that others made.
#![expect(clippy::unwrap_used, reason = "clippy lets only the tests themselves off, not the functions they share")]

mod common;
mod postgres_server;

use std::collections::BTreeSet;
use std::ops::ControlFlow;
use std::time::Duration;

use postgres_server::{OWNER, Server, both};
use store::postgres::WRITING_LOCK;
use store::{
    Address, AppendError, AttachmentError, Changes, Complaint, ContentId, FailureClass, KeptBy, OpenError, Opening,
    PgOpening, PgStore, Record, Report, SqliteStore, Standing, Store,
};

const HANDBOOK: &str = include_str!("../../../docs/handbook/several-shops.md");

fn address(server: &Server, database: &str, role: &str) -> Address {
    server.address(database, role).parse().unwrap()
}

async fn opened(server: &Server, database: &str) -> PgStore {
    PgStore::open(PgOpening::of(address(server, database, OWNER))).await.unwrap()
}

async fn verified<S: Store>(store: &S) -> Report {
    store.verify(&mut |_| ControlFlow::Continue(())).await.unwrap()
}

fn said(report: &Report) -> String {
    report.complaints.iter().map(|complaint| format!("{complaint}\n")).collect()
}

#[tokio::test]
async fn the_store_on_a_server_meets_every_promise_of_the_trait() {
    let server = Server::shared();
    let database = server.database();
    let store = opened(server, &database).await;
    common::story(&store).await;
    let (all, jobs, attachments) =
        (store.all().await.unwrap(), store.jobs().await.unwrap(), store.attachments().await.unwrap());
    store.close().await;
    let store = opened(server, &database).await;
    assert_eq!(store.standing(), Standing::Writable);
    assert_eq!(store.all().await.unwrap(), all);
    assert_eq!(store.jobs().await.unwrap(), jobs);
    assert_eq!(store.attachments().await.unwrap(), attachments);
    store.close().await;
}

#[tokio::test]
async fn the_doors_meet_the_same_promises_through_either_store() {
    let server = Server::shared();
    common::story(&Record::from(opened(server, &server.database()).await)).await;
    let folder = tempfile::tempdir().unwrap();
    common::story(&Record::from(SqliteStore::open(Opening::of(folder.path())).await.unwrap())).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn two_shops_at_once_lose_nothing_and_double_nothing() {
    let server = Server::shared();
    let database = server.database();
    let shops = [opened(server, &database).await, opened(server, &database).await];
    let mut work = Vec::new();
    for (n, shop) in (0_u64..).zip([&shops[0], &shops[1], &shops[0], &shops[1]]) {
        let shop = shop.clone();
        work.push(tokio::spawn(async move {
            let mut kept = Vec::new();
            for turn in 0..40 {
                // All four write into job 1, and each into a job of its own.
                let own = u8::try_from(n).unwrap() + 2;
                let number = n * 1000 + turn;
                let entries =
                    [common::unsealed_note(1, number, "in all"), common::unsealed_note(own, number, "in mine")];
                kept.extend(shop.seal_and_append(&entries).await.unwrap());
            }
            kept
        }));
    }
    let mut kept = Vec::new();
    for shop in work {
        kept.extend(shop.await.unwrap());
    }
    assert_eq!(kept.len(), 320);
    let ranks: BTreeSet<u64> = kept.iter().map(|kept| kept.rank).collect();
    assert_eq!(ranks, (1..=320).collect(), "every rank is given once, without a gap");
    for one in &kept {
        assert_eq!(shops[1].entry(one.id).await.unwrap().unwrap().rank, one.rank);
    }
    let report = verified(&shops[0]).await;
    assert!(report.agrees(), "{}", said(&report));
    assert_eq!((report.entries, report.ends.len()), (320, 5));
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn the_first_two_to_open_a_new_database_lay_it_out_once() {
    let server = Server::shared();
    let database = server.database();
    let (one, other) = tokio::join!(opened(server, &database), opened(server, &database));
    let mut pen = common::Pen::for_job(1);
    one.append(&[pen.note("from one")]).await.unwrap();
    other.append(&[pen.note("from the other")]).await.unwrap();
    assert_eq!(server.sql(&database, "SELECT count(*) FROM witnessmark.migrations"), "1");
}

#[tokio::test]
async fn a_commit_is_secured_whatever_the_role_was_set_to() {
    let server = Server::shared();
    let database = server.database();
    server.sql(&database, &format!("ALTER DATABASE {database} SET synchronous_commit = off"));
    let store = opened(server, &database).await;
    let all = store.durability().await.unwrap();
    assert_eq!(all, ("on".to_owned(), "on".to_owned(), "on".to_owned()));
}

#[tokio::test]
async fn a_server_that_may_lose_commits_is_refused_by_the_name_of_the_setting() {
    for (setting, name) in [("fsync=off", "fsync"), ("full_page_writes=off", "full_page_writes")] {
        let lax = Server::start(&[setting]);
        let refused = PgStore::open(PgOpening::of(address(&lax, "postgres", OWNER))).await.unwrap_err();
        assert!(matches!(&refused, OpenError::NotDurable { setting, .. } if *setting == name), "{refused}");
        assert!(refused.to_string().contains(&format!("set {name} = on")), "{refused}");
        // Looking does no harm, and there is nothing to look at.
        let looked = PgStore::open(PgOpening::of(address(&lax, "postgres", OWNER)).to_look()).await.unwrap_err();
        assert!(matches!(looked, OpenError::NothingThere { .. }), "{looked}");
    }
    let lax = Server::start(&["data_sync_retry=on"]);
    let refused = PgStore::open(PgOpening::of(address(&lax, "postgres", OWNER))).await.unwrap_err();
    assert!(refused.to_string().contains("set data_sync_retry = off"), "{refused}");
}

#[tokio::test]
async fn a_record_is_begun_only_by_who_means_to() {
    let server = Server::shared();
    let database = server.database();
    let opening = PgOpening::of(address(server, &database, OWNER));
    for refused in [
        PgStore::open(opening.clone().that_exists()).await.unwrap_err(),
        PgStore::open(opening.clone().to_look()).await.unwrap_err(),
    ] {
        assert!(matches!(refused, OpenError::NothingThere { .. }), "{refused}");
        assert_eq!(refused.class(), FailureClass::NotFound);
    }
    assert_eq!(server.sql(&database, "SELECT count(*) FROM pg_namespace WHERE nspname = 'witnessmark'"), "0");
    let store = PgStore::open(opening.clone()).await.unwrap();
    common::story(&store).await;
    let looking = PgStore::open(opening.to_look()).await.unwrap();
    assert_eq!(looking.all().await.unwrap(), store.all().await.unwrap());
    assert!(matches!(looking.standing(), Standing::ReadOnly { .. }));
    let refused = looking.append(&[common::Pen::for_job(9).note("not here")]).await.unwrap_err();
    assert!(matches!(refused, AppendError::ReadOnly { .. }), "{refused}");
    let refused = looking.keep_attachment(vec![1], "image/png").await.unwrap_err();
    assert!(matches!(refused, AttachmentError::ReadOnly { .. }), "{refused}");
}

#[tokio::test]
async fn what_cannot_be_reached_or_entered_is_said_with_the_next_move() {
    let server = Server::shared();
    let nowhere: Address = "postgres://harbour@localhost:5432/record?host=/no/such/folder".parse().unwrap();
    let refused = PgStore::open(PgOpening::of(nowhere)).await.unwrap_err();
    assert!(matches!(refused, OpenError::NoAnswer { .. }), "{refused}");
    assert_eq!(refused.class(), FailureClass::Storage);
    let refused = PgStore::open(PgOpening::of(address(server, "no_such_record", OWNER))).await.unwrap_err();
    assert!(matches!(refused, OpenError::NotAllowed { .. }), "{refused}");
    assert!(refused.to_string().contains("no_such_record"), "{refused}");
    let refused = PgStore::open(PgOpening::of(address(server, "postgres", "no_such_role"))).await.unwrap_err();
    assert!(matches!(refused, OpenError::NotAllowed { .. }), "{refused}");
}

#[tokio::test]
async fn a_schema_that_is_ahead_behind_or_altered_is_refused_politely() {
    let server = Server::shared();
    let database = server.database();
    let opening = PgOpening::of(address(server, &database, OWNER));
    let store = PgStore::open(opening.clone()).await.unwrap();
    store.append(&[common::Pen::for_job(1).note("before the update")]).await.unwrap();
    server.sql(
        &database,
        "INSERT INTO witnessmark.migrations (version, description, success, checksum, execution_time) \
         VALUES (99, 'from a newer build', true, '\\x00', 0)",
    );
    let refused = PgStore::open(opening.clone()).await.unwrap_err();
    assert!(matches!(refused, OpenError::Newer { what: "schema", found: 99, known: 1, .. }), "{refused}");
    assert!(refused.to_string().contains("update witnessmark"), "{refused}");
    let looking = PgStore::open(opening.clone().to_look()).await.unwrap();
    assert_eq!(looking.all().await.unwrap().len(), 1, "it may be looked at and exported");
    server.sql(&database, "DELETE FROM witnessmark.migrations WHERE version = 99");
    server.sql(&database, "UPDATE witnessmark.migrations SET checksum = '\\x00'");
    let refused = PgStore::open(opening).await.unwrap_err();
    assert!(matches!(refused, OpenError::SchemaAltered { .. }), "{refused}");
}

/// The rights as the handbook gives them, for roles of this test alone: roles belong to the whole server.
fn rights(suffix: &str) -> String {
    let sql = HANDBOOK.split("```sql\n").nth(1).unwrap().split("```").next().unwrap();
    let mut own = sql.to_owned();
    for role in ["witnessmark_site", "witnessmark_reader", "harbour", "hillside", "bookkeeper"] {
        assert!(sql.contains(role), "{role} is in the handbook");
        own = own.replace(role, &format!("{role}_{suffix}"));
    }
    own
}

#[tokio::test]
async fn the_rights_of_the_handbook_let_a_shop_add_and_a_reader_look_and_nobody_change() {
    let server = Server::shared();
    let database = server.database();
    // A role whose shop was set up before the owner opened the record finds nothing, and cannot begin it.
    let early = format!("early_{database}");
    server.sql(&database, &format!("CREATE ROLE {early} LOGIN"));
    let refused = PgStore::open(PgOpening::of(address(server, &database, &early))).await.unwrap_err();
    assert!(matches!(refused, OpenError::Behind { found: 0, known: 1, .. }), "{refused}");
    opened(server, &database).await.close().await;
    server.sql(&database, &rights(&database));
    let refused = PgStore::open(PgOpening::of(address(server, &database, &early))).await.unwrap_err();
    assert!(matches!(refused, OpenError::NotAllowed { .. }), "{refused}");

    let harbour = format!("harbour_{database}");
    let shop = PgStore::open(PgOpening::of(address(server, &database, &harbour))).await.unwrap();
    common::story(&shop).await;
    let before = shop.all().await.unwrap();
    for table in ["entries", "jobs", "attachments", "migrations"] {
        for sql in [
            format!("DELETE FROM witnessmark.{table}"),
            format!("TRUNCATE witnessmark.{table} CASCADE"),
            format!("DROP TABLE witnessmark.{table} CASCADE"),
            format!("ALTER TABLE witnessmark.{table} DISABLE TRIGGER ALL"),
        ] {
            let done = server.psql(&database, &harbour, &sql);
            assert!(!done.status.success(), "{sql}");
            assert!(
                both(&done).contains("permission denied") || both(&done).contains("must be owner"),
                "{sql}: {}",
                both(&done)
            );
        }
    }
    let done = server.psql(&database, &harbour, "UPDATE witnessmark.entries SET line = 'x' WHERE rank = 1");
    assert!(both(&done).contains("permission denied"), "{}", both(&done));
    let done = server.psql(&database, &harbour, "CREATE TABLE witnessmark.mine (x int)");
    assert!(both(&done).contains("permission denied"), "{}", both(&done));

    let reader = format!("bookkeeper_{database}");
    let books = PgStore::open(PgOpening::of(address(server, &database, &reader))).await.unwrap();
    assert_eq!(books.all().await.unwrap(), before);
    let Standing::ReadOnly { because } = books.standing() else { panic!("a reader keeps nothing") };
    assert!(because.contains(&format!("the role {reader} may look and not write")), "{because}");
    let refused = books.append(&[common::Pen::for_job(9).note("by a reader")]).await.unwrap_err();
    assert!(matches!(refused, AppendError::ReadOnly { .. }), "{refused}");
    let done = server.psql(&database, &reader, "INSERT INTO witnessmark.jobs (id) VALUES ('x')");
    assert!(both(&done).contains("permission denied"), "{}", both(&done));

    // The right to add is taken away while the shop is at work.
    server.sql(&database, &format!("REVOKE INSERT ON witnessmark.entries FROM witnessmark_site_{database}"));
    let refused = shop.seal_and_append(&[common::unsealed_note(3, 900, "too late")]).await.unwrap_err();
    assert!(matches!(refused, AppendError::ReadOnly { .. }), "{refused}");
    assert_eq!(shop.all().await.unwrap(), before);
}

#[tokio::test]
async fn the_owner_too_is_refused_by_the_tables_and_a_guard_that_is_off_is_noticed() {
    let server = Server::shared();
    let database = server.database();
    let store = opened(server, &database).await;
    common::story(&store).await;
    let before = store.all().await.unwrap();
    for table in ["entries", "jobs", "attachments"] {
        let column = if table == "attachments" { "media_type = 'x'" } else { "id = 'x'" };
        for sql in [
            format!("UPDATE witnessmark.{table} SET {column}"),
            format!("DELETE FROM witnessmark.{table}"),
            format!("TRUNCATE witnessmark.{table} CASCADE"),
        ] {
            let done = server.psql(&database, OWNER, &sql);
            assert!(both(&done).contains("the record is only appended to"), "{sql}: {}", both(&done));
        }
    }
    assert_eq!(store.all().await.unwrap(), before);
    server.sql(&database, "ALTER TABLE witnessmark.entries DISABLE TRIGGER entries_stay");
    let report = verified(&store).await;
    assert!(
        said(&report).contains("1 of the 6 guards against change and removal are off or gone"),
        "{}",
        said(&report)
    );
}

#[tokio::test]
async fn what_was_changed_behind_the_record_is_named() {
    let server = Server::shared();
    let database = server.database();
    let store = opened(server, &database).await;
    common::story(&store).await;
    server.sql(&database, "ALTER TABLE witnessmark.entries DISABLE TRIGGER USER; ALTER TABLE witnessmark.attachments DISABLE TRIGGER USER");
    server.sql(&database, "UPDATE witnessmark.entries SET line = set_byte(line, 40, 33) WHERE rank = 3");
    server.sql(&database, "DELETE FROM witnessmark.entries WHERE rank = 20");
    server.sql(&database, "UPDATE witnessmark.attachments SET bytes = 'another' WHERE size = 7");
    server.sql(
        &database,
        "ALTER TABLE witnessmark.entries ENABLE TRIGGER USER; ALTER TABLE witnessmark.attachments ENABLE TRIGGER USER",
    );
    let report = verified(&store).await;
    assert!(matches!(report.complaints[0], Complaint::Entry { rank: 3, .. }), "{}", said(&report));
    assert!(report.complaints.contains(&Complaint::Gap { from: 20, to: 20 }), "{}", said(&report));
    assert!(matches!(report.complaints.last().unwrap(), Complaint::Attachment { .. }), "{}", said(&report));
    let picture = vec![0_u8, 1, 2, 255, 254, 10, 13];
    let refused = store.attachment(ContentId::of(&picture)).await.unwrap_err();
    assert!(matches!(refused, AttachmentError::Spoiled { .. }), "{refused}");
    // The rows cannot be written over, so it is not called kept.
    let refused = store.keep_attachment(picture, "image/png").await.unwrap_err();
    assert!(matches!(refused, AttachmentError::Spoiled { .. }), "{refused}");
}

#[tokio::test]
async fn who_holds_the_lock_for_too_long_is_named_and_nothing_is_kept_meanwhile() {
    let server = Server::shared();
    let database = server.database();
    let opening = PgOpening::of(address(server, &database, OWNER)).patient_for(Duration::from_secs(2));
    let store = PgStore::open(opening).await.unwrap();
    let mut holder = server
        .psql_command(&database, OWNER, &format!("SELECT pg_advisory_lock({WRITING_LOCK}); SELECT pg_sleep(60)"))
        .spawn()
        .unwrap();
    let held = format!(
        "SELECT count(*) FROM pg_locks WHERE locktype = 'advisory' AND objid = {WRITING_LOCK} AND granted \
         AND database = (SELECT oid FROM pg_database WHERE datname = '{database}')"
    );
    while server.sql(&database, &held) != "1" {
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    let entry = common::Pen::for_job(1).note("waits");
    let refused = store.append(std::slice::from_ref(&entry)).await.unwrap_err();
    assert!(matches!(refused, AppendError::Storage { .. }), "{refused}");
    assert!(refused.to_string().contains("another shop has been writing for longer than a write takes"), "{refused}");
    assert!(store.all().await.unwrap().is_empty());
    server.sql(
        &database,
        &format!("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '{database}' AND query LIKE '%pg_sleep(60)%' AND pid <> pg_backend_pid()"),
    );
    holder.wait().unwrap();
    assert_eq!(store.append(&[entry]).await.unwrap()[0].rank, 1);
}

/// Waits until so many entries came.
async fn comes(changes: &mut Changes, wanted: usize) -> Vec<u64> {
    let mut ranks = Vec::new();
    while ranks.len() < wanted {
        let next = tokio::time::timeout(Duration::from_secs(20), changes.next()).await.unwrap().unwrap();
        ranks.extend(next.iter().map(|entry| entry.rank));
    }
    ranks
}

#[tokio::test]
async fn what_others_keep_is_heard_in_rank_also_after_the_line_broke() {
    let server = Server::shared();
    let database = server.database();
    let (shop, other) = (opened(server, &database).await, opened(server, &database).await);
    other.append(&[common::Pen::for_job(7).note("before anybody listened")]).await.unwrap();
    let mut changes = shop.changes();
    assert_eq!(changes.next().await.unwrap(), [], "what was there before is not news");
    let mut pen = common::Pen::for_job(1);
    other.append(&[pen.note("one"), pen.note("two")]).await.unwrap();
    shop.append(&[pen.note("by oneself")]).await.unwrap();
    assert_eq!(comes(&mut changes, 3).await, [2, 3, 4]);
    let end = format!(
        "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '{database}' AND pid <> pg_backend_pid()"
    );
    server.sql(&database, &end);
    for _ in 0..3 {
        other.append(&[pen.note("while nobody could hear it")]).await.unwrap();
    }
    assert_eq!(comes(&mut changes, 3).await, [5, 6, 7]);
    shop.close().await;
    let closed = tokio::time::timeout(Duration::from_secs(20), async { while changes.next().await.is_some() {} }).await;
    assert!(closed.is_ok(), "who follows a store that was closed is told so");
}

#[tokio::test]
async fn a_record_moves_to_a_server_and_back_and_is_the_same() {
    let server = Server::shared();
    let (there, back) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let folder = SqliteStore::open(Opening::of(there.path())).await.unwrap();
    common::story(&folder).await;
    let shared = opened(server, &server.database()).await;
    let home = SqliteStore::open(Opening::of(back.path())).await.unwrap();
    moved(&folder, &shared).await;
    moved(&shared, &home).await;
    let (first, last) = (folder.all().await.unwrap(), home.all().await.unwrap());
    assert_eq!(shared.all().await.unwrap(), first);
    assert_eq!(last, first);
    assert_eq!(home.attachments().await.unwrap(), folder.attachments().await.unwrap());
    let (one, other) = (verified(&folder).await, verified(&home).await);
    assert!(one.agrees() && other.agrees());
    assert_eq!(one.ends, other.ends);
}

#[tokio::test]
async fn a_gap_is_taken_in_where_it_is_named_and_stays_in_sight() {
    let server = Server::shared();
    let store = Record::from(opened(server, &server.database()).await);
    let mut pen = common::Pen::for_job(1);
    let (first, _lost, last) = (pen.note("first"), pen.note("lost before it came here"), pen.note("behind the gap"));
    store.append(&[first]).await.unwrap();
    let refused = store.append(std::slice::from_ref(&last)).await.unwrap_err();
    assert!(matches!(refused, AppendError::OutOfChain { .. }), "{refused}");
    let past = BTreeSet::from([last.id()]);
    let kept = store.append_past_gaps(std::slice::from_ref(&last), &past).await.unwrap();
    assert_eq!((kept[0].rank, kept[0].by), (2, KeptBy::ThisCall));
    let again = store.append_past_gaps(std::slice::from_ref(&last), &past).await.unwrap();
    assert_eq!((again[0].rank, again[0].by), (2, KeptBy::AnEarlierCall));
    store.seal_and_append(&[common::unsealed_note(1, 77, "work goes on")]).await.unwrap();
    let report = store.verify(&mut |_| ControlFlow::Continue(())).await.unwrap();
    assert_eq!((report.entries, report.complaints.len()), (3, 1), "{report:?}");
}

/// Takes everything from one store into another one.
async fn moved<A: Store, B: Store>(from: &A, to: &B) {
    let entries: Vec<logbook::Entry> = from.all().await.unwrap().iter().map(|kept| kept.entry().unwrap()).collect();
    for batch in entries.chunks(7) {
        to.append(batch).await.unwrap();
    }
    for attachment in from.attachments().await.unwrap() {
        to.keep_attachment(from.attachment(attachment.id).await.unwrap(), &attachment.media_type).await.unwrap();
    }
}
