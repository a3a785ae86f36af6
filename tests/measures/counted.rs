//! Interval measures against an enumeration of every millisecond, on random codings; and what must hold of any
//! coding whatever is in it. The enumeration knows nothing of spans: it asks of each millisecond what held.

#![allow(clippy::cast_precision_loss, clippy::similar_names)] // Milliseconds of a short film; "seed" and "seen".

use shedlight::measures::quantity::{Quantity, value};
use shedlight::measures::record::{Record, Seen};
use shedlight::measures::sampling::thin;
use shedlight::measures::sequence::{Repeats, Transitions};
use shedlight::measures::survivorship::{Lengths, lengths};
use shedlight::measures::{bouts, summary};
use shedlight::model::{Actor, BehaviourId, End, Kind, Role};
use shedlight::numeric::product_limit::Ending;
use shedlight::time::{Micros, Seconds, Span};
use std::num::NonZeroUsize;

use super::made::{ACTIVITY, HIDDEN, Made};

/// A small generator of its own (splitmix64; Steele, Lea & Flood 2014, from memory): any would do.
struct Dice(u64);

impl Dice {
    fn below(&mut self, n: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        usize::try_from((z ^ (z >> 31)) % n as u64).unwrap()
    }
}

/// Milliseconds of the film; the window lies within.
const FILM: usize = 20_000;
const FROM: usize = 1_500;
const TO: usize = 18_250;
/// A pause shorter than this does not end a bout of "b".
const PAUSE: usize = 400;
const STATES: [&str; 3] = ["a", "b", "c"];

fn s(ms: usize) -> f64 {
    ms as f64 / 1_000.0
}

fn at(ms: usize) -> Micros {
    Micros(i64::try_from(ms).unwrap() * 1_000)
}

