//! `shedlight take-in`: a packed study as a new one, or put together with one that is there.

use std::collections::BTreeSet;
use std::io::Write;
use std::ops::ControlFlow;

use indicatif::ProgressBar;

use super::arguments::TakeIn;
use super::{CommandResult, Error, FINDINGS, FINE, progress};
use crate::storage::parcel::{self, Advice, Choice, Comparison, Item};
use crate::storage::{StudyFolder, fingerprint};

pub(super) fn run(asked: &TakeIn, out: &mut dyn Write) -> CommandResult {
    let mut parcel = parcel::open(&asked.parcel)?;
    let bar = progress::bar("taking in");
    if !asked.into.join("study.json").is_file() {
        if asked.list {
            return list_new(asked, &parcel, out);
        }
        let folder = parcel::take_as_new(&mut parcel, &asked.into, &mut |share| tell(&bar, share))?;
        bar.finish_and_clear();
        return told_new(asked, &parcel, &folder, out);
    }
    let folder = StudyFolder::open(&asked.into)?;
    let mut found = parcel::compare(&mut parcel, &folder, &mut |share| tell(&bar, share))?;
    choose(&mut found, asked)?;
    if asked.list {
        bar.finish_and_clear();
        list(asked, &found, out)?;
        return Ok(if found.conflicts() == 0 { FINE } else { FINDINGS });
    }
    // A conflict nobody decided stays as it is, and that is told.
    let decided: BTreeSet<&str> =
        [&asked.take, &asked.both, &asked.keep].into_iter().flatten().map(String::as_str).collect();
    let undecided: Vec<String> = found
        .items
        .iter()
        .filter(|item| item.is_conflict() && item.choice == Choice::Keep)
        .map(|item| item.what.key())
        .filter(|key| !decided.contains(key.as_str()) && !decided.contains("all"))
        .collect();
    let same = found.same;
    let now = chrono::Local::now().fixed_offset();
    let taken = parcel::take(&mut parcel, found, &folder, now, &mut |share| tell(&bar, share))?;
    bar.finish_and_clear();
    if asked.json {
        let text = serde_json::json!({
            "into": asked.into, "same": same, "taken": taken.taken, "kept": taken.kept,
            "undecided": undecided, "failed": taken.failed, "replaced": taken.replaced,
        });
        serde_json::to_writer_pretty(&mut *out, &text)?;
        writeln!(out)?;
    } else {
        for (word, keys) in [("taken", &taken.taken), ("stayed", &taken.kept), ("failed", &taken.failed)] {
            for key in keys {
                writeln!(out, "{word}: {key}")?;
            }
        }
        writeln!(
            out,
            "{} parts taken in, {} stayed as they were, {} failed, {same} were the same",
            taken.taken.len(),
            taken.kept.len(),
            taken.failed.len(),
        )?;
        if let Some(place) = &taken.replaced {
            writeln!(out, "What was replaced is kept in {}", place.display())?;
        }
        if !undecided.is_empty() {
            writeln!(out, "Not decided: --list shows how they differ, --take, --both or --keep decides.")?;
        }
    }
    Ok(if undecided.is_empty() && taken.failed.is_empty() { FINE } else { FINDINGS })
}

/// Tells the bar; what is taken in is never left half, so the work goes on.
fn tell(bar: &ProgressBar, share: f32) -> ControlFlow<()> {
    bar.set_position(progress::place(share));
    ControlFlow::Continue(())
}

/// Does what was asked for with each part; a key that fits nothing is an error, for it may be a slip.
fn choose(found: &mut Comparison, asked: &TakeIn) -> Result<(), Error> {
    let wishes = [(&asked.take, Choice::Take), (&asked.both, Choice::Both), (&asked.keep, Choice::Keep)];
    for (keys, choice) in wishes {
        for key in keys {
            let fits = |item: &Item| match (key.as_str(), choice) {
                ("all", _) => item.is_conflict() || choice == Choice::Keep,
                ("later", Choice::Take) => item.advice == Advice::TheirsIsLater,
                (key, _) => item.what.key() == key,
            };
            let is_many = key == "all" || key == "later";
            let mut fitting = 0;
            for item in found.items.iter_mut().filter(|item| fits(item)) {
                fitting += 1;
                if item.options.contains(&choice) {
                    item.choice = choice;
                } else if !is_many {
                    let why = item.differences.join("; ");
                    return Err(Error::Usage(format!("{key} can't be had so: {why}")));
                }
            }
            if fitting == 0 && !is_many {
                return Err(Error::Usage(format!("nothing here is called '{key}': --list shows the keys")));
            }
        }
    }
    Ok(())
}

fn list(asked: &TakeIn, found: &Comparison, out: &mut dyn Write) -> Result<(), Error> {
    if asked.json {
        let items: Vec<serde_json::Value> = found
            .items
            .iter()
            .map(|item| {
                serde_json::json!({
                    "key": item.what.key(), "state": item.advice, "differences": item.differences,
                    "options": item.options, "choice": item.choice,
                })
            })
            .collect();
        serde_json::to_writer_pretty(&mut *out, &serde_json::json!({ "same": found.same, "items": items }))?;
        writeln!(out)?;
        return Ok(());
    }
    for item in &found.items {
        let word = if item.is_conflict() { "differs" } else { "new" };
        writeln!(out, "{word}: {}: {}", item.what.key(), item.choice.word())?;
        for words in &item.differences {
            writeln!(out, "    {words}")?;
        }
    }
    let (new, differ) = (found.items.len() - found.conflicts(), found.conflicts());
    writeln!(out, "{new} new, {differ} differ, {} the same; nothing was changed", found.same)?;
    Ok(())
}

fn list_new(asked: &TakeIn, parcel: &parcel::Parcel, out: &mut dyn Write) -> CommandResult {
    let list = parcel.list();
    if asked.json {
        serde_json::to_writer_pretty(&mut *out, list)?;
        writeln!(out)?;
    } else {
        for entry in &list.files {
            writeln!(out, "new: {}", entry.path)?;
        }
        let when = list.packed.format("%Y-%m-%d %H:%M");
        writeln!(out, "'{}', packed {when}: {} files; nothing was changed", list.title, list.files.len())?;
    }
    Ok(FINE)
}

fn told_new(
    asked: &TakeIn,
    parcel: &parcel::Parcel,
    folder: &StudyFolder,
    out: &mut dyn Write,
) -> CommandResult {
    let list = parcel.list();
    let clips = folder.list().sessions.into_iter().flat_map(|entry| entry.session.clips);
    // Film that was deleted by the house's rule is not asked for.
    let clips: Vec<_> = clips.filter(|clip| clip.deleted.is_none()).collect();
    let missing = clips
        .iter()
        .filter(|clip| {
            let state = fingerprint::find(folder.root(), clip);
            !matches!(state, fingerprint::ClipState::There(_) | fingerprint::ClipState::Moved(_))
        })
        .count();
    if asked.json {
        let text = serde_json::json!({
            "into": asked.into, "title": list.title, "files": list.files.len(), "clips_missing": missing,
        });
        serde_json::to_writer_pretty(&mut *out, &text)?;
        writeln!(out)?;
    } else {
        writeln!(out, "'{}' is now in {}: {} files", list.title, asked.into.display(), list.files.len())?;
        if missing > 0 {
            writeln!(
                out,
                "{missing} of {} clips are not here: put the film into the study's clips folder, it is known by what it is.",
                clips.len()
            )?;
        }
    }
    Ok(if missing == 0 || !list.film { FINE } else { FINDINGS })
}
