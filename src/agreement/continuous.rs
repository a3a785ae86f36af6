//! Two people who measure the same things: Lin's concordance and Bland & Altman's limits.

use std::fmt;

use crate::numeric::distribution::t_point;
use crate::numeric::interval::Z95;
use crate::numeric::quantile;

/// Why there is no value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum NoEstimate {
    /// Fewer than the formula wants.
    TooFew,
    /// Lists or rows of different lengths.
    NotRectangular,
    /// A value that is no number, or so large that squares overflow.
    NotFinite,
    /// The values do not vary.
    NoVariation,
    /// Without error there is a value but no interval: it would look like certainty.
    NoSpread,
    /// Agreement is too low for Spearman & Brown.
    TooLow,
    /// The distribution's point lies outside what can be computed.
    NoLimits,
    /// The error's formula divides by a correlation of 0.
    NoCorrelation,
}

impl fmt::Display for NoEstimate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::TooFew => "too few",
            Self::NotRectangular => "not everyone measured the same things",
            Self::NotFinite => "a value is no finite number",
            Self::NoVariation => "no variation",
            Self::NoSpread => "no spread: the error is 0, which is no certainty",
            Self::TooLow => "agreement is too low for the mean of several people to be judged",
            Self::NoLimits => "limits that cannot be computed",
            Self::NoCorrelation => "no correlation, so no error of the concordance",
        })
    }
}

/// Lin's concordance: how close pairs lie to the line of equal values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Concordance {
    /// 2 s_xy/(s_x² + s_y² + (x̄ − ȳ)²).
    pub value: f64,
    /// Pearson's r: how close to any line.
    pub pearson: f64,
    /// value/r: how close that line is to the one of equal values; 2/(v + 1/v + u²).
    pub bias_correction: f64,
    /// v = s_x/s_y.
    pub scale_shift: f64,
    /// u = (x̄ − ȳ)/√(s_x s_y).
    pub location_shift: f64,
    /// Standard error of the value, and limits of 95 % by Fisher's z.
    pub interval: Result<ConcordanceInterval, NoEstimate>,
}

/// Error and limits of a concordance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ConcordanceInterval {
    /// Of the value.
    pub standard_error: f64,
    /// tanh(z ± 1.96 · error/(1 − value²)).
    pub ci95: (f64, f64),
}

/// Lin's concordance correlation (1989, Biometrics 45:255–268; error as corrected 2000, Biometrics
/// 56:324–325), with variances over n. Error² = [(1 − r²)c²(1 − c²)/r² + 2c³(1 − c)u²/r − c⁴u⁴/(2r²)]/(n − 2).
///
/// # Errors
/// [`NoEstimate::NotRectangular`] for lists of different lengths; [`NoEstimate::TooFew`] below three
/// pairs; [`NoEstimate::NotFinite`]; [`NoEstimate::NoVariation`] when one list is constant. The
/// interval has reasons of its own: r = 0, or the value is ±1.
#[allow(clippy::cast_precision_loss)] // Counts far below 2^53.
pub fn concordance(x: &[f64], y: &[f64]) -> Result<Concordance, NoEstimate> {
    if x.len() != y.len() {
        return Err(NoEstimate::NotRectangular);
    }
    if x.len() < 3 {
        return Err(NoEstimate::TooFew);
    }
    check(x)?;
    check(y)?;
    let n = x.len() as f64;
    let (mean_x, mean_y) = (quantile::mean(x).unwrap_or_default(), quantile::mean(y).unwrap_or_default());
    let (mut x2, mut y2, mut xy) = (0.0, 0.0, 0.0);
    for (a, b) in x.iter().zip(y) {
        x2 += (a - mean_x) * (a - mean_x) / n;
        y2 += (b - mean_y) * (b - mean_y) / n;
        xy += (a - mean_x) * (b - mean_y) / n;
    }
    if is_rounding(x2.sqrt(), x) || is_rounding(y2.sqrt(), y) {
        return Err(NoEstimate::NoVariation);
    }
    let (sd_x, sd_y) = (x2.sqrt(), y2.sqrt());
    let shift = mean_x - mean_y;
    let value = 2.0 * xy / (x2 + y2 + shift * shift);
    let pearson = xy / (sd_x * sd_y);
    let scale = sd_x / sd_y;
    let location = shift / (sd_x * sd_y).sqrt();
    Ok(Concordance {
        value,
        pearson,
        bias_correction: 2.0 / (scale + 1.0 / scale + location * location),
        scale_shift: scale,
        location_shift: location,
        interval: concordance_interval(value, pearson, location, n),
    })
}

