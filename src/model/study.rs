//! The study file: who and what, and the house's own settings.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Animal, AnimalId, EthogramId, Extra, Person, PersonCode, Plan, PlanId, STUDY_FORMAT, VERSION};
use crate::time::Seconds;

/// `study.json`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Study {
    /// `shedlight/study`.
    pub format: String,
    /// Version of the format.
    pub version: u32,
    /// Title.
    pub title: String,
    /// Where.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<String>,
    /// Time zone of the place, by IANA name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub zone: Option<String>,
    /// Who codes and handles.
    #[serde(default)]
    pub people: Vec<Person>,
    /// Whose behaviour is coded.
    #[serde(default)]
    pub animals: Vec<Animal>,
    /// What is trained.
    #[serde(default)]
    pub plans: Vec<Plan>,
    /// What the house holds itself to.
    #[serde(default)]
    pub targets: HouseTargets,
    /// Which sessions a second person codes.
    #[serde(default)]
    pub double_coding: DoubleCoding,
    /// Coding files, relative to the study, that training and drift checks compare with.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub reference_codings: Vec<String>,
    /// The ethogram that new codings are made under; none: the newest revision of the last one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub new_codings: Option<NewCodings>,
    /// Texts of the report by section.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub report: BTreeMap<String, String>,
    /// How long film is kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub retention: Option<Retention>,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}

impl Study {
    /// A study with nothing in it.
    #[must_use]
    pub fn new(title: &str) -> Self {
        Self {
            format: STUDY_FORMAT.to_owned(),
            version: VERSION,
            title: title.to_owned(),
            place: None,
            zone: None,
            people: Vec::new(),
            animals: Vec::new(),
            plans: Vec::new(),
            targets: HouseTargets::default(),
            double_coding: DoubleCoding::default(),
            reference_codings: Vec::new(),
            new_codings: None,
            report: BTreeMap::new(),
            retention: None,
            extra: Extra::new(),
        }
    }

    /// The animal of this id.
    #[must_use]
    pub fn animal(&self, id: &AnimalId) -> Option<&Animal> {
        self.animals.iter().find(|animal| animal.id == *id)
    }

    /// The person of this code.
    #[must_use]
    pub fn person(&self, code: &PersonCode) -> Option<&Person> {
        self.people.iter().find(|person| person.code == *code)
    }

    /// The plan of this id.
    #[must_use]
    pub fn plan(&self, id: &PlanId) -> Option<&Plan> {
        self.plans.iter().find(|plan| plan.id == *id)
    }
}

/// Targets the house sets itself; measured against, never hidden.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
pub struct HouseTargets {
    /// From a stop-level behaviour to the handler backing off, and from a refusal to its being honoured.
    pub back_off_s: Seconds,
    /// Share of observed time out of sight above which a session is flagged.
    pub out_of_sight_share: f64,
    /// Minutes of coding after which a break is proposed.
    pub break_minutes: f64,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}

impl Default for HouseTargets {
    /// Our own defaults, adjustable.
    fn default() -> Self {
        Self {
            back_off_s: Seconds::whole(5),
            out_of_sight_share: 0.2,
            break_minutes: 35.0,
            extra: Extra::new(),
        }
    }
}

/// How the sessions for a second coder are drawn.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
pub struct DoubleCoding {
    /// Share of sessions.
    pub share: f64,
    /// Seed of the draw, so that it can be repeated and checked.
    pub seed: u64,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}

impl Default for DoubleCoding {
    /// A quarter: our default within the usual 10–30 %.
    fn default() -> Self {
        Self { share: 0.25, seed: 1, extra: Extra::new() }
    }
}

/// Under which definitions new codings are made.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct NewCodings {
    /// The ethogram.
    pub ethogram: EthogramId,
    /// Its revision; none: always the newest.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub revision: Option<u32>,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}

/// How long film is kept.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Retention {
    /// Months after sign-off.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub months: Option<u32>,
    /// Months for film of incidents.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub incident_months: Option<u32>,
    /// Who may decide that film is deleted; nobody else may.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub deciders: Vec<PersonCode>,
    /// Who decided it, and anything else.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}
