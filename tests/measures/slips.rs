//! Slips in small codings made by hand: each kind where it is one, and beside it where it is none.

use shedlight::measures::slips::{self, Slip, SlipKind};
use shedlight::model::{Actor, Kind, Role, Status};

use super::demo_records;
use super::made::{HIDDEN, Made, VISIBILITY, seconds};

/// A minute of training: enough to be asked about.
fn made() -> Made {
    let mut made = Made::new("first", 60.0);
    made.activities(&["move", "feed"]);
    made.training();
    made
}

fn found(made: &Made) -> Vec<Slip> {
    slips::of(&made.record())
}

fn kinds(made: &Made) -> Vec<(f64, SlipKind)> {
    found(made).iter().map(|slip| (slip.at.seconds(), slip.kind)).collect()
}

#[test]
fn a_sound_record_asks_nothing() {
    let mut made = made();
    let _ = made.bout("move", 0.0, 30.0);
    let _ = made.bout("feed", 30.0, 60.0);
    let _ = made.bout("cue", 5.0, 20.0);
    for (id, at) in [("orient", 6.0), ("approach", 8.0), ("contact", 12.0), ("marker", 12.2), ("food", 14.0)]
    {
        let _ = made.event(id, at);
    }
    assert_eq!(found(&made), []);
}

#[test]
fn two_states_of_a_set_at_once() {
    let mut made = made();
    let long = made.bout("move", 0.0, 50.0);
    let inside = made.bout("feed", 10.0, 20.0);
    let second = made.bout("feed", 30.0, 60.0);
    let all = found(&made);
    assert_eq!(
        all.iter().map(|slip| (slip.at, slip.kind, slip.mark)).collect::<Vec<_>>(),
        [(seconds(10.0), SlipKind::Overlap, Some(inside)), (seconds(30.0), SlipKind::Overlap, Some(second)),],
        "the long one still holds when the second begins; {long:?} itself is not asked about"
    );
    assert_eq!(
        all[0].words,
        "'feed' begins while 'move', from 0:00.000, still holds; only one of them can: end the other here?"
    );
}

#[test]
fn touching_states_and_states_of_two_sets_do_not_overlap() {
    let mut made = made();
    made.behaviour("in-view", Kind::State, Some(VISIBILITY), &[Role::Visible], Actor::Animal);
    let _ = made.bout("in-view", 0.0, 60.0);
    let _ = made.bout("move", 0.0, 30.0);
    let _ = made.bout("feed", 30.0, 60.0);
    assert_eq!(found(&made), []);
    let _ = made.bout("cue", 50.0, 56.0);
    let _ = made.event("orient", 51.0);
    let _ = made.bout("cue", 55.0, 58.0);
    let again = found(&made);
    assert!(again.iter().any(|slip| slip.kind == SlipKind::Overlap && slip.words.contains("begins again")));
}

#[test]
fn contacts_need_a_cue() {
    let mut made = made();
    let _ = made.bout("move", 0.0, 60.0);
    let early = made.event("contact", 3.0);
    let _ = made.bout("cue", 5.0, 20.0);
    let _ = made.event("contact", 20.0);
    let late = made.event("contact", 20.5);
    let all: Vec<Slip> =
        found(&made).into_iter().filter(|slip| slip.kind == SlipKind::ContactWithoutCue).collect();
    assert_eq!(all.iter().map(|slip| slip.mark).collect::<Vec<_>>(), [Some(early), Some(late)]);
    assert!(all[0].words.contains("none had been shown before"), "{}", all[0].words);
    assert!(all[1].words.contains("taken away 0.5 s before"), "the end itself is inside: {}", all[1].words);
    made.coding.passes[0].behaviours.retain(|id| id.as_str() != "cue");
    assert!(
        kinds(&made).iter().all(|(_, kind)| *kind != SlipKind::ContactWithoutCue),
        "cues are still to come"
    );
}

#[test]
fn states_nobody_ended() {
    let mut made = made();
    made.coding.status = Status::Open;
    let open = made.open_bout("move", 40.0);
    let cue = made.open_bout("cue", 45.0);
    let _ = made.event("orient", 46.0);
    let slips: Vec<_> = found(&made).into_iter().map(|slip| (slip.kind, slip.mark)).collect();
    assert_eq!(slips, [(SlipKind::OpenState, Some(open)), (SlipKind::CueLeftOn, Some(cue))]);
    made.coding.passes[0].done = false;
    assert_eq!(found(&made), [], "somebody is still at work on it");
}

#[test]
fn a_bout_ten_times_as_long_as_usual() {
    let mut made = made();
    for round in 0..5 {
        let start = f64::from(round) * 4.0;
        let _ = made.bout("move", start + 1.0, start + 3.0);
    }
    let long = made.bout("move", 30.0, 50.5);
    assert_eq!(kinds(&made), [(30.0, SlipKind::LongState)]);
    let slip = found(&made).pop().unwrap();
    assert_eq!(slip.mark, Some(long));
    assert_eq!(
        slip.words,
        "'move' lasts 20.5 s, more than ten times the usual 2.0 s: was its end forgotten?"
    );
    let _ = made.coding.marks.remove(0);
    assert_eq!(kinds(&made), [(30.0, SlipKind::LongState)], "five complete bouts are enough");
    let _ = made.coding.marks.remove(0);
    assert_eq!(kinds(&made), [], "four are not");
}

