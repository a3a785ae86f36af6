//! One pair, every number reckoned by hand in the comment.

use serde_json::json;
use shedlight::agreement::align::Unit;
use shedlight::agreement::differences::{Apart, How};
use shedlight::agreement::pair::{EventAgreement, PairAgreement, SetAgreement};
use shedlight::model::{Clip, ClipId, Coding};
use shedlight::time::Micros;

use super::handmade::{Line, coding, compare, compare_in, compare_within, near, pair_of, session};

fn set<'a>(found: &'a PairAgreement, name: &str) -> &'a SetAgreement {
    found.sets.iter().chain(&found.states).find(|own| own.set == name).unwrap()
}

fn event<'a>(found: &'a PairAgreement, name: &str) -> &'a EventAgreement {
    found.events.iter().find(|own| own.behaviour == name).unwrap()
}

const FIRST: [Line<'static>; 2] = [("rest", 0.0, Some(60.0)), ("move", 60.0, Some(100.0))];
const SECOND: [Line<'static>; 2] = [("rest", 0.0, Some(70.0)), ("move", 70.0, Some(100.0))];

#[test]
fn a_set_and_what_stands_beside_its_kappa() {
    let found = pair_of(&FIRST, &SECOND);
    let own = set(&found, "act");
    // Seconds 60, 0 / 10, 30: p_o = .9, p_e = .6 × .7 + .4 × .3 = .54, kappa = .36/.46.
    near(own.observed, 0.9);
    near(own.expected, 0.54);
    near(own.kappa, 0.36 / 0.46);
    assert!(own.units.is_none(), "seconds have no error of counts");
    let rest = &own.behaviours[0];
    // [[60, 0], [10, 30]]: (60 − 30)/100, (0 − 10)/100, 2 × .9 − 1, 120/130, 60/70. AC1: the mean margin is
    // .65, p_e = 2 × .65 × .35 = .455, (.9 − .455)/.545.
    near(rest.extra.prevalence_index, 0.3);
    near(rest.extra.bias_index, -0.1);
    near(rest.extra.pabak, 0.8);
    near(rest.extra.specific, 120.0 / 130.0);
    near(rest.extra.specific_absence, 60.0 / 70.0);
    near(rest.extra.ac1, 0.445 / 0.545);
    near(Some(rest.difference_s), 10.0);
    assert_eq!(rest.ci95, None, "two blocks are too few for an interval of one state");
    assert_eq!(own.behaviours[2].extra.pabak, None, "feed did not occur");
    assert_eq!(own.behaviours[2].why.as_deref(), Some("did not occur"), "not: too few");
    // What one coder alone gave has no kappa, but what stands beside it: feed over the second's last 10 s of 100
    // is [[0, 0], [10, 90]].
    let more = [("rest", 0.0, Some(60.0)), ("move", 60.0, Some(90.0)), ("feed", 90.0, Some(100.0))];
    for (found, bias) in [(pair_of(&FIRST, &more), -0.1), (pair_of(&more, &FIRST), 0.1)] {
        let feed = &set(&found, "act").behaviours[2];
        assert_eq!((feed.kappa, feed.why.as_deref()), (None, Some("too few")));
        near(feed.extra.bias_index, bias);
        near(feed.extra.pabak, 2.0 * 0.9 - 1.0);
        near(feed.extra.specific, 0.0);
    }

    // In units of 1 s the same table, now counts. Fleiss, Cohen & Everitt's A + B − C over n(1 − p_e)², reckoned
    // apart from the program: .0637.
    let by_unit = compare(&coding("s1", "A", 100.0, &FIRST), &coding("s1", "B", 100.0, &SECOND), second());
    let units = set(&by_unit, "act").units.as_ref().unwrap();
    assert_eq!(units.n, 100);
    near(units.standard_error, ERROR);
}

const ERROR: f64 = 0.063_657_687_109;

fn second() -> Unit<'static> {
    Unit::Every(Micros::from_whole_seconds(1))
}

#[test]
fn a_unit_agrees_within_the_tolerance() {
    // The change at 50 s and at 51 s: strictly one unit of 100 differs, within a unit none.
    let first = [("rest", 0.0, Some(50.0)), ("move", 50.0, Some(100.0))];
    let later = [("rest", 0.0, Some(51.0)), ("move", 51.0, Some(100.0))];
    let found = pair_of(&first, &later);
    near(set(&found, "act").observed, 0.99);
    let own = set(&found, "act").tolerant.as_ref().unwrap();
    assert_eq!((own.unit_s, own.units), (Some(1.0), 1));
    near(own.kappa, 1.0);
    // 10 s late: units 60 to 69 are move and rest. Of the first's, 69 has move next to it in the second; of
    // the second's, 60 has rest before it in the first. Tables 60, 0 / 9, 31 and 61, 9 / 0, 30:
    // p_o = .91; p_e = .6 × .69 + .4 × .31 = .538, and .7 × .61 + .3 × .39 = .544.
    let found = pair_of(&FIRST, &SECOND);
    let own = set(&found, "act").tolerant.as_ref().unwrap();
    near(own.first, (0.91 - 0.538) / (1.0 - 0.538));
    near(own.second, (0.91 - 0.544) / (1.0 - 0.544));
    // A tolerance does not reach over time that is not compared: the change lies in hidden time.
    let hidden = |change: f64| {
        [
            ("seen", 0.0, Some(49.0)),
            ("hidden", 49.0, Some(51.0)),
            ("seen", 51.0, Some(100.0)),
            ("rest", 0.0, Some(change)),
            ("move", change, Some(100.0)),
        ]
    };
    let found = pair_of(&hidden(49.0), &hidden(52.0));
    let own = set(&found, "act").tolerant.as_ref().unwrap();
    // Unit 51 is move and rest; in the first nothing before it is compared, and no rest comes after it.
    assert!(own.second.unwrap() < 1.0 && own.first.unwrap() > 0.999, "{own:?}");
}

/// Rest until `change`, then move, for 100 s.
fn one_change(by: &str, change: f64) -> Coding {
    coding("s1", by, 100.0, &[("rest", 0.0, Some(change)), ("move", change, Some(100.0))])
}

#[test]
fn pictures_agree_within_the_tolerance_and_not_one_further() {
    // 100 s at 25 pictures a second, and where the last ends: 25 of them last 1 s.
    let pictures: Vec<Micros> = (0..=2_500).map(|number| Micros::from_millis(40 * number)).collect();
    let tolerance = Some(Micros::from_whole_seconds(1));
    let within = |later: u32| {
        let change = 50.0 + f64::from(later) * 0.04;
        let (first, other) = (one_change("A", 50.0), one_change("B", change));
        let found = compare_within(&first, &other, Unit::Pictures(&pictures), tolerance);
        let own = set(&found, "act");
        assert_eq!(own.units.as_ref().unwrap().n, 2_500);
        near(own.observed, 1.0 - f64::from(later) / 2_500.0);
        own.tolerant.clone().unwrap()
    };
    let exactly = within(25);
    assert_eq!((exactly.unit_s, exactly.units), (None, 25));
    near(exactly.first, 1.0);
    near(exactly.second, 1.0);
    // 26 later: of the first's, picture 1250 is move and the second's first move is 1276; of the second's, 1275
    // is rest and the first's last rest is 1249. Tables 1250, 0 / 1, 1249 and 1275, 1 / 0, 1224.
    let further = within(26);
    let kappa = |[a, b, c, d]: [f64; 4]| {
        let (n, agree) = (a + b + c + d, a + d);
        let expected = ((a + b) * (a + c) + (c + d) * (b + d)) / (n * n);
        (agree / n - expected) / (1.0 - expected)
    };
    near(further.first, kappa([1_250.0, 0.0, 1.0, 1_249.0]));
    near(further.second, kappa([1_275.0, 1.0, 0.0, 1_224.0]));
}

#[test]
fn rule_4_no_picture_lasts_over_missing_film() {
    // 25 pictures a second from 0 to 40 s and from 60 to 100 s: twice 1000 of 40 ms.
    let gap = serde_json::from_value(json!({"from": 40_000_000, "to": 60_000_000})).unwrap();
    let mut film = session("s1");
    film.clips = vec![Clip {
        length: Some(Micros::from_whole_seconds(100)),
        gaps: vec![gap],
        ..Clip::new(ClipId(1), "clips/one.mkv")
    }];
    let numbers = (0..1_000).chain(1_500..=2_500);
    let pictures: Vec<Micros> = numbers.map(|number| Micros::from_millis(40 * number)).collect();
    let of = |by: &str, change: f64, cue: f64| {
        let lines = [("rest", 0.0, Some(change)), ("move", change, Some(100.0)), ("cue", cue, Some(90.0))];
        coding("s1", by, 100.0, &lines)
    };
    let (first, other) = (of("A", 20.0, 80.0), of("B", 22.0, 81.0));
    let tolerance = Some(Micros::from_whole_seconds(1));
    let found = compare_in(&film, &first, &other, Unit::Pictures(&pictures), tolerance);
    // As exactly as by time: 80 s, 2 s of which differ.
    let act = set(&found, "act");
    near(Some(act.compared_s), 80.0);
    near(act.observed, 78.0 / 80.0);
    assert_eq!(act.units.as_ref().unwrap().n, 2_000);
    // 1 s is 25 pictures, also for what the handler does, which is compared over the gap.
    assert_eq!(act.tolerant.as_ref().unwrap().units, 25);
    let cue = set(&found, "cue");
    near(Some(cue.compared_s), 100.0);
    assert_eq!(cue.tolerant.as_ref().unwrap().units, 25);
    near(cue.tolerant.as_ref().unwrap().kappa, 1.0);
}

#[test]
fn rule_27_no_state_is_a_label_but_where_none_is_missing() {
    let labels = |found: &PairAgreement, name: &str| set(found, name).labels.join(" ");
    // Activity need not be coded without gaps: nothing is one of its labels also where both fill all the time.
    assert_eq!(labels(&pair_of(&FIRST, &SECOND), "act"), "rest move feed (none)");
    // Sight must be: where both fill it, nothing is no label.
    let seen = [("seen", 0.0, Some(100.0))];
    let filled = pair_of(&seen, &[("seen", 0.0, Some(90.0)), ("hidden", 90.0, Some(100.0))]);
    assert_eq!(labels(&filled, "sight"), "seen hidden");
    assert_eq!(set(&filled, "sight").table_s, [[90.0, 10.0], [0.0, 0.0]]);
    // Where one leaves a gap, it is.
    let gap = pair_of(&seen, &[("seen", 0.0, Some(90.0))]);
    assert_eq!(labels(&gap, "sight"), "seen hidden (none)");
    assert_eq!(set(&gap, "sight").table_s, [[90.0, 0.0, 10.0], [0.0; 3], [0.0; 3]]);
}

#[test]
fn rule_28_a_last_partial_unit_is_dropped() {
    // 100.4 s: a hundred units of 1 s, and what is left of it, in which they differ, is none.
    let of = |by: &str, last: &'static str| {
        let lines = [("rest", 0.0, Some(60.0)), ("move", 60.0, Some(100.0)), (last, 100.0, Some(100.4))];
        coding("s1", by, 100.4, &lines)
    };
    let found = compare(&of("A", "move"), &of("B", "feed"), second());
    let own = set(&found, "act");
    assert_eq!(own.units.as_ref().unwrap().n, 100);
    near(Some(own.compared_s), 100.0);
    near(own.observed, 1.0);
    // A window that the unit divides keeps its last one.
    let of = |by: &str| coding("s1", by, 100.0, &FIRST);
    assert_eq!(set(&compare(&of("A"), &of("B"), second()), "act").units.as_ref().unwrap().n, 100);
}

