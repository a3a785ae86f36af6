//! Cohen's kappa of a table (Cohen 1960, Educ Psychol Meas 20:37–46) and what belongs beside it.

use std::fmt;

use super::weighted::Weights;

/// A square table: rows first record, columns second; weights of any unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    size: usize,
    cells: Vec<f64>,
}

/// Why a kappa is not there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum NoKappa {
    /// Nothing was compared.
    NothingCompared,
    /// Both records hold one and the same label throughout: chance alone explains everything.
    NoVariation,
    /// Neither record has it.
    DidNotOccur,
    /// Too little of it in one of the records (rule 31).
    TooFew,
    /// A pass that holds it is not done in both.
    PassNotDone,
    /// Weights that are not of the table's size, are negative, give no credit on the diagonal, or
    /// make no difference.
    WeightsDoNotFit,
    /// A standard error wants counts of independent units, and these are not whole numbers.
    NotCounts,
    /// Defined for two labels only.
    NotTwoLabels,
    /// Units were rated by different numbers of people, or by one.
    UnequalRaters,
    /// Values that are not one a label, not finite, or negative on a ratio scale.
    ValuesDoNotFit,
    /// Not one event of one record has a partner in the other.
    NothingPaired,
}

impl fmt::Display for NoKappa {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::NothingCompared => "nothing was compared",
            Self::NoVariation => "no variation: both hold one and the same throughout",
            Self::DidNotOccur => "did not occur",
            Self::TooFew => "too few",
            Self::PassNotDone => "pass not done",
            Self::WeightsDoNotFit => "the weights do not fit the table",
            Self::NotCounts => "a standard error wants whole counts of independent units",
            Self::NotTwoLabels => "defined for two labels only",
            Self::UnequalRaters => "not every unit was rated by the same number of people, two or more",
            Self::ValuesDoNotFit => "the labels' values do not fit the scale",
            Self::NothingPaired => "no event of one record has a partner in the other",
        })
    }
}

/// Agreement of a table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Kappa {
    /// Share of agreement.
    pub observed: f64,
    /// Share expected from the margins alone.
    pub expected: f64,
    /// (observed − expected)/(1 − expected).
    pub kappa: f64,
    /// The highest kappa these margins allow.
    pub max: f64,
}

impl Table {
    /// A table from rows; `None` when it is not square or holds anything but numbers from 0 up.
    #[must_use]
    pub fn from_rows(rows: &[Vec<f64>]) -> Option<Self> {
        let size = rows.len();
        let cells: Vec<f64> = rows.iter().flatten().copied().collect();
        let square = cells.len() == size * size && rows.iter().all(|row| row.len() == size);
        let counts = cells.iter().all(|cell| *cell >= 0.0) && cells.iter().sum::<f64>().is_finite();
        (square && counts).then_some(Self { size, cells })
    }

    /// Labels: rows, and as many columns.
    #[must_use]
    pub fn size(&self) -> usize {
        self.size
    }

    /// A cell; 0 outside the table.
    #[must_use]
    pub fn cell(&self, row: usize, column: usize) -> f64 {
        self.cells.get(row * self.size + column).copied().unwrap_or(0.0)
    }

    /// Sum of a row: the first record's total of a label.
    #[must_use]
    pub fn row(&self, row: usize) -> f64 {
        (0..self.size).map(|column| self.cell(row, column)).sum()
    }

    /// Sum of a column: the second record's total of a label.
    #[must_use]
    pub fn column(&self, column: usize) -> f64 {
        (0..self.size).map(|row| self.cell(row, column)).sum()
    }

    /// Everything compared.
    #[must_use]
    pub fn total(&self) -> f64 {
        self.cells.iter().sum()
    }

    /// One label against all others: `[[both, only first], [only second, neither]]`.
    #[must_use]
    pub fn one_against_rest(&self, label: usize) -> Self {
        let both = self.cell(label, label);
        let only_first = self.row(label) - both;
        let only_second = self.column(label) - both;
        let neither = self.total() - both - only_first - only_second;
        Self { size: 2, cells: vec![both, only_first, only_second, neither] }
    }

