//! Everything counted in one record, ready to be written or added to others.

use crate::measures::bouts::{self, Tally};
use crate::measures::concern::{self, Concern};
use crate::measures::presentations::{self, Presentation};
use crate::measures::record::{Missing, Record};
use crate::model::{BehaviourId, Kind, Role};
use crate::time::Micros;

/// One behaviour of a record.
#[derive(Debug, Clone)]
pub(super) struct Counted {
    pub(super) id: BehaviourId,
    pub(super) name: String,
    pub(super) kind: Kind,
    pub(super) is_out_of_sight: bool,
    pub(super) tally: Result<Tally, Missing>,
}

/// What was counted.
#[derive(Debug, Clone)]
pub struct Counts {
    pub(super) session: String,
    pub(super) observed: Micros,
    pub(super) visible: Result<Micros, Missing>,
    pub(super) behaviours: Vec<Counted>,
    pub(super) approaches: Result<u32, Missing>,
    pub(super) retreats: Result<u32, Missing>,
    /// The presentations; why they can't be had.
    pub(super) presentations: Result<Vec<Presentation>, Missing>,
    pub(super) honoured: (u32, u32),
    pub(super) criterion: Option<(u32, u32)>,
    pub(super) food: Result<u32, Missing>,
    /// From each marker to its food, or none.
    pub(super) deliveries: Result<Vec<Option<Micros>>, Missing>,
    pub(super) back_off_target: Micros,
    pub(super) grams: Option<f64>,
    pub(super) concern: Result<Concern, Missing>,
    pub(super) resumes: Vec<(Micros, Option<Micros>)>,
}

impl Counts {
    /// Counts a record.
    #[must_use]
    pub fn of(record: &Record<'_>) -> Self {
        let role_count = |role| {
            record.is_role_done(role)?;
            Ok(u32::try_from(record.role_onsets(role).len()).unwrap_or(u32::MAX))
        };
        let found = presentations::of(record);
        let presentations = record.is_role_done(Role::Cue).map(|()| found.clone());
        let concern = concern::if_coded(record, &found);
        Self {
            session: record.session.id.to_string(),
            observed: record.window().length(),
            visible: record.visible().map(crate::time::Spans::total),
            behaviours: record
                .ethogram
                .behaviours
                .iter()
                .map(|b| Counted {
                    id: b.id.clone(),
                    name: b.name.clone(),
                    kind: b.kind,
                    is_out_of_sight: b.has_role(Role::Excluded),
                    tally: bouts::tally(record, b),
                })
                .collect(),
            approaches: role_count(Role::Approach),
            retreats: role_count(Role::Retreat),
            honoured: concern::honoured(record, &found),
            presentations,
            criterion: record.step().map(|step| (step.criterion.k, step.criterion.n)),
            food: role_count(Role::Food),
            deliveries: deliveries(record),
            back_off_target: record.study.targets.back_off_s.micros(),
            grams: record.session.food_grams(),
            concern,
            resumes: concern::resumes(record),
        }
    }
}

/// From each marker to the first food after it and before the next marker.
fn deliveries(record: &Record<'_>) -> Result<Vec<Option<Micros>>, Missing> {
    record.is_role_done(Role::Marker)?;
    record.is_role_done(Role::Food)?;
    let (markers, food) = (record.role_onsets(Role::Marker), record.role_onsets(Role::Food));
    let next = markers.iter().skip(1).map(|(at, _)| *at).chain([Micros::MAX]);
    let of_marker = |((marker, _), next): (&(Micros, _), Micros)| {
        let first = food.iter().map(|(at, _)| *at).find(|at| at >= marker)?;
        (first < next).then(|| first - *marker)
    };
    Ok(markers.iter().zip(next).map(of_marker).collect())
}
