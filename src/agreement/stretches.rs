//! Two lines of states over each other: the stretches in which each record holds one state, and the
//! tables that are counted from them.

use super::align::Unit;
use crate::model::MarkId;
use crate::time::{Micros, Span, Spans};

/// A state that a record holds: when, its place in the list of labels, and by which mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Held {
    pub(super) span: Span,
    pub(super) label: usize,
    pub(super) mark: MarkId,
}

/// A stretch, or a unit, in which both records hold one state each.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Stretch {
    pub(super) span: Span,
    pub(super) labels: [usize; 2],
    pub(super) marks: [Option<MarkId>; 2],
}

impl Stretch {
    fn weight(&self) -> i64 {
        self.span.length().0
    }
}

/// Two lines, and the time in which they are compared; `none` is the label of no state.
pub(super) struct Lines<'a> {
    pub(super) records: [&'a [Held]; 2],
    pub(super) compared: &'a Spans,
    pub(super) none: usize,
    pub(super) window: Span,
}

/// Tables of one pair of lines.
#[derive(Debug, Default)]
pub(super) struct Counted {
    /// Microseconds.
    pub(super) cells: Vec<Vec<i64>>,
    /// Microseconds in blocks of compared time.
    pub(super) blocks: Vec<Vec<Vec<i64>>>,
    /// Whole units; nothing when time is compared exactly.
    pub(super) units: Vec<Vec<u32>>,
}

/// Length of a block of the bootstrap within one session (rule 31).
const BLOCK: Micros = Micros::from_whole_seconds(60);

/// The state that holds at a moment.
pub(super) fn held(line: &[Held], at: Micros) -> Option<&Held> {
    let after = line.partition_point(|held| held.span.from <= at);
    after.checked_sub(1).and_then(|i| line.get(i)).filter(|held| held.span.contains(at))
}

/// Goes along a line as time goes on: what [`held`] would find, without looking from the start each time.
struct Cursor<'a> {
    line: &'a [Held],
    /// The first that begins after the last moment asked for.
    next: usize,
}

impl<'a> Cursor<'a> {
    fn held(&mut self, at: Micros) -> Option<&'a Held> {
        while self.line.get(self.next).is_some_and(|held| held.span.from <= at) {
            self.next += 1;
        }
        self.next.checked_sub(1).and_then(|i| self.line.get(i)).filter(|held| held.span.contains(at))
    }
}

impl Lines<'_> {
    /// Stretches in the given unit, in order.
    pub(super) fn stretches(&self, unit: Unit<'_>) -> Vec<Stretch> {
        match unit {
            Unit::Exact => self.exact(),
            Unit::Every(length) => {
                let mut found = Vec::new();
                let mut at = self.window.from;
                while length > Micros::ZERO && at + length <= self.window.to {
                    found.extend(self.unit(at, at + length));
                    at = at + length;
                }
                found
            }
            Unit::Pictures(times) => times
                .iter()
                .zip(times.iter().skip(1))
                .filter_map(|(at, next)| self.unit(*at, *next))
                .collect(),
        }
    }

    fn unit(&self, at: Micros, next: Micros) -> Option<Stretch> {
        let own = self.records.map(|line| held(line, at));
        self.compared.contains(at).then(|| self.stretch(Span { from: at, to: next }, own))
    }

    fn stretch(&self, span: Span, own: [Option<&Held>; 2]) -> Stretch {
        Stretch {
            span,
            labels: own.map(|own| own.map_or(self.none, |held| held.label)),
            marks: own.map(|own| own.map(|held| held.mark)),
        }
    }

    fn exact(&self) -> Vec<Stretch> {
        let mut edges = Vec::with_capacity(2 * self.records.iter().map(|line| line.len()).sum::<usize>());
        for held in self.records.into_iter().flatten() {
            // Most states begin where the one before ends.
            if edges.last() != Some(&held.span.from) {
                edges.push(held.span.from);
            }
            edges.push(held.span.to);
        }
        // Two rising lists: the stable sort finds them and merges.
        edges.sort();
        edges.dedup();
        let mut stretches = Vec::with_capacity(edges.len());
        let mut cursors = self.records.map(|line| Cursor { line, next: 0 });
        for span in self.compared {
            let mut from = span.from;
            let inside = edges.partition_point(|edge| *edge <= span.from);
            let rest = edges.get(inside..).unwrap_or_default();
            for edge in rest.iter().copied().take_while(|edge| *edge < span.to).chain([span.to]) {
                let own = cursors.each_mut().map(|cursor| cursor.held(from));
                stretches.push(self.stretch(Span { from, to: edge }, own));
                from = edge;
            }
        }
        stretches
    }
}

/// Counts stretches into tables of `size` labels.
pub(super) fn count(stretches: &[Stretch], size: usize, unit: Unit<'_>) -> Counted {
    let empty = vec![vec![0_i64; size]; size];
    let mut found = Counted { cells: empty.clone(), ..Counted::default() };
    if unit != Unit::Exact {
        found.units = vec![vec![0; size]; size];
    }
    let mut block = empty.clone();
    let mut left = BLOCK.0;
    for stretch in stretches {
        let [i, j] = stretch.labels;
        add(&mut found.cells, stretch, stretch.weight());
        if let Some(cell) = found.units.get_mut(i).and_then(|row| row.get_mut(j)) {
            *cell += 1;
        }
        // A stretch may run over several blocks; a unit is never cut: it goes where it starts.
        let mut rest = stretch.weight();
        while rest > 0 {
            let part = if unit == Unit::Exact { rest.min(left) } else { rest };
            add(&mut block, stretch, part);
            rest -= part;
            left -= part;
            if left <= 0 {
                found.blocks.push(std::mem::replace(&mut block, empty.clone()));
                left = BLOCK.0;
            }
        }
    }
    if left < BLOCK.0 {
        found.blocks.push(block);
    }
    found
}

fn add(cells: &mut [Vec<i64>], stretch: &Stretch, weight: i64) {
    let [i, j] = stretch.labels;
    if let Some(cell) = cells.get_mut(i).and_then(|row| row.get_mut(j)) {
        *cell += weight;
    }
}