#[test]
fn a_state_has_an_interval_where_each_record_holds_it_in_five_blocks() {
    // Five minutes, five blocks. Rest for 12 s of each minute, in the second record 2 s later, for as many minutes
    // as are asked for; else move.
    let of = |by: &str, minutes: u32, later: f64| {
        let mut lines: Vec<Line<'_>> = Vec::new();
        let mut last = 0.0;
        for from in (0..minutes).map(|minute| 60.0 * f64::from(minute) + 10.0 + later) {
            lines.extend([("move", last, Some(from)), ("rest", from, Some(from + 12.0))]);
            last = from + 12.0;
        }
        lines.push(("move", last, Some(300.0)));
        coding("s1", by, 300.0, &lines)
    };
    let rest = |first: u32, second: u32| {
        let found = compare(&of("A", first, 0.0), &of("B", second, 2.0), Unit::Exact);
        set(&found, "act").behaviours[0].clone()
    };
    let five = rest(5, 5);
    // Each block holds 10 s of rest in both, 2 and 2 in one and 46 in neither, and so does every draw of them:
    // p_o = 56/60, p_e = .2² + .8² = .68, kappa = (56/60 − .68)/.32, and both its limits.
    let kappa = (56.0 / 60.0 - 0.68) / 0.32;
    near(five.kappa, kappa);
    let [low, high] = five.ci95.unwrap();
    near(Some(low), kappa);
    near(Some(high), kappa);
    for (first, second) in [(5, 4), (4, 5)] {
        let own = rest(first, second);
        assert!(own.kappa.is_some() && own.ci95.is_none(), "four blocks of one record are too few");
    }
}

