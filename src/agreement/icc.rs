//! Intraclass correlations: agreement of people who measure (latencies, durations, distances), after
//! Shrout & Fleiss (1979, Psychol Bull 86:420–428), with McGraw & Wong's interval of the two-way
//! random form (1996, Psychol Methods 1:30–46).
//!
//! Complete cases only: a target that one of the people did not measure is left out and counted.
//! Estimates below 0 are legal and stay. One of several people: (1,1), (2,1), (3,1); the mean of all k
//! of them: (1,k), (2,k), (3,k), by Spearman & Brown from the estimate and from its limits.

use super::continuous::NoEstimate;
use crate::numeric::distribution::{f_point, f_tail};

/// Which question is asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// (1,·): each target measured by people of its own.
    OneWay,
    /// (2,·): everyone measured every target, and stands for others: agreement in the value itself.
    Random,
    /// (3,·): everyone measured every target, and only they count: a constant difference does not.
    Fixed,
}

/// Mean squares of an analysis of variance of targets by people.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanSquares {
    /// BMS: between targets.
    pub between: f64,
    /// WMS: within targets.
    pub within: f64,
    /// JMS: between people.
    pub people: f64,
    /// EMS: what is left.
    pub error: f64,
    /// Targets n that all people measured.
    pub targets: usize,
    /// People k.
    pub raters: usize,
    /// Targets left out because somebody did not measure them.
    pub left_out: usize,
}

/// A correlation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Icc {
    /// The estimate.
    pub value: f64,
    /// Limits of 95 %.
    pub ci95: Result<(f64, f64), NoEstimate>,
    /// F test against 0; for the two-way random form Shrout & Fleiss' (degrees of freedom of the error).
    pub test: Result<Test, NoEstimate>,
    /// Degrees of freedom of the two-way random form's limits (Satterthwaite).
    pub satterthwaite: Option<f64>,
}

/// An F test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Test {
    /// The ratio.
    pub f: f64,
    /// Degrees of freedom above.
    pub above: f64,
    /// Degrees of freedom below.
    pub below: f64,
    /// Share of F beyond it.
    pub p: f64,
}

impl MeanSquares {
    /// From one row a target, one column a person.
    ///
    /// # Errors
    /// [`NoEstimate::TooFew`] below two complete targets or two people; [`NoEstimate::NotRectangular`]
    /// when rows differ in length; [`NoEstimate::NotFinite`] for a value that is no number.
    #[allow(clippy::cast_precision_loss)] // Counts far below 2^53.
    pub fn of(ratings: &[Vec<Option<f64>>]) -> Result<Self, NoEstimate> {
        let raters = ratings.first().map_or(0, Vec::len);
        if ratings.iter().any(|row| row.len() != raters) {
            return Err(NoEstimate::NotRectangular);
        }
        let rows: Vec<Vec<f64>> = ratings.iter().filter_map(|row| row.iter().copied().collect()).collect();
        if rows.len() < 2 || raters < 2 {
            return Err(NoEstimate::TooFew);
        }
        let values = || rows.iter().flatten().copied();
        let highest = values().map(f64::abs).fold(0.0, f64::max);
        // Squares of values above this overflow.
        if !values().all(f64::is_finite) || highest > 1e150 {
            return Err(NoEstimate::NotFinite);
        }
        let (n, k) = (rows.len() as f64, raters as f64);
        let grand = values().sum::<f64>() / (n * k);
        let of_row: Vec<f64> = rows.iter().map(|row| row.iter().sum::<f64>() / k).collect();
        let mut of_column = vec![0.0; raters];
        for row in &rows {
            for (mean, value) in of_column.iter_mut().zip(row) {
                *mean += value / n;
            }
        }
        let square = |value: f64| value * value;
        let between = k * of_row.iter().map(|mean| square(mean - grand)).sum::<f64>() / (n - 1.0);
        let people = n * of_column.iter().map(|mean| square(mean - grand)).sum::<f64>() / (k - 1.0);
        let (mut within, mut error) = (0.0, 0.0);
        for (row, mean) in rows.iter().zip(&of_row) {
            for (value, column) in row.iter().zip(&of_column) {
                within += square(value - mean) / (n * (k - 1.0));
                error += square(value - mean - column + grand) / ((n - 1.0) * (k - 1.0));
            }
        }
        // What only rounding keeps from 0 is 0: people who agree to the last digit have no error.
        let rounding = square(highest * 1e-14);
        let tidy = |square: f64| if square <= rounding { 0.0 } else { square };
        Ok(Self {
            between: tidy(between),
            within: tidy(within),
            people: tidy(people),
            error: tidy(error),
            targets: rows.len(),
            raters,
            left_out: ratings.len() - rows.len(),
        })
    }

