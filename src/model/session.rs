//! Sessions: one filmed occasion with one focal animal, and its clips on one clock.

use chrono::{DateTime, FixedOffset, NaiveDate};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{AnimalId, ClipId, Extra, PersonCode, PlanId, SESSION_FORMAT, SessionId, VERSION};
use crate::time::{ClipClock, Micros, Span, Spans, TimeBase};

/// `sessions/<id>/session.json`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Session {
    /// `shedlight/session`.
    pub format: String,
    /// Version of the format.
    pub version: u32,
    /// Its id, also the name of its folder.
    pub id: SessionId,
    /// The focal animal.
    pub animal: AnimalId,
    /// Who handled.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub handler: Option<PersonCode>,
    /// Wall clock of the session's start as the source in `clock_source` shows it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub recorded_at: Option<DateTime<FixedOffset>>,
    /// Time zone, by IANA name; none: the study's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub zone: Option<String>,
    /// How the wall clock is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clock_source: Option<ClockSource>,
    /// Points at which the true wall clock is known: one corrects the offset, two the drift.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub clock_anchors: Vec<ClockAnchor>,
    /// The plan that was followed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub plan: Option<PlanId>,
    /// Its step.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub step: Option<u32>,
    /// Conditions.
    #[serde(default)]
    pub facts: Facts,
    /// What was fed as reinforcer.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub food: Vec<Food>,
    /// Its film.
    #[serde(default)]
    pub clips: Vec<Clip>,
    /// Moments seen in two clips, by which their clocks were aligned.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub sync_points: Vec<SyncPoint>,
    /// Why it is left out of the measures.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub left_out: Option<LeftOut>,
    /// What was decided on the plan after it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub decision: Option<Decision>,
    /// Anything else.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub notes: Option<String>,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}

impl Session {
    /// A session without film.
    #[must_use]
    pub fn new(id: SessionId, animal: AnimalId) -> Self {
        Self {
            format: SESSION_FORMAT.to_owned(),
            version: VERSION,
            id,
            animal,
            handler: None,
            recorded_at: None,
            zone: None,
            clock_source: None,
            clock_anchors: Vec::new(),
            plan: None,
            step: None,
            facts: Facts::default(),
            food: Vec::new(),
            clips: Vec::new(),
            sync_points: Vec::new(),
            left_out: None,
            decision: None,
            notes: None,
            extra: Extra::new(),
        }
    }

    /// The clip of this id.
    #[must_use]
    pub fn clip(&self, id: ClipId) -> Option<&Clip> {
        self.clips.iter().find(|clip| clip.id == id)
    }

    /// Time covered by a picture of any clip: a stretch one camera lost may be on another. Clips
    /// whose length is not known yet are left out.
    #[must_use]
    pub fn film(&self) -> Spans {
        let seen = self.clips.iter().flat_map(|clip| {
            let lost: Spans = clip.gaps.iter().filter_map(|gap| Span::try_new(gap.from, gap.to)).collect();
            let whole: Spans = clip.span().into_iter().collect();
            whole.without(&lost).as_slice().to_vec()
        });
        seen.collect()
    }

    /// First picture to the end of the last, gaps included (rule 12).
    #[must_use]
    pub fn extent(&self) -> Option<Span> {
        let spans: Spans = self.clips.iter().filter_map(Clip::span).collect();
        let (first, last) = (spans.as_slice().first()?, spans.as_slice().last()?);
        Span::try_new(first.from, last.to)
    }

    /// Stretches between the first and the last picture without any: out of sight, "file gap" (rule 4).
    #[must_use]
    pub fn file_gaps(&self) -> Spans {
        self.extent().map(|extent| Spans::from(extent).without(&self.film())).unwrap_or_default()
    }

    /// Offset and drift by which `moved` lies as `fixed` does at the moments seen in both: from one
    /// moment the offset, from two or more (the first and the last) the drift too. `None` without
    /// a moment, or when the clocks would run apart by more than 2 %, which no camera's do.
    #[must_use]
    pub fn aligned(&self, fixed: ClipId, moved: ClipId) -> Option<(Micros, f64)> {
        let (still, other) = (self.clip(fixed)?.clock()?, self.clip(moved)?);
        let mut seen: Vec<(Micros, Micros)> = self
            .sync_points
            .iter()
            .filter_map(|point| match (point.clip, point.other) {
                (a, b) if (a, b) == (fixed, moved) => Some((point.at, point.other_at)),
                (a, b) if (a, b) == (moved, fixed) => Some((point.other_at, point.at)),
                _ => None,
            })
            .filter_map(|(at, own)| Some((still.session_time(at.0, TimeBase::MICROS)?, own)))
            .collect();
        seen.sort_unstable();
        let ((first, own_first), (last, own_last)) = (*seen.first()?, *seen.last()?);
        let drift = if own_last > own_first {
            (last - first).seconds() / (own_last - own_first).seconds() * other.real_time_factor - 1.0
        } else {
            other.drift
        };
        if drift.abs() > 0.02 {
            return None;
        }
        let from_start = ClipClock::try_new(Micros::ZERO, drift, other.real_time_factor)?
            .session_time(own_first.0, TimeBase::MICROS)?;
        Some((first - from_start, drift))
    }

