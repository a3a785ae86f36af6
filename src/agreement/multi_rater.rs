//! Agreement of two or more people on units of which each rated all or some.
//!
//! The frame is Gwet's (2008, Br J Math Stat Psychol 61:29–48; Handbook of Inter-Rater Reliability,
//! 4th ed. 2014): r_ik people gave unit i the label k, r_i = Σ_k r_ik. Observed agreement is the mean
//! over units with two or more ratings; how common a label is comes from all units with one or more.
//! Three ideas of chance share it ([`Chance`]). Weights turn AC1 into AC2.

use super::kappa::{NoKappa, Table};
use super::weighted::{Credit, Weights, is_all_chance};
use crate::numeric::estimate::{Estimate, NoInterval};

/// What would happen by chance, from the mean share π_k of each of q labels; w agreement weights,
/// T their sum.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Chance {
    /// Some ratings are guesses: T/(q(q − 1)) Σ π_k(1 − π_k). AC1, weighted AC2 (Gwet 2008).
    Gwet,
    /// Everybody draws from the common margins: Σ w_kl π_k π_l. Scott's pi of two people, Fleiss' kappa
    /// (1971, Psychol Bull 76:378–382) of more; not Cohen's kappa.
    Margins,
    /// All labels alike: T/q² (Brennan & Prediger 1981; free-marginal kappa).
    Even,
}

/// An agreement corrected for chance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coefficient {
    /// Mean agreement over the units that two or more people rated.
    pub observed: f64,
    /// Expected by chance.
    pub expected: f64,
    /// (observed − expected)/(1 − expected).
    pub value: f64,
    /// Units that somebody rated.
    pub rated: f64,
    /// Units that two or more rated.
    pub compared: f64,
}

/// A coefficient with its error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Inference {
    /// Value, error, units that somebody rated.
    pub estimate: Estimate,
    /// By t with units − 1, the upper end no higher than 1.
    pub ci95: Result<(f64, f64), NoInterval>,
}

/// Ratings of units, by label.
#[derive(Debug, Clone, PartialEq)]
pub struct Ratings {
    labels: usize,
    units: Vec<Unit>,
    divisor: Divisor,
}

/// Like units, and how many there are of them.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Unit {
    pub(super) weight: f64,
    pub(super) counts: Vec<f64>,
}

impl Unit {
    pub(super) fn raters(&self) -> f64 {
        self.counts.iter().sum()
    }
}

/// What the sum of squares of a variance is divided by. Both are in print: tables of two coders with n,
/// as Fleiss, Cohen & Everitt have it; units one by one with n − 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Divisor {
    Units,
    UnitsLessOne,
}

impl Ratings {
    /// The two ratings of each thing counted in a table; any unit.
    #[must_use]
    pub fn from_table(table: &Table) -> Self {
        let labels = table.size();
        let units = (0..labels)
            .flat_map(|i| (0..labels).map(move |j| (i, j)))
            .filter(|(i, j)| table.cell(*i, *j) > 0.0)
            .map(|(i, j)| {
                let given = |k| f64::from(u8::from(k == i) + u8::from(k == j));
                Unit { weight: table.cell(i, j), counts: (0..labels).map(given).collect() }
            })
            .collect();
        Self { labels, units, divisor: Divisor::Units }
    }

    /// One row a unit: how many people gave it each label. `None` when rows differ in length.
    #[must_use]
    pub fn from_counts(rows: &[Vec<u32>]) -> Option<Self> {
        let labels = rows.first().map_or(0, Vec::len);
        rows.iter().all(|row| row.len() == labels).then(|| Self {
            labels,
            units: rows
                .iter()
                .map(|row| Unit { weight: 1.0, counts: row.iter().copied().map(f64::from).collect() })
                .collect(),
            divisor: Divisor::UnitsLessOne,
        })
    }

    /// One row a unit: each person's label by its place in a list of `labels`, `None` where that person
    /// did not rate it. `None` when a place lies outside the list.
    #[must_use]
    pub fn from_labels(rows: &[Vec<Option<usize>>], labels: usize) -> Option<Self> {
        let counts: Option<Vec<Vec<u32>>> = rows
            .iter()
            .map(|row| {
                let mut counts = vec![0; labels];
                for place in row.iter().flatten() {
                    *counts.get_mut(*place)? += 1;
                }
                Some(counts)
            })
            .collect();
        let mut found = Self::from_counts(&counts?)?;
        found.labels = labels;
        Some(found)
    }

