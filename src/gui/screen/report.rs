//! The report: what it will be about, the words only people can write, and the file it becomes.
//!
//! It is made by a child of this program, as on the command line: the window goes on, the work can be
//! stopped, and nothing half-made is left, because the child writes the file whole or not at all.

use std::io::BufRead as _;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use iced::futures::channel::mpsc;
use iced::keyboard::key::Named;
use iced::keyboard::{self, Key};
use iced::widget::{button, column, container, row, scrollable, space, text};
use iced::{Element, Length, Subscription, Task};

use super::sheet::sections_view;
use crate::gui::theme::{self, Mode, Palette};
use crate::storage::StudyFolder;
use crate::workbench::sheet::Sheet;
use crate::workbench::sheet::report::{self as sheets, Asked};

/// A wish or a result.
#[derive(Debug, Clone)]
pub enum Message {
    /// A line is written: its key and its text.
    Written(String, String),
    /// Make the report.
    Make,
    /// A key went down.
    KeyDown(Key),
    /// It takes so long already, and so much of it is done.
    Waiting(Duration, f32),
    /// It is made, or why not.
    Made(Result<PathBuf, String>),
    /// Back.
    Leave,
}

/// What the app is to do.
pub enum Action {
    /// Nothing.
    None,
    /// This.
    Run(Task<Message>),
    /// Back to the sessions; the study as it now is.
    Leave(Box<StudyFolder>),
}

/// Sections of every report, and what stands in them.
const SECTIONS: [(&str, &str); 9] = [
    ("1, 2", "what it is; what was seen and what it can't show; the cautions"),
    ("3, 4", "animals and conditions; plan, steps and decisions"),
    ("5", "methods as the data tell them: cameras, rule, coders, masking, revision"),
    ("6", "effort: filmed, coded, left out and why, out of sight"),
    ("7 to 10", "time budget, approach and retreat, success, latencies"),
    ("11", "concern: each stop-level incident as a row, with pictures from the film"),
    ("12, 13", "food; agreement of two coders"),
    ("14 to 16", "deviations, limits, actions, sign-off"),
    ("A to D", "definitions, events, fingerprints, reporting lists and what they miss"),
];

/// The screen.
pub struct ReportScreen {
    folder: StudyFolder,
    sheet: Sheet,
    running: Option<Arc<Mutex<Child>>>,
    said: (String, bool),
}

impl Drop for ReportScreen {
    fn drop(&mut self) {
        self.stop();
    }
}

impl ReportScreen {
    /// Of a study.
    #[must_use]
    pub fn new(folder: StudyFolder) -> Self {
        let sheet = sheets::sheet(&folder.study);
        let said = "Tab goes from line to line, Enter makes the report, Escape leaves.".to_owned();
        Self { folder, sheet, running: None, said: (said, false) }
    }

    /// Does what a message asks for.
    pub fn update(&mut self, message: Message) -> Action {
        match message {
            Message::Written(key, value) => self.sheet.write(&key, value),
            Message::Make => return self.make(),
            Message::KeyDown(Key::Named(Named::Escape)) if self.running.is_some() => {
                self.stop();
                self.said = ("The report was stopped; nothing was written.".to_owned(), false);
            }
            Message::KeyDown(Key::Named(Named::Escape)) | Message::Leave => {
                return Action::Leave(Box::new(self.folder.clone()));
            }
            Message::Waiting(passed, share) if self.running.is_some() => {
                self.said = (waiting(passed, share), false);
            }
            Message::KeyDown(_) | Message::Waiting(..) => {}
            Message::Made(made) => {
                // What was stopped has nothing more to tell.
                if self.running.take().is_some() {
                    self.said = match made {
                        Ok(path) => (format!("Written: {}", path.display()), false),
                        Err(why) => (format!("No report: {why}"), true),
                    };
                }
            }
        }
        Action::None
    }

