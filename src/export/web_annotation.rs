//! Marks as W3C Web Annotations (JSON-LD), one a mark: the target is the clip, with a media fragment
//! on its own time, the body the behaviour as a tag.
//!
//! One collection a coding. A target's source is the clip's path relative to the study, so the files
//! resolve when they lie in the study's folder. An event's fragment is one microsecond long, because
//! one without an end would run to the end of the film, which is what a bout that has not ended
//! does. A bout over a seam has a target on each piece. Beside what the standard defines, each
//! annotation carries the mark as the coding file has it (`mark`), and the collection its coding
//! without marks (`coding`), so that reading back loses nothing.

use std::io::{self, Write};

use serde_json::{Value, json};

use super::{Data, Entry, Sink, file_name};
use crate::model::{Clip, Coding, End, Ethogram, Mark, Session};
use crate::report::link::{percent_encoded, short_seconds};
use crate::time::Micros;

/// Writes one collection a coding: `<session>/<coding>.jsonld`.
///
/// # Errors
/// When the sink can't take them.
pub fn write(data: &Data, sink: &mut dyn Sink) -> io::Result<()> {
    for entry in &data.codings {
        let coding = &entry.coding;
        let (Some(session), Some(ethogram)) = (data.session(&coding.session), data.ethogram(coding)) else {
            continue;
        };
        let path = format!("{}/{}.jsonld", file_name(session.id.as_str()), file_name(entry.stem()));
        let collection = collection(entry, session, ethogram)?;
        sink.file(&path, &mut |out: &mut dyn Write| {
            serde_json::to_writer_pretty(&mut *out, &collection)?;
            writeln!(out)
        })?;
    }
    Ok(())
}

fn collection(entry: &Entry, session: &Session, ethogram: &Ethogram) -> Result<Value, serde_json::Error> {
    let coding = &entry.coding;
    let id = format!(
        "shedlight:annotations/{}/{}",
        percent_encoded(session.id.as_str()),
        percent_encoded(entry.stem())
    );
    let items: Vec<Value> = coding
        .marks
        .iter()
        .map(|mark| annotation(&id, coding, mark, session, ethogram))
        .collect::<Result<_, _>>()?;
    let head = Coding { marks: Vec::new(), last_seq: 0, left_at: None, ..coding.clone() };
    let mut collection = json!({
        "@context": [
            "http://www.w3.org/ns/anno.jsonld",
            {
                "mark": { "@id": "shedlight:terms/mark", "@type": "@json" },
                "coding": { "@id": "shedlight:terms/coding", "@type": "@json" }
            }
        ],
        "id": id,
        "type": "AnnotationCollection",
        "label": format!("{} coded by {} ({})", session.id, coding.by, coding.purpose.word()),
        "total": items.len(),
        "coding": head,
    });
    if let Some(own) = collection.as_object_mut().filter(|_| !items.is_empty()) {
        let page =
            json!({ "id": format!("{id}/1"), "type": "AnnotationPage", "startIndex": 0, "items": items });
        let _ = own.insert("first".to_owned(), page);
    }
    Ok(collection)
}

fn annotation(
    collection: &str,
    coding: &Coding,
    mark: &Mark,
    session: &Session,
    ethogram: &Ethogram,
) -> Result<Value, serde_json::Error> {
    let behaviour = ethogram.behaviour(&mark.behaviour);
    let name = behaviour.map_or(mark.behaviour.as_str(), |own| &own.name);
    let text = |purpose: &str, value: &str| json!({ "type": "TextualBody", "purpose": purpose, "value": value, "format": "text/plain" });
    let mut body = vec![text("tagging", name)];
    body.extend(mark.detail.iter().map(|detail| text("classifying", detail)));
    body.extend(mark.note.iter().map(|note| text("commenting", note)));
    let mut targets = targets(mark, session);
    let target = if targets.len() == 1 { targets.remove(0) } else { Value::Array(targets) };
    Ok(json!({
        "id": format!("{collection}/mark-{}", mark.id.0),
        "type": "Annotation",
        "motivation": "tagging",
        "creator": { "type": "Person", "nickname": coding.by },
        "body": body,
        "target": target,
        "mark": serde_json::to_value(mark)?,
    }))
}

/// The clip a mark sits on and, for a bout that runs on, those it runs on to. A mark on no clip is
/// on the session.
fn targets(mark: &Mark, session: &Session) -> Vec<Value> {
    let covers = |clip: &&Clip| clip.span().is_none_or(|span| span.contains(mark.from));
    let first = mark
        .clip
        .and_then(|id| session.clip(id))
        .or_else(|| session.clips.iter().find(covers))
        .or_else(|| session.clips.first());
    let Some(first) = first else {
        return vec![json!(format!("shedlight:session/{}", percent_encoded(session.id.as_str())))];
    };
    let mut targets = Vec::new();
    let mut from = mark.from;
    let mut clip = Some(first);
    while let Some(own) = clip {
        targets.extend(target(mark, from, own));
        // The next piece begins where this one ends or later; a second camera is no continuation.
        let Some(span) = own.span().filter(|span| match mark.to {
            End::Event => false,
            End::Open => true,
            End::At(to) => to > span.to,
        }) else {
            break;
        };
        let later = |other: &&Clip| other.offset >= span.to && other.offset > own.offset;
        clip = session.clips.iter().filter(later).min_by_key(|other| (other.offset, other.id));
        from = clip.map_or(from, |next| next.offset);
        if matches!(mark.to, End::At(to) if to <= from) {
            break;
        }
    }
    targets
}

fn target(mark: &Mark, from: Micros, clip: &Clip) -> Option<Value> {
    let clock = clip.clock()?;
    let clip_end = clip.span().and_then(|span| clock.clip_time(span.to));
    let within = |at: Micros| clip_end.map_or(at, |end| at.min(end));
    let begin = clock.clip_time(from)?.max(Micros::ZERO);
    let end = match mark.to {
        End::Event => Some(begin + Micros(1)),
        End::At(to) => Some(within(clock.clip_time(to)?).max(begin + Micros(1))),
        End::Open => None,
    };
    let fragment = match end {
        Some(end) => format!("t={},{}", short_seconds(begin), short_seconds(end)),
        None => format!("t={}", short_seconds(begin)),
    };
    let source = match clip.path.strip_prefix('/') {
        Some(rest) => format!("file:///{}", percent_encoded(rest)),
        None => percent_encoded(&clip.path.replace('\\', "/")),
    };
    Some(json!({
        "type": "SpecificResource",
        "source": source,
        "selector": {
            "type": "FragmentSelector",
            "conformsTo": "http://www.w3.org/TR/media-frags/",
            "value": fragment
        }
    }))
}
