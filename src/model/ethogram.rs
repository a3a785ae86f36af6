//! Ethograms: what counts as which behaviour, and what it means to the measures.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Animal, BehaviourId, ETHOGRAM_FORMAT, EthogramId, Extra, SetId, Taxon, VERSION};
use crate::time::Seconds;

/// One revision of an ethogram; frozen once a coding uses it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Ethogram {
    /// `shedlight/ethogram`.
    pub format: String,
    /// Version of the format.
    pub version: u32,
    /// Shared by all revisions.
    pub id: EthogramId,
    /// 1, 2, …
    pub revision: u32,
    /// Title.
    pub title: String,
    /// What this revision changed, and why.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub changed: Option<String>,
    /// States of which one at a time holds.
    #[serde(default)]
    pub sets: Vec<Set>,
    /// Behaviours, in the order they are shown and coloured.
    pub behaviours: Vec<Behaviour>,
    /// Passes proposed for a new coding.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub passes: Vec<PassOutline>,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}

impl Ethogram {
    /// An ethogram without behaviours.
    #[must_use]
    pub fn new(id: EthogramId, title: &str) -> Self {
        Self {
            format: ETHOGRAM_FORMAT.to_owned(),
            version: VERSION,
            id,
            revision: 1,
            title: title.to_owned(),
            changed: None,
            sets: Vec::new(),
            behaviours: Vec::new(),
            passes: Vec::new(),
            extra: Extra::new(),
        }
    }

    /// The behaviour of this id.
    #[must_use]
    pub fn behaviour(&self, id: &BehaviourId) -> Option<&Behaviour> {
        self.behaviours.iter().find(|behaviour| behaviour.id == *id)
    }

    /// The set of this id.
    #[must_use]
    pub fn set(&self, id: &SetId) -> Option<&Set> {
        self.sets.iter().find(|set| set.id == *id)
    }

    /// The states of a set, in the ethogram's order.
    pub fn states_of<'a>(&'a self, set: &'a SetId) -> impl Iterator<Item = &'a Behaviour> {
        self.behaviours
            .iter()
            .filter(move |behaviour| behaviour.kind == Kind::State && behaviour.set.as_ref() == Some(set))
    }

    /// The behaviours that have a role.
    pub fn with_role(&self, role: Role) -> impl Iterator<Item = &Behaviour> {
        self.behaviours.iter().filter(move |behaviour| behaviour.has_role(role))
    }

    /// The set that holds out of sight, and so decides what is visible (rule 11).
    #[must_use]
    pub fn visibility_set(&self) -> Option<&SetId> {
        self.with_role(Role::Excluded).find_map(|behaviour| behaviour.set.as_ref())
    }

    /// BLAKE3 of the ethogram as compact JSON, in hexadecimal: a coding keeps it to tell whether
    /// a frozen revision was changed by hand.
    ///
    /// # Errors
    /// When the ethogram can't be put into JSON, which its types exclude.
    pub fn digest(&self) -> Result<String, serde_json::Error> {
        Ok(blake3::hash(&serde_json::to_vec(self)?).to_hex().to_string())
    }
}

/// States of which one at a time holds.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Set {
    /// Its id.
    pub id: SetId,
    /// Its name.
    pub name: String,
    /// One of them always holds while the animal is visible.
    #[serde(default)]
    pub exhaustive: bool,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}

/// Behaviours to be coded in one run through the film.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct PassOutline {
    /// Its name.
    pub name: String,
    /// What is coded in it.
    pub behaviours: Vec<BehaviourId>,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}

/// One behaviour.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Behaviour {
    /// Its id; stays when it is renamed.
    pub id: BehaviourId,
    /// What it is called.
    pub name: String,
    /// Lasting or momentary.
    pub kind: Kind,
    /// The set it belongs to; a state without a set excludes nothing (rule 6).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub set: Option<SetId>,
    /// What counts, seen from outside.
    #[serde(default)]
    pub definition: Definition,
    /// Whose behaviour.
    #[serde(default)]
    pub who: Actor,
    /// The key that codes it: one letter or digit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub key: Option<char>,
    /// What it means to the measures.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub roles: Vec<Role>,
    /// What the handler should do about it (rule 23); empty: no concern.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub concern: Vec<ConcernRule>,
    /// Allowed refinements of a mark.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub details: Vec<String>,
    /// Bouts with a shorter gap between them are one bout in the measures (rule 10).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub new_bout_after_s: Option<Seconds>,
    /// Taxa it is used for; empty: all.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub taxa: Vec<Taxon>,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}

impl Behaviour {
    /// A behaviour of the animal without set, key, role or concern.
    #[must_use]
    pub fn new(id: &str, name: &str, kind: Kind) -> Self {
        Self {
            id: id.into(),
            name: name.to_owned(),
            kind,
            set: None,
            definition: Definition::default(),
            who: Actor::Animal,
            key: None,
            roles: Vec::new(),
            concern: Vec::new(),
            details: Vec::new(),
            new_bout_after_s: None,
            taxa: Vec::new(),
            extra: Extra::new(),
        }
    }

    /// Whether it has the role.
    #[must_use]
    pub fn has_role(&self, role: Role) -> bool {
        self.roles.contains(&role)
    }

