//! Kappa of the table of events: rows and columns are the events' labels and, last, "no partner".
//!
//! Rule 30 (b): the pairs that match within one behaviour, then pairs of different behaviours among
//! the rest, then what stands in one record alone. Nobody can count the events that both
//! overlooked, so the last corner is a structural zero, not a count of 0, and chance is fitted
//! around it (after Quera, Bakeman & Gnisci 2007, Behav Res Methods 39:39–49, and Bakeman, Quera &
//! Gnisci 2009, Behav Res Methods 41:137–147; their use of proportional fitting from memory).

use std::collections::BTreeSet;

use super::kappa::{Kappa, NoKappa, Table};
use super::matching;
use super::weighted::is_all_chance;
use crate::time::Micros;

/// Events of two records over each other.
#[derive(Debug, Clone, PartialEq)]
pub struct EventTable {
    /// Rows first record, columns second; the last of each is "no partner".
    table: Table,
}

/// An event: when, and the place of its behaviour in the list of labels.
pub type Event = (Micros, usize);

/// Kappa with chance fitted around the empty corner.
#[derive(Debug, Clone, PartialEq)]
pub struct EventKappa {
    /// Share of all events, paired or not, that both hold alike.
    pub observed: f64,
    /// The same expected by chance.
    pub expected: f64,
    /// (observed − expected)/(1 − expected).
    pub kappa: f64,
    /// What chance puts into each cell; 0 in the last corner.
    pub fitted: Vec<Vec<f64>>,
}

impl EventTable {
    /// Rule 30 (b) on two lists in any order; `None` when a label lies outside the list of `labels`.
    #[must_use]
    pub fn from_events(first: &[Event], second: &[Event], labels: usize, tolerance: Micros) -> Option<Self> {
        let paired = Paired::of(first, second, labels, tolerance)?;
        let mut rows = vec![vec![0.0; labels + 1]; labels + 1];
        let label = |events: &[Event], place: usize| events.get(place).map_or(labels, |event| event.1);
        let of_pairs = paired.pairs.iter().map(|(i, j)| (label(first, *i), label(second, *j)));
        let of_first = paired.only_first.iter().map(|i| (label(first, *i), labels));
        let of_second = paired.only_second.iter().map(|j| (labels, label(second, *j)));
        for (row, column) in of_pairs.chain(of_first).chain(of_second) {
            if let Some(cell) = rows.get_mut(row).and_then(|row| row.get_mut(column)) {
                *cell += 1.0;
            }
        }
        Some(Self { table: Table::from_rows(&rows)? })
    }

    /// A table whose last row and column are "no partner"; `None` when it is empty or its last corner
    /// is not.
    #[must_use]
    pub fn from_table(table: Table) -> Option<Self> {
        let last = table.size().checked_sub(1)?;
        (table.cell(last, last) <= 0.0).then_some(Self { table })
    }

    /// The whole table, "no partner" last.
    #[must_use]
    pub fn table(&self) -> &Table {
        &self.table
    }

    fn last(&self) -> usize {
        self.table.size().saturating_sub(1)
    }

    /// Kappa with chance fitted around the empty corner.
    ///
    /// Chance is quasi-independence: e_ij = a_i b_j everywhere but in the last corner, with the
    /// table's margins, which proportional fitting reaches step by step. With one empty corner its end
    /// is known: let R and C be the events only in the second and only in the first record, S those in
    /// pairs, n all of them; x = RC/S in the corner would make the table independent, so e_ij =
    /// r_i c_j/(n + x) with x added to the last row and column. Then p_o = Σ n_ii/n, p_e = Σ e_ii/n over
    /// the labels. Without unpaired events it is Cohen's kappa.
    ///
    /// # Errors
    /// [`NoKappa::NothingCompared`] without events; [`NoKappa::NothingPaired`] when S = 0: chance then has
    /// no way to put an event anywhere; [`NoKappa::NoVariation`] when all are pairs of one label.
    pub fn kappa(&self) -> Result<EventKappa, NoKappa> {
        let total = self.table.total();
        if total <= 0.0 {
            return Err(NoKappa::NothingCompared);
        }
        let last = self.last();
        let (only_second, only_first) = (self.table.row(last), self.table.column(last));
        let paired = total - only_first - only_second;
        // Whole events: less than half of one is rounding.
        if paired < 0.5 {
            return Err(NoKappa::NothingPaired);
        }
        let corner = only_first * only_second / paired;
        let with_corner = |sum: f64, label: usize| if label == last { sum + corner } else { sum };
        let fitted: Vec<Vec<f64>> = (0..=last)
            .map(|i| {
                let row = with_corner(self.table.row(i), i);
                (0..=last)
                    .map(|j| {
                        let column = with_corner(self.table.column(j), j);
                        if i == last && j == last { 0.0 } else { row * column / (total + corner) }
                    })
                    .collect()
            })
            .collect();
        let observed = (0..last).map(|i| self.table.cell(i, i)).sum::<f64>() / total;
        let diagonal = fitted.iter().enumerate().filter_map(|(i, row)| row.get(i));
        let expected = diagonal.sum::<f64>() / total;
        if is_all_chance(expected) {
            return Err(NoKappa::NoVariation);
        }
        Ok(EventKappa { observed, expected, kappa: (observed - expected) / (1.0 - expected), fitted })
    }

