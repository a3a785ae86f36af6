//! `shedlight agree`: how well codings of one session agree, and those of a study.

mod print;
mod rows;
mod tables;
mod training;

use std::io::Write;

use super::arguments::{Agree, SchemeName, Unit as AskedUnit};
use super::load::{self, Loaded};
use super::{CommandResult, Error, FINDINGS, FINE};
use crate::agreement::align::{Marks, NotComparable, Pairing, Unit};
use crate::agreement::pair::{self, Agreement, Names, Options, PairKind, Session};
use crate::agreement::plan::{self, Candidate};
use crate::agreement::scheme::Scheme;
use crate::agreement::{grras, resolve, sessions, several};
use crate::model::{Coding, Purpose};
use crate::storage::study_folder::LoadedCoding;
use crate::time::Micros;

pub(super) fn run(asked: &Agree, out: &mut dyn Write) -> CommandResult {
    let loaded = load::codings(&asked.paths, &asked.choice)?;
    loaded.tell()?;
    let one_by_one = asked.paths.iter().all(|path| path.is_file());
    if one_by_one {
        refuse_agreed(&loaded)?;
    }
    if asked.training {
        if one_by_one {
            return Err(Error::Usage("--training looks at a study's coders: name its folder".to_owned()));
        }
        return training::run(asked, &loaded, out);
    }
    let found = compare(asked, &loaded, one_by_one)?;
    if asked.grras && !asked.json {
        if one_by_one {
            return Err(Error::Usage("--grras answers for a study: name its folder".to_owned()));
        }
        print::grras(&found.grras, out)?;
        return Ok(if found.grras.iter().any(|item| item.missing.is_some()) { FINDINGS } else { FINE });
    }
    if found.pairs.is_empty() {
        return Err(Error::Usage(
            "there are no two codings of one session here: name two coding files, or a study that has a second coding"
                .to_owned(),
        ));
    }
    if asked.json {
        serde_json::to_writer_pretty(&mut *out, &found)?;
        writeln!(out)?;
    } else if asked.csv {
        rows::csv(&found, out)?;
    } else {
        print::all(&found, asked.all, out)?;
    }
    let bad = !loaded.problems.is_empty() || found.pairs.iter().any(|pair| pair.why.is_some());
    Ok(if bad { FINDINGS } else { FINE })
}

/// Two records that were settled together are not independent.
fn refuse_agreed(loaded: &Loaded) -> Result<(), Error> {
    let agreed = loaded.codings.iter().find(|(_, own)| !resolve::is_comparable(&own.coding));
    let Some((study, own)) = agreed else { return Ok(()) };
    let parents = match own.coding.parents.as_slice() {
        [] => String::new(),
        parents => format!(" ({})", parents.join(" and ")),
    };
    Err(Error::Usage(format!(
        "{} is an agreed record, settled from two others: it is not independent of them, so agreement is never computed on it; name the codings it was made from{parents}",
        name(loaded, *study, own)
    )))
}

