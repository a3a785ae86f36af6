//! What every chart owes: the same bytes, well-formed, no text left to a viewer's fonts, hits that
//! lie in the picture and lead to the right moment, and honest words where there is nothing.

use std::collections::BTreeSet;

use shedlight::measures::survivorship::Criterion;
use shedlight::measures::{Marks, Missing, Record, presentations};
use shedlight::model::Role;
use shedlight::report::chart::{self, Chart, Look, Matrix};
use shedlight::time::Micros;

use super::gallery::{Demo, all, clustered, concern_of, course, criterion_of, lengths, matrix};

const LOOKS: [fn() -> Look; 3] = [Look::dark, Look::light, Look::print];

fn hold_to_everything(name: &str, chart: &Chart) {
    let document = roxmltree::Document::parse(&chart.svg).unwrap_or_else(|error| panic!("{name}: {error}"));
    let root = document.root_element();
    assert_eq!(root.tag_name().name(), "svg", "{name}");
    assert_eq!(root.attribute("width"), Some(chart.width.to_string().as_str()), "{name}");
    assert_eq!(root.attribute("height"), Some(chart.height.to_string().as_str()), "{name}");
    let tags: BTreeSet<&str> =
        root.descendants().filter(roxmltree::Node::is_element).map(|node| node.tag_name().name()).collect();
    let plain: BTreeSet<&str> = ["svg", "title", "desc", "rect", "path", "circle"].into();
    assert!(tags.is_subset(&plain), "{name}: {tags:?}");
    // Several charts stand in one document: nothing may clash.
    assert!(root.descendants().all(|node| node.attribute("id").is_none()), "{name}");
    for node in root.descendants().filter(roxmltree::Node::is_element) {
        for attribute in node.attributes() {
            for word in ["NaN", "inf"] {
                assert!(!attribute.value().contains(word), "{name}: {attribute:?}");
            }
        }
    }
    let (right, bottom) = (f64::from(chart.width), f64::from(chart.height));
    for hit in &chart.hits {
        assert!(hit.x >= 0.0 && hit.y >= 0.0 && hit.width >= 1.0 && hit.height >= 1.0, "{name}: {hit:?}");
        assert!(hit.x + hit.width <= right + 1e-9 && hit.y + hit.height <= bottom + 1e-9, "{name}: {hit:?}");
        assert!(!hit.words.is_empty(), "{name}: {hit:?}");
    }
}

#[test]
fn every_chart_of_the_demo_in_every_look_is_what_it_owes() {
    let demo = Demo::load();
    for look in LOOKS {
        let (first, again) = (all(&demo, &look()), all(&demo, &look()));
        assert_eq!(first, again, "the same bytes and hits");
        for (name, chart) in &first {
            hold_to_everything(name, chart);
            assert_eq!(chart.hits.is_empty(), *name == "empty", "{name}");
        }
    }
}

#[test]
fn narrow_and_wide_charts_hold_what_they_hold() {
    let demo = Demo::load();
    for width in [0, 640, 720, 1600] {
        for (name, chart) in all(&demo, &Look::light().with_width(width)) {
            hold_to_everything(name, &chart);
            assert_eq!(chart.width, width.max(chart::NARROWEST), "{name}");
        }
    }
}

#[test]
fn hits_do_not_depend_on_the_look() {
    let demo = Demo::load();
    let hits =
        |look: Look| -> Vec<_> { all(&demo, &look).into_iter().map(|(_, chart)| chart.hits).collect() };
    assert_eq!(hits(Look::dark()), hits(Look::light()));
    assert_eq!(hits(Look::dark()), hits(Look::print()));
}

