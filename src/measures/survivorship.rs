//! Bouts and gaps by their length: log-survivorship, and the gap that ends a bout.
//!
//! Where events come in clusters, gaps within a cluster and gaps between clusters follow two processes; on a
//! log-survivorship plot each is a straight piece.

use super::record::{Missing, Record, Seen};
use crate::model::{Actor, Behaviour, Kind};
use crate::numeric::Undefined;
use crate::numeric::mixture::Mixture;
use crate::numeric::product_limit::{Curve, Ending, Time};
use crate::time::{Micros, Span, Spans};

/// What is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lengths {
    /// How long bouts of a state last.
    Bouts,
    /// How long it takes from one bout's end, or from an event, to the next onset.
    Gaps,
}

/// Lengths in one record, in seconds, those that ran out of the film or out of sight censored. What had
/// begun before it could be seen is left out: nobody knows how long it had run. A gap never spans out of
/// sight.
///
/// # Errors
/// Pass not done, visible time not coded, not continuous, or bouts of an event.
pub fn lengths(record: &Record<'_>, behaviour: &Behaviour, which: Lengths) -> Result<Vec<Time>, Missing> {
    Ok(placed(record, behaviour, which)?.into_iter().map(|(_, time)| time).collect())
}

/// As [`lengths`], each with the moment it begins at.
///
/// # Errors
/// As [`lengths`].
pub fn placed(
    record: &Record<'_>,
    behaviour: &Behaviour,
    which: Lengths,
) -> Result<Vec<(Micros, Time)>, Missing> {
    record.is_continuous()?;
    if !record.coding.is_done(&behaviour.id) {
        return Err(Missing::PassNotDone);
    }
    if which == Lengths::Bouts {
        if behaviour.kind == Kind::Event {
            return Err(Missing::NoDuration);
        }
        return Ok(record
            .bouts(behaviour)
            .iter()
            .filter(|bout| bout.start == Seen::Whole)
            .map(|bout| (bout.span.from, time(bout.span.length(), ending(bout.end))))
            .collect());
    }
    // The handler's behaviour does not stop where the animal can't be seen.
    let watched = match behaviour.who {
        Actor::Animal => record.visible()?.clone(),
        Actor::Handler => Spans::from(record.window()),
    };
    let taken: Vec<Span> = match behaviour.kind {
        Kind::State => record.bouts(behaviour).iter().map(|bout| bout.span).collect(),
        Kind::Event => record.onsets(behaviour).into_iter().map(|(at, _)| Span::between(at, at)).collect(),
    };
    let mut gaps = Vec::new();
    for stretch in &watched {
        let inside = |span: &&Span| stretch.from <= span.from && span.from < stretch.to;
        let mut since: Option<Micros> = None;
        for span in taken.iter().filter(inside) {
            if let Some(since) = since {
                gaps.push((since, time(span.from - since, Ending::Reached)));
            }
            since = Some(span.to);
        }
        if let Some(since) = since.filter(|since| *since < stretch.to) {
            gaps.push((since, time(stretch.to - since, Ending::Censored)));
        }
    }
    Ok(gaps)
}

fn time(length: Micros, ending: Ending) -> Time {
    Time { length: length.seconds(), ending }
}

fn ending(seen: Seen) -> Ending {
    if seen == Seen::Whole { Ending::Reached } else { Ending::Censored }
}

/// A point of the log-survivorship plot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Length, in seconds.
    pub at_s: f64,
    /// Share of lengths greater than it (product limit).
    pub share: f64,
    /// Its natural logarithm.
    pub log: f64,
}

/// Points of the log-survivorship plot, by rising length: ln S(t) at each length that was reached. The
/// last one has none when nothing is longer.
///
/// # Errors
/// No lengths at all.
pub fn points(lengths: &[Time]) -> Result<Vec<Point>, Missing> {
    if lengths.is_empty() {
        return Err(Missing::None);
    }
    Ok(Curve::of(lengths)
        .steps()
        .iter()
        .filter(|step| step.reached > 0 && step.reached < step.at_risk)
        .map(|step| Point { at_s: step.at, share: step.survival, log: step.survival.ln() })
        .collect())
}

/// Gaps below which no criterion is estimated: then it is set beforehand, by definition (our default).
pub const ENOUGH_GAPS: usize = 50;

/// The gap at and above which a new bout begins, and what it rests on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Criterion {
    /// The criterion, in seconds.
    pub criterion_s: f64,
    /// Gaps on the wrong side of it: the fewest any criterion could give.
    pub misassigned: f64,
    /// Gaps it was estimated from.
    pub n: usize,
    /// The two processes.
    pub processes: Mixture,
}

