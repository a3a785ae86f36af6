//! What the screen shows of its subject: read, counted and drawn, off the drawing thread.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

use super::Subject;
use super::figures::{self, Group};
use crate::gui::theme::Mode;
use crate::gui::widget::pictures;
use crate::measures::{Marks, Record, advice, summary};
use crate::model::{AnimalId, Purpose, RecordingRule, SessionId};
use crate::report::album;
use crate::report::chart::{self, Chart, Look};
use crate::storage::study_folder::LoadedCoding;
use crate::storage::{CodingHead, StudyFolder};

/// Width of the charts where there is little room for them, and where there is much: beyond that the eye loses
/// the line it follows.
pub(super) const WIDTHS: (u32, u32) = (840, 1400);
/// What the numbers beside them need, with their margins.
const NUMBERS: f32 = 460.0;

/// Width of the charts in a screen of a width; in steps, so that a window being dragged is not drawn at each pixel.
#[must_use]
pub(super) fn width_in(screen: f32) -> u32 {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // Pixels of a screen.
    let room = (screen - NUMBERS).clamp(0.0, 10_000.0) as u32;
    (room / 40 * 40).clamp(WIDTHS.0, WIDTHS.1)
}

/// Sessions of which nothing is shown.
type Hidden = BTreeSet<SessionId>;

/// Everything the screen shows.
#[derive(Debug, Default)]
pub struct Drawn {
    pub(super) title: String,
    pub(super) groups: Vec<Group>,
    pub(super) charts: Vec<pictures::Drawn>,
    /// Files that could not be read, in words.
    pub(super) problems: String,
}

impl Drawn {
    /// Reads what is needed, counts and draws it.
    pub(super) fn of(
        folder: &StudyFolder,
        subject: &Subject,
        hidden: &Hidden,
        mode: Mode,
        width: u32,
    ) -> Self {
        let (mut codings, mut problems) = load(folder, &paths(folder, subject, hidden));
        let is_alone = matches!(subject, Subject::Session(_));
        if !is_alone {
            // Samples add to no time and no count.
            let is_sampled = |own: &LoadedCoding| own.coding.rule != RecordingRule::Continuous;
            let sampled: Vec<&str> =
                codings.iter().filter(|own| is_sampled(own)).map(|own| own.session.id.as_str()).collect();
            if !sampled.is_empty() {
                let words = format!("coded by samples, and so not among these: {}", sampled.join(", "));
                problems.push(words);
                codings.retain(|own| !is_sampled(own));
            }
        }
        if !hidden.is_empty() && !is_alone {
            problems
                .push("sessions you are still to code as the second coder are not among these".to_owned());
        }
        let look = match mode {
            Mode::Dark => Look::dark(),
            Mode::Light => Look::light(),
        };
        let look = look.with_width(width);
        let records = records(folder, &codings);
        let (title, groups, charts) = match (subject, records.first()) {
            (_, None) => Default::default(),
            (Subject::Session(_), Some(record)) => of_session(folder, record, hidden, &look),
            (Subject::Several(_), Some(_)) => of_several(folder, &records, &look),
            (Subject::Animal(animal), Some(_)) => {
                let (groups, charts) = of_animal(&records, &look);
                (format!("{} · {} sessions", name(folder, animal), records.len()), groups, charts)
            }
        };
        let charts = charts.into_iter().map(pictures::drawn).collect();
        Self { title, groups, charts, problems: problems.join("; ") }
    }
}

type Shown = (String, Vec<Group>, Vec<Chart>);

fn of_session(folder: &StudyFolder, record: &Record<'_>, hidden: &Hidden, look: &Look) -> Shown {
    let before = before(folder, record, hidden);
    let mut course = records(folder, &before);
    course.push(record.clone());
    let coding = record.coding;
    let day = record
        .session
        .recorded_at
        .map_or_else(|| record.session.id.to_string(), |time| time.format("%-d %b %Y").to_string());
    let name = name(folder, &record.session.animal);
    let title = format!("{name} · {day} · coded by {} ({})", coding.by, coding.purpose.word());
    let told = summary::coding(record);
    if let Some(samples) = &told.samples {
        return (title, figures::of_samples(samples), vec![chart::found(record, look)]);
    }
    let figures = told.figures;
    let advice = (coding.purpose == Purpose::Primary).then(|| advice::after(&course));
    (title, figures::groups(&figures, advice.as_ref()), album::of_session(record, look))
}

