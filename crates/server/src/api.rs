//! The HTTP interface under `/api/1/`, described in `openapi.json` beside this file's folder.
//!
//! An `Idempotency-Key` is a time-ordered UUID that the device made; it becomes the id of the entry. So the promise
//! holds across restarts without a table of keys: the same key with the same content is the same entry, with other
//! content it is refused.

use anatomy::{EntryId, JobId};
use axum::Json;
use axum::extract::rejection::JsonRejection;
use axum::extract::{Path, Query, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::{MethodRouter, get, post};
use logbook::{EntryBody, JobOpened, Kind};
use mechanics::{CalcError, Calculator, catalogue};
use serde::Deserialize;
use serde_json::{Value, json};
use store::KeptBy;

use crate::desk::{Bench, Job};
use crate::entering::Given;
use crate::forms::Typed;
use crate::pages::{job_id, who};
use crate::surroundings;
use crate::trouble::{FieldTrouble, OnWire, Trouble};

type Answered = Result<Response, OnWire>;

/// Method, path and handler of every route of the interface.
pub(crate) fn routes() -> Vec<(&'static str, String, MethodRouter<Bench>)> {
    let fixed = [
        ("get", "/api/1/jobs", get(jobs)),
        ("post", "/api/1/jobs", post(open)),
        ("get", "/api/1/jobs/{id}", get(job)),
        ("get", "/api/1/jobs/{id}/entries", get(entries)),
        ("post", "/api/1/jobs/{id}/entries", post(keep)),
        ("get", "/api/1/calculators", get(calculators)),
        ("get", "/api/1/openapi.json", get(openapi)),
    ];
    let of_each = catalogue().iter().map(|c| {
        let work = move |Query(typed): Query<Typed>| worked(c, typed);
        ("get", path_of(c), get(work))
    });
    fixed.into_iter().map(|(method, path, to)| (method, path.to_owned(), to)).chain(of_each).collect()
}

fn path_of(calculator: &Calculator) -> String {
    format!("/api/1/calculators/{}", calculator.id)
}

async fn calculators() -> Response {
    Json(catalogue()).into_response()
}

/// Works a calculator; keys of the address are its keys.
async fn worked(calculator: &'static Calculator, typed: Typed) -> Answered {
    let answered = answer(calculator, &typed).map_err(|error| {
        let field = error.key().unwrap_or("").to_owned();
        let errors = vec![FieldTrouble::new(field, &error)];
        Trouble::fields(format!("{} has no answer", calculator.id), errors)
    })?;
    Ok(Json(answered).into_response())
}

/// What a calculator says to what was typed.
pub(crate) fn answer(calculator: &'static Calculator, typed: &Typed) -> Result<mechanics::Answer, CalcError> {
    let pairs: Vec<(&str, &str)> = typed.iter().map(|(key, text)| (key.as_str(), text.as_str())).collect();
    calculator.calculate(&pairs)
}

/// The description of one calculator, out of its entry in the catalogue.
fn described(calculator: &Calculator) -> Value {
    let common = mechanics::doubt::COMMON_KEYS;
    let own = calculator.inputs.iter().map(|input| {
        let mut schema = json!({"type": "string"});
        if let Value::Object(schema) = &mut schema {
            if !input.choices.is_empty() {
                schema.insert("enum".to_owned(), json!(input.choices));
            }
            if let Some(default) = input.default {
                schema.insert("default".to_owned(), json!(default));
            }
        }
        let example = calculator.example.iter().find(|(key, _)| *key == input.key).map(|(_, text)| *text);
        let mut parameter = json!({
            "name": input.key, "in": "query", "required": input.required, "schema": schema,
            "description": format!("{} ({}; {})", input.meaning, input.how(), input.need()),
        });
        if let (Value::Object(parameter), Some(example)) = (&mut parameter, example) {
            parameter.insert("example".to_owned(), json!(example));
        }
        parameter
    });
    let shared = common.iter().map(|key| {
        json!({"name": key.key, "in": "query", "required": false, "schema": {"type": "string"},
            "description": key.meaning})
    });
    let results: serde_json::Map<String, Value> = calculator
        .outputs
        .iter()
        .map(|output| {
            let said = json!({"$ref": "#/components/schemas/Figure",
                "description": format!("{}, {}", output.meaning, output.counted())});
            (output.key.to_owned(), said)
        })
        .collect();
    let mut words = vec![format!("{}.", crate::words::sentence(calculator.meaning))];
    words.extend(calculator.cautions.iter().map(|caution| format!("Caution: {caution}")));
    words.extend(calculator.workings.iter().map(|line| format!("Worked out: {line}.")));
    words.extend(calculator.sources.iter().map(|source| format!("Source: {source}.")));
    json!({"get": {
        "operationId": format!("calculate-{}", calculator.id),
        "summary": calculator.name,
        "description": words.join(" "),
        "parameters": own.chain(shared).collect::<Vec<_>>(),
        "responses": {
            "200": {"description": "The answer", "content": {"application/json": {"schema": {
                "type": "object", "required": ["calculator", "result", "notes", "cautions", "workings", "sources"], "properties": {
                    "calculator": {"const": calculator.id},
                    "result": {"type": "object", "properties": results},
                    "notes": {"type": "array", "items": {"type": "string"}},
                    "cautions": {"type": "array", "items": {"type": "string"}},
                    "workings": {"type": "array", "items": {"type": "string"}},
                    "sources": {"type": "array", "items": {"type": "string"}},
                    "budget": {"type": "object", "additionalProperties": {"type": "array", "items": {"type": "object"}}}}}}}},
            "422": {"$ref": "#/components/responses/Problem"},
            "default": {"$ref": "#/components/responses/Problem"}}}})
}

/// The description of the interface: the file, with a path for each calculator.
fn description() -> Value {
    let mut whole: Value = serde_json::from_str(include_str!("../assets/openapi.json")).unwrap_or(Value::Null);
    if let Some(Value::Object(paths)) = whole.get_mut("paths") {
        for calculator in catalogue() {
            paths.insert(path_of(calculator), described(calculator));
        }
    }
    whole
}

fn tagged(job: &Job, status: StatusCode, body: &Value) -> Response {
    let mut response = (status, Json(body)).into_response();
    if let Ok(tag) = HeaderValue::from_str(&format!("\"{}\"", job.hash())) {
        response.headers_mut().insert(header::ETAG, tag);
    }
    response
}

fn summary(job: &Job) -> Value {
    let state = &job.state;
    json!({
        "id": job.id.to_string(), "title": state.title, "customer": state.customer,
        "engine": state.layout.as_ref().map(anatomy::EngineLayout::in_words),
        "moment": state.moment.map(logbook::Moment::word),
        "moments": state.moments.iter().map(|m| m.word()).collect::<Vec<_>>(),
        "promised": state.promised, "closed": state.closed.is_some(), "entries": job.entries.len(),
        "chain": job.hash(), "tail": job.tail(),
    })
}

async fn jobs(State(bench): State<Bench>) -> Answered {
    let jobs = bench.jobs().await?;
    Ok(Json(json!({"jobs": jobs.iter().map(|j| summary(j)).collect::<Vec<_>>()})).into_response())
}

async fn job(State(bench): State<Bench>, Path(id): Path<String>) -> Answered {
    let (job, worked) = bench.case(job_id(&id)?).await?;
    let mut body = summary(&job);
    let (case, trouble) = match worked {
        Ok(case) => (serde_json::to_value(&*case).unwrap_or(Value::Null), Value::Null),
        Err(why) => (Value::Null, Value::from(why)),
    };
    if let Value::Object(map) = &mut body {
        map.insert("state".to_owned(), serde_json::to_value(job.state.facts_only()).unwrap_or(Value::Null));
        map.insert("case".to_owned(), case);
        map.insert("no_case_because".to_owned(), trouble);
        let committed = workup::committed::committed(&job.state);
        map.insert("committed".to_owned(), serde_json::to_value(committed).unwrap_or(Value::Null));
        let requests = job.state.approvals_asked.iter().map(|ask| {
            let standing = crate::pages::asking::standing(&bench, &job, ask);
            let code = ask.code.as_deref().map(workup::asking::shown);
            json!({"asked": ask.in_entry.to_string(), "covers": ask.covers.word(), "ceiling": ask.ceiling, "code": code,
                "page": ask.page, "answer_by": ask.answer_by, "standing": standing})
        });
        map.insert("requests".to_owned(), requests.collect());
    }
    Ok(tagged(&job, StatusCode::OK, &body))
}

async fn entries(State(bench): State<Bench>, Path(id): Path<String>) -> Answered {
    let job = bench.job(job_id(&id)?).await?;
    let lines: Vec<Value> = job.entries.iter().filter_map(|e| serde_json::from_str(e.line()).ok()).collect();
    Ok(tagged(&job, StatusCode::OK, &json!({"entries": lines})))
}

fn key(headers: &HeaderMap) -> Result<EntryId, Trouble> {
    let wrong = |message: String| {
        let mut trouble =
            Trouble::fields("the Idempotency-Key is needed", vec![FieldTrouble::new("Idempotency-Key", message)]);
        trouble.status = StatusCode::BAD_REQUEST;
        trouble
    };
    let text = headers.get("idempotency-key").and_then(|k| k.to_str().ok()).ok_or_else(|| {
        wrong("there is none; make a version 7 UUID on the device and send it with every try".to_owned())
    })?;
    text.trim().trim_matches('"').parse().map_err(|e: anatomy::IdError| wrong(e.to_string()))
}

fn read<T>(body: Result<Json<T>, JsonRejection>) -> Result<T, Trouble> {
    body.map(|Json(body)| body).map_err(|e| {
        let mut trouble = Trouble::fields("the body cannot be read", vec![FieldTrouble::new("body", e.body_text())]);
        trouble.status = e.status();
        trouble
    })
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct NewJob {
    /// The device makes the id of the job, so that a second try opens the same one.
    id: JobId,
    title: String,
    customer: Option<String>,
    promised: Option<jiff::civil::Date>,
    by: Option<String>,
    device: Option<String>,
}

async fn open(State(bench): State<Bench>, headers: HeaderMap, body: Result<Json<NewJob>, JsonRejection>) -> Answered {
    let entry = key(&headers)?;
    let new = read(body)?;
    if new.title.trim().is_empty() {
        let why = "it is empty; give a few words to find the job by";
        return Err(Trouble::fields("the job has no title", vec![FieldTrouble::new("title", why)]).into());
    }
    let body = EntryBody::JobOpened(JobOpened {
        title: new.title,
        customer: new.customer,
        promised: new.promised,
        comeback_of: None,
    });
    let by = new.by.unwrap_or_else(|| who(&bench, &headers));
    let device = new.device.unwrap_or_else(|| surroundings::DEVICE.to_owned());
    let (kept, job) = bench.keep(new.id, entry, &by, &device, &body).await?;
    Ok(tagged(&job, status(kept.by), &json!({"kept": entry.to_string(), "job": summary(&job)})))
}

fn status(by: KeptBy) -> StatusCode {
    match by {
        KeptBy::ThisCall => StatusCode::CREATED,
        KeptBy::AnEarlierCall => StatusCode::OK,
    }
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct NewEntry {
    kind: String,
    body: Value,
    by: Option<String>,
    device: Option<String>,
}

async fn keep(
    State(bench): State<Bench>,
    Path(id): Path<String>,
    headers: HeaderMap,
    body: Result<Json<NewEntry>, JsonRejection>,
) -> Answered {
    let entry = key(&headers)?;
    let id = job_id(&id)?;
    let new = read(body)?;
    let job = bench.job(id).await?;
    let kind = Kind::from_word(&new.kind).ok_or_else(|| {
        let all: Vec<&str> = Kind::ALL.iter().map(|k| k.word()).collect();
        let why = format!("`{}` is none; there are {}", new.kind, all.join(", "));
        Trouble::fields("there is no such kind of entry", vec![FieldTrouble::new("kind", why)])
    })?;
    let sent_before = job.entries.iter().any(|e| e.id() == entry);
    if matches!(kind, Kind::EntryWithdrawn | Kind::EntryCorrected) && !sent_before {
        ensure_fresh(&headers, &job)?;
    }
    let body = if kind == Kind::ReadingTaken {
        reading(&bench, &job, &new.body, sent_before)?
    } else {
        told(&bench, &job, kind, &with_code(&bench, kind, entry, new.body).await?)?
    };
    let by = new.by.unwrap_or_else(|| who(&bench, &headers));
    let device = new.device.unwrap_or_else(|| surroundings::DEVICE.to_owned());
    let (kept, now) = bench.keep(id, entry, &by, &device, &body).await?;
    let answer = json!({"kept": entry.to_string(), "rank": kept.rank, "chain": now.hash(), "tail": now.tail()});
    Ok(tagged(&now, status(kept.by), &answer))
}

/// Something that is there is only edited by somebody who has seen it as it is.
fn ensure_fresh(headers: &HeaderMap, job: &Job) -> Result<(), Trouble> {
    let Some(seen) = headers.get(header::IF_MATCH).and_then(|h| h.to_str().ok()) else {
        return Err(Trouble::new(
            StatusCode::PRECONDITION_REQUIRED,
            "If-Match is needed",
            "what is kept is only changed by somebody who has read it as it is; send the ETag of the job",
        ));
    };
    let fresh = seen.trim() == "*" || seen.split(',').any(|tag| tag.trim().trim_matches('"') == job.hash());
    if fresh {
        return Ok(());
    }
    Err(Trouble::new(
        StatusCode::PRECONDITION_FAILED,
        "the job has changed since it was read",
        format!("its chain now ends with {}; read it again and look whether this still holds", job.tail()),
    ))
}

/// Sizes on three axes as they are typed.
fn axes(list: Option<&Value>) -> String {
    let one = |axis: &Value| {
        let degrees = axis.get("degrees").and_then(Value::as_u64).map(|n| n.to_string()).unwrap_or_default();
        let size = axis.get("size");
        let part = |p: &str| size.and_then(|f| f.get(p)).and_then(Value::as_str).unwrap_or_default();
        let typed = size.and_then(Value::as_str).map(str::to_owned);
        format!("{degrees}: {}", typed.unwrap_or_else(|| format!("{} {}", part("text"), part("unit"))))
    };
    list.and_then(Value::as_array).into_iter().flatten().map(one).collect::<Vec<_>>().join("; ")
}

/// Stations of a straightedge as they are typed.
fn stations(list: Option<&Value>) -> String {
    let figure = |station: &Value, name: &str| {
        let there = station.get(name);
        let part = |p: &str| there.and_then(|f| f.get(p)).and_then(Value::as_str).unwrap_or_default();
        let typed = there.and_then(Value::as_str).map(str::to_owned);
        typed.unwrap_or_else(|| format!("{} {}", part("text"), part("unit"))).trim().to_owned()
    };
    let one = |s: &Value| format!("{}: {}..{}", figure(s, "along"), figure(s, "enters"), figure(s, "refused"));
    list.and_then(Value::as_array).into_iter().flatten().map(one).collect::<Vec<_>>().join("; ")
}

/// The single readings of a body as they are typed: with semicolons between.
fn repeats(stored: Option<&Value>) -> String {
    let list = stored.and_then(Value::as_array).map(Vec::as_slice).unwrap_or_default();
    let part = |f: &Value, p: &str| f.get(p).and_then(Value::as_str).unwrap_or_default().to_owned();
    list.iter().map(|f| format!("{} {}", part(f, "text"), part(f, "unit"))).collect::<Vec<_>>().join("; ")
}

/// The body of a reading: as stored, or with its value as typed.
fn reading(bench: &Bench, job: &std::sync::Arc<Job>, body: &Value, sent_before: bool) -> Result<EntryBody, Trouble> {
    let refused = |errors| Trouble::fields("the reading was not taken", errors);
    let Value::Object(map) = body else {
        return Err(refused(vec![FieldTrouble::new("body", "expected an object")]));
    };
    let known = [
        "check",
        "reading",
        "position",
        "value",
        "outcome",
        "phase",
        "spot",
        "gauge",
        "label",
        "temperature",
        "note",
        "mean_of",
        "repeats",
        "stations",
        "axes",
    ];
    if let Some(stray) = map.keys().find(|k| !known.contains(&k.as_str())) {
        let why = format!("a reading has no such field; it has {}", known.join(", "));
        return Err(refused(vec![FieldTrouble::new(stray, why)]));
    }
    let text = |name: &str| -> String {
        match map.get(name) {
            Some(Value::String(text)) => text.clone(),
            Some(Value::Object(figure)) => {
                let part = |p: &str| figure.get(p).and_then(Value::as_str).unwrap_or_default().to_owned();
                format!("{} {}", part("text"), part("unit")).trim().to_owned()
            }
            _ => String::new(),
        }
    };
    let given = Given {
        check: text("check"),
        reading: text("reading"),
        position: text("position"),
        unit: String::new(),
        value: if map.contains_key("outcome") {
            text("outcome")
        } else if map.contains_key("repeats") {
            repeats(map.get("repeats"))
        } else if map.contains_key("axes") {
            axes(map.get("axes"))
        } else {
            text("value")
        },
        phase: text("phase"),
        spot: text("spot"),
        gauge: text("gauge"),
        label: text("label"),
        temperature: text("temperature"),
        note: text("note"),
        stations: stations(map.get("stations")),
        mean_of: map.get("mean_of").and_then(Value::as_u64).map(|n| n.to_string()).unwrap_or_default(),
    };
    // What was kept once is not judged by what came after it.
    let now = bench.standing(job);
    let case = now.case.filter(|_| now.current && !sent_before);
    let body = given.body(&job.state, bench.knowledge(), case.as_deref())?;
    Ok(EntryBody::ReadingTaken(body))
}

/// The body of any other kind.
/// A body with the code that a new machine order gets where it has none.
async fn with_code(bench: &Bench, kind: Kind, entry: EntryId, mut body: Value) -> Result<Value, Trouble> {
    let there = body.get("code");
    // A code of another form than text is refused where the body is read.
    let typed = there.map_or(Some(""), Value::as_str);
    if let (Kind::MachineOrderSent, Some(typed)) = (kind, typed) {
        let code = crate::machine::code_for(bench, entry, typed).await??;
        if let Value::Object(map) = &mut body {
            map.insert("code".to_owned(), Value::from(code));
        }
    }
    Ok(body)
}

fn told(bench: &Bench, job: &Job, kind: Kind, body: &Value) -> Result<EntryBody, Trouble> {
    let refused =
        |field: &str, why: String| Trouble::fields("the entry was not kept", vec![FieldTrouble::new(field, why)]);
    if kind == Kind::JobOpened {
        return Err(refused("kind", "the job is open; open another one with POST /api/1/jobs".to_owned()));
    }
    Ok(workup::entering::body_of(kind, body, &job.state, bench.knowledge())?)
}

async fn openapi() -> Response {
    Json(description()).into_response()
}
