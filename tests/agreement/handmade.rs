//! Codings made by hand, small enough to be reckoned in a comment.

use serde_json::{Value, json};
use shedlight::agreement::align::{Marks, Pairing, Unit};
use shedlight::agreement::pair::{self, Names, Options, PairAgreement, PairKind};
use shedlight::model::{Coding, Ethogram, Session, Study};
use shedlight::time::Micros;

/// A behaviour, from and until when in seconds; an event has no end.
pub type Line<'a> = (&'a str, f64, Option<f64>);

/// A set for sight, one for activity, two graded states, a cue, and events of both.
pub fn ethogram() -> Ethogram {
    let state = |id: &str, set: Option<&str>, who: &str, roles: &[&str]| {
        let mut own = json!({"id": id, "name": id, "kind": "state", "who": who, "roles": roles});
        if let Some(set) = set {
            own["set"] = json!(set);
        }
        own
    };
    let event = |id: &str, who: &str, roles: &[&str]| json!({"id": id, "name": id, "kind": "event", "who": who, "roles": roles});
    let mut tense = state("tense", None, "animal", &[]);
    tense["concern"] = json!([{"level": "watch"}]);
    let mut puff = state("puff", None, "animal", &[]);
    puff["concern"] = json!([{"level": "stop"}]);
    serde_json::from_value(json!({
        "format": "shedlight/ethogram", "version": 1, "id": "hand", "revision": 1, "title": "By hand",
        "sets": [{"id": "sight", "name": "Sight", "exhaustive": true}, {"id": "act", "name": "Activity"}],
        "behaviours": [
            state("seen", Some("sight"), "animal", &["visible"]),
            state("hidden", Some("sight"), "animal", &["excluded"]),
            state("rest", Some("act"), "animal", &[]),
            state("move", Some("act"), "animal", &[]),
            state("feed", Some("act"), "animal", &[]),
            tense,
            puff,
            state("cue", None, "handler", &["cue"]),
            event("approach", "animal", &["approach"]),
            event("retreat", "animal", &["retreat"]),
            event("contact", "animal", &["contact", "success"]),
            event("marker", "handler", &["marker"]),
            event("back-off", "handler", &["back_off"]),
        ],
    }))
    .unwrap()
}

pub fn session(id: &str) -> Session {
    Session::new(id.into(), "bramble".into())
}

pub fn study() -> Study {
    Study::new("By hand")
}

/// A coding of `length` seconds, all passes done.
pub fn coding(session: &str, by: &str, length: f64, lines: &[Line<'_>]) -> Coding {
    let all: Vec<String> = ethogram().behaviours.iter().map(|own| own.id.to_string()).collect();
    let us = |at: f64| Micros::from_seconds(at).unwrap();
    let marks: Vec<Value> = lines
        .iter()
        .zip(1..)
        .map(|((behaviour, from, to), id)| {
            let mut own = json!({"id": id, "behaviour": behaviour, "from": us(*from)});
            if let Some(to) = to {
                own["to"] = json!(us(*to));
            }
            own
        })
        .collect();
    serde_json::from_value(json!({
        "format": "shedlight/coding", "version": 1, "session": session, "by": by, "purpose": "primary",
        "ethogram": {"id": "hand", "revision": 1, "digest": ""}, "window": {"from": 0, "to": us(length)},
        "passes": [{"name": "All", "behaviours": all, "done": true}], "marks": marks,
    }))
    .unwrap()
}

/// What `agree` says of two codings.
pub fn compare(first: &Coding, second: &Coding, unit: Unit<'_>) -> PairAgreement {
    compare_within(first, second, unit, None)
}

/// The same within a tolerance.
pub fn compare_within(
    first: &Coding,
    second: &Coding,
    unit: Unit<'_>,
    tolerance: Option<Micros>,
) -> PairAgreement {
    compare_in(&session(first.session.as_str()), first, second, unit, tolerance)
}

/// The same in a session with film.
pub fn compare_in(
    session: &Session,
    first: &Coding,
    second: &Coding,
    unit: Unit<'_>,
    tolerance: Option<Micros>,
) -> PairAgreement {
    let (ethogram, study) = (ethogram(), study());
    let pairing = Pairing::try_new(first, second, &ethogram, session, Marks::All).unwrap();
    let names = Names {
        first: "first".to_owned(),
        second: "second".to_owned(),
        session: first.session.to_string(),
        first_by: first.by.to_string(),
        second_by: second.by.to_string(),
        kind: PairKind::Between,
    };
    pair::compare(names, &pairing, &study, Options { unit, tolerance, seed: 1 }).0
}

/// Two records of 100 s: lines of each.
pub fn pair_of(first: &[Line<'_>], second: &[Line<'_>]) -> PairAgreement {
    compare(&coding("s1", "A", 100.0, first), &coding("s1", "B", 100.0, second), Unit::Exact)
}

#[track_caller]
pub fn near(found: Option<f64>, wanted: f64) {
    assert!(found.is_some_and(|found| (found - wanted).abs() < 1e-6), "{found:?}, not {wanted}");
}
