//! Transitions, bouts and gaps in small codings made by hand, and in the demo.

use std::num::NonZeroUsize;

use shedlight::measures::Missing;
use shedlight::measures::sequence::{Caution, Chance, Repeats, Transitions};
use shedlight::measures::survivorship::{Lengths, criterion, lengths, points};
use shedlight::model::{Actor, Kind, RecordingRule, Role};
use shedlight::numeric::Undefined;
use shedlight::numeric::product_limit::Ending;
use shedlight::time::Seconds;

use super::demo_records;
use super::made::{ACTIVITY, HIDDEN, Made, VISIBILITY, seconds};

fn lag(states: usize) -> NonZeroUsize {
    NonZeroUsize::new(states).unwrap()
}

fn rows(transitions: &Transitions) -> Vec<Vec<u32>> {
    transitions.counts.rows().to_vec()
}

/// a b a | out of sight | b c | nothing coded | a b b c: three chains.
fn chains() -> Made {
    let mut made = Made::new("first", 100.0);
    made.activities(&["a", "b", "c"]);
    for (id, from, to) in [
        ("a", 0.0, 10.0),
        ("b", 10.0, 20.0),
        ("a", 20.0, 30.0),
        ("b", 40.0, 50.0),
        ("c", 50.0, 60.0),
        ("a", 65.0, 70.0),
        ("b", 70.0, 80.0),
        ("b", 80.0, 85.0),
        ("c", 85.0, 100.0),
    ] {
        let _ = made.bout(id, from, to);
    }
    let _ = made.bout(HIDDEN, 30.0, 40.0);
    made
}

#[test]
fn transitions_stop_at_out_of_sight_and_at_what_was_not_coded() {
    let made = chains();
    let record = made.record();
    let next = Transitions::of(&[&record], &ACTIVITY.into(), lag(1), Repeats::Merged).unwrap();
    assert_eq!(rows(&next), [[0, 2, 0], [1, 0, 2], [0, 0, 0]]);
    let places: Vec<(f64, usize, usize)> =
        next.moments.iter().map(|own| (own.at.seconds(), own.from, own.to)).collect();
    assert_eq!(places, [(10.0, 0, 1), (20.0, 1, 0), (50.0, 1, 2), (70.0, 0, 1), (85.0, 1, 2)]);
    assert_eq!(next.chance(), Chance::QuasiIndependence);
    let after = Transitions::of(&[&record], &ACTIVITY.into(), lag(2), Repeats::Merged).unwrap();
    assert_eq!(rows(&after), [[1, 0, 1], [0, 0, 0], [0, 0, 0]], "never from one chain to the next");
    assert_eq!(after.chance(), Chance::Independence, "two states on it may be the same again");
    let kept = Transitions::of(&[&record], &ACTIVITY.into(), lag(1), Repeats::Kept).unwrap();
    assert_eq!(rows(&kept), [[0, 2, 0], [1, 1, 2], [0, 0, 0]]);
    assert_eq!(kept.counts.conditional(1, 2), Ok(0.5));
    assert_eq!(kept.counts.conditional(2, 0), Err(Undefined::NoEvents), "nothing ever followed c");
}

#[test]
fn a_state_that_runs_through_out_of_sight_is_two_chains() {
    let mut made = Made::new("first", 60.0);
    made.activities(&["a", "b"]);
    for (id, from, to) in [("a", 0.0, 35.0), ("b", 35.0, 60.0), (HIDDEN, 10.0, 20.0), (HIDDEN, 35.0, 40.0)] {
        let _ = made.bout(id, from, to);
    }
    let record = made.record();
    let found = Transitions::of(&[&record], &ACTIVITY.into(), lag(1), Repeats::Merged).unwrap();
    assert_eq!(found.counts.total(), 0, "the change itself lies at the start of out of sight");
    assert_eq!(found.cautions(), [Caution::NoExpectation(Undefined::TooFew)]);
}