#[test]
fn every_bout_and_event_of_a_session_can_be_gone_to() {
    let demo = Demo::load();
    let record = demo.session("s5");
    let chart = chart::session_raster(&record, &Look::dark());
    let mut wanted = Vec::new();
    for behaviour in &record.ethogram.behaviours {
        if behaviour.kind == shedlight::model::Kind::State {
            wanted.extend(record.bouts(behaviour).iter().map(|bout| bout.span.from));
        } else {
            wanted.extend(record.onsets(behaviour).iter().map(|(at, _)| *at));
        }
    }
    let mut found: Vec<Micros> = chart.hits.iter().map(|hit| hit.at).collect();
    wanted.sort();
    found.sort();
    assert_eq!(found, wanted);
    assert!(chart.hits.iter().all(|hit| hit.session.as_str() == "s5"));
    // From left to right is from early to late.
    let mut by_place: Vec<_> = chart.hits.iter().map(|hit| (hit.x + hit.width / 2.0, hit)).collect();
    by_place.retain(|(_, hit)| hit.words.contains("Hiss") || hit.words.starts_with("Cue shown"));
    by_place.sort_by(|a, b| a.0.total_cmp(&b.0));
    assert!(by_place.len() >= 8 && by_place.windows(2).all(|pair| pair[0].1.at <= pair[1].1.at));
}

#[test]
fn around_the_cues_each_presentation_and_each_of_its_marks_leads_to_its_moment() {
    let demo = Demo::load();
    let record = demo.session("s5");
    let chart = chart::cue_raster(&record, &Look::light());
    let found = presentations::of(&record);
    assert_eq!(found.len(), 7);
    for own in &found {
        let row = |hit: &&chart::Hit| hit.words.starts_with(&format!("Presentation {}, cue", own.number));
        let rows: Vec<_> = chart.hits.iter().filter(row).collect();
        assert_eq!(rows.len(), 1);
        assert_eq!(rows[0].at, own.cue);
    }
    let contacts: Vec<Micros> =
        chart.hits.iter().filter(|hit| hit.words.contains(": contact ")).map(|hit| hit.at).collect();
    let wanted: Vec<Micros> = record.role_onsets(Role::Contact).iter().map(|(at, _)| *at).collect();
    assert_eq!(contacts, wanted, "three contacts, at 42.4, 89.8 and 197.5 s");
    assert_eq!(contacts[0], Micros::from_millis(42_400));
    // A mark on a row is found before the row.
    let first = chart.hits.iter().find(|hit| hit.words.contains(": contact ")).unwrap();
    let under = chart.hit_at(first.x + first.width / 2.0, first.y + first.height / 2.0).unwrap();
    assert_eq!(under.at, contacts[0]);
    assert_eq!(chart.hit_at(-1.0, 5.0), None);
}

#[test]
fn budgets_lead_to_the_first_bout_of_each_state() {
    let demo = Demo::load();
    let records = demo.records();
    let chart = chart::budget(&records, None, &Look::dark());
    let mut wanted = Vec::new();
    for record in &records {
        for state in record.ethogram.states_of(&"activity".into()) {
            wanted
                .extend(record.bouts(state).first().map(|bout| (record.session.id.clone(), bout.span.from)));
        }
    }
    // Six states in each of six sessions, and the defensive display in one.
    assert_eq!(wanted.len(), 37);
    let found: Vec<_> = chart.hits.iter().map(|hit| (hit.session.clone(), hit.at)).collect();
    assert_eq!(found, wanted);
    // S1: 118 s of 570 s visible were still and relaxed.
    assert!(
        chart.hits[0].words.contains("20.7 %") && chart.hits[0].words.contains("118.0 s"),
        "{:?}",
        chart.hits[0]
    );
    // Widths are shares: the bars of a session fill its visible time.
    let full: f64 = chart.hits.iter().filter(|hit| hit.session.as_str() == "s3").map(|hit| hit.width).sum();
    assert!((full - (960.0 - 132.0 - 92.0 - 16.0)).abs() < 8.0, "{full}");
}

#[test]
fn every_latency_that_is_a_case_is_on_its_curve() {
    let demo = Demo::load();
    let record = demo.session("s5");
    let chart = chart::latencies(std::slice::from_ref(&record), &Look::dark());
    // Seven presentations, three latencies each.
    assert_eq!(chart.hits.len(), 21);
    let aborted: Vec<_> =
        chart.hits.iter().filter(|hit| hit.words.contains("watched for 12.60 s (aborted)")).collect();
    assert_eq!(aborted.len(), 2, "approach and contact of the seventh");
    // It leads to the moment the presentation ended: cue at 6:12.0, aborted 12.6 s later.
    assert!(aborted.iter().all(|hit| hit.at == Micros::from_millis(384_600)));
}

