//! Trends that make no assumption on shape: Kendall's tau, Mann–Kendall, Theil–Sen.
//!
//! Cost and memory grow with the square of the number of points: these are sessions, not seconds.

use statrs::distribution::{ContinuousCDF as _, Normal};

use super::interval::Confidence;
use super::rank::{Tail, tie_sizes};
use super::{Undefined, quantile};

/// Points (x, y) of finite numbers, at least two.
#[derive(Debug, Clone, PartialEq)]
pub struct Series {
    points: Vec<(f64, f64)>,
}

impl Series {
    /// From two lists.
    ///
    /// # Errors
    /// Lists of different lengths, fewer than two points, or a value that is no finite number.
    pub fn try_new(x: &[f64], y: &[f64]) -> Result<Self, Undefined> {
        if x.len() != y.len() {
            return Err(Undefined::LengthsDiffer);
        }
        if x.len() < 2 {
            return Err(Undefined::TooFew);
        }
        if x.iter().chain(y).any(|value| !value.is_finite()) {
            return Err(Undefined::OutOfRange);
        }
        Ok(Self { points: x.iter().copied().zip(y.iter().copied()).collect() })
    }

    /// Values in their order: x is 1, 2, ….
    ///
    /// # Errors
    /// As [`Self::try_new`].
    pub fn in_order(y: &[f64]) -> Result<Self, Undefined> {
        let x: Vec<f64> = (1_u32..).map(f64::from).take(y.len()).collect();
        Self::try_new(&x, y)
    }

    fn x(&self) -> Vec<f64> {
        self.points.iter().map(|(x, _)| *x).collect()
    }

    fn y(&self) -> Vec<f64> {
        self.points.iter().map(|(_, y)| *y).collect()
    }

    /// Each two points, the earlier one in the list first.
    fn pairs(&self) -> impl Iterator<Item = ((f64, f64), (f64, f64))> {
        self.points
            .iter()
            .enumerate()
            .flat_map(|(i, a)| self.points.iter().skip(i + 1).map(move |b| (*a, *b)))
    }
}

/// Whether half a step is taken off |S| before it is held against the normal distribution.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Continuity {
    /// |S| − 1: ours.
    Corrected,
    /// |S| as it is.
    Plain,
}

/// By which distribution a p-value was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Distribution {
    /// All orders of the values.
    Exact,
    /// Normal, with the variance corrected for ties.
    Normal,
}

/// Largest number of points whose p-value is exact by default.
pub const EXACT_UP_TO: usize = 10;
/// Largest number of points whose orders are counted at all: the work grows with its fourth power.
const COUNTED_UP_TO: usize = 100;

/// Concordance of a series (Kendall 1938, Biometrika 30:81–93; Mann 1945, Econometrica 13:245–259).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Kendall {
    /// Points.
    pub n: usize,
    /// Pairs that rise together less pairs that do not: S = Σ sign(Δx)·sign(Δy).
    pub s: i64,
    /// Variance of S if y had no order, corrected for ties in x and in y.
    pub variance: f64,
    pairs: f64,
    tied_x: f64,
    tied_y: f64,
}

