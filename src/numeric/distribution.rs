//! Points and tails of the distributions that intervals and tests are read from.
//!
//! `statrs` computes them; here arguments it would refuse by stopping the program are refused with
//! `None` first.

use statrs::distribution::{ContinuousCDF as _, FisherSnedecor, Normal, StudentsT};

/// Point of Student's t that a share `p` lies below; `None` unless 0 < `p` < 1 and `freedom` is
/// positive and finite, and for a point beyond 1e±300.
#[must_use]
pub fn t_point(p: f64, freedom: f64) -> Option<f64> {
    if !(is_share(p) && is_freedom(freedom)) {
        return None;
    }
    let t = StudentsT::new(0.0, 1.0, freedom).ok()?;
    if p > 0.5 {
        point_with_tail(|x| t.sf(x), 1.0 - p)
    } else if p < 0.5 {
        point_with_tail(|x| t.sf(x), p).map(|point| -point)
    } else {
        Some(0.0)
    }
}

/// Point of Fisher's F that a share `p` lies below; `None` as for [`t_point`].
#[must_use]
pub fn f_point(p: f64, above: f64, below: f64) -> Option<f64> {
    if !(is_share(p) && is_freedom(above) && is_freedom(below)) {
        return None;
    }
    let f = FisherSnedecor::new(above, below).ok()?;
    point_with_tail(|x| f.sf(x), 1.0 - p)
}

/// The positive point beyond which a share lies, halving on a logarithmic scale. The library's own
/// inverse does not end for some degrees of freedom (1e-6 and 1e8, say), and a Satterthwaite estimate can be
/// any number. `None` when no such point is found.
fn point_with_tail(tail: impl Fn(f64) -> f64, share: f64) -> Option<f64> {
    let (mut low, mut high) = (-690.0_f64, 690.0_f64);
    for _ in 0..80 {
        let middle = f64::midpoint(low, high);
        if tail(middle.exp()) > share { low = middle } else { high = middle }
    }
    let point = f64::midpoint(low, high).exp();
    ((tail(point) - share).abs() <= 1e-9).then_some(point)
}

/// Share of Fisher's F beyond `f`; `None` unless `f` ≥ 0 and both degrees of freedom are positive.
#[must_use]
pub fn f_tail(f: f64, above: f64, below: f64) -> Option<f64> {
    if !(f >= 0.0 && f.is_finite() && is_freedom(above) && is_freedom(below)) {
        return None;
    }
    FisherSnedecor::new(above, below).ok().map(|distribution| distribution.sf(f))
}

/// Share of the standard normal distribution further from 0 than `z`, on both sides.
#[must_use]
pub fn normal_both_tails(z: f64) -> Option<f64> {
    if z.is_nan() {
        return None;
    }
    Normal::new(0.0, 1.0).ok().map(|normal| (2.0 * normal.sf(z.abs())).min(1.0))
}

fn is_share(p: f64) -> bool {
    p > 0.0 && p < 1.0
}

fn is_freedom(freedom: f64) -> bool {
    freedom > 0.0 && freedom.is_finite()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn degrees_of_freedom_are_some_and_finite() {
        let fits = [0.0, -1.0, f64::INFINITY, f64::NAN, 0.5, 16.0].map(is_freedom);
        assert_eq!(fits, [false, false, false, false, true, true]);
    }

    #[test]
    fn points_as_published() {
        // Bland & Altman 1986, Lancet 327:307-310: t with 16 degrees of freedom 2.12. F(.95; 5, 10) = 3.33
        // and the 5 % outside ±1.96 from memory, any table.
        assert!((t_point(0.975, 16.0).unwrap() - 2.12).abs() < 5e-3);
        assert!((f_point(0.95, 5.0, 10.0).unwrap() - 3.33).abs() < 5e-3);
        assert!((f_tail(3.325_834_5, 5.0, 10.0).unwrap() - 0.05).abs() < 1e-6);
        assert!((normal_both_tails(-1.96).unwrap() - 0.05).abs() < 1e-4);
    }

    #[test]
    fn points_of_many_degrees_of_freedom() {
        // Abramowitz & Stegun 26.7.5: t from the normal point z, to the second term.
        let z: f64 = 1.959_963_984_540_054;
        for freedom in [999.0, 1e4, 1e5, 1e6] {
            let series = z
                + (z.powi(3) + z) / (4.0 * freedom)
                + (5.0 * z.powi(5) + 16.0 * z.powi(3) + 3.0 * z) / (96.0 * freedom * freedom);
            assert!((t_point(0.975, freedom).unwrap() - series).abs() < 1e-8, "{freedom}");
            assert!((t_point(0.025, freedom).unwrap() + series).abs() < 1e-8, "{freedom}");
        }
        // F(p; 1, n) is the square of t.
        let (t, f) = (t_point(0.975, 7.0).unwrap(), f_point(0.95, 1.0, 7.0).unwrap());
        assert!((t * t - f).abs() < 1e-12);
        assert_eq!(t_point(0.5, 3.0), Some(0.0));
    }

    #[test]
    fn every_search_ends() {
        let freedoms = [1e-6, 0.01, 0.5, 1.0, 4.785, 52.0, 1e5, 1e8, 1e12];
        for above in freedoms {
            for below in freedoms {
                if let Some(point) = f_point(0.975, above, below) {
                    assert!((f_tail(point, above, below).unwrap() - 0.025).abs() < 1e-8, "{above} {below}");
                }
            }
            let _ = t_point(0.975, above);
        }
    }

    #[test]
    fn what_has_no_value_is_refused() {
        for bad in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(t_point(0.975, bad), None);
            assert_eq!(f_point(0.975, bad, 3.0), None);
            assert_eq!(f_point(0.975, 3.0, bad), None);
        }
        for bad in [0.0, 1.0, f64::NAN, -0.5] {
            assert_eq!(t_point(bad, 3.0), None);
        }
        assert_eq!(f_tail(-1.0, 3.0, 3.0), None);
        assert_eq!(normal_both_tails(f64::NAN), None);
        assert_eq!(normal_both_tails(0.0), Some(1.0));
    }
}
