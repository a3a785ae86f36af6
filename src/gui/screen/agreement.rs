//! Where two codings of a session differ, how well they agree, and how each difference is settled into a
//! third, agreed record. Neither original is touched.

use std::path::PathBuf;

use iced::keyboard::key::Named;
use iced::keyboard::{self, Key};
use iced::widget::{button, column, container, row, scrollable, space, text};
use iced::{Element, Length, Subscription, Task};

use crate::agreement::align::{Marks, Pairing, Unit};
use crate::agreement::differences::{self, Apart, How};
use crate::agreement::pair::{self, Names, PairAgreement, PairKind};
use crate::agreement::resolve::{self, Decision, Reason, Settled};
use crate::gui::theme::{self, Mode, Palette};
use crate::model::{PersonCode, Purpose, SessionId};
use crate::storage::study_folder::LoadedCoding;
use crate::storage::{StudyFolder, coding_file};
use crate::time::Micros;

/// A wish.
#[derive(Debug, Clone)]
pub enum Message {
    /// A difference is chosen.
    Choose(usize),
    /// A key went down.
    KeyDown(Key),
    /// The film at the chosen difference.
    Show,
    /// Back.
    Leave,
}

/// What the app is to do.
pub enum Action {
    /// Nothing.
    None,
    /// Scroll.
    Run(Task<Message>),
    /// Open this coding at this moment.
    Go(PathBuf, Micros),
    /// Back.
    Leave,
}

const SCROLL: &str = "agreement-list";
/// Height of a line of the list.
const LINE: f32 = 30.0;
/// How much of the film is seen before a difference.
const LEAD: Micros = Micros::from_whole_seconds(1);
/// Seed of the intervals, printed with them.
const SEED: u64 = 1;

/// The screen.
pub struct Agreement {
    folder: StudyFolder,
    pair: Option<(LoadedCoding, LoadedCoding)>,
    found: Option<PairAgreement>,
    list: Vec<Apart>,
    settled: Vec<Settled>,
    agreed: Option<PathBuf>,
    by: PersonCode,
    chosen: usize,
    deciding: Option<Decision>,
    said: String,
}

impl Agreement {
    /// Two codings of a session: the primary one, and another person's, else a repeat.
    #[must_use]
    pub fn new(folder: StudyFolder, session: &SessionId, by: &str) -> Self {
        let mut screen = Self {
            folder,
            pair: None,
            found: None,
            list: Vec::new(),
            settled: Vec::new(),
            agreed: None,
            by: by.into(),
            chosen: 0,
            deciding: None,
            said: String::new(),
        };
        screen.said = match screen.load(session) {
            Ok(()) => "Enter shows the film there; 1 first, 2 second, 3 both, 0 neither: then d, m, t or s says why.".to_owned(),
            Err(why) => why,
        };
        screen
    }

    fn load(&mut self, session: &SessionId) -> Result<(), String> {
        let listing = self.folder.list();
        let entry = listing
            .sessions
            .into_iter()
            .find(|entry| entry.session.id == *session)
            .ok_or("the session is not there any more")?;
        let mut all: Vec<LoadedCoding> =
            entry.codings.iter().filter_map(|(path, _)| self.folder.load_coding(path).ok()).collect();
        let agreed: Vec<LoadedCoding> =
            all.extract_if(.., |own| own.coding.purpose == Purpose::Agreed).collect();
        let first = all
            .iter()
            .position(|own| own.coding.purpose == Purpose::Primary)
            .ok_or("this session has no primary coding yet")?;
        let first = all.swap_remove(first);
        let fits = |own: &LoadedCoding| own.coding.ethogram == first.coding.ethogram;
        let rank =
            |own: &LoadedCoding| (own.coding.by == first.coding.by, own.coding.purpose != Purpose::Second);
        all.retain(fits);
        all.sort_by_key(rank);
        let second = all
            .into_iter()
            .next()
            .ok_or("a second coding under the same revision of the ethogram is needed: choose 'Code it as the second coder'")?;
        let pairing =
            Pairing::try_new(&first.coding, &second.coding, &first.ethogram, &first.session, Marks::All)
                .map_err(|error| error.to_string())?;
        let tolerance = pairing.default_tolerance();
        self.list = differences::of(&pairing, tolerance).list;
        let same = first.coding.by == second.coding.by;
        let names = Names {
            first: self.name(&first),
            second: self.name(&second),
            session: session.to_string(),
            first_by: first.coding.by.to_string(),
            second_by: second.coding.by.to_string(),
            kind: if same { PairKind::Within } else { PairKind::Between },
        };
        let parents = [names.first.clone(), names.second.clone()];
        let options = pair::Options { unit: Unit::Exact, tolerance: None, seed: SEED };
        self.found = Some(pair::compare(names, &pairing, &self.folder.study, options).0);
        if let Some(own) = agreed.into_iter().find(|own| own.coding.parents == parents) {
            self.settled = resolve::settled_in(&own.coding);
            self.agreed = Some(own.path);
        }
        self.pair = Some((first, second));
        Ok(())
    }

