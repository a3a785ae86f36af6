//! Two groups, or pairs, by ranks: Mann & Whitney (1947, Ann Math Stat 18:50–60) and Wilcoxon's signed
//! ranks (1945, Biometrics Bull 1:80–83).
//!
//! Exact p-values are those of the permutation distribution of the mid-ranks at hand, so they hold
//! with ties. Latencies that may be censored are not for these tests.

use std::fmt;

use super::distribution::normal_both_tails;
use super::quantile;
use super::rank::{mid_ranks, tie_sizes};

/// Why there is no test.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum NoTest {
    /// A group has no values, or the groups of a paired test differ in length.
    TooFew,
    /// A value is no finite number.
    NotFinite,
    /// All values are tied, or all pairs are equal.
    NoVariation,
    /// More values than the exact distribution is computed for; the normal one serves well there.
    TooMany,
}

impl fmt::Display for NoTest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::TooFew => "too few values",
            Self::NotFinite => "a value is no finite number",
            Self::NoVariation => "no variation: all values are tied",
            Self::TooMany => "too many values for the exact distribution",
        })
    }
}

/// Most values for which the exact distribution is computed.
pub const MOST_EXACT: usize = 100;

/// p by the normal distribution, with the variance corrected for ties.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Approximate {
    /// (statistic − mean)/√variance, without continuity correction.
    pub z: f64,
    /// Two-sided.
    pub p: f64,
    /// Two-sided, with a continuity correction of 0.5.
    pub p_corrected: f64,
}

/// p by the exact distribution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Exact {
    /// P(statistic ≤ observed).
    pub less: f64,
    /// P(statistic ≥ observed).
    pub greater: f64,
    /// P(|statistic − mean| ≥ |observed − mean|).
    pub two_sided: f64,
    /// Twice the smaller tail, at most 1; the same as `two_sided` where the distribution is symmetric.
    pub doubled: f64,
}

/// The Mann-Whitney test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MannWhitney {
    /// Sum of the first group's mid-ranks.
    pub rank_sum: f64,
    /// U of the first group: pairs in which it is higher, ties half.
    pub u_first: f64,
    /// U of the second.
    pub u_second: f64,
    /// mn/2.
    pub mean: f64,
    /// mn/12 · [(N + 1) − Σ(t³ − t)/(N(N − 1))].
    pub variance: f64,
    /// By the normal distribution.
    pub approximate: Result<Approximate, NoTest>,
    /// By the exact distribution.
    pub exact: Result<Exact, NoTest>,
    /// Median of all differences first − second (Hodges & Lehmann 1963, Ann Math Stat 34:598–611).
    pub shift: f64,
    /// U/(mn): how often a value of the first group is higher (Vargha & Delaney 2000).
    pub superiority: f64,
    /// 2·superiority − 1 (Cliff 1993).
    pub delta: f64,
}

/// Wilcoxon's signed-rank test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SignedRank {
    /// Pairs that differ.
    pub used: usize,
    /// Pairs that are equal: dropped before ranking.
    pub equal: usize,
    /// Sum of the ranks of the pairs in which the first is higher.
    pub statistic: f64,
    /// n(n + 1)/4.
    pub mean: f64,
    /// n(n + 1)(2n + 1)/24 − Σ(t³ − t)/48.
    pub variance: f64,
    /// By the normal distribution.
    pub approximate: Result<Approximate, NoTest>,
    /// By the exact distribution.
    pub exact: Result<Exact, NoTest>,
    /// Median of the means of all pairs of differences, each with itself too.
    pub pseudomedian: f64,
}

