//! Agreed records: built from two, the two untouched.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng as _, SeedableRng as _};
use shedlight::agreement::align::{Marks, Pairing};
use shedlight::agreement::differences::{self, Apart};
use shedlight::agreement::resolve::{self, Agreed, Decision, Error, NewMark, Reason, Settled};
use shedlight::model::{ClipId, Coding, End, Purpose};
use shedlight::time::{FrameNumber, Micros};

use super::handmade::{Line, coding, ethogram, session};

const TOLERANCE: Micros = Micros::from_whole_seconds(1);

fn apart(first: &Coding, second: &Coding) -> Vec<Apart> {
    let (ethogram, session) = (ethogram(), session("s1"));
    let pairing = Pairing::try_new(first, second, &ethogram, &session, Marks::All).unwrap();
    differences::of(&pairing, TOLERANCE).list
}

fn settle(
    first: &Coding,
    second: &Coding,
    decide: impl Fn(&Apart) -> Option<Decision>,
) -> Result<Agreed, Error> {
    let (ethogram, session) = (ethogram(), session("s1"));
    let pairing = Pairing::try_new(first, second, &ethogram, &session, Marks::All).unwrap();
    let all = differences::of(&pairing, TOLERANCE).list;
    let settled: Vec<Settled> = all
        .iter()
        .filter_map(|apart| {
            Some(Settled { apart: apart.clone(), decision: decide(apart)?, reason: Reason::Definition })
        })
        .collect();
    resolve::agreed(&pairing, ["a.coding.json", "b.coding.json"], &"K-07".into(), &all, &settled)
}

fn lines(coding: &Coding) -> Vec<(String, i64, Option<i64>)> {
    let window = coding.window.unwrap();
    let mut all: Vec<_> = coding
        .marks
        .iter()
        .map(|own| {
            (own.behaviour.to_string(), own.from.0 / 1000, own.span(window.to).map(|span| span.to.0 / 1000))
        })
        .collect();
    all.sort();
    all
}

fn two() -> (Coding, Coding) {
    let first = coding(
        "s1",
        "A",
        100.0,
        &[
            ("rest", 0.0, Some(60.0)),
            ("move", 60.0, Some(100.0)),
            ("approach", 20.0, None),
            ("tense", 10.0, Some(20.0)),
        ],
    );
    let second = coding(
        "s1",
        "B",
        100.0,
        &[
            ("rest", 0.0, Some(70.0)),
            ("move", 70.0, Some(100.0)),
            ("retreat", 20.5, None),
            ("tense", 10.0, Some(25.0)),
        ],
    );
    (first, second)
}

#[test]
fn each_difference_as_it_was_decided() {
    let (first, second) = two();
    let untouched = (first.clone(), second.clone());
    let found = settle(&first, &second, |apart| match apart.place.name() {
        "act" => Some(Decision::Second),
        "tense" => Some(Decision::Both),
        _ => Some(Decision::New(vec![NewMark {
            behaviour: "contact".into(),
            from: Micros::from_whole_seconds(21),
            to: None,
        }])),
    })
    .unwrap();
    let own = |name: &str, from, to| (name.to_owned(), from, to);
    assert_eq!(
        lines(&found.coding),
        [
            own("contact", 21_000, None),
            own("move", 70_000, Some(100_000)),
            own("rest", 0, Some(70_000)),
            own("tense", 10_000, Some(25_000)),
        ]
    );
    assert_eq!((&first, &second), (&untouched.0, &untouched.1), "the originals stay");
    assert_eq!(found.coding.purpose, Purpose::Agreed);
    assert_eq!(found.coding.parents, ["a.coding.json", "b.coding.json"]);
    assert!(found.unsettled.is_empty() && found.coding.passes[0].done);
    // Written to a file and read again it goes on where it was left.
    let text = serde_json::to_string(&found.coding).unwrap();
    let again = resolve::settled_in(&serde_json::from_str(&text).unwrap());
    assert_eq!(again.iter().map(|own| own.apart.clone()).collect::<Vec<_>>(), apart(&first, &second));
    assert!(again.iter().all(|own| own.reason == Reason::Definition));
    let kept = found.coding.extra[resolve::DECISIONS].as_array().unwrap();
    assert_eq!(kept.len(), 3);
    assert!(kept.iter().all(|own| own["reason"] == "definition"), "{kept:?}");
    let reasons = found.coding.marks.iter().filter(|own| own.reason.as_deref() == Some("definition"));
    assert!(reasons.count() >= 2);
    let ids: Vec<u64> = found.coding.marks.iter().map(|own| own.id.0).collect();
    assert_eq!(ids, [1, 2, 3, 4]);
    assert!(!resolve::is_comparable(&found.coding));
}