fn concordance_interval(c: f64, r: f64, u: f64, n: f64) -> Result<ConcordanceInterval, NoEstimate> {
    if r.abs() < 1e-12 {
        return Err(NoEstimate::NoCorrelation);
    }
    if 1.0 - c.abs() < 1e-12 {
        return Err(NoEstimate::NoSpread);
    }
    let (r2, c2, u2) = (r * r, c * c, u * u);
    let variance = ((1.0 - r2) * c2 * (1.0 - c2) / r2 + 2.0 * c2 * c * (1.0 - c) * u2 / r
        - c2 * c2 * u2 * u2 / (2.0 * r2))
        / (n - 2.0);
    if !(variance > 0.0 && variance.is_finite()) {
        return Err(NoEstimate::NoSpread);
    }
    let standard_error = variance.sqrt();
    let half = Z95 * standard_error / (1.0 - c2);
    Ok(ConcordanceInterval { standard_error, ci95: ((c.atanh() - half).tanh(), (c.atanh() + half).tanh()) })
}

/// Which of the two printed ways to draw the limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Width {
    /// Mean ± 2 SD, error of a limit √(3 s²/n) (Bland & Altman 1986, Lancet 327:307–310).
    TwoSd,
    /// Mean ± 1.96 SD, error of a limit s√(1/n + 1.96²/(2(n − 1))) (Bland & Altman 1999, Stat Methods
    /// Med Res 8:135–160).
    Z196,
}

/// Bland & Altman's limits of agreement.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Pairs.
    pub n: usize,
    /// Mean difference.
    pub bias: f64,
    /// SD of the differences, n − 1.
    pub sd: f64,
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
    /// Errors and intervals; none when all differences are one and the same.
    pub intervals: Result<LimitIntervals, NoEstimate>,
}

/// Errors and intervals of 95 %, by t with n − 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LimitIntervals {
    /// Of the mean difference: s/√n.
    pub bias_error: f64,
    /// Of either limit.
    pub limit_error: f64,
    /// Of the mean difference.
    pub bias_ci95: (f64, f64),
    /// Of the lower limit.
    pub low_ci95: (f64, f64),
    /// Of the upper limit.
    pub high_ci95: (f64, f64),
}

/// The limits between which about 95 % of differences lie. Whoever prints them says which way the
/// differences were taken; they must not grow with the size of what is measured.
///
/// # Errors
/// [`NoEstimate::TooFew`] below two; [`NoEstimate::NotFinite`].
#[allow(clippy::cast_precision_loss)] // Counts far below 2^53.
pub fn limits_of_agreement(differences: &[f64], width: Width) -> Result<Limits, NoEstimate> {
    check(differences)?;
    let bias = quantile::mean(differences).ok_or(NoEstimate::TooFew)?;
    let sd = quantile::standard_deviation(differences).ok_or(NoEstimate::TooFew)?;
    let n = differences.len() as f64;
    let (factor, limit_error) = match width {
        Width::TwoSd => (2.0, (3.0 * sd * sd / n).sqrt()),
        Width::Z196 => (1.96, sd * (1.0 / n + 1.96 * 1.96 / (2.0 * (n - 1.0))).sqrt()),
    };
    let (low, high) = (bias - factor * sd, bias + factor * sd);
    let intervals = if is_rounding(sd, differences) {
        Err(NoEstimate::NoSpread)
    } else {
        let point = t_point(0.975, n - 1.0).ok_or(NoEstimate::TooFew)?;
        let around = |value: f64, error: f64| (value - point * error, value + point * error);
        let bias_error = sd / n.sqrt();
        Ok(LimitIntervals {
            bias_error,
            limit_error,
            bias_ci95: around(bias, bias_error),
            low_ci95: around(low, limit_error),
            high_ci95: around(high, limit_error),
        })
    };
    Ok(Limits { n: differences.len(), bias, sd, low, high, intervals })
}

