//! Reading what counts as a behaviour while the film stands or runs; and its examples from the film.

use iced::widget::image::Handle;
use iced::widget::{container, image, scrollable, text};
use iced::{Element, Length};

use super::{Coding, Message, Said};
use crate::gui::theme::{self, Palette};
use crate::gui::widget::definition::definition;
use crate::model::Behaviour;

/// Examples shown of a behaviour, at most.
const EXAMPLES: usize = 4;

impl Coding {
    /// The behaviour that is read: of the chosen mark, else of the key pressed last.
    fn read_behaviour(&self) -> Option<&Behaviour> {
        let chosen =
            self.chosen.and_then(|(mark, _)| self.coder.coding().mark(mark)).map(|mark| &mark.behaviour);
        self.coder.ethogram().behaviour(chosen.or(self.last.as_ref())?)
    }

    /// Pictures kept as examples, from the study's folder of stills.
    pub(super) fn read_examples(&mut self) {
        self.examples.clear();
        let Some(id) = self.read_behaviour().map(|own| own.id.clone()).filter(|_| self.reads_definition)
        else {
            return;
        };
        let found = self.folder.stills_of(&self.coder.coding().ethogram.id, &id);
        self.examples = found
            .into_iter()
            .rev()
            .take(EXAMPLES)
            .filter_map(|path| {
                let picture = ::image::open(path).ok()?.to_rgba8();
                let (width, height) = picture.dimensions();
                Some(Handle::from_rgba(width, height, picture.into_raw()))
            })
            .collect();
    }

    /// Keeps the picture that is seen as an example of the chosen mark's behaviour. The definitions stay as
    /// they are: an example lies beside the ethogram, also of a revision that is frozen.
    pub(super) fn keep_example(&mut self) {
        let (Some(picture), Some(shot)) = (&self.picture, self.player.shown()) else { return };
        let Some((id, name)) = self.read_behaviour().map(|own| (own.id.clone(), own.name.clone())) else {
            self.said = Said::Refused("choose a mark first: its behaviour gets the example".to_owned());
            return;
        };
        let (width, height) = picture.shown_size();
        let narrow = width.min(640);
        let height = u64::from(height) * u64::from(narrow) / u64::from(width.max(1));
        let mut small = picture.to_rgba_within(narrow, u32::try_from(height).unwrap_or(1).max(1));
        if let Some(clip) = self.session.clip(shot.clip) {
            crate::export::drawn::cover_faces(&mut small, clip, shot.at);
        }
        let place = format!("{} {}", self.session.id, shot.at.clock().replace(':', "-"));
        let kept = self.folder.add_still(&self.coder.coding().ethogram.id, &id, &place, &|path| {
            small.save(path).map_err(|error| error.to_string())
        });
        self.said = match kept {
            Ok(_) => Said::Done(format!("kept as an example of '{name}'; F2 shows it")),
            Err(why) => Said::Refused(format!("the example can't be kept: {why}")),
        };
        self.read_examples();
    }

    /// What counts as the behaviour, in the place of the presentations.
    pub(super) fn definition(&self, palette: Palette) -> Element<'_, Message> {
        let quiet = |words: &str| text(words.to_owned()).size(theme::BODY).color(palette.quiet);
        let Some(behaviour) = self.read_behaviour() else {
            return container(quiet(
                "Press a behaviour's key, or choose a mark: what counts as it stands here. F2 closes this.",
            ))
            .padding(8)
            .into();
        };
        let mut all =
            definition(behaviour, palette).padding(iced::Padding { right: 14.0, ..iced::Padding::ZERO });
        for example in &self.examples {
            all = all.push(image(example.clone()).width(Length::Fill));
        }
        if self.examples.is_empty() {
            all = all.push(quiet("No example from the film yet: Ctrl+F2 keeps the picture that is seen."));
        }
        let aside = self.set_aside_words();
        if !aside.is_empty() {
            all = all.push(quiet("Set aside when the ethogram's revision changed, counted nowhere:"));
        }
        for words in aside {
            all = all.push(text(words).size(theme::BODY).color(palette.text));
        }
        all = all.push(quiet(&format!("{}. F2 closes this.", self.revision_words())));
        scrollable(all).height(Length::Fill).into()
    }
}
