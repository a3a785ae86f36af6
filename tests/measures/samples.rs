//! What sampling would have made of small codings made by hand.

use shedlight::measures::Missing;
use shedlight::measures::sampling::{self, Choice, Grid, Verdict, thin};
use shedlight::model::{Actor, Kind, RecordingRule};
use shedlight::numeric::Undefined;
use shedlight::time::{Micros, Seconds, Span, Spans};

use super::made::{HIDDEN, Made, seconds};

/// a for 12 s, then b; out of sight from 30 to 40 of 60 s.
fn minute() -> Made {
    let mut made = Made::new("first", 60.0);
    made.activities(&["a", "b", "c"]);
    made.behaviour("flick", Kind::Event, None, &[], Actor::Animal);
    let _ = made.bout("a", 0.0, 12.0);
    let _ = made.bout("b", 12.0, 60.0);
    let _ = made.bout(HIDDEN, 30.0, 40.0);
    made
}

#[test]
fn points_and_intervals_out_of_sight_are_not_counted() {
    let made = minute();
    let record = made.record();
    let at = |every: f64, offset: f64| thin(&record, made.own("a"), seconds(every), seconds(offset)).unwrap();
    let ten = at(10.0, 0.0);
    assert_eq!(ten.share, 12.0 / 50.0);
    assert_eq!((ten.hits, ten.points), (2, 5), "at 0 and 10; 30 is out of sight");
    assert_eq!((ten.touched, ten.filled, ten.intervals), (2, 1, 5));
    assert!((ten.error() - 0.16).abs() < 1e-12 && (ten.one_zero_error() - 0.16).abs() < 1e-12);
    let later = at(10.0, 5.0);
    assert_eq!((later.hits, later.points), (1, 5), "at 5; of 5, 15, 25, 35, 45 and 55, 35 is out of sight");
    assert_eq!(
        (later.touched, later.intervals),
        (1, 5),
        "35 to 45 is seen from 40 on; 55 to 65 is not whole"
    );
    assert_eq!(thin(&record, made.own("a"), seconds(61.0), Micros::ZERO), Err(Missing::TooFew));
    assert_eq!(
        thin(&record, made.own("a"), Micros::ZERO, Micros::ZERO),
        Err(Missing::Undefined(Undefined::OutOfRange))
    );
    assert_eq!(thin(&record, made.own("flick"), seconds(1.0), Micros::ZERO), Err(Missing::NoDuration));
    assert_eq!(thin(&record, made.own(HIDDEN), seconds(1.0), Micros::ZERO), Err(Missing::NeverVisible));
}

#[test]
fn what_was_sampled_or_not_coded_can_not_be_thinned() {
    let mut made = minute();
    made.coding.rule =
        RecordingRule::Instantaneous { every_s: Seconds::whole(15), offset_s: Seconds::whole(0) };
    let thinned = |made: &Made| thin(&made.record(), made.own("a"), seconds(5.0), Micros::ZERO);
    assert_eq!(thinned(&made), Err(Missing::NotContinuous));
    made.coding.rule = RecordingRule::Continuous;
    made.coding.passes[0].done = false;
    assert_eq!(thinned(&made), Err(Missing::PassNotDone));
    made.coding.passes[0].done = true;
    let _ = made.bout(HIDDEN, 0.0, 60.0);
    assert_eq!(thinned(&made), Err(Missing::NeverVisible));
}