    fn stop(&mut self) {
        if let Some(child) = self.running.take() {
            // It may have ended by itself just now.
            let _ = child.lock().unwrap_or_else(PoisonError::into_inner).kill();
        }
    }

    fn make(&mut self) -> Action {
        if self.running.is_some() {
            return Action::None;
        }
        let Some((asked, texts)) = sheets::read(&mut self.sheet, &self.folder.study) else {
            self.said = ("A line can't be read yet: see beside it. Nothing was written.".to_owned(), true);
            return Action::None;
        };
        if texts != self.folder.study.report {
            let before = std::mem::replace(&mut self.folder.study.report, texts);
            if let Err(error) = self.folder.save_study() {
                self.folder.study.report = before;
                self.said = (error.to_string(), true);
                return Action::None;
            }
        }
        match start(&self.folder, &asked) {
            Ok((child, out)) => {
                self.running = Some(Arc::clone(&child));
                self.said = ("Making the report; Escape stops it.".to_owned(), false);
                Action::Run(watch(child, out))
            }
            Err(why) => {
                self.said = (format!("No report: {why}"), true);
                Action::None
            }
        }
    }

    /// Keys; those a written line keeps to itself are among them.
    pub fn subscription() -> Subscription<Message> {
        iced::event::listen_with(|event, _, _| match event {
            iced::Event::Keyboard(keyboard::Event::KeyPressed { key, .. }) => Some(Message::KeyDown(key)),
            _ => None,
        })
    }

    /// The screen.
    #[must_use]
    pub fn view(&self, mode: Mode) -> Element<'_, Message> {
        let palette = mode.palette();
        let right = iced::Padding { right: 14.0, ..iced::Padding::ZERO };
        let lines = sections_view(&self.sheet, palette, Message::Written, Message::Make);
        let body = row![
            scrollable(container(lines).padding(right)).height(Length::Fill).width(Length::FillPortion(3)),
            scrollable(sections(palette)).height(Length::Fill).width(Length::FillPortion(2)),
        ]
        .spacing(16);
        let press = |words: &'static str, on, main| {
            button(text(words).size(theme::BODY))
                .padding([6, 14])
                .style(theme::key(palette, main))
                .on_press(on)
        };
        let foot = row![
            text(&self.said.0)
                .size(theme::BODY)
                .color(if self.said.1 { palette.accent } else { palette.quiet })
                .width(Length::Fill),
            press("Leave (Escape)", Message::Leave, false),
            press("Make the report (Enter)", Message::Make, true),
        ]
        .spacing(8)
        .align_y(iced::Center);
        let head = row![
            text("Report").size(theme::CLOCK).font(theme::MEDIUM).color(palette.text),
            space::horizontal(),
            text(&self.folder.study.title).size(theme::BODY).color(palette.quiet),
        ]
        .align_y(iced::Center);
        column![head, body.height(Length::Fill), foot].spacing(12).padding(16).into()
    }
}

fn sections<'a>(palette: Palette) -> Element<'a, Message> {
    let mut all =
        column![text("What will stand in it").size(theme::TITLE).font(theme::MEDIUM).color(palette.text)]
            .spacing(8)
            .padding(iced::Padding { right: 14.0, ..iced::Padding::ZERO });
    for (number, words) in SECTIONS {
        all = all.push(
            row![
                text(number).size(theme::BODY).font(theme::MONO).color(palette.quiet).width(76),
                text(words).size(theme::BODY).color(palette.text).width(Length::Fill),
            ]
            .spacing(8),
        );
    }
    all = all.push(
        text("What is not written or not coded is named as missing in the report, never left out. It is written into the study's folder of reports.")
            .size(theme::BODY)
            .color(palette.quiet)
            .width(Length::Fill),
    );
    container(all).padding(12).width(Length::Fill).style(theme::card(palette)).into()
}

