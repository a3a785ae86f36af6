//! `shedlight agree`: how well codings of one session agree.

use std::io::{self, Write};

use super::arguments::{Agree, Unit as AskedUnit};
use super::load::{self, Loaded};
use super::{CommandResult, Error, FINDINGS, FINE};
use crate::agreement::align::{Marks, Pairing, Unit};
use crate::agreement::pair::{self, Agreement, Names, PairAgreement, PairKind, Session, SetAgreement};
use crate::model::{Coding, Purpose};
use crate::storage::study_folder::LoadedCoding;
use crate::time::Micros;

pub(super) fn run(asked: &Agree, out: &mut dyn Write) -> CommandResult {
    let loaded = load::codings(&asked.paths, &asked.choice)?;
    loaded.tell()?;
    let one_by_one = asked.paths.iter().all(|path| path.is_file());
    let found = compare(asked, &loaded, one_by_one)?;
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
        print_csv(&found, out)?;
    } else {
        print(&found, out)?;
    }
    let bad = !loaded.problems.is_empty() || found.pairs.iter().any(|pair| pair.why.is_some());
    Ok(if bad { FINDINGS } else { FINE })
}

fn compare(asked: &Agree, loaded: &Loaded, one_by_one: bool) -> Result<Agreement, Error> {
    let marks = if asked.choice.without_unsure { Marks::WithoutUnsure } else { Marks::All };
    let mut found = Agreement::default();
    let mut pooled = Vec::new();
    for (i, (study, first)) in loaded.codings.iter().enumerate() {
        let Some(seed) = loaded.study(*study).map(|study| study.study.double_coding.seed) else { continue };
        found.seed = seed;
        for (_, second) in loaded.codings.iter().skip(i + 1) {
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
            let pairing =
                match Pairing::try_new(&first.coding, &second.coding, &first.ethogram, &first.session, marks)
                {
                    Ok(pairing) => pairing,
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
            let (pair, overlays) =
                pair::compare(names, &pairing, &first.ethogram, unit, asked.tolerance, seed);
            if kind == PairKind::Between {
                pooled.push(Session {
                    id: pair.session.clone(),
                    ethogram: format!("{} revision {}", first.ethogram.id, first.ethogram.revision),
                    overlays,
                });
            }
            found.pairs.push(pair);
        }
    }
    found.pooled = pair::pool(&pooled, found.seed);
    Ok(found)
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
    if first.session != second.session {
        return None;
    }
    match (first.purpose, second.purpose) {
        (Purpose::Primary, Purpose::Second) | (Purpose::Second, Purpose::Primary) => Some(PairKind::Between),
        (Purpose::Primary, Purpose::Repeat) | (Purpose::Repeat, Purpose::Primary)
            if first.by == second.by =>
        {
            Some(PairKind::Within)
        }
        (Purpose::Trial, Purpose::Trial) if first.by != second.by && first.ethogram == second.ethogram => {
            Some(PairKind::Trial)
        }
        _ => None,
    }
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

fn number(value: Option<f64>) -> String {
    value.map_or_else(|| "—".to_owned(), |value| format!("{value:.3}"))
}

fn print(found: &Agreement, out: &mut dyn Write) -> io::Result<()> {
    for pair in &found.pairs {
        let kind = match pair.kind {
            PairKind::Between => "two coders",
            PairKind::Within => "one coder twice",
            PairKind::Trial => "a trial, not counted",
        };
        writeln!(out, "{} · {} with {} ({kind})", pair.session, pair.first_by, pair.second_by)?;
        writeln!(out, "  {}\n  {}", pair.first, pair.second)?;
        if let Some(why) = &pair.why {
            writeln!(out, "  not compared: {why}\n")?;
            continue;
        }
        writeln!(
            out,
            "  both cover {:.1} s, the animal is visible to both for {:.1} s",
            pair.window_s, pair.visible_to_both_s
        )?;
        for set in pair.sets.iter().chain(&pair.states) {
            print_set(set, out)?;
        }
        print_events(pair, out)?;
        writeln!(out)?;
    }
    for pooled in &found.pooled {
        let spread = match (pooled.ci95, pooled.range) {
            (Some([low, high]), _) => {
                format!(" [{low:.3}, {high:.3}] (BCa over sessions, seed {})", found.seed)
            }
            (None, Some([low, high])) => format!(", sessions from {low:.3} to {high:.3}"),
            (None, None) => String::new(),
        };
        writeln!(
            out,
            "{}, {} together ({}): kappa {}{spread}, observed {}",
            pooled.set,
            pooled.sessions.join(" and "),
            pooled.ethogram,
            number(pooled.kappa),
            number(pooled.observed)
        )?;
    }
    Ok(())
}

fn print_set(set: &SetAgreement, out: &mut dyn Write) -> io::Result<()> {
    if set.kappa.is_none() {
        return writeln!(out, "  {}: {}", set.set, set.why.as_deref().unwrap_or("—"));
    }
    let interval = set.ci95.map_or_else(String::new, |[low, high]| format!(" [{low:.3}, {high:.3}]"));
    writeln!(
        out,
        "  {}: kappa {}{interval} (at most {}), observed {}, by chance {}, over {:.1} s",
        set.set,
        number(set.kappa),
        number(set.kappa_max),
        number(set.observed),
        number(set.expected),
        set.compared_s
    )?;
    let width = set.labels.iter().map(|label| label.chars().count()).max().unwrap_or(0).max(8);
    writeln!(out, "    seconds; rows the first coder, columns the second")?;
    write!(out, "    {:width$}", "")?;
    for i in 0..set.labels.len() {
        write!(out, " {:>8}", format!("({})", i + 1))?;
    }
    writeln!(out, "    kappa")?;
    for (i, (label, row)) in set.labels.iter().zip(&set.table_s).enumerate() {
        write!(out, "    {label:width$}")?;
        for cell in row {
            write!(out, " {cell:>8.2}")?;
        }
        let own = set.behaviours.iter().find(|own| own.id == *label);
        let kappa = own.map_or_else(String::new, |own| match (own.kappa, &own.why) {
            (Some(kappa), _) => format!("{kappa:.3}"),
            (None, Some(why)) => why.clone(),
            (None, None) => "—".to_owned(),
        });
        writeln!(out, "    ({}) {kappa}", i + 1)?;
    }
    Ok(())
}

fn print_events(pair: &PairAgreement, out: &mut dyn Write) -> io::Result<()> {
    let width = pair.events.iter().map(|event| event.behaviour.chars().count()).max().unwrap_or(0).max(9);
    writeln!(out, "  {:width$}   both  only 1  only 2  agree  later by", "moments")?;
    for event in &pair.events {
        let (Some(both), Some(first), Some(second)) = (event.matched, event.only_first, event.only_second)
        else {
            writeln!(out, "  {:width$}  {}", event.behaviour, event.why.as_deref().unwrap_or("—"))?;
            continue;
        };
        if both + first + second == 0 {
            continue;
        }
        let later = event.onset_difference_s.median.map_or_else(|| "—".to_owned(), |s| format!("{s:+.2} s"));
        let few = if event.few { "  (few)" } else { "" };
        writeln!(
            out,
            "  {:width$}  {both:>5}  {first:>6}  {second:>6}  {:>5}  {later}{few}",
            event.behaviour,
            event.agreement.map_or_else(|| "—".to_owned(), |share| format!("{share:.2}")),
        )?;
    }
    let tolerance = pair.events.first().map_or(0.0, |event| event.tolerance_s);
    writeln!(out, "  moments match within ±{tolerance} s; of states their onsets")
}

fn print_csv(found: &Agreement, out: &mut dyn Write) -> io::Result<()> {
    writeln!(
        out,
        "session,first,second,what,id,kappa,observed,first_s,second_s,matched,only_first,only_second,agreement,why"
    )?;
    let plain = |value: Option<f64>| value.map_or_else(String::new, |value| value.to_string());
    let whole = |value: Option<usize>| value.map_or_else(String::new, |value| value.to_string());
    for pair in &found.pairs {
        let mut line = |what: &str, id: &str, rest: [String; 9]| {
            let head = [&pair.session, &pair.first, &pair.second].map(|field| super::csv_field(field));
            let rest = rest.map(|field| super::csv_field(&field));
            writeln!(out, "{},{what},{},{}", head.join(","), super::csv_field(id), rest.join(","))
        };
        let none = String::new;
        for set in pair.sets.iter().chain(&pair.states) {
            let why = set.why.clone().unwrap_or_default();
            line(
                "set",
                &set.set,
                [plain(set.kappa), plain(set.observed), none(), none(), none(), none(), none(), none(), why],
            )?;
            for own in &set.behaviours {
                let why = own.why.clone().unwrap_or_default();
                let (first, second) = (own.first_s.to_string(), own.second_s.to_string());
                line(
                    "state",
                    &own.id,
                    [
                        plain(own.kappa),
                        plain(own.observed),
                        first,
                        second,
                        none(),
                        none(),
                        none(),
                        none(),
                        why,
                    ],
                )?;
            }
        }
        for event in &pair.events {
            let why = event.why.clone().unwrap_or_default();
            line(
                "moments",
                &event.behaviour,
                [
                    none(),
                    none(),
                    none(),
                    none(),
                    whole(event.matched),
                    whole(event.only_first),
                    whole(event.only_second),
                    plain(event.agreement),
                    why,
                ],
            )?;
        }
    }
    Ok(())
}
