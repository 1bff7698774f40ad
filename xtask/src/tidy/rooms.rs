//! The arrows of `rooms.txt` are those of the manifests, all of them and no others.

use std::collections::{BTreeMap, BTreeSet};

use toml::{Table, Value};

use super::Complaint;
use crate::tree::Tree;

const LIST: &str = "rooms.txt";

/// What `rooms.txt` says.
#[derive(Debug, Default, PartialEq, Eq)]
struct Rooms {
    /// Room to the rooms it uses.
    uses: BTreeMap<String, BTreeSet<String>>,
    /// Room to the rooms its tests use besides.
    tests_use: BTreeMap<String, BTreeSet<String>>,
    /// Outside library to the rooms that may use it.
    only: BTreeMap<String, BTreeSet<String>>,
}

/// What one manifest says.
#[derive(Debug, Default)]
struct Manifest {
    needs: BTreeSet<String>,
    tests_need: BTreeSet<String>,
}

/// Compares `rooms.txt` with the manifests under `crates/`.
#[must_use]
pub fn complaints(tree: &Tree) -> Vec<Complaint> {
    let mut complaints = Vec::new();
    let Some(text) = tree.text(LIST) else {
        return vec![Complaint::of(LIST, 0, "the list of rooms is missing: write one line a room")];
    };
    let rooms = read_list(text, &mut complaints);
    let mut manifests = BTreeMap::new();
    for file in tree.with("crates/", "/Cargo.toml") {
        let Some(room) = file.path.strip_prefix("crates/").and_then(|rest| rest.strip_suffix("/Cargo.toml")) else {
            continue;
        };
        match file.text.parse::<Table>() {
            Ok(table) => {
                manifests.insert(room.to_owned(), read_manifest(&table));
            }
            Err(error) => complaints.push(Complaint::of(&file.path, 0, format!("cannot be read: {error}"))),
        }
    }
    for room in rooms.uses.keys().filter(|room| !manifests.contains_key(*room)) {
        complaints.push(Complaint::of(LIST, 0, format!("`{room}` is listed and crates/{room} is not there")));
    }
    for (room, manifest) in &manifests {
        let path = format!("crates/{room}/Cargo.toml");
        let Some(listed) = rooms.uses.get(room) else {
            complaints.push(Complaint::of(&path, 0, format!("the room `{room}` is not in {LIST}: add its line")));
            continue;
        };
        let is_room = |name: &&String| manifests.contains_key(*name);
        let used: BTreeSet<String> = manifest.needs.iter().filter(is_room).cloned().collect();
        for extra in used.difference(listed) {
            complaints.push(Complaint::of(
                &path,
                0,
                format!("uses the room `{extra}`, an arrow that {LIST} does not have: write a decision record and add it, or take it out here"),
            ));
        }
        for missing in listed.difference(&used) {
            complaints.push(Complaint::of(
                &path,
                0,
                format!("does not use the room `{missing}`, though {LIST} has that arrow: take it out there"),
            ));
        }
        let none = BTreeSet::new();
        let listed_for_tests = rooms.tests_use.get(room).unwrap_or(&none);
        let used_by_tests: BTreeSet<String> =
            manifest.tests_need.iter().filter(is_room).filter(|name| !listed.contains(*name)).cloned().collect();
        for extra in used_by_tests.difference(listed_for_tests) {
            complaints.push(Complaint::of(
                &path,
                0,
                format!("its tests use the room `{extra}`: add `{room} + {extra}` to {LIST}, or take it out here"),
            ));
        }
        for missing in listed_for_tests.difference(&used_by_tests) {
            complaints.push(Complaint::of(
                &path,
                0,
                format!("its tests do not use the room `{missing}`, though {LIST} says so: take it out there"),
            ));
        }
        for (library, allowed) in &rooms.only {
            if manifest.needs.contains(library) && !allowed.contains(room) {
                complaints.push(Complaint::of(
                    &path,
                    0,
                    format!("uses the library `{library}`, which {LIST} keeps to other rooms: move the code there"),
                ));
            }
        }
    }
    complaints
}

fn read_list(text: &str, complaints: &mut Vec<Complaint>) -> Rooms {
    let mut rooms = Rooms::default();
    for (at, line) in text.lines().enumerate() {
        let line = line.split('#').next().unwrap_or("").trim();
        if line.is_empty() {
            continue;
        }
        let words = |rest: &str| rest.split_whitespace().map(str::to_owned).collect::<BTreeSet<_>>();
        let twice = if let Some((library, rest)) = line.strip_prefix('@').and_then(|rest| rest.split_once(':')) {
            rooms.only.insert(library.trim().to_owned(), words(rest)).is_some()
        } else if let Some((room, rest)) = line.split_once(':') {
            rooms.uses.insert(room.trim().to_owned(), words(rest)).is_some()
        } else if let Some((room, rest)) = line.split_once('+') {
            rooms.tests_use.insert(room.trim().to_owned(), words(rest)).is_some()
        } else {
            complaints.push(Complaint::of(LIST, at + 1, "is neither `room: …`, `room + …` nor `@library: …`"));
            false
        };
        if twice {
            complaints.push(Complaint::of(LIST, at + 1, "stands here a second time: keep one line"));
        }
    }
    rooms
}

fn read_manifest(table: &Table) -> Manifest {
    let mut manifest = Manifest::default();
    let mut take = |table: &Table| {
        for (section, tests) in [("dependencies", false), ("build-dependencies", false), ("dev-dependencies", true)] {
            let names = table.get(section).and_then(Value::as_table).into_iter().flatten().map(|(key, value)| {
                // A renamed library is still the library.
                value.get("package").and_then(Value::as_str).unwrap_or(key).to_owned()
            });
            if tests {
                manifest.tests_need.extend(names);
            } else {
                manifest.needs.extend(names);
            }
        }
    };
    take(table);
    for platform in table.get("target").and_then(Value::as_table).into_iter().flatten() {
        if let Some(table) = platform.1.as_table() {
            take(table);
        }
    }
    manifest
}
