//! Who: whoever finds that something was written down wrongly, often the day after. Moment: any.
//! Why so: what was written and by whom stands first; below it the same questions as when it was written, filled in, so
//! that only what is wrong is touched. The reason is asked for, since the next reader sees both.

use anatomy::EntryId;
use knowledge::ReadingKind;
use logbook::{EntryBody, EntryCorrected, InForce, Kind, Moment};
use maud::{Markup, html};
use serde_json::Value;

use super::View;
use crate::entering::{Given, Refused, found};
use crate::forms::{self, Ask, Field, Form, Typed, may, need};
use crate::surroundings;
use crate::trouble::FieldTrouble;
use crate::words::{title, when, words};

/// Why an entry is put right; no kind has a field of this name.
const BECAUSE: &str = "put-right-because";

/// The questions of an entry, whether a form or the keypad wrote it.
fn fields_of(view: &View, kind: Kind, body: &Value) -> Vec<Field> {
    if kind != Kind::ReadingTaken {
        return forms::fields(kind, view.state(), view.knowledge());
    }
    let text = |name: &str| body.get(name).and_then(Value::as_str).unwrap_or_default();
    let Ok((check, reading)) = found(view.knowledge(), text("check"), text("reading")) else { return Vec::new() };
    let layout = view.state().layout.as_ref();
    let places: Vec<(String, String)> = layout.map_or_else(Vec::new, |layout| {
        let all = check.scope.iter().flat_map(|s| layout.positions(*s));
        all.map(|p| (p.address(), layout.label(&p))).collect()
    });
    let value = match &reading.kind {
        ReadingKind::Graded { outcomes, .. } | ReadingKind::Nominal { outcomes, .. } => {
            Ask::Pick(outcomes.iter().map(|o| (o.clone(), words(o))).collect())
        }
        ReadingKind::Numeric(_) => Ask::Figure(""),
    };
    let name = |id: &str| view.knowledge().gauge(id).map_or_else(|| words(id), |g| g.name.clone());
    let gauges = view
        .state()
        .gauges
        .iter()
        .map(|(label, g)| (format!("{}|{label}", g.body.gauge), format!("{label} ({})", name(&g.body.gauge))));
    let mut gauges: Vec<(String, String)> = gauges.collect();
    let used = format!("{}|{}", text("gauge"), text("label"));
    if used.len() > 1 && gauges.iter().all(|(word, _)| *word != used) {
        gauges.push((used, name(text("gauge"))));
    }
    let read = if body.get("stations").is_some() {
        need("stations", "Stations: how far along, blade that enters, two dots, blade refused", Ask::Long)
    } else {
        need("value", "What was read", value)
    };
    vec![
        read,
        need("position", "Where", Ask::Pick(places)),
        may("gauge-used", "Gauge", Ask::Pick(gauges)),
        may("mean_of", "Mean of how many readings", Ask::Count),
        may("spot", "Where within the place", Ask::Line),
        may("temperature", "Temperature of part or oil", Ask::Figure("°C")),
        may("note", "Note", Ask::Line),
    ]
}

fn typed_of(kind: Kind, fields: &[Field], body: &Value) -> Typed {
    let mut typed = forms::typed_of(fields, body);
    if kind == Kind::ReadingTaken {
        let text = |name: &str| body.get(name).and_then(Value::as_str).unwrap_or_default();
        if let Some(list) = body.get("repeats").and_then(Value::as_array) {
            let part = |f: &Value, p: &str| f.get(p).and_then(Value::as_str).unwrap_or_default().to_owned();
            let all: Vec<String> = list.iter().map(|f| format!("{} {}", part(f, "text"), part(f, "unit"))).collect();
            typed.insert("value".to_owned(), all.join("; "));
        }
        if let Some(list) = body.get("axes").and_then(Value::as_array) {
            let part = |axis: &Value, p: &str| {
                let size = axis.get("size").and_then(|f| f.get(p)).and_then(Value::as_str);
                size.unwrap_or_default().to_owned()
            };
            let degrees = |axis: &Value| axis.get("degrees").and_then(Value::as_u64).unwrap_or_default();
            let all: Vec<String> =
                list.iter().map(|a| format!("{}: {} {}", degrees(a), part(a, "text"), part(a, "unit"))).collect();
            typed.insert("value".to_owned(), all.join("; "));
        }
        if let Some(list) = body.get("stations").and_then(Value::as_array) {
            let all: Vec<String> = list.iter().map(station_typed).collect();
            typed.insert("stations".to_owned(), all.join("\n"));
        }
        if let Some(n) = body.get("mean_of").and_then(Value::as_u64) {
            typed.insert("mean_of".to_owned(), n.to_string());
        }
        if let Some(outcome) = body.get("outcome").and_then(Value::as_str) {
            typed.insert("value".to_owned(), outcome.to_owned());
        }
        typed.insert("gauge-used".to_owned(), format!("{}|{}", text("gauge"), text("label")));
    }
    typed
}

/// A station of a straightedge as it is typed.
fn station_typed(station: &Value) -> String {
    let figure = |name: &str| {
        let part = |p: &str| station.get(name).and_then(|f| f.get(p)).and_then(Value::as_str).unwrap_or_default();
        format!("{} {}", part("text"), part("unit")).trim().to_owned()
    };
    format!("{}: {}..{}", figure("along"), figure("enters"), figure("refused"))
}

