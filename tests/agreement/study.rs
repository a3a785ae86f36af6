//! A whole study: by hand where a number is asked for, the demo through the program.

use serde_json::Value;
use shedlight::agreement::align::{Marks, Pairing, Unit};
use shedlight::agreement::grras;
use shedlight::agreement::pair::{Agreement, PairAgreement, PairKind, Session, pool};
use shedlight::agreement::sessions::{Measure, measured};
use shedlight::agreement::several::several;
use shedlight::time::Micros;

use super::handmade::{coding, compare, ethogram, near, session};
use crate::common::{Ran, folder, root, shedlight};

#[test]
fn alpha_of_three_over_units() {
    // Units 1 to 4: AAA AAB BBB BBB. Disagreeing ordered pairs over (3 − 1): 4/2 = 2 of 12 ratings, D_o = 1/6;
    // 5 A and 7 B, D_e = 2 × 5 × 7/(12 × 11); alpha = 1 − 22/70.
    let of = |by: &str, change: f64| {
        coding("s1", by, 4.0, &[("rest", 0.0, Some(change)), ("move", change, Some(4.0))])
    };
    let (a, b, c) = (of("A", 2.0), of("B", 2.0), of("C", 1.0));
    let codings = [("a", &a), ("b", &b), ("c", &c)];
    let unit = Micros::from_whole_seconds(1);
    let found = several(&codings, &ethogram(), &session("s1"), Marks::All, unit).unwrap();
    let own = found.iter().find(|own| own.set == "act").unwrap();
    near(own.alpha, 1.0 - 22.0 / 70.0);
    assert_eq!((own.units, own.kappas.len()), (4, 3));
    near(own.kappas[0].kappa, 1.0);
    // Rest 2 and 1 of 4 s: p_o = .75, p_e = .5 × .25 + .5 × .75 = .5.
    near(own.kappas[1].kappa, 0.5);
}

#[test]
fn rule_31_sessions_and_not_seconds() {
    let mut pairs = Vec::new();
    let mut sessions = Vec::new();
    let (definitions, lengths) = (ethogram(), [20.0, 30.0, 45.0, 60.0, 80.0]);
    for (i, length) in lengths.into_iter().enumerate() {
        let id = format!("s{i}");
        let later = length + if i % 2 == 0 { 3.0 } else { -2.0 };
        let of = |by: &str, change: f64| {
            coding(&id, by, 100.0, &[("rest", 0.0, Some(change)), ("move", change, Some(100.0))])
        };
        let (a, b) = (of("A", length), of("B", later));
        let own = session(&id);
        let pairing = Pairing::try_new(&a, &b, &definitions, &own, Marks::All).unwrap();
        let overlays = pairing.rows().iter().filter_map(|row| pairing.overlay(row, Unit::Exact)).collect();
        sessions.push(Session { id, ethogram: "hand revision 1".to_owned(), overlays });
        pairs.push(compare(&a, &b, Unit::Exact));
    }
    let all = pool(&sessions, 7);
    let act = all.iter().find(|own| own.set == "act").unwrap();
    // Rest 235 and 240 s of 500, both 231, so neither 256: p_o = .974.
    near(act.observed, 0.974);
    assert!(act.ci95.is_some() && act.range.is_none() && act.by_session.len() == 5);
    assert_eq!(
        act,
        pool(&sessions, 7).iter().find(|own| own.set == "act").unwrap(),
        "the same seed, the same interval"
    );
    let four = pool(&sessions[..4], 7);
    let act = four.iter().find(|own| own.set == "act").unwrap();
    assert!(act.ci95.is_none() && act.range.is_some());
    // Two pairs of one session are one session.
    let twice: Vec<Session> = sessions[..4].iter().chain(&sessions[..4]).cloned().collect();
    assert_eq!(pool(&twice, 7)[0].sessions.len(), 4);

    let named: Vec<_> = pairs.iter().map(|own| ("hand revision 1", own)).collect();
    let found = measured(&named);
    let rest = found.iter().find(|own| own.behaviour == "rest" && own.measure == Measure::DurationS).unwrap();
    // Differences 3 −2 3 −2 3: mean 1, SD √7.5; limits 1 ± 1.96 × 2.738613.
    near(rest.bias, 1.0);
    near(rest.limits.map(|limits| limits[1]), 1.0 + 1.96 * 7.5_f64.sqrt());
    // Mean squares: between 4 × (mean variance): targets' means 21.5 29 46.5 59 81.5, B = 2 × 2 314.5/4;
    // people 2.5 (5/2 × 1²), error (7.5 × 4/2)/4 = 3.75. ICC(2,1) = (B − E)/(B + E + 2(J − E)/5).
    let means = [21.5, 29.0, 46.5, 59.0, 81.5];
    let mean = means.iter().sum::<f64>() / 5.0;
    let between = 2.0 * means.iter().map(|own| (own - mean).powi(2)).sum::<f64>() / 4.0;
    near(rest.icc, (between - 3.75) / (between + 3.75 + 2.0 * (2.5 - 3.75) / 5.0));
    let few = measured(&named[..4]);
    assert!(few[0].icc.is_none() && few[0].why.as_deref().unwrap().contains("no coefficient"));
}

