//! The summary of codings: one a session, and pooled by animal.
//!
//! Pooling adds times, counts and cases; it never takes seconds for independent.

mod counts;
mod over_sessions;
mod shape;

use std::collections::{BTreeMap, BTreeSet};

use self::counts::Counted;
pub use self::counts::Counts;
pub use self::over_sessions::{
    CourseFigures, CriterionFigures, IntervalFigures, OverSessions, PhaseFigures, SamplingFigures,
    SequenceFigures, SessionValue, TrendFigures, over_sessions,
};
pub use self::shape::{
    AnimalSummary, ApproachFigures, BehaviourFigures, BetweenFigures, CodingSummary, ConcernFigures, Figures,
    FoodFigures, IncidentFigures, LatencyFigures, OneLatency, PresentationFigures, ResumeFigures,
    SampleFigures, SampledBehaviour, SuccessFigures, Summary,
};
use super::bouts::Tally;
use super::concern::{BackOff, Incident};
use super::presentations::{self, Latency, Outcome, Presentation};
use super::record::{Missing, Record};
use super::recorded::{Found, Recorded};
use crate::model::{AnimalId, Behaviour, Kind, RecordingRule, Role};
use crate::numeric::interval::{garwood, wilson};
use crate::numeric::product_limit::{Curve, Ending, Time};
use crate::numeric::quantile;
use crate::time::Micros;

/// The summary of one coding.
#[must_use]
pub fn coding(record: &Record<'_>) -> CodingSummary {
    of_counts(record, &Counts::of(record))
}

/// The summary of one coding whose counts are there already.
#[must_use]
pub fn of_counts(record: &Record<'_>, counts: &Counts) -> CodingSummary {
    CodingSummary {
        study: None,
        session: record.session.id.to_string(),
        animal: record.session.animal.to_string(),
        by: record.coding.by.to_string(),
        purpose: record.coding.purpose.word(),
        step: record.session.step,
        date: record.session.wall_clock(record.window().from).map(|time| time.date_naive().to_string()),
        counts: record.is_counted() && record.is_continuous().is_ok(),
        passes_not_done: record
            .coding
            .passes
            .iter()
            .filter(|pass| !pass.done)
            .map(|pass| pass.name.clone())
            .collect(),
        samples: sample_figures(record),
        figures: figures(&[counts]),
    }
}

/// What samples came to; none of a continuous record.
fn sample_figures(record: &Record<'_>) -> Option<SampleFigures> {
    let recorded = Recorded::of(record).ok()?;
    let offset_s = match record.coding.rule {
        RecordingRule::Instantaneous { offset_s, .. } => Some(offset_s.micros().seconds()),
        RecordingRule::OneZero { .. } | RecordingRule::Continuous => None,
    };
    let asked = |b: &&Behaviour| {
        let is_asked = record.coding.passes.iter().any(|pass| pass.behaviours.contains(&b.id));
        is_asked && !b.has_role(Role::Excluded)
    };
    let behaviours = record.ethogram.behaviours.iter().filter(asked).map(|behaviour| {
        let found = recorded.found(record, behaviour);
        let share = found.as_ref().map_err(|why| *why).and_then(Found::share);
        SampledBehaviour {
            id: behaviour.id.to_string(),
            name: behaviour.name.clone(),
            hits: found.as_ref().ok().map(|found| found.hits),
            of: found.as_ref().ok().map(|found| found.of),
            share: share.ok(),
            share_ci95: found.as_ref().ok().and_then(Found::interval).map(|(low, high)| [low, high]),
            why: share.err().map(|why| match why {
                Missing::PassNotDone => format!("{} not answered yet", recorded.unanswered()),
                other => other.to_string(),
            }),
        }
    });
    Some(SampleFigures {
        each: recorded.samples.form().word(),
        every_s: recorded.samples.every().seconds(),
        offset_s,
        n: recorded.samples.count(),
        in_gaps: recorded.in_gaps,
        answered: recorded.answered,
        out_of_sight: recorded.out_of_sight,
        behaviours: behaviours.collect(),
    })
}