#[test]
fn a_presentation_in_which_nothing_is_marked() {
    let mut made = made();
    let _ = made.bout("move", 0.0, 60.0);
    let empty = made.bout("cue", 5.0, 20.0);
    let _ = made.bout("cue", 30.0, 40.0);
    let _ = made.event("orient", 30.0);
    let slips: Vec<_> = found(&made).into_iter().map(|slip| (slip.at, slip.kind, slip.mark)).collect();
    assert_eq!(slips, [(seconds(5.0), SlipKind::NoOutcome, Some(empty))]);
    made.coding.passes[0].behaviours.retain(|id| id.as_str() != "approach");
    assert_eq!(found(&made), [], "approaches are still to come");
}

#[test]
fn food_and_marker_go_together() {
    let mut made = made();
    let _ = made.bout("move", 0.0, 60.0);
    for (id, at) in [
        ("food", 2.0),
        ("marker", 5.0),
        ("food", 15.0),
        ("food", 15.1),
        ("marker", 20.0),
        ("marker", 21.0),
        ("food", 21.0),
        ("food", 30.0),
        ("marker", 58.0),
    ] {
        let _ = made.event(id, at);
    }
    assert_eq!(
        kinds(&made),
        [
            (2.0, SlipKind::FoodWithoutMarker),
            (15.1, SlipKind::FoodWithoutMarker),
            (20.0, SlipKind::MarkerWithoutFood),
            (58.0, SlipKind::MarkerWithoutFood),
        ],
        "ten seconds are still together, and one marker may announce two pieces"
    );
    let words: Vec<String> = found(&made).into_iter().map(|slip| slip.words).collect();
    assert_eq!(words[1], "Food without a marker (the last was given 10.1 s before): was the marker missed?");
    assert_eq!(words[2], "A marker without food (another marker comes first): was the food missed?");
    assert_eq!(words[3], "A marker without food (none comes after it): was the food missed?");
    made.coding.passes[0].behaviours.retain(|id| id.as_str() != "marker");
    assert_eq!(found(&made), [], "markers are still to come");
}

#[test]
fn events_while_out_of_sight() {
    let mut made = made();
    let _ = made.bout("move", 0.0, 60.0);
    let _ = made.bout(HIDDEN, 20.0, 30.0);
    let at_start = made.event("orient", 20.0);
    let _ = made.event("orient", 30.0);
    let _ = made.event("back-off", 25.0);
    let slips = found(&made);
    assert_eq!(slips.len(), 1, "its end is in sight again, and the handler is not the animal: {slips:?}");
    assert_eq!((slips[0].kind, slips[0].mark), (SlipKind::OutOfSight, Some(at_start)));
    assert!(slips[0].words.contains("0:20.000 to 0:30.000"), "{}", slips[0].words);
}

#[test]
fn a_minute_without_any_mark() {
    let mut made = Made::new("first", 300.0);
    made.activities(&["move", "feed"]);
    let _ = made.bout("move", 0.0, 60.0);
    let _ = made.bout("feed", 60.0, 121.0);
    let _ = made.bout(HIDDEN, 130.0, 200.0);
    let slips = found(&made);
    assert_eq!(
        slips.iter().map(|slip| (slip.at.seconds(), slip.kind)).collect::<Vec<_>>(),
        [(60.0, SlipKind::NothingMarked), (200.0, SlipKind::NothingMarked)],
        "sixty seconds are still fine, and out of sight there is nothing to mark"
    );
    assert_eq!(
        slips[0].words,
        "Nothing is marked for 61.0 s from here, and 'feed' is said to hold all the while: was this stretch watched?"
    );
    assert!(slips[1].words.contains("no behaviour is said to hold"), "{}", slips[1].words);
    made.coding.status = Status::Open;
    let mut second = made.coding.passes[0].clone();
    (second.done, second.behaviours) = (false, vec!["flick".into()]);
    made.coding.passes.push(second);
    assert_eq!(kinds(&made), [(60.0, SlipKind::NothingMarked)], "in a second pass the rest may still come");
}

#[test]
fn a_cue_shown_long_after_the_end() {
    let mut made = Made::new("first", 120.0);
    made.activities(&["move", "feed"]);
    made.training();
    let _ = made.bout("move", 0.0, 40.0);
    let _ = made.bout("feed", 40.0, 80.0);
    let _ = made.bout("move", 80.0, 120.0);
    let cue = made.bout("cue", 10.0, 50.5);
    let _ = made.event("contact", 20.0);
    let slips = found(&made);
    assert_eq!(slips.len(), 1, "{slips:?}");
    assert_eq!((slips[0].at, slips[0].kind, slips[0].mark), (seconds(20.0), SlipKind::CueLeftOn, Some(cue)));
    assert_eq!(
        slips[0].words,
        "The cue of presentation 1 is shown for another 30.5 s after it had ended (success): was its end forgotten?"
    );
}

#[test]
fn the_demo_has_few_slips() {
    let demo = demo_records::load();
    let of = |session: &str| {
        slips::of(&demo.primary(session))
            .iter()
            .map(|slip| (slip.at.seconds(), slip.kind))
            .collect::<Vec<_>>()
    };
    assert_eq!(of("s1"), [(537.8, SlipKind::NoOutcome)], "the tenth cue met with nothing at all");
    assert_eq!(of("s6"), [(577.0, SlipKind::LongState)], "a minute of walking at the end");
    for session in ["s2", "s3", "s4", "s5"] {
        assert_eq!(of(session), [], "{session}");
    }
}
