//! Two codings by samples, point by point or interval by interval.

use shedlight::agreement::align::{self, NotComparable, Pairing};
use shedlight::agreement::by_samples::{SampledAgreement, compare};
use shedlight::model::{
    Actor, Animal, Coding, EthogramRef, Kind, Mark, MarkId, Purpose, RecordingRule, Role,
};
use shedlight::storage::{StudyFolder, coding_file};
use shedlight::time::{Seconds, Span};

use crate::common::{folder, shedlight as run};
use crate::measures::made::{ACTIVITY, HIDDEN, Made, seconds};

/// Samples ten seconds apart, all of them answered.
fn sampled(made: &Made, rule: RecordingRule, marks: &[(&str, u32)]) -> Coding {
    let mut coding = made.coding.clone();
    coding.rule = rule;
    coding.marks.clear();
    for (behaviour, sample) in marks {
        let mut mark =
            Mark::event(coding.next_id(), (*behaviour).into(), seconds(f64::from(*sample - 1) * 10.0));
        mark.sample = Some(*sample);
        coding.marks.push(mark);
    }
    coding.marks.sort_by_key(|mark| (mark.from, mark.id));
    let last = shedlight::model::samples::Samples::of(rule, coding.window.unwrap()).unwrap().count();
    (1..=last).for_each(|number| coding.passes[0].answered.insert(number));
    coding
}

fn points() -> RecordingRule {
    RecordingRule::Instantaneous { every_s: Seconds::whole(10), offset_s: Seconds::whole(0) }
}

fn compared(made: &Made, first: &Coding, second: &Coding) -> Result<SampledAgreement, NotComparable> {
    let pairing = Pairing::try_new(first, second, &made.ethogram, &made.session, align::Marks::All);
    assert_eq!(pairing.err(), Some(NotComparable::Sampled), "nothing of them is compared by time");
    compare([first, second], &made.ethogram, &made.session, &made.study, align::Marks::All, 1)
}

fn is_one(kappa: Option<f64>) -> bool {
    kappa.is_some_and(|kappa| (kappa - 1.0).abs() < 1e-12)
}

/// Cohen's table of 1960 as 200 points: pairs of labels in a mixed order.
fn cohen() -> (Made, Coding, Coding) {
    let mut made = Made::new("s1", 2_000.0);
    made.activities(&["a", "b", "c"]);
    let table = [[88_u32, 14, 18], [10, 40, 10], [2, 6, 12]];
    let mut left: Vec<(usize, usize)> = Vec::new();
    for (i, row) in table.iter().enumerate() {
        for (j, n) in row.iter().enumerate() {
            left.extend((0..*n).map(|_| (i, j)));
        }
    }
    let names = ["a", "b", "c"];
    let (mut first, mut second) = (Vec::new(), Vec::new());
    for number in 0..200_u32 {
        // 67 and 200 have no common divisor: every pair comes once.
        let (i, j) = left[(number as usize * 67) % 200];
        first.push((names[i], number + 1));
        second.push((names[j], number + 1));
    }
    let (first, second) = (sampled(&made, points(), &first), sampled(&made, points(), &second));
    (made, first, second)
}

/// The example in METHODS.
pub fn example() -> String {
    let (made, first, second) = cohen();
    let found = compared(&made, &first, &second).unwrap();
    let set = found.sets.iter().find(|set| set.set == ACTIVITY).unwrap();
    let [low, high] = set.ci95.unwrap();
    format!(
        "200 points, one every {} s, with Cohen's table of 1960: kappa {:.3} [{low:.3}, {high:.3}] (blocks of six points, seed 1), observed {:.3}, by chance {:.3}\nstate a: both {}, only first {}, only second {}, kappa {:.3}\n",
        found.every_s,
        set.kappa.unwrap(),
        set.observed.unwrap(),
        set.expected.unwrap(),
        set.behaviours[0].both,
        set.behaviours[0].only_first,
        set.behaviours[0].only_second,
        set.behaviours[0].kappa.unwrap()
    )
}