    /// The wall clock at a session time, corrected by the anchors (rule 5).
    #[must_use]
    pub fn wall_clock(&self, at: Micros) -> Option<DateTime<FixedOffset>> {
        let shown = |at: Micros| self.recorded_at?.checked_add_signed(chrono::TimeDelta::microseconds(at.0));
        match self.clock_anchors.as_slice() {
            [] => shown(at),
            [only] => only.true_time.checked_add_signed(chrono::TimeDelta::microseconds((at - only.at).0)),
            [first, .., last] => {
                let film = i128::from((last.at - first.at).0);
                let truly = i128::from((last.true_time - first.true_time).num_microseconds()?);
                let since = i128::from((at - first.at).0);
                let scaled = if film > 0 { since * truly / film } else { since };
                let scaled = i64::try_from(scaled).ok()?;
                first.true_time.checked_add_signed(chrono::TimeDelta::microseconds(scaled))
            }
        }
    }

    /// Grams of all food together; `None` when no weight is known.
    #[must_use]
    pub fn food_grams(&self) -> Option<f64> {
        let known: Vec<f64> = self.food.iter().filter_map(|food| food.grams).collect();
        (!known.is_empty()).then(|| known.iter().sum())
    }
}

/// How a wall clock is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum ClockSource {
    /// The file says so.
    Camera,
    /// It is drawn into the picture.
    Overlay,
    /// A person said so.
    Person,
}

/// A point at which the true wall clock is known.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ClockAnchor {
    /// Session time.
    pub at: Micros,
    /// What the overlay or the file says there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub shown: Option<DateTime<FixedOffset>>,
    /// The true time there.
    pub true_time: DateTime<FixedOffset>,
    /// How it is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}

/// Conditions of a session: what is not said stays absent and is never taken for "no".
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Facts {
    /// Air temperature, °C.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub air_c: Option<f64>,
    /// Basking spot temperature, °C.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub basking_c: Option<f64>,
    /// Days since the last feed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub days_since_fed: Option<f64>,
    /// Where the animal is in its shed cycle.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub shed: Option<ShedState>,
    /// A disturbance was to be expected (works, visitors).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub disturbance_expected: Option<bool>,
    /// The animal could leave.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub exit_open: Option<bool>,
    /// Other food was in reach.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub other_food: Option<bool>,
    /// The enclosure was as usual.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub enclosure_as_usual: Option<bool>,
    /// The animal was apart from its group.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub apart_from_group: Option<bool>,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}

/// Where an animal is in its shed cycle.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum ShedState {
    /// Between sheds.
    Between,
    /// Dull or opaque: about to shed.
    Before,
    /// Shedding.
    Shedding,
    /// Just shed.
    After,
}

/// Food used as reinforcer.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Food {
    /// What.
    pub item: String,
    /// Grams of it in this session.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub grams: Option<f64>,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}

/// A video file as the camera wrote it; never altered.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Clip {
    /// Its id in the session.
    pub id: ClipId,
    /// Where it is, relative to the study (or absolute).
    pub path: String,
    /// By which it is found again when moved, and known to be unchanged (rule 32).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fingerprint: Option<Fingerprint>,
    /// Session time of its first picture.
    #[serde(default)]
    pub offset: Micros,
    /// How long it lasts in session time; measures need it when the film is not at hand.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub length: Option<Micros>,
    /// How much its clock runs slow against the session's, as a fraction (rule 1).
    #[serde(default, skip_serializing_if = "is_zero")]
    pub drift: f64,
    /// How many times faster it was filmed than it plays (rule 4).
    #[serde(default = "real_time", skip_serializing_if = "is_one")]
    pub real_time_factor: f64,
    /// Name of the camera, where there are several.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub camera: Option<String>,
    /// Stretches of session time that the file should hold and does not.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub gaps: Vec<Gap>,
    /// Rectangles that cover faces in what is shared.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub face_covers: Vec<FaceCover>,
    /// The film was deleted, by whose decision and why; what was coded of it stays.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub deleted: Option<FilmDeleted>,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}

#[allow(clippy::trivially_copy_pass_by_ref, clippy::float_cmp)] // serde's form; exactly the default.
fn is_zero(value: &f64) -> bool {
    *value == 0.0
}

#[allow(clippy::trivially_copy_pass_by_ref, clippy::float_cmp)] // serde's form; exactly the default.
fn is_one(value: &f64) -> bool {
    *value == 1.0
}

#[allow(clippy::trivially_copy_pass_by_ref)] // serde's form.
fn is_nobody(face: &u32) -> bool {
    *face == 0
}

fn real_time() -> f64 {
    1.0
}

impl Clip {
    /// A clip that starts with the session, in real time.
    #[must_use]
    pub fn new(id: ClipId, path: &str) -> Self {
        Self {
            id,
            path: path.to_owned(),
            fingerprint: None,
            offset: Micros::ZERO,
            length: None,
            drift: 0.0,
            real_time_factor: 1.0,
            camera: None,
            gaps: Vec::new(),
            face_covers: Vec::new(),
            deleted: None,
            extra: Extra::new(),
        }
    }