/// Mann-Whitney test of two independent groups.
///
/// # Errors
/// [`NoTest::TooFew`] when a group is empty; [`NoTest::NotFinite`]. When all values are tied, the
/// values have a reason of their own instead of p.
pub fn mann_whitney(first: &[f64], second: &[f64]) -> Result<MannWhitney, NoTest> {
    if first.is_empty() || second.is_empty() {
        return Err(NoTest::TooFew);
    }
    check(first)?;
    check(second)?;
    let all: Vec<f64> = first.iter().chain(second).copied().collect();
    let (doubled, ties) = doubled_ranks(&all);
    let (m, n) = (count(first.len()), count(second.len()));
    let total = m + n;
    let own: u64 = doubled.iter().take(first.len()).sum();
    let rank_sum = halved(own);
    let least = m * (m + 1.0) / 2.0;
    let u_first = rank_sum - least;
    let (mean, superiority) = (m * n / 2.0, u_first / (m * n));
    let variance = m * n / 12.0 * ((total + 1.0) - ties / (total * (total - 1.0)));
    let exact = if ties >= total * total * total - total {
        Err(NoTest::NoVariation)
    } else if all.len() > MOST_EXACT {
        Err(NoTest::TooMany)
    } else {
        Ok(exact(&sums_of(&doubled, first.len()), own, m * (total + 1.0)))
    };
    let differences: Vec<f64> = first.iter().flat_map(|a| second.iter().map(move |b| a - b)).collect();
    Ok(MannWhitney {
        rank_sum,
        u_first,
        u_second: m * n - u_first,
        mean,
        variance,
        approximate: approximate(u_first, mean, variance),
        exact,
        shift: quantile::of(&differences, 0.5).ok_or(NoTest::TooFew)?,
        superiority,
        delta: 2.0 * superiority - 1.0,
    })
}

/// Wilcoxon's signed-rank test of pairs.
///
/// Differences closer to each other, or to 0, than 1e-9 of the largest value are ties: 0.3 − 0.2 and
/// 0.2 − 0.1 are one difference.
///
/// # Errors
/// [`NoTest::TooFew`] without pairs or for lists of different lengths; [`NoTest::NotFinite`];
/// [`NoTest::NoVariation`] when all pairs are equal.
pub fn signed_rank(first: &[f64], second: &[f64]) -> Result<SignedRank, NoTest> {
    if first.is_empty() || first.len() != second.len() {
        return Err(NoTest::TooFew);
    }
    check(first)?;
    check(second)?;
    let highest = first.iter().chain(second).copied().map(f64::abs).fold(0.0, f64::max);
    if highest <= 0.0 {
        return Err(NoTest::NoVariation);
    }
    let grain = highest * 1e-9;
    let differences: Vec<f64> =
        first.iter().zip(second).map(|(a, b)| a - b).filter(|difference| difference.abs() > grain).collect();
    if differences.is_empty() {
        return Err(NoTest::NoVariation);
    }
    let sizes: Vec<f64> = differences.iter().map(|difference| (difference.abs() / grain).round()).collect();
    let (doubled, ties) = doubled_ranks(&sizes);
    let own: u64 = doubled.iter().zip(&differences).filter(|(_, d)| **d > 0.0).map(|(rank, _)| rank).sum();
    let n = count(differences.len());
    let statistic = halved(own);
    let mean = n * (n + 1.0) / 4.0;
    let variance = n * (n + 1.0) * (2.0 * n + 1.0) / 24.0 - ties / 48.0;
    let exact = if differences.len() > MOST_EXACT {
        Err(NoTest::TooMany)
    } else {
        Ok(exact(&sums_of_any(&doubled), own, n * (n + 1.0) / 2.0))
    };
    let means: Vec<f64> = differences
        .iter()
        .enumerate()
        .flat_map(|(i, a)| differences.iter().skip(i).map(move |b| f64::midpoint(*a, *b)))
        .collect();
    Ok(SignedRank {
        used: differences.len(),
        equal: first.len() - differences.len(),
        statistic,
        mean,
        variance,
        approximate: approximate(statistic, mean, variance),
        exact,
        pseudomedian: quantile::of(&means, 0.5).ok_or(NoTest::TooFew)?,
    })
}

/// Differences of values above 1e150 could overflow further on.
fn check(values: &[f64]) -> Result<(), NoTest> {
    if values.iter().all(|value| value.abs() <= 1e150) { Ok(()) } else { Err(NoTest::NotFinite) }
}