/// Lets a child of this program make the report; also where it will be.
fn start(folder: &StudyFolder, asked: &Asked) -> Result<(Arc<Mutex<Child>>, PathBuf), String> {
    let program = std::env::current_exe().map_err(|error| error.to_string())?;
    let reports = folder.root().join("reports");
    std::fs::create_dir_all(&reports).map_err(|error| format!("{}: {error}", reports.display()))?;
    let out = reports.join(name(asked));
    let mut command = Command::new(program);
    let _ = command.arg("report").arg(folder.root()).arg("--out").arg(&out).arg("--tell-progress");
    if let Some(animal) = &asked.animal {
        let _ = command.args(["--animal", animal.as_str()]);
    }
    for (option, day) in [("--from", asked.from), ("--to", asked.to)] {
        if let Some(day) = day {
            let _ = command.args([option, &day.to_string()]);
        }
    }
    if asked.letter {
        let _ = command.args(["--paper", "letter"]);
    }
    if asked.without_names {
        let _ = command.arg("--without-names");
    }
    let child = command
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .map_err(|error| error.to_string())?;
    Ok((Arc::new(Mutex::new(child)), out))
}

/// How far it is, in words.
fn waiting(passed: Duration, share: f32) -> String {
    let done = (share * 100.0).round();
    // From a first second nothing can be told of the rest.
    let left = if share > 0.05 && passed.as_secs() > 0 {
        let rest = passed.as_secs_f32() * (1.0 - share) / share;
        format!(", about {:.0} s left", rest.ceil())
    } else {
        String::new()
    };
    format!("Making the report: {done} %{left}; Escape stops it.")
}

/// What the file is called.
fn name(asked: &Asked) -> String {
    let mut parts = vec![chrono::Local::now().format("%Y-%m-%d").to_string()];
    parts.extend(asked.animal.as_ref().map(ToString::to_string));
    parts.extend(asked.from.map(|day| format!("from {day}")));
    parts.extend(asked.to.map(|day| format!("to {day}")));
    parts.extend(asked.without_names.then(|| "without names".to_owned()));
    format!("{} report.{}", parts.join(" "), if asked.html { "html" } else { "pdf" })
}

/// Waits for the child in a thread of its own.
fn watch(child: Arc<Mutex<Child>>, out: PathBuf) -> Task<Message> {
    let (sender, receiver) = mpsc::unbounded();
    let failure = sender.clone();
    let spawned = std::thread::Builder::new().name("report".to_owned()).spawn(move || {
        // Read at once, so that the child never waits for somebody to listen.
        let (stdout, stderr) = {
            let mut child = child.lock().unwrap_or_else(PoisonError::into_inner);
            (child.stdout.take(), child.stderr.take())
        };
        let words = std::thread::spawn(move || {
            stderr.and_then(|own| std::io::read_to_string(own).ok()).unwrap_or_default()
        });
        let begun = Instant::now();
        if let Some(stdout) = stdout {
            let sender = sender.clone();
            drop(std::thread::spawn(move || {
                for line in std::io::BufReader::new(stdout).lines().map_while(Result::ok) {
                    if let Ok(share) = line.parse() {
                        let _ = sender.unbounded_send(Message::Waiting(begun.elapsed(), share));
                    }
                }
            }));
        }
        let status = loop {
            let status = child.lock().unwrap_or_else(PoisonError::into_inner).try_wait();
            match status {
                Ok(Some(status)) => break Ok(status),
                Ok(None) => std::thread::sleep(Duration::from_millis(50)),
                Err(error) => break Err(error.to_string()),
            }
        };
        let words = words.join().unwrap_or_default();
        let made = match status {
            Ok(status) if status.code().is_some_and(|code| code < 2) && Path::new(&out).is_file() => Ok(out),
            Ok(_) => Err(words.lines().last().unwrap_or("it ended without a word").to_owned()),
            Err(why) => Err(why),
        };
        let _ = sender.unbounded_send(Message::Made(made));
    });
    if let Err(error) = spawned {
        let _ = failure.unbounded_send(Message::Made(Err(error.to_string())));
    }
    Task::run(receiver, |message| message)
}
