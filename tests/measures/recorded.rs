//! Codings by samples: made by keys, held against what sampling the continuous record would have given.

use std::collections::BTreeSet;
use std::sync::Arc;

use shedlight::measures::recorded::Recorded;
use shedlight::measures::sampling::thin;
use shedlight::measures::{Marks, Missing, Record, quantity, slips, summary};
use shedlight::model::samples::{self, Form, Sample, Samples};
use shedlight::model::{
    Behaviour, ClipId, Coding, Ethogram, Kind, Pass, RecordingRule, Role, Session, Study, validate,
};
use shedlight::storage::StudyFolder;
use shedlight::time::{Micros, Seconds, Span, Spans};
use shedlight::workbench::coder::{Coder, Pace, Refusal};
use shedlight::workbench::history::History;
use shedlight::workbench::reel::{Piece, Reel};
use shedlight::workbench::sampling::{State, Walk, asked_sets, pass_of, progress, questions};

use crate::common::root;

/// Pictures 40 ms apart wherever the session has film.
fn reel_of(session: &Session) -> Arc<Reel> {
    let first = session.clips[0].camera.clone();
    let pieces = session.clips.iter().filter(|clip| clip.camera == first).filter_map(|clip| {
        let span = clip.span()?;
        let times = (span.from.0..span.to.0).step_by(40_000).map(Micros).collect();
        Some(Piece { clip: clip.id, times, end: span.to })
    });
    Arc::new(Reel::new(pieces.collect()))
}

/// A coder at the start of a coding by samples of everything a point or interval can hold.
pub fn begun(like: &Coding, ethogram: &Ethogram, session: &Session, rule: RecordingRule) -> (Coder, Walk) {
    let mut coding = Coding::new(session.id.clone(), "R-01".into(), like.ethogram.clone());
    (coding.rule, coding.window) = (rule, like.observed_window(ethogram, session));
    let window = coding.window.unwrap();
    let samples = Samples::of(rule, window).unwrap();
    let all = questions(ethogram);
    let chosen: Vec<_> = all.iter().filter(|own| samples.form() == Form::Interval || !own.is_event).collect();
    coding.passes = vec![Pass::from(&pass_of(ethogram, &chosen, samples.form()).unwrap())];
    let film = Spans::from(window).without(&session.file_gaps());
    let coder =
        Coder::new(coding, Arc::new(ethogram.clone()), reel_of(session), Micros::ZERO, History::default());
    (coder, Walk::new(samples, film))
}

/// What a careful person would answer: the states of the true record that hold at the point, or that
/// were seen at all in the interval.
fn truth(record: &Record<'_>, sample: Sample) -> Vec<char> {
    let visible = record.visible().unwrap();
    let here = Spans::from(sample.span);
    let is_seen = if sample.span.is_empty() {
        visible.contains(sample.span.from)
    } else {
        !visible.intersection(&here).is_empty()
    };
    let holds = |behaviour: &&Behaviour| {
        if behaviour.kind == Kind::Event {
            return record.onsets(behaviour).iter().any(|(at, _)| sample.span.contains(*at));
        }
        let spans: Spans = record.bouts(behaviour).iter().map(|bout| bout.span).collect();
        if sample.span.is_empty() {
            spans.contains(sample.span.from)
        } else {
            !spans.intersection(visible).intersection(&here).is_empty()
        }
    };
    let wanted = |b: &&Behaviour| b.has_role(Role::Excluded) != is_seen && holds(b);
    let hidden = |b: &&Behaviour| b.has_role(Role::Excluded) && !is_seen;
    let pick = |b: &&Behaviour| if is_seen { wanted(b) && !b.has_role(Role::Excluded) } else { hidden(b) };
    record.ethogram.behaviours.iter().filter(pick).filter_map(|b| b.key).collect()
}

/// Codes every sample by keys: the sample's keys, and Enter where a key alone does not complete it.
pub fn walk_through(coder: &mut Coder, walk: &mut Walk, record: &Record<'_>) {
    loop {
        let sample = walk.sample().unwrap();
        let shot = walk.shot(&reel_of(record.session)).unwrap();
        for key in truth(record, sample) {
            let _ = coder.answer(walk, key, shot, Pace::Stepped).unwrap_or_else(|why| panic!("{key}: {why}"));
        }
        if !coder.is_answered(sample.number) {
            let _ = coder.finish_sample(walk).unwrap();
        }
        if !walk.next_unanswered(&coder.coding().passes[0].answered) {
            return;
        }
    }
}

