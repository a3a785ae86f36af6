//! Putting an unfinished coding under a newer revision of its ethogram.
//!
//! Nothing coded is lost: marks the new revision has no place for (their behaviour is gone, or became of another
//! kind) are set aside, kept in the file and counted nowhere. What was not looked for, or was looked for under
//! another meaning, is not done: its pass is open again, so that absence does not become zero.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use super::coder::{Coder, Done, Refusal};
use super::ethogram::{Difference, differences, passes_after};
use crate::model::Change;
use crate::model::validate::{self, Gravity};
use crate::model::{
    BehaviourId, Coding, Ethogram, EthogramRef, Mark, MarkId, Pass, RecordingRule, Session, Status,
};

/// What putting a coding under another revision would change.
#[derive(Debug, Clone, PartialEq)]
pub struct Move {
    /// From this revision.
    pub from: u32,
    /// To this one.
    pub to: u32,
    /// What the definitions change.
    pub differences: Vec<Difference>,
    /// Marks that are set aside: name, how many.
    pub set_aside: Vec<(String, usize)>,
    /// Names of passes that are open again.
    pub reopened: Vec<String>,
    changes: Vec<Change>,
}

/// What it would change.
///
/// # Errors
/// Why it can't be done.
pub fn plan(coding: &Coding, old: &Ethogram, new: &Ethogram, session: &Session) -> Result<Move, Refusal> {
    if coding.status == Status::Closed {
        return Err(Refusal::Closed);
    }
    if coding.rule != RecordingRule::Continuous {
        return Err(Refusal::NotHere(
            "samples were asked by the revision they were begun with: begin a new coding by samples under the newer one",
        ));
    }
    let reference = EthogramRef::to(new)
        .map_err(|_| Refusal::NotHere("the newer revision can't be read: F10 in Sessions"))?;
    let (passes, reopened) = passes_under(coding, old, new);
    let mut moved = Coding { ethogram: reference.clone(), passes: passes.clone(), ..coding.clone() };
    let mut aside: Vec<Mark> = Vec::new();
    // A round can bring out what the one before hid; each sets a mark aside, so it ends.
    loop {
        let misplaced = misplaced(&moved, new, session);
        if misplaced.is_empty() {
            break;
        }
        let (out, stay) = moved.marks.into_iter().partition(|mark| misplaced.contains(&mark.id));
        moved.marks = stay;
        aside.extend::<Vec<Mark>>(out);
    }
    let name = |id: &BehaviourId| {
        new.behaviour(id).or_else(|| old.behaviour(id)).map_or_else(|| id.to_string(), |own| own.name.clone())
    };
    let mut counts: Vec<(String, usize)> = Vec::new();
    for mark in &aside {
        let name = name(&mark.behaviour);
        match counts.iter_mut().find(|(own, _)| *own == name) {
            Some((_, count)) => *count += 1,
            None => counts.push((name, 1)),
        }
    }
    let mut changes: Vec<Change> = aside.iter().map(|mark| Change::Remove(mark.id)).collect();
    let mut all = coding.set_aside.clone();
    all.extend(aside);
    // What was set aside before may have its behaviour back.
    let (back, all) = back_again(all, coding, &moved, new, session);
    changes.extend(back.into_iter().map(|mark| Change::Put(Box::new(mark))));
    changes.extend([Change::SetAside(all), Change::Passes(passes), Change::Ethogram(reference)]);
    Ok(Move {
        from: old.revision,
        to: new.revision,
        differences: differences(old, new),
        set_aside: counts,
        reopened,
        changes,
    })
}

/// Marks that are wrong under an ethogram.
fn misplaced(coding: &Coding, ethogram: &Ethogram, session: &Session) -> BTreeSet<MarkId> {
    let problems = validate::coding(coding, ethogram, session);
    let errors = problems.iter().filter(|problem| problem.gravity == Gravity::Error);
    errors
        .filter_map(|problem| {
            let place = problem.pointer.strip_prefix("/marks/")?.split('/').next()?.parse::<usize>().ok()?;
            coding.marks.get(place).map(|mark| mark.id)
        })
        .collect()
}

