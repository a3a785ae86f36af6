//! What can be done from Sessions, beside the list: in groups by what it is done to, each with its key.

use iced::keyboard::key::Named;
use iced::keyboard::{Key, Modifiers};
use iced::widget::{button, column, container, row, scrollable, space, text, text_input};
use iced::{Element, Length};

use super::{Ask, Message, Sessions};
use crate::gui::theme::{self, Palette};
use crate::model::Purpose;

const WIDTH: f32 = 232.0;

/// What stands in a line, the key that does the same, and what is sent.
type Line = (&'static str, &'static str, Message);

fn groups() -> [(&'static str, Vec<Line>); 4] {
    let ask = Message::Sheet;
    [
        (
            "Chosen session",
            vec![
                ("Code it", "Enter", Message::KeyDown(Key::Named(Named::Enter), Modifiers::empty())),
                ("Code it anew", "", Message::Begin(Purpose::Primary)),
                ("Second coding", "Ctrl+Enter", Message::Begin(Purpose::Second)),
                ("Code by samples", "Shift+F2", ask(Ask::BySamples)),
                ("Facts and decision", "F2", ask(Ask::Session)),
                ("Results", "F6", ask(Ask::Results)),
                ("Agreement", "F8", ask(Ask::Agreement)),
                ("Earlier versions", "Shift+F6", ask(Ask::Earlier)),
                ("Changed film", "Shift+F4", ask(Ask::ChangedFilm)),
            ],
        ),
        (
            "Its animal",
            vec![
                ("Profile", "F3", ask(Ask::Animal)),
                ("Plan", "F4", ask(Ask::Plan)),
                ("Progress", "F7", ask(Ask::Progress)),
            ],
        ),
        (
            "Study",
            vec![
                ("Study and people", "F5", ask(Ask::Study)),
                ("New animal", "Shift+F3", ask(Ask::NewAnimal)),
                ("Ethogram", "F10", Message::Ethogram),
                ("Report", "F11", Message::Report),
                ("Hand over, take in", "F12", Message::HandOver),
                ("Film kept", "Shift+F12", Message::Films),
            ],
        ),
        (
            "Here",
            vec![
                ("Reaction lag", "Shift+F5", ask(Ask::Reaction)),
                ("Other studies, settings", "F9", Message::Settings),
                ("New study", "Ctrl+N", Message::NewStudy),
            ],
        ),
    ]
}

impl Sessions {
    /// The column of actions.
    pub(super) fn actions(&self, palette: Palette) -> Element<'_, Message> {
        let heading = |words: &'static str| text(words).size(theme::BODY).color(palette.quiet);
        let you = row![
            text("You").size(theme::BODY).color(palette.quiet),
            text_input("Your code", &self.person)
                .size(theme::BODY)
                .padding([5, 10])
                .style(theme::input(palette))
                .on_input(Message::Person),
        ]
        .spacing(8)
        .align_y(iced::Center);
        let mut all =
            column![container(you).padding(iced::Padding { left: 8.0, ..iced::Padding::ZERO })].spacing(6);
        for (title, lines) in groups() {
            let mut group = column![container(heading(title)).padding([0, 8])].spacing(1);
            for (words, key, message) in lines {
                let line = row![
                    text(words).size(theme::BODY),
                    space::horizontal(),
                    text(key).size(theme::BODY).color(palette.quiet),
                ]
                .spacing(8)
                .align_y(iced::Center);
                group = group.push(
                    button(line)
                        .width(Length::Fill)
                        .padding([1, 8])
                        .style(theme::action(palette))
                        .on_press(message),
                );
            }
            all = all.push(group);
        }
        container(scrollable(all).spacing(4).height(Length::Fill)).width(WIDTH).into()
    }
}