    /// The table without one label's row and column.
    #[must_use]
    pub fn without(&self, label: usize) -> Self {
        let kept: Vec<usize> = (0..self.size).filter(|own| *own != label).collect();
        let cells = kept.iter().flat_map(|row| kept.iter().map(|column| self.cell(*row, *column))).collect();
        Self { size: kept.len(), cells }
    }

    /// Kappa and what belongs beside it. The highest kappa the margins allow is
    /// (Σ min(p_i·, p_·i) − p_e)/(1 − p_e) (Cohen 1960).
    ///
    /// # Errors
    /// When it is not defined.
    pub fn kappa(&self) -> Result<Kappa, NoKappa> {
        let found = self.weighted(&Weights::Nominal)?;
        let total = self.total();
        let highest = (0..self.size).map(|i| self.row(i).min(self.column(i))).sum::<f64>() / total;
        Ok(Kappa {
            observed: found.observed,
            expected: found.expected,
            kappa: found.kappa,
            max: (highest - found.expected) / (1.0 - found.expected),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table(rows: &[&[f64]]) -> Table {
        Table::from_rows(&rows.iter().map(|row| row.to_vec()).collect::<Vec<_>>()).unwrap()
    }

    #[test]
    fn cohen_1960() {
        // Cohen 1960, table 1: observed .70, expected .41, kappa .492, maximum .831.
        let found = table(&[&[88.0, 10.0, 2.0], &[14.0, 40.0, 6.0], &[18.0, 10.0, 12.0]]).kappa().unwrap();
        assert!((found.observed - 0.70).abs() < 1e-12 && (found.expected - 0.41).abs() < 1e-12);
        assert!((found.kappa - 0.492).abs() < 5e-4 && (found.max - 0.831).abs() < 5e-4, "{found:?}");
    }

    #[test]
    fn feinstein_and_cicchetti_paradox() {
        // Feinstein & Cicchetti 1990, J Clin Epidemiol 43:543-549: the same 85 % agreement, kappa .70 and .32.
        let even = table(&[&[40.0, 9.0], &[6.0, 45.0]]).kappa().unwrap();
        let uneven = table(&[&[80.0, 10.0], &[5.0, 5.0]]).kappa().unwrap();
        assert!((even.observed - 0.85).abs() < 1e-12 && (uneven.observed - 0.85).abs() < 1e-12);
        assert!((even.kappa - 0.70).abs() < 5e-3 && (uneven.kappa - 0.32).abs() < 5e-3);
    }

    #[test]
    fn edges_have_reasons() {
        assert_eq!(table(&[&[0.0, 0.0], &[0.0, 0.0]]).kappa(), Err(NoKappa::NothingCompared));
        assert_eq!(table(&[&[9.0, 0.0], &[0.0, 0.0]]).kappa(), Err(NoKappa::NoVariation));
        assert_eq!(table(&[&[5.0, 4.0], &[0.0, 0.0]]).kappa().unwrap().kappa, 0.0, "one record is constant");
        assert_eq!(table(&[&[5.0, 0.0], &[0.0, 4.0]]).kappa().unwrap().kappa, 1.0);
        assert!(Table::from_rows(&[vec![1.0], vec![1.0]]).is_none());
        for bad in [-1.0, f64::NAN, f64::INFINITY] {
            assert!(Table::from_rows(&[vec![bad]]).is_none());
        }
    }

    #[test]
    fn kappa_is_symmetric() {
        let rows: [[f64; 3]; 3] = [[5.0, 2.0, 1.0], [0.0, 7.0, 3.0], [2.0, 2.0, 9.0]];
        let mut turned = [[0.0; 3]; 3];
        for i in 0..3 {
            for j in 0..3 {
                turned[j][i] = rows[i][j];
            }
        }
        let one = table(&rows.each_ref().map(<[f64; 3]>::as_slice)).kappa().unwrap();
        let other = table(&turned.each_ref().map(<[f64; 3]>::as_slice)).kappa().unwrap();
        assert!((one.kappa - other.kappa).abs() < 1e-15 && (one.max - other.max).abs() < 1e-15);
    }
}