fn of_animal(records: &[Record<'_>], look: &Look) -> (Vec<Group>, Vec<Chart>) {
    let pooled = summary::animals(records);
    let groups = pooled.first().map(|own| figures::groups(&own.figures, Some(&advice::after(records))));
    (groups.unwrap_or_default(), album::of_animal(records, look))
}

/// Sessions chosen, pooled animal by animal: animals are never pooled with each other.
fn of_several(folder: &StudyFolder, all: &[Record<'_>], look: &Look) -> Shown {
    let mut by_animal: BTreeMap<&AnimalId, Vec<Record<'_>>> = BTreeMap::new();
    for record in all {
        by_animal.entry(&record.session.animal).or_default().push(record.clone());
    }
    let (mut groups, mut charts) = (Vec::new(), Vec::new());
    for (animal, own) in &by_animal {
        let sessions: Vec<&str> = own.iter().map(|record| record.session.id.as_str()).collect();
        let lines = vec![
            ("Animal".to_owned(), name(folder, animal)),
            ("Sessions".to_owned(), sessions.join(", ")),
            (String::new(), "Times and counts are added; the session is the unit".to_owned()),
        ];
        groups.push(Group { title: "Chosen", lines });
        for pooled in summary::animals(own) {
            groups.extend(figures::groups(&pooled.figures, None));
        }
        charts.extend(album::of_animal(own, look));
    }
    let names: Vec<String> = by_animal.keys().map(|animal| name(folder, animal)).collect();
    let many = if all.len() == 1 { "session" } else { "sessions" };
    (format!("{} · {} {many} chosen", names.join(", "), all.len()), groups, charts)
}

fn name(folder: &StudyFolder, id: &AnimalId) -> String {
    folder.study.animal(id).map_or_else(|| id.to_string(), |animal| animal.name.clone())
}

fn load(folder: &StudyFolder, paths: &[PathBuf]) -> (Vec<LoadedCoding>, Vec<String>) {
    let mut problems = Vec::new();
    let mut codings: Vec<LoadedCoding> = Vec::new();
    for path in paths {
        match folder.load_coding(path) {
            Ok(coding) => codings.push(coding),
            Err(error) => problems.push(error.to_string()),
        }
    }
    codings
        .sort_by(|a, b| (a.session.recorded_at, &a.session.id).cmp(&(b.session.recorded_at, &b.session.id)));
    (codings, problems)
}

fn records<'a>(folder: &'a StudyFolder, codings: &'a [LoadedCoding]) -> Vec<Record<'a>> {
    let study = &folder.study;
    codings
        .iter()
        .filter_map(|own| Record::try_new(&own.coding, &own.ethogram, &own.session, study, Marks::All))
        .collect()
}

/// Primary codings of the animal's sessions before this one.
fn before(folder: &StudyFolder, record: &Record<'_>, hidden: &Hidden) -> Vec<LoadedCoding> {
    let (mut all, _) = load(folder, &primary(folder, Some(&record.session.animal), hidden));
    all.retain(|own| {
        own.coding.rule == RecordingRule::Continuous
            && own.session.id != record.session.id
            && own.session.recorded_at < record.session.recorded_at
    });
    all
}

/// The coding files a subject is made of.
fn paths(folder: &StudyFolder, subject: &Subject, hidden: &Hidden) -> Vec<PathBuf> {
    match subject {
        Subject::Session(path) => vec![path.clone()],
        Subject::Several(paths) => paths.clone(),
        Subject::Animal(animal) => primary(folder, Some(animal), hidden),
    }
}

/// Primary codings of sessions that count, of one animal or of all, in order of time.
fn primary(folder: &StudyFolder, animal: Option<&AnimalId>, hidden: &Hidden) -> Vec<PathBuf> {
    let mut sessions = folder.list().sessions;
    sessions.retain(|entry| {
        entry.session.left_out.is_none()
            && !hidden.contains(&entry.session.id)
            && animal.is_none_or(|animal| entry.session.animal == *animal)
    });
    sessions
        .sort_by(|a, b| (a.session.recorded_at, &a.session.id).cmp(&(b.session.recorded_at, &b.session.id)));
    let first = |entry: &crate::storage::study_folder::SessionEntry| {
        let is_primary = |(_, head): &&(PathBuf, CodingHead)| head.purpose == Purpose::Primary;
        let all = || entry.codings.iter().filter(is_primary);
        let continuous = all().find(|(_, head)| head.rule == RecordingRule::Continuous);
        continuous.or_else(|| all().next()).map(|(path, _)| path.clone())
    };
    sessions.iter().filter_map(first).collect()
}

/// The next coding of the session that is shown, the first one after the last: also those that are not
/// pooled have results.
pub(super) fn next_coding(folder: &StudyFolder, subject: &Subject) -> Subject {
    let Subject::Session(path) = subject else { return subject.clone() };
    let sessions = folder.list().sessions;
    let own = sessions.iter().find(|entry| entry.codings.iter().any(|(own, _)| own == path));
    let codings = own.map(|entry| entry.codings.as_slice()).unwrap_or_default();
    let next = codings.iter().skip_while(|(own, _)| own != path).nth(1).or_else(|| codings.first());
    next.map_or_else(|| subject.clone(), |(next, _)| Subject::Session(next.clone()))
}

/// The subject with one more session: the first of the same animal that is not in it, else of the study.
pub(super) fn with_another(folder: &StudyFolder, subject: &Subject, hidden: &Hidden) -> Subject {
    let mut chosen = chosen(folder, subject, hidden);
    let own = chosen.first().and_then(|path| folder.load_coding(path).ok()).map(|own| own.session.animal);
    let of_animal = own.map(|animal| primary(folder, Some(&animal), hidden)).unwrap_or_default();
    let others = of_animal.into_iter().chain(primary(folder, None, hidden));
    let next = others.into_iter().find(|path| !chosen.contains(path));
    match next {
        Some(next) => {
            chosen.push(next);
            Subject::Several(chosen)
        }
        None => subject.clone(),
    }
}

/// The subject without the session taken in last; one always stays.
pub(super) fn without_last(folder: &StudyFolder, subject: &Subject, hidden: &Hidden) -> Subject {
    let mut chosen = chosen(folder, subject, hidden);
    if chosen.len() > 1 {
        let _ = chosen.pop();
    }
    match chosen.as_slice() {
        [one] => Subject::Session(one.clone()),
        _ => Subject::Several(chosen),
    }
}

/// Every session of the study that counts.
pub(super) fn whole_study(folder: &StudyFolder, hidden: &Hidden) -> Subject {
    Subject::Several(primary(folder, None, hidden))
}

/// What is chosen now, as sessions that can be pooled: of one session its primary coding, whoever's was shown.
fn chosen(folder: &StudyFolder, subject: &Subject, hidden: &Hidden) -> Vec<PathBuf> {
    let Subject::Session(path) = subject else { return paths(folder, subject, hidden) };
    let beside = |other: &PathBuf| other.parent() == path.parent();
    let primary = primary(folder, None, hidden).into_iter().find(beside);
    vec![primary.unwrap_or_else(|| path.clone())]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn charts_take_the_room_there_is_within_bounds() {
        assert_eq!(width_in(1_280.0), 840, "the smallest window");
        assert_eq!(width_in(1_440.0), 960);
        assert_eq!(width_in(1_920.0), 1_400);
        assert_eq!(width_in(3_840.0), 1_400);
        assert_eq!(width_in(1_440.0), width_in(1_450.0), "not at each pixel");
        assert!((1_280..4_000_u16).all(|screen| f32::from(screen) - 840.0 >= 400.0));
    }
}