#[test]
fn sessions_of_a_course_lead_to_their_first_cue_and_carry_their_counts() {
    let demo = Demo::load();
    let bramble = demo.of_animal("bramble");
    let chart = chart::success(&bramble, &Look::dark());
    let words: Vec<&str> = chart.hits.iter().map(|hit| hit.words.as_str()).collect();
    assert_eq!(
        words,
        [
            "Session s1: 50 % [24, 76 %] 5/10",
            "Session s3: 90 % [60, 98 %] 9/10",
            "Session s4: 50 % [22, 78 %] 4/8",
            "Session s6: 90 % [60, 98 %] 9/10"
        ]
    );
    for (hit, record) in chart.hits.iter().zip(&bramble) {
        assert_eq!(hit.at, presentations::of(record)[0].cue);
    }
    let chart = chart::approach(&bramble, &Look::dark());
    assert_eq!(chart.hits[0].words, "Session s1: 60 % 9 A, 6 R");
    let chart = chart::trend(&course(&demo), &Look::light());
    assert_eq!(chart.hits.len(), 4);
    assert_eq!(chart.hits[2].words, "Session s4: no value, pass not done");
}

#[test]
fn concern_shows_each_incident_with_its_back_off() {
    let demo = Demo::load();
    let record = demo.session("s5");
    let chart = concern_of(&record, &Look::print());
    let stops: Vec<_> = chart.hits.iter().filter(|hit| hit.words.starts_with("stop at")).collect();
    assert_eq!(stops.len(), 2);
    assert_eq!(stops[0].at, Micros::from_whole_seconds(271));
    assert!(stops[0].words.ends_with("backed off after 9.8 s, over the target"), "{}", stops[0].words);
    assert!(stops[1].words.ends_with("backed off after 2.4 s, within the target"), "{}", stops[1].words);
    assert_eq!(chart.hits.iter().filter(|hit| hit.words.starts_with("watch at")).count(), 6);
    assert!(chart.svg.contains("stop: 2 incidents"));
    // Not coded is said, and nothing is drawn.
    let unknown = chart::concern(&record, &[], &Err(Missing::PassNotDone), &Look::dark());
    assert!(unknown.hits.is_empty() && unknown.svg.contains("Concern is not known: pass not done"));
}

#[test]
fn successes_and_food_are_steps_in_time() {
    let demo = Demo::load();
    let chart = chart::cumulative(&demo.session("s3"), &Look::dark());
    let of = |what: &str| -> Vec<f64> {
        chart.hits.iter().filter(|hit| hit.words.starts_with(what)).map(|hit| hit.y).collect()
    };
    assert_eq!((of("Success").len(), of("Food").len(), of("Presentation").len()), (9, 9, 10));
    assert!(of("Success").windows(2).all(|pair| pair[0] > pair[1]), "each step stands higher");
}

#[test]
fn few_transitions_are_hidden_but_counted() {
    let demo = Demo::load();
    let chart = chart::transitions(&matrix(&demo.of_animal("bramble")), &Look::light());
    assert!(!chart.hits.is_empty());
    let two = Matrix {
        whose: "Two".to_owned(),
        states: vec!["a".to_owned(), "b".to_owned()],
        counts: vec![vec![0, 9], vec![4, 0]],
        first: vec![vec![None, Some(("s".into(), Micros::from_millis(7)))], vec![None, None]],
        sessions: 1,
    };
    let chart = chart::transitions(&two, &Look::dark());
    assert_eq!(chart.hits.len(), 1);
    assert_eq!(chart.hits[0].at, Micros::from_millis(7));
    assert!(chart.svg.contains("13 transitions") && chart.svg.contains("(1 cell)"));
}

