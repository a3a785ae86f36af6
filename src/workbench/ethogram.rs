//! Working on an ethogram: one change after another, what is questionable about it, and what a new revision
//! changes against the one before.
//!
//! An ethogram that a coding uses is frozen: the first change makes the next revision, and the old one stays
//! as it was.

use std::collections::BTreeMap;

use crate::model::validate::{self, Gravity};
use crate::model::{Behaviour, BehaviourId, Ethogram, Kind, Level, PassOutline, Role, Set, starter};

/// An ethogram being worked on.
#[derive(Debug, Clone, PartialEq)]
pub struct Editor {
    /// As it is now.
    ethogram: Ethogram,
    /// The revision that codings use, if the present one was made from it.
    before: Option<Ethogram>,
    /// A coding uses the present revision.
    is_frozen: bool,
    undo: Vec<Ethogram>,
    redo: Vec<Ethogram>,
}

/// Something questionable, with the behaviour it is about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// Whether codings would be wrong with it.
    pub is_error: bool,
    /// What and how to mend it.
    pub words: String,
    /// Where.
    pub behaviour: Option<BehaviourId>,
}

/// What a revision changes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Difference {
    /// In words.
    pub words: String,
    /// It changes what is coded or what is counted: numbers before and after are not of one kind.
    pub is_of_meaning: bool,
}

impl Editor {
    /// Begins with a revision; `is_used` when a coding uses it, `before` the revision before it.
    #[must_use]
    pub fn new(ethogram: Ethogram, is_used: bool, before: Option<Ethogram>) -> Self {
        Self { ethogram, before, is_frozen: is_used, undo: Vec::new(), redo: Vec::new() }
    }

    /// As it is now.
    #[must_use]
    pub fn ethogram(&self) -> &Ethogram {
        &self.ethogram
    }

    /// A coding uses the present revision: the next change makes another.
    #[must_use]
    pub fn is_frozen(&self) -> bool {
        self.is_frozen
    }

    /// A coding uses the present revision from now on.
    pub fn freeze(&mut self) {
        self.is_frozen = true;
    }

    /// What it changes against the revision before.
    #[must_use]
    pub fn differences(&self) -> Vec<Difference> {
        self.before.as_ref().map_or_else(Vec::new, |before| differences(before, &self.ethogram))
    }

    fn change(&mut self, change: impl FnOnce(&mut Ethogram)) {
        let mut new = self.ethogram.clone();
        change(&mut new);
        if new == self.ethogram {
            return;
        }
        if self.is_frozen {
            self.before = Some(self.ethogram.clone());
            self.is_frozen = false;
            new.revision += 1;
            // What is taken back from here is the change, not the revision.
            self.ethogram.revision += 1;
            self.undo.clear();
        }
        new.passes = passes_after(&self.ethogram.passes, &new);
        self.undo.push(std::mem::replace(&mut self.ethogram, new));
        self.redo.clear();
        self.tell_changes();
    }

    /// The reason of a revision is what it changes.
    fn tell_changes(&mut self) {
        if self.before.is_some() {
            let words: Vec<String> = self.differences().into_iter().map(|own| own.words).collect();
            self.ethogram.changed = (!words.is_empty()).then(|| words.join("; "));
        }
    }

    /// Replaces a behaviour by what it shall be; its id stays.
    pub fn set_behaviour(&mut self, id: &BehaviourId, new: Behaviour) {
        self.change(|ethogram| {
            if let Some(own) = ethogram.behaviours.iter_mut().find(|own| own.id == *id) {
                *own = Behaviour { id: id.clone(), ..new };
            }
        });
    }

    /// A new behaviour behind another one, of the same kind, set and actor; its id.
    pub fn add_behaviour(&mut self, behind: Option<&BehaviourId>) -> BehaviourId {
        let taken = |id: &str| self.ethogram.behaviours.iter().any(|own| own.id.as_str() == id);
        let mut number = 1;
        let mut id = "new-behaviour".to_owned();
        while taken(&id) {
            number += 1;
            id = format!("new-behaviour-{number}");
        }
        let like = behind.and_then(|id| self.ethogram.behaviour(id));
        let mut new = Behaviour::new(&id, "New behaviour", like.map_or(Kind::Event, |own| own.kind));
        if let Some(like) = like {
            new.set.clone_from(&like.set);
            new.who = like.who;
        }
        let place = behind
            .and_then(|id| self.ethogram.behaviours.iter().position(|own| own.id == *id))
            .map_or(self.ethogram.behaviours.len(), |place| place + 1);
        let made = new.id.clone();
        self.change(|ethogram| ethogram.behaviours.insert(place.min(ethogram.behaviours.len()), new));
        made
    }

