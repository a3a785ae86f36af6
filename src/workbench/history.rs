//! Undo and redo without end, rebuilt from the journal at the next start.

use crate::model::Edit;
use crate::storage::journal::{Record, StepKind};

/// What can be taken back, and what can be done again.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct History {
    /// Edits that take back, oldest first.
    undo: Vec<Edit>,
    /// Edits that do again, oldest first.
    redo: Vec<Edit>,
}

impl History {
    /// From the records of a journal.
    #[must_use]
    pub fn from_records(records: &[Record]) -> Self {
        let mut history = Self::default();
        let mut last = None;
        for record in records {
            // Edits are missing before this one: what is older can't be taken back one by one any more.
            if last.is_some_and(|last: u64| record.seq != last + 1) {
                history = Self::default();
            }
            last = Some(record.seq);
            history.take(record.kind, record.inverse.clone());
        }
        history
    }

    /// Takes a step in, by the edit that takes it back.
    pub fn take(&mut self, kind: StepKind, inverse: Edit) {
        match kind {
            StepKind::Do => {
                self.redo.clear();
                self.undo.push(inverse);
            }
            StepKind::Undo => {
                let _ = self.undo.pop();
                self.redo.push(inverse);
            }
            StepKind::Redo => {
                let _ = self.redo.pop();
                self.undo.push(inverse);
            }
        }
    }

    /// The edit that takes the last step back.
    #[must_use]
    pub fn next_undo(&self) -> Option<&Edit> {
        self.undo.last()
    }

    /// The edit that does the last step taken back again.
    #[must_use]
    pub fn next_redo(&self) -> Option<&Edit> {
        self.redo.last()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::DateTime;

    fn record(seq: u64) -> Record {
        let edit = Edit::new(seq.to_string(), vec![]);
        Record { seq, time: DateTime::default(), kind: StepKind::Do, edit: edit.clone(), inverse: edit }
    }

    #[test]
    fn rule_33_undo_does_not_reach_over_missing_edits() {
        let mut history = History::from_records(&[record(1), record(2), record(7), record(8)]);
        let labels: Vec<String> = history.undo.drain(..).map(|edit| edit.label).collect();
        assert_eq!(labels, ["7", "8"]);
    }
}
