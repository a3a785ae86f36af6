//! `shedlight summary`: the measures as a table for people, as JSON or as CSV.

mod over_sessions;

use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};
use std::io::{self, Write};
use std::path::PathBuf;

use serde::ser::SerializeMap as _;
use serde::{Serialize, Serializer};

use super::arguments::Summary as Asked;
use super::{CommandResult, Error, FINDINGS, FINE, load, stream};
use crate::measures::summary::{
    self, AnimalSummary, CodingSummary, Counts, Figures, OneLatency, OverSessions, SampleFigures,
};
use crate::measures::{Marks, Record};
use crate::model::{AnimalId, Kind, SessionId};
use crate::report::words::{count, number, percent, signed};
use crate::storage::StudyFolder;
use crate::storage::archive::Occasion;

pub(super) fn run(asked: &Asked, out: &mut dyn Write) -> CommandResult {
    let mut plan = stream::plan(&asked.paths, &asked.choice, &mut |_| {})?;
    let marks = if asked.choice.without_unsure { Marks::WithoutUnsure } else { Marks::All };
    let over = if asked.all { Some(over(asked, marks)?) } else { None };
    let pool = RefCell::new(Pool { problems: std::mem::take(&mut plan.problems), ..Pool::default() });
    let (send, receive) = std::sync::mpsc::sync_channel::<Session>(AHEAD);
    let (plan, names) = (&plan, plan.names());
    let names = &names;
    std::thread::scope(|scope| {
        let reading = scope.spawn(move || {
            plan.each(&|study, read| counted(study, names.get(study.root()), read, marks), &mut |own| {
                // Nobody listens any more when the result can't be written: that error is told.
                send.send(own).map_err(|_| Error::Stopped)
            })
        });
        let mut codings = receive.into_iter().flat_map(|own| pool.borrow_mut().take(own)).peekable();
        if codings.peek().is_none() && !pool.borrow().problems.is_empty() {
            super::remark(&pool.borrow().problems);
            return Err(Error::NothingRead);
        }
        if asked.json {
            let both = Both { codings: RefCell::new(codings), pool: &pool, over: over.as_deref() };
            serde_json::to_writer_pretty(&mut *out, &both)?;
            writeln!(out)?;
        } else if asked.csv {
            csv_head(out)?;
            codings.try_for_each(|coding| print_csv(&coding, out))?;
        } else {
            print(&mut codings, &pool, out)?;
            over_sessions::print(over.as_deref().unwrap_or_default(), out)?;
        }
        match reading.join() {
            Ok(read) => read,
            Err(_) => Err(Error::Usage("the reading of a session broke off".to_owned())),
        }
    })?;
    let problems = pool.into_inner().problems;
    super::remark(&problems);
    Ok(if problems.is_empty() { FINE } else { FINDINGS })
}

/// Each animal over its sessions, study by study; these records are all held at once. What can't be read is
/// told by the summary itself.
fn over(asked: &Asked, marks: Marks) -> Result<Vec<OverSessions>, Error> {
    let loaded = load::codings(&asked.paths, &asked.choice)?;
    let (mut found, names) = (Vec::new(), loaded.names());
    for (place, folder) in loaded.studies.iter().enumerate() {
        let own = loaded.codings.iter().filter(|(study, _)| *study == place);
        let records: Vec<Record<'_>> = own
            .filter_map(|(_, own)| {
                Record::try_new(&own.coding, &own.ethogram, &own.session, &folder.study, marks)
            })
            .collect();
        let over = summary::over_sessions(&records, folder.study.double_coding.seed);
        let name = names.get(folder.root());
        found.extend(over.into_iter().map(|own| OverSessions { study: name.cloned(), ..own }));
    }
    Ok(found)
}

/// Sessions that wait to be printed.
const AHEAD: usize = 32;

/// The codings of a session, counted.
#[derive(Default)]
struct Session {
    /// Root of its study: another one may have a session of this id too.
    study: PathBuf,
    /// How it is told from the others, where there are several.
    study_name: Option<String>,
    id: SessionId,
    animal: AnimalId,
    codings: Vec<CodingSummary>,
    /// Of the one that counts.
    counts: Option<Counts>,
    problems: Vec<String>,
}

