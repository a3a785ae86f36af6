//! Under which revision new codings are made.

use super::EthogramScreen;
use crate::model::{Extra, NewCodings};
use crate::workbench::ethogram::Editor;

impl EthogramScreen {
    /// The choice, as people read it.
    pub(super) fn for_new_words(&self) -> String {
        let Some(own) = self.editor.as_ref().map(Editor::ethogram) else { return String::new() };
        match &self.folder.study.new_codings {
            None if self.all.len() < 2 => "New codings use the newest revision (F5)".to_owned(),
            None => {
                let last =
                    self.all.iter().max_by(|a, b| a.id.cmp(&b.id)).map_or("", |own| own.title.as_str());
                format!("New codings use the newest revision of '{last}' (F5)")
            }
            Some(choice) if choice.ethogram != own.id => {
                let other = self.all.iter().find(|other| other.id == choice.ethogram);
                let title = other.map_or_else(|| choice.ethogram.to_string(), |other| other.title.clone());
                format!("New codings use '{title}' (F5: this one)")
            }
            Some(choice) => match choice.revision {
                None => "New codings use this one, always its newest revision (F5)".to_owned(),
                Some(revision) => format!("New codings use revision {revision} (F5)"),
            },
        }
    }

    /// The next choice: the newest of this ethogram, then each of its revisions, the newest first.
    pub(super) fn next_for_new(&mut self) {
        let Some(id) = self.editor.as_ref().map(|own| own.ethogram().id.clone()) else { return };
        let (all, _) = self.folder.ethograms();
        let mut revisions: Vec<u32> = all.iter().filter(|own| own.id == id).map(|own| own.revision).collect();
        revisions.sort_unstable();
        let now = self.folder.study.new_codings.as_ref().filter(|own| own.ethogram == id);
        let revision = match now.map(|own| own.revision) {
            None if self.folder.study.new_codings.is_none() => revisions.last().copied(),
            None => None,
            Some(None) => revisions.last().copied(),
            Some(Some(now)) => revisions.iter().rev().copied().find(|own| *own < now),
        };
        let before = self.folder.study.clone();
        self.folder.study.new_codings = Some(NewCodings { ethogram: id, revision, extra: Extra::new() });
        if let Err(error) = self.folder.save_study() {
            self.folder.study = before;
            self.said = (error.to_string(), true);
            return;
        }
        let words = match revision {
            None => "New codings are made under this ethogram's newest revision, whatever that is then."
                .to_owned(),
            Some(revision) => format!(
                "New codings are made under revision {revision}, also when a newer one is made. Codings there are stay as they are."
            ),
        };
        self.said = (words, false);
    }
}
