//! What is found of an animal only from the records of its sessions together: the course of a number
//! from session to session, what follows what, what sampling would have shown, and where a bout of events ends.

use std::num::NonZeroUsize;

use serde::Serialize;

use crate::measures::quantity::{Denominator, Quantity};
use crate::measures::record::{Missing, Record};
use crate::measures::sampling::{self, Verdict};
use crate::measures::sequence::{Repeats, Transitions};
use crate::measures::survivorship::{self, Lengths};
use crate::measures::trend::{self, Axis, Course, Spread};
use crate::model::{AnimalId, Kind, SetId};
use crate::numeric::overlap::Wanted;
use crate::numeric::trend::Distribution;

/// One animal over its sessions.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OverSessions {
    /// Its study, where several are summarised together.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub study: Option<String>,
    /// The animal.
    pub animal: String,
    /// Its sessions that count, in order of time.
    pub sessions: Vec<String>,
    /// Numbers from session to session.
    pub courses: Vec<CourseFigures>,
    /// What follows what, a table a set of states.
    pub sequences: Vec<SequenceFigures>,
    /// What sampling would have made of each state.
    pub sampling: Vec<SamplingFigures>,
    /// Where a bout of events ends.
    pub bout_criteria: Vec<CriterionFigures>,
}

/// A number from session to session; the session is the unit.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CourseFigures {
    /// Which number.
    pub quantity: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// Each session's.
    pub values: Vec<SessionValue>,
    /// Sessions with a value.
    pub n: Option<usize>,
    /// Mean over them.
    pub mean: Option<f64>,
    /// Median over them.
    pub median: Option<f64>,
    /// Lowest and highest.
    pub range: Option<[f64; 2]>,
    /// Percentile interval of the mean over resampled sessions, 95 %; from five sessions on.
    pub ci95: Option<[f64; 2]>,
    /// Resamples and seed of that interval.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub draws_and_seed: Option<(usize, u64)>,
    /// Whether it moves from session to session.
    pub trend: Option<TrendFigures>,
    /// Stretches at one step of the plan, each held against the one before.
    pub phases: Vec<PhaseFigures>,
    /// Why what is missing is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// One session's number.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SessionValue {
    /// The session.
    pub session: String,
    /// The number.
    pub value: Option<f64>,
    /// What it was divided by, or found from.
    pub of: Option<f64>,
    /// Of what that is a count or a number of seconds.
    pub of_what: Option<&'static str>,
    /// Why it is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// A trend over sessions, in their order.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TrendFigures {
    /// Theil–Sen: change from one session to the next.
    pub slope: f64,
    /// Limits of 95 % from ranks; `null`: unbounded on that side.
    pub slope_ci95: [Option<f64>; 2],
    /// Kendall's tau b with the order of sessions.
    pub tau_b: f64,
    /// Mann–Kendall, two-sided; describes, decides nothing.
    pub p: f64,
    /// `exact` or `normal`.
    pub by: &'static str,
}

/// A stretch of sessions at one step.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PhaseFigures {
    /// The step.
    pub step: Option<u32>,
    /// Its sessions.
    pub sessions: Vec<String>,
    /// Non-overlap of all pairs with the stretch before it: share of pairs in which this one is better.
    pub nap: Option<f64>,
    /// Kendall's tau of the two stretches, the earlier one's trend taken off.
    pub tau_corrected: Option<f64>,
    /// Why there is none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// What follows what in one set.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SequenceFigures {
    /// The set.
    pub set: String,
    /// Its states, in the order of rows and columns.
    pub states: Vec<String>,
    /// Sessions counted.
    pub n_sessions: usize,
    /// Row: what was, column: what came next. Nothing follows itself.
    pub counts: Vec<Vec<u32>>,
    /// What chance would give, nothing following itself.
    pub expected: Option<Vec<Vec<f64>>>,
    /// Adjusted residuals.
    pub adjusted_residuals: Option<Vec<Vec<Option<f64>>>>,
    /// What to be careful about.
    pub cautions: Vec<String>,
    /// Why there is nothing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// What sampling would have made of a state.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SamplingFigures {
    /// The state.
    pub behaviour: String,
    /// Mean over sessions of its true share of visible time.
    pub share: Option<f64>,
    /// By rising interval.
    pub intervals: Vec<IntervalFigures>,
    /// The longest interval that is fine, with every shorter one.
    pub longest_s: Option<f64>,
    /// Why what is missing is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// One sampling interval.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct IntervalFigures {
    /// Seconds from point to point.
    pub every_s: f64,
    /// Mean size of the error of the share, over sessions and ten starts.
    pub typical_error: f64,
    /// The largest.
    pub largest_error: f64,
    /// Mean error of one-zero records read as a share of time, which they are not.
    pub one_zero_bias: f64,
    /// Whether the typical error is small enough.
    pub acceptable: bool,
}

