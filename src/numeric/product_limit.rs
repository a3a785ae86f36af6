//! The product-limit estimate of Kaplan & Meier (1958, J Am Stat Assoc 53:457–481) for times that
//! may be right-censored.

use super::Undefined;
use super::interval::Z95;

/// A time from a start, reached or censored.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Time {
    /// In any unit, not negative.
    pub length: f64,
    /// What happened then.
    pub ending: Ending,
}

/// How a time ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ending {
    /// It was reached.
    Reached,
    /// Watching stopped before it was.
    Censored,
}

/// A step of the curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// When.
    pub at: f64,
    /// Cases still waiting just before.
    pub at_risk: u32,
    /// Cases that reached it here.
    pub reached: u32,
    /// Cases censored here; they count as at risk here.
    pub censored: u32,
    /// Share still waiting just after.
    pub survival: f64,
    /// Greenwood's sum Σ d/(n(n−d)) up to here; infinite once nobody is left.
    pub greenwood: f64,
}

/// The curve.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Curve {
    steps: Vec<Step>,
}

/// A median or another quantile with its limits; `None` where the curve never gets there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// First time at which the share waiting is at or below the level.
    pub at: Option<f64>,
    /// Limits of 95 % after Brookmeyer & Crowley (1982, Biometrics 38:29–41) from log–log limits.
    pub ci95: (Option<f64>, Option<f64>),
}

/// On which scale limits of the share waiting are symmetric.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Scale {
    /// ln(−ln S): never outside 0 and 1. Ours.
    #[default]
    LogLog,
    /// ln S; cut at 1.
    Log,
    /// S itself; cut at 0 and 1.
    Plain,
}

/// What a quantile is where the curve is flat exactly at its level.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Flat {
    /// The start of the flat piece: the first time at or below the level. Ours.
    #[default]
    Start,
    /// Its middle.
    Middle,
}

/// Mean time up to a limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RestrictedMean {
    /// The limit: it belongs beside the number.
    pub until: f64,
    /// Area under the curve up to it.
    pub mean: f64,
    /// Σ A²·d/(n(n−d)) over the times before the limit, A the area from there on.
    pub variance: f64,
}

/// Floating products may miss a level by a hair.
const SLACK: f64 = 1e-9;

impl Curve {
    /// From times in any order; at one time, reaching comes before censoring.
    #[must_use]
    pub fn of(times: &[Time]) -> Self {
        let mut ordered = times.to_vec();
        ordered.sort_by(|a, b| a.length.total_cmp(&b.length));
        let mut steps = Vec::new();
        let mut waiting = u32::try_from(ordered.len()).unwrap_or(u32::MAX);
        let (mut survival, mut greenwood) = (1.0, 0.0);
        for group in ordered.chunk_by(|a, b| a.length.total_cmp(&b.length).is_eq()) {
            let count = |ending| {
                u32::try_from(group.iter().filter(|time| time.ending == ending).count()).unwrap_or(u32::MAX)
            };
            let (reached, censored) = (count(Ending::Reached), count(Ending::Censored));
            if reached > 0 {
                let (n, d) = (f64::from(waiting), f64::from(reached));
                survival *= 1.0 - d / n;
                greenwood += if reached == waiting { f64::INFINITY } else { d / (n * (n - d)) };
            }
            if let Some(first) = group.first() {
                steps.push(Step {
                    at: first.length,
                    at_risk: waiting,
                    reached,
                    censored,
                    survival,
                    greenwood,
                });
            }
            waiting -= reached + censored;
        }
        Self { steps }
    }

    /// All steps, those where only censoring happens included.
    #[must_use]
    pub fn steps(&self) -> &[Step] {
        &self.steps
    }

    /// Median: first time at which the share waiting is ≤ 0.5.
    #[must_use]
    pub fn median(&self) -> Point {
        self.reaching(0.5)
    }

    /// First time at which the share waiting is at or below `level`, with limits.
    #[must_use]
    pub fn reaching(&self, level: f64) -> Point {
        self.reaching_by(level, Scale::LogLog, Flat::Start)
    }

    /// The same with the limits' scale and the rule for flat pieces named.
    #[must_use]
    pub fn reaching_by(&self, level: f64, scale: Scale, flat: Flat) -> Point {
        let first = |share: &dyn Fn(&Step) -> Option<f64>| {
            self.steps
                .iter()
                .filter(|step| step.reached > 0)
                .find(|step| share(step).is_some_and(|share| share <= level + SLACK))
                .map(|step| step.at)
        };
        let start = first(&|step| Some(step.survival));
        let end = first(&|step| Some(step.survival + 2.0 * SLACK));
        // The median's limits: with nobody left the curve itself is below any level.
        let limits = |step: &Step| {
            if step.survival <= SLACK { Some((0.0, f64::INFINITY)) } else { step.limits(scale) }
        };
        Point {
            at: match (flat, start, end) {
                (Flat::Middle, Some(start), Some(end)) => Some(f64::midpoint(start, end)),
                _ => start,
            },
            ci95: (
                first(&|step| limits(step).map(|(low, _)| low)),
                first(&|step| limits(step).map(|(_, high)| high)),
            ),
        }
    }

