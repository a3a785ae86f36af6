//! Three or more codings of one session: Krippendorff's alpha over units of time.

use serde::Serialize;

use super::align::{Marks, NotComparable, Pairing, Row};
use super::alpha::Scale;
use super::by_time::table;
use super::kappa::NoKappa;
use super::multi_rater::Ratings;
use crate::model::{Coding, Ethogram, Session};
use crate::time::{Micros, Span};

/// A set in three or more codings of one session.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SeveralAgreement {
    /// The session.
    pub session: String,
    /// The codings' files.
    pub codings: Vec<String>,
    /// The set, or the state that belongs to none.
    pub set: String,
    /// Length of a unit.
    pub unit_s: f64,
    /// Units that two or more rated.
    pub units: usize,
    /// Krippendorff's alpha, nominal.
    pub alpha: Option<f64>,
    /// Cohen's kappa of each two, exact, in the time visible to these two.
    pub kappas: Vec<TwoOfThem>,
    /// Why what is missing is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// Kappa of two of them.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TwoOfThem {
    /// File of the one.
    pub first: String,
    /// File of the other.
    pub second: String,
    /// Its value.
    pub kappa: Option<f64>,
    /// Why it is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// Each row of three or more codings, given with their files' names. A unit is the state at its start; it
/// is missing for whoever does not see the animal then, did not finish the pass, or does not cover it.
///
/// # Errors
/// When two of them can't be compared.
pub fn several(
    codings: &[(&str, &Coding)],
    ethogram: &Ethogram,
    session: &Session,
    marks: Marks,
    unit: Micros,
) -> Result<Vec<SeveralAgreement>, NotComparable> {
    let mut own: Vec<Pairing<'_>> = Vec::new();
    for (_, coding) in codings {
        // Laid over itself a coding gives its own window and its own sight.
        own.push(Pairing::try_new(coding, coding, ethogram, session, marks)?);
    }
    let mut two: Vec<(usize, usize, Pairing<'_>)> = Vec::new();
    for (i, (_, first)) in codings.iter().enumerate() {
        for (j, (_, second)) in codings.iter().enumerate().skip(i + 1) {
            two.push((i, j, Pairing::try_new(first, second, ethogram, session, marks)?));
        }
    }
    let from = own.iter().map(|pairing| pairing.window().from).min();
    let to = own.iter().map(|pairing| pairing.window().to).max();
    let (Some(from), Some(to), Some(any)) = (from, to, own.first()) else { return Ok(Vec::new()) };
    let names: Vec<String> = codings.iter().map(|(name, _)| (*name).to_owned()).collect();
    let name = |place: usize| names.get(place).cloned().unwrap_or_default();
    let mut found = Vec::new();
    for row in any.rows() {
        let rows = units(&own, &row, Span { from, to }, unit);
        let labels = any.states(&row).len() + 1;
        let ratings = Ratings::from_labels(&rows, labels).ok_or(NoKappa::NothingCompared);
        let alpha = ratings.and_then(|ratings| ratings.alpha(Scale::Nominal));
        let kappas = two.iter().map(|(i, j, pairing)| {
            let overlay = pairing.overlay(&row, super::align::Unit::Exact).ok_or(NoKappa::PassNotDone);
            let kappa = overlay.and_then(|overlay| {
                table(&overlay.cells).ok_or(NoKappa::NothingCompared).and_then(|table| table.kappa())
            });
            TwoOfThem {
                first: name(*i),
                second: name(*j),
                kappa: kappa.ok().map(|own| own.kappa),
                why: kappa.err().map(|why| why.to_string()),
            }
        });
        found.push(SeveralAgreement {
            session: session.id.to_string(),
            codings: names.clone(),
            set: row.id().to_owned(),
            unit_s: unit.seconds(),
            units: rows.iter().filter(|row| row.iter().flatten().count() > 1).count(),
            alpha: alpha.as_ref().ok().map(|own| own.value),
            kappas: kappas.collect(),
            why: alpha.err().map(|why| why.to_string()),
        });
    }
    Ok(found)
}

/// Labels of each unit, one a coding.
fn units(own: &[Pairing<'_>], row: &Row, window: Span, unit: Micros) -> Vec<Vec<Option<usize>>> {
    let lines: Vec<_> = own
        .iter()
        .map(|pairing| {
            let states = pairing.states(row);
            pairing
                .is_done(&states)
                .then(|| (pairing.first_line(&states), pairing.compared(row), states.len()))
        })
        .collect();
    let mut rows = Vec::new();
    let mut at = window.from;
    while unit > Micros::ZERO && at + unit <= window.to {
        let label = |line: &Option<(Vec<super::stretches::Held>, crate::time::Spans, usize)>| {
            let (line, compared, none) = line.as_ref()?;
            if !compared.contains(at) {
                return None;
            }
            Some(super::stretches::held(line, at).map_or(*none, |held| held.label))
        };
        rows.push(lines.iter().map(label).collect());
        at = at + unit;
    }
    rows
}