fn rules() -> Vec<RecordingRule> {
    let offset = Seconds(samples::random_offset(Micros::from_whole_seconds(15), 7));
    let point = |every, offset_s| RecordingRule::Instantaneous { every_s: Seconds::whole(every), offset_s };
    vec![
        point(5, Seconds::whole(0)),
        point(15, offset),
        point(30, Seconds::from_millis(12_345)),
        RecordingRule::OneZero { every_s: Seconds::whole(15) },
        RecordingRule::OneZero { every_s: Seconds::whole(60) },
    ]
}

#[test]
fn codings_of_the_demo_by_samples_are_what_sampling_its_continuous_record_gives() {
    let folder = StudyFolder::open(&root().join("sample-codings")).unwrap();
    let (mut compared, mut gaps, mut hidden) = (0, 0, 0);
    for session in ["s1", "s2", "s5", "s6"] {
        let path = folder.root().join(format!("sessions/{session}/K-07.1.coding.json"));
        let loaded = folder.load_coding(&path).unwrap();
        let true_record =
            Record::try_new(&loaded.coding, &loaded.ethogram, &loaded.session, &folder.study, Marks::All)
                .unwrap();
        for rule in rules() {
            let (mut coder, mut walk) = begun(&loaded.coding, &loaded.ethogram, &loaded.session, rule);
            walk_through(&mut coder, &mut walk, &true_record);
            let coding = coder.coding();
            assert!(coding.passes[0].done, "all are answered: the pass is done");
            let problems = validate::coding(coding, &loaded.ethogram, &loaded.session);
            assert_eq!(problems, [], "{session} {rule:?}");
            let record =
                Record::try_new(coding, &loaded.ethogram, &loaded.session, &folder.study, Marks::All)
                    .unwrap();
            let recorded = Recorded::of(&record).unwrap();
            (gaps, hidden) = (gaps + recorded.in_gaps, hidden + recorded.out_of_sight);
            let (every, offset) = match rule {
                RecordingRule::Instantaneous { every_s, offset_s } => (every_s.micros(), offset_s.micros()),
                RecordingRule::OneZero { every_s } => (every_s.micros(), Micros::ZERO),
                RecordingRule::Continuous => unreachable!(),
            };
            for behaviour in &loaded.ethogram.behaviours {
                if behaviour.kind == Kind::Event || behaviour.has_role(Role::Excluded) {
                    continue;
                }
                let simulated = thin(&true_record, behaviour, every, offset).unwrap();
                let found = recorded.found(&record, behaviour).unwrap();
                let wanted = match recorded.samples.form() {
                    Form::Point => (simulated.hits, simulated.points),
                    Form::Interval => (simulated.touched, simulated.intervals),
                };
                assert_eq!((found.hits, found.of), wanted, "{session} {rule:?} {}", behaviour.id);
                compared += 1;
            }
        }
    }
    assert!(compared >= 4 * 5 * 11, "{compared}");
    assert!(gaps == 0 && hidden > 20, "out of sight was among them: {hidden}; {gaps}");
}

fn second(at: i64) -> Micros {
    Micros::from_whole_seconds(at)
}

/// Two clips of 20 s with a hole of 12 s between them.
fn holed() -> (Study, Ethogram, Session, Coding) {
    let folder = StudyFolder::open(&root().join("sample-codings")).unwrap();
    let ethogram = folder.ethogram(&"refuge".into(), 2).unwrap();
    let mut session = Session::new("s1".into(), "bramble".into());
    for (id, offset) in [(0, 0), (1, 32)] {
        let mut clip = shedlight::model::Clip::new(ClipId(id), &format!("clips/{id}.mp4"));
        (clip.offset, clip.length) = (second(offset), Some(second(20)));
        session.clips.push(clip);
    }
    let reference = shedlight::model::EthogramRef::to(&ethogram).unwrap();
    let coding = Coding::new("s1".into(), "K-01".into(), reference);
    (Study::new("Made"), ethogram, session, coding)
}

