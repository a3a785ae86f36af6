//! Checks of what was read: everything a file can say that makes no sense.
//!
//! A check names the place by JSON pointer (RFC 6901); storage turns it into line and column.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

use rustc_hash::{FxHashMap, FxHashSet};

use super::{
    Animal, Behaviour, BehaviourId, Coding, ConcernRule, End, Ethogram, Kind, Mark, MarkId, Role, Session,
    SetId, Study,
};
use crate::time::{Micros, Span};

/// Something that makes no sense, or might not.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// How bad.
    pub gravity: Gravity,
    /// Where: a JSON pointer into the file.
    pub pointer: String,
    /// What is wrong.
    pub what: String,
    /// What to do.
    pub remedy: String,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.what, self.remedy)
    }
}

/// How bad a problem is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Gravity {
    /// Worth a look; numbers can be had.
    Remark,
    /// Numbers would be wrong: measures refuse the file.
    Error,
}

struct Problems(Vec<Problem>);

impl Problems {
    fn error(&mut self, pointer: impl Into<String>, what: impl Into<String>, remedy: impl Into<String>) {
        self.0.push(Problem {
            gravity: Gravity::Error,
            pointer: pointer.into(),
            what: what.into(),
            remedy: remedy.into(),
        });
    }

    fn remark(&mut self, pointer: impl Into<String>, what: impl Into<String>, remedy: impl Into<String>) {
        self.0.push(Problem {
            gravity: Gravity::Remark,
            pointer: pointer.into(),
            what: what.into(),
            remedy: remedy.into(),
        });
    }
}

/// Checks a study file.
#[must_use]
pub fn study(study: &Study) -> Vec<Problem> {
    let mut found = Problems(Vec::new());
    once(&mut found, "/animals", "id", "animal", study.animals.iter().map(|animal| animal.id.as_str()));
    once(&mut found, "/people", "code", "person", study.people.iter().map(|person| person.code.as_str()));
    once(&mut found, "/plans", "id", "plan", study.plans.iter().map(|plan| plan.id.as_str()));
    for (i, animal) in study.animals.iter().enumerate() {
        check_animal(&mut found, i, animal);
    }
    for (i, plan) in study.plans.iter().enumerate() {
        if study.animal(&plan.animal).is_none() {
            found.error(
                format!("/plans/{i}/animal"),
                format!("plan '{}' is for an animal '{}' that the study does not have", plan.id, plan.animal),
                "add the animal or correct its id",
            );
        }
        let mut steps = BTreeSet::new();
        for (j, step) in plan.steps.iter().enumerate() {
            if !steps.insert(step.n) {
                found.error(
                    format!("/plans/{i}/steps/{j}/n"),
                    format!("plan '{}' has step {} twice", plan.id, step.n),
                    "give each step its own number",
                );
            }
            if step.criterion.k > step.criterion.n || step.criterion.n == 0 {
                found.error(
                    format!("/plans/{i}/steps/{j}/criterion"),
                    format!("step {} asks for {} of {}", step.n, step.criterion.k, step.criterion.n),
                    "ask for at most as many successes as presentations",
                );
            }
        }
    }
    if !(0.0..=1.0).contains(&study.double_coding.share) {
        found.error(
            "/double_coding/share",
            format!("{} is no share", study.double_coding.share),
            "write a number between 0 and 1",
        );
    }
    found.0
}

fn check_animal(found: &mut Problems, i: usize, animal: &Animal) {
    if let Some(mass) = &animal.mass
        && !(mass.grams > 0.0 && mass.grams.is_finite())
    {
        found.error(
            format!("/animals/{i}/mass/grams"),
            format!("a mass of {} g", mass.grams),
            "write grams above 0, or leave the mass out",
        );
    }
    for (j, own) in animal.concern.iter().enumerate() {
        for (k, rule) in own.rules.iter().enumerate() {
            check_concern(found, &format!("/animals/{i}/concern/{j}/rules/{k}"), rule);
        }
    }
}

/// Each name only once.
fn once<'a>(found: &mut Problems, list: &str, key: &str, kind: &str, names: impl Iterator<Item = &'a str>) {
    let mut seen = BTreeSet::new();
    for (i, name) in names.enumerate() {
        if name.is_empty() {
            found.error(format!("{list}/{i}/{key}"), format!("a {kind} without {key}"), "give it one");
        } else if !seen.insert(name) {
            found.error(
                format!("{list}/{i}/{key}"),
                format!("two of {kind} '{name}'"),
                format!("give each {kind} its own {key}"),
            );
        }
    }
}

