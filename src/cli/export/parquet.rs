//! `shedlight export --as parquet`: one session after another, whatever the archive holds.

use std::collections::BTreeSet;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::{NewFolder, Told, tell};
use crate::cli::arguments::{Choice, Export as Asked};
use crate::cli::progress::{self, Stop};
use crate::cli::{CommandResult, Error, stream};
use crate::export::Entry;
use crate::export::names::{self, People, TakenOut};
use crate::export::parquet::{Dataset, Occasion, Written};
use crate::measures::summary::{self, CodingSummary, Counts};
use crate::measures::{Marks, Record};
use crate::model::{AnimalId, Ethogram, PersonCode, Purpose, Session, Study};
use crate::storage::{StudyFolder, archive, coding_file, study_folder};

/// A session, ready to be written.
struct Ready {
    session: Session,
    year: Option<i32>,
    codings: Vec<(Entry, Arc<Ethogram>)>,
    summaries: Vec<CodingSummary>,
    /// Of the coding that counts.
    counts: Option<Counts>,
    texts_dropped: usize,
    problems: Vec<String>,
}

pub(super) fn run(asked: &Asked, stop: Stop, out: &mut dyn Write) -> CommandResult {
    let root = std::path::absolute(&asked.study)?;
    let folder = StudyFolder::open(&root)?;
    let mut codes = BTreeSet::new();
    let mut plan = stream::plan(std::slice::from_ref(&root), &asked.choice, &mut |session| {
        codes.extend(names::named_in(session).cloned());
    })?;
    // A folder an animal and year after another: only one is open at a time.
    plan.wanted.sort_by(|a, b| {
        let key = |own: &stream::Wanted| {
            let place = &own.place;
            (place.animal.clone(), place.year, place.recorded_at, place.session.clone())
        };
        key(a).cmp(&key(b))
    });
    let mut problems = std::mem::take(&mut plan.problems);
    let (mut ethograms, unread) = folder.ethograms();
    problems.extend(unread.iter().map(ToString::to_string));
    let mut study = folder.study.clone();
    let mut texts = 0;
    let mut people = asked.without_names.then(|| People::of(&folder.study, coders(&plan, codes)));
    if let Some(people) = &mut people {
        texts += people.clean_study(&mut study);
        texts += people.clean_ethograms(&mut ethograms);
    }
    let mut new = NewFolder::begin(&asked.out, stop)?;
    let written = fill(&mut new, &plan, &asked.choice, (&root, &study), people.as_ref(), |dataset, new| {
        dataset.finish(&study.title, &ethograms, new)
    });
    let (written, rest) = match written {
        Ok(done) => (Ok(()), done),
        Err(Error::Output(error)) => (Err(error), Done::default()),
        Err(error) => return Err(error),
    };
    let files = new.finish(written)?;
    texts += rest.texts_dropped;
    problems.extend(rest.problems);
    crate::cli::remark(&problems);
    let count = |n: u64| usize::try_from(n).unwrap_or(usize::MAX);
    let told = Told {
        files: files.len(),
        sessions: count(rest.written.sessions),
        codings: count(rest.written.codings),
        marks: count(rest.written.marks),
        taken_out: people.map(|own| {
            let places = plan.wanted.iter().map(|own| &own.place);
            let ids: BTreeSet<&str> =
                places.flat_map(|place| [place.session.as_str(), place.animal.as_str()]).collect();
            let ids = ids.into_iter().filter(|id| own.are_in(id)).map(str::to_owned).collect();
            TakenOut { people: own.count(), texts, ids }
        }),
        problems,
    };
    tell(asked, &told, None, out)
}

#[derive(Default)]
struct Done {
    written: Written,
    texts_dropped: usize,
    problems: Vec<String>,
}

