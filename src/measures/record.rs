//! One coding, prepared for measuring: what was observed, what was seen, the bouts as they count.

use std::collections::BTreeMap;
use std::fmt;

use crate::model::{
    Actor, Animal, Behaviour, BehaviourId, Coding, Ethogram, Kind, Mark, MarkId, Plan, Purpose,
    RecordingRule, Role, Session, Step, Study, Taxon,
};
use crate::numeric::Undefined;
use crate::time::{Micros, Span, Spans};

/// Which marks are measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Marks {
    /// All there are, of done passes and others: for a record in the making.
    AsTheyStand,
    /// All of done passes (rule 13).
    #[default]
    All,
    /// Without those flagged unsure.
    WithoutUnsure,
}

/// Why a value is not there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Missing {
    /// A pass that holds the behaviour is not done (rule 13).
    PassNotDone,
    /// No behaviour of the ethogram has the role.
    NoSuchRole,
    /// The animal was never visible.
    NeverVisible,
    /// There is nothing to measure.
    None,
    /// Fewer cases than the measure needs.
    TooFew,
    /// The curve never falls to one half.
    MedianNotReached,
    /// An event has no duration.
    NoDuration,
    /// Every bout is cut by an edge or by out of sight.
    AllCut,
    /// Only samples were recorded, not all of the behaviour.
    NotContinuous,
    /// All of the behaviour was recorded, not samples.
    NotSampled,
    /// The ethogram of the session does not have it.
    NotInEthogram,
    /// A session has no wall clock.
    NoClock,
    /// Even the shortest interval tried misses too much.
    NoInterval,
    /// The statistic has no value.
    Undefined(Undefined),
}

impl From<Undefined> for Missing {
    fn from(why: Undefined) -> Self {
        if why == Undefined::TooFew { Self::TooFew } else { Self::Undefined(why) }
    }
}

impl fmt::Display for Missing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::PassNotDone => "pass not done",
            Self::NoSuchRole => "no behaviour has this role",
            Self::NeverVisible => "never visible",
            Self::None => "none",
            Self::TooFew => "too few",
            Self::MedianNotReached => "median not reached",
            Self::NoDuration => "an event has no duration",
            Self::AllCut => "every bout is cut by an edge or by out of sight",
            Self::NotContinuous => "not recorded continuously",
            Self::NotSampled => "not recorded by samples",
            Self::NotInEthogram => "not in the ethogram of the session",
            Self::NoClock => "a session has no wall clock",
            Self::NoInterval => "even the shortest interval tried misses too much",
            Self::Undefined(why) => return why.fmt(f),
        })
    }
}

/// Whether a bout's edge was seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Seen {
    /// It was.
    Whole,
    /// The bout was already going on, or went on, where it can't be seen.
    Cut,
}

/// A bout as it counts (rule 15).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Bout {
    /// Its time.
    pub span: Span,
    /// Whether its start was seen.
    pub start: Seen,
    /// Whether its end was seen.
    pub end: Seen,
    /// The mark it begins with, to go back to the picture.
    pub mark: MarkId,
}

impl Bout {
    /// Both edges were seen.
    #[must_use]
    pub fn is_complete(&self) -> bool {
        self.start == Seen::Whole && self.end == Seen::Whole
    }
}

/// One coding, prepared.
#[derive(Debug, Clone)]
pub struct Record<'a> {
    /// The coding.
    pub coding: &'a Coding,
    /// Its definitions.
    pub ethogram: &'a Ethogram,
    /// Its session.
    pub session: &'a Session,
    /// The study, for animal, plan and targets.
    pub study: &'a Study,
    marks: Marks,
    /// Found once: a long record is asked for each of its behaviours many times.
    by_behaviour: BTreeMap<&'a BehaviourId, Vec<&'a Mark>>,
    window: Span,
    excluded: Spans,
    visible: Spans,
}