#[test]
fn rule_4_a_sample_without_film_is_out_of_sight_and_never_asked() {
    let (study, ethogram, session, like) = holed();
    let rule = RecordingRule::Instantaneous { every_s: Seconds::whole(5), offset_s: Seconds::whole(0) };
    let (mut coder, mut walk) = begun(&like, &ethogram, &session, rule);
    // Points at 0 5 10 15 | 20 25 30 without film | 35 40 45 50.
    let mut seen = vec![walk.sample().unwrap().number];
    for _ in 0..20 {
        walk.step(1);
        seen.push(walk.sample().unwrap().number);
    }
    seen.dedup();
    assert_eq!(seen, [1, 2, 3, 4, 8, 9, 10, 11]);
    walk.choose(6);
    assert_eq!(walk.sample().unwrap().number, 11, "one without film can't be chosen");
    walk.choose(1);
    let relaxed = ethogram.behaviour(&"still-relaxed".into()).unwrap().key.unwrap();
    let in_view = ethogram.with_role(Role::Visible).next().unwrap().key.unwrap();
    loop {
        let shot = walk.shot(&reel_of(&session)).unwrap();
        for key in [relaxed, in_view] {
            let _ = coder.answer(&walk, key, shot, Pace::Stepped).unwrap();
        }
        let _ = coder.finish_sample(&walk).unwrap();
        let record = Record::try_new(coder.coding(), &ethogram, &session, &study, Marks::All).unwrap();
        let recorded = Recorded::of(&record).unwrap();
        let found = recorded.found(&record, ethogram.behaviour(&"move".into()).unwrap());
        assert_eq!(found.is_err(), recorded.unanswered() > 0, "no number before the last answer");
        if !walk.next_unanswered(&coder.coding().passes[0].answered) {
            break;
        }
    }
    let states = walk.states(coder.coding(), &ethogram, 0);
    let told = progress(&states);
    assert_eq!((told.asked, told.answered, told.in_gaps, told.out_of_sight), (8, 8, 3, 0));
    assert!(told.is_done() && coder.coding().passes[0].done);
    assert_eq!(states[5].1, State::Gap);
}

#[test]
fn what_is_not_answered_is_no_zero_and_nothing_of_samples_is_a_time() {
    let (study, ethogram, session, like) = holed();
    let rule = RecordingRule::Instantaneous { every_s: Seconds::whole(5), offset_s: Seconds::whole(0) };
    let (mut coder, walk) = begun(&like, &ethogram, &session, rule);
    let key = ethogram.behaviour(&"move".into()).unwrap().key.unwrap();
    let shot = walk.shot(&reel_of(&session)).unwrap();
    let _ = coder.answer(&walk, key, shot, Pace::Stepped).unwrap();
    let mut coding = coder.coding().clone();
    coding.passes[0].done = true; // By hand: measures do not believe it.
    let record = Record::try_new(&coding, &ethogram, &session, &study, Marks::All).unwrap();
    let recorded = Recorded::of(&record).unwrap();
    let own = |id: &str| ethogram.behaviour(&id.into()).unwrap();
    assert_eq!(recorded.found(&record, own("move")), Err(Missing::PassNotDone));
    assert_eq!(recorded.answered, 0, "one key of two sets answers no point");
    let quantities = [
        quantity::Quantity::Share("move".into()),
        quantity::Quantity::Rate("move".into()),
        quantity::Quantity::OutOfSight,
        quantity::Quantity::Success,
        quantity::Quantity::ApproachShare,
        quantity::Quantity::StopIncidents,
        quantity::Quantity::Food,
        quantity::Quantity::OrientLatency,
    ];
    for asked in quantities {
        let found = quantity::value(&record, &asked);
        assert_eq!(found, Err(Missing::NotContinuous), "{asked:?}");
    }
    assert_eq!(slips::of(&record), []);
    let told = summary::coding(&record);
    assert!(told.figures.visible_s.is_none());
    for own in &told.figures.behaviours {
        assert_eq!((own.n, own.total_s, own.share_visible), (None, None, None), "{}", own.id);
    }
    let samples = told.samples.unwrap();
    assert_eq!((samples.n, samples.in_gaps, samples.answered), (11, 3, 0));
    assert!(samples.behaviours.iter().all(|own| own.hits.is_none() && own.why.is_some()));
    let is_seen = |id: &&shedlight::model::BehaviourId| {
        !ethogram.behaviour(id).unwrap().has_role(shedlight::model::Role::Excluded)
    };
    let asked: BTreeSet<String> = coding
        .passes
        .iter()
        .flat_map(|pass| &pass.behaviours)
        .filter(is_seen)
        .map(ToString::to_string)
        .collect();
    let told: BTreeSet<String> = samples.behaviours.iter().map(|own| own.id.clone()).collect();
    assert_eq!(told, asked, "all that is asked, and nothing else; out of sight is no finding");
    assert!(
        shedlight::agreement::align::Pairing::try_new(
            &coding,
            &coding,
            &ethogram,
            &session,
            shedlight::agreement::align::Marks::All
        )
        .is_err()
    );
}

