//! Screens of codings by samples and of the reaction lag, without a display.

use std::collections::BTreeSet;
use std::path::PathBuf;

use iced_test::core::keyboard::key::Named;
use iced_test::core::keyboard::{Key, Modifiers};
use iced_test::simulator;
use shedlight::gui::screen::agreement::{self, Agreement};
use shedlight::gui::screen::by_samples::{self, BySamples};
use shedlight::gui::screen::reaction::{self, Reaction};
use shedlight::gui::screen::results::{self, Results};
use shedlight::gui::screen::sessions::{self, Sessions};
use shedlight::gui::theme::Mode;
use shedlight::measures::recorded::Recorded;
use shedlight::measures::{Marks, Record};
use shedlight::model::samples::random_offset;
use shedlight::model::{Mark, Purpose, RecordingRule};
use shedlight::storage::{StudyFolder, coding_file};
use shedlight::time::{Micros, Seconds};

use super::screens::demo;
use crate::common::folder;
use crate::measures::recorded::{begun, walk_through};

fn by_samples(study: &StudyFolder) -> BySamples {
    BySamples::try_new(study.clone(), &"s2".into(), "k-07", 7).unwrap()
}

fn press(screen: &mut BySamples, keys: &[Key]) -> by_samples::Action {
    let mut last = by_samples::Action::None;
    for key in keys {
        last = screen.update(by_samples::Message::KeyDown(key.clone(), Modifiers::default()));
    }
    last
}

fn named(key: Named) -> Key {
    Key::Named(key)
}

fn letter(key: &str) -> Key {
    Key::Character(key.into())
}

fn opened(action: by_samples::Action) -> PathBuf {
    match action {
        by_samples::Action::Open(path) => path,
        _ => panic!("a coding is opened"),
    }
}

#[test]
fn a_coding_by_points_begins_by_keys_with_a_random_start_that_can_be_had_again() {
    let folder = folder();
    let study = demo(&folder);
    let mut screen = by_samples(&study);
    for mode in [Mode::Dark, Mode::Light] {
        let mut seen = simulator(screen.view(mode));
        assert!(seen.find("‹ points in time (instantaneous) ›").is_ok());
        assert!(seen.find("Begin (Enter)").is_ok());
    }
    let _ = press(&mut screen, &[named(Named::ArrowDown), letter("2"), letter("0")]);
    assert!(simulator(screen.view(Mode::Dark)).find("20▏ s").is_ok(), "what is written is seen");
    let path = opened(press(&mut screen, &[named(Named::Enter)]));
    let coding = coding_file::read(&path).unwrap();
    let every = Micros::from_whole_seconds(20);
    let offset = random_offset(every, 7);
    let rule = RecordingRule::Instantaneous { every_s: Seconds(every), offset_s: Seconds(offset) };
    assert_eq!((coding.rule, coding.offset_seed), (rule, Some(7)));
    assert_eq!(coding.purpose, Purpose::Trial, "s2 has a primary coding");
    assert_eq!((coding.by.as_str(), coding.passes.len(), coding.marks.len()), ("K-07", 1, 0));
    // The next time it can be gone on with.
    let mut again = by_samples(&study);
    let mut seen = simulator(again.view(Mode::Light));
    for words in ["Go on with", "points every 20 s", "0 answered · open", "Go on (Enter)"] {
        assert!(seen.find(words).is_ok(), "{words}");
    }
    drop(seen);
    assert_eq!(opened(press(&mut again, &[named(Named::Enter)])), path);
}

#[test]
fn what_makes_no_sense_is_said_and_begins_nothing() {
    let folder = folder();
    let study = demo(&folder);
    let codings =
        |study: &StudyFolder| study.list().sessions.iter().map(|own| own.codings.len()).sum::<usize>();
    let before = codings(&study);
    let mut screen = by_samples(&study);
    let down = named(Named::ArrowDown);
    let enter = named(Named::Enter);
    // No length, then one longer than the film, then a first point beyond the interval.
    assert!(matches!(
        press(&mut screen, &[down.clone(), letter("0"), enter.clone()]),
        by_samples::Action::None
    ));
    assert!(simulator(screen.view(Mode::Dark)).find("0: write seconds, 0.1 or more").is_ok());
    let _ = press(&mut screen, &[letter("1"), letter("0"), down.clone(), letter("1"), letter("0")]);
    assert!(matches!(press(&mut screen, std::slice::from_ref(&enter)), by_samples::Action::None));
    let words = "10: write seconds below the interval of 10 s";
    assert!(simulator(screen.view(Mode::Dark)).find(words).is_ok());
    // Intervals longer than the film.
    let mut screen = by_samples(&study);
    let long = ["9", "9", "9", "9"].map(letter);
    let _ = press(&mut screen, &[named(Named::ArrowRight), down]);
    let _ = press(&mut screen, &long);
    assert!(matches!(press(&mut screen, std::slice::from_ref(&enter)), by_samples::Action::None));
    let words = "the film is shorter than one interval: choose a shorter one";
    assert!(simulator(screen.view(Mode::Dark)).find(words).is_ok());
    // Nobody.
    let mut screen = BySamples::try_new(study.clone(), &"s2".into(), "", 7).unwrap();
    assert!(matches!(press(&mut screen, &[enter]), by_samples::Action::None));
    assert_eq!(codings(&study), before);
    assert!(matches!(press(&mut screen, &[named(Named::Escape)]), by_samples::Action::Leave));
}