    /// Takes a behaviour away.
    pub fn remove_behaviour(&mut self, id: &BehaviourId) {
        self.change(|ethogram| ethogram.behaviours.retain(|own| own.id != *id));
    }

    /// Moves a behaviour up (-1) or down (1) in the list.
    pub fn move_behaviour(&mut self, id: &BehaviourId, by: isize) {
        self.change(|ethogram| {
            let Some(from) = ethogram.behaviours.iter().position(|own| own.id == *id) else { return };
            let to = from.saturating_add_signed(by).min(ethogram.behaviours.len() - 1);
            let moved = ethogram.behaviours.remove(from);
            ethogram.behaviours.insert(to, moved);
        });
    }

    /// Gives a behaviour a key; whoever had it in the same pass loses it.
    pub fn set_key(&mut self, id: &BehaviourId, key: char) {
        let key = key.to_ascii_lowercase();
        self.change(|ethogram| {
            let others: Vec<BehaviourId> = ethogram
                .passes
                .iter()
                .filter(|pass| pass.behaviours.contains(id))
                .flat_map(|pass| pass.behaviours.clone())
                .collect();
            for own in &mut ethogram.behaviours {
                if own.id == *id {
                    own.key = Some(key);
                } else if own.key == Some(key) && others.contains(&own.id) {
                    own.key = None;
                }
            }
        });
    }

    /// Takes behaviours over from another ethogram, with the sets they belong to: new ones at the end, those of
    /// the same id as they are there. A key that is in use here is left out. One step for undo.
    pub fn take_over(&mut self, from: &Ethogram, ids: &[BehaviourId]) {
        self.change(|ethogram| {
            for id in ids {
                let Some(mut taken) = from.behaviour(id).cloned() else { continue };
                let set = taken.set.as_ref().and_then(|set| from.set(set));
                if let Some(set) = set.filter(|set| ethogram.set(&set.id).is_none()) {
                    ethogram.sets.push(set.clone());
                }
                let has_key = |own: &&Behaviour| own.id != *id && own.key.is_some() && own.key == taken.key;
                if ethogram.behaviours.iter().any(|own| has_key(&own)) {
                    taken.key = ethogram.behaviour(id).and_then(|own| own.key);
                }
                if let Some(own) = ethogram.behaviours.iter_mut().find(|own| own.id == *id) {
                    // Example pictures are the study's own.
                    taken.definition.stills.clone_from(&own.definition.stills);
                    *own = taken;
                } else {
                    let like = |own: &Behaviour| own.set == taken.set && own.kind == taken.kind;
                    let place = ethogram.behaviours.iter().rposition(like);
                    let end = ethogram.behaviours.len();
                    ethogram.behaviours.insert(place.map_or(end, |place| place + 1), taken);
                }
            }
        });
    }

    /// A new set of states.
    pub fn add_set(&mut self, name: &str) {
        let base: String =
            name.to_lowercase().chars().map(|c| if c.is_alphanumeric() { c } else { '-' }).collect();
        let id = if self.ethogram.set(&base.as_str().into()).is_some() { format!("{base}-2") } else { base };
        self.change(|ethogram| {
            ethogram.sets.push(Set {
                id: id.as_str().into(),
                name: name.to_owned(),
                exhaustive: false,
                extra: crate::model::Extra::new(),
            });
        });
    }

    /// Says whether at each moment one of a set's states holds.
    pub fn toggle_exhaustive(&mut self, set: &crate::model::SetId) {
        self.change(|ethogram| {
            if let Some(own) = ethogram.sets.iter_mut().find(|own| own.id == *set) {
                own.exhaustive = !own.exhaustive;
            }
        });
    }

    /// Gives it another title.
    pub fn set_title(&mut self, title: &str) {
        self.change(|ethogram| title.clone_into(&mut ethogram.title));
    }

    /// Takes the last change back; `false` when there is none.
    pub fn undo(&mut self) -> bool {
        let Some(old) = self.undo.pop() else { return false };
        self.redo.push(std::mem::replace(&mut self.ethogram, old));
        self.tell_changes();
        true
    }

    /// Does it again; `false` when there is nothing.
    pub fn redo(&mut self) -> bool {
        let Some(new) = self.redo.pop() else { return false };
        self.undo.push(std::mem::replace(&mut self.ethogram, new));
        true
    }
}

