//! Weighted kappa (Cohen 1968, Psychol Bull 70:213–220) and the standard errors of kappa, weighted
//! or not (Fleiss, Cohen & Everitt 1969, Psychol Bull 72:323–327).
//!
//! Linear and quadratic weights read the labels' order as a scale. The table holds every label of
//! the ethogram: one that nobody used leaves the unweighted kappa as it is, but changes the weights.
//!
//! Standard errors are for counts of independent units. Seconds of a film are not: successive ones
//! are alike, so [`Table::inference`] refuses what is not a whole number, and a caller must not
//! feed it seconds that happen to be whole.

use super::kappa::{NoKappa, Table};
use crate::numeric::estimate::{Estimate, NoInterval, error_of};

/// How much each cell counts as agreement.
#[derive(Debug, Clone, PartialEq)]
pub enum Weights {
    /// 1 on the diagonal, 0 elsewhere.
    Nominal,
    /// 1 − |i − j|/(k − 1).
    Linear,
    /// 1 − (i − j)²/(k − 1)².
    Quadratic,
    /// Given as disagreement v, rows as the table's: 1 − v/max v. Not negative, 0 on the diagonal.
    Disagreement(Vec<Vec<f64>>),
}

/// Agreement weights of a table of one size.
#[derive(Debug, Clone)]
pub(super) struct Credit {
    size: usize,
    cells: Vec<f64>,
}

impl Credit {
    pub(super) fn at(&self, row: usize, column: usize) -> f64 {
        self.cells.get(row * self.size + column).copied().unwrap_or(0.0)
    }

    pub(super) fn sum(&self) -> f64 {
        self.cells.iter().sum()
    }
}

impl Weights {
    /// The agreement weights of `size` labels.
    #[allow(clippy::cast_precision_loss)] // Places in a list of labels.
    pub(super) fn credit(&self, size: usize) -> Result<Credit, NoKappa> {
        let scale = size.saturating_sub(1).max(1) as f64;
        let each = |credit: &dyn Fn(usize, usize) -> f64| {
            (0..size).flat_map(|i| (0..size).map(move |j| (i, j))).map(|(i, j)| credit(i, j)).collect()
        };
        let cells = match self {
            Self::Nominal => each(&|i, j| if i == j { 1.0 } else { 0.0 }),
            Self::Linear => each(&|i, j| 1.0 - i.abs_diff(j) as f64 / scale),
            Self::Quadratic => each(&|i, j| 1.0 - (i.abs_diff(j) as f64 / scale).powi(2)),
            Self::Disagreement(rows) => {
                let highest = rows.iter().flatten().copied().fold(0.0, f64::max);
                let square = rows.len() == size && rows.iter().all(|row| row.len() == size);
                let counts = rows.iter().flatten().all(|v| *v >= 0.0 && v.is_finite());
                let own = rows.iter().enumerate().all(|(i, row)| row.get(i).is_some_and(|v| *v <= 0.0));
                if !(square && counts && own && highest > 0.0) {
                    return Err(NoKappa::WeightsDoNotFit);
                }
                rows.iter().flatten().map(|v| 1.0 - v / highest).collect()
            }
        };
        Ok(Credit { size, cells })
    }
}

/// Shares of agreement, defined wherever anything was compared.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shares {
    /// Σ w_ij p_ij.
    pub observed: f64,
    /// Σ w_ij p_i· p_·j.
    pub expected: f64,
}

/// Weighted kappa.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weighted {
    /// Share of agreement, weighted.
    pub observed: f64,
    /// Share expected from the margins alone, weighted.
    pub expected: f64,
    /// (observed − expected)/(1 − expected).
    pub kappa: f64,
}

/// Kappa with its standard errors.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Inference {
    /// Kappa and the error for an interval. `normal95` is the usual one; `student95` Gwet's habit.
    pub kappa: Estimate,
    /// Error if the two records were independent: for the test only, never for an interval.
    pub null_error: f64,
}

impl Inference {
    /// Kappa over its error under independence.
    ///
    /// # Errors
    /// When that error is 0.
    pub fn z(&self) -> Result<f64, NoInterval> {
        if self.null_error > 0.0 { Ok(self.kappa.value / self.null_error) } else { Err(NoInterval::NoSpread) }
    }
}

/// Expected agreement is 1 up to rounding: chance alone explains everything.
pub(super) fn is_all_chance(expected: f64) -> bool {
    1.0 - expected < 1e-12
}

