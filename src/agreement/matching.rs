//! Matching the moments of two records (rule 30): as many pairs within the tolerance as there can
//! be, and of those ways the one with the least total offset. Our own formulation.

use crate::time::Micros;

/// How two lists of moments match.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Matched {
    /// Places of matched moments in the first and in the second list.
    pub pairs: Vec<(usize, usize)>,
    /// Places only in the first.
    pub only_first: Vec<usize>,
    /// Places only in the second.
    pub only_second: Vec<usize>,
}

impl Matched {
    /// matched / (matched + only first + only second); `None` when both lists are empty.
    #[must_use]
    #[allow(clippy::cast_precision_loss)] // Counts far below 2^53.
    pub fn agreement(&self) -> Option<f64> {
        let all = self.pairs.len() + self.only_first.len() + self.only_second.len();
        (all > 0).then(|| self.pairs.len() as f64 / all as f64)
    }

    /// 2·matched / (moments of the first + moments of the second): specific agreement of events
    /// (Dice 1945, Ecology 26:297–302). `None` when both lists are empty.
    #[must_use]
    #[allow(clippy::cast_precision_loss)] // Counts far below 2^53.
    pub fn dice(&self) -> Option<f64> {
        let all = 2 * self.pairs.len() + self.only_first.len() + self.only_second.len();
        (all > 0).then(|| (2 * self.pairs.len()) as f64 / all as f64)
    }
}

/// Best so far: pairs, then total offset (less is better).
type Score = (u32, std::cmp::Reverse<i64>);

#[derive(Clone, Copy, PartialEq, Eq)]
enum Step {
    Pair,
    SkipFirst,
    SkipSecond,
}

/// Matches two rising lists; the tolerance is inclusive.
///
/// Moments farther apart than the tolerance never pair, so the lists are cut where neither has one
/// for that long; cost grows with the squares of what lies between cuts, not of the lists.
#[must_use]
pub fn events(first: &[Micros], second: &[Micros], tolerance: Micros) -> Matched {
    let mut found = Matched::default();
    let (mut i, mut j) = (0, 0);
    while i < first.len() || j < second.len() {
        let (from_i, from_j) = (i, j);
        let mut last: Option<Micros> = None;
        loop {
            let next = match (first.get(i), second.get(j)) {
                (Some(a), Some(b)) => *a.min(b),
                (Some(one), None) | (None, Some(one)) => *one,
                (None, None) => break,
            };
            if last.is_some_and(|last| next - last > tolerance) {
                break;
            }
            last = Some(next);
            if first.get(i) == Some(&next) {
                i += 1;
            } else {
                j += 1;
            }
        }
        let (a, b) = (first.get(from_i..i).unwrap_or_default(), second.get(from_j..j).unwrap_or_default());
        // Most moments have one partner near, or none: no table is needed for them.
        match (a, b) {
            ([a], [b]) if a.distance(*b) <= tolerance => {
                found.pairs.push((from_i, from_j));
                continue;
            }
            ([], _) => {
                found.only_second.extend(from_j..j);
                continue;
            }
            (_, []) => {
                found.only_first.extend(from_i..i);
                continue;
            }
            _ => {}
        }
        let own = together(a, b, tolerance);
        found.pairs.extend(own.pairs.iter().map(|(a, b)| (from_i + a, from_j + b)));
        found.only_first.extend(own.only_first.iter().map(|a| from_i + a));
        found.only_second.extend(own.only_second.iter().map(|b| from_j + b));
    }
    found
}

