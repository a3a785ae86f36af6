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
        for record in records {
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