impl Table {
    /// Margins as shares: first record, second record.
    fn margins(&self) -> (Vec<f64>, Vec<f64>) {
        let total = self.total();
        let labels = 0..self.size();
        (
            labels.clone().map(|i| self.row(i) / total).collect(),
            labels.map(|j| self.column(j) / total).collect(),
        )
    }

    /// Observed and expected agreement.
    ///
    /// # Errors
    /// When nothing was compared, or the weights do not fit.
    pub fn shares(&self, weights: &Weights) -> Result<Shares, NoKappa> {
        let credit = weights.credit(self.size())?;
        let total = self.total();
        if total <= 0.0 {
            return Err(NoKappa::NothingCompared);
        }
        // Shares before products: a record that holds one label throughout then gives exactly 0.
        let (first, second) = self.margins();
        let (mut observed, mut expected) = (0.0, 0.0);
        for (i, own) in first.iter().enumerate() {
            for (j, other) in second.iter().enumerate() {
                observed += credit.at(i, j) * (self.cell(i, j) / total);
                expected += credit.at(i, j) * (own * other);
            }
        }
        Ok(Shares { observed, expected })
    }

    /// Weighted kappa K = (p_o − p_e)/(1 − p_e). For tables of any unit.
    ///
    /// # Errors
    /// [`NoKappa::NoVariation`] where p_e = 1; when nothing was compared; when the weights do not fit.
    pub fn weighted(&self, weights: &Weights) -> Result<Weighted, NoKappa> {
        let Shares { observed, expected } = self.shares(weights)?;
        if is_all_chance(expected) {
            return Err(NoKappa::NoVariation);
        }
        Ok(Weighted { observed, expected, kappa: (observed - expected) / (1.0 - expected) })
    }