/// Some best matching of moments on a line never crosses, so a table of prefixes finds one.
fn together(first: &[Micros], second: &[Micros], tolerance: Micros) -> Matched {
    let width = second.len() + 1;
    let none: Score = (0, std::cmp::Reverse(0));
    let (mut above, mut row) = (vec![none; width], vec![none; width]);
    let mut steps = vec![Step::SkipSecond; (first.len() + 1) * width];
    for (i, a) in first.iter().enumerate() {
        for (j, b) in second.iter().enumerate() {
            let get = |row: &[Score], place: usize| row.get(place).copied().unwrap_or(none);
            let mut best = (get(&above, j + 1), Step::SkipFirst);
            if get(&row, j) > best.0 {
                best = (get(&row, j), Step::SkipSecond);
            }
            let offset = a.distance(*b);
            if offset <= tolerance {
                let (pairs, std::cmp::Reverse(total)) = get(&above, j);
                let paired = (pairs + 1, std::cmp::Reverse(total + offset.0));
                if paired > best.0 {
                    best = (paired, Step::Pair);
                }
            }
            if let Some(cell) = row.get_mut(j + 1) {
                *cell = best.0;
            }
            if let Some(step) = steps.get_mut((i + 1) * width + j + 1) {
                *step = best.1;
            }
        }
        // The first cell of either row is never written: it stays none.
        std::mem::swap(&mut above, &mut row);
    }
    let (mut i, mut j) = (first.len(), second.len());
    let mut found = Matched::default();
    while i > 0 && j > 0 {
        match steps.get(i * width + j).copied().unwrap_or(Step::SkipFirst) {
            Step::Pair => {
                (i, j) = (i - 1, j - 1);
                found.pairs.push((i, j));
            }
            Step::SkipFirst => {
                i -= 1;
                found.only_first.push(i);
            }
            Step::SkipSecond => {
                j -= 1;
                found.only_second.push(j);
            }
        }
    }
    found.only_first.extend((0..i).rev());
    found.only_second.extend((0..j).rev());
    found.pairs.reverse();
    found.only_first.reverse();
    found.only_second.reverse();
    found
}

#[cfg(test)]
mod tests {
    use rand_chacha::ChaCha8Rng;
    use rand_chacha::rand_core::{Rng as _, SeedableRng as _};

    use super::*;

    fn micros(moments: &[i64]) -> Vec<Micros> {
        moments.iter().copied().map(Micros).collect()
    }

    #[test]
    fn rule_30_the_nearest_first_would_lose_a_pair() {
        // 10 lies nearest to 11, but then 0 finds none: two pairs are better than one.
        let found = events(&micros(&[10, 15]), &micros(&[4, 11]), Micros(6));
        assert_eq!(found.pairs, [(0, 0), (1, 1)]);
        let found = events(&micros(&[10]), &micros(&[0, 20]), Micros(10));
        assert_eq!(found.pairs.len(), 1, "the tolerance is inclusive");
        assert_eq!(events(&micros(&[10]), &micros(&[0, 20]), Micros(9)).pairs.len(), 0);
        assert_eq!(events(&[], &[], Micros(9)).agreement(), None);
        assert_eq!(events(&micros(&[1]), &[], Micros(9)).agreement(), Some(0.0));
    }

    #[test]
    fn rule_30_no_other_way_has_more_pairs_or_less_offset() {
        fn best(first: &[i64], second: &[i64], tolerance: i64, used: u32) -> (u32, i64) {
            let Some((a, rest)) = first.split_first() else { return (0, 0) };
            let mut found = best(rest, second, tolerance, used);
            for (j, b) in second.iter().enumerate() {
                if used >> j & 1 == 0 && (a - b).abs() <= tolerance {
                    let (pairs, total) = best(rest, second, tolerance, used | 1 << j);
                    let own = (pairs + 1, total + (a - b).abs());
                    if own.0 > found.0 || (own.0 == found.0 && own.1 < found.1) {
                        found = own;
                    }
                }
            }
            found
        }
        let mut random = ChaCha8Rng::seed_from_u64(3);
        for _ in 0..300 {
            let mut list = || {
                let mut list: Vec<i64> = (0..random.next_u64() % 6)
                    .map(|_| i64::try_from(random.next_u64() % 30).unwrap())
                    .collect();
                list.sort_unstable();
                list
            };
            let (first, second) = (list(), list());
            let found = events(&micros(&first), &micros(&second), Micros(5));
            let total: i64 = found.pairs.iter().map(|(i, j)| (first[*i] - second[*j]).abs()).sum();
            let pairs = u32::try_from(found.pairs.len()).unwrap();
            assert_eq!((pairs, total), best(&first, &second, 5, 0), "{first:?} {second:?}");
            assert_eq!(found.pairs.len() + found.only_first.len(), first.len());
            assert_eq!(found.pairs.len() + found.only_second.len(), second.len());
        }
    }
}