    fn name(&self, own: &LoadedCoding) -> String {
        own.path.strip_prefix(self.folder.root()).unwrap_or(&own.path).to_string_lossy().into_owned()
    }

    /// What stands in the window's title.
    #[must_use]
    pub fn title(&self) -> String {
        self.found.as_ref().map_or_else(
            || "Agreement".to_owned(),
            |own| format!("{} · {} and {}", own.session, own.first_by, own.second_by),
        )
    }

    /// Does what a message asks for.
    pub fn update(&mut self, message: &Message) -> Action {
        match message {
            Message::Choose(place) => self.chosen = *place,
            Message::Show => return self.show(),
            Message::Leave => return Action::Leave,
            Message::KeyDown(key) => return self.key_down(key),
        }
        Action::None
    }

    fn key_down(&mut self, key: &Key) -> Action {
        match key.as_ref() {
            Key::Named(Named::Escape) if self.deciding.is_some() => {
                self.deciding = None;
                "Nothing was decided.".clone_into(&mut self.said);
            }
            Key::Named(Named::Escape) => return Action::Leave,
            Key::Named(Named::Enter | Named::Space) => return self.show(),
            Key::Named(Named::ArrowDown) => return self.choose(self.chosen + 1),
            Key::Named(Named::ArrowUp) => return self.choose(self.chosen.saturating_sub(1)),
            Key::Character(letter) => match letter {
                "1" => self.decide(Decision::First, "the first is right"),
                "2" => self.decide(Decision::Second, "the second is right"),
                "3" => self.decide(Decision::Both, "both are there"),
                "0" => self.decide(Decision::Neither, "neither is"),
                "d" => return self.settle(Reason::Definition),
                "m" => return self.settle(Reason::Missed),
                "t" => return self.settle(Reason::Timing),
                "s" => return self.settle(Reason::Slip),
                _ => {}
            },
            _ => {}
        }
        Action::None
    }

    fn choose(&mut self, place: usize) -> Action {
        self.chosen = place.min(self.list.len().saturating_sub(1));
        #[allow(clippy::cast_precision_loss)] // A list of some hundred lines.
        let y = (self.chosen.saturating_sub(4)) as f32 * LINE;
        Action::Run(iced::widget::operation::scroll_to(SCROLL, scrollable::AbsoluteOffset { x: 0.0, y }))
    }

    fn show(&self) -> Action {
        match (&self.pair, self.list.get(self.chosen)) {
            (Some((first, _)), Some(apart)) => Action::Go(first.path.clone(), apart.span.from - LEAD),
            _ => Action::None,
        }
    }

    fn decide(&mut self, decision: Decision, words: &str) {
        self.deciding = Some(decision);
        self.said =
            format!("{words}, because of: d definition, m missed, t timing, s slip (Escape takes it back)");
    }