fn check_concern(found: &mut Problems, pointer: &str, rule: &ConcernRule) {
    let Some(rise) = &rule.rise else { return };
    let by_count = match (rise.count, rise.window_s) {
        (None, None) => false,
        (Some(count), Some(_)) if count > 0 => true,
        _ => {
            found.error(
                format!("{pointer}/rise"),
                "a rise by count needs both how many and within what time",
                "give count (1 or more) and window_s",
            );
            return;
        }
    };
    let ways =
        usize::from(by_count) + usize::from(rise.after_s.is_some()) + usize::from(rise.total_s.is_some());
    if ways != 1 {
        found.error(
            format!("{pointer}/rise"),
            "a rise must say exactly one way in which the level rises",
            "give one of after_s, total_s, or count with window_s",
        );
    }
    if rise.to <= rule.level {
        found.error(
            format!("{pointer}/rise/to"),
            "the level does not rise",
            "let the rise lead to a higher level than the rule's own",
        );
    }
}

/// Checks an ethogram.
#[must_use]
pub fn ethogram(ethogram: &Ethogram) -> Vec<Problem> {
    let mut found = Problems(Vec::new());
    once(&mut found, "/sets", "id", "set", ethogram.sets.iter().map(|set| set.id.as_str()));
    once(&mut found, "/behaviours", "id", "behaviour", ethogram.behaviours.iter().map(|b| b.id.as_str()));
    for (i, behaviour) in ethogram.behaviours.iter().enumerate() {
        check_behaviour(&mut found, i, behaviour, ethogram);
    }
    for (i, pass) in ethogram.passes.iter().enumerate() {
        check_pass_behaviours(&mut found, &format!("/passes/{i}"), &pass.behaviours, ethogram);
    }
    if ethogram.with_role(Role::Excluded).next().is_none() {
        found.remark(
            "/behaviours",
            "no behaviour means out of sight",
            "add a state with the role excluded, or all time counts as visible",
        );
    }
    for (i, set) in ethogram.sets.iter().enumerate() {
        if ethogram.states_of(&set.id).next().is_none() {
            found.remark(
                format!("/sets/{i}"),
                format!("no state belongs to the set '{}'", set.name),
                "add states to it or remove it",
            );
        }
    }
    found.0
}

fn check_behaviour(found: &mut Problems, i: usize, behaviour: &Behaviour, ethogram: &Ethogram) {
    let name = &behaviour.name;
    if let Some(set) = &behaviour.set {
        if ethogram.set(set).is_none() {
            found.error(
                format!("/behaviours/{i}/set"),
                format!("'{name}' belongs to a set '{set}' that the ethogram does not have"),
                "add the set or correct its id",
            );
        }
        if behaviour.kind == Kind::Event {
            found.error(
                format!("/behaviours/{i}/set"),
                format!("'{name}' is an event and belongs to a set"),
                "only states exclude each other: remove its set",
            );
        }
    }
    if behaviour.key.is_some_and(|key| !key.is_ascii_alphanumeric()) {
        found.error(
            format!("/behaviours/{i}/key"),
            format!("'{name}' has a key that is neither letter nor digit"),
            "choose a letter or a digit",
        );
    }
    if behaviour.definition.onset.trim().is_empty() {
        found.remark(
            format!("/behaviours/{i}/definition"),
            format!("'{name}' does not say which picture is its first"),
            "write its onset: two people will place it differently otherwise",
        );
    }
    if behaviour.has_role(Role::Excluded) && (behaviour.kind == Kind::Event || behaviour.set.is_none()) {
        found.error(
            format!("/behaviours/{i}/roles"),
            format!("'{name}' means out of sight but is no state of a set"),
            "make it a state of the visibility set",
        );
    }
    for (j, rule) in behaviour.concern.iter().enumerate() {
        check_concern(found, &format!("/behaviours/{i}/concern/{j}"), rule);
        if rule.detail.as_ref().is_some_and(|detail| !behaviour.details.contains(detail)) {
            found.error(
                format!("/behaviours/{i}/concern/{j}/detail"),
                format!("a concern rule of '{name}' asks for a detail it does not have"),
                "add the detail to its list or correct the rule",
            );
        }
    }
}

