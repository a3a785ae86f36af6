//! The summary of codings: one a session, and pooled by animal.
//!
//! The structures are those of `summary --json`: keys are stable, more may be added. A value that
//! is not defined is `null`, with a `why` beside it. Pooling adds times, counts and cases; it
//! never takes seconds for independent.

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use super::bouts::{self, Tally};
use super::concern::{self, BackOff, Concern};
use super::presentations::{self, Latency, Outcome, Presentation};
use super::record::{Missing, Record};
use crate::model::{AnimalId, BehaviourId, Kind, Role};
use crate::numeric::interval::wilson;
use crate::numeric::product_limit::{Curve, Ending, Time};
use crate::time::Micros;

/// What `summary` finds.
#[derive(Debug, Clone, PartialEq, Serialize, Default)]
pub struct Summary {
    /// One a coding.
    pub codings: Vec<CodingSummary>,
    /// Primary codings pooled by animal (rule 14).
    pub animals: Vec<AnimalSummary>,
}

/// One coding.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CodingSummary {
    /// Its session.
    pub session: String,
    /// The animal.
    pub animal: String,
    /// By whom.
    pub by: String,
    /// What it counts as.
    pub purpose: &'static str,
    /// The plan step of the session.
    pub step: Option<u32>,
    /// Day of the session.
    pub date: Option<String>,
    /// Whether it is among those pooled.
    pub counts: bool,
    /// Names of passes that are not done.
    pub passes_not_done: Vec<String>,
    /// The numbers.
    #[serde(flatten)]
    pub figures: Figures,
}

/// The primary codings of one animal.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AnimalSummary {
    /// The animal.
    pub animal: String,
    /// Sessions pooled.
    pub sessions: Vec<String>,
    /// The numbers.
    #[serde(flatten)]
    pub figures: Figures,
}

/// The numbers of one coding or several.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Figures {
    /// Seconds observed.
    pub observed_s: f64,
    /// Seconds visible.
    pub visible_s: Option<f64>,
    /// Share of observed time out of sight.
    pub out_of_sight_share: Option<f64>,
    /// Why `visible_s` is not there.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
    /// Each behaviour of the ethogram.
    pub behaviours: Vec<BehaviourFigures>,
    /// Approach and retreat.
    pub approach: ApproachFigures,
    /// Each presentation.
    pub presentations: Vec<PresentationFigures>,
    /// Success.
    pub success: SuccessFigures,
    /// Latencies from the cue.
    pub latency: LatencyFigures,
    /// Food.
    pub food: FoodFigures,
    /// Concern.
    pub concern: ConcernFigures,
    /// Resume latencies after disturbances.
    pub resume: Vec<ResumeFigures>,
}

/// One behaviour.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BehaviourFigures {
    /// Its id.
    pub id: String,
    /// Its name.
    pub name: String,
    /// State or event.
    pub kind: Kind,
    /// Bouts or events.
    pub n: Option<u32>,
    /// Bouts seen whole.
    pub n_complete: Option<u32>,
    /// Seconds of all bouts.
    pub total_s: Option<f64>,
    /// Mean of complete ones.
    pub mean_s: Option<f64>,
    /// Median of complete ones.
    pub median_s: Option<f64>,
    /// Lower quartile.
    pub q1_s: Option<f64>,
    /// Upper quartile.
    pub q3_s: Option<f64>,
    /// Standard deviation.
    pub sd_s: Option<f64>,
    /// Shortest.
    pub min_s: Option<f64>,
    /// Longest.
    pub max_s: Option<f64>,
    /// Median by the product limit, bouts cut at their end as censored.
    pub product_limit_median_s: Option<f64>,
    /// Share of visible time.
    pub share_visible: Option<f64>,
    /// Bouts or events in an hour of visible time.
    pub per_visible_hour: Option<f64>,
    /// Why what is missing is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// Approach and retreat.