/// The gap that ends a bout of an event.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CriterionFigures {
    /// The event.
    pub behaviour: String,
    /// Sessions in which it can be had.
    pub n_sessions: usize,
    /// Gaps between its events.
    pub gaps: Option<usize>,
    /// The criterion.
    pub criterion_s: Option<f64>,
    /// Gaps on its wrong side, at the least.
    pub misassigned: Option<f64>,
    /// Why there is none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// What is followed, its name, its unit, and which way is better.
const FOLLOWED: [(Quantity, &str, &str, Wanted); 9] = [
    (Quantity::Success, "success", "share of valid presentations", Wanted::Increase),
    (Quantity::OrientLatency, "latency_orient", "s, median", Wanted::Decrease),
    (Quantity::ApproachLatency, "latency_approach", "s, median", Wanted::Decrease),
    (Quantity::ContactLatency, "latency_contact", "s, median", Wanted::Decrease),
    (Quantity::ApproachShare, "approach_share", "share of approaches and retreats", Wanted::Increase),
    (Quantity::OutOfSight, "out_of_sight", "share of observed time", Wanted::Decrease),
    (Quantity::Watch, "watch", "share of visible time", Wanted::Decrease),
    (Quantity::StopIncidents, "stop_incidents", "per visible hour", Wanted::Decrease),
    (Quantity::Food, "food", "deliveries per observed minute", Wanted::Increase),
];