/// What an entry says now: the latest correction of it, or itself.
fn says(view: &View, entry: EntryId) -> Value {
    let line = view.state().history.iter().find(|h| h.entry == entry);
    let right = line.and_then(|line| match &line.status {
        InForce::Corrected { by } => view.state().history.iter().find(|h| h.entry == *by),
        InForce::Standing | InForce::Withdrawn { .. } | InForce::WithoutEffect => None,
    });
    let corrected = right.and_then(|r| r.body.get("body")).cloned();
    corrected.or_else(|| line.map(|l| l.body.clone())).unwrap_or_default()
}

/// The whole right body with its reason.
pub(crate) fn right_body(
    view: &View,
    entry: EntryId,
    kind: Kind,
    typed: &Typed,
) -> Result<EntryCorrected, Vec<FieldTrouble>> {
    let text = |name: &str| typed.get(name).map(|t| t.trim().to_owned()).unwrap_or_default();
    let reason = text(BECAUSE);
    let mut errors = Vec::new();
    if reason.is_empty() {
        errors.push(FieldTrouble::new(BECAUSE, "say why it is put right; the next reader sees both"));
    }
    let body = if kind == Kind::ReadingTaken {
        let was = says(view, entry);
        let of = |name: &str| was.get(name).and_then(Value::as_str).unwrap_or_default().to_owned();
        let used = text("gauge-used");
        let (gauge, label) = used.split_once('|').unwrap_or((&used, ""));
        let given = Given {
            check: of("check"),
            reading: of("reading"),
            phase: of("phase"),
            position: text("position"),
            value: text("value"),
            spot: text("spot"),
            gauge: gauge.to_owned(),
            label: label.to_owned(),
            temperature: text("temperature"),
            note: text("note"),
            mean_of: text("mean_of"),
            stations: text("stations"),
            unit: String::new(),
        };
        match given.body_put_right(view.state(), view.knowledge()).map_err(Refused::from) {
            Ok(body) => Some(EntryBody::ReadingTaken(body)),
            Err(Refused::Fields(list)) => {
                errors.extend(list);
                None
            }
            Err(Refused::Asks(question)) => {
                errors.push(FieldTrouble::new("value", format!("{question}; type it so that one reading is left")));
                None
            }
        }
    } else {
        match forms::body(kind, view.state(), view.knowledge(), typed) {
            Ok(body) => Some(body),
            Err(list) => {
                errors.extend(list);
                None
            }
        }
    };
    match body {
        Some(body) if errors.is_empty() => match serde_json::to_value(&body) {
            Ok(value) => {
                let v = Some(body.version()).filter(|v| *v > 1);
                Ok(EntryCorrected { entry, body: value, reason, v })
            }
            Err(why) => Err(vec![FieldTrouble::new("form", why)]),
        },
        Some(_) | None => Err(errors),
    }
}

/// The page of one entry.
pub(crate) fn page(view: &View, entry: EntryId, kind: Kind, typed: Option<&Typed>, errors: &[FieldTrouble]) -> Markup {
    let moment = kind.moment().unwrap_or(Moment::HandBack);
    let line = view.state().history.iter().find(|h| h.entry == entry);
    let body = says(view, entry);
    let mut fields = fields_of(view, kind, &body);
    let filled = typed_of(kind, &fields, &body);
    let back = view.link(moment.word());
    let can = !fields.is_empty() && !matches!(kind, Kind::EntryWithdrawn | Kind::EntryCorrected);
    fields.push(need(BECAUSE, "Why it is put right", Ask::Line));
    let form = Form {
        action: view.link(&format!("entries/{entry}")),
        fields,
        typed: typed.unwrap_or(&filled),
        errors,
        back: back.clone(),
        button: "Put it right",
    };
    let status = line.map(|l| &l.status);
    let body = html! {
        section.sheet {
            h2 { (title(kind.word())) }
            @if let Some(line) = line {
                p.quiet { (when(line.at)) " · " (line.by) " · " (line.device) }
                p class=(if matches!(line.status, InForce::Withdrawn { .. }) { "withdrawn" } else { "" }) {
                    (view.said(&line.body))
                }
            }
            @match status {
                Some(InForce::Withdrawn { .. }) => p.strong { "Taken back. It stays in the record and no longer counts." },
                Some(InForce::Corrected { .. }) => p.strong { "Put right since: " (view.said(&body)) },
                Some(InForce::WithoutEffect) => p.strong { "Without effect." },
                Some(InForce::Standing) | None => {}
            }
        }
        @if matches!(status, Some(InForce::Standing | InForce::Corrected { .. })) {
            @if can {
                section.sheet {
                    h2 { "Put it right" }
                    (form.show())
                }
            }
            section.sheet {
                h2 { "Take it back" }
                form.ask method="post" action=(view.link(&format!("withdraw/{entry}"))) data-once="" {
                    input type="hidden" name="entry" value=(surroundings::new_entry());
                    input type="hidden" name="back" value=(back);
                    div.field {
                        label for="withdraw-reason" { "Why it is taken back" }
                        input type="text" id="withdraw-reason" name="reason" required;
                    }
                    button type="submit" { "Take it back" }
                }
            }
        }
        p {
            a.button.plain href=(back) { "Back to " (super::tab(moment)) }
        }
    };
    view.page(moment, &body, None)
}
