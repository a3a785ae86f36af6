//! Captions after the W3C's WebVTT: any player shows the coding over the film.
//!
//! One file a clip and coding, on the clip's own time, a cue a bout or event. An event is shown for
//! one second. A bout that has not ended is shown to the end of the clip. WebVTT knows milliseconds:
//! starts are rounded down and ends up, so that nothing vanishes.

use std::fmt::Write as _;

use std::collections::BTreeSet;
use std::io::{self, Write};

use super::{Data, Entry, Sink, file_name};
use crate::model::{Clip, End, Ethogram, Mark, Session};
use crate::time::Micros;

/// How long an event is shown.
const EVENT: Micros = Micros::from_whole_seconds(1);

struct Cue {
    from_ms: i64,
    to_ms: i64,
    id: u64,
    text: String,
}

/// Writes one file a clip and coding: `<session>/<clip>.<coding>.vtt`.
///
/// # Errors
/// When the sink can't take them.
pub fn write(data: &Data, sink: &mut dyn Sink) -> io::Result<()> {
    let mut taken = BTreeSet::new();
    for entry in &data.codings {
        let coding = &entry.coding;
        let (Some(session), Some(ethogram)) = (data.session(&coding.session), data.ethogram(coding)) else {
            continue;
        };
        for clip in &session.clips {
            let name = clip.path.rsplit(['/', '\\']).next().unwrap_or(&clip.path);
            let stem = name.rsplit_once('.').map_or(name, |(stem, _)| stem);
            let folder = file_name(session.id.as_str());
            // A caption file that begins like its clip is found by players by itself.
            let mut path = format!("{folder}/{}.{}.vtt", file_name(stem), file_name(entry.stem()));
            if !taken.insert(path.to_lowercase()) {
                path =
                    format!("{folder}/{}.clip{}.{}.vtt", file_name(stem), clip.id.0, file_name(entry.stem()));
                let _ = taken.insert(path.to_lowercase());
            }
            let cues = cues(entry, session, ethogram, clip);
            sink.file(&path, &mut |out| one(out, entry, clip, &cues))?;
        }
    }
    Ok(())
}

fn cues(entry: &Entry, session: &Session, ethogram: &Ethogram, clip: &Clip) -> Vec<Cue> {
    let Some(clock) = clip.clock() else { return Vec::new() };
    let film_end = clip.length.or_else(|| Some(session.extent()?.to - clip.offset));
    let clip_end = film_end.and_then(|length| clock.clip_time(clip.offset + length));
    let mut cues: Vec<Cue> = entry
        .coding
        .marks
        .iter()
        .filter_map(|mark| {
            let from = clock.clip_time(mark.from)?;
            let to = match mark.to {
                End::Event => from + EVENT,
                End::At(to) => clock.clip_time(to)?,
                End::Open => clip_end?,
            };
            // A bout that began on an earlier piece is shown from the start of this one; a moment is not.
            if clip_end.is_some_and(|end| from >= end) || to <= Micros::ZERO {
                return None;
            }
            if mark.is_event() && from < Micros::ZERO {
                return None;
            }
            let to = clip_end.map_or(to, |end| to.min(end));
            let from_ms = from.0.max(0).div_euclid(1_000);
            let to_ms = (to.0 + 999).div_euclid(1_000).max(from_ms + 1);
            Some(Cue { from_ms, to_ms, id: mark.id.0, text: text(mark, ethogram) })
        })
        .collect();
    cues.sort_by_key(|cue| (cue.from_ms, cue.id));
    cues
}

fn text(mark: &Mark, ethogram: &Ethogram) -> String {
    let name = ethogram.behaviour(&mark.behaviour).map_or(mark.behaviour.as_str(), |own| &own.name);
    let mut text = one_line(name);
    if let Some(detail) = &mark.detail {
        let _ = write!(text, " ({})", one_line(detail));
    }
    if mark.unsure {
        text.push_str(" (unsure)");
    }
    if let Some(note) = mark.note.as_ref().filter(|note| !note.trim().is_empty()) {
        let _ = write!(text, ": {}", one_line(note));
    }
    text
}

/// One line of cue text: no empty line ends the cue early, nothing is taken for markup.
fn one_line(text: &str) -> String {
    let words: Vec<&str> =
        text.split(|c: char| c.is_whitespace() || c == '\0').filter(|w| !w.is_empty()).collect();
    words.join(" ").replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}

fn one(out: &mut dyn Write, entry: &Entry, clip: &Clip, cues: &[Cue]) -> io::Result<()> {
    let coding = &entry.coding;
    writeln!(out, "WEBVTT\n")?;
    writeln!(
        out,
        "NOTE\nSession {}, clip {} ({}), coded by {} ({}), {} revision {}.\n",
        one_line(coding.session.as_str()),
        clip.id.0,
        one_line(&clip.path),
        one_line(coding.by.as_str()),
        coding.purpose.word(),
        one_line(coding.ethogram.id.as_str()),
        coding.ethogram.revision
    )?;
    for cue in cues {
        writeln!(out, "mark-{}\n{} --> {}\n{}\n", cue.id, stamp(cue.from_ms), stamp(cue.to_ms), cue.text)?;
    }
    Ok(())
}

fn stamp(ms: i64) -> String {
    let (hours, rest) = (ms / 3_600_000, ms % 3_600_000);
    format!("{hours:02}:{:02}:{:02}.{:03}", rest / 60_000, rest / 1_000 % 60, rest % 1_000)
}
