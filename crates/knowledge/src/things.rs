//! Everything the knowledge holds, one after another, each with the tags of its figures.
//!
//! A tag is found by where it stands in the files: a field `source` speaks of the thing it stands in, `likelihood_source` of
//! the likelihoods beside it. So no figure can be added without being listed.

use serde::Serialize;
use serde_json::Value;

use crate::{Knowledge, Located, Source, SourceKind};

/// One thing of the knowledge.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Thing {
    /// What kind of thing, such as `check`.
    pub kind: &'static str,
    /// Its id; empty for what has none.
    pub id: String,
    /// Its name in words; the kind, for what has none.
    pub name: String,
    /// Its file.
    pub file: String,
    /// The line of its heading, counted from 1.
    pub line: usize,
    /// The tags of its figures.
    pub tags: Vec<Tag>,
}

/// Where a figure of a thing comes from.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Tag {
    /// What of the thing it speaks of, in words; empty for the thing as a whole.
    pub of: String,
    /// The tag.
    pub source: Source,
}

impl Knowledge {
    /// All things, kind after kind, each in the sequence of its files.
    ///
    /// What the shop has learnt from its own jobs is not among them: it says itself what it rests on.
    #[must_use]
    pub fn things(&self) -> Vec<Thing> {
        let mut out = Vec::new();
        macro_rules! all {
            ($($list:ident => $kind:literal, $id:expr, $name:expr;)+) => {
                $(for one in &self.$list {
                    out.push(thing($kind, one, $id(&one.value), $name(&one.value)));
                })+
            };
        }
        all!(
            attributes => "attribute", |a: &crate::Attribute| a.id.clone(), |a: &crate::Attribute| a.plain.clone();
            causes => "cause", |c: &crate::Cause| c.id.clone(), |c: &crate::Cause| c.name.clone();
            conditions => "condition", |c: &crate::Condition| c.id.clone(), |c: &crate::Condition| c.name.clone();
            checks => "check", |c: &crate::Check| c.id.clone(), |c: &crate::Check| c.name.clone();
            stages => "stage", |s: &crate::Stage| s.id.clone(), |s: &crate::Stage| s.note.clone().unwrap_or_else(|| words(&s.id));
            prerequisites => "prerequisite", |p: &crate::Prerequisite| p.id.clone(), |p: &crate::Prerequisite| p.text.clone();
            tools => "tool", |t: &crate::Tool| t.id.clone(), |t: &crate::Tool| words(&t.id);
            checklists => "checklist", |l: &crate::Checklist| l.id.clone(), |l: &crate::Checklist| l.name.clone();
            outside => "outside", |o: &crate::OutsideFault| o.id.clone(), |o: &crate::OutsideFault| o.name.clone();
            blocks => "block", |b: &crate::Block| b.id.clone(), |b: &crate::Block| b.name.clone();
            limits => "limit", |l: &crate::Limit| l.id.clone(), |l: &crate::Limit| l.name.clone();
            gauges => "gauge", |g: &crate::Gauge| g.id.clone(), |g: &crate::Gauge| g.name.clone();
            operations => "operation", |o: &crate::workshop::Operation| o.id.clone(), |o: &crate::workshop::Operation| o.name.clone();
            options => "option", |o: &crate::workshop::RepairOption| o.id.clone(), |o: &crate::workshop::RepairOption| o.name.clone();
            quote_ages => "quote age", |q: &crate::QuoteAge| q.id.clone(), |q: &crate::QuoteAge| words(&q.id);
            calls => "call", |c: &crate::workshop::CallSheet| c.id.clone(), |c: &crate::workshop::CallSheet| c.name.clone();
            joints => "joint", |j: &crate::workshop::Joint| j.id.clone(), |j: &crate::workshop::Joint| j.name.clone();
            cautions => "caution", |c: &crate::workshop::Caution| c.id.clone(), |c: &crate::workshop::Caution| c.text.clone();
            residues => "residue", |r: &crate::workshop::Residue| r.id.clone(), |r: &crate::workshop::Residue| format!("{}, {}", r.colour, r.texture);
            places => "place", |p: &crate::workshop::Place| p.id.clone(), |p: &crate::workshop::Place| p.name.clone();
            sources => "source", |s: &crate::workshop::Reference| s.id.clone(), |s: &crate::workshop::Reference| format!("{} ({})", s.title, s.publisher);
        );
        out
    }

