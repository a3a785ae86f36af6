//! What `summary` and `agree` say of the demo, through the program, against the figures the demo
//! was invented with. Those were computed by an independent script (standard Python only); the
//! intervals are Wilson's, medians the product limit's.

use serde_json::Value;

use crate::common::{root, shedlight};

fn run(command: &str) -> Value {
    run_with(command, &[])
}

fn run_with(command: &str, more: &[&str]) -> Value {
    let study = root().join("sample-codings");
    let mut asked = vec![command, study.to_str().unwrap(), "--json"];
    asked.extend(more);
    let ran = shedlight(&asked);
    assert_eq!(ran.code, 0, "{}", ran.err);
    serde_json::from_str(&ran.out).unwrap()
}

/// One session as it was invented.
struct Wanted {
    session: &'static str,
    observed: f64,
    visible: f64,
    budget: [f64; 7],
    success: (u64, u64, f64, f64),
    orient: f64,
    contact: Option<f64>,
    turns: (u64, u64, u64),
    food: (u64, f64, f64),
    watch: u64,
}

const STATES: [&str; 7] = ["still-relaxed", "still-alert", "move", "explore", "feed", "cover", "defensive"];

const WANTED: [Wanted; 6] = [
    Wanted {
        session: "s1",
        observed: 612.0,
        visible: 570.0,
        budget: [118.0, 190.0, 96.0, 60.0, 46.0, 60.0, 0.0],
        success: (5, 10, 0.24, 0.76),
        orient: 3.1,
        contact: Some(52.5),
        turns: (9, 6, 4),
        food: (5, 0.49, 10.0),
        watch: 7,
    },
    Wanted {
        session: "s2",
        observed: 845.0,
        visible: 780.0,
        budget: [210.0, 228.0, 130.0, 92.0, 60.0, 60.0, 0.0],
        success: (6, 10, 0.31, 0.83),
        orient: 1.0,
        contact: Some(14.4),
        turns: (11, 4, 2),
        food: (6, 0.43, 3.0),
        watch: 4,
    },
    Wanted {
        session: "s3",
        observed: 588.0,
        visible: 570.0,
        budget: [150.0, 126.0, 124.0, 64.0, 88.0, 18.0, 0.0],
        success: (9, 10, 0.60, 0.98),
        orient: 1.6,
        contact: Some(14.0),
        turns: (12, 3, 1),
        food: (9, 0.92, 18.0),
        watch: 2,
    },
    Wanted {
        session: "s4",
        observed: 903.0,
        visible: 780.0,
        budget: [160.0, 250.0, 110.0, 48.0, 42.0, 170.0, 0.0],
        success: (4, 8, 0.22, 0.78),
        orient: 4.4,
        contact: None,
        turns: (8, 8, 4),
        food: (4, 0.27, 8.0),
        watch: 9,
    },
    Wanted {
        session: "s5",
        observed: 431.0,
        visible: 420.0,
        budget: [74.0, 150.0, 70.0, 40.0, 24.0, 38.0, 24.0],
        success: (3, 6, 0.19, 0.81),
        orient: 1.3,
        contact: None,
        turns: (6, 7, 3),
        food: (3, 0.42, 1.5),
        watch: 6,
    },
    Wanted {
        session: "s6",
        observed: 640.0,
        visible: 630.0,
        budget: [172.0, 118.0, 164.0, 70.0, 96.0, 10.0, 0.0],
        success: (9, 10, 0.60, 0.98),
        orient: 1.3,
        contact: Some(12.8),
        turns: (13, 2, 1),
        food: (9, 0.84, 18.0),
        watch: 2,
    },
];

fn near(value: &Value, wanted: f64, slack: f64) -> bool {
    value.as_f64().is_some_and(|found| (found - wanted).abs() <= slack)
}

fn state<'a>(figures: &'a Value, id: &str) -> &'a Value {
    figures["behaviours"].as_array().unwrap().iter().find(|own| own["id"] == id).unwrap()
}

