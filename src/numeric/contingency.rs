//! Tables of counts: what chance alone would give, and how far each cell lies from it.

use statrs::distribution::{ChiSquared, ContinuousCDF as _};

use super::{Undefined, linear};

/// A table held against chance; rows and columns as given.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// Everything counted.
    pub total: f64,
    /// Count expected in each cell; 0 in a cell that cannot be.
    pub expected: Vec<Vec<f64>>,
    /// (n − e)/√e; `None` where nothing is expected.
    pub pearson: Vec<Vec<Option<f64>>>,
    /// The same over its own standard deviation: about normal if chance alone is at work. `None` where it
    /// cannot vary: a margin that is empty or everything, a cell that cannot be.
    pub adjusted: Vec<Vec<Option<f64>>>,
    /// The table as a whole.
    pub test: Result<Test, Undefined>,
}

/// A table as a whole against chance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Test {
    /// Pearson's Σ(n − e)²/e.
    pub chi2: f64,
    /// 2·Σ n·ln(n/e), 0·ln 0 taken as 0.
    pub g2: f64,
    /// Degrees of freedom, rows and columns without any count left out.
    pub df: u32,
    /// Upper tail of chi-squared for `chi2`.
    pub p_chi2: f64,
    /// Upper tail of chi-squared for `g2`.
    pub p_g2: f64,
}

/// Sums of a table's rows and columns.
struct Margins {
    rows: Vec<f64>,
    columns: Vec<f64>,
    total: f64,
}

impl Margins {
    fn of(table: &[Vec<f64>]) -> Result<Self, Undefined> {
        let width = table.first().map_or(0, Vec::len);
        if table.iter().any(|row| row.len() != width) {
            return Err(Undefined::LengthsDiffer);
        }
        if table.iter().flatten().any(|count| !(count.is_finite() && *count >= 0.0)) {
            return Err(Undefined::OutOfRange);
        }
        let rows: Vec<f64> = table.iter().map(|row| row.iter().sum()).collect();
        let mut columns = vec![0.0; width];
        for row in table {
            for (sum, count) in columns.iter_mut().zip(row) {
                *sum += count;
            }
        }
        let total = rows.iter().sum();
        if total > 0.0 { Ok(Self { rows, columns, total }) } else { Err(Undefined::TooFew) }
    }
}

/// Rows and columns independent: e = row · column / total, adjusted residual
/// (n − e)/√(e(1 − row/total)(1 − column/total)) (Haberman 1973, Biometrics 29:205–220; for sequences
/// Allison & Liker 1982, Psychol Bull 91:393–403).
///
/// # Errors
/// Rows of different lengths, negative counts, or no count at all.
pub fn independence(table: &[Vec<f64>]) -> Result<Fit, Undefined> {
    let margins = Margins::of(table)?;
    let total = margins.total;
    let over = |cell: &dyn Fn(f64, f64) -> f64| -> Vec<Vec<f64>> {
        margins
            .rows
            .iter()
            .map(|row| margins.columns.iter().map(|column| cell(*row, *column)).collect())
            .collect()
    };
    let expected = over(&|row, column| row * column / total);
    // What is left of a residual's variance of 1 once the margins are fitted.
    let left = over(&|row, column| (1.0 - row / total) * (1.0 - column / total));
    let some = |sums: &[f64]| sums.iter().filter(|sum| **sum > 0.0).count();
    let freedom = (some(&margins.rows) - 1) * (some(&margins.columns) - 1);
    Ok(Fit::from_parts(table, total, expected, &left, freedom))
}

/// Largest number of rounds of fitting.
const ROUNDS: usize = 20_000;
/// Fitting stops when every margin is met to this share of the total.
const CLOSE: f64 = 1e-13;

