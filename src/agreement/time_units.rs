//! Kappa of units of time, strict and with a tolerance.
//!
//! Units are labels in a row (rule 28: the state at each unit's start). They are not independent, so
//! no standard error is drawn from them. The tolerant kappa (after Bakeman, Quera & Gnisci 2009,
//! Behav Res Methods 41:137–147; details from memory) is asymmetric: it is given both ways.

use super::kappa::{Kappa, NoKappa, Table};

/// Which label each record gives in each unit: rows first record, columns second. `None` when the
/// records differ in length or a label lies outside the list.
#[must_use]
pub fn table(first: &[usize], second: &[usize], labels: usize) -> Option<Table> {
    tolerant_table(first, second, labels, 0)
}

/// As [`table`], but a unit counts as agreement when the second record gives the first one's label
/// anywhere within `tolerance` units of it; otherwise it counts as what the second gives in that unit.
#[must_use]
pub fn tolerant_table(first: &[usize], second: &[usize], labels: usize, tolerance: usize) -> Option<Table> {
    if first.len() != second.len() || second.iter().any(|label| *label >= labels) {
        return None;
    }
    let mut rows = vec![vec![0.0; labels]; labels];
    for (unit, (own, other)) in first.iter().zip(second).enumerate() {
        let near = second.iter().skip(unit.saturating_sub(tolerance));
        let reach = tolerance.min(unit).saturating_add(tolerance).saturating_add(1);
        let found = if near.take(reach).any(|label| label == own) { own } else { other };
        *rows.get_mut(*own)?.get_mut(*found)? += 1.0;
    }
    Table::from_rows(&rows)
}

/// The tolerant kappa, both ways.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tolerant {
    /// The first record's units looked for in the second.
    pub first: Result<Kappa, NoKappa>,
    /// The second record's units looked for in the first.
    pub second: Result<Kappa, NoKappa>,
}

impl Tolerant {
    /// From two records; `None` as for [`table`].
    #[must_use]
    pub fn of(first: &[usize], second: &[usize], labels: usize, tolerance: usize) -> Option<Self> {
        Some(Self {
            first: tolerant_table(first, second, labels, tolerance)?.kappa(),
            second: tolerant_table(second, first, labels, tolerance)?.kappa(),
        })
    }

    /// Mean of both.
    ///
    /// # Errors
    /// When one of them is not defined.
    pub fn mean(&self) -> Result<f64, NoKappa> {
        Ok(f64::midpoint(self.first?.kappa, self.second?.kappa))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tolerance_forgives_a_late_change_and_nothing_else() {
        let (first, second) = ([0, 0, 0, 1, 1, 1, 1, 0], [0, 0, 0, 0, 1, 1, 1, 1]);
        let strict = table(&first, &second, 2).unwrap();
        assert!((strict.kappa().unwrap().observed - 0.75).abs() < 1e-12);
        let found = Tolerant::of(&first, &second, 2, 1).unwrap();
        // The first record's last unit is 0, and no 0 lies within a unit of it in the second.
        assert!((found.first.unwrap().observed - 0.875).abs() < 1e-12);
        assert!((found.second.unwrap().observed - 1.0).abs() < 1e-12);
        assert_eq!(table(&first, &second[1..], 2), None);
        assert_eq!(table(&first, &second, 1), None);
        assert_eq!(tolerant_table(&first, &second, 2, usize::MAX).unwrap().kappa().unwrap().kappa, 1.0);
        assert_eq!(Tolerant::of(&[], &[], 2, 1).unwrap().mean(), Err(NoKappa::NothingCompared));
    }
}