    /// The same, and what has tags beside these: travel, repeats, arrivals, rules of parts, waiting times and build stages. They
    /// have no id of their own to be shown by.
    #[must_use]
    pub fn all_tagged(&self) -> Vec<Thing> {
        let mut out = self.things();
        macro_rules! all {
            ($($list:ident => $kind:literal;)+) => {
                $(for one in &self.$list {
                    let value = serde_json::to_value(&one.value).unwrap_or_default();
                    out.push(thing($kind, one, text(&value, &["id"]), text(&value, NAMES)));
                })+
            };
        }
        all!(
            travel => "travel"; repeats => "repeat"; arrivals => "arrival"; rules => "rule"; keeps => "keep in place";
            waits => "waiting time"; steps => "build stage";
        );
        out
    }
}

/// The figures of one tag, each with the thing that it stands in.
#[must_use]
pub fn tagged(things: &[Thing], kind: SourceKind) -> Vec<(&Thing, &Tag)> {
    let all = things.iter().flat_map(|thing| thing.tags.iter().map(move |tag| (thing, tag)));
    all.filter(|(_, tag)| tag.source.kind == kind).collect()
}

/// The fields that name a thing, the first one that is there counts.
const NAMES: &[&str] = &["name", "what", "title", "text", "part", "parts", "joint", "group", "operation", "id"];

fn text(value: &Value, fields: &[&str]) -> String {
    let found = fields.iter().find_map(|field| match value.get(field)? {
        Value::String(text) => Some(text.clone()),
        Value::Array(list) => {
            Some(list.iter().filter_map(Value::as_str).collect::<Vec<_>>().join(", ")).filter(|t| !t.is_empty())
        }
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::Object(_) => None,
    });
    found.unwrap_or_default()
}

fn thing<T: Serialize>(kind: &'static str, one: &Located<T>, id: String, name: String) -> Thing {
    let mut tags = Vec::new();
    tags_in(&serde_json::to_value(&one.value).unwrap_or_default(), &mut Vec::new(), &mut tags);
    let name = if name.is_empty() { kind.to_owned() } else { name };
    Thing { kind, id, name, file: one.file.clone(), line: one.line, tags }
}

/// The ending of a field that says where the field before it comes from.
const OF: &str = "_source";

/// Gathers tags; `path` says in words how far inside the thing it is.
fn tags_in(value: &Value, path: &mut Vec<String>, out: &mut Vec<Tag>) {
    match value {
        Value::Object(fields) => {
            for (field, inner) in fields {
                let of = if field == "source" { Some("") } else { field.strip_suffix(OF) };
                let tag = of.and_then(|of| Some((of, serde_json::from_value::<Source>(inner.clone()).ok()?)));
                if let Some((of, source)) = tag {
                    let all = path.iter().cloned().chain((!of.is_empty()).then(|| words(of)));
                    out.push(Tag { of: all.collect::<Vec<_>>().join(", "), source });
                    continue;
                }
                path.push(words(field));
                tags_in(inner, path, out);
                path.pop();
            }
        }
        Value::Array(list) => {
            for inner in list {
                let named = text(inner, NAMES);
                let last = path.len().saturating_sub(1);
                let before = path.get(last).cloned();
                if let (Some(place), false) = (path.get_mut(last), named.is_empty()) {
                    *place = format!("{place} {}", words(&named));
                }
                tags_in(inner, path, out);
                if let (Some(place), Some(before)) = (path.get_mut(last), before) {
                    *place = before;
                }
            }
        }
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {}
    }
}

/// An id or a field as words.
fn words(id: &str) -> String {
    id.replace(['-', '_'], " ")
}
