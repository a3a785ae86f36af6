//! Rules 3 and 6 to 9: what a key starts, what it ends, what it may not do.

use std::sync::Arc;

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng as _, SeedableRng as _};
use shedlight::model::{
    ClipId, Coding, End, Ethogram, EthogramRef, Mark, MarkId, Pass, Placed, Session, Status, Taxon, starter,
    validate,
};
use shedlight::time::Micros;
use shedlight::workbench::coder::{Coder, Edge, Pace, Refusal};
use shedlight::workbench::history::History;
use shedlight::workbench::reel::{Piece, Reel, Shot};

fn reel() -> Arc<Reel> {
    let times = (0..500).map(|n| Micros::from_millis(n * 40)).collect();
    Arc::new(Reel::new(vec![Piece { clip: ClipId(0), times, end: Micros::from_millis(20_000) }]))
}

fn coder_with(lag_ms: i64) -> Coder {
    let ethogram = starter::ethogram(Taxon::Chelonian);
    let mut coding = Coding::new("s1".into(), "K-01".into(), EthogramRef::to(&ethogram).unwrap());
    coding.passes = ethogram.passes.iter().map(Pass::from).collect();
    Coder::new(coding, Arc::new(ethogram), reel(), Micros::from_millis(lag_ms), History::default())
}

/// In the pass of visibility and activity.
fn coder() -> Coder {
    let mut coder = coder_with(0);
    coder.set_pass(Some(1));
    coder
}

fn at(millis: i64) -> Shot {
    reel().shot_at(Micros::from_millis(millis)).unwrap()
}

/// Behaviour, from and to in ms of each mark; -1: open, -2: an event.
fn marks(coder: &Coder) -> Vec<(String, i64, i64)> {
    let end = |mark: &Mark| match mark.to {
        End::Event => -2,
        End::Open => -1,
        End::At(to) => to.0 / 1000,
    };
    coder
        .coding()
        .marks
        .iter()
        .map(|mark| (mark.behaviour.to_string(), mark.from.0 / 1000, end(mark)))
        .collect()
}

fn bout(behaviour: &str, from: i64, to: i64) -> (String, i64, i64) {
    (behaviour.to_owned(), from, to)
}

#[test]
fn rule_6_a_state_without_a_set_excludes_nothing_and_its_key_toggles_it() {
    let mut coder = coder_with(0);
    coder.set_pass(Some(0));
    let _ = coder.press('q', at(1_000), Pace::Stepped).unwrap();
    let _ = coder.press('t', at(2_000), Pace::Stepped).unwrap();
    let _ = coder.press('q', at(3_000), Pace::Stepped).unwrap();
    assert_eq!(marks(&coder), [bout("cue", 1_000, 3_000), bout("touch", 2_000, -1)]);
}

#[test]
fn rule_7_a_state_ends_the_one_it_excludes_and_takes_over_its_end() {
    let mut coder = coder();
    let _ = coder.press('r', at(1_000), Pace::Stepped).unwrap();
    let done = coder.press('m', at(5_000), Pace::Stepped).unwrap();
    assert!(done.said.contains("Move about") && done.said.contains("ends Still, relaxed"), "{}", done.said);
    // Inside a closed bout: the new one runs to that one's end.
    let _ = coder.press('e', at(3_000), Pace::Stepped).unwrap();
    assert_eq!(
        marks(&coder),
        [bout("still-relaxed", 1_000, 3_000), bout("explore", 3_000, 5_000), bout("move", 5_000, -1)]
    );
    let first = &coder.coding().marks[0];
    assert_eq!(
        (first.frame.unwrap().0, first.to_frame.unwrap().0),
        (25, 75),
        "both edges keep their picture"
    );
    // Another set is not touched.
    let _ = coder.press('v', at(3_000), Pace::Stepped).unwrap();
    assert_eq!(marks(&coder).len(), 4);
}

#[test]
fn rule_7_in_empty_time_it_runs_at_most_to_the_next_bout_of_its_set() {
    let mut coder = coder();
    let _ = coder.press('m', at(5_000), Pace::Stepped).unwrap();
    let _ = coder.press('r', at(1_000), Pace::Stepped).unwrap();
    assert_eq!(marks(&coder), [bout("still-relaxed", 1_000, 5_000), bout("move", 5_000, -1)]);
    let _ = coder.end(None, at(2_000)).unwrap();
    assert_eq!(marks(&coder)[0], bout("still-relaxed", 1_000, 2_000));
}