impl<'a> Record<'a> {
    /// Prepares a coding; `None` when the length of the session is not known (no film measured, no
    /// window, no session marks).
    #[must_use]
    pub fn try_new(
        coding: &'a Coding,
        ethogram: &'a Ethogram,
        session: &'a Session,
        study: &'a Study,
        marks: Marks,
    ) -> Option<Self> {
        let window = if marks == Marks::AsTheyStand {
            coding.observed_window(ethogram, session)
        } else {
            coding.observed_window_of_done_passes(ethogram, session)
        };
        let window = window.filter(|window| !window.is_empty())?;
        let mut record = Self {
            coding,
            ethogram,
            session,
            study,
            marks,
            by_behaviour: coding.by_behaviour(Some),
            window,
            excluded: Spans::default(),
            visible: Spans::default(),
        };
        let hidden: Vec<Span> = ethogram
            .with_role(Role::Excluded)
            .flat_map(|behaviour| record.marks_of(behaviour))
            .filter_map(|mark| mark.span(window.to))
            .collect();
        let gaps = session.file_gaps();
        let all = hidden.into_iter().chain(gaps.as_slice().iter().copied());
        record.excluded = Spans::union_of(all).intersection(&window.into());
        record.visible = Spans::from(window).without(&record.excluded);
        Some(record)
    }

    /// The stretch that was observed (rule 12), gaps of the film included.
    #[must_use]
    pub fn window(&self) -> Span {
        self.window
    }

    /// Time out of sight within it.
    #[must_use]
    pub fn excluded(&self) -> &Spans {
        &self.excluded
    }

    /// Time in sight within it.
    ///
    /// # Errors
    /// When out of sight was not coded to its end, or only in samples: then nobody knows.
    pub fn visible(&self) -> Result<&Spans, Missing> {
        self.is_continuous()?;
        let coded = self.ethogram.with_role(Role::Excluded).all(|b| self.coding.is_done(&b.id));
        if coded { Ok(&self.visible) } else { Err(Missing::PassNotDone) }
    }

    /// Time in sight as far as it was coded, for a record in the making.
    #[must_use]
    pub fn visible_so_far(&self) -> &Spans {
        &self.visible
    }

