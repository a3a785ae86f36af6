//! Which state follows which, in sets of which one at a time holds.
//!
//! A transition is counted only where one state was seen to give way to the next: never across two
//! sessions, out of sight, a gap of the film, or a stretch for which no state of the set was coded.

use std::fmt;
use std::num::NonZeroUsize;

use super::record::{Missing, Record};
use crate::model::{Actor, Behaviour, BehaviourId, MarkId, Role, SessionId, SetId};
use crate::numeric::Undefined;
use crate::numeric::contingency::{Fit, YuleQ, independence, quasi_independence};
use crate::time::{Micros, Span, Spans};

/// How often each state was followed by each other; rows given, columns following.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Counts {
    rows: Vec<Vec<u32>>,
}

impl Counts {
    fn new(states: usize) -> Self {
        Self { rows: vec![vec![0; states]; states] }
    }

    fn add(&mut self, from: usize, to: usize) {
        if let Some(cell) = self.rows.get_mut(from).and_then(|row| row.get_mut(to)) {
            *cell += 1;
        }
    }

    /// The table.
    #[must_use]
    pub fn rows(&self) -> &[Vec<u32>] {
        &self.rows
    }

    /// One cell; 0 outside the table.
    #[must_use]
    pub fn cell(&self, from: usize, to: usize) -> u32 {
        self.rows.get(from).and_then(|row| row.get(to)).copied().unwrap_or(0)
    }

    /// Everything counted.
    #[must_use]
    pub fn total(&self) -> u32 {
        self.rows.iter().flatten().sum()
    }

    /// Times a state was followed by any.
    #[must_use]
    pub fn followed(&self, from: usize) -> u32 {
        self.rows.get(from).map_or(0, |row| row.iter().sum())
    }

    /// Times a state followed any.
    #[must_use]
    pub fn following(&self, to: usize) -> u32 {
        self.rows.iter().filter_map(|row| row.get(to)).sum()
    }

    /// Share of a state's followers that are this one: n(i, j)/n(i).
    ///
    /// # Errors
    /// When nothing followed it.
    pub fn conditional(&self, from: usize, to: usize) -> Result<f64, Undefined> {
        match self.followed(from) {
            0 => Err(Undefined::NoEvents),
            of => Ok(f64::from(self.cell(from, to)) / f64::from(of)),
        }
    }

    /// Yule's Q of "this state or another was given" by "this state or another followed".
    ///
    /// # Errors
    /// When one of the two was always so.
    pub fn yule(&self, from: usize, to: usize) -> Result<YuleQ, Undefined> {
        let both = self.cell(from, to);
        let (given, after) = (self.followed(from) - both, self.following(to) - both);
        let neither = self.total() - both - given - after;
        YuleQ::of([[both, given], [after, neither]].map(|row| row.map(f64::from)))
    }

    fn floats(&self) -> Vec<Vec<f64>> {
        self.rows.iter().map(|row| row.iter().map(|n| f64::from(*n)).collect()).collect()
    }
}

/// Counts in sequences of states given by their places, at a lag: 1 is the next, 2 the one after it.
#[must_use]
pub fn count_codes(sequences: &[Vec<usize>], states: usize, lag: usize) -> Counts {
    let mut counts = Counts::new(states);
    for sequence in sequences {
        for (from, to) in sequence.iter().zip(sequence.iter().skip(lag)) {
            counts.add(*from, *to);
        }
    }
    counts
}

/// What becomes of a state that is followed by itself, as when a bout was coded in two marks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Repeats {
    /// It is one bout (rule 10): nothing follows itself, and chance is reckoned without the diagonal. Ours.
    #[default]
    Merged,
    /// Marks that touch are two bouts: a state may follow itself.
    Kept,
}

/// Which expectation the counts are held against.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Chance {
    /// Rows and columns independent.
    Independence,
    /// Independent but for the diagonal, which cannot be.
    QuasiIndependence,
}

/// A transition that was counted: the picture to go back to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Moment {
    /// Its session.
    pub session: SessionId,
    /// When the later state began.
    pub at: Micros,
    /// The later state's mark.
    pub mark: MarkId,
    /// Place of the earlier state among `states`.
    pub from: usize,
    /// Place of the later one.
    pub to: usize,
}