#[test]
fn rule_7_the_key_of_the_state_that_holds_says_so_and_enter_ends_it() {
    let mut coder = coder();
    let _ = coder.press('r', at(1_000), Pace::Stepped).unwrap();
    let refusal = coder.press('r', at(2_000), Pace::Stepped).unwrap_err();
    assert!(matches!(refusal, Refusal::AlreadyHolds { .. }), "{refusal}");
    assert!(refusal.to_string().contains("since 0:01.000"), "{refusal}");
    let _ = coder.end(None, at(2_000)).unwrap();
    assert_eq!(marks(&coder), [bout("still-relaxed", 1_000, 2_000)]);
    assert_eq!(coder.end(None, at(4_000)).unwrap_err(), Refusal::NothingHolds);
}

#[test]
fn rule_7_a_second_press_on_the_same_picture_takes_the_bout_away() {
    let mut coder = coder();
    let _ = coder.press('r', at(1_000), Pace::Stepped).unwrap();
    let before = marks(&coder);
    let _ = coder.press('m', at(3_000), Pace::Stepped).unwrap();
    let _ = coder.press('m', at(3_000), Pace::Stepped).unwrap();
    assert_eq!(marks(&coder), before, "what it had cut short is whole again");
    coder.set_pass(Some(2));
    let _ = coder.press('a', at(4_000), Pace::Stepped).unwrap();
    assert_eq!(marks(&coder)[1], bout("approach", 4_000, -2));
    let _ = coder.press('a', at(4_000), Pace::Stepped).unwrap();
    assert_eq!(marks(&coder), before);
}

#[test]
fn rule_8_a_live_mark_lies_where_the_person_decided() {
    let mut coder = coder_with(250);
    coder.set_pass(Some(1));
    let _ = coder.press('r', at(4_000), Pace::Live { speed: 2.0 }).unwrap();
    // 4 s − 0.25 s × 2 = 3.5 s, and the picture shown then is that of 3.48 s.
    assert_eq!(marks(&coder), [bout("still-relaxed", 3_480, -1)]);
    let placed = coder.coding().marks[0].placed;
    let wanted = Placed::Live { speed: 2.0, raw: Micros::from_millis(4_000), lag: Micros::from_millis(250) };
    assert_eq!(placed, wanted);
    // Never before the previous mark of its set.
    let _ = coder.press('m', at(3_600), Pace::Live { speed: 1.0 }).unwrap();
    assert_eq!(marks(&coder), [bout("still-relaxed", 3_480, 3_520), bout("move", 3_520, -1)]);
}

#[test]
fn rule_9_keys_of_another_pass_are_dead_and_say_so() {
    let mut coder = coder();
    let refusal = coder.press('q', at(1_000), Pace::Stepped).unwrap_err();
    assert_eq!(refusal, Refusal::OtherPass { name: "Cue shown".to_owned() });
    assert_eq!(coder.press('9', at(1_000), Pace::Stepped).unwrap_err(), Refusal::UnknownKey('9'));
    // One key, two passes: the running one decides.
    let _ = coder.press('a', at(1_000), Pace::Stepped).unwrap();
    coder.set_pass(Some(2));
    let _ = coder.press('A', at(2_000), Pace::Stepped).unwrap();
    assert_eq!(marks(&coder), [bout("still-alert", 1_000, -1), bout("approach", 2_000, -2)]);
}

#[test]
fn rule_3_closing_ends_open_bouts_with_the_window() {
    let mut coder = coder();
    let _ = coder.press('r', at(1_000), Pace::Stepped).unwrap();
    let now = chrono::DateTime::parse_from_rfc3339("2025-03-04T09:00:00+00:00").unwrap();
    let _ = coder.close(Micros::from_millis(15_000), now).unwrap();
    assert_eq!(coder.coding().closed, Some(now));
    assert_eq!(marks(&coder), [bout("still-relaxed", 1_000, 15_000)]);
    assert_eq!(coder.press('m', at(2_000), Pace::Stepped).unwrap_err(), Refusal::Closed);
    let _ = coder.undo().unwrap();
    assert_eq!(marks(&coder), [bout("still-relaxed", 1_000, -1)]);
    assert_eq!(coder.coding().closed, None);
    let _ = coder.close(Micros::from_millis(15_000), now).unwrap();
    let _ = coder.reopen().unwrap();
    assert_eq!((coder.coding().status, coder.coding().closed), (Status::Open, None));
}