/// Squares of values above 1e150 overflow.
fn check(values: &[f64]) -> Result<(), NoEstimate> {
    if values.iter().all(|value| value.abs() <= 1e150) { Ok(()) } else { Err(NoEstimate::NotFinite) }
}

/// A spread that only the last digits of the values make.
fn is_rounding(spread: f64, values: &[f64]) -> bool {
    spread <= values.iter().copied().map(f64::abs).fold(0.0, f64::max) * 1e-14
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bland_and_altman_1986() {
        // Peak flow of 17 people, two instruments: mean difference −2.1, SD 38.8; they print limits
        // −79.7 and 75.5 l/min from the rounded SD.
        let large = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427];
        let mini = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451];
        let differences: Vec<f64> = large.iter().zip(mini).map(|(x, y)| f64::from(x - y)).collect();
        let found = limits_of_agreement(&differences, Width::TwoSd).unwrap();
        assert!((found.bias + 2.1).abs() < 0.05 && (found.sd - 38.8).abs() < 0.05, "{found:?}");
        assert!((found.low + 79.7).abs() < 0.1 && (found.high - 75.5).abs() < 0.1, "{found:?}");
    }

    #[test]
    fn edges_have_reasons() {
        let line = [1.0, 2.0, 3.0, 4.0];
        assert_eq!(concordance(&line, &line[..3]), Err(NoEstimate::NotRectangular));
        assert_eq!(concordance(&line[..2], &line[..2]), Err(NoEstimate::TooFew));
        assert_eq!(concordance(&line, &[0.1; 4]), Err(NoEstimate::NoVariation));
        assert_eq!(concordance(&line, &[f64::NAN, 1.0, 2.0, 3.0]), Err(NoEstimate::NotFinite));
        assert_eq!(concordance(&line, &line).unwrap().interval, Err(NoEstimate::NoSpread));
        let found = concordance(&line, &[1.0, -1.0, -1.0, 1.0]).unwrap();
        assert_eq!((found.value, found.interval), (0.0, Err(NoEstimate::NoCorrelation)));
        assert_eq!(limits_of_agreement(&[], Width::Z196), Err(NoEstimate::TooFew));
        assert_eq!(limits_of_agreement(&[1.0], Width::Z196), Err(NoEstimate::TooFew));
        assert_eq!(limits_of_agreement(&[1.0, f64::INFINITY], Width::Z196), Err(NoEstimate::NotFinite));
        let constant = limits_of_agreement(&[0.1; 3], Width::Z196).unwrap();
        assert_eq!(constant.intervals, Err(NoEstimate::NoSpread));
        assert!((constant.low - 0.1).abs() < 1e-12 && (constant.high - 0.1).abs() < 1e-12);
    }

    #[test]
    fn concordance_does_not_mind_who_comes_first() {
        let (x, y) = ([1.0, 2.5, 3.0, 4.0, 7.0], [1.5, 2.0, 3.5, 5.0, 6.0]);
        let (one, other) = (concordance(&x, &y).unwrap(), concordance(&y, &x).unwrap());
        assert!((one.value - other.value).abs() < 1e-15);
        let (one, other) = (one.interval.unwrap(), other.interval.unwrap());
        assert!((one.standard_error - other.standard_error).abs() < 1e-14);
    }
}
