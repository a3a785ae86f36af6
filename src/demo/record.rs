//! The true record of the script, and what the second coder made of it.
//!
//! States change on whole seconds, so that comparing second by second and exactly give the same.

use super::script::{Cover, Ending, Laid, SESSIONS, Script, Tenths};
use super::{moments, study};
use crate::model::{ClipId, Coding, End, Ethogram, EthogramRef, Mark, MarkId, Pass, Purpose, Status};
use crate::time::Micros;

/// States of activity, in the order of the budgets.
pub const STATES: [&str; 7] =
    ["still-relaxed", "still-alert", "move", "explore", "feed", "cover", "defensive"];

/// A bout: from, to, place in [`STATES`].
type Run = (Tenths, Tenths, usize);

/// Seconds of each pair of states, first coder down, second across, in session 3.
const SECOND_S3: [[i64; 7]; 7] = [
    [138, 9, 2, 1, 0, 0, 0],
    [8, 112, 3, 2, 0, 1, 0],
    [1, 3, 117, 3, 0, 0, 0],
    [1, 2, 4, 56, 1, 0, 0],
    [0, 0, 0, 1, 87, 0, 0],
    [0, 2, 0, 0, 0, 16, 0],
    [0; 7],
];
/// The same in session 5; the displays are laid by hand and not in it.
const SECOND_S5: [[i64; 7]; 7] = [
    [60, 13, 0, 1, 0, 0, 0],
    [19, 112, 3, 4, 0, 9, 0],
    [0, 4, 62, 4, 0, 0, 0],
    [2, 3, 5, 30, 0, 0, 0],
    [0, 0, 0, 1, 23, 0, 0],
    [0, 10, 0, 0, 0, 28, 0],
    [0; 7],
];

const fn micros(at: Tenths) -> Micros {
    Micros(at * 100_000)
}

/// Bouts that the script fixes: cover, displays, and stillness around them.
fn fixed(script: &Script, laid: &[Laid]) -> Vec<Run> {
    let next_second = |at: Tenths| (at + 9).div_euclid(10) * 10;
    let mut runs: Vec<Run> = Vec::new();
    for cover in script.cover {
        let (from, length) = match *cover {
            Cover::At(second, length) => (second * 10, length),
            Cover::In(trial, after, length) => {
                (next_second(laid.get(trial - 1).map_or(0, |laid| laid.cue) + after * 10), length)
            }
            Cover::After(trial, length) => {
                let retreat = laid.get(trial - 1).and_then(|laid| laid.turns.iter().rfind(|(_, near)| !near));
                (next_second(retreat.map_or(0, |(at, _)| *at) + 1), length)
            }
        };
        runs.push((from, from + length * 10, 5));
    }
    if script.number == 5 {
        // Two displays; the second begins between seconds, with stillness on either side.
        runs.extend([(2710, 2850, 6), (2850, 2880, 1), (3810, 3822, 1), (3822, 3922, 6), (3922, 3950, 1)]);
    }
    runs.sort_unstable();
    runs
}

/// Time out of sight.
#[must_use]
pub fn hidden(script: &Script) -> Vec<(Tenths, Tenths)> {
    if !script.hidden_s.is_empty() {
        return script.hidden_s.iter().map(|(from, to)| (from * 10, to * 10)).collect();
    }
    let laid = script.laid();
    let fixed = fixed(script, &laid);
    let mut left = script.hidden_total_s * 10;
    let each = (script.hidden_total_s / 5).max(4) * 10;
    let mut hidden = Vec::new();
    for (i, before) in laid.iter().enumerate() {
        let until = laid.get(i + 1).map_or(script.length_s * 10, |next| next.cue);
        let mut from = (before.end + 49).div_euclid(10) * 10;
        if let Some((_, to, _)) = fixed.iter().find(|(a, b, _)| *a < until && *b > from) {
            from = *to;
        }
        let to = (until - 10).div_euclid(10) * 10;
        let takes = each.min(left).min(to - from);
        if takes > 0 {
            hidden.push((from, from + takes));
            left -= takes;
        }
    }
    hidden
}