/// Marks set aside earlier that fit under the new revision, and the others.
fn back_again(
    all: Vec<Mark>,
    before: &Coding,
    moved: &Coding,
    new: &Ethogram,
    session: &Session,
) -> (Vec<Mark>, Vec<Mark>) {
    let mut whole = moved.clone();
    let (mut back, mut stay) = (Vec::new(), Vec::new());
    for mark in all {
        let was_aside = before.set_aside.iter().any(|own| own.id == mark.id);
        let mut tried = whole.clone();
        tried.marks.push(mark.clone());
        tried.marks.sort_by_key(|own| (own.from, own.id));
        if was_aside && misplaced(&tried, new, session).is_empty() {
            whole = tried;
            back.push(mark);
        } else {
            stay.push(mark);
        }
    }
    (back, stay)
}

/// The coding's passes under the new revision, and which of them are open again.
fn passes_under(coding: &Coding, old: &Ethogram, new: &Ethogram) -> (Vec<Pass>, Vec<String>) {
    let changed: BTreeSet<&BehaviourId> = new
        .behaviours
        .iter()
        .filter(|own| {
            let alone = |behaviour: Option<&crate::model::Behaviour>| Ethogram {
                behaviours: behaviour.into_iter().cloned().collect(),
                sets: Vec::new(),
                ..new.clone()
            };
            let (before, after) = (alone(old.behaviour(&own.id)), alone(Some(own)));
            differences(&before, &after).iter().any(|own| own.is_of_meaning)
        })
        .map(|own| &own.id)
        .collect();
    let outlines: Vec<crate::model::PassOutline> = coding
        .passes
        .iter()
        .map(|pass| crate::model::PassOutline {
            name: pass.name.clone(),
            behaviours: pass.behaviours.clone(),
            extra: crate::model::Extra::new(),
        })
        .collect();
    let mut reopened = Vec::new();
    let passes = passes_after(&outlines, new)
        .into_iter()
        .map(|outline| {
            let known = coding.passes.iter().find(|pass| pass.name == outline.name);
            let mut pass = known.cloned().unwrap_or_else(|| Pass::from(&outline));
            pass.behaviours = outline.behaviours;
            if pass.done && pass.behaviours.iter().any(|id| changed.contains(id)) {
                pass.done = false;
                reopened.push(pass.name.clone());
            }
            pass
        })
        .collect();
    (passes, reopened)
}