    /// How many labels there are, used or not.
    #[must_use]
    pub fn labels(&self) -> usize {
        self.labels
    }

    pub(super) fn units(&self) -> &[Unit] {
        &self.units
    }

    /// A coefficient without its error: for counts and for seconds.
    ///
    /// # Errors
    /// [`NoKappa::NothingCompared`] when no unit has two ratings; [`NoKappa::NoVariation`] when
    /// expected agreement is 1 or there is only one label; when the weights do not fit.
    pub fn coefficient(&self, chance: Chance, weights: &Weights) -> Result<Coefficient, NoKappa> {
        let credit = weights.credit(self.labels)?;
        Ok(self.solve(chance, &credit)?.0)
    }

    /// A coefficient with its error, people taken as given and units as drawn from many.
    ///
    /// With g the coefficient, a_i the agreement on unit i (0 below two ratings), n units rated and n′
    /// rated twice: g_i = (n/n′)(a_i − p_e·[r_i ≥ 2])/(1 − p_e), g*_i = g_i − 2(1 − g)(p_ei − p_e)/(1 −
    /// p_e), where p_ei is p_e with one π of each product replaced by r_ik/r_i; variance Σ(g*_i − g)²
    /// over n(n − 1), or over n² for a table of two coders.
    ///
    /// # Errors
    /// As [`Ratings::coefficient`]; [`NoKappa::NotCounts`] for a table of seconds;
    /// [`NoKappa::TooFew`] below two units.
    pub fn inference(&self, chance: Chance, weights: &Weights) -> Result<Inference, NoKappa> {
        if self.units.iter().any(|unit| unit.weight.fract() > 0.0) {
            return Err(NoKappa::NotCounts);
        }
        let credit = weights.credit(self.labels)?;
        let (found, scores) = self.solve(chance, &credit)?;
        let divisor = match self.divisor {
            Divisor::Units => found.rated,
            Divisor::UnitsLessOne => found.rated - 1.0,
        };
        if divisor <= 0.0 {
            return Err(NoKappa::TooFew);
        }
        let squares: f64 = scores.iter().map(|(weight, score)| weight * (score - found.value).powi(2)).sum();
        let estimate = Estimate::from_variance(found.value, squares / (found.rated * divisor), found.rated);
        let ci95 = estimate.student95().map(|(low, high)| (low, high.min(1.0)));
        Ok(Inference { estimate, ci95 })
    }

    /// The coefficient, and each unit's weight and g*_i.
    #[allow(clippy::cast_precision_loss)] // A handful of labels.
    fn solve(&self, chance: Chance, credit: &Credit) -> Result<(Coefficient, Vec<(f64, f64)>), NoKappa> {
        let units: Vec<&Unit> = self.units.iter().filter(|unit| unit.raters() >= 1.0).collect();
        let weight_of = |least: f64| -> f64 {
            units.iter().filter(|unit| unit.raters() >= least).map(|unit| unit.weight).sum()
        };
        let (rated, compared) = (weight_of(1.0), weight_of(2.0));
        if compared <= 0.0 {
            return Err(NoKappa::NothingCompared);
        }
        if self.labels < 2 {
            return Err(NoKappa::NoVariation);
        }
        let q = self.labels as f64;
        let agreement: Vec<f64> = units.iter().map(|unit| agreement_on(unit, credit)).collect();
        let observed =
            units.iter().zip(&agreement).map(|(unit, own)| unit.weight * own).sum::<f64>() / compared;
        let mut common = vec![0.0; self.labels];
        for unit in &units {
            let raters = unit.raters();
            for (share, count) in common.iter_mut().zip(&unit.counts) {
                *share += unit.weight * count / raters / rated;
            }
        }
        // Chance with one rating's label fixed: the mean over the labels of a unit is p_ei, over the
        // common shares p_e.
        let fixed: Vec<f64> = common
            .iter()
            .enumerate()
            .map(|(k, share)| match chance {
                Chance::Gwet => credit.sum() / (q * (q - 1.0)) * (1.0 - share),
                Chance::Margins => {
                    // Weights need not be symmetric: the mean of both directions.
                    let both =
                        |(l, other): (usize, &f64)| f64::midpoint(credit.at(k, l), credit.at(l, k)) * other;
                    common.iter().enumerate().map(both).sum()
                }
                Chance::Even => credit.sum() / (q * q),
            })
            .collect();
        let expected = dot(&common, &fixed);
        if is_all_chance(expected) {
            return Err(NoKappa::NoVariation);
        }
        let value = (observed - expected) / (1.0 - expected);
        let scores = units
            .iter()
            .zip(&agreement)
            .map(|(unit, own)| {
                let above = if unit.raters() >= 2.0 { own - expected } else { 0.0 };
                let part = dot(&unit.counts, &fixed) / unit.raters();
                let score = rated / compared * above / (1.0 - expected)
                    - 2.0 * (1.0 - value) * (part - expected) / (1.0 - expected);
                (unit.weight, score)
            })
            .collect();
        Ok((Coefficient { observed, expected, value, rated, compared }, scores))
    }
}

