//! What a summary holds: the structures of `summary --json`. Keys are stable, more may be added; a
//! value that is not defined is `null`, with a `why` beside it.

use serde::Serialize;

use crate::measures::presentations::Outcome;
use crate::model::Kind;

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
    /// Its study, where several are summarised together.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub study: Option<String>,
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
    /// Of a coding by samples: what they came to. The numbers below then have no values.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub samples: Option<SampleFigures>,
    /// The numbers.
    #[serde(flatten)]
    pub figures: Figures,
}

/// What a coding by samples came to.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SampleFigures {
    /// `point` or `interval`.
    pub each: &'static str,
    /// Time from one to the next, in seconds.
    pub every_s: f64,
    /// Of points: the first one, after the window's start, in seconds.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub offset_s: Option<f64>,
    /// Samples in the window.
    pub n: u32,
    /// Those without film.
    pub in_gaps: u32,
    /// Those with film that are answered.
    pub answered: u32,
    /// Those of them in which the animal was out of sight.
    pub out_of_sight: u32,
    /// One a behaviour asked for.
    pub behaviours: Vec<SampledBehaviour>,
}

/// A behaviour in the samples.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SampledBehaviour {
    /// Its id.
    pub id: String,
    /// Its name.
    pub name: String,
    /// Visible points at which it held, or intervals with it.
    pub hits: Option<u32>,
    /// Visible points or intervals answered.
    pub of: Option<u32>,
    /// Of points an estimate of its share of visible time; of intervals the share with at least one,
    /// which is neither time nor frequency.
    pub share: Option<f64>,
    /// Wilson's interval of it.
    pub share_ci95: Option<[f64; 2]>,
    /// Why something is not there.
    pub why: Option<String>,
}

/// The primary codings of one animal.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AnimalSummary {
    /// Its study, where several are summarised together: one id may be of an animal in each.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub study: Option<String>,
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
    /// Why `visible_s` or `presentations` are not there.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
    /// Each behaviour of the ethogram.
    pub behaviours: Vec<BehaviourFigures>,
    /// Approach and retreat.
    pub approach: ApproachFigures,
    /// Each presentation.
    pub presentations: Option<Vec<PresentationFigures>>,
    /// Time from one presentation's end to the next cue.
    pub between: BetweenFigures,
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
    /// Its time to visible time; what runs on out of sight (handler, cue) can pass 1.
    pub share_visible: Option<f64>,
    /// Bouts or events in an hour of visible time.
    pub per_visible_hour: Option<f64>,
    /// Garwood's interval of that rate, 95 %.
    pub per_visible_hour_ci95: Option<[f64; 2]>,
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
    pub outcome: Option<Outcome>,
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
    /// What became of the latencies to orient, approach, contact and success: `reached`, `censored`, `left_out`
    /// (already under way) or `not_coded`. Tables have it as columns; in JSON `why` says it.
    #[serde(skip)]
    pub latencies_are: [&'static str; 4],
}

/// Time between presentations of one session.
#[derive(Debug, Clone, PartialEq, Serialize, Default)]
pub struct BetweenFigures {
    /// Intervals.
    pub n: Option<u32>,
    /// Their median.
    pub median_s: Option<f64>,
    /// The shortest.
    pub min_s: Option<f64>,
    /// The longest.
    pub max_s: Option<f64>,
    /// Presentations a minute of observed time.
    pub presentations_per_min: Option<f64>,
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
    pub n: Option<u32>,
    /// In how many it was reached.
    pub reached: Option<u32>,
    /// First time at which half or fewer were still waiting.
    pub median_s: Option<f64>,
    /// Limits of 95 % (log–log).
    pub ci95_s: Option<[Option<f64>; 2]>,
    /// First time at which three quarters or fewer were still waiting.
    pub q1_s: Option<f64>,
    /// First time at which a quarter or fewer were still waiting.
    pub q3_s: Option<f64>,
    /// Area under the curve up to `restricted_at_s`: mean time waited, within that time.
    pub restricted_mean_s: Option<f64>,
    /// The longest time watched.
    pub restricted_at_s: Option<f64>,
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
    /// Seconds from each marker to the first food after it, before the next marker.
    pub marker_to_food_s: Vec<f64>,
    /// Markers that no food followed.
    pub markers_without_food: Option<u32>,
    /// Why what is missing is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// Concern.
#[derive(Debug, Clone, PartialEq, Serialize, Default)]
pub struct ConcernFigures {
    /// Seconds at exactly watch.
    pub watch_s: Option<f64>,
    /// Seconds at stop.
    pub stop_s: Option<f64>,
    /// Runs at watch.
    pub watch_incidents: Option<u32>,
    /// Each run at stop.
    pub stop_incidents: Option<Vec<IncidentFigures>>,
    /// Longest run at watch.
    pub longest_watch_s: Option<f64>,
    /// Longest run at stop.
    pub longest_stop_s: Option<f64>,
    /// Stop incidents in an hour of visible time.
    pub stop_per_visible_hour: Option<f64>,
    /// Garwood's interval of that rate, 95 %: what so many seen, or none, is compatible with.
    pub stop_per_visible_hour_ci95: Option<[f64; 2]>,
    /// The house's target for backing off.
    pub back_off_target_s: f64,
    /// Stop incidents from which the handler backed off within the target.
    pub back_offs_within_target: Option<u32>,
    /// Session times of presentations after the first stop incident, where the plan says to end.
    pub continued_after_stop: Option<Vec<f64>>,
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