/// A coding, and what was put into it, in milliseconds.
struct Case {
    made: Made,
    marks: Vec<(&'static str, usize, usize)>,
    events: Vec<(&'static str, usize)>,
}

/// One after another without a gap between most of them, on a coarse grid so that edges often coincide.
fn case(seed: u64) -> Case {
    let mut dice = Dice(seed);
    let mut made = Made::new("first", s(FILM));
    made.coding.window = Span::try_new(at(FROM), at(TO));
    made.activities(&STATES);
    made.ethogram.behaviours.iter_mut().find(|b| b.id.as_str() == "b").unwrap().new_bout_after_s =
        Some(Seconds(at(PAUSE)));
    made.behaviour("approach", Kind::Event, None, &[Role::Approach], Actor::Animal);
    made.behaviour("retreat", Kind::Event, None, &[Role::Retreat], Actor::Animal);
    made.behaviour("food", Kind::Event, None, &[Role::Food], Actor::Handler);
    let (mut marks, mut events) = (Vec::new(), Vec::new());
    let grid = [1, 50, 250][dice.below(3)];
    let mut now = dice.below(2_000) / grid * grid;
    while now < FILM - 1 {
        let to = (now + grid + dice.below(2_500) / grid * grid).min(FILM);
        if dice.below(5) > 0 {
            marks.push((STATES[dice.below(3)], now, to));
        }
        now = to;
    }
    for _ in 0..dice.below(5) {
        let from = dice.below(FILM - 3_000) / grid * grid;
        marks.push((HIDDEN, from, from + grid + dice.below(2_000) / grid * grid));
    }
    for _ in 0..dice.below(40) {
        events.push((["approach", "retreat", "food"][dice.below(3)], dice.below(FILM) / grid * grid));
    }
    for (id, from, to) in &marks {
        let _ = made.bout(id, s(*from), s(*to));
    }
    for (id, moment) in &events {
        let _ = made.event(id, s(*moment));
    }
    Case { made, marks, events }
}

impl Case {
    /// Whether any mark of a behaviour covers each millisecond; pauses of "b" filled.
    fn held(&self, id: &str) -> Vec<bool> {
        let covers =
            |ms: usize| self.marks.iter().any(|(own, from, to)| *own == id && *from <= ms && ms < *to);
        let mut held: Vec<bool> = (0..FILM).map(covers).collect();
        if id == "b" {
            let mut last: Option<usize> = None;
            for ms in 0..FILM {
                if held[ms] {
                    if let Some(last) = last.filter(|last| ms - last - 1 < PAUSE) {
                        held[last + 1..ms].fill(true);
                    }
                    last = Some(ms);
                }
            }
        }
        held
    }

    fn seen(&self) -> Vec<bool> {
        let hidden = self.held(HIDDEN);
        (0..FILM).map(|ms| (FROM..TO).contains(&ms) && !hidden[ms]).collect()
    }
}

/// Stretches in which something holds.
fn runs(holds: &[bool]) -> Vec<(usize, usize)> {
    let mut found: Vec<(usize, usize)> = Vec::new();
    for ms in (0..holds.len()).filter(|ms| holds[*ms]) {
        match found.last_mut() {
            Some((_, to)) if *to == ms => *to = ms + 1,
            _ => found.push((ms, ms + 1)),
        }
    }
    found
}

fn both(a: &[bool], b: &[bool]) -> Vec<bool> {
    a.iter().zip(b).map(|(a, b)| *a && *b).collect()
}

fn n(holds: &[bool]) -> usize {
    holds.iter().filter(|own| **own).count()
}

fn near(a: f64, b: f64) -> bool {
    (a - b).abs() < 1e-9
}

#[test]
fn every_interval_measure_is_what_counting_milliseconds_gives() {
    for seed in 0..60 {
        let case = case(seed);
        let record = case.made.record();
        let seen = case.seen();
        assert_eq!(record.visible().unwrap().total(), at(n(&seen)), "seed {seed}");
        let out = value(&record, &Quantity::OutOfSight).unwrap().value;
        assert!(near(out, 1.0 - s(n(&seen)) / s(TO - FROM)), "seed {seed}");
        for id in STATES {
            let held = both(&case.held(id), &seen);
            bouts_are_counted(seed, &record, &case, id, &held, &seen);
            gaps_are_counted(seed, &record, &case, id, &held, &seen);
            samples_are_counted(seed, &record, &case, id, &held, &seen);
        }
        let counted = |id: &str, seen: &dyn Fn(usize) -> bool| {
            case.events.iter().filter(|(own, ms)| *own == id && seen(*ms)).count()
        };
        let of_animal = |id| counted(id, &|ms| seen[ms]);
        for id in ["approach", "retreat"] {
            assert_eq!(record.onsets(case.made.own(id)).len(), of_animal(id), "seed {seed}");
        }
        let (a, r) = (of_animal("approach"), of_animal("retreat"));
        if a + r > 0 {
            let share = value(&record, &Quantity::ApproachShare).unwrap().value;
            assert!(near(share, a as f64 / (a + r) as f64), "seed {seed}");
        }
        // The keeper feeds whether the animal is in sight or not.
        let food = counted("food", &|ms| (FROM..TO).contains(&ms));
        let rate = value(&record, &Quantity::Food).unwrap().value;
        assert!(near(rate, food as f64 * 60.0 / s(TO - FROM)), "seed {seed}");
    }
}

fn bouts_are_counted(seed: u64, record: &Record<'_>, case: &Case, id: &str, held: &[bool], seen: &[bool]) {
    let cut = |is_cut: bool| if is_cut { Seen::Cut } else { Seen::Whole };
    let wanted: Vec<_> = runs(held)
        .into_iter()
        .map(|(from, to)| (at(from), at(to), cut(!seen[from - 1]), cut(!seen[to])))
        .collect();
    let own = case.made.own(id);
    let found: Vec<_> = record.bouts(own).iter().map(|b| (b.span.from, b.span.to, b.start, b.end)).collect();
    assert_eq!(found, wanted, "seed {seed}, {id}");
    let tally = bouts::tally(record, own).unwrap();
    let whole: Vec<f64> = wanted
        .iter()
        .filter(|(_, _, start, end)| *start == Seen::Whole && *end == Seen::Whole)
        .map(|(from, to, _, _)| (*to - *from).seconds())
        .collect();
    assert_eq!(
        (tally.n as usize, tally.n_complete as usize),
        (wanted.len(), whole.len()),
        "seed {seed}, {id}"
    );
    assert_eq!(tally.total, at(n(held)), "seed {seed}, {id}");
    match tally.mean() {
        Some(mean) => {
            assert!(near(mean, whole.iter().sum::<f64>() / whole.len() as f64), "seed {seed}, {id}");
        }
        None => assert!(whole.is_empty()),
    }
    let hour = s(n(seen)) / 3_600.0;
    let id = BehaviourId::from(id);
    let share = value(record, &Quantity::Share(id.clone())).unwrap().value;
    assert!(near(share, n(held) as f64 / n(seen) as f64), "seed {seed}");
    let rate = value(record, &Quantity::Rate(id)).unwrap().value;
    assert!((rate - wanted.len() as f64 / hour).abs() < 1e-6, "seed {seed}");
}

fn gaps_are_counted(seed: u64, record: &Record<'_>, case: &Case, id: &str, held: &[bool], seen: &[bool]) {
    let mut wanted = Vec::new();
    for (from, to) in runs(seen) {
        let (mut since, mut is_after) = (from, false);
        for (ms, holds) in held.iter().enumerate().take(to).skip(from) {
            if *holds {
                if is_after && ms > since {
                    wanted.push((s(ms - since), Ending::Reached));
                }
                (since, is_after) = (ms + 1, true);
            }
        }
        if is_after && since < to {
            wanted.push((s(to - since), Ending::Censored));
        }
    }
    let found = lengths(record, case.made.own(id), Lengths::Gaps).unwrap();
    assert_eq!(found.len(), wanted.len(), "seed {seed}, {id}");
    for (found, (length, ending)) in found.iter().zip(&wanted) {
        assert!(near(found.length, *length) && found.ending == *ending, "seed {seed}, {id}");
    }
}

fn samples_are_counted(seed: u64, record: &Record<'_>, case: &Case, id: &str, held: &[bool], seen: &[bool]) {
    for (every, offset) in [(250, 0), (1_000, 0), (1_000, 300), (3_333, 1)] {
        let thinned = thin(record, case.made.own(id), at(every), at(offset)).unwrap();
        let points: Vec<usize> = (FROM + offset..TO).step_by(every).collect();
        let at_points = |holds: &[bool]| points.iter().filter(|ms| holds[**ms]).count();
        let whole: Vec<_> =
            points.iter().filter(|ms| **ms + every <= TO).map(|ms| *ms..*ms + every).collect();
        let any = |holds: &[bool]| whole.iter().filter(|own| holds[(*own).clone()].contains(&true)).count();
        let filled = whole.iter().filter(|own| !held[(*own).clone()].contains(&false)).count();
        let found = [thinned.points, thinned.hits, thinned.intervals, thinned.touched, thinned.filled]
            .map(|n| n as usize);
        let wanted = [at_points(seen), at_points(held), any(seen), any(held), filled];
        assert_eq!(found, wanted, "seed {seed}, {id}, every {every} ms from {offset}");
    }
}

#[test]
fn every_transition_is_what_counting_milliseconds_gives() {
    for seed in 100..160 {
        let mut case = case(seed);
        for behaviour in &mut case.made.ethogram.behaviours {
            behaviour.new_bout_after_s = None;
        }
        let seen = case.seen();
        // Which state holds at each millisecond; the marks of a set never overlap here.
        let state = |ms: usize| {
            let own = case.marks.iter().find(|(id, from, to)| *id != HIDDEN && *from <= ms && ms < *to)?;
            seen[ms].then(|| STATES.iter().position(|id| *id == own.0))?
        };
        let states: Vec<Option<usize>> = (0..FILM).map(state).collect();
        let mut wanted = vec![vec![0_u32; 3]; 3];
        for pair in states.windows(2) {
            if let [Some(from), Some(to)] = pair {
                wanted[*from][*to] += u32::from(from != to);
            }
        }
        let record = case.made.record();
        let found =
            Transitions::of(&[&record], &ACTIVITY.into(), NonZeroUsize::MIN, Repeats::Merged).unwrap();
        assert_eq!(found.counts.rows(), wanted, "seed {seed}");
    }
}

/// The window filled: no stretch without a state of the set, states without pauses.
fn filled(seed: u64) -> Case {
    let mut case = case(seed);
    case.made.ethogram.behaviours.iter_mut().for_each(|b| b.new_bout_after_s = None);
    case.made.coding.marks.retain(|mark| !STATES.contains(&mark.behaviour.as_str()));
    let mut dice = Dice(seed + 1_000);
    let mut now = 0;
    while now < FILM {
        let to = (now + 1 + dice.below(3_000)).min(FILM);
        let _ = case.made.bout(STATES[dice.below(3)], s(now), s(to));
        now = to;
    }
    case
}

fn total(record: &Record<'_>, case: &Case, id: &str) -> Micros {
    bouts::tally(record, case.made.own(id)).unwrap().total
}

#[test]
fn budgets_sum_to_visible_time_and_bouts_partition_it() {
    for seed in 0..30 {
        let case = filled(seed);
        let record = case.made.record();
        let visible = record.visible().unwrap();
        let sum: Micros = STATES.iter().map(|id| total(&record, &case, id)).sum();
        assert_eq!(sum, visible.total(), "seed {seed}");
        assert_eq!(sum + record.excluded().total(), record.window().length(), "seed {seed}");
        let mut spans: Vec<Span> =
            STATES.iter().flat_map(|id| record.bouts(case.made.own(id))).map(|bout| bout.span).collect();
        spans.sort_unstable();
        assert!(spans.windows(2).all(|pair| pair[0].to <= pair[1].from), "seed {seed}: none overlaps");
        assert_eq!(&spans.into_iter().collect::<shedlight::time::Spans>(), visible, "seed {seed}");
    }
}

#[test]
fn the_parts_of_a_split_window_add_up_to_the_whole() {
    for seed in 0..30 {
        let mut case = case(seed);
        let cut = FROM + 1 + Dice(seed + 7).below(TO - FROM - 2);
        let mut parts = Vec::new();
        for (from, to) in [(FROM, TO), (FROM, cut), (cut, TO)] {
            case.made.coding.window = Span::try_new(at(from), at(to));
            let record = case.made.record();
            let times: Vec<Micros> = STATES.iter().map(|id| total(&record, &case, id)).collect();
            let events = ["approach", "retreat", "food"].map(|id| record.onsets(case.made.own(id)).len());
            let bouts = STATES.map(|id| record.bouts(case.made.own(id)).len());
            parts.push((record.visible().unwrap().total(), times, events, bouts));
        }
        let [whole, first, second] = parts.as_slice() else { unreachable!() };
        assert_eq!(first.0 + second.0, whole.0, "seed {seed}");
        let seen = case.seen();
        for (place, id) in STATES.iter().enumerate() {
            assert_eq!(first.1[place] + second.1[place], whole.1[place], "seed {seed}, {id}");
            let held = both(&case.held(id), &seen);
            let halved = usize::from(held[cut - 1] && held[cut]);
            assert_eq!(first.3[place] + second.3[place], whole.3[place] + halved, "seed {seed}, {id}");
        }
        for place in 0..3 {
            assert_eq!(first.2[place] + second.2[place], whole.2[place], "seed {seed}");
        }
    }
}

#[test]
fn stretching_time_stretches_durations_and_leaves_shares_alone() {
    for seed in 0..30 {
        let mut case = case(seed);
        let of = |case: &Case| {
            let record = case.made.record();
            let times: Vec<Micros> = STATES.iter().map(|id| total(&record, case, id)).collect();
            let shares = STATES.map(|id| value(&record, &Quantity::Share(id.into())).unwrap().value);
            (times, shares, STATES.map(|id| record.bouts(case.made.own(id)).len()))
        };
        let before = of(&case);
        let stretched = |time: Micros| Micros(time.0 * 3);
        case.made.coding.window = Span::try_new(stretched(at(FROM)), stretched(at(TO)));
        for mark in &mut case.made.coding.marks {
            mark.from = stretched(mark.from);
            if let End::At(to) = mark.to {
                mark.to = End::At(stretched(to));
            }
        }
        for behaviour in &mut case.made.ethogram.behaviours {
            behaviour.new_bout_after_s =
                behaviour.new_bout_after_s.map(|own| Seconds(stretched(own.micros())));
        }
        let after = of(&case);
        assert_eq!(before.0.into_iter().map(stretched).collect::<Vec<_>>(), after.0, "seed {seed}");
        assert!(before.1.iter().zip(after.1).all(|(a, b)| near(*a, b)), "seed {seed}");
        assert_eq!(before.2, after.2, "seed {seed}");
    }
}

#[test]
fn other_names_change_no_number() {
    for seed in 0..30 {
        let mut case = case(seed);
        let before = summary::coding(&case.made.record()).figures;
        let other = |id: &BehaviourId| BehaviourId::from(format!("z-{id}").as_str());
        for behaviour in &mut case.made.ethogram.behaviours {
            (behaviour.id, behaviour.name) = (other(&behaviour.id), format!("Other {}", behaviour.name));
        }
        for pass in &mut case.made.coding.passes {
            pass.behaviours = pass.behaviours.iter().map(other).collect();
        }
        for mark in &mut case.made.coding.marks {
            mark.behaviour = other(&mark.behaviour);
        }
        let mut after = summary::coding(&case.made.record()).figures;
        for (own, was) in after.behaviours.iter_mut().zip(&before.behaviours) {
            (own.id, own.name) = (was.id.clone(), was.name.clone());
        }
        assert_eq!(after, before, "seed {seed}");
    }
}