/// Pools primary codings by animal; `records` may hold any, those that do not count are left out, and so
/// are codings by samples: nothing of them adds to a time or a count.
#[must_use]
pub fn animals(records: &[Record<'_>]) -> Vec<AnimalSummary> {
    let mut by_animal: BTreeMap<&AnimalId, Vec<Counts>> = BTreeMap::new();
    let mut taken = BTreeSet::new();
    for record in records {
        let counts = record.is_counted() && record.is_continuous().is_ok();
        // One coding a session counts, even if two say they are primary.
        if counts && taken.insert(&record.session.id) {
            by_animal.entry(&record.session.animal).or_default().push(Counts::of(record));
        }
    }
    by_animal.into_iter().map(|(animal, counts)| pooled(animal, &counts)).collect()
}

/// Pools what was counted in sessions of one animal, one coding a session.
#[must_use]
pub fn pooled(animal: &AnimalId, counts: &[Counts]) -> AnimalSummary {
    AnimalSummary {
        study: None,
        animal: animal.to_string(),
        sessions: counts.iter().map(|counts| counts.session.clone()).collect(),
        figures: figures(&counts.iter().collect::<Vec<_>>()),
    }
}

/// The first reason among several sessions; with the session's name when there are several.
fn first_missing<'a, T: 'a>(
    counts: &[&'a Counts],
    value: impl Fn(&'a Counts) -> &'a Result<T, Missing>,
) -> Option<String> {
    counts.iter().find_map(|own| {
        let why = value(own).as_ref().err()?;
        Some(if counts.len() > 1 { format!("{why} in {}", own.session) } else { why.to_string() })
    })
}

/// Sum over sessions; a session without a value leaves the sum without one.
fn sum(values: impl Iterator<Item = Result<u32, Missing>>) -> Option<u32> {
    values.sum::<Result<u32, Missing>>().ok()
}

#[allow(clippy::cast_precision_loss)] // Counts far below 2^53.
fn figures(counts: &[&Counts]) -> Figures {
    let observed: Micros = counts.iter().map(|own| own.observed).sum();
    let visible: Option<Micros> = counts
        .iter()
        .map(|own| own.visible)
        .collect::<Result<Vec<_>, _>>()
        .ok()
        .map(|all| all.into_iter().sum());
    let visible_s = visible.map(Micros::seconds);
    let out_of_sight = visible.map(|visible| (observed - visible).seconds());
    let presentations = presentation_figures(counts);
    Figures {
        observed_s: observed.seconds(),
        visible_s,
        out_of_sight_share: out_of_sight
            .filter(|_| observed > Micros::ZERO)
            .map(|hidden| hidden / observed.seconds()),
        why: first_missing(counts, |own| &own.visible).or_else(|| {
            let why = first_missing(counts, |own| &own.presentations)?;
            Some(format!("no presentations: {why}"))
        }),
        behaviours: behaviour_figures(counts, visible_s),
        approach: approach_figures(counts),
        between: between_figures(counts, observed),
        success: success_figures(counts),
        latency: LatencyFigures {
            orient: latency(counts, |p| p.orient),
            approach: latency(counts, |p| p.approach),
            contact: latency(counts, |p| p.contact),
            success: latency(counts, |p| p.success),
        },
        food: food_figures(counts, observed),
        concern: concern_figures(counts, visible_s),
        resume: counts
            .iter()
            .flat_map(|own| {
                own.resumes.iter().map(|(at, resume)| ResumeFigures {
                    session: own.session.clone(),
                    at_s: at.seconds(),
                    resume_s: resume.map(Micros::seconds),
                    why: resume.is_none().then(|| "not resumed before the end".to_owned()),
                })
            })
            .collect(),
        presentations,
    }
}

fn behaviour_figures(counts: &[&Counts], visible_s: Option<f64>) -> Vec<BehaviourFigures> {
    // Sessions may follow different revisions: each behaviour of any of them has its row.
    let mut order: Vec<&Counted> = Vec::new();
    for counted in counts.iter().flat_map(|own| &own.behaviours) {
        if order.iter().all(|known| known.id != counted.id) {
            order.push(counted);
        }
    }
    order
        .into_iter()
        .map(|counted| {
            let mut pooled = Tally::default();
            let mut why: Option<String> = None;
            for own in counts {
                match own.behaviours.iter().find(|other| other.id == counted.id).map(|other| &other.tally) {
                    Some(Ok(tally)) => pooled.add(tally),
                    Some(Err(missing)) => {
                        let place =
                            if counts.len() > 1 { format!(" in {}", own.session) } else { String::new() };
                        why = why.or_else(|| Some(format!("{missing}{place}")));
                    }
                    None => why = why.or_else(|| Some(format!("not in the ethogram of {}", own.session))),
                }
            }
            let known = why.is_none();
            let is_state = counted.kind == Kind::State;
            let total_s = pooled.total.seconds();
            let of_complete = |value: Option<f64>| value.filter(|_| known && is_state);
            let share = visible_s.filter(|visible| *visible > 0.0 && known);
            if known {
                why = if !is_state {
                    Some(Missing::NoDuration.to_string())
                } else if pooled.n == 0 {
                    Some(Missing::None.to_string())
                } else if pooled.n_complete == 0 {
                    Some(Missing::AllCut.to_string())
                } else if pooled.n_complete == 1 {
                    Some("one complete bout has no SD".to_owned())
                } else {
                    None
                };
                if counted.is_out_of_sight {
                    why = Some("out of sight is no part of visible time".to_owned());
                }
                if share.is_none() {
                    let hidden = match visible_s {
                        Some(_) => Missing::NeverVisible.to_string(),
                        None => "visible time not coded".to_owned(),
                    };
                    why = Some(why.map_or_else(|| hidden.clone(), |why| format!("{why}; {hidden}")));
                }
            }
            BehaviourFigures {
                id: counted.id.to_string(),
                name: counted.name.clone(),
                kind: counted.kind,
                n: known.then_some(pooled.n),
                n_complete: (known && is_state).then_some(pooled.n_complete),
                total_s: (known && is_state).then_some(total_s),
                mean_s: of_complete(pooled.mean()),
                median_s: of_complete(pooled.quantile(0.5)),
                q1_s: of_complete(pooled.quantile(0.25)),
                q3_s: of_complete(pooled.quantile(0.75)),
                sd_s: of_complete(pooled.standard_deviation()),
                min_s: of_complete(pooled.quantile(0.0)),
                max_s: of_complete(pooled.quantile(1.0)),
                product_limit_median_s: of_complete(pooled.product_limit_median()),
                share_visible: share
                    .filter(|_| is_state && !counted.is_out_of_sight)
                    .map(|visible| total_s / visible),
                per_visible_hour: share.map(|visible| f64::from(pooled.n) * 3600.0 / visible),
                per_visible_hour_ci95: share
                    .and_then(|visible| garwood(pooled.n, visible / 3600.0))
                    .map(|(low, high)| [low, high]),
                why,
            }
        })
        .collect()
}

fn approach_figures(counts: &[&Counts]) -> ApproachFigures {
    let approaches = sum(counts.iter().map(|own| own.approaches));
    let retreats = sum(counts.iter().map(|own| own.retreats));
    let why =
        first_missing(counts, |own| &own.approaches).or_else(|| first_missing(counts, |own| &own.retreats));
    let both = approaches.zip(retreats).filter(|(a, r)| a + r > 0);
    let all = all_presentations(counts).filter(|_| why.is_none());
    let count = |turn: presentations::Turn| {
        all.as_ref().map(|all| {
            let n = all.iter().flat_map(|(_, p)| &p.turns).filter(|(_, own)| *own == turn).count();
            u32::try_from(n).unwrap_or(u32::MAX)
        })
    };
    let vacillating = all
        .as_ref()
        .map(|all| u32::try_from(all.iter().filter(|(_, p)| p.is_vacillating()).count()).unwrap_or(u32::MAX));
    let n = all.as_ref().map(|all| u32::try_from(all.len()).unwrap_or(u32::MAX)).filter(|n| *n > 0);
    ApproachFigures {
        approaches,
        retreats,
        share: both.map(|(a, r)| f64::from(a) / f64::from(a + r)),
        index: both.map(|(a, r)| (f64::from(a) - f64::from(r)) / f64::from(a + r)),
        vacillating,
        vacillating_share: vacillating.zip(n).map(|(v, n)| f64::from(v) / f64::from(n)),
        approaches_in_presentations: count(presentations::Turn::Approach),
        retreats_in_presentations: count(presentations::Turn::Retreat),
        why: why
            .or_else(|| both.is_none().then(|| "neither approach nor retreat".to_owned()))
            .or_else(|| first_missing(counts, |own| &own.presentations)),
    }
}

/// All presentations with their session; `None` when those of one session can't be had.
fn all_presentations<'a>(counts: &[&'a Counts]) -> Option<Vec<(&'a str, &'a Presentation)>> {
    let mut all = Vec::new();
    for own in counts {
        all.extend(own.presentations.as_ref().ok()?.iter().map(|p| (own.session.as_str(), p)));
    }
    Some(all)
}

fn presentation_figures(counts: &[&Counts]) -> Option<Vec<PresentationFigures>> {
    let figures = all_presentations(counts)?
        .into_iter()
        .map(|(session, p)| {
            let seconds = |latency: Latency| latency.reached().map(Micros::seconds);
            let named = [
                ("orient", p.orient),
                ("approach", p.approach),
                ("contact", p.contact),
                ("success", p.success),
            ];
            let those = |wanted: fn(&Latency) -> bool| -> Option<String> {
                let those_names: Vec<&str> =
                    named.iter().filter(|(_, own)| wanted(own)).map(|(name, _)| *name).collect();
                (!those_names.is_empty()).then(|| those_names.join(", "))
            };
            let censored = (p.end - p.cue).seconds();
            let parts = [
                those(|own| matches!(own, Latency::Censored(_)))
                    .map(|names| format!("not reached, watched for {censored:.3} s: {names}")),
                those(|own| matches!(own, Latency::LeftOut))
                    .map(|names| format!("left out, already under way: {names}")),
                those(|own| matches!(own, Latency::NotCoded)).map(|names| format!("pass not done: {names}")),
                (p.outcome == Outcome::NotCoded).then(|| "outcome: pass not done".to_owned()),
            ];
            let parts: Vec<String> = parts.into_iter().flatten().collect();
            let why = (!parts.is_empty()).then(|| parts.join("; "));
            PresentationFigures {
                session: session.to_owned(),
                number: p.number,
                cue_s: p.cue.seconds(),
                end_s: p.end.seconds(),
                outcome: Some(p.outcome).filter(|own| *own != Outcome::NotCoded),
                reason: p.reason.clone(),
                orient_s: seconds(p.orient),
                approach_s: seconds(p.approach),
                contact_s: seconds(p.contact),
                success_s: seconds(p.success),
                already: p.orient == Latency::Already,
                latencies_are: [p.orient, p.approach, p.contact, p.success].map(Latency::word),
                vacillating: p.is_vacillating(),
                why,
            }
        })
        .collect();
    Some(figures)
}

/// Valid presentations below which the criterion is not judged (rule 21).
const ENOUGH_FOR_CRITERION: u32 = 8;

fn success_figures(counts: &[&Counts]) -> SuccessFigures {
    let Some(all) = all_presentations(counts) else {
        return SuccessFigures {
            why: first_missing(counts, |own| &own.presentations),
            ..SuccessFigures::default()
        };
    };
    if all.iter().any(|(_, p)| p.outcome == Outcome::NotCoded) {
        return SuccessFigures { why: Some(Missing::PassNotDone.to_string()), ..SuccessFigures::default() };
    }
    let count = |outcome: Outcome| {
        u32::try_from(all.iter().filter(|(_, p)| p.outcome == outcome).count()).unwrap_or(u32::MAX)
    };
    let k = count(Outcome::Success);
    let n = u32::try_from(all.iter().filter(|(_, p)| p.outcome.is_valid()).count()).unwrap_or(u32::MAX);
    let mut why = None;
    let criterion_met = if let [own] = counts {
        match own.criterion {
            _ if n < ENOUGH_FOR_CRITERION => {
                why = Some(format!("too few for the criterion: {n} valid of {ENOUGH_FOR_CRITERION} needed"));
                None
            }
            // k of n as a share: eight valid presentations are held against 8 of 10 as 6.4.
            Some((wanted, of)) => Some(u64::from(k) * u64::from(of) >= u64::from(wanted) * u64::from(n)),
            None => {
                why = Some("the session names no plan step".to_owned());
                None
            }
        }
    } else {
        why = Some("the criterion is judged session by session".to_owned());
        None
    };
    if n == 0 {
        why = Some("no valid presentation".to_owned());
    }
    let (honoured, _) = counts.iter().fold((0, 0), |(a, b), own| (a + own.honoured.0, b + own.honoured.1));
    SuccessFigures {
        k: Some(k),
        n: Some(n),
        ci95: wilson(k, n).map(|(low, high)| [low, high]),
        void: Some(count(Outcome::Void)),
        aborted: Some(count(Outcome::Aborted)),
        prompted: Some(count(Outcome::SuccessPrompted)),
        opt_out: Some(count(Outcome::OptOut)),
        opt_out_honoured: Some(honoured),
        criterion_met,
        why,
    }
}

/// The curve of a latency over presentations.
#[must_use]
pub fn curve<'a>(
    presentations: impl Iterator<Item = &'a Presentation>,
    latency: impl Fn(&Presentation) -> Latency,
) -> (Curve, u32, u32) {
    let mut times = Vec::new();
    for presentation in presentations {
        let (length, ending) = match latency(presentation) {
            Latency::Reached(time) => (time, Ending::Reached),
            Latency::Already => (Micros::ZERO, Ending::Reached),
            Latency::Censored(time) => (time, Ending::Censored),
            Latency::LeftOut | Latency::NotCoded => continue,
        };
        times.push(Time { length: length.seconds(), ending });
    }
    let reached = times.iter().filter(|time| time.ending == Ending::Reached).count();
    let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    (Curve::of(&times), count(times.len()), count(reached))
}