#[test]
fn results_of_samples_show_hits_of_visible_ones_and_never_a_time() {
    let folder = folder();
    let study = demo(&folder);
    let like = study.load_coding(&study.root().join("sessions/s2/K-07.1.coding.json")).unwrap();
    let truth =
        Record::try_new(&like.coding, &like.ethogram, &like.session, &study.study, Marks::All).unwrap();
    let ten = Seconds::whole(10);
    for rule in [
        RecordingRule::Instantaneous { every_s: ten, offset_s: Seconds::whole(0) },
        RecordingRule::OneZero { every_s: ten },
    ] {
        let (mut coder, mut walk) = begun(&like.coding, &like.ethogram, &like.session, rule);
        walk_through(&mut coder, &mut walk, &truth);
        let coding = coder.coding();
        let path = coding_file::create(&study.root().join("sessions/s2"), coding).unwrap();
        let record =
            Record::try_new(coding, &like.ethogram, &like.session, &study.study, Marks::All).unwrap();
        let moves = like.ethogram.behaviour(&"move".into()).unwrap();
        let found = Recorded::of(&record).unwrap().found(&record, moves).unwrap();
        assert!(found.hits > 0 && found.hits < found.of);
        let mut screen = Results::new(
            study.clone(),
            results::Subject::Session(path.clone()),
            BTreeSet::new(),
            Mode::Light,
        );
        let share = 100.0 * f64::from(found.hits) / f64::from(found.of);
        let (low, high) = found.interval().unwrap();
        let told = format!("{} of {}, {share:.1} %  [{low:.2}, {high:.2}]", found.hits, found.of);
        let is_points = matches!(rule, RecordingRule::Instantaneous { .. });
        let title = if is_points {
            "Behaviours: points it held at, of visible points"
        } else {
            "Behaviours: intervals with it, of visible intervals"
        };
        let mut seen = simulator(screen.view(Mode::Light));
        for words in [told.as_str(), title] {
            assert!(seen.find(words).is_ok(), "{words}");
        }
        for absent in
            ["Presentations", "Median latency from the cue", "Behaviours: bouts, time, share of visible"]
        {
            assert!(seen.find(absent).is_err(), "{absent}");
        }
        let warned = "of intervals with at least one: no share of time, no frequency (Altmann 1974)";
        assert_eq!(seen.find(warned).is_ok(), !is_points);
        drop(seen);
        assert_eq!(screen.coding(), Some(path.as_path()), "a mark leads to this coding, not to another one");
        // Somewhere in the chart lies a hit that leads to a sample's picture.
        let mut went = None;
        'search: for y in (40..400).step_by(5) {
            for x in (100..800).step_by(4) {
                #[allow(clippy::cast_precision_loss)]
                let at = iced_test::core::Point::new(x as f32, y as f32);
                let _ = screen.update(&results::Message::Moved(0, at));
                if let results::Action::Go(_, at) = screen.update(&results::Message::Pressed(0)) {
                    went = Some(at);
                    break 'search;
                }
            }
        }
        let at = went.expect("a hit leads to the film");
        assert!(walk.samples().iter().any(|own| own.span.from == at));
    }
}

#[test]
fn results_of_a_trial_by_samples_are_reached_by_key() {
    let folder = folder();
    let study = demo(&folder);
    let mut begin = by_samples(&study);
    let trial = opened(press(&mut begin, &[named(Named::Enter)]));
    let own = study.root().join("sessions/s2/K-07.1.coding.json");
    let mut screen = Results::new(study, results::Subject::Session(own.clone()), BTreeSet::new(), Mode::Dark);
    let next = || results::Message::KeyDown(letter("c"));
    assert!(matches!(screen.update(&next()), results::Action::Run(_)));
    assert_eq!(screen.coding(), Some(trial.as_path()));
    let _ = screen.update(&next());
    assert_eq!(screen.coding(), Some(own.as_path()), "after the last comes the first");
}

#[test]
fn samples_are_never_pooled_with_times() {
    let folder = folder();
    let study = demo(&folder);
    let progress = |study: &StudyFolder| {
        Results::new(study.clone(), results::Subject::Animal("bramble".into()), BTreeSet::new(), Mode::Dark)
            .title()
            .to_owned()
    };
    assert_eq!(progress(&study), "Bramble · 4 sessions");
    // One of the four is coded by points only.
    let listing = study.list();
    let entry = listing.sessions.iter().find(|own| own.session.animal.as_str() == "bramble").unwrap();
    let (path, _) = entry.codings.iter().find(|(_, head)| head.purpose == Purpose::Primary).unwrap();
    let mut coding = coding_file::read(path).unwrap();
    coding.rule = RecordingRule::Instantaneous { every_s: Seconds::whole(10), offset_s: Seconds::whole(0) };
    coding.marks.clear();
    std::fs::remove_file(path).unwrap();
    let _ = coding_file::create(path.parent().unwrap(), &coding).unwrap();
    assert_eq!(progress(&study), "Bramble · 3 sessions");
}

