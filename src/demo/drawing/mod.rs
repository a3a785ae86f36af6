//! The demo's film, drawn from the same script as its record.

mod scene;

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::{Arc, Mutex};

use self::scene::{Scene, Stage};
use super::script::{SESSIONS, Script};
use super::{moments, record};
use crate::media::encode::{Content, Planes, Settings, Writer};
use crate::media::picture::Turn;
use crate::media::{self, Error};
use crate::model::{Clip, Coding};
use crate::storage::{StudyFolder, fingerprint};

/// Hears how far a clip has come, 0–1.
pub type Progress = Box<dyn FnMut(f32) + Send>;

/// A clip to be drawn.
struct Job<'a> {
    script: &'a Script,
    clip: Clip,
    name: String,
}

/// Draws and encodes the clips that are not there yet, on two cores, and notes their fingerprints.
///
/// # Errors
/// When a clip can't be written.
pub fn draw_all(
    study: &StudyFolder,
    only: Option<u8>,
    progress: &(dyn Fn(&str) -> Progress + Sync),
) -> Result<(), Error> {
    let failed = |path: &Path, why: String| Error::Write { path: path.to_owned(), why };
    let codings = record::codings().map_err(|error| failed(study.root(), error.to_string()))?;
    let clips = study.root().join("clips");
    std::fs::create_dir_all(&clips).map_err(|error| failed(&clips, error.to_string()))?;
    let mut jobs = Vec::new();
    for script in SESSIONS.iter().filter(|script| only.is_none_or(|only| only == script.number)) {
        let session =
            study.session(&script.id.into()).map_err(|error| failed(study.root(), error.to_string()))?;
        for clip in session.clips {
            if !study.root().join(&clip.path).exists() {
                let name = clip.path.trim_start_matches("clips/").to_owned();
                jobs.push(Job { script, clip, name });
            }
        }
    }
    // The longest first, so that both cores end together.
    jobs.sort_by_key(|job| job.clip.length);
    let jobs = Mutex::new(jobs);
    let take = || jobs.lock().unwrap_or_else(std::sync::PoisonError::into_inner).pop();
    let work = || -> Result<(), Error> {
        while let Some(job) = take() {
            let own: Vec<&Coding> =
                codings.iter().filter(|coding| coding.session.as_str() == job.script.id).collect();
            draw(study.root(), &job, &own, &mut *progress(&job.name))?;
        }
        Ok(())
    };
    std::thread::scope(|scope| {
        let other = scope.spawn(work);
        let own = work();
        let other =
            other.join().unwrap_or_else(|_| Err(failed(study.root(), "the drawing stopped".to_owned())));
        own.and(other)
    })?;
    for script in SESSIONS {
        note_fingerprints(study, script).map_err(|error| failed(study.root(), error.to_string()))?;
    }
    Ok(())
}

/// As [`draw_all`], telling the share of the whole; called from two threads.
///
/// # Errors
/// As [`draw_all`].
pub fn draw_with_total(study: &StudyFolder, progress: &(dyn Fn(f32) + Sync + Send)) -> Result<(), Error> {
    let listing = study.list();
    let clips = listing.sessions.iter().flat_map(|entry| &entry.session.clips);
    let missing = clips.filter(|clip| !study.root().join(&clip.path).exists()).count();
    let shares = Arc::new(Mutex::new(BTreeMap::<String, f32>::new()));
    #[allow(clippy::cast_precision_loss)] // A share for a progress bar.
    let count = missing.max(1) as f32;
    let (sender, receiver) = std::sync::mpsc::channel::<f32>();
    std::thread::scope(|scope| {
        let telling = scope.spawn(move || receiver.into_iter().for_each(progress));
        let drawn = draw_all(study, None, &|name| {
            let (name, shares, sender) = (name.to_owned(), Arc::clone(&shares), sender.clone());
            Box::new(move |share| {
                let mut shares = shares.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
                let _ = shares.insert(name.clone(), share);
                let _ = sender.send(shares.values().sum::<f32>() / count);
            })
        });
        drop(sender);
        let _ = telling.join();
        drawn
    })
}

fn note_fingerprints(study: &StudyFolder, script: &Script) -> Result<(), crate::storage::Error> {
    let mut session = study.session(&script.id.into())?;
    let before = session.clone();
    for clip in &mut session.clips {
        let path = study.root().join(&clip.path);
        if clip.fingerprint.is_none() && path.exists() {
            clip.fingerprint = Some(fingerprint::of_file(&path)?);
        }
    }
    if session == before { Ok(()) } else { study.save_session(&session) }
}

fn draw(
    root: &Path,
    job: &Job<'_>,
    codings: &[&Coding],
    progress: &mut dyn FnMut(f32),
) -> Result<(), media::Error> {
    let path = root.join(&job.clip.path);
    let ending = path.extension().map_or_else(String::new, |ending| ending.to_string_lossy().into_owned());
    let part = path.with_extension(format!("part.{ending}"));
    let is_portrait = job.script.number == 1;
    let turn = if is_portrait { Turn::Quarter } else { Turn::None };
    let created = super::study::session(job.script)
        .recorded_at
        .map(|time| time.to_utc().format("%Y-%m-%dT%H:%M:%SZ").to_string());
    let settings = Settings {
        width: scene::WIDTH,
        height: scene::HEIGHT,
        ticks_per_second: 90_000,
        turn,
        key_every: 25,
        created,
        content: Content::Drawing,
        sound_rate: None,
    };
    let Some(primary) = codings.first() else { return Ok(()) };
    let mut writer = Writer::create(&part, &settings)?;
    let scene = Scene::new(job.script, primary, job.name.contains("cctv"));
    let mut stage = Stage::new(is_portrait);
    let moments = moments::of_clip(&job.clip, codings);
    #[allow(clippy::cast_precision_loss)] // A share for a progress bar.
    let count = moments.len().max(1) as f32;
    for (i, at) in moments.iter().enumerate() {
        let (luma, blue, red) = stage.picture(&scene, *at);
        writer.write(Planes { luma, blue, red }, *at - job.clip.offset)?;
        if i % 50 == 0 {
            #[allow(clippy::cast_precision_loss)] // A share for a progress bar.
            progress(i as f32 / count);
        }
    }
    writer.finish()?;
    std::fs::rename(&part, &path).map_err(|error| Error::Write { path, why: error.to_string() })?;
    progress(1.0);
    Ok(())
}