#[test]
fn exact_kappa_is_the_limit_of_the_one_by_units() {
    let first: [Line<'_>; 3] =
        [("rest", 0.0, Some(31.4159)), ("feed", 31.4159, Some(57.7216)), ("move", 60.0, Some(100.0))];
    let other: [Line<'_>; 3] =
        [("rest", 0.0, Some(33.1662)), ("feed", 33.1662, Some(54.1421)), ("move", 61.8034, Some(97.3205))];
    let kappa = |unit: Unit<'_>| {
        let found = compare(&coding("s1", "A", 100.0, &first), &coding("s1", "B", 100.0, &other), unit);
        set(&found, "act").kappa.unwrap()
    };
    let exact = kappa(Unit::Exact);
    let mut last = f64::INFINITY;
    for (unit_ms, bound) in [(5_000, 0.1), (100, 2e-3), (1, 5e-5)] {
        let off = (kappa(Unit::Every(Micros::from_millis(unit_ms))) - exact).abs();
        assert!(off < bound && off <= last, "{unit_ms} ms: {off}");
        last = off;
    }
}

const EVENTS: [Line<'static>; 6] = [
    ("approach", 10.0, None),
    ("approach", 20.0, None),
    ("approach", 30.0, None),
    ("approach", 40.0, None),
    ("approach", 50.0, None),
    ("retreat", 60.0, None),
];
const OTHER: [Line<'static>; 6] = [
    ("approach", 10.5, None),
    ("approach", 20.5, None),
    ("approach", 30.0, None),
    ("retreat", 40.8, None),
    ("approach", 50.0, None),
    ("retreat", 60.0, None),
];

#[test]
fn rule_30_events_with_what_only_one_has() {
    let found = pair_of(&EVENTS, &OTHER);
    let own = event(&found, "approach");
    assert_eq!((own.matched, own.only_first, own.only_second), (Some(4), Some(1), Some(0)));
    // Later by .5 .5 0 0: median and mean .25, quartiles (type 7) 0 and .5.
    near(own.onset_difference_s.median, 0.25);
    near(own.onset_difference_s.bias, 0.25);
    near(own.onset_difference_s.q1, 0.0);
    near(own.onset_difference_s.q3, 0.5);
    assert_eq!(own.offset_difference_s.n, 0, "an event has no end");
    // Within .25 s two of them: 2/(2 + 3 + 2). From .5 s on four: 4/5.
    let shares: Vec<f64> = own.sweep.iter().map(|at| at.agreement.unwrap()).collect();
    near(Some(shares[0]), 2.0 / 7.0);
    assert!(shares[1..].iter().all(|share| (share - 0.8).abs() < 1e-12), "{shares:?}");
    assert_eq!(
        own.sweep.iter().map(|at| at.tolerance_s).collect::<Vec<_>>(),
        [0.25, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0]
    );
    assert!(!own.tolerance_is_wide, "10 s apart");

    // Approach at 40 and retreat at 40.8 pair, being what is left: Cohen's kappa of 4, 1 / 0, 1:
    // p_o = 5/6, p_e = (5 × 4 + 1 × 2)/36, kappa = 8/14.
    let table = found.event_tables.iter().find(|own| own.what == "events of the animal").unwrap();
    assert_eq!(table.table[0][..2], [Some(4.0), Some(1.0)]);
    near(table.kappa, 8.0 / 14.0);
    let last = table.labels.len() - 1;
    assert_eq!(table.table[last][last], None, "nobody counts what both overlooked");

    // One approach more in the second, one retreat more in the first: R = C = 1, S = 6, n = 8, x = 1/6.
    // Margins 5 and 2, 5 and 2: p_e = (25 + 4)/(8 + 1/6)/8, p_o = 5/8.
    let more = |lines: &[Line<'static>], own| [lines, &[own]].concat();
    let found = pair_of(&more(&EVENTS, ("retreat", 90.0, None)), &more(&OTHER, ("approach", 80.0, None)));
    let table = found.event_tables.iter().find(|own| own.what == "events of the animal").unwrap();
    // Contact did not occur. Only the corner is empty: what one record alone has is counted.
    let counts = [[4.0, 1.0, 0.0, 0.0], [0.0, 1.0, 0.0, 1.0], [0.0; 4], [1.0, 0.0, 0.0, f64::NAN]];
    let wanted = counts.map(|row| row.map(|n| (!n.is_nan()).then_some(n)));
    assert_eq!((table.labels.len(), &table.table[..]), (4, &wanted.map(Vec::from)[..]));
    let expected = 29.0 / (8.0 + 1.0 / 6.0) / 8.0;
    near(table.expected, expected);
    near(table.kappa, (0.625 - expected) / (1.0 - expected));
    near(table.share_paired, 0.75);
    // Four events are too few for a kappa; their counts stay.
    let found = pair_of(&EVENTS[..4], &OTHER[..4]);
    let table = found.event_tables.iter().find(|own| own.what == "events of the animal").unwrap();
    assert!(table.kappa.is_none() && table.why.as_deref() == Some("too few"));
    assert_eq!(table.table[0][0], Some(3.0));
}

#[test]
fn rule_31_the_record_with_fewer_events_says_whether_they_are_few() {
    let few =
        |first: usize, second: usize| event(&pair_of(&EVENTS[..first], &EVENTS[..second]), "approach").few;
    // The first five of EVENTS are approaches.
    assert!(!few(5, 5));
    assert!(few(5, 4) && few(4, 5), "one record alone with fewer than five is enough");
}

#[test]
fn a_tolerance_of_nothing_is_exact() {
    let of = |by, states: &[Line<'static>], events: &[Line<'static>]| {
        coding("s1", by, 100.0, &[states, events].concat())
    };
    let (first, other) = (of("A", &FIRST, &EVENTS), of("B", &SECOND, &OTHER));
    let found = compare_within(&first, &other, second(), Some(Micros::ZERO));
    // Approaches at 30 and 50 alone are at one moment, and the retreat at 60.
    let own = event(&found, "approach");
    assert_eq!((own.matched, own.only_first, own.only_second), (Some(2), Some(3), Some(2)));
    assert_eq!(event(&found, "retreat").matched, Some(1));
    near(event(&found, "approach").onset_difference_s.q3, 0.0);
    let act = set(&found, "act");
    near(act.tolerant.as_ref().unwrap().kappa, act.kappa.unwrap());
    assert!(found.differences.list.iter().all(|own| own.kind != How::Timing));
}

#[test]
fn ends_of_bouts_where_both_were_seen() {
    // Begun .5 s and ended 1 s later; the second bout runs into hidden time in one record: no end there.
    let first = [("rest", 10.0, Some(20.0)), ("rest", 30.0, Some(40.0)), ("seen", 0.0, Some(100.0))];
    let other = [
        ("rest", 10.5, Some(21.0)),
        ("rest", 30.0, Some(40.0)),
        ("seen", 0.0, Some(40.0)),
        ("hidden", 40.0, Some(50.0)),
        ("seen", 50.0, Some(100.0)),
    ];
    let found = pair_of(&first, &other);
    let own = event(&found, "rest");
    assert_eq!((own.onset_difference_s.n, own.offset_difference_s.n), (2, 1));
    near(own.onset_difference_s.median, 0.25);
    near(own.offset_difference_s.median, 1.0);
}

#[test]
fn levels_of_concern_are_weighted() {
    // First: watch to 40, stop to 60. Second: watch to 50, stop to 60. Seconds: none 40, watch 40, stop and
    // watch 10, stop 10. Linear weights 1 and .5: p_o = .9 + .05; margins .4 .4 .2 and .4 .5 .1, p_e =
    // .38 + .5 × .5 = .63.
    let first = [("tense", 0.0, Some(40.0)), ("puff", 40.0, Some(60.0))];
    let other = [("tense", 0.0, Some(50.0)), ("puff", 50.0, Some(60.0))];
    let own = pair_of(&first, &other).concern.unwrap();
    assert_eq!(own.table_s, [[40.0, 0.0, 0.0], [0.0, 40.0, 0.0], [0.0, 10.0, 10.0]]);
    near(own.exact, 0.9);
    near(own.observed, 0.95);
    near(own.kappa, 0.32 / 0.37);
    near(own.stop_in_both, 0.5);
    assert_eq!(
        (own.stops_matched, own.stops_only_first_s, own.stops_only_second_s),
        (Some(0), vec![40.0], vec![50.0])
    );
    let calm = pair_of(&FIRST, &SECOND).concern.unwrap();
    assert!(calm.kappa.is_none() && calm.why.as_deref() == Some("did not occur"));
}

#[test]
fn presentations_by_their_cues() {
    let cues =
        |last: f64| [("cue", 10.0, Some(20.0)), ("cue", 30.0, Some(40.0)), ("cue", last, Some(last + 10.0))];
    let first = [cues(50.0).as_slice(), &[("contact", 12.0, None)]].concat();
    let other = [cues(70.0).as_slice(), &[("contact", 12.4, None), ("contact", 35.0, None)]].concat();
    let own = pair_of(&first, &other).presentations.unwrap();
    assert_eq!((own.matched, own.only_first_s, own.only_second_s), (2, vec![50.0], vec![70.0]));
    // One success for both; the one at 30 s a refusal and a success.
    assert_eq!(own.table, [[1, 0], [1, 0]]);
    near(own.observed, 0.5);
    assert!(own.kappa.is_none() && own.why.as_deref() == Some("too few"));
    assert_eq!(own.different.len(), 1);
    let contact = own.latencies.iter().find(|own| own.to == "contact").unwrap();
    assert_eq!(contact.reached, [[1, 0], [1, 0]]);
    near(contact.difference_s.median, 0.4);
    near(contact.within, 1.0);
    assert_eq!(contact.pairs_s, [[2.0, 2.4]]);
}

#[test]
fn rule_18_presentations_with_the_animal_already_on_its_way_are_left_out_and_counted() {
    let cues = [("cue", 10.0, Some(20.0)), ("cue", 30.0, Some(40.0)), ("cue", 50.0, Some(60.0))];
    // Approaches within 3 s before the cue, without a retreat: at 10 s in the first record, at 50 s in the second.
    // Only the cue at 30 s can be compared.
    let first = [cues.as_slice(), &[("approach", 9.0, None), ("approach", 32.0, None)]].concat();
    let other = [cues.as_slice(), &[("approach", 32.5, None), ("approach", 49.0, None)]].concat();
    let own = pair_of(&first, &other).presentations.unwrap();
    let approach = own.latencies.iter().find(|own| own.to == "approach").unwrap();
    assert_eq!((own.matched, approach.left_out), (3, 2));
    assert_eq!((&approach.pairs_s[..], approach.reached), (&[[2.0, 2.5]][..], [[1, 0], [0, 0]]));
    let contact = own.latencies.iter().find(|own| own.to == "contact").unwrap();
    assert_eq!((contact.left_out, contact.reached), (0, [[0, 0], [0, 3]]), "nobody reached it");
}

#[test]
fn differences_longest_first_and_by_cause() {
    let other = [
        ("rest", 0.0, Some(60.8)),
        ("move", 60.8, Some(80.0)),
        ("feed", 80.0, Some(85.0)),
        ("move", 85.0, Some(90.0)),
        ("approach", 20.0, None),
    ];
    let first = [FIRST.as_slice(), &[("approach", 20.3, None), ("retreat", 30.0, None)]].concat();
    let found = pair_of(&first, &other).differences;
    let short: Vec<_> = found
        .list
        .iter()
        .map(|own| {
            (
                own.kind,
                own.seconds.micros().0 / 100_000,
                own.first_mark.map(|id| id.0),
                own.second_mark.map(|id| id.0),
            )
        })
        .collect();
    assert_eq!(
        short,
        [
            (How::OnlyFirst, 100, Some(2), None),
            (How::DifferentBehaviour, 50, Some(2), Some(3)),
            (How::Timing, 8, Some(2), Some(1)),
            (How::Timing, 3, Some(3), Some(5)),
            (How::OnlyFirst, 0, Some(4), None),
        ]
    );
    let causes: Vec<_> = found
        .causes
        .iter()
        .map(|own| (own.behaviours.each_ref().map(String::as_str), own.n, own.is_timing))
        .collect();
    assert_eq!(
        causes,
        [
            (["move", "(none)"], 1, false),
            (["feed", "move"], 1, false),
            (["move", "rest"], 1, true),
            (["approach", "approach"], 1, true),
            (["retreat", "(none)"], 1, false),
        ]
    );
    // Each difference is one of exactly one cause, and those of a cause are as many as it says.
    let by_cause = found.by_cause();
    assert!(by_cause.iter().all(|(cause, own)| cause.n == own.len()));
    let mut listed: Vec<_> = by_cause.iter().flat_map(|(_, own)| own.iter().copied()).collect();
    let place = |own: &&Apart| found.list.iter().position(|other| other == *own);
    listed.sort_by_key(place);
    assert_eq!(listed, found.list.iter().collect::<Vec<_>>());
    let words: Vec<String> = found.causes.iter().map(|own| own.words(&str::to_uppercase)).collect();
    assert_eq!(
        words,
        ["MOVE or nothing", "FEED or MOVE", "When: MOVE or REST", "When: APPROACH", "RETREAT or nothing"]
    );
    // The first has move, the second of the two as listed.
    assert_eq!((found.causes[1].n_as_listed, found.causes[0].n_as_listed), (0, 1));
}

#[test]
fn swapped_coders_swap_and_change_nothing_else() {
    let (a, b) = (
        [FIRST.as_slice(), &EVENTS, &[("tense", 0.0, Some(30.0)), ("cue", 5.0, Some(15.0))]].concat(),
        [SECOND.as_slice(), &OTHER, &[("tense", 0.0, Some(25.0)), ("cue", 5.0, Some(16.0))]].concat(),
    );
    let (one, other) = (pair_of(&a, &b), pair_of(&b, &a));
    for (x, y) in one.sets.iter().chain(&one.states).zip(other.sets.iter().chain(&other.states)) {
        assert_eq!((x.kappa.is_some(), &x.why), (y.kappa.is_some(), &y.why));
        if let (Some(x), Some(y)) = (x.kappa, y.kappa) {
            near(Some(x), y);
        }
    }
    for (x, y) in one.events.iter().zip(&other.events) {
        assert_eq!((x.matched, x.only_first, x.only_second), (y.matched, y.only_second, y.only_first));
        if let (Some(x), Some(y)) = (x.onset_difference_s.bias, y.onset_difference_s.bias) {
            near(Some(x), -y);
        }
    }
    for (x, y) in one.event_tables.iter().zip(&other.event_tables) {
        assert_eq!(x.kappa.is_some(), y.kappa.is_some());
        if let (Some(x), Some(y)) = (x.kappa, y.kappa) {
            near(Some(x), y);
        }
    }
    near(one.concern.unwrap().kappa, other.concern.unwrap().kappa.unwrap());
    let turned = |kind: How| match kind {
        How::OnlyFirst => How::OnlySecond,
        How::OnlySecond => How::OnlyFirst,
        same => same,
    };
    assert_eq!(one.differences.list.len(), other.differences.list.len());
    for x in &one.differences.list {
        let back = |y: &&shedlight::agreement::differences::Apart| {
            y.kind == turned(x.kind) && y.span == x.span && (&y.first, &y.second) == (&x.second, &x.first)
        };
        assert!(other.differences.list.iter().any(|y| back(&y)), "{x:?}");
    }
}

#[test]
fn a_coder_against_themselves_has_no_difference() {
    let lines = [FIRST.as_slice(), &EVENTS, &[("cue", 5.0, Some(15.0))]].concat();
    let found = pair_of(&lines, &lines);
    assert!(found.differences.list.is_empty() && found.differences.causes.is_empty());
    for own in found.sets.iter().chain(&found.states) {
        assert!(own.kappa.is_none_or(|kappa| (kappa - 1.0).abs() < 1e-12), "{}", own.set);
        assert!(own.kappa.is_some() || own.why.is_some());
    }
    assert!(found.events.iter().all(|own| own.agreement.is_none_or(|share| share >= 1.0)));
}