/// Each animal over its sessions (rule 14 says which codings count). `seed` is that of the study's draws.
#[must_use]
pub fn over_sessions(records: &[Record<'_>], seed: u64) -> Vec<OverSessions> {
    let success = trend::courses(records, &Quantity::Success);
    let of = |(animal, course): (&AnimalId, &Course)| {
        let mut own: Vec<&Record<'_>> = Vec::new();
        for point in &course.points {
            own.extend(
                records.iter().find(|record| record.is_counted() && record.session.id == point.session),
            );
        }
        OverSessions {
            study: None,
            animal: animal.to_string(),
            sessions: course.points.iter().map(|point| point.session.to_string()).collect(),
            courses: courses(records, animal, seed),
            sequences: sequences(&own),
            sampling: samplings(&own),
            bout_criteria: criteria(&own),
        }
    };
    success.iter().map(of).collect()
}

fn courses(records: &[Record<'_>], animal: &AnimalId, seed: u64) -> Vec<CourseFigures> {
    let of = |(quantity, name, unit, wanted): &(Quantity, &'static str, &'static str, Wanted)| {
        let course = trend::courses(records, quantity).remove(animal)?;
        Some(course_figures(&course, name, unit, *wanted, seed))
    };
    FOLLOWED.iter().filter_map(of).collect()
}

fn course_figures(
    course: &Course,
    quantity: &'static str,
    unit: &'static str,
    wanted: Wanted,
    seed: u64,
) -> CourseFigures {
    let (level, moves) = (course.level(seed), course.trend(Axis::Order));
    let mut whys: Vec<String> = Vec::new();
    let mut told = |what: &str, why: Missing| whys.push(format!("{what}: {why}"));
    let level = level.map_err(|why| told("level", why)).ok();
    let moves = moves.map_err(|why| told("trend", why)).ok();
    let spread = level.map(|own| own.spread);
    if matches!(spread, Some(Spread::One | Spread::Range)) {
        whys.push(format!("interval: fewer than {} sessions with a value", trend::ENOUGH_FOR_INTERVAL));
    }
    let interval = match spread {
        Some(Spread::Bootstrap { low, high, draws, seed }) => Some(([low, high], (draws, seed))),
        _ => None,
    };
    CourseFigures {
        quantity,
        unit,
        values: course.points.iter().map(session_value).collect(),
        n: level.map(|own| own.n),
        mean: level.map(|own| own.mean),
        median: level.map(|own| own.median),
        range: level.map(|own| [own.low, own.high]),
        ci95: interval.map(|(limits, _)| limits),
        draws_and_seed: interval.map(|(_, how)| how),
        trend: moves.map(|own| TrendFigures {
            slope: own.slope,
            slope_ci95: [own.slope_ci95.0, own.slope_ci95.1],
            tau_b: own.tau_b,
            p: own.p,
            by: match own.by {
                Distribution::Exact => "exact",
                Distribution::Normal => "normal",
            },
        }),
        phases: phases(course, wanted),
        why: (!whys.is_empty()).then(|| whys.join("; ")),
    }
}

fn session_value(point: &trend::Point) -> SessionValue {
    let of = point.value.ok().map(|own| match own.of {
        Denominator::Presentations(n) => (f64::from(n), "presentations"),
        Denominator::Turns(n) => (f64::from(n), "approaches and retreats"),
        Denominator::Observed(time) => (time.seconds(), "seconds observed"),
        Denominator::Visible(time) => (time.seconds(), "seconds visible"),
    });
    SessionValue {
        session: point.session.to_string(),
        value: point.value.ok().map(|own| own.value),
        of: of.map(|(n, _)| n),
        of_what: of.map(|(_, what)| what),
        why: point.value.err().map(|why| why.to_string()),
    }
}

fn phases(course: &Course, wanted: Wanted) -> Vec<PhaseFigures> {
    let phases = course.phases();
    let mut found = Vec::new();
    for (place, phase) in phases.iter().enumerate() {
        let before = place.checked_sub(1).and_then(|before| phases.get(before));
        let against = before.map(|before| trend::compare(&before.course, &phase.course, wanted));
        let (nap, tau_corrected, why) = match against {
            None => (None, None, Some("the first stretch".to_owned())),
            Some(Ok((plain, corrected))) => (Some(plain.nap), Some(corrected.tau), None),
            Some(Err(why)) => (None, None, Some(why.to_string())),
        };
        found.push(PhaseFigures {
            step: phase.step,
            sessions: phase.course.points.iter().map(|point| point.session.to_string()).collect(),
            nap,
            tau_corrected,
            why,
        });
    }
    found
}

/// Sets and behaviours are those of the ethograms the sessions follow, each once.
fn each_once<'a, T: PartialEq + 'a>(all: impl Iterator<Item = T>) -> Vec<T> {
    let mut found = Vec::new();
    for own in all {
        if !found.contains(&own) {
            found.push(own);
        }
    }
    found
}

fn sequences(records: &[&Record<'_>]) -> Vec<SequenceFigures> {
    let sets: Vec<SetId> =
        each_once(records.iter().flat_map(|record| record.ethogram.sets.iter().map(|set| set.id.clone())));
    let of = |set: SetId| match Transitions::of(records, &set, NonZeroUsize::MIN, Repeats::Merged) {
        Ok(found) => {
            let fit = found.against_chance().ok();
            SequenceFigures {
                set: set.to_string(),
                states: found.states.iter().map(ToString::to_string).collect(),
                n_sessions: found.sessions.len(),
                counts: found.counts.rows().to_vec(),
                expected: fit.as_ref().map(|fit| fit.expected.clone()),
                adjusted_residuals: fit.map(|fit| fit.adjusted),
                cautions: found.cautions().iter().map(ToString::to_string).collect(),
                why: None,
            }
        }
        Err(why) => SequenceFigures {
            set: set.to_string(),
            states: Vec::new(),
            n_sessions: 0,
            counts: Vec::new(),
            expected: None,
            adjusted_residuals: None,
            cautions: Vec::new(),
            why: Some(why.to_string()),
        },
    };
    sets.into_iter().map(of).collect()
}

fn samplings(records: &[&Record<'_>]) -> Vec<SamplingFigures> {
    let states = records.iter().flat_map(|record| &record.ethogram.behaviours);
    let states = each_once(
        states
            .filter(|own| own.kind == Kind::State && !own.has_role(crate::model::Role::Excluded))
            .map(|own| own.id.clone()),
    );
    let of = |behaviour| match sampling::Choice::of(records, &behaviour) {
        Ok(choice) => SamplingFigures {
            behaviour: behaviour.to_string(),
            share: Some(choice.share),
            intervals: choice.trials.iter().map(interval).collect(),
            longest_s: choice.longest().ok().map(crate::time::Micros::seconds),
            why: choice.longest().err().map(|why| why.to_string()),
        },
        Err(why) => SamplingFigures {
            behaviour: behaviour.to_string(),
            share: None,
            intervals: Vec::new(),
            longest_s: None,
            why: Some(why.to_string()),
        },
    };
    states.into_iter().map(of).collect()
}

fn interval(trial: &sampling::Trial) -> IntervalFigures {
    IntervalFigures {
        every_s: trial.every.seconds(),
        typical_error: trial.typical_error,
        largest_error: trial.largest_error,
        one_zero_bias: trial.one_zero_bias,
        acceptable: trial.verdict == Verdict::Acceptable,
    }
}

fn criteria(records: &[&Record<'_>]) -> Vec<CriterionFigures> {
    let events = records.iter().flat_map(|record| &record.ethogram.behaviours);
    let events = each_once(events.filter(|own| own.kind == Kind::Event).map(|own| own.id.clone()));
    let of = |behaviour| {
        let mut gaps = Vec::new();
        let (mut why, mut n_sessions) = (None, 0_usize);
        for record in records {
            let Some(own) = record.ethogram.behaviour(&behaviour) else { continue };
            match survivorship::lengths(record, own, Lengths::Gaps) {
                Ok(found) => {
                    gaps.extend(found);
                    n_sessions += 1;
                }
                Err(missing) => why = Some(missing),
            }
        }
        let found = match why {
            Some(why) if n_sessions == 0 => Err(why),
            _ => survivorship::criterion(&gaps),
        };
        CriterionFigures {
            behaviour: behaviour.to_string(),
            n_sessions,
            gaps: (n_sessions > 0).then(|| {
                gaps.iter().filter(|gap| gap.ending == crate::numeric::product_limit::Ending::Reached).count()
            }),
            criterion_s: found.ok().map(|own| own.criterion_s),
            misassigned: found.ok().map(|own| own.misassigned),
            why: found.err().map(|why| why.to_string()),
        }
    };
    events.into_iter().map(of).collect()
}