pub(super) fn compare(asked: &Agree, loaded: &Loaded, one_by_one: bool) -> Result<Agreement, Error> {
    let marks = if asked.choice.without_unsure { Marks::WithoutUnsure } else { Marks::All };
    let mut found = Agreement::default();
    let mut pooled = Vec::new();
    let mut ethograms = Vec::new();
    for (i, (study, first)) in loaded.codings.iter().enumerate() {
        let Some(folder) = loaded.study(*study) else { continue };
        let seed = folder.study.double_coding.seed;
        found.seed = seed;
        for (other, second) in loaded.codings.iter().skip(i + 1) {
            if other != study && !one_by_one {
                continue;
            }
            let Some(kind) = kind_of(&first.coding, &second.coding, one_by_one) else { continue };
            // The record that counts comes first.
            let swap = second.coding.purpose == Purpose::Primary && first.coding.purpose != Purpose::Primary;
            let (first, second) = if swap { (second, first) } else { (first, second) };
            let names = Names {
                first: name(loaded, *study, first),
                second: name(loaded, *study, second),
                session: first.session.id.to_string(),
                first_by: first.coding.by.to_string(),
                second_by: second.coding.by.to_string(),
                kind,
            };
            ethograms.push(revision(first));
            let pairing =
                match Pairing::try_new(&first.coding, &second.coding, &first.ethogram, &first.session, marks)
                {
                    Ok(pairing) => pairing,
                    Err(NotComparable::Sampled) => {
                        let codings = [&first.coding, &second.coding];
                        let of = (&first.ethogram, &first.session, &folder.study);
                        let own = pair::compare_samples(&names, codings, of, marks, seed);
                        found.pairs.push(own.unwrap_or_else(|why| pair::not_comparable(names, &why)));
                        continue;
                    }
                    Err(why) => {
                        found.pairs.push(pair::not_comparable(names, &why));
                        continue;
                    }
                };
            let pictures = match asked.unit {
                AskedUnit::Frame => picture_times(loaded, *study, first)?,
                AskedUnit::Exact | AskedUnit::Every(_) => Vec::new(),
            };
            let unit = match asked.unit {
                AskedUnit::Exact => Unit::Exact,
                AskedUnit::Every(length) => Unit::Every(length),
                AskedUnit::Frame => Unit::Pictures(&pictures),
            };
            let options = Options { unit, tolerance: asked.tolerance, seed };
            let (pair, overlays) = pair::compare(names, &pairing, &folder.study, options);
            if kind == PairKind::Between {
                pooled.push(Session { id: pair.session.clone(), ethogram: revision(first), overlays });
            }
            found.pairs.push(pair);
        }
    }
    found.pooled = pair::pool(&pooled, found.seed);
    let named: Vec<_> = ethograms.iter().map(String::as_str).zip(&found.pairs).collect();
    found.measured = sessions::measured(&named);
    found.several = of_several(asked, loaded, one_by_one, marks);
    if !one_by_one {
        for (place, folder) in loaded.studies.iter().enumerate() {
            let plan = &folder.study.double_coding;
            found.double_coding.extend(plan::due(&candidates(loaded, place), plan.share, plan.seed));
        }
        if let [folder] = loaded.studies.as_slice() {
            let codings: Vec<_> =
                loaded.codings.iter().map(|(_, own)| (&own.coding, &own.session, &own.ethogram)).collect();
            let sources = grras::Sources { study: &folder.study, codings: &codings, found: &found };
            found.grras = grras::items(&sources);
        }
    }
    if let Some(scheme) = asked.scheme {
        let scheme = match scheme {
            SchemeName::LandisKoch => Scheme::LandisKoch,
            SchemeName::Fleiss => Scheme::Fleiss,
            SchemeName::Altman => Scheme::Altman,
        };
        scheme.put_on(&mut found);
    }
    Ok(found)
}

fn revision(coding: &LoadedCoding) -> String {
    format!("{} revision {}", coding.ethogram.id, coding.ethogram.revision)
}

/// Sessions with three or more codings that may be compared.
fn of_several(
    asked: &Agree,
    loaded: &Loaded,
    one_by_one: bool,
    marks: Marks,
) -> Vec<several::SeveralAgreement> {
    let unit = match asked.unit {
        AskedUnit::Every(length) => length,
        AskedUnit::Exact | AskedUnit::Frame => Micros::from_whole_seconds(1),
    };
    let counts = |own: &Coding| one_by_one || matches!(own.purpose, Purpose::Primary | Purpose::Second);
    let mut groups: Vec<Vec<&(usize, LoadedCoding)>> = Vec::new();
    for own in loaded.codings.iter().filter(|(_, own)| counts(&own.coding)) {
        let is_same = |group: &&mut Vec<&(usize, LoadedCoding)>| {
            group.first().is_some_and(|first| {
                first.0 == own.0
                    && first.1.coding.session == own.1.coding.session
                    && first.1.coding.ethogram == own.1.coding.ethogram
            })
        };
        match groups.iter_mut().find(is_same) {
            Some(group) => group.push(own),
            None => groups.push(vec![own]),
        }
    }
    let mut found = Vec::new();
    for group in groups.into_iter().filter(|group| group.len() > 2) {
        let Some((_, first)) = group.first() else { continue };
        let names: Vec<String> = group.iter().map(|(study, own)| name(loaded, *study, own)).collect();
        let codings: Vec<_> =
            names.iter().map(String::as_str).zip(group.iter().map(|own| &own.1.coding)).collect();
        match several::several(&codings, &first.ethogram, &first.session, marks, unit) {
            Ok(own) => found.extend(own),
            Err(why) => {
                super::remark(&[format!("{}: codings not compared together: {why}", first.session.id)]);
            }
        }
    }
    found
}