fn counted(
    folder: &StudyFolder,
    name: Option<&String>,
    read: Result<Occasion, String>,
    marks: Marks,
) -> Session {
    let own = match read {
        Ok(own) => own,
        Err(problem) => return Session { problems: vec![problem], ..Session::default() },
    };
    let study = &folder.study;
    let mut session = Session {
        study: folder.root().to_owned(),
        study_name: name.cloned(),
        id: own.session.id.clone(),
        animal: own.session.animal.clone(),
        problems: own.problems,
        ..Session::default()
    };
    for read in &own.codings {
        let Some(record) = Record::try_new(&read.coding, &read.ethogram, &own.session, study, marks) else {
            session.problems.push(format!(
                "the length of the session is not known yet: open it once in the window, so that its clips are measured: {}",
                read.path.display()
            ));
            continue;
        };
        let counts = Counts::of(&record);
        let coding = CodingSummary { study: name.cloned(), ..summary::of_counts(&record, &counts) };
        // One coding a session counts, even if two say they are primary.
        if coding.counts && session.counts.is_none() {
            session.counts = Some(counts);
        }
        session.codings.push(coding);
    }
    session
}

/// What is kept of all sessions.
#[derive(Default)]
struct Pool {
    taken: BTreeSet<(PathBuf, SessionId)>,
    /// By study too: an id that two studies use need not be one animal.
    animals: BTreeMap<(AnimalId, PathBuf), (Option<String>, Vec<Counts>)>,
    problems: Vec<String>,
}

impl Pool {
    fn take(&mut self, own: Session) -> Vec<CodingSummary> {
        self.problems.extend(own.problems);
        if let Some(counts) = own.counts.filter(|_| self.taken.insert((own.study.clone(), own.id))) {
            let of_animal = self.animals.entry((own.animal, own.study)).or_default();
            of_animal.0 = own.study_name;
            of_animal.1.push(counts);
        }
        own.codings
    }

    fn animals(&self) -> Vec<AnimalSummary> {
        let all = self.animals.iter();
        all.map(|((animal, _), (study, counts))| AnimalSummary {
            study: study.clone(),
            ..summary::pooled(animal, counts)
        })
        .collect()
    }
}

/// The summary as JSON, whose codings are written as they come.
struct Both<'a, I> {
    codings: RefCell<I>,
    pool: &'a RefCell<Pool>,
    over: Option<&'a [OverSessions]>,
}

impl<I: Iterator<Item = CodingSummary>> Serialize for Both<'_, I> {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        struct Codings<'a, I>(&'a RefCell<I>);
        impl<I: Iterator<Item = CodingSummary>> Serialize for Codings<'_, I> {
            fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
                to.collect_seq(&mut *self.0.borrow_mut())
            }
        }
        let mut map = to.serialize_map(Some(2 + usize::from(self.over.is_some())))?;
        map.serialize_entry("codings", &Codings(&self.codings))?;
        map.serialize_entry("animals", &self.pool.borrow().animals())?;
        if let Some(over) = self.over {
            map.serialize_entry("over_sessions", over)?;
        }
        map.end()
    }
}

fn print(
    codings: &mut dyn Iterator<Item = CodingSummary>,
    pool: &RefCell<Pool>,
    out: &mut dyn Write,
) -> io::Result<()> {
    let mut is_empty = true;
    for coding in codings {
        is_empty = false;
        print_head(&coding, out)?;
        match &coding.samples {
            Some(samples) => print_samples(samples, out)?,
            None => print_figures(&coding.figures, out)?,
        }
        writeln!(out)?;
    }
    if is_empty {
        return writeln!(out, "no coding here that was asked for");
    }
    for animal in pool.borrow().animals() {
        writeln!(
            out,
            "{}{}, all {} {} together: {}",
            animal.animal,
            of_study(animal.study.as_ref()),
            animal.sessions.len(),
            if animal.sessions.len() == 1 { "session" } else { "sessions" },
            animal.sessions.join(", ")
        )?;
        print_figures(&animal.figures, out)?;
        writeln!(out)?;
    }
    Ok(())
}

fn print_head(coding: &CodingSummary, out: &mut dyn Write) -> io::Result<()> {
    let step = coding.step.map_or_else(String::new, |step| format!(", step {step}"));
    let date = coding.date.as_ref().map_or_else(String::new, |date| format!(", {date}"));
    let counted = if coding.counts { "" } else { ", not pooled" };
    writeln!(
        out,
        "{} · {}{}{date}{step} · coded by {} ({}{counted})",
        coding.session,
        coding.animal,
        of_study(coding.study.as_ref()),
        coding.by,
        coding.purpose
    )?;
    if !coding.passes_not_done.is_empty() {
        writeln!(out, "  passes not done: {}", coding.passes_not_done.join(", "))?;
    }
    Ok(())
}