    /// Whether it is used for animals of this taxon.
    #[must_use]
    pub fn fits(&self, taxon: Option<Taxon>) -> bool {
        self.taxa.is_empty() || taxon.is_none_or(|taxon| self.taxa.contains(&taxon))
    }

    /// Its rules of concern in an animal: the animal's own, else its taxon's, else the base (rule
    /// 23).
    pub fn concern_in<'r>(&'r self, animal: Option<&'r Animal>) -> impl Iterator<Item = &'r ConcernRule> {
        let own = animal
            .and_then(|animal| animal.concern.iter().find(|own| own.behaviour == self.id))
            .map(|own| own.rules.as_slice());
        let taxon = animal.and_then(|animal| animal.taxon);
        let rules = own.unwrap_or(&self.concern);
        let of_taxon = move |rule: &&ConcernRule| taxon.is_some_and(|taxon| rule.taxa.contains(&taxon));
        let any_of_taxon = rules.iter().any(|rule| of_taxon(&rule));
        rules.iter().filter(move |rule| if any_of_taxon { of_taxon(rule) } else { rule.taxa.is_empty() })
    }
}

/// What counts as the behaviour.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Definition {
    /// First picture of it.
    #[serde(default)]
    pub onset: String,
    /// First picture at which it no longer holds (states).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub offset: Option<String>,
    /// How long, how far or how often it must be.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub minimum: Option<String>,
    /// What does not count.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub not_this: Option<String>,
    /// An example.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub example: Option<String>,
    /// Something that looks like it and is not.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub near_miss: Option<String>,
    /// Pictures, relative to the study: `ethograms/stills/…`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub stills: Vec<String>,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}

/// Lasting or momentary.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// Has appreciable duration: measured by time and bouts.
    State,
    /// Momentary: measured by count.
    Event,
}

/// Whose behaviour.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Actor {
    /// The focal animal's: cut at out of sight.
    #[default]
    Animal,
    /// The handler's, or the surroundings': not cut at out of sight.
    Handler,
}

/// What a behaviour means to the measures. Users rename behaviours freely; roles drive the numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// The animal can be judged.
    Visible,
    /// Only the body can be judged: counts as visible, flagged.
    PartVisible,
    /// Out of sight: taken out of every denominator.
    Excluded,
    /// Turns to the reference.
    Orient,
    /// Begins to come nearer.
    Approach,
    /// Begins to go away.
    Retreat,
    /// Touches the target.
    Contact,
    /// Success, where the plan step names no behaviour of its own.
    Success,
    /// Refuses food.
    Refuse,
    /// Feeds.
    Feed,
    /// Freezes.
    Freeze,
    /// Tries to get out or away.
    Escape,
    /// Hides or withdraws.
    Hide,
    /// Defends itself.
    Defensive,
    /// Pulls the head back; neither approach nor retreat.
    DrawBack,
    /// The cue is shown: a presentation.
    Cue,
    /// The marker is given.
    Marker,
    /// Food is delivered.
    Food,
    /// The handler backs off.
    BackOff,
    /// The handler helps or lures.
    Prompt,
    /// The handler breaks the presentation off.
    Abort,
    /// The presentation does not count; the mark's reason says why.
    Void,
    /// Something from outside.
    Disturbance,
    /// The session begins.
    SessionStart,
    /// The session ends.
    SessionEnd,
    /// The handler touches or holds the animal.
    Handling,
}

/// What the handler should do about a behaviour.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Level {
    /// Nothing.
    #[default]
    None,
    /// Watch closely.
    Watch,
    /// Stop and back off.
    Stop,
}

impl Level {
    /// As it is shown; nothing for no concern.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::None => "",
            Self::Watch => "watch",
            Self::Stop => "stop",
        }
    }
}

/// One rule of concern (rule 23): of those that apply, the highest level holds.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ConcernRule {
    /// The level while it applies.
    pub level: Level,
    /// Where it applies.
    #[serde(default)]
    pub when: Context,
    /// Taxa it applies to; empty: all. A rule that names the animal's taxon stands over those that name none.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub taxa: Vec<Taxon>,
    /// Applies only to marks with this detail.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub detail: Option<String>,
    /// How the level rises.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rise: Option<Rise>,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}

impl ConcernRule {
    /// A level that applies anywhere and does not rise.
    #[must_use]
    pub fn new(level: Level) -> Self {
        Self { level, when: Context::Any, taxa: Vec::new(), detail: None, rise: None, extra: Extra::new() }
    }
}

/// Where a rule of concern applies.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Context {
    /// At any time.
    #[default]
    Any,
    /// Only inside a presentation.
    InPresentation,
}

/// How a level rises. Exactly one of `after_s`, `total_s` and (`count` with `window_s`) is given.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Rise {
    /// To this level.
    pub to: Level,
    /// Once a bout has run this long without a break.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub after_s: Option<Seconds>,
    /// Once its bouts in the session add up to this.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub total_s: Option<Seconds>,
    /// At this many onsets …
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub count: Option<u32>,
    /// … within this time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub window_s: Option<Seconds>,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}
