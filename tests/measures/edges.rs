//! Small cases that tell a rule from its neighbour: `<` from `<=`, a sum from a difference. Each failed to be
//! noticed once when an operator was changed (`scripts/mutate`).

use shedlight::measures::presentations::{self, Outcome};
use shedlight::measures::quantity::{Quantity, value};
use shedlight::measures::sampling::Expectation;
use shedlight::measures::slips::{self, SlipKind};
use shedlight::measures::{Missing, advice, bouts, summary};
use shedlight::model::{Actor, Choice, Clip, ClipId, Kind, Role};
use shedlight::numeric::product_limit::Ending;
use shedlight::numeric::trend::{Kendall, Series};

use super::demo_records;
use super::made::{Made, seconds};

#[test]
fn what_had_begun_before_the_film_is_no_case_and_what_outlasts_it_is_a_censored_one() {
    let mut made = Made::new("first", 60.0);
    made.activities(&["a", "b"]);
    for (from, to) in [(0.0, 5.0), (10.0, 17.0), (50.0, 60.0)] {
        let _ = made.bout("a", from, to);
    }
    let tally = bouts::tally(&made.record(), made.own("a")).unwrap();
    let started: Vec<_> = tally.started.iter().map(|time| (time.length, time.ending)).collect();
    assert_eq!(started, [(7.0, Ending::Reached), (10.0, Ending::Censored)]);
    let own = summary::coding(&made.record()).figures.behaviours;
    let why = |id: &str| own.iter().find(|own| own.id == id).unwrap().why.clone();
    assert_eq!(why("a").as_deref(), Some("one complete bout has no SD"));
    assert_eq!(why("b").as_deref(), Some("none"));
    let _ = made.bout("a", 20.0, 25.0);
    let own = summary::coding(&made.record()).figures.behaviours;
    let two = own.iter().find(|own| own.id == "a").unwrap();
    assert_eq!((two.n_complete, two.why.as_deref()), (Some(2), None), "two have one");
}

#[test]
fn a_pause_lasts_from_the_end_of_a_presentation_to_the_next_cue() {
    let mut made = Made::new("first", 100.0);
    made.training();
    for (from, to) in [(10.0, 20.0), (50.0, 60.0)] {
        let _ = made.bout("cue", from, to);
    }
    for at in [12.0, 52.0] {
        let _ = made.event("contact", at);
    }
    let figures = summary::coding(&made.record()).figures;
    let first = &figures.presentations.as_ref().unwrap()[0];
    assert_eq!(figures.between.n, Some(1));
    assert_eq!(figures.between.median_s, Some(50.0 - first.end_s));
    assert_eq!(figures.between.presentations_per_min, Some(2.0 / (100.0 / 60.0)));
}

#[test]
fn a_criterion_is_a_share_and_half_is_not_poor() {
    let demo = demo_records::load();
    let met = |session: &str| summary::coding(&demo.primary(session)).figures.success.criterion_met;
    assert_eq!([met("s1"), met("s3"), met("s4"), met("s6")], [false, true, false, true].map(Some));
    // 4 of 8 twice at one step: a half is not under a half, so the rule does not step back.
    let advice = advice::after(&[demo.primary("s4"), demo.primary("s4")]);
    assert_eq!(advice.choice, Some(Choice::Stay));
}

#[test]
fn without_a_presentation_there_is_no_success_to_have_a_share() {
    let mut made = Made::new("first", 60.0);
    made.training();
    assert_eq!(value(&made.record(), &Quantity::Success), Err(Missing::None));
}

#[test]
fn film_that_is_missing_from_the_end_of_a_presentation_on_does_not_void_it() {
    let mut made = Made::new("first", 60.0);
    made.training();
    let _ = made.bout("cue", 10.0, 20.0);
    let piece = |id: u32, offset_s: f64, length_s: f64| {
        let mut clip = Clip::new(ClipId(id), &format!("{id}.mp4"));
        clip.offset = seconds(offset_s);
        clip.length = Some(seconds(length_s));
        clip
    };
    for (ends, outcome) in [(20.0, Outcome::PassiveRefusal), (19.9, Outcome::Void)] {
        made.session.clips = vec![piece(0, 0.0, ends), piece(1, 25.0, 35.0)];
        assert_eq!(presentations::of(&made.record())[0].outcome, outcome, "film until {ends} s");
    }
}