#[test]
fn answers_are_corrected_cleared_and_taken_back_one_by_one() {
    let (_, ethogram, session, like) = holed();
    let rule = RecordingRule::Instantaneous { every_s: Seconds::whole(5), offset_s: Seconds::whole(0) };
    let (mut coder, mut walk) = begun(&like, &ethogram, &session, rule);
    // Only what the animal does: one key a point.
    let all = questions(&ethogram);
    let usual: Vec<_> = all.iter().filter(|own| own.usual).collect();
    let mut coding = coder.coding().clone();
    coding.passes = vec![Pass::from(&pass_of(&ethogram, &usual, Form::Point).unwrap())];
    coder =
        Coder::new(coding, Arc::new(ethogram.clone()), reel_of(&session), Micros::ZERO, History::default());
    assert_eq!(asked_sets(coder.coding(), &ethogram, 0).len(), 1);
    let key = |id: &str| ethogram.behaviour(&id.into()).unwrap().key.unwrap();
    let hidden = ethogram.with_role(Role::Excluded).next().unwrap().key.unwrap();
    let names = |coder: &Coder| -> BTreeSet<String> {
        coder.marks_in(1).map(|mark| mark.behaviour.to_string()).collect()
    };
    let reel = reel_of(&session);
    let shot = walk.shot(&reel).unwrap();
    let mut before = vec![coder.coding().clone()];
    let _ = coder.answer(&walk, key("move"), shot, Pace::Stepped).unwrap();
    assert!(coder.is_answered(1), "one key answered it");
    before.push(coder.coding().clone());
    let _ = coder.answer(&walk, key("explore"), shot, Pace::Stepped).unwrap();
    assert_eq!(names(&coder), ["explore".to_owned()].into(), "of a set only one holds");
    before.push(coder.coding().clone());
    assert!(matches!(coder.answer(&walk, key("explore"), shot, Pace::Stepped), Err(Refusal::NotHere(_))));
    let _ = coder.answer(&walk, hidden, shot, Pace::Stepped).unwrap();
    assert_eq!(names(&coder).len(), 1, "out of sight stands alone");
    assert!(coder.is_answered(1));
    before.push(coder.coding().clone());
    let _ = coder.answer(&walk, key("move"), shot, Pace::Stepped).unwrap();
    assert_eq!(names(&coder), ["move".to_owned()].into());
    before.push(coder.coding().clone());
    let _ = coder.clear_sample(&walk).unwrap();
    assert!(!coder.is_answered(1) && names(&coder).is_empty());
    assert!(coder.clear_sample(&walk).is_err());
    assert!(
        matches!(coder.finish_sample(&walk), Err(Refusal::SetOpen { .. })),
        "of this set one always holds"
    );
    // Another picture is not the point's.
    let other = reel.step_from(shot.at, 3).unwrap();
    assert!(matches!(coder.answer(&walk, key("move"), other, Pace::Stepped), Err(Refusal::NotHere(_))));
    while let Some(wanted) = before.pop() {
        let done = coder.undo().unwrap();
        assert_eq!(done.sample(), Some(1));
        assert_eq!(*coder.coding(), wanted);
    }
    assert_eq!(coder.undo(), Err(Refusal::NothingToUndo));
    walk.step(1);
    assert_eq!(walk.sample().unwrap().number, 2);
}