#[test]
fn points_have_the_kappa_of_their_table() {
    let (made, first, second) = cohen();
    let found = compared(&made, &first, &second).unwrap();
    assert_eq!(
        (found.each, found.in_both, found.answered_by_both, found.visible_to_both),
        ("point", 200, 200, 200)
    );
    let set = found.sets.iter().find(|set| set.set == ACTIVITY).unwrap();
    assert_eq!(set.labels, ["a", "b", "c", "(none)"]);
    assert_eq!(set.table, [[88, 14, 18, 0], [10, 40, 10, 0], [2, 6, 12, 0], [0, 0, 0, 0]]);
    // Cohen 1960, Educ Psychol Meas 20:37–46, Table 1: p_o .70, p_c .41, kappa .492.
    assert!((set.observed.unwrap() - 0.70).abs() < 1e-9 && (set.expected.unwrap() - 0.41).abs() < 1e-9);
    assert!((set.kappa.unwrap() - 0.29 / 0.59).abs() < 1e-12, "{:?}", set.kappa);
    let [low, high] = set.ci95.unwrap();
    assert!(low < 0.492 && 0.492 < high && high - low < 0.35, "{low} {high}");
    // a: 88 both, 32 only first, 12 only second, of 200: p_o .78, p_c .6·.5 + .4·.5 = .5.
    let a = &set.behaviours[0];
    assert_eq!((a.both, a.only_first, a.only_second, a.n), (88, 32, 12, 200));
    assert!((a.kappa.unwrap() - 0.56).abs() < 1e-12, "{:?}", a.kappa);
    // The other way round everything is mirrored.
    let back = compared(&made, &second, &first).unwrap();
    let mirrored = back.sets.iter().find(|set| set.set == ACTIVITY).unwrap();
    assert_eq!(mirrored.kappa, set.kappa);
    assert_eq!((mirrored.behaviours[0].only_first, mirrored.behaviours[0].only_second), (12, 32));
    // Against itself a record is 1.
    let same = compared(&made, &first, &first).unwrap();
    assert!(is_one(same.sets.iter().find(|set| set.set == ACTIVITY).unwrap().kappa));
}

#[test]
fn only_points_that_both_answered_and_in_which_both_saw_the_animal_are_compared() {
    let mut made = Made::new("s1", 300.0);
    made.activities(&["a", "b"]);
    made.behaviour("near", Kind::State, None, &[], Actor::Handler);
    let all = |name: &'static str| (1..=30).map(move |number| (name, number));
    let of = |hidden: &[u32], near: &[u32]| -> Vec<(&'static str, u32)> {
        let animal = all("a").filter(|(_, n)| n % 2 == 0).chain(all("b").filter(|(_, n)| n % 2 == 1));
        let seen = animal.filter(|(_, n)| !hidden.contains(n));
        let hidden = hidden.iter().map(|n| (HIDDEN, *n));
        seen.chain(hidden).chain(near.iter().map(|n| ("near", *n))).collect()
    };
    let mut first = sampled(&made, points(), &of(&[3, 4], &[1, 2, 3, 4, 5, 6, 7]));
    let second = sampled(&made, points(), &of(&[4, 5, 6], &[1, 2, 3, 4, 5, 6, 8]));
    // The first did not get to the end.
    for number in 28..=30 {
        first.passes[0].answered.remove(number);
    }
    first.marks.retain(|mark| mark.sample.unwrap() < 28);
    let found = compared(&made, &first, &second).unwrap();
    assert_eq!((found.in_both, found.answered_by_both, found.visible_to_both), (30, 27, 23));
    let set = |id: &str| found.sets.iter().find(|set| set.set == id).unwrap();
    assert_eq!(set(ACTIVITY).n, 23, "3 to 6 are hidden from one, 28 to 30 not answered");
    assert!(is_one(set(ACTIVITY).kappa));
    // What the handler does, and sight itself, are compared also where the animal is hidden.
    assert_eq!((set("near").n, set("near").table.clone()), (27, vec![vec![6, 1], vec![1, 19]]));
    let sight = found.sets.iter().find(|set| set.labels.contains(&HIDDEN.to_owned())).unwrap();
    assert_eq!((sight.n, sight.table.clone()), (27, vec![vec![1, 1], vec![2, 23]]));
    // Hidden in fewer than five points of either: its counts stay, its kappa does not.
    assert_eq!((sight.behaviours[0].kappa, sight.behaviours[0].why.as_deref()), (None, Some("too few")));
    // A point of which a record says two states of one set says nothing.
    let mut torn = second.clone();
    let mut mark = Mark::event(MarkId(900), "b".into(), seconds(190.0));
    mark.sample = Some(20);
    torn.marks.push(mark);
    let found = compared(&made, &first, &torn).unwrap();
    assert_eq!(found.sets.iter().find(|set| set.set == ACTIVITY).unwrap().n, 22);
}