#[test]
fn neither_leaves_nothing_and_what_is_open_is_told() {
    let (first, second) = two();
    let found = settle(&first, &second, |apart| (apart.place.name() != "tense").then_some(Decision::Neither))
        .unwrap();
    let own = |name: &str, from, to| (name.to_owned(), from, to);
    assert_eq!(
        lines(&found.coding),
        [
            own("move", 70_000, Some(100_000)),
            own("rest", 0, Some(60_000)),
            own("tense", 10_000, Some(20_000))
        ]
    );
    assert_eq!(found.unsettled.len(), 1);
    assert!(!found.coding.passes[0].done, "not before all is settled");
}

/// Pictures for all edges but one at the window's end: 25 a second of one clip.
fn on_pictures(mut own: Coding) -> Coding {
    let frame = |at: Micros| FrameNumber(u32::try_from(at.0 / 40_000).unwrap());
    for mark in &mut own.marks {
        (mark.clip, mark.frame) = (Some(ClipId(1)), Some(frame(mark.from)));
        if let End::At(to) = mark.to
            && to < Micros::from_whole_seconds(100)
        {
            mark.to_frame = Some(frame(to));
        }
    }
    own
}

#[test]
fn edges_that_moved_stand_on_the_pictures_of_their_own_moments() {
    let first =
        on_pictures(coding("s1", "A", 100.0, &[("rest", 0.0, Some(60.0)), ("move", 60.0, Some(100.0))]));
    let mut second = on_pictures(coding(
        "s1",
        "B",
        100.0,
        &[("approach", 70.0, None), ("rest", 0.0, Some(70.0)), ("move", 70.0, Some(100.0))],
    ));
    // The second's approach is at the same moment, but nobody knows its picture.
    (second.marks[0].clip, second.marks[0].frame) = (None, None);
    let edges = |decision: Decision| -> Vec<(String, Option<u32>, Option<u32>)> {
        let found =
            settle(&first, &second, |apart| (apart.place.name() == "act").then(|| decision.clone())).unwrap();
        let of_act = found.coding.marks.iter().filter(|own| !own.is_event());
        of_act
            .map(|own| (own.behaviour.to_string(), own.frame.map(|own| own.0), own.to_frame.map(|own| own.0)))
            .collect()
    };
    let own = |name: &str, from, to| (name.to_owned(), from, to);
    // The change is the second's, at 70 s: picture 1750.
    assert_eq!(edges(Decision::Second), [own("rest", Some(0), Some(1_750)), own("move", Some(1_750), None)]);
    // Feed from the first's change, at 60 s, to 65 s, of which neither record knows the picture.
    let feed = NewMark {
        behaviour: "feed".into(),
        from: Micros::from_whole_seconds(60),
        to: Some(Micros::from_whole_seconds(65)),
    };
    assert_eq!(
        edges(Decision::New(vec![feed])),
        [own("rest", Some(0), Some(1_500)), own("feed", Some(1_500), None), own("move", Some(1_750), None)]
    );
}

