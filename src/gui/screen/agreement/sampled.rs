//! Two codings by samples: how well they agree, sample by sample, and which samples they differ in. Nothing of
//! it is a time, so there are no tapes and nothing is settled here: the way leads to the sample's picture.

use iced::keyboard::Key;
use iced::keyboard::key::Named;
use iced::widget::scrollable::AbsoluteOffset;
use iced::widget::{Column, Row, button, column, container, row, scrollable, space, text};
use iced::{Alignment, Element, Length};

use super::load::{self, Codings, Missing};
use super::view::RIGHT;
use super::{Action, LINE, Message, SCROLL, SEED};
use crate::agreement::align::Marks;
use crate::agreement::by_samples::{self, SampledAgreement, SampledApart, SampledSet, SampledTwo};
use crate::gui::screen::by_samples::rule_words;
use crate::gui::theme::{self, Palette};
use crate::storage::StudyFolder;

/// Width of the list of samples.
const LIST: f32 = 520.0;
/// Most width of a table: its columns are read along lines.
const TABLE: f32 = 760.0;

const HELP: &str =
    "Up, Down: sample · Enter opens the first's coding there · F4: next pair · Escape goes back";

/// What fills the screen instead of tapes and differences.
pub(super) struct Sampled {
    codings: Codings,
    other: usize,
    found: SampledAgreement,
    chosen: usize,
}

impl Sampled {
    /// Compares the first of a session's codings with one of the others.
    pub(super) fn of(folder: &StudyFolder, codings: Codings, other: usize) -> Result<Self, Missing> {
        let found = compared(folder, &codings, other)?;
        Ok(Self { codings, other, found, chosen: 0 })
    }

    pub(super) fn title(&self) -> String {
        let first = &self.codings.first.coding;
        let second = self.codings.others.get(self.other).map_or(&first.by, |own| &own.coding.by);
        format!("{} · {} and {second}", first.session, first.by)
    }

    pub(super) fn update(&mut self, folder: &StudyFolder, message: &Message) -> Action {
        match message {
            Message::Leave | Message::KeyDown(Key::Named(Named::Escape)) => Action::Leave,
            Message::Choose(place) if *place == self.chosen => self.open(),
            Message::Choose(place) => self.choose(*place),
            Message::KeyDown(Key::Named(Named::Enter)) => self.open(),
            Message::KeyDown(Key::Named(Named::ArrowDown)) => self.choose(self.chosen.saturating_add(1)),
            Message::KeyDown(Key::Named(Named::ArrowUp)) => self.choose(self.chosen.saturating_sub(1)),
            Message::KeyDown(Key::Named(Named::F4)) => {
                let other = (self.other + 1) % self.codings.others.len().max(1);
                if let Ok(found) = compared(folder, &self.codings, other) {
                    (self.other, self.found, self.chosen) = (other, found, 0);
                }
                Action::None
            }
            _ => Action::None,
        }
    }

    fn choose(&mut self, place: usize) -> Action {
        self.chosen = place.min(self.found.differences.len().saturating_sub(1));
        #[allow(clippy::cast_precision_loss)] // A place on the screen.
        let y = self.chosen.saturating_sub(5) as f32 * LINE;
        Action::Run(iced::widget::operation::scroll_to(SCROLL, AbsoluteOffset { x: 0.0, y }))
    }

    /// The first coding at the chosen sample.
    fn open(&self) -> Action {
        match self.found.differences.get(self.chosen) {
            Some(own) => Action::Go(self.codings.first.path.clone(), own.at_s.0),
            None => Action::None,
        }
    }

