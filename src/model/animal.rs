//! Animals.

use chrono::NaiveDate;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{AnimalId, BehaviourId, ConcernRule, Extra};
use crate::time::Seconds;

/// An animal of the study.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Animal {
    /// Its id.
    pub id: AnimalId,
    /// What it is called.
    pub name: String,
    /// Species, common or scientific name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub species: Option<String>,
    /// Which of the starter ethograms and defaults fit it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub taxon: Option<Taxon>,
    /// Sex.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sex: Option<Sex>,
    /// Born or hatched: a date, a year, or words ("about 2012").
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub born: Option<String>,
    /// Last weighing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mass: Option<Mass>,
    /// Where it came from and when.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub origin: Option<String>,
    /// Microchip, ring, scute marks.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub identification: Option<String>,
    /// What its behaviours mean in this animal, over taxon and base (rule 23).
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub concern: Vec<BehaviourConcern>,
    /// What makes it unusual: rearing, health, history of training.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub notes: Option<String>,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}

/// A body mass with its date.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Mass {
    /// Grams.
    pub grams: f64,
    /// When it was weighed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub on: Option<NaiveDate>,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}

/// Sex.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Sex {
    /// Female.
    Female,
    /// Male.
    Male,
    /// Not known.
    Unknown,
}

/// Groups of reptiles whose behaviour is read differently.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Taxon {
    /// Snakes.
    Snake,
    /// Lizards.
    Lizard,
    /// Tortoises and turtles.
    Chelonian,
}

impl Taxon {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Snake, Self::Lizard, Self::Chelonian];

    /// Limited hold of a presentation where the plan step names none (our default, adjustable).
    #[must_use]
    pub const fn default_hold(self) -> Seconds {
        match self {
            Self::Chelonian => Seconds::whole(60),
            Self::Snake | Self::Lizard => Seconds::whole(30),
        }
    }

    /// As people read it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Snake => "snake",
            Self::Lizard => "lizard",
            Self::Chelonian => "tortoise or turtle",
        }
    }
}

/// Concern rules of one behaviour in one animal; they replace the behaviour's own.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct BehaviourConcern {
    /// Which behaviour.
    pub behaviour: BehaviourId,
    /// Its rules here; empty: no concern.
    pub rules: Vec<ConcernRule>,
    /// Why it is read differently.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}