#[test]
fn two_bouts_that_a_coder_kept_apart_stay_two_where_one_of_them_is_cut() {
    // The first ended a rest at 40 s and began another at once; the second sees move from 90 s on.
    let first = coding("s1", "A", 100.0, &[("rest", 0.0, Some(40.0)), ("rest", 40.0, Some(100.0))]);
    let second = coding("s1", "B", 100.0, &[("rest", 0.0, Some(90.0)), ("move", 90.0, Some(100.0))]);
    let found = settle(&first, &second, |_| Some(Decision::Second)).unwrap();
    let own = |name: &str, from, to| (name.to_owned(), from, Some(to));
    assert_eq!(
        lines(&found.coding),
        [own("move", 90_000, 100_000), own("rest", 0, 40_000), own("rest", 40_000, 90_000)]
    );
}

#[test]
fn what_does_not_fit_is_refused() {
    let (first, second) = two();
    let of_set = |decision: Decision| {
        settle(&first, &second, move |apart| (apart.place.name() == "act").then(|| decision.clone()))
    };
    assert!(matches!(of_set(Decision::Both), Err(Error::OneAtATime { .. })));
    let new = |behaviour: &str, from, to: Option<i64>| {
        Decision::New(vec![NewMark {
            behaviour: behaviour.into(),
            from: Micros::from_whole_seconds(from),
            to: to.map(Micros::from_whole_seconds),
        }])
    };
    for bad in [
        new("tense", 60, Some(65)),
        new("feed", 50, Some(65)),
        new("feed", 60, None),
        new("feed", 60, Some(71)),
    ] {
        assert!(matches!(of_set(bad.clone()), Err(Error::DoesNotFit { .. })), "{bad:?}");
    }
    let found = of_set(new("feed", 60, Some(65))).unwrap();
    assert!(lines(&found.coding).contains(&("feed".to_owned(), 60_000, Some(65_000))));
    // A decision on something that is no difference (any more).
    let (ethogram, session) = (ethogram(), session("s1"));
    let pairing = Pairing::try_new(&first, &first, &ethogram, &session, Marks::All).unwrap();
    let stale =
        Settled { apart: apart(&first, &second).remove(0), decision: Decision::First, reason: Reason::Slip };
    let found = resolve::agreed(&pairing, ["a", "b"], &"K-07".into(), &[], &[stale]);
    assert!(matches!(found, Err(Error::NoSuchDifference { .. })));
    let agreed = Coding { purpose: Purpose::Agreed, ..first.clone() };
    assert_eq!(settle(&agreed, &second, |_| None), Err(Error::ParentIsAgreed));
}

/// Bouts that fill a set without overlap, out of sight among them, and some events.
fn random(dice: &mut ChaCha8Rng, by: &str) -> Coding {
    let mut all: Vec<Line<'static>> = Vec::new();
    for states in [["seen", "hidden", "seen"], ["rest", "move", "feed"]] {
        let mut at = 0_u32;
        while at < 100 {
            let length = 3 + u32::try_from(dice.next_u64() % 20).unwrap();
            let to = (at + length).min(100);
            let state = states[usize::try_from(dice.next_u64() % 3).unwrap()];
            if states[0] == "seen" || !dice.next_u64().is_multiple_of(4) {
                all.push((state, f64::from(at), Some(f64::from(to))));
            }
            at = to;
        }
    }
    for event in ["approach", "retreat", "marker"] {
        for _ in 0..4 {
            all.push((event, f64::from(u32::try_from(dice.next_u64() % 1000).unwrap()) / 10.0, None));
        }
    }
    coding("s1", by, 100.0, &all)
}

#[test]
fn all_for_one_is_that_one() {
    let mut dice = ChaCha8Rng::seed_from_u64(5);
    for round in 0..60 {
        let (first, second) = (random(&mut dice, "A"), random(&mut dice, "B"));
        for (decision, wanted) in [(Decision::First, &first), (Decision::Second, &second)] {
            let found = settle(&first, &second, |_| Some(decision.clone())).unwrap();
            let as_a_coding = Coding { purpose: Purpose::Primary, ..found.coding };
            let left = apart(&as_a_coding, wanted);
            assert!(left.is_empty(), "round {round}, {decision:?}: {left:?}");
        }
    }
}
