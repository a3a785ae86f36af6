//! `shedlight film`: until when film is kept, and having it deleted by the word of who may decide it.

use std::io::Write;

use super::arguments::Film;
use super::{CommandResult, FINDINGS, FINE};
use crate::agreement::film_needs::{self, FilmNeeds};
use crate::storage::StudyFolder;
use crate::storage::retention::{self, Needs, Word};

pub(super) fn run(asked: &Film, out: &mut dyn Write) -> CommandResult {
    let folder = StudyFolder::open(&asked.study)?;
    let today = chrono::Local::now().date_naive();
    if !asked.delete.is_empty() {
        let word = Word {
            by: asked.by.clone().unwrap_or_default().into(),
            reason: asked.reason.clone().unwrap_or_default(),
            typed: asked.word.clone().unwrap_or_default(),
            today,
        };
        for path in &asked.delete {
            let gone = retention::delete(&folder, path, &needs, &word)?;
            writeln!(out, "deleted and written down: {} ({})", gone.path.display(), gone.sessions())?;
        }
        writeln!(out, "Stills and cut-out stretches of it, and copies elsewhere, are not deleted by this.")?;
        return Ok(FINE);
    }
    let films: Vec<_> = retention::list(&folder, &needs(&folder))
        .into_iter()
        .filter(|own| !asked.over || own.is_over(today))
        .collect();
    let over = films.iter().filter(|own| own.is_over(today)).count();
    let who = retention::deciders(folder.study.retention.as_ref());
    if asked.json {
        let rows: Vec<_> = films
            .iter()
            .map(|own| {
                serde_json::json!({
                    "path": own.path, "bytes": own.size, "sessions": own.sessions(),
                    "until": own.until.as_ref().ok(), "why": own.until.as_ref().err(), "over": own.is_over(today),
                })
            })
            .collect();
        let text = serde_json::json!({ "films": rows, "over": over, "deciders": who });
        serde_json::to_writer_pretty(&mut *out, &text)?;
        writeln!(out)?;
    } else {
        for own in &films {
            let until = match &own.until {
                Ok(day) if own.is_over(today) => format!("over since {day}"),
                Ok(day) => format!("kept until {day}"),
                Err(why) => format!("kept: {why}"),
            };
            #[allow(clippy::cast_precision_loss)] // For people.
            let size = own.size as f64 / 1e6;
            writeln!(out, "{until}: {} ({size:.1} MB; {})", own.path.display(), own.sessions())?;
        }
        writeln!(out, "{} films, the period of {over} is over; {who}", films.len())?;
    }
    Ok(if over == 0 { FINE } else { FINDINGS })
}

/// What the film of a study is needed for, by its codings as they are now.
fn needs(folder: &StudyFolder) -> Needs {
    let codings = retention::codings(folder);
    let codings = codings.map(|read| read.map(|own| (own.coding, own.ethogram, own.session)));
    let FilmNeeds { incidents, waiting, unknown } = film_needs::of(&folder.study, codings);
    Needs { incidents, waiting, unknown }
}