#[test]
fn intervals_are_compared_behaviour_by_behaviour() {
    let rule = RecordingRule::OneZero { every_s: Seconds::whole(10) };
    let mut made = Made::new("s1", 205.0);
    made.activities(&["a", "b"]);
    made.behaviour("tap", Kind::Event, None, &[Role::Contact], Actor::Animal);
    let list = |name: &'static str, numbers: &[u32]| numbers.iter().map(|n| (name, *n)).collect::<Vec<_>>();
    let first =
        [list("a", &[1, 2, 3, 4, 5, 6, 7, 8]), list("b", &[4, 5, 6]), list("tap", &[1, 3, 5, 7, 9, 11])]
            .concat();
    let second =
        [list("a", &[1, 2, 3, 4, 5, 6, 9]), list("b", &[4]), list("tap", &[1, 3, 5, 7, 9, 12])].concat();
    let (first, second) = (sampled(&made, rule, &first), sampled(&made, rule, &second));
    let found = compared(&made, &first, &second).unwrap();
    assert_eq!((found.each, found.in_both), ("interval", 20), "the last half interval is dropped");
    assert!(found.sets.is_empty(), "two states of a set may both be in one interval");
    let own = |id: &str| found.behaviours.iter().find(|own| own.id == id).unwrap();
    assert_eq!((own("a").both, own("a").only_first, own("a").only_second, own("a").n), (6, 2, 1, 20));
    // p_o 17/20, p_c (8·7 + 12·13)/400 = .53.
    assert!((own("a").kappa.unwrap() - 0.32 / 0.47).abs() < 1e-12, "{:?}", own("a").kappa);
    assert_eq!((own("tap").both, own("tap").only_first, own("tap").only_second), (5, 1, 1));
    assert_eq!((own("b").kappa, own("b").why.as_deref()), (None, Some("too few")));
    assert!(found.behaviours.iter().all(|own| own.id != HIDDEN));
}

#[test]
fn the_record_with_fewer_samples_of_a_behaviour_says_whether_they_are_too_few() {
    let mut made = Made::new("s1", 200.0);
    made.activities(&["a"]);
    let a = |count: u32| -> Vec<(&str, u32)> { (1..=count).map(|number| ("a", number)).collect() };
    let of = |first: u32, second: u32| {
        let rule = RecordingRule::OneZero { every_s: Seconds::whole(10) };
        let (first, second) = (sampled(&made, rule, &a(first)), sampled(&made, rule, &a(second)));
        let found = compared(&made, &first, &second).unwrap();
        found.behaviours.into_iter().find(|own| own.id == "a").unwrap()
    };
    assert!(is_one(of(5, 5).kappa), "five in each are enough");
    for own in [of(6, 4), of(4, 6)] {
        assert_eq!((own.kappa, own.why.as_deref()), (None, Some("too few")));
        // Both in 4 intervals of 20, one alone in 2.
        assert_eq!((own.both, own.only_first + own.only_second, own.observed), (4, 2, Some(0.9)));
    }
}

#[test]
fn other_samples_are_not_compared_and_shifted_windows_are() {
    let (made, first, second) = cohen();
    let mut shifted = second.clone();
    shifted.rule =
        RecordingRule::Instantaneous { every_s: Seconds::whole(10), offset_s: Seconds::from_millis(2_500) };
    let why = compared(&made, &first, &shifted).unwrap_err();
    assert!(matches!(why, NotComparable::OtherSamples(..)), "{why:?}");
    assert!(why.to_string().contains("the first at 2.500000 s"), "{why}");
    // Begun 100 s later at the same moments: what is its first point is the other's eleventh.
    let mut later = first.clone();
    later.window = Span::try_new(seconds(100.0), seconds(2_000.0));
    later.marks.retain(|mark| mark.sample.unwrap() > 10);
    for mark in &mut later.marks {
        mark.sample = mark.sample.map(|number| number - 10);
    }
    let found = compared(&made, &first, &later).unwrap();
    let set = found.sets.iter().find(|set| set.set == ACTIVITY).unwrap();
    assert_eq!((found.in_both, set.n), (190, 190));
    assert!(is_one(set.kappa));
    // One continuous, one sampled.
    let mut continuous = second;
    continuous.rule = RecordingRule::Continuous;
    continuous.marks.clear();
    let pairing = Pairing::try_new(&first, &continuous, &made.ethogram, &made.session, align::Marks::All);
    assert_eq!(pairing.unwrap_err(), NotComparable::OneSampled);
}