/// Samples have their own table: nothing of it is a time.
fn print_samples(samples: &SampleFigures, out: &mut dyn Write) -> io::Result<()> {
    let offset = samples.offset_s.map_or_else(String::new, |offset| format!(", the first after {offset} s"));
    writeln!(
        out,
        "  {} {}s, one every {} s{offset}: {} answered, {} of them out of sight, {} without film",
        samples.n, samples.each, samples.every_s, samples.answered, samples.out_of_sight, samples.in_gaps
    )?;
    let share =
        if samples.each == "point" { "share of visible points" } else { "intervals with at least one" };
    writeln!(out, "  {:<24} {:>6} {:>6}  {share}", "behaviour", "hits", "of")?;
    for own in &samples.behaviours {
        let interval =
            own.share_ci95.map_or_else(String::new, |[low, high]| format!("  [{low:.2}, {high:.2}]"));
        writeln!(
            out,
            "  {:<24} {:>6} {:>6}  {}{interval}{}",
            own.name,
            count(own.hits),
            count(own.of),
            percent(own.share),
            why(own.why.as_ref())
        )?;
    }
    Ok(())
}

fn print_figures(figures: &Figures, out: &mut dyn Write) -> io::Result<()> {
    writeln!(
        out,
        "  observed {} s, visible {} s, out of sight {}{}",
        number(Some(figures.observed_s), 1),
        number(figures.visible_s, 1),
        percent(figures.out_of_sight_share),
        why(figures.why.as_ref())
    )?;
    writeln!(
        out,
        "  {:<24} {:>4} {:>9} {:>9} {:>9} {:>9} {:>9} {:>8}",
        "behaviour", "n", "complete", "total s", "share", "mean s", "median s", "/vis. h"
    )?;
    for own in &figures.behaviours {
        // What never occurred and can't have a duration needs no row of dashes.
        let note = match (&own.why, own.n) {
            (Some(why), None) => format!("  {why}"),
            _ => String::new(),
        };
        let name: String = own.name.chars().take(24).collect();
        if own.kind == Kind::Event {
            writeln!(out, "  {name:<24} {:>4} {:>57}{note}", count(own.n), number(own.per_visible_hour, 1))?;
        } else {
            writeln!(
                out,
                "  {name:<24} {:>4} {:>9} {:>9} {:>9} {:>9} {:>9} {:>8}{note}",
                count(own.n),
                count(own.n_complete),
                number(own.total_s, 1),
                percent(own.share_visible),
                number(own.mean_s, 2),
                number(own.median_s, 2),
                number(own.per_visible_hour, 1),
            )?;
        }
    }
    print_trials(figures, out)?;
    print_concern(figures, out)
}

/// Which study, where there are several.
fn of_study(study: Option<&String>) -> String {
    study.map_or_else(String::new, |study| format!(" of {study}"))
}

/// What is missing, in brackets.
fn why(why: Option<&String>) -> String {
    why.map_or_else(String::new, |why| format!("  ({why})"))
}

fn print_trials(figures: &Figures, out: &mut dyn Write) -> io::Result<()> {
    let approach = &figures.approach;
    writeln!(
        out,
        "  approach {}, retreat {}, share {}, index {}, vacillating {} of {} presentations{}",
        count(approach.approaches),
        count(approach.retreats),
        number(approach.share, 2),
        signed(approach.index, 2),
        count(approach.vacillating),
        figures.presentations.as_ref().map_or_else(|| "—".to_owned(), |all| all.len().to_string()),
        why(approach.why.as_ref())
    )?;
    let between = &figures.between;
    if let (Some(median), Some(least), Some(most)) = (between.median_s, between.min_s, between.max_s) {
        writeln!(
            out,
            "  between presentations {median:.1} s ({least:.1} to {most:.1}), {} presentations a minute",
            number(between.presentations_per_min, 2)
        )?;
    }
    let success = &figures.success;
    let interval = success.ci95.map_or_else(String::new, |[low, high]| format!(" [{low:.2}, {high:.2}]"));
    writeln!(
        out,
        "  success {} of {} valid presentations{interval}; void {}, aborted {}, prompted {}, opt-outs {} ({} honoured in time){}",
        count(success.k),
        count(success.n),
        count(success.void),
        count(success.aborted),
        count(success.prompted),
        count(success.opt_out),
        count(success.opt_out_honoured),
        why(success.why.as_ref())
    )?;
    for (name, latency) in [
        ("orient", &figures.latency.orient),
        ("approach", &figures.latency.approach),
        ("contact", &figures.latency.contact),
        ("success", &figures.latency.success),
    ] {
        writeln!(out, "  latency to {name:<9}{}", latency_words(latency))?;
    }
    let food = &figures.food;
    writeln!(
        out,
        "  food {} times, {} g, {} a minute observed{}",
        count(food.n),
        number(food.grams, 1),
        number(food.per_min, 2),
        why(food.why.as_ref())
    )
}