/// The passes of a changed ethogram: what is new goes where its like goes, what is gone is gone.
pub(super) fn passes_after(old: &[PassOutline], new: &Ethogram) -> Vec<PassOutline> {
    let mut passes = old.to_vec();
    for pass in &mut passes {
        pass.behaviours.retain(|id| new.behaviour(id).is_some());
    }
    let usual = starter::passes(&new.behaviours);
    for behaviour in &new.behaviours {
        if passes.iter().any(|pass| pass.behaviours.contains(&behaviour.id)) {
            continue;
        }
        let name = usual.iter().find(|pass| pass.behaviours.contains(&behaviour.id)).map(|pass| &pass.name);
        let last = passes.len().saturating_sub(1);
        let place = passes.iter().position(|pass| Some(&pass.name) == name).unwrap_or(last);
        if let Some(pass) = passes.get_mut(place) {
            pass.behaviours.push(behaviour.id.clone());
        }
    }
    if passes.is_empty() { usual } else { passes }
}

/// What is questionable about an ethogram, errors first.
#[must_use]
pub fn findings(ethogram: &Ethogram) -> Vec<Finding> {
    let mut found: Vec<Finding> = validate::ethogram(ethogram)
        .into_iter()
        .map(|problem| {
            let place = problem
                .pointer
                .strip_prefix("/behaviours/")
                .and_then(|rest| rest.split('/').next().and_then(|number| number.parse::<usize>().ok()));
            Finding {
                is_error: problem.gravity == Gravity::Error,
                behaviour: place.and_then(|place| ethogram.behaviours.get(place)).map(|own| own.id.clone()),
                words: problem.to_string(),
            }
        })
        .collect();
    let mut remark = |words: String, behaviour: Option<&Behaviour>| {
        found.push(Finding { is_error: false, words, behaviour: behaviour.map(|own| own.id.clone()) });
    };
    if ethogram.with_role(Role::Excluded).next().is_none() {
        remark("no behaviour means out of sight: time nobody saw would count as time in which nothing happened; add a state with the role out of sight".to_owned(), None);
    }
    for set in ethogram.sets.iter().filter(|set| !set.exhaustive) {
        remark(
            format!(
                "'{}' is not exhaustive: time in none of its states can't be told from time not coded; add a state for all other behaviour, then say so (F6)",
                set.name
            ),
            ethogram.states_of(&set.id).next(),
        );
    }
    for behaviour in &ethogram.behaviours {
        let offset = behaviour.definition.offset.as_deref().unwrap_or("");
        if behaviour.kind == Kind::State && offset.trim().is_empty() && behaviour.set.is_none() {
            remark(
                format!(
                    "'{}' is a state that does not say when it ends, and no other state ends it",
                    behaviour.name
                ),
                Some(behaviour),
            );
        }
        if behaviour.key.is_none() {
            remark(format!("'{}' has no key: it can't be coded", behaviour.name), Some(behaviour));
        }
    }
    let has_stop =
        ethogram.behaviours.iter().flat_map(|own| &own.concern).any(|rule| rule.level == Level::Stop);
    for (role, needed, why) in [
        (Role::Cue, true, "without a cue there are no presentations, latencies or success"),
        (Role::Approach, true, "without an approach there is no latency to it and no approach share"),
        (Role::Retreat, true, "without a retreat every animal seems to come"),
        (Role::Contact, false, "without a contact success needs a behaviour of its own"),
        (
            Role::BackOff,
            has_stop,
            "stop-level behaviours without the handler's back-off: it can't be said how soon it came",
        ),
        (Role::Food, false, "food is not coded: neither its rate nor its budget can be told"),
    ] {
        if needed && ethogram.with_role(role).next().is_none() {
            remark(format!("no behaviour has the role {}: {why}", role_word(role)), None);
        }
    }
    found.sort_by_key(|finding| !finding.is_error);
    found
}

fn role_word(role: Role) -> &'static str {
    super::sheet::behaviour::ROLES.iter().find(|(_, own)| *own == role).map_or("", |(word, _)| word)
}