fn fill(
    new: &mut NewFolder,
    plan: &stream::Plan,
    choice: &Choice,
    (root, study): (&Path, &Study),
    people: Option<&People>,
    finish: impl FnOnce(Dataset, &mut NewFolder) -> io::Result<Written>,
) -> Result<Done, Error> {
    let marks = if choice.without_unsure { Marks::WithoutUnsure } else { Marks::All };
    let mut dataset = Dataset::new();
    let mut done = Done::default();
    let mut pool: Option<(AnimalId, Vec<Counts>)> = None;
    let mut taken = 0_usize;
    plan.each(&|_, read| read.map(|own| ready(own, root, study, people, marks)), &mut |own| {
        if new.stop.flow().is_break() {
            return Err(Error::Stopped);
        }
        taken += 1;
        #[allow(clippy::cast_precision_loss)] // A share for a progress bar.
        new.bar.set_position(progress::place(taken as f32 / plan.wanted.len() as f32));
        let own = match own {
            Ok(own) => own,
            Err(problem) => {
                done.problems.push(problem);
                return Ok(());
            }
        };
        let occasion = Occasion {
            study,
            session: &own.session,
            year: own.year,
            codings: &own.codings,
            summaries: &own.summaries,
        };
        dataset.session(&occasion, new)?;
        done.texts_dropped += own.texts_dropped;
        done.problems.extend(own.problems);
        if pool.as_ref().is_none_or(|(animal, _)| *animal != own.session.animal) {
            end_animal(&mut dataset, pool.take(), new)?;
            pool = Some((own.session.animal.clone(), Vec::new()));
        }
        if let Some((_, counts)) = &mut pool {
            counts.extend(own.counts);
        }
        Ok(())
    })?;
    end_animal(&mut dataset, pool, new)?;
    done.written = finish(dataset, new)?;
    Ok(done)
}

fn end_animal(
    dataset: &mut Dataset,
    pool: Option<(AnimalId, Vec<Counts>)>,
    new: &mut NewFolder,
) -> io::Result<()> {
    match pool {
        Some((animal, counts)) if !counts.is_empty() => {
            dataset.animal(&summary::pooled(&animal, &counts), new)
        }
        _ => Ok(()),
    }
}

/// Everything about a session that can be done beside others.
fn ready(own: archive::Occasion, root: &Path, study: &Study, people: Option<&People>, marks: Marks) -> Ready {
    let archive::Occasion { mut session, codings, problems } = own;
    let mut texts_dropped = 0;
    let year = archive::year_of(&session);
    let mut entries: Vec<(Entry, Arc<Ethogram>)> = codings
        .into_iter()
        .map(|own| (Entry { file: relative(root, &own.path), coding: own.coding }, own.ethogram))
        .collect();
    if let Some(people) = people {
        texts_dropped += people.clean_session(&mut session);
        for (entry, ethogram) in &mut entries {
            texts_dropped += people.clean_entry(entry);
            *ethogram = Arc::new(people.cleaned(ethogram));
        }
    }
    let (mut summaries, mut counts) = (Vec::new(), None);
    for (entry, ethogram) in &entries {
        let Some(record) = Record::try_new(&entry.coding, ethogram, &session, study, marks) else { continue };
        let own = Counts::of(&record);
        summaries.push(summary::of_counts(&record, &own));
        // One coding a session counts, even if two say they are primary.
        let does_count = entry.coding.purpose == Purpose::Primary && session.left_out.is_none();
        if does_count && counts.is_none() {
            counts = Some(own);
        }
    }
    Ready { session, year, codings: entries, summaries, counts, texts_dropped, problems }
}

/// A file's path in the study, with `/`.
fn relative(root: &Path, path: &Path) -> String {
    let relative = path.strip_prefix(root).unwrap_or(path);
    let parts: Vec<_> = relative.iter().map(|part| part.to_string_lossy().into_owned()).collect();
    parts.join("/")
}

/// Also the codes of those who coded.
fn coders(plan: &stream::Plan, mut codes: BTreeSet<PersonCode>) -> BTreeSet<PersonCode> {
    for own in &plan.wanted {
        let files: Vec<PathBuf> = study_folder::coding_files(&own.place.folder);
        codes.extend(files.iter().map(|file| names::named_by(&file.to_string_lossy())));
        // What can't be read is told when it is read whole.
        codes.extend(files.iter().filter_map(|file| coding_file::read_head(file).ok()).map(|head| head.by));
    }
    codes
}