#[test]
fn every_session_gives_its_figures() {
    let found = run("summary");
    for wanted in WANTED {
        let name = wanted.session;
        let own = found["codings"]
            .as_array()
            .unwrap()
            .iter()
            .find(|own| own["session"] == name && own["purpose"] == "primary")
            .unwrap();
        assert!(
            near(&own["observed_s"], wanted.observed, 0.0) && near(&own["visible_s"], wanted.visible, 0.0),
            "{name}"
        );
        for (id, seconds) in STATES.iter().zip(wanted.budget) {
            let state = state(own, id);
            assert!(near(&state["total_s"], seconds, 1e-9), "{name} {id}: {state}");
            assert!(near(&state["share_visible"], seconds / wanted.visible, 1e-9), "{name} {id}");
        }
        let (k, n, low, high) = wanted.success;
        let success = &own["success"];
        assert_eq!((success["k"].as_u64(), success["n"].as_u64()), (Some(k), Some(n)), "{name}");
        assert!(
            near(&success["ci95"][0], low, 0.005) && near(&success["ci95"][1], high, 0.005),
            "{name}: {success}"
        );
        assert!(near(&own["latency"]["orient"]["median_s"], wanted.orient, 1e-9), "{name}");
        let contact = &own["latency"]["contact"];
        if let Some(median) = wanted.contact {
            assert!(near(&contact["median_s"], median, 1e-9), "{name}");
        } else {
            assert!(contact["median_s"].is_null() && contact["why"] == "median not reached", "{name}");
        }
        let approach = &own["approach"];
        let (a, r, vacillating) = wanted.turns;
        assert_eq!(approach["approaches"].as_u64(), Some(a), "{name}");
        assert_eq!(approach["retreats"].as_u64(), Some(r), "{name}");
        assert_eq!(approach["vacillating"].as_u64(), Some(vacillating), "{name}");
        let (count, a_minute, grams) = wanted.food;
        let food = &own["food"];
        assert_eq!(food["n"].as_u64(), Some(count), "{name}");
        assert!(near(&food["per_min"], a_minute, 0.005) && near(&food["grams"], grams, 1e-9), "{name}");
        assert_eq!(own["concern"]["watch_incidents"].as_u64(), Some(wanted.watch), "{name}");
        let stops = own["concern"]["stop_incidents"].as_array().unwrap().len();
        assert_eq!(stops, if name == "s5" { 2 } else { 0 }, "{name}");
    }
}

#[test]
fn the_two_displays_and_the_pump_alarm_are_told() {
    let found = run("summary");
    let session = |name: &str| {
        found["codings"]
            .as_array()
            .unwrap()
            .iter()
            .find(|own| own["session"] == name && own["purpose"] == "primary")
            .unwrap()
            .clone()
    };
    let fifth = session("s5");
    let stops = fifth["concern"]["stop_incidents"].as_array().unwrap();
    assert!(near(&stops[0]["at_s"], 271.0, 1e-9) && near(&stops[0]["back_off_s"], 9.8, 1e-9));
    assert!(near(&stops[1]["at_s"], 382.2, 1e-9) && near(&stops[1]["back_off_s"], 2.4, 1e-9));
    assert_eq!(fifth["concern"]["continued_after_stop"], serde_json::json!([310.0, 372.0]));
    assert_eq!(fifth["success"]["aborted"], 1);
    assert!(
        near(&fifth["presentations"][6]["end_s"], 384.6, 1e-9),
        "broken off at the back-off, 12.6 s after the cue"
    );
    let fourth = session("s4");
    assert_eq!(fourth["success"]["void"], 1);
    let resumes: Vec<f64> =
        fourth["resume"].as_array().unwrap().iter().map(|own| own["resume_s"].as_f64().unwrap()).collect();
    assert_eq!(resumes, [148.0, 96.0]);
    assert_eq!(fourth["presentations"][2]["reason"], "disturbance");
}

#[test]
fn animals_are_pooled_by_primary_codings_alone() {
    let found = run("summary");
    let animals = found["animals"].as_array().unwrap();
    let (bramble, sorrel) = (&animals[0], &animals[1]);
    assert_eq!(bramble["sessions"], serde_json::json!(["s1", "s3", "s4", "s6"]));
    assert!(near(&bramble["visible_s"], 2550.0, 0.0) && near(&sorrel["visible_s"], 1200.0, 0.0));
    for (animal, shares) in [
        (bramble, [23.5, 26.8, 19.4, 9.5, 10.7, 10.1, 0.0]),
        (sorrel, [23.7, 31.5, 16.7, 11.0, 7.0, 8.2, 2.0]),
    ] {
        for (id, share) in STATES.iter().zip(shares) {
            assert!(near(&state(animal, id)["share_visible"], share / 100.0, 0.000_501), "{id}");
        }
    }
    assert_eq!(found["codings"].as_array().unwrap().len(), 11, "all are listed");
}