    /// The animal.
    #[must_use]
    pub fn animal(&self) -> Option<&'a Animal> {
        self.study.animal(&self.session.animal)
    }

    /// Its taxon.
    #[must_use]
    pub fn taxon(&self) -> Option<Taxon> {
        self.animal()?.taxon
    }

    /// The plan that was followed.
    #[must_use]
    pub fn plan(&self) -> Option<&'a Plan> {
        self.study.plan(self.session.plan.as_ref()?)
    }

    /// Its step.
    #[must_use]
    pub fn step(&self) -> Option<&'a Step> {
        let n = self.session.step?;
        self.plan()?.steps.iter().find(|step| step.n == n)
    }

    /// The marks of a behaviour that are measured, in order.
    pub fn marks_of<'s>(&'s self, behaviour: &'s Behaviour) -> impl Iterator<Item = &'a Mark> + 's {
        let counts = self.is_live() || self.coding.is_done(&behaviour.id);
        let unsure = self.marks != Marks::WithoutUnsure;
        let own = self.by_behaviour.get(&behaviour.id).filter(|_| counts);
        own.into_iter().flatten().copied().filter(move |mark| unsure || !mark.unsure)
    }

    /// Whether marks flagged unsure are measured too.
    #[must_use]
    pub fn with_unsure(&self) -> bool {
        self.marks != Marks::WithoutUnsure
    }

    /// A record in the making, of which everything is shown as it stands.
    #[must_use]
    pub fn is_live(&self) -> bool {
        self.marks == Marks::AsTheyStand
    }

    /// Whether what behaviours of a role would tell is there: coded to its end, or in the making. A
    /// role no behaviour has tells that nothing of it happened.
    #[must_use]
    pub fn is_coded(&self, role: Role) -> bool {
        let is_missing = |why| matches!(why, Err(Missing::PassNotDone | Missing::NotContinuous));
        self.is_live() || !is_missing(self.is_role_done(role))
    }

    /// Whether it is the one that counts for its session and the session is not left out (rule 14).
    #[must_use]
    pub fn is_counted(&self) -> bool {
        self.coding.purpose == Purpose::Primary && self.session.left_out.is_none()
    }

    /// That all of the behaviour was recorded, not samples of it: what needs exact times needs this.
    ///
    /// # Errors
    /// When the coding was made by sampling.
    pub fn is_continuous(&self) -> Result<(), Missing> {
        if self.coding.rule == RecordingRule::Continuous { Ok(()) } else { Err(Missing::NotContinuous) }
    }

    /// Whether every behaviour of a role is coded to its end; `Err` also when none has the role.
    ///
    /// # Errors
    /// Why a measure of the role has no value.
    pub fn is_role_done(&self, role: Role) -> Result<(), Missing> {
        self.is_continuous()?;
        let mut any = false;
        for behaviour in self.ethogram.with_role(role) {
            any = true;
            if !self.coding.is_done(&behaviour.id) {
                return Err(Missing::PassNotDone);
            }
        }
        if any { Ok(()) } else { Err(Missing::NoSuchRole) }
    }

    /// Bouts of a state as they count: joined (rule 10), cut at the window and, for the animal's
    /// states, at out of sight (rules 11 and 15).
    #[must_use]
    pub fn bouts(&self, behaviour: &Behaviour) -> Vec<Bout> {
        self.bouts_where(behaviour, &|_| true)
    }

    /// Bouts made of some of its marks only, as when a rule looks at one detail.
    #[must_use]
    pub fn bouts_where(&self, behaviour: &Behaviour, fits: &dyn Fn(&Mark) -> bool) -> Vec<Bout> {
        let gap = behaviour.new_bout_after_s.unwrap_or_default().micros();
        let mut joined: Vec<(Span, MarkId)> = Vec::new();
        let mut marks: Vec<(Span, MarkId)> = self
            .marks_of(behaviour)
            .filter(|mark| fits(mark))
            .filter_map(|mark| Some((mark.span(self.window.to)?, mark.id)))
            .filter(|(span, _)| !span.is_empty())
            .collect();
        marks.sort_unstable();
        for (span, id) in marks {
            match joined.last_mut() {
                Some((last, _)) if span.from <= last.to || span.from - last.to < gap => {
                    last.to = last.to.max(span.to);
                }
                _ => joined.push((span, id)),
            }
        }
        let is_cut = behaviour.who == Actor::Animal && !behaviour.has_role(Role::Excluded);
        let none = Spans::default();
        let hidden = if is_cut { &self.excluded } else { &none };
        let touches = |at: Micros| {
            // Sorted and disjoint: only the span that ends at, begins at or holds the moment matters.
            let first = hidden.as_slice().partition_point(|span| span.to < at);
            hidden.as_slice().get(first).is_some_and(|span| span.from <= at && at <= span.to)
        };
        let mut bouts = Vec::new();
        for (span, mark) in joined {
            let Some(inside) = span.intersection(self.window) else { continue };
            for piece in &Spans::from(inside).without(hidden) {
                let seen = |at: Micros, edge: Micros| {
                    if at == edge || touches(at) { Seen::Cut } else { Seen::Whole }
                };
                bouts.push(Bout {
                    span: *piece,
                    start: seen(piece.from, self.window.from),
                    end: seen(piece.to, self.window.to),
                    mark,
                });
            }
        }
        bouts
    }

    /// Moments of an event, and onsets of a state's bouts, as they count: in the window, and for the
    /// animal's behaviour in sight (rule 16); onsets that were not seen are none.
    #[must_use]
    pub fn onsets(&self, behaviour: &Behaviour) -> Vec<(Micros, MarkId)> {
        match behaviour.kind {
            Kind::State => self
                .bouts(behaviour)
                .into_iter()
                .filter(|bout| bout.start == Seen::Whole || self.is_first_moment(bout.span.from, bout.mark))
                .map(|bout| (bout.span.from, bout.mark))
                .collect(),
            Kind::Event => {
                let is_cut = behaviour.who == Actor::Animal;
                let counts = |at: Micros| self.window.contains(at) && !(is_cut && self.excluded.contains(at));
                let mut moments: Vec<(Micros, MarkId)> = self
                    .marks_of(behaviour)
                    .filter(|mark| counts(mark.from))
                    .map(|mark| (mark.from, mark.id))
                    .collect();
                moments.sort_unstable();
                moments
            }
        }
    }

    /// A bout coded to begin exactly where the animal comes into sight did begin there, as far as
    /// anyone can tell; one that was cut there began earlier.
    fn is_first_moment(&self, at: Micros, mark: MarkId) -> bool {
        self.coding.mark(mark).is_some_and(|mark| mark.from == at)
    }

    /// Onsets of all behaviours with a role, in order.
    #[must_use]
    pub fn role_onsets(&self, role: Role) -> Vec<(Micros, MarkId)> {
        let mut all: Vec<(Micros, MarkId)> =
            self.ethogram.with_role(role).flat_map(|behaviour| self.onsets(behaviour)).collect();
        all.sort_unstable();
        all
    }

    /// The film's own end of the observed stretch is known only when a coding is closed or its
    /// session is over; while it is being made a presentation may still run.
    #[must_use]
    pub fn is_closed(&self) -> bool {
        self.coding.status == crate::model::Status::Closed
    }
}
