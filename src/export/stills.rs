//! Pictures of stop-level incidents for a report: before, at the start, and when it was over. Faces that are
//! marked are covered.

use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::path::PathBuf;

use super::drawn::cover_faces;
use crate::measures::concern::{self, BackOff, Incident};
use crate::measures::{Record, presentations};
use crate::media::{self, Film, FilmOptions, Heading};
use crate::model::{Clip, ClipId, Session};
use crate::report::document::Still;
use crate::report::link::StudyLink;
use crate::report::welfare::{self, IncidentStills};
use crate::time::{Micros, TimeBase};

/// Incidents with pictures, at most; a report of more is about numbers.
const MOST: usize = 60;
/// Width of a picture in pixels: a third of a page at 200 dots an inch.
const WIDTH: u32 = 480;
/// How long before an incident its first picture is taken.
const BEFORE: Micros = Micros::from_whole_seconds(1);

/// Says where a clip of a session is, or what became of it.
pub type Find<'f> = &'f dyn Fn(&Session, &Clip) -> Result<PathBuf, String>;

/// Takes the pictures; `find` says where a clip is, `going_on` hears how many incidents are done and whether to go
/// on. Also returns what could not be taken, in words that name a clip as its session does.
#[must_use]
pub fn of_incidents<'a>(
    records: &'a [Record<'a>],
    link: &StudyLink,
    find: Find<'_>,
    going_on: &mut dyn FnMut(usize) -> ControlFlow<()>,
) -> (Vec<IncidentStills>, Vec<String>) {
    let mut found = Vec::new();
    let mut problems = Vec::new();
    for record in welfare::counted(records) {
        let incidents = concern::of(record, &presentations::of(record)).stop_incidents;
        let mut films: BTreeMap<ClipId, Result<Film, String>> = BTreeMap::new();
        for incident in &incidents {
            if found.len() == MOST {
                problems.push(format!("only the first {MOST} stop-level incidents have pictures"));
                return (found, problems);
            }
            if going_on(found.len()).is_break() {
                return (found, problems);
            }
            let stills = of_one(record.session, incident, link, find, &mut films);
            if let Err(why) = &stills {
                problems.push(format!(
                    "session {}: no pictures of the incident at {}: {why}",
                    record.session.id,
                    incident.span.from.clock()
                ));
            }
            found.push(IncidentStills { session: record.session.id.clone(), at: incident.span.from, stills });
        }
    }
    (found, problems)
}

fn of_one(
    session: &Session,
    incident: &Incident,
    link: &StudyLink,
    find: Find<'_>,
    films: &mut BTreeMap<ClipId, Result<Film, String>>,
) -> Result<Vec<Still>, String> {
    let start = incident.span.from;
    let mut moments = vec![(start - BEFORE, "1 s before"), (start, "its first picture")];
    moments.push(match incident.back_off {
        BackOff::After(time) => (start + time, "the handler backs off"),
        _ => (incident.span.to.max(start + BEFORE), "when it was over"),
    });
    let mut stills = Vec::new();
    let mut why = None;
    for (at, words) in moments {
        match picture(session, at, find, films) {
            Ok(Some(jpeg)) => {
                let moment = link.moment(session.id.as_str(), at);
                stills.push(Still { moment, words: words.to_owned(), jpeg });
            }
            // Before the film begins, or in a hole of it.
            Ok(None) => {}
            Err(error) => why = Some(error),
        }
    }
    match (stills.is_empty(), why) {
        (true, Some(why)) => Err(why),
        (true, None) => Err("the film has no picture there".to_owned()),
        (false, _) => Ok(stills),
    }
}

/// The picture of the first camera that is shown at a session time.
fn picture(
    session: &Session,
    at: Micros,
    find: Find<'_>,
    films: &mut BTreeMap<ClipId, Result<Film, String>>,
) -> Result<Option<Vec<u8>>, String> {
    let camera = session.clips.first().and_then(|clip| clip.camera.as_ref());
    for clip in session.clips.iter().filter(|clip| clip.camera.as_ref() == camera) {
        let Some(own) = clip.clock().and_then(|clock| clock.clip_time(at)) else { continue };
        if own < Micros::ZERO || clip.span().is_some_and(|span| !span.contains(at)) {
            continue;
        }
        let film = films.entry(clip.id).or_insert_with(|| {
            let path = find(session, clip)?;
            // A report is handed on: where the film lies on this computer is nobody's business.
            let words = |error: media::Error| {
                error.to_string().replace(&path.to_string_lossy().into_owned(), &clip.path)
            };
            media::guard::look(&path).map_err(words)?;
            Film::open(&path, FilmOptions::default()).map_err(words)
        });
        let film = film.as_ref().map_err(|why| format!("the clip {why}"))?;
        if own >= film.index().end() {
            continue;
        }
        let frame = film.index().frame_at(own);
        let picture = film.fetch(frame, Heading::Still).map_err(|error| error.to_string())?;
        let (width, height) = picture.shown_size();
        let narrow = WIDTH.min(width);
        let height = (u64::from(height) * u64::from(narrow) / u64::from(width.max(1))).max(1);
        let mut image = picture.to_rgba_within(narrow, u32::try_from(height).unwrap_or(1));
        let shown =
            film.index().time(frame).and_then(|own| clip.clock()?.session_time(own.0, TimeBase::MICROS));
        cover_faces(&mut image, clip, shown.unwrap_or(at));
        let mut jpeg = Vec::new();
        let encoder = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut jpeg, 82);
        image::DynamicImage::ImageRgba8(image)
            .to_rgb8()
            .write_with_encoder(encoder)
            .map_err(|error| error.to_string())?;
        return Ok(Some(jpeg));
    }
    Ok(None)
}