impl Kendall {
    /// Counts a series.
    ///
    /// Var(S) = [n(n−1)(2n+5) − Σt(t−1)(2t+5) − Σu(u−1)(2u+5)]/18 + Σt(t−1)·Σu(u−1)/(2n(n−1)) +
    /// Σt(t−1)(t−2)·Σu(u−1)(u−2)/(9n(n−1)(n−2)), t and u the sizes of the ties in x and in y (Kendall,
    /// Rank Correlation Methods, from memory).
    #[must_use]
    #[allow(clippy::cast_precision_loss)] // Counts of points.
    pub fn of(series: &Series) -> Self {
        let sign = |difference: f64| i64::from(difference > 0.0) - i64::from(difference < 0.0);
        let s = series.pairs().map(|(a, b)| sign(b.0 - a.0) * sign(b.1 - a.1)).sum();
        let n = series.points.len();
        let (ties_x, ties_y) = (tie_sizes(&series.x()), tie_sizes(&series.y()));
        let sum =
            |ties: &[usize], term: fn(f64) -> f64| ties.iter().map(|size| term(*size as f64)).sum::<f64>();
        let two = |t: f64| t * (t - 1.0);
        let three = |t: f64| t * (t - 1.0) * (t - 2.0);
        let spread = |t: f64| t * (t - 1.0) * (2.0 * t + 5.0);
        let count = n as f64;
        let mut variance = (spread(count) - sum(&ties_x, spread) - sum(&ties_y, spread)) / 18.0
            + sum(&ties_x, two) * sum(&ties_y, two) / (2.0 * two(count));
        if n > 2 {
            variance += sum(&ties_x, three) * sum(&ties_y, three) / (9.0 * three(count));
        }
        Self {
            n,
            s,
            variance: variance.max(0.0),
            pairs: two(count) / 2.0,
            tied_x: sum(&ties_x, two) / 2.0,
            tied_y: sum(&ties_y, two) / 2.0,
        }
    }

    /// Whether a value of x or y repeats.
    #[must_use]
    pub fn has_ties(&self) -> bool {
        self.tied_x + self.tied_y > 0.0
    }

    /// Tau a: S over all pairs.
    #[must_use]
    #[allow(clippy::cast_precision_loss)] // A count of pairs.
    pub fn tau_a(&self) -> f64 {
        self.s as f64 / self.pairs
    }

    /// Tau b: S over √((pairs − tied in x)(pairs − tied in y)).
    ///
    /// # Errors
    /// When all x or all y are equal.
    #[allow(clippy::cast_precision_loss)] // A count of pairs.
    pub fn tau_b(&self) -> Result<f64, Undefined> {
        let below = (self.pairs - self.tied_x) * (self.pairs - self.tied_y);
        if below > 0.0 { Ok(self.s as f64 / below.sqrt()) } else { Err(Undefined::NoVariation) }
    }

    /// S over its standard deviation; 0 where S is 0.
    #[must_use]
    #[allow(clippy::cast_precision_loss)] // A count of pairs.
    pub fn z(&self, continuity: Continuity) -> f64 {
        let step = if continuity == Continuity::Corrected { self.s.signum() } else { 0 };
        let s = self.s - step;
        if s == 0 { 0.0 } else { s as f64 / self.variance.sqrt() }
    }

    /// p-value by the normal distribution.
    #[must_use]
    pub fn p_normal(&self, continuity: Continuity, tail: Tail) -> f64 {
        let (normal, z) = (Normal::standard(), self.z(continuity));
        match tail {
            Tail::Two => (2.0 * normal.sf(z.abs())).min(1.0),
            Tail::Greater => normal.sf(z),
        }
    }

    /// p-value from all orders of the values, each as likely.
    ///
    /// # Errors
    /// With ties, or above a hundred points.
    #[allow(clippy::cast_precision_loss)] // Counts of pairs.
    pub fn p_exact(&self, tail: Tail) -> Result<f64, Undefined> {
        if self.has_ties() {
            return Err(Undefined::Ties);
        }
        if self.n > COUNTED_UP_TO {
            return Err(Undefined::OutOfRange);
        }
        // Without ties S = pairs − 2 · (pairs out of order).
        let shares = out_of_order(self.n);
        let at_least = |s: i64| -> f64 {
            let most = (self.pairs - s as f64) / 2.0;
            shares.iter().zip(0_u32..).filter(|(_, k)| f64::from(*k) <= most).map(|(share, _)| share).sum()
        };
        Ok(match tail {
            Tail::Greater => at_least(self.s).min(1.0),
            Tail::Two => (2.0 * at_least(self.s.abs())).min(1.0),
        })
    }

