//! Where two records differ, longest first, and what they differ about.
//!
//! Rows of the tape are compared exactly, moments by rule 30 (b). What belongs to no state is told by
//! [`NO_STATE`]; a moment without a partner has nothing on the other side.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use serde::{Deserialize, Serialize, Serializer};

use super::align::{Moment, NO_STATE, Pairing, Row, Unit};
use super::event_kappa::Paired;
use super::moments;
use super::stretches::Stretch;
use crate::model::{Kind, MarkId};
use crate::time::{Micros, Seconds, Span};

/// All of a pair.
#[derive(Debug, Clone, PartialEq, Serialize, Default)]
pub struct Differences {
    /// Longest first; of one length the earlier one.
    pub list: Vec<Apart>,
    /// By what they are about, most seconds first.
    pub causes: Vec<Cause>,
}

/// One difference.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Apart {
    /// What kind.
    pub kind: How,
    /// What is compared there.
    pub place: Place,
    /// Where in the session; told as `from_s` and `to_s`. Of a moment that only one has, nothing long.
    #[serde(flatten, serialize_with = "in_seconds")]
    pub span: Span,
    /// How long.
    pub seconds: Seconds,
    /// What the first record holds there; nothing where it has no moment.
    pub first: Option<String>,
    /// What the second holds there.
    pub second: Option<String>,
    /// The first record's mark.
    pub first_mark: Option<MarkId>,
    /// The second record's mark.
    pub second_mark: Option<MarkId>,
}

fn in_seconds<S: Serializer>(span: &Span, serializer: S) -> Result<S::Ok, S::Error> {
    #[derive(Serialize)]
    struct InSeconds {
        from_s: Seconds,
        to_s: Seconds,
    }
    InSeconds { from_s: Seconds(span.from), to_s: Seconds(span.to) }.serialize(serializer)
}

/// How two records differ.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum How {
    /// Each has something else.
    DifferentBehaviour,
    /// Only the first has anything.
    OnlyFirst,
    /// Only the second has anything.
    OnlySecond,
    /// The same, at another moment, within the tolerance.
    Timing,
}

/// A row of the tape, or the moments of a group of behaviours.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Place {
    /// A set.
    Set(String),
    /// A state that belongs to no set.
    State(String),
    /// Events.
    Events(String),
}

impl Place {
    /// Its name.
    #[must_use]
    pub fn name(&self) -> &str {
        match self {
            Self::Set(name) | Self::State(name) | Self::Events(name) => name,
        }
    }
}

/// Differences about one pair of behaviours, whichever record has which.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Cause {
    /// Where.
    pub place: Place,
    /// The two; of one behaviour that only one record has, it and `(none)`.
    pub behaviours: [String; 2],
    /// A matter of moments, not of what it was.
    pub is_timing: bool,
    /// Differences.
    pub n: usize,
    /// Seconds of them.
    pub seconds: f64,
    /// Those of them in which the first record has the first of the two.
    pub n_as_listed: usize,
    /// Seconds of those.
    pub seconds_as_listed: f64,
}

impl Cause {
    /// Whether a difference is one of these.
    #[must_use]
    pub fn holds(&self, apart: &Apart) -> bool {
        let [a, b] = &self.behaviours;
        let first = apart.first.as_deref().unwrap_or(NO_STATE);
        let second = apart.second.as_deref().unwrap_or(NO_STATE);
        apart.place == self.place
            && (apart.kind == How::Timing) == self.is_timing
            && ((first, second) == (a, b) || (second, first) == (a, b))
    }

    /// What it is about: two behaviours, or one that only one record has.
    #[must_use]
    pub fn words(&self, name: &dyn Fn(&str) -> String) -> String {
        let [a, b] = &self.behaviours;
        match (a == b, b == NO_STATE, self.is_timing) {
            (true, _, _) => format!("When: {}", name(a)),
            (false, true, _) => format!("{} or nothing", name(a)),
            (false, false, true) => format!("When: {} or {}", name(a), name(b)),
            (false, false, false) => format!("{} or {}", name(a), name(b)),
        }
    }
}

impl Differences {
    /// The list by causes: those with most seconds first, in each the longest difference first.
    #[must_use]
    pub fn by_cause(&self) -> Vec<(&Cause, Vec<&Apart>)> {
        let of = |cause: &Cause| self.list.iter().filter(|apart| cause.holds(apart)).collect();
        self.causes.iter().map(|cause| (cause, of(cause))).collect()
    }
}

/// All differences of a pair. Within the tolerance (inclusive) a change that both records make is one
/// of timing; farther apart they hold two behaviours.
#[must_use]
pub fn of(pairing: &Pairing<'_>, tolerance: Micros) -> Differences {
    let mut list = Vec::new();
    for row in pairing.rows() {
        list.extend(of_row(pairing, &row, tolerance));
    }
    for (what, group) in moments::groups(pairing) {
        let group: Vec<_> = group.into_iter().filter(|b| b.kind == Kind::Event).collect();
        let names: Vec<&str> = group.iter().map(|b| b.id.as_str()).collect();
        let [first, second] = moments::of_group(pairing, &group);
        list.extend(of_events(&what, &names, &first, &second, tolerance));
    }
    list.sort_by(|a, b| {
        (Reverse(a.seconds), a.span, &a.place, &a.first, a.first_mark, a.second_mark).cmp(&(
            Reverse(b.seconds),
            b.span,
            &b.place,
            &b.first,
            b.first_mark,
            b.second_mark,
        ))
    });
    Differences { causes: causes(&list), list }
}

