//! Small dense matrices, as rows.

use super::Undefined;

/// Pivots below this share of the largest entry mean that the matrix has no inverse.
const SINGULAR: f64 = 1e-12;

/// Inverse of a square matrix, by elimination with the largest pivot of each column.
///
/// # Errors
/// When it is not square, or has no inverse up to rounding.
pub fn inverse(matrix: &[Vec<f64>]) -> Result<Vec<Vec<f64>>, Undefined> {
    let size = matrix.len();
    if matrix.iter().any(|row| row.len() != size) {
        return Err(Undefined::LengthsDiffer);
    }
    let largest = matrix.iter().flatten().fold(0.0_f64, |largest, cell| largest.max(cell.abs()));
    // The matrix, and the unit matrix beside it: what turns the one into the unit matrix turns the
    // other into the inverse.
    let mut rows: Vec<Vec<f64>> = matrix
        .iter()
        .enumerate()
        .map(|(i, row)| {
            row.iter().copied().chain((0..size).map(|j| if i == j { 1.0 } else { 0.0 })).collect()
        })
        .collect();
    let cell = |row: &[f64], column: usize| row.get(column).copied().unwrap_or(0.0);
    for column in 0..size {
        let pivot = rows
            .iter()
            .enumerate()
            .skip(column)
            .max_by(|(_, a), (_, b)| cell(a, column).abs().total_cmp(&cell(b, column).abs()))
            .map(|(place, row)| (place, cell(row, column)));
        let Some((place, pivot)) = pivot.filter(|(_, pivot)| pivot.abs() > SINGULAR * largest) else {
            return Err(Undefined::NotEstimable);
        };
        rows.swap(column, place);
        let Some(row) = rows.get_mut(column) else { return Err(Undefined::NotEstimable) };
        for value in row.iter_mut() {
            *value /= pivot;
        }
        let scaled = row.clone();
        for (_, other) in rows.iter_mut().enumerate().filter(|(place, _)| *place != column) {
            let factor = cell(other, column);
            for (value, part) in other.iter_mut().zip(&scaled) {
                *value -= factor * part;
            }
        }
    }
    Ok(rows.into_iter().map(|row| row.into_iter().skip(size).collect()).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_matrix_times_its_inverse_is_one() {
        let matrix = vec![vec![0.0, 2.0, 1.0], vec![1.0, -2.0, 3.0], vec![4.0, 0.5, 1.0]];
        let found = inverse(&matrix).unwrap();
        for (i, row) in matrix.iter().enumerate() {
            for j in 0..3 {
                let product: f64 = row.iter().zip(&found).map(|(a, b)| a * b[j]).sum();
                assert!((product - if i == j { 1.0 } else { 0.0 }).abs() < 1e-12);
            }
        }
        assert_eq!(inverse(&[vec![1.0, 2.0], vec![2.0, 4.0]]), Err(Undefined::NotEstimable));
        assert_eq!(inverse(&[vec![1.0, 2.0]]), Err(Undefined::LengthsDiffer));
    }
}
