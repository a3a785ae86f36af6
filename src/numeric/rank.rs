//! Ranks, ties and correlation.

use statrs::distribution::{ContinuousCDF as _, StudentsT};

use super::{Undefined, quantile};

/// Which side of a distribution a p-value counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tail {
    /// As far from nothing as this, either way.
    Two,
    /// As high as this or higher.
    Greater,
}

/// Mid-ranks from 1: equal values share the mean of their places.
#[must_use]
#[allow(clippy::cast_precision_loss)] // Places in a list.
pub fn mid_ranks(values: &[f64]) -> Vec<f64> {
    let mut ordered: Vec<(f64, usize)> = values.iter().copied().map(plain).zip(0..).collect();
    ordered.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut ranks: Vec<(usize, f64)> = Vec::with_capacity(values.len());
    let mut before = 0;
    for group in ordered.chunk_by(|a, b| a.0.total_cmp(&b.0).is_eq()) {
        let rank = before as f64 + (group.len() + 1) as f64 / 2.0;
        ranks.extend(group.iter().map(|(_, place)| (*place, rank)));
        before += group.len();
    }
    ranks.sort_unstable_by_key(|(place, _)| *place);
    ranks.into_iter().map(|(_, rank)| rank).collect()
}

/// Sizes of the groups of equal values, single ones included, by rising value.
#[must_use]
pub fn tie_sizes(values: &[f64]) -> Vec<usize> {
    let mut ordered: Vec<f64> = values.iter().copied().map(plain).collect();
    ordered.sort_by(f64::total_cmp);
    ordered.chunk_by(|a, b| a.total_cmp(b).is_eq()).map(<[f64]>::len).collect()
}

/// Negative zero is zero.
fn plain(value: f64) -> f64 {
    value + 0.0
}

/// The values with those that differ by rounding alone made equal: of values that lie within `slack`
/// of their neighbour by size all become the lowest. Ties that are exact on paper (0.3 − 0.2 and
/// 0.2 − 0.1) are ties again.
#[must_use]
pub fn level_out(values: &[f64], slack: f64) -> Vec<f64> {
    let mut ordered: Vec<(f64, usize)> = values.iter().copied().zip(0..).collect();
    ordered.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut levelled: Vec<(usize, f64)> = Vec::with_capacity(values.len());
    for group in ordered.chunk_by(|a, b| b.0 - a.0 <= slack) {
        let lowest = group.first().map_or(0.0, |(value, _)| *value);
        levelled.extend(group.iter().map(|(_, place)| (*place, lowest)));
    }
    levelled.sort_unstable_by_key(|(place, _)| *place);
    levelled.into_iter().map(|(_, value)| value).collect()
}

/// Pearson's correlation.
///
/// # Errors
/// Lists of different lengths, fewer than two pairs, or one list without variation.
pub fn pearson(x: &[f64], y: &[f64]) -> Result<f64, Undefined> {
    if x.len() != y.len() {
        return Err(Undefined::LengthsDiffer);
    }
    if x.len() < 2 {
        return Err(Undefined::TooFew);
    }
    if x.iter().chain(y).any(|value| !value.is_finite()) {
        return Err(Undefined::OutOfRange);
    }
    let means = quantile::mean(x).zip(quantile::mean(y));
    let (mean_x, mean_y) = means.ok_or(Undefined::TooFew)?;
    let (mut both, mut own_x, mut own_y) = (0.0, 0.0, 0.0);
    for (a, b) in x.iter().zip(y) {
        both += (a - mean_x) * (b - mean_y);
        own_x += (a - mean_x).powi(2);
        own_y += (b - mean_y).powi(2);
    }
    if own_x <= 0.0 || own_y <= 0.0 {
        return Err(Undefined::NoVariation);
    }
    Ok((both / (own_x * own_y).sqrt()).clamp(-1.0, 1.0))
}

/// Spearman's correlation (Spearman 1904, Am J Psychol 15:72–101): Pearson's on mid-ranks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spearman {
    /// Pairs.
    pub n: usize,
    /// The correlation.
    pub rho: f64,
    /// Whether a value repeats.
    has_ties: bool,
}

/// Pairs up to which the exact distribution is counted.
const EXACT_UP_TO: usize = 9;

impl Spearman {
    /// Of pairs.
    ///
    /// # Errors
    /// As [`pearson`].
    pub fn of(x: &[f64], y: &[f64]) -> Result<Self, Undefined> {
        let rho = pearson(&mid_ranks(x), &mid_ranks(y))?;
        let ties = |values: &[f64]| tie_sizes(values).iter().any(|size| *size > 1);
        Ok(Self { n: x.len(), rho, has_ties: ties(x) || ties(y) })
    }

    /// Sum of squared rank differences that belongs to `rho`: (n³ − n)(1 − rho)/6.
    #[must_use]
    #[allow(clippy::cast_precision_loss)] // A count of pairs.
    pub fn squares(&self) -> f64 {
        let n = self.n as f64;
        (n.powi(3) - n) * (1.0 - self.rho) / 6.0
    }

