//! Which charts show a session, and which an animal over its sessions.

use std::collections::{BTreeMap, BTreeSet};
use std::num::NonZeroUsize;

use super::chart::{self, Chart, Coverage, Covered, Length, Look, Matrix, Occasion, Reading, Sampled};
use super::document::{Figure, Part};
use crate::agreement::pair::{PairAgreement, SetAgreement};
use crate::measures::quantity::{self, Denominator, Quantity};
use crate::measures::record::{Missing, Record};
use crate::measures::sequence::{Repeats, Transitions};
use crate::measures::survivorship::{self, Lengths};
use crate::measures::{concern, presentations, sampling};
use crate::model::{
    Actor, AnimalId, Behaviour, Coding, Kind, PersonCode, Purpose, Role, Session, SessionId, SetId, Status,
    Study,
};

/// Charts of one session.
#[must_use]
pub fn of_session(record: &Record<'_>, look: &Look) -> Vec<Chart> {
    let found = presentations::of(record);
    let own = std::slice::from_ref(record);
    let mut charts = vec![
        chart::session_raster(record, look),
        chart::cue_raster(record, look),
        chart::latencies(own, look),
        chart::budget(own, None, look),
        chart::concern(record, &found, &concern::if_coded(record, &found), look),
        chart::cumulative(record, look),
    ];
    charts.extend(follow_ups(own, look));
    charts
}

/// Charts of an animal over its sessions, in order of time.
#[must_use]
pub fn of_animal(records: &[Record<'_>], look: &Look) -> Vec<Chart> {
    let mut charts = vec![chart::success(records, look), chart::approach(records, look)];
    for (quantity, title, axis) in [
        (Quantity::OrientLatency, "median latency to orient", "s"),
        (Quantity::ContactLatency, "median latency to contact", "s"),
        (Quantity::Watch, "time at watch", "share of visible time"),
        (Quantity::OutOfSight, "time out of sight", "share of observed time"),
        (Quantity::Food, "reinforcement", "deliveries a minute observed"),
    ] {
        charts.push(course(records, &quantity, title, axis, look));
    }
    charts.push(chart::budget(records, None, look));
    charts.push(chart::latencies(records, look));
    charts.extend(follow_ups(records, look));
    charts
}

/// Figures of a report: the calendar of sessions; for each animal its course, the cues and the successes of its
/// latest sessions, and each session that had concern; printed in grey. Primary, continuous
/// codings of sessions that count are taken, others left out.
#[must_use]
pub fn for_report(
    study: &Study,
    sessions: &[Session],
    codings: &[&Coding],
    records: &[Record<'_>],
) -> Vec<Figure> {
    let look = Look::print().with_width(PRINTED);
    let calendar = chart::coverage(&covered(study, sessions, codings), &look);
    let words = "When was filmed, and what became of the film".to_owned();
    let mut figures =
        vec![Figure { part: Part::Effort, caption: words.clone(), description: words, svg: calendar.svg }];
    let mut by_animal: BTreeMap<&AnimalId, Vec<Record<'_>>> = BTreeMap::new();
    for record in records {
        if record.is_counted() && record.is_continuous().is_ok() {
            by_animal.entry(&record.session.animal).or_default().push(record.clone());
        }
    }
    for own in by_animal.values_mut() {
        own.sort_by_key(|record| (record.session.recorded_at, record.session.id.clone()));
        let name = whose(own);
        let mut add = |part, what: &str, chart: Chart| {
            let words = format!("{name}: {what}");
            figures.push(Figure { part, caption: words.clone(), description: words, svg: chart.svg });
        };
        add(Part::Budget, "share of visible time, by session", chart::budget(own, None, &look));
        add(Part::Approach, "approaches among approaches and retreats", chart::approach(own, &look));
        add(Part::Success, "success by session, with the step and the decision", chart::success(own, &look));
        add(Part::Latency, "time from the cue, all sessions", chart::latencies(own, &look));
        // Every session's would be a book; the window shows each.
        let earlier = own.len().saturating_sub(LATEST);
        let note = if earlier > 0 {
            format!(" (one of the latest {LATEST} sessions; {earlier} earlier ones are not drawn)")
        } else {
            String::new()
        };
        for record in own.iter().skip(earlier) {
            let (session, look) = (&record.session.id, &look);
            let cues = format!("what happened around each cue of session {session}{note}");
            add(Part::Success, &cues, chart::cue_raster(record, look));
            let added = format!("successes and food of session {session}, added up{note}");
            add(Part::Food, &added, chart::cumulative(record, look));
        }
        for record in own.iter() {
            let found = presentations::of(record);
            let concern = concern::if_coded(record, &found);
            if concern.as_ref().is_ok_and(|own| !own.stop_incidents.is_empty()) {
                let what = format!("concern in session {}", record.session.id);
                add(Part::Concern, &what, chart::concern(record, &found, &concern, &look));
            }
        }
    }
    figures
}

/// Figures of a pair of codings in a report: its numbers on one axis, and the table of the set they
/// differ about most, where they do.
#[must_use]
pub fn of_agreement(found: &PairAgreement, name: &dyn Fn(&str) -> String) -> Vec<Figure> {
    let look = Look::print().with_width(PRINTED);
    let who = format!("Session {}: {} with {}", found.session, found.first_by, found.second_by);
    let figure = |what: String, chart: Chart| {
        let words = format!("{who}, {what}");
        Figure { part: Part::Agreement, caption: words.clone(), description: words, svg: chart.svg }
    };
    let mut figures = vec![figure(
        "kappa of each set and behaviour, and agreement on moments".to_owned(),
        chart::agreement(found, name, &look),
    )];
    if let Some(set) = most_differing(found) {
        let what = format!("seconds of {} in both records", name(&set.set));
        figures.push(figure(what, chart::confusion(found, set, name, &look)));
    }
    figures
}

/// The set in which most seconds differ; none when none do.
#[must_use]
pub fn most_differing(found: &PairAgreement) -> Option<&SetAgreement> {
    let apart = |set: &SetAgreement| set.compared_s * (1.0 - set.observed.unwrap_or(1.0));
    let sets = found.sets.iter().chain(&found.states).filter(|set| apart(set) > 0.0);
    sets.max_by(|a, b| apart(a).total_cmp(&apart(b)))
}

/// Sessions of an animal whose cues and successes are drawn.
const LATEST: usize = 3;

/// What became of each session: coded, if a pass of its primary coding is done; by two, if another person
/// closed a second coding.
#[must_use]
pub fn covered<'a>(study: &Study, sessions: &'a [Session], codings: &[&Coding]) -> Vec<Covered<'a>> {
    let mut coders: BTreeMap<&SessionId, (bool, BTreeSet<&PersonCode>)> = BTreeMap::new();
    for coding in codings {
        let own = coders.entry(&coding.session).or_default();
        match coding.purpose {
            Purpose::Primary if coding.passes.iter().any(|pass| pass.done) => own.0 = true,
            Purpose::Second if coding.status == Status::Closed => {}
            _ => continue,
        }
        let _ = own.1.insert(&coding.by);
    }
    let of = |session: &'a Session| Covered {
        session,
        animal: study
            .animal(&session.animal)
            .map_or_else(|| session.animal.to_string(), |own| own.name.clone()),
        coverage: match coders.get(&session.id) {
            _ if session.left_out.is_some() => Coverage::LeftOut,
            Some((true, by)) if by.len() > 1 => Coverage::CodedTwice,
            Some((true, _)) => Coverage::Coded,
            _ => Coverage::Filmed,
        },
    };
    sessions.iter().map(of).collect()
}

