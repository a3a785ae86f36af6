//! `shedlight cut`: a stretch of film, with or without the coding drawn below it.

use std::io::Write;

use super::arguments::Cut;
use super::{CommandResult, Error};

#[cfg(not(feature = "media"))]
pub(super) fn run(_asked: &Cut, _out: &mut dyn Write) -> CommandResult {
    Err(Error::NeedsFeature { command: "cut", feature: "media" })
}

#[cfg(feature = "media")]
pub(super) fn run(asked: &Cut, out: &mut dyn Write) -> CommandResult {
    use super::progress;
    use crate::export::cut::{self, Wish};
    use crate::model::Purpose;
    use crate::storage::StudyFolder;
    use crate::storage::fingerprint::{self, ClipState};
    use crate::time::Span;

    let usage = |words: String| Error::Usage(words);
    let span = Span::try_new(asked.from, asked.to)
        .filter(|span| !span.is_empty())
        .ok_or_else(|| usage(format!("--to {} lies not after --from {}", asked.to, asked.from)))?;
    let ending = asked.out.extension().map(|own| own.to_string_lossy().to_lowercase());
    if !matches!(ending.as_deref(), Some("mp4" | "mkv" | "mov")) {
        return Err(usage(format!("--out must end in .mp4, .mkv or .mov: {}", asked.out.display())));
    }
    let folder = StudyFolder::open(&asked.study)?;
    let listing = folder.list();
    let entry = listing.sessions.iter().find(|entry| entry.session.id.as_str() == asked.session).ok_or_else(
        || {
            let known: Vec<&str> = listing.sessions.iter().map(|entry| entry.session.id.as_str()).collect();
            usage(format!("there is no session '{}' here; there are: {}", asked.session, known.join(", ")))
        },
    )?;
    let session = &entry.session;
    let camera = match &asked.camera {
        Some(name) => Some(name.clone()),
        None => session.clips.first().and_then(|clip| clip.camera.clone()),
    };
    let mut clips = Vec::new();
    for clip in session.clips.iter().filter(|clip| clip.camera == camera) {
        match fingerprint::find(folder.root(), clip) {
            ClipState::There(path) | ClipState::Moved(path) => clips.push((clip, path)),
            ClipState::Changed(path) => {
                return Err(usage(format!(
                    "the clip was changed since it was coded; the pictures may be others: {}",
                    path.display()
                )));
            }
            ClipState::Missing(path) => {
                super::remark(&[format!("a clip is missing and left out: {}", path.display())]);
            }
        }
    }
    if clips.is_empty() {
        return Err(usage(format!("no film of this camera is here: session {}", asked.session)));
    }
    if clips.iter().any(|(_, path)| same_file(path, &asked.out)) || is_film(&folder, &listing, &asked.out) {
        return Err(usage(format!("that is the film itself; name another file: {}", asked.out.display())));
    }
    let coding = if asked.drawn {
        let by = asked.by.as_deref();
        let own = entry.codings.iter().find(|(_, head)| match by {
            Some(by) => head.by.as_str() == by,
            None => head.purpose == Purpose::Primary,
        });
        let (path, _) = own.ok_or_else(|| {
            usage(format!("there is no coding of session {} to draw (see --by)", asked.session))
        })?;
        let mut own = folder.load_coding(path)?;
        if asked.without_names {
            unnamed(&mut own, &folder, &listing);
        }
        Some(own)
    } else {
        None
    };
    let drawn = coding.as_ref().map(|own| (&own.coding, &own.ethogram, &folder.study));
    let wish = Wish { session, clips, span, drawn, silent: asked.silent };
    let bar = progress::bar("cutting the film");
    let stop = progress::listen();
    let cut = cut::write(&wish, &asked.out, &mut |share| {
        bar.set_position(progress::place(share));
        stop.flow()
    });
    bar.finish_and_clear();
    let cut = cut.map_err(|error| match error {
        cut::Error::Media(crate::media::Error::Stopped) => Error::Stopped,
        cut::Error::Media(error) => Error::Media(error),
        other => Error::Usage(other.to_string()),
    })?;
    if asked.json {
        serde_json::to_writer_pretty(&mut *out, &serde_json::json!({ "out": asked.out, "cut": cut }))?;
        writeln!(out)?;
    } else {
        let sound = if cut.sound { "with sound" } else { "without sound" };
        writeln!(
            out,
            "{} pictures from {} s to {} s, {} × {}, {sound}: {}",
            cut.pictures,
            cut.from_s,
            cut.to_s,
            cut.width,
            cut.height,
            asked.out.display()
        )?;
        if cut.unreadable > 0 {
            writeln!(out, "{} pictures are damaged in the original and left out", cut.unreadable)?;
        }
    }
    Ok(if cut.unreadable == 0 { super::FINE } else { super::FINDINGS })
}

/// Takes people out of a coding that will be drawn; they are called as in every export.
#[cfg(feature = "media")]
fn unnamed(
    own: &mut crate::storage::study_folder::LoadedCoding,
    folder: &crate::storage::StudyFolder,
    listing: &crate::storage::study_folder::Listing,
) {
    use crate::export::Entry;
    use crate::export::names::{People, named_by, named_in};

    let mut others = std::collections::BTreeSet::new();
    for entry in &listing.sessions {
        others.extend(named_in(&entry.session).cloned());
        others.extend(entry.codings.iter().map(|(path, _)| named_by(&path.to_string_lossy())));
        others.extend(entry.codings.iter().map(|(_, head)| head.by.clone()));
    }
    let people = People::of(&folder.study, others);
    own.ethogram = people.cleaned(&own.ethogram);
    let mut entry = Entry { file: String::new(), coding: own.coding.clone() };
    let _ = people.clean_entry(&mut entry);
    own.coding = entry.coding;
}

/// Film of any session of the study: it is never written over.
#[cfg(feature = "media")]
fn is_film(
    folder: &crate::storage::StudyFolder,
    listing: &crate::storage::Listing,
    out: &std::path::Path,
) -> bool {
    let mut clips = listing.sessions.iter().flat_map(|entry| &entry.session.clips);
    clips.any(|clip| same_file(&folder.root().join(&clip.path), out))
}

#[cfg(feature = "media")]
fn same_file(a: &std::path::Path, b: &std::path::Path) -> bool {
    match (a.canonicalize(), b.canonicalize()) {
        (Ok(a), Ok(b)) => a == b,
        _ => false,
    }
}