#[test]
fn a_short_pause_of_one_state_is_bridged_but_not_what_was_coded_in_it() {
    let mut made = Made::new("first", 60.0);
    made.activities(&["a", "b"]);
    made.ethogram.behaviours[1].new_bout_after_s = Some(Seconds::whole(2));
    for (id, from, to) in
        [("a", 0.0, 10.0), ("a", 11.0, 20.0), ("b", 20.0, 21.0), ("a", 21.0, 30.0), ("a", 32.0, 60.0)]
    {
        let _ = made.bout(id, from, to);
    }
    let record = made.record();
    let found = Transitions::of(&[&record], &ACTIVITY.into(), lag(1), Repeats::Merged).unwrap();
    assert_eq!(rows(&found), [[0, 1], [1, 0]]);
    assert_eq!(record.bouts(made.own("a")).len(), 2, "as bouts the pieces before 30 s are one");
}

#[test]
fn sessions_are_pooled_without_a_transition_between_them() {
    let (first, mut second) = (chains(), chains());
    second.session.id = "second".into();
    second.coding.passes[0].behaviours.retain(|id| id.as_str() != "c");
    let (a, b) = (first.record(), second.record());
    let found = Transitions::of(&[&a, &b], &ACTIVITY.into(), lag(1), Repeats::Merged).unwrap();
    assert_eq!(found.counts.total(), 5, "the second can't be counted");
    assert_eq!(found.left_out, [("second".into(), Missing::PassNotDone)]);
    let both = Transitions::of(&[&a, &a], &ACTIVITY.into(), lag(1), Repeats::Merged).unwrap();
    assert_eq!(rows(&both), [[0, 4, 0], [2, 0, 4], [0, 0, 0]]);
    let none = Transitions::of(&[&b], &ACTIVITY.into(), lag(1), Repeats::Merged);
    assert_eq!(none, Err(Missing::PassNotDone));
    let unknown = Transitions::of(&[&a], &"posture".into(), lag(1), Repeats::Merged);
    assert_eq!(unknown, Err(Missing::NotInEthogram));
    let hidden = Transitions::of(&[&a], &VISIBILITY.into(), lag(1), Repeats::Merged);
    assert_eq!(hidden, Err(Missing::NotInEthogram), "out of sight is nothing the animal does");
}

#[test]
fn samples_have_no_sequence() {
    let mut made = chains();
    made.coding.rule = RecordingRule::OneZero { every_s: Seconds::whole(15) };
    let record = made.record();
    let found = Transitions::of(&[&record], &ACTIVITY.into(), lag(1), Repeats::Merged);
    assert_eq!(found, Err(Missing::NotContinuous));
    assert_eq!(lengths(&record, made.own("a"), Lengths::Gaps), Err(Missing::NotContinuous));
}

#[test]
fn the_demo_gives_the_counts_of_a_separate_reading() {
    // Counted by a script (standard Python alone) straight from the files.
    let demo = demo_records::load();
    let table = |session: &str| {
        let record = demo.primary(session);
        Transitions::of(&[&record], &ACTIVITY.into(), lag(1), Repeats::Merged).unwrap()
    };
    let third = table("s3");
    assert_eq!(
        rows(&third),
        [
            [0, 11, 1, 0, 3, 0, 0],
            [0, 0, 9, 0, 2, 1, 0],
            [1, 0, 0, 11, 1, 0, 0],
            [12, 0, 0, 0, 1, 0, 0],
            [2, 1, 3, 2, 0, 0, 0],
            [0, 0, 1, 0, 0, 0, 0],
            [0, 0, 0, 0, 0, 0, 0],
        ]
    );
    let fifth = table("s5");
    assert_eq!(fifth.counts.total(), 45, "two states split by a mark are one each");
    assert_eq!(fifth.counts.rows()[1], [0, 0, 10, 0, 1, 1, 1]);
    assert_eq!(fifth.counts.rows()[6], [0, 2, 0, 0, 0, 0, 0]);
    let fit = third.against_chance().unwrap();
    for (state, row) in fit.expected.iter().enumerate() {
        assert!((row.iter().sum::<f64>() - f64::from(third.counts.followed(state))).abs() < 1e-9);
        assert_eq!(row[state], 0.0, "nothing follows itself");
    }
    // 62 transitions of six states that were followed: 30 cells, df 30 − 11 = 19.
    assert_eq!(fit.test.unwrap().df, 19);
    assert_eq!(third.cautions()[0].to_string(), "too few: 62 transitions, 150 wanted");
}