/// What the animal does through the session: disjoint, in order, the budgets used up exactly.
#[must_use]
pub fn runs(script: &Script) -> Vec<Run> {
    let laid = script.laid();
    let mut runs = fixed(script, &laid);
    let mut left: Vec<Tenths> = script.budget_s.iter().map(|seconds| seconds * 10).collect();
    for (from, to, state) in &runs {
        if let Some(left) = left.get_mut(*state) {
            *left -= to - from;
        }
    }
    let mut taken: Vec<(Tenths, Tenths)> =
        runs.iter().map(|(from, to, _)| (*from, *to)).chain(hidden(script)).collect();
    taken.push((script.length_s * 10, script.length_s * 10));
    taken.sort_unstable();
    // How long each state likes to last, in tenths.
    let usual = [90, 110, 60, 50, 80, 0, 0];
    let mut turn = 0_usize;
    let mut at = 0;
    for (until, next) in taken {
        while at < until {
            let since_contact = laid.iter().filter_map(|laid| laid.contact).any(|c| at >= c && at < c + 130);
            let wishes = [if since_contact { 4 } else { turn % 4 }, 0, 1, 2, 3, 4];
            let Some(state) = wishes.into_iter().find(|state| left.get(*state).is_some_and(|left| *left > 0))
            else {
                break;
            };
            turn += 1;
            let room = left.get(state).copied().unwrap_or(0);
            let length = usual.get(state).copied().unwrap_or(60).min(room).min(until - at);
            if let Some(left) = left.get_mut(state) {
                *left -= length;
            }
            match runs.last_mut() {
                Some((_, to, own)) if *to == at && *own == state => *to += length,
                _ => runs.push((at, at + length, state)),
            }
            at += length;
        }
        at = at.max(next);
    }
    runs.sort_unstable();
    runs
}

/// What the second coder made of the same time: of each state's time so much is another state.
fn second_runs(script: &Script, first: &[Run], cells: &[[i64; 7]; 7]) -> Vec<Run> {
    let laid = script.laid();
    let by_hand: Vec<Run> = if script.number == 5 { fixed(script, &laid) } else { Vec::new() };
    let is_by_hand = |run: &Run| by_hand.iter().any(|own| own == run && run.2 != 5);
    let mut left = cells.map(|row| row.map(|seconds| seconds * 10));
    for (from, to, state) in first.iter().filter(|run| is_by_hand(run) && run.2 == 1) {
        // Stillness by the displays is seen alike; the three seconds after the first are not.
        let alike = if *from == 2850 { 0 } else { to - from };
        if let Some(cell) = left.get_mut(*state).and_then(|row| row.get_mut(*state)) {
            *cell -= alike;
        }
    }
    let mut waits: [Tenths; 7] = [40, 30, 20, 20, 30, 20, 0];
    let mut second: Vec<Run> = Vec::new();
    let mut push = |from: Tenths, to: Tenths, state: usize| match second.last_mut() {
        Some((_, end, own)) if *end == from && *own == state => *end = to,
        _ => second.push((from, to, state)),
    };
    for run in first {
        let (mut from, to, state) = *run;
        if is_by_hand(run) {
            match from {
                2710 => {
                    // One display, seen as two with a second between them.
                    push(2710, 2780, 6);
                    push(2780, 2790, 2);
                    push(2790, 2850, 6);
                }
                2850 => push(2850, 2880, 6),
                3822 => {
                    push(3822, 3862, 6);
                    push(3862, 3922, 1);
                }
                _ => push(from, to, state),
            }
            continue;
        }
        while from < to {
            let (Some(row), Some(wait)) = (left.get_mut(state), waits.get_mut(state)) else { break };
            let alike = row.get(state).copied().unwrap_or(0);
            let others: Vec<(usize, Tenths)> =
                row.iter().copied().enumerate().filter(|(j, cell)| *j != state && *cell > 0).collect();
            // The differences lie evenly over the time that is seen alike.
            let pieces: Tenths = others.iter().map(|(_, cell)| (cell + 19) / 20).sum();
            let (seen_as, length) = match others.first() {
                Some((other, cell)) if *wait <= 0 || alike == 0 => {
                    *wait = (alike / (pieces * 10)).max(1) * 10;
                    (*other, (*cell).min(20))
                }
                Some(_) => {
                    let length = alike.min(*wait).min(to - from);
                    *wait -= length;
                    (state, length)
                }
                None => (state, alike),
            };
            let length = length.min(to - from).max(1);
            if let Some(cell) = row.get_mut(seen_as) {
                *cell -= length;
            }
            push(from, from + length, seen_as);
            from += length;
        }
    }
    second
}

/// A coding in the making.
struct Maker {
    coding: Coding,
    clips: Vec<(ClipId, Tenths, Tenths)>,
}

