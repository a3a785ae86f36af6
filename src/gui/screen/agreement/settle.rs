//! One key says who is right, one why; kept at once in the agreed record.

use super::{Asks, Open, load};
use crate::agreement::differences::{Apart, Place};
use crate::agreement::resolve::{self, Decision, NewMark, Reason, Settled};
use crate::model::{Behaviour, Kind, PersonCode};
use crate::storage::{StudyFolder, coding_file};

impl Open {
    /// What was decided about a difference.
    pub(super) fn decision(&self, apart: &Apart) -> Option<&Settled> {
        self.compared.settled.iter().find(|own| own.apart == *apart)
    }

    /// Differences without a decision.
    pub(super) fn unsettled(&self) -> usize {
        self.compared.list.iter().filter(|own| self.decision(own).is_none()).count()
    }

    pub(super) fn decide(&mut self, decision: Decision) {
        // Of a set one state holds at a time: said at once, not after the reason.
        let is_set = matches!(self.chosen_apart().map(|own| &own.place), Some(Place::Set(_)));
        if decision == Decision::Both && is_set {
            "Both can't hold here: a set has one state at a time. N puts something new there."
                .clone_into(&mut self.said);
            return;
        }
        self.said.clear();
        self.asks = Asks::Why(decision);
    }

    /// Behaviours that could stand at the chosen difference instead.
    pub(super) fn instead(&self) -> Vec<&Behaviour> {
        let Some(apart) = self.chosen_apart() else { return Vec::new() };
        let fits = |own: &&Behaviour| match &apart.place {
            Place::Set(set) => own.set.as_ref().is_some_and(|own| own.as_str() == set),
            Place::State(state) => own.id.as_str() == state,
            Place::Events(_) => own.kind == Kind::Event,
        };
        self.codings.first.ethogram.behaviours.iter().filter(fits).collect()
    }

    /// The key of what stands there instead of both.
    pub(super) fn decide_new(&mut self, letter: &str) {
        let is_of =
            |own: &&Behaviour| own.key.is_some_and(|key| letter.eq_ignore_ascii_case(&key.to_string()));
        let found = self.instead().into_iter().find(is_of).map(|own| (own.id.clone(), own.kind));
        let (Some((behaviour, kind)), Some(apart)) = (found, self.chosen_apart()) else {
            self.said = format!("{letter} is the key of nothing that could stand there.");
            return;
        };
        let span = apart.span;
        let to = (kind == Kind::State).then_some(span.to);
        self.said.clear();
        self.asks = Asks::Why(Decision::New(vec![NewMark { behaviour, from: span.from, to }]));
    }

    /// Keeps a decision with its reason; whether it is kept.
    pub(super) fn settle(&mut self, folder: &StudyFolder, by: &PersonCode, reason: Reason) -> bool {
        let Some(apart) = self.chosen_apart().cloned() else { return false };
        let Asks::Why(decision) = std::mem::replace(&mut self.asks, Asks::Nothing) else {
            "First say who is right: 1, 2, 3, 0 or N.".clone_into(&mut self.said);
            return false;
        };
        let mut settled = self.compared.settled.clone();
        settled.retain(|own| own.apart != apart);
        settled.push(Settled { apart, decision, reason });
        self.keep(folder, by, settled)
    }

    /// Takes the decision on the chosen difference back.
    pub(super) fn reopen(&mut self, folder: &StudyFolder, by: &PersonCode) {
        let Some(apart) = self.chosen_apart().cloned() else { return };
        if self.decision(&apart).is_none() {
            "Nothing was decided here.".clone_into(&mut self.said);
            return;
        }
        let mut settled = self.compared.settled.clone();
        settled.retain(|own| own.apart != apart);
        if self.keep(folder, by, settled) {
            "The decision is taken back: this difference is open again.".clone_into(&mut self.said);
        }
    }

    fn keep(&mut self, folder: &StudyFolder, by: &PersonCode, settled: Vec<Settled>) -> bool {
        match self.write(folder, by, &settled) {
            Ok(()) => {
                self.compared.settled = settled;
                self.compared.stale = 0;
                self.said = format!(
                    "Kept in the agreed record; {} of {} are open.",
                    self.unsettled(),
                    self.compared.list.len()
                );
                true
            }
            Err(why) => {
                self.said = format!("Not kept: {why}");
                false
            }
        }
    }

    fn write(&mut self, folder: &StudyFolder, by: &PersonCode, settled: &[Settled]) -> Result<(), String> {
        if by.as_str().trim().is_empty() {
            return Err("the record says who settled it: write your own code on Sessions first".to_owned());
        }
        let (first, second) = (&self.codings.first, self.second());
        let pairing = load::pairing(first, second)?;
        let found = &self.compared.found;
        let parents = [found.first.as_str(), found.second.as_str()];
        let agreed = resolve::agreed(&pairing, parents, by, &self.compared.list, settled)
            .map_err(|error| error.to_string())?;
        if let Some(path) = &self.compared.agreed {
            return coding_file::replace(path, &agreed.coding).map_err(|error| error.to_string());
        }
        let sessions = folder.session_folder(&first.coding.session);
        let made = coding_file::create(&sessions, &agreed.coding).map_err(|error| error.to_string())?;
        self.compared.agreed = Some(made);
        Ok(())
    }
}