/// Σ_k r_ik(r*_ik − 1)/(r_i(r_i − 1)) with r*_ik = Σ_l w_kl r_il; 0 below two ratings.
fn agreement_on(unit: &Unit, credit: &Credit) -> f64 {
    let raters = unit.raters();
    if raters < 2.0 {
        return 0.0;
    }
    let alike =
        |k: usize| unit.counts.iter().enumerate().map(|(l, count)| credit.at(k, l) * count).sum::<f64>();
    let pairs: f64 = unit.counts.iter().enumerate().map(|(k, count)| count * (alike(k) - 1.0)).sum();
    pairs / (raters * (raters - 1.0))
}

fn dot(one: &[f64], other: &[f64]) -> f64 {
    one.iter().zip(other).map(|(a, b)| a * b).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_chance_of_its_own_for_each() {
        // Gwet 2008 on the second table of Feinstein & Cicchetti: AC1 .81 where kappa is .32.
        let table = Table::from_rows(&[vec![80.0, 10.0], vec![5.0, 5.0]]).unwrap();
        assert!((table.gwet_ac1().unwrap().value - 0.808).abs() < 1e-9);
        assert!((table.scott_pi().unwrap().value - 0.314).abs() < 5e-4);
        assert!((table.brennan_prediger().unwrap().value - 0.700).abs() < 1e-9);
    }

    #[test]
    fn edges_have_reasons() {
        let of = |rows: &[Vec<Option<usize>>]| Ratings::from_labels(rows, 2).unwrap();
        let single = of(&[vec![Some(0), None], vec![None, None]]);
        assert_eq!(single.coefficient(Chance::Gwet, &Weights::Nominal), Err(NoKappa::NothingCompared));
        let alike = of(&[vec![Some(0), Some(0)], vec![Some(0), Some(0)]]);
        assert_eq!(alike.coefficient(Chance::Margins, &Weights::Nominal), Err(NoKappa::NoVariation));
        // For Gwet one label throughout is agreement that chance does not explain; it has no spread.
        let found = alike.inference(Chance::Gwet, &Weights::Nominal).unwrap();
        assert_eq!((found.estimate.value, found.ci95), (1.0, Err(NoInterval::NoSpread)));
        let lone = of(&[vec![Some(0), Some(1)]]);
        assert_eq!(lone.inference(Chance::Gwet, &Weights::Nominal), Err(NoKappa::TooFew));
        assert_eq!(Ratings::from_labels(&[vec![Some(2)]], 2), None);
        assert_eq!(Ratings::from_counts(&[vec![1], vec![1, 2]]), None);
        let none = Ratings::from_counts(&[]).unwrap();
        assert_eq!(none.coefficient(Chance::Even, &Weights::Nominal), Err(NoKappa::NothingCompared));
        let seconds = Table::from_rows(&[vec![2.5, 1.0], vec![0.0, 3.0]]).unwrap();
        assert!(seconds.gwet_ac1().is_ok());
        let found = Ratings::from_table(&seconds).inference(Chance::Gwet, &Weights::Nominal);
        assert_eq!(found, Err(NoKappa::NotCounts));
    }
}