#[test]
fn the_two_coders_agree_as_invented() {
    let found = run("agree");
    let pairs = found["pairs"].as_array().unwrap();
    let pair =
        |name: &str| pairs.iter().find(|own| own["session"] == name && own["kind"] == "between").unwrap();
    let activity = |pair: &Value| {
        pair["sets"].as_array().unwrap().iter().find(|set| set["set"] == "activity").unwrap().clone()
    };
    for (name, observed, kappa, max, per_state) in [
        ("s3", 0.923, 0.903, 0.991, [0.90, 0.85, 0.92, 0.87, 0.99, 0.91, f64::NAN]),
        ("s5", 0.790, 0.734, 0.976, [0.72, 0.62, 0.86, 0.72, 0.98, 0.72, 0.76]),
    ] {
        let set = activity(pair(name));
        assert!(near(&set["observed"], observed, 5e-4) && near(&set["kappa"], kappa, 5e-4), "{name}");
        assert!(near(&set["kappa_max"], max, 5e-4), "{name}");
        for (own, wanted) in set["behaviours"].as_array().unwrap().iter().zip(per_state) {
            if wanted.is_nan() {
                assert!(own["kappa"].is_null() && own["why"] == "did not occur", "{own}");
            } else {
                assert!(near(&own["kappa"], wanted, 5.1e-3), "{name}: {own}");
            }
        }
    }
    let fifth = activity(pair("s5"));
    assert_eq!(fifth["table_s"][1], serde_json::json!([19.0, 112.0, 3.0, 4.0, 0.0, 9.0, 3.0]));
    assert_eq!(fifth["table_s"][6], serde_json::json!([0.0, 6.0, 1.0, 0.0, 0.0, 0.0, 17.0]));
    for (name, behaviour, counts) in [
        ("s3", "approach", [11, 1, 1]),
        ("s3", "retreat", [3, 0, 1]),
        ("s3", "contact", [9, 0, 0]),
        ("s3", "orient", [10, 0, 1]),
        ("s5", "approach", [5, 1, 1]),
        ("s5", "retreat", [5, 2, 1]),
        ("s5", "defensive", [2, 0, 1]),
        ("s5", "back-off", [2, 0, 0]),
    ] {
        let events = pair(name)["events"].as_array().unwrap();
        let own = events.iter().find(|own| own["behaviour"] == behaviour).unwrap();
        assert_eq!(
            [&own["matched"], &own["only_first"], &own["only_second"]],
            counts.each_ref(),
            "{name} {behaviour}"
        );
    }
}

#[test]
fn rates_of_stop_level_carry_their_interval_and_back_offs_their_target() {
    let found = run("summary");
    let animal = |name: &str| -> Value {
        let all = found["animals"].as_array().unwrap();
        all.iter().find(|own| own["animal"] == name).unwrap()["concern"].clone()
    };
    // Garwood: 2 in 1200 visible seconds, none in 2550.
    let sorrel = animal("sorrel");
    assert!(near(&sorrel["stop_per_visible_hour"], 6.0, 0.05));
    assert!(near(&sorrel["stop_per_visible_hour_ci95"][0], 0.73, 0.005));
    assert!(near(&sorrel["stop_per_visible_hour_ci95"][1], 21.7, 0.05));
    assert_eq!(sorrel["back_offs_within_target"], 1, "9.8 s and 2.4 s against 5 s");
    let bramble = animal("bramble");
    assert_eq!(bramble["stop_per_visible_hour"], 0.0);
    assert!(near(&bramble["stop_per_visible_hour_ci95"][1], 5.2, 0.05));

    let fifth = found["codings"].as_array().unwrap().iter().find(|own| own["session"] == "s5").unwrap();
    assert_eq!(fifth["food"]["markers_without_food"], 0);
    assert!(fifth["food"]["marker_to_food_s"].as_array().unwrap().iter().all(|own| near(own, 1.4, 1e-9)));
    assert_eq!(fifth["between"]["n"], 6);
    let hidden =
        fifth["behaviours"].as_array().unwrap().iter().find(|own| own["id"] == "out-of-sight").unwrap();
    assert!(
        hidden["share_visible"].is_null() && hidden["why"].as_str().unwrap().contains("no part"),
        "{hidden}"
    );
}