impl Maker {
    fn new(
        script: &Script,
        ethogram: &Ethogram,
        by: &str,
        purpose: Purpose,
    ) -> Result<Self, serde_json::Error> {
        let mut coding = Coding::new(script.id.into(), by.into(), EthogramRef::to(ethogram)?);
        coding.purpose = purpose;
        coding.status = Status::Closed;
        // Coded the day after it was filmed; the second coder a week later.
        let days = if by == "K-12" { 7 } else { 1 };
        coding.closed = study::session(script).recorded_at.map(|at| at + chrono::TimeDelta::days(days));
        coding.passes = ethogram
            .passes
            .iter()
            .map(|outline| Pass { done: true, minutes: 9.0, ..Pass::from(outline) })
            .collect();
        if by == "K-12" {
            coding.masked = ["first record", "date", "step"].map(str::to_owned).to_vec();
        }
        let clips = study::session(script)
            .clips
            .iter()
            .filter(|clip| clip.id == ClipId(0) || clip.camera.is_none())
            .filter_map(|clip| {
                Some((clip.id, clip.offset.0 / 100_000, (clip.offset + clip.length?).0 / 100_000))
            })
            .collect();
        Ok(Self { coding, clips })
    }

    fn clip_at(&self, at: Tenths) -> Option<ClipId> {
        self.clips.iter().rfind(|(_, from, _)| *from <= at).or(self.clips.first()).map(|(id, ..)| *id)
    }

    fn add(&mut self, behaviour: &str, from: Tenths, to: Option<Tenths>) -> &mut Mark {
        let clip = self.clip_at(from);
        let id = MarkId(u64::try_from(self.coding.marks.len()).unwrap_or(0) + 1);
        let mut mark = Mark::event(id, behaviour.into(), micros(from));
        if let Some(to) = to {
            mark.to = End::At(micros(to));
        }
        mark.clip = clip;
        self.coding.marks.push(mark);
        // Just pushed: there is a last one.
        let last = self.coding.marks.len() - 1;
        #[allow(clippy::indexing_slicing)] // The line above.
        &mut self.coding.marks[last]
    }

    fn done(mut self) -> Coding {
        self.coding.marks.sort_by_key(|mark| (mark.from, mark.id));
        for (id, mark) in (1_u64..).zip(&mut self.coding.marks) {
            mark.id = MarkId(id);
        }
        self.coding
    }
}

/// Which of the animal's moments the second coder missed, and which only they saw.
struct SecondMoments {
    missed: &'static [(&'static str, usize)],
    extra: &'static [(&'static str, Tenths)],
}

const NOTHING: SecondMoments = SecondMoments { missed: &[], extra: &[] };
const MOMENTS_S3: SecondMoments = SecondMoments {
    missed: &[("approach", 4)],
    extra: &[("approach", 3300), ("retreat", 3350), ("orient", 3270)],
};
const MOMENTS_S5: SecondMoments = SecondMoments {
    missed: &[("approach", 1), ("retreat", 0), ("retreat", 4)],
    extra: &[("approach", 500), ("retreat", 2550)],
};

/// Everything but activity: visibility, cues, food, moments. `later`: how much later this coder
/// places the animal's moments.
fn surroundings(maker: &mut Maker, script: &Script, moments: &SecondMoments, later: Tenths) {
    let end = script.length_s * 10;
    let mut from = 0;
    for (hidden_from, hidden_to) in hidden(script) {
        if from < hidden_from {
            let _ = maker.add("in-view", from, Some(hidden_from));
        }
        // Within the pause between two pieces nobody needs to code what the file does not have.
        let coded_from = if script.number == 2 && hidden_from == study::gap(script).0 {
            study::gap(script).1
        } else {
            hidden_from
        };
        let mark = maker.add("out-of-sight", coded_from, Some(hidden_to));
        mark.detail = Some("cover".to_owned());
        from = hidden_to;
    }
    if from < end {
        let _ = maker.add("in-view", from, Some(end));
    }
    let mut animal: Vec<(&str, Tenths)> = Vec::new();
    for (laid, trial) in script.laid().iter().zip(script.trials) {
        let _ = maker.add("cue", laid.cue, Some(laid.cue_end));
        animal.extend(laid.orient.map(|at| ("orient", at)));
        animal.extend(laid.turns.iter().map(|(at, near)| (if *near { "approach" } else { "retreat" }, *at)));
        if let Some(contact) = laid.contact {
            animal.push(("contact", contact));
            let _ = maker.add("marker", contact + 4, None);
            let _ = maker.add("food", contact + 18, None);
            let _ = maker.add("take-food", contact + 28, None);
        }
        if let Ending::Stopped(_, after) = trial.ending {
            let _ = maker.add("back-off", laid.cue + after, None);
        }
    }
    animal.extend(
        script.turns_outside.iter().map(|(at, near)| (if *near { "approach" } else { "retreat" }, *at)),
    );
    if script.number == 5 {
        let _ = maker.add("reach-in", 2690, Some(2808));
        let _ = maker.add("back-off", 2808, None);
        animal.push(("hiss", 2715));
    }
    animal.sort_unstable_by_key(|(_, at)| *at);
    let mut counted: std::collections::BTreeMap<&str, usize> = std::collections::BTreeMap::new();
    for (behaviour, at) in animal {
        let n = counted.entry(behaviour).or_default();
        let is_missed = moments.missed.contains(&(behaviour, *n));
        *n += 1;
        // Contact is seen by both on the same picture.
        let later = if behaviour == "contact" { 0 } else { later };
        if !is_missed {
            let mark = maker.add(behaviour, at + later, None);
            if script.number == 4 && behaviour == "approach" && at == 4163 {
                mark.unsure = true;
                mark.note = Some("half behind the bark".to_owned());
            }
        }
    }
    for (behaviour, at) in moments.extra {
        let _ = maker.add(behaviour, *at, None);
    }
    for (from, to) in script.disturbances {
        let mark = maker.add("disturbance", *from, Some(*to));
        mark.note = Some("pump alarm".to_owned());
    }
}

