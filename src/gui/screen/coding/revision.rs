//! The ethogram's revision a coding is made under, and putting it under the newest one.

use std::sync::Arc;

use iced::widget::{button, column, row, scrollable, text};
use iced::{Element, Length};

use super::{Coding, Message, Said};
use crate::gui::theme::{self, Palette};
use crate::model::{Ethogram, EthogramId, Status};
use crate::storage::StudyFolder;
use crate::workbench::revision::{self, Move};

/// A move that is looked at before it is done.
#[derive(Debug)]
pub(super) struct Moving {
    planned: Move,
    ethogram: Ethogram,
}

impl Coding {
    /// Shows what the newest revision would change, or why there is nothing to move to; closes it again.
    pub(super) fn look_at_revision(&mut self) {
        if self.revising.take().is_some() {
            return;
        }
        let own = &self.coder.coding().ethogram;
        let (all, _) = self.folder.ethograms();
        let newest = all.into_iter().filter(|other| other.id == own.id).max_by_key(|other| other.revision);
        let Some(newest) = newest.filter(|newest| newest.revision > own.revision) else {
            self.said = Said::Refused(format!("revision {} is the ethogram's newest", own.revision));
            return;
        };
        match revision::plan(self.coder.coding(), self.coder.ethogram(), &newest, &self.session) {
            Ok(planned) => self.revising = Some(Moving { planned, ethogram: newest }),
            Err(why) => self.said = Said::Refused(why.to_string()),
        }
    }

    /// Does what was looked at.
    pub(super) fn move_revision(&mut self) {
        let Some(Moving { planned, ethogram }) = self.revising.take() else { return };
        let done = self.coder.move_to(planned, Arc::new(ethogram));
        self.take(done);
    }

    /// After each step: undo may have brought another revision back.
    pub(super) fn follow_ethogram(&mut self) {
        let named = &self.coder.coding().ethogram;
        let own = self.coder.ethogram();
        if own.id == named.id && own.revision == named.revision {
            return;
        }
        match self.folder.ethogram_of(named) {
            Ok((ethogram, _)) => self.coder.set_ethogram(Arc::new(ethogram)),
            Err(error) => self.troubles.insert(0, error.to_string()),
        }
    }

    /// Which revision, what is set aside, and that there is a newer one.
    pub(super) fn revision_words(&self) -> String {
        let coding = self.coder.coding();
        let aside = match coding.set_aside.len() {
            0 => String::new(),
            n => format!(", {n} marks set aside"),
        };
        format!("Ethogram revision {}{aside}", coding.ethogram.revision)
    }

    /// The marks set aside, by behaviour, below the definition that is read.
    pub(super) fn set_aside_words(&self) -> Vec<String> {
        let mut found: Vec<(String, Vec<String>)> = Vec::new();
        for mark in &self.coder.coding().set_aside {
            let name = mark.behaviour.to_string();
            match found.iter_mut().find(|(own, _)| *own == name) {
                Some((_, all)) => all.push(mark.from.clock()),
                None => found.push((name, vec![mark.from.clock()])),
            }
        }
        found.into_iter().map(|(name, at)| format!("{name}: {}", at.join(", "))).collect()
    }

    /// Whether a move could be of use: the coding is at work and was begun before the newest revision.
    pub(super) fn is_behind(&self) -> bool {
        self.coder.coding().status == Status::Open
            && self.newest_revision > self.coder.coding().ethogram.revision
    }
}

impl Moving {
    /// What the move would change, in the place of the presentations.
    pub(super) fn view(&self, palette: Palette) -> Element<'_, Message> {
        let plain = |words: String| text(words).size(theme::BODY).color(palette.text);
        let quiet = |words: String| text(words).size(theme::BODY).color(palette.quiet);
        let planned = &self.planned;
        let mut all = column![plain(format!(
            "This coding was begun under revision {}; the newest is {}.",
            planned.from, planned.to
        ))]
        .spacing(8)
        .padding(iced::Padding { right: 14.0, ..iced::Padding::ZERO });
        all = all.push(quiet("The newer one changes:".to_owned()));
        for own in &planned.differences {
            let what = if own.is_of_meaning { "meaning" } else { "wording" };
            all = all.push(plain(format!("{} ({what})", own.words)));
        }
        if planned.set_aside.is_empty() {
            all = all.push(quiet("All marks keep their place.".to_owned()));
        } else {
            all = all.push(quiet("Set aside, kept in the file and counted nowhere:".to_owned()));
            for (name, count) in &planned.set_aside {
                let marks = if *count == 1 { "mark" } else { "marks" };
                all = all.push(plain(format!("{name}: {count} {marks}")));
            }
        }
        if !planned.reopened.is_empty() {
            all = all.push(quiet("Open again, because they were not looked through for this:".to_owned()));
            for name in &planned.reopened {
                all = all.push(plain(format!("pass '{name}'")));
            }
        }
        let go = button(text("Move (Enter)").size(theme::BODY))
            .padding([4, 8])
            .style(theme::key(palette, true))
            .on_press(Message::MoveRevision);
        let stay = button(text("Stay (Escape)").size(theme::BODY))
            .padding([4, 8])
            .style(theme::key(palette, false))
            .on_press(Message::LookAtRevision);
        let head = text("A newer revision").size(theme::TITLE).font(theme::MEDIUM).color(palette.text);
        let foot = quiet("Ctrl+Z takes it back.".to_owned());
        column![head, scrollable(all).height(Length::Fill), row![go, stay].spacing(8), foot].spacing(8).into()
    }
}

/// The newest revision of an ethogram in a study.
pub(super) fn newest(folder: &StudyFolder, id: &EthogramId) -> u32 {
    let all = folder.ethograms().0.into_iter().filter(|own| own.id == *id);
    all.map(|own| own.revision).max().unwrap_or_default()
}