/// Transitions of a set in one session or several.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Transitions {
    /// The set.
    pub set: SetId,
    /// Its states in the ethogram's order, without those that mean out of sight.
    pub states: Vec<BehaviourId>,
    /// How many states further on.
    pub lag: NonZeroUsize,
    /// What became of repeats.
    pub repeats: Repeats,
    /// The counts.
    pub counts: Counts,
    /// Each transition counted, in order.
    pub moments: Vec<Moment>,
    /// Sessions that count.
    pub sessions: Vec<SessionId>,
    /// Sessions that can't be counted, and why.
    pub left_out: Vec<(SessionId, Missing)>,
}

/// A state as it holds without a break.
struct Link {
    state: usize,
    span: Span,
    mark: MarkId,
}

impl Transitions {
    /// Of a set in records of different sessions (rule 14 says which). Sessions that follow different
    /// revisions are pooled over the states of all of them.
    ///
    /// # Errors
    /// When no record can be counted: the reason of the first.
    pub fn of(
        records: &[&Record<'_>],
        set: &SetId,
        lag: NonZeroUsize,
        repeats: Repeats,
    ) -> Result<Self, Missing> {
        let mut states: Vec<BehaviourId> = Vec::new();
        let (mut usable, mut left_out) = (Vec::new(), Vec::new());
        for record in records {
            match codable(record, set) {
                Ok(own) => {
                    states.extend(
                        own.iter()
                            .map(|b| b.id.clone())
                            .filter(|id| !states.contains(id))
                            .collect::<Vec<_>>(),
                    );
                    usable.push((*record, own));
                }
                Err(why) => left_out.push((record.session.id.clone(), why)),
            }
        }
        if usable.is_empty() {
            return Err(left_out.first().map_or(Missing::None, |(_, why)| *why));
        }
        let mut counts = Counts::new(states.len());
        let mut moments = Vec::new();
        for (record, own) in &usable {
            for chain in chains(record, own, &states, repeats) {
                for (from, to) in chain.iter().zip(chain.iter().skip(lag.get())) {
                    counts.add(from.state, to.state);
                    moments.push(Moment {
                        session: record.session.id.clone(),
                        at: to.span.from,
                        mark: to.mark,
                        from: from.state,
                        to: to.state,
                    });
                }
            }
        }
        let sessions = usable.iter().map(|(record, _)| record.session.id.clone()).collect();
        Ok(Self { set: set.clone(), states, lag, repeats, counts, moments, sessions, left_out })
    }

    /// Which expectation applies: at lag 1 with repeats merged nothing can follow itself.
    #[must_use]
    pub fn chance(&self) -> Chance {
        if self.repeats == Repeats::Merged && self.lag.get() == 1 {
            Chance::QuasiIndependence
        } else {
            Chance::Independence
        }
    }

    /// The counts against chance: expected counts and adjusted residuals.
    ///
    /// # Errors
    /// No transition, or too few states.
    pub fn against_chance(&self) -> Result<Fit, Undefined> {
        match self.chance() {
            Chance::Independence => independence(&self.counts.floats()),
            Chance::QuasiIndependence => quasi_independence(&self.counts.floats()),
        }
    }

    /// What to be careful about.
    #[must_use]
    pub fn cautions(&self) -> Vec<Caution> {
        let fit = match self.against_chance() {
            Ok(fit) => fit,
            Err(why) => return vec![Caution::NoExpectation(why)],
        };
        let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
        let possible: Vec<f64> = fit.expected.iter().flatten().copied().filter(|e| *e > 0.0).collect();
        let cells = count(possible.len());
        let thin = count(possible.iter().filter(|e| **e < ENOUGH_EXPECTED).count());
        let tested = count(fit.adjusted.iter().flatten().flatten().count());
        let wanted = ENOUGH_FOR_A_CELL * cells;
        let mut found = Vec::new();
        if self.counts.total() < wanted {
            found.push(Caution::FewTransitions { n: self.counts.total(), wanted });
        }
        if thin > 0 {
            found.push(Caution::FewExpected { cells: thin, of: cells });
        }
        if tested > 1 {
            found.push(Caution::ManyCells { cells: tested });
        }
        found
    }
}

/// Expected counts below this make a residual unreliable (Bakeman & Gottman 1997, from memory).
const ENOUGH_EXPECTED: f64 = 5.0;
/// Transitions there should be for each cell that can be (the same, from memory).
const ENOUGH_FOR_A_CELL: u32 = 5;

/// What to be careful about when transitions are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Caution {
    /// Chance can't be reckoned.
    NoExpectation(Undefined),
    /// Fewer transitions than the table needs.
    FewTransitions {
        /// Counted.
        n: u32,
        /// Wanted: five for each cell.
        wanted: u32,
    },
    /// Cells with an expected count below five.
    FewExpected {
        /// Such cells.
        cells: u32,
        /// Cells that can be.
        of: u32,
    },
    /// Several cells looked at: some stand out by chance.
    ManyCells {
        /// Cells with a residual.
        cells: u32,
    },
}