/// Rows and columns independent but for the diagonal, which cannot be: nothing follows itself
/// (quasi-independence: Goodman 1968, J Am Stat Assoc 63:1091–1131; Bishop, Fienberg & Holland 1975, ch. 5).
///
/// Expected counts by iterative proportional fitting outside the diagonal; adjusted residual
/// (n − e)/√(e(1 − h)), h the leverage in the log-linear model. df = cells − rows − columns + 1 without
/// empty rows and columns: (k − 1)² − k for k states. The ordinary formula would be wrong here.
///
/// # Errors
/// A table that is not square, counts on the diagonal or below 0, no count at all, or so few states
/// that the model fits any table (k < 3).
pub fn quasi_independence(table: &[Vec<f64>]) -> Result<Fit, Undefined> {
    let margins = Margins::of(table)?;
    if table.len() != margins.columns.len() {
        return Err(Undefined::LengthsDiffer);
    }
    if table.iter().enumerate().any(|(i, row)| row.get(i).is_some_and(|count| *count > 0.0)) {
        return Err(Undefined::OutOfRange);
    }
    let can_be = |i: usize, row: f64, j: usize, column: f64| i != j && row > 0.0 && column > 0.0;
    let mut expected: Vec<Vec<f64>> = margins
        .rows
        .iter()
        .enumerate()
        .map(|(i, row)| {
            let cells = margins.columns.iter().enumerate();
            cells.map(|(j, column)| if can_be(i, *row, j, *column) { 1.0 } else { 0.0 }).collect()
        })
        .collect();
    let cells = expected.iter().flatten().filter(|cell| **cell > 0.0).count();
    let some = |sums: &[f64]| sums.iter().filter(|sum| **sum > 0.0).count();
    let terms = some(&margins.rows) + some(&margins.columns) - 1;
    if cells <= terms {
        return Err(Undefined::NotEstimable);
    }
    fit_margins(&mut expected, &margins)?;
    let leverage = leverages(&expected, &margins)?;
    let left: Vec<Vec<f64>> = leverage.iter().map(|row| row.iter().map(|h| 1.0 - h).collect()).collect();
    Ok(Fit::from_parts(table, margins.total, expected, &left, cells - terms))
}

/// Scales rows and columns in turn until both sums are met.
fn fit_margins(cells: &mut [Vec<f64>], margins: &Margins) -> Result<(), Undefined> {
    for _ in 0..ROUNDS {
        for (row, wanted) in cells.iter_mut().zip(&margins.rows) {
            let sum: f64 = row.iter().sum();
            for cell in row.iter_mut().filter(|_| sum > 0.0) {
                *cell *= wanted / sum;
            }
        }
        let sums = column_sums(cells, margins.columns.len());
        for row in cells.iter_mut() {
            for ((cell, wanted), sum) in row.iter_mut().zip(&margins.columns).zip(&sums) {
                if *sum > 0.0 {
                    *cell *= wanted / sum;
                }
            }
        }
        let missed = cells
            .iter()
            .zip(&margins.rows)
            .map(|(row, wanted)| (row.iter().sum::<f64>() - wanted).abs())
            .fold(0.0, f64::max);
        if missed <= CLOSE * margins.total {
            return Ok(());
        }
    }
    Err(Undefined::NotEstimable)
}

fn column_sums(cells: &[Vec<f64>], width: usize) -> Vec<f64> {
    let mut sums = vec![0.0; width];
    for row in cells {
        for (sum, cell) in sums.iter_mut().zip(row) {
            *sum += cell;
        }
    }
    sums
}