#[test]
fn intervals_are_ticked_once_and_out_of_sight_is_for_the_whole() {
    let (_, ethogram, session, like) = holed();
    let rule = RecordingRule::OneZero { every_s: Seconds::whole(10) };
    let (mut coder, mut walk) = begun(&like, &ethogram, &session, rule);
    // Intervals 0-10, 10-20, 20-30 without film, 30-40 in part, 40-50; 50-52 is not whole.
    assert_eq!(walk.samples().count(), 5);
    let key = |id: &str| ethogram.behaviour(&id.into()).unwrap().key.unwrap();
    let hidden = ethogram.with_role(Role::Excluded).next().unwrap().key.unwrap();
    let reel = reel_of(&session);
    let at = |seconds: f64| reel.shot_at(Micros::from_seconds(seconds).unwrap()).unwrap();
    let names = |coder: &Coder, number| -> Vec<String> {
        coder.marks_in(number).map(|mark| mark.behaviour.to_string()).collect()
    };
    let running = Pace::Live { speed: 1.0 };
    let _ = coder.answer(&walk, key("move"), at(2.0), running).unwrap();
    let _ = coder.answer(&walk, key("explore"), at(3.0), running).unwrap();
    assert_eq!(names(&coder, 1), ["move", "explore"], "both occurred, of one set");
    let refused = coder.answer(&walk, hidden, at(4.0), Pace::Stepped);
    assert!(matches!(refused, Err(Refusal::NotHere(_))), "it was seen in part");
    let again = coder.answer(&walk, key("move"), at(5.0), running);
    assert!(matches!(again, Err(Refusal::NotHere(_))), "while it runs, once more is no undoing");
    let _ = coder.answer(&walk, key("move"), at(5.0), Pace::Stepped).unwrap();
    assert_eq!(names(&coder, 1), ["explore"], "a second press on a standing picture takes the tick away");
    let _ = coder.finish_sample(&walk).unwrap();
    walk.step(1);
    let _ = coder.answer(&walk, hidden, at(12.0), Pace::Stepped).unwrap();
    assert!(!coder.is_answered(2), "the interval may still show it");
    let _ = coder.finish_sample(&walk).unwrap();
    assert!(coder.is_answered(2));
    let _ = coder.answer(&walk, hidden, at(12.0), Pace::Stepped).unwrap();
    assert!(!coder.is_answered(2), "taken away: nobody has said what was to be seen");
    let _ = coder.undo().unwrap();
    let _ = coder.answer(&walk, key("move"), at(19.0), Pace::Stepped).unwrap();
    assert_eq!(names(&coder, 2), ["move"], "in sight after all");
    assert!(!coder.is_answered(2), "what else occurred nobody has said yet");
    assert!(matches!(coder.answer(&walk, key("feed"), at(2.0), Pace::Stepped), Err(Refusal::NotHere(_))));
    walk.step(1);
    assert_eq!(walk.sample().unwrap().number, 4, "the one without film is passed over");
    assert_eq!(walk.shot(&reel).unwrap().at, second(32), "its first picture comes after the hole");
}

#[test]
fn a_key_pressed_as_the_next_interval_begins_speaks_of_the_one_before_by_its_lag() {
    let (_, ethogram, session, like) = holed();
    let rule = RecordingRule::OneZero { every_s: Seconds::whole(10) };
    let (coder, mut walk) = begun(&like, &ethogram, &session, rule);
    let reel = reel_of(&session);
    let lag = Micros::from_millis(250);
    let mut coder = Coder::new(
        coder.coding().clone(),
        Arc::new(ethogram.clone()),
        Arc::clone(&reel),
        lag,
        History::default(),
    );
    let key = |id: &str| ethogram.behaviour(&id.into()).unwrap().key.unwrap();
    walk.choose(2);
    let at = |millis: i64| reel.shot_at(Micros::from_millis(millis)).unwrap();
    // From a stop nothing can be late of the interval before: that one was not playing.
    let _ = coder.answer(&walk, key("move"), at(10_200), Pace::Live { speed: 1.0 }).unwrap();
    assert_eq!(coder.coding().marks[0].sample, Some(2));
    let _ = coder.undo().unwrap();
    walk.runs_on();
    let at = |millis: i64| reel.shot_at(Micros::from_millis(millis)).unwrap();
    for (millis, speed, id, number) in
        [(10_200, 1.0, "move", 1), (10_300, 1.0, "explore", 2), (10_300, 2.0, "feed", 1)]
    {
        let _ = coder.answer(&walk, key(id), at(millis), Pace::Live { speed }).unwrap();
        let mark = coder.coding().marks.iter().find(|mark| mark.behaviour.as_str() == id).unwrap();
        assert_eq!(mark.sample, Some(number), "{id}");
        let own = walk.samples().get(number).unwrap().span;
        assert!(own.contains(mark.from), "the mark sits on a picture of its interval");
    }
    // While it stands still there is no lag.
    let _ = coder.answer(&walk, key("still-relaxed"), at(10_000), Pace::Stepped).unwrap();
    assert_eq!(coder.coding().marks.iter().filter(|mark| mark.sample == Some(2)).count(), 2);
}