#[test]
fn corrections_move_edges_and_never_overlap() {
    let mut coder = coder();
    for (key, millis) in [('r', 1_000), ('m', 3_000), ('e', 5_000)] {
        let _ = coder.press(key, at(millis), Pace::Stepped).unwrap();
    }
    let id = coder.coding().marks[1].id;
    // A shared edge moves as one.
    let _ = coder.nudge(id, Edge::From, -3).unwrap();
    assert_eq!(marks(&coder)[..2], [bout("still-relaxed", 1_000, 2_880), bout("move", 2_880, 5_000)]);
    let _ = coder.nudge(id, Edge::To, 2).unwrap();
    assert_eq!(marks(&coder)[1..], [bout("move", 2_880, 5_080), bout("explore", 5_080, -1)]);
    assert!(coder.move_edge(id, Edge::From, at(900)).is_err(), "not over the whole bout before");
    assert!(coder.move_edge(id, Edge::To, at(2_000)).is_err(), "not before its start");
    let _ = coder.split(id, at(4_000)).unwrap();
    assert_eq!(marks(&coder)[1..3], [bout("move", 2_880, 4_000), bout("move", 4_000, 5_080)]);
    let _ = coder.merge(id).unwrap();
    assert_eq!(marks(&coder)[1], bout("move", 2_880, 5_080));
    assert!(matches!(coder.merge(id), Err(Refusal::Occupied { .. })));
    let _ = coder.change_behaviour(id, &"feed".into()).unwrap();
    assert_eq!(marks(&coder)[1], bout("feed", 2_880, 5_080));
    assert_eq!(coder.change_behaviour(id, &"approach".into()).unwrap_err(), Refusal::OtherKind);
    let _ = coder.toggle_unsure(id).unwrap();
    let _ = coder.set_note(id, " behind the bark ").unwrap();
    assert_eq!(coder.coding().mark(id).unwrap().note.as_deref(), Some("behind the bark"));
    let _ = coder.remove(id).unwrap();
    let _ = coder.undo().unwrap();
    assert!(coder.coding().mark(id).unwrap().unsure);
}

/// Thousands of random keys and corrections: the record stays sound, and taking everything back
/// leaves what there was.
#[test]
fn rule_7_any_keys_leave_a_sound_record_and_undo_leads_back() {
    let keys: Vec<char> = "rampefczbldhvoxq1to.".chars().collect();
    for seed in 0..40 {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let mut pick = |below: usize| usize::try_from(random.next_u64() % below as u64).unwrap();
        let mut coder = coder_with(200);
        let session = Session::new("s1".into(), "bramble".into());
        let start = coder.coding().clone();
        let mut states = vec![start.clone()];
        for _ in 0..120 {
            coder.set_pass([None, Some(0), Some(1), Some(2)][pick(4)]);
            let shot = at(i64::try_from(pick(500)).unwrap() * 40);
            let marks = coder.coding().marks.len();
            let id = if marks == 0 { MarkId(0) } else { coder.coding().marks[pick(marks)].id };
            let edge = [Edge::From, Edge::To][pick(2)];
            let done = match pick(10) {
                0..=4 => coder.press(
                    keys[pick(keys.len())],
                    shot,
                    [Pace::Stepped, Pace::Live { speed: 1.5 }][pick(2)],
                ),
                5 => coder.end(None, shot),
                6 => coder.move_edge(id, edge, shot),
                7 => coder.nudge(id, edge, [-1, 1, 5][pick(3)]),
                8 => coder.split(id, shot),
                _ => [Coder::merge, Coder::remove][pick(2)](&mut coder, id),
            };
            if done.is_ok() {
                states.push(coder.coding().clone());
            } else {
                assert_eq!(Some(coder.coding()), states.last(), "a refusal changes nothing");
            }
            let ethogram: &Ethogram = coder.ethogram();
            let problems = validate::coding(coder.coding(), ethogram, &session);
            let errors: Vec<_> = problems.iter().filter(|p| p.gravity == validate::Gravity::Error).collect();
            assert!(errors.is_empty(), "seed {seed}: {errors:?}");
        }
        let end = coder.coding().clone();
        for wanted in states.iter().rev().skip(1) {
            let _ = coder.undo().unwrap();
            assert_eq!(coder.coding(), wanted, "seed {seed}");
        }
        assert_eq!(coder.undo().unwrap_err(), Refusal::NothingToUndo);
        while coder.redo().is_ok() {}
        assert_eq!(*coder.coding(), end, "seed {seed}");
    }
}

#[test]
fn rule_2_marks_move_with_their_clip_and_back_as_one_step() {
    let mut coder = coder();
    for (key, millis) in [('r', 1_000), ('m', 3_000)] {
        let _ = coder.press(key, at(millis), Pace::Stepped).unwrap();
    }
    let _ = coder.end(None, at(5_000)).unwrap();
    let before = marks(&coder);
    let clip = coder.coding().marks[0].clip.unwrap();
    let _ = coder.realign(clip, |at| at + Micros(1_840_000)).unwrap();
    assert_eq!(marks(&coder), [bout("still-relaxed", 2_840, 4_840), bout("move", 4_840, 6_840)]);
    let _ = coder.undo().unwrap();
    assert_eq!(marks(&coder), before);
    let other = ClipId(clip.0 + 1);
    assert_eq!(coder.realign(other, |at| at).unwrap_err(), Refusal::NoSuchMark);
}
