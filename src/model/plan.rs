//! Training plans: a goal and the shaping steps towards it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{AnimalId, BehaviourId, Extra, PlanId};
use crate::time::Seconds;

/// A training plan of one animal.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Plan {
    /// Its id.
    pub id: PlanId,
    /// Whose plan.
    pub animal: AnimalId,
    /// The target behaviour in one observable sentence.
    pub goal: String,
    /// What asks the animal to begin.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cue: Option<String>,
    /// The word, click or light that tells it "that was it".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub marker: Option<String>,
    /// What it gets.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reinforcer: Option<String>,
    /// When a session ends, written before it begins.
    #[serde(default)]
    pub end: EndRules,
    /// Successive approximations, in order.
    #[serde(default)]
    pub steps: Vec<Step>,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}

/// When a session ends.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct EndRules {
    /// After this many minutes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub max_minutes: Option<f64>,
    /// After this many presentations.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub max_presentations: Option<u32>,
    /// After this much food, in grams.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub food_cap_g: Option<f64>,
    /// After this many refusals in a row.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub refusals_in_a_row: Option<u32>,
    /// After any stop-level behaviour: a presentation after one is a deviation (rule 26).
    #[serde(default, skip_serializing_if = "super::is_false")]
    pub after_stop: bool,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}

/// One step of a plan.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Step {
    /// Its number.
    pub n: u32,
    /// What is asked, in one observable sentence.
    pub text: String,
    /// The behaviour that is success here; none: the behaviours with the role `success`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub success: Option<BehaviourId>,
    /// How long the success behaviour has to hold; none: its onset is success.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub held_s: Option<Seconds>,
    /// Limited hold: a presentation without success ends this long after the cue; none: the
    /// taxon's default.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hold_s: Option<Seconds>,
    /// When the step counts as reached.
    #[serde(default)]
    pub criterion: Criterion,
    /// In how many sessions in a row the criterion must be met.
    #[serde(default = "one_session")]
    pub sessions: u32,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}

fn one_session() -> u32 {
    1
}

/// `k` successes of `n` valid presentations.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Criterion {
    /// Successes.
    pub k: u32,
    /// Of this many.
    pub n: u32,
}

impl Default for Criterion {
    /// 8 of 10: common practice, no source; the number is our default.
    fn default() -> Self {
        Self { k: 8, n: 10 }
    }
}