#[test]
fn lengths_lead_to_where_they_begin() {
    let demo = Demo::load();
    let lengths = lengths(&demo.of_animal("bramble"), "still-alert");
    let chart = chart::survivorship("Bouts", &lengths, None, &Look::dark());
    assert_eq!(chart.hits.len(), lengths.len());
    assert!(chart.hits.iter().zip(&lengths).all(|(hit, own)| hit.at == own.at));
    // A longer one stands farther to the right.
    let by_length = |a: usize, b: usize| {
        (lengths[a].time.length < lengths[b].time.length) == (chart.hits[a].x < chart.hits[b].x)
    };
    assert!(by_length(0, 1) && by_length(1, 2));
}

#[test]
fn the_criterion_is_drawn_with_its_value_or_the_reason_why_there_is_none() {
    let described = |chart: &Chart| {
        let document = roxmltree::Document::parse(&chart.svg).unwrap();
        let said = document.descendants().find(|node| node.tag_name().name() == "desc").unwrap();
        said.text().unwrap().to_owned()
    };
    let gaps = clustered();
    let found = criterion_of(&gaps).unwrap();
    // Processes of 4 s and 90 s: where 90/4·e^(−t/4) = 24/90·e^(−t/90) the criterion is 18.6 s.
    assert!((found.criterion_s - 18.6).abs() < 0.4, "{found:?}");
    let chart = chart::survivorship("Gaps", &gaps, Some(Ok(&found)), &Look::light());
    let words = described(&chart);
    assert!(
        words.contains(&format!("A gap of {:.1} s or more begins a new bout", found.criterion_s)),
        "{words}"
    );
    assert!(words.contains("of 114 gaps lie on its wrong side"), "{words}");
    let few = &gaps[60..100];
    let none = chart::survivorship("Gaps", few, Some(Err(criterion_of(few).unwrap_err())), &Look::light());
    assert!(described(&none).contains("40 whole gaps of the 50 it needs"), "{}", described(&none));
    let one = chart::survivorship(
        "Gaps",
        &gaps[..90],
        Some(Err(criterion_of(&gaps[..90]).unwrap_err())),
        &Look::light(),
    );
    assert!(described(&one).contains("one process"), "{}", described(&one));
    // Line, curve and key only where there is a criterion.
    let strokes = |chart: &Chart| chart.svg.matches("stroke-dasharray").count();
    assert!(strokes(&chart) >= strokes(&none) + 2, "{} {}", strokes(&chart), strokes(&none));
}

#[test]
fn an_album_says_where_a_bout_of_the_commonest_event_ends() {
    let demo = Demo::load();
    let charts = shedlight::report::album::of_animal(&demo.of_animal("bramble"), &Look::dark());
    let gaps = charts.iter().find(|chart| chart.svg.contains("gaps between")).unwrap();
    let words = ["No criterion for where a bout ends", "begins a new bout"];
    assert!(words.iter().any(|words| gaps.svg.contains(words)), "{}", gaps.svg);
    assert!(!gaps.hits.is_empty());
}