fn latency(counts: &[&Counts], which: impl Fn(&Presentation) -> Latency) -> OneLatency {
    let Some(all) = all_presentations(counts) else {
        return OneLatency { why: first_missing(counts, |own| &own.presentations), ..OneLatency::default() };
    };
    if all.iter().any(|(_, p)| which(p) == Latency::NotCoded) {
        return OneLatency { why: Some(Missing::PassNotDone.to_string()), ..OneLatency::default() };
    }
    let (curve, n, reached) = curve(all.into_iter().map(|(_, p)| p), which);
    let median = curve.median();
    let longest = curve.steps().last().map(|step| step.at).filter(|longest| *longest > 0.0);
    OneLatency {
        n: Some(n),
        reached: Some(reached),
        median_s: median.at,
        q1_s: curve.reaching(0.75).at,
        q3_s: curve.reaching(0.25).at,
        restricted_mean_s: longest.and_then(|longest| curve.restricted_mean(longest)),
        restricted_at_s: longest,
        ci95_s: median.at.map(|_| [median.ci95.0, median.ci95.1]),
        why: match median.at {
            Some(_) => None,
            None if n == 0 => Some("no presentation".to_owned()),
            None => Some(Missing::MedianNotReached.to_string()),
        },
    }
}

fn food_figures(counts: &[&Counts], observed: Micros) -> FoodFigures {
    let n = sum(counts.iter().map(|own| own.food));
    let grams: Option<f64> = counts.iter().map(|own| own.grams).sum();
    let minutes = observed.seconds() / 60.0;
    let deliveries: Option<Vec<Option<Micros>>> = counts
        .iter()
        .map(|own| own.deliveries.clone())
        .collect::<Result<Vec<_>, _>>()
        .ok()
        .map(|all| all.into_iter().flatten().collect());
    let without = deliveries.as_ref().map(|all| all.iter().filter(|own| own.is_none()).count());
    FoodFigures {
        n,
        grams,
        per_min: n.filter(|_| minutes > 0.0).map(|n| f64::from(n) / minutes),
        marker_to_food_s: deliveries.iter().flatten().flatten().map(|own| own.seconds()).collect(),
        markers_without_food: without.map(|n| u32::try_from(n).unwrap_or(u32::MAX)),
        why: first_missing(counts, |own| &own.food)
            .or_else(|| grams.is_none().then(|| "no weight was entered".to_owned())),
    }
}