#[test]
fn two_codings_by_points_are_compared_and_a_difference_leads_to_its_picture() {
    let folder = folder();
    let study = demo(&folder);
    let rule = RecordingRule::Instantaneous { every_s: Seconds::whole(15), offset_s: Seconds::whole(0) };
    let listing = study.list();
    let entry = listing.sessions.iter().find(|own| own.session.id.as_str() == "s3").unwrap();
    let mut first = None;
    for (path, head) in &entry.codings {
        let mut coding = coding_file::read(path).unwrap();
        coding.rule = rule;
        coding.marks.clear();
        for sample in 1..=36_u32 {
            // The second coder sees it explore once, at the seventh point.
            let is_other = head.purpose == Purpose::Second && sample == 7;
            for id in ["in-view", if is_other { "explore" } else { "move" }] {
                let at = Micros::from_whole_seconds(i64::from(sample - 1) * 15);
                let mut mark = Mark::event(coding.next_id(), id.into(), at);
                mark.sample = Some(sample);
                coding.marks.push(mark);
            }
            coding.passes.iter_mut().for_each(|pass| pass.answered.insert(sample));
        }
        std::fs::remove_file(path).unwrap();
        let path = coding_file::create(path.parent().unwrap(), &coding).unwrap();
        if head.purpose == Purpose::Primary {
            first = Some(path);
        }
    }
    let mut screen = Agreement::new(study, &"s3".into(), "K-07", Mode::Dark);
    assert_eq!(screen.title(), "s3 · K-07 and K-12");
    for mode in [Mode::Dark, Mode::Light] {
        let mut seen = simulator(screen.view(mode));
        for words in ["points every 15 s", "Explore", "Move about", "1:30.000", "only second"] {
            assert!(seen.find(words).is_ok(), "{words}");
        }
    }
    let mut press = |key| screen.update(agreement::Message::KeyDown(named(key)));
    let _ = press(Named::ArrowDown);
    match press(Named::Enter) {
        agreement::Action::Go(path, at) => {
            assert_eq!((Some(path), at), (first, Micros::from_whole_seconds(90)));
        }
        _ => panic!("the coding is opened at the sample"),
    }
    assert!(matches!(press(Named::Escape), agreement::Action::Leave));
}

#[test]
fn a_trial_by_samples_does_not_show_a_due_coder_the_first_record() {
    let folder = folder();
    let study = demo(&folder);
    let mut screen = Sessions::new(Some(study.clone()), Some("K-99".to_owned()), None);
    // Whoever is due is not known yet: what may have to be hidden is hidden.
    let refused = |screen: &mut Sessions| {
        matches!(screen.update(sessions::Message::Sheet(sessions::Ask::Results)), sessions::Action::None)
    };
    let place = study.list().sessions.iter().position(|own| own.session.id.as_str() == "s2").unwrap();
    let _ = screen.update(sessions::Message::Choose(place));
    assert!(refused(&mut screen));
    let mut begin = BySamples::try_new(study, &"s2".into(), "K-99", 7).unwrap();
    let _ = opened(press(&mut begin, &[named(Named::Enter)]));
    screen.refresh();
    assert!(refused(&mut screen), "a trial takes nobody's turn");
}

#[test]
fn the_reaction_lag_says_what_is_known_and_needs_a_person() {
    let folder = folder();
    let mut study = demo(&folder);
    let now = std::time::Instant::now();
    let none = Reaction::new(study.clone(), "K-99", 1, now);
    let words = "No lag is known of K-99: marks placed live stay where the key went down.";
    assert!(simulator(none.view(Mode::Dark)).find(words).is_ok());
    let person = study.study.people.iter_mut().find(|own| own.code.as_str() == "K-07").unwrap();
    person.reaction_lag_s = Some(Seconds::from_millis(240));
    let known = Reaction::new(study.clone(), "K-07", 1, now);
    let words = "0.24 s is noted for K-07, written by hand.";
    assert!(simulator(known.view(Mode::Light)).find(words).is_ok());
    let enter = || reaction::Message::KeyDown(named(Named::Enter), Modifiers::default(), false);
    let mut nobody = Reaction::new(study, "", 1, now);
    assert!(matches!(nobody.update(enter()), reaction::Action::None));
    let words = "Write your code or initials in Sessions first.";
    assert!(simulator(nobody.view(Mode::Dark)).find(words).is_ok());
    let escape = reaction::Message::KeyDown(named(Named::Escape), Modifiers::default(), false);
    assert!(matches!(nobody.update(escape), reaction::Action::Leave(_)));
}
