//! How the Agreement screen looks.

use iced::keyboard::Key;
use iced::keyboard::key::Named;
use iced::widget::{Column, button, column, container, row, scrollable, space, stack, text};
use iced::{Alignment, Element, Length};

use super::{Agreement, Asks, CHARTS, LINE, Message, Open, SCROLL, Side, load};
use crate::agreement::align::NO_STATE;
use crate::agreement::differences::Apart;
use crate::agreement::pair::PairKind;
use crate::agreement::resolve::{Decision, Settled};
use crate::gui::theme::{self, Mode, Palette};
use crate::gui::widget::definition::definition;
use crate::gui::widget::video::{self, Sight};
use crate::gui::widget::{pictures, tape};

/// Width of the differences, and of what is read beside the film.
const LIST: f32 = 592.0;
/// Width of what stands beside the charts.
const BESIDE: f32 = 380.0;
/// Lines of the list drawn at once, and those of them above what is in view.
const DRAWN: usize = 90;
const ABOVE: usize = 10;
/// Causes that lead to their definitions beside the charts.
const CAUSES: usize = 8;

/// Room for the scroll bar.
pub(super) const RIGHT: iced::Padding = iced::Padding { right: 14.0, ..iced::Padding::ZERO };

const HELP: &str = "Up, Down: difference · Enter plays it · Space stops · Left, Right: picture · +, −: closer, farther · O codes there · Escape goes back";
const HELP_NUMBERS: &str =
    "Click a row or a cell: the longest such difference is played. Escape goes back to the differences.";

impl Agreement {
    /// The screen.
    #[must_use]
    pub fn view(&self, mode: Mode) -> Element<'_, Message> {
        let palette = mode.palette();
        match (&self.open, &self.sampled) {
            (_, Some(sampled)) => sampled.view(palette),
            (Ok(open), _) => open.view(palette),
            (Err(missing), _) => nothing(palette, missing),
        }
    }
}