fn check_pass_behaviours(
    found: &mut Problems,
    pointer: &str,
    behaviours: &[BehaviourId],
    ethogram: &Ethogram,
) {
    let mut keys: BTreeMap<char, &str> = BTreeMap::new();
    for (j, id) in behaviours.iter().enumerate() {
        let Some(behaviour) = ethogram.behaviour(id) else {
            found.error(
                format!("{pointer}/behaviours/{j}"),
                format!("a pass has a behaviour '{id}' that the ethogram does not have"),
                "add the behaviour or take it out of the pass",
            );
            continue;
        };
        let Some(key) = behaviour.key else { continue };
        if let Some(other) = keys.insert(key.to_ascii_lowercase(), &behaviour.name) {
            found.error(
                format!("{pointer}/behaviours/{j}"),
                format!("'{}' and '{other}' share the key {key} in one pass", behaviour.name),
                "give one of them another key, or put them into two passes",
            );
        }
    }
}

/// Checks a session against its study.
#[must_use]
pub fn session(session: &Session, study: &Study) -> Vec<Problem> {
    let mut found = Problems(Vec::new());
    if study.animal(&session.animal).is_none() {
        found.error(
            "/animal",
            format!("the animal '{}' is not in the study", session.animal),
            "add it to study.json or correct its id",
        );
    }
    if let Some(plan_id) = &session.plan {
        match study.plan(plan_id) {
            None => found.error(
                "/plan",
                format!("the plan '{plan_id}' is not in the study"),
                "add it to study.json or correct its id",
            ),
            Some(plan) => {
                if session.step.is_some_and(|n| plan.steps.iter().all(|step| step.n != n)) {
                    found.error(
                        "/step",
                        format!("the plan '{plan_id}' has no such step"),
                        "add the step to the plan or correct its number",
                    );
                }
            }
        }
    }
    let mut clips = BTreeSet::new();
    for (i, clip) in session.clips.iter().enumerate() {
        if !clips.insert(clip.id) {
            found.error(
                format!("/clips/{i}/id"),
                format!("two clips with the id {}", clip.id.0),
                "give each clip its own id",
            );
        }
        if clip.clock().is_none() {
            found.error(
                format!("/clips/{i}"),
                format!("clip {} has a drift or real-time factor that makes no sense", clip.id.0),
                "a drift is a small fraction (0.00002), a factor a positive number (8 for 240 filmed, 30 played)",
            );
        }
        for (j, gap) in clip.gaps.iter().enumerate() {
            if gap.from >= gap.to {
                found.error(
                    format!("/clips/{i}/gaps/{j}"),
                    "a gap that ends before it starts",
                    "correct its times or remove it",
                );
            }
        }
    }
    if let [first, .., last] = session.clock_anchors.as_slice()
        && first.at >= last.at
    {
        found.error("/clock_anchors", "clock anchors out of order", "sort them by their session time");
    }
    found.0
}

/// Checks a coding against its ethogram and session.
#[must_use]
pub fn coding(coding: &Coding, ethogram: &Ethogram, session: &Session) -> Vec<Problem> {
    let mut found = Problems(Vec::new());
    if coding.session != session.id {
        found.error(
            "/session",
            format!("it says session '{}' but lies with session '{}'", coding.session, session.id),
            "move the file to its own session's folder",
        );
    }
    for (i, pass) in coding.passes.iter().enumerate() {
        check_pass_behaviours(&mut found, &format!("/passes/{i}"), &pass.behaviours, ethogram);
    }
    if coding.window.is_some_and(Span::is_empty) {
        found.error("/window", "the window ends before it starts", "correct it or remove it");
    }
    // An archive has millions of marks: what is asked of each is found by hash.
    let known: FxHashMap<&BehaviourId, &Behaviour> =
        ethogram.behaviours.iter().rev().map(|own| (&own.id, own)).collect();
    let mut ids = FxHashSet::default();
    ids.reserve(coding.marks.len());
    let mut told = FxHashSet::default();
    let mut before: Option<&Mark> = None;
    for (i, mark) in coding.marks.iter().enumerate() {
        if !ids.insert(mark.id) {
            found.error(
                format!("/marks/{i}/id"),
                format!("two marks with the id {}", mark.id.0),
                "give each mark its own id",
            );
        }
        if before.is_some_and(|before| before.from > mark.from) {
            found.error(
                format!("/marks/{i}/from"),
                format!("mark {} at {} s comes before the one above it", mark.id.0, mark.from),
                "sort the marks by their start",
            );
        }
        before = Some(mark);
        check_mark(&mut found, i, mark, known.get(&mark.behaviour).copied(), (ethogram, session));
        check_sample(&mut found, i, mark, coding);
        if mark.sample.is_some_and(|number| !told.insert((number, &mark.behaviour))) {
            found.error(
                format!("/marks/{i}"),
                format!("mark {} says '{}' a second time for one sample", mark.id.0, mark.behaviour),
                "remove one of the two",
            );
        }
    }
    check_overlaps(&mut found, coding, &known);
    if coding.status == super::Status::Closed
        && let Some(open) = coding.open_bouts().next()
    {
        found.error(
            "/status",
            format!("the coding is closed but mark {} has no end", open.id.0),
            "open it, end the bout and close it again",
        );
    }
    found.0
}