#[test]
fn gaps_end_where_nobody_could_see() {
    let mut made = Made::new("first", 100.0);
    made.activities(&["a"]);
    made.behaviour("flick", Kind::Event, None, &[], Actor::Animal);
    made.behaviour("click", Kind::Event, None, &[Role::Marker], Actor::Handler);
    for at in [5.0, 8.0, 20.0, 60.0, 70.0] {
        let _ = made.event("flick", at);
        let _ = made.event("click", at);
    }
    let _ = made.bout("a", 0.0, 10.0);
    let _ = made.bout("a", 15.0, 50.0);
    let _ = made.bout("a", 80.0, 90.0);
    let _ = made.bout(HIDDEN, 30.0, 50.0);
    let record = made.record();
    let of = |id: &str, which| -> Vec<(f64, bool)> {
        let found = lengths(&record, made.own(id), which).unwrap();
        found.iter().map(|time| (time.length, time.ending == Ending::Reached)).collect()
    };
    assert_eq!(
        of("flick", Lengths::Gaps),
        [(3.0, true), (12.0, true), (10.0, false), (10.0, true), (30.0, false)],
        "the wait before the first in each stretch is not known"
    );
    assert_eq!(
        of("click", Lengths::Gaps),
        [(3.0, true), (12.0, true), (40.0, true), (10.0, true), (30.0, false)],
        "the handler goes on while the animal can't be seen"
    );
    assert_eq!(of("a", Lengths::Gaps), [(5.0, true), (10.0, false)]);
    assert_eq!(of("a", Lengths::Bouts), [(15.0, false), (10.0, true)], "the first had begun before");
    assert_eq!(lengths(&record, made.own("flick"), Lengths::Bouts), Err(Missing::NoDuration));
    let bouts = lengths(&record, made.own("a"), Lengths::Bouts).unwrap();
    assert_eq!(points(&bouts).unwrap().iter().map(|p| (p.at_s, p.share)).collect::<Vec<_>>(), [(10.0, 0.5)]);
    assert_eq!(criterion(&bouts), Err(Missing::TooFew));
}

#[test]
fn clusters_of_events_have_a_criterion_between_their_gaps() {
    // 30 clusters of four, gaps inside about 1 s, between them about 40 s: spread evenly, not drawn.
    let mut made = Made::new("first", 3_000.0);
    made.behaviour("flick", Kind::Event, None, &[], Actor::Animal);
    let mut at = 1.0;
    for cluster in 0..30 {
        for inside in 0..4 {
            let _ = made.event("flick", at);
            at += 0.4 + 0.02 * f64::from((cluster * 7 + inside * 11) % 60);
        }
        at += 20.0 + f64::from((cluster * 13) % 60);
    }
    assert!(made.coding.marks.iter().all(|mark| mark.from < seconds(3_000.0)));
    let record = made.record();
    let gaps = lengths(&record, made.own("flick"), Lengths::Gaps).unwrap();
    let found = criterion(&gaps).unwrap();
    assert_eq!(found.n, 119);
    // Fifty are enough, as the methods say.
    assert_eq!(criterion(&gaps[..50]).map(|own| own.n), Ok(50));
    assert_eq!(criterion(&gaps[..49]), Err(Missing::TooFew));
    assert!((2.0..15.0).contains(&found.criterion_s), "{found:?}");
    assert!((found.processes.fast.n - 90.0).abs() < 3.0 && found.misassigned < 12.0, "{found:?}");
}
