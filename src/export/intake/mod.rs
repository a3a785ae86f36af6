//! The way back: marks from CSV and Web Annotations into codings, and a list of what could not be
//! taken in and why. What is taken in passes the same checks as a coding file that is opened.

mod csv;
mod web_annotation;

use std::collections::BTreeMap;

pub use self::csv::from_csv;
pub use self::web_annotation::from_web_annotation;
use crate::model::validate::{self, Gravity};
use crate::model::{
    Behaviour, Coding, Ethogram, EthogramRef, Mark, MarkId, Pass, PersonCode, Purpose, Session, Status, Study,
};

/// What a study knows already.
#[derive(Debug, Clone, Copy)]
pub struct Known<'a> {
    /// The study.
    pub study: &'a Study,
    /// Its sessions.
    pub sessions: &'a [Session],
    /// Its ethograms.
    pub ethograms: &'a [Ethogram],
}

/// What was found in a file.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Intake {
    /// New codings, ready to be written.
    pub codings: Vec<Coding>,
    /// What could not be taken in.
    pub refused: Vec<Refused>,
    /// What a person should know about what was.
    pub remarks: Vec<String>,
}

/// Something that could not be taken in.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct Refused {
    /// Where in the file: a line, an annotation.
    pub place: String,
    /// Why.
    pub why: String,
}

/// Why nothing of a file could be read.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// It is no table.
    #[error("the quote that begins in line {line} never ends: save the file again as CSV")]
    Quote {
        /// The line.
        line: usize,
    },
    /// A column is missing.
    #[error(
        "there is no column '{column}': a table of marks needs session, by, behaviour and from_s in its first line"
    )]
    Column {
        /// Its name.
        column: &'static str,
    },
    /// It is no JSON.
    #[error("this is no JSON")]
    Json(#[from] serde_json::Error),
    /// It is JSON of another kind.
    #[error("there are no Web Annotations in it: it needs a collection, a page, a list or one annotation")]
    NoAnnotations,
}

/// Marks of one coding as they are gathered.
#[derive(Debug, Clone, Default)]
struct Group {
    /// What was said of the coding.
    head: Option<Coding>,
    session: String,
    by: String,
    purpose: Option<Purpose>,
    ethogram: Option<(String, u32)>,
    marks: Vec<Found>,
}

/// A mark, and where it was found.
#[derive(Debug, Clone)]
struct Found {
    place: String,
    mark: Mark,
    /// The file gave no id: it gets one.
    is_nameless: bool,
}

impl Known<'_> {
    fn session(&self, id: &str) -> Option<&Session> {
        self.sessions.iter().find(|session| session.id.as_str() == id)
    }

    /// The ethogram that is named, or the newest when there is only one.
    fn ethogram(&self, named: Option<&(String, u32)>) -> Result<&Ethogram, String> {
        if let Some((id, revision)) = named {
            let is_it = |own: &&Ethogram| own.id.as_str() == id && own.revision == *revision;
            let found = self.ethograms.iter().find(is_it);
            return found.ok_or_else(|| format!("the study has no ethogram '{id}' revision {revision}"));
        }
        let newest = self.ethograms.iter().max_by_key(|own| own.revision);
        match newest {
            Some(newest) if self.ethograms.iter().all(|own| own.id == newest.id) => Ok(newest),
            Some(_) => Err("it does not say which of the study's ethograms it follows".to_owned()),
            None => Err("the study has no ethogram".to_owned()),
        }
    }
}

/// A behaviour by its id, else by its name.
fn behaviour<'e>(ethogram: &'e Ethogram, named: &str) -> Option<&'e Behaviour> {
    let named = named.trim();
    let by_id = ethogram.behaviours.iter().find(|own| own.id.as_str() == named);
    by_id.or_else(|| {
        let mut same =
            ethogram.behaviours.iter().filter(|own| own.name.to_lowercase() == named.to_lowercase());
        // Two of one name are nobody's.
        same.next().filter(|_| same.next().is_none())
    })
}