/// Sessions of a study with a coding that counts, in the order they were filmed.
fn candidates(loaded: &Loaded, study: usize) -> Vec<Candidate> {
    let Some(folder) = loaded.study(study) else { return Vec::new() };
    of_study(loaded, study)
        .filter_map(|own| {
            let beside = of_study(loaded, study).filter(|other| other.coding.session == own.coding.session);
            let beside = beside.map(|other| (other.coding.purpose, &other.coding.by));
            let second = plan::second_coders(&own.coding.by, beside);
            plan::candidate(&folder.study, &own.coding, &own.ethogram, &own.session, second)
        })
        .collect()
}

fn of_study(loaded: &Loaded, study: usize) -> impl Iterator<Item = &LoadedCoding> {
    loaded.codings.iter().filter(move |(place, _)| *place == study).map(|(_, own)| own)
}

/// What kind of pair two codings make; `None`: they are not compared. Files named one by one are
/// compared whatever they are for.
fn kind_of(first: &Coding, second: &Coding, one_by_one: bool) -> Option<PairKind> {
    let is_trial = |coding: &Coding| matches!(coding.purpose, Purpose::Trial | Purpose::Training);
    if one_by_one {
        return Some(if is_trial(first) || is_trial(second) {
            PairKind::Trial
        } else if first.by == second.by {
            PairKind::Within
        } else {
            PairKind::Between
        });
    }
    pair::kind_in_study(first, second)
}

/// A coding's file, relative to its study.
fn name(loaded: &Loaded, study: usize, coding: &LoadedCoding) -> String {
    let root = loaded.study(study).map(crate::storage::StudyFolder::root);
    let relative = root.and_then(|root| coding.path.strip_prefix(root).ok()).unwrap_or(&coding.path);
    relative.to_string_lossy().into_owned()
}

#[cfg(not(feature = "media"))]
fn picture_times(_: &Loaded, _: usize, _: &LoadedCoding) -> Result<Vec<Micros>, Error> {
    Err(Error::NeedsFeature { command: "--unit frame", feature: "media" })
}

/// Session times of all pictures.
#[cfg(feature = "media")]
fn picture_times(loaded: &Loaded, study: usize, coding: &LoadedCoding) -> Result<Vec<Micros>, Error> {
    use crate::media::{Film, FilmOptions};
    use crate::storage::fingerprint::{self, ClipState};
    let Some(study) = loaded.study(study) else { return Ok(Vec::new()) };
    let mut times = Vec::new();
    for clip in &coding.session.clips {
        let path = match fingerprint::find(study.root(), clip) {
            ClipState::There(path) | ClipState::Moved(path) => path,
            ClipState::Changed(path) | ClipState::Missing(path) => {
                return Err(Error::Usage(format!(
                    "frame by frame needs the clip, and it is missing or changed: {}",
                    path.display()
                )));
            }
        };
        let film = Film::open(&path, FilmOptions::default())?;
        let base = crate::time::TimeBase::MICROS;
        let Some(clock) = clip.clock() else { continue };
        times.extend(film.index().times().iter().filter_map(|time| clock.session_time(time.0, base)));
        times.extend(clock.session_time(film.index().end().0, base));
    }
    times.sort_unstable();
    times.dedup();
    Ok(times)
}