    /// Our p-value, two-sided: exact up to ten points without ties, else normal with continuity
    /// correction.
    #[must_use]
    pub fn p(&self) -> (f64, Distribution) {
        let exact = if self.n <= EXACT_UP_TO { self.p_exact(Tail::Two).ok() } else { None };
        match exact {
            Some(p) => (p, Distribution::Exact),
            None => (self.p_normal(Continuity::Corrected, Tail::Two), Distribution::Normal),
        }
    }
}

/// Share of the orders of `n` values that have 0, 1, … pairs out of order.
#[allow(clippy::cast_precision_loss)] // A count of values.
fn out_of_order(n: usize) -> Vec<f64> {
    let mut shares = vec![1.0];
    for placed in 2..=n {
        // The next value passes 0 to placed − 1 of those before it, each as likely.
        let mut wider = vec![0.0; shares.len() + placed - 1];
        for (k, share) in shares.iter().enumerate() {
            for cell in wider.iter_mut().skip(k).take(placed) {
                *cell += share / placed as f64;
            }
        }
        shares = wider;
    }
    shares
}

/// How a rank that is no whole number is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ranks {
    /// Linearly between its neighbours (Gilbert 1987, Statistical Methods for Environmental Pollution
    /// Monitoring, from memory): ours.
    Interpolated,
    /// The nearest whole rank, halves to the even one.
    Nearest,
}

/// Median of the slopes between all pairs of points (Theil 1950; Sen 1968, J Am Stat Assoc 63:1379–1389).
#[derive(Debug, Clone, PartialEq)]
pub struct TheilSen {
    /// Change of y for one unit of x.
    pub slope: f64,
    /// y at x = 0 of the line through the medians of x and y (Conover 1980, from memory): ours.
    pub intercept: f64,
    /// Median of y − slope · x.
    pub intercept_of_residuals: f64,
    slopes: Vec<f64>,
    deviation: f64,
}

impl TheilSen {
    /// Of a series; pairs with the same x have no slope and are left out.
    ///
    /// # Errors
    /// When all x are equal.
    pub fn of(series: &Series) -> Result<Self, Undefined> {
        let mut slopes: Vec<f64> = series
            .pairs()
            .map(|(a, b)| (b.0 - a.0, b.1 - a.1))
            .filter(|(run, _)| run.abs() > 0.0)
            .map(|(run, rise)| rise / run)
            .collect();
        slopes.sort_by(f64::total_cmp);
        let slope = quantile::sorted(&slopes, 0.5).ok_or(Undefined::NoVariation)?;
        let medians = quantile::of(&series.x(), 0.5).zip(quantile::of(&series.y(), 0.5));
        let (x, y) = medians.ok_or(Undefined::TooFew)?;
        let residuals: Vec<f64> = series.points.iter().map(|(x, y)| y - slope * x).collect();
        Ok(Self {
            slope,
            intercept: y - slope * x,
            intercept_of_residuals: quantile::of(&residuals, 0.5).ok_or(Undefined::TooFew)?,
            slopes,
            deviation: Kendall::of(series).variance.sqrt(),
        })
    }

    /// Slopes of pairs.
    #[must_use]
    pub fn pairs(&self) -> usize {
        self.slopes.len()
    }

    /// Ranks, from 1, of the limits among the sorted slopes: (N − C)/2 and (N + C)/2 + 1 with
    /// C = z·√Var(S).
    #[must_use]
    #[allow(clippy::cast_precision_loss)] // A count of pairs.
    pub fn ranks(&self, confidence: Confidence) -> (f64, f64) {
        let (n, half) = (self.slopes.len() as f64, confidence.z() * self.deviation);
        (f64::midpoint(n, -half), f64::midpoint(n, half) + 1.0)
    }

    /// Limits of the slope; `None` where the rank lies outside the slopes: unbounded on that side.
    #[must_use]
    pub fn interval(&self, confidence: Confidence, ranks: Ranks) -> (Option<f64>, Option<f64>) {
        let (low, high) = self.ranks(confidence);
        let read = |rank: f64| match ranks {
            Ranks::Interpolated => self.at_rank(rank),
            Ranks::Nearest => self.at_rank(rank.round_ties_even()),
        };
        (read(low), read(high))
    }