#[allow(clippy::cast_precision_loss)] // Counts far below 2^53.
fn count(values: usize) -> f64 {
    values as f64
}

#[allow(clippy::cast_precision_loss)] // Sums of ranks far below 2^53.
fn halved(doubled: u64) -> f64 {
    doubled as f64 / 2.0
}

/// Twice the mid-rank of each value, a whole number, and Σ(t³ − t) over the ties.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // Whole numbers from 2 up.
fn doubled_ranks(values: &[f64]) -> (Vec<u64>, f64) {
    let ranks = mid_ranks(values).into_iter().map(|rank| (2.0 * rank).round() as u64).collect();
    let ties = tie_sizes(values).into_iter().map(count).map(|t| t * t * t - t).sum();
    (ranks, ties)
}

/// In how many ways `chosen` of the ranks add up to each sum, from 0 up.
fn sums_of(ranks: &[u64], chosen: usize) -> Vec<f64> {
    let mut by_size = vec![nothing_yet(ranks); chosen + 1];
    if let Some(none) = by_size.first_mut().and_then(|sums| sums.first_mut()) {
        *none = 1.0;
    }
    for rank in ranks {
        // From the largest size down, so that no rank is taken twice.
        for size in (1..=chosen).rev() {
            let (smaller, own) = by_size.split_at_mut(size);
            if let (Some(smaller), Some(own)) = (smaller.last(), own.first_mut()) {
                add_shifted(own, smaller, *rank);
            }
        }
    }
    by_size.pop().unwrap_or_default()
}

/// In how many ways any of the ranks add up to each sum, from 0 up.
fn sums_of_any(ranks: &[u64]) -> Vec<f64> {
    let mut sums = nothing_yet(ranks);
    if let Some(none) = sums.first_mut() {
        *none = 1.0;
    }
    for rank in ranks {
        let without = sums.clone();
        add_shifted(&mut sums, &without, *rank);
    }
    sums
}

fn nothing_yet(ranks: &[u64]) -> Vec<f64> {
    let highest: u64 = ranks.iter().sum();
    vec![0.0; usize::try_from(highest).unwrap_or(0) + 1]
}

fn add_shifted(sums: &mut [f64], others: &[f64], by: u64) {
    let by = usize::try_from(by).unwrap_or(usize::MAX);
    for (own, other) in sums.iter_mut().skip(by).zip(others) {
        *own += other;
    }
}

/// Tails of a distribution of doubled rank sums at `own`; `middle` is twice the mean, a whole number.
#[allow(clippy::cast_precision_loss)] // Sums of ranks far below 2^53.
fn exact(sums: &[f64], own: u64, middle: f64) -> Exact {
    let all: f64 = sums.iter().sum();
    let share = |holds: &dyn Fn(u64) -> bool| {
        (0..).zip(sums).filter(|(sum, _)| holds(*sum)).map(|(_, ways)| ways).sum::<f64>() / all
    };
    let away = |sum: u64| (sum as f64 - middle).abs();
    let (less, greater) = (share(&|sum| sum <= own), share(&|sum| sum >= own));
    let two_sided = share(&|sum| away(sum) >= away(own));
    Exact { less, greater, two_sided, doubled: (2.0 * less.min(greater)).min(1.0) }
}