#[test]
fn what_one_coder_alone_measured_is_a_difference_between_them() {
    let of = |by: &str, last: &'static str| {
        coding("s1", by, 100.0, &[("rest", 0.0, Some(90.0)), (last, 90.0, Some(100.0))])
    };
    let pair = compare(&of("A", "feed"), &of("B", "move"), Unit::Exact);
    let found = measured(&[("hand revision 1", &pair)]);
    let of = |behaviour: &str| -> Vec<(f64, f64)> {
        let own = found.iter().filter(|own| own.behaviour == behaviour && own.measure == Measure::DurationS);
        own.flat_map(|own| &own.pairs).map(|own| (own.first, own.second)).collect()
    };
    assert_eq!(
        (of("rest"), of("feed"), of("move")),
        (vec![(90.0, 90.0)], vec![(10.0, 0.0)], vec![(0.0, 10.0)])
    );
    assert!(of("tense").is_empty(), "nobody gave it");
}

fn run(more: &[&str]) -> Ran {
    let study = root().join("sample-codings");
    let mut all = vec!["agree", study.to_str().unwrap()];
    all.extend(more);
    shedlight(&all)
}

fn json() -> Value {
    let ran = run(&["--json"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    serde_json::from_str(&ran.out).unwrap()
}

#[test]
fn the_demo_differs_where_it_was_invented_to() {
    let found = json();
    let pair = |name: &str| -> Value {
        let all = found["pairs"].as_array().unwrap();
        all.iter().find(|own| own["session"] == name && own["kind"] == "between").unwrap().clone()
    };
    let of_activity = |pair: &Value, both: Option<[&str; 2]>| -> f64 {
        let causes = pair["differences"]["causes"].as_array().unwrap();
        let own = causes.iter().filter(|own| own["place"]["set"] == "activity");
        let own = own.filter(|own| both.is_none_or(|both| own["behaviours"] == serde_json::json!(both)));
        own.map(|own| own["seconds"].as_f64().unwrap()).sum()
    };
    // What is off the diagonal of the two tables: 570 − 526 and 420 − 332 s.
    assert!((of_activity(&pair("s3"), None) - 44.0).abs() < 1e-6);
    assert!((of_activity(&pair("s5"), None) - 88.0).abs() < 1e-6);
    // Still-alert or cover: 10 and 9 s; the longest cause but still-alert or still-relaxed, 13 and 19.
    assert!((of_activity(&pair("s5"), Some(["cover", "still-alert"])) - 19.0).abs() < 1e-6);
    assert!((of_activity(&pair("s5"), Some(["still-alert", "still-relaxed"])) - 32.0).abs() < 1e-6);
    let list = pair("s5")["differences"]["list"].as_array().unwrap().clone();
    let lengths: Vec<f64> = list.iter().map(|own| own["seconds"].as_f64().unwrap()).collect();
    assert!(lengths.windows(2).all(|two| two[0] >= two[1]), "longest first");

    let fifth = pair("s5");
    assert_eq!(fifth["presentations"]["matched"], 7);
    assert!(fifth["presentations"]["kappa"].is_null(), "seven are too few");
    let third = pair("s3");
    assert_eq!(third["presentations"]["matched"], 10);
    assert_eq!(third["presentations"]["table"], serde_json::json!([[9, 0], [0, 1]]));
    let due: Vec<&str> = found["double_coding"]
        .as_array()
        .unwrap()
        .iter()
        .map(|own| own["session"].as_str().unwrap())
        .collect();
    assert!(due.contains(&"s3") && due.contains(&"s5") && due.contains(&"s4"), "{due:?}");
    assert!(found["measured"].as_array().unwrap().iter().all(|own| own["icc"].is_null()), "two sessions");
}

#[test]
fn the_same_input_gives_the_same_bytes() {
    for more in [&["--json"][..], &["--csv"], &["--all"], &[], &["--grras"], &["--scheme", "altman"]] {
        let (one, other) = (run(more), run(more));
        assert!(one.code < 2 && one.out == other.out, "{more:?} {}", one.err);
        assert!(!one.out.contains("NaN"), "{more:?}");
    }
    let short = run(&[]);
    assert!(short.out.contains("seed 1;") && !short.out.contains("rows the first coder"), "{}", short.out);
    assert!(run(&["--all"]).out.contains("rows the first coder"));
}

#[test]
fn rows_are_one_a_pair_set_and_behaviour() {
    let ran = run(&["--csv"]);
    let mut lines = ran.out.lines();
    let columns = lines.next().unwrap().split(',').count();
    let mut seen = std::collections::BTreeSet::new();
    for line in lines {
        // No field of the demo holds a comma but reasons, which are quoted.
        let mut plain = String::new();
        for (i, part) in line.split('"').enumerate() {
            plain.push_str(&if i % 2 == 0 { part.to_owned() } else { part.replace(',', ";") });
        }
        let fields: Vec<&str> = plain.split(',').collect();
        assert_eq!(fields.len(), columns, "{line}");
        assert!(seen.insert(fields[..5].join("|")), "twice: {line}");
    }
}

#[test]
fn words_only_with_their_scheme() {
    let plain = run(&["--json"]).out;
    assert!(!plain.contains("\"word\"") && !plain.contains("\"scheme\""));
    let ran = run(&["--scheme", "landis-koch"]);
    assert!(ran.out.contains("\"almost perfect\"") && ran.out.contains("Landis & Koch 1977"), "{}", ran.out);
}

#[test]
fn fifteen_items_each_answered_or_missing() {
    let found = json();
    let items = found["grras"].as_array().unwrap();
    assert_eq!(
        items.iter().map(|own| own["number"].as_u64().unwrap()).collect::<Vec<_>>(),
        (1..=15).collect::<Vec<_>>()
    );
    assert!(items.iter().all(|own| !own["answer"].is_null() || !own["missing"].is_null()));
    // In the demo K-12 coded s3 and s5 as a second coder and K-07 coded s1 again; trials are no study of agreement.
    assert_eq!(items[0]["answer"], "agreement of two coders: 2; of one coder twice: 1");
    let ran = run(&["--grras"]);
    assert_eq!(ran.code, 1, "something is missing");
    assert!(ran.out.contains("masked to first record, date, step"), "{}", ran.out);
}

#[test]
fn a_report_does_not_say_that_agreement_was_looked_at_where_it_was_not() {
    let (own, definitions, place) = (coding("s1", "A", 100.0, &[]), ethogram(), session("s1"));
    let codings = [(&own, &place, &definitions)];
    let (study, found) = (super::handmade::study(), Agreement::default());
    let items = grras::items(&grras::Sources { study: &study, codings: &codings, found: &found });
    assert_eq!((&items[0].answer, items[0].missing.as_deref()), (&None, Some("no session was coded twice")));
    // One kind of pair is enough.
    for (kind, wanted) in [
        (PairKind::Between, "agreement of two coders: 1; of one coder twice: 0"),
        (PairKind::Within, "agreement of two coders: 0; of one coder twice: 1"),
    ] {
        let pair = PairAgreement { kind, ..compare(&own, &coding("s1", "B", 100.0, &[]), Unit::Exact) };
        let found = Agreement { pairs: vec![pair], ..Agreement::default() };
        let items = grras::items(&grras::Sources { study: &study, codings: &codings, found: &found });
        assert_eq!((items[0].answer.as_deref(), &items[0].missing), (Some(wanted), &None));
    }
}

#[test]
fn agreement_is_never_computed_on_an_agreed_record() {
    let place = folder();
    let study = place.path().join("study");
    copy(&root().join("sample-codings"), &study);
    let third = study.join("sessions/s3");
    let text = std::fs::read_to_string(third.join("K-07.1.coding.json")).unwrap();
    let mut own: Value = serde_json::from_str(&text).unwrap();
    own["purpose"] = "agreed".into();
    own["parents"] = serde_json::json!(["sessions/s3/K-07.1.coding.json", "sessions/s3/K-12.1.coding.json"]);
    std::fs::write(third.join("K-07.2.coding.json"), own.to_string()).unwrap();
    let files = ["K-07.2.coding.json", "K-12.1.coding.json"].map(|name| third.join(name));
    let ran = shedlight(&["agree".as_ref(), files[0].as_os_str(), files[1].as_os_str()]);
    assert_eq!(ran.code, 2);
    assert!(
        ran.err.contains("agreed record") && ran.err.contains("sessions/s3/K-12.1.coding.json"),
        "{}",
        ran.err
    );
    // A study that holds one is compared without it.
    let ran = shedlight(&["agree".as_ref(), study.as_os_str(), "--json".as_ref()]);
    assert!(ran.code == 0 && !ran.out.contains("s3/K-07.2"), "{}", ran.err);
}

pub(super) fn copy(from: &std::path::Path, to: &std::path::Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap() {
        let path = entry.unwrap().path();
        let target = to.join(path.file_name().unwrap());
        if path.is_dir() {
            copy(&path, &target);
        } else {
            let _ = std::fs::copy(&path, &target).unwrap();
        }
    }
}
