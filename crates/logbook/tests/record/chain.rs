//! The chain names the first bad line, whatever was done to the file.

use crate::common::{FORMAT_1, chained, made, sample_bodies, small};
use logbook::{BadLine, Chain, ChainError, Entry, Unsealed, export, import, verify, verify_against_tail};
use proptest::prelude::*;

/// A short logbook of different kinds: nine entries.
fn short() -> Vec<Entry> {
    let bodies = sample_bodies();
    let unsealed: Vec<Unsealed> =
        bodies.iter().step_by(7).enumerate().map(|(n, body)| made(n as u64, small(n), body)).collect();
    chained(&unsealed)
}

fn lines_of(entries: &[Entry]) -> Vec<String> {
    entries.iter().map(|entry| format!("{}\n", entry.line())).collect()
}

fn named(file: &[u8]) -> (usize, BadLine) {
    match verify(file) {
        Err(ChainError::Line { line, why, readable_before, .. }) => {
            assert_eq!(readable_before, line - 1);
            let before: Vec<&[u8]> = file.split_inclusive(|b| *b == b'\n').take(readable_before).collect();
            let good = verify(&before.concat()).expect("everything before the bad line holds together");
            assert_eq!(good.lines, readable_before);
            (line, why)
        }
        other => panic!("not named: {other:?}"),
    }
}

#[test]
fn an_untouched_logbook_verifies_and_gives_its_tail() {
    let entries = short();
    let report = verify(export(&entries).as_bytes()).unwrap();
    assert_eq!(report.lines, entries.len());
    let hash = entries.last().unwrap().hash();
    assert_eq!(report.tail8(Some(crate::common::job())).unwrap(), hash[56..]);
    assert_eq!(verify(b"").unwrap().lines, 0);
}

// Source:   SHA-256 (FIPS 180-4), reckoned outside the project by the coreutils program sha256sum
// Value by: head -1 formats/v1/entries.jsonl | sed 's/,"hash":"[0-9a-f]*"}$/}/' | tr -d '\n' | sha256sum
// Digits:   all 64, exact
#[test]
fn the_hash_is_the_sha_256_of_the_line_without_its_hash_member() {
    let first = FORMAT_1.lines().next().unwrap();
    assert!(first.ends_with("\"hash\":\"35b778beaa175247e666a8adb65f811e2d6afee6298aec4301e9f3365fa660fe\"}"));
    assert!(Entry::from_line(first).is_ok());
}

#[test]
fn two_jobs_may_take_turns_in_one_file() {
    let entries = short();
    let other = anatomy::JobId::from_time_and_chance(crate::common::START_MS, [9; 10]);
    let mut chain = Chain::new(other);
    let theirs: Vec<Entry> = entries
        .iter()
        .map(|entry| chain.append_unsealed(Unsealed { job: other, ..entry.unsealed() }).unwrap())
        .collect();
    let mut file = String::new();
    for (a, b) in entries.iter().zip(&theirs) {
        file.push_str(&format!("{}\n{}\n", a.line(), b.line()));
    }
    let report = verify(file.as_bytes()).unwrap();
    assert_eq!(report.jobs.len(), 2);
    assert_eq!(report.jobs[&other].tail8(), chain.tail8());
    assert_eq!(report.tail8(None), None, "with two jobs one must be named");
}

#[test]
fn each_dropped_line_is_named_and_a_dropped_end_needs_the_paper() {
    let entries = short();
    let lines = lines_of(&entries);
    for dropped in 0..lines.len() {
        let mut left = lines.clone();
        left.remove(dropped);
        let file = left.concat();
        if dropped + 1 == lines.len() {
            assert!(verify(file.as_bytes()).is_ok(), "a chain cannot know of a clean cut at its end");
            let tail = &entries.last().unwrap().hash()[56..];
            assert!(matches!(verify_against_tail(file.as_bytes(), tail), Err(ChainError::Tail { .. })));
        } else {
            assert_eq!(named(file.as_bytes()), (dropped + 1, BadLine::LineDroppedBefore));
        }
    }
}

#[test]
fn each_swap_of_two_lines_is_named_at_the_first_of_them() {
    let lines = lines_of(&short());
    for a in 0..lines.len() {
        for b in a + 1..lines.len() {
            let mut swapped = lines.clone();
            swapped.swap(a, b);
            assert_eq!(named(swapped.concat().as_bytes()), (a + 1, BadLine::Swapped), "{a} and {b}");
        }
    }
}