    /// Kappa with its standard errors.
    ///
    /// With w̄_i· = Σ_j w_ij p_·j and w̄_·j = Σ_i w_ij p_i·: the variance for an interval is
    /// {Σ p_ij [w_ij − (w̄_i· + w̄_·j)(1 − K)]² − [K − p_e(1 − K)]²} / (n(1 − p_e)²), the one under
    /// independence {Σ p_i· p_·j [w_ij − (w̄_i· + w̄_·j)]² − p_e²} / (n(1 − p_e)²). Both are computed
    /// as sums about the mean, so that perfect agreement gives 0 and not rounding.
    ///
    /// # Errors
    /// As [`Table::weighted`]; [`NoKappa::NotCounts`] when a cell is not a whole number.
    pub fn inference(&self, weights: &Weights) -> Result<Inference, NoKappa> {
        let found = self.weighted(weights)?;
        let credit = weights.credit(self.size())?;
        let labels = 0..self.size();
        let cells: Vec<(usize, usize)> =
            labels.clone().flat_map(|i| labels.clone().map(move |j| (i, j))).collect();
        if cells.iter().any(|(i, j)| self.cell(*i, *j).fract() > 0.0) {
            return Err(NoKappa::NotCounts);
        }
        let total = self.total();
        let (first, second) = self.margins();
        let of_row: Vec<f64> = labels
            .clone()
            .map(|i| second.iter().enumerate().map(|(j, share)| credit.at(i, j) * share).sum())
            .collect();
        let of_column: Vec<f64> = labels
            .map(|j| first.iter().enumerate().map(|(i, share)| credit.at(i, j) * share).sum())
            .collect();
        let at = |list: &[f64], place: usize| list.get(place).copied().unwrap_or(0.0);
        let variance = |share: &dyn Fn(usize, usize) -> f64, part: f64| {
            let score = |i, j| credit.at(i, j) - (at(&of_row, i) + at(&of_column, j)) * part;
            let mean: f64 = cells.iter().map(|(i, j)| share(*i, *j) * score(*i, *j)).sum();
            let spread: f64 = cells.iter().map(|(i, j)| share(*i, *j) * (score(*i, *j) - mean).powi(2)).sum();
            spread / (total * (1.0 - found.expected).powi(2))
        };
        let observed = variance(&|i, j| self.cell(i, j) / total, 1.0 - found.kappa);
        let null = variance(&|i, j| at(&first, i) * at(&second, j), 1.0);
        Ok(Inference {
            kappa: Estimate::from_variance(found.kappa, observed, total),
            null_error: error_of(null),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weights_of_another_shape_do_not_fit() {
        let own = table(&[[4.0, 1.0, 0.0], [1.0, 3.0, 1.0], [0.0, 1.0, 5.0]]);
        for rows in [
            vec![vec![0.0, 1.0, 1.0], vec![1.0, 0.0, 1.0]],
            vec![vec![0.0, 1.0], vec![1.0, 0.0], vec![1.0, 1.0]],
            vec![vec![0.0, 1.0, 1.0], vec![1.0, 0.0, 1.0], vec![1.0, 1.0, 0.0], vec![1.0, 1.0, 1.0]],
        ] {
            let found = own.weighted(&Weights::Disagreement(rows));
            assert_eq!(found.err(), Some(NoKappa::WeightsDoNotFit));
        }
    }

    fn table(rows: &[[f64; 3]; 3]) -> Table {
        Table::from_rows(&rows.iter().map(|row| row.to_vec()).collect::<Vec<_>>()).unwrap()
    }

    #[test]
    fn fleiss_cohen_and_everitt_1969() {
        // Their table, n = 200: kappa .429, its error .054, under independence .056; with weights
        // kappa .507, errors .057 and .065 (values from memory, recomputed).
        let table = table(&[[106.0, 10.0, 4.0], [22.0, 28.0, 10.0], [2.0, 12.0, 6.0]]);
        let plain = table.inference(&Weights::Nominal).unwrap();
        assert!(
            (plain.kappa.value - 0.429).abs() < 5e-4 && (plain.kappa.standard_error - 0.054).abs() < 5e-4
        );
        assert!((plain.null_error - 0.056).abs() < 5e-4);
        let v = |a: f64| 1.0 - a;
        let weights = Weights::Disagreement(vec![
            vec![0.0, 1.0, v(0.4444)],
            vec![1.0, 0.0, v(0.6667)],
            vec![v(0.4444), v(0.6667), 0.0],
        ]);
        let found = table.inference(&weights).unwrap();
        assert!(
            (found.kappa.value - 0.507).abs() < 5e-4 && (found.kappa.standard_error - 0.057).abs() < 5e-4
        );
        assert!((found.null_error - 0.065).abs() < 5e-4);
    }

    #[test]
    fn edges_have_reasons() {
        let perfect = table(&[[5.0, 0.0, 0.0], [0.0, 4.0, 0.0], [0.0, 0.0, 2.0]]);
        let found = perfect.inference(&Weights::Quadratic).unwrap();
        assert_eq!((found.kappa.value, found.kappa.standard_error), (1.0, 0.0));
        assert_eq!(found.kappa.normal95(), Err(NoInterval::NoSpread));
        let one = table(&[[5.0, 0.0, 0.0], [0.0; 3], [0.0; 3]]);
        assert_eq!(one.inference(&Weights::Linear), Err(NoKappa::NoVariation));
        assert_eq!(one.shares(&Weights::Linear), Ok(Shares { observed: 1.0, expected: 1.0 }));
        // One record is constant: 0 exactly, without an error and without a test.
        let constant = table(&[[7.0, 0.0, 0.0], [3.0, 0.0, 0.0], [1.0, 0.0, 0.0]]);
        for weights in [Weights::Nominal, Weights::Linear, Weights::Quadratic] {
            let found = constant.inference(&weights).unwrap();
            assert_eq!((found.kappa.value, found.z()), (0.0, Err(NoInterval::NoSpread)), "{weights:?}");
        }
        assert_eq!(table(&[[0.5, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0; 3]]).inference(&Weights::Nominal), {
            Err(NoKappa::NotCounts)
        });
        assert_eq!(table(&[[0.0; 3]; 3]).weighted(&Weights::Nominal), Err(NoKappa::NothingCompared));
        let of = |rows: &[[f64; 3]]| Weights::Disagreement(rows.iter().map(|row| row.to_vec()).collect());
        for bad in [
            of(&[[0.0; 3]; 3]),
            of(&[[0.0, 1.0, 1.0]; 2]),
            of(&[[0.0, -1.0, 1.0], [1.0, 0.0, 1.0], [1.0, 1.0, 0.0]]),
            of(&[[1.0, 1.0, 1.0], [1.0, 0.0, 1.0], [1.0, 1.0, 0.0]]),
            of(&[[0.0, f64::NAN, 1.0], [1.0, 0.0, 1.0], [1.0, 1.0, 0.0]]),
        ] {
            assert_eq!(perfect.weighted(&bad), Err(NoKappa::WeightsDoNotFit), "{bad:?}");
        }
        let single = Table::from_rows(&[vec![4.0]]).unwrap();
        assert_eq!(single.weighted(&Weights::Linear), Err(NoKappa::NoVariation));
    }
}