/// Leverage of each cell: e · x'(X'EX)⁻¹x, x naming its row and its column. The last column with any
/// count is the reference.
fn leverages(expected: &[Vec<f64>], margins: &Margins) -> Result<Vec<Vec<f64>>, Undefined> {
    let mut next = 0_usize;
    let mut place = |sum: &f64| {
        (*sum > 0.0).then(|| {
            next += 1;
            next - 1
        })
    };
    let rows: Vec<Option<usize>> = margins.rows.iter().map(&mut place).collect();
    let columns: Vec<Option<usize>> = margins.columns.iter().map(&mut place).collect();
    let terms = next - 1;
    let named = |i: usize, j: usize| -> Vec<usize> {
        let both = [rows.get(i), columns.get(j)];
        both.into_iter().flatten().flatten().copied().filter(|term| *term < terms).collect()
    };
    let mut information = vec![vec![0.0; terms]; terms];
    for (i, row) in expected.iter().enumerate() {
        for (j, e) in row.iter().enumerate() {
            let at = named(i, j);
            for a in &at {
                for b in &at {
                    if let Some(cell) = information.get_mut(*a).and_then(|row| row.get_mut(*b)) {
                        *cell += e;
                    }
                }
            }
        }
    }
    let covariance = linear::inverse(&information)?;
    let cell = |a: usize, b: usize| covariance.get(a).and_then(|row| row.get(b)).copied().unwrap_or(0.0);
    let leverage = |i: usize, j: usize, e: f64| {
        let at = named(i, j);
        e * at.iter().flat_map(|a| at.iter().map(move |b| (*a, *b))).map(|(a, b)| cell(a, b)).sum::<f64>()
    };
    Ok(expected
        .iter()
        .enumerate()
        .map(|(i, row)| row.iter().enumerate().map(|(j, e)| leverage(i, j, *e)).collect())
        .collect())
}

/// A variance this close to 0 is 0 up to rounding.
const NOTHING: f64 = 1e-9;

impl Fit {
    fn from_parts(
        table: &[Vec<f64>],
        total: f64,
        expected: Vec<Vec<f64>>,
        left: &[Vec<f64>],
        freedom: usize,
    ) -> Self {
        let residual = |count: f64, e: f64| (e > 0.0).then(|| (count - e) / e.sqrt());
        let pearson: Vec<Vec<Option<f64>>> = table
            .iter()
            .zip(&expected)
            .map(|(row, e)| row.iter().zip(e).map(|(count, e)| residual(*count, *e)).collect())
            .collect();
        let adjust =
            |own: &Option<f64>, left: &f64| own.filter(|_| *left > NOTHING).map(|own| own / left.sqrt());
        let adjusted = pearson
            .iter()
            .zip(left)
            .map(|(row, left)| row.iter().zip(left).map(|(own, left)| adjust(own, left)).collect())
            .collect();
        let test = Test::of(table, &expected, freedom);
        Self { total, expected, pearson, adjusted, test }
    }
}

impl Test {
    fn of(table: &[Vec<f64>], expected: &[Vec<f64>], freedom: usize) -> Result<Self, Undefined> {
        let df = u32::try_from(freedom).map_err(|_| Undefined::OutOfRange)?;
        if df == 0 {
            return Err(Undefined::NotEstimable);
        }
        let (mut chi2, mut g2) = (0.0, 0.0);
        for (count, e) in table.iter().flatten().zip(expected.iter().flatten()).filter(|(_, e)| **e > 0.0) {
            chi2 += (count - e).powi(2) / e;
            if *count > 0.0 {
                g2 += 2.0 * count * (count / e).ln();
            }
        }
        let distribution = ChiSquared::new(f64::from(df)).map_err(|_| Undefined::OutOfRange)?;
        // Rounding can take a perfect fit a hair below 0.
        let upper = |value: f64| if value > 0.0 { distribution.sf(value) } else { 1.0 };
        Ok(Self { chi2, g2, df, p_chi2: upper(chi2), p_g2: upper(g2) })
    }
}

/// Yule's Q of a table [[a, b], [c, d]] (Yule 1900, Phil Trans R Soc A 194:257–319).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct YuleQ {
    /// (ad − bc)/(ad + bc); ±1 as soon as one cell is empty.
    pub q: f64,
    /// Asymptotic standard error ½(1 − Q²)√(1/a + 1/b + 1/c + 1/d); `None` with an empty cell.
    pub standard_error: Option<f64>,
    /// ad/(bc); `None` with an empty cell.
    pub odds_ratio: Option<f64>,
    /// √(1/a + 1/b + 1/c + 1/d), the standard error of its logarithm; `None` with an empty cell.
    pub log_odds_error: Option<f64>,
}

