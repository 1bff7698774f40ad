//! Who: whoever asks "says who?", and the owner who would replace a guess by a figure. Moment: any.
//! Why so: what rests on memory stands first, because it is what people ought to replace; then the texts, each with how it was
//! read and how many figures rest on it, since a text that nobody had open is worth less than it looks.

use knowledge::things::tagged;
use knowledge::workshop::Read;
use knowledge::{SourceKind, Tag, Thing};
use maud::{Markup, html};

use super::shell;
use crate::desk::Bench;
use crate::words::{count, sentence};

/// The page.
pub(crate) fn page(bench: &Bench, who: &str) -> Markup {
    let known = bench.knowledge();
    let things = known.all_tagged();
    let all: usize = things.iter().map(|t| t.tags.len()).sum();
    let [memory, elicited, common, published] = SourceKind::ALL.map(|kind| tagged(&things, kind));
    let body = html! {
        main id="main" {
            h1 { "Where the figures come from" }
            p {
                (count(all, "tag", "tags")) " in the book: "
                (published.len()) " published, "
                (common.len()) " common practice, "
                (elicited.len()) " asked of people, "
                strong { (memory.len()) " from memory" } "."
            }
            p.quiet {
                "A figure of the engine's own manual goes before all of these. A shop puts its own figures into its knowledge folder; "
                "what it writes there goes before the book."
            }
            section.sheet {
                h2 { "From memory: to be replaced" }
                (by_kind(&memory))
            }
            section.sheet {
                h2 { "Asked of people" }
                (by_kind(&elicited))
            }
            section.sheet {
                h2 { "Texts" }
                p.quiet { "A text that was not open itself is opened again before a customer is shown a figure of it." }
                ul.rows {
                    @for text in &known.sources {
                        @let resting: Vec<(&Thing, &Tag)> = published.iter().copied()
                            .filter(|(_, tag)| tag.source.reference.as_deref() == Some(text.id.as_str()))
                            .collect();
                        li id={ "text-" (text.id) } {
                            p { strong { (text.title) } span.quiet { " · " (text.publisher) @if !text.at.is_empty() { " · " (text.at) } } }
                            p.quiet { (sentence(read(text.read))) ". " (count(resting.len(), "figure rests", "figures rest")) " on it." }
                            @if !text.note.is_empty() { p.quiet { (sentence(&text.note)) } }
                            @if !resting.is_empty() {
                                details.fold {
                                    summary { "Which" }
                                    ul.rows { @for (thing, tag) in &resting { (line(thing, tag)) } }
                                }
                            }
                        }
                    }
                }
            }
            section.sheet {
                h2 { "Common practice" }
                (by_kind(&common))
            }
        }
    };
    shell("Where the figures come from", who, &body)
}

/// How a text was read.
fn read(how: Read) -> &'static str {
    match how {
        Read::AsSeen => "the text itself was open",
        Read::SecondHand => "another text quotes it",
        Read::Believed => "named from memory",
        Read::Untold => "nobody wrote down how it was read",
    }
}

fn by_kind(tags: &[(&Thing, &Tag)]) -> Markup {
    let groups: Vec<&[(&Thing, &Tag)]> = tags.chunk_by(|a, b| a.0.kind == b.0.kind).collect();
    html! {
        @if groups.is_empty() { p { "None." } }
        @for group in groups {
            @if let Some((first, _)) = group.first() {
                details.fold {
                    summary { (sentence(first.kind)) ": " (group.len()) }
                    ul.rows { @for (thing, tag) in group { (line(thing, tag)) } }
                }
            }
        }
    }
}

fn line(thing: &Thing, tag: &Tag) -> Markup {
    let said =
        [&tag.source.at, &tag.source.note].into_iter().flatten().map(String::as_str).collect::<Vec<_>>().join("; ");
    html! {
        li {
            p {
                (sentence(&thing.name))
                @if !tag.of.is_empty() { span.quiet { " · " (tag.of) } }
            }
            @if !said.is_empty() { p.quiet { (sentence(&said)) } }
        }
    }
}
