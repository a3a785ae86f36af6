//! People who film, handle or code.

use chrono::NaiveDate;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Extra, PersonCode};
use crate::time::Seconds;

/// A person, known in codings by a code so that names can be left out of what is shared.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Person {
    /// Their code.
    pub code: PersonCode,
    /// Their name, if it is to be kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// What they are here: keeper, student, welfare lead.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub role: Option<String>,
    /// How long after an onset they press a key while the film plays, measured on known onsets;
    /// taken off marks placed live (rule 8).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reaction_lag_s: Option<Seconds>,
    /// How that was measured; none: it was written by hand.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lag_measured: Option<LagMeasured>,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}

/// A measurement of a reaction lag; its median is [`Person::reaction_lag_s`].
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct LagMeasured {
    /// When.
    pub date: NaiveDate,
    /// Changes answered in time.
    pub n: u32,
    /// Changes that were missed.
    pub misses: u32,
    /// Presses before there was anything to react to.
    pub early: u32,
    /// From the first to the third quartile of the lags.
    pub iqr_s: Seconds,
    /// Median distance of the lags from their median.
    pub mad_s: Seconds,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}