    pub(super) fn view(&self, palette: Palette) -> Element<'_, Message> {
        let quiet = |words: String| text(words).size(theme::BODY).color(palette.quiet);
        let found = &self.found;
        let next = (self.codings.others.len() > 1).then(|| {
            button(text("Next pair (F4)").size(theme::BODY))
                .padding([4, 12])
                .style(theme::key(palette, false))
                .on_press(Message::KeyDown(Key::Named(Named::F4)))
        });
        let head = row![
            text(self.title()).size(theme::CLOCK).font(theme::MEDIUM).color(palette.text),
            quiet(rule_words(self.codings.first.coding.rule)),
            space::horizontal(),
        ]
        .push(next)
        .spacing(12)
        .align_y(Alignment::Center);
        let counts = format!(
            "{} {}s in both, {} of them answered by both, the animal visible to both in {} · differences: {}",
            found.in_both,
            found.each,
            found.answered_by_both,
            found.visible_to_both,
            found.differences.len()
        );
        // What was hidden from whom stands with every number.
        let hidden = [Some(&self.codings.first), self.codings.others.get(self.other)]
            .into_iter()
            .flatten()
            .map(|own| &own.coding)
            .filter(|coding| !coding.masked.is_empty())
            .map(|coding| format!("hidden from {}: {}", coding.by, coding.masked.join(", ")));
        let said = std::iter::once(counts).chain(hidden).collect::<Vec<_>>().join(" · ");
        let body =
            row![self.list(palette), scrollable(self.numbers(palette).padding(RIGHT)).width(Length::Fill)]
                .spacing(16)
                .height(Length::Fill);
        column![head, quiet(said), body, quiet(HELP.to_owned())].spacing(8).padding(12).into()
    }

    fn name(&self, id: &str) -> String {
        load::name_of(&self.codings.first.ethogram, id)
    }

    /// The samples they differ in.
    fn list(&self, palette: Palette) -> Element<'_, Message> {
        let head = |words: String| text(words).size(theme::BODY).color(palette.quiet);
        let coders =
            [&self.codings.first, self.codings.others.get(self.other).unwrap_or(&self.codings.first)];
        let [first, second] = coders.map(|own| own.coding.by.to_string());
        let second = if first == second { "the repeat".to_owned() } else { second };
        let columns = row![
            head(capital(self.found.each)).width(56),
            head("At".to_owned()).width(84),
            head("About".to_owned()).width(Length::FillPortion(1)),
            head(first).width(Length::FillPortion(1)),
            head(second).width(Length::FillPortion(1)),
        ]
        .spacing(8)
        .padding(iced::Padding { left: 9.0, right: 23.0, ..iced::Padding::ZERO });
        if self.found.differences.is_empty() {
            let words = "They say the same of every sample.";
            return column![columns, container(head(words.to_owned())).center(Length::Fill)]
                .width(LIST)
                .into();
        }
        let lines =
            self.found.differences.iter().enumerate().map(|(place, own)| self.line(place, own, palette));
        let list = scrollable(lines.collect::<Column<_>>().padding(RIGHT)).id(SCROLL).height(Length::Fill);
        column![columns, list].spacing(4).width(LIST).into()
    }

    fn line<'a>(&'a self, place: usize, own: &'a SampledApart, palette: Palette) -> Element<'a, Message> {
        let mono = |words: String| text(words).size(theme::BODY).font(theme::MONO).color(palette.text);
        let cell = |words: String| {
            let words = text(words).size(theme::BODY).color(palette.text).wrapping(text::Wrapping::None);
            container(words).clip(true).width(Length::FillPortion(1))
        };
        let says =
            |id: &Option<String>| cell(id.as_deref().map_or_else(|| "—".to_owned(), |id| self.name(id)));
        let line = row![
            mono(own.sample.to_string()).width(56),
            mono(own.at_s.0.clock()).width(84),
            cell(self.name(&own.about)),
            says(&own.first),
            says(&own.second),
        ]
        .spacing(8)
        .height(Length::Fill)
        .align_y(Alignment::Center);
        let button = button(line)
            .width(Length::Fill)
            .height(LINE - 2.0)
            .padding([0, 8])
            .style(theme::choice(palette, place == self.chosen))
            .on_press(Message::Choose(place));
        container(button).height(LINE).into()
    }

    /// Each set with its states, or each behaviour.
    fn numbers(&self, palette: Palette) -> Column<'_, Message> {
        let mut all = column![].spacing(16);
        for set in &self.found.sets {
            let title = text(self.name(&set.set)).size(theme::TITLE).font(theme::MEDIUM).color(palette.text);
            let words = text(set_words(set, self.found.each)).size(theme::BODY).color(palette.quiet);
            let occurring = occurring(&set.behaviours);
            let table = (!occurring.is_empty()).then(|| self.table(&occurring, palette));
            all = all.push(column![title, words].push(table).spacing(6));
        }
        let occurring = occurring(&self.found.behaviours);
        if !occurring.is_empty() {
            all = all.push(self.table(&occurring, palette));
        }
        all
    }

    fn table(&self, all: &[&SampledTwo], palette: Palette) -> Element<'_, Message> {
        let cell = |words: String, share: u16, colour: iced::Color| {
            text(words).size(theme::BODY).color(colour).width(Length::FillPortion(share))
        };
        let mut head = Row::new().push(space::horizontal().width(Length::FillPortion(3)));
        for words in ["kappa", "95 %", "both", "only first", "only second"] {
            head = head.push(cell(words.to_owned(), 2, palette.quiet));
        }
        let mut lines = column![head].spacing(3).max_width(TABLE);
        for own in all {
            let mut line = Row::new().push(cell(self.name(&own.id), 3, palette.text));
            // Where there is no kappa, the reason stands in its place.
            line = match (own.kappa, &own.why) {
                (None, Some(why)) => line.push(cell(why.clone(), 4, palette.quiet)),
                (kappa, _) => line.push(cell(number(kappa), 2, palette.text)).push(cell(
                    own.ci95.map_or_else(|| "—".to_owned(), |[low, high]| format!("{low:.2} to {high:.2}")),
                    2,
                    palette.text,
                )),
            };
            for count in [own.both, own.only_first, own.only_second] {
                line = line.push(cell(count.to_string(), 2, palette.text));
            }
            lines = lines.push(line);
        }
        lines.into()
    }
}

fn compared(folder: &StudyFolder, codings: &Codings, other: usize) -> Result<SampledAgreement, Missing> {
    let first = &codings.first;
    let second = codings.others.get(other).unwrap_or(first);
    let pair = [&first.coding, &second.coding];
    by_samples::compare(pair, &first.ethogram, &first.session, &folder.study, Marks::All, SEED)
        .map_err(|error| load::not_comparable(error.to_string()))
}

/// Those that either record has.
fn occurring(all: &[SampledTwo]) -> Vec<&SampledTwo> {
    all.iter().filter(|own| own.both + own.only_first + own.only_second > 0).collect()
}

fn set_words(set: &SampledSet, each: &str) -> String {
    let mut words = match (set.kappa, &set.why) {
        (None, Some(why)) => vec![format!("no kappa: {why}"), format!("observed {}", number(set.observed))],
        (kappa, _) => vec![format!(
            "kappa {} (at most {}), observed {}, by chance {}",
            number(kappa),
            number(set.kappa_max),
            number(set.observed),
            number(set.expected)
        )],
    };
    if let Some([low, high]) = set.ci95 {
        words.push(format!("95 % {low:.2} to {high:.2}"));
    }
    words.push(format!("over {} {each}s", set.n));
    words.join(" · ")
}

fn number(value: Option<f64>) -> String {
    value.map_or_else(|| "—".to_owned(), |value| format!("{value:.2}"))
}

fn capital(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