    /// How its time lies on the session's clock; `None` when drift or factor make no sense.
    #[must_use]
    pub fn clock(&self) -> Option<ClipClock> {
        ClipClock::try_new(self.offset, self.drift, self.real_time_factor)
    }

    /// The session time it covers, if its length is known.
    #[must_use]
    pub fn span(&self) -> Option<Span> {
        Span::try_new(self.offset, self.offset + self.length?)
    }
}

/// That film was deleted.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct FilmDeleted {
    /// When.
    pub on: NaiveDate,
    /// Who decided it.
    pub by: PersonCode,
    /// Why.
    pub reason: String,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}

/// By which a file is known (rule 32).
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Fingerprint {
    /// Bytes.
    pub size: u64,
    /// BLAKE3 of the first and the last MiB, in hexadecimal.
    pub ends: String,
    /// Number of frames, when known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub frames: Option<u32>,
    /// BLAKE3 of the whole file, when known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub whole: Option<String>,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}

/// A stretch of session time without a picture.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Gap {
    /// From.
    pub from: Micros,
    /// To.
    pub to: Micros,
    /// Why.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}

/// A rectangle that covers a face over a stretch of time; shares of the shown picture's width and height.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FaceCover {
    /// From.
    pub from: Micros,
    /// To.
    pub to: Micros,
    /// Left edge, 0–1.
    pub x: f64,
    /// Upper edge, 0–1.
    pub y: f64,
    /// Width, 0–1.
    pub width: f64,
    /// Height, 0–1.
    pub height: f64,
    /// Rectangles of the same face have the same number; none overlaps another of it in time.
    #[serde(default, skip_serializing_if = "is_nobody")]
    pub face: u32,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}

/// A moment seen in two clips.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct SyncPoint {
    /// What was seen or heard.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub what: Option<String>,
    /// One clip.
    pub clip: ClipId,
    /// Its own time there, from its first picture.
    pub at: Micros,
    /// The other clip.
    pub other: ClipId,
    /// Its own time there.
    pub other_at: Micros,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}

/// Why a session is left out of the measures.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct LeftOut {
    /// The reason.
    pub reason: String,
    /// Who decided it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<PersonCode>,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}

/// What was decided on the plan.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Decision {
    /// Which way.
    pub choice: Choice,
    /// The step to go on with.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to_step: Option<u32>,
    /// Why.
    pub reason: String,
    /// Who decided it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<PersonCode>,
    /// When.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub on: Option<NaiveDate>,
    /// Keys this version does not know.
    #[serde(flatten)]
    pub extra: Extra,
}

/// Ways to go on (rule 21).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Choice {
    /// To the next step.
    Advance,
    /// Same step.
    Stay,
    /// To an earlier step.
    StepBack,
    /// Not for now.
    Pause,
    /// To a veterinarian or another specialist.
    Refer,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn two_cameras() -> Session {
        let mut session = Session::new("s".into(), "a".into());
        session.clips = vec![Clip::new(ClipId(0), "a.mp4"), Clip::new(ClipId(1), "b.mp4")];
        session
    }

    fn point(at: i64, other_at: i64) -> SyncPoint {
        SyncPoint {
            what: None,
            clip: ClipId(0),
            at: Micros(at),
            other: ClipId(1),
            other_at: Micros(other_at),
            extra: Extra::new(),
        }
    }

    #[test]
    fn one_moment_gives_the_offset_and_two_the_drift_of_the_other_camera() {
        let mut session = two_cameras();
        assert_eq!(session.aligned(ClipId(0), ClipId(1)), None);
        session.sync_points.push(point(12_000_000, 13_840_000));
        assert_eq!(session.aligned(ClipId(0), ClipId(1)), Some((Micros(-1_840_000), 0.0)));
        // Named the other way round it is the same moment.
        assert_eq!(session.aligned(ClipId(1), ClipId(0)), Some((Micros(1_840_000), 0.0)));
        // A thousand seconds later the other camera has counted half a second less.
        session.sync_points.push(point(1_012_000_000, 1_013_340_000));
        let (offset, drift) = session.aligned(ClipId(0), ClipId(1)).unwrap();
        assert!((drift - 0.5 / 999.5).abs() < 1e-9, "{drift}");
        if let Some(clip) = session.clips.get_mut(1) {
            (clip.offset, clip.drift) = (offset, drift);
        }
        let clock = session.clip(ClipId(1)).and_then(Clip::clock).unwrap();
        for (at, own) in [(12_000_000, 13_840_000), (1_012_000_000, 1_013_340_000)] {
            let found = clock.session_time(own, TimeBase::MICROS).unwrap();
            assert!((found.0 - at).abs() <= 1, "{found:?} for {at}");
        }
        // Not the same moment: no camera runs that wrong.
        session.sync_points.push(point(1_100_000_000, 1_013_350_000));
        assert_eq!(session.aligned(ClipId(0), ClipId(1)), None);
    }
}