    #[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    // A place in the list: at least 1, at most its length.
    fn at_rank(&self, rank: f64) -> Option<f64> {
        if !(1.0..=self.slopes.len() as f64).contains(&rank) {
            return None;
        }
        let place = rank.floor() as usize - 1;
        let low = self.slopes.get(place)?;
        let high = self.slopes.get(place + 1).unwrap_or(low);
        Some(low + (high - low) * rank.fract())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tau_b_with_equal_values_in_one_list() {
        // By its formula: of 6 pairs 5 rise and 1 is equal, 5/√(5·6), whichever list holds it.
        for (x, y) in
            [([1.0, 2.0, 3.0, 4.0], [1.0, 1.0, 2.0, 3.0]), ([1.0, 1.0, 2.0, 3.0], [1.0, 2.0, 3.0, 4.0])]
        {
            let tau = Kendall::of(&Series::try_new(&x, &y).unwrap()).tau_b().unwrap();
            assert!((tau - 5.0 / 30.0_f64.sqrt()).abs() < 1e-12, "{tau}");
        }
    }

    #[test]
    fn orders_of_four_are_counted() {
        // By hand: 1, 3, 5, 6, 5, 3, 1 of 24 orders have 0 to 6 pairs out of order.
        let counts: Vec<f64> = out_of_order(4).iter().map(|share| (share * 24.0).round()).collect();
        assert_eq!(counts, [1.0, 3.0, 5.0, 6.0, 5.0, 3.0, 1.0]);
        assert!((out_of_order(10).iter().sum::<f64>() - 1.0).abs() < 1e-12);
    }

    #[test]
    fn what_has_no_trend_says_why() {
        assert_eq!(Series::in_order(&[1.0]), Err(Undefined::TooFew));
        assert_eq!(Series::try_new(&[1.0, 2.0], &[1.0]), Err(Undefined::LengthsDiffer));
        assert_eq!(Series::in_order(&[1.0, f64::INFINITY]), Err(Undefined::OutOfRange));
        let constant = Kendall::of(&Series::in_order(&[3.0; 5]).unwrap());
        assert_eq!((constant.s, constant.variance, constant.tau_b()), (0, 0.0, Err(Undefined::NoVariation)));
        assert_eq!(constant.p(), (1.0, Distribution::Normal));
        let same_x = Series::try_new(&[1.0, 1.0, 1.0], &[1.0, 2.0, 3.0]).unwrap();
        assert_eq!(TheilSen::of(&same_x).unwrap_err(), Undefined::NoVariation);
    }

    #[test]
    fn two_points_have_a_slope_without_limits() {
        let found = TheilSen::of(&Series::in_order(&[1.0, 3.0]).unwrap()).unwrap();
        assert_eq!((found.slope, found.intercept), (2.0, -1.0));
        assert_eq!(found.interval(Confidence::P95, Ranks::Interpolated), (None, None));
    }

    #[test]
    fn long_series_are_not_counted_order_by_order() {
        let long = Kendall::of(&Series::in_order(&(0..400).map(f64::from).collect::<Vec<_>>()).unwrap());
        assert_eq!((long.p().1, long.p_exact(Tail::Two)), (Distribution::Normal, Err(Undefined::OutOfRange)));
        assert_eq!(long.tau_b(), Ok(1.0));
    }

    #[test]
    fn a_series_turned_round_has_the_opposite_trend() {
        let values = [3.0, 1.0, 4.0, 1.0, 5.0, 9.0, 2.0, 6.0];
        let turned: Vec<f64> = values.iter().rev().copied().collect();
        let one = Series::in_order(&values).unwrap();
        let other = Series::in_order(&turned).unwrap();
        assert_eq!(Kendall::of(&one).s, -Kendall::of(&other).s);
        assert_eq!(TheilSen::of(&one).unwrap().slope, -TheilSen::of(&other).unwrap().slope);
    }
}