impl fmt::Display for Caution {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoExpectation(why) => write!(f, "what chance would give can't be told: {why}"),
            Self::FewTransitions { n, wanted } => write!(f, "too few: {n} transitions, {wanted} wanted"),
            Self::FewExpected { cells, of } => {
                write!(f, "too few: in {cells} of {of} cells fewer than 5 are expected by chance")
            }
            Self::ManyCells { cells } => {
                let chance = f64::from(*cells) / 20.0;
                write!(f, "of {cells} cells about {chance:.1} stand out (beyond ±1.96) by chance alone")
            }
        }
    }
}

/// The states of a set, if all of them are coded to their end.
fn codable<'r>(record: &'r Record<'_>, set: &SetId) -> Result<Vec<&'r Behaviour>, Missing> {
    let states: Vec<&Behaviour> =
        record.ethogram.behaviours.iter().filter(|b| b.set.as_ref() == Some(set)).collect();
    let states: Vec<&Behaviour> = states.into_iter().filter(|b| !b.has_role(Role::Excluded)).collect();
    if states.is_empty() {
        return Err(Missing::NotInEthogram);
    }
    record.is_continuous()?;
    let _ = record.visible()?;
    let is_done = states.iter().all(|b| record.coding.is_done(&b.id));
    if is_done { Ok(states) } else { Err(Missing::PassNotDone) }
}

/// Runs of states that touch, each state named by its place among `all`.
fn chains(
    record: &Record<'_>,
    states: &[&Behaviour],
    all: &[BehaviourId],
    repeats: Repeats,
) -> Vec<Vec<Link>> {
    // From the marks, not from the joined bouts: two bouts of one state count as one although another
    // state was coded in the short gap between them, but what was coded is what followed.
    let mut links: Vec<(Link, Micros)> = Vec::new();
    let none = Spans::default();
    for behaviour in states {
        let Some(state) = all.iter().position(|id| *id == behaviour.id) else { continue };
        let hidden = if behaviour.who == Actor::Animal { record.excluded() } else { &none };
        let gap = behaviour.new_bout_after_s.unwrap_or_default().micros();
        for mark in record.marks_of(behaviour) {
            let inside = mark.span(record.window().to).and_then(|span| span.intersection(record.window()));
            let Some(inside) = inside else { continue };
            for piece in &Spans::from(inside).without(hidden) {
                links.push((Link { state, span: *piece, mark: mark.id }, gap));
            }
        }
    }
    links.sort_by_key(|(link, _)| (link.span, link.state, link.mark));
    let mut chains: Vec<Vec<Link>> = Vec::new();
    for (link, gap) in links {
        let last = chains.last_mut().and_then(|chain| chain.last_mut());
        let between = last.as_ref().and_then(|last| Span::try_new(last.span.to, link.span.from));
        let is_seen = between.is_none_or(|gap| record.excluded().intersection(&gap.into()).is_empty());
        match last {
            Some(last)
                if repeats == Repeats::Merged
                    && last.state == link.state
                    && is_seen
                    && (link.span.from <= last.span.to || link.span.from - last.span.to < gap) =>
            {
                last.span.to = last.span.to.max(link.span.to);
            }
            Some(last) if link.span.from <= last.span.to => {
                if let Some(chain) = chains.last_mut() {
                    chain.push(link);
                }
            }
            _ => chains.push(vec![link]),
        }
    }
    chains
}
