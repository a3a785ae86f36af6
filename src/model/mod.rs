//! What a study is made of: pure data, its changes and its checks, no I/O.
//!
//! Each kind of file has its type: [`Study`], [`Ethogram`], [`Session`], [`Coding`]. Field order
//! is the order of keys on disk. Every struct keeps the keys it does not know in `extra`, so that
//! a file written by a newer Shedlight, or annotated by hand, survives a load and save.

mod animal;
mod coding;
mod edit;
mod ethogram;
mod ids;
mod mark;
mod person;
mod plan;
pub mod samples;
pub mod schema;
mod session;
pub mod starter;
mod study;
mod together;
pub mod validate;

pub use animal::{Animal, BehaviourConcern, Mass, Sex, Taxon};
pub use coding::{Coding, EthogramRef, Pass, Purpose, RecordingRule, Status};
pub use edit::{Change, Edit, EditError};
pub use ethogram::{
    Actor, Behaviour, ConcernRule, Context, Definition, Ethogram, Kind, Level, PassOutline, Rise, Role, Set,
};
pub use ids::{AnimalId, BehaviourId, ClipId, EthogramId, MarkId, PersonCode, PlanId, SessionId, SetId};
pub use mark::{End, Mark, Placed};
pub use person::{LagMeasured, Person};
pub use plan::{Criterion, EndRules, Plan, Step};
pub use session::{
    AcceptedFile, Choice, Clip, ClockAnchor, ClockSource, Decision, FaceCover, Facts, FilmDeleted,
    Fingerprint, Food, Gap, LeftOut, Session, ShedState, SyncPoint,
};
pub use study::{DoubleCoding, HouseTargets, NewCodings, Retention, Study};
pub use together::{Together, together};

/// Keys of a file that this version does not know, kept as they are.
pub type Extra = serde_json::Map<String, serde_json::Value>;

/// Version of the files this program writes, and the newest it reads.
pub const VERSION: u32 = 1;

/// `format` of a study file.
pub const STUDY_FORMAT: &str = "shedlight/study";
/// `format` of an ethogram file.
pub const ETHOGRAM_FORMAT: &str = "shedlight/ethogram";
/// `format` of a session file.
pub const SESSION_FORMAT: &str = "shedlight/session";
/// `format` of a coding file.
pub const CODING_FORMAT: &str = "shedlight/coding";

/// Leaves `false` out of files.
#[allow(clippy::trivially_copy_pass_by_ref)] // serde hands out a reference.
pub(crate) fn is_false(value: &bool) -> bool {
    !*value
}