/// t* = ln(Nf·λf/(Ns·λs))/(λf − λs), Nf, λf number and rate of short gaps, Ns, λs of long ones, in any unit
/// of time (Slater & Lester 1982, Behaviour 79:153–161, formula from memory): the gap at which a gap is as
/// likely of the one process as of the other, so that the fewest are misassigned.
///
/// # Errors
/// Numbers or rates that are not positive; a fast process that is not faster; or short gaps so rare that
/// every gap is more likely a long one.
pub fn slater_lester(processes: &Mixture) -> Result<f64, Undefined> {
    let (fast, slow) = (processes.fast, processes.slow);
    let all = [fast.n, fast.rate, slow.n, slow.rate];
    if all.iter().any(|value| !(value.is_finite() && *value > 0.0)) {
        return Err(Undefined::OutOfRange);
    }
    if fast.rate <= slow.rate {
        return Err(Undefined::OneProcess);
    }
    let criterion = (fast.n * fast.rate / (slow.n * slow.rate)).ln() / (fast.rate - slow.rate);
    if criterion > 0.0 { Ok(criterion) } else { Err(Undefined::OneProcess) }
}

/// Estimates the criterion from gaps of any number of records. Censored ones, of which nobody knows how
/// long they would have been, do not enter.
///
/// # Errors
/// Fewer than fifty complete gaps, or one process.
pub fn criterion(gaps: &[Time]) -> Result<Criterion, Missing> {
    let complete: Vec<f64> =
        gaps.iter().filter(|gap| gap.ending == Ending::Reached).map(|gap| gap.length).collect();
    if complete.len() < ENOUGH_GAPS {
        return Err(Missing::TooFew);
    }
    let processes = Mixture::of(&complete)?;
    let at = slater_lester(&processes)?;
    let (fast, slow) = (processes.fast, processes.slow);
    let misassigned = fast.n * (-fast.rate * at).exp() + slow.n * (1.0 - (-slow.rate * at).exp());
    Ok(Criterion { criterion_s: at, misassigned, n: complete.len(), processes })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::mixture::Process;

    fn mixture(fast: (f64, f64), slow: (f64, f64)) -> Mixture {
        let process = |(n, rate)| Process { n, rate };
        Mixture { fast: process(fast), slow: process(slow) }
    }

    #[test]
    fn the_oracle_of_the_criterion() {
        // λf = .25/s, λs = .012/s, Nf = 48, Ns = 14: 17.9 s, worked by hand from the formula.
        let found = slater_lester(&mixture((48.0, 0.25), (14.0, 0.012))).unwrap();
        assert!((found - 17.9).abs() < 0.05, "{found}");
        assert_eq!(slater_lester(&mixture((48.0, 0.012), (14.0, 0.25))), Err(Undefined::OneProcess));
        assert_eq!(slater_lester(&mixture((1.0, 0.02), (99.0, 0.01))), Err(Undefined::OneProcess));
        assert_eq!(slater_lester(&mixture((0.0, 0.2), (9.0, 0.01))), Err(Undefined::OutOfRange));
    }

    #[test]
    fn no_other_criterion_misassigns_fewer() {
        let (fast, slow) = ((48.0, 0.25), (14.0, 0.012));
        let wrong = |t: f64| fast.0 * (-fast.1 * t).exp() + slow.0 * (1.0 - (-slow.1 * t).exp());
        let best = slater_lester(&mixture(fast, slow)).unwrap();
        assert!(wrong(best) < wrong(best - 0.5) && wrong(best) < wrong(best + 0.5));
    }

    #[test]
    fn fewer_than_fifty_gaps_have_no_criterion() {
        let gap = |length: u32| Time { length: f64::from(length), ending: Ending::Reached };
        let mut gaps: Vec<Time> = (0..49).map(gap).collect();
        gaps.extend((0..20).map(|i| Time { length: f64::from(i), ending: Ending::Censored }));
        assert_eq!(criterion(&gaps), Err(Missing::TooFew), "censored ones are no gaps");
        assert_eq!(points(&[]), Err(Missing::None));
    }

    #[test]
    fn points_are_logarithms_of_what_is_left() {
        let reached = |length: f64| Time { length, ending: Ending::Reached };
        let found = points(&[reached(1.0), reached(2.0), reached(2.0), reached(5.0)]).unwrap();
        assert_eq!(found.iter().map(|p| (p.at_s, p.share)).collect::<Vec<_>>(), [(1.0, 0.75), (2.0, 0.25)]);
        assert!((found[1].log - 0.25_f64.ln()).abs() < 1e-15);
    }
}