/// Each sample off the diagonal of Cohen's table, in order, at its own time, with what both say.
#[test]
fn samples_they_differ_in_are_listed_with_both_answers() {
    let (made, first, second) = cohen();
    let found = compared(&made, &first, &second).unwrap();
    let all = &found.differences;
    // 200 points less 88 + 40 + 12 on the diagonal.
    assert_eq!(all.len(), 60);
    assert!(all.windows(2).all(|two| two[0].sample < two[1].sample));
    for own in all {
        assert_eq!(
            (own.about.as_str(), own.at_s),
            (ACTIVITY, Seconds::whole(i64::from(own.sample - 1) * 10))
        );
        let says = |coding: &Coding| {
            let mark = coding.marks.iter().find(|mark| mark.sample == Some(own.sample)).unwrap();
            Some(mark.behaviour.to_string())
        };
        assert_eq!((own.first.clone(), own.second.clone()), (says(&first), says(&second)));
    }
    let only = |a: &str, b: &str| {
        all.iter().filter(|own| (own.first.as_deref(), own.second.as_deref()) == (Some(a), Some(b))).count()
    };
    assert_eq!((only("a", "b"), only("c", "a"), only("b", "c")), (14, 2, 10));
}

/// As a person asks for it: in words, as a table, as JSON; and nothing of it is a time.
#[test]
fn agree_compares_samples() {
    let (mut made, mut first, mut second) = cohen();
    made.study.animals.push(Animal { id: "bramble".into(), ..Animal::default() });
    let place = folder();
    let study = StudyFolder::create(&place.path().join("study"), made.study.clone()).unwrap();
    study.save_ethogram(&made.ethogram).unwrap();
    study.save_session(&made.session).unwrap();
    second.by = "K-12".into();
    second.purpose = Purpose::Second;
    for coding in [&mut first, &mut second] {
        coding.ethogram = EthogramRef::to(&made.ethogram).unwrap();
        let _ = coding_file::create(&study.session_folder(&"s1".into()), coding).unwrap();
    }
    let path = study.root().to_str().unwrap();
    let words = run(&["agree", path]);
    assert_eq!(words.code, 0, "{}{}", words.out, words.err);
    for wanted in [
        "by samples, one point every 10 s: 200 in both, 200 of them answered by both",
        "activity: kappa 0.492",
        "over 200 points",
        "only 1   32  only 2   12",
    ] {
        assert!(words.out.contains(wanted), "{wanted}: {}", words.out);
    }
    assert!(!words.out.contains("visible to both for"), "{}", words.out);
    let told: serde_json::Value = serde_json::from_str(&run(&["agree", path, "--json"]).out).unwrap();
    let pair = &told["pairs"][0];
    assert!(pair["visible_to_both_s"].is_null() && pair["sets"].as_array().unwrap().is_empty());
    assert!(told["measured"].as_array().unwrap().is_empty() && told["pooled"].as_array().unwrap().is_empty());
    let sets = pair["samples"]["sets"].as_array().unwrap();
    let set = sets.iter().find(|set| set["set"] == ACTIVITY).unwrap();
    assert_eq!((set["n"].as_i64(), set["table"][0][0].as_i64()), (Some(200), Some(88)));
    let rows = run(&["agree", path, "--csv"]).out;
    assert!(
        rows.lines().any(|line| line.contains("state, by points") && line.contains(",88,32,12,")),
        "{rows}"
    );
    // A scheme's words stand beside these kappas too.
    let words = run(&["agree", path, "--scheme", "landis-koch"]).out;
    assert!(words.contains("\"moderate\""), "{words}");
}