    /// The correlation of single measurements.
    ///
    /// - (1,1) = (BMS − WMS)/(BMS + (k − 1)WMS); with F = BMS/WMS the limits are (F_L − 1)/(F_L + k − 1), where
    ///   F_L = F/F(.975; n − 1, n(k − 1)), and the same with F·F(.975; n(k − 1), n − 1).
    /// - (2,1) = (BMS − EMS)/(BMS + (k − 1)EMS + k(JMS − EMS)/n); limits by Satterthwaite's degrees of freedom.
    /// - (3,1) = (BMS − EMS)/(BMS + (k − 1)EMS); limits as for (1,1) with EMS and (n − 1)(k − 1).
    ///
    /// # Errors
    /// [`NoEstimate::NoVariation`] when the denominator is 0. Without error between people there is a
    /// value, but neither limits nor a test.
    pub fn single(&self, form: Form) -> Result<Icc, NoEstimate> {
        let (n, k) = self.size();
        let below = match form {
            Form::OneWay => self.within,
            Form::Random | Form::Fixed => self.error,
        };
        let bias = if form == Form::Random { k * (self.people - self.error) / n } else { 0.0 };
        let denominator = self.between + (k - 1.0) * below + bias;
        if denominator <= 0.0 {
            return Err(NoEstimate::NoVariation);
        }
        let value = (self.between - below) / denominator;
        let (above_freedom, below_freedom) = match form {
            Form::OneWay => (n - 1.0, n * (k - 1.0)),
            Form::Random | Form::Fixed => (n - 1.0, (n - 1.0) * (k - 1.0)),
        };
        if below <= 0.0 {
            let why = NoEstimate::NoSpread;
            return Ok(Icc { value, ci95: Err(why), test: Err(why), satterthwaite: None });
        }
        let f = self.between / below;
        let tail = f_tail(f, above_freedom, below_freedom).ok_or(NoEstimate::NoLimits);
        let test = tail.map(|p| Test { f, above: above_freedom, below: below_freedom, p });
        let (ci95, satterthwaite) = if form == Form::Random {
            let freedom = self.satterthwaite(value);
            (self.random_limits(freedom), Some(freedom))
        } else {
            let limit = |f: f64| (f - 1.0) / (f + k - 1.0);
            let low = f_point(0.975, above_freedom, below_freedom).map(|point| limit(f / point));
            let high = f_point(0.975, below_freedom, above_freedom).map(|point| limit(f * point));
            (low.zip(high).ok_or(NoEstimate::NoLimits), None)
        };
        Ok(Icc { value, ci95, test, satterthwaite: satterthwaite.filter(|freedom| freedom.is_finite()) })
    }

    /// The correlation of the mean of all k: Spearman & Brown, k·r/(1 + (k − 1)r), of the single one and
    /// of its limits. Programs differ in the limits of (2,k); these are Shrout & Fleiss'.
    ///
    /// # Errors
    /// As [`MeanSquares::single`]; [`NoEstimate::TooLow`] where the formula has a pole or no meaning,
    /// 1 + (k − 1)r ≤ 0.
    pub fn average(&self, form: Form) -> Result<Icc, NoEstimate> {
        let (_, k) = self.size();
        let raised = |r: f64| {
            let denominator = 1.0 + (k - 1.0) * r;
            if denominator > 1e-12 { Ok(k * r / denominator) } else { Err(NoEstimate::TooLow) }
        };
        let single = self.single(form)?;
        let ci95 = single.ci95.and_then(|(low, high)| Ok((raised(low)?, raised(high)?)));
        Ok(Icc { value: raised(single.value)?, ci95, ..single })
    }

    #[allow(clippy::cast_precision_loss)] // Counts far below 2^53.
    fn size(&self) -> (f64, f64) {
        (self.targets as f64, self.raters as f64)
    }

    /// v = (aJMS + bEMS)²/((aJMS)²/(k − 1) + (bEMS)²/((n − 1)(k − 1))), a = kr/(n(1 − r)), b = 1 + kr(n − 1)/(n(1 − r)).
    fn satterthwaite(&self, r: f64) -> f64 {
        let (n, k) = self.size();
        let part = k * r / (n * (1.0 - r));
        let people = part * self.people;
        let error = (1.0 + part * (n - 1.0)) * self.error;
        let below = people * people / (k - 1.0) + error * error / ((n - 1.0) * (k - 1.0));
        (people + error).powi(2) / below
    }