fn approximate(statistic: f64, mean: f64, variance: f64) -> Result<Approximate, NoTest> {
    if variance <= 0.0 {
        return Err(NoTest::NoVariation);
    }
    let sd = variance.sqrt();
    let z = (statistic - mean) / sd;
    let corrected = ((statistic - mean).abs() - 0.5).max(0.0) / sd;
    let tails = |z| normal_both_tails(z).ok_or(NoTest::NotFinite);
    Ok(Approximate { z, p: tails(z)?, p_corrected: tails(corrected)? })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_empty_group_is_no_group() {
        assert_eq!(mann_whitney(&[], &[1.0, 2.0]).err(), Some(NoTest::TooFew));
        assert_eq!(mann_whitney(&[1.0, 2.0], &[]).err(), Some(NoTest::TooFew));
    }

    #[test]
    fn what_does_not_vary_has_no_distance() {
        assert_eq!(approximate(3.0, 3.0, 0.0).err(), Some(NoTest::NoVariation));
    }

    #[test]
    fn every_way_counted_by_hand() {
        // 5 tied mid-ranks, 2 of them chosen: all ten ways, one by one.
        let (ranks, ties) = doubled_ranks(&[1.0, 2.0, 2.0, 2.0, 5.0]);
        assert_eq!((ranks.as_slice(), ties), ([2, 6, 6, 6, 10].as_slice(), 24.0));
        let found = |sums: &[f64]| -> Vec<(usize, f64)> {
            sums.iter().copied().enumerate().filter(|(_, ways)| *ways > 0.0).collect()
        };
        assert_eq!(found(&sums_of(&ranks, 2)), [(8, 3.0), (12, 4.0), (16, 3.0)]);
        let any = [(0, 1.0), (2, 1.0), (4, 1.0), (6, 2.0), (8, 1.0), (10, 1.0), (12, 1.0)];
        assert_eq!(found(&sums_of_any(&[2, 4, 6])), any);
    }

    #[test]
    fn edges_have_reasons() {
        assert_eq!(mann_whitney(&[], &[1.0]), Err(NoTest::TooFew));
        assert_eq!(mann_whitney(&[f64::NAN], &[1.0]), Err(NoTest::NotFinite));
        let tied = mann_whitney(&[2.0, 2.0], &[2.0]).unwrap();
        assert_eq!((tied.approximate, tied.exact), (Err(NoTest::NoVariation), Err(NoTest::NoVariation)));
        assert_eq!((tied.superiority, tied.delta), (0.5, 0.0));
        let zeros = mann_whitney(&[0.0], &[-0.0]).unwrap();
        assert_eq!(zeros.superiority, 0.5, "0 and −0 are tied");
        let many: Vec<f64> = (0..60).map(f64::from).collect();
        let found = mann_whitney(&many, &many).unwrap();
        assert_eq!((found.exact, found.approximate.unwrap().p), (Err(NoTest::TooMany), 1.0));
        assert_eq!(signed_rank(&[1.0], &[]), Err(NoTest::TooFew));
        assert_eq!(signed_rank(&[0.0], &[0.0]), Err(NoTest::NoVariation));
        assert_eq!(signed_rank(&[3.0, 4.0], &[3.0, 4.0]), Err(NoTest::NoVariation));
        assert_eq!(signed_rank(&[f64::INFINITY], &[0.0]), Err(NoTest::NotFinite));
    }

    #[test]
    fn last_digits_do_not_break_ties() {
        let found = signed_rank(&[0.3, 0.2, 0.9, 0.1], &[0.2, 0.1, 0.4, 0.1]).unwrap();
        assert_eq!((found.used, found.equal), (3, 1));
        // Ranks 1.5, 1.5, 3: n(n + 1)(2n + 1)/24 = 3.5, less (8 − 2)/48.
        assert!((found.variance - 3.375).abs() < 1e-12);
    }

    #[test]
    fn groups_swapped_turn_the_test_round() {
        let (x, y) = ([3.0, 5.0, 5.0, 8.0, 12.0], [5.0, 8.0, 9.0, 12.0, 15.0, 20.0, 20.0]);
        let (one, other) = (mann_whitney(&x, &y).unwrap(), mann_whitney(&y, &x).unwrap());
        let (p, q) = (one.exact.unwrap(), other.exact.unwrap());
        assert!((p.less - q.greater).abs() < 1e-12 && (p.two_sided - q.two_sided).abs() < 1e-12);
        assert!((one.delta + other.delta).abs() < 1e-12 && (one.shift + other.shift).abs() < 1e-12);
    }
}