impl YuleQ {
    /// Of four counts.
    ///
    /// # Errors
    /// An empty row or column, or a count below 0.
    pub fn of(table: [[f64; 2]; 2]) -> Result<Self, Undefined> {
        if table.iter().flatten().any(|count| !(count.is_finite() && *count >= 0.0)) {
            return Err(Undefined::OutOfRange);
        }
        let [[a, b], [c, d]] = table;
        let (along, across) = (a * d, b * c);
        if along + across <= 0.0 {
            return Err(Undefined::NoVariation);
        }
        let yule = (along - across) / (along + across);
        let is_full = along > 0.0 && across > 0.0;
        let spread = table.iter().flatten().map(|count| 1.0 / count).sum::<f64>().sqrt();
        Ok(Self {
            q: yule,
            standard_error: is_full.then_some(0.5 * (1.0 - yule * yule) * spread),
            odds_ratio: is_full.then_some(along / across),
            log_odds_error: is_full.then_some(spread),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(table: &[&[f64]]) -> Vec<Vec<f64>> {
        table.iter().map(|row| row.to_vec()).collect()
    }

    #[test]
    fn margins_that_are_empty_or_everything_have_no_residual() {
        let found = independence(&rows(&[&[3.0, 0.0, 5.0], &[2.0, 0.0, 4.0]])).unwrap();
        assert!(found.adjusted.iter().all(|row| row[1].is_none()) && found.adjusted[0][0].is_some());
        assert_eq!(found.test.unwrap().df, 1);
        let single = independence(&rows(&[&[3.0, 5.0]])).unwrap();
        assert_eq!((single.adjusted[0][0], single.test), (None, Err(Undefined::NotEstimable)));
        assert_eq!(independence(&rows(&[&[0.0, 0.0]])), Err(Undefined::TooFew));
        assert_eq!(independence(&rows(&[&[1.0], &[1.0, 2.0]])), Err(Undefined::LengthsDiffer));
        assert_eq!(independence(&rows(&[&[-1.0]])), Err(Undefined::OutOfRange));
    }

    #[test]
    fn what_cannot_follow_itself_needs_three_states() {
        let two = rows(&[&[0.0, 4.0], &[3.0, 0.0]]);
        assert_eq!(quasi_independence(&two), Err(Undefined::NotEstimable));
        let unused = rows(&[&[0.0, 4.0, 2.0], &[3.0, 0.0, 1.0], &[0.0, 0.0, 0.0]]);
        assert_eq!(
            quasi_independence(&unused),
            Err(Undefined::NotEstimable),
            "no state leads on from the third"
        );
        assert_eq!(quasi_independence(&rows(&[&[1.0, 4.0], &[3.0, 0.0]])), Err(Undefined::OutOfRange));
    }

    #[test]
    fn a_state_never_used_changes_nothing() {
        let three = rows(&[&[0.0, 12.0, 5.0], &[8.0, 0.0, 9.0], &[7.0, 4.0, 0.0]]);
        let mut four: Vec<Vec<f64>> = three.iter().map(|row| [row.as_slice(), &[0.0]].concat()).collect();
        four.push(vec![0.0; 4]);
        let (small, large) = (quasi_independence(&three).unwrap(), quasi_independence(&four).unwrap());
        assert_eq!(small.test.unwrap().df, large.test.unwrap().df);
        assert!((small.adjusted[0][1].unwrap() - large.adjusted[0][1].unwrap()).abs() < 1e-9);
        assert_eq!(large.adjusted[0][3], None);
    }

    #[test]
    fn empty_cells_leave_q_without_an_error() {
        let found = YuleQ::of([[5.0, 0.0], [2.0, 7.0]]).unwrap();
        assert_eq!((found.q, found.standard_error, found.odds_ratio), (1.0, None, None));
        assert_eq!(YuleQ::of([[5.0, 7.0], [0.0, 0.0]]), Err(Undefined::NoVariation));
    }
}
