//! Courses over sessions: those of the demo, and short ones made by hand.

use shedlight::measures::quantity::{Denominator, Quantity, Value, value};
use shedlight::measures::trend::{Axis, Course, Point, Spread, compare, courses};
use shedlight::measures::{Missing, Record};
use shedlight::model::AnimalId;
use shedlight::numeric::Undefined;
use shedlight::numeric::overlap::Wanted;
use shedlight::numeric::trend::Distribution;
use shedlight::time::Micros;

use super::demo_records;
use super::made::{HIDDEN, Made};

fn course(records: &[Record<'_>], animal: &str, quantity: &Quantity) -> Course {
    courses(records, quantity).remove(&AnimalId::from(animal)).unwrap()
}

/// Sessions of one step each, a day apart.
fn made(values: &[(u32, Result<f64, Missing>)]) -> Course {
    let start: chrono::DateTime<chrono::FixedOffset> = "2025-03-03T10:00:00+00:00".parse().unwrap();
    let points = values.iter().enumerate().map(|(i, (step, value))| Point {
        session: format!("s{i:02}").into(),
        at: Some(start + chrono::TimeDelta::days(i64::try_from(i).unwrap())),
        plan: Some("plan".into()),
        step: Some(*step),
        revision: 1,
        value: value.map(|value| Value { value, of: Denominator::Presentations(10) }),
    });
    Course { quantity: Quantity::Success, points: points.collect() }
}

fn of(values: &[f64]) -> Course {
    made(&values.iter().map(|value| (1, Ok(*value))).collect::<Vec<_>>())
}

#[test]
fn the_demo_gives_one_value_a_session_with_its_denominator() {
    // Figures of the invented study, as its script was written to give them.
    let demo = demo_records::load();
    let records = demo.records();
    let shown = |animal: &str, quantity: &Quantity| -> Vec<(String, Option<u32>, Result<f64, Missing>)> {
        let rounded = |value: Value| (value.value * 1_000.0).round() / 1_000.0;
        course(&records, animal, quantity)
            .points
            .into_iter()
            .map(|point| (point.session.to_string(), point.step, point.value.map(rounded)))
            .collect()
    };
    let row = |session: &str, step: u32, value: f64| (session.to_owned(), Some(step), Ok(value));
    assert_eq!(
        shown("bramble", &Quantity::Success),
        [row("s1", 3, 0.5), row("s3", 3, 0.9), row("s4", 4, 0.5), row("s6", 4, 0.9)],
        "eleven codings, of which one a session counts"
    );
    assert_eq!(shown("sorrel", &Quantity::ApproachShare), [row("s2", 3, 0.733), row("s5", 3, 0.462)]);
    assert_eq!(shown("sorrel", &Quantity::Food), [row("s2", 3, 0.426), row("s5", 3, 0.418)]);
    assert_eq!(
        shown("bramble", &Quantity::Share("cover".into())),
        [row("s1", 3, 0.105), row("s3", 3, 0.032), row("s4", 4, 0.218), row("s6", 4, 0.016)]
    );
    assert_eq!(
        shown("bramble", &Quantity::OutOfSight),
        [row("s1", 3, 0.069), row("s3", 3, 0.031), row("s4", 4, 0.136), row("s6", 4, 0.016)]
    );
    let contact = shown("bramble", &Quantity::ContactLatency);
    assert_eq!(contact[0], row("s1", 3, 52.5));
    assert_eq!(contact[2].2, Err(Missing::MedianNotReached));
    let success = course(&records, "bramble", &Quantity::Success);
    let valid: Vec<Denominator> = success.points.iter().map(|point| point.value.unwrap().of).collect();
    assert_eq!(valid, [10, 10, 8, 10].map(Denominator::Presentations));
    let stops = course(&records, "sorrel", &Quantity::StopIncidents);
    assert_eq!(stops.points[1].value.unwrap().of, Denominator::Visible(Micros::from_whole_seconds(420)));
    let share = course(&records, "bramble", &Quantity::Share("orient".into()));
    assert_eq!(share.level(1), Err(Missing::NoDuration));
    let hidden = course(&records, "bramble", &Quantity::Share("out-of-sight".into()));
    assert_eq!(hidden.level(1), Err(Missing::NeverVisible));
}

#[test]
fn four_sessions_have_a_range_and_a_weak_trend() {
    let demo = demo_records::load();
    let records = demo.records();
    let cover = course(&records, "bramble", &Quantity::Share("cover".into()));
    let level = cover.level(1).unwrap();
    assert_eq!((level.n, level.spread), (4, Spread::Range));
    assert!((level.low - 10.0 / 630.0).abs() < 1e-12 && (level.high - 170.0 / 780.0).abs() < 1e-12);
    let success = course(&records, "bramble", &Quantity::Success).trend(Axis::Order).unwrap();
    // Slopes by hand: −.4, 0, 0, .4/3, .4, .4.
    assert!((success.slope - 0.2 / 3.0).abs() < 1e-12, "{success:?}");
    assert_eq!((success.slope_ci95, success.by), ((None, None), Distribution::Normal), "ties");
    let sorrel = course(&records, "sorrel", &Quantity::Success);
    assert_eq!(sorrel.trend(Axis::Order), Err(Missing::TooFew));
    let stops = course(&records, "bramble", &Quantity::StopIncidents);
    assert_eq!(stops.trend(Axis::Order), Err(Missing::Undefined(Undefined::NoVariation)));
    assert_eq!(stops.level(1).unwrap().mean, 0.0, "coded to its end and never seen: a true zero");
}

#[test]
fn a_session_in_which_it_never_came_is_not_dropped_from_a_latency() {
    let demo = demo_records::load();
    let records = demo.records();
    let contact = course(&records, "bramble", &Quantity::ContactLatency);
    assert_eq!(contact.level(1), Err(Missing::MedianNotReached));
    assert_eq!(contact.trend(Axis::Days), Err(Missing::MedianNotReached));
    let third = &contact.phases()[0];
    assert_eq!(third.course.level(1).unwrap().n, 2, "at step 3 it came in both");
}

#[test]
fn what_only_rounding_parts_does_not_move() {
    for size in [1e-3, 1.0, 1e3] {
        let near = [0.0, 1e-13, -1e-13, 1e-13].map(|by| (3, Ok(size * (1.0 + by))));
        let trend = made(&near).trend(Axis::Order);
        assert_eq!(trend, Err(Missing::Undefined(Undefined::NoVariation)), "{size}");
        let apart = [0.0, 1e-9, 2e-9, 3e-9].map(|by| (3, Ok(size * (1.0 + by))));
        assert!(made(&apart).trend(Axis::Order).is_ok(), "{size}");
    }
}

#[test]
fn steps_make_phases() {
    let course =
        made(&[(3, Ok(0.5)), (3, Ok(0.9)), (4, Err(Missing::PassNotDone)), (4, Ok(0.4)), (3, Ok(0.8))]);
    let phases: Vec<(Option<u32>, usize)> =
        course.phases().iter().map(|phase| (phase.step, phase.course.points.len())).collect();
    assert_eq!(phases, [(Some(3), 2), (Some(4), 2), (Some(3), 1)], "a step back is a phase of its own");
    let by_step: Vec<(Option<u32>, Result<usize, Missing>)> =
        course.by_step().iter().map(|((_, step), own)| (*step, own.level(1).map(|level| level.n))).collect();
    assert_eq!(by_step, [(Some(3), Ok(3)), (Some(4), Ok(1))]);
    let level = course.level(1).unwrap();
    assert_eq!((level.n, level.left_out), (4, 1));
    // The session without a value keeps its place: sessions 1, 2, 4, 5.
    let trend = course.trend(Axis::Order).unwrap();
    let days = course.trend(Axis::Days).unwrap();
    assert_eq!((trend.n, trend.left_out), (4, 1));
    assert!(
        (trend.slope - days.slope).abs() < 1e-9
            && (trend.intercept + trend.slope - days.intercept).abs() < 1e-9
    );
}

#[test]
fn five_sessions_have_an_interval_that_names_its_draws_and_seed() {
    let course = of(&[0.4, 0.5, 0.7, 0.6, 0.9, 0.8]);
    let level = course.level(7).unwrap();
    let Spread::Bootstrap { low, high, draws, seed } = level.spread else { panic!("{level:?}") };
    assert_eq!((draws, seed), (2_000, 7));
    assert!((level.mean - 0.65).abs() < 1e-12);
    // Normal limits would be .65 ± 1.96 · .187/√6 · √(5/6) = .51 to .79.
    assert!((low - 0.51).abs() < 0.02 && (high - 0.79).abs() < 0.02, "{low} {high}");
    assert_eq!(course.level(7), Ok(level), "the same seed gives the same interval");
    assert_eq!(of(&[0.4]).level(7).unwrap().spread, Spread::One);
    assert_eq!(of(&[]).level(7), Err(Missing::None));
    let trend = course.trend(Axis::Order).unwrap();
    // By hand: two of 15 pairs are out of order.
    assert!((trend.tau_b - 11.0 / 15.0).abs() < 1e-12 && trend.by == Distribution::Exact);
    assert!(
        (trend.p - 2.0 * 20.0 / 720.0).abs() < 1e-12,
        "20 of 720 orders have at most two pairs out of order"
    );
}

#[test]
fn two_steps_are_compared_session_by_session() {
    let course = made(&[(3, Ok(0.3)), (3, Ok(0.4)), (3, Ok(0.5)), (4, Ok(0.5)), (4, Ok(0.8)), (4, Ok(0.9))]);
    let phases = course.phases();
    let (found, corrected) = compare(&phases[0].course, &phases[1].course, Wanted::Increase).unwrap();
    assert_eq!((found.s_between, found.s_first, found.s_second), (8, 3, 3));
    assert!((found.nap - 8.5 / 9.0).abs() < 1e-12 && (found.tau_u - 5.0 / 9.0).abs() < 1e-12);
    // The first phase's line goes on to .6, .7, .8: residuals 0, 0, 0 and −.1, .1, .1.
    assert_eq!(corrected.s, 3);
    let (worse, _) = compare(&phases[0].course, &phases[1].course, Wanted::Decrease).unwrap();
    assert!((worse.nap - 0.5 / 9.0).abs() < 1e-12);
    let short = made(&[(4, Ok(0.5)), (4, Ok(0.6))]);
    assert_eq!(compare(&phases[0].course, &short, Wanted::Increase).unwrap_err(), Missing::TooFew);
}

#[test]
fn days_need_a_wall_clock() {
    let mut course = of(&[0.4, 0.5, 0.7, 0.6]);
    course.points[2].at = None;
    assert_eq!(course.trend(Axis::Days), Err(Missing::NoClock));
    assert!(course.trend(Axis::Order).is_ok());
}

#[test]
fn what_is_not_coded_is_no_refusal() {
    let mut made = Made::new("first", 60.0);
    made.training();
    let _ = made.bout("cue", 5.0, 20.0);
    assert_eq!(
        value(&made.record(), &Quantity::Success).map(|own| own.value),
        Ok(0.0),
        "coded, and it did nothing"
    );
    assert_eq!(value(&made.record(), &Quantity::ContactLatency), Err(Missing::MedianNotReached));
    assert_eq!(value(&made.record(), &Quantity::ApproachShare), Err(Missing::None));
    assert_eq!(value(&made.record(), &Quantity::Share("explore".into())), Err(Missing::NotInEthogram));
    made.coding.passes[0].behaviours.retain(|id| id.as_str() != "contact");
    assert_eq!(value(&made.record(), &Quantity::Success), Err(Missing::PassNotDone));
    assert_eq!(value(&made.record(), &Quantity::ContactLatency), Err(Missing::PassNotDone));
    made.coding.passes[0].behaviours.retain(|id| id.as_str() != HIDDEN);
    assert_eq!(value(&made.record(), &Quantity::OutOfSight), Err(Missing::PassNotDone));
    assert_eq!(
        value(&made.record(), &Quantity::Rate("approach".into())),
        Err(Missing::PassNotDone),
        "no hours to divide by"
    );
}