    /// Area under the curve up to `until`; the last step runs on. `None` for no times.
    #[must_use]
    pub fn restricted_mean(&self, until: f64) -> Option<f64> {
        if self.steps.is_empty() {
            return None;
        }
        let (mut area, mut from, mut survival) = (0.0, 0.0, 1.0);
        for step in self.steps.iter().take_while(|step| step.at < until) {
            area += survival * (step.at - from);
            from = step.at;
            survival = step.survival;
        }
        Some(area + survival * (until - from))
    }

    /// Mean time up to `until` with its variance. To compare groups take one limit that all of them
    /// were watched to.
    ///
    /// # Errors
    /// No times, or a limit past the longest one while cases still wait there.
    pub fn restricted(&self, until: f64) -> Result<RestrictedMean, Undefined> {
        let (mean, last) = self.restricted_mean(until).zip(self.steps.last()).ok_or(Undefined::TooFew)?;
        if until > last.at && last.survival > SLACK {
            return Err(Undefined::BeyondWatching);
        }
        let mut variance = 0.0;
        for step in self.steps.iter().filter(|step| step.at < until && step.reached < step.at_risk) {
            let (n, d) = (f64::from(step.at_risk), f64::from(step.reached));
            let after = mean - self.restricted_mean(step.at).unwrap_or(0.0);
            variance += after * after * d / (n * (n - d));
        }
        Ok(RestrictedMean { until, mean, variance })
    }
}

impl Step {
    /// Standard error of the share waiting (Greenwood 1926): S·√(Σ d/(n(n−d))); none when nobody is left.
    #[must_use]
    pub fn standard_error(&self) -> Option<f64> {
        (self.survival > SLACK).then(|| self.survival * self.greenwood.sqrt())
    }

    /// Limits of 95 % of the share waiting; none at 1 and when nobody is left.
    #[must_use]
    pub fn limits(&self, scale: Scale) -> Option<(f64, f64)> {
        if self.survival <= SLACK || self.survival >= 1.0 {
            return None;
        }
        let spread = Z95 * self.greenwood.sqrt();
        let s = self.survival;
        Some(match scale {
            Scale::LogLog => {
                let spread = spread / s.ln().abs();
                (s.powf(spread.exp()), s.powf((-spread).exp()))
            }
            Scale::Log => (s * (-spread).exp(), (s * spread.exp()).min(1.0)),
            Scale::Plain => ((s * (1.0 - spread)).max(0.0), (s * (1.0 + spread)).min(1.0)),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn curve(times: &[(f64, bool)]) -> Curve {
        let times: Vec<Time> = times
            .iter()
            .map(|(length, reached)| Time {
                length: *length,
                ending: if *reached { Ending::Reached } else { Ending::Censored },
            })
            .collect();
        Curve::of(&times)
    }

    #[test]
    fn freireich_6mp_as_published() {
        // Freireich et al. 1963, Blood 21:699-716 (6-MP group), as in Kleinbaum & Klein, Survival
        // Analysis: S(6) = .857, S(10) = .753, S(23) = .448; median 23; log-log limits of the
        // median 13 and not reached (R survival 3.5.3, conf.type "log-log").
        let reached = [6.0, 6.0, 6.0, 7.0, 10.0, 13.0, 16.0, 22.0, 23.0];
        let censored = [6.0, 9.0, 10.0, 11.0, 17.0, 19.0, 20.0, 25.0, 32.0, 32.0, 34.0, 35.0];
        let times: Vec<(f64, bool)> =
            reached.iter().map(|t| (*t, true)).chain(censored.iter().map(|t| (*t, false))).collect();
        let curve = curve(&times);
        let at = |time: f64| curve.steps().iter().rfind(|step| step.at <= time).unwrap().survival;
        assert!((at(6.0) - 0.857_142_857).abs() < 1e-8);
        assert!((at(10.0) - 0.752_941_176).abs() < 1e-8);
        assert!((at(23.0) - 0.448_179_272).abs() < 1e-8);
        assert_eq!(curve.median(), Point { at: Some(23.0), ci95: (Some(13.0), None) });
    }

    #[test]
    fn a_flat_half_counts_and_nothing_reached_has_no_median() {
        assert_eq!(curve(&[(1.0, true), (2.0, true), (3.0, false), (4.0, false)]).median().at, Some(2.0));
        assert_eq!(curve(&[(30.0, false); 4]).median().at, None);
        assert_eq!(curve(&[]).median().at, None);
        assert_eq!(curve(&[]).restricted_mean(5.0), None);
        assert_eq!(curve(&[]).restricted(5.0), Err(Undefined::TooFew));
        let waiting = curve(&[(1.0, true), (4.0, false)]);
        assert_eq!(waiting.restricted(5.0), Err(Undefined::BeyondWatching), "nobody was watched to 5");
        assert_eq!(waiting.restricted(4.0).unwrap().mean, 2.5);
        // Without censoring the restricted mean over everything is the mean.
        assert_eq!(curve(&[(1.0, true), (2.0, true), (6.0, true)]).restricted_mean(6.0), Some(3.0));
    }
}