    /// Keeps a decision with its reason, at once, in the agreed record.
    fn settle(&mut self, reason: Reason) -> Action {
        let (Some(decision), Some(apart)) = (self.deciding.take(), self.list.get(self.chosen).cloned())
        else {
            "First say who is right: 1 first, 2 second, 3 both, 0 neither.".clone_into(&mut self.said);
            return Action::None;
        };
        let mut settled = self.settled.clone();
        settled.retain(|own| own.apart != apart);
        settled.push(Settled { apart, decision, reason });
        match self.write(&settled) {
            Ok(open) => {
                self.settled = settled;
                self.said = format!("settled ({}); {open} of {} are open", reason.word(), self.list.len());
                return self.choose(self.chosen + 1);
            }
            Err(why) => self.said = why,
        }
        Action::None
    }

    fn write(&mut self, settled: &[Settled]) -> Result<usize, String> {
        let (Some((first, second)), Some(found)) = (&self.pair, &self.found) else {
            return Err(String::new());
        };
        let pairing =
            Pairing::try_new(&first.coding, &second.coding, &first.ethogram, &first.session, Marks::All)
                .map_err(|error| error.to_string())?;
        let agreed = resolve::agreed(&pairing, [&found.first, &found.second], &self.by, &self.list, settled)
            .map_err(|error| error.to_string())?;
        if let Some(path) = &self.agreed {
            coding_file::replace(path, &agreed.coding).map_err(|error| error.to_string())?;
        } else {
            let folder = self.folder.session_folder(&first.coding.session);
            let made = coding_file::create(&folder, &agreed.coding).map_err(|error| error.to_string())?;
            self.agreed = Some(made);
        }
        Ok(agreed.unsettled.len())
    }

    /// Keys of the screen.
    pub fn subscription() -> Subscription<Message> {
        keyboard::listen().filter_map(|event| match event {
            keyboard::Event::KeyPressed { key, .. } => Some(Message::KeyDown(key)),
            _ => None,
        })
    }

    /// The screen.
    #[must_use]
    pub fn view(&self, mode: Mode) -> Element<'_, Message> {
        let palette = mode.palette();
        let Some(found) = &self.found else { return nothing(palette, &self.said) };
        let right = iced::Padding { right: 14.0, ..iced::Padding::ZERO };
        let mut lines = column![].spacing(2).padding(right);
        for (place, apart) in self.list.iter().enumerate() {
            lines = lines.push(self.line(place, apart, palette));
        }
        if self.list.is_empty() {
            lines = lines.push(text("The two records do not differ.").size(theme::BODY).color(palette.quiet));
        }
        let open = self.list.iter().filter(|own| self.decision(own).is_none()).count();
        let head = row![
            text(self.title()).size(theme::CLOCK).font(theme::MEDIUM).color(palette.text),
            space::horizontal(),
            text(format!("{} differences, {open} open", self.list.len()))
                .size(theme::BODY)
                .color(palette.quiet),
        ]
        .align_y(iced::Center);
        let ink = if self.deciding.is_some() { palette.accent } else { palette.quiet };
        column![
            head,
            row![
                scrollable(numbers(found, palette)).height(Length::Fill).width(Length::FillPortion(2)),
                scrollable(lines).id(SCROLL).height(Length::Fill).width(Length::FillPortion(3)),
            ]
            .spacing(12)
            .height(Length::Fill),
            text(&self.said).size(theme::BODY).color(ink),
        ]
        .spacing(8)
        .padding(12)
        .into()
    }

    fn decision(&self, apart: &Apart) -> Option<&Settled> {
        self.settled.iter().find(|own| own.apart == *apart)
    }

    fn line<'a>(&'a self, place: usize, apart: &'a Apart, palette: Palette) -> Element<'a, Message> {
        let kind = match apart.kind {
            How::DifferentBehaviour => "different",
            How::OnlyFirst => "only first",
            How::OnlySecond => "only second",
            How::Timing => "timing",
        };
        let what =
            format!("{} / {}", apart.first.as_deref().unwrap_or("—"), apart.second.as_deref().unwrap_or("—"));
        let decided = self.decision(apart).map_or_else(String::new, |own| {
            let who = match own.decision {
                Decision::First => "first",
                Decision::Second => "second",
                Decision::Both => "both",
                Decision::Neither => "neither",
                Decision::New(_) => "new",
            };
            format!("{who}, {}", own.reason.word())
        });
        let quiet = |words: String| text(words).size(theme::BODY).color(palette.quiet);
        let mono = |words: String| text(words).size(theme::BODY).font(theme::MONO).color(palette.text);
        let line = row![
            mono(apart.span.from.clock()).width(100),
            mono(format!("{:.1} s", apart.seconds.0.seconds())).width(70),
            quiet(kind.to_owned()).width(90),
            text(what).size(theme::BODY).color(palette.text).width(Length::Fill),
            quiet(decided),
        ]
        .spacing(8)
        .align_y(iced::Center);
        button(line)
            .width(Length::Fill)
            .height(LINE - 2.0)
            .padding([3, 8])
            .style(theme::choice(palette, place == self.chosen))
            .on_press(if place == self.chosen { Message::Show } else { Message::Choose(place) })
            .into()
    }
}