#[test]
fn nothing_to_show_says_what_is_missing() {
    let demo = Demo::load();
    let look = Look::dark();
    let (mut coding, ethogram, session) = demo.codings[0].clone();
    coding.marks.clear();
    let empty = Record::try_new(&coding, &ethogram, &session, &demo.study, Marks::default());
    let empty = empty.unwrap();
    let mut undone = coding.clone();
    undone.passes.clear();
    let undone = Record::try_new(&undone, &ethogram, &session, &demo.study, Marks::default()).unwrap();
    let none: &[Record<'_>] = &[];
    let nothing = std::slice::from_ref(&undone);
    for (chart, words) in [
        (chart::session_raster(&empty, &look), "Nothing was coded"),
        (chart::session_raster(&undone, &look), "no pass is done"),
        (chart::cue_raster(&empty, &look), "no cue was coded"),
        (chart::cue_raster(&undone, &look), "is not done"),
        (chart::budget(none, None, &look), "No session is chosen"),
        (chart::latencies(none, &look), "No session is chosen"),
        (chart::latencies(std::slice::from_ref(&empty), &look), "no cue was coded"),
        (chart::latencies(nothing, &look), "is not done"),
        (chart::success(none, &look), "No session is chosen"),
        (chart::success(nothing, &look), "No session has a value: pass not done"),
        (chart::approach(std::slice::from_ref(&empty), &look), "neither approach nor retreat"),
        (chart::cumulative(&empty, &look), "Neither a success nor food"),
        (chart::cumulative(&undone, &look), "not done"),
        (chart::transitions(&Matrix::default(), &look), "No transition"),
        (chart::follow(&Matrix::default(), None, &look), "0 transitions: no state followed another"),
        (chart::sampled("Bramble", 0, &[], &look), "Nothing to try sampling on: no state"),
        (chart::survivorship("Bouts", &[], None, &look), "Too few: 0 of 0 lengths"),
    ] {
        hold_to_everything(words, &chart);
        let document = roxmltree::Document::parse(&chart.svg).unwrap();
        let said = document.descendants().find(|node| node.tag_name().name() == "desc");
        let said = said.and_then(|node| node.text()).unwrap_or_default();
        assert!(said.contains(words), "{said:?} should say {words:?}");
        assert!(chart.hits.is_empty() || words.starts_with("No session has"), "{words}");
    }
    // A session whose passes are not done keeps its row, and says so.
    let chart = chart::budget(nothing, None, &look);
    assert!(chart.hits[0].words.contains("not done") || chart.hits[0].words.contains("not known"));
}

#[test]
fn names_from_outside_stay_names() {
    let demo = Demo::load();
    let (coding, mut ethogram, session) = demo.codings[0].clone();
    let mut study = demo.study.clone();
    for animal in &mut study.animals {
        animal.name = "<text>&\"'\u{7}</svg> 日本 🦎 ".repeat(8);
    }
    for behaviour in &mut ethogram.behaviours {
        behaviour.name = format!("]]><script/>&{}", "long ".repeat(40));
    }
    let record = Record::try_new(&coding, &ethogram, &session, &study, Marks::default()).unwrap();
    for chart in [
        chart::session_raster(&record, &Look::dark()),
        chart::cue_raster(&record, &Look::dark()),
        chart::budget(std::slice::from_ref(&record), None, &Look::dark()),
        concern_of(&record, &Look::dark()),
    ] {
        hold_to_everything("names", &chart);
        assert!(!chart.svg.contains("<text") && !chart.svg.contains("<script"));
    }
}

#[test]
fn values_that_are_no_numbers_leave_no_trace() {
    let demo = Demo::load();
    let mut reading = course(&demo);
    reading.occasions[0].value = Ok(f64::NAN);
    reading.occasions[1].interval = Some((f64::NEG_INFINITY, f64::INFINITY));
    reading.occasions[3].target = Some(f64::NAN);
    hold_to_everything("odd", &chart::trend(&reading, &Look::dark()));
    for own in &mut reading.occasions {
        own.value = Ok(f64::INFINITY);
    }
    let none = chart::trend(&reading, &Look::dark());
    hold_to_everything("none", &none);
    assert!(none.hits.is_empty());
    let mut odd = lengths(&demo.of_animal("bramble"), "still-alert");
    odd[0].time.length = f64::NAN;
    odd[1].time.length = 0.0;
    let sound = criterion_of(&clustered()).unwrap();
    for criterion_s in [f64::NAN, f64::INFINITY, -3.0, 1e9] {
        let criterion = Criterion { criterion_s, ..sound };
        hold_to_everything("odd", &chart::survivorship("Odd", &odd, Some(Ok(&criterion)), &Look::dark()));
    }
    // A table with rows of the wrong length.
    let ragged = Matrix {
        states: vec!["a".to_owned(), "b".to_owned(), "c".to_owned()],
        counts: vec![vec![0, 6, 1, 9], vec![7]],
        ..Matrix::default()
    };
    hold_to_everything("ragged", &chart::transitions(&ragged, &Look::dark()));
}
