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

    /// This study, as it is by now, with what was changed from `old` to `new`: each person, animal and plan for
    /// itself, the rest as one.
    #[must_use]
    pub fn with_changes(mut self, old: &Self, new: &Self) -> Self {
        changed(&mut self.people, &old.people, &new.people, |a, b| a.code == b.code);
        changed(&mut self.animals, &old.animals, &new.animals, |a, b| a.id == b.id);
        changed(&mut self.plans, &old.plans, &new.plans, |a, b| a.id == b.id);
        let (people, animals, plans) = (self.people, self.animals, self.plans);
        let bare = |study: &Self| Self {
            people: Vec::new(),
            animals: Vec::new(),
            plans: Vec::new(),
            ..study.clone()
        };
        let rest = if bare(old) == bare(new) {
            Self { people: Vec::new(), animals: Vec::new(), plans: Vec::new(), ..self }
        } else {
            bare(new)
        };
        Self { people, animals, plans, ..rest }
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

/// A list as it is by now, with what was added, changed or removed from one state of it to another.
fn changed<T: PartialEq + Clone>(now: &mut Vec<T>, old: &[T], new: &[T], is_same: impl Fn(&T, &T) -> bool) {
    let is_in = |list: &[T], own: &T| list.iter().any(|other| is_same(own, other));
    now.retain(|own| !is_in(old, own) || is_in(new, own));
    for own in new.iter().filter(|own| !old.contains(own)) {
        match now.iter_mut().find(|other| is_same(own, other)) {
            Some(other) => other.clone_from(own),
            None => now.push(own.clone()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn person(code: &str, role: &str) -> Person {
        Person { code: code.into(), role: Some(role.to_owned()), ..Person::default() }
    }

    #[test]
    fn what_two_windows_changed_stands_together() {
        let mut old = Study::new("Two windows");
        old.people = vec![person("A", "keeper"), person("B", "keeper"), person("C", "keeper")];
        let (mut one, mut other) = (old.clone(), old.clone());
        one.people[0].role = Some("lead".to_owned());
        one.people.push(person("D", "student"));
        one.place = Some("North house".to_owned());
        let _ = other.people.remove(1);
        other.people.push(person("E", "keeper"));
        let both = one.clone().with_changes(&old, &other);
        let of = |study: &Study| -> Vec<(String, String)> {
            study.people.iter().map(|own| (own.code.to_string(), own.role.clone().unwrap())).collect()
        };
        let wanted = [("A", "lead"), ("C", "keeper"), ("D", "student"), ("E", "keeper")];
        assert_eq!(of(&both), wanted.map(|(code, role)| (code.to_owned(), role.to_owned())));
        assert_eq!(
            both.place.as_deref(),
            Some("North house"),
            "what nobody here changed stays as it is by now"
        );
        // Of the same one, changed on both sides, this window's counts.
        let mut third = old.clone();
        third.people[0].role = Some("vet".to_owned());
        third.title = "Renamed".to_owned();
        let last = both.with_changes(&old, &third);
        assert_eq!((of(&last)[0].1.as_str(), last.title.as_str()), ("vet", "Renamed"));
    }
}