fn with_runs(maker: &mut Maker, runs: &[Run]) {
    for (from, to, state) in runs {
        if let Some(name) = STATES.get(*state) {
            let _ = maker.add(name, *from, Some(*to));
        }
    }
}

/// All codings of the study.
///
/// # Errors
/// When an ethogram can't be put into JSON, which its types exclude.
pub fn codings() -> Result<Vec<Coding>, serde_json::Error> {
    let (first, second) = (study::ethogram(), study::second_revision());
    let mut codings = Vec::new();
    for script in SESSIONS {
        let before = codings.len();
        let runs = runs(script);
        let mut maker = Maker::new(script, &first, "K-07", Purpose::Primary)?;
        surroundings(&mut maker, script, &NOTHING, 0);
        with_runs(&mut maker, &runs);
        codings.push(maker.done());
        match script.number {
            1 => {
                // The same coder four weeks later: some changes of state a second later.
                let mut again = runs.clone();
                for i in (1..again.len()).step_by(3) {
                    let touches =
                        matches!(again.get(i - 1..=i), Some([a, b]) if a.1 == b.0 && b.1 - b.0 > 20);
                    if touches {
                        if let Some(before) = again.get_mut(i - 1) {
                            before.1 += 10;
                        }
                        if let Some(own) = again.get_mut(i) {
                            own.0 += 10;
                        }
                    }
                }
                let mut maker = Maker::new(script, &first, "K-07", Purpose::Repeat)?;
                surroundings(&mut maker, script, &NOTHING, 1);
                with_runs(&mut maker, &again);
                codings.push(maker.done());
            }
            3 => {
                let mut maker = Maker::new(script, &first, "K-12", Purpose::Second)?;
                surroundings(&mut maker, script, &MOMENTS_S3, 3);
                with_runs(&mut maker, &second_runs(script, &runs, &SECOND_S3));
                codings.push(maker.done());
            }
            5 => {
                let mut maker = Maker::new(script, &first, "K-12", Purpose::Second)?;
                surroundings(&mut maker, script, &MOMENTS_S5, 3);
                with_runs(&mut maker, &second_runs(script, &runs, &SECOND_S5));
                codings.push(maker.done());
                // Both again under the clearer definition, as a trial.
                let mut maker = Maker::new(script, &second, "K-07", Purpose::Trial)?;
                surroundings(&mut maker, script, &NOTHING, 0);
                with_runs(&mut maker, &runs);
                codings.push(maker.done());
                let mut settled = SECOND_S5;
                for (i, j) in [(1, 5), (5, 1)] {
                    if let Some(row) = settled.get_mut(i) {
                        let moved = row.get(j).copied().unwrap_or(0);
                        if let Some(cell) = row.get_mut(j) {
                            *cell = 0;
                        }
                        if let Some(cell) = row.get_mut(i) {
                            *cell += moved;
                        }
                    }
                }
                let mut maker = Maker::new(script, &second, "K-12", Purpose::Trial)?;
                surroundings(&mut maker, script, &MOMENTS_S5, 3);
                with_runs(&mut maker, &second_runs(script, &runs, &settled));
                codings.push(maker.done());
            }
            _ => {}
        }
        if let Some(own) = codings.get_mut(before..) {
            moments::number_frames(&study::session(script), own);
        }
    }
    Ok(codings)
}