/// One number a behaviour, with its interval and how much of it there was.
fn numbers(found: &PairAgreement, palette: Palette) -> Element<'_, Message> {
    let number = |value: Option<f64>| value.map_or_else(|| "—".to_owned(), |value| format!("{value:.2}"));
    let interval = |ci: Option<[f64; 2]>| ci.map_or_else(String::new, |[a, b]| format!(" [{a:.2}, {b:.2}]"));
    let line = |what: String, value: String| {
        row![
            text(what).size(theme::BODY).color(palette.quiet).width(Length::FillPortion(2)),
            text(value).size(theme::BODY).color(palette.text).width(Length::FillPortion(3)),
        ]
        .spacing(8)
    };
    let title = |words: String| text(words).size(theme::TITLE).font(theme::MEDIUM).color(palette.text);
    let mut all = column![].spacing(12).padding(iced::Padding { right: 14.0, ..iced::Padding::ZERO });
    let card = |inside| container(inside).padding(12).width(Length::Fill).style(theme::card(palette));
    for set in &found.sets {
        let mut lines = column![title(set.set.clone())].spacing(3);
        lines = lines.push(match set.kappa {
            Some(kappa) => line(
                "kappa".to_owned(),
                format!(
                    "{kappa:.2}{}  at most {}, observed {}",
                    interval(set.ci95),
                    number(set.kappa_max),
                    number(set.observed)
                ),
            ),
            None => line("kappa".to_owned(), set.why.clone().unwrap_or_default()),
        });
        if set.kappa.is_some() {
            for own in &set.behaviours {
                let value = match own.kappa {
                    Some(kappa) => format!(
                        "{kappa:.2}{}  {:.0} s / {:.0} s",
                        interval(own.ci95),
                        own.first_s,
                        own.second_s
                    ),
                    None => own.why.clone().unwrap_or_default(),
                };
                lines = lines.push(line(own.id.clone(), value));
            }
        }
        all = all.push(card(lines));
    }
    let mut lines = column![title("Moments: both, only first, only second".to_owned())].spacing(3);
    for own in &found.events {
        if let (Some(both), Some(first), Some(second)) = (own.matched, own.only_first, own.only_second)
            && both + first + second > 0
        {
            let value = format!("{both}, {first}, {second}   {}", number(own.agreement));
            lines = lines.push(line(own.behaviour.clone(), value));
        }
    }
    all.push(card(lines)).into()
}

/// Nothing can be compared.
fn nothing(palette: Palette, said: &str) -> Element<'_, Message> {
    let words = column![
        text("Nothing to compare yet").size(theme::CLOCK).font(theme::MEDIUM).color(palette.text),
        text(said).size(theme::BODY).color(palette.quiet),
        button(text("Back (Escape)").size(theme::BODY))
            .padding([8, 16])
            .style(theme::key(palette, true))
            .on_press(Message::Leave),
    ]
    .spacing(12)
    .max_width(560);
    container(words).center(Length::Fill).into()
}
