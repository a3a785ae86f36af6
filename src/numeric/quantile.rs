//! Quantiles, means and spreads of samples.

/// Quantile of sorted values by type 7 of Hyndman & Fan (1996, Am Stat 50:361–365): the position
/// `(n − 1)·q` from 0, interpolated linearly. `None` for no values or a `q` outside 0–1.
#[must_use]
pub fn sorted(values: &[f64], q: f64) -> Option<f64> {
    if values.is_empty() || !(0.0..=1.0).contains(&q) {
        return None;
    }
    #[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    // A place in the list: below its length.
    let (place, share) = {
        let position = (values.len() - 1) as f64 * q;
        (position.floor() as usize, position.fract())
    };
    let low = values.get(place)?;
    let high = values.get(place + 1).unwrap_or(low);
    Some(low + (high - low) * share)
}

/// Quantile of values in any order.
#[must_use]
pub fn of(values: &[f64], q: f64) -> Option<f64> {
    let mut ordered = values.to_vec();
    ordered.sort_by(f64::total_cmp);
    sorted(&ordered, q)
}

/// Arithmetic mean; `None` for no values.
#[must_use]
#[allow(clippy::cast_precision_loss)] // Counts below 2^53.
pub fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

/// Standard deviation with n − 1; `None` below two values.
#[must_use]
#[allow(clippy::cast_precision_loss)] // Counts below 2^53.
pub fn standard_deviation(values: &[f64]) -> Option<f64> {
    if values.len() < 2 {
        return None;
    }
    let mean = mean(values)?;
    let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    Some((squares / (values.len() - 1) as f64).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn type_7_as_published() {
        // R's documented default, quantile(1:9, c(.1, .25, .9)); computed there.
        let values: Vec<f64> = (1..=9).map(f64::from).collect();
        assert_eq!(sorted(&values, 0.25), Some(3.0));
        assert!((sorted(&values, 0.1).unwrap() - 1.8).abs() < 1e-12);
        assert!((sorted(&values, 0.9).unwrap() - 8.2).abs() < 1e-12);
        assert_eq!(of(&[3.0, 1.0, 2.0, 4.0], 0.5), Some(2.5));
        assert_eq!(sorted(&[], 0.5), None);
    }
}