#[test]
fn second_by_second_gives_the_same_table() {
    let study = root().join("sample-codings");
    let ran =
        shedlight(&["agree".as_ref(), study.as_os_str(), "--json".as_ref(), "--unit".as_ref(), "1".as_ref()]);
    let by_second: Value = serde_json::from_str(&ran.out).unwrap();
    let exact = run("agree");
    for (a, b) in by_second["pairs"].as_array().unwrap().iter().zip(exact["pairs"].as_array().unwrap()) {
        if a["kind"] == "between" {
            assert_eq!(a["sets"][1]["table_s"], b["sets"][1]["table_s"]);
        }
    }
}

/// `--all` says of an animal's sessions what the summaries of the sessions themselves say.
#[test]
fn the_course_over_sessions_agrees_with_the_sessions() {
    let found = run_with("summary", &["--all"]);
    let over = found["over_sessions"].as_array().unwrap();
    assert_eq!(over.len(), found["animals"].as_array().unwrap().len());
    let coding = |session: &Value| {
        let own = found["codings"].as_array().unwrap().iter();
        own.filter(|own| own["counts"] == true).find(|own| own["session"] == *session).unwrap().clone()
    };
    let close = |a: &Value, b: f64| (a.as_f64().unwrap() - b).abs() < 1e-9;
    let number = |value: &Value| value.as_f64().unwrap();
    for animal in over {
        let course = |name: &str| {
            animal["courses"].as_array().unwrap().iter().find(|own| own["quantity"] == name).unwrap().clone()
        };
        let mut successes = Vec::new();
        for own in course("success")["values"].as_array().unwrap() {
            let success = &coding(&own["session"])["success"];
            assert!(close(&own["value"], number(&success["k"]) / number(&success["n"])), "{own}");
            assert_eq!(own["of"], number(&success["n"]), "{own}");
            successes.push(number(&own["value"]));
        }
        #[allow(clippy::cast_precision_loss)]
        let mean = successes.iter().sum::<f64>() / successes.len() as f64;
        assert!(close(&course("success")["mean"], mean));
        for own in course("out_of_sight")["values"].as_array().unwrap() {
            assert!(close(&own["value"], number(&coding(&own["session"])["out_of_sight_share"])), "{own}");
        }
        // Four sessions have a trend, two none; five would have an interval.
        assert_eq!(course("success")["trend"].is_null(), successes.len() < 4, "{animal}");
        assert!(course("success")["ci95"].is_null());
        assert!(course("success")["why"].as_str().unwrap().contains("interval: fewer than 5"));
        // The mean over sessions of what sampling is held against is the mean of their budgets.
        for own in animal["sampling"].as_array().unwrap().iter().filter(|own| !own["share"].is_null()) {
            let mut shares = Vec::new();
            for session in animal["sessions"].as_array().unwrap() {
                let coding = coding(session);
                let all = coding["behaviours"].as_array().unwrap().clone();
                let behaviour = all.iter().find(|other| other["id"] == own["behaviour"]).unwrap();
                shares.push(behaviour["share_visible"].as_f64().unwrap());
            }
            #[allow(clippy::cast_precision_loss)]
            let mean = shares.iter().sum::<f64>() / shares.len() as f64;
            // Handler states run on out of sight, and are sampled only while the animal is visible.
            if mean <= 1.0 && own["behaviour"] != "handler-near" {
                assert!((number(&own["share"]) - mean).abs() < 0.02, "{own}: {mean}");
            }
            assert!(own["longest_s"].is_null() != own["why"].is_null(), "{own}");
        }
        for own in animal["sequences"].as_array().unwrap().iter().filter(|own| own["why"].is_null()) {
            for (place, row) in own["counts"].as_array().unwrap().iter().enumerate() {
                assert_eq!(row[place], 0, "nothing follows itself: {own}");
            }
        }
    }
    let told = shedlight(&["summary", root().join("sample-codings").to_str().unwrap(), "--all"]);
    for words in ["Bramble, over", "what follows what in activity", "(Theil–Sen)", "the gap that ends one"]
    {
        assert!(told.out.to_lowercase().contains(&words.to_lowercase()), "{words}: {}", told.out);
    }
}