    /// p-value, two-sided, by Student's t with n − 2 degrees of freedom.
    ///
    /// # Errors
    /// Below three pairs.
    #[allow(clippy::cast_precision_loss)] // A count of pairs.
    pub fn p_by_t(&self) -> Result<f64, Undefined> {
        if self.n < 3 {
            return Err(Undefined::TooFew);
        }
        let freedom = self.n as f64 - 2.0;
        let rest = 1.0 - self.rho * self.rho;
        if rest <= 0.0 {
            return Ok(0.0);
        }
        let t = self.rho.abs() * (freedom / rest).sqrt();
        let students = StudentsT::new(0.0, 1.0, freedom).map_err(|_| Undefined::OutOfRange)?;
        Ok((2.0 * students.sf(t)).min(1.0))
    }

    /// p-value from all orders of the ranks, each as likely; two-sided is twice the nearer tail.
    ///
    /// # Errors
    /// With ties, or above nine pairs.
    pub fn p_exact(&self, tail: Tail) -> Result<f64, Undefined> {
        if self.has_ties {
            return Err(Undefined::Ties);
        }
        if self.n > EXACT_UP_TO {
            return Err(Undefined::OutOfRange);
        }
        // An even whole number without ties; the root in `rho` leaves rounding behind.
        let squares = self.squares().round();
        let shares = square_sums(self.n);
        let at_most = |limit: f64| -> f64 {
            shares
                .iter()
                .zip(0_u32..)
                .filter(|(_, sum)| f64::from(*sum) <= limit)
                .map(|(share, _)| share)
                .sum()
        };
        let greater = at_most(squares);
        Ok(match tail {
            Tail::Greater => greater,
            Tail::Two => (2.0 * greater.min(1.0 - at_most(squares - 1.0))).min(1.0),
        })
    }
}

/// Share of the orders of `n` ranks for each sum of squared differences to 1 … n.
///
/// Counted over sets of ranks already given away: 2ⁿ·n·sums steps instead of n! orders.
fn square_sums(n: usize) -> Vec<f64> {
    let sums = (n.pow(3) - n) / 3 + 1;
    let mut ways: Vec<Vec<f64>> = vec![Vec::new(); 1 << n];
    if let Some(start) = ways.first_mut() {
        *start = vec![0.0; sums];
        if let Some(none) = start.first_mut() {
            *none = 1.0;
        }
    }
    for given in 0..(1_usize << n) {
        let here = ways.get_mut(given).map(std::mem::take).unwrap_or_default();
        let place = given.count_ones() as usize;
        if place == n {
            let total: f64 = here.iter().sum();
            return here.iter().map(|count| count / total).collect();
        }
        for rank in (0..n).filter(|rank| given >> rank & 1 == 0) {
            let square = rank.abs_diff(place).pow(2);
            let Some(next) = ways.get_mut(given | 1 << rank) else { continue };
            if next.is_empty() {
                *next = vec![0.0; sums];
            }
            for (count, cell) in here.iter().zip(next.iter_mut().skip(square)) {
                *cell += count;
            }
        }
    }
    Vec::new()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_list_without_variation_correlates_with_nothing() {
        let (same, rising) = ([2.0; 4], [1.0, 2.0, 3.0, 4.0]);
        assert_eq!(pearson(&same, &rising), Err(Undefined::NoVariation));
        assert_eq!(pearson(&rising, &same), Err(Undefined::NoVariation));
    }

    #[test]
    fn equal_values_share_a_rank() {
        assert_eq!(mid_ranks(&[3.0, 1.0, 3.0, 2.0, 3.0]), [4.0, 1.0, 4.0, 2.0, 4.0]);
        assert_eq!(mid_ranks(&[0.0, -0.0, 1.0]), [1.5, 1.5, 3.0]);
        assert_eq!(tie_sizes(&[2.0, 1.0, 2.0]), [1, 2]);
        assert!(mid_ranks(&[]).is_empty());
    }

    #[test]
    fn rounding_makes_no_difference() {
        let levelled = level_out(&[0.3 - 0.2, 0.5, 0.2 - 0.1], 1e-12);
        assert_eq!(levelled[0], levelled[2]);
        assert_eq!(levelled[1], 0.5);
    }

    #[test]
    fn a_correlation_says_why_it_has_none() {
        assert_eq!(pearson(&[1.0, 2.0], &[1.0]), Err(Undefined::LengthsDiffer));
        assert_eq!(pearson(&[1.0], &[1.0]), Err(Undefined::TooFew));
        assert_eq!(pearson(&[1.0, 1.0], &[1.0, 2.0]), Err(Undefined::NoVariation));
        assert_eq!(pearson(&[1.0, f64::NAN], &[1.0, 2.0]), Err(Undefined::OutOfRange));
        assert_eq!(Spearman::of(&[1.0, 2.0, 3.0], &[1.0, 4.0, 9.0]).unwrap().rho, 1.0);
        assert_eq!(
            Spearman::of(&[1.0, 1.0, 3.0], &[1.0, 4.0, 9.0]).unwrap().p_exact(Tail::Two),
            Err(Undefined::Ties)
        );
    }

    #[test]
    fn all_orders_of_three() {
        // By hand: sums 0, 2, 2, 6, 6, 8 for the six orders.
        let shares = square_sums(3);
        assert!((shares[0] - 1.0 / 6.0).abs() < 1e-15 && (shares[2] - 1.0 / 3.0).abs() < 1e-15);
        assert!((shares[6] - 1.0 / 3.0).abs() < 1e-15 && (shares[8] - 1.0 / 6.0).abs() < 1e-15);
    }
}
