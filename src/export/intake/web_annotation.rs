//! Marks from W3C Web Annotations: our own, which carry the mark as it was, and others', of which
//! tag, creator and media fragment are read.

use std::collections::BTreeMap;

use serde_json::Value;

use super::{Error, Found, Group, Intake, Known, Refused, behaviour, settle};
use crate::model::{Clip, Coding, End, Kind, Mark, MarkId, Session};
use crate::report::link::percent_decoded;
use crate::time::{Micros, TimeBase};

/// Reads a collection, a page, a list of annotations, or one.
///
/// # Errors
/// When it is no JSON, or none of these.
pub fn from_web_annotation(text: &str, known: Known<'_>) -> Result<Intake, Error> {
    let root: Value = serde_json::from_str(text.strip_prefix('\u{feff}').unwrap_or(text))?;
    let mut intake = Intake::default();
    let mut groups: BTreeMap<String, Group> = BTreeMap::new();
    let head = root.get("coding").and_then(|own| serde_json::from_value::<Coding>(own.clone()).ok());
    if let Some(head) = &head {
        let _ = groups.insert(key(head.session.as_str(), head.by.as_str()), group_of(head));
    }
    let annotations = annotations(&root);
    if annotations.is_empty() && head.is_none() {
        return Err(Error::NoAnnotations);
    }
    for (i, annotation) in annotations.into_iter().enumerate() {
        let place = match annotation.get("id").and_then(Value::as_str) {
            Some(id) => format!("annotation {} ({id})", i + 1),
            None => format!("annotation {}", i + 1),
        };
        let read = match (&head, annotation.get("mark")) {
            (Some(head), Some(own)) => ours(head, own),
            _ => others(annotation, known),
        };
        match read {
            Ok((session, by, found)) => {
                let group = groups.entry(key(&session, &by)).or_default();
                (group.session, group.by) = (session, by);
                group.marks.push(Found { place, ..found });
            }
            Err(why) => intake.refused.push(Refused { place, why }),
        }
    }
    settle(groups, known, &mut intake);
    Ok(intake)
}

fn key(session: &str, by: &str) -> String {
    format!("session {session} by {by}")
}

fn group_of(head: &Coding) -> Group {
    Group {
        session: head.session.to_string(),
        by: head.by.to_string(),
        purpose: Some(head.purpose),
        ethogram: Some((head.ethogram.id.to_string(), head.ethogram.revision)),
        head: Some(Coding { marks: Vec::new(), last_seq: 0, left_at: None, ..head.clone() }),
        marks: Vec::new(),
    }
}

/// All annotations of a collection whose pages are in it, a page, a list, or one by itself.
fn annotations(root: &Value) -> Vec<&Value> {
    if let Some(list) = root.as_array() {
        return list.iter().collect();
    }
    let mut found = Vec::new();
    let mut page = Some(root.get("first").filter(|first| first.is_object()).unwrap_or(root));
    while let Some(own) = page {
        found.extend(own.get("items").and_then(Value::as_array).into_iter().flatten());
        page = own.get("next").filter(|next| next.is_object());
    }
    if found.is_empty() && root.get("target").is_some() {
        found.push(root);
    }
    found
}

type Read = Result<(String, String, Found), String>;

fn ours(head: &Coding, own: &Value) -> Read {
    let mark: Mark =
        serde_json::from_value(own.clone()).map_err(|error| format!("its mark can't be read: {error}"))?;
    let found = Found { place: String::new(), mark, is_nameless: false };
    Ok((head.session.to_string(), head.by.to_string(), found))
}

fn others(annotation: &Value, known: Known<'_>) -> Read {
    let by = creator(annotation, known).ok_or("it does not say who made it (creator)")?;
    let target = annotation.get("target").ok_or("it has no target")?;
    let target = target.as_array().and_then(|all| all.first()).unwrap_or(target);
    let (source, fragment) = source_of(target).ok_or("its target is no clip with a time")?;
    let (session, clip) = clip_of(&source, known)?;
    let ethogram = known.ethogram(None)?;
    let tags = tags(annotation);
    let behaviour = tags
        .iter()
        .find_map(|tag| behaviour(ethogram, tag))
        .ok_or_else(|| format!("none of its tags is a behaviour of {}: {}", ethogram.id, tags.join(", ")))?;
    let (from, to) =
        times(&fragment).ok_or_else(|| format!("'{fragment}' is no time in a clip (t=12.5,16)"))?;
    let clock = clip.clock().ok_or("the clip's clock makes no sense")?;
    let on_session =
        |at: Micros| clock.session_time(at.0, TimeBase::MICROS).ok_or("a time does not fit the clip");
    let to = match behaviour.kind {
        Kind::Event => End::Event,
        Kind::State => to.map_or(Ok(End::Open), |to| on_session(to).map(End::At))?,
    };
    let note = bodies(annotation)
        .into_iter()
        .find(|body| body.get("purpose").and_then(Value::as_str) == Some("commenting"))
        .and_then(|body| body.get("value")?.as_str().map(str::to_owned));
    let mark = Mark {
        to,
        clip: Some(clip.id),
        note,
        ..Mark::event(MarkId(0), behaviour.id.clone(), on_session(from)?)
    };
    Ok((session.id.to_string(), by, Found { place: String::new(), mark, is_nameless: true }))
}

