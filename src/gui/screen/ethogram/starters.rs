//! Starter ethograms: a whole one where the study has none, single behaviours or sets of one where it has.

use iced::keyboard::Key;
use iced::keyboard::key::Named;
use iced::widget::{button, column, container, row, scrollable, space, text};
use iced::{Element, Length};

use super::{EthogramScreen, Message};
use crate::gui::theme::{self, Palette};
use crate::model::{Behaviour, BehaviourId, Ethogram, Kind, Taxon, starter};

/// Taxa that have one, as people call them.
const TAXA: [(Taxon, &str); 3] =
    [(Taxon::Snake, "snakes"), (Taxon::Lizard, "lizards"), (Taxon::Chelonian, "tortoises and turtles")];

/// The list of starters while it is looked through.
#[derive(Debug, Clone)]
pub(super) struct Starters {
    taxon: usize,
    ethogram: Ethogram,
    rows: Vec<Line>,
    chosen: usize,
}

/// A line of the list: what Enter takes.
#[derive(Debug, Clone)]
struct Line {
    name: String,
    /// What it is beside its name.
    about: String,
    takes: Vec<BehaviourId>,
    is_heading: bool,
}

/// How a behaviour of a starter stands to the study's own.
fn standing(own: Option<&Ethogram>, there: &Behaviour) -> &'static str {
    let Some(here) = own.and_then(|own| own.behaviour(&there.id)) else { return "" };
    let bare = |behaviour: &Behaviour| {
        let mut bare = behaviour.clone();
        bare.key = None;
        bare.definition.stills.clear();
        bare
    };
    if bare(here) == bare(there) { "is here" } else { "is here, worded otherwise" }
}

impl Starters {
    /// Beside the study's own ethogram, if it has one; that of a taxon first.
    pub(super) fn new(taxon: Option<Taxon>, own: Option<&Ethogram>) -> Self {
        let place = TAXA.iter().position(|(own, _)| Some(*own) == taxon).unwrap_or(2);
        let mut made =
            Self { taxon: place, ethogram: starter::ethogram(Taxon::Chelonian), rows: Vec::new(), chosen: 0 };
        made.list(own);
        made
    }

    /// How far down the list what is chosen lies, 0–1.
    pub(super) fn place(&self) -> f32 {
        #[allow(clippy::cast_precision_loss)] // A few dozen lines.
        let share = self.chosen as f32 / self.rows.len().saturating_sub(1).max(1) as f32;
        share
    }

    /// Makes the list anew: the whole, then each group and what belongs to it.
    pub(super) fn list(&mut self, own: Option<&Ethogram>) {
        let (taxon, _) = TAXA.get(self.taxon).copied().unwrap_or((Taxon::Chelonian, ""));
        self.ethogram = starter::ethogram(taxon);
        let all: Vec<BehaviourId> = self.ethogram.behaviours.iter().map(|own| own.id.clone()).collect();
        let line = |name: String, about: String, takes: Vec<BehaviourId>, is_heading: bool| Line {
            name,
            about,
            takes,
            is_heading,
        };
        let whole = format!("{}, {} behaviours", self.ethogram.title, all.len());
        self.rows = vec![line(whole, "all of it".to_owned(), all, true)];
        let mut groups: Vec<(String, Vec<&Behaviour>)> = Vec::new();
        for behaviour in &self.ethogram.behaviours {
            let title = match (&behaviour.set, behaviour.kind) {
                (Some(set), _) => {
                    let name = self.ethogram.set(set).map_or_else(|| set.to_string(), |own| own.name.clone());
                    format!("Set: {name}")
                }
                (None, Kind::State) => "States of their own".to_owned(),
                (None, Kind::Event) => "Events".to_owned(),
            };
            match groups.iter_mut().find(|(own, _)| *own == title) {
                Some((_, group)) => group.push(behaviour),
                None => groups.push((title, vec![behaviour])),
            }
        }
        for (title, group) in groups {
            let takes = group.iter().map(|own| own.id.clone()).collect();
            self.rows.push(line(title, "all of these".to_owned(), takes, true));
            for behaviour in group {
                let about = standing(own, behaviour).to_owned();
                self.rows.push(line(behaviour.name.clone(), about, vec![behaviour.id.clone()], false));
            }
        }
        self.chosen = self.chosen.min(self.rows.len().saturating_sub(1));
    }
}

impl EthogramScreen {
    /// Opens the list of starters, or closes it.
    pub(super) fn toggle_starters(&mut self) {
        self.starters = match self.starters.take() {
            Some(_) if self.editor.is_some() => None,
            _ => {
                // The taxon that most of the study's animals have.
                let mut taxa: Vec<Taxon> =
                    self.folder.study.animals.iter().filter_map(|own| own.taxon).collect();
                taxa.sort_unstable();
                let most = taxa.chunk_by(|a, b| a == b).max_by_key(|same| same.len());
                let taxon = most.and_then(|same| same.first().copied());
                Some(Starters::new(taxon, self.own()))
            }
        };
    }

    fn own(&self) -> Option<&Ethogram> {
        self.editor.as_ref().map(crate::workbench::ethogram::Editor::ethogram)
    }