    /// Cohen's kappa of the pairs alone: how well people name what both saw. It leaves out what one
    /// of them overlooked, so it is never printed without [`EventTable::share_paired`].
    ///
    /// # Errors
    /// When it is not defined.
    pub fn kappa_of_pairs(&self) -> Result<Kappa, NoKappa> {
        self.table.without(self.last()).kappa()
    }

    /// Of all events, counting a pair once, the share in pairs.
    ///
    /// # Errors
    /// Without events.
    pub fn share_paired(&self) -> Result<f64, NoKappa> {
        let total = self.table.total();
        if total > 0.0 {
            Ok(self.table.without(self.last()).total() / total)
        } else {
            Err(NoKappa::NothingCompared)
        }
    }
}

/// Rule 30 (b): which events of two lists are taken for one. Places are those in the lists.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Paired {
    /// Within one behaviour, then of different ones.
    pub pairs: Vec<(usize, usize)>,
    /// Without a partner in the second list.
    pub only_first: Vec<usize>,
    /// Without a partner in the first.
    pub only_second: Vec<usize>,
}

impl Paired {
    /// Of two lists in any order; `None` when a label lies outside the list of `labels`.
    #[must_use]
    pub fn of(first: &[Event], second: &[Event], labels: usize, tolerance: Micros) -> Option<Self> {
        if first.iter().chain(second).any(|(_, label)| *label >= labels) {
            return None;
        }
        let in_order = |events: &[Event]| {
            let mut events: Vec<(Event, usize)> = events.iter().copied().zip(0..).collect();
            events.sort_unstable();
            events
        };
        let mut found = Self::default();
        let mut rest = [in_order(first), in_order(second)];
        for label in (0..labels).map(Some).chain([None]) {
            // Two of one behaviour within the tolerance are paired by then, so what pairs in the last
            // round, over all labels, differs in behaviour.
            let of = |events: &[(Event, usize)]| -> Vec<(Event, usize)> {
                events.iter().filter(|event| label.is_none_or(|label| event.0.1 == label)).copied().collect()
            };
            let own = rest.each_ref().map(|events| of(events));
            let moments =
                own.each_ref().map(|events| events.iter().map(|event| event.0.0).collect::<Vec<_>>());
            let matched = matching::events(&moments[0], &moments[1], tolerance);
            let mut taken = [BTreeSet::new(), BTreeSet::new()];
            for (i, j) in matched.pairs {
                let (Some((_, i)), Some((_, j))) = (own[0].get(i), own[1].get(j)) else { continue };
                found.pairs.push((*i, *j));
                let _ = (taken[0].insert(*i), taken[1].insert(*j));
            }
            for (events, taken) in rest.iter_mut().zip(&taken) {
                events.retain(|event| !taken.contains(&event.1));
            }
        }
        let places = |events: &[(Event, usize)]| events.iter().map(|event| event.1).collect();
        found.only_first = places(&rest[0]);
        found.only_second = places(&rest[1]);
        Some(found)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn events(list: &[(i64, usize)]) -> Vec<Event> {
        list.iter().map(|(at, label)| (Micros(*at), *label)).collect()
    }

    fn rows(table: &Table) -> Vec<Vec<f64>> {
        (0..table.size()).map(|i| (0..table.size()).map(|j| table.cell(i, j)).collect()).collect()
    }

    #[test]
    fn rule_30_b_one_behaviour_first_then_different_ones_then_alone() {
        let first = events(&[(100, 0), (200, 0), (300, 1), (900, 1)]);
        // 104 lies nearer to 100, but is another behaviour: 109 is of the same.
        let second = events(&[(104, 1), (109, 0), (302, 0), (305, 1), (600, 0)]);
        let found = EventTable::from_events(&first, &second, 2, Micros(10)).unwrap();
        // Pairs of one behaviour: 100-109, 300-305. Left: 200, 900 and 104, 302, 600: no pair.
        assert_eq!(rows(found.table()), [[1.0, 0.0, 1.0], [0.0, 1.0, 1.0], [2.0, 1.0, 0.0]]);
        let second = events(&[(190, 1), (302, 1)]);
        let found = EventTable::from_events(&first, &second, 2, Micros(10)).unwrap();
        assert_eq!(rows(found.table()), [[0.0, 1.0, 1.0], [0.0, 1.0, 1.0], [0.0, 0.0, 0.0]]);
        assert_eq!(found.share_paired(), Ok(0.5));
        assert_eq!(EventTable::from_events(&first, &second, 1, Micros(10)), None);
    }

    #[test]
    fn the_closed_form_is_where_proportional_fitting_ends() {
        let tables = [
            vec![vec![18.0, 1.0, 3.0], vec![2.0, 14.0, 2.0], vec![1.0, 5.0, 0.0]],
            vec![vec![4.0, 0.0, 9.0], vec![0.0, 2.0, 1.0], vec![7.0, 0.0, 0.0]],
            vec![vec![4.0, 1.0, 0.0], vec![0.0, 2.0, 0.0], vec![7.0, 3.0, 0.0]],
        ];
        for rows in tables {
            let found = EventTable::from_table(Table::from_rows(&rows).unwrap()).unwrap().kappa().unwrap();
            let mut fitted = vec![vec![1.0, 1.0, 1.0], vec![1.0, 1.0, 1.0], vec![1.0, 1.0, 0.0]];
            for _ in 0..5_000 {
                for (row, wanted) in fitted.iter_mut().zip(&rows) {
                    let part = wanted.iter().sum::<f64>() / row.iter().sum::<f64>();
                    for cell in row {
                        *cell *= part;
                    }
                }
                for j in 0..3 {
                    let sum = |rows: &[Vec<f64>]| rows.iter().map(|row| row[j]).sum::<f64>();
                    let (wanted, sum) = (sum(&rows), sum(&fitted));
                    let part = if sum > 0.0 { wanted / sum } else { 0.0 };
                    for row in &mut fitted {
                        row[j] *= part;
                    }
                }
            }
            for (own, other) in found.fitted.iter().flatten().zip(fitted.iter().flatten()) {
                assert!((own - other).abs() < 1e-9, "{rows:?}: {:?} {fitted:?}", found.fitted);
            }
        }
    }

    #[test]
    fn edges_have_reasons() {
        let of = |rows: &[[f64; 2]; 2]| {
            EventTable::from_table(
                Table::from_rows(&rows.iter().map(|row| row.to_vec()).collect::<Vec<_>>()).unwrap(),
            )
        };
        assert_eq!(of(&[[1.0, 0.0], [0.0, 2.0]]), None, "the corner must be empty");
        assert_eq!(EventTable::from_table(Table::from_rows(&[]).unwrap()), None);
        let of = |rows| of(rows).unwrap().kappa();
        assert_eq!(of(&[[0.0, 0.0], [0.0, 0.0]]), Err(NoKappa::NothingCompared));
        assert_eq!(of(&[[0.0, 3.0], [2.0, 0.0]]), Err(NoKappa::NothingPaired));
        assert_eq!(of(&[[5.0, 0.0], [0.0, 0.0]]), Err(NoKappa::NoVariation));
        assert!(of(&[[5.0, 1.0], [0.0, 0.0]]).unwrap().kappa.abs() < 1e-12, "one label: no more than chance");
        let none = EventTable::from_events(&[], &[], 2, Micros(10)).unwrap();
        assert_eq!(none.kappa(), Err(NoKappa::NothingCompared));
        assert_eq!(none.share_paired(), Err(NoKappa::NothingCompared));
        assert_eq!(none.kappa_of_pairs(), Err(NoKappa::NothingCompared));
    }
}