impl Open {
    fn view(&self, palette: Palette) -> Element<'_, Message> {
        let quiet = |words: String| text(words).size(theme::BODY).color(palette.quiet);
        let count = format!("{} differences, {} open", self.compared.list.len(), self.unsettled());
        let cap = |name: &'static str, active: bool, key: Named| {
            button(text(name).size(theme::BODY))
                .padding([4, 12])
                .style(theme::key(palette, active))
                .on_press(Message::KeyDown(Key::Named(key)))
        };
        let others = self.codings.others.len() > 1;
        let head = row![
            text(self.title()).size(theme::CLOCK).font(theme::MEDIUM).color(palette.text),
            quiet(count),
            space::horizontal(),
        ]
        .push(others.then(|| cap("Next pair (F4)", false, Named::F4)))
        .push(cap("Definitions (F2)", self.reads, Named::F2))
        .push(cap("Numbers (F3)", self.side == Side::Numbers, Named::F3))
        .spacing(12)
        .align_y(Alignment::Center);
        let screen = column![head, quiet(self.circumstances())].spacing(8).padding(12);
        let screen = match self.side {
            Side::Differences if self.compared.list.is_empty() => screen.push(
                container(quiet("The two records do not differ. F3 shows the numbers.".to_owned()))
                    .center(Length::Fill),
            ),
            Side::Differences => screen
                .push(row![self.film(palette), self.beside(palette)].spacing(8).height(Length::Fill))
                .push(tape::tape(
                    &self.tapes,
                    self.at(),
                    self.zoom,
                    Some((super::tapes::bar_of(self.chosen), crate::workbench::coder::Edge::From)),
                    palette,
                    Message::Tape,
                ))
                .push(self.settling(palette)),
            Side::Numbers => screen.push(
                row![
                    if self.reads { self.definitions(palette, BESIDE) } else { self.causes(palette) },
                    scrollable(pictures::pictures(&self.charts, self.over, Message::Touch))
                        .id(CHARTS)
                        .width(Length::Fill)
                        .height(Length::Fill),
                ]
                .spacing(12)
                .height(Length::Fill),
            ),
        };
        screen.push(quiet(self.words())).into()
    }

    /// What the last line says.
    fn words(&self) -> String {
        let hit = pictures::hit(&self.charts, self.over).map(|hit| hit.words.as_str());
        let trouble = self.film.troubles().first().map(String::as_str).filter(|_| self.film.has_film());
        let help = if self.side == Side::Numbers { HELP_NUMBERS } else { HELP };
        let said = Some(self.said.as_str()).filter(|words| !words.is_empty());
        hit.or(said).or(trouble).unwrap_or(help).to_owned()
    }

    /// What both cover, and what was hidden from whom: it stands with every number.
    fn circumstances(&self) -> String {
        let found = &self.compared.found;
        let hidden = |who: &str, what: &[String]| {
            if what.is_empty() {
                format!("from {who} nothing was hidden")
            } else {
                format!("hidden from {who}: {}", what.join(", "))
            }
        };
        let [first, second] = self.coders();
        format!(
            "Both cover {:.1} s, the animal visible to both for {:.1} s · {} · {}",
            found.window_s,
            found.visible_to_both_s.unwrap_or_default(),
            hidden(&first, &found.first_masked),
            hidden(&second, &found.second_masked)
        )
    }

    /// What the two are called: by their codes, of one person's two by their order.
    fn coders(&self) -> [String; 2] {
        let found = &self.compared.found;
        match found.kind {
            PairKind::Within => ["the first".to_owned(), "the repeat".to_owned()],
            PairKind::Between | PairKind::Trial => [found.first_by.clone(), found.second_by.clone()],
        }
    }

    fn name(&self, id: &str) -> String {
        load::name_of(&self.codings.first.ethogram, id)
    }

    /// The film at the difference.
    fn film(&self, palette: Palette) -> Element<'_, Message> {
        let words = |words: String| text(words).size(theme::BODY).color(palette.quiet);
        let inside: Element<'_, Message> = match (self.film.picture(), self.film.opening()) {
            (Some(picture), _) => video::video(picture, Sight::default(), video::Place::Main),
            (None, Some(share)) => container(words(format!("Reading the clip, {:.0} %.", share * 100.0)))
                .center(Length::Fill)
                .into(),
            (None, None) if self.film.has_film() => space::vertical().into(),
            (None, None) => {
                let why = self.film.troubles().first().map_or_else(
                    || {
                        "This session's film is not open. The tapes show both records all the same."
                            .to_owned()
                    },
                    |why| format!("{why}. The tapes show both records all the same."),
                );
                container(words(why)).padding(24).center(Length::Fill).into()
            }
        };
        let picture = container(inside)
            .width(Length::Fill)
            .height(Length::Fill)
            .style(theme::plain(palette.panel))
            .clip(true);
        let clock = text(self.at().clock()).size(theme::CLOCK).font(theme::MONO).color(iced::Color::WHITE);
        let clock = container(clock).padding([2, 8]).style(theme::over_picture);
        stack![picture, container(clock).padding(8).align_bottom(Length::Fill)].into()
    }

    /// The list, or what the two behaviours mean.
    fn beside(&self, palette: Palette) -> Element<'_, Message> {
        if self.reads {
            return self.definitions(palette, LIST);
        }
        let [first, second] = self.coders();
        let head = |words: String| text(words).size(theme::BODY).color(palette.quiet);
        let columns = row![
            head("At".to_owned()).width(100),
            head("For".to_owned()).width(60),
            head(first).width(Length::FillPortion(1)),
            head(second).width(Length::FillPortion(1)),
            head("Settled".to_owned()).width(132),
        ]
        .spacing(8)
        .padding(iced::Padding { left: 9.0, right: 23.0, ..iced::Padding::ZERO });
        let list = scrollable(self.lines(palette).padding(RIGHT))
            .id(SCROLL)
            .on_scroll(|view| Message::Scrolled(view.absolute_offset().y))
            .height(Length::Fill);
        column![columns, list].spacing(4).width(LIST).into()
    }

    /// The lines in view, and room for the others.
    fn lines(&self, palette: Palette) -> Column<'_, Message> {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // A line's number.
        let from = ((self.scrolled / LINE).max(0.0) as usize).saturating_sub(ABOVE);
        let until = from + DRAWN;
        #[allow(clippy::cast_precision_loss)] // Heights on the screen.
        let room = |lines: usize| space::vertical().height(lines as f32 * LINE);
        let (mut line, mut drawn) = (0, column![room(from)]);
        for (n, group) in self.compared.groups.iter().enumerate() {
            let end = group.from + group.cause.n;
            if (from..until).contains(&line) {
                drawn = drawn.push(self.cause(n, palette));
            }
            line += 1;
            for place in group.from..end {
                if (from..until).contains(&line)
                    && let Some(apart) = self.compared.list.get(place)
                {
                    drawn = drawn.push(self.line(place, apart, palette));
                }
                line += 1;
            }
        }
        drawn.push(room(line.saturating_sub(until)))
    }

    /// What is confused, how often and for how long; it leads to the definitions.
    fn cause(&self, place: usize, palette: Palette) -> Element<'_, Message> {
        let Some(group) = self.compared.groups.get(place) else { return space::vertical().into() };
        let cause = &group.cause;
        let times = if cause.n == 1 { "once".to_owned() } else { format!("{} times", cause.n) };
        let much = if cause.seconds > 0.0 { format!("{times}, {:.1} s", cause.seconds) } else { times };
        let words = row![
            text(cause.words(&|id| self.name(id))).size(theme::BODY).font(theme::MEDIUM).color(palette.text),
            space::horizontal(),
            text(much).size(theme::BODY).color(palette.quiet),
        ]
        .spacing(8)
        .height(Length::Fill)
        .align_y(Alignment::Center);
        let button = button(words)
            .width(Length::Fill)
            .height(LINE - 2.0)
            .padding([0, 8])
            .style(theme::key(palette, false))
            .on_press(Message::Define(place));
        container(button).height(LINE).into()
    }

    fn line<'a>(&'a self, place: usize, apart: &'a Apart, palette: Palette) -> Element<'a, Message> {
        let mono = |words: String| text(words).size(theme::BODY).font(theme::MONO).color(palette.text);
        let long = if apart.span.is_empty() {
            "—".to_owned()
        } else {
            format!("{:.1} s", apart.seconds.0.seconds())
        };
        let who = |id: &Option<String>| {
            let id = id.as_deref().filter(|id| *id != NO_STATE);
            let words = id.map_or_else(|| "—".to_owned(), |id| self.name(id));
            text(words)
                .size(theme::BODY)
                .color(palette.text)
                .width(Length::FillPortion(1))
                .wrapping(text::Wrapping::None)
        };
        let settled = self.decision(apart).map_or_else(String::new, |own| self.settled_words(own));
        let line = row![
            mono(apart.span.from.clock()).width(100),
            mono(long).width(60),
            container(who(&apart.first)).clip(true).width(Length::FillPortion(1)),
            container(who(&apart.second)).clip(true).width(Length::FillPortion(1)),
            text(settled).size(theme::BODY).color(palette.quiet).width(132),
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

    fn settled_words(&self, own: &Settled) -> String {
        let [first, second] = self.coders();
        let who = match &own.decision {
            Decision::First => first,
            Decision::Second => second,
            Decision::Both => "both".to_owned(),
            Decision::Neither => "neither".to_owned(),
            Decision::New(_) => "new".to_owned(),
        };
        format!("{who}, {}", own.reason.word())
    }

    /// What counts as the two behaviours, each with the way to where it is changed.
    fn definitions(&self, palette: Palette, width: f32) -> Element<'_, Message> {
        let mut all = column![].spacing(12).padding(RIGHT);
        for (n, behaviour) in self.behaviours().into_iter().enumerate() {
            let words = if n == 0 { "In the ethogram (F10)" } else { "In the ethogram" };
            let own = definition(behaviour, palette).push(
                button(text(words).size(theme::BODY))
                    .padding([4, 12])
                    .style(theme::key(palette, false))
                    .on_press(Message::Ethogram(behaviour.id.clone())),
            );
            all = all.push(container(own).padding(12).width(Length::Fill).style(theme::card(palette)));
        }
        let ends = "Where both readings fit the words, the words are what to mend: a new revision of the ethogram. F2 closes this.";
        all = all.push(text(ends).size(theme::BODY).color(palette.quiet));
        container(scrollable(all).height(Length::Fill)).width(width).into()
    }

    /// Beside the charts: what is confused most.
    fn causes(&self, palette: Palette) -> Element<'_, Message> {
        let mut all = column![
            text("Most confused").size(theme::TITLE).font(theme::MEDIUM).color(palette.text),
            text("What two records differ about, by seconds. A click shows what counts as which.")
                .size(theme::BODY)
                .color(palette.quiet),
        ]
        .spacing(6)
        .padding(RIGHT);
        for place in 0..self.compared.groups.len().min(CAUSES) {
            all = all.push(self.cause(place, palette));
        }
        if self.compared.groups.is_empty() {
            all = all.push(text("They differ in nothing.").size(theme::BODY).color(palette.quiet));
        }
        container(scrollable(all).height(Length::Fill)).width(BESIDE).into()
    }

    /// Who is right, and why: what the keys do now, to be clicked as well.
    fn settling(&self, palette: Palette) -> Element<'_, Message> {
        let cap = |key: String, does: &str| {
            let words = row![
                text(key.clone()).size(theme::BODY).font(theme::MONO).color(palette.quiet),
                text(does.to_owned()).size(theme::BODY),
            ]
            .spacing(6);
            button(words)
                .padding([4, 10])
                .style(theme::key(palette, false))
                .on_press(Message::KeyDown(Key::Character(key.to_lowercase().into())))
        };
        let named = |key: Named, does: &'static str| {
            button(text(does).size(theme::BODY))
                .padding([4, 10])
                .style(theme::key(palette, false))
                .on_press(Message::KeyDown(Key::Named(key)))
        };
        let quiet = |words: &'static str| text(words).size(theme::BODY).color(palette.quiet);
        let waits =
            |words: &'static str| text(words).size(theme::BODY).font(theme::MEDIUM).color(palette.text);
        let [first, second] = self.coders();
        let keys = match &self.asks {
            Asks::Nothing => row![named(Named::Enter, "Play (Enter)"), quiet("Right is:")]
                .push(cap("1".to_owned(), &first))
                .push(cap("2".to_owned(), &second))
                .push(cap("3".to_owned(), "both"))
                .push(cap("0".to_owned(), "neither"))
                .push(cap("N".to_owned(), "something else"))
                .push(
                    self.chosen_apart()
                        .and_then(|own| self.decision(own))
                        .map(|_| named(Named::Backspace, "Take it back (Backspace)")),
                ),
            Asks::Instead => {
                let mut keys = row![waits("What is there instead?")];
                for behaviour in self.instead() {
                    if let Some(key) = behaviour.key {
                        keys = keys.push(cap(key.to_ascii_uppercase().to_string(), &behaviour.name));
                    }
                }
                keys.push(named(Named::Escape, "Escape"))
            }
            Asks::Why(_) => row![waits("Why did they differ?")]
                .push(cap("D".to_owned(), "definition"))
                .push(cap("M".to_owned(), "missed"))
                .push(cap("T".to_owned(), "timing"))
                .push(cap("S".to_owned(), "slip"))
                .push(named(Named::Escape, "Escape")),
        };
        keys.spacing(8).align_y(Alignment::Center).wrap().into()
    }
}

/// Nothing can be compared.
fn nothing(palette: Palette, missing: &load::Missing) -> Element<'_, Message> {
    let words = column![
        text(missing.title).size(theme::CLOCK).font(theme::MEDIUM).color(palette.text),
        text(&missing.words).size(theme::BODY).color(palette.quiet),
        button(text("Back (Escape)").size(theme::BODY))
            .padding([8, 16])
            .style(theme::key(palette, true))
            .on_press(Message::Leave),
    ]
    .spacing(12)
    .max_width(560);
    container(words).center(Length::Fill).into()
}