    /// Keys while the list is open; `false`: not one of them.
    pub(super) fn starter_key(&mut self, key: &Key) -> bool {
        let own = self.own().cloned();
        let Some(starters) = &mut self.starters else { return false };
        let last = starters.rows.len().saturating_sub(1);
        match key.as_ref() {
            Key::Named(Named::ArrowDown) => starters.chosen = (starters.chosen + 1).min(last),
            Key::Named(Named::ArrowUp) => starters.chosen = starters.chosen.saturating_sub(1),
            Key::Named(Named::PageDown) => {
                let next = starters.rows.iter().skip(starters.chosen + 1).position(|own| own.is_heading);
                starters.chosen = next.map_or(last, |by| starters.chosen + 1 + by);
            }
            Key::Named(Named::PageUp) => {
                let before = starters.rows.iter().take(starters.chosen).rposition(|own| own.is_heading);
                starters.chosen = before.unwrap_or(0);
            }
            Key::Named(Named::ArrowRight | Named::ArrowLeft) => {
                let by = if *key == Key::Named(Named::ArrowRight) { 1 } else { TAXA.len() - 1 };
                starters.taxon = (starters.taxon + by) % TAXA.len();
                starters.chosen = 0;
                starters.list(own.as_ref());
            }
            Key::Named(Named::Enter) => self.take_starter(),
            _ => return false,
        }
        true
    }

    /// Takes what the chosen line says: into the draft of the next revision, or as the study's first ethogram.
    pub(super) fn take_starter(&mut self) {
        let Some(starters) = &self.starters else { return };
        let Some(line) = starters.rows.get(starters.chosen).cloned() else { return };
        let from = starters.ethogram.clone();
        if self.editor.is_none() {
            if line.takes.len() < from.behaviours.len() {
                let words = "This study has no ethogram yet: take the whole of one first (the first line), then change it.";
                self.said = (words.to_owned(), true);
                return;
            }
            if let Err(error) = self.folder.save_ethogram(&from) {
                self.said = (error.to_string(), true);
                return;
            }
            self.starters = None;
            self.read();
            self.said = (
                format!(
                    "'{}' is the study's ethogram now, revision 1: change it as it suits your animals.",
                    from.title
                ),
                false,
            );
            return;
        }
        let before = self.own().cloned();
        if !self.change(|editor, _| editor.take_over(&from, &line.takes)) {
            return;
        }
        if self.own() == before.as_ref() {
            self.said = (format!("'{}' is here already: nothing was changed.", line.name), true);
            return;
        }
        let own = self.own().cloned();
        let revision = own.as_ref().map_or(0, |own| own.revision);
        if let Some(starters) = &mut self.starters {
            starters.list(own.as_ref());
        }
        self.said = (
            format!(
                "'{}' taken into revision {revision}; what it changes stands on the right, Ctrl+Z takes it back.",
                line.name
            ),
            false,
        );
    }

    /// A line was clicked: chosen, and taken when it was chosen already.
    pub(super) fn starter_clicked(&mut self, place: usize) {
        let Some(starters) = &mut self.starters else { return };
        if starters.chosen == place {
            self.take_starter();
        } else {
            starters.chosen = place;
        }
    }

    /// The list.
    pub(super) fn starters_view<'a>(
        &'a self,
        starters: &'a Starters,
        palette: Palette,
    ) -> Element<'a, Message> {
        let quiet = |words: String| text(words).size(theme::BODY).color(palette.quiet);
        let (_, name) = TAXA.get(starters.taxon).copied().unwrap_or((Taxon::Chelonian, ""));
        let head = row![
            text(format!("‹ Starter for {name} ›"))
                .size(theme::TITLE)
                .font(theme::MEDIUM)
                .color(palette.text),
            space::horizontal(),
            quiet("Left, Right: other animals".to_owned()),
        ]
        .align_y(iced::Center);
        let words = if self.editor.is_some() {
            "Up, Down, PageUp, PageDown: line · Enter takes it into this ethogram · F7 or Escape closes the list. A beginning to be adapted to species and animal, not a standard."
        } else {
            "This study has no ethogram yet. Enter takes this whole starter as its first revision: a beginning to be adapted to species and animal, not a standard."
        };
        let mut list = column![].spacing(2).padding(iced::Padding { right: 14.0, ..iced::Padding::ZERO });
        for (place, line) in starters.rows.iter().enumerate() {
            let name = text(&line.name).size(theme::BODY);
            let name = if line.is_heading { name.font(theme::MEDIUM) } else { name };
            let indent = if line.is_heading { 0.0 } else { 16.0 };
            let words = row![
                space().width(indent),
                name.color(palette.text),
                space::horizontal(),
                quiet(line.about.clone())
            ];
            list = list.push(
                button(words)
                    .width(Length::Fill)
                    .padding([3, 8])
                    .style(theme::key(palette, place == starters.chosen))
                    .on_press(Message::Starter(place)),
            );
        }
        let chosen = starters.rows.get(starters.chosen).filter(|line| line.takes.len() == 1);
        let behaviour = chosen.and_then(|line| starters.ethogram.behaviour(line.takes.first()?));
        let about = behaviour.map(|own| {
            let mut lines =
                column![text(&own.definition.onset).size(theme::BODY).color(palette.text)].spacing(4);
            let more = [
                ("Ends", &own.definition.offset),
                ("At least", &own.definition.minimum),
                ("Not", &own.definition.not_this),
            ];
            for (word, words) in more {
                lines = lines.push(words.as_ref().map(|words| quiet(format!("{word}: {words}"))));
            }
            container(lines).padding(12).width(Length::Fill).style(theme::card(palette))
        });
        column![head, quiet(words.to_owned()), scrollable(list).height(Length::Fill).id(LIST)]
            .push(about)
            .spacing(8)
            .into()
    }
}

/// The list of starters, which is scrolled along with what is chosen.
pub const LIST: &str = "ethogram-starters";