impl Coder {
    /// Puts the coding under a newer revision, as planned; one step for undo.
    ///
    /// # Errors
    /// When it is closed or only looked at.
    pub fn move_to(&mut self, planned: Move, ethogram: std::sync::Arc<Ethogram>) -> Result<Done, Refusal> {
        let aside: usize = planned.set_aside.iter().map(|(_, count)| count).sum();
        let mut said = format!("under revision {} of the ethogram now, before {}", planned.to, planned.from);
        if aside > 0 {
            let marks = if aside == 1 { "mark" } else { "marks" };
            let _ = write!(said, "; {aside} {marks} set aside");
        }
        let done = self.carry_out(said, planned.changes, None)?;
        self.set_ethogram(ethogram);
        Ok(done)
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::model::{Kind, Taxon, starter};
    use crate::time::Micros;
    use crate::workbench::ethogram::Editor;
    use crate::workbench::history::History;
    use crate::workbench::reel::Reel;

    fn s(seconds: i64) -> Micros {
        Micros::from_whole_seconds(seconds)
    }

    /// A coding with two bouts and an event, all passes done; its ethogram; its session.
    fn begun() -> (Coding, Ethogram, Session) {
        let ethogram = starter::ethogram(Taxon::Chelonian);
        let mut coding = Coding::new("s1".into(), "K-01".into(), EthogramRef::to(&ethogram).unwrap());
        coding.passes = ethogram.passes.iter().map(Pass::from).collect();
        for pass in &mut coding.passes {
            pass.done = true;
        }
        let bout =
            |id, behaviour: &str, from, to| Mark::bout(MarkId(id), behaviour.into(), s(from), Some(s(to)));
        coding.marks = vec![
            bout(1, "move", 0, 10),
            bout(2, "explore", 10, 20),
            Mark::event(MarkId(3), "approach".into(), s(15)),
            bout(4, "explore", 30, 40),
        ];
        (coding, ethogram, Session::new("s1".into(), "b".into()))
    }

    #[test]
    fn marks_of_what_is_gone_are_kept_listed_and_come_back_by_undo() {
        let (coding, old, session) = begun();
        let mut editor = Editor::new(old.clone(), true, None);
        editor.remove_behaviour(&"explore".into());
        let mut approach = old.behaviour(&"approach".into()).unwrap().clone();
        approach.definition.onset = "two steps towards it".to_owned();
        editor.set_behaviour(&"approach".into(), approach);
        let new = editor.ethogram().clone();
        assert_eq!((old.revision, new.revision), (1, 2));
        let planned = plan(&coding, &old, &new, &session).unwrap();
        let name = &old.behaviour(&"explore".into()).unwrap().name;
        assert_eq!(planned.set_aside, [(name.clone(), 2)]);
        assert!(planned.differences.iter().any(|own| own.words.contains("is gone")));
        // Only the pass in which something means something else now is open again.
        let pass = old.passes.iter().find(|pass| pass.behaviours.contains(&"approach".into())).unwrap();
        assert_eq!(planned.reopened.as_slice(), std::slice::from_ref(&pass.name));
        let mut coder = Coder::new(
            coding.clone(),
            Arc::new(old),
            Arc::new(Reel::default()),
            Micros::ZERO,
            History::default(),
        );
        let done = coder.move_to(planned, Arc::new(new.clone())).unwrap();
        assert!(done.said.contains("2 marks set aside"), "{}", done.said);
        let moved = coder.coding();
        assert_eq!(moved.ethogram.revision, 2);
        assert_eq!(moved.marks.iter().map(|mark| mark.id.0).collect::<Vec<_>>(), [1, 3]);
        assert_eq!(moved.set_aside.iter().map(|mark| mark.id.0).collect::<Vec<_>>(), [2, 4]);
        assert!(moved.next_id().0 > 4, "an id that is set aside is not given away");
        let errors = validate::coding(moved, &new, &session);
        assert!(errors.iter().all(|problem| problem.gravity != Gravity::Error), "{errors:?}");
        let _ = coder.undo().unwrap();
        assert_eq!(*coder.coding(), coding, "undo brings everything back");
    }

    #[test]
    fn what_became_of_another_kind_or_got_in_anothers_way_is_set_aside_and_fits_again_later() {
        let (coding, old, session) = begun();
        let mut editor = Editor::new(old.clone(), true, None);
        let mut moves = old.behaviour(&"move".into()).unwrap().clone();
        moves.kind = Kind::Event;
        moves.set = None;
        editor.set_behaviour(&"move".into(), moves.clone());
        let second = editor.ethogram().clone();
        let planned = plan(&coding, &old, &second, &session).unwrap();
        assert_eq!(planned.set_aside, [(moves.name.clone(), 1)]);
        let reel = Arc::new(Reel::default());
        let mut coder = Coder::new(coding, Arc::new(old.clone()), reel, Micros::ZERO, History::default());
        let _ = coder.move_to(planned, Arc::new(second.clone())).unwrap();
        // The third revision has it as it was: the bout is counted again.
        let mut editor = Editor::new(second.clone(), true, None);
        editor.set_behaviour(&"move".into(), old.behaviour(&"move".into()).unwrap().clone());
        let third = editor.ethogram().clone();
        let planned = plan(coder.coding(), &second, &third, &session).unwrap();
        let _ = coder.move_to(planned, Arc::new(third)).unwrap();
        assert!(coder.coding().set_aside.is_empty());
        assert_eq!(coder.coding().mark(MarkId(1)).map(|mark| mark.from), Some(s(0)));
    }

    #[test]
    fn a_new_behaviour_opens_its_pass_and_closed_or_sampled_codings_stay() {
        let (mut coding, old, session) = begun();
        let mut editor = Editor::new(old.clone(), true, None);
        let made = editor.add_behaviour(Some(&"approach".into()));
        let new = editor.ethogram().clone();
        let planned = plan(&coding, &old, &new, &session).unwrap();
        assert_eq!(planned.reopened.len(), 1);
        let of_passes = planned.changes.iter().find_map(|change| match change {
            Change::Passes(passes) => passes.iter().find(|pass| pass.behaviours.contains(&made)),
            _ => None,
        });
        assert!(of_passes.is_some_and(|pass| !pass.done));
        coding.status = Status::Closed;
        assert!(matches!(plan(&coding, &old, &new, &session), Err(Refusal::Closed)));
        coding.status = Status::Open;
        coding.rule = RecordingRule::OneZero { every_s: crate::time::Seconds::whole(10) };
        assert!(matches!(plan(&coding, &old, &new, &session), Err(Refusal::NotHere(_))));
    }
}
