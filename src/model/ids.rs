//! Names things have inside a study. Each kind has its own type, so that none is taken for another.

use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

macro_rules! text_ids {
    ($($(#[$doc:meta])* $name:ident;)*) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize, JsonSchema)]
        #[serde(transparent)]
        pub struct $name(String);

        impl $name {
            /// The id as text.
            #[must_use]
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl From<&str> for $name {
            fn from(id: &str) -> Self {
                Self(id.to_owned())
            }
        }

        impl From<String> for $name {
            fn from(id: String) -> Self {
                Self(id)
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.pad(&self.0)
            }
        }
    )*};
}

text_ids! {
    /// An animal of the study.
    AnimalId;
    /// A behaviour of an ethogram; stays when the behaviour is renamed.
    BehaviourId;
    /// A set of states of which one at a time holds.
    SetId;
    /// An ethogram; its revisions share it.
    EthogramId;
    /// A training plan.
    PlanId;
    /// A session: also the name of its folder.
    SessionId;
    /// A person's code: also the start of the name of their coding files.
    PersonCode;
}

/// A clip of a session, from 0 in the order they were added; never reused.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize, JsonSchema,
)]
#[serde(transparent)]
pub struct ClipId(pub u32);

/// A mark of a coding.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize, JsonSchema,
)]
#[serde(transparent)]
pub struct MarkId(pub u64);