fn bodies(annotation: &Value) -> Vec<&Value> {
    match annotation.get("body") {
        Some(Value::Array(all)) => all.iter().collect(),
        Some(one) => vec![one],
        None => Vec::new(),
    }
}

fn tags(annotation: &Value) -> Vec<String> {
    let plain = annotation.get("bodyValue").and_then(Value::as_str).map(str::to_owned);
    let of_body = |body: &Value| -> Option<String> {
        if let Some(text) = body.as_str() {
            return Some(text.to_owned());
        }
        let is_comment = body.get("purpose").and_then(Value::as_str) == Some("commenting");
        body.get("value").and_then(Value::as_str).filter(|_| !is_comment).map(str::to_owned)
    };
    plain.into_iter().chain(bodies(annotation).into_iter().filter_map(of_body)).collect()
}

/// The person of the study who is named, else what was said.
fn creator(annotation: &Value, known: Known<'_>) -> Option<String> {
    let creator = annotation.get("creator")?;
    let creator = creator.as_array().and_then(|all| all.first()).unwrap_or(creator);
    let said = creator.as_str().or_else(|| {
        ["nickname", "name", "id"].into_iter().find_map(|key| creator.get(key).and_then(Value::as_str))
    })?;
    let person = known
        .study
        .people
        .iter()
        .find(|person| person.code.as_str() == said || person.name.as_deref() == Some(said));
    Some(person.map_or_else(|| said.to_owned(), |person| person.code.to_string()))
}

fn source_of(target: &Value) -> Option<(String, String)> {
    if let Some(iri) = target.as_str().or_else(|| target.get("id").and_then(Value::as_str)) {
        let (source, fragment) = iri.split_once('#')?;
        return Some((source.to_owned(), fragment.to_owned()));
    }
    let source = target.get("source")?;
    let source = source.as_str().or_else(|| source.get("id").and_then(Value::as_str))?;
    let fragment = target.get("selector")?.get("value")?.as_str()?;
    Some((source.to_owned(), fragment.to_owned()))
}

/// The clip of a source: by its path, else by its file name where only one clip has it.
fn clip_of<'k>(source: &str, known: Known<'k>) -> Result<(&'k Session, &'k Clip), String> {
    let path = percent_decoded(source).ok_or("its source is no text")?;
    let path = path.strip_prefix("file://").unwrap_or(&path);
    let all =
        || known.sessions.iter().flat_map(|session| session.clips.iter().map(move |clip| (session, clip)));
    if let Some(found) = all().find(|(_, clip)| clip.path == path) {
        return Ok(found);
    }
    let name = |path: &str| path.rsplit(['/', '\\']).next().unwrap_or_default().to_owned();
    let mut same = all().filter(|(_, clip)| name(&clip.path) == name(path));
    match (same.next(), same.next()) {
        (Some(found), None) => Ok(found),
        (None, _) => Err(format!("no session has the clip '{path}'")),
        (Some(_), Some(_)) => Err(format!("more than one session has a clip called '{}'", name(path))),
    }
}

/// Start and end of a temporal media fragment: `t=12.5,16`, `t=,16`, `t=npt:1:02.5`.
fn times(fragment: &str) -> Option<(Micros, Option<Micros>)> {
    let value = fragment.split('&').find_map(|part| part.strip_prefix("t="))?;
    let value = value.strip_prefix("npt:").unwrap_or(value);
    let (from, to) = value.split_once(',').unwrap_or((value, ""));
    let time = |text: &str| text.trim_end_matches('s').parse::<Micros>().ok();
    let from = if from.is_empty() { Micros::ZERO } else { time(from)? };
    let to = if to.is_empty() { None } else { Some(time(to)?) };
    Some((from, to))
}