#[test]
fn each_inserted_line_is_named_whether_forged_copied_or_foreign() {
    let entries = short();
    let lines = lines_of(&entries);
    let forged_body = made(99, 99, &sample_bodies()[0]);
    for place in 0..lines.len() {
        // A forger who knows the chain: his line fits what is before it, the next one then does not fit.
        let prev = if place == 0 { logbook::FIRST_PREV } else { entries[place - 1].hash() };
        let forged = forged_body.clone().seal(prev).unwrap();
        let mut file = lines.clone();
        file.insert(place, format!("{}\n", forged.line()));
        assert_eq!(named(file.concat().as_bytes()), (place + 1, BadLine::Inserted), "forged at {place}");
        // Text that is no entry.
        for foreign in ["{}\n", "\n", "note to self\n"] {
            let mut file = lines.clone();
            file.insert(place, foreign.to_owned());
            assert_eq!(named(file.concat().as_bytes()), (place + 1, BadLine::Inserted), "foreign at {place}");
        }
        // A copy of a line of the same logbook.
        for copied in 0..lines.len() {
            let mut file = lines.clone();
            file.insert(place, lines[copied].clone());
            let (line, why) = named(file.concat().as_bytes());
            if copied < place {
                assert_eq!((line, why), (place + 1, BadLine::Inserted), "{copied} copied to {place}");
            } else if copied == place {
                // The copy and the line are the same bytes: the second of them is named.
                assert_eq!((line, why), (place + 2, BadLine::Inserted));
            } else {
                assert_eq!(line, place + 1, "{copied} copied to {place}");
                assert!(matches!(why, BadLine::Swapped | BadLine::Inserted), "{why:?}");
            }
        }
    }
}

#[test]
fn a_cut_at_every_byte_of_the_last_record_is_named_and_the_rest_stays_readable() {
    let entries = short();
    let file = export(&entries);
    let last = entries.last().unwrap().line().len() + 1;
    let start = file.len() - last;
    for kept in 1..last {
        let (line, why) = named(&file.as_bytes()[..start + kept]);
        assert_eq!(line, entries.len());
        assert_eq!(why, if kept == last - 1 { BadLine::LineEndMissing } else { BadLine::Cut }, "{kept} bytes kept");
    }
    // Cut exactly between two records: only the paper knows.
    assert!(verify(&file.as_bytes()[..start]).is_ok());
    let tail = &entries.last().unwrap().hash()[56..];
    assert!(verify_against_tail(&file.as_bytes()[..start], tail).is_err());
    assert!(verify_against_tail(file.as_bytes(), tail).is_ok());
}

#[test]
fn a_chain_written_anew_from_the_start_is_caught_by_the_paper() {
    let entries = short();
    let anew: Vec<Unsealed> =
        entries.iter().map(|entry| Unsealed { by: "somebody else".into(), ..entry.unsealed() }).collect();
    let file = export(&chained(&anew));
    assert!(verify(file.as_bytes()).is_ok());
    let tail = &entries.last().unwrap().hash()[56..];
    let said = verify_against_tail(file.as_bytes(), tail).unwrap_err().to_string();
    assert!(said.contains(&format!("the paper says {tail}")), "{said}");
}

#[test]
fn a_paper_printed_earlier_matches_a_chain_that_has_grown_since() {
    let entries = short();
    let earlier = &entries[3].hash()[56..];
    assert!(verify_against_tail(export(&entries).as_bytes(), earlier).is_ok());
}

#[test]
fn the_message_names_line_entry_reason_and_next_move() {
    let entries = short();
    let file = export(&entries).replacen("Ida", "Eda", 1);
    assert_eq!(
        verify(file.as_bytes()).unwrap_err().to_string(),
        format!(
            "line 1, entry {}: at least one byte was changed; take this line from another copy of the logbook; the 0 \
             lines before it are good",
            entries[0].id()
        )
    );
}

#[test]
fn a_hash_in_capitals_or_a_spelling_change_of_the_id_counts_as_changed() {
    let entries = short();
    let file = export(&entries);
    let hash = entries[0].hash();
    let capitals = file.replacen(hash, &hash.to_uppercase(), 1);
    assert_eq!(named(capitals.as_bytes()), (1, BadLine::Changed));
    let id = entries[0].id().to_string();
    let spelling = file.replacen(&id, &id.to_uppercase(), 1);
    assert_eq!(named(spelling.as_bytes()), (1, BadLine::Changed));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 10_000, ..ProptestConfig::default() })]

    #[test]
    fn any_single_byte_change_is_named_at_its_line(place in any::<prop::sample::Index>(), flip in 1_u8..=255) {
        let mut file = SHORT.with(|file| file.clone());
        let place = place.index(file.len());
        let line = file[..place].iter().filter(|b| **b == b'\n').count() + 1;
        let lines = file.iter().filter(|b| **b == b'\n').count();
        file[place] ^= flip;
        let (found, why) = named(&file);
        prop_assert_eq!(found, line);
        let at_the_end = line == lines && why == BadLine::Cut;
        prop_assert!(why == BadLine::Changed || at_the_end, "{:?}", why);
    }

    #[test]
    fn any_zeroed_or_moved_block_is_noticed(
        from in any::<prop::sample::Index>(),
        to in any::<prop::sample::Index>(),
        long in 1_usize..512,
        zero in any::<bool>(),
    ) {
        let good = SHORT.with(|file| file.clone());
        let mut file = good.clone();
        let (from, to) = (from.index(file.len() - long), to.index(file.len() - long));
        let block = if zero { vec![0; long] } else { good[from..from + long].to_vec() };
        file[to..to + long].copy_from_slice(&block);
        prop_assume!(file != good);
        named(&file);
    }

    #[test]
    fn any_bytes_are_imported_and_come_out_as_they_went_in(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        prop_assert_eq!(import(&bytes).bytes(), bytes.clone());
        let _ = verify(&bytes);
    }
}

thread_local! {
    /// The short logbook, made once.
    static SHORT: Vec<u8> = export(&short()).into_bytes();
}
