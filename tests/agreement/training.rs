//! Training and drift, on codings short enough to be reckoned by hand. The criterion's numbers are ours
//! (no published kappa is acceptable everywhere); what is held here is the rule around them.

use shedlight::agreement::training::{
    Against, Criterion, How, Part, State, Training, Verdict, Work, check, of_study,
};
use shedlight::model::{Coding, Purpose, Session, Status, Study};

use super::handmade::{coding, compare, ethogram, near, session};
use crate::common::{folder, root, shedlight};

/// `rest` until `change`, then `move`, 100 s, closed on a day.
fn run(session: &str, by: &str, purpose: Purpose, change: f64, day: u32) -> Coding {
    let mut own = coding(session, by, 100.0, &[("rest", 0.0, Some(change)), ("move", change, Some(100.0))]);
    own.purpose = purpose;
    own.status = Status::Closed;
    own.closed = Some(format!("2026-01-{day:02}T12:00:00+00:00").parse().unwrap());
    own
}

/// Codings, each with its file, and which of them are references.
fn study_of(codings: &[(&str, Coding)], references: &[&str]) -> Training {
    let (definitions, mut study) = (ethogram(), Study::new("By hand"));
    study.reference_codings = references.iter().map(|file| (*file).to_owned()).collect();
    let sessions: Vec<Session> = codings.iter().map(|(_, own)| session(own.session.as_str())).collect();
    let work: Vec<Work<'_>> = codings
        .iter()
        .zip(&sessions)
        .map(|((file, coding), session)| Work { file, coding, session, ethogram: &definitions })
        .collect();
    of_study(&study, &work, How::default(), Criterion::default())
}

