//! Changes of a coding that can be undone.
//!
//! Everything that changes a coding goes through [`Coding::apply`], which returns the change that
//! takes it back. Undo, redo, the journal and its replay are all built on that one door.

use chrono::{DateTime, FixedOffset};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Coding, End, EthogramRef, Mark, MarkId, Pass, Status};
use crate::time::{Micros, Span};

/// One step of a person's work: all of its changes happen, or none.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Edit {
    /// What it did, for people: "start move about at 1:23.500".
    pub label: String,
    /// Its changes, in order.
    pub changes: Vec<Change>,
}

impl Edit {
    /// An edit.
    #[must_use]
    pub fn new(label: impl Into<String>, changes: Vec<Change>) -> Self {
        Self { label: label.into(), changes }
    }
}

/// One change.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Change {
    /// Adds a mark, or puts it in place of the one with its id.
    Put(Box<Mark>),
    /// Takes a mark away.
    Remove(MarkId),
    /// Sets the passes.
    Passes(Vec<Pass>),
    /// Sets the window.
    Window(Option<Span>),
    /// Opens or closes the coding.
    Status(Status),
    /// When it was closed; not at all, once it is open again.
    ClosedAt(Option<DateTime<FixedOffset>>),
    /// Puts it under another revision of its ethogram.
    Ethogram(EthogramRef),
    /// Sets which marks are kept without being counted.
    SetAside(Vec<Mark>),
}

/// Why an edit can't be carried out.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum EditError {
    /// There is no such mark.
    #[error("there is no mark {} in this coding", .0.0)]
    NoSuchMark(MarkId),
    /// A bout must end after it starts.
    #[error("mark {} would end at {to} s, before it starts at {from} s", .id.0)]
    EndsBeforeStart {
        /// The mark.
        id: MarkId,
        /// Its start.
        from: Micros,
        /// Its end.
        to: Micros,
    },
}

impl Coding {
    /// Carries an edit out and returns the edit that takes it back.
    ///
    /// # Errors
    /// When a change makes no sense; the coding is then as it was.
    pub fn apply(&mut self, edit: &Edit) -> Result<Edit, EditError> {
        let mut inverse = Vec::with_capacity(edit.changes.len());
        for change in &edit.changes {
            match self.apply_change(change) {
                Ok(back) => inverse.push(back),
                Err(error) => {
                    // What was done so far was valid, and so is taking it back.
                    for back in inverse.iter().rev() {
                        let _ = self.apply_change(back);
                    }
                    return Err(error);
                }
            }
        }
        inverse.reverse();
        Ok(Edit { label: edit.label.clone(), changes: inverse })
    }

    fn apply_change(&mut self, change: &Change) -> Result<Change, EditError> {
        Ok(match change {
            Change::Put(mark) => {
                if let End::At(to) = mark.to
                    && to <= mark.from
                {
                    return Err(EditError::EndsBeforeStart { id: mark.id, from: mark.from, to });
                }
                let old = self.take(mark.id);
                let place = self.marks.partition_point(|other| (other.from, other.id) < (mark.from, mark.id));
                self.marks.insert(place, (**mark).clone());
                old.map_or(Change::Remove(mark.id), |old| Change::Put(Box::new(old)))
            }
            Change::Remove(id) => Change::Put(Box::new(self.take(*id).ok_or(EditError::NoSuchMark(*id))?)),
            Change::Passes(passes) => Change::Passes(std::mem::replace(&mut self.passes, passes.clone())),
            Change::Window(window) => Change::Window(std::mem::replace(&mut self.window, *window)),
            Change::Status(status) => Change::Status(std::mem::replace(&mut self.status, *status)),
            Change::ClosedAt(at) => Change::ClosedAt(std::mem::replace(&mut self.closed, *at)),
            Change::Ethogram(new) => Change::Ethogram(std::mem::replace(&mut self.ethogram, new.clone())),
            Change::SetAside(marks) => {
                Change::SetAside(std::mem::replace(&mut self.set_aside, marks.clone()))
            }
        })
    }

    fn take(&mut self, id: MarkId) -> Option<Mark> {
        let place = self.marks.iter().position(|mark| mark.id == id)?;
        Some(self.marks.remove(place))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn coding() -> Coding {
        let ethogram = EthogramRef { id: "e".into(), revision: 1, digest: String::new() };
        Coding::new("s".into(), "K-01".into(), ethogram)
    }

    fn put(id: u64, from: i64, to: Option<i64>) -> Change {
        Change::Put(Box::new(Mark::bout(MarkId(id), "move".into(), Micros(from), to.map(Micros))))
    }

    #[test]
    fn undo_after_do_is_nothing() {
        let mut coding = coding();
        let mut history = Vec::new();
        let mut before = vec![coding.clone()];
        let edits = [
            vec![put(1, 10, Some(20))],
            vec![put(2, 5, None), put(1, 12, Some(20))],
            vec![Change::Remove(MarkId(1)), put(2, 30, Some(31))],
            vec![
                Change::Status(Status::Closed),
                Change::ClosedAt(DateTime::parse_from_rfc3339("2025-03-04T09:00:00+00:00").ok()),
                Change::Window(Some(Span { from: Micros(0), to: Micros(9) })),
            ],
        ];
        for changes in edits {
            history.push(coding.apply(&Edit::new("x", changes)).unwrap());
            before.push(coding.clone());
        }
        assert_eq!(before.pop().unwrap(), coding);
        while let Some(inverse) = history.pop() {
            let _ = coding.apply(&inverse).unwrap();
            assert_eq!(coding, before.pop().unwrap());
        }
    }

    #[test]
    fn an_edit_happens_whole_or_not_at_all() {
        let mut coding = coding();
        let _ = coding.apply(&Edit::new("x", vec![put(1, 10, Some(20))])).unwrap();
        let before = coding.clone();
        let bad = Edit::new("x", vec![put(1, 0, Some(5)), Change::Remove(MarkId(9))]);
        assert_eq!(coding.apply(&bad), Err(EditError::NoSuchMark(MarkId(9))));
        assert_eq!(coding, before);
        let reversed = Edit::new("x", vec![put(3, 5, Some(5))]);
        assert!(coding.apply(&reversed).is_err());
        assert_eq!(coding, before);
    }
}