#[test]
fn what_voids_a_presentation_on_the_moment_it_is_broken_off_voids_it() {
    let mut made = Made::new("first", 60.0);
    made.training();
    made.behaviour("noise", Kind::Event, None, &[Role::Disturbance], Actor::Handler);
    made.behaviour("broken-off", Kind::Event, None, &[Role::Abort], Actor::Handler);
    let _ = made.bout("cue", 10.0, 20.0);
    let _ = made.event("broken-off", 15.0);
    assert_eq!(presentations::of(&made.record())[0].outcome, Outcome::Aborted);
    let _ = made.event("noise", 15.0);
    assert_eq!(presentations::of(&made.record())[0].outcome, Outcome::Void);
}

#[test]
fn no_sampling_is_foretold_for_lengths_that_are_none() {
    for wrong in [0.0, -1.0, f64::INFINITY, f64::NAN] {
        for place in 0..3 {
            let mut own = [10.0, 20.0, 5.0];
            own[place] = wrong;
            assert!(Expectation::of(own[0], own[1], own[2]).is_err(), "{own:?}");
        }
    }
    assert!((Expectation::of(10.0, 30.0, 5.0).unwrap().share - 0.25).abs() < 1e-12);
}

#[test]
fn food_at_the_moment_of_the_marker_belongs_to_it() {
    let mut made = Made::new("first", 60.0);
    made.activities(&["move"]);
    made.training();
    let _ = made.bout("move", 0.0, 60.0);
    for id in ["marker", "food"] {
        let _ = made.event(id, 20.0);
    }
    let asked = |made: &Made| slips::of(&made.record()).iter().map(|slip| slip.kind).collect::<Vec<_>>();
    assert_eq!(asked(&made), []);
    let _ = made.event("marker", 40.0);
    assert_eq!(slips::of(&made.record()).iter().map(|slip| slip.at).collect::<Vec<_>>(), [seconds(40.0)]);
    assert_eq!(asked(&made), [SlipKind::MarkerWithoutFood]);
}

/// Every order of a list.
fn orders(values: &[f64]) -> Vec<Vec<f64>> {
    if values.is_empty() {
        return vec![Vec::new()];
    }
    let mut all = Vec::new();
    for i in 0..values.len() {
        let mut rest = values.to_vec();
        let own = rest.remove(i);
        all.extend(orders(&rest).into_iter().map(|mut tail| {
            tail.insert(0, own);
            tail
        }));
    }
    all
}

#[test]
fn the_variance_of_s_is_that_over_every_order_also_with_ties_in_both() {
    for (x, y) in [
        ([1.0, 1.0, 2.0, 3.0, 3.0, 3.0], [1.0, 2.0, 2.0, 3.0, 3.0, 4.0]),
        ([1.0, 2.0, 3.0, 4.0, 5.0, 6.0], [1.0, 1.0, 1.0, 2.0, 3.0, 3.0]),
        ([1.0, 1.0, 1.0, 1.0, 2.0, 2.0], [5.0, 5.0, 5.0, 7.0, 7.0, 9.0]),
    ] {
        #[allow(clippy::cast_precision_loss)]
        let all: Vec<f64> = orders(&y)
            .into_iter()
            .map(|y| {
                let mut s = 0_i64;
                for i in 0..6 {
                    for j in i + 1..6 {
                        let sign = |a: f64, b: f64| i64::from(b > a) - i64::from(b < a);
                        s += sign(x[i], x[j]) * sign(y[i], y[j]);
                    }
                }
                s as f64
            })
            .collect();
        #[allow(clippy::cast_precision_loss)]
        let wanted = all.iter().map(|s| s * s).sum::<f64>() / all.len() as f64;
        let found = Kendall::of(&Series::try_new(&x, &y).unwrap()).variance;
        assert!((found - wanted).abs() < 1e-9, "{found} for {wanted}");
    }
}