/// A person's code becomes the start of a file's name.
fn is_code(text: &str) -> bool {
    !text.is_empty()
        && text.chars().count() <= 40
        && !text.starts_with('.')
        && !text.chars().any(|c| c.is_control() || c.is_whitespace() || "/\\:*?\"<>|".contains(c))
}

/// Makes codings of what was gathered, leaving out what does not pass.
fn settle(groups: BTreeMap<String, Group>, known: Known<'_>, intake: &mut Intake) {
    for (key, group) in groups {
        let refuse = |intake: &mut Intake, why: String| {
            let n = group.marks.len();
            let place = format!("{key}: all {n} {}", if n == 1 { "mark" } else { "marks" });
            intake.refused.push(Refused { place, why });
        };
        let Some(session) = known.session(&group.session) else {
            refuse(intake, format!("the study has no session '{}'", group.session));
            continue;
        };
        let ethogram = match known.ethogram(group.ethogram.as_ref()) {
            Ok(ethogram) => ethogram,
            Err(why) => {
                refuse(intake, why);
                continue;
            }
        };
        let Ok(reference) = EthogramRef::to(ethogram) else { continue };
        if !is_code(&group.by) {
            refuse(intake, format!("'{}' can't be a person's code: it would be no file name", group.by));
            continue;
        }
        let mut coding = group.head.clone().unwrap_or_else(|| {
            let mut new = Coding::new(session.id.clone(), PersonCode::from(group.by.as_str()), reference.clone());
            new.passes = ethogram.passes.iter().map(Pass::from).collect();
            intake.remarks.push(format!(
                "{key}: nothing says which passes are done, so none is: tick them in the window, and absence means zero again"
            ));
            new
        });
        if !coding.ethogram.digest.is_empty() && coding.ethogram.digest != reference.digest {
            intake.remarks.push(format!(
                "{key}: the definitions of {} revision {} here are not those it was coded under",
                ethogram.id, ethogram.revision
            ));
        }
        coding.ethogram = reference;
        coding.by = PersonCode::from(group.by.as_str());
        coding.purpose = group.purpose.unwrap_or(coding.purpose);
        for pass in &mut coding.passes {
            pass.behaviours.retain(|id| ethogram.behaviour(id).is_some());
        }
        let marks = checked(group.marks, &mut coding, ethogram, session, intake);
        coding.marks = marks;
        if coding.open_bouts().next().is_some() {
            coding.status = Status::Open;
        }
        intake.codings.push(coding);
    }
}

/// Orders marks, names those without a name of their own, and drops those that make no sense.
fn checked(
    mut found: Vec<Found>,
    coding: &mut Coding,
    ethogram: &Ethogram,
    session: &Session,
    intake: &mut Intake,
) -> Vec<Mark> {
    let mut next =
        found.iter().filter(|own| !own.is_nameless).map(|own| own.mark.id.0 + 1).max().unwrap_or(1);
    let mut seen = std::collections::BTreeSet::new();
    for own in &mut found {
        if own.is_nameless || !seen.insert(own.mark.id) {
            own.mark.id = MarkId(next);
            next += 1;
        }
    }
    found.sort_by_key(|own| (own.mark.from, own.mark.id));
    loop {
        coding.marks = found.iter().map(|own| own.mark.clone()).collect();
        let mut bad: Vec<(usize, String)> = validate::coding(coding, ethogram, session)
            .into_iter()
            .filter(|problem| problem.gravity == Gravity::Error)
            .filter_map(|problem| {
                let place = problem.pointer.strip_prefix("/marks/")?;
                Some((place.split('/').next()?.parse().ok()?, problem.what))
            })
            .collect();
        bad.sort_by_key(|(place, _)| std::cmp::Reverse(*place));
        bad.dedup_by_key(|(place, _)| *place);
        if bad.is_empty() {
            break;
        }
        for (place, why) in bad {
            if place < found.len() {
                let own = found.remove(place);
                intake.refused.push(Refused { place: own.place, why });
            }
        }
    }
    found.into_iter().map(|own| own.mark).collect()
}