/// What a revision changes against another.
#[must_use]
pub fn differences(old: &Ethogram, new: &Ethogram) -> Vec<Difference> {
    let mut found = Vec::new();
    let mut say = |words: String, is_of_meaning: bool| found.push(Difference { words, is_of_meaning });
    let known: BTreeMap<&str, &Behaviour> = old.behaviours.iter().map(|own| (own.id.as_str(), own)).collect();
    for behaviour in &new.behaviours {
        let name = &behaviour.name;
        let Some(before) = known.get(behaviour.id.as_str()) else {
            say(format!("'{name}' is new"), true);
            continue;
        };
        if before.name != *name {
            say(format!("'{}' is called '{name}'", before.name), false);
        }
        let (a, b) = (&before.definition, &behaviour.definition);
        for (changed, what, is_of_meaning) in [
            (a.onset != b.onset, "begins otherwise", true),
            (a.offset != b.offset, "ends otherwise", true),
            (a.minimum != b.minimum, "has another minimum", true),
            (a.not_this != b.not_this, "excludes something else", true),
            (a.example != b.example, "has another example", false),
            (a.near_miss != b.near_miss, "has another near miss", true),
            (before.kind != behaviour.kind, "is no longer of the same kind (state, event)", true),
            (before.set != behaviour.set, "belongs to another set", true),
            (before.who != behaviour.who, "is somebody else's", true),
            (before.key != behaviour.key, "has another key", false),
            (before.roles != behaviour.roles, "counts as something else", true),
            (before.concern != behaviour.concern, "has other rules of concern", true),
            (before.details != behaviour.details, "has other details", true),
            (
                before.new_bout_after_s != behaviour.new_bout_after_s,
                "begins a new bout after another gap",
                true,
            ),
        ] {
            if changed {
                say(format!("'{name}' {what}"), is_of_meaning);
            }
        }
    }
    for behaviour in old.behaviours.iter().filter(|own| new.behaviour(&own.id).is_none()) {
        say(format!("'{}' is gone", behaviour.name), true);
    }
    for set in &new.sets {
        match old.set(&set.id) {
            None => say(format!("the set '{}' is new", set.name), true),
            Some(before) if before.exhaustive != set.exhaustive => {
                let now = if set.exhaustive { "exhaustive" } else { "no longer exhaustive" };
                say(format!("the set '{}' is {now}", set.name), true);
            }
            Some(_) => {}
        }
    }
    for set in old.sets.iter().filter(|own| new.set(&own.id).is_none()) {
        say(format!("the set '{}' is gone", set.name), true);
    }
    if old.title != new.title {
        say("it has another title".to_owned(), false);
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Taxon;

    #[test]
    fn a_used_revision_stays_and_the_first_change_makes_the_next() {
        let old = starter::ethogram(Taxon::Snake);
        let mut editor = Editor::new(old.clone(), true, None);
        let id = old.behaviours[3].id.clone();
        // A change that changes nothing makes no revision.
        editor.set_behaviour(&id, old.behaviours[3].clone());
        assert!(editor.is_frozen() && editor.ethogram() == &old);
        let mut changed = old.behaviours[3].clone();
        changed.definition.onset = "another first picture".to_owned();
        editor.set_behaviour(&id, changed);
        assert_eq!((editor.ethogram().revision, editor.is_frozen()), (2, false));
        let said = editor.differences();
        assert_eq!(said.len(), 1);
        assert!(said[0].is_of_meaning && said[0].words.contains("begins otherwise"));
        assert!(editor.ethogram().changed.as_deref().unwrap().contains("begins otherwise"));
        // The next change stays in that revision; taking both back leaves an unchanged second one.
        editor.set_title("Snakes of this house");
        assert_eq!(editor.ethogram().revision, 2);
        assert!(editor.undo() && editor.undo() && !editor.undo());
        assert_eq!(editor.ethogram().behaviours, old.behaviours);
        assert!(editor.redo() && editor.redo() && !editor.redo());
        assert_eq!(editor.ethogram().title, "Snakes of this house");
    }

    #[test]
    fn an_unused_revision_is_changed_in_place_and_new_behaviours_have_a_pass() {
        let mut editor = Editor::new(starter::ethogram(Taxon::Lizard), false, None);
        let like = editor.ethogram().behaviours[5].id.clone();
        let new = editor.add_behaviour(Some(&like));
        assert_eq!(editor.ethogram().revision, 1);
        let place = editor.ethogram().behaviours.iter().position(|own| own.id == new).unwrap();
        assert_eq!(editor.ethogram().behaviours[place - 1].id, like);
        assert!(editor.ethogram().passes.iter().any(|pass| pass.behaviours.contains(&new)));
        editor.move_behaviour(&new, -1);
        assert_eq!(editor.ethogram().behaviours[place - 1].id, new);
        editor.remove_behaviour(&new);
        assert!(!editor.ethogram().passes.iter().any(|pass| pass.behaviours.contains(&new)));
        let again = editor.add_behaviour(None);
        assert_ne!(editor.add_behaviour(None), again, "ids are not used twice");
    }

    #[test]
    fn a_key_is_taken_from_whoever_had_it_in_the_same_pass() {
        let mut editor = Editor::new(starter::ethogram(Taxon::Chelonian), false, None);
        let pass = editor.ethogram().passes[0].behaviours.clone();
        let key = editor.ethogram().behaviour(&pass[1]).unwrap().key.unwrap();
        editor.set_key(&pass[0], key.to_ascii_uppercase());
        assert_eq!(editor.ethogram().behaviour(&pass[0]).unwrap().key, Some(key));
        assert_eq!(editor.ethogram().behaviour(&pass[1]).unwrap().key, None);
        assert!(findings(editor.ethogram()).iter().any(|own| own.behaviour.as_ref() == Some(&pass[1])));
    }

    #[test]
    fn what_is_questionable_is_said_and_starters_are_not() {
        for taxon in [Taxon::Snake, Taxon::Lizard, Taxon::Chelonian] {
            let all = findings(&starter::ethogram(taxon));
            assert!(all.iter().all(|own| !own.is_error), "{all:?}");
        }
        let mut poor = Ethogram::new("poor".into(), "Poor");
        poor.behaviours.push(Behaviour::new("walk", "Walk", Kind::State));
        let words: Vec<String> = findings(&poor).into_iter().map(|own| own.words).collect();
        for wanted in
            ["out of sight", "does not say when it ends", "has no key", "role cue", "role retreat", "first"]
        {
            assert!(words.iter().any(|own| own.contains(wanted)), "{wanted}: {words:?}");
        }
        let bite = Behaviour {
            concern: vec![crate::model::ConcernRule::new(Level::Stop)],
            ..Behaviour::new("bite", "Bite", Kind::Event)
        };
        poor.behaviours.push(bite);
        assert!(findings(&poor).iter().any(|own| own.words.contains("role back off")));
    }

    #[test]
    fn differences_tell_meaning_from_wording() {
        let old = starter::ethogram(Taxon::Snake);
        let mut new = old.clone();
        new.behaviours[0].name = "Other name".to_owned();
        new.behaviours[1].key = Some('9');
        new.behaviours[2].roles.push(Role::Freeze);
        let gone = new.behaviours.pop().unwrap();
        new.behaviours.push(Behaviour::new("extra", "Extra", Kind::Event));
        new.sets[0].exhaustive = false;
        let found = differences(&old, &new);
        let meaning: Vec<bool> = found.iter().map(|own| own.is_of_meaning).collect();
        assert_eq!(meaning, [false, false, true, true, true, true], "{found:?}");
        assert!(found.iter().any(|own| own.words == format!("'{}' is gone", gone.name)));
        assert!(differences(&old, &old).is_empty());
    }

    #[test]
    fn single_behaviours_and_sets_are_taken_out_of_a_starter_in_one_step() {
        let snake = starter::ethogram(Taxon::Snake);
        let mut own = Ethogram::new("house".into(), "House");
        let mut looks = Behaviour::new("looks", "Looks up", Kind::Event);
        // It has the key of something in the starter.
        let activity: Vec<BehaviourId> =
            snake.states_of(&starter::ACTIVITY.into()).map(|own| own.id.clone()).collect();
        looks.key = snake.behaviour(&activity[0]).unwrap().key;
        own.behaviours.push(looks);
        let mut editor = Editor::new(own.clone(), true, None);
        editor.take_over(&snake, &activity);
        let taken = editor.ethogram();
        assert_eq!((taken.revision, taken.behaviours.len()), (2, 1 + activity.len()));
        assert!(
            taken.set(&starter::ACTIVITY.into()).is_some_and(|set| set.exhaustive),
            "its set comes along"
        );
        assert_eq!(taken.behaviour(&activity[0]).unwrap().key, None, "a key in use is not taken away");
        assert!(taken.behaviour(&activity[1]).unwrap().key.is_some());
        assert!(activity.iter().all(|id| taken.passes.iter().any(|pass| pass.behaviours.contains(id))));
        let words: Vec<String> = editor.differences().into_iter().map(|own| own.words).collect();
        assert!(words.iter().any(|own| own.contains("the set 'Activity' is new")), "{words:?}");
        let before = editor.clone();
        editor.take_over(&snake, &activity);
        assert_eq!(editor, before, "taken twice is taken once");
        assert!(editor.undo());
        assert_eq!(editor.ethogram().behaviours.len(), 1, "all of it in one step");
    }
}