/// Width of a printed figure, in pixels.
const PRINTED: u32 = 720;

/// Whose the charts are, as titles begin.
fn whose(records: &[Record<'_>]) -> String {
    let animal = records.first().map(|record| {
        record.animal().map_or_else(|| record.session.animal.to_string(), |animal| animal.name.clone())
    });
    animal.unwrap_or_default()
}

fn course(records: &[Record<'_>], of: &Quantity, title: &str, axis: &str, look: &Look) -> Chart {
    let mut ordered: Vec<&Record<'_>> = records.iter().collect();
    ordered.sort_by_key(|record| (record.session.recorded_at, record.session.id.clone()));
    let mut counts = "";
    let occasions = ordered
        .into_iter()
        .map(|record| {
            let found = quantity::value(record, of);
            let label = match found.map(|own| own.of) {
                Ok(Denominator::Presentations(n)) => {
                    counts = "presentations";
                    n.to_string()
                }
                Ok(Denominator::Turns(n)) => {
                    counts = "turns";
                    n.to_string()
                }
                Ok(Denominator::Observed(time) | Denominator::Visible(time)) => {
                    counts = "seconds";
                    format!("{:.0}", time.seconds())
                }
                Err(_) => "—".to_owned(),
            };
            Occasion {
                session: record.session,
                value: found.map(|own| own.value).map_err(|why: Missing| why.to_string()),
                interval: None,
                label,
                target: None,
                at: record.window().from,
            }
        })
        .collect();
    let is_share = matches!(of, Quantity::Watch | Quantity::OutOfSight | Quantity::ApproachShare);
    let reading = Reading {
        title: format!("{}: {title}", whose(records)),
        caption: "One value a session; no interval, because a session is one case.".to_owned(),
        axis: axis.to_owned(),
        counts: counts.to_owned(),
        is_share,
        occasions,
    };
    chart::trend(&reading, look)
}

/// What follows what in the set of what the animal does, and how long its commonest state lasts.
fn follow_ups(records: &[Record<'_>], look: &Look) -> Vec<Chart> {
    let Some(first) = records.first() else { return Vec::new() };
    let ethogram = first.ethogram;
    let is_activity = |id: &SetId| {
        let mut states = ethogram.states_of(id).peekable();
        states.peek().is_some() && states.all(|b| !b.has_role(Role::Excluded))
    };
    let Some(set) = ethogram.sets.iter().find(|set| is_activity(&set.id)) else { return Vec::new() };
    let mut charts = Vec::new();
    let all: Vec<&Record<'_>> = records.iter().collect();
    if let Ok(found) = Transitions::of(&all, &set.id, NonZeroUsize::MIN, Repeats::Merged) {
        let name = |id| ethogram.behaviour(id).map_or_else(|| id.to_string(), |b| b.name.clone());
        let mut first_seen = vec![vec![None; found.states.len()]; found.states.len()];
        for moment in found.moments.iter().rev() {
            if let Some(cell) = first_seen.get_mut(moment.from).and_then(|row| row.get_mut(moment.to)) {
                *cell = Some((moment.session.clone(), moment.at));
            }
        }
        let matrix = Matrix {
            whose: whose(records),
            states: found.states.iter().map(name).collect(),
            counts: found.counts.rows().to_vec(),
            first: first_seen,
            sessions: found.sessions.len(),
        };
        let fit = found.against_chance();
        charts.push(chart::follow(&matrix, fit.as_ref().ok().map(|fit| fit.adjusted.as_slice()), look));
        charts.push(chart::transitions(&matrix, look));
    }
    let longest = ethogram.states_of(&set.id).filter(|b| b.kind == Kind::State).max_by_key(|behaviour| {
        records
            .iter()
            .flat_map(|record| record.bouts(behaviour))
            .map(|bout| bout.span.length())
            .sum::<crate::time::Micros>()
    });
    if let Some(behaviour) = longest.filter(|behaviour| first.coding.is_done(&behaviour.id)) {
        let what = format!("{}, bouts of {}", whose(records), behaviour.name.to_lowercase());
        charts.push(chart::survivorship(&what, &lengths(records, behaviour, Lengths::Bouts), None, look));
    }
    charts.extend(gaps(records, look));
    charts.push(chart::sampled(&whose(records), records.len(), &samplings(records, &set.id), look));
    charts
}

/// Gaps between the animal's commonest event, and where one ends a bout of it.
fn gaps(records: &[Record<'_>], look: &Look) -> Option<Chart> {
    let events = records.first()?.ethogram.behaviours.iter();
    let events = events.filter(|b| b.kind == Kind::Event && b.who == Actor::Animal);
    // Of two alike the first in the ethogram.
    let found = events.rev().map(|b| (lengths(records, b, Lengths::Gaps), b));
    let (lengths, behaviour) = found.max_by_key(|(lengths, _)| lengths.len())?;
    let times: Vec<_> = lengths.iter().map(|own| own.time).collect();
    let what = format!("{}, gaps between {}", whose(records), behaviour.name.to_lowercase());
    let criterion = survivorship::criterion(&times);
    Some(chart::survivorship(&what, &lengths, Some(criterion.as_ref().map_err(|why| *why)), look))
}

/// Lengths in records that can tell them, each with its place.
fn lengths(records: &[Record<'_>], behaviour: &Behaviour, which: Lengths) -> Vec<Length> {
    let of = |record: &Record<'_>| {
        let session = record.session.id.clone();
        let found = survivorship::placed(record, behaviour, which).unwrap_or_default();
        found.into_iter().map(move |(at, time)| Length { time, session: session.clone(), at })
    };
    records.iter().flat_map(of).collect()
}

/// What sampling would have made of each state of a set.
#[must_use]
pub fn samplings(records: &[Record<'_>], set: &SetId) -> Vec<Sampled> {
    let Some(first) = records.first() else { return Vec::new() };
    let all: Vec<&Record<'_>> = records.iter().collect();
    let bout = |record: &Record<'_>, behaviour: &Behaviour| {
        let span = record.bouts(behaviour).first()?.span;
        Some((record.session.id.clone(), span.from))
    };
    let of = |behaviour: &Behaviour| Sampled {
        name: behaviour.name.clone(),
        choice: sampling::Choice::of(&all, &behaviour.id),
        first: records.iter().find_map(|record| bout(record, behaviour)),
    };
    first.ethogram.states_of(set).map(of).collect()
}