#[test]
fn an_unsure_answer_that_is_left_out_leaves_its_sample_out_too() {
    let (study, ethogram, session, like) = holed();
    let rule = RecordingRule::OneZero { every_s: Seconds::whole(10) };
    let (mut coder, mut walk) = begun(&like, &ethogram, &session, rule);
    let key = ethogram.behaviour(&"move".into()).unwrap().key.unwrap();
    let reel = reel_of(&session);
    let first = coder.answer(&walk, key, walk.shot(&reel).unwrap(), Pace::Stepped).unwrap();
    let _ = coder.toggle_unsure(first.focus.unwrap()).unwrap();
    loop {
        let _ = coder.finish_sample(&walk).unwrap();
        if !walk.next_unanswered(&coder.coding().passes[0].answered) {
            break;
        }
    }
    let found = |marks| {
        let record = Record::try_new(coder.coding(), &ethogram, &session, &study, marks).unwrap();
        let found =
            Recorded::of(&record).unwrap().found(&record, ethogram.behaviour(&"move".into()).unwrap());
        found.map(|found| (found.hits, found.of))
    };
    assert_eq!(found(Marks::All), Ok((1, 4)));
    assert_eq!(found(Marks::WithoutUnsure), Ok((0, 3)));
}

#[test]
fn what_is_asked_for_has_keys_of_its_own_and_points_hold_no_events() {
    let (_, mut ethogram, _, _) = holed();
    let all = questions(&ethogram);
    assert!(all.iter().filter(|own| own.usual).count() == 1, "what the animal does");
    assert!(pass_of(&ethogram, &[], Form::Point).is_err());
    let event = all.iter().find(|own| own.is_event).unwrap();
    assert!(pass_of(&ethogram, &[event], Form::Point).unwrap_err().contains("event"));
    let pass = pass_of(&ethogram, &[event], Form::Interval).unwrap();
    let hidden = ethogram.with_role(Role::Excluded).next().unwrap().id.clone();
    assert!(pass.behaviours.contains(&hidden), "out of sight is always asked");
    let activity: Vec<_> = all.iter().filter(|own| own.usual).collect();
    let first = activity[0].outline.behaviours[0].clone();
    let taken = ethogram.behaviour(&hidden).unwrap().key;
    ethogram.behaviours.iter_mut().find(|own| own.id == first).unwrap().key = taken;
    assert!(pass_of(&ethogram, &activity, Form::Point).unwrap_err().contains("share the key"));
    ethogram.behaviours.iter_mut().find(|own| own.id == first).unwrap().key = None;
    assert!(pass_of(&ethogram, &activity, Form::Point).unwrap_err().contains("no key"));
}

#[test]
fn the_time_left_is_the_pace_of_the_last_answers() {
    let window = Span { from: Micros::ZERO, to: second(100) };
    let rule = RecordingRule::Instantaneous { every_s: Seconds::whole(1), offset_s: Seconds::whole(0) };
    let mut walk = Walk::new(Samples::of(rule, window).unwrap(), window.into());
    let told = shedlight::workbench::sampling::Progress { asked: 100, answered: 6, ..Default::default() };
    let mut now = std::time::Duration::ZERO;
    for (n, seconds) in [2, 3, 2, 900, 2].into_iter().enumerate() {
        walk.answered_at(now);
        assert_eq!(walk.time_left(told), None, "after {n} answers nobody knows");
        now += std::time::Duration::from_secs(seconds);
    }
    walk.answered_at(now);
    assert_eq!(walk.time_left(told), Some(std::time::Duration::from_secs(2 * 94)), "a break is no pace");
}
