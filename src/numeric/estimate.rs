//! A value with its standard error, and the intervals of 95 % that can be drawn from the two.

use std::fmt;

use super::distribution;
use super::interval::Z95;

/// A value, how far it may be off, and from how many independent units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The value.
    pub value: f64,
    /// Its standard error; 0 where the units do not differ.
    pub standard_error: f64,
    /// Independent units it was computed from.
    pub units: f64,
}

/// Why there is no interval or no test.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum NoInterval {
    /// The standard error is 0. An interval of no length would look like certainty.
    NoSpread,
    /// Fewer than two units.
    TooFew,
}

impl fmt::Display for NoInterval {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::NoSpread => "no spread: the standard error is 0, which is no certainty",
            Self::TooFew => "too few units for an interval",
        })
    }
}

/// A standard error below this is rounding.
const ROUNDING: f64 = 1e-12;

impl Estimate {
    /// From a variance; one that only rounding keeps from 0 is 0.
    #[must_use]
    pub fn from_variance(value: f64, variance: f64, units: f64) -> Self {
        Self { value, standard_error: error_of(variance), units }
    }

    /// Value ± 1.96 standard errors. Not cut off at the ends of the scale: that is for display.
    ///
    /// # Errors
    /// Without spread.
    pub fn normal95(&self) -> Result<(f64, f64), NoInterval> {
        self.around(Z95)
    }

    /// Value ± t(0.975; units − 1) standard errors. Not cut off.
    ///
    /// # Errors
    /// Without spread, or below two units.
    pub fn student95(&self) -> Result<(f64, f64), NoInterval> {
        self.around(distribution::t_point(0.975, self.units - 1.0).ok_or(NoInterval::TooFew)?)
    }

    fn around(&self, point: f64) -> Result<(f64, f64), NoInterval> {
        if self.standard_error <= 0.0 {
            return Err(NoInterval::NoSpread);
        }
        let half = point * self.standard_error;
        Ok((self.value - half, self.value + half))
    }
}

/// Root of a variance, 0 where it is rounding.
#[must_use]
pub fn error_of(variance: f64) -> f64 {
    let error = variance.max(0.0).sqrt();
    if error < ROUNDING { 0.0 } else { error }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_spread_is_no_interval() {
        let certain = Estimate::from_variance(1.0, 1e-30, 12.0);
        assert_eq!(certain.standard_error, 0.0);
        assert_eq!(certain.normal95(), Err(NoInterval::NoSpread));
        assert_eq!(certain.student95(), Err(NoInterval::NoSpread));
        assert_eq!(Estimate::from_variance(0.5, 0.01, 1.0).student95(), Err(NoInterval::TooFew));
        let (low, high) = Estimate::from_variance(0.5, 0.01, 17.0).student95().unwrap();
        assert!((low - 0.288).abs() < 1e-3 && (high - 0.712).abs() < 1e-3, "t with 16 is 2.12");
    }
}