fn of_row(pairing: &Pairing<'_>, row: &Row, tolerance: Micros) -> Vec<Apart> {
    let Some(laid) = pairing.laid(row, Unit::Exact) else { return Vec::new() };
    let none = pairing.states(row).len();
    let place = match row {
        Row::Set(set) => Place::Set(set.to_string()),
        Row::State(state) => Place::State(state.to_string()),
    };
    // A mark's edge that changes nothing (one bout in two pieces) does not cut a difference.
    let mut joined: Vec<Stretch> = Vec::new();
    for own in laid.stretches {
        match joined.last_mut() {
            Some(last) if last.span.to == own.span.from && last.labels == own.labels => {
                last.span.to = own.span.to;
            }
            _ => joined.push(own),
        }
    }
    let name = |label: usize| laid.labels.get(label).cloned().unwrap_or_else(|| NO_STATE.to_owned());
    let mut found = Vec::new();
    for (i, own) in joined.iter().enumerate() {
        let [first, second] = own.labels;
        if first == second {
            continue;
        }
        let before = i.checked_sub(1).and_then(|i| joined.get(i)).filter(|b| b.span.to == own.span.from);
        let after = joined.get(i + 1).filter(|a| a.span.from == own.span.to);
        let agreed = |own: Option<&Stretch>| own.map(|own| own.labels).filter(|[a, b]| a == b);
        // Both change from one to the other, one of them earlier.
        let is_one_change = match (agreed(before), agreed(after)) {
            (Some([x, _]), Some([y, _])) => {
                x != y && ((first, second) == (x, y) || (first, second) == (y, x))
            }
            _ => false,
        };
        let kind = if is_one_change && own.span.length() <= tolerance {
            How::Timing
        } else if second == none {
            How::OnlyFirst
        } else if first == none {
            How::OnlySecond
        } else {
            How::DifferentBehaviour
        };
        let [first_mark, second_mark] = own.marks;
        found.push(Apart {
            kind,
            place: place.clone(),
            span: own.span,
            seconds: Seconds(own.span.length()),
            first: Some(name(first)),
            second: Some(name(second)),
            first_mark,
            second_mark,
        });
    }
    found
}

fn of_events(
    what: &str,
    names: &[&str],
    first: &[(Moment, usize)],
    second: &[(Moment, usize)],
    tolerance: Micros,
) -> Vec<Apart> {
    let events = |list: &[(Moment, usize)]| -> Vec<_> {
        list.iter().map(|(moment, label)| (moment.at, *label)).collect()
    };
    let Some(paired) = Paired::of(&events(first), &events(second), names.len(), tolerance) else {
        return Vec::new();
    };
    let name = |label: usize| names.get(label).map(|name| (*name).to_owned());
    let apart = |kind, one: Option<&(Moment, usize)>, other: Option<&(Moment, usize)>| -> Option<Apart> {
        let at = one.or(other)?.0.at;
        let span = Span::between(at, other.or(one)?.0.at);
        Some(Apart {
            kind,
            place: Place::Events(what.to_owned()),
            span,
            seconds: Seconds(span.length()),
            first: one.and_then(|own| name(own.1)),
            second: other.and_then(|own| name(own.1)),
            first_mark: one.map(|own| own.0.mark),
            second_mark: other.map(|own| own.0.mark),
        })
    };
    let mut found = Vec::new();
    for (i, j) in &paired.pairs {
        let (Some(one), Some(other)) = (first.get(*i), second.get(*j)) else { continue };
        if one.1 != other.1 {
            found.extend(apart(How::DifferentBehaviour, Some(one), Some(other)));
        } else if one.0.at != other.0.at {
            found.extend(apart(How::Timing, Some(one), Some(other)));
        }
    }
    found.extend(paired.only_first.iter().filter_map(|i| apart(How::OnlyFirst, first.get(*i), None)));
    found.extend(paired.only_second.iter().filter_map(|j| apart(How::OnlySecond, None, second.get(*j))));
    found
}

/// `(none)` comes last, the rest in the order of their names.
fn causes(list: &[Apart]) -> Vec<Cause> {
    let rank = |name: &Option<String>| -> (bool, String) {
        let name = name.as_deref().unwrap_or(NO_STATE);
        (name == NO_STATE, name.to_owned())
    };
    let mut found: BTreeMap<_, Cause> = BTreeMap::new();
    for own in list {
        let (first, second) = (rank(&own.first), rank(&own.second));
        let is_as_listed = first <= second;
        let [a, b] = if is_as_listed { [first, second] } else { [second, first] };
        let behaviours = [a.1.clone(), b.1.clone()];
        let is_timing = own.kind == How::Timing;
        let cause = found.entry((own.place.clone(), is_timing, a, b)).or_insert_with(|| Cause {
            place: own.place.clone(),
            behaviours,
            is_timing,
            n: 0,
            seconds: 0.0,
            n_as_listed: 0,
            seconds_as_listed: 0.0,
        });
        let seconds = own.seconds.micros().seconds();
        cause.n += 1;
        cause.seconds += seconds;
        if is_as_listed {
            cause.n_as_listed += 1;
            cause.seconds_as_listed += seconds;
        }
    }
    let mut causes: Vec<Cause> = found.into_values().collect();
    // Stable: of equal ones the order of their names stays.
    causes.sort_by(|a, b| b.seconds.total_cmp(&a.seconds).then(b.n.cmp(&a.n)));
    causes
}