/// Two clips with references by R, and runs of N: (session, change, day).
fn runs(of: &[(&str, f64, u32)], more: &[(&'static str, Coding)]) -> Training {
    let mut all = vec![
        ("r1", run("s1", "R", Purpose::Primary, 50.0, 1)),
        ("r2", run("s2", "R", Purpose::Primary, 50.0, 1)),
        ("r3", run("s3", "R", Purpose::Primary, 50.0, 1)),
    ];
    let names = ["n1", "n2", "n3", "n4", "n5"];
    for (name, (session, change, day)) in names.iter().zip(of) {
        all.push((name, run(session, "N", Purpose::Training, *change, *day)));
    }
    all.extend(more.iter().cloned());
    study_of(&all, &["r1", "r2", "r3"])
}

#[test]
fn the_criterion_is_reached_exactly_at_its_numbers() {
    // Rest 50 s and 60 s of 100, both 50: p_o = .9, p_e = .5 × .6 + .5 × .4 = .5, kappa .8: exactly enough.
    let pair = compare(
        &run("s1", "R", Purpose::Primary, 50.0, 1),
        &run("s1", "N", Purpose::Training, 60.0, 2),
        shedlight::agreement::align::Unit::Exact,
    );
    let found = check(&pair, &Criterion { set_kappa: 0.8 - 1e-12, ..Criterion::default() });
    assert_eq!(found.verdict, Verdict::Met, "{:?}", found.judged);
    let set = found.judged.iter().find(|own| own.part == Part::Set).unwrap();
    near(Some(set.value), 0.8);
    // One number below is enough to miss, whatever the others are.
    let strict = Criterion { behaviour_kappa: 0.9, set_kappa: 0.1, ..Criterion::default() };
    let found = check(&pair, &strict);
    assert_eq!(found.verdict, Verdict::Missed);
    let below: Vec<&str> =
        found.judged.iter().filter(|own| !own.is_met()).map(|own| own.id.as_str()).collect();
    assert_eq!(below, ["rest", "move"]);
}

#[test]
fn events_are_judged_together_and_not_when_they_are_few() {
    let of = |by: &str, at: &[f64]| {
        let mut lines: Vec<(&str, f64, Option<f64>)> =
            vec![("rest", 0.0, Some(50.0)), ("move", 50.0, Some(100.0))];
        lines.extend(at.iter().map(|at| ("approach", *at, None)));
        coding("s1", by, 100.0, &lines)
    };
    let exact = shedlight::agreement::align::Unit::Exact;
    let judged = |first: &[f64], second: &[f64]| {
        let found = check(&compare(&of("R", first), &of("N", second), exact), &Criterion::default());
        let events = found.judged.iter().find(|own| own.part == Part::Events).map(|own| own.value);
        (events, found.not_judged, found.verdict)
    };
    // 6 and 5 events, 5 in pairs: 5/6.
    let six = [5.0, 15.0, 25.0, 35.0, 45.0, 55.0];
    let (value, without, verdict) = judged(&six, &six[..5]);
    near(value, 5.0 / 6.0);
    assert_eq!((without, verdict), (0, Verdict::Met));
    // 4 in one record: not judged, and said so.
    assert_eq!(judged(&six, &six[..4]), (None, 1, Verdict::Met));
    // Four in pairs and one on either side: 5 and 5 is enough, 4/6 is not.
    let (value, _, verdict) = judged(&six[..5], &[5.0, 15.0, 25.0, 35.0, 95.0]);
    near(value, 4.0 / 6.0);
    assert_eq!(verdict, Verdict::Missed);
    // No events at all are no lack.
    assert_eq!(judged(&[], &[]), (None, 0, Verdict::Met));
}

#[test]
fn nothing_judged_is_neither_passed_nor_failed() {
    let one = |by: &str| coding("s1", by, 100.0, &[("rest", 0.0, Some(100.0))]);
    let found = check(
        &compare(&one("R"), &one("N"), shedlight::agreement::align::Unit::Exact),
        &Criterion::default(),
    );
    assert_eq!((found.verdict, found.judged.len()), (Verdict::NotJudged, 0));
    assert!(found.not_judged > 0);
}

#[test]
fn rule_13_what_a_coder_did_not_finish_is_counted_and_nothing_is_passed() {
    let reference = run("s1", "R", Purpose::Primary, 50.0, 1);
    let without = |left: &[&str]| {
        let mut own = run("s1", "N", Purpose::Training, 51.0, 2);
        let mut undone = own.passes[0].clone();
        undone.done = false;
        undone.behaviours.retain(|id| left.contains(&id.as_str()));
        own.passes[0].behaviours.retain(|id| !left.contains(&id.as_str()));
        own.passes.push(undone);
        let exact = shedlight::agreement::align::Unit::Exact;
        check(&compare(&reference, &own, exact), &Criterion::default())
    };
    // Rest and move 1 s apart of 100: far above the criterion.
    let all = without(&[]);
    assert_eq!((all.not_judged, all.verdict), (0, Verdict::Met));
    // The same numbers, but approaches are not coded to the end, or neither approaches nor retreats.
    let one = without(&["approach"]);
    assert_eq!((&one.judged, one.not_judged, one.verdict), (&all.judged, 1, Verdict::NotJudged));
    assert_eq!(without(&["approach", "retreat"]).not_judged, 2);
    // Of a set not coded to the end nothing has a number.
    let set = without(&["rest", "move", "feed"]);
    assert_eq!((set.judged.len(), set.not_judged, set.verdict), (0, 1, Verdict::NotJudged));
}

#[test]
fn two_different_clips_running() {
    let state = |of: &[(&str, f64, u32)]| {
        let found = runs(of, &[]);
        (found.coders[0].state, found.coders[0].running)
    };
    assert_eq!(state(&[("s1", 51.0, 2)]), (State::InTraining, 1));
    assert_eq!(state(&[("s1", 51.0, 2), ("s2", 52.0, 3)]), (State::Trained, 2));
    // The same clip twice is one clip.
    assert_eq!(state(&[("s1", 51.0, 2), ("s1", 52.0, 3)]), (State::InTraining, 1));
    // A miss between them begins anew; order is that of the days, not of the list.
    assert_eq!(state(&[("s1", 51.0, 2), ("s2", 51.0, 4), ("s3", 80.0, 3)]), (State::InTraining, 1));
    assert_eq!(state(&[("s1", 51.0, 2), ("s2", 51.0, 3), ("s3", 80.0, 4)]), (State::OutOfCriterion, 0));
    // Who dropped out reaches the whole criterion again.
    let dropped = [("s1", 51.0, 2), ("s2", 51.0, 3), ("s3", 80.0, 4), ("s1", 51.0, 5)];
    assert_eq!(state(&dropped), (State::OutOfCriterion, 1));
    let again = [("s1", 51.0, 2), ("s2", 51.0, 3), ("s3", 80.0, 4), ("s1", 51.0, 5), ("s2", 51.0, 6)];
    assert_eq!(state(&again), (State::Trained, 2));
}

#[test]
fn what_was_coded_since_the_last_good_check_is_named() {
    let work = |file, session, day| (file, run(session, "N", Purpose::Primary, 50.0, day));
    // What another coder made, and what does not stand as a record, is not to be made again.
    let more = [
        work("before", "s7", 3),
        work("between", "s8", 5),
        ("of another", run("s8", "M", Purpose::Second, 50.0, 5)),
        ("once more", run("s8", "N", Purpose::Repeat, 50.0, 5)),
        work("after", "s9", 9),
    ];
    // Good on days 2 and 4, dropped on 6, one good on 8: relied on until day 4.
    let found = runs(&[("s1", 51.0, 2), ("s2", 51.0, 4), ("s3", 80.0, 6), ("s1", 51.0, 8)], &more);
    assert_eq!(found.coders[0].to_recode, ["between", "after"]);
    assert_eq!(found.coders.len(), 1, "R made the references and is not checked: {:?}", found.coders);
    // Trained again on days 8 and 9: what lies between is still to be coded once more.
    let again =
        runs(&[("s1", 51.0, 2), ("s2", 51.0, 4), ("s3", 80.0, 6), ("s1", 51.0, 8), ("s2", 51.0, 9)], &more);
    assert_eq!(again.coders[0].to_recode, ["between"]);
    let trained = runs(&[("s1", 51.0, 2), ("s2", 51.0, 4)], &more);
    assert!(trained.coders[0].to_recode.is_empty());
}

#[test]
fn a_check_is_due_after_thirty_days_of_coding() {
    let due = |day: &str| {
        let mut later = run("s9", "N", Purpose::Primary, 50.0, 1);
        later.closed = Some(day.parse().unwrap());
        let own = runs(&[("s1", 51.0, 2)], &[("later", later)]).coders.remove(0);
        (own.days_since_check, own.is_due)
    };
    assert_eq!(due("2026-02-01T12:00:00+00:00"), (Some(30), false));
    assert_eq!(due("2026-02-02T12:00:00+00:00"), (Some(31), true));
    // Days of the coder's own work: what others code later makes no check due.
    let mut of_another = run("s9", "M", Purpose::Primary, 50.0, 1);
    of_another.closed = Some("2026-06-01T12:00:00+00:00".parse().unwrap());
    let mine = ("mine", run("s8", "N", Purpose::Primary, 50.0, 5));
    let own = runs(&[("s1", 51.0, 2)], &[mine, ("another's", of_another)]).coders.remove(0);
    assert_eq!((own.days_since_check, own.is_due), (Some(3), false));
}

#[test]
fn an_agreed_record_is_no_reference_and_is_never_checked() {
    let mut agreed = run("s1", "N", Purpose::Agreed, 50.0, 2);
    agreed.parents = vec!["a".to_owned(), "b".to_owned()];
    let all = [
        ("a", run("s1", "R", Purpose::Primary, 50.0, 1)),
        ("b", run("s1", "N", Purpose::Second, 55.0, 1)),
        ("agreed", agreed),
        ("trial", run("s1", "N", Purpose::Trial, 90.0, 1)),
    ];
    let found = study_of(&all, &["agreed", "gone", "a"]);
    let refused: Vec<&str> = found.not_references.iter().map(|own| own.file.as_str()).collect();
    assert_eq!(refused, ["agreed", "gone"]);
    assert!(found.not_references[0].why.contains("agreement is never computed"));
    assert_eq!(found.references, ["a"]);
    let checks: Vec<&str> =
        found.coders.iter().flat_map(|own| &own.checks).map(|own| own.coding.as_str()).collect();
    assert_eq!(checks, ["b"], "neither the agreed record nor the trial");
    let mut open = run("s1", "M", Purpose::Second, 55.0, 1);
    open.status = Status::Open;
    let own = ("own", run("s1", "R", Purpose::Repeat, 55.0, 1));
    let none = study_of(&[all[0].clone(), ("open", open), own], &["a"]);
    assert!(
        none.coders.iter().all(|own| own.checks.is_empty()),
        "neither one still open nor one by its own author"
    );
    // What is compared with a reference does not stand there twice as a second coding.
    let act: Vec<_> = found.points.iter().filter(|own| own.set == "act").collect();
    assert_eq!(act.len(), 1);
    assert_eq!(act[0].against, Against::Reference);
}

#[test]
fn the_same_coder_twice_is_apart_from_two_coders() {
    let all = [
        ("a", run("s1", "N", Purpose::Primary, 50.0, 1)),
        ("again", run("s1", "N", Purpose::Repeat, 60.0, 14)),
        ("late", run("s1", "N", Purpose::Repeat, 50.0, 15)),
        ("other", run("s1", "R", Purpose::Second, 50.0, 2)),
    ];
    let found = study_of(&all, &[]);
    let repeats: Vec<_> =
        found.repeats.iter().map(|own| (own.second.as_str(), own.days, own.is_soon)).collect();
    assert_eq!(repeats, [("again", Some(13), true), ("late", Some(14), false)]);
    near(found.repeats[0].kappas.iter().find(|own| own.set == "act").map(|own| own.kappa), 0.8);
    let of = |coder: &str, against| {
        found
            .points
            .iter()
            .filter(|own| own.coder == coder && own.against == against && own.set == "act")
            .count()
    };
    assert_eq!((of("N", Against::Themselves), of("N", Against::Coder), of("R", Against::Coder)), (2, 1, 1));
    assert_eq!(of("R", Against::Themselves), 0);
}

#[test]
fn the_program_tells_of_the_demos_coders() {
    let made = folder();
    let study = made.path().join("study");
    super::study::copy(&root().join("sample-codings"), &study);
    let file = study.join("study.json");
    let without = shedlight(&["agree", study.to_str().unwrap(), "--training"]);
    assert!(without.out.contains("no reference codings"), "{}", without.out);
    let mut own: serde_json::Value = serde_json::from_slice(&std::fs::read(&file).unwrap()).unwrap();
    own["reference_codings"] =
        serde_json::json!(["sessions/s3/K-07.1.coding.json", "sessions/s9/x.coding.json"]);
    std::fs::write(&file, serde_json::to_vec_pretty(&own).unwrap()).unwrap();
    let text = shedlight(&["agree", study.to_str().unwrap(), "--training"]);
    assert_eq!(text.code, 1, "a reference that is not there is a finding");
    for words in ["not a reference: sessions/s9/x.coding.json", "K-12: in training", "K-07 twice on s1"] {
        assert!(text.out.contains(words), "{words}: {}", text.out);
    }
    let json = shedlight(&["agree", study.to_str().unwrap(), "--training", "--json"]);
    let found: serde_json::Value = serde_json::from_str(&json.out).unwrap();
    assert_eq!(found["coders"][0]["coder"], "K-12");
    let csv = shedlight(&["agree", study.to_str().unwrap(), "--training", "--csv"]);
    let columns = csv.out.lines().next().unwrap().split(',').count();
    assert!(csv.out.lines().count() > 3 && csv.out.lines().all(|line| line.split(',').count() == columns));
    let one = study.join("sessions/s3/K-07.1.coding.json");
    let wrong = shedlight(&["agree", one.to_str().unwrap(), "--training"]);
    assert!(wrong.code != 0 && wrong.err.contains("name its folder"), "{}", wrong.err);
}

#[test]
fn what_was_hidden_stands_with_the_numbers() {
    let demo = root().join("sample-codings");
    let text = shedlight(&["agree", demo.to_str().unwrap()]);
    assert!(text.out.contains("from K-12: first record, date, step"), "{}", text.out);
    let json = shedlight(&["agree", demo.to_str().unwrap(), "--json"]);
    let found: serde_json::Value = serde_json::from_str(&json.out).unwrap();
    let pair = found["pairs"].as_array().unwrap().iter().find(|own| own["kind"] == "between").unwrap();
    assert_eq!(pair["second_masked"], serde_json::json!(["first record", "date", "step"]));
    assert_eq!(pair["first_masked"], serde_json::json!([]));
    let csv = shedlight(&["agree", demo.to_str().unwrap(), "--csv"]);
    assert!(csv.out.lines().next().unwrap().ends_with("first_masked,second_masked"));
    assert!(csv.out.contains("first record; date; step"));
}