    fn random_limits(&self, freedom: f64) -> Result<(f64, f64), NoEstimate> {
        let (n, k) = self.size();
        let rest = k * self.people + (k * n - k - n) * self.error;
        let upper = f_point(0.975, n - 1.0, freedom).ok_or(NoEstimate::NoLimits)?;
        let lower = f_point(0.975, freedom, n - 1.0).ok_or(NoEstimate::NoLimits)?;
        let low = n * (self.between - upper * self.error) / (upper * rest + n * self.between);
        let high = n * (lower * self.between - self.error) / (rest + n * lower * self.between);
        if low.is_finite() && high.is_finite() { Ok((low, high)) } else { Err(NoEstimate::NoLimits) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn squares(rows: &[&[f64]]) -> Result<MeanSquares, NoEstimate> {
        MeanSquares::of(
            &rows.iter().map(|row| row.iter().copied().map(Some).collect()).collect::<Vec<Vec<_>>>(),
        )
    }

    const FORMS: [Form; 3] = [Form::OneWay, Form::Random, Form::Fixed];

    #[test]
    fn shrout_and_fleiss_1979() {
        // Their tables 2 to 4: .17 .29 .71 for one judge, .44 .62 .91 for the mean of four.
        let found = squares(&[
            &[9.0, 2.0, 5.0, 8.0],
            &[6.0, 1.0, 3.0, 2.0],
            &[8.0, 4.0, 6.0, 8.0],
            &[7.0, 1.0, 2.0, 6.0],
            &[10.0, 5.0, 6.0, 9.0],
            &[6.0, 2.0, 4.0, 7.0],
        ])
        .unwrap();
        for (form, (one, mean)) in FORMS.into_iter().zip([(0.17, 0.44), (0.29, 0.62), (0.71, 0.91)]) {
            assert!((found.single(form).unwrap().value - one).abs() < 5e-3, "{form:?}");
            assert!((found.average(form).unwrap().value - mean).abs() < 5e-3, "{form:?}");
        }
    }

    #[test]
    fn edges_have_reasons() {
        assert_eq!(squares(&[&[1.0, 2.0]]), Err(NoEstimate::TooFew));
        assert_eq!(squares(&[&[1.0], &[2.0]]), Err(NoEstimate::TooFew));
        assert_eq!(squares(&[&[1.0, 2.0], &[2.0]]), Err(NoEstimate::NotRectangular));
        assert_eq!(squares(&[&[1.0, f64::NAN], &[2.0, 1.0]]), Err(NoEstimate::NotFinite));
        assert_eq!(squares(&[&[1.0, 1e200], &[2.0, 1.0]]), Err(NoEstimate::NotFinite));
        let one_value = squares(&[&[0.1, 0.1], &[0.1, 0.1], &[0.1, 0.1]]).unwrap();
        for form in FORMS {
            assert_eq!(one_value.single(form), Err(NoEstimate::NoVariation), "{form:?}");
        }
        // Perfect agreement is 1, but no certainty; a constant difference counts only in the first two.
        let perfect = squares(&[&[0.1, 0.1], &[0.7, 0.7], &[0.3, 0.3]]).unwrap();
        let shifted = squares(&[&[0.1, 1.1], &[0.7, 1.7], &[0.3, 1.3]]).unwrap();
        for form in FORMS {
            let found = perfect.single(form).unwrap();
            assert!((found.value - 1.0).abs() < 1e-12);
            assert_eq!(found.ci95, Err(NoEstimate::NoSpread), "{form:?}");
        }
        assert!((shifted.single(Form::Fixed).unwrap().value - 1.0).abs() < 1e-12);
        assert!(shifted.single(Form::Random).unwrap().value < 0.5);
        // Targets all alike on the mean: the lowest value there is, and no mean of people can raise it.
        let crossed = squares(&[&[0.0, 1.0], &[1.0, 0.0], &[0.0, 1.0]]).unwrap();
        assert!((crossed.single(Form::OneWay).unwrap().value + 1.0).abs() < 1e-12);
        assert_eq!(crossed.average(Form::OneWay), Err(NoEstimate::TooLow));
    }

    #[test]
    fn an_incomplete_target_is_left_out_and_counted() {
        let full = squares(&[&[1.0, 2.0], &[4.0, 3.0], &[7.0, 9.0]]).unwrap();
        let found = MeanSquares::of(&[
            vec![Some(1.0), Some(2.0)],
            vec![Some(5.0), None],
            vec![Some(4.0), Some(3.0)],
            vec![Some(7.0), Some(9.0)],
        ]);
        assert_eq!(found, Ok(MeanSquares { left_out: 1, ..full }));
    }
}