fn check_mark(
    found: &mut Problems,
    i: usize,
    mark: &Mark,
    behaviour: Option<&Behaviour>,
    (ethogram, session): (&Ethogram, &Session),
) {
    let id = mark.id.0;
    let Some(behaviour) = behaviour else {
        found.error(
            format!("/marks/{i}/behaviour"),
            format!(
                "mark {id} is of a behaviour '{}' that {} revision {} does not have",
                mark.behaviour, ethogram.id, ethogram.revision
            ),
            "correct the behaviour's id, or the coding's ethogram revision",
        );
        return;
    };
    match (behaviour.kind, mark.to) {
        (Kind::State, End::Event) if mark.sample.is_none() => found.error(
            format!("/marks/{i}"),
            format!("'{}' is a state, and mark {id} has no `to`", behaviour.name),
            "give it an end, or `\"to\": null` if it is still open",
        ),
        (Kind::Event, End::Open | End::At(_)) => found.error(
            format!("/marks/{i}/to"),
            format!("'{}' is an event, and mark {id} has a `to`", behaviour.name),
            "remove the `to`",
        ),
        (Kind::State, End::At(to)) if to <= mark.from => found.error(
            format!("/marks/{i}/to"),
            format!("mark {id} ends at {to} s, not after its start at {} s", mark.from),
            "swap or correct its times",
        ),
        _ => {}
    }
    if let Some(detail) = &mark.detail
        && !behaviour.details.contains(detail)
    {
        found.remark(
            format!("/marks/{i}/detail"),
            format!("'{detail}' is no detail of '{}'", behaviour.name),
            "choose one of the behaviour's details",
        );
    }
    if let Some(clip) = mark.clip
        && session.clip(clip).is_none()
    {
        found.remark(
            format!("/marks/{i}/clip"),
            format!("mark {id} sits on clip {} that the session does not have", clip.0),
            "add the clip back or correct the mark",
        );
    }
}

/// A coding by samples has a number on each mark, a continuous one on none.
fn check_sample(found: &mut Problems, i: usize, mark: &Mark, coding: &Coding) {
    let id = mark.id.0;
    match (coding.rule, mark.sample) {
        (super::RecordingRule::Continuous, Some(_)) => found.error(
            format!("/marks/{i}/sample"),
            format!("mark {id} belongs to a sample, and the coding is continuous"),
            "correct the coding's `rule`, or remove the `sample`",
        ),
        (super::RecordingRule::Continuous, None) | (_, Some(1..)) => {}
        (_, None | Some(0)) => found.error(
            format!("/marks/{i}"),
            format!("mark {id} does not say which point or interval it belongs to"),
            "give its `sample`, a number from 1",
        ),
    }
}

/// Bouts of one set, and bouts of one behaviour, never overlap.
fn check_overlaps(found: &mut Problems, coding: &Coding, known: &FxHashMap<&BehaviourId, &Behaviour>) {
    #[derive(PartialEq, Eq, Hash)]
    enum Line<'a> {
        Set(&'a SetId),
        Alone(&'a BehaviourId),
    }
    let mut last: FxHashMap<Line<'_>, (Span, MarkId)> = FxHashMap::default();
    let mut order: Vec<(usize, &Mark)> = coding.marks.iter().enumerate().collect();
    order.sort_by_key(|(_, mark)| (mark.from, mark.id));
    for (i, mark) in order {
        let Some(behaviour) = known.get(&mark.behaviour) else { continue };
        let Some(span) = mark.span(Micros::MAX) else { continue };
        let line = behaviour.set.as_ref().map_or(Line::Alone(&mark.behaviour), Line::Set);
        if let Some((before, id)) = last.get(&line)
            && span.from < before.to
        {
            found.error(
                format!("/marks/{i}"),
                format!("mark {} at {} s begins while mark {} still holds", mark.id.0, mark.from, id.0),
                "end the earlier one where the later one begins: of one set only one holds at a time",
            );
        }
        let _ = last.insert(line, (span, mark.id));
    }
}