#[test]
fn the_longest_interval_is_short_for_short_bouts_and_long_for_long_ones() {
    // 600 s: b holds 4 s in every 20, from 8 on; a the rest.
    let mut made = Made::new("first", 600.0);
    made.activities(&["a", "b", "c"]);
    for round in 0..30 {
        let start = f64::from(round) * 20.0;
        let _ = made.bout("a", start, start + 8.0);
        let _ = made.bout("b", start + 8.0, start + 12.0);
        let _ = made.bout("a", start + 12.0, start + 20.0);
    }
    let record = made.record();
    let quick = Choice::of(&[&record], &"b".into()).unwrap();
    assert!((quick.share - 0.2).abs() < 1e-12);
    // Points 1 or 2 s apart meet each 4 s equally often from any start; 5 s apart once, or not at all.
    let verdicts: Vec<Verdict> = quick.trials.iter().map(|trial| trial.verdict).collect();
    assert_eq!(verdicts[..2], [Verdict::Acceptable, Verdict::Acceptable]);
    assert_eq!(quick.longest(), Ok(seconds(2.0)));
    let ten = &quick.trials[3];
    assert_eq!(ten.every, seconds(10.0));
    // From 2 to 7 s the points miss it; from 0, 1, 8 and 9 s every second one meets it.
    assert!((ten.typical_error - (0.6 * 0.2 + 0.4 * 0.3)).abs() < 1e-12, "{ten:?}");
    assert!((ten.largest_error - 0.3).abs() < 1e-12, "{ten:?}");
    assert_eq!(ten.correlation, Err(Undefined::TooFew), "one session has no correlation");
    assert!(quick.trials.iter().all(|trial| trial.one_zero_bias > 0.0 || trial.every <= seconds(2.0)));

    let mut slow = Made::new("second", 600.0);
    slow.activities(&["a"]);
    let _ = slow.bout("a", 0.0, 600.0);
    let record = slow.record();
    let all = Choice::of(&[&record], &"a".into()).unwrap();
    assert_eq!(all.longest(), Ok(seconds(120.0)), "what never changes needs few points");
    assert_eq!(sampling::longest(&[quick, all]), Ok(seconds(2.0)));
    assert_eq!(sampling::longest(&[]), Err(Missing::None));
}

#[test]
fn a_state_that_never_occurred_has_no_interval() {
    let made = minute();
    let record = made.record();
    assert_eq!(Choice::of(&[&record], &"c".into()), Err(Missing::None));
    assert_eq!(Choice::of(&[&record], &"d".into()), Err(Missing::NotInEthogram));
    assert_eq!(Choice::of(&[], &"a".into()), Err(Missing::None));
    let short = Choice::of(&[&record], &"a".into()).unwrap();
    assert_eq!(short.trials.last().unwrap().every, seconds(60.0), "no minute has two");
}

#[test]
fn counts_over_spans_are_those_of_every_tenth_of_a_second() {
    // Spans on tenths of a second from a fixed sequence of numbers; compared with going through them all.
    let mut number = 1_u64;
    let mut next = |below: u64| {
        number = number.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        i64::try_from((number >> 33) % below).unwrap()
    };
    for _ in 0..60 {
        let spans: Spans = (0..next(8))
            .map(|_| {
                let from = next(260) - 20;
                let to = from + next(60);
                Span { from: Micros(from * 100_000), to: Micros(to * 100_000) }
            })
            .collect();
        let (every, offset) = (1 + next(40), next(20));
        let window = Span { from: Micros::ZERO, to: Micros(200 * 100_000) };
        let grid = Grid::try_new(window, Micros(every * 100_000), Micros(offset * 100_000)).unwrap();
        let holds = |tenth: i64| spans.contains(Micros(tenth * 100_000));
        let points = (0..).map(|k| offset + k * every).take_while(|point| *point < 200);
        let held = points.filter(|point| holds(*point)).count();
        let count = |test: &dyn Fn(i64) -> bool| {
            let starts = (0..).map(|k| offset + k * every).take_while(|start| start + every <= 200);
            u32::try_from(starts.filter(|start| test(*start)).count()).unwrap()
        };
        assert_eq!(grid.count(), count(&|_| true));
        assert_eq!(grid.held_at_points(&spans) as usize, held, "{spans:?} {every} {offset}");
        assert_eq!(grid.held_at_ends(&spans), count(&|start| holds(start + every)));
        assert_eq!(grid.touched(&spans), count(&|start| (start..start + every).any(holds)));
        assert_eq!(grid.filled(&spans), count(&|start| (start..start + every).all(holds)));
    }
}