#[derive(Debug, Clone, PartialEq, Serialize, Default)]
pub struct ApproachFigures {
    /// Approach onsets.
    pub approaches: Option<u32>,
    /// Retreat onsets.
    pub retreats: Option<u32>,
    /// A/(A+R).
    pub share: Option<f64>,
    /// (A−R)/(A+R).
    pub index: Option<f64>,
    /// Presentations in which the animal turned at least twice (rule 22).
    pub vacillating: Option<u32>,
    /// The same as a share of all presentations.
    pub vacillating_share: Option<f64>,
    /// Approaches inside presentations.
    pub approaches_in_presentations: Option<u32>,
    /// Retreats inside presentations.
    pub retreats_in_presentations: Option<u32>,
    /// Why what is missing is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// One presentation.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PresentationFigures {
    /// Its session.
    pub session: String,
    /// From 1 in its session.
    pub number: u32,
    /// Session time of the cue.
    pub cue_s: f64,
    /// Session time of its end.
    pub end_s: f64,
    /// How it ended.
    pub outcome: Outcome,
    /// Why it is void.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    /// Seconds to the first orient.
    pub orient_s: Option<f64>,
    /// To the first approach.
    pub approach_s: Option<f64>,
    /// To the first contact.
    pub contact_s: Option<f64>,
    /// To success.
    pub success_s: Option<f64>,
    /// The animal was already oriented or under way.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub already: bool,
    /// It turned at least twice.
    pub vacillating: bool,
    /// Why what is missing is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// Success of valid presentations.
#[derive(Debug, Clone, PartialEq, Serialize, Default)]
pub struct SuccessFigures {
    /// Successes.
    pub k: Option<u32>,
    /// Valid presentations.
    pub n: Option<u32>,
    /// Wilson's interval, 95 %.
    pub ci95: Option<[f64; 2]>,
    /// Presentations that do not count.
    pub void: Option<u32>,
    /// Presentations the handler broke off.
    pub aborted: Option<u32>,
    /// Successes after help.
    pub prompted: Option<u32>,
    /// Opt-outs.
    pub opt_out: Option<u32>,
    /// Opt-outs honoured within the house target.
    pub opt_out_honoured: Option<u32>,
    /// Whether the plan step's criterion is met in this session.
    pub criterion_met: Option<bool>,
    /// Why what is missing is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// Latencies from the cue.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LatencyFigures {
    /// To the first orient.
    pub orient: OneLatency,
    /// To the first approach.
    pub approach: OneLatency,
    /// To the first contact.
    pub contact: OneLatency,
    /// To success.
    pub success: OneLatency,
}

/// One latency over presentations: product limit, those not reached as censored (rule 20).
#[derive(Debug, Clone, PartialEq, Serialize, Default)]
pub struct OneLatency {
    /// Presentations.
    pub n: u32,
    /// In how many it was reached.
    pub reached: u32,
    /// First time at which half or fewer were still waiting.
    pub median_s: Option<f64>,
    /// Limits of 95 % (log–log).
    pub ci95_s: Option<[Option<f64>; 2]>,
    /// Why what is missing is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// Food.
#[derive(Debug, Clone, PartialEq, Serialize, Default)]
pub struct FoodFigures {
    /// Deliveries.
    pub n: Option<u32>,
    /// Grams.
    pub grams: Option<f64>,
    /// Deliveries a minute of observed time.
    pub per_min: Option<f64>,
    /// Why what is missing is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// Concern.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ConcernFigures {
    /// Seconds at exactly watch.
    pub watch_s: Option<f64>,
    /// Seconds at stop.
    pub stop_s: Option<f64>,
    /// Runs at watch.
    pub watch_incidents: Option<u32>,
    /// Each run at stop.
    pub stop_incidents: Vec<IncidentFigures>,
    /// Session times of presentations after the first stop incident, where the plan says to end.
    pub continued_after_stop: Vec<f64>,
    /// Why what is missing is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// One run at stop.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct IncidentFigures {
    /// Its session.
    pub session: String,
    /// Session time of its start.
    pub at_s: f64,
    /// The behaviour it began with.
    pub behaviour: String,
    /// The presentation it began in.
    pub presentation: Option<u32>,
    /// Seconds until the handler backed off.
    pub back_off_s: Option<f64>,
    /// Seconds of warning: from the first watch-level onset in the minute before.
    pub warning_s: Option<f64>,
    /// Why what is missing is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// After a disturbance.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ResumeFigures {
    /// Its session.
    pub session: String,
    /// Session time at which the disturbance ended.
    pub at_s: f64,
    /// Seconds to the first approach.
    pub resume_s: Option<f64>,
    /// Why what is missing is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// Everything counted in one record, ready to be written or added to others.
#[derive(Debug, Clone)]
pub struct Counts {
    session: String,
    observed: Micros,
    visible: Result<Micros, Missing>,
    behaviours: Vec<(BehaviourId, String, Kind, Result<Tally, Missing>)>,
    approaches: Result<u32, Missing>,
    retreats: Result<u32, Missing>,
    /// The presentations; why they can't be had.
    presentations: Result<Vec<Presentation>, Missing>,
    honoured: (u32, u32),
    criterion: Option<(u32, u32)>,
    food: Result<u32, Missing>,
    grams: Option<f64>,
    concern: Result<Concern, Missing>,
    resumes: Vec<(Micros, Option<Micros>)>,
}

impl Counts {
    /// Counts a record.
    #[must_use]
    pub fn of(record: &Record<'_>) -> Self {
        let role_count = |role| {
            record.is_role_done(role)?;
            Ok(u32::try_from(record.role_onsets(role).len()).unwrap_or(u32::MAX))
        };
        let found = presentations::of(record);
        let presentations = record.is_role_done(Role::Cue).map(|()| found.clone());
        // A level of concern can come from any behaviour that has rules for this animal.
        let is_watched = |b: &crate::model::Behaviour| b.concern_in(record.animal()).next().is_some();
        let coded =
            record.ethogram.behaviours.iter().filter(|b| is_watched(b)).all(|b| record.coding.is_done(&b.id));
        let concern = if coded { Ok(concern::of(record, &found)) } else { Err(Missing::PassNotDone) };
        Self {
            session: record.session.id.to_string(),
            observed: record.window().length(),
            visible: record.visible().map(crate::time::Spans::total),
            behaviours: record
                .ethogram
                .behaviours
                .iter()
                .map(|b| (b.id.clone(), b.name.clone(), b.kind, bouts::tally(record, b)))
                .collect(),
            approaches: role_count(Role::Approach),
            retreats: role_count(Role::Retreat),
            honoured: concern::honoured(record, &found),
            presentations,
            criterion: record.step().map(|step| (step.criterion.k, step.criterion.n)),
            food: role_count(Role::Food),
            grams: record.session.food_grams(),
            concern,
            resumes: concern::resumes(record),
        }
    }
}

/// The summary of one coding.
#[must_use]
pub fn coding(record: &Record<'_>) -> CodingSummary {
    let counts = Counts::of(record);
    let is_primary = record.coding.purpose == crate::model::Purpose::Primary;
    CodingSummary {
        session: record.session.id.to_string(),
        animal: record.session.animal.to_string(),
        by: record.coding.by.to_string(),
        purpose: record.coding.purpose.word(),
        step: record.session.step,
        date: record.session.wall_clock(record.window().from).map(|time| time.date_naive().to_string()),
        counts: is_primary && record.session.left_out.is_none(),
        passes_not_done: record
            .coding
            .passes
            .iter()
            .filter(|pass| !pass.done)
            .map(|pass| pass.name.clone())
            .collect(),
        figures: figures(&[&counts]),
    }
}

/// Pools primary codings by animal; `records` may hold any, those that do not count are left out.
#[must_use]
pub fn animals(records: &[Record<'_>]) -> Vec<AnimalSummary> {
    let mut by_animal: BTreeMap<&AnimalId, Vec<Counts>> = BTreeMap::new();
    let mut taken = BTreeSet::new();
    for record in records {
        let counts =
            record.coding.purpose == crate::model::Purpose::Primary && record.session.left_out.is_none();
        // One coding a session counts, even if two say they are primary.
        if counts && taken.insert(&record.session.id) {
            by_animal.entry(&record.session.animal).or_default().push(Counts::of(record));
        }
    }
    by_animal
        .into_iter()
        .map(|(animal, counts)| AnimalSummary {
            animal: animal.to_string(),
            sessions: counts.iter().map(|counts| counts.session.clone()).collect(),
            figures: figures(&counts.iter().collect::<Vec<_>>()),
        })
        .collect()
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
        why: first_missing(counts, |own| &own.visible),
        behaviours: behaviour_figures(counts, visible_s),
        approach: approach_figures(counts),
        success: success_figures(counts),
        latency: LatencyFigures {
            orient: latency(counts, |p| p.orient),
            approach: latency(counts, |p| p.approach),
            contact: latency(counts, |p| p.contact),
            success: latency(counts, |p| p.success),
        },
        food: food_figures(counts, observed),
        concern: concern_figures(counts),
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
    let mut order: Vec<(&BehaviourId, &str, Kind)> = Vec::new();
    for (id, name, kind, _) in counts.iter().flat_map(|own| &own.behaviours) {
        if order.iter().all(|(known, ..)| *known != id) {
            order.push((id, name, *kind));
        }
    }
    order
        .into_iter()
        .map(|(id, name, kind)| {
            let mut pooled = Tally::default();
            let mut why: Option<String> = None;
            for own in counts {
                match own.behaviours.iter().find(|(other, ..)| other == id).map(|(.., tally)| tally) {
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
            let is_state = kind == Kind::State;
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
                if share.is_none() {
                    let hidden = match visible_s {
                        Some(_) => Missing::NeverVisible.to_string(),
                        None => "visible time not coded".to_owned(),
                    };
                    why = Some(why.map_or_else(|| hidden.clone(), |why| format!("{why}; {hidden}")));
                }
            }
            BehaviourFigures {
                id: id.to_string(),
                name: name.to_owned(),
                kind,
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
                share_visible: share.filter(|_| is_state).map(|visible| total_s / visible),
                per_visible_hour: share.map(|visible| f64::from(pooled.n) * 3600.0 / visible),
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

fn presentation_figures(counts: &[&Counts]) -> Vec<PresentationFigures> {
    all_presentations(counts)
        .unwrap_or_default()
        .into_iter()
        .map(|(session, p)| {
            let seconds = |latency: Latency| latency.reached().map(Micros::seconds);
            let missing: Vec<&str> = [
                ("orient", p.orient),
                ("approach", p.approach),
                ("contact", p.contact),
                ("success", p.success),
            ]
            .iter()
            .filter(|(_, latency)| latency.reached().is_none())
            .map(|(name, _)| *name)
            .collect();
            let why = (!missing.is_empty()).then(|| {
                let censored = (p.end - p.cue).seconds();
                format!("not reached, watched for {censored:.3} s: {}", missing.join(", "))
            });
            PresentationFigures {
                session: session.to_owned(),
                number: p.number,
                cue_s: p.cue.seconds(),
                end_s: p.end.seconds(),
                outcome: p.outcome,
                reason: p.reason.clone(),
                orient_s: seconds(p.orient),
                approach_s: seconds(p.approach),
                contact_s: seconds(p.contact),
                success_s: seconds(p.success),
                already: p.orient == Latency::Already,
                vacillating: p.is_vacillating(),
                why,
            }
        })
        .collect()
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
            Latency::LeftOut => continue,
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
    let (curve, n, reached) = curve(all.into_iter().map(|(_, p)| p), which);
    let median = curve.median();
    OneLatency {
        n,
        reached,
        median_s: median.at,
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
    FoodFigures {
        n,
        grams,
        per_min: n.filter(|_| minutes > 0.0).map(|n| f64::from(n) / minutes),
        why: first_missing(counts, |own| &own.food)
            .or_else(|| grams.is_none().then(|| "no weight was entered".to_owned())),
    }
}

fn concern_figures(counts: &[&Counts]) -> ConcernFigures {
    let mut pooled = ConcernFigures {
        watch_s: Some(0.0),
        stop_s: Some(0.0),
        watch_incidents: Some(0),
        stop_incidents: Vec::new(),
        continued_after_stop: Vec::new(),
        why: None,
    };
    let (mut watch, mut stop, mut watch_incidents) = (Micros::ZERO, Micros::ZERO, 0);
    for own in counts {
        let Ok(concern) = &own.concern else {
            return ConcernFigures {
                watch_s: None,
                stop_s: None,
                watch_incidents: None,
                stop_incidents: Vec::new(),
                continued_after_stop: Vec::new(),
                why: first_missing(counts, |own| &own.concern),
            };
        };
        watch = watch + concern.watch.total();
        stop = stop + concern.stop.total();
        watch_incidents += u32::try_from(concern.watch_incidents.len()).unwrap_or(u32::MAX);
        pooled.stop_incidents.extend(concern.stop_incidents.iter().map(|incident| {
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
        pooled.continued_after_stop.extend(concern.continued_after_stop.iter().map(|at| at.seconds()));
    }
    pooled.watch_s = Some(watch.seconds());
    pooled.stop_s = Some(stop.seconds());
    pooled.watch_incidents = Some(watch_incidents);
    pooled
}