fn print_concern(figures: &Figures, out: &mut dyn Write) -> io::Result<()> {
    let concern = &figures.concern;
    let incidents = concern.stop_incidents.as_deref();
    let stops = incidents.map(|all| u32::try_from(all.len()).unwrap_or(u32::MAX));
    writeln!(
        out,
        "  concern: watch {} times, {} s; stop {} times, {} s{}",
        count(concern.watch_incidents),
        number(concern.watch_s, 1),
        count(stops),
        number(concern.stop_s, 1),
        why(concern.why.as_ref())
    )?;
    if let (Some(rate), Some([low, high])) =
        (concern.stop_per_visible_hour, concern.stop_per_visible_hour_ci95)
    {
        let stops = stops.unwrap_or_default();
        let within = concern.back_offs_within_target.unwrap_or_default();
        let target = concern.back_off_target_s;
        let backed = if stops == 0 {
            String::new()
        } else {
            format!("; backed off within {target:.0} s in {within} of {stops}")
        };
        writeln!(out, "    stop {rate:.1} an hour visible [{low:.1}, {high:.1}]{backed}")?;
    }
    for incident in incidents.unwrap_or_default() {
        let place =
            incident.presentation.map_or("between presentations".to_owned(), |n| format!("presentation {n}"));
        let back_off = incident.back_off_s.map_or_else(
            || incident.why.clone().unwrap_or_default(),
            |back_off| format!("handler backed off after {back_off:.1} s"),
        );
        writeln!(
            out,
            "    stop in {} at {}: {}, {place}; {back_off}",
            incident.session,
            clock(incident.at_s),
            incident.behaviour
        )?;
    }
    for at in concern.continued_after_stop.iter().flatten() {
        writeln!(out, "    presentation after a stop, against the plan: at {}", clock(*at))?;
    }
    for resume in &figures.resume {
        let after = resume.resume_s.map_or_else(
            || resume.why.clone().unwrap_or_default(),
            |resume| format!("first approach {resume:.1} s later"),
        );
        writeln!(out, "    disturbance in {} over at {}: {after}", resume.session, clock(resume.at_s))?;
    }
    Ok(())
}

fn latency_words(latency: &OneLatency) -> String {
    let limit =
        |value: Option<f64>| value.map_or_else(|| "not reached".to_owned(), |value| format!("{value:.1}"));
    let median = match (latency.median_s, &latency.ci95_s) {
        (Some(median), Some([low, high])) => {
            format!("median {median:.1} s [{}, {}]", limit(*low), limit(*high))
        }
        (Some(median), None) => format!("median {median:.1} s"),
        (None, _) => latency.why.clone().unwrap_or_default(),
    };
    match (latency.reached, latency.n) {
        (Some(reached), Some(n)) => format!("{median}; reached in {reached} of {n}"),
        _ => median,
    }
}

fn clock(seconds: f64) -> String {
    crate::time::Micros::from_seconds(seconds).unwrap_or_default().clock()
}

fn csv_head(out: &mut dyn Write) -> io::Result<()> {
    writeln!(
        out,
        "session,animal,by,purpose,observed_s,visible_s,behaviour,kind,n,n_complete,total_s,mean_s,median_s,sd_s,min_s,max_s,share_visible,per_visible_hour,why,study"
    )
}

fn print_csv(coding: &CodingSummary, out: &mut dyn Write) -> io::Result<()> {
    let plain = |value: Option<f64>| value.map_or_else(String::new, |value| value.to_string());
    let whole = |value: Option<u32>| value.map_or_else(String::new, |value| value.to_string());
    for own in &coding.figures.behaviours {
        let fields = [
            coding.session.clone(),
            coding.animal.clone(),
            coding.by.clone(),
            coding.purpose.to_owned(),
            coding.figures.observed_s.to_string(),
            plain(coding.figures.visible_s),
            own.id.clone(),
            if own.kind == Kind::State { "state" } else { "event" }.to_owned(),
            whole(own.n),
            whole(own.n_complete),
            plain(own.total_s),
            plain(own.mean_s),
            plain(own.median_s),
            plain(own.sd_s),
            plain(own.min_s),
            plain(own.max_s),
            plain(own.share_visible),
            plain(own.per_visible_hour),
            own.why.clone().unwrap_or_default(),
            coding.study.clone().unwrap_or_default(),
        ];
        writeln!(out, "{}", fields.map(|field| crate::export::csv::field(&field)).join(","))?;
    }
    Ok(())
}