/// Time from one presentation's end to the next cue of its session.
fn between_figures(counts: &[&Counts], observed: Micros) -> BetweenFigures {
    let Some(all) = all_presentations(counts) else {
        return BetweenFigures {
            why: first_missing(counts, |own| &own.presentations),
            ..BetweenFigures::default()
        };
    };
    let pauses: Vec<f64> = all
        .windows(2)
        .filter_map(|pair| match pair {
            [(session, before), (other, after)] if session == other => {
                Some((after.cue - before.end).seconds())
            }
            _ => None,
        })
        .collect();
    let minutes = observed.seconds() / 60.0;
    #[allow(clippy::cast_precision_loss)] // A count of presentations.
    let per_min = (minutes > 0.0).then(|| all.len() as f64 / minutes);
    BetweenFigures {
        n: Some(u32::try_from(pauses.len()).unwrap_or(u32::MAX)),
        median_s: quantile::of(&pauses, 0.5),
        min_s: quantile::of(&pauses, 0.0),
        max_s: quantile::of(&pauses, 1.0),
        presentations_per_min: per_min,
        why: pauses.is_empty().then(|| "fewer than two presentations in a session".to_owned()),
    }
}

fn concern_figures(counts: &[&Counts], visible_s: Option<f64>) -> ConcernFigures {
    let target = counts.iter().map(|own| own.back_off_target).max().unwrap_or_default();
    let mut pooled = ConcernFigures { back_off_target_s: target.seconds(), ..ConcernFigures::default() };
    let (mut watch, mut stop, mut watch_incidents, mut within) = (Micros::ZERO, Micros::ZERO, 0, 0);
    let (mut stop_incidents, mut continued) = (Vec::new(), Vec::new());
    let (mut longest_watch, mut longest_stop) = (Micros::ZERO, Micros::ZERO);
    let longest = |all: &[Incident]| all.iter().map(|own| own.span.length()).max().unwrap_or_default();
    for own in counts {
        let Ok(concern) = &own.concern else {
            return ConcernFigures {
                back_off_target_s: target.seconds(),
                why: first_missing(counts, |own| &own.concern),
                ..ConcernFigures::default()
            };
        };
        longest_watch = longest_watch.max(longest(&concern.watch_incidents));
        longest_stop = longest_stop.max(longest(&concern.stop_incidents));
        let is_within = |own: &&Incident| matches!(own.back_off, BackOff::After(time) if time <= target);
        within += concern.stop_incidents.iter().filter(is_within).count();
        watch = watch + concern.watch.total();
        stop = stop + concern.stop.total();
        watch_incidents += u32::try_from(concern.watch_incidents.len()).unwrap_or(u32::MAX);
        stop_incidents.extend(concern.stop_incidents.iter().map(|incident| {
            let (back_off, why) = match incident.back_off {
                BackOff::After(time) => (Some(time.seconds()), None),
                BackOff::StoppedByItself(time) => (None, Some(format!("stopped by itself after {time} s"))),
                BackOff::NotSeen(time) => (None, Some(format!("no back-off within {time} s"))),
                BackOff::NotCoded => (None, Some("back-offs were not coded".to_owned())),
            };
            let why = match (why, incident.warning) {
                (Some(why), None) => Some(format!("{why}; no warning")),
                (None, None) => Some("no warning".to_owned()),
                (why, Some(_)) => why,
            };
            IncidentFigures {
                session: own.session.clone(),
                at_s: incident.span.from.seconds(),
                behaviour: incident.behaviour.to_string(),
                presentation: incident.presentation,
                back_off_s: back_off,
                warning_s: incident.warning.map(Micros::seconds),
                why,
            }
        }));
        continued.extend(concern.continued_after_stop.iter().map(|at| at.seconds()));
    }
    pooled.watch_s = Some(watch.seconds());
    pooled.stop_s = Some(stop.seconds());
    pooled.watch_incidents = Some(watch_incidents);
    pooled.longest_watch_s = Some(longest_watch.seconds());
    pooled.longest_stop_s = Some(longest_stop.seconds());
    let stops = u32::try_from(stop_incidents.len()).unwrap_or(u32::MAX);
    pooled.stop_incidents = Some(stop_incidents);
    pooled.continued_after_stop = Some(continued);
    let hours = visible_s.map(|visible| visible / 3600.0).filter(|hours| *hours > 0.0);
    pooled.stop_per_visible_hour = hours.map(|hours| f64::from(stops) / hours);
    pooled.stop_per_visible_hour_ci95 =
        hours.and_then(|hours| garwood(stops, hours)).map(|(low, high)| [low, high]);
    pooled.back_offs_within_target = Some(u32::try_from(within).unwrap_or(u32::MAX));
    if hours.is_none() {
        pooled.why = Some("no rate: visible time not known, or none".to_owned());
    }
    pooled
}
