//! Marks: one coded thing each.

use schemars::JsonSchema;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::{BehaviourId, ClipId, Extra, MarkId};
use crate::time::{FrameNumber, Micros, Span};

/// An event (a moment) or a bout of a state (from, to).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Mark {
    /// Its id in the coding.
    pub id: MarkId,
    /// What.
    pub behaviour: BehaviourId,
    /// Session time of the first picture that shows it.
    pub from: Micros,
    /// First moment at which it no longer holds: a number, `null` while the bout is open; an event has none.
    #[serde(default, skip_serializing_if = "End::is_event")]
    #[schemars(with = "Option<Micros>")]
    pub to: End,
    /// The clip whose picture `from` sits on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clip: Option<ClipId>,
    /// That picture's number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub frame: Option<FrameNumber>,
    /// The clip whose picture `to` sits on, when it is another one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to_clip: Option<ClipId>,
    /// The picture that `to` sits on; none: the end of a clip, seam or window.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to_frame: Option<FrameNumber>,
    /// In a coding by samples: the number of the point at which it held or of the interval in which it
    /// occurred, from 1. Such a mark has no `to`, also that of a state.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sample: Option<u32>,
    /// A refinement the behaviour allows.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub detail: Option<String>,
    /// The coder was not sure.
    #[serde(default, skip_serializing_if = "super::is_false")]
    pub unsure: bool,
    /// A remark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// How it was placed.
    #[serde(default)]
    pub placed: Placed,
    /// Why: of a void, of an agreed mark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}

impl Mark {
    /// An event.
    #[must_use]
    pub fn event(id: MarkId, behaviour: BehaviourId, at: Micros) -> Self {
        Self {
            id,
            behaviour,
            from: at,
            to: End::Event,
            clip: None,
            frame: None,
            to_clip: None,
            to_frame: None,
            sample: None,
            detail: None,
            unsure: false,
            note: None,
            placed: Placed::Stepped,
            reason: None,
            extra: Extra::new(),
        }
    }

    /// A bout; open when `to` is `None`.
    #[must_use]
    pub fn bout(id: MarkId, behaviour: BehaviourId, from: Micros, to: Option<Micros>) -> Self {
        Self { to: to.map_or(End::Open, End::At), ..Self::event(id, behaviour, from) }
    }

    /// Whether it is a moment.
    #[must_use]
    pub const fn is_event(&self) -> bool {
        matches!(self.to, End::Event)
    }

    /// Whether it is a bout that has not ended yet.
    #[must_use]
    pub const fn is_open(&self) -> bool {
        matches!(self.to, End::Open)
    }

    /// The bout's time, an open one taken to run until `open_until`; `None` for an event and for
    /// a bout that would end before it starts.
    #[must_use]
    pub fn span(&self, open_until: Micros) -> Option<Span> {
        self.to.span(self.from, open_until)
    }
}

/// How a mark ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum End {
    /// It is a moment and has no end.
    #[default]
    Event,
    /// It has not ended yet.
    Open,
    /// The first moment at which it no longer holds.
    At(Micros),
}

impl End {
    /// As [`Mark::span`], of a mark that begins at `from`.
    #[must_use]
    pub fn span(self, from: Micros, open_until: Micros) -> Option<Span> {
        match self {
            Self::Event => None,
            Self::Open => Span::try_new(from, open_until),
            Self::At(to) => Span::try_new(from, to),
        }
    }

    /// Whether there is no end to write.
    #[must_use]
    pub const fn is_event(&self) -> bool {
        matches!(self, Self::Event)
    }
}

impl Serialize for End {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self {
            Self::Event | Self::Open => serializer.serialize_none(),
            Self::At(to) => to.serialize(serializer),
        }
    }
}

impl<'de> Deserialize<'de> for End {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Ok(Option::<Micros>::deserialize(deserializer)?.map_or(Self::Open, Self::At))
    }
}

/// How a mark was placed; agreement of the two kinds differs.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Placed {
    /// On a picture that stood still.
    #[default]
    Stepped,
    /// While the film ran (rule 8).
    Live {
        /// Speed of the film, as a multiple of real time.
        speed: f64,
        /// Time of the picture shown when the key went down.
        raw: Micros,
        /// Reaction lag that was taken off, in µs of the coder's time (before × speed).
        lag: Micros,
    },
}
